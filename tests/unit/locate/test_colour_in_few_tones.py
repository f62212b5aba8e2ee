"""Colour is seen in pictures of few tones too: a plain wall behind a head, say."""

import numpy as np
import pytest

from glassine.locate import polarity
from glassine.locate.candidate import Candidate
from glassine.locate.character import Character, character

BLACK = np.full(3, 2.1, np.float32)


def plain_wall(wall, others, shares):
    """Return (n, 3) tones of a picture that is wall for the most part, with a little noise."""
    r = np.random.default_rng(5)
    rest = 1 - sum(shares)
    counts = [round(4000 * share) for share in (rest, *shares)]
    tones = np.repeat(np.array([wall, *others], np.float32), counts, axis=0)
    return tones + 0.004 * r.standard_normal(tones.shape).astype(np.float32)


def process_of(tones):
    return character(tones, BLACK, "strip_135", True)


def test_a_violet_wall_is_in_colour():
    found = process_of(plain_wall((0.40, 0.65, 0.33), [(1.78, 1.94, 1.93)], [0.15]))
    assert (found.process, found.process_trust > 0.8) == ("colour", True)


def test_a_head_in_other_colours_than_its_wall_is_in_colour():
    others = [(0.50, 0.62, 0.66), (0.94, 1.04, 1.10), (1.5, 1.42, 1.87), (0.7, 0.72, 0.70)]
    found = process_of(plain_wall((0.22, 0.20, 0.40), others, [0.04, 0.03, 0.02, 0.02]))
    assert (found.process, found.process_trust > 0.8) == ("colour", True)


@pytest.mark.parametrize("tint", [(0.0, 0.0, 0.0), (0.0, 0.02, 0.05), (0.03, 0.0, -0.02)])
def test_one_curve_through_few_tones_is_monochrome(tint):
    """Toning and stains grow along the scale of tones, and a lamp gives all the same cast."""
    greys = np.array([0.3, 0.7, 1.0, 1.3])
    tones = [tuple(grey + np.array(tint) * (0.5 + grey)) for grey in greys]
    found = process_of(plain_wall(tones[0], tones[1:], [0.1, 0.06, 0.04]))
    assert (found.process, found.process_trust > 0.8) == ("monochrome", True)


def test_one_tint_all_over_leaves_the_process_open():
    """A yellow wall may be in colour, or grey film that is stained."""
    found = process_of(plain_wall((0.20, 0.26, 0.42), [(1.9, 1.9, 1.95)], [0.2]))
    assert found.process_trust < 0.8


def test_one_picture_plainly_in_colour_tells_of_its_whole_film():
    box = np.array([[0, 0], [36, 0], [36, 24], [0, 24]], float)
    frames = [Candidate(box, True, [1.0] * 4, [True] * 4, "strip", strip=1) for _ in range(3)]
    grey = Character("positive", "monochrome", 0.95, 0.97, 0.0095)
    coloured = Character("positive", "colour", 0.95, 0.97, 0.0005)
    made = polarity.pooled(frames, [grey, coloured, grey])
    assert {each.process for each in made} == {"colour"}
