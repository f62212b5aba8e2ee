"""Which frames lie beside something on the master that no frame explains."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from glassine.locate.candidate import Candidate
from glassine.locate.shapes import Doubles, lengths_of

# What is nearer to a frame than this share of its shorter side lies beside it: it may be a part of
# its picture. Set on the scenes that `tests/benchmarks/locate` draws.
BESIDE = 0.12
# A part of the next picture on a film is shorter than this share of the frame, lies within so much
# of its short side from its middle line, and ends nearer than this share to the master's edge.
PART_OF_NEXT, IN_LINE, CUT_OFF = 0.6, 0.72, 0.03
# Places along each side at which distances are measured.
PLACES = 16


def beside(
    found: Sequence[Candidate], places: Sequence[Doubles]
) -> list[tuple[Candidate, list[int]]]:
    """Return the frames beside areas (corners of each, master px), with the numbers of those areas.

    What lies beside none is said of the one frame that is nearest to any of it, so that one frame
    at least stands for it.
    """
    if not found or not places:
        return []
    apart = np.array([[distance(one.corners, each) for each in places] for one in found])
    reach = np.array([BESIDE * lengths_of(one.corners)[1] for one in found])
    near = apart < reach[:, None]
    lone = np.flatnonzero(~near.any(0))
    if len(lone):
        near[int(apart[:, lone].min(1).argmin()), lone] = True
    return [
        (one, np.flatnonzero(row).tolist())
        for one, row in zip(found, near, strict=True)
        if row.any()
    ]


def is_next_picture(found: Sequence[Candidate], place: Doubles, size: tuple[float, float]) -> bool:
    """Whether an area is a part of the next picture on a film of which one frame was captured: it
    lies beside that frame along the film, and the master's edge cuts it off.

    place: corners of the area; size: (width, height) of the master; master px.
    """
    whole = [one for one in found if not one.blank]
    if len(whole) != 1 or not whole[0].strip or whole[0].gauge != "135":
        return False
    c = whole[0].corners
    u, v = (c[1] - c[0] + c[2] - c[3]) / 2, (c[3] - c[0] + c[2] - c[1]) / 2
    along, down = np.hypot(*u), np.hypot(*v)
    run, across = (u / along, v / down) if along > down else (v / down, u / along)
    long, short = max(along, down), min(along, down)
    off = place - c.mean(0)
    beside = np.abs(off @ run).min() > long * (0.5 - BESIDE / 4)
    in_line = np.abs(off @ across).max() < IN_LINE * short
    cut = float(np.ptp(off @ run)) < PART_OF_NEXT * long
    near = CUT_OFF * long
    reach = (place.min(0) < near).any() or (place.max(0) > np.array(size) - near).any()
    return bool(beside and in_line and cut and reach)


def distance(a: Doubles, b: Doubles) -> float:
    """Return how far two quadrilaterals are apart, px; 0 where they overlap."""
    outline = a.astype(np.float32)
    inside = [
        cv2.pointPolygonTest(outline, (float(x), float(y)), True)
        for x, y in np.vstack([_along(b), b.mean(0, keepdims=True)])
    ]
    other = b.astype(np.float32)
    inside += [
        cv2.pointPolygonTest(other, (float(x), float(y)), True)
        for x, y in np.vstack([_along(a), a.mean(0, keepdims=True)])
    ]
    return max(0.0, -max(inside))


def _along(c: Doubles) -> Doubles:
    """Return places along the sides of a quadrilateral."""
    t = np.linspace(0, 1, PLACES, endpoint=False)[:, None]
    return np.vstack([p * (1 - t) + q * t for p, q in zip(c, np.roll(c, -1, 0), strict=True)])
