"""Marks by which a night knows that nothing of an item has changed since its records were read.

At the end of each run it is told how every item stands, and what changed is handed over. Most items
are as they were: for these a look at the times of their records takes the place of reading them.
What is kept may be removed at any time; then all records are read once.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, intake_file
from glassine.base.errors import GlassineError
from glassine.base.item_states import ItemStatus, item_status

NAME = "states.json"
# What tells how an item stands and what is handed over of it.
_RECORDS = (
    "held.json",
    "fixity.json",
    "geometry.json",
    "render/render.json",
    "quality.json",
    "embedded.json",
    "package.json",
    "manifest.json",
)
_ROOMS = Path(__file__).parents[1]


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """code: digest of the code and the settings that made it. items: {item: (its mark, what the
    records said)}."""

    code: str
    items: dict[str, tuple[str, list[str]]] = msgspec.field(default_factory=dict)


@cache
def code_of(*rooms: str) -> str:
    """Return a digest of all files of these rooms: other software may read other things out of the
    same records."""
    digest = hashlib.sha256()
    for room in rooms:
        for path in sorted((_ROOMS / room).rglob("*")):
            if path.suffix != ".pyc" and path.is_file():
                digest.update(f"{path.relative_to(_ROOMS)}\0".encode())
                digest.update(hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()


def mark(entry: dict[str, Any], item_dir: Path, more: Iterable[Any] = ()) -> str:
    """Return what changes when the item does. To be taken before its records are read: one that is
    replaced meanwhile is then read again the next time.

    entry: the item as intake.json has it; more: what else counts, as JSON. A record counts by
    times, size and place on the disk, so that neither a copy nor an edit with its time set back
    goes unseen."""
    folder = str(item_dir)
    states = [_state(f"{folder}/{name}") for name in _RECORDS]
    # Keys stand as in the file, which is written sorted: another order would only be read again.
    return hashlib.sha256(msgspec.json.encode([entry, states, *more])).hexdigest()


def _state(path: str) -> list[int]:
    try:
        status = os.stat(path)  # noqa: PTH116 - a third of the time
    except OSError as problem:
        return [problem.errno or 0]
    return [status.st_mtime_ns, status.st_ctime_ns, status.st_size, status.st_ino]


def read(path: Path, code: str) -> Kept:
    """Return what is kept at `path`; nothing where it cannot be used, or other code made it."""
    try:
        kept = msgspec.convert(files.read_json(path), Kept) if path.exists() else Kept(code=code)
    except (GlassineError, OSError, msgspec.ValidationError):
        return Kept(code=code)
    return kept if kept.code == code else Kept(code=code)


def write(path: Path, before: Kept, kept: Kept) -> None:
    """Keep it where it is another than before; where there is no room, nothing is kept."""
    if kept != before and path.parent.is_dir():
        with contextlib.suppress(OSError):
            files.write_json(path, msgspec.to_builtins(kept))


def batch_states(results_batch_dir: Path) -> list[ItemStatus]:
    """Return where each item of intake.json stands, in its order, as `item_states.batch_status`
    does, but for reasons and records: those of 50,000 items fill the memory. Records of finished
    items are read once, until something of them changes.

    Raises GlassineError where intake.json is missing or damaged.
    """
    entries = intake_file.read(results_batch_dir / "intake.json").value["items"]
    path = results_batch_dir / NAME
    before = read(path, code_of("base"))
    items: dict[str, tuple[str, list[str]]] = {}
    statuses = []
    for entry in entries:
        item = str(entry["item"])
        item_dir = results_batch_dir / "items" / item
        now = mark(entry, item_dir)
        known = before.items.get(item)
        status = _as_before(item, now, known) or _without_records(item_status(entry, item_dir))
        if status.state in ("done", "review"):
            items[item] = (now, [status.state, status.last_read or ""])
        statuses.append(status)
    write(path, before, Kept(code=before.code, items=items))
    return statuses


def _as_before(item: str, now: str, known: tuple[str, list[str]] | None) -> ItemStatus | None:
    if known is None or known[0] != now:
        return None
    state, last_read = known[1]
    if state == "done":
        return ItemStatus(item, "done", last_read=last_read or None)
    return ItemStatus(item, "review", last_read=last_read or None)


def _without_records(status: ItemStatus) -> ItemStatus:
    status.records, status.reasons, status.unseen, status.asked = {}, [], [], []
    return status
