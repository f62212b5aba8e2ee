"""A picture with nothing around it but black: its own tones tell its polarity, or nothing does."""

import cv2
import numpy as np
import pytest

from glassine.locate import polarity
from glassine.locate.candidate import Candidate
from glassine.locate.character import Character, character
from makers.light_table import locate

MM = 10  # px
BOX = np.array([[0, 0], [36, 0], [36, 24], [0, 24]], float)


def in_an_opening(picture):
    """Return what is found of a picture (density) of 36 x 24 mm in a black mask."""
    table = np.full((40 * MM, 60 * MM, 3), 10**-2.4, np.float32)
    large = cv2.resize(picture.astype(np.float32), (36 * MM, 24 * MM), None, 0, 0, 1)
    table[8 * MM : 32 * MM, 12 * MM : 48 * MM] = 10**-large
    (frame,) = locate(table, 25.4 * MM).frames
    return frame


def colours(low, high, seed=3):
    r = np.random.default_rng(seed)
    return np.array(low) + r.uniform(0, 1, (6, 9, 3)) * (np.array(high) - np.array(low))


def test_a_negative_whose_strong_colours_hide_its_mask_is_for_review():
    """Clear in blue where the subject was brown: nothing is orange all over."""
    picture = colours((0.25, 0.5, 0.45), (0.6, 0.9, 1.1))
    picture[0, :4] = 0.1, 0.15, 0.05
    assert in_an_opening(picture).state == "review"


def test_a_transparency_of_plain_colours_is_none():
    frame = in_an_opening(colours((0.1, 0.1, 0.1), (2.0, 2.0, 2.0)))
    assert (frame.polarity, frame.state) == ("positive", "ok")


def test_an_orange_negative_is_one():
    frame = in_an_opening(colours((0.25, 0.6, 0.85), (1.3, 1.7, 2.0)))
    assert (frame.polarity, frame.state) == ("negative", "ok")


def test_a_picture_browner_than_any_mask_is_for_review():
    one = Candidate(BOX, True, [1.0] * 4, [True] * 4, "single")
    made = Character("negative", "colour", 0.98, 0.98, 0.1)
    brown = colours((0.2, 0.8, 1.3), (0.6, 1.6, 2.2)).reshape(-1, 3).astype(np.float32)
    masked = colours((0.25, 0.6, 0.85), (1.3, 1.7, 2.0)).reshape(-1, 3).astype(np.float32)
    assert polarity.alone_in_black(one, made, brown).polarity_trust < 0.8
    assert polarity.alone_in_black(one, made, masked) == made


@pytest.mark.parametrize(("span", "sure"), [(0.5, False), (1.5, False), (2.5, True)])
def test_a_short_scale_of_greys_is_no_sure_negative(span, sure):
    """Mist and snow on a transparency span as little as a negative does."""
    grey = np.linspace(0, span, 4000, dtype=np.float32)[:, None].repeat(3, 1)
    found = character(grey, None, "frame_135", True)
    assert (found.polarity_trust > 0.8) == sure


@pytest.mark.parametrize(("mask", "sure"), [(0.0, True), (0.5, False), (1.3, True)])
def test_one_orange_picture_makes_others_in_black_mounts_unsure(mask, sure):
    """No mask is as orange as a brown subject can be (C-41 D-min: blue 0.6 above red; value from
    memory): beside one of those the other slides stay what they are."""
    slides = [Candidate(BOX, True, [1.0] * 4, [True] * 4, "single") for _ in range(2)]
    made = [Character("positive", "colour", 0.98, 0.97, 0.1)] * 2
    found = polarity.held_in_black(slides, made, [0.0, mask])
    assert (found[0].polarity_trust > 0.8) == sure
