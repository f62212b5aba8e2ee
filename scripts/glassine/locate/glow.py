"""Light in the border of exposures on one piece that was taken for a picture's side.

Light that scatters in a plate, or falls in at the edge of its holder, exposes the border along a
picture, and ends in a line as straight as the picture's own, some pixels outside of it. The picture
begins at the inner one of two such lines: nothing in a picture runs along all of its side so near
to it, and what is exposed by stray light alone is no picture.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from glassine.locate import sides
from glassine.locate.candidate import Candidate
from glassine.locate.formats import sizes_of, width_of
from glassine.locate.refine import Edge, Sampler, edge
from glassine.locate.shapes import ENDS, Doubles, met

# Set on six real plates of three exposures, as positives and as negatives (tests/makers/
# real_plates): of their 144 sides nine were off by 2.7 to 9.9 px of 480, and eight of these have
# such a line where the picture ends. Of those that were right none has one; the nearest to it shows
# along 0.83 of its side with a step of 0.64 and a spread of 0.0024.
# How far inside a side (px at the least; share of the frame's diagonal at the most) the line lies,
# and shares of the side's length left out at its ends.
FROM_PX, REACH, TRIM = 2.0, 0.025, 0.06
# Share of the side along which it shows, its spread (share of the diagonal), its step (density).
SHARE, SPREAD, STEP = 0.7, 0.0023, 0.5
# One camera's exposures are as wide across their row within this share (0.6 % at the most there).
AS_WIDE = 0.006


def without_glow(sampler: Sampler, found: Sequence[Candidate]) -> None:
    """Move sides of exposures on one piece to the plain line just inside of them, where one is.

    Across their row exposures are as wide as one another, which tells whether that was right.
    Along it nothing does: such a side is moved and for review.
    """
    pieces: dict[int, list[Candidate]] = {}
    for one in found:
        if one.whole is not None and not one.blank and not one.oval:
            pieces.setdefault(id(one.whole), []).append(one)
    for own in pieces.values():
        if len(own) > 1:
            _of_one_piece(sampler, own)


def _of_one_piece(sampler: Sampler, own: list[Candidate]) -> None:
    lines = [_inner_lines(sampler, one) for one in own]
    sizes, run = sizes_of(own)
    for k, (one, inner) in enumerate(zip(own, lines, strict=True)):
        others = [float(wide) for wide in np.delete(sizes[:, 1], k)]
        across = {side: got for side, got in inner.items() if _runs_along(one, side, run)}
        if across:
            moved = _with(one, across)
            before, after = (_off(width_of(each, run), others) for each in (one.corners, moved))
            if after < min(before, AS_WIDE):
                _move(one, across, moved)
        along = {side: got for side, got in inner.items() if side not in across}
        if along:
            _move(one, along, _with(one, along))
            for side in along:
                one.against(
                    "line inside a side",
                    f"{sides.NAMES[side]} edge: two lines run along it side by side, light in the "
                    "border may have been taken for the picture; the inner one was taken",
                )


def _inner_lines(sampler: Sampler, one: Candidate) -> dict[int, Edge]:
    """Return per side the plain line just inside of it, where there is one."""
    c = one.corners
    diagonal = float(np.hypot(*(c[2] - c[0])))
    # `edge` finds what lies two pixels farther away than it is told to search.
    half = max(2, round((REACH * diagonal - FROM_PX) / 2) - 2)
    out = {}
    for side, own in enumerate(one.edges):
        if own is None:
            continue
        i, j = ENDS[side]
        along = (c[j] - c[i]) / max(float(np.hypot(*(c[j] - c[i]))), 1e-9)
        inward = np.array([-along[1], along[0]]) * (half + 2 + FROM_PX)
        sign = -1 if one.level_dark else 1
        got = edge(sampler, c[i] + inward, c[j] + inward, half, TRIM, sign)
        if got is None or got.share < SHARE or got.residual > SPREAD * diagonal:
            continue
        if got.contrast > STEP:
            out[side] = got
    return out


def _with(one: Candidate, lines: dict[int, Edge]) -> Doubles:
    """Return the corners with some sides on other lines."""
    c = one.corners
    ends = [
        (lines[side].p, lines[side].q) if side in lines else (c[i], c[j])
        for side, (i, j) in enumerate(ENDS)
    ]
    return met(ends)


def _move(one: Candidate, lines: dict[int, Edge], corners: Doubles) -> None:
    one.corners = corners
    for side, got in lines.items():
        one.edges[side] = got


def _runs_along(one: Candidate, side: int, run: Doubles) -> bool:
    """Whether a side runs along the row of exposures, so that it bounds their width."""
    i, j = ENDS[side]
    way = one.corners[j] - one.corners[i]
    return bool(abs(way @ run) > abs(way @ np.array([-run[1], run[0]])))


def _off(wide: float, others: list[float]) -> float:
    """Return by how much (share) a width differs from the nearest of the others: several may be off
    in the same way.
    """
    return min(abs(wide / other - 1) for other in others)
