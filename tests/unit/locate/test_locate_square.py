"""How a frame lies, from all its sides together: edges made here, truth known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.locate import square
from glassine.locate.refine import Edge

WIDTH, HEIGHT = 900.0, 600.0


def edges_of(turn, half=0.0, noise=(0, 0, 0, 0), slope_error=1e-5):
    """Return left, top, right, bottom of a frame turned by `turn` degrees, each a little off.

    half: keystone: top and bottom are turned by that much less and more.
    """
    out = []
    for side, off in enumerate(noise):
        angle = np.deg2rad(turn + 90 * (side - 1) + off + {1: -half, 3: half}.get(side, 0.0))
        along = np.array([np.cos(angle), np.sin(angle)])
        length = HEIGHT if side in (0, 2) else WIDTH
        apart = (WIDTH if side in (0, 2) else HEIGHT) / 2
        middle = np.array([along[1], -along[0]]) * apart
        ends = middle - along * length / 2, middle + along * length / 2
        out.append(Edge(*ends, 0.9, 0.1, 1.0, middle, slope_error))
    return out


def direction(edge):
    return float(np.degrees(np.arctan2(*(edge.q - edge.p)[::-1])))


@given(turn=st.floats(-8, 8), noise=st.tuples(*[st.floats(-0.02, 0.02)] * 4))
def test_sides_that_hardly_disagree_become_a_rectangle(turn, noise):
    made = square.together([edges_of(turn, noise=noise, slope_error=4e-4)])[0]
    turns = square.turns_of(made)
    assert np.ptp(turns) < 1e-6
    assert turns[1] == pytest.approx(turn, abs=0.021)


def test_keystone_that_is_plainly_there_stays():
    made = square.together([edges_of(1.0, half=0.15)])[0]
    assert (direction(made[3]) - direction(made[1])) % 360 == pytest.approx(180.3, abs=0.01)
    assert direction(made[1]) == pytest.approx(0.85, abs=0.005)


def test_a_shape_that_is_no_rectangle_is_left_alone():
    skewed = edges_of(0.0, noise=(1.0, 0, 1.0, 0))
    assert square.together([skewed]) == [skewed]


def test_a_side_turns_about_the_point_where_it_is_known_best():
    edges = edges_of(0.0, noise=(0.0, 0.03, 0.0, 0.0), slope_error=4e-4)
    top = square.together([edges])[0][1]
    along = top.q - top.p
    away = edges[1].pivot - top.p
    assert abs(along[0] * away[1] - along[1] * away[0]) / np.hypot(*along) < 1e-6


def test_too_few_sides_say_nothing():
    edges = edges_of(0.7)
    few = [edges[0], None, None, edges[3]]
    assert square.lie_of(few) is None
    assert square.together([few]) == [few]


def test_an_edge_that_is_not_straight_is_no_witness():
    edges = edges_of(0.0)
    bent = Edge(edges[3].p, edges[3].q + np.array([0, 9]), 0.9, 4.0, 1.0, edges[3].pivot, 1e-5)
    made = square.together([[*edges[:3], bent]])[0]
    assert made[3] is bent
    assert square.lie_of([*edges[:3], bent]).turn == pytest.approx(0.0, abs=1e-6)


def test_frames_of_a_strip_share_how_they_lie():
    r = np.random.default_rng(2)
    offs = r.normal(0, 0.03, (5, 4))
    strip = [edges_of(0.4, noise=tuple(off), slope_error=2e-4) for off in offs]
    alone = [square.lie_of(edges).turn for edges in strip]
    made = [square.turns_of(edges)[1] for edges in square.together(strip)]
    assert np.abs(np.array(made) - 0.4).max() < np.abs(np.array(alone) - 0.4).max()
    assert np.std(made) < np.std(alone)


def test_a_frame_that_lies_otherwise_is_not_drawn_to_the_rest():
    strip = [edges_of(0.4), edges_of(0.4), edges_of(0.4), edges_of(1.4)]
    made = square.together(strip)
    assert square.turns_of(made[3])[1] == pytest.approx(1.4, abs=0.01)
