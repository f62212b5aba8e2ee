"""Scratches: long, thin, nearly straight lines along a side of the frame, laid over the picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters import ranks
from glassine.render.quality.patches import Floats
from glassine.render.quality.planes import Upright

# Densities (h, w), of either precision.
Plane = npt.NDArray[Any]

# A line is followed in pieces of so many rows; from one to the next it moves by at most 1 px.
ROWS = 24
# Rows of a piece that are taken together first.
TOGETHER = 4
PARTS = ROWS // TOGETHER
# What a piece of a line adds at most and takes away, in deviations of pieces without one; what a
# step aside costs. A path through nothing loses more than it gains.
MOST, LEAST, CHANCE, ASIDE = 4.0, -1.5, 0.9, 0.3
# Paths that are looked at closely, of each direction and sign.
PATHS = 5
# A scratch: a score of so much (root mean square over all pieces of the frame's length),
SCORE = 2.5
# over at least this share of the frame's length,
LENGTH = 0.55
# of a depth that varies along it by no more than this share beyond what grain explains,
# (where it goes on beyond the picture, by this),
UNEVEN, SEEN_UNEVEN = 0.45, 0.7
# that does not depend on the picture beneath: a thing of one tone has a slope of -1 (of less where
# it is narrower than 3 px), what is laid over the picture 0. Where the picture beneath varies by
# less than VARIED (density), the slope is not sure; by less than PLAIN, the line must go on in the
# base.
SLOPE, UNSURE_SLOPE = (-0.3, 0.2), (-0.4, 0.35)
VARIED, PLAIN = 0.2, 0.06
ONE_TONE = -0.6
SURE_SCORE, SURE_VARIED, SURE_SLOPE = 4.5, 0.3, 0.08
# Beyond the frame it shows with this share of its depth at least.
BEYOND = 0.4
# Where no base is seen beyond the picture, a line that does not reach both ends, with this share of
# its depth in the mean of the last pieces there, may as well be a rope or a mast in it.
REACHES, LAST_PIECES = 0.5, 3
# There it stands out by so many deviations, of at least so many rows of base, and counts as much as
# so many deviations of a piece.
SURE_BEYOND, LEAST_BASE, MOST_BEYOND = 4.0, 5, 8.0
# What shows with less than this share of its depth, though the grain would let it, does not go on.
UNSEEN = 0.7
# What is next to the frame's edge is left out, px.
EDGE = 8
# A piece rises by no more than so many times what it rises over its nearer side.
ONE_SIDE = 2.0
# Where a line must be so deep (density, over 2 px) to stand out, that none is found says nothing.
HIDDEN_D = 0.035
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

    None for a frame too small to tell, and where none is found in a picture whose own texture would
    hide one.
    """
    m = frame.margin + EDGE
    if min(frame.density.shape) - 2 * m < 4 * ROWS:
        return None
    found = [
        _count(np.ascontiguousarray(plane), np.ascontiguousarray(base), frame.margin)
        for plane, base in ((frame.density, frame.base), (frame.density.T, frame.base.T))
    ]
    count = int(sum(each for each, _ in found))
    return None if not count and max(least for _, least in found) > HIDDEN_D else count


def _count(density: Floats, base: npt.NDArray[np.bool_], margin: int) -> tuple[int, float]:
    """Return how many scratches lie along the columns, and the least depth (density) of one that
    stands out of the half of the picture with less texture."""
    m = margin + EDGE
    count = (len(density) - 2 * m) // ROWS
    inside = density[m : m + count * ROWS]
    size = (density.shape[1], count * PARTS)
    planes = _columns(np.asarray(cv2.resize(inside, size, interpolation=cv2.INTER_AREA)))
    left, middle, right = (np.ascontiguousarray(plane[:, m:-m]) for plane in planes)
    rise_left, rise_right = middle - left, middle - right
    usual = _pieces((rise_left + rise_right) / 2)
    sides = _pieces(rise_left), _pieces(rise_right)
    ends = [each[:, m:-m] for each in _ends(density, base, margin)]
    found, deviation = 0, _deviation(usual)
    least = (CHANCE + SCORE / np.sqrt(len(usual))) * float(np.median(deviation[:, ::4]))
    for sign in (1.0, -1.0):
        rise = np.minimum(sign * usual, ONE_SIDE * np.minimum(sign * sides[0], sign * sides[1]))
        z = np.clip(rise / deviation, LEAST, MOST) - CHANCE
        z[0] += np.clip(sign * ends[0][1], 0.0, MOST_BEYOND)
        z[-1] += np.clip(sign * ends[1][1], 0.0, MOST_BEYOND)
        found += sum(
            _is_scratch(line, left, middle, right, _beyond(line, ends, sign * usual, sign))
            for line in _paths(z)
        )
    return found, least


def _deviation(pieces: Plane) -> Plane:
    """Return how much pieces without a line differ, by the pieces around each.

    So texture in one part of a picture hides no line in another, and makes none.
    """
    middle = float(ranks.median(np.abs(pieces[:, ::4]))) / 0.6745
    cut = np.minimum(np.abs(pieces), 2.5 * middle).astype(np.float32)
    local = cv2.blur(cut, (81, 5), borderType=cv2.BORDER_REFLECT) * np.float32(1.2533)
    return np.asarray(np.maximum(local, 0.5 * middle + 1e-6))


def _ends(density: Floats, base: npt.NDArray[np.bool_], margin: int) -> list[Plane]:
    """Return, for both ends of the frame, how the film base beyond stands out along it.

    Two rows each: density, and in deviations of the base without a line. 0 where no base is seen.
    """
    found = []
    for rows in (slice(2, margin - 3), slice(len(density) - margin + 3, len(density) - 2)):
        seen = base[rows]
        count = seen.sum(axis=0)
        mean = (density[rows] * seen).sum(axis=0) / np.maximum(count, 1)
        left, middle, right = _columns(np.asarray(mean[None], np.float32))
        known = cv2.erode((count >= LEAST_BASE).astype(np.uint8)[None], np.ones((1, 15)))[0] > 0
        rise = np.where(known, (middle - (left + right) / 2)[0], 0.0)
        usual = float(np.median(np.abs(rise[known]))) / 0.6745 if known.sum() > 60 else np.inf
        found.append(np.stack([rise, rise / max(usual, 1e-6)]))
    return found


def _beyond(line: Line, ends: list[Plane], rise: Plane, sign: float) -> float | None:
    """Return with which share of its depth a line goes on in the film base beyond the picture.

    None for a line that does not reach an end of the frame with base beyond. ends: see `_ends`;
    rise: by how much each piece of the frame stands out; both as dense, for a sign of -1 as light.
    """
    along = rise[line.first + np.arange(len(line.x)), line.x]
    depth = float(np.median(along))
    places = []
    if line.first == 0 and np.mean(along[:2]) > depth / 2:
        places.append((ends[0], int(line.x[0])))
    if line.first + len(line.x) == len(rise) and np.mean(along[-2:]) > depth / 2:
        places.append((ends[1], int(line.x[-1])))
    seen = []
    for end, x in places:
        around = end[:, max(x - 3, 0) : x + 4]
        if not around.any():
            continue
        best = int((sign * around[0]).argmax())
        above, sure = sign * around[:, best]
        if sure > SURE_BEYOND:
            seen.append(float(above))
        # As deep as in the picture it would show above the grain of the base, and does not.
        elif UNSEEN * abs(depth) * abs(sure) > SURE_BEYOND * abs(above):
            seen.append(0.0)
    return max(seen) / max(abs(depth), 1e-6) if seen else None


def _columns(density: Plane) -> tuple[Plane, Plane, Plane]:
    """Return the mean of about 2 px at, of 3 px 4 px to the left and to the right of each place."""
    edge = cv2.BORDER_REPLICATE
    kernel = np.array([[0.25, 0.5, 0.25]], np.float32)
    middle = cv2.filter2D(density, cv2.CV_32F, kernel, borderType=edge)
    beside = cv2.blur(density, (3, 1), borderType=edge)
    wide = np.pad(beside, ((0, 0), (4, 4)), mode="edge")
    return wide[:, :-8], np.asarray(middle), wide[:, 8:]


def _pieces(rise: Plane) -> Plane:
    """Return the mean of each piece, what stands far out cut down first."""
    limit = CUT * float(ranks.median(np.abs(rise[::4, ::4]))) + 1e-6
    cut = np.clip(rise, -limit, limit)
    return np.asarray(cut.reshape(len(rise) // PARTS, PARTS, -1).mean(axis=1))


def _paths(z: Plane) -> list[Line]:
    """Return the best paths from piece to piece (highest sum), 8 px and more apart."""
    count, width = z.shape
    total, came = np.zeros((count, width)), np.zeros((count, width), np.int8)
    start = np.zeros((count, width), np.int32)
    columns = np.arange(width)
    total[0] = z[0]
    aside = np.empty(width)
    for row in range(1, count):
        best, from_left, from_right = total[row - 1].copy(), aside, total[row - 1, 1:] - ASIDE
        from_left[1:], from_left[0] = total[row - 1, :-1] - ASIDE, -np.inf
        step = came[row]
        better = from_left > best
        best[better], step[better] = from_left[better], -1
        better = from_right > best[:-1]
        best[:-1][better], step[:-1][better] = from_right[better], 1
        start[row] = np.where(best > 0, start[row - 1, columns + step], row)
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
            path.append(path[-1] + int(came[back, path[-1]]))
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
    if len(line.x) < LENGTH * count:
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
    uneven = SEEN_UNEVEN if (beyond_end or 0.0) >= BEYOND else UNEVEN
    if beyond > uneven * abs(usual) or apart > SIDES * abs(usual) + noise:
        return False
    varies, slope = float(np.subtract(*np.percentile(under, [90, 10]))), _slope(under, depth)
    if beyond_end is not None and beyond_end >= BEYOND:
        return varies < VARIED or slope > ONE_TONE
    if beyond_end is not None:
        # It may end just where the picture does; then all else must speak for a scratch.
        return line.score > SURE_SCORE and varies > SURE_VARIED and abs(slope) < SURE_SLOPE
    if varies < PLAIN or not _is_whole(line, depth / (usual or 1e-6), count):
        return False
    low, high = SLOPE if varies > VARIED else UNSURE_SLOPE
    return low < slope < high


def _is_whole(line: Line, shares: npt.NDArray[np.float64], count: int) -> bool:
    """Return whether a line goes from one end of the frame to the other. shares: of its usual
    depth, by piece; count: pieces of the frame."""
    reaches = line.first <= 1 and line.first + len(line.x) >= count - 1
    ends = (shares[:LAST_PIECES].mean(), shares[-LAST_PIECES:].mean())
    return reaches and min(ends) > REACHES


def _slope(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> float:
    """Return the slope of y against x: the median of those between points far apart in x."""
    order = np.argsort(x)
    third = max(len(x) // 3, 1)
    low, high = order[:third], order[-third:]
    run = np.median(x[high]) - np.median(x[low])
    return float((np.median(y[high]) - np.median(y[low])) / max(run, 1e-6))
