"""The reduced copy in a tone scale fit for finding edges, and what lies on the table."""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import processor
from glassine.locate.encoding import through
from glassine.masters import ranks

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

# Light added before the logarithm: about the noise and flare of a camera, so that black
# surfaces do not dissolve into noise. A density of 2.7 and more looks alike.
FLOOR = 0.002
_MEAN_ROWS = 32


def tone(light: Floats) -> Floats:
    """Return density-like values: 0 where light is 1, rising to 2.7 where there is none."""
    floor = np.float32(FLOOR)
    return -processor.log10((np.maximum(light, 0) + floor) / (1 + floor))


def mean_of(v: Floats) -> Floats:
    """Mean over the channels of (h, w, c); much faster than numpy's over so short an axis."""
    total = np.empty(v.shape[:-1], np.float32)
    # Some rows at a time: each channel is a pass of its own over what the cache still holds.
    for top in range(0, len(v), _MEAN_ROWS):
        rows, out = v[top : top + _MEAN_ROWS], total[top : top + _MEAN_ROWS]
        out[...] = rows[..., 0]
        for k in range(1, v.shape[-1]):
            out += rows[..., k]
        out /= np.float32(v.shape[-1])
    return total


def most_of(v: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Greatest of the channels of (h, w, c)."""
    total = v[..., 0].copy()
    for k in range(1, v.shape[-1]):
        np.maximum(total, v[..., k], out=total)
    return total


def any_of(mask: Mask) -> Mask:
    """Whether any channel of (h, w, c) is set."""
    total = mask[..., 0].copy()
    for k in range(1, mask.shape[-1]):
        total |= mask[..., k]
    return total


@dataclass
class View:
    """light: (h, w, c) linear, brightest = 1; v: the same as tone, grey: its mean over channels;
    reduction: master px per px; white: linear light of the brightest area; noise: of grey.
    """

    light: Floats
    v: Floats
    grey: Floats
    reduction: float
    white: float
    noise: float


def look(reduced: npt.NDArray[Any], table: Floats, reduction: float) -> View:
    """Scale to linear light by the brightest area and take off single bad pixels.

    table: linear light of 16-bit codes, one for all channels or one for each.
    """
    if reduced.ndim == 2:
        reduced = reduced[..., None]
    with processor.whole_numbers():
        clean = np.asarray(cv2.medianBlur(np.ascontiguousarray(reduced), 3)).reshape(reduced.shape)
    brightest = most_of(through(table, clean[::4, ::4]))
    white = max(float(ranks.percentile(brightest, 99.7)), 1e-4)
    scaled = table / np.float32(white)
    light = through(scaled, clean)
    v = through(tone(scaled), clean)
    grey = mean_of(v)
    # Robust spread of second differences: sqrt(6) times the noise of one pixel.
    part = grey[::2]
    second = part[:, 2:] - 2 * part[:, 1:-1] + part[:, :-2]
    noise = float(ranks.median(np.abs(second)) * 1.4826 / np.sqrt(6))
    return View(light, v, grey, reduction, white, noise)


@dataclass
class Piece:
    """Something on the table. mask: where (whole view); box: upright rectangle of the view."""

    mask: Mask
    box: tuple[int, int, int, int]
    centre: tuple[float, float]
    angle_deg: float
    width: float
    height: float
    touches: tuple[bool, bool, bool, bool]  # left, top, right, bottom edge of the view


@dataclass
class Layout:
    """ground: "light" or "dark"; level: tone of the ground; pieces: largest first; look_again: what
    finds `faint` on a dark ground.
    """

    ground: str
    level: Floats
    pieces: list[Piece]
    look_again: Callable[[], Piece | None] | None = None
    apart: bool = False  # whether the pieces lie apart on a board (see `boards`)

    @functools.cached_property
    def tone(self) -> float:
        """Return the usual tone of the ground."""
        if self.level.strides[:2] == (0, 0):  # the same everywhere
            return float(np.median(self.level[0, 0]))
        return float(ranks.median(self.level))

    @functools.cached_property
    def faint(self) -> Piece | None:
        """Return all that differs from a dark ground however little, where it is more than the
        piece. It takes long to see, and is asked for only where nothing plainer shows.
        """
        return self.look_again() if self.look_again is not None else None


def _ring(array: Floats) -> Floats:
    n = max(3, round(0.015 * min(array.shape[:2])))
    flat = [array[:n], array[-n:], array[n:-n, :n], array[n:-n, -n:]]
    return np.concatenate([side.reshape(-1, *array.shape[2:]) for side in flat])


def rim_of(shape: tuple[int, ...], width: float) -> Mask:
    """Return which pixels of (h, w) lie within `width` px of the edge, three at the least."""
    n = max(3, round(width))
    rim = np.ones(shape, bool)
    rim[n:-n, n:-n] = False
    return rim


def surface(v: Floats, chosen: Mask, step: int) -> Floats:
    """Fit a quadratic surface per channel to the chosen pixels; return it for the whole view."""
    h, w = v.shape[:2]
    y = np.arange(0, h, step, dtype=np.float32)[:, None] / h - 0.5
    x = np.arange(0, w, step, dtype=np.float32)[None] / w - 0.5
    sub, part = v[::step, ::step], chosen[::step, ::step]
    rows, columns = np.nonzero(part)
    own, a, b = sub[rows, columns], x[0, columns], y[rows, 0]
    terms = np.stack([np.ones_like(a), a, b, a * a, a * b, b * b], -1).astype(np.float64)
    use = np.ones(len(own), bool)
    coefficients: npt.NDArray[np.floating[Any]] = np.zeros((6, v.shape[2]))
    coefficients[0] = np.median(sub, axis=(0, 1)) if len(own) < 50 else 0
    for _ in range(3):
        if use.sum() < 50:
            break
        coefficients = np.linalg.lstsq(terms[use], own[use], rcond=None)[0]
        off = most_of(np.abs(own - (terms @ coefficients).astype(np.float32)))
        use = off < max(3 * float(ranks.median(off)), 0.004)
    fitted = np.empty_like(sub)
    across = np.concatenate([np.ones_like(x), x, x * x]).astype(np.float64)
    down = np.concatenate([y, y * y], 1).astype(np.float64)
    both = (x * y).astype(np.float64)
    for k, c in enumerate(coefficients.T):
        fitted[..., k] = c[4] * both + (c[[0, 1, 3]] @ across) + (down @ c[[2, 5]])[:, None]
    full = cv2.resize(fitted, (w, h), interpolation=cv2.INTER_LINEAR)
    return np.asarray(full.reshape(v.shape), np.float32)


# How many times the spread of the means of areas on the ground itself others must be off.
OFF = 6.0


def area_px(shape: tuple[int, ...]) -> int:
    """Return the size of the areas whose means are compared: odd, a hundredth of what is seen."""
    return int(np.clip(round(min(shape[:2]) / 100) | 1, 5, 11))


def off_from(v: Floats, rim: Mask, within: Mask, lighter: bool = False) -> Mask:
    """Return where the means of small areas of (h, w, c) tones differ from those of a dark ground.

    rim: pixels that show the ground, which is taken to be even; within: where to look; lighter:
    whether only what is lighter counts.
    Pixel by pixel, what is hardly lighter than a black surface drowns in noise; means do not.
    """
    if rim.sum() < 100:
        return np.zeros(rim.shape, bool)
    rest = v - surface(v, rim, 2)
    n = area_px(v.shape)
    smooth = cv2.blur(cv2.blur(rest, (n, n)), (n, n)).reshape(v.shape)
    spread = 1.4826 * np.median(np.abs(smooth[rim]), axis=0) + 0.002
    off = most_of((-smooth if lighter else np.abs(smooth)) / spread)
    away = np.asarray((off > OFF) & within, np.uint8)
    away = np.asarray(cv2.morphologyEx(away, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.uint8)
    _, parts, stats, _ = cv2.connectedComponentsWithStats(away)
    # Dust and scratches lie by themselves; they are small, or else thin.
    large = np.flatnonzero(stats[:, cv2.CC_STAT_AREA] > 0.004 * within.sum())
    broad = np.unique(parts[cv2.erode(away, np.ones((2 * n + 3,) * 2, np.uint8)) > 0])
    return np.asarray(np.isin(parts, np.intersect1d(large[large > 0], broad)))


def survey(view: View) -> Layout:
    """Tell the ground from the pieces on it.

    The ground is what most of the outer rim shows: open light (or the paper a print lies on)
    or something dark (a mask, a dark board).
    """
    rim = _ring(view.grey)
    bright_share = float((rim < 0.20).mean())
    interior_dark = float(ranks.percentile(view.grey, 80))
    middle = float(ranks.median(rim))
    if bright_share > 0.35 or (middle < 0.3 and middle < interior_dark):
        return _on_light(view)
    return _on_dark(view)


def _on_light(view: View) -> Layout:
    step = max(1, min(view.grey.shape) // 250)
    limit = max(0.018, 5 * view.noise)
    brightest = view.grey < 0.12
    if (_ring(view.grey) < 0.12).mean() < 0.2:
        # Grey board or paper: what lies on it may be lighter than it or darker.
        ground = surface(view.v, _near_rim(view), step)
        return Layout("light", ground, pieces_of(view, most_of(np.abs(view.v - ground)) > limit))
    # The open table is the brightest connected level; a clear base next to it is denser.
    level = float(ranks.percentile(view.grey[brightest], 25)) if brightest.any() else 0.0
    chosen = brightest & (view.grey < level + 0.055)
    ground = surface(view.v, chosen, step)
    away = most_of(view.v - ground)
    return Layout("light", ground, pieces_of(view, away > limit))


def _near_rim(view: View) -> Mask:
    """Return the pixels near the view's own edge that are of the tone that most have there."""
    chosen = rim_of(view.grey.shape, 0.04 * min(view.grey.shape))
    usual = np.median(view.v[chosen], axis=0)
    return np.asarray(chosen & (most_of(np.abs(view.v - usual)) < 0.06))


def _on_dark(view: View) -> Layout:
    """On a dark ground all that is lighter belongs to one piece: dark parts of it do not show."""
    rim = mean_of(_ring(view.light))
    base = float(ranks.median(rim))
    spread = float(ranks.median(np.abs(rim - base))) * 1.4826
    light = cv2.blur(most_of(view.light), (5, 5))
    around = _ring(view.v)
    usual = [ranks.median(around[:, channel]) for channel in range(around.shape[1])]
    ground = np.broadcast_to(np.array(usual, np.float32), view.v.shape)
    for factor, least in ((1.6, 0.004), (1.25, 0.0015)):
        away = np.asarray(light > base * factor + least + 3 * spread)
        pieces = pieces_of(view, away)
        if pieces and max(p.mask.mean() for p in pieces) > 0.05:
            break
    pieces = [merged(pieces, view.grey.shape)] if len(pieces) > 1 else pieces
    return Layout("dark", ground, pieces, functools.partial(_faint, view, pieces))


def _faint(view: View, pieces: list[Piece]) -> Piece | None:
    """Return all that differs from a dark ground by the means of areas, where it is more."""
    rim = rim_of(view.grey.shape, 0.015 * min(view.grey.shape))
    found = pieces_of(view, off_from(view.v, rim, np.ones(view.grey.shape, bool)))
    if not found:
        return None
    whole = merged(found, view.grey.shape) if len(found) > 1 else found[0]
    less = not pieces or whole.width * whole.height > 1.1 * pieces[0].width * pieces[0].height
    return whole if less else None


def merged(pieces: list[Piece], shape: tuple[int, ...]) -> Piece:
    """Return one piece that holds all of them."""
    mask = np.any([p.mask for p in pieces], axis=0).astype(np.uint8)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return _piece(np.concatenate(contours), (shape[0], shape[1]), mask.astype(bool))


def squarest(points: Floats) -> float:
    """Return the direction (degrees) in which most of an outline lies along its own extremes."""
    best, at = -1.0, 0.0
    for angle in np.arange(-12, 12.01, 0.25):
        a = np.deg2rad(angle)
        p = points @ np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        low, high = p.min(0), p.max(0)
        near = sum(((p - low < 2.5).sum(0) + (high - p < 2.5).sum(0)).tolist())
        if near > best:
            best, at = near, float(angle)
    return at


def pieces_of(view: View, away: Mask) -> list[Piece]:
    h, w = away.shape
    size = max(3, 2 * round(min(h, w) / 500) + 1)
    kernel = np.ones((size, size), np.uint8)
    mask = cv2.morphologyEx(away.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, kernel)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found: list[tuple[float, npt.NDArray[Any]]] = []
    for contour in contours:
        area = cv2.contourArea(contour)
        if area < 0.002 * h * w:
            continue
        filled = np.zeros((h, w), np.uint8)
        cv2.drawContours(filled, [contour], -1, 1, -1)
        opened = cv2.morphologyEx(filled, cv2.MORPH_OPEN, np.ones((2 * size + 1,) * 2, np.uint8))
        parts, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        for part in parts:
            if cv2.contourArea(part) < 0.002 * h * w:
                continue
            found.extend((cv2.contourArea(each), each) for each in _apart(part, (h, w), size))
    found.sort(key=lambda pair: -pair[0])
    return [_piece(contour, (h, w)) for _, contour in found[:40]]


def _filling(contour: npt.NDArray[Any]) -> float:
    """Return the share of its smallest rectangle that an outline fills."""
    _, (w, h), _ = cv2.minAreaRect(contour)
    return float(cv2.contourArea(contour) / max(w * h, 1.0))


def _apart(contour: npt.NDArray[Any], shape: tuple[int, int], size: int) -> list[npt.NDArray[Any]]:
    """Return the rectangles that touch in an outline that is none; itself where it is not that.

    Film may lie against a ruler or another piece: the bridge between them is narrow, or one of
    them is.
    """
    if _filling(contour) > 0.75:
        return [contour]
    filled = np.zeros(shape, np.uint8)
    cv2.drawContours(filled, [contour], -1, 1, -1)
    for times in (4, 8, 16, 32):
        kernel = np.ones((times * size + 1,) * 2, np.uint8)
        opened = cv2.morphologyEx(filled, cv2.MORPH_OPEN, kernel)
        parts, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        around = np.asarray(cv2.dilate(opened, np.ones((2 * size + 1,) * 2, np.uint8)), bool)
        left = np.where(around, 0, filled).astype(np.uint8)
        left = np.asarray(cv2.morphologyEx(left, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)))
        rest, _ = cv2.findContours(left, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        kept = [part for part in [*parts, *rest] if cv2.contourArea(part) >= 0.002 * filled.size]
        area = sum(cv2.contourArea(part) for part in kept)
        whole = len(kept) > 1 and area > 0.85 * cv2.contourArea(contour)
        if whole and min(_filling(part) for part in kept) > 0.85:
            return list(kept)
    return [contour]


def outline_angle(points: Floats, start_deg: float) -> float:
    """Refine the direction of a nearly rectangular outline by lines along its four sides."""
    angle = start_deg
    for window in (0.08, 0.03):
        a = np.deg2rad(angle)
        r = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        p = points @ r.T
        low, high = np.percentile(p, 0.5, axis=0), np.percentile(p, 99.5, axis=0)
        size = high - low
        slopes, weights = [], []
        for axis in (0, 1):
            other = 1 - axis
            middle = (p[:, axis] > low[axis] + 0.08 * size[axis]) & (
                p[:, axis] < high[axis] - 0.08 * size[axis]
            )
            for edge in (low[other], high[other]):
                near = middle & (np.abs(p[:, other] - edge) < max(window * size[other], 3))
                if near.sum() < 20:
                    continue
                t, s = p[near, axis], p[near, other]
                # Median of slopes between the thirds: a few chips and notches do no harm.
                order = np.argsort(t)
                n = len(order) // 3
                first, last = order[:n], order[-n:]
                run = np.median(t[last]) - np.median(t[first])
                if run < 0.3 * size[axis]:
                    continue
                slope = (np.median(s[last]) - np.median(s[first])) / run
                slopes.append(slope if axis == 0 else -slope)
                weights.append(run)
        if not slopes:
            return angle
        order = np.argsort(slopes)
        total = np.cumsum(np.array(weights)[order])
        pick = order[int(np.searchsorted(total, total[-1] / 2))]
        angle += float(np.degrees(np.arctan(slopes[pick])))
    return angle


def _piece(contour: npt.NDArray[Any], shape: tuple[int, int], mask: Mask | None = None) -> Piece:
    h, w = shape
    points = contour[:, 0].astype(np.float32) + np.float32(0.5)
    (_, _), (bw, bh), angle = cv2.minAreaRect(points)
    angle = (angle + 45) % 90 - 45
    area = float(mask.sum()) if mask is not None else cv2.contourArea(contour)
    if area < 0.93 * bw * bh:
        angle = squarest(points)
    inside = (
        (points[:, 0] > 2) & (points[:, 0] < w - 2) & (points[:, 1] > 2) & (points[:, 1] < h - 2)
    )
    if inside.sum() > 40:
        refined = outline_angle(points[inside], angle)
        if abs(refined - angle) < (8 if area >= 0.93 * bw * bh else 1):
            angle = refined
    a = np.deg2rad(angle)
    r = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    p = points @ r.T
    low, high = p.min(0), p.max(0)
    centre = r.T @ ((low + high) / 2)
    if mask is None:
        drawn = np.zeros(shape, np.uint8)
        cv2.drawContours(drawn, [contour], -1, 1, -1)
        mask = drawn.astype(bool)
    x, y, ww, hh = cv2.boundingRect(contour)
    # A corner that reaches the view's edge leaves its sides to be seen; a side along it does not.
    ends = (x <= 1, y <= 1, x + ww >= w - 1, y + hh >= h - 1)
    along = [
        float(np.count_nonzero(np.abs(contour[:, 0, k] - edge) <= 1))
        for k, edge in ((0, 0), (1, 0), (0, w - 1), (1, h - 1))
    ]
    touches = tuple(
        end and length > 0.3 * size
        for end, length, size in zip(ends, along, (hh, ww, hh, ww), strict=True)
    )
    return Piece(
        mask,
        (x, y, ww, hh),
        (float(centre[0]), float(centre[1])),
        angle,
        float(high[0] - low[0]),
        float(high[1] - low[1]),
        (touches[0], touches[1], touches[2], touches[3]),
    )


@dataclass
class Patch:
    """A piece turned upright. to_view: 2 x 3, patch px (corner origin) to view px.

    light_of: what makes its light, which few look at.
    """

    v: Floats
    light_of: Callable[[], Floats]
    to_view: npt.NDArray[np.float64]

    @functools.cached_property
    def light(self) -> Floats:
        """Return linear light, as `v`."""
        return self.light_of()

    def points(self, xy: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return xy @ self.to_view[:, :2].T + self.to_view[:, 2]


def upright(
    view: View, centre: tuple[float, float], angle_deg: float, width: float, height: float
) -> Patch:
    """Cut a rectangle (view px) out of the view, turned so that its sides are axes."""
    a = np.deg2rad(angle_deg)
    w, h = max(8, round(width)), max(8, round(height))
    r = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    shift = np.array(centre) - r @ np.array([w / 2, h / 2])
    m = np.c_[r, shift]
    half = np.array([0.5, 0.5])
    m_cv = np.c_[r, r @ half + shift - half]

    def turned(array: Floats) -> Floats:
        how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        made = cv2.warpAffine(array, m_cv, (w, h), flags=how, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(made.reshape(h, w, array.shape[2]), np.float32)

    return Patch(turned(view.v), lambda: turned(view.light), m)
