"""The colour that a picture's lightest part is believed to have: white is, a bright yellow is not."""

import numpy as np
import pytest

from glassine.base.model import Facts, Frame
from glassine.render import doubt, layers, negative_film
from glassine.render.given import FilmStock
from glassine.render.looks import Look
from makers.tone import positives
from makers.tone.negatives import linear

FILM = negative_film.stated(
    "colour", (0, 1, 2), (0.3, 0.3, 0.3), "film base, 1 region(s)", Facts(), FilmStock()
)


def look_of(light):
    """Return the look of a picture (h, w, 3: linear light) on a film that takes white 2.3 (log10)
    above D-min."""
    density = 0.3 + 0.6 * np.maximum(np.log10(np.maximum(light, 1e-6)) + 2.3, 0.0)
    calm = 10.0 ** -density.reshape(-1, 3)
    frame = Frame(1, ((0, 0), (1, 0), (1, 1), (0, 1)), 0.0, "negative", "colour")
    return Look(frame, np.full((4, 3), 30_000, np.uint16), calm, calm, density)


def seen(light):
    """Return what such a picture shows of the neutral axis."""
    return layers.neutral(look_of(light), FILM)


def patches(lightest):
    """Return patches of many colours, the lightest of them as it is said."""
    rng = np.random.default_rng(3)
    light = np.kron(rng.uniform(0.02, 0.4, (12, 16, 3)), np.ones((8, 8, 1)))
    light[:16, :24] = lightest
    return light


def test_white_is_neutral():
    assert np.abs(seen(patches((0.9, 0.9, 0.9))).cast).max() < 0.005


@pytest.mark.parametrize(
    ("name", "within"), [("astronaut", 0.01), ("rocket", 0.04), ("retina", 0.28)]
)
def test_the_neutral_axis_of_photographs_is_their_own(name, within):
    """What is neutral in a photograph is 0 (its truth is the photograph itself). A launch and an eye
    have no white, and are lightest where they are yellow; a suit is white."""
    first = next(iter(positives.photographs({name: positives.CROPS[name][:1]}).values()))
    assert np.abs(seen(linear(first[::2, ::2])).cast).max() < within


def of_a_film(top):
    """Return what speaks for and against a frame of a film of six whose lightest part is off."""
    return doubt.Signs(
        top=top,
        spread=0.3,
        middle=-1.0,
        alone=0.0,
        level=2.2,
        coloured=0.9,
        span=0.0,
        lamps=False,
        other_light=False,
        unseen=False,
        whites=0.1,
        balance=0.03,
        frames=6,
    )


def test_a_frame_of_a_film_that_is_lightest_in_a_plain_colour_is_for_review():
    limit = doubt.REVIEW_ABOVE[1]
    assert of_a_film(0.2).expected_error() < limit < of_a_film(0.5).expected_error()


def test_odd_speeds_of_the_layers_are_told_by_six_frames_that_agree():
    """A film of which green is slower by log10 0.1 than usual: what films usually are is believed
    less than six frames that say so."""
    shift = np.array([0.05, -0.10, 0.05])
    looks = []
    for number in range(6):
        rng = np.random.default_rng(number)
        greys = rng.uniform(0.02, 0.5, (12, 16, 1)) * 10.0 ** rng.normal(0, 0.03, (12, 16, 3))
        light = np.kron(greys, np.ones((8, 8, 1)))
        light[:16, :24] = 0.9
        looks.append(look_of(light * 10.0**shift))
    assert abs(layers.estimate(looks, FILM).balance[1] + shift[1]) < 0.01
