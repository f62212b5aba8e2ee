"""Straight edges of an upright patch, looked for from outside inwards, one side at a time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

LEFT, TOP, RIGHT, BOTTOM = range(4)
NAMES = ("left", "top", "right", "bottom")


def facing(array: Floats, side: int) -> Floats:
    """Turn an (h, w, ...) array so that `side` is at column 0 and rows run along the side."""
    if side == LEFT:
        return array
    if side == RIGHT:
        return array[:, ::-1]
    turned = array.swapaxes(0, 1)
    return turned if side == TOP else turned[:, ::-1]


@dataclass
class Line:
    """column = at + slope * (row - middle), in the facing of its side.

    share: part of the rows that begin to differ right here; early: part that did so outside.
    """

    at: float
    slope: float
    middle: float
    share: float = 0.0
    early: float = 0.0
    spread: float = 0.0
    found: bool = True

    def columns(self, rows: npt.NDArray[Any]) -> npt.NDArray[np.float64]:
        return np.asarray(self.at + self.slope * (rows - self.middle))


def ends(
    line: Line, side: int, w: int, h: int
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return two points of the line in patch px."""
    length = h if side in (LEFT, RIGHT) else w
    r = np.array([0.0, float(length)])
    c = line.columns(r)
    if side == LEFT:
        p = np.c_[c, r]
    elif side == RIGHT:
        p = np.c_[w - c, r]
    elif side == TOP:
        p = np.c_[r, c]
    else:
        p = np.c_[r, h - c]
    return p[0], p[1]


def crossing(
    p: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
    q: tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]],
) -> npt.NDArray[np.float64]:
    """Return the point where two lines (each given by two points) cross."""
    d1, d2 = p[1] - p[0], q[1] - q[0]
    det = d1[0] * d2[1] - d1[1] * d2[0]
    if abs(det) < 1e-12:
        return np.asarray((p[0] + q[0]) / 2)
    t = ((q[0] - p[0])[0] * d2[1] - (q[0] - p[0])[1] * d2[0]) / det
    return np.asarray(p[0] + t * d1)


def size(lines: list[Line], w: int, h: int) -> tuple[float, float]:
    """Return the width and height (px) of what four lines bound in a patch of w x h."""
    return w - lines[LEFT].at - lines[RIGHT].at, h - lines[TOP].at - lines[BOTTOM].at


def corners(lines: list[Line], w: int, h: int) -> npt.NDArray[np.float64]:
    """Return (4, 2) corners in patch px, top-left first, clockwise."""
    e = [ends(line, side, w, h) for side, line in enumerate(lines)]
    return np.array(
        [
            crossing(e[TOP], e[LEFT]),
            crossing(e[TOP], e[RIGHT]),
            crossing(e[BOTTOM], e[RIGHT]),
            crossing(e[BOTTOM], e[LEFT]),
        ]
    )


def first_departure(
    differs: npt.NDArray[np.bool_], start: npt.NDArray[np.int64], run: int
) -> npt.NDArray[np.int64]:
    """Return per row the first column >= start from which `run` pixels differ, or -1."""
    d = differs.copy()
    columns = np.arange(d.shape[1])
    d &= columns[None] >= start[:, None]
    lasting = d.copy()
    for k in range(1, run):
        lasting[:, :-k] &= d[:, k:]
        lasting[:, -k:] = False
    first = lasting.argmax(1)
    return np.where(lasting.any(1), first, -1)


def vote(
    first: npt.NDArray[np.int64],
    rows: npt.NDArray[np.int64],
    middle: float,
    columns: int,
    tolerance: float,
    max_slope: float,
    slope0: float = 0.0,
) -> Line | None:
    """Return the straight line that most rows' first departures lie on.

    Rows that departed before the line count against it, later ones do not.
    """
    ok = first >= 0
    if ok.sum() < 4:
        return None
    f, r = first[ok].astype(np.float64), rows[ok].astype(np.float64) - middle
    total = len(first)
    length = float(np.ptp(rows)) or 1.0
    steps = int(np.clip(np.ceil(max_slope * length / max(tolerance, 1.0)), 1, 40))
    # No wider than what it is moved along, be the scale what it may.
    tolerance = min(tolerance, (columns + 99) // 2)
    slopes = slope0 + np.linspace(-max_slope, max_slope, 2 * steps + 1)
    x = slopes[:, None] * r
    np.subtract(f, x, out=x)
    np.rint(x, out=x)
    x += 50
    np.clip(x, 0, columns + 99, out=x)
    each, size = np.arange(len(slopes)), columns + 100
    x += size * each[:, None]
    histogram = np.bincount(x.ravel().astype(np.int64), minlength=size * len(slopes))
    # How many lie before each column, beyond both ends too: whole numbers, whose sums are exact.
    reach = round(tolerance)
    whole = np.cumsum(histogram.reshape(len(slopes), size), axis=1)
    count = np.pad(whole, ((0, 0), (reach + 1, 0)))
    count = np.pad(count, ((0, 0), (0, reach)), mode="edge")
    before = count[:, :size]
    near = count[:, 2 * reach + 1 :][:, :size] - before
    bent = 0.02 * total * np.abs(slopes - slope0) / max(max_slope, 1e-9)
    score = near - before - bent[:, None]
    k = int(score.max(axis=1).argmax())
    at = int(score[k].argmax())
    near_count, before_count = int(near[k, at]), int(before[k, at])
    if near_count < 4:
        return None
    slope, at = slopes[k], at - 50
    off = f - (at + slope * r)
    close = np.abs(off) <= tolerance + 0.5
    # Straight fit through those near, twice, leaving out what lies off.
    a, b = float(at), float(slope)
    for _ in range(3):
        if close.sum() < 4 or np.ptp(r[close]) < 0.2 * length:
            break
        b, a = np.polyfit(r[close], f[close], 1)
        if abs(b - slope0) > 1.5 * max_slope:
            b = float(slope)
            a = float(np.median((f - b * r)[close]))
        off = f - (a + b * r)
        close = np.abs(off) <= max(1.0, min(tolerance, 2.5 * np.median(np.abs(off[close])) + 0.5))
    spread = float(np.median(np.abs(off[close]))) * 1.4826 if close.any() else tolerance
    return Line(float(a), float(b), middle, near_count / total, before_count / total, spread)


def smooth_along(v: Floats, rows: int) -> Floats:
    """Average along the rows' direction (axis 0), to see weak edges in grain."""
    return np.asarray(cv2.blur(v, (1, rows)).reshape(v.shape), np.float32) if rows > 1 else v
