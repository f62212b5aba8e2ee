"""A delivery that is held back stands among what a run could not do, and so in its summary."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import exits, files
from glassine.night import batches

HOLD = {
    "code": "delivery.new_version",
    "path": "b1",
    "what": "2 items come out otherwise.",
    "expected": "a person's word.",
    "next_step": "Decide.",
    "severity": "hold",
}
NOTE = {**HOLD, "code": "receipt.note", "severity": "note"}


def test_it_is_told_with_its_code_for_the_exit(tmp_path: Path) -> None:
    held = {"step": "deliver", "findings": [HOLD, NOTE]}
    files.write_json(tmp_path / "held.json", held)
    (problem,) = batches.held_delivery("b1", tmp_path)
    assert (problem.finding.code, problem.exit_code, problem.batch) == (
        "delivery.new_version",
        exits.HELD,
        "b1",
    )


@pytest.mark.parametrize("held", [None, {}, [], {"step": "films", "findings": [HOLD]}])
def test_what_another_step_told_is_none(held: Any, tmp_path: Path) -> None:
    if held is not None:
        files.write_json(tmp_path / "held.json", held)
    assert batches.held_delivery("b1", tmp_path) == []
