"""Measures of a frame in the reduced view: its size, its pixels, what lies inside its sides."""

from __future__ import annotations

import math

import cv2
import numpy as np

from glassine.base import film
from glassine.locate.candidate import Candidate
from glassine.locate.shapes import ENDS
from glassine.locate.view import Floats, View, tone

# How far (mm) the corners of a camera's gate or of a mount's opening may be rounded; as a share of
# the shorter side where the scale is unknown. Common practice, no source.
ROUND_MM, ROUND_SHARE = 2.5, 0.05
# Far smaller than pictures are, mm: frames of 110 cartridges, the smallest in common use, are 13 by
# 17 (value from memory).
NARROWEST_MM = 9
# A side's inside is of the border's tone within this much (density; dark and clear borders) along
# this share of it.
LIKE_DARK, LIKE_CLEAR, LIKE_SHARE = 0.25, 0.04, 0.8
# A band is looked for at these shares of the shorter side inside, and runs along so much of it.
BAND_AT, BAND_SHARE = (0.015, 0.03, 0.045), 0.9
# A side is looked at so far inside of it (view px), between these shares of its length.
INSIDE_PX, ALONG = 3, (0.08, 0.92)


def give_sizes(candidate: Candidate, ppi: float | None) -> None:
    """Note how far the corners of a candidate may be rounded, and whether it is far too small."""
    c = candidate.corners
    size = [float(np.hypot(*(c[1] - c[0]))), float(np.hypot(*(c[3] - c[0])))]
    if ppi is not None:
        mm = film.px_per_mm(ppi)
        candidate.round_px = ROUND_MM * mm
        candidate.small = min(size) / mm < NARROWEST_MM
    else:
        candidate.round_px = ROUND_SHARE * min(size)


def border_inside(view: View, candidate: Candidate, side: int) -> bool:
    """Whether what lies just inside a side is of the border's own tone, nearly all along."""
    return _like_border(view, candidate, side, INSIDE_PX) > LIKE_SHARE


def band_inside(view: View, candidate: Candidate, side: int) -> bool:
    """Whether a band as clear as the border runs along a side a little further in: the side is that
    of a shadow or of the piece, and the picture ends at the band. A dark border tells nothing, as
    there are nights.
    """
    if candidate.level_dark or candidate.strip:
        return False
    c = candidate.corners / view.reduction
    short = min(float(np.hypot(*(c[1] - c[0]))), float(np.hypot(*(c[3] - c[0]))))
    return any(_like_border(view, candidate, side, at * short) > BAND_SHARE for at in BAND_AT)


def _like_border(view: View, candidate: Candidate, side: int, depth: float) -> float:
    """Return along how much of a side what lies so deep (view px) inside is as its border."""
    if candidate.border is None:
        return 0.0
    c = candidate.corners / view.reduction
    p, q = (c[k] for k in ENDS[side])
    along = (q - p) / max(float(np.hypot(*(q - p))), 1e-6)
    inward = np.array([-along[1], along[0]])
    t = np.linspace(*ALONG, 120)[:, None]
    at = p * (1 - t) + q * t + depth * inward
    x = np.clip(at[:, 0].astype(int), 0, view.v.shape[1] - 1)
    y = np.clip(at[:, 1].astype(int), 0, view.v.shape[0] - 1)
    off = np.abs(view.v[y, x] - candidate.border).max(1)
    like = LIKE_DARK if candidate.level_dark else LIKE_CLEAR
    return float((off < like).mean())


def spread_of(tones: Floats) -> float:
    """Return how far (n, c) tones of a picture lie apart (density), without the outer twentieths:
    in the channel that varies most.
    """
    low, high = np.percentile(tones, (5, 95), axis=0)
    return float((high - low).max())


# Cells a side in which structure is looked for.
_CELLS = 12


def structure_of(tones: Floats) -> float:
    """Return how far tones lie apart (density) once light that falls off evenly is taken off.

    tones: (n, c) as `pixels` gives them, rows of a square. Of each channel the polynomial of second
    degree in place is taken off (least squares), and what is left is seen in 12 x 12 means, so that
    neither a lamp's fall-off nor grain counts: both make a bare patch vary as a thin picture does.
    """
    side = math.isqrt(len(tones))
    cell = side // _CELLS
    x, y = np.meshgrid(*[np.linspace(-1, 1, side)] * 2)
    even = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1).reshape(-1, 6)
    fitted = even @ np.linalg.solve(even.T @ even, even.T @ tones)
    rest = (tones - fitted).reshape(side, side, -1)[: cell * _CELLS, : cell * _CELLS]
    means = rest.reshape(_CELLS, cell, _CELLS, cell, -1).mean(axis=(1, 3))
    return spread_of(means.reshape(_CELLS * _CELLS, -1))


def pixels(view: View, candidate: Candidate, inset: float) -> Floats:
    """Return (n, c) tones of the picture, means of small squares of the reduced view.

    inset: share of each side's length that is left out at its ends.
    """
    c = candidate.corners / view.reduction
    u = np.linspace(inset, 1 - inset, 120)
    a, b = np.meshgrid(u, u)
    a, b = a.ravel()[:, None], b.ravel()[:, None]
    p = (1 - a) * (1 - b) * c[0] + a * (1 - b) * c[1] + a * b * c[2] + (1 - a) * b * c[3]
    x = np.clip(p[:, 0].astype(int), 0, view.v.shape[1] - 1)
    y = np.clip(p[:, 1].astype(int), 0, view.v.shape[0] - 1)
    left, top = int(x.min()), int(y.min())
    part = view.light[top : int(y.max()) + 1, left : int(x.max()) + 1]
    size = 2 * (min(part.shape[:2]) // 400) + 3
    smooth = cv2.blur(part, (size, size)).reshape(part.shape)
    return tone(smooth[y - top, x - left])
