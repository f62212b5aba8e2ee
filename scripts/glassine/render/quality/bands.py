"""Banding: rows or columns of a master that are lighter or darker along their whole length."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Frame, MasterGeometry
from glassine.masters import colour, ranks
from glassine.render.quality.patches import Floats

Doubles = npt.NDArray[np.float64]
# Left, top, right, bottom, px.
Box = tuple[int, int, int, int]

# What changes more slowly than this (sigma, px of the reduced master) is light or film, not
# banding: bands of 120 px keep nine tenths of their RMS, those of 160 px two thirds.
SLOW_PX = 40.0
# A strip of base tells of rows where it is at least so long and so many times as long as wide, and
# has so many pixels in a row; two strips lie so far apart at least; px.
LEAST_LENGTH, SLENDER, LEAST_WIDTH, APART = 160, 2.0, 8, 100
# Rows that two strips must share.
LEAST_ROWS = 120
# A region's edge that is left out, px. Marks count up to so many usual differences.
MARGIN, CUT = 2, 2.5
# Banding of this RMS (%) must be seen by three deviations, else its absence is not known.
MUST_SEE = 0.5
# Where the picture itself is read, at half the size: segments of a row that must agree; parts of
# its length; the least rows and columns of a segment; what changes more
# slowly is picture (sigma, px).
SEGMENTS, PARTS, LEAST_SEGMENT, PICTURE_SLOW_PX = 12, 12, (80, 6), 15.0
# Banding is there over all of a frame, waves and boards over some of it: what counts of the parts.
EVERYWHERE = 1 / 3
# In the picture this RMS (%) must be ruled out by three quarters of the pairs of segments.
MUST_SEE_IN_PICTURE = 2.0
# Base beside a picture that varies by less than this share of what the picture shows denies that it
# is banding: over this share of the picture's rows at least, and where this share of its pixels at
# most is at an end of the scale, at which nothing varies.
DENIES, LEAST_BESIDE, MOST_CLIPPED = 1 / 3, 0.5, 0.01


@dataclass(frozen=True)
class Banding:
    """RMS (%) of banding in light, of rows and of columns; None: not seen."""

    rows: float | None
    columns: float | None

    def larger(self) -> float | None:
        return max((v for v in (self.rows, self.columns) if v is not None), default=None)


def of_base(
    codes: npt.NDArray[np.generic],
    encoding: colour.Encoding,
    geometry: MasterGeometry,
    scale: float,
) -> Banding:
    """Return banding as strips of film base on both sides of a picture show it.

    codes: of the reduced master (h, w, bands), `scale` master pixels a pixel. What two strips on
    both sides have in common, row by row, is of no picture: the mean of their product is the
    variance of banding, whatever their grain. None where no two strips face each other, or they
    are so short, narrow or uneven that banding of MUST_SEE may hide.
    """
    found = [_piece(codes, encoding, region, scale) for region in geometry.base_regions]
    pieces = [piece for piece in found if piece is not None]
    turned = [piece.turned() for piece in pieces]
    return Banding(_facing(pieces, codes.shape[0]), _facing(turned, codes.shape[1]))


def base_varies(
    codes: npt.NDArray[np.generic],
    encoding: colour.Encoding,
    geometry: MasterGeometry,
    frame: Frame,
    scale: float,
    *,
    columns: bool,
) -> float | None:
    """Return by how much (RMS, %) rows of film base beside a frame vary at most, grain and all.

    Bands of lamp and sensor run over the whole width of a master, and so over this base; lines of
    the subject do not. None where no strip of base is beside enough of the frame's rows. Of several
    strips, the one that varies most.
    """
    quad = np.array(frame.corners, float) / scale
    left, top, right, bottom = _inner_box(quad, codes.shape[:2])
    first, last = (left, right) if columns else (top, bottom)
    seen = []
    for region in geometry.base_regions:
        piece = _piece(codes, encoding, region, scale)
        if piece is None or _is_clipped(codes, piece):
            continue
        piece = piece.turned() if columns else piece
        strip = _strip(piece, codes.shape[1 if columns else 0])
        if strip is None:
            continue
        mean, weight = strip.mean[first:last], strip.weight[first:last]
        if np.count_nonzero(weight) >= max(LEAST_ROWS, LEAST_BESIDE * (last - first)):
            seen.append(_percent(float((mean**2 * weight).sum() / weight.sum())))
    return max(seen, default=None)


def _is_clipped(codes: npt.NDArray[Any], piece: _Piece) -> bool:
    high, wide = piece.mask.shape
    part = codes[piece.top : piece.top + high, piece.left : piece.left + wide][piece.mask > 0]
    ends = (part == 0) | (part == np.iinfo(codes.dtype).max)
    return bool(ends.mean() > MOST_CLIPPED)


@dataclass(frozen=True)
class _Piece:
    """Density of a region of base about its own even course; 0 beyond it. left, top: px."""

    left: int
    top: int
    rest: Floats
    mask: npt.NDArray[np.uint8]

    def turned(self) -> _Piece:
        return _Piece(self.top, self.left, self.rest.T, self.mask.T)


def _piece(
    codes: npt.NDArray[np.generic], encoding: colour.Encoding, region: object, scale: float
) -> _Piece | None:
    quad = np.array(region, float) / scale
    left, top = np.maximum(np.floor(quad.min(axis=0)), 0).astype(int)
    right, bottom = np.ceil(quad.max(axis=0)).astype(int)
    box = codes[top:bottom, left:right]
    if min(box.shape[:2]) < LEAST_WIDTH or max(box.shape[:2]) < LEAST_LENGTH:
        return None
    mask = np.zeros(box.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.round((quad - (left, top) - 0.5) * 16).astype(np.int32), 1, shift=4)
    kernel = np.ones((2 * MARGIN + 1, 2 * MARGIN + 1), np.uint8)
    mask = np.asarray(
        cv2.erode(mask, kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0.0), np.uint8
    )
    if np.count_nonzero(mask) < LEAST_WIDTH * LEAST_ROWS:
        return None
    density = encoding.density(np.ascontiguousarray(box)).mean(axis=2)
    if density.shape[0] < density.shape[1]:
        return _Piece(int(left), int(top), _even(density.T, mask.T).T, mask)
    return _Piece(int(left), int(top), _even(density, mask), mask)


def _even(density: Floats, mask: npt.NDArray[np.uint8]) -> Floats:
    """Return density less its course along the rows (third degree) and across; marks cut down."""
    along, across = (np.linspace(-1.0, 1.0, count) for count in density.shape)
    y, x = np.nonzero(mask[::3, ::3])
    values = density[::3, ::3][y, x].astype(np.float64)
    u, v = along[3 * y], across[3 * x]
    terms = np.stack([np.ones_like(u), u, u**2, u**3, v, u * v], axis=1)
    weight = np.ones(len(values))
    for _ in range(3):
        course = np.linalg.lstsq(terms * weight[:, None], values * weight, rcond=None)[0]
        off = np.abs(values - terms @ course)
        weight = 1.0 / np.sqrt(np.maximum(1.0, off / (2.0 * np.median(off) + 1e-9)))
    middle, slope = np.polyval(course[3::-1], along), course[4] + course[5] * along
    fit = middle[:, None] + slope[:, None] * across[None]
    rest = density - fit.astype(np.float32)
    limit = CUT * float(np.median(np.abs(rest[mask > 0]))) + 1e-6
    return np.asarray(np.where(mask > 0, np.clip(rest, -limit, limit), 0.0), np.float32)


@dataclass(frozen=True)
class _Strip:
    """place: of its first pixel across the rows; mean (less what changes slowly), weight: by row"""

    place: int
    mean: Doubles
    weight: Doubles


def _strip(piece: _Piece, rows: int) -> _Strip | None:
    """Return a piece along rows; None for one that is too short, or not slender."""
    high, wide = piece.rest.shape
    if high < LEAST_LENGTH or high < SLENDER * wide:
        return None
    weight, total = np.zeros(rows), np.zeros(rows)
    weight[piece.top : piece.top + high] = piece.mask.sum(axis=1, dtype=np.float64)
    total[piece.top : piece.top + high] = piece.rest.sum(axis=1, dtype=np.float64)
    known = weight >= LEAST_WIDTH
    if np.count_nonzero(known) < LEAST_ROWS:
        return None
    weight, total = np.where(known, weight, 0.0), np.where(known, total, 0.0)
    around = _slow(total, SLOW_PX) / np.maximum(_slow(weight, SLOW_PX), 1e-9)
    mean = np.where(known, total / np.maximum(weight, 1.0) - around, 0.0)
    return _Strip(piece.left, mean, weight)


def _facing(pieces: list[_Piece], rows: int) -> float | None:
    """Return the RMS (%) of what rows of facing strips share; None where none tells."""
    found = [_strip(piece, rows) for piece in pieces]
    strips = sorted((strip for strip in found if strip is not None), key=lambda each: each.place)
    seen = [
        _common(one, other)
        for number, one in enumerate(strips)
        for other in strips[number + 1 :]
        if other.place - one.place >= APART
    ]
    return max((value for value in seen if value is not None), default=None)


def _common(one: _Strip, other: _Strip) -> float | None:
    weight = np.sqrt(one.weight * other.weight)
    both = weight > 0
    if np.count_nonzero(both) < LEAST_ROWS:
        return None
    product, weight = (one.mean * other.mean * weight)[both], weight[both]
    parts = np.sort(
        [
            p.sum() / w.sum()
            for p, w in zip(
                np.array_split(product, PARTS), np.array_split(weight, PARTS), strict=True
            )
        ]
    )[1:-1]
    variance, deviation = float(parts.mean()), float(parts.std() * 1.3 / np.sqrt(len(parts)))
    most = _percent(variance + 3.0 * deviation)
    if variance < 3.0 * deviation and most > MUST_SEE:
        return None
    return _percent(variance)


def _slow(values: Doubles, sigma: float) -> Doubles:
    kernel = cv2.getGaussianKernel(2 * int(2.5 * sigma) + 1, sigma)[:, 0]
    reach = len(kernel) // 2
    return np.convolve(values, kernel)[reach:-reach]


def _percent(variance: float) -> float:
    """Return a variance of density as the RMS (%) of light."""
    return float(np.sqrt(max(variance, 0.0)) * np.log(10.0) * 100.0)


# ------------------------------------------------------------------ where no base is seen


def of_picture(plane: Floats, frame: Frame, scale: float, *, columns: bool) -> float | None:
    """Return the RMS (%) of banding by what the quiet parts of rows of a picture have in common.

    plane: density (h, w) of the reduced master, whose rows banding follows, however the frame
    leans. Segments of a row that do not touch are compared, where the picture has no edges along
    the row. Brick, windows, or waves have something in common too: this tells strong banding alone,
    and says None where three quarters of the segments do not rule out that it is there.
    """
    box = _inner_box(np.array(frame.corners, float) / scale, plane.shape)
    inner = plane[box[1] : box[3], box[0] : box[2]]
    if min(inner.shape) < 2:
        return None
    half = cv2.resize(inner, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    return _along_rows(np.ascontiguousarray(half.T if columns else half))


def _inner_box(quad: Doubles, shape: tuple[int, ...]) -> Box:
    """Return left, top, right, bottom of the upright box in a frame, a margin taken off."""
    x, y = np.sort(quad[:, 0]), np.sort(quad[:, 1])
    left, right = int(np.ceil(x[1])) + 8, int(np.floor(x[2])) - 8
    top, bottom = int(np.ceil(y[1])) + 8, int(np.floor(y[2])) - 8
    return max(left, 0), max(top, 0), min(right, shape[1]), min(bottom, shape[0])


def _along_rows(density: Floats) -> float | None:
    high, wide = LEAST_SEGMENT
    if density.shape[0] < high or density.shape[1] < SEGMENTS * wide:
        return None
    total, count = _quiet_means(density)
    mean = total / np.maximum(count, wide)
    weight = np.where(count >= wide, count, 0.0)
    pairs = [(one, other) for one in range(SEGMENTS) for other in range(one + 2, SEGMENTS)]
    ones, others = (np.array(side) for side in zip(*pairs, strict=True))
    both = np.sqrt(weight[ones] * weight[others])
    told = np.count_nonzero(both, axis=1) >= 40
    if np.count_nonzero(told) < 6:
        return None
    both, shared = both[told], (mean[ones] * mean[others])[told]
    everywhere, usual = _of_parts(shared, both)
    sizes = both.sum(axis=1).tolist()
    quarter = _percent(_of_pairs(everywhere, sizes, 0.25))
    # Lines that half of the height shows may hide bands, though they are none.
    most = _percent(_of_pairs(usual, sizes, 0.75))
    return None if quarter <= MUST_SEE_IN_PICTURE < most else quarter


def _of_parts(shared: Doubles, weight: Doubles) -> tuple[list[float], list[float]]:
    """Return of each pair (n, rows) what EVERYWHERE of its PARTS and half of them show at most."""
    ends = np.array_split(np.arange(shared.shape[1]), PARTS)
    sums, weights = (
        np.stack([values[:, part[0] : part[-1] + 1].sum(axis=1) for part in ends], axis=1)
        for values in (shared * weight, weight)
    )
    seen = weights > 0
    parts = np.sort(np.where(seen, sums / np.where(seen, weights, 1.0), np.inf), axis=1)
    everywhere, usual = np.empty(len(parts)), np.empty(len(parts))
    counts = seen.sum(axis=1)
    for count in set(counts.tolist()):
        alike = counts == count
        everywhere[alike] = np.quantile(parts[alike, :count], EVERYWHERE, axis=1)
        usual[alike] = np.median(parts[alike, :count], axis=1)
    return everywhere.tolist(), usual.tolist()


def _of_pairs(values: list[float], sizes: list[float], share: float) -> float:
    """Return the value that `share` of the pairs, weighed by size, do not pass."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(np.array(sizes)[order]) / np.sum(sizes)
    return values[int(order[int(np.searchsorted(reached, share))])]


def _quiet_means(density: Floats) -> tuple[Doubles, Doubles]:
    """Return sum and count (SEGMENTS, rows) of what is quiet, less what changes slowly."""
    smooth = cv2.GaussianBlur(density, (0, 0), 1.0)
    step = np.abs(cv2.Sobel(smooth, cv2.CV_32F, 1, 0, ksize=1))
    busy = cv2.blur(step, (5, 5))
    quiet = (busy < 1.6 * np.quantile(busy[::4, ::4], 0.25)).astype(np.float32)
    share = _slow_plane(quiet)
    good = (quiet > 0) & (share > 0.3)
    rest = np.where(good, density - _slow_plane(density * quiet) / np.maximum(share, 1e-3), 0.0)
    limit = CUT * float(ranks.median(np.abs(rest[good]))) if good.any() else 0.0
    rest = np.clip(rest, -limit, limit)
    wide = density.shape[1] // SEGMENTS * SEGMENTS
    shape = (len(density), SEGMENTS, -1)
    total = rest[:, :wide].reshape(shape).sum(axis=2, dtype=np.float64).T
    return total, good[:, :wide].reshape(shape).sum(axis=2).astype(np.float64).T


def _slow_plane(plane: Floats) -> Floats:
    """Return what changes slowly along the columns of a plane: three means, near a Gaussian."""
    side = 2 * int(PICTURE_SLOW_PX) + 1  # three boxes of 31 px have a sigma of 15.5 px
    edge = cv2.BORDER_REFLECT
    for _ in range(3):
        plane = np.asarray(cv2.blur(plane, (1, side), borderType=edge))
    return plane
