"""A picture made by option, copied with its metadata.

WebP beside the access JPEG, a pyramidal TIFF, a cropped TIFF get the texts that a JPEG gets; AVIF
keeps what render wrote (profile, no texts). A crop can be as large as its master, so a TIFF is
copied, changed and hashed in one pass.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from glassine.base import alternates, hashing
from glassine.embed import exif, iim, jpeg, tiff, webp, xmp
from glassine.embed.facts import Technical, Words
from glassine.masters import colour


@dataclass(frozen=True)
class Copied:
    """original: SHA-256 of the file as it was read; shortened: texts an encoding had to cut."""

    digests: hashing.Digests
    original: str
    shortened: list[str]


def icc_profile(source: BinaryIO, use: str) -> bytes:
    """Return the profile that tells an alternate's colours: a TIFF's own (a crop may have its
    master's), a JPEG's; WebP and AVIF are sRGB, and say so only where the picture is in colour.

    Raises ValueError for a malformed TIFF.
    """
    if use in alternates.JPEGS:
        source.seek(0)
        return jpeg.icc_profile(source.read())
    return tiff.icc_profile(source) if use in alternates.TIFFS else colour.srgb_profile()


def components(source: BinaryIO, use: str, rendered: int) -> int:
    """Return the components of a picture; rendered: those of the frame as rendered. A negative as
    captured has as many as its master: in colour, where what is rendered of it is grey."""
    if use not in alternates.JPEGS:
        return rendered
    source.seek(0)
    return jpeg.components(source.read())


def copy(
    source: BinaryIO, target: Path, use: str, words: Words, technical: Technical, with_iim: bool
) -> Copied:
    """Write the alternate `source` with its metadata to `target`.

    Raises ValueError for a malformed file or metadata beyond what a file can hold.
    """
    if use in alternates.TIFFS:
        return _tiff(source, target, words, technical, with_iim)
    source.seek(0)
    data = source.read()
    content, cut = data, list[str]()
    if use == "webp":
        block, cut = exif.encode(words, technical)
        content = webp.spliced(
            data, exif=block.removeprefix(jpeg.EXIF_HEAD), xmp=xmp.whole(words, technical)
        )
    elif use in alternates.JPEGS:
        content, cut = in_jpeg(data, words, technical, with_iim)
    target.write_bytes(content)
    return Copied(hashing.of_bytes(content), hashlib.sha256(data).hexdigest(), cut)


def in_jpeg(
    data: bytes, words: Words, technical: Technical, with_iim: bool
) -> tuple[bytes, list[str]]:
    """Return (the JPEG `data` with its metadata, names of the fields an encoding shortened).

    Raises ValueError for a malformed JPEG or metadata beyond what a file can hold.
    """
    exif_block, cut = exif.encode(words, technical)
    packet, extended = xmp.packet(words, technical)
    datasets, cut_iim = iim.encode(words) if with_iim else (b"", [])
    result = jpeg.spliced(
        data,
        exif=exif_block,
        xmp=packet,
        extended=extended,
        iim=iim.block(datasets) if datasets else None,
        ppi=technical.ppi,
    )
    return result, cut + cut_iim


def _tiff(
    source: BinaryIO, target: Path, words: Words, technical: Technical, with_iim: bool
) -> Copied:
    texts, cut = exif.tiff_texts(words, technical)
    fields = {tag: tiff.text(value) for tag, value in texts.items()}
    fields[tiff.XMP] = (tiff.UNDEFINED, xmp.whole(words, technical))
    if with_iim:
        datasets, cut_iim = iim.encode(words)
        fields[tiff.IIM] = (tiff.UNDEFINED, datasets)
        cut += cut_iim
    described = tiff.Described(source, fields)
    with target.open("wb") as opened:
        digests = hashing.of_stream(described, opened)
    return Copied(digests, described.original, cut)
