"""What the first bytes of a picture say, and whether all of it is there.

TIFF 6.0 (sections 2, 8 and 15) and BigTIFF; JPEG (ITU-T T.81, annex B). No pixel is decoded.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

_MAX_ENTRIES = 4096
_MAX_VALUES = 4_000_000
_MAX_SEGMENTS = 10_000
_KINDS = {1: "B", 2: "s", 3: "H", 4: "I", 5: "II", 7: "B", 16: "Q"}
_SOF = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})
_XMP = b"http://ns.adobe.com/xap/1.0/\0"
# The names of TIFF's compressions in records.
_COMPRESSIONS = {1: "uncompressed"}


class Odd(ValueError):
    """Bytes that are no sound picture; its text says why."""


@dataclass(frozen=True)
class Seen:
    """What a picture says of itself.

    width, height: px. bits: of a sample. compression: "" where only the record has a name for it.
    byte_order: of a TIFF. resolution: XResolution and YResolution as they stand, None where there
    are none. xmp: the packet of a JPEG, empty where it has none.
    """

    width: int
    height: int
    bits: int
    samples: int
    compression: str
    byte_order: str
    resolution: tuple[float, float] | None = None
    xmp: bytes = b""


def seen(stream: BinaryIO, size: int) -> Seen | None:
    """Return what a TIFF or JPEG says of itself, None for another format. size: in bytes.

    Raises Odd for one that is not whole.
    """
    stream.seek(0)
    head = stream.read(4)
    try:
        if head[:2] == b"\xff\xd8":
            return _jpeg(stream, size)
        if head in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
            return _tiff(stream, size, head)
    except (struct.error, LookupError, OverflowError, ZeroDivisionError) as problem:
        raise Odd(f"its header cannot be read ({problem})") from problem
    return None


def _tiff(stream: BinaryIO, size: int, head: bytes) -> Seen:
    order, big = "<" if head[:2] == b"II" else ">", head[2:4] in (b"+\0", b"\0+")
    tags = _directory(stream, order, big)
    width, height = int(tags[256][0]), int(tags[257][0])
    offsets, counts = tags.get(273) or tags.get(324), tags.get(279) or tags.get(325)
    if not offsets or not counts or len(offsets) != len(counts):
        raise Odd("it does not say where its pixels lie")
    if max(at + count for at, count in zip(offsets, counts, strict=True)) > size:
        raise Odd("its pixels go on behind the end of the file")
    samples = int(tags.get(277, [1])[0])
    bits = {int(value) for value in tags.get(258, [1])}
    if len(bits) != 1:
        raise Odd("its samples have unlike numbers of bits")
    x, y = tags.get(282), tags.get(283)
    return Seen(
        width,
        height,
        bits.pop(),
        samples,
        _COMPRESSIONS.get(int(tags.get(259, [1])[0]), ""),
        "little endian" if order == "<" else "big endian",
        (x[0] / x[1], y[0] / y[1]) if x and y and x[1] and y[1] else None,
    )


def _directory(stream: BinaryIO, order: str, big: bool) -> dict[int, list[int]]:
    """Return the numbers of the first directory by tag; a fraction as two of them."""
    stream.seek(8 if big else 4)
    (offset,) = struct.unpack(f"{order}{'Q' if big else 'I'}", stream.read(8 if big else 4))
    stream.seek(offset)
    (count,) = struct.unpack(f"{order}{'Q' if big else 'H'}", stream.read(8 if big else 2))
    if count > _MAX_ENTRIES:
        raise Odd("its directory has too many entries")
    step, inline = (20, 8) if big else (12, 4)
    entries = stream.read(step * count)
    tags: dict[int, list[int]] = {}
    for at in range(0, len(entries) - step + 1, step):
        tag, kind = struct.unpack_from(f"{order}HH", entries, at)
        (number,) = struct.unpack_from(f"{order}{'Q' if big else 'I'}", entries, at + 4)
        code = _KINDS.get(kind, "")
        if code in ("", "s") or number > _MAX_VALUES or tag in tags or tag in (34675, 700):
            continue
        length = struct.calcsize(f"<{code}") * number
        if length <= inline:
            content = entries[at + step - inline : at + step - inline + length]
        else:
            (place,) = struct.unpack_from(
                f"{order}{'Q' if big else 'I'}", entries, at + step - inline
            )
            stream.seek(place)
            content = stream.read(length)
        tags[tag] = list(struct.unpack(f"{order}{code[0] * (len(code) * number)}", content))
    return tags


def _jpeg(stream: BinaryIO, size: int) -> Seen:
    place, xmp = 2, b""
    frame: tuple[int, int, int, int] | None = None
    for _ in range(_MAX_SEGMENTS):
        stream.seek(place)
        head = stream.read(4)
        if len(head) < 4 or head[0] != 0xFF:
            raise Odd("a segment of it is not where it should be")
        marker = head[1]
        (length,) = struct.unpack(">H", head[2:])
        if marker == 0xDA:
            break
        body = stream.read(length - 2)
        if marker == 0xE1 and body.startswith(_XMP) and not xmp:
            xmp = body[len(_XMP) :]
        if marker in _SOF:
            bits, height, width, samples = struct.unpack(">BHHB", body[:6])
            frame = (width, height, bits, samples)
        place += 2 + length
    else:
        raise Odd("it has too many segments")
    stream.seek(size - 2)
    if stream.read(2) != b"\xff\xd9":
        raise Odd("it does not end where a JPEG ends")
    if frame is None:
        raise Odd("it does not say how large it is")
    width, height, bits, samples = frame
    return Seen(width, height, bits, samples, "JPEG", "big endian", None, xmp)
