"""Whether a picture shows one view twice or thrice, as stereo pairs and colour separations do.

What is compared is fine structure against its own surroundings, so that one exposure may be denser
than the next, or taken through another filter.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.view import Floats

# Rows that a picture is looked at with: structure of a few pixels is compared.
ROWS = 240
# Least and greatest step from one view to the next, share of the length: two to three views.
STEPS = (0.28, 0.58)
# How far the views may lie apart sideways, share of the width.
ASIDE = 0.06


@dataclass(frozen=True)
class Repeat:
    """step: rows from one view to the next; likeness: correlation (1: the same); next_best: the
    greatest correlation of any other step.
    """

    step: float
    likeness: float
    next_best: float

    @property
    def plain(self) -> bool:
        """Whether the view comes again: far more alike by this step than by any other."""
        return self.likeness > 0.4 and self.next_best < 0.5 * self.likeness


def structure(small: Floats) -> Floats:
    """Return (n, m) fine structure: tone against its surroundings, of even contrast all over."""
    sigma = max(2.0, 0.02 * max(small.shape))
    fine = cv2.GaussianBlur(small, (0, 0), 0.8)
    rest = fine - cv2.GaussianBlur(small, (0, 0), sigma)
    spread = np.sqrt(cv2.GaussianBlur(rest * rest, (0, 0), 2 * sigma))
    floor = max(0.3 * float(np.median(spread)), 0.01)
    return np.asarray(np.clip(rest / (spread + floor), -3, 3), np.float32)


def repeat(grey: Floats) -> Repeat:
    """Return the step down (n, m) tones by which the picture is most like itself."""
    n, m = grey.shape
    scale = ROWS / n
    size = int(np.clip(round(m * scale), 8, ROWS)), ROWS
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR)
    table = _table(structure(np.asarray(small, np.float32)))
    low = round(STEPS[0] * ROWS)
    best = table.max(1)
    at = int(best.argmax())
    step = low + at
    steps = low + np.arange(len(best))
    away = np.abs(steps - step) > 0.05 * ROWS
    away &= np.abs(steps - 2 * step) > 0.05 * ROWS
    rest = float(best[away].max()) if away.any() else 0.0
    return Repeat(step / scale, float(best[at]), rest)


def _table(p: Floats) -> npt.NDArray[np.float64]:
    """Return the correlation of structure with itself by step down (rows) and aside (columns)."""
    n, m = p.shape
    aside = max(1, round(ASIDE * m))
    high, wide = cv2.getOptimalDFTSize(2 * n), cv2.getOptimalDFTSize(m + 2 * aside + 1)
    spectrum = np.fft.rfft2(p, (high, wide))
    whole = np.fft.irfft2(spectrum * np.conj(spectrum), (high, wide))
    steps = np.arange(round(STEPS[0] * n), round(STEPS[1] * n) + 1)
    columns = np.arange(-aside, aside + 1) % wide
    table = whole[steps][:, columns]
    power = np.concatenate([[0.0], np.cumsum((p.astype(np.float64) ** 2).sum(1))])
    first, last = power[n - steps], power[n] - power[steps]
    return np.asarray(table / np.maximum(np.sqrt(first * last), 1e-6)[:, None])
