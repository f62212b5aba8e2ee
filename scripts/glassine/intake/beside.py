"""Pictures beside a master, of its name: previews and camera raw files, which are no masters; by
setting TIFFs beside raw files.

A preview or raw file goes with the one master that has its stem, in its folder or, where none is
there, in the batch. One that belongs to no master, or may belong to two, is held as ever: the
master itself may be what is missing.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import PurePosixPath

from glassine.base import door, naming
from glassine.base.model import ItemId
from glassine.base.records.intake import Companion, CompanionKind
from glassine.intake.model import OTHER_PICTURE_SUFFIXES, Batch, Collector
from glassine.masters import header_size

# Files of an editing program with layers: neither a preview nor what the camera wrote.
_LAYERED = {".psd", ".psb"}
_PREVIEWS = OTHER_PICTURE_SUFFIXES - naming.RAW_SUFFIXES - _LAYERED


def is_raw(name: str) -> bool:
    """Return whether a file of this name is a camera raw file."""
    return naming.is_raw(name)


def is_preview(name: str) -> bool:
    """Return whether a file of this name may be a preview of a master."""
    return PurePosixPath(name).suffix.lower() in _PREVIEWS


def _stem(path: str) -> str:
    """Return the name without its ending, folded; `a.tif.jpg` is of `a.tif`."""
    name = PurePosixPath(path)
    inner = PurePosixPath(name.stem)
    stem = inner.stem if inner.suffix.lower() in naming.MASTER_SUFFIXES else name.stem
    return stem.casefold()


class Masters:
    """The masters of a batch by their stems. owners: {path: item}."""

    def __init__(self, owners: dict[str, ItemId]) -> None:
        self._owners = owners
        self._paths: dict[tuple[str, str], list[str]] = {}
        self._stems: dict[str, list[str]] = {}
        for path in owners:
            stem = _stem(path)
            self._paths.setdefault((str(PurePosixPath(path).parent), stem), []).append(path)
            self._stems.setdefault(stem, []).append(path)

    def __bool__(self) -> bool:
        return bool(self._owners)

    def of(self, path: str) -> str | None:
        """Return the one master that a picture goes with, or None."""
        stem = _stem(path)
        here = self._paths.get((str(PurePosixPath(path).parent), stem))
        paths = here or self._stems.get(stem, [])
        return paths[0] if len(paths) == 1 else None

    def item(self, master: str) -> ItemId:
        return self._owners[master]


def place(batch: Batch, collector: Collector, entries: Iterable[door.Entry]) -> list[door.Entry]:
    """Put previews and raw files beside their masters; return those that go with none."""
    masters = Masters(collector.owners())
    unplaced = []
    for entry in entries:
        kind = _kind(batch, entry)
        settings = batch.settings.intake
        use = settings.previews if kind == "preview" else settings.raws
        master = masters.of(entry.path)
        if use == "hold" or master is None or not _is_of_kind(batch, entry, kind):
            unplaced.append(entry)
        elif use == "ignore":
            collector.ignored.append(entry.path)
        else:
            collector.item(masters.item(master)).companions.append(
                Companion(
                    path=entry.path,
                    kind=kind,
                    master=master,
                    bytes=entry.size,
                    mtime_ns=entry.mtime_ns,
                    expected=dict(batch.lists.expected.get(entry.path, {})),
                    delivered=use == "deliver",
                )
            )
    return unplaced


def _kind(batch: Batch, entry: door.Entry) -> CompanionKind:
    if entry.path in batch.tiffs_beside:
        return "tiff"
    return "raw" if is_raw(entry.name) else "preview"


def _is_of_kind(batch: Batch, entry: door.Entry, kind: CompanionKind) -> bool:
    """Return whether a file may be of this kind by its content: a TIFF is no preview, but many
    raw files begin as one does."""
    return kind != "preview" or (is_preview(entry.name) and not begins_as_tiff(batch, entry))


def begins_as_tiff(batch: Batch, entry: door.Entry) -> bool:
    """Return whether a file begins as a TIFF does; what cannot be read is told elsewhere."""
    try:
        with door.open_file(batch.folder / os.fsdecode(entry.raw), batch.folder) as stream:
            return stream.read(4) in header_size.TIFF_HEADS
    except OSError:
        return False
