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

Region = Callable[[int, int, int, int], npt.NDArray[np.generic]]
Doubles = npt.NDArray[np.float64]
# Cuts along a side are read together where they share rows, up to so many px.
MOST_AT_ONCE_PX = 1_500_000


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
        box = np.stack(
            [
                np.maximum(np.floor(x.min((1, 2))) - 2, 0),
                np.maximum(np.floor(y.min((1, 2))) - 2, 0),
                np.minimum(np.ceil(x.max((1, 2))) + 2, self.width),
                np.minimum(np.ceil(y.max((1, 2))) + 2, self.height),
            ],
            axis=1,
        ).astype(int)
        seen = (box[:, 2:] - box[:, :2]).min(1) >= 2
        fetch = self._fetching(box[seen])
        return [
            self._straightened(fetch, x[k], y[k], *box[k].tolist()) if seen[k] else None
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
        self, fetch: Region, x: Doubles, y: Doubles, left: int, top: int, right: int, bottom: int
    ) -> Floats:
        light = linear(np.asarray(fetch(left, top, right - left, bottom - top)), self.scaled)
        out = cv2.remap(
            light,
            (x - left - 0.5).astype(np.float32),
            (y - top - 0.5).astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        return np.asarray(out.reshape(*x.shape, -1))


def crossing_in(
    profile: Floats, expected: float, reach: float, sign: int = 0
) -> tuple[float, float] | None:
    """Return (position, step in tone) of the edge in one (n, c) profile, see `crossings_in`."""
    return crossings_in(profile[None], expected, reach, sign)[0]


def edge(
    sampler: Sampler,
    p: Doubles,
    q: Doubles,
    half: int,
    trim: float,
    sign: int = 0,
    count: int = 48,
    chunk: int | None = None,
    slope_limit: float | None = None,
) -> Edge | None:
    """Fit the edge near the segment p-q (clockwise around the frame, so inside is to its right).

    half: px searched on each side; trim: part of the length left out at both ends; sign: +1 where
    only steps to denser inside count, -1 to lighter, 0 both; slope_limit: how far the edge
    may lean against the segment (default: as far as the band allows).
    """
    length = float(np.hypot(*(q - p)))
    if length < 20:
        return None
    along = (q - p) / length
    inward = np.array([-along[1], along[0]])
    size = chunk or int(np.clip(length * (1 - 2 * trim) / count, 5, 40))
    places = np.linspace(trim * length + size / 2, (1 - trim) * length - size / 2, count)
    band = half + 11
    cuts = sampler.cuts(p + places[:, None] * along, along, inward, size, band)
    kept = [(place, cut) for place, cut in zip(places, cuts, strict=True) if cut is not None]
    if not kept:
        return None
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
    if len(at) < max(6, 0.12 * count):
        return None
    top = min(slope_limit or 1.0, half / max(length, 1))
    return _fit(
        np.array(at), np.array(off), np.array(step), p, along, inward, length, count, half, top
    )


def oval(sampler: Sampler, box: Box, half: int, count: int = 144) -> Oval | None:
    """Fit the ellipse near the one that fills a box; None where its edge does not show.

    half: px searched on each side of it.
    """
    u, v = box.axes()
    centre, band = np.array([box.x, box.y]), half + 11
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
    if len(points) < count // 3:
        return None
    return _fit_oval(np.array(points), box, count)


def _fit_oval(points: Doubles, near: Box, count: int) -> Oval | None:
    """Fit an ellipse, leaving out what lies off; its angle is the one next to `near`'s."""
    keep = np.ones(len(points), bool)
    off = np.zeros(len(points))
    for _ in range(4):
        if keep.sum() < count // 4:
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


def _likeliest(
    at: Doubles, off: Doubles, weight: Doubles, top: float, tolerance: float
) -> tuple[float, float]:
    """Return slope and place of the line with most weight within `tolerance` of it."""
    slopes = np.linspace(-top, top, 41)
    rest = off - slopes[:, None] * at
    order = np.argsort(rest, axis=1)
    ranked = np.take_along_axis(rest, order, 1)
    total = np.concatenate([np.zeros((len(slopes), 1)), np.cumsum(weight[order], axis=1)], axis=1)
    right = (ranked[:, None] <= ranked[:, :, None] + 2 * tolerance).sum(2)
    gain = np.take_along_axis(total, right, 1) - total[:, :-1]
    k = gain.argmax(1)
    each = np.arange(len(slopes))
    best = int((gain[each, k] * (1 - 0.1 * np.abs(slopes) / top)).argmax())
    return float(slopes[best]), float(ranked[best, k[best]] + tolerance)


def _fit(
    at: Doubles,
    off: Doubles,
    step: Doubles,
    p: Doubles,
    along: Doubles,
    inward: Doubles,
    length: float,
    count: int,
    half: int,
    top: float,
) -> Edge | None:
    weight = np.minimum(step, 0.5) + 0.02
    tolerance = max(1.0, min(half / 5, 4.0))
    slope, base = _likeliest(at, off, weight, top, tolerance)
    error, w = 0.0, weight
    keep = np.abs(off - base - slope * at) <= 2 * tolerance
    for _ in range(6):
        if keep.sum() < 5:
            return None
        rest = off - base - slope * at
        scale = max(1.4826 * float(np.median(np.abs(rest[keep]))), 0.03)
        w = np.where(keep, weight * (1 - np.minimum(np.abs(rest) / (4.5 * scale), 1) ** 2) ** 2, 0)
        if (w > 0).sum() < 5:
            return None
        a = np.c_[np.ones_like(at), at]
        normal = (a * w[:, None]).T @ a
        if np.linalg.det(normal) < 1e-9:
            return None
        base, slope = (float(x) for x in np.linalg.solve(normal, (a * w[:, None]).T @ off))
        rest = off - base - slope * at
        keep = np.abs(rest) <= max(4.5 * scale, 0.3)
        error = scale / max(np.sqrt(keep.sum()) * float(np.std(at[keep])), 1e-6)
    rest = off - base - slope * at
    close = np.abs(rest) <= max(3 * scale, 1.0)
    mean = float(np.average(at, weights=w))
    middle = p + along * (length / 2) + inward * base
    direction = along + inward * slope
    return Edge(
        middle - direction * (length / 2),
        middle + direction * (length / 2),
        float(close.sum() / count),
        scale,
        float(np.median(step[close])) if close.any() else 0.0,
        middle + direction * mean,
        float(error),
    )
