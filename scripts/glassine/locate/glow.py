"""Light in the border of exposures, or a shadow beside a picture, that was taken for its side.

Light that scatters in a plate, or falls in at the edge of its holder, exposes the border along a
picture, and ends in a line as straight as the picture's own, some pixels outside of it. The picture
begins at the inner one of two such lines: nothing in a picture runs along all of its side so near
to it, and what is exposed by stray light alone is no picture.

So it is with the shadow of a print on a board, whose outer end is fainter than the print's own.
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
# The side of a picture of its own is faint that steps by less than this (density). The line inside
# shows along this share, steps so many times as much, with this spread (share of the diagonal). Of
# 98 sides of prints on tables and boards five were off by 0.8 to 3.5 % and had one, and no other.
FAINT, FAINT_SHARE, PLAINER, FAINT_SPREAD = 0.25, 0.85, 2.0, 0.0005
# How far inside (share of the diagonal) it is looked for.
FAINT_REACH = 0.034


def without_glow(sampler: Sampler, found: Sequence[Candidate]) -> None:
    """Move sides of exposures on one piece, and faint sides of pictures of their own, to the plain
    line just inside of them, where one is.

    Across their row exposures are as wide as one another, which tells whether that was right.
    Elsewhere nothing does: such a side is moved and for review.
    """
    pieces: dict[int, list[Candidate]] = {}
    for one in found:
        if one.blank or one.oval or one.strip:
            continue
        if one.whole is not None:
            pieces.setdefault(id(one.whole), []).append(one)
        else:
            _of_its_own(sampler, one)
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


def _of_its_own(sampler: Sampler, one: Candidate) -> None:
    """Move faint sides of a picture of its own, see `without_glow`."""
    lines = {}
    for side, own in enumerate(one.edges):
        if own is None or own.contrast >= FAINT:
            continue
        got = _line_inside(sampler, one, side, FAINT_REACH, 0)
        if got is None or got.share < FAINT_SHARE or got.contrast < PLAINER * own.contrast:
            continue
        if got.residual <= max(FAINT_SPREAD * _diagonal(one), 0.5):
            lines[side] = got
    if lines:
        _move(one, lines, _with(one, lines))
    for side in lines:
        one.against(
            "line inside a side",
            f"{sides.NAMES[side]} edge: a plainer line runs along inside the one found first, a "
            "shadow may have been taken for the picture; the inner one was taken",
        )


def _diagonal(one: Candidate) -> float:
    return float(np.hypot(*(one.corners[2] - one.corners[0])))


def _line_inside(
    sampler: Sampler, one: Candidate, side: int, reach: float, sign: int
) -> Edge | None:
    """Return the line just inside a side. reach: share of the diagonal; sign: see `edge`."""
    c = one.corners
    # `edge` finds what lies two pixels farther away than it is told to search.
    half = max(2, round((reach * _diagonal(one) - FROM_PX) / 2) - 2)
    i, j = ENDS[side]
    along = (c[j] - c[i]) / max(float(np.hypot(*(c[j] - c[i]))), 1e-9)
    inward = np.array([-along[1], along[0]]) * (half + 2 + FROM_PX)
    return edge(sampler, c[i] + inward, c[j] + inward, half, TRIM, sign)


def _inner_lines(sampler: Sampler, one: Candidate) -> dict[int, Edge]:
    """Return per side the plain line just inside of it, where there is one."""
    out = {}
    for side, own in enumerate(one.edges):
        if own is None:
            continue
        got = _line_inside(sampler, one, side, REACH, -1 if one.level_dark else 1)
        if got is None or got.share < SHARE or got.residual > SPREAD * _diagonal(one):
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
