"""Scratches: long, thin, nearly straight lines along a side of the frame, laid over the picture."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.render.quality.patches import Floats
from glassine.render.quality.planes import Upright

# A line is followed in pieces of so many rows; from one to the next it moves by at most 1 px.
ROWS = 24
# What a piece of a line adds at most and takes away, in deviations of pieces without one; what a
# step aside costs. A path through nothing loses more than it gains.
MOST, LEAST, CHANCE, ASIDE = 4.0, -1.5, 0.9, 0.3
# Paths that are looked at closely, of each direction and sign.
PATHS = 5
# A scratch: a score of so much (root mean square over all pieces of the frame's length),
SCORE = 4.2
# over at least this share of the frame's length,
LENGTH = 0.5
# of a depth that varies along it by no more than this share beyond what grain explains,
UNEVEN = 0.45
# that does not depend on the picture beneath: a thing of one tone has a slope of -1, what is laid
# over the picture 0;
SLOPE = 0.3
# (where the picture beneath varies by less than this, density, nothing is told by it).
PLAIN = 0.06
# Beyond the frame it shows with this share of its depth at least.
BEYOND = 0.4
# What is next to the frame's edge is left out, px.
EDGE = 8
# A piece rises by no more than so many times what it rises over its nearer side.
ONE_SIDE = 2.0
# Single pixels count up to so many usual differences.
CUT = 1.5
# Its two sides are alike: they differ by less than this share of its depth.
SIDES = 0.5


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
    planes = _columns(density)
    left, middle, right = (np.ascontiguousarray(plane[m:-m, m:-m]) for plane in planes)
    rise_left, rise_right = sign * (middle - left), sign * (middle - right)
    usual = _pieces((rise_left + rise_right) / 2)
    pieces = np.minimum(usual, ONE_SIDE * np.minimum(_pieces(rise_left), _pieces(rise_right)))
    deviation = float(np.median(np.abs(usual - np.median(usual)))) / 0.6745
    z = np.clip(pieces / max(deviation, 1e-6), LEAST, MOST) - CHANCE
    outside = planes[1] - (planes[0] + planes[2]) / 2
    return sum(
        _is_scratch(line, left, middle, right) and not _stops(line, outside, base, margin, sign)
        for line in _paths(z)
    )


def _stops(
    line: Line, rise: Floats, base: npt.NDArray[np.bool_], margin: int, sign: float
) -> bool:
    """Return whether a line ends with the picture: film base beyond its end does not show it."""
    m = margin + EDGE
    count = (len(rise) - 2 * m) // ROWS
    inside = [
        np.median(sign * rise[m + (line.first + k) * ROWS : m + (line.first + k + 1) * ROWS, m + x])
        for k, x in enumerate(line.x)
    ]
    ends = []
    if line.first == 0:
        ends.append((slice(3, margin - 4), int(line.x[0])))
    if line.first + len(line.x) == count:
        ends.append((slice(len(rise) - margin + 4, len(rise) - 3), int(line.x[-1])))
    seen = []
    for rows, x in ends:
        around = slice(max(m + x - 4, 0), m + x + 5)
        if base[rows, around].mean() > 0.9:
            seen.append(float((sign * rise[rows, around]).mean(axis=0).max()))
    return bool(seen) and max(seen) < BEYOND * float(np.median(inside))


def _columns(density: Floats) -> tuple[Floats, Floats, Floats]:
    """Return the mean of 3 px at, and of 3 px 4 px to the left and the right of, each place."""
    middle = cv2.blur(density, (3, 1), borderType=cv2.BORDER_REPLICATE)
    wide = np.pad(middle, ((0, 0), (4, 4)), mode="edge")
    return wide[:, :-8], np.asarray(middle), wide[:, 8:]


def _pieces(rise: Floats) -> Floats:
    """Return the mean of each ROWS rows, what stands far out cut down first."""
    limit = CUT * float(np.median(np.abs(rise[::4]))) + 1e-6
    count = len(rise) // ROWS
    cut = np.clip(rise[: count * ROWS], -limit, limit)
    return np.asarray(cut.reshape(count, ROWS, -1).mean(axis=1))


def _paths(z: Floats) -> list[Line]:
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
    for _ in range(PATHS):
        row, x = np.unravel_index(int(left.argmax()), left.shape)
        score = float(left[row, x]) / np.sqrt(count)
        if score < SCORE:
            break
        path = [int(x)]
        for back in range(int(row), int(start[row, x]), -1):
            path.append(int(came[back, path[-1]]))
        found.append(Line(int(start[row, x]), np.array(path[::-1]), score))
        low, high = min(path), max(path)
        left[:, max(0, low - 8) : high + 9] = 0.0
    return found


def _is_scratch(line: Line, left: Floats, middle: Floats, right: Floats) -> bool:
    """Return whether a path has the marks of a scratch rather than of a thing in the picture."""
    count = len(left) // ROWS
    if len(line.x) < LENGTH * count:
        return False
    rows = [slice((line.first + k) * ROWS, (line.first + k + 1) * ROWS) for k in range(len(line.x))]
    sides = np.array(
        [
            [np.median(plane[part, x]) for plane in (left, middle, right)]
            for part, x in zip(rows, line.x, strict=True)
        ]
    )
    under = (sides[:, 0] + sides[:, 2]) / 2
    depth = sides[:, 1] - under
    usual = float(np.median(depth))
    noise = np.array(
        [np.std(middle[part, x] - (left[part, x] + right[part, x]) / 2) for part, x in zip(rows, line.x, strict=True)]
    ) * 1.25 / np.sqrt(ROWS / 2)
    spread = float(np.median(np.abs(depth - usual))) / 0.6745
    beyond = np.sqrt(max(spread**2 - float(np.median(noise)) ** 2, 0.0))
    apart = float(np.median(np.abs(_smooth(sides[:, 0] - sides[:, 2]))))
    if beyond > UNEVEN * abs(usual) or apart > SIDES * abs(usual) + float(np.median(noise)):
        return False
    if float(np.subtract(*np.percentile(under, [90, 10]))) < PLAIN:
        return True
    return abs(_slope(under, depth)) < SLOPE


def _smooth(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.convolve(np.pad(values, 2, mode="edge"), np.ones(5) / 5, "valid")


def _slope(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> float:
    """Return the slope of y against x: the median of those between points far apart in x."""
    order = np.argsort(x)
    third = max(len(x) // 3, 1)
    low, high = order[:third], order[-third:]
    run = np.median(x[high]) - np.median(x[low])
    return float((np.median(y[high]) - np.median(y[low])) / max(run, 1e-6))
