"""What a session's captures of the bare light table and of the dark tell of lamp, lens and sensor.

Fall-off of the lens and colour of the lamp change slowly over the picture: a polynomial and a
smooth remainder, fitted so that dust of the table, which film captures do not show at that place,
is kept out. What is left of single pixels are those that do not work.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters.raws import Raw

Floats = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# Side of the blocks that are averaged, px of one colour's plane, and how many should fit into the
# short side at least.
_BLOCK, _BLOCKS = 16, 24
# Degree of the polynomial in both directions together, for many blocks and for few.
_DEGREE, _DEGREE_FEW, _FEW = 6, 3, 400
# Rows of a plane at least in which the light is worked out; between them it is taken as straight,
# which a fall-off of 35 % misses by less than 4 of 100,000.
_LINES = 128
# Blocks further from the polynomial than so many robust deviations are no table.
_FAR, _LEAST_DEVIATION = 5.0, 0.0015
_SMOOTH_BLOCKS = 3.0
# How far a block of a bare table may be from the polynomial, as a share of it: lamps and lenses are
# smoother (common practice, no source).
_NO_TABLE = 0.02
# What is so much brighter than the table about it is the bare table itself, where all else shows
# film; share of blocks that may be: no dust and no lens makes any.
_BARE, _MOST_BARE = 0.05, 0.002
# From this share of the sensor's range on the noise of an even light is cut at its white level.
_CLIPPED = 0.98
# Robust deviations from the 5 x 5 pixels about it from which on a pixel does not work: 400 of 400
# were found so, none falsely (measured on drawn sensors).
_DEAD = 8.0
# Pixels that touch: more of them are dust on the table and no pixels that do not work.
_MOST_TOUCHING = 6
_MAD = 1.4826  # of a normal distribution


@dataclass(frozen=True)
class Field:
    """Light of the bare table at each place, by the places (2, 2) of the sensor's pattern.

    size: width, height in px of the sensor. planes: of each place (row by row), the coefficients of
    the polynomial (n, n) and the remainder on the grid of blocks (rows, columns). peak: the most
    light in each colour, red, green, blue, share of the sensor's range. least: the least over the
    most, the same of all colours. strange: share of blocks that are no bare table. clipped: share
    of blocks at the white level.
    """

    size: tuple[int, int]
    block: int
    planes: tuple[tuple[Floats, Floats], ...]
    peak: tuple[float, float, float]
    least: float
    strange: float
    clipped: float

    def rows(self, place: int, top: int, bottom: int) -> npt.NDArray[np.float32]:
        """Return the light (share of the sensor's range) in rows top to bottom of a plane."""
        height = self.size[1] // 2
        step = max(1, height // _LINES)
        at = np.arange(top, bottom)
        first, last = top // step, -(-(bottom - 1) // step)
        lines = self._lines(place, np.arange(first, last + 1) * step)
        if step == 1:
            return lines
        above = at // step - first
        below = np.minimum(above + 1, lines.shape[0] - 1)
        share = ((at % step) * (1.0 / step)).astype(np.float32)[:, None]
        light = lines[below]
        light -= lines[above]
        light *= share
        light += lines[above]
        return np.asarray(light)

    def _lines(self, place: int, at: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
        """Return the light in single rows of a plane; one may lie below its last row."""
        coefficients, remainder = self.planes[place]
        width, height = self.size[0] // 2, self.size[1] // 2
        x, y = _unit(np.arange(width), width), _unit(at, height)
        # Rounded to float32: a sum of products may differ in its last bit between processors.
        smooth = np.polynomial.chebyshev.chebgrid2d(y, x, coefficients).astype(np.float32)
        smooth *= _spread(remainder, self.block, at, width)
        return smooth


def _unit(places: npt.NDArray[Any], count: int) -> Floats:
    """Return pixels (their centres) as -1 to 1."""
    return (np.asarray(places, np.float64) + 0.5) * (2.0 / count) - 1.0


def _spread(
    grid: Floats, block: int, rows: npt.NDArray[np.int64], width: int
) -> npt.NDArray[np.float32]:
    """Return the grid of blocks at each pixel of some rows, straight between their centres."""
    down = _weights(rows, block, grid.shape[0])
    across = _weights(np.arange(width), block, grid.shape[1])
    values = grid.astype(np.float32)
    first, share = down
    lines = values[first] + (values[first + 1] - values[first]) * share[:, None]
    first, share = across
    return lines[:, first] + (lines[:, first + 1] - lines[:, first]) * share[None]


def _weights(
    places: npt.NDArray[np.int64], block: int, count: int
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float32]]:
    at = np.clip((places + 0.5) / block - 0.5, 0.0, count - 1.0)
    first = np.minimum(at.astype(np.int64), count - 2)
    return first, (at - first).astype(np.float32)


def planes_of(raw: Raw) -> list[npt.NDArray[np.uint16]]:
    """Return the samples at each place of the pattern, row by row; all of the same size."""
    height, width = (side // 2 * 2 for side in raw.sensor.shape[:2])
    return [raw.sensor[down:height:2, across:width:2] for down in (0, 1) for across in (0, 1)]


def field_of(raw: Raw) -> Field:
    """Return the light of the bare table from its capture, a mosaic (h, w)."""
    assert raw.pattern is not None
    height, width = (side // 2 * 2 for side in raw.sensor.shape[:2])
    block = max(2, min(_BLOCK, min(height, width) // 2 // _BLOCKS))
    fitted, peaks, leasts, strange, clipped = [], np.zeros(3), [], [], []
    for place, plane in enumerate(planes_of(raw)):
        black = raw.black.ravel()[place]
        means = (_block_means(plane, block) - black) / (raw.white - black)
        coefficients, remainder, odd = _fit(means, block, plane.shape)
        fitted.append((coefficients, remainder))
        whole = _on_blocks(coefficients, block, means.shape, plane.shape) * remainder
        colour = int(raw.pattern.ravel()[place])
        peaks[colour] = max(peaks[colour], float(whole.max()))
        leasts.append(float(whole.min() / whole.max()) if whole.max() > 0 else 0.0)
        strange.append(odd)
        # Of blocks, since single hot pixels are no light that was clipped.
        clipped.append(float(np.mean(means > _CLIPPED)))
    return Field(
        (width, height),
        block,
        tuple(fitted),
        (float(peaks[0]), float(peaks[1]), float(peaks[2])),
        min(leasts),
        max(strange),
        max(clipped),
    )


def _block_means(plane: npt.NDArray[np.uint16], block: int) -> Floats:
    """Return the mean of the middle half of each block's samples: specks do not count."""
    rows, columns = plane.shape[0] // block, plane.shape[1] // block
    means = np.empty((rows, columns))
    edge = block * block // 4
    for row in range(rows):
        band = plane[row * block : (row + 1) * block, : columns * block]
        samples = band.reshape(block, columns, block).transpose(1, 0, 2).reshape(columns, -1)
        means[row] = np.sort(samples, axis=1)[:, edge : block * block - edge].mean(axis=1)
    return means


def _basis(block: int, blocks: tuple[int, int], shape: tuple[int, int], degree: int) -> Floats:
    """Return the polynomials (rows x columns of blocks, n) at the centres of blocks."""
    y = _unit((np.arange(blocks[0]) + 0.5) * block - 0.5, shape[0])
    x = _unit((np.arange(blocks[1]) + 0.5) * block - 0.5, shape[1])
    down = np.polynomial.chebyshev.chebvander(y, degree)
    across = np.polynomial.chebyshev.chebvander(x, degree)
    terms = [
        np.outer(down[:, i], across[:, j]).ravel()
        for i in range(degree + 1)
        for j in range(degree + 1 - i)
    ]
    return np.stack(terms, axis=1)


def _fit(means: Floats, block: int, shape: tuple[int, int]) -> tuple[Floats, Floats, float]:
    """Return coefficients, remainder on the grid and share of blocks that are no table."""
    degree = _DEGREE if means.size >= _FEW else _DEGREE_FEW
    basis = _basis(block, (means.shape[0], means.shape[1]), shape, degree)
    values = means.ravel()
    weight = np.ones(values.size)
    for _ in range(8):
        solved, *_rest = np.linalg.lstsq(basis * weight[:, None], values * weight, rcond=None)
        fitted = basis @ solved
        away = values / np.maximum(fitted, 1e-6) - 1.0
        spread = max(_MAD * float(np.median(np.abs(away))), _LEAST_DEVIATION)
        before, weight = weight, np.where(np.abs(away) < _FAR * spread, 1.0, 0.0)
        if np.array_equal(before, weight):
            break
    coefficients = np.zeros((degree + 1, degree + 1))
    places = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    for (i, j), value in zip(places, solved, strict=True):
        coefficients[i, j] = value
    remainder = _smoothed((away + 1.0).reshape(means.shape), weight.reshape(means.shape))
    strange = float(np.mean(np.abs(away) > _NO_TABLE))
    bare = away > _BARE
    if bare.mean() > _MOST_BARE:  # then it is the rest that is no table
        strange = max(strange, 1.0 - float(bare.mean()))
    return coefficients, remainder, strange


def _smoothed(ratio: Floats, weight: Floats) -> Floats:
    """Return the ratio smoothed over blocks of weight; 1 where there are none about."""
    blurred = cv2.GaussianBlur(ratio * weight, (0, 0), _SMOOTH_BLOCKS)
    total = cv2.GaussianBlur(weight, (0, 0), _SMOOTH_BLOCKS)
    return np.where(total > 0.05, blurred / np.maximum(total, 0.05), 1.0)


def _on_blocks(
    coefficients: Floats, block: int, blocks: tuple[int, ...], shape: tuple[int, int]
) -> Floats:
    y = _unit((np.arange(blocks[0]) + 0.5) * block - 0.5, shape[0])
    x = _unit((np.arange(blocks[1]) + 0.5) * block - 0.5, shape[1])
    return np.asarray(np.polynomial.chebyshev.chebgrid2d(y, x, coefficients))


def dead_pixels(raw: Raw) -> Mask:
    """Return (h, w) whether a pixel differs from those of its colour about it as none that works
    does: in the capture of the bare table those that are dead or hot, in a dark one the hot ones.
    """
    found = np.zeros(raw.sensor.shape[:2], np.uint8)
    for place, plane in enumerate(planes_of(raw)):
        black = raw.black.ravel()[place]
        whole = np.ascontiguousarray(plane)
        around = cv2.medianBlur(whole, 5).astype(np.float32)
        # Noise of light grows with its root (counts of photons); in the dark it is the same.
        noise = np.sqrt(np.maximum(around - np.float32(black), np.float32(1.0)))
        away = np.abs(whole.astype(np.float32) - around) / noise
        sample = away[::3, ::3]
        deviation = max(_MAD * float(np.median(sample)), 0.5 / float(np.median(noise)))
        down, across = divmod(place, 2)
        view = found[down : plane.shape[0] * 2 : 2, across : plane.shape[1] * 2 : 2]
        view[away > _DEAD * deviation] = 1
    return _alone(found)


def _alone(found: npt.NDArray[np.uint8]) -> Mask:
    """Return those marked of which no more than a few touch: a speck of dust covers many."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(found, connectivity=8)
    few = stats[:, cv2.CC_STAT_AREA] <= _MOST_TOUCHING
    few[0] = False
    return np.asarray(few[labels]) if count > 1 else np.zeros(found.shape, bool)
