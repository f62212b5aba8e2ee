"""Whole lines as evidence, and what colours say of film: on arrays drawn here, truth known."""

import numpy as np
import pytest

from glassine.locate import sides
from glassine.locate.character import MASK_DENSITY, character, mask_of
from glassine.locate.sides import Line
from glassine.locate.straight import Band, ridges, settle
from glassine.locate.view import Patch

ROWS, COLUMNS = 400, 300


def patch_of(tone):
    grey = np.repeat(tone.astype(np.float32)[..., None], 3, 2)
    return Patch(grey, lambda: 10**-grey, np.eye(2, 3))


def stepped(at, step, noise, slope=0.0, seed=1):
    """Return a patch that is `step` denser to the right of a line, in noise (density)."""
    r = np.random.default_rng(seed)
    y, x = np.mgrid[0:ROWS, 0:COLUMNS] + 0.5
    edge = np.clip(x - (at + slope * (y - ROWS / 2)) + 0.5, 0, 1)
    return patch_of(0.3 + step * edge + noise * r.standard_normal((ROWS, COLUMNS)))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("slope", [0.0, 0.006])
def test_a_step_smaller_than_the_noise_is_found_where_it_is(sign, slope):
    patch = stepped(120, sign * 0.02, 0.03, slope)
    found = ridges(patch, Band(sides.LEFT, (10, 390), (80, 160), ROWS / 2, 0.0, 0.01), sign)
    assert found[0].line.at == pytest.approx(120, abs=2)
    assert found[0].line.slope == pytest.approx(slope, abs=0.004)


def test_noise_alone_has_no_plain_line():
    patch = stepped(120, 0.0, 0.03)
    found = ridges(patch, Band(sides.LEFT, (10, 390), (80, 160), ROWS / 2, 0.0, 0.01), 1)
    assert not [ridge for ridge in found if ridge.share > 0.75 and ridge.height > 8]


def test_a_step_the_other_way_does_not_count():
    patch = stepped(120, -0.2, 0.001)
    found = ridges(patch, Band(sides.LEFT, (10, 390), (100, 140), ROWS / 2, 0.0, 0.01), 1)
    assert not [ridge for ridge in found if abs(ridge.line.at - 120) < 2 and ridge.share > 0.75]


def test_a_ragged_coating_gives_way_to_the_straight_edge_inside_it():
    r = np.random.default_rng(3)
    _, x = np.mgrid[0:ROWS, 0:COLUMNS] + 0.5
    ragged = 40 + np.repeat(r.uniform(-4, 4, ROWS // 8), 8)[:, None]
    tone = 0.05 + 0.15 * (x > ragged) + 0.5 * (x > 60)
    patch = patch_of(tone + 0.002 * r.standard_normal(tone.shape))
    rough = Line(41.0, 0.0, ROWS / 2, 0.6, 0.0, 3.0)
    others = [Line(5.0, 0.0, n / 2, 0.9, 0.0, 0.1) for n in (COLUMNS, ROWS, COLUMNS)]
    moved = settle(patch, [rough, *others], False, 40)
    assert moved[sides.LEFT].at == pytest.approx(60, abs=1)
    assert moved[1:] == others


def tones(low, high, seed=2):
    """Return (n, 3) tones spread evenly between two densities a channel."""
    part = np.random.default_rng(seed).uniform(0, 1, (4000, 3))
    return (np.array(low) + part * (np.array(high) - np.array(low))).astype(np.float32)


def test_an_orange_mask_shows_at_both_ends_of_the_scale():
    """C-41 D-min 0.25, 0.60, 0.85 (value from memory), under whatever the picture shows."""
    negative = tones((0.25, 0.60, 0.85), (1.5, 1.9, 2.2))
    assert mask_of(negative) > MASK_DENSITY
    assert character(negative, None, "frame_135", True).polarity == "negative"


@pytest.mark.parametrize(("low", "high"), [
    ((0.05, 0.05, 0.05), (2.2, 2.3, 2.6)),  # white clouds over a warm night
    ((0.05, 0.35, 0.70), (2.5, 2.5, 2.5)),  # a sunset without any white
])  # fmt: skip
def test_a_warm_transparency_has_no_mask(low, high):
    slide = tones(low, high)
    assert mask_of(slide) < MASK_DENSITY
    assert character(slide, None, "frame_135", True).polarity == "positive"


def test_a_toned_grey_picture_is_monochrome():
    grey = np.linspace(0.1, 1.5, 4000)
    toned = np.stack([grey, grey + 0.05 * grey**2, 0.05 + 1.1 * grey], 1).astype(np.float32)
    assert character(toned, None, "print", False).process == "monochrome"
