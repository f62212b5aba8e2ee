"""A frame placed by one end alone is held against where the strip's others lie between holes."""

import numpy as np
import pytest

from glassine.locate import unexplained
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
from glassine.locate.scale import Scale

MM = 10.0  # px; frames are eight perforations of 4.75 mm from one another (film.py)


def frame(x_mm, modelled):
    x, y = x_mm * MM, 100.0
    box = np.array([[x, y], [x + 360, y], [x + 360, y + 240], [x, y + 240]])
    made = Candidate(box, False, [1.0] * 4, [True] * 4, "strip")
    made.strip, made.gauge = 1, "135"
    made.modelled = [False, False, modelled, False]
    return made


def words(places, source="perforations"):
    frames = [frame(*place) for place in places]
    unexplained._out_of_step(Known(Scale(25.4 * MM, source)), frames)
    return [[each.words for each in one.evidence] for one in frames]


@pytest.mark.parametrize("off", [-0.6, 0.6])
def test_a_frame_by_one_end_that_is_out_of_step_is_for_review(off):
    said = words([(5.0, False), (43.0, False), (81.0 + off, True), (119.0, False)])
    assert [bool(each) for each in said] == [False, False, True, False]
    assert "0.6 mm out of step" in said[2][0]


def test_a_frame_by_one_end_in_step_is_not():
    assert not any(words([(5.0, False), (43.05, False), (81.1, True), (119.0, False)]))


def test_without_perforations_nothing_is_said_of_steps():
    assert not any(words([(5.0, False), (43.0, False), (81.6, True)], "film width"))
