"""Where the pixels of a TIFF lie: its first directory read strictly, each strip accounted for.

Libraries forgive much: a tile without an offset, or one that does not decode, becomes black. What
is read here is judged by TIFF 6.0 (sections 2, 3, 14, 15, 22) and libtiff's note on BigTIFF: two
values for one thing, a value of the wrong type, or strips that lie on one another are no master.
No pixel is read; memory is bounded by the number of strips that the size demands.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import BinaryIO

WIDTH, LENGTH, BITS, COMPRESSION, PHOTOMETRIC, FILL_ORDER = 256, 257, 258, 259, 262, 266
STRIP_OFFSETS, SAMPLES, ROWS_PER_STRIP, STRIP_COUNTS = 273, 277, 278, 279
PLANAR, PREDICTOR, TILE_WIDTH, TILE_LENGTH, TILE_OFFSETS, TILE_COUNTS = 284, 317, 322, 323, 324, 325
EXTRA_SAMPLES, SAMPLE_FORMAT, JPEG_TABLES = 338, 339, 347
_ICC = 34675
IMAGE_DEPTH, TILE_DEPTH = 32997, 32998  # of libtiff, for volumes

_NAMES = {
    WIDTH: "ImageWidth",
    LENGTH: "ImageLength",
    BITS: "BitsPerSample",
    COMPRESSION: "Compression",
    PHOTOMETRIC: "PhotometricInterpretation",
    FILL_ORDER: "FillOrder",
    STRIP_OFFSETS: "StripOffsets",
    SAMPLES: "SamplesPerPixel",
    ROWS_PER_STRIP: "RowsPerStrip",
    STRIP_COUNTS: "StripByteCounts",
    PLANAR: "PlanarConfiguration",
    PREDICTOR: "Predictor",
    TILE_WIDTH: "TileWidth",
    TILE_LENGTH: "TileLength",
    TILE_OFFSETS: "TileOffsets",
    TILE_COUNTS: "TileByteCounts",
    EXTRA_SAMPLES: "ExtraSamples",
    SAMPLE_FORMAT: "SampleFormat",
    JPEG_TABLES: "JPEGTables",
    IMAGE_DEPTH: "ImageDepth",
    TILE_DEPTH: "TileDepth",
}
# Bytes of one value of each field type (TIFF 6.0 section 2, BigTIFF), and how whole numbers read.
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_SIZES |= {16: 8, 17: 8, 18: 8}
_WHOLE = {1: "B", 3: "H", 4: "I", 16: "Q"}
_MAX_ENTRIES = 4096
_MAX_TABLES_BYTES = 2**16
JPEG, LZW, DEFLATE, PACKBITS, UNCOMPRESSED = 7, 5, (8, 32946), 32773, 1


class Broken(ValueError):
    """The directory cannot be right; the text says why, to an operator."""


class CutShort(Broken):
    """The file ends before what its directory names."""


@dataclass(frozen=True)
class Segment:
    """One strip or tile: where its bytes lie, and what they unfold to.

    offset, count: in bytes of the file; width, height: in px; unfolded: in bytes.
    """

    offset: int
    count: int
    width: int
    height: int
    unfolded: int


@dataclass(frozen=True)
class Layout:
    """What the first directory says of the pixels.

    samples: of one segment's pixel (1 where planes are apart); tiled: tiles, not strips; big: a
    BigTIFF; order: "<" or ">"; tables: the JPEG tables shared by all segments.
    """

    width: int
    height: int
    bits: int
    samples: int
    compression: int
    photometric: int
    planes: int
    predictor: int
    tiled: bool
    big: bool
    order: str
    tables: bytes | None
    segments: tuple[Segment, ...]

    @property
    def unfolded(self) -> int:
        """Bytes of all pixels, unfolded."""
        return sum(segment.unfolded for segment in self.segments)

    @property
    def in_order(self) -> bool:
        """Whether the segments lie in the file in the order of the picture."""
        offsets = [segment.offset for segment in self.segments]
        return offsets == sorted(offsets)


@dataclass(frozen=True)
class _Field:
    kind: int
    count: int
    start: int  # byte of the file where the values begin
    bytes: int
    inline: bool


class _Directory:
    """The entries of the first directory, their values read when they are asked for."""

    def __init__(self, stream: BinaryIO, size: int) -> None:
        self._stream = stream
        self.size = size
        head = self._read(0, 16)
        self.order = {b"II": "<", b"MM": ">"}.get(head[:2], "")
        if not self.order:
            raise Broken("its first bytes are no TIFF header")
        (magic,) = struct.unpack(f"{self.order}H", head[2:4])
        self.big = magic == 43
        if magic not in (42, 43) or (
            self.big and head[4:8] != struct.pack(f"{self.order}HH", 8, 0)
        ):
            raise Broken("its first bytes are no TIFF header")
        self.header_bytes = 16 if self.big else 8
        where = head[8:16] if self.big else head[4:8]
        (self.start,) = struct.unpack(f"{self.order}{'Q' if self.big else 'I'}", where)
        self.end = self.start
        self.fields: dict[int, _Field] = {}
        self._read_entries()

    def _read(self, start: int, count: int) -> bytes:
        self._stream.seek(start)
        content = self._stream.read(count)
        if len(content) < count:
            raise CutShort(f"its directory should reach byte {start + count}")
        return content

    def _read_entries(self) -> None:
        head, step = (8, 20) if self.big else (2, 12)
        counted = self._read(self.start, head)
        (number,) = struct.unpack(f"{self.order}{'Q' if self.big else 'H'}", counted)
        if not 0 < number <= _MAX_ENTRIES:
            raise Broken(f"its directory has {number} entries")
        entries = self._read(self.start + head, step * number)
        self.end = self.start + head + step * number + (8 if self.big else 4)
        for place in range(number):
            self._add(entries[place * step : (place + 1) * step], self.start + head + place * step)

    def _add(self, entry: bytes, start: int) -> None:
        tag, kind = struct.unpack(f"{self.order}HH", entry[:4])
        room = 8 if self.big else 4
        (count,) = struct.unpack(f"{self.order}{'Q' if self.big else 'I'}", entry[4 : 4 + room])
        if tag in self.fields and tag in _NAMES:
            raise Broken(f"its directory tells {_NAMES[tag]} twice")
        total = _SIZES.get(kind, 0) * count
        inline = total <= room
        (there,) = struct.unpack(f"{self.order}{'Q' if self.big else 'I'}", entry[4 + room :])
        where = start + 4 + room if inline else there
        self.fields.setdefault(tag, _Field(kind, count, where, total, inline))

    def numbers(self, tag: int, default: int | None, most: int) -> tuple[int, ...]:
        """Return the whole numbers of a tag, at most `most`; (default,) where it is absent."""
        field = self.fields.get(tag)
        if field is None:
            if default is None:
                raise Broken(f"its directory has no {_NAMES[tag]}")
            return (default,)
        if field.kind not in _WHOLE:
            raise Broken(f"{_NAMES[tag]} is no whole number")
        if not 0 < field.count <= most:
            raise Broken(f"{_NAMES[tag]} has {field.count} values")
        code = f"{self.order}{field.count}{_WHOLE[field.kind]}"
        return struct.unpack(code, self._read(field.start, field.bytes))

    def number(self, tag: int, default: int | None = None) -> int:
        """Return the one whole number of a tag; more than one, or none, is Broken."""
        return self.numbers(tag, default, 1)[0]

    def content(self, tag: int, most: int) -> bytes | None:
        field = self.fields.get(tag)
        if field is None:
            return None
        if not 0 < field.bytes <= most:
            raise Broken(f"{_NAMES[tag]} has {field.bytes} bytes")
        return self._read(field.start, field.bytes)

    def taken(self) -> list[tuple[int, int]]:
        """Return [start, end) of the header, the directory, its lists and the ICC profile.

        Of other tags the length is not to be trusted: some programs give IPTC's in fours.
        """
        apart = [
            entry
            for tag, entry in self.fields.items()
            if (tag in _NAMES or tag == _ICC) and not entry.inline and entry.bytes
        ]
        return [
            (0, self.header_bytes),
            (self.start, self.end),
            *((entry.start, entry.start + entry.bytes) for entry in apart),
        ]


def read(stream: BinaryIO, size: int) -> Layout:
    """Return the layout of the first picture of a TIFF whose bytes `stream` gives.

    size: of the file, in bytes. To be asked of what has one or three samples of 8 or 16 bits.
    Raises Broken where it cannot be right, CutShort where the file ends too early, OSError.
    """
    directory = _Directory(stream, size)
    width, height = directory.number(WIDTH), directory.number(LENGTH)
    samples = directory.number(SAMPLES, 1)
    if min(width, height) < 1 or not 1 <= samples <= 4:
        raise Broken(f"it says {width} x {height} pixels of {samples} samples")
    bits = _same(directory, BITS, 1, samples)
    planes = _check_simple(directory, samples, bits)
    pixel = bits // 8 * (1 if planes > 1 else samples)
    shapes, tiled = _shapes(directory, width, height)
    number = len(shapes) * planes
    places = _places(directory, number, tiled)
    segments = tuple(
        Segment(offset, count, across, down, across * down * pixel)
        for (offset, count), (across, down) in zip(places, shapes * planes, strict=True)
    )
    compression = directory.number(COMPRESSION, 1)
    _check_places(directory, segments, compression, tiled)
    return Layout(
        width,
        height,
        bits,
        1 if planes > 1 else samples,
        compression,
        directory.number(PHOTOMETRIC),
        planes,
        directory.number(PREDICTOR, 1),
        tiled,
        directory.big,
        directory.order,
        directory.content(JPEG_TABLES, _MAX_TABLES_BYTES) if compression == JPEG else None,
        segments,
    )


def _same(directory: _Directory, tag: int, default: int, samples: int) -> int:
    """Return what a tag says of every sample. Broken where it says different things of them."""
    values = directory.numbers(tag, default, 4)
    if len(set(values)) != 1 or len(values) not in (1, samples):
        raise Broken(
            f"{_NAMES[tag]} says {', '.join(str(value) for value in values)} of {samples} samples"
        )
    return values[0]


def _check_simple(directory: _Directory, samples: int, bits: int) -> int:
    """Return the number of planes, after the tags of which each reader makes something else."""
    if bits not in (8, 16):
        raise Broken(f"it has {bits} bits a sample")
    _same(directory, SAMPLE_FORMAT, 1, samples)
    for tag in (FILL_ORDER, IMAGE_DEPTH, TILE_DEPTH):
        if directory.number(tag, 1) != 1:
            raise Broken(f"{_NAMES[tag]} is {directory.number(tag)}, which suits no photograph")
    if EXTRA_SAMPLES in directory.fields:
        raise Broken(f"it names further channels beside {samples}, but holds none")
    planar = directory.number(PLANAR, 1)
    if planar not in (1, 2):
        raise Broken(f"PlanarConfiguration is {planar}, which is not defined")
    predictor, compression = directory.number(PREDICTOR, 1), directory.number(COMPRESSION, 1)
    if predictor not in (1, 2):
        raise Broken(f"Predictor is {predictor}, which does not suit whole numbers")
    if predictor == 2 and compression not in (LZW, *DEFLATE):
        raise Broken("Predictor is 2, but its compression takes none: programs differ on it")
    return samples if planar == 2 and samples > 1 else 1


def _shapes(directory: _Directory, width: int, height: int) -> tuple[list[tuple[int, int]], bool]:
    """Return (width, height) in px of each segment of one plane, and whether they are tiles."""
    tiled = TILE_WIDTH in directory.fields or TILE_LENGTH in directory.fields
    if tiled:
        if STRIP_OFFSETS in directory.fields and TILE_OFFSETS in directory.fields:
            raise Broken("it tells both strips and tiles")
        across, down = directory.number(TILE_WIDTH), directory.number(TILE_LENGTH)
        if not across or not down or across % 16 or down % 16:
            raise Broken(f"its tiles are {across} x {down} pixels, not multiples of 16")
        # No reader needs tiles far larger than the picture; a lie here is a demand for memory.
        if across >= width + 4096 or down >= height + 4096:
            raise Broken(f"its tiles are {across} x {down} pixels, far more than the picture")
        number = -(-width // across) * -(-height // down)
        _check_number(directory, TILE_OFFSETS, number, "tiles")
        return [(across, down)] * number, True
    rows = min(directory.number(ROWS_PER_STRIP, 2**32 - 1), height)
    if rows < 1:
        raise Broken("RowsPerStrip is 0")
    number = -(-height // rows)
    _check_number(directory, STRIP_OFFSETS, number, "strips")
    return [(width, min(rows, height - top)) for top in range(0, height, rows)], False


def _check_number(directory: _Directory, tag: int, number: int, what: str) -> None:
    """Raise where fewer offsets are listed than one plane needs: before lists of that length."""
    listed = directory.fields[tag].count if tag in directory.fields else 0
    if listed < number:
        raise Broken(f"its size needs {number} {what}, the directory lists {listed}")


def _places(directory: _Directory, number: int, tiled: bool) -> list[tuple[int, int]]:
    """Return (offset, count) of each segment."""
    tags = (TILE_OFFSETS, TILE_COUNTS) if tiled else (STRIP_OFFSETS, STRIP_COUNTS)
    what = "tiles" if tiled else "strips"
    for tag in tags:
        listed = directory.fields[tag].count if tag in directory.fields else 0
        if listed != number:
            raise Broken(f"its size needs {number} {what}, {_NAMES[tag]} lists {listed}")
    offsets, counts = (directory.numbers(tag, None, number) for tag in tags)
    return list(zip(offsets, counts, strict=True))


def _check_places(
    directory: _Directory, segments: tuple[Segment, ...], compression: int, tiled: bool
) -> None:
    """Raise where segments are missing, lie on one another or on the directory, or do not suit."""
    what = "tile" if tiled else "strip"
    plain = compression == UNCOMPRESSED
    end = max(
        segment.offset + max(segment.count, segment.unfolded if plain else 0)
        for segment in segments
    )
    if end > directory.size:
        raise CutShort(f"its pixels should reach byte {end}")
    for index, segment in enumerate(segments):
        name = f"{what} {index + 1} of {len(segments)}"
        if segment.offset == 0 or segment.count == 0:
            raise Broken(f"{name} is missing: it has no bytes in the file")
        if plain and segment.count != segment.unfolded:
            raise Broken(
                f"{name} has {segment.count} bytes, where its pixels need {segment.unfolded}"
            )
        if segment.count < least_bytes(segment.unfolded, compression):
            raise Broken(f"{name} has only {segment.count} bytes for {segment.unfolded} of pixels")
    _check_overlaps(directory, segments, what)


def _check_overlaps(directory: _Directory, segments: tuple[Segment, ...], what: str) -> None:
    ranges = [
        (segment.offset, segment.offset + segment.count, index + 1)
        for index, segment in enumerate(segments)
    ]
    ranges += [(start, end, 0) for start, end in directory.taken()]
    ranges.sort()
    reached, before = 0, 0
    for start, end, number in ranges:
        if start < reached and (number or before):
            both = sorted({number, before} - {0})
            on = f"{what}s {both[0]} and {both[1]}" if len(both) > 1 else f"{what} {both[0]}"
            rest = "lie on one another" if len(both) > 1 else "lies on the header or a tag's values"
            raise Broken(f"{on} {rest} in the file")
        if end > reached:
            reached, before = end, number


def least_bytes(unfolded: int, compression: int) -> int:
    """Return fewer bytes than which `unfolded` bytes cannot be packed into.

    Deflate packs at most 1032 to 1 (zlib's technical notes); LZW of TIFF 6.0 section 13 codes at
    most 3837 entries of growing length between two Clear codes; PackBits 128 bytes to 2.
    """
    if compression in DEFLATE:
        return unfolded // 1032
    if compression == LZW:
        return unfolded // 1536
    if compression == PACKBITS:
        return unfolded // 64
    return 1
