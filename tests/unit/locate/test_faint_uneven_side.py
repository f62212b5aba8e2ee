"""A side that hardly steps and lies on no line was not found, however long it is."""

from types import SimpleNamespace

import numpy as np
import pytest

from glassine.locate import judge, weights
from glassine.locate.candidate import Candidate
from glassine.locate.refine import Edge
from glassine.locate.view import View


@pytest.mark.parametrize(("contrast", "sure"), [(0.02, False), (1.5, True)])
def test_a_faint_uneven_side_is_for_review(contrast, sure):
    corners = np.array([[10, 10], [1710, 10], [1710, 1310], [10, 1310]], float)
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single")
    ends = [(corners[i], corners[j]) for i, j in judge.ENDS]
    one.edges = [Edge(p, q, 1.0, 0.03, 1.5, p, 0.0) for p, q in ends]
    p, q = ends[1]
    one.edges[1] = Edge(p, q, 1.0, 2.9, contrast, p, 0.0)  # spread 1.7 thousandths of its length
    flat = np.zeros((10, 10, 1), np.float32)
    scene = SimpleNamespace(view=View(flat, flat, flat[..., 0], 200.0, 1.0, 0.001))
    for side in range(4):
        judge._side(scene, one, side)
    assert (weights.confidence(one.evidence) >= 0.8) == sure
