"""Edges to a fraction of a pixel, at full resolution, on a narrow band around a first estimate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.encoding import linear
from glassine.locate.profiles import crossings_in, trimmed
from glassine.locate.view import Floats

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Places along an edge where it is measured, and the share of them where it must show at the least.
PLACES, LEAST_SHARE = 48, 0.12
# Cuts along a side are read together where they share rows, up to so many px.
MOST_AT_ONCE_PX = 1_500_000
# A side shorter than this (px) gives no edge.
SHORTEST_PX = 20
# Pixels of a profile beyond what is searched: both levels of a blurred step lie in them.
BEYOND_PX = 11
# A step of more than this (density) is as plain as can be.
PLAIN_STEP = 0.5
# The biweight's end in robust standard deviations: 4.685 has 95 % efficiency for normal errors
# (Tukey; value from memory), a little less leaves out more.
OFF_LINE = 4.5
# No edge is known to lie more evenly than this, px.
FINEST_PX = 0.03
# How far (px) off a line its steps may be when it is voted for: what is searched by so much, from
# and to. No fewer steps than this make a line.
VOTE_PART, VOTE_PX, LEAST_STEPS = 5, (1.0, 4.0), 5
# Of the places round an oval one in so many must show its edge, and one in so many lie on the
# ellipse.
OVAL_SEEN, OVAL_ON = 3, 4
# What leaning as far as may be costs a line (share of its votes).
LEANING_COSTS = 0.1

Region = Callable[[int, int, int, int], npt.NDArray[np.generic]]
Doubles = npt.NDArray[np.float64]


@dataclass
class Edge:
    """A straight edge in master px: points on it, and how well it was seen.

    share: part of the places along it where a step stands on the line; residual: robust
    spread of the places about it, px; contrast: median step in tone (density); pivot: the point
    on the line where it is known best; slope_error: of its direction, radians, by the spread.
    """

    p: Doubles
    q: Doubles
    share: float
    residual: float
    contrast: float
    pivot: Doubles
    slope_error: float


@dataclass
class Box:
    """A turned rectangle, master px: centre, size, clockwise turn of its width from the x axis."""

    x: float
    y: float
    width: float
    height: float
    angle_deg: float

    def axes(self) -> tuple[Doubles, Doubles]:
        """Return the unit vectors along the width and down the height."""
        a = np.deg2rad(self.angle_deg)
        return np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])

    def corners(self) -> Doubles:
        """Return (4, 2) corners, clockwise from the top left."""
        u, v = self.axes()
        u, v = u * self.width / 2, v * self.height / 2
        centre = np.array([self.x, self.y])
        return np.array([centre - u - v, centre + u - v, centre + u + v, centre - u + v])


@dataclass
class Oval:
    """An ellipse by the box around it. share: part of the places where a step stands on it."""

    box: Box
    share: float
    residual: float
    angle_error_deg: float


@dataclass
class _Kept:
    """Pixels of the master from (left, top) on."""

    left: int
    top: int
    pixels: npt.NDArray[np.generic]

    def holds(self, left: int, top: int, right: int, bottom: int) -> bool:
        height, width = self.pixels.shape[:2]
        across = self.left <= left and right <= self.left + width
        return across and self.top <= top and bottom <= self.top + height

    def region(self, left: int, top: int, width: int, height: int) -> npt.NDArray[np.generic]:
        x, y = left - self.left, top - self.top
        return self.pixels[y : y + height, x : x + width]


class Sampler:
    """Small straightened cuts of a master in linear light, fetched where they are needed."""

    def __init__(
        self, region: Region, width: int, height: int, table: Floats, white: float
    ) -> None:
        self.region, self.width, self.height = region, width, height
        self.scaled = table / np.float32(white)
        # The last area that was read: an edge is looked for a second time near where it was seen.
        self._kept = _Kept(0, 0, np.empty((0, 0), np.uint16))

    def cut(
        self, origin: Doubles, along: Doubles, across: Doubles, length: int, half: int
    ) -> Floats | None:
        """Return the cut at one origin, see `cuts`."""
        return self.cuts(origin[None], along, across, length, half)[0]

    def cuts(
        self, origins: Doubles, along: Doubles, across: Doubles, length: int, half: int
    ) -> list[Floats | None]:
        """Return (length, 2 half, c) for each origin: rows step `along`, columns `across`, 1 px.

        Column k is at (k + 0.5 - half) from the origin's line; outside the master the last
        pixel repeats; None where the cut lies outside altogether.
        """
        r = (np.arange(length) + 0.5 - length / 2)[None, :, None]
        c = (np.arange(2 * half) + 0.5 - half)[None, None]
        x = origins[:, 0, None, None] + r * along[0] + c * across[0]
        y = origins[:, 1, None, None] + r * along[1] + c * across[1]
        # A cut reaches furthest at its corners.
        ends_x, ends_y = (each[:, (0, 0, -1, -1), (0, -1, 0, -1)] for each in (x, y))
        box = np.stack(
            [
                np.maximum(np.floor(ends_x.min(1)) - 2, 0),
                np.maximum(np.floor(ends_y.min(1)) - 2, 0),
                np.minimum(np.ceil(ends_x.max(1)) + 2, self.width),
                np.minimum(np.ceil(ends_y.max(1)) + 2, self.height),
            ],
            axis=1,
        ).astype(int)
        seen = (box[:, 2:] - box[:, :2]).min(1) >= 2
        fetch = self._fetching(box[seen])
        from_left = (x - box[:, 0, None, None] - 0.5).astype(np.float32)
        from_top = (y - box[:, 1, None, None] - 0.5).astype(np.float32)
        return [
            self._straightened(fetch, from_left[k], from_top[k], *box[k].tolist())
            if seen[k]
            else None
            for k in range(len(box))
        ]

    def _fetching(self, boxes: npt.NDArray[np.int64]) -> Region:
        """Return what fetches boxes (left, top, right, bottom): in one go where they share rows."""
        if len(boxes) < 2:
            return self.region
        left, top = boxes[:, :2].min(0).tolist()
        right, bottom = boxes[:, 2:].max(0).tolist()
        if not self._kept.holds(left, top, right, bottom):
            rows = int((boxes[:, 3] - boxes[:, 1]).sum())
            if bottom - top > rows or (right - left) * (bottom - top) > MOST_AT_ONCE_PX:
                return self.region
            pixels = np.asarray(self.region(left, top, right - left, bottom - top))
            self._kept = _Kept(left, top, pixels)
        return self._kept.region

    def _straightened(
        self, fetch: Region, x: Floats, y: Floats, left: int, top: int, right: int, bottom: int
    ) -> Floats:
        """Return linear light at places of a box: x, y: from its own corner, as `remap` counts."""
        light = linear(np.asarray(fetch(left, top, right - left, bottom - top)), self.scaled)
        out = cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(out.reshape(*x.shape, -1))


def crossing_in(
    profile: Floats, expected: float, reach: float, sign: int = 0
) -> tuple[float, float] | None:
    """Return (position, step in tone) of the edge in one (n, c) profile, see `crossings_in`."""
    return crossings_in(profile[None], expected, reach, sign)[0]


@dataclass(frozen=True)
class _Segment:
    """From one point to another, clockwise around the frame, so that inside is to its right."""

    start: Doubles
    along: Doubles
    inward: Doubles
    length: float

    @classmethod
    def between(cls, p: Doubles, q: Doubles) -> _Segment:
        length = float(np.hypot(*(q - p)))
        along = (q - p) / max(length, 1e-9)
        return cls(p, along, np.array([-along[1], along[0]]), length)


@dataclass(frozen=True)
class _Steps:
    """Where steps of tone stand along a segment, (n,) each. at: place from its middle; off: how far
    inward, px; step: in tone (density).
    """

    at: Doubles
    off: Doubles
    step: Doubles

    @property
    def weight(self) -> Doubles:
        """Return how much each counts: more the plainer it is, up to a point."""
        return np.asarray(np.minimum(self.step, PLAIN_STEP) + 0.02)


def edge(
    sampler: Sampler,
    p: Doubles,
    q: Doubles,
    half: int,
    trim: float,
    sign: int = 0,
    slope_limit: float | None = None,
) -> Edge | None:
    """Fit the edge near the segment p-q (clockwise around the frame, so inside is to its right).

    half: px searched on each side; trim: part of the length left out at both ends; sign: +1 where
    only steps to denser inside count, -1 to lighter, 0 both; slope_limit: how far the edge
    may lean against the segment (default: as far as the band allows).
    """
    segment = _Segment.between(p, q)
    if segment.length < SHORTEST_PX:
        return None
    steps = _steps_along(sampler, segment, half, trim, sign)
    if len(steps.at) < max(6, LEAST_SHARE * PLACES):
        return None
    top = min(slope_limit or 1.0, half / max(segment.length, 1))
    return _fit(segment, steps, half, top)


def _steps_along(sampler: Sampler, segment: _Segment, half: int, trim: float, sign: int) -> _Steps:
    """Return the steps of tone in short cuts across a segment (arguments: see `edge`)."""
    length, along, inward = segment.length, segment.along, segment.inward
    size = int(np.clip(length * (1 - 2 * trim) / PLACES, 5, 40))
    places = np.linspace(trim * length + size / 2, (1 - trim) * length - size / 2, PLACES)
    band = half + BEYOND_PX
    cuts = sampler.cuts(segment.start + places[:, None] * along, along, inward, size, band)
    kept = [(place, cut) for place, cut in zip(places, cuts, strict=True) if cut is not None]
    if not kept:
        return _Steps(*np.empty((3, 0)))
    stack = np.stack([cut for _, cut in kept])
    profiles = np.median(stack, axis=1) if size < 9 else trimmed(stack)
    at, off, step = [], [], []
    crossings = crossings_in(profiles, band, half / 2, sign)
    for (place, _), found in zip(kept, crossings, strict=True):
        if found is None or abs(found[0] - band) > half + 2:
            continue
        at.append(place - length / 2)
        off.append(found[0] - band)
        step.append(found[1])
    return _Steps(np.array(at), np.array(off), np.array(step))


def oval(sampler: Sampler, box: Box, half: int, count: int = 144) -> Oval | None:
    """Fit the ellipse near the one that fills a box; None where its edge does not show.

    half: px searched on each side of it.
    """
    u, v = box.axes()
    centre, band = np.array([box.x, box.y]), half + BEYOND_PX
    points = []
    for turn in np.arange(count) * 2 * np.pi / count:
        cosine, sine = np.cos(turn), np.sin(turn)
        at = centre + u * cosine * box.width / 2 + v * sine * box.height / 2
        along = -u * sine * box.width / 2 + v * cosine * box.height / 2
        along = along / max(float(np.hypot(*along)), 1e-9)
        inward = np.array([-along[1], along[0]])
        cut = sampler.cut(at, along, inward, 9, band)
        found = None if cut is None else crossings_in(trimmed(cut[None]), band, half / 2)[0]
        if found is not None and abs(found[0] - band) <= half + 2:
            points.append(at + inward * (found[0] - band))
    if len(points) < count // OVAL_SEEN:
        return None
    return _fit_oval(np.array(points), box, count)


def _fit_oval(points: Doubles, near: Box, count: int) -> Oval | None:
    """Fit an ellipse, leaving out what lies off; its angle is the one next to `near`'s."""
    keep = np.ones(len(points), bool)
    off = np.zeros(len(points))
    for _ in range(4):
        if keep.sum() < count // OVAL_ON:
            return None
        middle = points[keep].mean(0)
        (x, y), (a, b), angle = cv2.fitEllipseDirect((points[keep] - middle).astype(np.float32))
        if min(a, b) < 20:
            return None
        made = Box(x + middle[0], y + middle[1], a, b, angle)
        u, v = made.axes()
        p = points - (made.x, made.y)
        off = (np.hypot(p @ u / (a / 2), p @ v / (b / 2)) - 1) * (a + b) / 4
        keep = np.abs(off) <= max(3 * 1.4826 * float(np.median(np.abs(off))), 0.5)
    turns = round((near.angle_deg - made.angle_deg) / 90)
    made.angle_deg += 90 * turns
    if turns % 2:
        made.width, made.height = made.height, made.width
    residual = 1.4826 * float(np.median(np.abs(off[keep])))
    # The radius goes as (width - height) / 4 x cos 2t: that tells how the ellipse is turned.
    lever = abs(made.width - made.height) / 2
    error = np.degrees(residual * np.sqrt(2 / keep.sum()) / max(lever, 1e-6))
    return Oval(made, float(keep.sum() / count), residual, float(error))


def _fit(segment: _Segment, steps: _Steps, half: int, top: float) -> Edge | None:
    """Fit a straight edge through steps, leaving out what lies off it.

    half: px searched on each side; top: how far it may lean against the segment, as a slope.
    """
    tolerance = float(np.clip(half / VOTE_PART, *VOTE_PX))
    slope, base = _likeliest(steps, tolerance, top)
    at, off, weight = steps.at, steps.off, steps.weight
    error, w = 0.0, weight
    keep = np.abs(off - base - slope * at) <= 2 * tolerance
    for _ in range(6):
        if keep.sum() < LEAST_STEPS:
            return None
        rest = off - base - slope * at
        scale = max(1.4826 * _median(np.abs(rest[keep])), FINEST_PX)
        w = np.where(keep, weight * _by_distance(rest, scale), 0)
        if (w > 0).sum() < LEAST_STEPS:
            return None
        line = _least_squares(at, off, w)
        if line is None:
            return None
        base, slope = line
        rest = off - base - slope * at
        keep = np.abs(rest) <= max(OFF_LINE * scale, 0.3)
        error = scale / max(np.sqrt(keep.sum()) * float(np.std(at[keep])), 1e-6)
    close = np.abs(off - base - slope * at) <= max(3 * scale, 1.0)
    mean = float(np.average(at, weights=w))
    middle = segment.start + segment.along * (segment.length / 2) + segment.inward * base
    direction = segment.along + segment.inward * slope
    return Edge(
        middle - direction * (segment.length / 2),
        middle + direction * (segment.length / 2),
        float(close.sum() / PLACES),
        scale,
        _median(steps.step[close]) if close.any() else 0.0,
        middle + direction * mean,
        float(error),
    )


def _likeliest(steps: _Steps, tolerance: float, top: float) -> tuple[float, float]:
    """Return slope and place of the line with most weight within `tolerance` (px) of it."""
    slopes = np.linspace(-top, top, 41)
    rest = steps.off - slopes[:, None] * steps.at
    order = np.argsort(rest, axis=1)
    ranked = np.take_along_axis(rest, order, 1)
    gathered = np.cumsum(steps.weight[order], axis=1)
    total = np.concatenate([np.zeros((len(slopes), 1)), gathered], axis=1)
    right = (ranked[:, None] <= ranked[:, :, None] + 2 * tolerance).sum(2)
    gain = np.take_along_axis(total, right, 1) - total[:, :-1]
    k = gain.argmax(1)
    each = np.arange(len(slopes))
    best = int((gain[each, k] * (1 - LEANING_COSTS * np.abs(slopes) / top)).argmax())
    return float(slopes[best]), float(ranked[best, k[best]] + tolerance)


def _by_distance(rest: Doubles, scale: float) -> Doubles:
    """Return Tukey's biweight of distances, nothing from OFF_LINE times their spread on."""
    return np.asarray((1 - np.minimum(np.abs(rest) / (OFF_LINE * scale), 1) ** 2) ** 2)


def _least_squares(at: Doubles, off: Doubles, weight: Doubles) -> tuple[float, float] | None:
    """Return base and slope of the weighted line; None where the places do not give one."""
    a = np.c_[np.ones_like(at), at]
    weighted = (a * weight[:, None]).T
    normal = weighted @ a
    if normal[0, 0] * normal[1, 1] - normal[0, 1] * normal[1, 0] < 1e-9:
        return None
    base, slope = np.linalg.solve(normal, weighted @ off).tolist()
    return base, slope


def _median(values: Doubles) -> float:
    """Return what `np.median` gives of a few values, none of them NaN, in far less time."""
    ordered, half = np.sort(values), len(values) // 2
    return float(ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2)
