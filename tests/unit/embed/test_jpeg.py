"""Segments put into a JPEG: the coded picture stays, limits hold, damage is refused."""

from __future__ import annotations

import struct

import numpy as np
import pytest
import pyvips
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.embed import jpeg
from makers import jpeg_packets, made_items

EXIF = jpeg.EXIF_HEAD + b"MM\0*\0\0\0\x08\0\0\0\0\0\0"
XMP = b"<x/>"


@pytest.fixture(scope="module")
def plain() -> bytes:
    """A JPEG as render leaves it: JFIF, an ICC profile, no other metadata."""
    return made_items.encoded(3, 90, 60)


@pytest.fixture(scope="module")
def progressive() -> bytes:
    return made_items.encoded(4, 90, 60, progressive=True)


@pytest.fixture(scope="module")
def grey() -> bytes:
    return made_items.encoded(5, 90, 60, bands=1)


def markers(data: bytes) -> list[int]:
    return [segment.marker for segment in jpeg.split(data)[0]]


@pytest.mark.parametrize("kind", ["plain", "progressive", "grey"])
def test_pixels_stay_bit_for_bit(kind: str, request: pytest.FixtureRequest) -> None:
    data: bytes = request.getfixturevalue(kind)
    made = jpeg.spliced(data, exif=EXIF, xmp=XMP, iim=jpeg.IRB_HEAD, ppi=300)
    # everything from the first scan on is the same bytes
    scan = data.index(b"\xff\xda")
    assert made.endswith(data[scan:])
    assert jpeg.picture(made) == jpeg.picture(data)
    before = pyvips.Image.new_from_buffer(data, "").numpy()
    after = pyvips.Image.new_from_buffer(made, "").numpy()
    assert np.array_equal(before, after)


def test_order_of_segments(plain: bytes) -> None:
    # JFIF 1.02: APP0 stands right behind SOI; Exif 2.32 4.7.2: APP1 before the other APPn
    made = jpeg.spliced(plain, exif=EXIF, xmp=XMP, iim=jpeg.IRB_HEAD)
    assert markers(made)[:4] == [jpeg.APP0, jpeg.APP1, jpeg.APP1, jpeg.APP13]
    assert markers(made).count(jpeg.APP0) == 1
    assert jpeg.icc_profile(made) == jpeg.icc_profile(plain) != b""


def test_density_is_that_of_exif(plain: bytes) -> None:
    made = jpeg.spliced(plain, exif=EXIF, xmp=XMP, ppi=1333.6)
    unit, x, y = struct.unpack_from(">BHH", jpeg.split(made)[0][0].payload, 7)
    assert (unit, x, y) == (1, 1334, 1334)


def test_embedding_twice_is_embedding_once(plain: bytes) -> None:
    first = jpeg.spliced(plain, exif=EXIF, xmp=b"<old/>", extended=b"o" * 70000, iim=jpeg.IRB_HEAD)
    again = jpeg.spliced(first, exif=EXIF, xmp=XMP, iim=jpeg.IRB_HEAD)
    assert again == jpeg.spliced(plain, exif=EXIF, xmp=XMP, iim=jpeg.IRB_HEAD)


def test_number_of_components(plain: bytes, progressive: bytes, grey: bytes) -> None:
    assert [jpeg.components(data) for data in (plain, progressive, grey)] == [3, 3, 1]


@pytest.mark.parametrize("size", [0, 1, 65399, 65400, 65401, 200_000])
def test_extended_packet_comes_back(plain: bytes, size: int) -> None:
    # XMP part 3, 1.1.3.1: parts of at most 65,400 bytes, each with digest, full length, offset
    extended = bytes(number % 251 for number in range(size)) or None
    made = jpeg.spliced(plain, exif=EXIF, xmp=XMP, extended=extended)
    assert jpeg_packets.read_xmp(made) == (XMP, extended)
    parts = [s for s in jpeg.split(made)[0] if s.payload.startswith(jpeg.EXTENDED_HEAD)]
    assert len(parts) == -(-size // 65400)


@pytest.mark.parametrize(
    "more",
    [
        {"exif": EXIF + bytes(65536)},
        {"xmp": bytes(jpeg.MAX_XMP + 1)},
        {"iim": bytes(65534)},
    ],
)
def test_what_no_segment_can_hold_is_refused(plain: bytes, more: dict[str, bytes]) -> None:
    with pytest.raises(ValueError, match="holds"):
        jpeg.spliced(plain, **({"exif": EXIF, "xmp": XMP} | more))


def test_greatest_segments_fit(plain: bytes) -> None:
    made = jpeg.spliced(
        plain,
        exif=EXIF.ljust(jpeg.MAX_PAYLOAD, b"\0"),
        xmp=b"x" * jpeg.MAX_XMP,
        iim=jpeg.IRB_HEAD.ljust(jpeg.MAX_PAYLOAD, b"\0"),
    )
    assert jpeg_packets.read_xmp(made)[0] == b"x" * jpeg.MAX_XMP


@pytest.mark.parametrize(
    "damage",
    [
        lambda data: b"",
        lambda data: b"\xff\xd8",
        lambda data: b"II*\0" + data,
        lambda data: data[:-1],
        lambda data: data[: len(data) // 2],
        lambda data: data[:2] + b"\xff\xd9" + data[2:],
        lambda data: data[:4] + b"\xff\xff" + data[6:],
        lambda data: data[:20] + b"\0\0" + data[20:],
    ],
)
def test_damaged_files_are_refused(plain: bytes, damage: object) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        jpeg.spliced(damage(plain), exif=EXIF, xmp=XMP)  # type: ignore[operator]


@given(st.binary(max_size=300))
@settings(max_examples=200)
def test_any_bytes_are_taken_apart_or_refused(noise: bytes) -> None:
    for data in (noise, b"\xff\xd8" + noise + b"\xff\xd9"):
        try:
            segments, scans = jpeg.split(data)
        except ValueError:
            continue
        assert scans.startswith(b"\xff\xda")
        assert all(len(segment.payload) <= jpeg.MAX_PAYLOAD for segment in segments)
