"""Straight edges that show only when a whole side is looked at together.

A frame's edge is straight; grain, a ragged coating, dust and what the picture shows are not.
Summing the step of tone along every line near a side makes a step of a few thousandths of
density stand out from noise many times as strong.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from glassine.locate import sides
from glassine.locate.sides import Line
from glassine.locate.view import Patch

# A stronger step counts no more than this, so that a few strong ones do not outvote the rest.
CAP = 0.06
# Spread (px) of the places where a border ends from which on it is no camera's gate.
RAGGED = 0.6


@dataclass
class Ridge:
    """A line with the mean step along it, and how far that stands above other lines' (sigma)."""

    line: Line
    step: float
    height: float
    share: float


def ridges(
    patch: Patch,
    side: int,
    rows: tuple[int, int],
    columns: tuple[int, int],
    middle: float,
    slope0: float,
    max_slope: float,
    sign: int,
) -> list[Ridge]:
    """Return the lines along which the tone steps one way, most plainly first.

    rows, columns: the band searched, in the facing of the side (see `sides.facing`); sign: +1
    where the picture is denser than its border, -1 where it is lighter, 0: either.
    """
    v = sides.facing(patch.v, side)
    low, high = max(columns[0] - 3, 0), min(columns[1] + 3, v.shape[1])
    if rows[1] - rows[0] < 24 or high - low < 9:
        return []
    band = np.ascontiguousarray(v[rows[0] : rows[1], low:high])
    chunk = max(2, (rows[1] - rows[0]) // 120)
    count = band.shape[0] // chunk
    tall = (band.shape[1], count)
    small = cv2.resize(band[: count * chunk], tall, interpolation=cv2.INTER_AREA).reshape(
        count, band.shape[1], -1
    )
    # Step across the boundary before column x: two pixels on either side, a blurred edge's width.
    steps = np.zeros((count, small.shape[1] + 1, small.shape[2]), np.float32)
    steps[:, 2:-2] = (small[:, 2:-1] + small[:, 3:] - small[:, 1:-2] - small[:, :-3]) / 2
    steps = np.clip(steps, -CAP, CAP)
    # Where the cap makes a plateau of a plain edge, its middle counts most.
    steps[:, 1:-1] = (steps[:, :-2] + 2 * steps[:, 1:-1] + steps[:, 2:]) / 4
    at = rows[0] + (np.arange(count) + 0.5) * chunk - middle
    width = steps.shape[1]
    found: list[tuple[float, float, int, float]] = []
    number = int(np.clip(np.ceil(max_slope * (rows[1] - rows[0]) / 1.0), 1, 30))
    x = np.arange(width)
    planes, slopes = [], slope0 + np.linspace(-max_slope, max_slope, 2 * number + 1)
    for slope in slopes:
        shift = np.round(slope * at).astype(int)
        index = np.clip(x[None] + shift[:, None], 0, width - 1)
        sheared = np.take_along_axis(steps, index[..., None], axis=1)
        mean = sheared.mean(0)
        if sign:
            planes.append((sign * mean).clip(0).sum(1) / np.sqrt(mean.shape[1]))
        else:
            planes.append(np.sqrt((mean**2).mean(1)))
    lean = 1 - 0.02 * np.abs(slopes - slope0) / max_slope
    plane = np.array(planes) * lean[:, None]
    # What the mean along a line would be by chance, from how neighbouring chunks differ.
    wild = float(np.median(np.abs(np.diff(steps[:, 2:-2], axis=0)))) * 1.4826 / np.sqrt(2)
    noise = wild / np.sqrt(count) + 1e-4
    free = plane.copy()
    for _ in range(6):
        k, c = np.unravel_index(int(free.argmax()), free.shape)
        value = float(free[k, c])
        if value < 4 * noise:
            break
        found.append((value, float(value / noise), int(c), float(slopes[k])))
        free[:, max(0, int(c) - 5) : int(c) + 6] = 0
    out = []
    for value, height, column, slope in found:
        shift = np.round(slope * at).astype(int)
        index = np.clip(column + shift, 0, width - 1)
        own = steps[np.arange(count), index]
        toward = sign * own if sign else own * np.sign(own.mean(0))
        share = float((toward.max(1) > 0.25 * max(value, 1e-4)).mean())
        line = Line(float(low + column), slope, middle, share, 0.0, 0.0, True)
        out.append(Ridge(line, value, height, share))
    return out


def around(patch: Patch, lines: list[Line], dark: bool, out: float, into: float) -> list[Line]:
    """Return the lines, those not seen moved to a faint straight edge near them where one shows.

    lines: a first estimate, found or not; dark: whether the border is darker than the picture;
    out, into: how far outside and inside of the estimate (patch px) the edge may lie.
    """
    done = list(lines)
    for _ in range(2):
        for side in range(4):
            line = lines[side]
            if line.found:
                continue
            columns = round(line.at - out), round(line.at + into)
            found = ridges(
                patch, side, rows_between(patch, done, side), columns,
                line.middle, _slope(done, side), 0.02, -1 if dark else 1,
            )  # fmt: skip
            plain = [r for r in found if r.share > 0.8 and r.height > 6]
            if plain:
                # Outer edges first: what the picture shows may hold a plainer line further in.
                best = min(
                    (r for r in plain if r.step > 0.4 * plain[0].step), key=lambda r: r.line.at
                )
                done[side] = best.line
    return done


def inwards(patch: Patch, lines: list[Line], skip: float, reach: float) -> list[Line]:
    """Return the lines, those not seen moved to the first straight edge met from outside.

    For a picture in an even mask or mount: nothing lies in that but dust, so that the first
    edge, however faint, is the picture's. lines: not seen ones at the piece's own edge.
    """
    done = list(lines)
    for _ in range(2):
        for side in range(4):
            line = lines[side]
            if line.found:
                continue
            rows = rows_between(patch, done, side)
            for first in np.arange(line.at + skip, line.at + reach, 24):
                found = ridges(
                    patch, side, rows, (round(first), round(first + 32)),
                    line.middle, _slope(done, side), 0.009, 0,
                )  # fmt: skip
                plain = [r for r in found if r.share > 0.75 and r.height > 8]
                if plain:
                    done[side] = plain[0].line
                    done[side].share = plain[0].share
                    break
    return done


# Turning an upright rectangle clockwise by a small angle changes the sides' slopes so.
TURNS = (-1, 1, 1, -1)


def _slope(lines: list[Line], side: int) -> float:
    """Return the slope of a side that was not seen: what the seen sides' turn makes of it."""
    seen = [TURNS[k] * v.slope for k, v in enumerate(lines) if v.found and v.share > 0.4]
    return TURNS[side] * float(np.median(seen)) if len(seen) > 1 else lines[side].slope


def rows_between(patch: Patch, lines: list[Line], side: int) -> tuple[int, int]:
    """Return the rows of a side (see `sides.facing`) that lie well between its neighbours."""
    upright = side in (sides.LEFT, sides.RIGHT)
    n = patch.v.shape[0] if upright else patch.v.shape[1]
    first, last = (lines[k].at for k in ((1, 3) if upright else (0, 2)))
    return round(max(first, 0) + 0.06 * n), round(n - max(last, 0) - 0.06 * n)


def settle(patch: Patch, lines: list[Line], dark: bool, reach: float) -> list[Line]:
    """Return the lines, those that are ragged or a piece's own edge moved to a plain edge inside.

    lines: of the picture; dark: whether its border is darker than the picture; reach: how far
    inside (patch px) the plain edge may lie. A mask is cut clean: nothing is ragged in a dark one.
    """
    out = list(lines)
    for side, line in enumerate(lines):
        if line.found and line.share > 0 and (dark or line.spread < RAGGED):
            continue
        rows = rows_between(patch, lines, side)
        found = ridges(
            patch, side, rows, (round(line.at - 3), round(line.at + reach)),
            line.middle, _slope(lines, side), 0.009, -1 if dark else 1,
        )  # fmt: skip
        if not found or found[0].share < 0.85 or found[0].line.at < line.at - 1:
            continue
        best = found[0]
        others = [r.step for r in found[1:] if abs(r.line.at - best.line.at) > 3]
        if best.step > 1.25 * max(others, default=0.0):
            out[side] = Line(best.line.at, best.line.slope, line.middle, best.share, 0.0, 0.5)
    return out
