"""A TIFF writer for masters: 16 bits, strips or tiles, Exif IFD, ICC profile, BigTIFF if asked.

Pixels come as bands of rows, so memory stays at one band; the directory follows the pixels.
TIFF 6.0 (sections 2, 8, 14, 15); BigTIFF as libtiff documents it; Exif 2.31 for the capture.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from makers.film import deflate

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 13: 4, 16: 8}
_FORMATS = {1: "B", 3: "H", 4: "I", 13: "I", 16: "Q"}
SHORT, LONG, LONG8, ASCII, RATIONAL, UNDEFINED = 3, 4, 16, 2, 5, 7

Tag = tuple[int, int, object]  # number, type, value


@dataclass(frozen=True)
class Capture:
    """What the camera notes; all of it invented, none of it of the run."""

    taken: str  # "2026:03:17 09:14:05"
    make: str = "Marlow Optical"
    model: str = "Marlow MO-150 Copy"
    serial: str = "MO150-00417"
    lens: str = "Marlow Repro-Planar 95mm f/4"
    software: str = "Marlow Station 4.2"
    exposure_s: tuple[int, int] = (1, 60)
    f_number: tuple[int, int] = (71, 10)
    iso: int = 50
    focal_mm: tuple[int, int] = (95, 1)
    offset: str = "+00:00"


@dataclass(frozen=True)
class Storage:
    """How the samples lie in the file."""

    compression: str = "deflate"  # deflate | none
    tile: int | None = None
    big: bool = False
    rows_per_strip: int = 64


def write(
    path: Path,
    bands: Iterable[np.ndarray],
    shape: tuple[int, int, int],
    *,
    icc: bytes,
    capture: Capture,
    ppi: float | None,
    storage: Storage,
) -> None:
    """Write `bands` (u16, rows x width x samples, in order) as the TIFF `path`."""
    height, width, samples = shape
    with path.open("wb") as out:
        out.write(b"II" + (struct.pack("<HHHQ", 43, 8, 0, 0) if storage.big else b"\x2a\0\0\0\0\0"))
        offsets, counts = [], []
        for segment in _segments(bands, shape, storage):
            offsets.append(out.tell())
            counts.append(len(segment))
            out.write(segment)
            out.write(bytes(len(segment) % 2))
        exif = _write_ifd(out, _exif_tags(capture), storage.big)
        tags = _main_tags(width, height, samples, icc, capture, ppi, storage)
        where = LONG8 if storage.big else LONG
        names = (324, 325) if storage.tile else (273, 279)
        tags += [(names[0], where, offsets), (names[1], where, counts), (34665, 4, [exif])]
        start = _write_ifd(out, tags, storage.big)
        out.seek(8 if storage.big else 4)
        out.write(struct.pack("<Q" if storage.big else "<I", start))


def _segments(
    bands: Iterable[np.ndarray], shape: tuple[int, int, int], storage: Storage
) -> Iterator[bytes]:
    for rows in _regrouped(bands, storage.tile or storage.rows_per_strip):
        if storage.tile is None:
            yield _encoded(rows, storage)
            continue
        side = storage.tile
        for left in range(0, shape[1], side):
            part = rows[:, left : left + side]
            missing = ((0, side - part.shape[0]), (0, side - part.shape[1]), (0, 0))
            yield _encoded(np.pad(part, missing, mode="edge"), storage)


def _regrouped(bands: Iterable[np.ndarray], rows: int) -> Iterator[np.ndarray]:
    """Yield the same rows in groups of `rows` (the last may have fewer)."""
    kept: list[np.ndarray] = []
    have = 0
    for band in bands:
        kept.append(band)
        have += len(band)
        if have < rows:
            continue
        whole = np.concatenate(kept)
        full = have - have % rows
        for top in range(0, full, rows):
            yield whole[top : top + rows]
        kept, have = [whole[full:]], have - full
    if have:
        yield np.concatenate(kept)


def _encoded(block: np.ndarray, storage: Storage) -> bytes:
    if storage.compression == "none":
        return block.astype("<u2").tobytes()
    # TIFF 6.0 section 14: horizontal differencing, per sample, modulo 2**16
    difference = block.copy()
    difference[:, 1:] -= block[:, :-1]
    return deflate.compress(difference.astype("<u2").tobytes())


def _main_tags(
    width: int,
    height: int,
    samples: int,
    icc: bytes,
    capture: Capture,
    ppi: float | None,
    storage: Storage,
) -> list[Tag]:
    packed = storage.compression != "none"
    tags: list[Tag] = [
        (254, LONG, [0]),
        (256, LONG, [width]),
        (257, LONG, [height]),
        (258, SHORT, [16] * samples),
        (259, SHORT, [8 if packed else 1]),
        (262, SHORT, [2 if samples == 3 else 1]),
        (271, ASCII, capture.make),
        (272, ASCII, capture.model),
        (274, SHORT, [1]),
        (277, SHORT, [samples]),
        (284, SHORT, [1]),
        (305, ASCII, capture.software),
        (306, ASCII, capture.taken),
        (339, SHORT, [1] * samples),
        (34675, UNDEFINED, icc),
    ]
    if ppi is not None:
        resolution = (round(ppi * 1000), 1000)
        tags += [(282, RATIONAL, resolution), (283, RATIONAL, resolution), (296, SHORT, [2])]
    if packed:
        tags.append((317, SHORT, [2]))
    if storage.tile:
        tags += [(322, LONG, [storage.tile]), (323, LONG, [storage.tile])]
    else:
        tags.append((278, LONG, [storage.rows_per_strip]))
    return tags


def _exif_tags(capture: Capture) -> list[Tag]:
    return [
        (33434, RATIONAL, capture.exposure_s),
        (33437, RATIONAL, capture.f_number),
        (34855, SHORT, [capture.iso]),
        (36864, UNDEFINED, b"0231"),
        (36867, ASCII, capture.taken),
        (36868, ASCII, capture.taken),
        (36881, ASCII, capture.offset),
        (36882, ASCII, capture.offset),
        (37386, RATIONAL, capture.focal_mm),
        (42033, ASCII, capture.serial),
        (42035, ASCII, capture.make),
        (42036, ASCII, capture.lens),
    ]


def _write_ifd(out: BinaryIO, tags: list[Tag], big: bool) -> int:
    """Write a directory with its long values before it; return its offset."""
    room = 8 if big else 4
    entries = []
    for number, kind, value in sorted(tags):
        data = _packed(kind, value)
        count = len(data) // _SIZES[kind]
        if len(data) > room:
            place = out.tell()
            out.write(data + bytes(len(data) % 2))
            data = struct.pack("<Q" if big else "<I", place)
        head = struct.pack("<HHQ" if big else "<HHI", number, kind, count)
        entries.append(head + data.ljust(room, b"\0"))
    out.write(bytes(-out.tell() % 8))
    start = out.tell()
    out.write(struct.pack("<Q" if big else "<H", len(entries)))
    out.write(b"".join(entries) + bytes(room))
    return start


def _packed(kind: int, value: object) -> bytes:
    if kind == ASCII:
        return str(value).encode("ascii") + b"\0"
    if kind == UNDEFINED:
        return bytes(value)  # type: ignore[call-overload]
    if kind == RATIONAL:
        return struct.pack("<2I", *value)  # type: ignore[misc]
    return struct.pack(f"<{len(value)}{_FORMATS[kind]}", *value)  # type: ignore[arg-type,misc]
