"""What monitoring is told: a night that did not run at all is the failure that nobody sees."""

import json
import re

import pytest

from glassine.night import monitoring, progress

NOW = 1_800_000_000.0
HOUR = 3600.0


def at(seconds):
    from datetime import UTC, datetime

    return f"{datetime.fromtimestamp(seconds, UTC):%Y-%m-%dT%H:%M:%SZ}"


def summary(folder, age_h, **more):
    counts = dict.fromkeys(("finished", "held", "waiting", "left", "not_taken_in", "problems"), 0)
    told = {"time": at(NOW - age_h * HOUR), **counts, "batches": [], **more}
    (folder / "results").mkdir(exist_ok=True)
    (folder / "results" / "summary.json").write_text(json.dumps(told))
    return told


@pytest.mark.parametrize(
    ("age_h", "more", "code", "word"),
    [
        (9, {"finished": 12}, 0, "did all that was due: 12 finished"),
        (9, {"waiting": 2}, 0, "2 waiting"),
        (9, {"held": 1}, 1, "1 held"),
        (9, {"left": 3}, 1, "3 left"),
        (9, {"problems": 1, "held": 4}, 2, "could not do all"),
        (9, {"not_taken_in": 1}, 2, "1 not taken in"),
        (9, {"state": "not started"}, 2, "did not start"),
        (27, {"finished": 12}, 2, "no night has ended for 27 hours"),
        (-5, {}, 3, "in the future"),
    ],
)
def test_a_night_is_judged(tmp_path, age_h, more, code, word):
    summary(tmp_path, age_h, **more)
    judged = monitoring.judged(tmp_path, False, 26, NOW)
    assert (judged.code, word in judged.why) == (code, True), judged


@pytest.mark.parametrize("within", [float("nan"), -1, 0, float("inf")])
def test_a_limit_that_nothing_would_break_is_refused(tmp_path, within):
    summary(tmp_path, 5000)
    assert monitoring.judged(tmp_path, False, within, NOW).code == 3


def test_a_night_that_never_ran_is_a_failure(tmp_path):
    assert monitoring.judged(tmp_path, False, 26, NOW).code == 2
    assert monitoring.judged(tmp_path, True, 26, NOW).code == 0  # the first one goes on


def test_a_run_that_does_not_end_is_a_failure_too(tmp_path):
    summary(tmp_path, 30)
    (tmp_path / "results" / ".run.lock").write_text(json.dumps({"since": at(NOW - 3 * HOUR)}))
    assert monitoring.judged(tmp_path, True, 26, NOW).code == 0
    (tmp_path / "results" / ".run.lock").write_text(json.dumps({"since": at(NOW - 40 * HOUR)}))
    assert monitoring.judged(tmp_path, True, 26, NOW).code == 2


@pytest.mark.parametrize("content", ["", "[]", "{}", '{"time": "yesterday"}', '{"time": 3}'])
def test_a_summary_that_cannot_be_read_is_unknown(tmp_path, content):
    (tmp_path / "results").mkdir()
    (tmp_path / "results" / "summary.json").write_text(content)
    assert monitoring.judged(tmp_path, False, 26, NOW).code == 3


def test_the_command_prints_one_line_and_ends_with_the_code(tmp_path, capsys):
    summary(tmp_path, 0)  # long ago by the clock of this machine, or to come: never OK
    assert progress.main(["--check", "--directory", str(tmp_path)]) in (2, 3)
    said = capsys.readouterr().out
    assert re.fullmatch(r"GLASSINE (CRITICAL|UNKNOWN) - [^|\n]+ \| finished=0 [^\n]*\n", said)


def test_metrics_have_the_text_format(tmp_path):
    """Exposition format 0.0.4: names, labels with escapes, a value, a line end at the end."""
    told = summary(tmp_path, 1, problems=2)
    told["batches"] = [{"batch": 'a"b\\c', "finished": 3, "held": 1, "waiting": 0, "left": 0}]
    monitoring.write(tmp_path / "x.prom", told)
    text = (tmp_path / "x.prom").read_text()
    line = re.compile(
        r"# (HELP|TYPE) [a-z_]+ .+|[a-z_]+(\{([a-z]+=\"([^\"\\\n]|\\[\\\"n])*\",?)+\})? -?[0-9.]+"
    )
    assert text.endswith("\n")
    assert [each for each in text.splitlines() if not line.fullmatch(each)] == []
    assert 'glassine_items{batch="a\\"b\\\\c",state="held"} 1' in text
    assert f"glassine_last_night_end_seconds {NOW - HOUR:.0f}" in text
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".part")] == []
