"""Medians and percentiles, to the last bit as numpy gives them, but faster.

Of large arrays numpy sorts all values by half. Here a sample tells between which two values the
wanted one lies; the others are only counted. Of small ones numpy's own checks take longer than the
sorting.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt

# Of fewer values no sample is taken; so large is the sample, at most each so many of them, and so
# many of its places to either side of the wanted one are looked between (three times their standard
# deviation, at most).
LEAST = 3_000
SAMPLE, EACH, BESIDE = 4_096, 8, 96


def median(values: npt.NDArray[Any]) -> np.floating[Any]:
    """Return what `np.median` gives of float values of any shape, none of them NaN."""
    n = values.size
    if not n or values.dtype.kind != "f":
        return _scalar(np.median(values))
    low, high = _ranked(values, (n - 1) // 2, n // 2)
    return _scalar((low + high) / 2 if n % 2 == 0 else low)


def percentile(values: npt.NDArray[Any], per_cent: float) -> np.floating[Any]:
    """Return what `np.percentile` gives of float values of any shape, none of them NaN."""
    if not values.size or values.dtype.kind != "f":
        return _scalar(np.percentile(values, per_cent))
    place = (values.size - 1) * (per_cent / 100)
    first = math.floor(place)
    low, high = _ranked(values, first, min(first + 1, values.size - 1))
    # numpy's own interpolation, in the type of the values: from the nearer of the two.
    share, apart = place - first, high - low
    return _scalar(high - apart * (1 - share) if share >= 0.5 else low + apart * share)


def _scalar(value: Any) -> np.floating[Any]:
    """Return a number of the type of the values, which further sums are made in."""
    number: np.floating[Any] = value
    return number


def _ranked(values: npt.NDArray[Any], first: int, last: int) -> tuple[Any, Any]:
    """Return the values at two places (from 0, one after the other or the same) of their order."""
    flat = values.ravel()
    if flat.size < LEAST:
        near = np.partition(flat, (first, last))
        return near[first], near[last]
    sample = np.sort(flat[:: max(EACH, len(flat) // SAMPLE)])
    place = first * len(sample) // len(flat)
    low = sample[place - BESIDE] if place >= BESIDE else -np.inf
    high = sample[place + BESIDE] if place + BESIDE < len(sample) else np.inf
    below = int(np.count_nonzero(flat < low))
    near = flat[(flat >= low) & (flat <= high)]
    if not below <= first <= last < below + len(near):
        near, below = flat.copy(), 0  # the sample misled: its places repeat a pattern, say
    near.partition((first - below, last - below))
    return near[first - below], near[last - below]


def of_codes(counts: npt.NDArray[np.int64], per_cent: float) -> float:
    """Return what `np.percentile` gives of whole numbers. counts: how often each occurs, from 0."""
    total = np.cumsum(counts)
    place = (int(total[-1]) - 1) * (per_cent / 100)
    first = math.floor(place)
    low, high = (int(np.searchsorted(total, rank, "right")) for rank in (first, math.ceil(place)))
    share, apart = place - first, high - low
    return float(high - apart * (1 - share) if share >= 0.5 else low + apart * share)
