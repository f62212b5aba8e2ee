"""A side on the edge of a print's shadow, with the print's white border inside, is no picture's."""

import numpy as np
import pytest

from glassine.locate.candidate import Candidate
from glassine.locate.encoding import linear_table
from glassine.locate.measures import band_inside
from glassine.locate.view import look


@pytest.mark.parametrize(("bottom", "seen"), [(260, False), (285, True)])
def test_white_paper_inside_a_side_is_seen(bottom, seen):
    r = np.random.default_rng(2)
    master = np.full((320, 420), 20_000.0)
    master[30:280, 40:380] = 58_000  # the paper
    master[280:286, 44:384] = 9_000  # its shadow
    master[50:260, 60:360] = r.uniform(3_000, 40_000, (210, 300))
    view = look(master.astype(np.uint16), linear_table("linear"), 1)
    corners = np.array([[60, 50], [360, 50], [360, bottom], [60, bottom]], float)
    border = np.full(1, view.v[40, 200, 0], np.float32)
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single", border)
    found = [band_inside(view, one, side) for side in range(4)]
    assert found == [False, False, False, seen]
