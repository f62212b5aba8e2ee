"""What a file is, from its bytes: name, version and PRONOM identifier of the format.

The rules follow the signatures of The National Archives' PRONOM registry, version 109:
a JPEG counts as JFIF where APP0 comes first, as Exif where APP1 does. That version knows neither
BigTIFF nor AVIF, so they have a name here and no identifier.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from glassine.base.errors import GlassineError

# As much of a file as tells its format: JPEG headers with extended XMP stay well below.
HEAD_BYTES = 262144


@dataclass(frozen=True)
class Format:
    """name and version as PRONOM gives them; puid e.g. `fmt/43`; mime the media type."""

    name: str
    version: str
    puid: str
    mime: str


_JFIF = {(1, 0): ("1.00", "fmt/42"), (1, 1): ("1.01", "fmt/43"), (1, 2): ("1.02", "fmt/44")}
_EXIF = {
    b"0200": ("2.0", "x-fmt/398"),
    b"0210": ("2.1", "x-fmt/390"),
    b"0220": ("2.2", "x-fmt/391"),
    b"0221": ("2.2.1", "fmt/645"),
}
_DNG = {
    (1, 0): ("1.0", "fmt/436"),
    (1, 1): ("1.1", "fmt/152"),
    (1, 2): ("1.2", "fmt/437"),
    (1, 3): ("1.3", "fmt/438"),
    (1, 4): ("1.4", "fmt/730"),
}
# PRONOM tells the three forms of WebP apart by their first chunk.
_WEBP = {b"VP8 ": "fmt/566", b"VP8L": "fmt/567", b"VP8X": "fmt/568"}
# The signature box of ISO/IEC 15444-1, section I.5.1, and the brand of its file type.
_JP2 = b"\0\0\0\x0cjP  \r\n\x87\n"
_RAW_JPEG = Format("Raw JPEG Stream", "", "fmt/41", "image/jpeg")
_BY_SUFFIX = {
    ".json": Format("JSON Data Interchange Format", "", "fmt/817", "application/json"),
    ".csv": Format("Comma Separated Values", "", "x-fmt/18", "text/csv"),
    ".txt": Format("Plain Text File", "", "x-fmt/111", "text/plain"),
    ".xsd": Format("XML Schema Definition", "", "x-fmt/280", "application/xml"),
    ".rng": Format("Extensible Markup Language", "1.0", "fmt/101", "application/xml"),
    ".sch": Format("Extensible Markup Language", "1.0", "fmt/101", "application/xml"),
}


def identify(path: Path) -> Format:
    """Return the format of the file at `path` as it is now.

    Raises GlassineError for a file that is none of JPEG, TIFF, WebP, AVIF, XML, JSON, CSV or plain
    text.
    """
    with path.open("rb") as opened:
        found = _identified(opened) or _BY_SUFFIX.get(path.suffix.lower())
        if found is None:
            opened.seek(0)
            raise GlassineError.because(
                "formats.unknown",
                path,
                f"This file begins {opened.read(8).hex(' ')}, which no format of a package does.",
                "JPEG, TIFF, WebP, AVIF, XML, JSON, CSV or plain text.",
                "Remove what does not belong to the item and run again.",
            )
    return found


def identify_bytes(content: bytes) -> Format | None:
    """Return the format whose signature `content` (a whole file) carries, or None."""
    return _identified(io.BytesIO(content))


def _identified(opened: BinaryIO) -> Format | None:
    head = opened.read(HEAD_BYTES)
    if head.startswith(b"\xff\xd8\xff"):
        return _jpeg(head)
    if head[:4] in (b"II*\0", b"MM\0*"):
        return _tiff(opened, "<" if head[:2] == b"II" else ">")
    if head[:4] in (b"II+\0", b"MM\0+"):
        return Format("BigTIFF", "", "", "image/tiff")
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP" and head[12:16] in _WEBP:
        return Format("WebP", "", _WEBP[head[12:16]], "image/webp")
    if head[4:8] == b"ftyp" and b"avif" in _brands(head):
        return Format("AV1 Image File Format", "", "", "image/avif")
    if head.startswith(_JP2):
        return Format("JP2 (JPEG 2000 part 1)", "", "x-fmt/392", "image/jp2")
    if head.removeprefix(b"\xef\xbb\xbf").startswith(b"<?xml version="):
        return Format("Extensible Markup Language", "1.0", "fmt/101", "application/xml")
    return None


def _brands(head: bytes) -> set[bytes]:
    """Return the brands of a file of ISO/IEC 14496-12 (section 4.3): the major one, the others."""
    (size,) = struct.unpack_from(">I", head)
    box = head[8 : min(size, 512)]
    return {box[:4], *(box[at : at + 4] for at in range(8, len(box), 4))}


def _jpeg(head: bytes) -> Format:
    if head[3] == 0xE0 and head[6:11] == b"JFIF\0" and head[13:14] in (b"\0", b"\1", b"\2"):
        version = _JFIF.get((head[11], head[12]))
        if version:
            return Format("JPEG File Interchange Format", *version, "image/jpeg")
    if head[3] == 0xE1 and head[6:12] == b"Exif\0\0":
        version = _exif_version(head)
        if version:
            name = "Exchangeable Image File Format (Compressed)"
            return Format(name, *version, "image/jpeg")
    return _RAW_JPEG


def _exif_version(head: bytes) -> tuple[str, str] | None:
    big = head[12:16] == b"MM\0*"
    mark = b"\x90\x00\x00\x07\x00\x00\x00\x04" if big else b"\x00\x90\x07\x00\x04\x00\x00\x00"
    at = head.find(mark)
    text = head[at + 8 : at + 12] if at >= 0 else b""
    if text.startswith(b"023"):
        return "2.3.x", "fmt/1507"
    return _EXIF.get(text)


def _tiff(opened: BinaryIO, order: str) -> Format:
    """Tell TIFF from its kin by the tags of its first directory."""
    tags = _first_tags(opened, order)
    dng = tags.get(50706)
    if dng is not None and (dng[0], dng[1]) in _DNG:
        return Format("Digital Negative Format (DNG)", *_DNG[dng[0], dng[1]], "image/x-adobe-dng")
    if 37398 in tags:
        name = "Tagged Image File Format for Electronic Photography (TIFF/EP)"
        return Format(name, "", "fmt/154", "image/tiff")
    if 34735 in tags:
        name = "Geographic Tagged Image File Format (GeoTIFF)"
        return Format(name, "", "fmt/155", "image/tiff")
    return Format("Tagged Image File Format", "", "fmt/353", "image/tiff")


def of_dng(version: tuple[int, int] | None) -> Format | None:
    """Return the format of a DNG of this version (DNGVersion, major and minor), None where there is
    none; later versions than the registry's have no identifier."""
    if version is None:
        return None
    known = _DNG.get(version, (f"{version[0]}.{version[1]}", ""))
    return Format("Digital Negative Format (DNG)", *known, "image/x-adobe-dng")


def _first_tags(opened: BinaryIO, order: str) -> dict[int, bytes]:
    """Return {tag: its four value bytes} of the first directory; empty where it is cut short."""
    try:
        opened.seek(4)
        (at,) = struct.unpack(order + "I", opened.read(4))
        opened.seek(at)
        (count,) = struct.unpack(order + "H", opened.read(2))
        entries = opened.read(12 * count)
        return dict(struct.iter_unpack(order + "H6x4s", entries))
    except struct.error:
        return {}
