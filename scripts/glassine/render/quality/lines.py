"""Scratches: long, thin, nearly straight lines along a side of the frame, laid over the picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.render.quality.patches import Floats
from glassine.render.quality.planes import Upright

# Densities (h, w), of either precision.
Plane = npt.NDArray[Any]

# A line is followed in pieces of so many rows; from one to the next it moves by at most 1 px.
ROWS = 24
# Rows of a piece that are taken together first.
TOGETHER = 3
PARTS = ROWS // TOGETHER
# What a piece of a line adds at most and takes away, in deviations of pieces without one; what a
# step aside costs. A path through nothing loses more than it gains.
MOST, LEAST, CHANCE, ASIDE = 4.0, -1.5, 0.9, 0.3
# Paths that are looked at closely, of each direction and sign.
PATHS = 5
# A scratch: a score of so much (root mean square over all pieces of the frame's length),
SCORE = 3.4
# over at least this share of the frame's length,
LENGTH = 0.55
# of a depth that varies along it by no more than this share beyond what grain explains,
UNEVEN = 0.45
# that does not depend on the picture beneath: a thing of one tone has a slope of -1 (of less where
# it is narrower than 3 px), what is laid over the picture 0. Where the picture beneath varies by
# less than VARIED (density), the slope is not sure; by less than PLAIN, the line must go on in the
# base.
SLOPE, UNSURE_SLOPE = (-0.3, 0.2), (-0.4, 0.35)
VARIED, PLAIN = 0.2, 0.06
# Beyond the frame it shows with this share of its depth at least.
BEYOND = 0.4
# What is next to the frame's edge is left out, px.
EDGE = 8
# A piece rises by no more than so many times what it rises over its nearer side.
ONE_SIDE = 2.0
# Single pixels count up to so many usual differences.
CUT = 2.0
# Its two sides are alike: they differ by less than this share of its depth.
SIDES = 0.45


@dataclass(frozen=True)
class Line:
    """A line found: pieces (first, last), its x in each, score."""

    first: int
    x: npt.NDArray[np.intp]
    score: float


def scratches(frame: Upright) -> int | None:
    """Return how many scratches lie over a frame, along its rows or its columns.

    None for a frame too small to tell.
    """
    m = frame.margin + EDGE
    if min(frame.density.shape) - 2 * m < 4 * ROWS:
        return None
    return sum(
        _count(np.ascontiguousarray(plane), np.ascontiguousarray(base), frame.margin, sign)
        for plane, base in ((frame.density, frame.base), (frame.density.T, frame.base.T))
        for sign in (1.0, -1.0)
    )


def _count(density: Floats, base: npt.NDArray[np.bool_], margin: int, sign: float) -> int:
    m = margin + EDGE
    count = (len(density) - 2 * m) // ROWS
    inside = density[m : m + count * ROWS]
    size = (density.shape[1], count * PARTS)
    planes = _columns(np.asarray(cv2.resize(inside, size, interpolation=cv2.INTER_AREA)))
    left, middle, right = (np.ascontiguousarray(plane[:, m:-m]) for plane in planes)
    rise_left, rise_right = sign * (middle - left), sign * (middle - right)
    usual = _pieces((rise_left + rise_right) / 2)
    pieces = np.minimum(usual, ONE_SIDE * np.minimum(_pieces(rise_left), _pieces(rise_right)))
    deviation = float(np.median(np.abs(usual - np.median(usual)))) / 0.6745
    z = np.clip(pieces / max(deviation, 1e-6), LEAST, MOST) - CHANCE
    return sum(
        _is_scratch(line, left, middle, right, _beyond(line, density, base, margin, sign * usual))
        for line in _paths(z)
    )


def _beyond(
    line: Line, density: Floats, base: npt.NDArray[np.bool_], margin: int, rise: Plane
) -> float | None:
    """Return with which share of its depth a line goes on in the film base beyond the picture.

    None for a line that does not reach an end of the frame with base beyond. rise: by how much each
    piece of the frame stands out, signed as `_count` has it.
    """
    depth = float(np.median(rise[line.first + np.arange(len(line.x)), line.x]))
    ends = []
    if line.first == 0:
        ends.append((slice(3, margin - 4), int(line.x[0])))
    if line.first + len(line.x) == len(rise):
        ends.append((slice(len(density) - margin + 4, len(density) - 3), int(line.x[-1])))
    seen = []
    for rows, x in ends:
        place = margin + EDGE + x
        around = slice(max(place - 3, 0), place + 4)
        if base[rows, around].mean() > 0.9:
            left, middle, right = _columns(density[rows].mean(axis=0, keepdims=True))
            rise_beyond = (middle - (left + right) / 2)[0] * np.sign(depth)
            grain = float(np.median(np.abs(rise_beyond))) / 0.6745
            above = float(rise_beyond[around].max())
            seen.append(above if above > 3.0 * grain else 0.0)
    return float(np.mean(seen)) / max(abs(depth), 1e-6) if seen else None


def _columns(density: Plane) -> tuple[Plane, Plane, Plane]:
    """Return the mean of 3 px at, and of 3 px 4 px to the left and the right of, each place."""
    middle = cv2.blur(density, (3, 1), borderType=cv2.BORDER_REPLICATE)
    wide = np.pad(middle, ((0, 0), (4, 4)), mode="edge")
    return wide[:, :-8], np.asarray(middle), wide[:, 8:]


def _pieces(rise: Plane) -> Plane:
    """Return the mean of each piece, what stands far out cut down first."""
    limit = CUT * float(np.median(np.abs(rise[::4]))) + 1e-6
    cut = np.clip(rise, -limit, limit)
    return np.asarray(cut.reshape(len(rise) // PARTS, PARTS, -1).mean(axis=1))


def _paths(z: Plane) -> list[Line]:
    """Return the best paths from piece to piece (highest sum), 8 px and more apart."""
    count, width = z.shape
    total = np.zeros((count, width))
    came = np.zeros((count, width), np.intp)
    start = np.zeros((count, width), np.intp)
    columns = np.arange(width)
    total[0] = z[0]
    for row in range(1, count):
        before = np.pad(total[row - 1], 1, mode="edge")
        ways = np.stack([before[1:-1], before[:-2] - ASIDE, before[2:] - ASIDE])
        way = ways.argmax(axis=0)
        best = np.take_along_axis(ways, way[None], axis=0)[0]
        came[row] = np.clip(columns + np.array([0, -1, 1])[way], 0, width - 1)
        start[row] = np.where(best > 0, start[row - 1][came[row]], row)
        total[row] = z[row] + np.maximum(best, 0.0)
    left = total.copy()
    left[:, :6] = left[:, -6:] = 0.0
    found: list[Line] = []
    taken = np.zeros(z.shape, bool)
    for _ in range(2 * PATHS):
        row, x = (int(each) for each in np.unravel_index(int(left.argmax()), left.shape))
        score = float(left[row, x]) / np.sqrt(count)
        if score < SCORE or len(found) == PATHS:
            break
        first, path = int(start[row, x]), [x]
        for back in range(row, first, -1):
            path.append(int(came[back, path[-1]]))
        along = np.array(path[::-1])
        pieces = np.arange(first, row + 1)
        # A path that joins another is the same line once more.
        if taken[pieces, along].mean() < 0.3:
            found.append(Line(first, along, score))
        for piece, column in zip(pieces, along, strict=True):
            taken[piece, max(0, column - 8) : column + 9] = True
            left[piece, max(0, column - 8) : column + 9] = 0.0
        left[:, max(0, x - 8) : x + 9] = 0.0
    return found


def _is_scratch(
    line: Line, left: Plane, middle: Plane, right: Plane, beyond_end: float | None
) -> bool:
    """Return whether a path has the marks of a scratch rather than of a thing in the picture.

    beyond_end: see `_beyond`.
    """
    count = len(left) // PARTS
    if len(line.x) < LENGTH * count or (beyond_end is not None and beyond_end < BEYOND):
        return False
    rows = (line.first * PARTS + np.arange(len(line.x) * PARTS)).reshape(-1, PARTS)
    along = np.stack([plane[rows, line.x[:, None]] for plane in (left, middle, right)])
    sides = np.median(along, axis=2).T.astype(np.float64)
    under = (sides[:, 0] + sides[:, 2]) / 2
    depth = sides[:, 1] - under
    usual = float(np.median(depth))
    single = along[1] - (along[0] + along[2]) / 2
    noise = float(np.sqrt(np.median(single.var(axis=1, ddof=1)) / PARTS))
    spread = float(np.median(np.abs(depth - usual))) / 0.6745
    beyond = np.sqrt(max(spread**2 - noise**2, 0.0))
    apart = abs(float(np.median(sides[:, 0] - sides[:, 2])))
    if beyond > UNEVEN * abs(usual) or apart > SIDES * abs(usual) + noise:
        return False
    varies = float(np.subtract(*np.percentile(under, [90, 10])))
    if varies < PLAIN:
        return beyond_end is not None
    low, high = SLOPE if varies > VARIED else UNSURE_SLOPE
    return low < _slope(under, depth) < high


def _slope(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> float:
    """Return the slope of y against x: the median of those between points far apart in x."""
    order = np.argsort(x)
    third = max(len(x) // 3, 1)
    low, high = order[:third], order[-third:]
    run = np.median(x[high]) - np.median(x[low])
    return float((np.median(y[high]) - np.median(y[low])) / max(run, 1e-6))
