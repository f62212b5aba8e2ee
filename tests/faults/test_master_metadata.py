"""Broken metadata in a sound picture: the picture is taken, what cannot be read is left out; a
profile that is none holds it, as its colours could not be told."""

import struct

import numpy as np
import pytest
import tifffile

from glassine.base.errors import GlassineError
from glassine.masters import opening

PIXELS = np.full((20, 30, 3), 1000, np.uint16)
EXIF, GPS, XMP, IPTC, ICC, DATE = 34665, 34853, 700, 33723, 34675, 306


def write(path, tag, kind, count, value):
    """Write a TIFF with one more tag; the writer refuses some, so these are renamed afterwards."""
    stand_in = 65000
    extra = [(stand_in, kind, count, value, True)]
    tifffile.imwrite(path, PIXELS, photometric="rgb", metadata=None, extratags=extra)
    data = path.read_bytes()
    entry = struct.pack("<HH", stand_in, kind)
    assert data.count(entry) == 1
    path.write_bytes(data.replace(entry, struct.pack("<HH", tag, kind)))
    return path


@pytest.mark.parametrize(
    ("tag", "kind", "count", "value"),
    [
        (EXIF, 4, 1, 10**9),
        (EXIF, 4, 1, 0),
        (EXIF, 4, 1, 8),
        (EXIF, 4, 1, 300),
        (EXIF, 2, 0, "no directory"),
        (GPS, 4, 1, 10**9),
        (XMP, 1, 40, b"<x:xmpmeta" + b"\xff" * 30),
        (XMP, 1, 60, b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>&a;' + b" " * 3),
        (IPTC, 1, 40, b"\x1c\x02\xff\xff\xff" + b"\xff" * 35),
        (DATE, 2, 0, "9999:99:99 99:99:99"),
        (DATE, 2, 0, "0000:00:00 00:00:00"),
        (DATE, 2, 0, "2026:02:30 10:00:00"),
        (DATE, 2, 0, "yesterday"),
    ],
)
def test_broken_metadata_is_left_out(tmp_path, tag, kind, count, value):
    path = write(tmp_path / "m.tif", tag, kind, count, value)
    header = opening.read_header(path)
    assert header.capture.taken is None
    assert np.array_equal(opening.open_image(path).numpy(), PIXELS)


def test_a_sound_date_is_kept(tmp_path):
    path = write(tmp_path / "m.tif", DATE, 2, 0, "2026:03:17 10:00:00")
    assert opening.read_header(path).capture.taken == "2026-03-17T10:00:00"


@pytest.mark.parametrize("content", [b"", b"\x1c" * 40, b"\0" * 36 + b"abcd" + b"\0" * 200])
def test_a_profile_that_is_none_holds_the_master(tmp_path, content):
    path = write(tmp_path / "m.tif", ICC, 7, len(content) or 1, content or b"\0")
    with pytest.raises(GlassineError) as error:
        opening.read_header(path)
    assert error.value.findings[0].code == "masters.damaged"
