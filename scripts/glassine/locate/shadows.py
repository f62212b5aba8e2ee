"""Soft shadows of what lies on paper or on a board: no edge of a picture, and no border of it.

A shadow dims all colours alike and alike all along a side, and grows deeper towards what casts it;
there it ends at once. A film's clear edge begins at once and stays as it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from glassine.locate import sides
from glassine.locate.sides import Line
from glassine.locate.straight import Band, ridges
from glassine.locate.view import Floats, Patch

# Where a shadow ends: channels differ, or the tone along the side does, or it steps, by more than
# this (density).
HUE, UNEVEN, STEP = 0.02, 0.015, 0.05
# A shadow is deeper than this, so many px wide at least, and deepens by that share in its nearer
# half.
DEPTH, NARROWEST, DEEPENS = 0.02, 3, 0.18
# On what may be a lamp, plates have dark edges of glass: those are narrower than this (px), or
# reach this share of their depth within three px.
GLASS, ONSET = 6, 0.8
# A ground lighter than this may be a lamp.
LAMP = 0.12
# How far past the outline (share of the short side) it may reach, and how near to where it seems to
# end that is looked for (px).
WIDEST, NEAR = 0.12, 4


@dataclass(frozen=True)
class _Profile:
    """By px inwards of a side's line, against the ground: grey, spread along the side, hue."""

    grey: Floats
    spread: Floats
    hue: Floats


def without_shadow(patch: Patch, side: int, line: Line, ground: Floats) -> Line:
    """Return the line of a side against the ground (c,), moved to where a shadow along it ends."""
    seen = _profile(patch, side, line, ground)
    end = _end(seen, float(ground.mean()) < LAMP)
    if end is None:
        return line
    v = sides.facing(patch.v, side)
    trim = round(0.12 * v.shape[0])
    rows = trim, v.shape[0] - trim
    columns = round(line.at + end - NEAR), round(line.at + end + NEAR)
    found = ridges(patch, Band(side, rows, columns, line.middle, line.slope, 0.012), 0)
    plain = [each for each in found if each.share > 0.5]
    if plain:
        return replace(plain[0].line, share=line.share, spread=line.spread)
    return replace(line, at=line.at + end)


def _profile(patch: Patch, side: int, line: Line, ground: Floats) -> _Profile:
    v = sides.facing(patch.v, side)
    rows = np.arange(v.shape[0] // 8, v.shape[0] - v.shape[0] // 8)
    reach = max(2 * NEAR, round(WIDEST * min(v.shape[:2])))
    at = np.round(line.columns(rows + 0.5)).astype(np.int64)
    columns = np.clip(at[:, None] + np.arange(-2, reach)[None], 0, v.shape[1] - 1)
    off = v[rows[:, None], columns] - ground
    grey = off.mean(2)
    low, high = np.percentile(grey, (20, 80), axis=0)
    hue = np.ptp(np.median(off, axis=0), axis=1)
    return _Profile(
        *(np.asarray(a, np.float32) for a in (np.median(grey, axis=0), high - low, hue))
    )


def _end(seen: _Profile, lamp: bool) -> int | None:
    """Return how many px inwards of the line a shadow ends; None where there is none. lamp: whether
    the ground may be one.
    """
    step = np.diff(seen.grey, prepend=seen.grey[:1])
    quiet = float(np.median(seen.spread[:3]))
    ends: npt.NDArray[np.bool_] = (
        (seen.hue > HUE + seen.hue[0])
        | (seen.spread > 2 * quiet + UNEVEN)
        | (step > STEP)
        | (step < -0.5 * DEPTH)
    )
    ends[:2] = False
    if not ends.any():
        return None
    first = int(ends.argmax())
    # The blur of what ends it is no part of it.
    last = first - 3
    if last < (GLASS if lamp else NARROWEST):
        return None
    depth = float(seen.grey[last])
    deepened = depth - float(seen.grey[last // 2])
    if depth < DEPTH or deepened < DEEPENS * depth:
        return None
    first_px, outside = float(seen.grey[5]), float(seen.grey[0])
    if lamp and first_px - outside > ONSET * (depth - outside):
        return None
    return first - 2
