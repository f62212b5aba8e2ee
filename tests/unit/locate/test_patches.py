"""A target is a row of even patches of one size; what merely has even parts is none."""

import numpy as np
import pytest
import skimage.data

from glassine.locate.outside import holds_patches

# Reflectances of six patches of colour, on a card: invented, as no chart's are meant.
COLOURS = (
    (0.5, 0.1, 0.1), (0.1, 0.4, 0.1), (0.1, 0.15, 0.5), (0.6, 0.5, 0.1), (0.5, 0.2, 0.4), (0.1, 0.4, 0.5),
)  # fmt: skip


def chart(colours, gap, card=0.04):
    """Return tones (density) of patches of 40 px in a row, `gap` px apart."""
    step = 40 + gap
    light = np.full((40 + 2 * gap + 4, len(colours) * step + gap + 4, 3), card, np.float32)
    for k, colour in enumerate(colours):
        light[2 + gap : 42 + gap, 2 + gap + k * step : 42 + gap + k * step] = colour
    return tones(light)


def tones(light, noise=0.004):
    grain = noise * np.random.default_rng(3).standard_normal(light.shape)
    return np.float32(-np.log10(np.maximum(light, 1e-3)) + grain)


def is_target(v):
    mask = np.ones(v.shape[:2], bool)
    return holds_patches(v, mask, min(mask.shape), 0.004)


def test_six_patches_of_colour_on_a_card_are_a_target():
    assert is_target(chart(COLOURS, 6))


@pytest.mark.parametrize("gap", [0, 4])
def test_a_scale_of_greys_is_a_target(gap):
    """Steps of 0.15 in density, as step wedges have (ISO 5-2 names no step; value from memory)."""
    greys = [(10 ** (-0.1 - 0.15 * k),) * 3 for k in range(12)]
    assert is_target(chart(greys, gap))


def strip_cut_off():
    """Return a strip of 35 mm film along whose pictures the master ends: plain walls and skies."""
    light = np.full((150, 760, 3), (0.7, 0.35, 0.2), np.float32)
    for k, tone in enumerate((0.05, 0.09, 0.16, 0.28, 0.4)):
        left = 10 + 150 * k
        light[32:, left : left + 142] *= tone
        light[60 + 9 * k :, left + 20 : left + 90 - 5 * k] *= 0.4
        light[90 - 8 * k :, left + 60 + 10 * k : left + 142] *= 0.3
    light[8:22, 10::20] = 0.97
    return light


def test_a_strip_of_plain_pictures_is_no_target():
    assert not is_target(tones(strip_cut_off()))


@pytest.mark.parametrize("name", ["coffee", "astronaut", "chelsea", "brick", "page", "moon"])
def test_a_photograph_is_no_target(name):
    grey = np.asarray(getattr(skimage.data, name)(), np.float32)[::2, ::2] / 255
    light = grey if grey.ndim == 3 else np.repeat(grey[..., None], 3, 2)
    assert not is_target(tones(light[..., :3]))


def test_a_wall_of_like_windows_is_no_target():
    """Even, of one size and in a row, but all of one tone: no chart."""
    assert not is_target(chart([(0.6, 0.55, 0.4)] * 8, 8))
