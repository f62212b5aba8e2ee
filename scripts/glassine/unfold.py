"""Proof that every strip and tile of a compressed master unfolds to exactly its pixels.

libvips turns a tile that does not decode into black, and lets a wrong checksum of deflate pass.
So each segment is unfolded once by itself before anything is made of it:

- deflate by zlib: whole, its Adler-32 right, of the right length (RFC 1950);
- PackBits by counting what its packets unfold to (TIFF 6.0, section 9);
- LZW by libtiff, with tiles laid out as the strips of a picture in memory: a strip that fails is
  an error there, where a tile is none. What a damaged code leaves of the right length is found by
  digests alone: LZW carries no checksum;
- JPEG by its markers and size (ISO/IEC 10918-1, annex B), then by the JPEG decoder, warnings fatal.

Uncompressed pixels need no proof: `layout` counts their bytes.
"""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import islice

import pyvips

from glassine import vips_errors
from glassine.layout import DEFLATE, JPEG, LZW, PACKBITS, Layout, Segment

# Pixels of LZW unfolded together, in bytes: few calls, little memory.
_GROUP_BYTES = 16 * 2**20
_PIECE_BYTES = 2**20
_AHEAD = 64


class Undecodable(ValueError):
    """A strip or tile does not unfold to its pixels; the text says why, to an operator."""


def prove(handle: int, layout: Layout) -> None:
    """Raise Undecodable for the first strip or tile that does not unfold to its pixels, or OSError.

    handle: descriptor of the master; layout: as `layout.read` returns it.
    """
    if layout.compression == LZW:
        _prove_lzw(handle, layout)
        return
    checks: dict[int, Callable[[bytes, Segment, Layout], str | None]] = {
        JPEG: _jpeg_problem,
        PACKBITS: _packbits_problem,
        **dict.fromkeys(DEFLATE, _deflate_problem),
    }
    check = checks.get(layout.compression)
    if check is None:
        return

    def problem(segment: Segment) -> str | None:
        return check(_bytes_of(handle, segment), segment, layout)

    with ThreadPoolExecutor(min(4, len(os.sched_getaffinity(0)))) as pool:
        rest = iter(layout.segments)
        done = 0
        while part := list(islice(rest, _AHEAD)):  # not all at once: each holds its bytes
            for index, found in enumerate(pool.map(problem, part)):
                if found:
                    raise Undecodable(f"{_name(layout, done + index)} {found}")
            done += len(part)


def _name(layout: Layout, index: int) -> str:
    return f"{'tile' if layout.tiled else 'strip'} {index + 1} of {len(layout.segments)}"


def _bytes_of(handle: int, segment: Segment) -> bytes:
    content = os.pread(handle, segment.count, segment.offset)
    while len(content) < segment.count:
        more = os.pread(handle, segment.count - len(content), segment.offset + len(content))
        if not more:
            break  # it has become shorter: no codec takes that for whole
        content += more
    return content


# ------------------------------------------------------------------ deflate


def _deflate_problem(content: bytes, segment: Segment, layout: Layout) -> str | None:
    codec = zlib.decompressobj()
    length, rest = 0, content
    try:
        while rest and not codec.eof:
            length += len(codec.decompress(rest, _PIECE_BYTES))
            rest = codec.unconsumed_tail
            if length > segment.unfolded:
                return f"unfolds to more than the {segment.unfolded} bytes of its pixels"
    except zlib.error as problem:
        return f"does not unfold ({problem})"
    if not codec.eof:
        return "is cut short: its compressed data do not end"
    if length != segment.unfolded:
        return f"unfolds to {length} bytes, where its pixels need {segment.unfolded}"
    return None


# ------------------------------------------------------------------ PackBits


def _packbits_problem(content: bytes, segment: Segment, layout: Layout) -> str | None:
    place, length, end, wanted = 0, 0, len(content), segment.unfolded
    while place < end and length < wanted:
        code = content[place]
        if code < 128:
            length += code + 1
            place += code + 2
        elif code > 128:
            length += 257 - code
            place += 2
        else:
            place += 1
    if place > end or length < wanted:
        return "is cut short: its packets do not fill its pixels"
    if length > wanted:
        return f"unfolds to more than the {wanted} bytes of its pixels"
    if end - place > _packbits_rest(content[place:]):
        return f"has {end - place} bytes more than its pixels need"
    return None


def _packbits_rest(rest: bytes) -> int:
    """Return how many bytes may stand behind the last packet: one to make the number even, and
    codes that do nothing."""
    return len(rest) if len(rest) <= 1 or set(rest) == {128} else 1


# ------------------------------------------------------------------ JPEG

# Markers that begin a frame (ISO/IEC 10918-1, table B.1), but for arithmetic and lossless ones.
_FRAMES = (0xC0, 0xC1, 0xC2)


def _jpeg_problem(content: bytes, segment: Segment, layout: Layout) -> str | None:
    if content[:2] != b"\xff\xd8":
        return "does not begin as JPEG data do"
    if b"\xff\xd9" not in content[-16:]:
        return "is cut short: its JPEG data do not end"
    size = _jpeg_size(content)
    if size != (segment.width, segment.height, layout.samples):
        return (
            f"holds JPEG data of another size than {segment.width} x {segment.height} pixels of "
            f"{layout.samples} samples"
        )
    whole = content
    if layout.tables:  # an abbreviated stream (ISO/IEC 10918-1, B.4): tables first
        if layout.tables[:2] != b"\xff\xd8" or layout.tables[-2:] != b"\xff\xd9":
            return "needs JPEG tables, which are broken"
        whole = layout.tables[:-2] + content[2:]
    try:
        pyvips.Image.jpegload_buffer(whole, fail_on="warning", access="sequential").avg()
    except pyvips.Error as problem:
        return f"does not decode ({vips_errors.one_line(problem)})"
    return None


def _jpeg_size(content: bytes) -> tuple[int, int, int] | None:
    """Return (width, height, samples) of a JPEG stream, None where no frame begins."""
    place = 2
    while place + 4 <= len(content) and content[place] == 0xFF:
        marker = content[place + 1]
        if marker == 0xFF:  # a fill byte
            place += 1
            continue
        (length,) = struct.unpack(">H", content[place + 2 : place + 4])
        if marker in _FRAMES and place + 10 <= len(content):
            height, width, samples = struct.unpack(">HHB", content[place + 5 : place + 10])
            return width, height, samples
        if marker == 0xDA or length < 2:
            return None
        place += 2 + length
    return None


# ------------------------------------------------------------------ LZW


def _prove_lzw(handle: int, layout: Layout) -> None:
    for first, group in _groups(layout.segments):
        contents = [_bytes_of(handle, segment) for segment in group]
        if _lzw_decodes(contents, group, layout):
            continue
        for index, (content, segment) in enumerate(zip(contents, group, strict=True)):
            if not _lzw_decodes([content], [segment], layout):
                raise Undecodable(f"{_name(layout, first + index)} does not unfold to its pixels")
        raise Undecodable(f"a strip or tile after {_name(layout, first)} does not unfold")


def _groups(segments: tuple[Segment, ...]) -> Iterator[tuple[int, list[Segment]]]:
    """Yield (index of the first, segments) of neighbours of one shape, up to _GROUP_BYTES."""
    first, group = 0, list[Segment]()
    for index, segment in enumerate(segments):
        same = group and (group[0].width, group[0].height) == (segment.width, segment.height)
        if group and not (same and (len(group) + 1) * segment.unfolded <= _GROUP_BYTES):
            yield first, group
            first, group = index, []
        group.append(segment)
    yield first, group


def _lzw_decodes(contents: list[bytes], group: list[Segment], layout: Layout) -> bool:
    """Return whether these segments decode without an error, as the strips of one picture."""
    picture = _as_strips(contents, group, layout)
    try:
        with vips_errors.fatal():
            pyvips.Image.tiffload_buffer(
                picture, access="sequential", fail_on="error", unlimited=True
            ).avg()
    except pyvips.Error:
        return False
    return True


def _as_strips(contents: list[bytes], group: list[Segment], layout: Layout) -> bytes:
    """Return a TIFF in memory whose strips are the given segments (TIFF 6.0, section 2)."""
    order, samples, number = layout.order, layout.samples, len(group)
    places, there = [], 8
    for content in contents:
        places.append(there)
        there += len(content)
    start = there + there % 2
    lists = start + 2 + 12 * 11 + 4
    inline = number == 1
    rows = [
        (256, 4, 1, group[0].width),
        (257, 4, 1, group[0].height * number),
        (258, 3, 1, layout.bits),
        (259, 3, 1, layout.compression),
        (262, 3, 1, 2 if samples == 3 else 1),
        (273, 4, number, places[0] if inline else lists),
        (277, 3, 1, samples),
        (278, 4, 1, group[0].height),
        (279, 4, number, len(contents[0]) if inline else lists + 4 * number),
        (284, 3, 1, 1),
        (317, 3, 1, layout.predictor),
    ]
    if samples == 3:
        bits = lists + 8 * number
        rows[2] = (258, 3, 3, bits)
    entries = b"".join(_entry(order, *row) for row in rows)
    tail = struct.pack(f"{order}{number}I", *places)
    tail += struct.pack(f"{order}{number}I", *(len(content) for content in contents))
    tail += struct.pack(f"{order}3H", *[layout.bits] * 3)
    head = (b"II" if order == "<" else b"MM") + struct.pack(f"{order}HI", 42, start)
    count = struct.pack(f"{order}H", len(rows))
    return b"".join([head, *contents, bytes(there % 2), count, entries, struct.pack("<I", 0), tail])


def _entry(order: str, tag: int, kind: int, count: int, value: int) -> bytes:
    code = "Hxx" if kind == 3 and count == 1 else "I"
    return struct.pack(f"{order}HHI", tag, kind, count) + struct.pack(f"{order}{code}", value)
