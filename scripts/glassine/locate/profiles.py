"""Where the edge stands in profiles across it, of all places along a side at once."""

from __future__ import annotations

import cv2
import numpy as np

from glassine.locate.view import Floats, tone


def crossings_in(
    profiles: Floats, expected: float, reach: float, sign: int = 0
) -> list[tuple[float, float] | None]:
    """Return (position, step in tone) of the edge nearest `expected` in each (n, c) profile of
    (places, n, c); None where there is none.

    sign: +1 where only rising tone counts, -1 falling, 0 both.

    Position in px from the profile's outer corner. The edge is where linear light crosses
    half way between the levels on both sides: with a symmetric point spread that is the true
    place whatever the blur, which is not so for density.
    """
    places, n, channels = profiles.shape
    change = np.diff(tone(profiles), axis=1)
    columns = np.ascontiguousarray(change.transpose(1, 0, 2)).reshape(n - 1, places * channels)
    smooth = cv2.GaussianBlur(columns, (1, 5), 1.0).reshape(n - 1, places, channels)
    gradient = smooth.transpose(1, 0, 2)
    gradient = np.maximum(sign * gradient, 0) if sign else np.abs(gradient)
    strength = np.sqrt((gradient**2).sum(2))
    weight = np.exp(-0.5 * ((np.arange(1, n) - expected) / reach) ** 2)
    at = (strength * weight).argmax(1)
    out: list[tuple[float, float] | None] = []
    for i, crest in enumerate(at.tolist()):
        if crest < 3 or crest > n - 5:
            out.append(None)
            continue
        k = int(gradient[i, crest].argmax())
        out.append(_crossing(profiles[i, :, k], change[i, :, k], strength[i], crest, sign))
    return out


def _crossing(
    profile: Floats, change: Floats, strength: Floats, at: int, sign: int
) -> tuple[float, float] | None:
    """Return (position, step in tone) of the edge whose crest is `at`, by one channel."""
    p = profile.astype(np.float64)
    force = strength.tolist()
    centre = at + 1
    left = centre - _rest(force[: at + 1][::-1])
    right = centre + _rest(force[at:])
    if left < 1 or right > len(p) - 2:
        return None
    low = _middle(p[max(0, left - 2) : left + 1].tolist())
    high = _middle(p[right - 1 : right + 2].tolist())
    if sign:
        # Past a narrow border another step may begin, the other way: the border's own level is
        # the last one before it.
        back = -sign * change
        if back[max(0, left - 2) : left + 1].max() > 0.3 * strength[at]:
            low = -sign * float((-sign * p[left:centre]).min())
        if back[right - 1 : right + 2].max() > 0.3 * strength[at]:
            high = -sign * float((-sign * p[centre : right + 1]).max())
    if low == high or sign * (high - low) > 0:
        return None
    middle = (low + high) / 2
    first = left - 1
    s = (p[first : right + 2] - middle) * np.sign(high - low)
    rising = np.flatnonzero((s[:-1] < 0) & (s[1:] >= 0))
    if not len(rising):
        return None
    j = int(rising[np.abs(rising + first + 1 - centre).argmin()])
    fraction = -s[j] / (s[j + 1] - s[j])
    levels = tone(np.array([low, high], np.float32))
    step = abs(float(levels[0]) - float(levels[1]))
    return first + j + 0.5 + float(fraction), step


def _middle(values: list[float]) -> float:
    """Return the median of a few values."""
    ordered, n = sorted(values), len(values)
    return ordered[n // 2] if n % 2 else (ordered[n // 2 - 1] + ordered[n // 2]) / 2


def _rest(strength: list[float]) -> int:
    """Return how far from its crest (first value) a step has come to rest, at most nine pixels.

    Where the gradient rises again another edge begins: the step ends in the valley between.
    """
    for k in range(1, min(9, len(strength) - 1)):
        if strength[k] < 0.12 * strength[0]:
            return k + 1
        if k > 1 and strength[k + 1] > strength[k] * 1.02 and strength[k] < 0.6 * strength[0]:
            return k
    return min(9, len(strength) - 1)


def trimmed(cuts: Floats) -> Floats:
    """Return the means of cuts (places, length, n, c) along the edge, without the outer quarters:
    dust and scratches drop out.
    """
    ordered = np.sort(cuts, axis=1)
    n = ordered.shape[1] // 4
    return np.asarray(ordered[:, n : ordered.shape[1] - n].mean(1))
