"""What the target captures of a batch say of its delivery, as their record has it.

Apart from the measuring: records and packages read this, and need none of its libraries.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records import Given
from glassine.base.records.parts import FindingNote

RECORD = "targets.json"
# The schema's name.
_NAME = "targets"


class _Shared(Given, frozen=True, kw_only=True):
    """What travels with each item; the targets as they stand, whichever version wrote them."""

    batch: str
    statement: str
    targets: list[dict[str, Any]]


class _Holding(Given, frozen=True, kw_only=True):
    """What decides about the delivery."""

    holds: list[FindingNote]


def share(results_dir: Path, item_dir: Path, *, named: bool) -> None:
    """Put what the targets say of the batch beside an item's records: it travels with the package.

    named: whether batch.yaml names any; where it does not, nothing lies there. The course over
    batches is left out: it is no fact of this item. Raises GlassineError for a damaged record.
    """
    path = item_dir / RECORD
    if not named:
        path.unlink(missing_ok=True)
        return
    shared = record_files.load(results_dir / RECORD, _NAME, _Shared)
    files.write_json(path, msgspec.to_builtins(shared))


def check(results_dir: Path) -> None:
    """Raise GlassineError where the batch's targets keep it from delivery, or were not measured."""
    known = record_files.load(results_dir / RECORD, _NAME, _Holding)
    holding = [note for note in known.holds if note.severity == "hold"]
    if holding:
        raise GlassineError([Finding(**msgspec.structs.asdict(note)) for note in holding])
