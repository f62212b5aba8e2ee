"""What was handed over of a batch: the digest of each item's rows, and the number of the handover.

A handover is a folder that takes its name when all of it is written; the ledger follows. Where a
run was ended in between, the next one takes the folder's own record into the ledger: what a system
may have fetched by then counts as handed over.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files
from glassine.base.errors import GlassineError

FOLDER, LEDGER, RECORD = "handover", "ledger.json", "record.json"


class Handed(msgspec.Struct, frozen=True, kw_only=True):
    """An item as it was handed over last. digest: of its rows. number: of the handover.
    persistent: its identifiers, `scheme value`."""

    digest: str
    number: int
    state: str
    persistent: list[str] = msgspec.field(default_factory=list)


class Ledger(msgspec.Struct, frozen=True, kw_only=True):
    """number: of the last handover, 0 for none. sent: of the last that was sent."""

    number: int = 0
    sent: int = 0
    items: dict[str, Handed] = msgspec.field(default_factory=dict)


def name_of(number: int) -> str:
    """Return the name of a handover's folder.

    >>> name_of(7)
    'h0007'
    """
    return f"h{number:04d}"


def read(results_batch_dir: Path) -> Ledger:
    """Return the ledger, with handovers that are written and that it does not tell of yet.

    Raises GlassineError where it is damaged, or lost while handovers lie there.
    """
    folder = results_batch_dir / FOLDER
    path = folder / LEDGER
    ledger = _load(path, Ledger) if path.exists() else Ledger()
    while (folder / name_of(ledger.number + 1)).is_dir():
        record = _load(folder / name_of(ledger.number + 1) / RECORD, Ledger)
        ledger = Ledger(number=record.number, sent=ledger.sent, items=ledger.items | record.items)
    return ledger


def _load(path: Path, kind: type[Ledger]) -> Ledger:
    try:
        return msgspec.convert(files.read_json(path), kind)
    except (msgspec.ValidationError, GlassineError, OSError) as problem:
        raise GlassineError.because(
            "handover.ledger",
            path,
            f"What was handed over before cannot be read: {problem}.",
            "the record as a night wrote it.",
            "Put it back from a backup; or move the folder `handover` of this batch away: then "
            "every item is handed over once more.",
        ) from problem


def write(results_batch_dir: Path, ledger: Ledger) -> None:
    value: dict[str, Any] = msgspec.to_builtins(ledger)
    files.write_json(results_batch_dir / FOLDER / LEDGER, value)
