"""What a night knew of the items that were as they should be, for the next night to build on.

Kept in `results/<batch>/settled.json`, which may be removed at any time. It answers two questions
for an item, and each only where all that the answer was made of is as it was:

- The key of what its steps are given (`due.key`) is made of intake.json, the batch's films, the
  settings, this program and, for an embargo, of the day. Keys are taken from here where digests of
  the first four are the same; items whose row states an embargo are never taken from here.
- That it is settled (`due.is_settled`) was read from its stamp and the sizes of its records. It is
  taken from here where times, size and place on the disk of the stamp and of each record are the
  same, and nothing holds the item.

So an item may be looked at once too often, never once too seldom.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import struct
import time
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, item_marks
from glassine.base.model import ItemId
from glassine.base.records.catalogue import RowAccess
from glassine.base.records.intake import ItemEntry
from glassine.night import due

NAME = "settled.json"
# A file that changed so short a time ago may change again with the same times.
_AT_REST_NS = 2 * 10**9
_MAX_BYTES = 64 * 2**20


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """context: digest of all that keys are made of. intake: SHA-256 of the intake.json that was
    read strictly. names: lists of records. items: {item: (key, place of its list in `names`, its
    mark)}."""

    context: str = ""
    intake: str = ""
    names: list[list[str]] = msgspec.field(default_factory=list)
    items: dict[str, tuple[str, int, str]] = msgspec.field(default_factory=dict)


def read(results: Path) -> Kept:
    """Return what is kept of a batch; nothing where it cannot be used. results: its folder."""
    path = results / NAME
    try:
        if path.stat().st_size > _MAX_BYTES:
            return Kept()
        return msgspec.json.decode(path.read_bytes(), type=Kept)
    except (OSError, msgspec.DecodeError):
        return Kept()


def context_of(batch: due.Batch, config: dict[str, Any]) -> str:
    """Return a digest of all that the keys of a batch's items are made of, but for the day;
    "" where it is not known."""
    if not batch.sha256:
        return ""
    code = item_marks.code_of(".")
    # Which items a run is for is no part of what their steps are given.
    settings = {name: value for name, value in config.items() if name != "only"}
    try:
        text = files.canonical([code, batch.sha256, batch.films, settings])
    except (TypeError, ValueError):  # settings that are no plain JSON: nothing is kept
        return ""
    return hashlib.sha256(text.encode()).hexdigest()


def by_day(entry: ItemEntry) -> bool:
    """Return whether what an item's steps are given may change with the day."""
    row = entry.catalogue
    return row is not None and isinstance(row.access, RowAccess) and bool(row.access.until)


def use_keys(kept: Kept, batch: due.Batch, config: dict[str, Any]) -> None:
    """Take the keys of the items from what is kept, where they would come out the same."""
    if kept.intake != batch.sha256 or not kept.context or kept.context != context_of(batch, config):
        return
    for item, (key, _, _) in kept.items.items():
        entry = batch.items.get(ItemId(item))
        if entry is not None and not by_day(entry):
            batch.keys.setdefault((ItemId(item), True), (config, key))


def mark(folder: str, names: list[str]) -> tuple[str, int]:
    """Return what changes when the stamp of an item or one of these records does, and the time of
    the last change (ns since 1970); "" where one is missing, or where the item is held."""
    try:
        os.stat(f"{folder}/held.json")  # noqa: PTH116 - as below
    except FileNotFoundError:
        pass
    except OSError:
        return "", 0
    else:
        return "", 0
    state: list[int] = []
    last = 0
    try:
        for name in (due.STAMP, *names):
            status = os.stat(f"{folder}/{name}")  # noqa: PTH116 - a third of the time
            changed = status.st_ctime_ns
            state += (status.st_mtime_ns, changed, status.st_size, status.st_ino, status.st_dev)
            last = max(last, changed, status.st_mtime_ns)
    except OSError:
        return "", 0
    packed = struct.pack(f"<{len(state)}q", *(each & 2**63 - 1 for each in state))
    return hashlib.sha256(packed).hexdigest(), last


def is_settled(kept: Kept, item: str, folder: Path, key: str) -> bool:
    """Return whether the item was settled with this key, and nothing of it changed since."""
    known = kept.items.get(item)
    if known is None or known[0] != key or not 0 <= known[1] < len(kept.names):
        return False
    return bool(known[2]) and mark(str(folder), kept.names[known[1]])[0] == known[2]


class Look:
    """A look at which items are settled, and what is to be kept of it."""

    def __init__(self, before: Kept) -> None:
        self.before = before
        self._names: dict[tuple[str, ...], int] = {
            tuple(names): place for place, names in enumerate(before.names)
        }
        self._items: dict[str, tuple[str, int, str]] = {}
        self._now = time.time_ns()

    def unsettled(self, batch: due.Batch, items_dir: Path, config: dict[str, Any]) -> list[ItemId]:
        """Return what `due.unsettled` does."""
        return [
            item
            for item in due.asked_for(batch, config)
            if not self._is_settled(batch, item, items_dir / item, config)
        ]

    def _is_settled(
        self, batch: due.Batch, item: ItemId, folder: Path, config: dict[str, Any]
    ) -> bool:
        key = due.key(batch, item, config)
        if is_settled(self.before, item, folder, key):
            self._items[item] = self.before.items[item]
            return True
        names = due.settled_records(folder, key)
        if names is None:
            return False
        # Taken before the stamp is judged: what changes meanwhile has another mark the next time.
        now, last = mark(str(folder), names)
        settled = due.settled_records(folder, key)
        if now and settled == names and last < self._now - _AT_REST_NS:
            place = self._names.setdefault(tuple(names), len(self._names))
            self._items[item] = (key, place, now)
        return settled is not None

    def keep(self, results: Path, batch: due.Batch, config: dict[str, Any]) -> None:
        """Write it where it is another than before; where there is no room, nothing is kept."""
        context = context_of(batch, config)
        names = [list(each) for each in self._names]
        kept = Kept(context=context, intake=batch.sha256, names=names, items=self._items)
        if context and kept != self.before and results.is_dir():
            with contextlib.suppress(OSError):
                files.write_bytes(results / NAME, msgspec.json.encode(kept))
