"""Work shared among processes: the same results in the same order, and no process left behind."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from glassine.base import hashing, threads, workers
from glassine.base.errors import Finding, GlassineError

MB = 2**20


@pytest.fixture
def two(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(threads, "allowed", lambda: 2)


def large(_: object) -> int:
    return 40 * MB


def test_results_come_in_the_order_of_the_things_from_several_processes(two: None) -> None:
    done = workers.each(lambda number: (number * number, os.getpid()), range(9), large)
    assert [square for square, _ in done] == [number * number for number in range(9)]
    assert os.getpid() not in {process for _, process in done}


def test_little_work_is_done_here(two: None) -> None:
    done = workers.each(lambda _: os.getpid(), range(9), lambda _: 10)
    assert set(done) == {os.getpid()}


def test_files_are_hashed_there_as_here(two: None, tmp_path: Path) -> None:
    """A helper thread of this process must not be waited for in another."""
    path = tmp_path / "large"
    path.write_bytes(bytes(5 * MB))
    here = hashing.of_file(path)
    assert workers.each(hashing.of_file, [path] * 3, large) == [here] * 3


def test_what_holds_the_work_is_raised_with_its_findings(two: None) -> None:
    finding = Finding("delivery.changed", "a.tif", "It changed.", "as it was.", "Look.")

    def work(number: int) -> int:
        if number == 2:
            raise GlassineError([finding])
        return number

    with pytest.raises(GlassineError) as caught:
        workers.each(work, range(4), large)
    assert caught.value.findings == [finding]


def test_other_errors_come_as_they_are(two: None) -> None:
    def work(number: int) -> int:
        raise PermissionError(13, "denied", f"{number}.tif")

    with pytest.raises(PermissionError) as caught:
        workers.each(work, range(4), large)
    assert caught.value.filename == "0.tif"


def test_a_process_that_is_killed_ends_the_work_with_words(two: None) -> None:
    def work(number: int) -> int:
        if number == 1:
            os.kill(os.getpid(), signal.SIGKILL)
        return number

    with pytest.raises(GlassineError) as caught:
        workers.each(work, range(4), large)
    assert [finding.code for finding in caught.value.findings] == ["run.worker_ended"]
