"""Regions equal an independent decoder's; geometry is exact to 0.02 px; one kernel, >= 50 dB."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base.errors import GlassineError
from glassine.masters import kept, opening, pixels


def _noise(height: int, width: int, bands: int, dtype: str) -> np.ndarray:
    made = np.random.default_rng(5).integers(0, np.iinfo(dtype).max, (height, width, bands))
    return made.astype(dtype)


def _written(path: Path, content: np.ndarray, **options: Any) -> dict[str, Any]:
    photometric = "rgb" if content.shape[2] == 3 else "minisblack"
    stored = content if content.shape[2] == 3 else content[:, :, 0]
    tifffile.imwrite(path, stored, photometric=photometric, **options)
    return opening.read_header(path)


STORAGES = {
    "one strip": {"rowsperstrip": 1000},
    "strips": {"rowsperstrip": 7},
    "big endian": {"byteorder": ">"},
    "BigTIFF": {"bigtiff": True},
    "deflate with predictor": {"compression": "zlib", "predictor": True},
    "tiles": {"tile": (64, 64)},
    "planes": {"planarconfig": "separate"},
}


@pytest.mark.parametrize("storage", STORAGES)
@pytest.mark.parametrize("bands", [1, 3])
@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_regions_are_the_samples_that_were_stored(
    tmp_path: Path, storage: str, bands: int, dtype: str
) -> None:
    if storage == "planes" and bands == 1:
        pytest.skip("one band has no planes")
    content = _noise(90, 131, bands, dtype)
    path = tmp_path / "m.tif"
    options = STORAGES[storage]
    if storage == "planes":
        tifffile.imwrite(path, np.moveaxis(content, 2, 0), photometric="rgb", **options)
        header = opening.read_header(path)
    else:
        header = _written(path, content, **options)
    direct = storage in ("one strip", "strips", "big endian", "BigTIFF")
    assert (header.contiguous_from is not None) == direct
    with pixels.opened(path, header) as source:
        assert (source.width, source.height, source.bands) == (131, 90, bands)
        assert np.array_equal(source.region(0, 0, 131, 90), content)
        assert np.array_equal(source.region(17, 5, 60, 33), content[5:38, 17:77])
        assert source.region(0, 0, 1, 1).dtype == np.dtype(dtype)


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_a_large_compressed_master_goes_through_a_file_that_is_gone_afterwards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, dtype: str
) -> None:
    monkeypatch.setattr(pixels, "MAX_DECODED_BYTES", 1000)
    content = _noise(1100, 40, 3, dtype)
    header = _written(tmp_path / "m.tif", content, compression="zlib", rowsperstrip=30)
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    with pixels.opened(tmp_path / "m.tif", header, scratch=scratch) as source:
        assert np.array_equal(source.region(0, 0, 40, 1100), content)
        assert np.array_equal(source.region(3, 600, 20, 17), content[600:617, 3:23])
        assert list(scratch.iterdir()) == []


def test_a_region_outside_is_refused(tmp_path: Path) -> None:
    header = _written(tmp_path / "m.tif", _noise(20, 30, 3, "uint16"))
    with pixels.opened(tmp_path / "m.tif", header) as source:
        for region in [(-1, 0, 5, 5), (0, 0, 31, 5), (0, 16, 5, 5), (0, 0, 0, 5)]:
            with pytest.raises(ValueError, match="leaves the master"):
                source.region(*region)


def test_a_master_that_became_shorter_is_told(tmp_path: Path) -> None:
    path = tmp_path / "m.tif"
    header = _written(path, _noise(50, 50, 3, "uint16"))
    with path.open("r+b") as stream:
        stream.truncate(9000)
    with pixels.opened(path, header) as source, pytest.raises(GlassineError) as error:
        source.region(0, 0, 50, 50)
    assert error.value.findings[0].code == "render.unreadable"


@pytest.mark.parametrize(("width", "height"), [(4100, 310), (310, 4100), (1900, 30), (4100, 1)])
def test_the_reduced_master_holds_means_of_squares(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, width: int, height: int
) -> None:
    monkeypatch.setattr(pixels, "_REDUCED", kept.Kept(0))
    content = _noise(height, width, 3, "uint16")
    header = _written(tmp_path / "m.tif", content, rowsperstrip=50)
    with ThreadPoolExecutor(2) as pool, pixels.opened(tmp_path / "m.tif", header, pool) as source:
        by, reduced = source.reduction, source.reduced
    with pixels.opened(tmp_path / "m.tif", header) as source:
        assert np.array_equal(reduced, source.reduced)
    assert max(reduced.shape) <= pixels.REDUCED_LONG_EDGE
    down = min(by, height)
    rows, columns = height // down, width // by
    squares = content[: rows * down, : columns * by].reshape(rows, down, columns, by, 3)
    assert np.abs(reduced - squares.mean(axis=(1, 3))).max() <= 0.5001


# ------------------------------------------------------------------ geometry

# A scene that is known at every point (master coordinates): two waves across each other.
WAVE_X, WAVE_Y = 37.0, 29.0


def _scene(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    across = 12000 * np.sin(2 * np.pi * x / WAVE_X + 0.3)
    return 32768 + across + 9000 * np.cos(2 * np.pi * y / WAVE_Y + 0.1)


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    path = tmp_path_factory.mktemp("scene") / "m.tif"
    y, x = np.mgrid[0:520, 0:640] + 0.5
    values = np.round(_scene(x, y)).astype(np.uint16)
    return path, _written(path, np.dstack([values] * 3))


def _rectangle(centre: tuple[float, float], width: float, height: float, degrees: float) -> Any:
    turn = np.exp(1j * math.radians(degrees))
    found = []
    for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        point = complex(x * width / 2, y * height / 2) * turn
        found.append((centre[0] + point.real, centre[1] + point.imag))
    return found


def _displacement(made: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Return the mean (x, y) by which the picture `made` is off the scene, in px."""
    error = (made.astype(float) - _scene(x, y)).ravel()
    slope_x = 12000 * 2 * np.pi / WAVE_X * np.cos(2 * np.pi * x / WAVE_X + 0.3)
    slope_y = -9000 * 2 * np.pi / WAVE_Y * np.sin(2 * np.pi * y / WAVE_Y + 0.1)
    slopes = np.stack([slope_x.ravel(), slope_y.ravel()], axis=1)
    return np.linalg.lstsq(slopes, error, rcond=None)[0]


@pytest.mark.parametrize("degrees", [0.0, 0.4, 2.0, -3.0, 17.0, 90.0])
@pytest.mark.parametrize("rotate", [0, 90, 180, 270])
@pytest.mark.parametrize("mirror", [False, True])
def test_the_picture_stands_where_its_corners_say(
    scene: tuple[Path, dict[str, Any]], degrees: float, rotate: int, mirror: bool
) -> None:
    """The expected position is worked out with complex numbers, apart from the matrices there."""
    centre, width, height = (320.0, 260.0), 240, 200
    corners = _rectangle(centre, width, height, degrees)
    where = pixels.place(corners, rotate=rotate, mirror=mirror)
    turned = rotate in (90, 270)
    assert (where.width, where.height) == ((height, width) if turned else (width, height))
    with pixels.opened(*scene) as source:
        made = pixels.warp(source, where, 0, 0, where.width, where.height)[:, :, 1]
    v, u = np.mgrid[0 : where.height, 0 : where.width] + 0.5
    if mirror:
        u = where.width - u
    point = (u - where.width / 2) + 1j * (v - where.height / 2)
    point = point * np.exp(-1j * math.radians(rotate)) * np.exp(1j * math.radians(degrees))
    x, y = centre[0] + point.real, centre[1] + point.imag
    assert np.abs(_displacement(made, x, y)).max() < 0.02


def test_an_upright_crop_on_whole_pixels_changes_no_sample(tmp_path: Path) -> None:
    content = _noise(80, 100, 3, "uint16")
    header = _written(tmp_path / "m.tif", content)
    corners = [(10, 20), (70, 20), (70, 60), (10, 60)]
    inside = content[20:60, 10:70]
    with pixels.opened(tmp_path / "m.tif", header) as source:
        for rotate in (0, 90, 180, 270):
            where = pixels.place(corners, rotate=rotate)
            made = pixels.warp(source, where, 0, 0, where.width, where.height)
            assert np.array_equal(made, np.rot90(inside, -rotate // 90))
        where = pixels.place(corners, rotate=90, mirror=True)
        made = pixels.warp(source, where, 0, 0, where.width, where.height)
        assert np.array_equal(made, np.rot90(inside, -1)[:, ::-1])


def test_a_keystone_takes_each_corner_into_its_place() -> None:
    corners = [(100.5, 80.2), (430.1, 95.7), (425.9, 300.3), (96.2, 310.8)]
    where = pixels.place(corners, keystone=True)
    _, across, down = pixels.frame_shape(corners)
    assert not where.affine
    assert abs(where.width - across) <= 0.5
    assert abs(where.height - down) <= 0.5
    rest_x, rest_y = (where.width - across) / 2, (where.height - down) / 2
    box = np.array([(0, 0), (across, 0), (across, down), (0, down)]) + np.array([rest_x, rest_y])
    found = where.to_master(box)
    assert np.allclose(found, corners, atol=1e-6)
    # OpenCV's own solution of the same four pairs
    reference = cv2.getPerspectiveTransform(np.float32(box), np.float32(corners))
    middle = np.array([[across / 2, down / 2]])
    x, y, w = reference @ np.array([*middle[0], 1.0])
    assert np.allclose(where.to_master(middle), [[x / w, y / w]], atol=0.01)


def test_a_keystoned_picture_follows_the_corners(scene: tuple[Path, dict[str, Any]]) -> None:
    corners = [(150.0, 120.0), (480.0, 128.0), (470.0, 380.0), (160.0, 372.0)]
    where = pixels.place(corners, keystone=True)
    with pixels.opened(*scene) as source:
        made = pixels.warp(source, where, 0, 0, where.width, where.height)[:, :, 0]
    v, u = np.mgrid[0 : where.height, 0 : where.width] + 0.5
    found = where.to_master(np.stack([u.ravel(), v.ravel()], axis=1))
    x, y = (part.reshape(u.shape) for part in found.T)
    assert np.abs(_displacement(made, x, y)).max() < 0.02


def _keys(distance: np.ndarray, a: float) -> np.ndarray:
    """Return the cubic convolution kernel (Keys 1981, eq. 4 with free a); OpenCV: a = -0.75."""
    d = np.abs(distance)
    near = ((a + 2) * d - (a + 3)) * d * d + 1
    far = ((a * d - 5 * a) * d + 8 * a) * d - 4 * a
    return np.where(d <= 1, near, np.where(d < 2, far, 0.0))


def test_the_same_kernel_in_floating_point_differs_by_less_than_50_db(tmp_path: Path) -> None:
    """Reference: cubic convolution at exact positions in double precision, here in numpy."""
    rng = np.random.default_rng(11)
    rough = cv2.GaussianBlur(rng.uniform(0, 1, (300, 400)), (0, 0), 1.0)
    rough = (rough - rough.min()) / (rough.max() - rough.min())
    content = np.round(rough * 60000 + 2000).astype(np.uint16)[:, :, None]
    header = _written(tmp_path / "m.tif", content)
    where = pixels.place(_rectangle((200.3, 150.8), 220, 180, 2.0))
    with pixels.opened(tmp_path / "m.tif", header) as source:
        made = pixels.warp(source, where, 0, 0, where.width, where.height)[:, :, 0]
    v, u = np.mgrid[0 : where.height, 0 : where.width] + 0.5
    x, y = where.to_master(np.stack([u.ravel(), v.ravel()], axis=1)).T - 0.5
    left, top = np.floor(x).astype(int), np.floor(y).astype(int)
    exact = np.zeros(x.shape)
    for j in range(-1, 3):
        for i in range(-1, 3):
            weight = _keys(x - left - i, -0.75) * _keys(y - top - j, -0.75)
            exact += weight * content[top + j, left + i, 0]
    error = (made.ravel() - exact) / 65535 * 255
    assert 10 * math.log10(255**2 / np.mean(error**2)) >= 50
    # and it is that kernel: a neighbour among cubic kernels is further away
    other = np.zeros(x.shape)
    for j in range(-1, 3):
        for i in range(-1, 3):
            weight = _keys(x - left - i, -0.5) * _keys(y - top - j, -0.5)
            other += weight * content[top + j, left + i, 0]
    assert np.mean((made.ravel() - other) ** 2) > np.mean((made.ravel() - exact) ** 2)


def test_blocks_join_without_a_seam(scene: tuple[Path, dict[str, Any]]) -> None:
    where = pixels.place(_rectangle((320, 260), 300, 200, 1.5))
    with pixels.opened(*scene) as source:
        whole = pixels.warp(source, where, 0, 0, 300, 200).astype(int)
        right = pixels.warp(source, where, 128, 64, 172, 136)
    # positions are kept to 1/32 px, counted from the block's corner: a small share of a wave
    steepest = 2 * np.pi * (12000 / WAVE_X + 9000 / WAVE_Y)
    assert np.abs(whole[64:, 128:] - right).max() <= steepest / 32


def test_beyond_the_master_its_edge_is_repeated(tmp_path: Path) -> None:
    content = np.full((40, 40, 1), 777, np.uint16)
    header = _written(tmp_path / "m.tif", content)
    where = pixels.place([(-30.0, -20.0), (60.0, -20.0), (60.0, 70.0), (-30.0, 70.0)])
    with pixels.opened(tmp_path / "m.tif", header) as source:
        made = pixels.warp(source, where, 0, 0, 90, 90)
        far = pixels.warp(source, where, 0, 0, 8, 8)
    assert (made == 777).all()
    assert (far == 777).all()


@settings(max_examples=60, deadline=None)
@given(
    x=st.floats(-50, 900),
    y=st.floats(-50, 900),
    width=st.floats(3, 700),
    height=st.floats(3, 700),
    degrees=st.floats(-179, 179),
    margin=st.floats(0, 20),
)
def test_a_rectangle_keeps_its_size_angle_and_middle(
    x: float, y: float, width: float, height: float, degrees: float, margin: float
) -> None:
    corners = _rectangle((x, y), width, height, degrees)
    angle, across, down = pixels.frame_shape(corners)
    assert math.isclose(across, width, rel_tol=1e-6)
    assert math.isclose(down, height, rel_tol=1e-6)
    assert abs((math.degrees(angle) - degrees + 180) % 360 - 180) < 1e-6
    where = pixels.place(corners, margin_px=margin)
    assert abs(where.width - width - 2 * margin) <= 0.51
    middle = where.to_master(np.array([[where.width / 2, where.height / 2]]))[0]
    assert np.allclose(middle, (x, y), atol=1e-6)
