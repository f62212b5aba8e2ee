"""A clear border wider than film has one may be the paper of a mount: nobody is told a polarity."""

import numpy as np
import pytest

from glassine.locate import polarity
from glassine.locate.candidate import Candidate
from glassine.locate.character import Character


def box(left, top, right, bottom):
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)


def bordered(left, top, right, bottom):
    """Return a grey picture of 1200 x 900 px with a clear border so wide on each side."""
    one = Candidate(box(0, 0, 1200, 900), False, [1.0] * 4, [True] * 4, "single")
    one.held_in = box(-left, -top, 1200 + right, 900 + bottom)
    one.border, one.levels, one.ground = np.array([0.1, 0.1, 0.15], np.float32), 2, "dark"
    return one


def trust(one, kind="plate", process="monochrome"):
    made = Character("negative", process, 0.95, 0.97)
    return polarity.by_light(one, made, kind, from_above=False).polarity_trust


def test_a_grey_picture_in_a_window_mount_may_be_a_print():
    assert trust(bordered(300, 250, 300, 400)) < 0.8


@pytest.mark.parametrize(
    "sides",
    [(40, 40, 40, 40), (400, 40, 40, 40), (110, 110, 110, 110)],
    ids=["a plate's", "a plate exposed on one half", "that of film from a 126 cartridge"],
)
def test_a_border_as_film_has_it_tells_a_negative(sides):
    """Film of 126 cartridges: 3.5 mm beside 28 (values from memory)."""
    assert trust(bordered(*sides)) == 0.95


def test_a_frame_of_35_mm_film_has_a_wide_border():
    """24 mm of 34.976 (ISO 1007, ISO 491): 5.5 mm on both sides."""
    assert trust(bordered(210, 206, 210, 206), "frame_135") == 0.95


@pytest.mark.parametrize(
    ("polarity_", "process", "dark", "paper"),
    [
        ("positive", "colour", False, True),
        ("positive", "monochrome", False, False),  # a negative's tones tell nothing
        ("negative", "colour", False, False),
        ("positive", "colour", True, False),  # reversal film has a black border
    ],
)
def test_colours_without_an_orange_mask_and_a_black_border_lie_on_paper(
    polarity_, process, dark, paper
):
    one = Candidate(box(0, 0, 980, 560), dark, [1.0] * 4, [True] * 4, "single")
    one.character = Character(polarity_, process, 0.98, 0.97)
    assert polarity.is_in_colour_on_paper(one) == paper
