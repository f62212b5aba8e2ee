"""What a frame's doubt about its tone is made of: hues, cues that disagree, light, white."""

import dataclasses

import numpy as np
import pytest

from glassine.base.model import Facts, Frame
from glassine.render import doubt, layers, negative_film
from glassine.render.given import FilmStock
from glassine.render.looks import Look

DMIN = (0.25, 0.60, 0.85)
SURE = doubt.Signs(
    top=0.0,
    spread=0.3,
    middle=-1.0,
    alone=0.0,
    level=2.2,
    coloured=0.5,
    span=0.0,
    lamps=False,
    other_light=False,
    unseen=False,
    whites=0.02,
    balance=0.03,
    frames=1,
)
WORSE = {
    "top": 0.3,
    "spread": 0.03,
    "middle": -0.3,
    "alone": 0.3,
    "level": 3.2,
    "lamps": True,
}


def negative(light, process="colour"):
    """Return the look of a frame whose layers saw this light (h, w, 3), white 1, on a film of
    slope 0.6 that takes white 2 (log10) above D-min; a monochrome one in three like bands."""
    slope = 0.6
    dmin = np.array(DMIN if process == "colour" else (0.2,) * 3)
    density = dmin + slope * np.maximum(np.log10(light) + 2.0, 0.0)
    calm = 10.0 ** -density.reshape(-1, 3)
    frame = Frame(1, ((0, 0), (1, 0), (1, 1), (0, 1)), 0.0, "negative", process)
    return Look(frame, np.full((4, 3), 30_000, np.uint16), calm, calm, density)


def film(look, process="colour"):
    channels = (0, 1, 2) if process == "colour" else (1,)
    dmin = DMIN if process == "colour" else (0.2,)
    known = negative_film.stated(
        process, channels, dmin, "film base, 1 region(s)", Facts(), FilmStock()
    )
    return layers.estimate([look], known)


def greys(low, high, side=100):
    """Return greys from `low` to `high` (log10 of light), (side, side, 3)."""
    row = 10.0 ** np.linspace(low, high, side)
    return np.repeat(np.tile(row, (side, 1))[..., None], 3, axis=2)


def test_the_expected_error_is_the_sum_of_what_it_is_made_of():
    assert SURE.expected_error() == pytest.approx(sum(SURE.parts().values()))
    assert SURE.expected_error() < doubt.REVIEW_ABOVE[0]


@pytest.mark.parametrize(("sign", "value"), WORSE.items())
@pytest.mark.parametrize("frames", [1, 6])
def test_each_sign_against_a_frame_adds_to_its_expected_error(sign, value, frames):
    sure = dataclasses.replace(SURE, frames=frames)
    worse = dataclasses.replace(sure, **{sign: value}).expected_error()
    if (sign, frames) == ("spread", 6):  # the other frames show other hues
        assert worse == sure.expected_error()
    else:
        assert worse > sure.expected_error()


def test_a_frame_of_one_hue_is_for_review_alone_and_not_among_others():
    few = dataclasses.replace(SURE, spread=0.03, coloured=1.0)
    assert few.expected_error() > doubt.REVIEW_ABOVE[0]
    assert dataclasses.replace(few, frames=6).expected_error() < doubt.REVIEW_ABOVE[1]


def test_no_sign_however_large_counts_without_end():
    worst = dataclasses.replace(
        SURE, top=9.0, spread=0.0, middle=0.0, alone=9.0, level=99.0, coloured=1.0, span=-9.0
    )
    assert worst.expected_error() < 40


def test_cues_that_agree_are_surer_than_cues_that_differ():
    grey = greys(-2.0, 0.0)
    agreeing = layers.neutral(negative(grey), film(negative(grey)))
    # One strong colour is as light as white in one channel, and has the strongest edges.
    lamp = grey.copy()
    lamp[:40, :40] = [2.0, 0.4, 0.1]
    differing = layers.neutral(negative(lamp), film(negative(lamp)))
    assert agreeing.deviation < 0.05
    assert differing.deviation > 2 * agreeing.deviation


def test_three_cues_count_as_one_witness():
    """They are of the same pixels: they add as many rows of evidence as the lightest part would."""
    look = negative(greys(-2.0, 0.0))
    assert len(layers._highlight(look, film(look))) == 3


def test_a_red_wall_alone_is_for_review_with_words():
    rng = np.random.default_rng(1)
    wall = np.array([0.32, 0.05, 0.03]) * 10.0 ** rng.normal(0, 0.06, (100, 100, 1))
    look = negative(wall)
    own = doubt.own(look, film(look))
    assert own.expected_error > doubt.REVIEW_ABOVE[0]
    assert "one colour fills the frame, or hardly any, and no other frame" in own.review[0]


def test_a_grey_picture_without_white_or_black_is_for_review_with_words():
    dull = negative(greys(-1.0, -0.6), "monochrome")
    (why,) = doubt.own(dull, film(dull, "monochrome")).review
    assert "nothing in it stands out as white" in why
    full = negative(greys(-2.0, 0.0), "monochrome")
    assert doubt.own(full, film(full, "monochrome")).review == ()
