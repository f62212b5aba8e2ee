"""A side on the edge of a print's shadow, with the print's white border inside, is no picture's."""

import numpy as np
import pytest

from glassine.locate.candidate import Candidate
from glassine.locate.encoding import linear_table
from glassine.locate.inside import banded
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


def view_with(side, wide, tone=0.9, rows=400, columns=600):
    """Return a picture (density) with an even band along one side."""
    r = np.random.default_rng(4)
    grey = np.kron(r.uniform(0.2, 1.4, (20, 30)), np.ones((rows // 20, columns // 30)))
    grey = np.rot90(grey, side).copy()
    grey[:, :wide] = tone
    grey = np.rot90(grey, -side)
    return (grey + 0.01 * r.standard_normal(grey.shape)).astype(np.float32)


@pytest.mark.parametrize(("turns", "name"), [(0, 0), (1, 1), (2, 2), (3, 3)])
def test_a_narrow_even_band_along_a_side_is_seen(turns, name):
    """A shadow that was taken in: left, top, right, bottom."""
    assert banded(view_with(turns, 10)) == [k == name for k in range(4)]


@pytest.mark.parametrize("wide", [0, 2, 90])
def test_a_blurred_edge_and_a_sky_are_no_band(wide):
    assert not any(banded(view_with(0, wide)))
