"""A picture as high as those on 120 film is several of them only where several are as long."""

import numpy as np
import pytest

from glassine.locate import several, weights
from glassine.locate.view import View

MM = 5.0  # px per mm


def one_view(long_mm, steps_mm=(), upright=False):
    """Whether a picture so long, 56 mm high, with steps of tone down it there, is one view."""
    n, high = round(long_mm * MM), round(56 * MM)
    tones = np.full((high, n), 0.5, np.float32)
    tones += np.linspace(0, 0.6, n, dtype=np.float32)
    for k, at in enumerate(steps_mm):
        tones[:, round(at * MM) :] += 0.5 if k % 2 else -0.4
    if upright:
        tones = np.ascontiguousarray(tones.T)
    v = tones[..., None]
    h, w = tones.shape
    corners = np.array([[0, 0], [w, 0], [w, h], [0, h]], float)
    return several.is_one_view(View(10**-v, v, tones, 200.0, 1.0, 0.001), corners, MM)


@pytest.mark.parametrize("long_mm", [97.0, 98.0])
def test_no_number_of_pictures_is_as_long(long_mm):
    assert one_view(long_mm)


@pytest.mark.parametrize("long_mm", [114.0, 168.0])
@pytest.mark.parametrize("upright", [False, True])
def test_a_wide_view_shows_no_ends_of_shorter_ones(long_mm, upright):
    """6 x 12 and 6 x 17 cm: 112 to 119 and 168 mm on the film (ISO 732; values from memory)."""
    assert one_view(long_mm, upright=upright)
    assert one_view(long_mm, (20.0, 90.0), upright)  # a mast, a house


@pytest.mark.parametrize(
    ("long_mm", "steps_mm"), [(112.0, (56.0,)), (168.0, (56.0, 112.0)), (124.6, (41.5, 83.0))]
)
@pytest.mark.parametrize("upright", [False, True])
def test_where_pictures_may_meet_it_stays_for_review(long_mm, steps_mm, upright):
    """Pictures of 6 x 6 and 6 x 4.5 cm that touch (ISO 732)."""
    assert not one_view(long_mm, steps_mm, upright)


def test_a_length_of_several_that_is_no_wide_views_stays_for_review():
    assert not one_view(140.0)  # two of 6 x 7 cm


def test_the_answer_is_to_that_doubt_alone():
    said = [weights.Evidence("size of several on 120 film")]
    answer = weights.Evidence("of one view by its length")
    assert weights.confidence(said) < 0.8 <= weights.confidence([*said, answer])
