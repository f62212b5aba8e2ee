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
