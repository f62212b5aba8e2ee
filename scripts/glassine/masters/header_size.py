"""The size that a TIFF declares, read from a few bytes: no decoder, no loop, no large memory.

Intake asks this of every file of a batch in one process, so nothing hostile may reach a library
there. Whether the file is sound is for `verify` to say.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import BinaryIO

from glassine.base import door
from glassine.masters import raw_tags

_WIDTH, _LENGTH = 256, 257
# First bytes of TIFF and BigTIFF, either byte order.
TIFF_HEADS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
# Field types of TIFF 6.0 section 2 and BigTIFF that a size may have.
_SIZES = {1: "B", 3: "H", 4: "I", 16: "Q"}
_MAX_ENTRIES = 4096


def size_px(path: Path, root: Path | None = None) -> list[int] | None:
    """Return [width, height] of the first picture of a TIFF or BigTIFF, or None.

    root: the batch folder, below which no link is followed; the file's own folder where none is
    given. Never raises for what is in the file; at most 82 KB of it are read.
    """
    try:
        with door.open_file(path, root or path.parent) as stream:
            directory = _first_directory(stream)
    except (OSError, struct.error, OverflowError, ValueError):
        return None
    width, height = directory.get(_WIDTH, 0), directory.get(_LENGTH, 0)
    return [width, height] if width and height else None


def raw_size_px(path: Path, root: Path) -> list[int] | None:
    """Return [width, height] of the raw picture that the tags of a raw file declare, or None."""
    try:
        with door.open_file(path, root) as stream:
            found = raw_tags.declared(stream, path.stat().st_size)
    except (OSError, struct.error, raw_tags.Broken, OverflowError, ValueError):
        return None
    return [found.width, found.height] if found and found.width and found.height else None


def _first_directory(stream: BinaryIO) -> dict[int, int]:
    head = stream.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None:
        return {}
    (magic,) = struct.unpack(f"{order}H", head[2:4])
    if magic not in (42, 43):
        return {}
    big = magic == 43
    (offset,) = struct.unpack(f"{order}{'Q' if big else 'I'}", head[8:16] if big else head[4:8])
    stream.seek(offset)
    counted = stream.read(8 if big else 2)
    (count,) = struct.unpack(f"{order}{'Q' if big else 'H'}", counted)
    step = 20 if big else 12
    entries = stream.read(step * min(count, _MAX_ENTRIES))
    values = {}
    for start in range(0, len(entries) - step + 1, step):
        tag, kind = struct.unpack(f"{order}HH", entries[start : start + 4])
        if tag in (_WIDTH, _LENGTH) and kind in _SIZES and tag not in values:
            code = f"{order}{_SIZES[kind]}"
            value = entries[start + (12 if big else 8) : start + step]
            (values[tag],) = struct.unpack(code, value[: struct.calcsize(code)])
    return values
