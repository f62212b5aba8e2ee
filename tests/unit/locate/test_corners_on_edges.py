"""Corners are where the edges meet that were found, or the frame is for review."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from glassine.locate import judge, weights
from glassine.locate.candidate import Candidate
from glassine.locate.encoding import linear_table
from glassine.locate.exact import Exact
from glassine.locate.refine import Edge, Sampler
from glassine.locate.shapes import ENDS, order

SIZE = 1500


def leaning(shear_px):
    """Return corners of a frame whose upper side lies so far to the right of its lower one, as on
    film that curls.
    """
    return np.array(
        [[200 + shear_px, 200], [1300 + shear_px, 200], [1300, 1300], [200, 1300]], float
    )


def refined(true, first):
    light = np.full((SIZE, SIZE), 0.8, np.float32)
    shape = np.round(true * 16 - 8).astype(np.int32)
    cv2.fillPoly(light, [shape], 0.1, cv2.LINE_AA, 4)
    soft = cv2.GaussianBlur(light, (0, 0), 1.0)
    pixels = np.round(soft * 60000).astype(np.uint16)
    sampler = Sampler(
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        SIZE,
        SIZE,
        linear_table("linear"),
        1.0,
    )
    one = Candidate(first, False, [1.0] * 4, [True] * 4, "strip", strip=1)
    Exact(sampler, 2.0, None, 0.0).refine(one)
    return one


@pytest.mark.parametrize("shear_px", [0, 12, 26])
def test_sides_that_show_plainly_make_the_corners(shear_px):
    """The first corners lie as the strip lies: 26 px is more than refining looks for at a corner."""
    true = leaning(shear_px)
    middle = true.mean(0)
    turn = cv2.getRotationMatrix2D((float(middle[0]), float(middle[1])), 0.6, 1.0)
    first = np.add(leaning(0), (shear_px / 2, 0))
    first = order(first @ turn[:, :2].T + turn[:, 2])
    found = refined(true, first)
    off = np.hypot(*(order(found.corners) - true).T).max()
    assert off < 2 or _doubted(found), off  # the polygon is drawn to about a pixel


def _doubted(one):
    judge._shape(_Known(), one)
    return any(each.feature == "corners off its edges" for each in one.evidence)


class _Known:
    by_perforations = False


def framed(corners, off_px=0):
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single")
    lying = corners + np.array([[off_px, 0], [off_px, 0], [0, 0], [0, 0]])
    one.edges = [Edge(lying[i], lying[j], 1.0, 0.1, 0.5, lying.mean(0), 0.0) for i, j in ENDS]
    return one


@pytest.mark.parametrize(("off_px", "marked"), [(0, False), (3, False), (20, True)])
def test_corners_off_the_edges_that_were_found_are_for_review(off_px, marked):
    """A frame is wrong from 1 % of its diagonal on: here 15.6 px."""
    one = framed(leaning(0), off_px)
    judge._shape(_Known(), one)
    told = [each for each in one.evidence if each.feature == "corners off its edges"]
    assert (weights.confidence(told) < 0.8) is marked


def test_a_frame_that_leans_as_a_whole_by_four_plain_sides_is_right():
    """Film that curls: 26 px in 1100 are 1.4 degrees."""
    one = framed(leaning(26))
    judge._shape(_Known(), one)
    assert any(each.feature == "corners not square" for each in one.evidence)
    assert weights.confidence(one.evidence) >= 0.8


def test_one_side_that_leans_alone_is_for_review():
    corners = leaning(0) + np.array([[18, 0], [0, 0], [0, 0], [0, 0]])
    one = framed(corners)
    judge._shape(_Known(), one)
    assert any(each.feature == "corners not square" for each in one.evidence)
    assert weights.confidence(one.evidence) < 0.8


def test_a_frame_that_leans_by_sides_hardly_seen_is_for_review():
    one = framed(leaning(26))
    one.edges[0] = replace(one.edges[0], share=0.4)
    judge._shape(_Known(), one)
    assert weights.confidence(one.evidence) < 0.8
