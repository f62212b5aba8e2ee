"""Banding: rows or columns of a master that are lighter or darker along their whole length."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import MasterGeometry
from glassine.masters import colour
from glassine.render.quality.patches import Floats

Doubles = npt.NDArray[np.float64]
# Left, top, right, bottom, px.
Box = tuple[int, int, int, int]

# What changes more slowly than this (sigma, px) is light or picture, not banding.
SLOW_PX = 11.0
# A strip of base tells of rows where it is at least so wide and so long, px.
LEAST_WIDTH, LEAST_LENGTH = 8, 160
# Segments of a row that must agree; parts of its length of which the median counts.
SEGMENTS, PARTS = 12, 12


def of_base(
    codes: npt.NDArray[np.generic],
    encoding: colour.Encoding,
    geometry: MasterGeometry,
    scale: float,
) -> float | None:
    """Return the RMS (%) of banding in light, read from strips of film base on both sides.

    codes: of the reduced master (h, w, bands), `scale` master pixels a pixel. What two strips on
    both sides of a picture have in common, row by row, is of no picture: the mean of their product
    is the variance of banding, whatever their grain. The larger of rows and columns; None where no
    two strips face each other.
    """
    turned = codes.swapaxes(0, 1)
    found = [
        _facing(codes, encoding, geometry, scale, turned=False),
        _facing(turned, encoding, geometry, scale, turned=True),
    ]
    seen = [value for value in found if value is not None]
    return max(seen) if seen else None


def _facing(
    codes: npt.NDArray[np.generic],
    encoding: colour.Encoding,
    geometry: MasterGeometry,
    scale: float,
    *,
    turned: bool,
) -> float | None:
    strips = []
    for region in geometry.base_regions:
        quad = np.array(region, float)[:, :: -1 if turned else 1] / scale
        box = _inner_box(quad, codes.shape)
        if box[2] - box[0] >= LEAST_WIDTH and box[3] - box[1] >= LEAST_LENGTH:
            strips.append(box)
    strips.sort()
    pairs = [
        _common(codes, encoding, one, other)
        for number, one in enumerate(strips)
        for other in strips[number + 1 :]
        if one[2] <= other[0]
    ]
    seen = [value for value in pairs if value is not None]
    return max(seen) if seen else None


def _inner_box(quad: Doubles, shape: tuple[int, ...]) -> Box:
    """Return left, top, right, bottom of the upright box in a region, a margin taken off."""
    x, y = np.sort(quad[:, 0]), np.sort(quad[:, 1])
    left, right = int(np.ceil(x[1])) + 2, int(np.floor(x[2])) - 2
    top, bottom = int(np.ceil(y[1])) + 2, int(np.floor(y[2])) - 2
    return max(left, 0), max(top, 0), min(right, shape[1]), min(bottom, shape[0])


def _common(
    codes: npt.NDArray[np.generic], encoding: colour.Encoding, one: Box, other: Box
) -> float | None:
    top, bottom = max(one[1], other[1]), min(one[3], other[3])
    if bottom - top < LEAST_LENGTH:
        return None
    product = np.ones(bottom - top)
    for left, _, right, _ in (one, other):
        strip = encoding.density(np.ascontiguousarray(codes[top:bottom, left:right]))
        product = product * _profile(np.ascontiguousarray(strip.mean(axis=2)))
    parts = np.sort([part.mean() for part in np.array_split(product, 10)])
    return _percent(float(parts[1:-1].mean()))


def _profile(strip: Floats) -> Doubles:
    """Return the mean of each row of a strip, less what changes slowly; marks cut down."""
    rest = strip - _slow(strip)
    limit = 2.5 * float(np.median(np.abs(rest))) + 1e-6
    return np.asarray(np.clip(rest, -limit, limit).mean(axis=1, dtype=np.float64))


def _slow(plane: Floats) -> Floats:
    kernel = cv2.getGaussianKernel(65, SLOW_PX, cv2.CV_32F)
    edge = cv2.BORDER_REFLECT
    return np.asarray(
        cv2.sepFilter2D(plane, cv2.CV_32F, np.ones(1, np.float32), kernel, borderType=edge)
    )


def _percent(variance: float) -> float:
    """Return a variance of density as the RMS (%) of light."""
    return float(np.sqrt(max(variance, 0.0)) * np.log(10.0) * 100.0)


def of_picture(density: Floats) -> float | None:
    """Return the RMS (%) of banding by what the quiet parts of rows of a picture have in common.

    Segments of a row that do not touch are compared, where the picture has no edges along the
    row. Brick, windows, or waves have something in common too: this tells strong banding alone.
    """
    found = [_along_rows(density), _along_rows(np.ascontiguousarray(density.T))]
    seen = [value for value in found if value is not None]
    return max(seen) if seen else None


def _along_rows(density: Floats) -> float | None:
    if density.shape[0] < LEAST_LENGTH or density.shape[1] < SEGMENTS * LEAST_WIDTH:
        return None
    total, count = _quiet_means(density)
    mean = total / np.maximum(count, LEAST_WIDTH)
    weight = np.where(count >= LEAST_WIDTH, count, 0.0)
    values, sizes = [], []
    for one in range(SEGMENTS):
        for other in range(one + 2, SEGMENTS):
            both = np.sqrt(weight[one] * weight[other])
            if np.count_nonzero(both) < 60:
                continue
            parts = [
                float((p * w).sum() / w.sum())
                for p, w in zip(
                    np.array_split(mean[one] * mean[other], PARTS),
                    np.array_split(both, PARTS),
                    strict=True,
                )
                if w.sum() > 0
            ]
            values.append(float(np.median(parts)))
            sizes.append(float(both.sum()))
    if len(values) < 6:
        return None
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(np.array(sizes)[order]) / np.sum(sizes)
    return _percent(values[order[int(np.searchsorted(reached, 0.25))]])


def _quiet_means(density: Floats) -> tuple[Doubles, Doubles]:
    """Return sum and count (SEGMENTS, rows) of what is quiet, less what changes slowly."""
    smooth = cv2.GaussianBlur(density, (0, 0), 2.0)
    step = np.abs(cv2.filter2D(smooth, cv2.CV_32F, np.array([[-0.5, 0.0, 0.5]], np.float32)))
    busy = cv2.blur(step, (9, 9))
    quiet = (busy < 1.6 * np.quantile(busy[::4, ::4], 0.25)).astype(np.float32)
    share = _slow(quiet)
    good = (quiet > 0) & (share > 0.3)
    rest = np.where(good, density - _slow(density * quiet) / np.maximum(share, 1e-3), 0.0)
    limit = 2.5 * float(np.median(np.abs(rest[good]))) if good.any() else 0.0
    rest = np.clip(rest, -limit, limit)
    wide = density.shape[1] // SEGMENTS * SEGMENTS
    shape = (len(density), SEGMENTS, -1)
    total = rest[:, :wide].reshape(shape).sum(axis=2, dtype=np.float64).T
    return total, good[:, :wide].reshape(shape).sum(axis=2).astype(np.float64).T
