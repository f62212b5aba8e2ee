"""Faults drawn from physics are found, clean frames that look like faults raise no alarm."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from glassine.base import item_states, quality_words
from glassine.base.model import Frame
from glassine.masters import colour
from glassine.render.quality import edges, limits, lines, patches, planes, rings, spectra
from makers import frame_judge
from makers.tone import judged_measures, sources


def _of_kind(fault: str | None, strength: str, number: int) -> list[str]:
    drawn = frame_judge.master(number, fault, strength)
    return judged_measures.alarms(judged_measures.of_sight(judged_measures.sight_of(drawn)))


@pytest.mark.parametrize("fault", ["rings", "scratches", "falloff", "enlarged", "defocus", "noise"])
def test_a_strong_fault_from_physics_is_found(fault: str) -> None:
    found = _of_kind(fault, "strong", 1)
    assert set(found) & set(judged_measures.MEASURES_OF[fault])


# A photograph of coins, a lake with ripples, a rocket in monochrome, rigging.
@pytest.mark.parametrize("number", [5, 3, 8, 9])
def test_a_clean_frame_from_physics_raises_no_alarm(number: int) -> None:
    assert _of_kind(None, "weak", number) == []


def _plain(high: int, wide: int, seed: int = 5) -> np.ndarray:
    grain = np.random.default_rng(seed).normal(0, 0.015, (high, wide, 1))
    return np.repeat(0.7 + grain, 3, axis=2)


def _likelihood(density: np.ndarray) -> float:
    codes = np.round(10.0**-density * 65535).astype(np.uint16)
    high, wide = codes.shape[:2]
    frame = Frame(1, ((0, 0), (wide, 0), (wide, high), (0, high)), 0.0, "negative", "colour")
    encoding = colour.encoding_of(None, "linear", 16, codes.shape[2])
    found = rings.newton_rings(sources.ArraySource(codes), frame, encoding)
    assert found is not None
    return found


def _circles(high: int, wide: int, first: float) -> np.ndarray:
    """Squared distance from a middle, in squares of the first ring's radius."""
    y, x = np.mgrid[0:high, 0:wide]
    return np.asarray(((x - 0.4 * wide) ** 2 + (y - 0.55 * high) ** 2) / first**2)


def test_rings_differ_by_the_colour_of_light_and_ripples_do_not() -> None:
    r2 = _circles(600, 900, 70.0)
    fade = 0.02 * np.exp(-r2 / 12)
    # Red, green and blue light of 610, 540 and 460 nm: phase as 1 / wavelength.
    waves = [np.cos(2 * np.pi * r2 * 540 / wave) * fade for wave in (610, 540, 460)]
    same = np.repeat(waves[1][..., None], 3, axis=2)
    plain = _plain(600, 900)
    assert _likelihood(plain) < 0.5
    assert _likelihood(plain + np.stack(waves, axis=2)) > 0.6
    coloured = np.random.default_rng(6).normal(0, 0.002, same.shape)
    assert _likelihood(plain + coloured + same) < 0.5


def test_rings_in_a_grey_master_are_looked_for_in_the_picture_itself() -> None:
    r2 = _circles(600, 900, 70.0)
    plain = _plain(600, 900)[..., :1]
    assert _likelihood(plain) < 0.5
    fringes = 0.02 * np.cos(2 * np.pi * r2) * np.exp(-r2 / 12)
    assert _likelihood(plain + fringes[..., None]) > 0.5


def test_a_scratch_over_plain_sky_is_told_by_the_base_beyond_it() -> None:
    m = planes.MARGIN
    sheet = np.random.default_rng(1).normal(0.8, 0.02, (600, 800)).astype(np.float32)
    base = np.zeros(sheet.shape, bool)
    base[: m - 7], base[7 - m :] = True, True
    groove, mast = sheet.copy(), sheet.copy()
    groove[:, 300] += 0.1
    mast[m:-m, 300] += 0.1
    assert lines.scratches(planes.Upright(groove, base, m)) == 1
    assert lines.scratches(planes.Upright(mast, base, m)) == 0


@pytest.mark.parametrize("size", [0.0, 0.8, 1.3])
def test_the_blur_of_edges_does_not_follow_grain(size: float) -> None:
    y, x = np.mgrid[0:1024, 0:1024] / 4
    shape = 0.5 + 0.4 * np.sign(np.sin((x + 0.12 * y) / 9))
    shape = cv2.GaussianBlur(shape, (0, 0), 4 * 0.9)
    small = cv2.resize(shape, (256, 256), interpolation=cv2.INTER_AREA).astype(np.float32)
    grain = np.random.default_rng(2).standard_normal(small.shape).astype(np.float32)
    grain = cv2.GaussianBlur(grain, (0, 0), size) if size else grain
    density = np.repeat((small + 0.02 * grain / grain.std())[..., None], 3, axis=2)
    patch = patches.Patch(0, 0, np.zeros(density.shape, np.uint16), density)
    sharp = spectra.capture_blur(edges.blur(edges.of_patches([patch], 1)), 0.6)
    assert sharp == pytest.approx(np.hypot(0.9, 12**-0.5), rel=0.2)


def test_grain_alone_says_nothing_of_edges_unless_it_is_blurred() -> None:
    assert spectra.capture_blur(None, 0.9) is None
    assert spectra.capture_blur(None, 3.0) == pytest.approx(8**0.5)
    assert spectra.is_sharp(None, 0.9)
    assert not spectra.is_sharp(None, None)


def test_every_measure_with_a_limit_says_what_it_means_and_what_to_check() -> None:
    limited = limits._table(limits.LIMITS_PATH)
    silent = {name for name in limited if name not in quality_words.SENSE}
    # Grain and texture are in it: it has no limit.
    assert silent == {"noise"}
    measure = {"name": "sampling_used", "value": 58.0, "unit": "%", "limit": ">= 90 %"}
    assert item_states.measure_words(measure) == (
        "sampling used: 58 %; limit ≥ 90 %: the picture seems enlarged; check the lens or the export"
    )
