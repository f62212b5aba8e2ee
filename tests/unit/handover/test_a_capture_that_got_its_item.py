"""A capture that had no item and has one now is not handed over as if something were missing."""

from __future__ import annotations

from pathlib import Path

import pytest

from glassine.base import files, naming
from glassine.handover import facts


@pytest.mark.parametrize(
    ("before", "why"),
    [
        (naming.stand_in("DSC_0102.tif"), "Its capture DSC_0102.tif belongs to PEH-0001 now."),
        (naming.stand_in("DSC_0199.tif"), "the batch has no such capture any more"),
        ("PEH-0009", "It is no longer in the batch folder, and nobody has withdrawn it."),
    ],
)
def test_why_it_is_gone_is_true(tmp_path: Path, before: str, why: str) -> None:
    entry = {"item": "PEH-0001", "masters": [{"path": "DSC_0102.tif"}]}
    files.write_json(tmp_path / "intake.json", {"batch": "b1", "items": [entry], "withdraw": []})
    (told,) = facts.of_batch(tmp_path, (), {before: ()}, lambda *known: True)
    assert (told.item, told.state) == (before, facts.GONE)
    assert why in told.reasons[0]
