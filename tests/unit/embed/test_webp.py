"""Texts put into a WebP: the coded picture and the profile stay, other readers find the texts."""

from __future__ import annotations

import io
import struct

import numpy as np
import piexif
import pytest
import pyvips
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from glassine.embed import exif, jpeg, webp, xmp
from glassine.embed.facts import Technical, Words
from glassine.masters import colour
from glassine.render import encoded

WORDS = Words(title="Łódź, 港", description="Ævø © “quay”", identifier="PEH-0001")
TECHNICAL = Technical(60, 41, 400.0, 1, "Glassine", "d" * 8, "m" * 8, "a.tif", "0", "1")
PACKET = xmp.whole(WORDS, TECHNICAL)
BLOCK = exif.encode(WORDS, TECHNICAL)[0].removeprefix(jpeg.EXIF_HEAD)


def _encoded(bands: int = 3) -> bytes:
    pixels = np.random.default_rng(1).integers(0, 256, (41, 60, bands), dtype=np.uint8)
    icc = colour.srgb_profile() if bands == 3 else colour.grey_profile()
    return encoded.alternate(pixels, "webp", 80, icc=icc)


@pytest.mark.parametrize("bands", [1, 3])
def test_the_picture_stays_and_the_texts_are_read(bands: int) -> None:
    data = _encoded(bands)
    made = webp.spliced(data, exif=BLOCK, xmp=PACKET)
    # RFC 9649, 2.7: VP8X, ICCP, picture, EXIF, XMP in this order; flags 0x08 and 0x04 of VP8X
    before, after = webp.chunks(data), webp.chunks(made)
    kept = [chunk for chunk in before if chunk[0] != b"VP8X"]  # a grey one is of the simple form
    assert after[1:-2] == kept
    assert [name for name, _ in after] == [b"VP8X", *(name for name, _ in kept), b"EXIF", b"XMP "]
    (flags,) = [value[0] for name, value in before if name == b"VP8X"] or [0]
    assert after[0][1][0] == flags | 0x0C
    assert len(made) % 2 == 0
    first, second = (pyvips.Image.new_from_buffer(each, "") for each in (data, made))
    assert np.array_equal(first.numpy(), second.numpy())
    assert second.get("xmp-data") == PACKET
    assert second.get("exif-ifd0-ImageDescription").startswith(WORDS.description)
    with Image.open(io.BytesIO(made)) as image:
        assert image.size == (60, 41)
        assert image.info.get("icc_profile") == (colour.srgb_profile() if bands == 3 else None)
        assert image.getexif()[piexif.ImageIFD.DocumentName] == "PEH-0001"


def test_a_second_time_replaces_the_first() -> None:
    once = webp.spliced(_encoded(), exif=BLOCK, xmp=PACKET)
    assert webp.spliced(once, exif=BLOCK, xmp=PACKET) == once


BAD = {
    "nothing": b"",
    "a JPEG": b"\xff\xd8\xff\xe0" + bytes(20),
    "cut short": _encoded()[:-2],
    "a chunk longer than the file": b"RIFF" + struct.pack("<I", 12) + b"WEBPVP8X\xff\0\0\0",
    "half a chunk": b"RIFF" + struct.pack("<I", 8) + b"WEBPVP8X",
    "a simple form without a start code": b"RIFF"
    + struct.pack("<I", 14)
    + b"WEBPVP8 "
    + struct.pack("<I", 2)
    + b"ab",
}


@pytest.mark.parametrize("kind", BAD)
def test_what_is_no_extended_webp_is_refused(kind: str) -> None:
    with pytest.raises(ValueError, match=r"it|chunk"):
        webp.spliced(BAD[kind], exif=BLOCK, xmp=PACKET)


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(content: bytes) -> None:
    data = b"RIFF" + struct.pack("<I", len(content) + 4) + b"WEBP" + content
    try:
        found = webp.chunks(data)
    except ValueError:
        return
    assert sum(len(value) for _, value in found) <= len(content)
