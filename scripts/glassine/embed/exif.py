"""EXIF (Exif 2.32, CIPA DC-008-2019) of an access image, written by piexif and word-aligned."""

from __future__ import annotations

import struct
from typing import Any

import piexif

from glassine.embed.facts import Technical, Words, fraction, shortened
from glassine.embed.jpeg import EXIF_HEAD, MAX_EXIF

# The whole block has to fit one 64 KB segment; longer texts stand whole in XMP.
MAX_TEXT = 16000
VERSION = b"0232"
_POINTER_TO_EXIF = 34665
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 9: 4, 10: 8}


def _texts(words: Words, technical: Technical) -> dict[int, Any]:
    tags = piexif.ImageIFD
    return {
        tags.ImageDescription: words.description or words.title,
        tags.DocumentName: words.identifier,
        tags.Artist: "; ".join(words.creators),
        tags.Copyright: words.copyright_notice,
        tags.Make: technical.make,
        tags.Model: technical.model,
        tags.Software: technical.software,
    }


def tiff_texts(words: Words, technical: Technical) -> tuple[dict[int, bytes], list[str]]:
    """Return ({TIFF tag: UTF-8 text}, names of the texts that had to be shortened)."""
    cut: list[str] = []
    return _encoded(_texts(words, technical), cut), cut


def _capture(technical: Technical) -> dict[int, Any]:
    tags = piexif.ExifIFD
    taken_at = technical.taken.replace("-", ":").replace("T", " ")
    fields: dict[int, Any] = {
        tags.DateTimeOriginal: taken_at,
        tags.DateTimeDigitized: taken_at,
        tags.OffsetTimeOriginal: technical.offset if taken_at else "",
        tags.OffsetTimeDigitized: technical.offset if taken_at else "",
        tags.BodySerialNumber: technical.serial,
        tags.LensModel: technical.lens,
        tags.ImageUniqueID: technical.document_id.replace("-", ""),
    }
    numbers = {
        tags.ExposureTime: technical.exposure_s,
        tags.FNumber: technical.f_number,
        tags.FocalLength: technical.focal_mm,
    }
    fields.update({tag: fraction(value) for tag, value in numbers.items() if value})
    if technical.iso and 0 < technical.iso < 65536:
        fields[tags.ISOSpeedRatings] = round(technical.iso)
    return fields


def encode(words: Words, technical: Technical) -> tuple[bytes, list[str]]:
    """Return (`Exif\\0\\0` and the block, names of the texts that had to be shortened).

    Texts are UTF-8 in ASCII fields, as the metadata guidelines of the trade have it and
    readers expect (common practice; the standard's own UTF-8 type came with Exif 3.0).
    """
    tiff_tags, exif_tags = piexif.ImageIFD, piexif.ExifIFD
    zeroth: dict[int, Any] = _texts(words, technical) | {tiff_tags.Orientation: 1}
    if technical.components == 3:
        zeroth[tiff_tags.YCbCrPositioning] = 1
    if technical.ppi:
        zeroth |= {
            tiff_tags.XResolution: fraction(technical.ppi),
            tiff_tags.YResolution: fraction(technical.ppi),
            tiff_tags.ResolutionUnit: 2,
        }
    exif: dict[int, Any] = _capture(technical)
    exif |= {
        exif_tags.ExifVersion: VERSION,
        exif_tags.FlashpixVersion: b"0100",
        exif_tags.ComponentsConfiguration: b"\1\2\3\0"
        if technical.components == 3
        else b"\1\0\0\0",
        exif_tags.ColorSpace: technical.colour_space,
        exif_tags.PixelXDimension: technical.width,
        exif_tags.PixelYDimension: technical.height,
    }
    cut: list[str] = []
    block = piexif.dump({"0th": _encoded(zeroth, cut), "Exif": _encoded(exif, cut)})
    aligned = EXIF_HEAD + _aligned(block[len(EXIF_HEAD) :])
    if len(aligned) > MAX_EXIF:
        raise ValueError(f"EXIF holds {MAX_EXIF} bytes, not {len(aligned)}")
    return aligned, cut


def _encoded(fields: dict[int, Any], cut: list[str]) -> dict[int, Any]:
    """Return the fields with texts as UTF-8, without those that have nothing to say."""
    encoded: dict[int, Any] = {}
    for tag, value in fields.items():
        if isinstance(value, str):
            if not value:
                continue
            whole = value
            value = shortened(value, MAX_TEXT).encode()
            if value != whole.encode():
                cut.append(f"exif:{tag}")
        encoded[tag] = value
    return encoded


def _entries(block: bytes, at: int) -> list[tuple[int, int, int, bytes]]:
    """Return (tag, type, count, value) of the big-endian IFD at `at`."""
    (count,) = struct.unpack_from(">H", block, at)
    entries = []
    for number in range(count):
        place = at + 2 + 12 * number
        tag, kind, values = struct.unpack_from(">HHI", block, place)
        size = _SIZES[kind] * values
        start = place + 8 if size <= 4 else struct.unpack_from(">I", block, place + 8)[0]
        entries.append((tag, kind, values, block[start : start + size]))
    return entries


def _directory(entries: list[tuple[int, int, int, bytes]], at: int) -> bytes:
    """Return an IFD laid out from offset `at`, each value on an even offset (TIFF 6.0, page 15)."""
    heads = [struct.pack(">H", len(entries))]
    values = b""
    base = at + 2 + 12 * len(entries) + 4
    for tag, kind, count, value in entries:
        head = struct.pack(">HHI", tag, kind, count)
        if len(value) <= 4:
            heads.append(head + value.ljust(4, b"\0"))
            continue
        heads.append(head + struct.pack(">I", base + len(values)))
        values += value + b"\0" * (len(value) % 2)
    return b"".join(heads) + b"\0\0\0\0" + values


def _aligned(block: bytes) -> bytes:
    """Return piexif's TIFF block with every value on an even offset, which piexif leaves out."""
    zeroth = _entries(block, 8)
    (pointer,) = (
        struct.unpack(">I", entry[3])[0] for entry in zeroth if entry[0] == _POINTER_TO_EXIF
    )
    start = 8 + len(_directory(zeroth, 8))
    replaced = [
        (tag, kind, count, struct.pack(">I", start) if tag == _POINTER_TO_EXIF else value)
        for tag, kind, count, value in sorted(zeroth)
    ]
    return block[:8] + _directory(replaced, 8) + _directory(_entries(block, pointer), start)
