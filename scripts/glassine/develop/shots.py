"""Several raw captures of one thing in an item: exposures of a bracket, or of pixel shift.

They are parts of one capture and no masters of their own, but their names tell as little as their
headers: frames of a roll are captured as quickly. So it is their pictures that are compared, in
parts, since all captures of a session share holder and fall-off of the light.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import wording
from glassine.base.errors import Finding
from glassine.base.records.parts import Header
from glassine.develop.session import exposure_of
from glassine.masters.raws import Raw

Floats = npt.NDArray[np.float32]

# The small picture that is compared: px on its longer side, and px of a part of it.
_LONG, _PART = 192, 12
# A part says something where densities deviate by so much in it, and agrees from this correlation.
_DETAIL, _AGREES = 0.01, 0.9
# Pictures are of one thing where so many of all parts say something, and so many of those agree.
_TELLING, _SAME = 0.5, 0.9
# Of exposures of a bracket fewer need to: most of the lightest may be clipped.
_TELLING_BRACKET = 0.1
# What changes over more px than this is left out, and what is outside of the middle of the picture:
# fall-off, and edges of a holder, which all captures of a session share.
_SLOW, _MIDDLE = 6, 0.6
# Light outside of this share of the range is noise, or clipped.
_DARK, _CLIPPED = 0.002, 0.95
# Nor is what comes so near to the lightest: a sensor may be full below its stated white level.
_FULL = 0.97
# Exposures that differ by more are a bracket's.
_BRACKET = 1.1


@dataclass(frozen=True)
class Look:
    """A capture in small. density: (h, w) log10 of light without its slow changes, NaN where it is
    too dark or clipped."""

    path: str
    part: str | None
    header: Header
    density: Floats


def look_at(raw: Raw, path: str, part: str | None) -> Look:
    """Return a raw capture in small. path, part: of the master."""
    if raw.pattern is None:
        plane, black = raw.sensor[..., 1], float(raw.black[0, 1])
    else:
        down, across = (int(places[0]) for places in np.nonzero(raw.pattern == 1))
        plane, black = raw.sensor[down::2, across::2], float(raw.black[down, across])
    scale = _LONG / max(plane.shape)
    size = (max(_PART, round(plane.shape[1] * scale)), max(_PART, round(plane.shape[0] * scale)))
    small = cv2.resize(np.ascontiguousarray(plane), size, interpolation=cv2.INTER_AREA)
    light = (small.astype(np.float32) - np.float32(black)) / np.float32(raw.white - black)
    density = np.log10(np.clip(light, _DARK, None))
    density -= cv2.GaussianBlur(density, (0, 0), _SLOW)
    full = min(_CLIPPED, _FULL * float(light.max()))
    density[(light <= _DARK) | (light >= full)] = np.nan
    top, left = (round(side * (1 - _MIDDLE) / 2) for side in density.shape)
    density = density[top : density.shape[0] - top, left : density.shape[1] - left]
    return Look(path, part, raw.header, density.astype(np.float32))


def sets(looks: list[Look]) -> list[list[Look]]:
    """Return the captures that show one thing, of those with several."""
    places = {each.path: place for place, each in enumerate(looks)}
    groups: list[list[Look]] = []
    for each in looks:
        # The darkest and the lightest of a bracket may share nothing: one between them joins them.
        joined, apart = [each], []
        for group in groups:
            if any(show_the_same(other, each) for other in group):
                joined += group
            else:
                apart.append(group)
        groups = [*apart, joined]
    several = [group for group in groups if len(group) > 1]
    return [sorted(group, key=lambda look: places[look.path]) for group in several]


def show_the_same(one: Look, other: Look) -> bool:
    """Return whether two captures are of one thing that did not move."""
    if one.part != other.part or one.density.shape != other.density.shape:
        return False
    rows, columns = (side // _PART for side in one.density.shape)
    telling = agreeing = 0
    for row in range(rows):
        for column in range(columns):
            place = np.s_[row * _PART : (row + 1) * _PART, column * _PART : (column + 1) * _PART]
            correlation = _correlation(one.density[place], other.density[place])
            if correlation is not None:
                telling += 1
                agreeing += correlation > _AGREES
    least = _TELLING_BRACKET if _are_bracketed([one, other]) else _TELLING
    return telling >= max(1, least * rows * columns) and agreeing >= _SAME * telling


def _are_bracketed(group: list[Look]) -> bool:
    """Return whether all exposures are known and some of them differ."""
    known = [exposure_of(each.header.capture) or 0.0 for each in group]
    return min(known) > 0 and max(known) > _BRACKET * min(known)


def _correlation(one: Floats, other: Floats) -> float | None:
    """Return how far two parts agree, None where they say nothing."""
    seen = np.isfinite(one) & np.isfinite(other)
    if np.count_nonzero(seen) < one.size // 2:
        return None
    first, second = one[seen].astype(np.float64), other[seen].astype(np.float64)
    if max(first.std(), second.std()) < _DETAIL or min(first.std(), second.std()) == 0:
        return None
    return float(np.corrcoef(first, second)[0, 1])


def finding(group: list[Look]) -> Finding:
    """Return what is said of captures of one thing."""
    paths = wording.listed([each.path for each in group])
    if _are_bracketed(group):
        times = ", ".join(f"{each.header.capture.exposure_s:.4g} s" for each in group)
        kind = f"They are an exposure bracket ({times})"
        advice = "Leave the one exposure that holds all of the film in the batch, or merge them"
    else:
        kind = "They are exposed alike, as those of pixel shift are, or one thing captured twice"
        advice = "Merge them with the camera's own software, or leave one of them in the batch"
    return Finding(
        "develop.multi_shot",
        group[0].path,
        f"{len(group)} raw captures of this item show one thing that did not move: {paths}. "
        f"{kind}; several exposures of one capture are not merged here.",
        "one raw file for each capture.",
        f"{advice} and bring the result.",
    )
