"""Where the edge stands in profiles across it, of all places along a side at once."""

from __future__ import annotations

from dataclasses import dataclass

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
    levels: list[_Levels | None] = []
    for i, crest in enumerate(at.tolist()):
        if crest < 3 or crest > n - 5:
            levels.append(None)
            continue
        k = int(gradient[i, crest].argmax())
        own = profiles[i, :, k].tolist(), change[i, :, k].tolist(), strength[i].tolist()
        levels.append(_levels_about(*own, crest, sign))
    pairs = [(each.low, each.high) for each in levels if each]
    tones = tone(np.array(pairs, np.float32).reshape(-1, 2))
    steps = iter(np.abs(tones[:, 0].astype(np.float64) - tones[:, 1]).tolist())
    return [None if each is None else (each.crossing, next(steps)) for each in levels]


@dataclass(frozen=True)
class _Levels:
    """Linear light on both sides of an edge, and where (px) it crosses half way between."""

    low: float
    high: float
    crossing: float


def _levels_about(
    p: list[float], change: list[float], force: list[float], at: int, sign: int
) -> _Levels | None:
    """Return the levels of the edge whose crest is `at`, by one channel; None where it is none."""
    centre = at + 1
    left = centre - _rest(force[: at + 1][::-1])
    right = centre + _rest(force[at:])
    if left < 1 or right > len(p) - 2:
        return None
    low = _middle(p[max(0, left - 2) : left + 1])
    high = _middle(p[right - 1 : right + 2])
    if sign:
        # Past a narrow border another step may begin, the other way: the border's own level is
        # the last one before it.
        back = 0.3 * force[at]
        if max(-sign * each for each in change[max(0, left - 2) : left + 1]) > back:
            low = -sign * min(-sign * each for each in p[left:centre])
        if max(-sign * each for each in change[right - 1 : right + 2]) > back:
            high = -sign * max(-sign * each for each in p[centre : right + 1])
    if low == high or sign * (high - low) > 0:
        return None
    crossing = _crossing(
        p, left - 1, right + 2, (low + high) / 2, 1.0 if high > low else -1.0, centre
    )
    return None if crossing is None else _Levels(low, high, crossing)


def _crossing(
    p: list[float], first: int, end: int, middle: float, way: float, centre: int
) -> float | None:
    """Return where (px) a profile crosses a level nearest to its crest, None where it does not.

    first, end: where it is looked for; way: +1 where it rises, -1 where it falls.
    """
    s = [(each - middle) * way for each in p[first:end]]
    rising = [j for j in range(len(s) - 1) if s[j] < 0 <= s[j + 1]]
    if not rising:
        return None
    j = min(rising, key=lambda each: abs(each + first + 1 - centre))
    return first + j + 0.5 - s[j] / (s[j + 1] - s[j])


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
