"""What is taken for a master: rules on container, pages, samples, size and place of the pixels.

A master is a baseline TIFF 6.0 or BigTIFF file with one picture of unsigned 8 or 16-bit
grey or RGB samples. Everything else is refused in plain words before a pixel is decoded.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

from glassine.base import naming
from glassine.masters import header_size, layout
from glassine.masters.refusal import damaged, refuse, truncated, unsuitable
from glassine.masters.tags import count

# Sides beyond this cannot be written as JPEG (ISO/IEC 10918-1, B.2.2: 16-bit sizes).
MAX_SIDE = 65_500
# Directories looked at in one file; a camera writes one to three.
MAX_PAGES = 16

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


def _first_bytes(path: Path, content: Path | None) -> tuple[bytes, int]:
    """Return the first 64 bytes and the size. Raises GlassineError for what is no plain file."""
    try:
        status = content.stat() if content else path.lstat()
        if not content and (not path.is_file() or path.is_symlink()):
            raise refuse(
                "not_a_file",
                path,
                "This is a link, a folder or a device, not a file.",
                "a plain file.",
                "Put the master itself into the batch folder.",
            )
        with (content or path).open("rb") as stream:
            return stream.read(64), status.st_size
    except FileNotFoundError as problem:
        raise refuse(
            "missing",
            path,
            "The master is not there.",
            "the file that intake saw.",
            "Put it back, or take its row out of the catalogue, and run again.",
        ) from problem
    except OSError as problem:
        raise refuse(
            "unreadable",
            path,
            f"The file cannot be read: {problem.strerror}.",
            "a file that the night's user may read.",
            "Check the disk and the file's permissions.",
        ) from problem


def check_container(path: Path, content: Path | None = None) -> bytes:
    """Return the first bytes of what is a TIFF by content and by name."""
    head, size = _first_bytes(path, content)
    if size == 0:
        raise truncated(path, "it is empty")
    if head[:4] not in header_size.TIFF_HEADS:
        if not any(head):
            raise damaged(path, "it begins with zeros only")
        kind = next((name for magic, name in _OTHER_FORMATS if head.startswith(magic)), None)
        raise refuse(
            "not_tiff",
            path,
            f"By its content this is {kind or 'no TIFF file'}.",
            "a TIFF file (TIFF 6.0 or BigTIFF).",
            "Replace it by the master, or move it out of the batch folder.",
        )
    if path.suffix.lower() not in naming.MASTER_SUFFIXES:
        raise refuse(
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
        raise truncated(path, f"it ends after {size} bytes, within the header")
    (offset,) = (
        struct.unpack(f"{order}Q", head[8:16]) if big else struct.unpack(f"{order}I", head[4:8])
    )
    if offset + 2 > size:
        raise truncated(
            path, f"its directory should stand at byte {offset}, the file ends at byte {size}"
        )


def check_pages(path: Path, tiff: Any) -> Any:
    """Return the first page, after the rules on what else the file may hold."""
    pages = []
    for index, page in enumerate(tiff.pages):
        if index >= MAX_PAGES:
            raise damaged(path, f"it has more than {MAX_PAGES} directories")
        pages.append(page)
    first = pages[0]
    if "DNGVersion" in first.tags or 50706 in first.tags:
        raise unsuitable(
            "raw",
            path,
            "By its tags this is a camera raw file (DNG) under a TIFF's name; what opens is its "
            "preview or its bare mosaic.",
            "a name that ends in .dng, or the developed 16-bit TIFF.",
        )
    # Bit 0 of NewSubfileType marks a reduced copy of another picture (TIFF 6.0 section 8).
    full = [page for page in pages if not _is_reduced(page, first)]
    if len(full) > 1 or first not in full:
        raise unsuitable(
            "pages",
            path,
            f"The file holds {len(full)} full pictures, the first directory is "
            f"{'one of them' if first in full else 'a reduced copy'}.",
            "one picture a file, in the first directory.",
        )
    return first


def _is_reduced(page: Any, first: Any) -> bool:
    """Whether a directory is a smaller copy: marked so, and (but for the first) truly smaller."""
    if not count(page, "NewSubfileType", 0) & 1:
        return False
    size, whole = (page.imagewidth * page.imagelength, first.imagewidth * first.imagelength)
    return page is first or bool(size < whole)


def _check_samples(path: Path, page: Any) -> None:
    """Raise where the samples are of a kind that is not taken."""
    photometric = count(page, "PhotometricInterpretation", -1)
    samples = count(page, "SamplesPerPixel", 1)
    bits = page.tags.valueof("BitsPerSample", 1)
    bits = tuple(bits) if isinstance(bits, tuple) else (int(bits),) * samples
    sample_format = count(page, "SampleFormat", 1)
    compression = count(page, "Compression", 1)
    # YCbCr is only the inside of JPEG compression there; it decodes to RGB.
    expected_samples = {1: 1, 2: 3, 6: 3 if compression == 7 else -1}.get(photometric, -1)
    if samples != expected_samples:
        raise unsuitable(
            "samples",
            path,
            f"The file has {samples} samples a pixel, which stand for "
            f"{PHOTOMETRICS.get(photometric, f'something unknown ({photometric})')}.",
            "grey (black is zero) or RGB without further channels.",
        )
    if len(set(bits)) != 1 or bits[0] not in (8, 16):
        raise unsuitable(
            "bits",
            path,
            f"The file has {', '.join(str(value) for value in bits)} bits a sample.",
            "16 (or 8) bits in every channel.",
        )
    if sample_format != 1:
        kind = {2: "signed integers", 3: "floating-point numbers"}.get(sample_format, "undefined")
        raise unsuitable("sample_format", path, f"The samples are {kind}.", "unsigned integers.")
    if compression not in COMPRESSIONS or (compression == 7 and bits[0] == 16):
        raise unsuitable(
            "compression",
            path,
            f"The file is compressed by method {compression}, which this workflow cannot decode.",
            f"one of {', '.join(sorted(set(COMPRESSIONS.values())))}.",
        )
    if count(page, "PlanarConfiguration", 1) == 2 and "TileWidth" in page.tags:
        raise unsuitable(
            "layout",
            path,
            "The channels lie in separate tiled planes.",
            "channels of a pixel side by side.",
        )


def check_decoded(path: Path, image: Any) -> None:
    """Raise where a decoder (pyvips image) makes something else of a master than its tags say."""
    if image.bands not in (1, 3) or image.format not in ("uchar", "ushort"):
        raise unsuitable(
            "samples",
            path,
            f"It decodes to {image.bands} channels of {image.format}.",
            "one or three channels of 8 or 16 bits.",
        )


def _check_size(path: Path, width: int, height: int, max_pixels: int) -> None:
    if width < 1 or height < 1:
        raise damaged(path, f"it says that it is {width} x {height} pixels")
    if width * height > max_pixels or max(width, height) > MAX_SIDE:
        raise refuse(
            "too_large",
            path,
            f"The file says that it is {width} x {height} pixels.",
            f"at most {max_pixels} pixels and {MAX_SIDE} on a side.",
            "Check the file; if it is a true capture, split it, or raise the limit of "
            "masters, `intake.max_pixels`.",
        )


def _check_length(path: Path, laid: layout.Layout, size: int) -> None:
    """Raise where the file is many times larger than its picture: before a byte more is read."""
    most = _MOST_TIMES_PIXELS * laid.unfolded + _MOST_BESIDE_BYTES
    if size > most:
        raise refuse(
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
    unfolded = page.imagewidth * page.imagelength * sample * count(page, "SamplesPerPixel", 1)
    if unfolded > _THIN_FROM_BYTES and size < unfolded * _THIN_SHARE:
        raise refuse(
            "too_thin",
            path,
            f"The file has {size} bytes and says that it unfolds into {unfolded}.",
            f"a picture with its noise, at least {_THIN_SHARE:.1%} of its pixels' bytes.",
            "Check the file; a true capture is never so empty.",
        )


def read_layout(path: Path, content: Path, size: int) -> layout.Layout:
    """Return where the pixels lie. Raises GlassineError where that cannot be right."""
    try:
        with content.open("rb") as stream:
            return layout.read(stream, size)
    except layout.CutShort as problem:
        raise truncated(path, f"{problem}, the file ends at byte {size}") from problem
    except layout.Broken as problem:
        raise damaged(path, str(problem)) from problem


def checked(path: Path, page: Any, content: Path, size: int, max_pixels: int) -> layout.Layout:
    """Return where the pixels lie, after all rules on size, samples and their place."""
    _check_size(path, int(page.imagewidth), int(page.imagelength), max_pixels)
    _check_samples(path, page)
    laid = read_layout(path, content, size)
    _check_size(path, laid.width, laid.height, max_pixels)
    _check_thickness(path, page, size)
    _check_length(path, laid, size)
    return laid
