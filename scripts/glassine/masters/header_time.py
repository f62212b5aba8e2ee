"""When and by which camera a TIFF says that it was captured, read from a few bytes.

As `header_size`: intake asks it of many files in one process, so no library reads them there. What
cannot be read is None; whether the file is sound is for `verify` to say.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO

from glassine.base import door

# TIFF 6.0 (Make, Model, DateTime) and EXIF 2.32, the others.
_MAKE, _MODEL, _CHANGED, _EXIF = 271, 272, 306, 34665
_TAKEN, _FRACTION, _SERIAL = 36867, 37521, 42033
_WANTED = frozenset({_MAKE, _MODEL, _CHANGED, _EXIF, _TAKEN, _FRACTION, _SERIAL})
_SIZES = {2: 1, 4: 4, 13: 4, 16: 8, 18: 8}
_MAX_ENTRIES, _MAX_TEXT = 4096, 64


@dataclass(frozen=True)
class Captured:
    """taken: seconds on the camera's own clock, None where it says none. camera: its make, model
    and serial number, empty where none is named."""

    taken: float | None = None
    camera: str = ""


def captured(path: Path, root: Path | None = None) -> Captured:
    """Return when a TIFF says that it was captured. root: as in `header_size.size_px`.

    Never raises for what is in the file; at most 165 KB of it are read.
    """
    try:
        with door.open_file(path, root or path.parent) as stream:
            return _captured(stream)
    except (OSError, struct.error, OverflowError, ValueError):
        return Captured()


def _captured(stream: BinaryIO) -> Captured:
    head = stream.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 16:
        return Captured()
    (magic,) = struct.unpack(f"{order}H", head[2:4])
    if magic not in (42, 43):
        return Captured()
    big = magic == 43
    (offset,) = struct.unpack(f"{order}{'Q' if big else 'I'}", head[8:16] if big else head[4:8])
    tags = _directory(stream, offset, order, big)
    exif = tags.pop(_EXIF, None)
    if isinstance(exif, int):
        tags = {**tags, **_directory(stream, exif, order, big)}
    names = [tags.get(tag) for tag in (_MAKE, _MODEL, _SERIAL)]
    camera = " ".join(name for name in names if isinstance(name, str) and name)
    taken = _seconds(tags.get(_TAKEN), tags.get(_FRACTION))
    return Captured(_seconds(tags.get(_CHANGED), None) if taken is None else taken, camera)


def _directory(stream: BinaryIO, offset: int, order: str, big: bool) -> dict[int, str | int]:
    stream.seek(offset)
    counted = stream.read(8 if big else 2)
    (count,) = struct.unpack(f"{order}{'Q' if big else 'H'}", counted)
    step = 20 if big else 12
    entries = stream.read(step * min(count, _MAX_ENTRIES))
    found: dict[int, str | int] = {}
    for start in range(0, len(entries) - step + 1, step):
        entry = entries[start : start + step]
        tag, kind = struct.unpack(f"{order}HH", entry[:4])
        if tag in _WANTED and kind in _SIZES and tag not in found:
            found[tag] = _value(stream, entry, kind, order, big)
    return found


def _value(stream: BinaryIO, entry: bytes, kind: int, order: str, big: bool) -> str | int:
    word = f"{order}{'Q' if big else 'I'}"
    (count,) = struct.unpack(word, entry[4:12] if big else entry[4:8])
    inline = entry[12:20] if big else entry[8:12]
    if kind != 2:
        code = {4: "I", 8: "Q"}[_SIZES[kind]]
        return int(struct.unpack(f"{order}{code}", inline[: _SIZES[kind]])[0])
    length = min(count, _MAX_TEXT)
    if count > len(inline):
        stream.seek(struct.unpack(word, inline)[0])
        inline = stream.read(length)
    return inline[:length].split(b"\0")[0].decode("ascii", "replace").strip()


def _seconds(text: str | int | None, fraction: str | int | None) -> float | None:
    """Return seconds of a date as EXIF writes it ("2026:03:17 10:00:00"), else None."""
    try:
        moment = datetime.strptime(str(text), "%Y:%m:%d %H:%M:%S").replace(tzinfo=UTC)
    except ValueError:
        return None
    digits = fraction if isinstance(fraction, str) and fraction.isdecimal() else "0"
    return moment.timestamp() + float(f"0.{digits[:9]}")
