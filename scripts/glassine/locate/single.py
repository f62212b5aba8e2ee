"""One picture on one piece: peel even borders off until the picture itself is reached."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from glassine.locate import sides
from glassine.locate.sides import Line
from glassine.locate.view import Floats, Patch

# Tone differences (density) that count as leaving an even border.
LEAVE_LIGHT = 0.02
LEAVE_DARK = 0.20
# A border darker than this is a mask, a mount or a rebate black as one.
OPAQUE = 1.2


@dataclass
class Level:
    """A rectangle and what lies just outside it.

    outside: tone per channel of the border around it; dark: whether that border is darker
    than what it encloses; even: share of the border, per side, that looks like `outside`.
    """

    lines: list[Line]
    outside: Floats
    dark: bool
    even: list[float] = field(default_factory=lambda: [1.0] * 4)
    oval: bool = False

    def strength(self) -> float:
        return float(np.mean([line.share - line.early for line in self.lines]))


@dataclass
class Found:
    levels: list[Level]
    border: bool  # whether the picture has an even border of its own piece around it

    @property
    def picture(self) -> Level:
        return self.levels[-1]


def _row_range(lines: list[Line] | None, side: int, length: int, inset: float) -> tuple[int, int]:
    if lines is None:
        return round(inset), round(length - inset)
    if side in (sides.LEFT, sides.RIGHT):
        low, high = lines[sides.TOP].at, length - lines[sides.BOTTOM].at
    else:
        low, high = lines[sides.LEFT].at, length - lines[sides.RIGHT].at
    return max(0, round(low + inset)), min(length, round(high - inset))


def ring(patch: Patch, lines: list[Line], skip: float, depth: float) -> list[Floats]:
    """Return, per side, (rows, channels): the median tone of a band just inside the lines."""
    out = []
    for side in range(4):
        v = sides.facing(patch.v, side)
        low, high = _row_range(lines, side, v.shape[0], skip + depth)
        rows = np.arange(low, max(high, low + 1))
        start = np.round(lines[side].columns(rows) + skip).astype(int)
        columns = np.clip(start[:, None] + np.arange(max(2, round(depth)))[None], 0, v.shape[1] - 1)
        rows = np.clip(rows, 0, v.shape[0] - 1)
        out.append(np.median(v[rows[:, None], columns], axis=1))
    return out


def common(samples: Floats, tolerance: float) -> tuple[Floats, float]:
    """Return the most frequent tone of (n, c) samples and the share within the tolerance."""
    grey = np.sort(samples.mean(1))
    n = len(grey)
    # Densest interval of the tolerance's length.
    right = np.searchsorted(grey, grey + tolerance)
    at = int((right - np.arange(n)).argmax())
    middle = (grey[at] + grey[min(right[at], n) - 1]) / 2
    near = np.abs(samples.mean(1) - middle) <= tolerance
    level = np.median(samples[near], axis=0)
    share = float((np.abs(samples - level).max(1) <= tolerance).mean())
    return level.astype(np.float32), share


def departures(
    patch: Patch,
    previous: list[Line] | None,
    outside: list[Floats | None],
    level: Floats,
    dark: bool,
    limit: float,
    skip: float,
    blur: int,
    run: int,
    reach: float,
    max_slope: float,
    tolerances: tuple[float, ...],
) -> list[Line | None]:
    """Return per side the line where the picture begins, coming from the border at `level`."""
    out: list[Line | None] = []
    for side in range(4):
        v = sides.facing(patch.v, side)
        n, columns = v.shape[:2]
        low, high = _row_range(previous, side, n, skip + 2)
        if high - low < 12:
            out.append(None)
            continue
        middle = n / 2
        rows = np.arange(low, high)
        depth = int(columns * reach)
        band = sides.smooth_along(np.ascontiguousarray(v[low:high, :depth]), blur)
        base: Floats = level[None, None]
        own = outside[side]
        if own is not None and len(own) == len(rows):
            base = own[:, None]
        step = band - base
        differs = (step < -limit).any(2) if dark else (step > limit).any(2)
        start = np.zeros(len(rows), np.int64)
        slope0 = 0.0
        if previous is not None:
            start = np.round(previous[side].columns(rows + 0.5) + skip).astype(np.int64)
            slope0 = previous[side].slope
        first = sides.first_departure(differs, np.clip(start, 0, depth - 1), run)
        best = None
        for tolerance in tolerances:
            line = sides.vote(first, rows, middle, depth, tolerance, max_slope, slope0=slope0)
            if line is None:
                continue
            gain = line.share - line.early - 0.12 * np.log2(tolerance / tolerances[0])
            if best is None or gain > best[0]:
                best = (gain, line)
        out.append(best[1] if best else None)
    return out


def even_rows(
    patch: Patch,
    side: int,
    previous: list[Line] | None,
    level: Floats,
    skip: float,
    depth: float,
    tolerance: float,
) -> Floats | None:
    """Return (rows, c) the border's tone along a side where it is even, to follow light fall-off."""
    v = sides.facing(patch.v, side)
    low, high = _row_range(previous, side, v.shape[0], skip + 2)
    if high - low < 12:
        return None
    rows = np.arange(low, high)
    at = np.zeros(len(rows)) if previous is None else previous[side].columns(rows + 0.5) + skip
    columns = np.clip(
        np.round(at).astype(int)[:, None] + np.arange(max(2, round(depth)))[None], 0, v.shape[1] - 1
    )
    own = np.median(v[rows[:, None], columns], axis=1)
    good = np.abs(own - level).max(1) <= tolerance
    if good.mean() < 0.3:
        return None
    # A straight line along the side through the even rows: fall-off without the outliers.
    t = (rows - rows.mean()) / max(len(rows), 1)
    out = np.empty_like(own)
    for k in range(own.shape[1]):
        fit = np.polyfit(t[good], own[good, k], 2 if good.mean() > 0.6 else 0)
        out[:, k] = np.polyval(fit, t)
    return out.astype(np.float32)


def oval_of(
    patch: Patch, level: Floats, limit: float
) -> tuple[float, float, float, float, float] | None:
    """Return (cx, cy, width, height, angle) of an oval opening in a dark mask, or None."""
    lit = ((patch.v - level) < -limit).any(2).astype(np.uint8)
    lit = cv2.morphologyEx(lit, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    contours, _ = cv2.findContours(lit, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    big = [c for c in contours if len(c) > 20 and cv2.contourArea(c) > 0.01 * lit.size]
    if not big:
        return None
    hull = cv2.convexHull(np.concatenate(big))
    filled = cv2.contourArea(hull)
    x, y, w, h = cv2.boundingRect(hull)
    if not 0.70 < filled / (w * h) < 0.86:
        return None
    # Evenly spaced points of the outline that lie on the hull.
    mask = np.zeros(lit.shape, np.uint8)
    cv2.drawContours(mask, [hull], -1, 1, -1)
    points = np.concatenate(big)[:, 0].astype(np.float32)
    inner = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    on = inner[points[:, 1].astype(int), points[:, 0].astype(int)] <= 2.5
    if on.sum() < 40:
        return None
    points = points[on] + np.float32(0.5)
    (cx, cy), (a, b), angle = cv2.fitEllipseDirect(points)
    for _ in range(2):
        t = np.deg2rad(angle)
        d = points - (cx, cy)
        u, v = d @ (np.cos(t), np.sin(t)), d @ (-np.sin(t), np.cos(t))
        g = np.hypot(u / (a / 2), v / (b / 2))
        off = np.abs(g - 1)
        keep = off < max(3 * float(np.median(off)), 0.004)
        if keep.sum() < 40:
            return None
        (cx, cy), (a, b), angle = cv2.fitEllipseDirect(points[keep])
    turn = round(angle / 90) * 90
    w, h = (a, b) if turn % 180 == 0 else (b, a)
    if float(np.median(off)) > 0.02:
        return None
    return cx, cy, w, h, angle - turn


def peel(
    patch: Patch,
    ground: Floats | None,
    ground_dark: bool,
    noise: float,
    mm: float | None,
    margin: float,
    closed: tuple[bool, bool, bool, bool],
) -> Found | None:
    """Return the nested rectangles of a piece; the last one bounds the picture.

    ground: tone of what lies around the piece. mm: view px per millimetre or None.
    margin: view px of ground left around the piece in the patch. closed: sides where the piece
    runs out of the master (the patch's edge stands for the piece's).
    """
    h, w = patch.v.shape[:2]
    blur = max(1, round(min(h, w) / 150))
    run = 2 if mm is None else max(2, round(0.12 * mm))
    depth = max(3.0, min(h, w) * 0.006 if mm is None else 0.35 * mm)
    fine = (1.5, 3.0, 6.0) if mm is None else (1.5, max(2.5, 0.25 * mm), max(4.0, 0.6 * mm))
    level = (
        ground
        if ground is not None
        else np.median(patch.v[:, :2].reshape(-1, patch.v.shape[2]), axis=0)
    )
    dark = ground_dark
    previous: list[Line] | None = None
    levels: list[Level] = []
    for number in range(4):
        limit = LEAVE_DARK if dark else max(LEAVE_LIGHT, 4 * noise)
        skip = 0.0 if previous is None else (2.5 if mm is None else max(2.0, 0.12 * mm))
        reach = 0.3 if previous is None else 0.45
        band = margin * 0.4 if previous is None else depth
        own = [even_rows(patch, s, previous, level, skip, band, 3 * limit) for s in range(4)]
        lines = departures(
            patch,
            previous,
            own,
            level,
            dark,
            limit,
            skip,
            blur,
            run,
            reach,
            0.014 if previous is None else 0.009,
            fine,
        )
        if number == 0:
            for s in range(4):
                if closed[s]:
                    n = h if s in (0, 2) else w
                    lines[s] = Line(margin, 0.0, n / 2, 0.0, 0.0, 0.0, False)
        new = _accept(lines, previous, h, w)
        if new is None:
            if (dark and previous is not None) or number == 0:
                oval = oval_of(patch, level, limit)
                if oval is not None:
                    levels.append(_oval_level(oval, level, h, w))
                    return Found(levels, False)
            break
        if dark and sum(line.share for line in new) < 2.2:
            oval = oval_of(patch, level, limit)
            if oval is not None:
                levels.append(_oval_level(oval, level, h, w))
                return Found(levels, False)
        levels.append(Level(new, level, dark))
        samples = ring(patch, new, max(2.0, skip, 0.15 * (mm or 0)), depth)
        tolerance = max(0.03, 5 * noise)
        joined = np.concatenate(samples)
        if len(joined) < 16:
            break
        nxt, _ = common(joined, tolerance)
        # Opaque borders differ by flare: a wider band of tones counts as even there.
        tolerance = tolerance if nxt.mean() < OPAQUE else 0.35
        even = [float((np.abs(s - nxt).max(1) <= tolerance).mean()) for s in samples]
        if np.sort(even)[1] < 0.55 or np.mean(even) < 0.6:
            break
        interior = _interior(patch, new)
        p10, p90 = np.percentile(interior, [10, 90])
        grey = float(nxt.mean())
        if grey > OPAQUE and grey >= p90 - 0.4:
            dark = True
        elif grey <= p10 + 0.06:
            dark = False
        else:
            break
        level, previous = nxt, new
        levels[-1].even = even
    if not levels:
        return None
    return Found(levels, len(levels) > 1)


def _interior(patch: Patch, lines: list[Line]) -> Floats:
    h, w = patch.v.shape[:2]
    x0, x1 = lines[0].at, w - lines[2].at
    y0, y1 = lines[1].at, h - lines[3].at
    dx, dy = 0.12 * (x1 - x0), 0.12 * (y1 - y0)
    part = patch.v[max(0, int(y0 + dy)) : int(y1 - dy), max(0, int(x0 + dx)) : int(x1 - dx)]
    return part[::3, ::3].mean(2) if part.size else patch.v[::3, ::3].mean(2)


def _oval_level(
    oval: tuple[float, float, float, float, float], level: Floats, h: int, w: int
) -> Level:
    cx, cy, ow, oh, angle = oval
    t = np.tan(np.deg2rad(angle))
    # In each side's facing: columns from that side, rows along it.
    lines = [
        Line(cx - ow / 2 - t * (h / 2 - cy), -t, h / 2, 0.9),
        Line(cy - oh / 2 + t * (w / 2 - cx), t, w / 2, 0.9),
        Line(w - cx - ow / 2 + t * (h / 2 - cy), t, h / 2, 0.9),
        Line(h - cy - oh / 2 - t * (w / 2 - cx), -t, w / 2, 0.9),
    ]
    return Level(lines, level, True, oval=True)


def _accept(
    lines: list[Line | None], previous: list[Line] | None, h: int, w: int
) -> list[Line] | None:
    """Return four lines where enough sides were seen, the others filled in, or None."""
    gains = [0.0 if line is None else line.share - line.early for line in lines]
    good = [g >= 0.2 or (lines[s] is not None and not lines[s].found) for s, g in enumerate(gains)]
    if sum(good) < 3 or np.mean(gains) < (0.3 if previous is not None else 0.2):
        return None
    out = []
    for s in range(4):
        line = lines[s]
        if line is not None and (good[s] or gains[s] >= 0.06):
            line.found = line.found and gains[s] >= 0.1
            out.append(line)
            continue
        n = h if s in (0, 2) else w
        if previous is None:
            at = float(np.median([o.at for o in lines if o is not None]))
            out.append(Line(at, 0.0, n / 2, found=False))
            continue
        # The border is taken to be as wide as on the opposite side.
        opposite = lines[(s + 2) % 4]
        wide = opposite.at - previous[(s + 2) % 4].at if opposite is not None else 0.0
        out.append(Line(previous[s].at + wide, previous[s].slope, n / 2, found=False))
    size = [w - out[0].at - out[2].at, h - out[1].at - out[3].at]
    if min(size) < 0.2 * min(h, w):
        return None
    return out
