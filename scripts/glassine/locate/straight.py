"""Straight edges that show only when a whole side is looked at together.

A frame's edge is straight; grain, a ragged coating, dust and what the picture shows are not.
Summing the step of tone along every line near a side makes a step of a few thousandths of
density stand out from noise many times as strong.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate import sides
from glassine.locate.sides import Line
from glassine.locate.view import Floats, Patch

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# A stronger step (density) counts no more than this, so that a few strong ones do not outvote the
# rest.
CAP = 0.06
# Spread (px) of the places where a border ends from which on it is no camera's gate.
RAGGED = 0.6
# How far a picture's edge may lean against what is expected, as a slope: in the camera's gate, and
# where a faint one is looked for.
GATE_LEAN, FAINT_LEAN = 0.009, 0.02
# A band smaller than this (px) shows no line; longer ones are averaged in so many stretches.
LEAST_ROWS, LEAST_COLUMNS, STRETCHES = 24, 9, 120
# Slopes tried to either side; lines returned; columns (px) to either side of one that are its own;
# height (sigma) that makes a line; what leaning as far as may be costs it (share).
MOST_SLOPES, MOST_LINES, NEXT_PX, LEAST_HEIGHT, LEANING_COSTS = 30, 6, 5, 4, 0.02
# A stretch steps with its line where its step is at least this share of the line's mean.
STEP_SHARE = 0.25
# A faint edge is plain where it shows along this share of the side, this high (sigma); the
# outermost counts that has this share of the plainest one's step.
FAINT_SHARE, FAINT_HEIGHT, OUTER_STEP = 0.8, 6, 0.4
# The same for the first edge in an even mask, looked for in stripes (px) that overlap.
INSIDE_SHARE, INSIDE_HEIGHT, STRIPE_PX, STRIPE_STEP_PX = 0.75, 8, 32, 24
# A ragged side settles on an edge that shows along this share of it, and is so many times as plain
# as any other.
SETTLED_SHARE, PLAINER = 0.85, 1.25


@dataclass
class Ridge:
    """A line with the mean step along it, and how far that stands above other lines' (sigma)."""

    line: Line
    step: float
    height: float
    share: float


@dataclass(frozen=True)
class Band:
    """Where a straight edge is looked for, in the facing of its side (see `sides.facing`).

    rows, columns: first and last, px; middle: the row that a line's place is given at; slope: the
    one expected; lean: how far a line may lean against that.
    """

    side: int
    rows: tuple[int, int]
    columns: tuple[int, int]
    middle: float
    slope: float
    lean: float

    @property
    def height(self) -> int:
        """Return how many rows it has."""
        return self.rows[1] - self.rows[0]

    @property
    def slopes(self) -> npt.NDArray[np.float64]:
        """Return the slopes to try: a line moves by a pixel or less from one to the next."""
        number = int(np.clip(np.ceil(self.lean * self.height / 1.0), 1, MOST_SLOPES))
        return np.asarray(self.slope + np.linspace(-self.lean, self.lean, 2 * number + 1))


@dataclass(frozen=True)
class _Steps:
    """Steps of tone in a band. of: (n, w, c), across the boundary before each column, means of
    short stretches of rows; at: (n,) rows of their middles from the band's; first: column.
    """

    of: Floats
    at: npt.NDArray[np.float64]
    first: int

    @property
    def noise(self) -> float:
        """Return what the mean along a line would be by chance, from how neighbours differ."""
        wild = float(np.median(np.abs(np.diff(self.of[:, 2:-2], axis=0)))) * 1.4826 / np.sqrt(2)
        return float(wild / np.sqrt(len(self.at)) + 1e-4)

    def shift(self, slope: float) -> npt.NDArray[np.int_]:
        """Return by how many columns a line of this slope is off at each stretch."""
        return np.asarray(np.round(slope * self.at).astype(int))


def ridges(patch: Patch, band: Band, sign: int) -> list[Ridge]:
    """Return the lines along which the tone steps one way, most plainly first.

    sign: +1 where the picture is denser than its border, -1 where it is lighter, 0: either.
    """
    steps = _steps_in(patch, band)
    if steps is None:
        return []
    slopes = band.slopes
    leaning = 1 - LEANING_COSTS * np.abs(slopes - band.slope) / band.lean
    plane = np.array([_means(steps, slope, sign) for slope in slopes]) * leaning[:, None]
    noise = steps.noise
    found: list[tuple[float, int, float]] = []
    for _ in range(MOST_LINES):
        k, column = (int(n) for n in np.unravel_index(int(plane.argmax()), plane.shape))
        value = float(plane[k, column])
        if value < LEAST_HEIGHT * noise:
            break
        found.append((value, column, float(slopes[k])))
        plane[:, max(0, column - NEXT_PX) : column + NEXT_PX + 1] = 0
    out = []
    for value, column, slope in found:
        share = _share(steps, column, slope, sign, value)
        line = Line(float(steps.first + column), slope, band.middle, share, 0.0, 0.0, True)
        out.append(Ridge(line, value, float(value / noise), share))
    return out


def _steps_in(patch: Patch, band: Band) -> _Steps | None:
    """Return the steps of tone in a band; None where it is too small to show a line."""
    v = sides.facing(patch.v, band.side)
    low, high = max(band.columns[0] - 3, 0), min(band.columns[1] + 3, v.shape[1])
    if band.height < LEAST_ROWS or high - low < LEAST_COLUMNS:
        return None
    part = np.ascontiguousarray(v[band.rows[0] : band.rows[1], low:high])
    chunk = max(2, band.height // STRETCHES)
    count = part.shape[0] // chunk
    tall = (part.shape[1], count)
    small = cv2.resize(part[: count * chunk], tall, interpolation=cv2.INTER_AREA).reshape(
        count, part.shape[1], -1
    )
    # Step across the boundary before column x: two pixels on either side, a blurred edge's width.
    steps = np.zeros((count, small.shape[1] + 1, small.shape[2]), np.float32)
    steps[:, 2:-2] = (small[:, 2:-1] + small[:, 3:] - small[:, 1:-2] - small[:, :-3]) / 2
    steps = np.clip(steps, -CAP, CAP)
    # Where the cap makes a plateau of a plain edge, its middle counts most.
    steps[:, 1:-1] = (steps[:, :-2] + 2 * steps[:, 1:-1] + steps[:, 2:]) / 4
    at = band.rows[0] + (np.arange(count) + 0.5) * chunk - band.middle
    return _Steps(steps, at, low)


def _means(steps: _Steps, slope: float, sign: int) -> Floats:
    """Return, per column, the mean step along the line that begins there with this slope."""
    width = steps.of.shape[1]
    index = np.clip(np.arange(width)[None] + steps.shift(slope)[:, None], 0, width - 1)
    mean = np.take_along_axis(steps.of, index[..., None], axis=1).mean(0)
    if sign:
        return np.asarray((sign * mean).clip(0).sum(1) / np.sqrt(mean.shape[1]))
    return np.asarray(np.sqrt((mean**2).mean(1)))


def _share(steps: _Steps, column: int, slope: float, sign: int, value: float) -> float:
    """Return along which share of a line the tone steps its way. value: the mean step along it."""
    index = np.clip(column + steps.shift(slope), 0, steps.of.shape[1] - 1)
    own = steps.of[np.arange(len(steps.at)), index]
    toward = sign * own if sign else own * np.sign(own.mean(0))
    return float((toward.max(1) > STEP_SHARE * max(value, 1e-4)).mean())


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
            rows = rows_between(patch, done, side)
            band = Band(side, rows, columns, line.middle, _slope(done, side), FAINT_LEAN)
            found = ridges(patch, band, -1 if dark else 1)
            plain = [r for r in found if r.share > FAINT_SHARE and r.height > FAINT_HEIGHT]
            if plain:
                # Outer edges first: what the picture shows may hold a plainer line further in.
                best = min(
                    (r for r in plain if r.step > OUTER_STEP * plain[0].step),
                    key=lambda r: r.line.at,
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
            if not lines[side].found:
                done[side] = _first_inside(patch, done, side, lines[side], skip, reach)
    return done


def _first_inside(
    patch: Patch, lines: list[Line], side: int, from_line: Line, skip: float, reach: float
) -> Line:
    """Return the first straight edge inside of a line, or what `lines` has for its side."""
    rows, slope = rows_between(patch, lines, side), _slope(lines, side)
    for first in np.arange(from_line.at + skip, from_line.at + reach, STRIPE_STEP_PX):
        columns = round(first), round(first + STRIPE_PX)
        found = ridges(patch, Band(side, rows, columns, from_line.middle, slope, GATE_LEAN), 0)
        plain = [r for r in found if r.share > INSIDE_SHARE and r.height > INSIDE_HEIGHT]
        if plain:
            plain[0].line.share = plain[0].share
            return plain[0].line
    return lines[side]


# A side that shows along this share of it tells how the picture is turned. So much (share) of a
# side's length is left out at each end.
SEEN_SHARE, ROW_ENDS = 0.4, 0.06
# Turning an upright rectangle clockwise by a small angle changes the sides' slopes so.
TURNS = (-1, 1, 1, -1)


def _slope(lines: list[Line], side: int) -> float:
    """Return the slope of a side that was not seen: what the seen sides' turn makes of it."""
    seen = [TURNS[k] * v.slope for k, v in enumerate(lines) if v.found and v.share > SEEN_SHARE]
    return TURNS[side] * float(np.median(seen)) if len(seen) > 1 else lines[side].slope


def rows_between(patch: Patch, lines: list[Line], side: int) -> tuple[int, int]:
    """Return the rows of a side (see `sides.facing`) that lie well between its neighbours."""
    upright = side in (sides.LEFT, sides.RIGHT)
    n = patch.v.shape[0] if upright else patch.v.shape[1]
    first, last = (lines[k].at for k in ((1, 3) if upright else (0, 2)))
    return round(max(first, 0) + ROW_ENDS * n), round(n - max(last, 0) - ROW_ENDS * n)


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
        columns = round(line.at - 3), round(line.at + reach)
        band = Band(side, rows, columns, line.middle, _slope(lines, side), GATE_LEAN)
        found = ridges(patch, band, -1 if dark else 1)
        if not found or found[0].share < SETTLED_SHARE or found[0].line.at < line.at - 1:
            continue
        best = found[0]
        others = [r.step for r in found[1:] if abs(r.line.at - best.line.at) > 3]
        if best.step > PLAINER * max(others, default=0.0):
            out[side] = Line(best.line.at, best.line.slope, line.middle, best.share, 0.0, 0.5)
    return out
