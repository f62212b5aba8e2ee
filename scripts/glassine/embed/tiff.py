"""Metadata put into a TIFF by a new first directory at its end; every other byte stays.

TIFF 6.0 section 2: the header points to the first directory, a directory to its values and to
the next one; values that do not fit an entry stand anywhere in the file. So a directory with
the old entries and the new ones goes behind the last byte and the header is pointed at it: strips,
tiles, profile, SubIFDs and following pages stay where they are, bit for bit. The same holds for
BigTIFF, whose offsets have 64 bits (version 43). Tags: 269 to 272, 305, 315 and 33432 of TIFF 6.0
sections 8 and 12 (texts), 700 of XMP part 3 (the packet), 33723 of ISO 12234-2 (IPTC-IIM).
"""

from __future__ import annotations

import hashlib
import os
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

ASCII, UNDEFINED = 2, 7
DOCUMENT_NAME, DESCRIPTION, MAKE, MODEL, SOFTWARE, ARTIST = 269, 270, 271, 272, 305, 315
XMP, COPYRIGHT, IIM = 700, 33432, 33723
# Tags that may be added or replaced: no decoder needs one of them for the picture.
DESCRIPTIVE = frozenset(
    {DOCUMENT_NAME, DESCRIPTION, MAKE, MODEL, SOFTWARE, ARTIST, XMP, COPYRIGHT, IIM}
)
# A catalogue record has a few KB; what is far larger is no description.
MAX_ADDED = 4 * 2**20
MAX_ENTRIES = 1000
_WIDTH, _LENGTH, _BITS, _COMPRESSION, _SAMPLES = 256, 257, 258, 259, 277
_ICC, _MAX_ICC = 34675, 16 * 2**20  # ICC.1:2010, B.4
# Formats of whole numbers by type: BYTE, SHORT, LONG (TIFF 6.0 section 2), LONG8 (BigTIFF).
_NUMBERS = {1: "B", 3: "H", 4: "I", 16: "Q"}


@dataclass(frozen=True)
class _Form:
    """How one of the two kinds of TIFF is laid out. order: `<` or `>`, as struct wants it."""

    order: str
    big: bool

    @property
    def pointer(self) -> struct.Struct:
        return struct.Struct(self.order + ("Q" if self.big else "I"))

    @property
    def pointer_at(self) -> int:
        """Where the header says where the first directory is."""
        return 8 if self.big else 4

    @property
    def number(self) -> struct.Struct:
        """The count of a directory's entries."""
        return struct.Struct(self.order + ("Q" if self.big else "H"))

    @property
    def entry(self) -> struct.Struct:
        """tag, type, count, value or offset."""
        return struct.Struct(self.order + ("HHQ8s" if self.big else "HHI4s"))

    @property
    def word(self) -> int:
        """Directories and values begin on multiples of it (TIFF 6.0 section 2)."""
        return 8 if self.big else 2


@dataclass(frozen=True)
class Directory:
    """The first directory. entries: {tag: (type, count, value field as it stands)}."""

    form: _Form
    entries: dict[int, tuple[int, int, bytes]]
    following: int
    file_bytes: int

    @property
    def byte_order(self) -> str:
        return "little endian" if self.form.order == "<" else "big endian"


def _read(stream: BinaryIO, at: int, count: int) -> bytes:
    stream.seek(at)
    octets = stream.read(count)
    if len(octets) != count:
        raise ValueError(f"it ends before byte {at + count}")
    return octets


def first_directory(stream: BinaryIO) -> Directory:
    """Return the first directory of a TIFF or BigTIFF.

    Raises ValueError for what is neither, is cut short, or has a directory beyond reason.
    """
    file_bytes = stream.seek(0, os.SEEK_END)
    form = _form(_read(stream, 0, min(16, file_bytes)))
    (at,) = form.pointer.unpack(_read(stream, form.pointer_at, form.pointer.size))
    (count,) = form.number.unpack(_read(stream, at, form.number.size))
    if not 0 < count <= MAX_ENTRIES:
        raise ValueError(f"its first directory has {count} entries")
    start = at + form.number.size
    table = _read(stream, start, count * form.entry.size + form.pointer.size)
    rows = list(form.entry.iter_unpack(table[: -form.pointer.size]))
    entries = {tag: (kind, number, value) for tag, kind, number, value in rows}
    if len(entries) != count:
        raise ValueError("a tag stands twice in its first directory")
    (following,) = form.pointer.unpack(table[-form.pointer.size :])
    return Directory(form, entries, following, file_bytes)


def _form(head: bytes) -> _Form:
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None or len(head) < 8:
        raise ValueError("it does not begin as a TIFF does")
    (version,) = struct.unpack_from(order + "H", head, 2)
    if version == 42:
        return _Form(order, big=False)
    if version == 43 and struct.unpack_from(order + "HH", head, 4) == (8, 0) and len(head) == 16:
        return _Form(order, big=True)
    raise ValueError(f"it is no TIFF of version 42 or 43, but {version}")


def _checked(fields: dict[int, tuple[int, bytes]]) -> None:
    strange = sorted(set(fields) - DESCRIPTIVE)
    if strange:
        raise ValueError(f"the tags {strange} do not describe, the picture may hang on them")
    for tag, (kind, value) in fields.items():
        if kind not in (ASCII, UNDEFINED) or not value:
            raise ValueError(f"tag {tag} has no text and no packet")
    added = sum(len(value) for _, value in fields.values())
    if added > MAX_ADDED:
        raise ValueError(f"metadata of a TIFF may have {MAX_ADDED} bytes, not {added}")


def appended(before: Directory, fields: dict[int, tuple[int, bytes]]) -> tuple[int, bytes]:
    """Return (offset of the new first directory, all that goes behind the file's last byte).

    fields: {tag: (ASCII or UNDEFINED, value)}; those the file has are replaced, all others of its
    first directory are taken over as they stand. Raises ValueError for tags that are not
    descriptive, too much of them, or a file that would outgrow 32-bit offsets.
    """
    _checked(fields)
    form = before.form
    start = _up(before.file_bytes, form.word)
    count = len(set(before.entries) | set(fields))
    at = start + form.number.size + count * form.entry.size + form.pointer.size
    entries = dict(before.entries)
    values = bytearray()
    room = form.pointer.size
    for tag, (kind, value) in sorted(fields.items()):
        if len(value) <= room:
            entries[tag] = (kind, len(value), value.ljust(room, b"\0"))
            continue
        place = _up(at + len(values), form.word)
        values += bytes(place - at - len(values)) + value
        if place + len(value) >= 2 ** (8 * room):
            raise ValueError("it would outgrow the 32-bit offsets of TIFF 6.0")
        entries[tag] = (kind, len(value), form.pointer.pack(place))
    table = b"".join(form.entry.pack(tag, *entries[tag]) for tag in sorted(entries))
    head = bytes(start - before.file_bytes) + form.number.pack(count)
    if start >= 2 ** (8 * room):
        raise ValueError("it would outgrow the 32-bit offsets of TIFF 6.0")
    return start, head + table + form.pointer.pack(before.following) + bytes(values)


def _up(number: int, step: int) -> int:
    return -(-number // step) * step


def text(value: bytes) -> tuple[int, bytes]:
    """Return a text as a field: ASCII with its final NUL (TIFF 6.0 section 2)."""
    return ASCII, value + b"\0"


class Described:
    """A TIFF with `fields` in its first directory, read piece by piece from the one without.

    For `hashing.of_stream`: memory does not grow with the file. `original` is the SHA-256 of the
    file as it was, whole once all is read.
    """

    def __init__(self, source: BinaryIO, fields: dict[int, tuple[int, bytes]]) -> None:
        before = first_directory(source)
        start, self._tail = appended(before, fields)
        self._at = before.form.pointer_at
        self._pointer = before.form.pointer.pack(start)
        self._source = source
        self._place = 0
        self._digest = hashlib.sha256()
        source.seek(0)

    @property
    def original(self) -> str:
        return self._digest.hexdigest()

    def readinto(self, buffer: bytearray, /) -> int:
        """Fill `buffer` from its start; return how much, 0 at the end. It holds a header."""
        octets = self._source.read(len(buffer))
        self._digest.update(octets)
        if not octets:
            octets, self._tail = self._tail[: len(buffer)], self._tail[len(buffer) :]
        buffer[: len(octets)] = octets
        if self._place == 0 and octets:
            buffer[self._at : self._at + len(self._pointer)] = self._pointer
        self._place += len(octets)
        return len(octets)


@dataclass(frozen=True)
class Coding:
    """How a TIFF holds its first picture. bits: one number a sample; compression: the tag's."""

    byte_order: str
    compression: int
    bits: tuple[int, ...]
    width: int
    height: int


def coding(path: Path) -> Coding:
    """Return how the file's first picture is coded. Raises ValueError where it does not say."""
    with path.open("rb") as stream:
        directory = first_directory(stream)
        bits = _numbers(stream, directory, _BITS)
        samples = _numbers(stream, directory, _SAMPLES, (1,))[0]
        return Coding(
            directory.byte_order,
            _numbers(stream, directory, _COMPRESSION, (1,))[0],
            bits if len(bits) > 1 else bits * samples,
            _numbers(stream, directory, _WIDTH)[0],
            _numbers(stream, directory, _LENGTH)[0],
        )


def icc_profile(stream: BinaryIO) -> bytes:
    """Return the ICC profile of the file's first picture; empty where it has none."""
    directory = first_directory(stream)
    _, count, value = directory.entries.get(_ICC, (UNDEFINED, 0, b""))
    if count > _MAX_ICC:
        raise ValueError(f"its profile has {count} bytes")
    if count <= len(value):
        return value[:count]
    return _read(stream, directory.form.pointer.unpack(value)[0], count)


def _numbers(
    stream: BinaryIO, directory: Directory, tag: int, default: tuple[int, ...] = ()
) -> tuple[int, ...]:
    kind, count, value = directory.entries.get(tag, (0, 0, b""))
    if tag not in directory.entries and default:
        return default
    if kind not in _NUMBERS or not 0 < count <= MAX_ENTRIES:
        raise ValueError(f"its tag {tag} holds no numbers")
    numbers = struct.Struct(f"{directory.form.order}{count}{_NUMBERS[kind]}")
    if numbers.size > len(value):
        value = _read(stream, directory.form.pointer.unpack(value)[0], numbers.size)
    return numbers.unpack(value[: numbers.size])
