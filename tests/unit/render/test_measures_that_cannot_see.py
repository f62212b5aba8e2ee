"""A measure sees a fault, or says that it cannot see: a fault that is there never reads 0."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from glassine.base.model import Frame
from glassine.masters import colour
from glassine.render.quality import (
    bands,
    lines,
    motion,
    patches,
    planes,
    registration,
    spectra,
)
from makers.tone import frame_faults

LINEAR = colour.encoding_of(None, "linear", 16, 3)


def _noise(shape: tuple[int, ...], seed: int, sigma: float = 0.0) -> np.ndarray:
    plane = np.random.default_rng(seed).standard_normal(shape).astype(np.float32)
    plane = cv2.GaussianBlur(plane, (0, 0), sigma) if sigma else plane
    return np.asarray(plane / plane.std())


def _patches(density: np.ndarray) -> list[patches.Patch]:
    """Cut a plane (h, w, 3) into patches of 256 px."""
    side = 256
    found = []
    for y in range(0, density.shape[0] - side + 1, side):
        for x in range(0, density.shape[1] - side + 1, side):
            part = np.ascontiguousarray(density[y : y + side, x : x + side], np.float32)
            codes = np.round(10.0**-part * 65535).astype(np.uint16)
            found.append(patches.Patch(x, y, codes, part))
    return found


# ------------------------------------------------------------------ banding


@pytest.mark.parametrize("period", [12, 50, 120])
def test_bands_of_a_pulsed_lamp_are_seen_whatever_their_period(period: int) -> None:
    high, wide = 816, 1072
    density = 0.3 + 0.015 * _noise((high, wide, 3), 2)
    wave = np.sin(2 * np.pi * np.arange(high) / period)
    # A sine of 1 % RMS in light, as density.
    density = density + (0.01 * np.sqrt(2) / np.log(10) * wave)[:, None, None]
    codes = np.round(10.0**-density * 65535).astype(np.uint16)
    geometry = frame_faults.geometry(wide, high, False)
    found = bands.of_base(codes, LINEAR, geometry, 1.0)
    assert found.rows == pytest.approx(1.0, rel=0.3)
    assert found.columns is not None
    assert found.columns < 0.3


def test_a_base_too_uneven_to_show_bands_is_not_called_free_of_them() -> None:
    high, wide = 816, 1072
    # Coarse, strong mottle, of its own on each side.
    density = 0.3 + 0.03 * _noise((high, wide), 5, 12.0)[..., None] * np.ones(3)
    codes = np.round(10.0**-density * 65535).astype(np.uint16)
    found = bands.of_base(codes, LINEAR, frame_faults.geometry(wide, high, False), 1.0)
    assert found.rows is None or found.rows > bands.MUST_SEE


def _frame(high: int, wide: int) -> Frame:
    return Frame(1, ((0, 0), (wide, 0), (wide, high), (0, high)), 0.0, "positive", "colour")


def test_without_base_long_bands_are_read_from_the_picture() -> None:
    high, wide = 500, 700
    even = (0.7 + 0.01 * _noise((high, wide), 7)).astype(np.float32)
    wave = np.sin(2 * np.pi * np.arange(high) / 90)[:, None]
    banded = even + (0.04 * np.sqrt(2) / np.log(10) * wave).astype(np.float32)
    clean, found = (
        bands.of_picture(plane, _frame(high, wide), 1.0, columns=False) for plane in (even, banded)
    )
    assert clean is not None
    assert clean < 0.5
    assert found == pytest.approx(4.0, rel=0.35)


def test_waves_over_the_lower_half_of_a_picture_are_no_banding() -> None:
    high, wide = 500, 700
    waves = np.sin(2 * np.pi * np.arange(high) / 24)[:, None] * (np.arange(high) > 220)[:, None]
    sea = (0.7 + 0.03 * waves + 0.01 * _noise((high, wide), 11)).astype(np.float32)
    found = bands.of_picture(sea, _frame(high, wide), 1.0, columns=False)
    assert found is None or found < 2.0


def test_a_picture_whose_own_lines_hide_bands_is_not_measured() -> None:
    high, wide = 500, 700
    # Boards that differ from one part of the width to the next.
    parts = [np.repeat(_noise((high // 4,), number), 4) for number in range(12)]
    lines = np.repeat(np.stack(parts, axis=1), -(-wide // 12), axis=1)[:, :wide]
    plane = (0.7 + 0.05 * lines + 0.01 * _noise((high, wide), 9)).astype(np.float32)
    assert bands.of_picture(plane, _frame(high, wide), 1.0, columns=False) is None


# ------------------------------------------------------------------ motion


def _moved(density: np.ndarray, reach: int) -> np.ndarray:
    kernel = np.full((1, reach), 1.0 / reach, np.float32)
    return np.asarray(cv2.filter2D(density, -1, kernel, borderType=cv2.BORDER_REFLECT))


def _motion(plane: np.ndarray) -> float | None:
    cut = _patches(np.repeat(plane[..., None], 3, axis=2))
    return motion.motion_blur(spectra.powers(cut, 1), spectra.places(cut))


def test_motion_shows_in_grain_and_grain_at_rest_is_even() -> None:
    grain = 0.8 + 0.03 * _noise((768, 768), 3, 0.7)
    sensor = 0.002 * _noise(grain.shape, 4)
    still, little, much = (
        _motion(each + sensor) for each in (grain, _moved(grain, 5), _moved(grain, 13))
    )
    assert still is not None
    assert still < 1.0
    assert little is not None
    assert little > 3.0
    assert much is not None
    assert much > 3.0


def test_ropes_over_most_of_a_picture_are_no_motion() -> None:
    plane = 0.8 + 0.02 * _noise((768, 768), 3, 0.7) + 0.002 * _noise((768, 768), 4)
    for number in range(24):
        x = 30 * number + 10 * number % 17
        cv2.line(plane, (x, 0), (x + 150, 540), 1.2, 1, cv2.LINE_AA)
    found = _motion(plane.astype(np.float32))
    assert found is None or found < motion.SURE_DB


def test_noise_of_the_sensor_alone_tells_nothing_of_motion() -> None:
    soft = 0.8 + 0.05 * _noise((768, 768), 3, 30.0)
    assert _motion(soft + 0.01 * _noise(soft.shape, 4)) is None


# ------------------------------------------------------------------ scratches


@pytest.mark.parametrize(("strength", "seen"), [(0.01, True), (0.2, False)])
def test_a_texture_of_long_fibres_hides_scratches_and_says_so(strength: float, seen: bool) -> None:
    fibres = cv2.blur(_noise((500, 600), 8), (1, 61))
    plane = (0.8 + strength * fibres / fibres.std()).astype(np.float32)
    sheet = planes.Upright(plane, np.ones(plane.shape, bool), planes.MARGIN)
    assert (lines.scratches(sheet) is not None) == seen


# ------------------------------------------------------------------ registration


def _channels(shared: np.ndarray, own: float, shift: tuple[float, float]) -> np.ndarray:
    """Return three channels that share a plane, red moved by `shift` px, each with own grain."""
    matrix = np.array([[1, 0, shift[0]], [0, 1, shift[1]]], np.float32)
    size = shared.shape[::-1]
    moved = cv2.warpAffine(
        shared, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )
    planes = [0.7 * moved, shared, 0.5 * shared]
    grain = [own * _noise(shared.shape, 20 + number, 0.7) for number in range(3)]
    return np.stack([0.8 + plane + each for plane, each in zip(planes, grain, strict=True)], axis=2)


@pytest.mark.parametrize("own", [0.002, 0.02])
def test_a_shift_is_found_through_grain_as_strong_as_the_detail(own: float) -> None:
    shared = 0.02 * _noise((256, 768), 11, 1.5).astype(np.float32)
    still, moved = (
        registration.misregistration(_patches(_channels(shared, own, shift)))
        for shift in ((0.0, 0.0), (0.7, -0.7))
    )
    assert still is not None
    assert still < 0.15
    assert moved == pytest.approx(0.99, abs=0.2)


def test_grain_of_its_own_in_each_channel_hides_any_shift_and_says_so() -> None:
    nothing = np.zeros((256, 768), np.float32)
    assert registration.misregistration(_patches(_channels(nothing, 0.02, (0.0, 0.0)))) is None


def test_coloured_edges_that_disagree_are_no_shift_of_the_rig() -> None:
    shared = 0.05 * _noise((512, 768), 12, 1.5).astype(np.float32)
    cut = []
    for number, shift in enumerate([(1.5, 0), (-1.5, 0), (0, 1.5), (0, -1.5), (1, 1), (-1, -1)]):
        cut.append(_patches(_channels(shared, 0.002, shift))[number])
    found = registration.misregistration(cut)
    assert found is None or found < registration.HIDDEN_PX


def test_stripes_are_not_taken_for_shifted_by_their_period() -> None:
    x = np.arange(768, dtype=np.float32)
    shared = np.repeat(0.1 * np.sin(2 * np.pi * x / 7)[None], 512, axis=0).astype(np.float32)
    found = registration.misregistration(_patches(_channels(shared, 0.004, (0.0, 0.0))))
    assert found is None or found < 0.2
