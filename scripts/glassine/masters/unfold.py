"""Proof that every strip and tile of a compressed master unfolds to exactly its pixels.

libvips turns a tile that does not decode into black, and lets a wrong checksum of deflate pass.
So each segment is unfolded once by itself before anything is made of it:

- deflate by zlib: whole, its Adler-32 right, of the right length (RFC 1950);
- PackBits by counting what its packets unfold to (TIFF 6.0, section 9);
- LZW by libtiff, asked for more than there should be: it must miss exactly the rest. What a
  damaged code leaves of the right length is found by digests alone: LZW carries no checksum;
- JPEG by its markers and size (ISO/IEC 10918-1, annex B), then by the JPEG decoder, warnings fatal.

Uncompressed pixels need no proof: `layout` counts their bytes.
"""

from __future__ import annotations

import os
import re
import struct
import zlib
from collections.abc import Callable, Iterator
from itertools import islice

import pyvips

from glassine.base import threads
from glassine.masters import vips_errors
from glassine.masters.layout import DEFLATE, JPEG, LZW, PACKBITS, Layout, Segment

# Segments of LZW that unfold to at most so many bytes are unfolded together: few calls.
_GROUPED_BYTES = 2**20
# And not so many that libvips' buffer of errors (10 kB) does not hold a line for each.
_GROUP = 64
_PIECE_BYTES = 2**20
_AHEAD = 64


class Undecodable(ValueError):
    """A strip or tile does not unfold to its pixels; the text says why, to an operator."""


def prove(handle: int, layout: Layout, room: memoryview | None = None) -> None:
    """Raise Undecodable for the first strip or tile that does not unfold to its pixels, or OSError.

    handle: descriptor of the master; layout: as `layout.read` returns it. room: of deflate, takes
    the bytes of all strips one behind the other.
    """
    if layout.compression == LZW:
        _prove_lzw(handle, layout)
        return
    checks: dict[int, Callable[[bytes, Segment, Layout, memoryview | None], str | None]] = {
        JPEG: _jpeg_problem,
        PACKBITS: _packbits_problem,
        **dict.fromkeys(DEFLATE, _deflate_problem),
    }
    check = checks.get(layout.compression)
    if check is None:
        return

    def problem(part: tuple[Segment, memoryview | None]) -> str | None:
        segment, room = part
        return check(_bytes_of(handle, segment), segment, layout, room)

    with threads.pool(at_most=4) as pool:
        rest = zip(layout.segments, _shared_out(room, layout.segments), strict=True)
        done = 0
        while part := list(islice(rest, _AHEAD)):  # not all at once: each holds its bytes
            for index, fault in enumerate(pool.map(problem, part)):
                if fault:
                    raise Undecodable(f"{_name(layout, done + index)} {fault}")
            done += len(part)


def _shared_out(
    room: memoryview | None, segments: tuple[Segment, ...]
) -> Iterator[memoryview | None]:
    """Yield the part of the room that is each segment's; None for each where there is no room."""
    end = 0
    for segment in segments:
        start, end = end, end + segment.unfolded
        yield room[start:end] if room is not None else None


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


def _deflate_problem(
    content: bytes, segment: Segment, layout: Layout, room: memoryview | None = None
) -> str | None:
    codec = zlib.decompressobj()
    length, rest = 0, content
    try:
        while rest and not codec.eof:
            piece = codec.decompress(rest, _PIECE_BYTES)
            start, length = length, length + len(piece)
            rest = codec.unconsumed_tail
            if length > segment.unfolded:
                return f"unfolds to more than the {segment.unfolded} bytes of its pixels"
            if room is not None:
                room[start:length] = piece
    except zlib.error as problem:
        return f"does not unfold ({problem})"
    if not codec.eof:
        return "is cut short: its compressed data do not end"
    if length != segment.unfolded:
        return f"unfolds to {length} bytes, where its pixels need {segment.unfolded}"
    return None


# ------------------------------------------------------------------ PackBits


def _packbits_problem(
    content: bytes, segment: Segment, layout: Layout, _: memoryview | None
) -> str | None:
    place, length, end, expected = 0, 0, len(content), segment.unfolded
    while place < end and length < expected:
        code = content[place]
        if code < 128:
            length += code + 1
            place += code + 2
        elif code > 128:
            length += 257 - code
            place += 2
        else:
            place += 1
    if place > end or length < expected:
        return "is cut short: its packets do not fill its pixels"
    if length > expected:
        return f"unfolds to more than the {expected} bytes of its pixels"
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


def _jpeg_problem(
    content: bytes, segment: Segment, layout: Layout, _: memoryview | None
) -> str | None:
    if content[:2] != b"\xff\xd8":
        return "does not begin as JPEG data do"
    if b"\xff\xd9" not in content[-16:]:
        return "is cut short: its JPEG data do not end"
    size = _jpeg_size(content)
    # The last strip may hold as many rows as the others: more than are left (libtiff takes it).
    highest = layout.segments[0].height
    if (
        size is None
        or (size[0], size[2]) != (segment.width, layout.samples)
        or not segment.height <= size[1] <= highest
    ):
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


# What libtiff says of data that end before what is asked for.
_SHORT = re.compile(r"at scanline (\d+) \(short (\d+) bytes")
# Bytes of a row of the stand-in tile; libvips takes tiles whose sides are multiples of 16.
_ROW = 1024


def _prove_lzw(handle: int, layout: Layout) -> None:
    for first, group in _groups(layout.segments):
        contents = [_bytes_of(handle, segment) for segment in group]
        if not _lzw_problem(contents, group[0].unfolded, layout):
            continue
        for index, (content, segment) in enumerate(zip(contents, group, strict=True)):
            fault = _lzw_problem([content], segment.unfolded, layout)
            if fault:
                raise Undecodable(f"{_name(layout, first + index)} {fault}")


def _lzw_problem(contents: list[bytes], unfolded: int, layout: Layout) -> str | None:
    """Return what is wrong with LZW data that should each unfold to so many bytes.

    libtiff is asked for more than that, and must say for each that exactly the rest is short.
    """
    # More than a row too many: what is short tells whether it counts from a row or the whole.
    rows = (-(-unfolded // (16 * _ROW)) + 1) * 16
    messages = _errors_of(_in_memory(contents, rows, layout))
    unfolded_bytes = [
        _unfolded(int(row), int(short), rows) for row, short in _SHORT.findall(messages)
    ]
    if unfolded_bytes == [unfolded] * len(contents):
        return None
    if len(contents) == len(unfolded_bytes) == 1:
        return f"unfolds to {unfolded_bytes[0]} bytes, where its pixels need {unfolded}"
    return f"does not unfold to its pixels ({vips_errors.one_line(messages or 'too much data')})"


def _unfolded(row: int, short: int, rows: int) -> int:
    """Return the bytes that data unfolded to, by what libtiff says is short of them.

    row: the row where it ends, of which alone it tells where rows are read one by one.
    """
    return (row + 1) * _ROW - short if short <= _ROW else rows * _ROW - short


def _groups(segments: tuple[Segment, ...]) -> Iterator[tuple[int, list[Segment]]]:
    """Yield (index of the first, segments) of neighbours of one size, not too many at once."""
    first, group = 0, list[Segment]()
    for index, segment in enumerate(segments):
        same = group and group[0].unfolded == segment.unfolded
        fits = len(group) < _GROUP and segment.unfolded <= _GROUPED_BYTES
        if group and not (same and fits):
            yield first, group
            first, group = index, []
        group.append(segment)
    yield first, group


def _errors_of(picture: bytes) -> str:
    """Return what libtiff says of a TIFF in memory, "" for nothing."""
    try:
        with vips_errors.fatal():
            pyvips.Image.tiffload_buffer(
                picture, access="sequential", fail_on="error", unlimited=True
            ).avg()
    except pyvips.Error as problem:
        return str(problem)
    return ""


def _in_memory(contents: list[bytes], height: int, layout: Layout) -> bytes:
    """Return a TIFF of grey rows with these packed data, each for `height` rows of _ROW bytes.

    Several are tiles (TIFF 6.0, section 15), as libvips reads on behind one that fails, so that
    each is told of; one alone is a strip, as libvips takes no large tiles.
    """
    order, number = layout.order, len(contents)
    places, there = [], 8
    for content in contents:
        places.append(there)
        there += len(content)
    start = there + there % 2
    if number == 1:
        where = [(273, places[0]), (278, height), (279, len(contents[0]))]
        rows = [(tag, 4, 1, value) for tag, value in where]
    else:
        lists = start + 2 + 12 * 10 + 4
        rows = [(322, 4, 1, _ROW), (323, 4, 1, height)]
        rows += [(324, 4, number, lists), (325, 4, number, lists + 4 * number)]
    rows += [(256, 4, 1, _ROW), (257, 4, 1, height * number), (258, 3, 1, 8)]
    rows += [(259, 3, 1, layout.compression), (262, 3, 1, 1), (277, 3, 1, 1)]
    head = (b"II" if order == "<" else b"MM") + struct.pack(f"{order}HI", 42, start)
    count = struct.pack(f"{order}H", len(rows))
    entries = b"".join(_entry(order, *row) for row in sorted(rows))
    lists_bytes = struct.pack(f"{order}{number}I", *places)
    lists_bytes += struct.pack(f"{order}{number}I", *(len(content) for content in contents))
    return b"".join([head, *contents, bytes(there % 2), count, entries, bytes(4), lists_bytes])


def _entry(order: str, tag: int, kind: int, count: int, value: int) -> bytes:
    code = "Hxx" if kind == 3 and count == 1 else "I"
    return struct.pack(f"{order}HHI", tag, kind, count) + struct.pack(f"{order}{code}", value)
