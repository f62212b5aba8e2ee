"""A large delivery that goes out again mostly unchanged says that it need not."""

from __future__ import annotations

from pathlib import Path

import pytest

from glassine.base.model import BatchId
from glassine.deliver import due, step
from makers import deliveries, redelivered
from makers.step_calls import do_delivery

GB = 10**9


@pytest.mark.parametrize(
    ("unchanged", "whole", "told"),
    [(200, 201, True), (9, 10, False), (20, 41, False), (20, 40, True), (0, 500, False)],
)
def test_it_is_said_of_much_that_is_as_before(unchanged: int, whole: int, told: bool) -> None:
    notes = due.much_again(BatchId("b1"), unchanged * GB, whole * GB)
    assert bool(notes) is told
    assert all(note.severity == "note" for note in notes)


@pytest.mark.parametrize(("later", "told"), [("whole", True), ("changed", False)])
def test_a_later_delivery_says_it_of_what_it_holds_again(
    later: str, told: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    deliveries.without_records(monkeypatch)
    monkeypatch.setattr(due, "_MUCH_BYTES", 1000)
    given = redelivered.make_batch(tmp_path, 3, later=later)
    assert "delivery.much_again" not in codes(do_delivery(tmp_path, given))
    redelivered.changed_title(tmp_path, "PEH-0002", "The other quay")
    assert ("delivery.much_again" in codes(do_delivery(tmp_path, given))) is told


def codes(outcome: step.Outcome) -> set[str]:
    return {note.code for note in outcome.notes}
