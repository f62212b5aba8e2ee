"""Captures of one holder share its edges: two soft frames in it never pass for one thing."""

import cv2
import numpy as np
import pytest

from glassine.masters import alike
from makers import session

SIZE = (440, 660)


def grey(picture):
    return alike.reduced(picture.astype(np.uint16) * 257)


def again(picture, seed, degrees=0.0, gain=1.0):
    """The same thing captured once more: turned a little, other noise, another exposure."""
    matrix = cv2.getRotationMatrix2D((330, 220), degrees, 1)
    turned = cv2.warpAffine(picture, matrix, (660, 440), borderMode=cv2.BORDER_REPLICATE)
    noise = np.random.default_rng(seed).normal(0, 2, turned.shape)
    return np.clip(turned * gain + noise, 0, 255).astype(np.uint8)


def in_holder(picture):
    held = np.full_like(picture, 8)
    held[60:-60, 70:-70] = picture[60:-60, 70:-70]
    held[20:40, 100:-100:40] = 240  # perforations
    return held


def sky(seed):
    rng = np.random.default_rng(seed)
    fall = np.linspace(130, 130 + 40 * rng.uniform(0.5, 1), SIZE[0])[:, None, None]
    return np.clip(fall + rng.normal(0, 2, (*SIZE, 3)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("seed", range(6))
def test_another_soft_picture_in_the_same_holder_is_another_thing(seed):
    for size in (SIZE, (220, 330)):
        one, other = session.film(seed, size), session.film(seed + 50, size)
        likeness = alike.correlation(grey(one), grey(other))
        assert likeness is None or likeness < 0.4


@pytest.mark.parametrize("seed", range(6))
def test_the_same_soft_picture_captured_again_is_the_same_thing(seed):
    one = session.film(seed)
    assert alike.correlation(grey(one), grey(again(one, seed, gain=1.1))) > alike.SAME
    assert alike.correlation(grey(one), grey(again(one, seed, degrees=0.5))) > alike.SAME


@pytest.mark.parametrize("seed", range(4))
def test_two_empty_skies_in_one_holder_say_nothing(seed):
    one, other = again(in_holder(sky(seed)), 1), again(in_holder(sky(seed + 9)), 2)
    assert alike.correlation(grey(one), grey(other)) is None
