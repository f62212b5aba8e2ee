"""Codes of a small part of a large picture are gathered from the box about it alone."""

import numpy as np
import pytest

from glassine.render.looks import codes_inside, inside

REDUCED = np.arange(300 * 200 * 3, dtype=np.uint16).reshape(300, 200, 3)


@pytest.mark.parametrize("seed", range(60))
def test_it_is_what_the_mask_of_the_whole_picture_tells(seed):
    rng = np.random.default_rng(seed)
    # Some lie across the edges of the picture, some beside it.
    middle, half = rng.uniform(-60, 760, 2), rng.uniform(0.5, 150, 2)
    turn = rng.uniform(-0.2, 0.2)
    cos, sin = np.cos(turn), np.sin(turn)
    quad = (np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half) @ [[cos, sin], [-sin, cos]]
    corners = tuple(map(tuple, quad + middle))
    for inset in (0.0, 0.1):
        whole = REDUCED[inside(REDUCED.shape, corners, 2.7, inset)]
        assert np.array_equal(codes_inside(REDUCED, corners, 2.7, inset), whole)
