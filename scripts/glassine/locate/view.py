"""The reduced copy in a tone scale fit for finding edges, and what lies on the table."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

# Light added before the logarithm: about the noise and flare of a camera, so that black
# surfaces do not dissolve into noise. A density of 2.7 and more looks alike.
FLOOR = 0.002


def tone(light: Floats) -> Floats:
    """Return density-like values: 0 where light is 1, rising to 2.7 where there is none."""
    floor = np.float32(FLOOR)
    return (-np.log10((np.maximum(light, 0) + floor) / (1 + floor))).astype(np.float32)


@dataclass
class View:
    """light: (h, w, c) linear, brightest = 1; v: the same as tone; reduction: master px per px."""

    light: Floats
    v: Floats
    reduction: float
    white: float
    noise: float

    @property
    def grey(self) -> Floats:
        return self.v.mean(2)


def look(light: Floats, reduction: float) -> View:
    """Scale linear light by the brightest area and take off single bad pixels."""
    clean = np.dstack(
        [cv2.medianBlur(np.ascontiguousarray(light[..., k]), 3) for k in range(light.shape[2])]
    )
    sample = clean[::4, ::4].max(2)
    white = float(max(np.percentile(sample, 99.7), 1e-4))
    scaled = clean / np.float32(white)
    v = tone(scaled)
    grey = v.mean(2)
    # Robust spread of second differences: sqrt(6) times the noise of one pixel.
    second = grey[:, 2:] - 2 * grey[:, 1:-1] + grey[:, :-2]
    noise = float(np.median(np.abs(second)) * 1.4826 / np.sqrt(6))
    return View(scaled, v, reduction, white, noise)


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
    """ground: "light" or "dark"; level: tone of the ground; pieces: largest first."""

    ground: str
    level: Floats
    pieces: list[Piece]


def _ring(array: npt.NDArray[np.generic], part: float = 0.015) -> npt.NDArray[np.generic]:
    n = max(3, round(part * min(array.shape[:2])))
    flat = [array[:n], array[-n:], array[n:-n, :n], array[n:-n, -n:]]
    return np.concatenate([side.reshape(-1, *array.shape[2:]) for side in flat])


def _surface(v: Floats, chosen: Mask, step: int) -> Floats:
    """Fit a quadratic surface per channel to the chosen pixels; return it for the whole view."""
    h, w = v.shape[:2]
    y, x = np.mgrid[0:h:step, 0:w:step].astype(np.float32)
    x, y = x / w - 0.5, y / h - 0.5
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], -1)
    sub, part = v[::step, ::step], chosen[::step, ::step]
    use = part.copy()
    fitted = np.empty_like(sub)
    for _ in range(3):
        a = terms[use]
        if len(a) < 50:
            break
        for k in range(v.shape[2]):
            coefficients = np.linalg.lstsq(a, sub[use][:, k], rcond=None)[0]
            fitted[..., k] = terms @ coefficients.astype(np.float32)
        off = np.abs(sub - fitted).max(2)
        use = part & (off < max(3 * float(np.median(off[part])), 0.004))
    full = cv2.resize(fitted, (w, h), interpolation=cv2.INTER_LINEAR)
    return full.reshape(v.shape)


def survey(view: View) -> Layout:
    """Tell the ground from the pieces on it.

    The ground is what most of the outer rim shows: open light (or the paper a print lies on)
    or something dark (a mask, a dark board).
    """
    rim = _ring(view.grey)
    bright_share = float((rim < 0.20).mean())
    interior_dark = float(np.percentile(view.grey, 80))
    values = np.sort(rim)
    middle = float(np.median(values))
    if bright_share > 0.35 or (middle < 0.3 and middle < interior_dark):
        return _on_light(view)
    return _on_dark(view)


def _on_light(view: View) -> Layout:
    step = max(1, min(view.grey.shape) // 250)
    brightest = view.grey < 0.12
    rim = _ring(view.grey)
    if (rim < 0.12).mean() < 0.2:
        brightest = np.abs(view.grey - np.median(rim)) < 0.06
    # The open table is the brightest connected level; a clear base next to it is denser.
    level = float(np.percentile(view.grey[brightest], 25)) if brightest.any() else 0.0
    chosen = brightest & (view.grey < level + 0.055)
    ground = _surface(view.v, chosen, step)
    away = (view.v - ground).max(2)
    limit = max(0.018, 5 * view.noise)
    return Layout("light", ground, _pieces(view, away > limit))


def _on_dark(view: View) -> Layout:
    rim_light = _ring(view.light.mean(2))
    base = float(np.median(rim_light))
    spread = float(np.median(np.abs(rim_light - base))) * 1.4826
    light = cv2.blur(view.light.max(2), (3, 3))
    limit = base * 1.5 + 0.004 + 5 * spread
    ground = np.broadcast_to(np.median(_ring(view.v), axis=0), view.v.shape).astype(np.float32)
    found = _pieces(view, light > limit)
    return Layout("dark", ground, found)


def _pieces(view: View, away: Mask) -> list[Piece]:
    h, w = away.shape
    size = max(3, 2 * round(min(h, w) / 500) + 1)
    kernel = np.ones((size, size), np.uint8)
    mask = cv2.morphologyEx(away.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    mask = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, kernel)
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    found = []
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
            found.append((cv2.contourArea(part), part))
    found.sort(key=lambda pair: -pair[0])
    return [_piece(contour, (h, w)) for _, contour in found[:40]]


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


def _piece(contour: npt.NDArray[np.int32], shape: tuple[int, int]) -> Piece:
    h, w = shape
    points = contour[:, 0].astype(np.float32) + np.float32(0.5)
    (_, _), (bw, bh), angle = cv2.minAreaRect(points)
    angle = (angle + 45) % 90 - 45
    inside = (
        (points[:, 0] > 2) & (points[:, 0] < w - 2) & (points[:, 1] > 2) & (points[:, 1] < h - 2)
    )
    if inside.sum() > 40:
        refined = outline_angle(points[inside], angle)
        if abs(refined - angle) < 8:
            angle = refined
    a = np.deg2rad(angle)
    r = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    p = points @ r.T
    low, high = p.min(0), p.max(0)
    centre = r.T @ ((low + high) / 2)
    mask = np.zeros(shape, np.uint8)
    cv2.drawContours(mask, [contour], -1, 1, -1)
    x, y, ww, hh = cv2.boundingRect(contour)
    touches = (x <= 1, y <= 1, x + ww >= w - 1, y + hh >= h - 1)
    return Piece(
        mask.astype(bool),
        (x, y, ww, hh),
        (float(centre[0]), float(centre[1])),
        angle,
        float(high[0] - low[0]),
        float(high[1] - low[1]),
        touches,
    )


@dataclass
class Patch:
    """A piece turned upright. to_view: 2 x 3, patch px (corner origin) to view px."""

    v: Floats
    light: Floats
    to_view: npt.NDArray[np.float64]

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
    v = cv2.warpAffine(
        view.v,
        m_cv,
        (w, h),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    light = cv2.warpAffine(
        view.light,
        m_cv,
        (w, h),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    c = view.v.shape[2]
    return Patch(v.reshape(h, w, c), light.reshape(h, w, c), m)
