"""A long picture on 120 film is a wide view, unless steps of tone run down it where shorter pictures
that touch would meet.
"""

import numpy as np
import pytest

from glassine.locate.chain import Signs, Slot, meeting_inside
from glassine.locate.strips import LENGTHS_120

MM = 6.0  # px per mm


def meeting(length_mm, *steps_mm, share=0.7):
    """Return how plainly pictures meet in one so long that has full-height steps at these places."""
    n = round((length_mm + 20) * MM)
    start = round(10 * MM)
    jump = np.zeros(n + 1)
    for at in steps_mm:
        jump[start + round(at * MM)] = share
    none, off = np.zeros(n + 1), np.zeros(n, bool)
    signs = Signs(none, none, jump, np.ones(n, np.float32), off, off, MM, (0.0, float(n)))
    slot = Slot(float(start), start + length_mm * MM, 1.0, 1.0, 1.0)
    return meeting_inside(signs, slot, LENGTHS_120)


def test_a_wide_view_shows_no_steps():
    """6 x 17 cm and 6 x 12 cm: 168 and 116 mm on the film (values from memory)."""
    assert meeting(168.0) == 0
    assert meeting(116.0) == 0


def test_three_square_pictures_that_touch_meet_in_two_places():
    """Pictures of 6 x 6 cm are 56 mm long (ISO 732)."""
    assert meeting(168.0, 56.0, 112.0) == pytest.approx(0.7)


def test_two_pictures_with_a_hairline_between_meet_in_both_its_ends():
    assert meeting(112.6, 56.0, 56.6) == pytest.approx(0.7)
    assert meeting(140.0, 70.0) == pytest.approx(0.7)


@pytest.mark.parametrize("steps", [(56.0,), (30.0, 140.0), (20.0, 90.0)])
def test_what_stands_in_a_view_stands_at_no_such_places(steps):
    """A mast, a house's edges: not where every one of three pictures would begin and end."""
    assert meeting(168.0, *steps) == 0


def test_half_seen_steps_count_as_far_as_they_are_seen():
    assert meeting(168.0, 56.0, 112.0, share=0.2) == pytest.approx(0.2)
