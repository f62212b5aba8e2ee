"""The progress of a night, as a person and as a machine read it."""

from __future__ import annotations

import io
import json
import os
import time
from pathlib import Path

import pytest

from glassine.night import leading, progress
from makers import make_results


@pytest.fixture
def night(tmp_path: Path) -> Path:
    """12 items: 8 finished (one of them held since), held, waiting and not begun ones."""
    make_results.write_batch(tmp_path, 12, pictures=False)
    return tmp_path


def packages(night: Path) -> list[Path]:
    results = night / "results" / make_results.BATCH
    return sorted(results.glob("items/*/package.json"))


def run_is_on(night: Path, pid: int) -> None:
    lock = night / "results" / ".run.lock"
    lock.write_text(json.dumps({"pid": pid, "host": "here", "since": "now"}), "utf-8")


def test_the_states_add_up(night: Path) -> None:
    (found,) = progress.look(night, [], time.time())
    assert found.total == 12
    assert found.finished + found.held + found.waiting + found.left == 12
    assert (found.finished, found.held, found.waiting, found.left) == (8, 2, 1, 1)


def test_rate_and_time_left(night: Path) -> None:
    now = 1_800_000_000.0
    for number, path in enumerate(packages(night)):
        os.utime(path, (now - 600 + number * 60, now - 600 + number * 60))
    (found,) = progress.look(night, [], now)
    # Seven intervals of a minute, then three minutes without any: 7 items in 600 s.
    assert found.an_hour == pytest.approx(42.0)
    assert found.left_s == pytest.approx(3600 / 42)
    assert "about 1 min 26 s to go" in found.line()


def test_items_of_an_earlier_night_are_no_rate(night: Path) -> None:
    (found,) = progress.look(night, [], time.time() + 86_400)
    assert found.an_hour is None
    assert "an hour" not in found.line()


def test_the_stage_is_the_first_step_without_a_time(night: Path) -> None:
    item = night / "results" / make_results.BATCH / "items" / "PEH-0012"
    for step in ("verify", "locate"):
        make_results.write_json(item / "timings" / f"{step}.json", {"step": step, "seconds": 1})
    (found,) = progress.look(night, [], time.time())
    assert found.stages == {"look": 1}


def test_a_run_is_on_only_while_its_process_lives(night: Path) -> None:
    assert not progress.is_running(night)
    run_is_on(night, os.getpid())
    assert progress.is_running(night)
    gone = next(pid for pid in range(4_000_000, 1, -1) if leading.process_start(pid) is None)
    run_is_on(night, gone)
    assert not progress.is_running(night)


def test_plain_lines_where_there_is_no_terminal(night: Path) -> None:
    out = io.StringIO()
    progress.follow(night, [], out, 0.01)
    assert out.getvalue().count("\n") == 1
    assert "\x1b" not in out.getvalue()
    assert "8 of 12 finished, 2 held, 1 waiting, 1 left" in out.getvalue()


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_is_written_in_place_until_the_run_ends(night: Path) -> None:
    run_is_on(night, os.getpid())
    looks: list[float] = []

    def then_end(seconds: float) -> None:
        looks.append(seconds)
        if len(looks) == 2:
            (night / "results" / ".run.lock").write_text("", "utf-8")

    out = _Terminal()
    progress.follow(night, [], out, 2.0, sleep=then_end)
    assert looks == [2.0, 2.0]
    assert out.getvalue().count("\x1b[1A") == 2  # up one line before the second and third look


def test_the_summary_for_machines(night: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert progress.main(["--json", "--directory", str(night)]) == 1  # something is held
    found = json.loads(capsys.readouterr().out)
    assert found["finished"] == 8
    assert found["held"] == 2
    assert found["running"] is False
    assert found["batches"][0]["batch"] == make_results.BATCH


def test_a_batch_that_is_not_there_is_told(night: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert progress.main(["--json", "--directory", str(night), "other"]) == 2
    assert "other" in capsys.readouterr().err


def test_nothing_taken_in_yet(tmp_path: Path) -> None:
    out = io.StringIO()
    progress.follow(tmp_path, [], out, 0.01)
    assert "nothing has been taken in yet" in out.getvalue()


def test_a_run_says_how_far_it_is(night: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(progress, "_LINE_EVERY_S", 0.01)
    out = io.StringIO()
    teller = progress.Teller(night, ["not-taken-in-yet", make_results.BATCH], out)
    teller.start()
    deadline = time.monotonic() + 20
    while not out.getvalue() and time.monotonic() < deadline:
        time.sleep(0.02)
    teller.end()
    assert "8 of 12 finished, 2 held, 1 waiting, 1 left" in out.getvalue()
