"""Open masters safely: what a TIFF says of itself, and its pixels, read-only.

What is taken for a master say the rules of `acceptance`: they hold before a pixel is decoded.
The loader is chosen by the first bytes, never by the name, and must agree with the name.
"""

from __future__ import annotations

import contextlib
import logging
import os
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy.typing as npt
import pyvips
from msgspec import UNSET

from glassine.base.errors import GlassineError
from glassine.base.records.parts import Header
from glassine.masters import acceptance, layout, pronom, tags, unfold, unfolded, vips_errors
from glassine.masters.refusal import damaged, in_brackets, printable, refuse, truncated

VERSION = "2"

# Pixels of one master, a guard against small files that unfold into gigabytes. The largest
# single-shot sensors have 151 million pixels; stitched captures stay below this.
MAX_PIXELS = 400_000_000

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


def prepare() -> None:
    """Load what is loaded when it is first needed, for forks that open one master each."""
    import tifffile  # noqa: F401

    prepare_vips()


def _pages(path: Path, content: Path) -> Any:
    """Return the opened tifffile.TiffFile, or raise GlassineError for a broken structure."""
    import tifffile  # it costs 0.2 s, and only the header facts need it

    # One line a broken tag, thousands for a hostile file; what matters is checked below.
    logging.getLogger("tifffile").setLevel(logging.CRITICAL)
    try:
        return tifffile.TiffFile(content)
    except Exception as problem:  # a parser of hostile bytes: any error means a broken file
        raise damaged(path, f"its directory cannot be read{in_brackets(problem)}") from problem


def layout_of(path: Path) -> layout.Layout:
    """Return where the pixels of a master lie. Raises GlassineError as `read_header`, OSError."""
    return acceptance.read_layout(path, path, path.stat().st_size)


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
    head = acceptance.check_container(path, content)
    content = content or path
    size = content.stat().st_size
    with _pages(path, content) as tiff:
        try:
            page = acceptance.check_pages(path, tiff)
            laid = acceptance.checked(path, page, content, size, max_pixels)
            return _header(path, page, laid, content, head, size)
        except GlassineError:
            raise
        except Exception as problem:  # tags of hostile files raise whatever they like
            raise damaged(path, f"its tags cannot be read{in_brackets(problem)}") from problem


def _header(
    path: Path, page: Any, laid: layout.Layout, content: Path, head: bytes, size: int
) -> Header:
    icc_text, icc_digest = tags.icc_facts(page, path)
    samples = laid.samples * laid.planes
    orientation = tags.count(page, "Orientation", 1)
    big = head[2:4] in (b"+\0", b"\0+")
    return Header(
        width=laid.width,
        height=laid.height,
        bits=[laid.bits] * samples,
        samples=samples,
        colour="rgb" if samples == 3 else "grey",
        sample_format="unsigned integer",
        compression=acceptance.COMPRESSIONS[tags.count(page, "Compression", 1)],
        byte_order="little endian" if head[:2] == b"II" else "big endian",
        format_name="BigTIFF" if big else "TIFF",
        format_version=None if big else "6.0",
        puid=pronom.puid(content, head, size),
        icc_name=icc_text,
        icc_sha256=icc_digest,
        resolution=tags.resolution(page),
        orientation=orientation if 1 <= orientation <= 8 else 1,
        # TIFF 6.0 knows 1 to 8: another value is kept for the note on it.
        orientation_tag=UNSET if 1 <= orientation <= 8 else orientation,
        software=tags.text(page.tags.valueof("Software")),
        capture=tags.capture(page),
        contiguous_from=_contiguous_from(laid),
        in_order=laid.in_order,
    )


def prove_pixels(
    path: Path,
    content: Path | None = None,
    shown: str | None = None,
    most_bytes: int = 0,
) -> npt.NDArray[Any] | None:
    """Unfold every strip and tile of a compressed master once, each by itself (`unfold`).

    Return the pixels (height, width, bands) where they are of the kind that the proof unfolds
    (`unfolded`) and no more than `most_bytes`, else None. To be asked after `read_header`. path,
    content, shown: as there. Raises GlassineError where a strip or tile does not unfold to exactly
    its pixels, OSError.
    """
    name = Path(shown) if shown else path
    where = content or path
    prepare_vips()
    with where.open("rb") as stream:
        laid = acceptance.read_layout(name, where, os.fstat(stream.fileno()).st_size)
        room = unfolded.room_for(laid, most_bytes)
        try:
            unfold.prove(stream.fileno(), laid, None if room is None else room.data)
        except unfold.Undecodable as problem:
            if "memory" in str(problem):
                raise decoding_problem(name, problem) from problem
            raise damaged(name, str(problem)) from problem
    return None if room is None else unfolded.as_rows(room, laid)


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
    acceptance.check_container(path, content)
    try:
        image = _load(content or path, access)
    except pyvips.Error as problem:
        raise decoding_problem(path, problem) from problem
    acceptance.check_decoded(path, image)
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
        return refuse(
            "memory",
            path,
            "Memory ran out while it was decoded.",
            "a picture that fits into `limits.memory_mb` and what its pixels need.",
            "Check the file; if it is a true capture, raise `limits.memory_mb`.",
        )
    cut = ("Not enough data", "Read error", "not enough data", "premature end", "end of file")
    if any(word.lower() in text.lower() for word in cut):
        return truncated(path, f"the decoder ran out of data ({text})")
    return damaged(path, f"the decoder says: {text}")


def icc_profile(image: Any) -> bytes | None:
    """Return the ICC profile embedded in an opened master, or None."""
    if image.get_typeof("icc-profile-data") == 0:
        return None
    profile = image.get("icc-profile-data")
    return bytes(profile)
