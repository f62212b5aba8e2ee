"""The colour that a picture's lightest part is believed to have: white is, a bright yellow is not."""

import numpy as np
import pytest

from glassine.base.model import Facts, Frame
from glassine.render import layers, negative_film
from glassine.render.given import FilmStock
from glassine.render.looks import Look
from makers.tone import positives
from makers.tone.negatives import linear

FILM = negative_film.stated(
    "colour", (0, 1, 2), (0.3, 0.3, 0.3), "film base, 1 region(s)", Facts(), FilmStock()
)


def seen(light):
    """Return what a picture (h, w, 3: linear light) shows of the neutral axis, on a film that takes
    white 2.3 (log10) above D-min."""
    density = 0.3 + 0.6 * np.maximum(np.log10(np.maximum(light, 1e-6)) + 2.3, 0.0)
    calm = 10.0 ** -density.reshape(-1, 3)
    frame = Frame(1, ((0, 0), (1, 0), (1, 1), (0, 1)), 0.0, "negative", "colour")
    return layers.neutral(
        Look(frame, np.full((4, 3), 30_000, np.uint16), calm, calm, density), FILM
    )


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
