"""Negative or positive, colour or monochrome: what pixels and border tell, and what they do not."""

import numpy as np

from glassine.locate.character import character

COLOURS = np.random.default_rng(3).uniform(0.1, 1.2, (5000, 3)).astype(np.float32)
GREYS = np.repeat(COLOURS[:, :1], 3, axis=1)
WHITE = np.array([0.06, 0.10, 0.10], np.float32)
# Clear base of a masked colour negative (C-41 D-min about 0.25, 0.6, 0.85; value from memory).
ORANGE = np.array([0.25, 0.60, 0.85], np.float32)


def test_colours_within_a_white_border_are_no_sure_negative():
    found = character(COLOURS, WHITE, "plate", False)
    assert found.polarity == "positive"
    assert found.polarity_trust < 0.8  # for review: `judge` asks below that


def test_colours_within_an_orange_border_are_a_negative():
    found = character(COLOURS + ORANGE, ORANGE, "sheet", False)
    assert (found.polarity, found.process) == ("negative", "colour")
    assert found.polarity_trust > 0.9


def test_greys_within_a_clear_border_are_a_negative():
    found = character(GREYS, WHITE, "plate", False)
    assert (found.polarity, found.process) == ("negative", "monochrome")
    assert found.polarity_trust > 0.9
