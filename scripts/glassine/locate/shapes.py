"""Four corners in a plane: their order, how they lie, the rectangle nearest to them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from glassine.locate import sides
from glassine.locate.refine import Box

Doubles = npt.NDArray[np.float64]
# Corners (top left first, clockwise) that each side goes between: left, top, right, bottom.
ENDS = ((3, 0), (0, 1), (1, 2), (2, 3))


def order(corners: Doubles) -> Doubles:
    """Return corners clockwise, the first being the top left as seen in the master."""
    c = corners.copy()
    area = np.sum(c[:, 0] * np.roll(c[:, 1], -1) - np.roll(c[:, 0], -1) * c[:, 1])
    if area < 0:
        c = c[::-1]
    best, at = None, 0
    for k in range(4):
        d = c[(k + 1) % 4] - c[k]
        angle = abs(np.degrees(np.arctan2(d[1], d[0])))
        if best is None or angle < best:
            best, at = angle, k
    return np.roll(c, -at, 0)


def met(lines: list[tuple[Doubles, Doubles]]) -> Doubles:
    """Return (4, 2) corners where the sides (left, top, right, bottom) meet, top left first."""
    turns = ((1, 0), (1, 2), (3, 2), (3, 0))
    return np.array([sides.crossing(lines[a], lines[b]) for a, b in turns])


def steady(points: Doubles) -> Doubles:
    """Return slope and height of a line through (n, 2) points, by medians (n small)."""
    x, y = points[:, 0], points[:, 1]
    i, j = np.triu_indices(len(x), 1)
    slope = float(np.median((y[j] - y[i]) / np.where(x[j] == x[i], 1, x[j] - x[i])))
    return np.array([slope, float(np.median(y - slope * x))])


def angle_of(c: Doubles) -> float:
    """Clockwise rotation (degrees) of the top edge from the x axis."""
    d = c[1] - c[0]
    return float(np.degrees(np.arctan2(d[1], d[0])))


def box_of(c: Doubles) -> Box:
    """Return the turned box with these corners (order: see `order`)."""
    width = float(np.hypot(*(c[1] - c[0])) + np.hypot(*(c[2] - c[3]))) / 2
    height = float(np.hypot(*(c[3] - c[0])) + np.hypot(*(c[2] - c[1]))) / 2
    x, y = (float(v) for v in c.mean(0))
    return Box(x, y, width, height, angle_of(c))


def keystone_of(c: Doubles) -> float:
    """Largest difference between the directions of opposite sides, degrees."""

    def direction(a: Doubles) -> float:
        return float(np.degrees(np.arctan2(a[1], a[0])))

    d1 = direction(c[1] - c[0]) - direction(c[2] - c[3])
    d2 = direction(c[3] - c[0]) - direction(c[2] - c[1])
    return max(abs((d1 + 180) % 360 - 180), abs((d2 + 180) % 360 - 180))


def rectangle_of(c: Doubles) -> Doubles:
    """Return the rectangle that is nearest to a quadrilateral (same centre and mean sides)."""
    u = (c[1] - c[0]) + (c[2] - c[3])
    v = (c[3] - c[0]) + (c[2] - c[1])
    angle = np.angle(complex(u[0], u[1]) + complex(v[1], -v[0]))
    w, h = np.hypot(*u) / 2, np.hypot(*v) / 2
    a = np.array([np.cos(angle), np.sin(angle)])
    b = np.array([-a[1], a[0]])
    m = c.mean(0)
    return np.array(
        [
            m - a * w / 2 - b * h / 2,
            m + a * w / 2 - b * h / 2,
            m + a * w / 2 + b * h / 2,
            m - a * w / 2 + b * h / 2,
        ]
    )


def lengths_of(c: Doubles) -> tuple[float, float]:
    """Return the longer and the shorter side, px, each the mean of two."""
    box = box_of(c)
    return max(box.width, box.height), min(box.width, box.height)
