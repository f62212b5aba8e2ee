"""Whether two captures show the same thing: their pictures compared, laid upon each other.

Two frames of one roll may show the same view a moment apart, and pass for each other at a glance;
a capture made again shows the same grain, dust and edges. All captures of one holder share its
edges and perforations, which are the strongest details of soft pictures. So both are laid upon each
other and compared block by block: each counts alike, however strong its details are, and a fifth of
the blocks that disagree decide.
"""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters import labels

Floats = npt.NDArray[np.float32]

# Raised where the answer to two pictures may be another: answers are kept.
VERSION = "1"
_EDGE_PX = 512
# What a fifth of the blocks of two captures stays below; drawn captures made again reach 0.9 and
# more, frames of one view a moment apart stay below 0.85, other pictures in the same holder below
# 0.3 (tests/unit/intake/test_retakes.py, tests/unit/masters/test_alike.py).
SAME = 0.85
_QUANTILE = 0.2
# For the first alignment: details are what is finer than this.
_COARSE_PX = 6.0
_BLOCK_PX = 40
# Grain and noise are smoothed away by this; what is left of white noise then is 1/(2 sqrt(pi) s).
_SMOOTH_PX = 1.5
_NOISE_LEFT = 1 / (2 * np.sqrt(np.pi) * _SMOOTH_PX)
# A block says something where its details exceed this, and three times the noise.
_LEAST_DETAIL = 0.002
# Flat blocks darker than this, or as light as the lightest, are mask or bare light.
_MASK, _BARE = 0.2, 0.97
# As many blocks, and as large a share of those that are no mask, must say something.
_LEAST_BLOCKS, _LEAST_SHARE = 12, 0.7
# Each block may lie off by so much, as film that was laid down again is turned a little.
_STEPS_PX = (-3.0, -1.5, 0.0, 1.5, 3.0)


def prepare() -> None:
    labels.prepare()


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
    """Return how alike two reduced pictures are, 1 for the same, after the other was laid upon the
    one, upright or upside down; None where too little of them has detail to say."""
    if one.shape != other.shape:
        if one.shape != other.shape[::-1]:
            return 0.0
        other = np.ascontiguousarray(np.rot90(other))
    window = cv2.createHanningWindow(one.shape[::-1], cv2.CV_32F)
    turned = (other, np.ascontiguousarray(np.rot90(other, 2)))
    known = [like for each in turned if (like := _laid(one, each, window)) is not None]
    return max(known, default=None)


def _details(grey: Floats) -> Floats:
    return np.asarray(grey - cv2.GaussianBlur(grey, (0, 0), _COARSE_PX), np.float32)


def _noise(grey: Floats) -> float:
    """Return the deviation of the noise of a picture: Immerkaer's kernel (1996), by the median."""
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    return float(np.median(np.abs(cv2.filter2D(grey, -1, kernel)))) / 0.6745 / 6


def _laid(one: Floats, other: Floats, window: Any) -> float | None:
    (dx, dy), _ = cv2.phaseCorrelate(_details(one), _details(other), window)
    height, width = one.shape
    if abs(dx) > width / 4 or abs(dy) > height / 4:
        return 0.0
    noise = _NOISE_LEFT * max(_noise(one), _noise(other))
    first, second = (cv2.GaussianBlur(each, (0, 0), _SMOOTH_PX) for each in (one, other))
    x, y = int(abs(dx)) + 5, int(abs(dy)) + 5

    def moved(more_x: float, more_y: float) -> Floats:
        back = np.array([[1, 0, -dx - more_x], [0, 1, -dy - more_y]], np.float64)
        return _blocks(cv2.warpAffine(second, back, (width, height))[y:-y, x:-x])

    fixed, there = _blocks(first[y:-y, x:-x]), moved(0, 0)
    said = _that_say(fixed, there, max(_LEAST_DETAIL, 3 * noise))
    if said is None:
        return None
    best = np.max([_agree(fixed[said], moved(a, b)[said]) for a in _STEPS_PX for b in _STEPS_PX], 0)
    return float(np.quantile(best, _QUANTILE))


def _blocks(grey: Any) -> Floats:
    """Return the square blocks of a picture, a row each."""
    rows, columns = grey.shape[0] // _BLOCK_PX, grey.shape[1] // _BLOCK_PX
    whole = grey[: rows * _BLOCK_PX, : columns * _BLOCK_PX]
    apart = whole.reshape(rows, _BLOCK_PX, columns, _BLOCK_PX).swapaxes(1, 2)
    return np.asarray(apart.reshape(rows * columns, _BLOCK_PX**2), np.float32)


@functools.cache
def _planes() -> Floats:
    """Return an orthonormal base of what is even or a slope over a block."""
    y, x = np.mgrid[:_BLOCK_PX, :_BLOCK_PX]
    terms = np.stack([np.ones(_BLOCK_PX**2), x.ravel(), y.ravel()], 1)
    return np.asarray(np.linalg.qr(terms)[0], np.float32)


def _uneven(blocks: Floats) -> Floats:
    """Return blocks less their mean and slope: a light that falls off says nothing."""
    return np.asarray(blocks - (blocks @ _planes()) @ _planes().T, np.float32)


def _that_say(one: Floats, other: Floats, least: float) -> npt.NDArray[np.bool_] | None:
    """Return which blocks have details in one of two pictures, None where they are too few."""
    if not len(one):
        return None
    says = np.maximum(_uneven(one).std(1), _uneven(other).std(1)) > least
    means, top = np.stack([one.mean(1), other.mean(1)]), max(one.max(), other.max())
    void = ~says & ((means.max(0) < _MASK) | (means.min(0) > _BARE * top))
    count = int(says.sum())
    few = count < _LEAST_BLOCKS or count < _LEAST_SHARE * int((~void).sum())
    return None if few else says


def _agree(one: Floats, other: Floats) -> npt.NDArray[np.float64]:
    """Return the correlation of the details of each block."""
    first, second = _uneven(one), _uneven(other)
    spread = first.std(1) * second.std(1) + 1e-9
    return np.asarray((first * second).mean(1) / spread, np.float64)
