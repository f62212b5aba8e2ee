"""What the tags of a raw file in TIFF's clothes (DNG 1.7, TIFF/EP) say of its raw picture.

Read by a bounded walk through the directories, beside LibRaw: where both do not agree on a size or
a level, a picture would come out wrong without a word.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO

# Tags of TIFF 6.0 and of the DNG specification 1.7, chapter 4.
_SUBFILE, _WIDTH, _LENGTH, _BITS, _COMPRESSION, _PHOTOMETRIC = 254, 256, 257, 258, 259, 262
_SAMPLES, _TILE_WIDTH, _SUB_IFDS = 277, 322, 330
_DNG_VERSION, _LINEARIZATION, _BLACK_REPEAT, _BLACK = 50706, 50712, 50713, 50714
_BLACK_DELTAS = (50715, 50716)
_DIGEST = 50972
_WHITE, _ACTIVE_AREA, _MATRICES, _OPCODES = 50717, 50829, (50721, 50722), (51008, 51009, 51022)
# Photometric: a colour filter array (TIFF/EP), and linear raw (DNG).
CFA, LINEAR_RAW = 32803, 34892
# Compression: JPEG of baseline DCT in DNG, JPEG XL.
_LOSSY = (34892, 52546)
_LOSSLESS_JPEG = 7

_MAX_DIRECTORIES, _MAX_ENTRIES, _MAX_VALUES = 24, 1024, 64
# Field types of TIFF 6.0 section 2: struct codes of numbers, fractions by two.
_NUMBERS = {
    1: "B", 3: "H", 4: "I", 5: "II", 6: "b", 8: "h", 9: "i", 10: "ii", 11: "f", 12: "d", 13: "I",
}  # fmt: skip
# Bytes of a value of each type, to tell where the values of a long tag stand.
_BYTES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}

Values = tuple[float, ...]


class Broken(Exception):
    """The directories cannot be what a raw file has; its text says why."""


@dataclass(frozen=True)
class Declared:
    """The raw picture as tagged.

    width, height: px of all that is stored; active: (top, left, bottom, right) px, None where all
    is. bits: a sample. black: DN by position in the repeated pattern, row by row; white: DN; None
    where not tagged. deltas: whether black differs by row or column. opcodes: tags of corrections
    that the camera left to do. matrix: whether a colour matrix is there. version: of a DNG, None
    where it is none. digest: MD5 of the samples, where the file has one. frames: how many pictures
    of this size it holds.
    """

    width: int
    height: int
    bits: int
    samples: int
    photometric: int
    compression: int
    tile_width: int
    active: tuple[int, int, int, int] | None
    black: Values | None
    black_repeat: tuple[int, int]
    white: float | None
    deltas: bool
    linearized: bool
    opcodes: tuple[int, ...]
    matrix: bool
    version: tuple[int, int] | None
    digest: bytes | None
    frames: int = 1

    @property
    def is_dng(self) -> bool:
        return self.version is not None

    @property
    def size(self) -> tuple[int, int]:
        """Return width and height in px of what a picture is made of."""
        if self.active is None:
            return self.width, self.height
        top, left, bottom, right = self.active
        return right - left, bottom - top

    @property
    def is_lossy(self) -> bool:
        """Return whether samples were compressed with loss."""
        of_eight = self.compression == _LOSSLESS_JPEG and self.bits <= 8
        return self.compression in _LOSSY or of_eight

    @property
    def is_wide_tile(self) -> bool:
        """Return whether it is one lossless-JPEG tile wider than the picture, which LibRaw 0.22
        decodes to other pixels without an error (measured)."""
        return self.compression == _LOSSLESS_JPEG and self.tile_width > self.width


@dataclass(frozen=True)
class _Directory:
    values: dict[int, Values]
    counts: dict[int, int]

    def whole(self, tag: int, default: int = 0) -> int:
        value = self.values.get(tag, (default,))[0]
        return int(value) if math.isfinite(value) else default


def declared(stream: BinaryIO, size: int) -> Declared | None:
    """Return what the tags say of the largest raw picture, None where the file is no TIFF by its
    first bytes or holds none. size: bytes of the file. Raises Broken, OSError."""
    head = stream.read(8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
    if order is None or len(head) < 8:
        return None
    directories = list(_walk(stream, order, size, struct.unpack(f"{order}I", head[4:])[0]))
    raws = [each for each in directories if each.whole(_PHOTOMETRIC, -1) in (CFA, LINEAR_RAW)]
    full = [each for each in raws if not each.whole(_SUBFILE) & 1] or raws
    if not full:
        return None
    chosen = max(full, key=lambda each: each.whole(_WIDTH) * each.whole(_LENGTH))
    frames = sum(_alike(each, chosen) for each in full)
    everywhere = {tag for each in directories for tag in each.counts}
    stated = [each.values.get(_DNG_VERSION, ()) for each in directories]
    versions = [(int(each[0]), int(each[1])) for each in stated if len(each) >= 2]
    md5s = [each.values[_DIGEST] for each in directories if len(each.values.get(_DIGEST, ())) == 16]
    digest = bytes(int(value) for value in md5s[0]) if md5s else None
    found = _declared(chosen, everywhere, versions[0] if versions else None, digest)
    return replace(found, frames=frames)


def _alike(one: _Directory, other: _Directory) -> bool:
    """Return whether two directories are of captures of one sensor, both the picture itself."""
    names = (_WIDTH, _LENGTH, _PHOTOMETRIC, _SUBFILE)
    return all(one.whole(name) == other.whole(name) for name in names)


def is_raw_picture(stream: BinaryIO, size: int) -> bool:
    """Return whether a TIFF says by its tags that it holds a raw picture."""
    try:
        return declared(stream, size) is not None
    except (Broken, OSError, struct.error):
        return False


def _declared(
    raw: _Directory,
    everywhere: set[int],
    version: tuple[int, int] | None,
    digest: bytes | None,
) -> Declared:
    active = raw.values.get(_ACTIVE_AREA)
    repeat = raw.values.get(_BLACK_REPEAT, (1.0, 1.0))
    white = raw.values.get(_WHITE)
    return Declared(
        width=raw.whole(_WIDTH),
        height=raw.whole(_LENGTH),
        bits=raw.whole(_BITS, 1),
        samples=raw.whole(_SAMPLES, 1),
        photometric=raw.whole(_PHOTOMETRIC),
        compression=raw.whole(_COMPRESSION, 1),
        tile_width=raw.whole(_TILE_WIDTH),
        active=_area(active) if active else None,
        black=raw.values.get(_BLACK),
        black_repeat=(int(repeat[0]), int(repeat[-1])),
        white=max(white) if white else None,
        deltas=any(any(raw.values.get(tag, ())) for tag in _BLACK_DELTAS),
        linearized=_LINEARIZATION in raw.counts,
        opcodes=tuple(tag for tag in _OPCODES if tag in raw.counts),
        matrix=any(tag in everywhere for tag in _MATRICES),
        version=version,
        digest=digest,
    )


def _area(values: Values) -> tuple[int, int, int, int]:
    if len(values) != 4:
        raise Broken("its active area is no rectangle")
    top, left, bottom, right = (int(value) for value in values)
    return top, left, bottom, right


def _walk(stream: BinaryIO, order: str, size: int, first: int) -> Iterator[_Directory]:
    """Yield the directories and those below them, each once."""
    waiting, seen = [first], set()
    while waiting:
        offset = waiting.pop(0)
        if offset in seen or not offset:
            continue
        seen.add(offset)
        if len(seen) > _MAX_DIRECTORIES:
            raise Broken(f"it has more than {_MAX_DIRECTORIES} directories")
        directory, following = _directory(stream, order, size, offset)
        waiting += [int(value) for value in directory.values.get(_SUB_IFDS, ())]
        waiting.append(following)
        yield directory


def _directory(stream: BinaryIO, order: str, size: int, offset: int) -> tuple[_Directory, int]:
    if offset + 6 > size:
        raise Broken(f"a directory should stand at byte {offset}, the file ends at byte {size}")
    stream.seek(offset)
    (count,) = struct.unpack(f"{order}H", _exactly(stream, 2))
    if count > _MAX_ENTRIES:
        raise Broken(f"a directory has {count} entries")
    entries = _exactly(stream, 12 * count)
    (following,) = struct.unpack(f"{order}I", stream.read(4).ljust(4, b"\0"))
    values: dict[int, Values] = {}
    counts: dict[int, int] = {}
    for start in range(0, len(entries), 12):
        tag, kind, number = struct.unpack(f"{order}HHI", entries[start : start + 8])
        counts.setdefault(tag, number)
        if kind in _NUMBERS and tag not in values and number:
            found = _values(stream, order, size, kind, number, entries[start + 8 : start + 12])
            if found:
                values[tag] = found
    return _Directory(values, counts), following


def _values(
    stream: BinaryIO, order: str, size: int, kind: int, number: int, inline: bytes
) -> Values:
    kept = min(number, _MAX_VALUES)
    if _BYTES[kind] * number <= 4:
        content = inline
    else:
        (offset,) = struct.unpack(f"{order}I", inline)
        if offset + _BYTES[kind] * number > size:
            raise Broken(f"the values of a tag should stand at byte {offset}, past its end")
        stream.seek(offset)
        content = _exactly(stream, _BYTES[kind] * kept)
    code = _NUMBERS[kind]
    numbers = struct.unpack_from(f"{order}{code * kept}", content)
    if len(code) == 1:
        return tuple(float(value) for value in numbers)
    pairs = zip(numbers[::2], numbers[1::2], strict=True)
    return tuple(above / below if below else math.nan for above, below in pairs)


def _exactly(stream: BinaryIO, count: int) -> bytes:
    content = stream.read(count)
    if len(content) != count:
        raise Broken("it ends within a directory")
    return content
