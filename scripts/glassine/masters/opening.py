"""Open masters safely: what a TIFF says of itself, and its pixels, read-only.

A master is a baseline TIFF 6.0 or BigTIFF file with one picture of unsigned 8 or 16-bit
grey or RGB samples. Everything else is refused in plain words before a pixel is decoded:
the loader is chosen by the first bytes, never by the name, and must agree with the name.
"""

from __future__ import annotations

import contextlib
import hashlib
import logging
import math
import os
import re
import struct
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

import pyvips
from msgspec import UNSET

from glassine.base import door, naming
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.parts import Capture, Header, Resolution
from glassine.masters import header_size, layout, unfold, vips_errors

VERSION = "2"

# Pixels of one master, a guard against small files that unfold into gigabytes. The largest
# single-shot sensors have 151 million pixels; stitched captures stay below this.
MAX_PIXELS = 400_000_000
# Sides beyond this cannot be written as JPEG (ISO/IEC 10918-1, B.2.2: 16-bit sizes).
MAX_SIDE = 65_500
# Directories looked at in one file; a camera writes one to three.
MAX_PAGES = 16
MAX_ICC_BYTES = 8 * 2**20

# TIFF 6.0 and its technical notes; names as MIX and people write them. Codecs that our libvips
# lacks (zstd, LZMA) decode to black without an error there, so they must never reach it.
COMPRESSIONS = {
    1: "uncompressed",
    5: "LZW",
    7: "JPEG",
    8: "deflate",
    32773: "PackBits",
    32946: "deflate",
}
# TIFF 6.0 sections 4 to 6, 16, 21 and 23: what a sample stands for.
PHOTOMETRICS = {
    0: "grey where white is zero",
    1: "grey",
    2: "RGB",
    3: "palette colours",
    4: "a mask",
    5: "CMYK inks",
    6: "YCbCr",
    8: "CIE L*a*b*",
}
# Large pictures that fill less than this share of their pixels' bytes: noise alone keeps a
# camera's picture above a tenth (common practice, no source), while a bomb is near a thousandth.
_THIN_SHARE = 1 / 300
_THIN_FROM_BYTES = 256 * 2**20
# Beside its pixels, unfolded, a master holds previews and metadata, and layers of an editor at
# most: a file many times as large as its picture is none (common practice, no source).
_MOST_TIMES_PIXELS = 8
_MOST_BESIDE_BYTES = 64 * 2**20

# First bytes of what arrives under a master's name by mistake.
_OTHER_FORMATS = (
    (b"\xff\xd8\xff", "a JPEG image"),
    (b"\x89PNG", "a PNG image"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered image file"),
    (b"GIF8", "a GIF image"),
    (b"\x00\x00\x00\x0cjP", "a JPEG 2000 image"),
    (b"RIFF", "a RIFF file (WebP, WAV or AVI)"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"<", "an HTML or XML text"),
)

_ready = False


def prepare_vips() -> None:
    """Set libvips up once: no stale cached images, no loaders that are not proof to bad files, and
    one thread: a job's threads are ours to share out, and an AVIF's bytes depend on their number.
    """
    global _ready
    if not _ready:
        pyvips.cache_set_max(0)
        pyvips.concurrency_set(1)
        pyvips.block_untrusted_set(True)
        _ready = True


def _refuse(code: str, path: Path, what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because(f"masters.{code}", printable(path), what, expected, next_step)


def printable(path: Path) -> str:
    """Return `path` as text that can be printed and stored, bytes that are no UTF-8 escaped."""
    return door.shown(os.fsencode(path))


def _truncated(path: Path, what: str) -> GlassineError:
    return _refuse(
        "truncated",
        path,
        f"The file is truncated: {what}.",
        "a file with all its bytes.",
        "Copy the master again from the capture station, or capture the item again.",
    )


def _damaged(path: Path, what: str) -> GlassineError:
    return _refuse(
        "damaged",
        path,
        f"The file is damaged: {what}.",
        "a TIFF file that can be decoded without an error.",
        "Copy the master again from the capture station, or capture the item again.",
    )


def _unsuitable(code: str, path: Path, what: str, expected: str) -> GlassineError:
    return _refuse(
        code, path, what, expected, "Export the master again as plain 16-bit TIFF and replace it."
    )


def _first_bytes(path: Path, content: Path | None) -> tuple[bytes, int]:
    """Return the first 64 bytes and the size. Raises GlassineError for what is no plain file."""
    try:
        status = content.stat() if content else path.lstat()
        if not content and (not path.is_file() or path.is_symlink()):
            raise _refuse(
                "not_a_file",
                path,
                "This is a link, a folder or a device, not a file.",
                "a plain file.",
                "Put the master itself into the batch folder.",
            )
        with (content or path).open("rb") as stream:
            return stream.read(64), status.st_size
    except FileNotFoundError as problem:
        raise _refuse(
            "missing",
            path,
            "The master is not there.",
            "the file that intake saw.",
            "Put it back, or take its row out of the catalogue, and run again.",
        ) from problem
    except OSError as problem:
        raise _refuse(
            "unreadable",
            path,
            f"The file cannot be read: {problem.strerror}.",
            "a file that the night's user may read.",
            "Check the disk and the file's permissions.",
        ) from problem


def _check_container(path: Path, content: Path | None = None) -> bytes:
    """Return the first bytes of what is a TIFF by content and by name."""
    head, size = _first_bytes(path, content)
    if size == 0:
        raise _truncated(path, "it is empty")
    if head[:4] not in header_size.TIFF_HEADS:
        if not any(head):
            raise _damaged(path, "it begins with zeros only")
        kind = next((name for magic, name in _OTHER_FORMATS if head.startswith(magic)), None)
        raise _refuse(
            "not_tiff",
            path,
            f"By its content this is {kind or 'no TIFF file'}.",
            "a TIFF file (TIFF 6.0 or BigTIFF).",
            "Replace it by the master, or move it out of the batch folder.",
        )
    if path.suffix.lower() not in naming.MASTER_SUFFIXES:
        raise _refuse(
            "name",
            path,
            f"The content is TIFF, the name ends in {path.suffix or 'nothing'!r}.",
            "a name that ends in .tif or .tiff.",
            "Rename the file as the naming rule says.",
        )
    _check_first_directory_offset(path, head, size)
    return head


def _check_first_directory_offset(path: Path, head: bytes, size: int) -> None:
    order = "<" if head[:2] == b"II" else ">"
    big = head[2:4] in (b"+\0", b"\0+")
    if len(head) < (16 if big else 8):
        raise _truncated(path, f"it ends after {size} bytes, within the header")
    (offset,) = (
        struct.unpack(f"{order}Q", head[8:16]) if big else struct.unpack(f"{order}I", head[4:8])
    )
    if offset + 2 > size:
        raise _truncated(
            path, f"its directory should stand at byte {offset}, the file ends at byte {size}"
        )


def _pages(path: Path, content: Path) -> Any:
    """Return the opened tifffile.TiffFile, or raise GlassineError for a broken structure."""
    import tifffile  # it costs 0.2 s, and only the header facts need it

    # One line a broken tag, thousands for a hostile file; what matters is checked below.
    logging.getLogger("tifffile").setLevel(logging.CRITICAL)
    try:
        return tifffile.TiffFile(content)
    except Exception as problem:  # a parser of hostile bytes: any error means a broken file
        raise _damaged(path, f"its directory cannot be read{_told(problem)}") from problem


def _told(problem: Exception) -> str:
    """Return the parser's words in brackets; errors of its own code say nothing to an operator."""
    plain = isinstance(problem, ValueError | OSError | struct.error)
    return f" ({vips_errors.one_line(problem)})" if plain else ", a tag holds what it may not"


def _count(page: Any, name: str, default: int) -> int:
    value = page.tags.valueof(name, default)
    return int(value[0] if isinstance(value, tuple) else value)


def _check_pages(path: Path, tiff: Any) -> Any:
    """Return the first page, after the rules on what else the file may hold."""
    pages = []
    for index, page in enumerate(tiff.pages):
        if index >= MAX_PAGES:
            raise _damaged(path, f"it has more than {MAX_PAGES} directories")
        pages.append(page)
    first = pages[0]
    if "DNGVersion" in first.tags or 50706 in first.tags:
        raise _unsuitable(
            "raw",
            path,
            "This is a camera raw file (DNG); what opens is its preview.",
            "the developed 16-bit TIFF.",
        )
    # Bit 0 of NewSubfileType marks a reduced copy of another picture (TIFF 6.0 section 8).
    full = [page for page in pages if not _is_reduced(page, first)]
    if len(full) > 1 or first not in full:
        raise _unsuitable(
            "pages",
            path,
            f"The file holds {len(full)} full pictures, the first directory is "
            f"{'one of them' if first in full else 'a reduced copy'}.",
            "one picture a file, in the first directory.",
        )
    return first


def _is_reduced(page: Any, first: Any) -> bool:
    """Whether a directory is a smaller copy: marked so, and (but for the first) truly smaller."""
    if not _count(page, "NewSubfileType", 0) & 1:
        return False
    size, whole = (page.imagewidth * page.imagelength, first.imagewidth * first.imagelength)
    return page is first or bool(size < whole)


def _check_samples(path: Path, page: Any) -> None:
    """Raise where the samples are of a kind that is not taken."""
    photometric = _count(page, "PhotometricInterpretation", -1)
    samples = _count(page, "SamplesPerPixel", 1)
    bits = page.tags.valueof("BitsPerSample", 1)
    bits = tuple(bits) if isinstance(bits, tuple) else (int(bits),) * samples
    sample_format = _count(page, "SampleFormat", 1)
    compression = _count(page, "Compression", 1)
    # YCbCr is only the inside of JPEG compression there; it decodes to RGB.
    expected_samples = {1: 1, 2: 3, 6: 3 if compression == 7 else -1}.get(photometric, -1)
    if samples != expected_samples:
        raise _unsuitable(
            "samples",
            path,
            f"The file has {samples} samples a pixel, which stand for "
            f"{PHOTOMETRICS.get(photometric, f'something unknown ({photometric})')}.",
            "grey (black is zero) or RGB without further channels.",
        )
    if len(set(bits)) != 1 or bits[0] not in (8, 16):
        raise _unsuitable(
            "bits",
            path,
            f"The file has {', '.join(str(value) for value in bits)} bits a sample.",
            "16 (or 8) bits in every channel.",
        )
    if sample_format != 1:
        kind = {2: "signed integers", 3: "floating-point numbers"}.get(sample_format, "undefined")
        raise _unsuitable("sample_format", path, f"The samples are {kind}.", "unsigned integers.")
    if compression not in COMPRESSIONS or (compression == 7 and bits[0] == 16):
        raise _unsuitable(
            "compression",
            path,
            f"The file is compressed by method {compression}, which this workflow cannot decode.",
            f"one of {', '.join(sorted(set(COMPRESSIONS.values())))}.",
        )
    if _count(page, "PlanarConfiguration", 1) == 2 and "TileWidth" in page.tags:
        raise _unsuitable(
            "layout",
            path,
            "The channels lie in separate tiled planes.",
            "channels of a pixel side by side.",
        )


def _check_size(path: Path, width: int, height: int, max_pixels: int) -> None:
    if width < 1 or height < 1:
        raise _damaged(path, f"it says that it is {width} x {height} pixels")
    if width * height > max_pixels or max(width, height) > MAX_SIDE:
        raise _refuse(
            "too_large",
            path,
            f"The file says that it is {width} x {height} pixels.",
            f"at most {max_pixels} pixels and {MAX_SIDE} on a side.",
            "Check the file; if it is a true capture, split it, or raise the limit of "
            "masters, `intake.max_pixels`.",
        )


def _layout(path: Path, content: Path, size: int) -> layout.Layout:
    """Return where the pixels lie. Raises GlassineError where that cannot be right."""
    try:
        with content.open("rb") as stream:
            return layout.read(stream, size)
    except layout.CutShort as problem:
        raise _truncated(path, f"{problem}, the file ends at byte {size}") from problem
    except layout.Broken as problem:
        raise _damaged(path, str(problem)) from problem


def layout_of(path: Path) -> layout.Layout:
    """Return where the pixels of a master lie. Raises GlassineError as `read_header`, OSError."""
    return _layout(path, path, path.stat().st_size)


def _check_length(path: Path, laid: layout.Layout, size: int) -> None:
    """Raise where the file is many times larger than its picture: before a byte more is read."""
    most = _MOST_TIMES_PIXELS * laid.unfolded + _MOST_BESIDE_BYTES
    if size > most:
        raise _refuse(
            "too_long",
            path,
            f"The file has {size} bytes, its picture of {laid.width} x {laid.height} pixels needs "
            f"{laid.unfolded}.",
            f"at most {most} bytes for a picture of this size.",
            "Copy the master again from the capture station, or export it again.",
        )


def _check_thickness(path: Path, page: Any, size: int) -> None:
    """Raise where a small file unfolds into so much that no camera can have taken it."""
    bits = page.tags.valueof("BitsPerSample", 1)
    sample = (bits[0] if isinstance(bits, tuple) else bits) // 8
    unfolded = page.imagewidth * page.imagelength * sample * _count(page, "SamplesPerPixel", 1)
    if unfolded > _THIN_FROM_BYTES and size < unfolded * _THIN_SHARE:
        raise _refuse(
            "too_thin",
            path,
            f"The file has {size} bytes and says that it unfolds into {unfolded}.",
            f"a picture with its noise, at least {_THIN_SHARE:.1%} of its pixels' bytes.",
            "Check the file; a true capture is never so empty.",
        )


def _contiguous_from(laid: layout.Layout) -> int | None:
    """Return the byte where uncompressed rows begin, if they lie one behind the other."""
    if laid.compression != layout.UNCOMPRESSED or laid.tiled or laid.planes > 1:
        return None
    start = expected = laid.segments[0].offset
    for segment in laid.segments:
        if segment.offset != expected:
            return None
        expected = segment.offset + segment.count
    return start


# How far the resolutions of both directions may differ, as a share; rounded fractions do.
_SQUARE = 0.02


def _resolution(page: Any) -> Resolution | None:
    """Return the resolution as tagged (TIFF 6.0: unit 1 none, 2 inch, 3 centimetre)."""
    x, y = (_number(page.tags.valueof(name)) for name in ("XResolution", "YResolution"))
    if x is None or y is None or not (0 < x < 1e7 and 0 < y < 1e7):
        return None
    units: dict[int, Literal["none", "in", "cm"]] = {1: "none", 2: "in", 3: "cm"}
    return Resolution(x=x, y=y, unit=units.get(_count(page, "ResolutionUnit", 2), "none"))


def _number(value: Any) -> float | None:
    """Return a tag's number or fraction as a finite float rounded to 9 digits, else None."""
    try:
        if isinstance(value, tuple) and len(value) == 2:
            value = value[0] / value[1]
        elif isinstance(value, tuple):
            value = value[0]
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, IndexError, OverflowError):
        return None
    return float(f"{number:.9g}") if math.isfinite(number) else None


def _text(value: Any) -> str | None:
    """Return a tag's text in one line without control characters, at most 500 long, else None."""
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    kept = "".join(char if char.isprintable() else " " for char in value)
    return " ".join(kept.split())[:500] or None


def _date(value: Any) -> str | None:
    """Return an EXIF date "2026:03:17 10:00:00" as "2026-03-17T10:00:00", else None."""
    text = _text(value) or ""
    day, _, clock = text.partition(" ")
    numbers = day.split(":") + clock.split(":")
    written = f"{'-'.join(numbers[:3])}T{':'.join(numbers[3:])}"
    try:  # a camera without a clock writes zeros, a hostile file anything: no date of this world
        return written if datetime.fromisoformat(written).isoformat() == written else None
    except ValueError:
        return None


# Far more of an XMP packet than stands before its rights.
_XMP_BYTES = 256 * 1024
_RIGHTS_URI = re.compile(
    rb"https?://(?:www\.)?(?:rightsstatements|creativecommons)\.org/[A-Za-z0-9./?=_-]{1,200}"
)


def _rights_uris(packet: Any) -> list[str]:
    """Return the URIs of rights statements and licences that an XMP packet names, each once."""
    if not isinstance(packet, bytes):
        return []
    found = (match.group().decode("ascii") for match in _RIGHTS_URI.finditer(packet[:_XMP_BYTES]))
    return list(dict.fromkeys(found))[:5]


def _capture(page: Any) -> Capture:
    """Return what camera and studio wrote (EXIF 2.32 names in the comments), absent ones None."""
    exif = page.tags.valueof("ExifTag", {})
    exif = exif if isinstance(exif, dict) else {}
    iso = exif.get("PhotographicSensitivity", exif.get("ISOSpeedRatings"))
    return Capture(
        make=_text(page.tags.valueof("Make")),
        model=_text(page.tags.valueof("Model")),
        serial=_text(exif.get("BodySerialNumber")),
        lens=_text(exif.get("LensModel")),
        exposure_s=_number(exif.get("ExposureTime")),
        f_number=_number(exif.get("FNumber")),
        iso=_number(iso),
        focal_mm=_number(exif.get("FocalLength")),
        taken=_date(exif.get("DateTimeOriginal")) or _date(page.tags.valueof("DateTime")),
        offset=_text(exif.get("OffsetTimeOriginal")),
        artist=_text(page.tags.valueof("Artist")),
        copyright=_text(page.tags.valueof("Copyright")),
        rights_uris=_rights_uris(page.tags.valueof("XMP")),
        description=_text(page.tags.valueof("ImageDescription")),
        exif_version=_text(exif.get("ExifVersion")),
    )


# PRONOM signatures, version 109: the directory entry as it stands in the file, how far from the
# start of the file or from its end it may stand, and the format's id; earlier ones win.
_SIGNATURES = (
    (
        "fmt/154",
        4096,
        ((b"\x16\x92\x01\0\x04\0\0\0\0\0\0\x01"), b"\x92\x16\0\x01\0\0\0\x04\x01\0\0\0"),
    ),
    ("x-fmt/387", 131072, (b"\0\x90\x07\0\x04\0\0\x000220", b"\x90\0\0\x07\0\0\0\x040220")),
    ("x-fmt/388", 65535, (b"\0\x90\x07\0\x04\0\0\x000210", b"\x90\0\0\x07\0\0\0\x040210")),
    ("x-fmt/399", 65535, (b"\0\x90\x07\0\x04\0\0\x000200", b"\x90\0\0\x07\0\0\0\x040200")),
)


def _puid(content: Path, head: bytes, size: int) -> str | None:
    """Return the PRONOM id of a TIFF; None for BigTIFF, of which version 109 knows nothing.

    A TIFF whose Exif directory lies near either end of the file counts as "Exchangeable image
    file, uncompressed" there, one with the tag of ISO 12234-2 as TIFF/EP.
    """
    if head[2:4] in (b"+\0", b"\0+"):
        return None
    which = 0 if head[:2] == b"II" else 1
    with content.open("rb") as stream:
        start = stream.read(131072 + 32)
        stream.seek(max(0, size - 131072 - 32))
        end = stream.read()
    for puid, reach, entries in _SIGNATURES:
        entry = entries[which]
        if entry in start[10 : reach + len(entry)] or entry in end[-reach - len(entry) :]:
            return puid
    return "fmt/353"


def _icc_facts(page: Any, path: Path) -> tuple[str | None, str | None]:
    """Return the embedded profile's description and sha256, or (None, None)."""
    profile = page.tags.valueof("InterColorProfile")
    profile = profile if isinstance(profile, bytes) else None
    if profile is None:
        return None, None
    if len(profile) > MAX_ICC_BYTES or len(profile) < 132 or profile[36:40] != b"acsp":
        raise _damaged(path, "its embedded ICC profile is not one (ICC.1:2010, 7.2)")
    return icc_name(profile), hashlib.sha256(profile).hexdigest()


def icc_name(profile: bytes) -> str | None:
    """Return the description of an ICC profile (ICC.1:2010, 9.2.41: tag `desc`), if it has one."""
    try:
        (count,) = struct.unpack(">I", profile[128:132])
        for index in range(min(count, 100)):
            signature, offset, size = struct.unpack(
                ">4sII", profile[132 + 12 * index : 144 + 12 * index]
            )
            if signature == b"desc":
                return _icc_text(profile[offset : offset + size])
    except (struct.error, UnicodeDecodeError):
        return None
    return None


def _icc_text(data: bytes) -> str | None:
    if data[:4] == b"mluc":  # ICC.1:2010, 10.13
        size, offset = struct.unpack(">II", data[20:28])
        return _text(data[offset : offset + size].decode("utf-16-be"))
    if data[:4] == b"desc":  # ICC.1:2001-04, 6.5.17
        (size,) = struct.unpack(">I", data[8:12])
        return _text(data[12 : 12 + size].rstrip(b"\0").decode("ascii"))
    return None


def read_header(
    path: Path,
    max_pixels: int = MAX_PIXELS,
    shown: str | None = None,
    content: Path | None = None,
) -> Header:
    """Return the header facts of a master, without decoding pixels.

    max_pixels: a master with more is refused. shown: the path that findings name. content: where
    its bytes are read (`opened.Opened.content`), else `path`.
    Raises GlassineError (codes `masters.*`) for everything that is no sound master.
    """
    try:
        return _read_header(path, max_pixels, content)
    except GlassineError as error:
        name = shown or printable(path)
        raise GlassineError([replace(finding, path=name) for finding in error.findings]) from error


def _read_header(path: Path, max_pixels: int, content: Path | None) -> Header:
    head = _check_container(path, content)
    content = content or path
    size = content.stat().st_size
    with _pages(path, content) as tiff:
        try:
            page = _check_pages(path, tiff)
            laid = _checked(path, page, content, size, max_pixels)
            return _header(path, page, laid, content, head, size)
        except GlassineError:
            raise
        except Exception as problem:  # tags of hostile files raise whatever they like
            raise _damaged(path, f"its tags cannot be read{_told(problem)}") from problem


def _checked(path: Path, page: Any, content: Path, size: int, max_pixels: int) -> layout.Layout:
    """Return where the pixels lie, after all rules on size, samples and their place."""
    _check_size(path, int(page.imagewidth), int(page.imagelength), max_pixels)
    _check_samples(path, page)
    laid = _layout(path, content, size)
    _check_size(path, laid.width, laid.height, max_pixels)
    _check_thickness(path, page, size)
    _check_length(path, laid, size)
    return laid


def _header(
    path: Path, page: Any, laid: layout.Layout, content: Path, head: bytes, size: int
) -> Header:
    icc_text, icc_digest = _icc_facts(page, path)
    samples = laid.samples * laid.planes
    orientation = _count(page, "Orientation", 1)
    big = head[2:4] in (b"+\0", b"\0+")
    return Header(
        width=laid.width,
        height=laid.height,
        bits=[laid.bits] * samples,
        samples=samples,
        colour="rgb" if samples == 3 else "grey",
        sample_format="unsigned integer",
        compression=COMPRESSIONS[_count(page, "Compression", 1)],
        byte_order="little endian" if head[:2] == b"II" else "big endian",
        format_name="BigTIFF" if big else "TIFF",
        format_version=None if big else "6.0",
        puid=_puid(content, head, size),
        icc_name=icc_text,
        icc_sha256=icc_digest,
        resolution=_resolution(page),
        orientation=orientation if 1 <= orientation <= 8 else 1,
        # TIFF 6.0 knows 1 to 8: another value is kept for the note on it.
        orientation_tag=UNSET if 1 <= orientation <= 8 else orientation,
        software=_text(page.tags.valueof("Software")),
        capture=_capture(page),
        contiguous_from=_contiguous_from(laid),
        in_order=laid.in_order,
    )


def notes(header: Header, path: str) -> list[Finding]:
    """Return what a person should know of a master that is accepted (severity "note").

    header: as `read_header` returns it; path: as findings name it.
    """
    found = []

    def note(code: str, what: str, expected: str, next_step: str) -> None:
        found.append(Finding(f"masters.{code}", path, what, expected, next_step, "note"))

    export = "Nothing for this item; set the capture station to 16-bit TIFF without loss."
    if header.bits[0] == 8:
        note("note_8bit", "It has 8 bits a sample: few tones are left to invert.", "16.", export)
    if header.compression == "JPEG":
        note("note_lossy", "Its pixels were compressed with loss.", "no loss.", export)
    if header.orientation_tag is not UNSET:
        note(
            "note_orientation",
            f"Its Orientation is {header.orientation_tag}, which means nothing: the picture is "
            "taken as stored.",
            "1 to 8.",
            "Look whether the picture is upright; turn it on the review page where it is not.",
        )
    resolution = header.resolution
    if resolution and abs(resolution.x - resolution.y) > _SQUARE * resolution.x:
        found.append(
            Finding(
                "masters.note_not_square",
                path,
                f"Its header says {resolution.x:g} pixels across and {resolution.y:g} "
                "down on the same length; its pixels are taken as square.",
                "the same resolution in both directions.",
                "Look whether the picture is stretched; state nominal_ppi, and correct the "
                "capture station.",
                "review",
            )
        )
    if header.format_name == "BigTIFF":
        note(
            "note_bigtiff",
            "It is a BigTIFF, which some programs cannot open; its record has no PRONOM id.",
            "TIFF 6.0 where the file has less than 4 GiB.",
            "Nothing, where the repository takes BigTIFF.",
        )
    if not header.in_order:
        note(
            "note_order",
            "Its strips or tiles lie in the file in another order than in the picture.",
            "one after the other from the top left, as most programs write them.",
            "Look whether the picture is whole: exchanged tiles are found by a checksum list only.",
        )
    return found


def prove_pixels(path: Path, content: Path | None = None, shown: str | None = None) -> None:
    """Unfold every strip and tile of a compressed master once, each by itself (`unfold`).

    To be asked after `read_header`. path, content, shown: as there. Raises GlassineError where one
    does not unfold to exactly its pixels, OSError.
    """
    name = Path(shown) if shown else path
    where = content or path
    prepare_vips()
    with where.open("rb") as stream:
        laid = _layout(name, where, os.fstat(stream.fileno()).st_size)
        try:
            unfold.prove(stream.fileno(), laid)
        except unfold.Undecodable as problem:
            if "memory" in str(problem):
                raise decoding_problem(name, problem) from problem
            raise _damaged(name, str(problem)) from problem


def open_image(
    path: Path,
    access: str = "sequential",
    content: Path | None = None,
) -> Any:
    """Return the master as a pyvips image (uchar or ushort; 1 or 3 bands), as stored.

    access: "sequential" (top to bottom, once) or "random". content: where its bytes are read
    (`opened.Opened.content`), else `path`. Nothing is decoded yet: decode within `decoding`.
    Run `read_header` first where the file has not been through it: the limit on pixels is its own.
    Raises GlassineError for what is no master or cannot be opened.
    """
    prepare_vips()
    _check_container(path, content)
    try:
        image = _load(content or path, access)
    except pyvips.Error as problem:
        raise decoding_problem(path, problem) from problem
    if image.bands not in (1, 3) or image.format not in ("uchar", "ushort"):
        raise _unsuitable(
            "samples",
            path,
            f"It decodes to {image.bands} channels of {image.format}.",
            "one or three channels of 8 or 16 bits.",
        )
    return image


def _load(path: Path, access: str) -> Any:
    # unlimited: libtiff's own limit on one strip (50 MB) refuses true single-strip masters;
    # ours on pixels has been applied before or is applied right after.
    options = {"access": access, "fail_on": "error", "unlimited": True}
    try:
        name = os.fsencode(path).decode("utf-8")
    except UnicodeDecodeError:  # libvips takes such a file by its descriptor only
        with path.open("rb") as stream:
            source = pyvips.Source.new_from_descriptor(os.dup(stream.fileno()))
        return pyvips.Image.tiffload_source(source, **options)
    return pyvips.Image.tiffload(name, **options)


@contextlib.contextmanager
def decoding(path: Path) -> Iterator[None]:
    """Raise GlassineError for each error of the decoder, also for those that libvips leaves as
    black tiles. Nothing else of this process may use libvips meanwhile."""
    try:
        with vips_errors.fatal():
            yield
    except pyvips.Error as problem:
        raise decoding_problem(path, problem) from problem


def decoding_problem(path: Path, problem: Exception) -> GlassineError:
    """Return what a decoder's error means to an operator."""
    text = vips_errors.one_line(problem)
    if "out of memory" in text.lower():
        return _refuse(
            "memory",
            path,
            "Memory ran out while it was decoded.",
            "a picture that fits into `limits.memory_mb` and what its pixels need.",
            "Check the file; if it is a true capture, raise `limits.memory_mb`.",
        )
    cut = ("Not enough data", "Read error", "not enough data", "premature end", "end of file")
    if any(word.lower() in text.lower() for word in cut):
        return _truncated(path, f"the decoder ran out of data ({text})")
    return _damaged(path, f"the decoder says: {text}")


def icc_profile(image: Any) -> bytes | None:
    """Return the ICC profile embedded in an opened master, or None."""
    if image.get_typeof("icc-profile-data") == 0:
        return None
    profile = image.get("icc-profile-data")
    return bytes(profile)
