"""Whether two captures show the same thing: their pictures compared, laid upon each other.

Two frames of one roll may show the same view a moment apart, and pass for each other at a glance;
a capture made again shows the same grain, dust and edges. So both are compared fine and after they
were laid upon each other, by the correlation of their details (high-pass), not of their light.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters import labels

Floats = npt.NDArray[np.float32]

_EDGE_PX = 512
# Correlation of the details of two captures of one thing; drawn captures made again reach 0.9 and
# more, two frames of one view a moment apart stay below 0.5 (tests/unit/intake/test_retakes.py).
SAME = 0.7
# Details are what is finer than this; a capture of nothing has none.
_COARSE_PX = 6.0
_LEAST_DETAIL = 0.004


def compare(one: str, other: str, max_pixels: str) -> float | None:
    """Return how alike the pictures of two masters are, 1 for the same; None where one of them has
    too little detail to say.

    max_pixels: as in `labels.read_master`. Raises GlassineError for a file that is no sound master.
    """
    first, second = (_fine(Path(path), max_pixels) for path in (one, other))
    return correlation(first, second)


def _fine(path: Path, max_pixels: str) -> Floats:
    return reduced(labels.samples_of(path, max_pixels))


def reduced(samples: npt.NDArray[Any]) -> Floats:
    """Return a picture as grey from 0 to 1 (square root of its codes), long edge 512 px."""
    planes = samples.reshape(*samples.shape[:2], -1)
    scale = _EDGE_PX / max(planes.shape[:2])
    size = (max(8, round(planes.shape[1] * scale)), max(8, round(planes.shape[0] * scale)))
    small = cv2.resize(planes, size, interpolation=cv2.INTER_AREA).reshape(size[1], size[0], -1)
    full = float(np.iinfo(samples.dtype).max)
    return np.asarray(np.sqrt(small.astype(np.float32) / full).mean(axis=2), np.float32)


def correlation(one: Floats, other: Floats) -> float | None:
    """Return the correlation of two pictures' details after the other was moved upon the one."""
    if one.shape != other.shape:
        if one.shape != other.shape[::-1]:
            return 0.0
        other = np.ascontiguousarray(np.rot90(other))
    first, second = _details(one), _details(other)
    if min(float(first.std()), float(second.std())) < _LEAST_DETAIL:
        return None
    window = cv2.createHanningWindow(first.shape[::-1], cv2.CV_32F)
    turned = (second, np.ascontiguousarray(np.rot90(second, 2)))
    return max(_laid(first, each, window) for each in turned)


def _details(grey: Floats) -> Floats:
    return np.asarray(grey - cv2.GaussianBlur(grey, (0, 0), _COARSE_PX), np.float32)


def _laid(one: Floats, other: Floats, window: Any) -> float:
    (dx, dy), _ = cv2.phaseCorrelate(one, other, window)
    height, width = one.shape
    if abs(dx) > width / 4 or abs(dy) > height / 4:
        return 0.0
    back = np.array([[1, 0, -dx], [0, 1, -dy]], np.float64)
    moved = cv2.warpAffine(other, back, (width, height))
    x, y = int(abs(dx)) + 4, int(abs(dy)) + 4
    first, second = one[y:-y, x:-x].ravel(), np.asarray(moved)[y:-y, x:-x].ravel()
    if first.size < 100 or not (first.std() and second.std()):
        return 0.0
    return float(np.corrcoef(first, second)[0, 1])
