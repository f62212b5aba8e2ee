"""Whether two captures show the same thing: their pictures compared, laid upon each other.

Two frames of one roll may show the same view a moment apart, and pass for each other at a glance;
a capture made again shows the same grain, dust and edges. All captures of one holder share its
edges and perforations, which are the strongest details of soft pictures. So both are laid upon each
other and compared block by block: each counts alike, however strong its details are, and a fifth of
the blocks that disagree decide.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
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
# Frames cropped by their own edges (`of_frames`). In drawn captures made again all but a twentieth
# of the blocks agree by 0.8 and more, in views of which a part moved mostly by less than 0.6
# (`tests/benchmarks/run identity-alike`).
SAME_FRAME = 0.75
_FRAME_QUANTILE, _FRAME_SMOOTH_PX, _LEAST_SHARE_OF_FRAME = 0.05, 3.0, 0.3
# Details of a block against its noise: the clearest that enough blocks reach.
_ABOVE_NOISE = (10.0, 7.0, 5.0, 4.0)
_FRAME_PX = (480, 360)
# Share of the sides; crops of one frame differ by less.
_MOST_APART, _TRIM_PX = 0.03, 8
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


@dataclass(frozen=True)
class _Frame:
    """A frame's picture of one size: grey, and the deviation that noise has there, smoothed."""

    grey: Floats
    noise: Floats

    def turned(self) -> _Frame:
        return _Frame(*(np.ascontiguousarray(np.rot90(e, 2)) for e in (self.grey, self.noise)))


def of_frames(one: Floats, other: Floats) -> float | None:
    """Return how alike the pictures of two frames are, 1 for the same, upright or upside down; None
    where too little of them has detail to say.

    Both are grey from 0 to 1, lie down, and are cropped by the frames' own edges, so they lie
    nearly upon each other: what lies further apart was framed anew by the camera. They may be
    inverted, whose noise grows with density; blocks count whose details stand well above the noise
    there. Where nearly all of these agree (`SAME_FRAME`), nobody walks, and no wave and no branch
    has moved: it is one exposure.
    """
    first, second = _frame(one), _frame(other)
    both = (second, second.turned())
    known = [like for each in both if (like := _near_by(first, each)) is not None]
    return max(known, default=None)


def _frame(grey: Floats) -> _Frame:
    """Return a picture at `_FRAME_PX`. Noise is measured before it is enlarged, as none of its
    finest would be left, and grows by as much when it is smoothed."""
    width, height = _FRAME_PX
    enlarged = max(1.0, width / grey.shape[1], height / grey.shape[0])
    small = np.asarray(cv2.resize(grey, _FRAME_PX, interpolation=cv2.INTER_AREA), np.float32)
    finest = _finest(small if enlarged == 1.0 else grey)
    left = enlarged / (2 * np.sqrt(np.pi) * _FRAME_SMOOTH_PX)
    noise = cv2.resize(finest, _FRAME_PX, interpolation=cv2.INTER_AREA) * left
    return _Frame(small, np.asarray(noise, np.float32))


def _near_by(one: _Frame, other: _Frame) -> float | None:
    first, second = (cv2.GaussianBlur(e.grey, (0, 0), _FRAME_SMOOTH_PX) for e in (one, other))
    dx, dy = _nearby(first, second)
    x, y = int(abs(dx)) + _TRIM_PX, int(abs(dy)) + _TRIM_PX

    def laid(grey: Any, more_x: float = 0.0, more_y: float = 0.0) -> Floats:
        back = np.array([[1, 0, -dx - more_x], [0, 1, -dy - more_y]], np.float64)
        return _blocks(cv2.warpAffine(grey, back, _FRAME_PX)[y:-y, x:-x])

    fixed, there = _blocks(first[y:-y, x:-x]), laid(second)
    noise = np.maximum(_blocks(one.noise[y:-y, x:-x]).mean(1), laid(other.noise).mean(1))
    limits = (np.maximum(_LEAST_DETAIL, above * noise) for above in _ABOVE_NOISE)
    tried = (_that_say(fixed, there, least, _LEAST_SHARE_OF_FRAME) for least in limits)
    said = next((each for each in tried if each is not None), None)
    if said is None:
        return None
    moved = (laid(second, a, b)[said] for a in _STEPS_PX for b in _STEPS_PX)
    best = np.max([_agree(fixed[said], each) for each in moved], 0)
    return float(np.quantile(best, _FRAME_QUANTILE))


def _nearby(one: Any, other: Any) -> tuple[float, float]:
    """Return how far (px) the other lies from the one, of all places within `_MOST_APART`: by the
    phase of a noisy picture it would lie anywhere. one, other: smoothed."""
    x, y = (round(side * _MOST_APART) for side in _FRAME_PX)
    places = cv2.matchTemplate(_details(other), _details(one)[y:-y, x:-x], cv2.TM_CCORR_NORMED)
    best = cv2.minMaxLoc(places)[3]
    return float(best[0] - x), float(best[1] - y)


def _finest(grey: Floats) -> Floats:
    """Return a picture whose mean over a block is the deviation of white noise there: Immerkaer
    (1996)."""
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    return np.asarray(np.abs(cv2.filter2D(grey, -1, kernel)) * (np.sqrt(np.pi / 2) / 6), np.float32)


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
    said = _that_say(fixed, there, max(_LEAST_DETAIL, 3 * noise), _LEAST_SHARE)
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


def _that_say(
    one: Floats, other: Floats, least: float | npt.NDArray[np.float64], least_share: float
) -> npt.NDArray[np.bool_] | None:
    """Return which blocks have details in one of two pictures, None where they are too few."""
    if not len(one):
        return None
    says = np.maximum(_uneven(one).std(1), _uneven(other).std(1)) > least
    means, top = np.stack([one.mean(1), other.mean(1)]), max(one.max(), other.max())
    void = ~says & ((means.max(0) < _MASK) | (means.min(0) > _BARE * top))
    count = int(says.sum())
    few = count < _LEAST_BLOCKS or count < least_share * int((~void).sum())
    return None if few else says


def _agree(one: Floats, other: Floats) -> npt.NDArray[np.float64]:
    """Return the correlation of the details of each block."""
    first, second = _uneven(one), _uneven(other)
    spread = first.std(1) * second.std(1) + 1e-9
    return np.asarray((first * second).mean(1) / spread, np.float64)
