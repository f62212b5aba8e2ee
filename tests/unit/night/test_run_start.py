"""Which batches a run takes, what it tells of the others, and how it ends where it cannot start."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from glassine.base import exits, files, item_states, settings
from glassine.base.errors import Finding
from glassine.base.visible import visible
from glassine.intake import passed_over
from glassine.night import batches, notice, notify
from glassine.night import lock as runlock

SCRIPTS = Path(batches.__file__).parents[2]


def take_in(root: Path, name: str, items: list[str], **more) -> Path:
    """Write what intake leaves of a batch; return its results."""
    results = root / "results" / name
    taken = {
        "batch": name,
        "items": [{"item": item, "state": "ready", "findings": []} for item in items],
        "other_files": [],
        "targets": [],
        **more,
    }
    files.write_json(results / "intake.json", taken)
    return results


def found(root: Path, **given) -> batches.Batches:
    return batches.to_process(root / "masters", settings.load(given), root)


def codes(problems: list[exits.Problem]) -> list[tuple[str, int]]:
    return [(each.finding.code, each.exit_code) for each in problems]


@pytest.fixture
def root(tmp_path):
    (tmp_path / "masters" / "harbour").mkdir(parents=True)
    return tmp_path


def test_each_folder_is_a_batch(root):
    (root / "masters" / "quay").mkdir()
    assert found(root) == batches.Batches(["harbour", "quay"])


@pytest.mark.parametrize(
    "name",
    [
        "a b",
        "größe",
        "-x",
        "x.",
        "con",
        "summary.json",
        "masters.json",
        "x" * 101,
        "a\x1b[2J",
        "a..b",
    ],
)
def test_a_name_that_cannot_be_used_stops_no_other_batch(root, name):
    (root / "masters" / name).mkdir()
    result = found(root)
    assert result.names == ["harbour"]
    assert codes(result.problems) == [("plan.batch_name", 65)]


def test_a_name_that_is_no_text_stops_no_other_batch(root):
    (root / "masters" / os.fsdecode(b"\xff\xfe")).mkdir()
    (root / "masters" / os.fsdecode(b"\xff.tif")).write_bytes(b"x")
    result = found(root)
    assert result.names == ["harbour"]
    assert codes(result.problems) == [("plan.batch_name", 65), ("run.loose_files", 65)]
    for problem in result.problems:  # as summary.json takes it
        problem.finding.sentence().encode("utf-8")


def test_an_empty_folder_of_masters_is_told(tmp_path):
    (tmp_path / "masters").mkdir()
    assert codes(found(tmp_path).problems) == [("run.no_batches", 66)]


def test_a_folder_of_masters_that_was_full_before_is_told_batch_by_batch(tmp_path):
    (tmp_path / "masters").mkdir()
    for name in ("harbour", "quay"):
        take_in(tmp_path, name, ["PEH-1"])
    take_in(tmp_path, "never-any", [])
    result = found(tmp_path)
    assert [each.batch for each in result.problems] == ["harbour", "quay"]
    assert codes(result.problems) == [("run.batch_gone", 66)] * 2


def test_a_closed_batch_is_told_no_more(tmp_path):
    """Its results moved away, as the message says; deliveries and receipts stay."""
    (tmp_path / "masters" / "quay").mkdir(parents=True)
    results = take_in(tmp_path, "harbour", ["PEH-1"])
    files.write_json(tmp_path / "deliveries" / "harbour.receipt.json", {})
    assert codes(found(tmp_path).problems) == [("run.batch_gone", 66)]
    results.rename(tmp_path / "closed")
    assert found(tmp_path).problems == []


def test_names_in_the_settings_are_looked_for(root):
    take_in(root, "quay", ["PEH-1"])
    result = found(root, batches=["harbuor", "harbour", "quay", "../x", "harbour"])
    assert result.names == ["harbour"]
    assert codes(result.problems) == [
        ("run.no_batch", 78),
        ("run.batch_gone", 66),
        ("plan.batch_name", 78),
    ]
    assert "Did you mean harbour?" in result.problems[0].finding.what


@pytest.mark.parametrize("name", ["PEH-1.tif", "PEH-1.NEF", "PEH-1.jpg"])
def test_pictures_beside_the_batches_are_told(root, name):
    (root / "masters" / name).write_bytes(b"x")
    (root / "masters" / "notes.txt").write_bytes(b"x")
    result = found(root)
    assert codes(result.problems) == [("run.loose_files", 65)]
    assert name in result.problems[0].finding.what
    assert "notes.txt" in result.notes[0]


def test_a_link_to_nowhere_is_told(root):
    (root / "masters" / "session").symlink_to("/nowhere/at-all")
    assert "session" in " ".join(found(root).notes)


@pytest.mark.parametrize(
    ("others", "code", "words"),
    [
        (["a.cr3", "b.IIQ", "c.txt"], 65, "2 camera raw files and no master"),
        (["c.txt"], 65, "1 other files"),
        ([], 66, "holds no master"),
    ],
)
def test_a_batch_without_items_is_told(others, code, words):
    problem = passed_over.without_items("b", Path("m/b"), {"items": [], "other_files": others})
    assert (problem.exit_code, words in problem.finding.what) == (code, True)


def test_a_batch_of_target_captures_alone_is_whole():
    taken = {"items": [], "targets": [{"path": "target.tif"}], "other_files": []}
    assert passed_over.without_items("b", Path("m/b"), taken) is None


STATES = {
    "harbour": {"PEH-0001": "done", "PEH-0002": "waiting", "PEH-0003": "held"},
    "quay": {"PEH-0001": "review"},
}


def test_an_item_of_two_batches_is_told_of_both():
    problems, lines = batches.named_items(["PEH-0001", "PEH-0001"], STATES)
    assert (problems, lines) == ([], ["PEH-0001: done in harbour, review in quay"])


def test_an_item_that_no_batch_has_is_told_with_names_like_it():
    problems, lines = batches.named_items(["PEH-001"], STATES)
    assert (codes(problems), lines) == ([("run.no_item", 64)], [])
    assert "PEH-0001" in problems[0].finding.what


def test_an_item_that_waits_is_told():
    problems, _ = batches.named_items(["PEH-0002"], STATES)
    assert codes(problems) == [("run.item_waits", 75)]


def test_a_run_never_ends_well_with_items_that_are_not_done():
    states = [item_states.ItemStatus("a", "done"), item_states.ItemStatus("b", "waiting")]
    assert batches.not_done("harbour", states, set()) is None
    for state in ("held", "pending"):
        problem = batches.not_done("harbour", [*states, item_states.ItemStatus("c", state)], set())
        assert (problem.exit_code, "c" in problem.finding.what) == (1, True)


def test_every_exit_code_has_its_place_in_the_order():
    values = {each for name, each in vars(exits).items() if name.isupper() and name != "ORDER"}
    assert values - {*exits.ORDER} == {exits.CANNOT_WRITE}


def test_the_readme_tells_every_exit_code():
    text = (SCRIPTS.parent / "README.md").read_text("utf-8")
    for name, code in vars(exits).items():
        if name.isupper() and name != "ORDER":
            assert f"| {code} |" in text, name


FINDING = Finding("run.batch_gone", "m/<b>", "It is <gone> & lost.", "it.", "Look.")


def test_a_notice_keeps_the_earlier_report_and_gives_way_to_the_next(tmp_path):
    results = tmp_path / "results" / "b"
    page = results / "report" / "index.html"
    files.write_text(page, "the report of yesterday")
    for _ in range(2):  # a second night without the batch must not lose the report
        notice.write(results, [FINDING])
        assert "It is &lt;gone&gt; &amp; lost." in page.read_text("utf-8")
        assert (results / "report" / "earlier.html").read_text("utf-8") == "the report of yesterday"
        assert notice.stands(results)
    notice.take_away(results)
    assert not page.exists()
    files.write_text(page, "the report of today")
    files.write_json(results / "report" / "summary.json", {"batch": "b", "counts": {}})
    notice.tidy(results)
    assert [path.name for path in sorted(page.parent.iterdir())] == ["index.html", "summary.json"]


def test_an_item_that_a_person_withdrew_is_not_missed():
    states = [item_states.ItemStatus("a", "done"), item_states.ItemStatus("b", "held")]
    part = [{"item": "a", "master": "a_base.tif"}, {"item": "c", "frames": 0}]
    intake = {"withdraw": [{"item": "b", "master": None}, *part]}
    assert passed_over.withdrawn(intake) == {"b"}
    assert batches.not_done("harbour", states, passed_over.withdrawn(intake)) is None
    assert passed_over.withdrawn({}) == set()


def test_the_mail_says_what_was_not_done():
    summary = {"finished": 0, "held": 0, "waiting": 0, "left": 0, "problems": 1, "batches": []}
    assert notify.headline(summary) == "Glassine: 1 problem"
    mail = {"sender": "a@b.example", "to": ["c@d.example"]}
    text = notify.message(mail, {**summary, "findings": [FINDING.as_dict()]}).get_body()
    assert "It is <gone> & lost. Next step: Look." in text.get_content()


@pytest.mark.parametrize(
    "text", ["\x1b[2J", "a\nb", "\x9b31m", "\u202eb", "\u2028", "\ud800", "\x00", "\u200b"]
)
def test_nothing_in_a_line_steers_the_terminal(text):
    shown = visible(text)
    assert shown.isprintable() and "\\" in shown
    shown.encode("utf-8")


def start(root: Path, *arguments: str, **given: object) -> tuple[int, str]:
    """Start a run in a process of its own, as the Snakefile does; return its code and words."""
    code = (
        "import json, sys; from pathlib import Path; from glassine.night import run;"
        "run.start(json.loads(sys.argv[1]), Path(sys.argv[2]), True, sys.argv[3:])"
    )
    keeper = settings.read_yaml(SCRIPTS.parent / "config" / "config.yaml", trusted=True)
    command = [sys.executable, "-c", code, json.dumps({**keeper, **given}), str(root), *arguments]
    environment = {**os.environ, "PYTHONPATH": str(SCRIPTS)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
    return done.returncode, done.stdout + done.stderr


def summary_of(root: Path) -> dict:
    return json.loads((root / "results" / "summary.json").read_text("utf-8"))


def test_a_run_that_does_not_start_leaves_no_summary_of_yesterday(root):
    yesterday = {"time": "2026-03-16T02:00:00Z", "finished": 9, "batches": []}
    files.write_json(root / "results" / "summary.json", yesterday)
    wrong = {"masters": "masters", "package": {"profile": "metz"}}
    assert start(root, "--dry-run", **wrong)[0] == 78
    assert summary_of(root) == yesterday
    code, text = start(root, **wrong)
    assert (code, "Traceback" in text) == (78, False), text
    told = summary_of(root)
    assert (told["state"], told["finished"]) == ("not started", 0)
    assert [each["code"] for each in told["findings"]] == ["settings.package.profile"]


@pytest.mark.parametrize(
    ("arguments", "dry"),
    [
        (["-n"], True),
        (["-np"], True),
        (["-Fn"], True),
        (["--dry-run"], True),
        (["--dryr"], True),
        (["-dnight"], False),
        (["--directory", "n"], False),
        (["--config", "n=1"], False),
    ],
)
def test_a_dry_run_is_known_however_it_is_written(arguments, dry):
    assert (runlock.is_dry(arguments), runlock.only_looks(arguments)) == (dry, dry)


def test_a_dry_run_says_what_the_run_could_not_do(root):
    take_in(root, "gone", ["PEH-1"])
    _, text = start(root, "-n", masters="masters")
    assert "gone: " in text and "[run.batch_gone]" in text
    assert not (root / "results" / ".run.lock").exists()
    assert not (root / "results" / "gone" / "report").exists()


def test_a_run_that_is_refused_for_another_leaves_its_summary_alone(root):
    files.write_json(root / "results" / "summary.json", {"finished": 9})
    lock = runlock.RunLock(root)
    lock.take()
    code, text = start(root, masters="masters")
    assert (code, "Another run is going on" in text) == (75, True), text
    assert summary_of(root) == {"finished": 9}
