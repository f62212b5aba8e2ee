"""Lossless-JPEG and linear DNG are developed as what was written uncompressed is."""

import numpy as np
import pytest

from glassine.masters import raws
from makers import raw_files
from unit.develop.test_develop_figures import developed

CAMERA = raw_files.Camera(full_well=5000.0, dead=0.001)
SAMPLES = raw_files.exposed(raw_files.wedge(100, 150)[0], CAMERA, 1)


def colours():
    """Return samples of three colours each, as a linear DNG holds them, odd numbers among them."""
    random = np.random.default_rng(4)
    light = raw_files.wedge(100, 150)[0]
    levels = (
        CAMERA.black + light * (CAMERA.white - CAMERA.black) + random.normal(0, 30, light.shape)
    )
    return np.clip(np.rint(levels), 0, CAMERA.white).astype(np.uint16)


@pytest.mark.parametrize("pattern", raw_files.PATTERNS)
def test_samples_of_a_compressed_mosaic_are_those_written(pattern, tmp_path):
    camera = raw_files.Camera(pattern=pattern, full_well=5000.0)
    samples = raw_files.exposed(raw_files.wedge(100, 150)[0], camera, 2)
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples, camera, lossless=True))
    raw = raws.read(tmp_path / "a.dng", 10**6)
    assert np.array_equal(raw.sensor, samples)
    assert raw.header.compression == "lossless JPEG"


def test_samples_over_the_whole_range_come_through(tmp_path):
    samples = np.random.default_rng(1).integers(0, 16384, (128, 192), dtype=np.uint16)
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples, CAMERA, lossless=True))
    assert np.array_equal(raws.read(tmp_path / "a.dng", 10**6).sensor, samples)


@pytest.mark.parametrize("samples", [SAMPLES, colours()], ids=["mosaic", "linear"])
def test_the_same_picture_comes_out(samples, tmp_path):
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples, CAMERA))
    (tmp_path / "b.dng").write_bytes(raw_files.dng(samples, CAMERA, lossless=True))
    assert (tmp_path / "a.dng").read_bytes() != (tmp_path / "b.dng").read_bytes()
    names = ["a.dng", "b.dng"]
    _, fixity, pictures = developed(tmp_path, tmp_path / "i", names, parts={"b.dng": "b"})
    assert np.array_equal(pictures["a.dng"], pictures["b.dng"])
    one, other = (master["source"]["header"] for master in fixity["masters"])
    assert (one["compression"], other["compression"]) == ("uncompressed", "lossless JPEG")


@pytest.mark.parametrize("lossless", [False, True])
def test_a_linear_raw_is_its_values_over_the_black_level(lossless, tmp_path):
    samples = colours()
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples, CAMERA, lossless=lossless))
    record, _, pictures = developed(tmp_path, tmp_path / "i", ["a.dng"])
    gains = np.array(record["masters"][0]["gains"])
    light = (samples - CAMERA.black) / (CAMERA.white - CAMERA.black) * gains
    assert np.abs(pictures["a.dng"] - np.clip(light, 0, 1)).max() < 2 / 65535
    assert record["masters"][0]["method"] == "none"


@pytest.mark.parametrize("at", [0.3, 0.6, 0.9])
def test_a_tile_cut_short_is_no_picture(at, tmp_path):
    content = raw_files.dng(SAMPLES, CAMERA, lossless=True)
    (tmp_path / "a.dng").write_bytes(content[: int(len(content) * at)])
    with pytest.raises(raws.GlassineError):
        raws.read(tmp_path / "a.dng", 10**6)
