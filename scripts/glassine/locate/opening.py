"""The opening of a mask or a mount that the picture in it is hardly lighter than.

Looked at pixel by pixel such a picture drowns in the noise of a black surface; means of small
areas still differ from the mask's own, even tone, which its rim shows.
"""

from __future__ import annotations

import cv2
import numpy as np

from glassine.locate import sides
from glassine.locate.sides import Line
from glassine.locate.straight import Band, ridges, rows_between
from glassine.locate.view import Mask, Patch, area_px, off_from

# Least share of a side's length along which the picture must differ right from its edge on.
LEAST = 0.12


def opening(patch: Patch, away: Mask, outer: list[Line]) -> list[Line] | None:
    """Return the four sides of what differs from an even mask, or None where not all show.

    away: see `differing`; outer: the mask's own edges.
    """
    h, w = patch.v.shape[:2]
    found = []
    for side in range(4):
        facing = np.ascontiguousarray(sides.facing(away.astype(np.float32), side)) > 0
        n, columns = facing.shape
        rows = np.flatnonzero(facing.any(1))
        if len(rows) < 0.3 * n:
            return None
        first = sides.first_departure(facing[rows], np.zeros(len(rows), np.int64), 3)
        line = sides.vote(first, rows, n / 2, columns, 2.0, 0.009, slope0=outer[side].slope)
        if line is None or line.share - line.early < LEAST:
            return None
        found.append(line)
    if min(sides.size(found, w, h)) < 0.2 * min(h, w):
        return None
    return [_sharpened(patch, found, side) for side in range(4)]


def differing(
    patch: Patch, outer: list[Line], skip: float, depth: float, lighter: bool = False
) -> Mask:
    """Return where the means of small areas inside a mask differ from its tone.

    outer: the mask's own edges; skip, depth: the band inside them (patch px) that shows its tone;
    lighter: whether only what is lighter counts: of two black papers one is a little denser.
    """
    h, w = patch.v.shape[:2]
    shape = np.zeros((h, w), np.uint8)
    cv2.fillConvexPoly(shape, np.round(sides.corners(outer, w, h)).astype(np.int32), 1)
    inner = cv2.distanceTransform(np.pad(shape, 1), cv2.DIST_L2, 3)[1:-1, 1:-1]
    return off_from(patch.v, (inner > skip) & (inner <= skip + depth), inner > skip, lighter)


def _sharpened(patch: Patch, lines: list[Line], side: int) -> Line:
    """Return a line moved from the rim of smoothed areas to the step that is nearest to it."""
    line = lines[side]
    columns = round(line.at - 3), round(line.at + 2 * area_px(patch.v.shape))
    rows = rows_between(patch, lines, side)
    near = ridges(patch, Band(side, rows, columns, line.middle, line.slope, 0.004), 0)
    if not near:
        return line
    best = near[0].line
    return Line(best.at, best.slope, line.middle, line.share, line.early, line.spread)
