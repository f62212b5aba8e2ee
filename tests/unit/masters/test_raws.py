"""What is taken for a raw file, and what is refused by name: levels, sizes and kinds that part."""

import hashlib
import struct

import numpy as np
import pytest

from glassine.base.errors import GlassineError
from glassine.masters import opening, raws
from makers import raw_files

CAMERA = raw_files.Camera(full_well=0)
SAMPLES = raw_files.exposed(raw_files.table(64, 96), CAMERA)


def read(folder, content, name="a.dng", max_pixels=10**6):
    path = folder / name
    path.write_bytes(content)
    return raws.read(path, max_pixels)


def code_of(folder, content, **more):
    with pytest.raises(GlassineError) as refused:
        read(folder, content, **more)
    return refused.value.findings[0].code


def shot(*more):
    return raw_files.Shot(more=more)


def test_a_dng_is_read_as_it_was_written(tmp_path):
    raw = read(tmp_path, raw_files.dng(SAMPLES, CAMERA))
    assert np.array_equal(raw.sensor, SAMPLES)
    assert raw.pattern.tolist() == [[0, 1], [1, 2]]
    assert (raw.black == 512).all() and raw.white == 16383
    assert raw.header.capture.f_number == 8 and raw.header.capture.serial == "PE-0001"
    assert raw.header.puid == "fmt/730"  # PRONOM: Digital Negative Format 1.4
    assert raw.matrix.sum(axis=1) == pytest.approx([1, 1, 1], abs=1e-3)


@pytest.mark.parametrize("pattern", raw_files.PATTERNS)
def test_black_levels_by_place_stay_at_their_place(tmp_path, pattern):
    levels = (500, 510, 520, 530)
    camera = raw_files.Camera(pattern=pattern, full_well=0)
    by_place = (
        (50713, 3, 2, struct.pack("<2H", 2, 2)),
        (50714, 3, 4, struct.pack("<4H", *levels)),
    )
    raw = read(tmp_path, raw_files.dng(SAMPLES, camera, shot(*by_place)))
    assert raw.black.ravel().tolist() == list(levels)


def test_an_active_area_is_what_is_taken(tmp_path):
    area = (50829, 4, 4, struct.pack("<4I", 4, 8, 60, 90))
    raw = read(tmp_path, raw_files.dng(SAMPLES, CAMERA, shot(area)))
    assert np.array_equal(raw.sensor, SAMPLES[4:60, 8:90])


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ((50829, 4, 4, struct.pack("<4I", 4, 8, 60, 900)), "masters.raw_damaged"),
        ((50717, 4, 1, struct.pack("<I", 5000)), "masters.raw_levels"),  # samples lie above
        ((50717, 4, 1, struct.pack("<I", 400)), "masters.raw_levels"),  # black lies above
        ((50716, 10, 64, struct.pack("<128i", *[1, 1] * 64)), "masters.raw_levels"),
        ((33422, 1, 4, bytes((0, 1, 2, 1))), "masters.raw_pattern"),
        ((259, 3, 1, struct.pack("<H", 9)), "masters.raw_unknown"),
        ((258, 3, 1, struct.pack("<H", 0)), "masters.raw_damaged"),
        ((257, 4, 1, struct.pack("<I", 4_000_000)), "masters.raw_too_large"),
    ],
)
def test_what_would_come_out_wrong_is_refused(tmp_path, more, code):
    assert code_of(tmp_path, raw_files.dng(SAMPLES, CAMERA, shot(more))) == code


def test_samples_that_are_not_those_of_the_files_own_digest_are_refused(tmp_path):
    # Digital Negative specification 1.4.0.0, RawImageDigest.
    md5 = hashlib.md5(SAMPLES.astype("<u2").tobytes()).digest()
    sound = raw_files.dng(SAMPLES, CAMERA, shot((50972, 1, 16, md5)))
    assert np.array_equal(read(tmp_path, sound).sensor, SAMPLES)
    damaged = sound[:-501] + bytes([sound[-501] ^ 1]) + sound[-500:]
    assert code_of(tmp_path, damaged) == "masters.raw_digest"


def test_a_file_cut_short_is_refused(tmp_path):
    content = raw_files.dng(SAMPLES, CAMERA)
    assert code_of(tmp_path, content[:-1000]) == "masters.raw_unknown"
    assert code_of(tmp_path, b"") == "masters.truncated"
    assert code_of(tmp_path, content[:60]) == "masters.raw_damaged"


def test_another_file_under_a_raw_name_is_refused(tmp_path):
    assert code_of(tmp_path, b"\xff\xd8\xff\xe0" + bytes(400)) == "masters.raw_damaged"
    assert code_of(tmp_path, bytes(4000), name="a.nef") == "masters.raw_unknown"


def test_a_dng_under_a_tiff_name_is_no_master(tmp_path):
    path = tmp_path / "PEH-0001.tif"
    path.write_bytes(raw_files.dng(SAMPLES, CAMERA))
    with pytest.raises(GlassineError) as refused:
        opening.read_header(path)
    finding = refused.value.findings[0]
    assert finding.code == "masters.raw" and "ends in .dng" in finding.expected


def test_a_mosaic_under_a_tiff_name_without_the_tags_of_dng_is_no_master(tmp_path):
    path = tmp_path / "PEH-0001.tif"
    content = raw_files.dng(SAMPLES, CAMERA, left_out=(50706, 50707, 50708))
    path.write_bytes(content)
    with pytest.raises(GlassineError):
        opening.read_header(path)


def test_without_a_colour_matrix_there_is_none(tmp_path):
    assert read(tmp_path, raw_files.dng(SAMPLES, CAMERA, left_out=(50721,))).matrix is None
