"""What is seen on the reduced master: light, density range, dust."""

from __future__ import annotations

from functools import reduce
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Frame, MasterGeometry
from glassine.masters import colour, ranks

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

Pixels = npt.NDArray[Any]


# A piece of base whose light is this far (share) from what the even course of light over the
# master says is no base: the edge of a picture, of the film, tape, a notch.
NO_BASE = 0.02


def light_falloff(
    source: Source, geometry: MasterGeometry, encoding: colour.Encoding
) -> float | None:
    """Return the unevenness (%) of light over the master: (highest - lowest) / mean.

    Read from the film base: its regions are cut into pieces, the median of each counts. Light
    changes slowly over the master: pieces that a smooth course through most of them does not
    explain are left out (marks, dust). The base lies at the edges, where light differs less from
    place to place than from the middle; so it is the course that counts, over the whole
    master. None where less than eight pieces of base are seen.
    """
    pieces = [piece for r in geometry.base_regions for piece in _pieces(source, r, encoding)]
    if len(pieces) < 8:
        return None
    samples = np.array(pieces)
    size = np.array(source.reduced.shape[1::-1], float)
    on_course = _on_course(samples, size)
    if np.count_nonzero(on_course) < 8:
        return None
    terms = _terms(samples[on_course, :2], size)
    level = np.log(np.maximum(samples[on_course, 2], 1e-6))
    # A little of ridge: few pieces in one line tell nothing of the course across it.
    rows = np.vstack([terms, np.diag([0.0, 0.01, 0.01, 0.01])])
    course = np.linalg.lstsq(rows, np.concatenate([level, np.zeros(4)]), rcond=None)[0]
    y, x = np.mgrid[0.02:0.98:25j, 0.02:0.98:25j]
    everywhere = np.stack([x.ravel() * size[0], y.ravel() * size[1]], axis=1)
    light = np.exp(_terms(everywhere, size) @ course)
    return float((light.max() - light.min()) / light.mean() * 100)


# Of so many parts of a master's width and height the light of the base is kept, each part's once.
KEPT_PARTS = 10


def base_light(
    source: Source, geometry: MasterGeometry, encoding: colour.Encoding
) -> list[tuple[float, float, float]]:
    """Return (x, y, log10 of light) of the base of a master, for the course over a batch.

    Places are shares of its width and height; the median of each part of it where base is seen.
    Marks are still among them.
    """
    wide, high = source.reduced.shape[1::-1]
    parts: dict[tuple[int, int], list[tuple[float, float, float]]] = {}
    for region in geometry.base_regions:
        for x, y, light in _pieces(source, region, encoding):
            place = (x / wide, y / high)
            part = (int(place[1] * KEPT_PARTS), int(place[0] * KEPT_PARTS))
            parts.setdefault(part, []).append((*place, float(np.log10(max(light, 1e-6)))))
    medians = [np.median(np.array(parts[part]), axis=0) for part in sorted(parts)]
    return [(round(float(x), 4), round(float(y), 4), round(float(v), 5)) for x, y, v in medians]


def _pieces(
    source: Source, region: Any, encoding: colour.Encoding
) -> list[tuple[float, float, float]]:
    """Return (x, y, light) of pieces of a base region; they are no wider than the region."""
    quad = np.array(region, float) / source.reduction
    middle = quad.mean(axis=0)
    quad = (middle + (quad - middle) * 0.8).astype(np.float32)
    left, top = np.maximum(np.floor(quad.min(axis=0)), 0).astype(int)
    right, bottom = np.ceil(quad.max(axis=0)).astype(int)
    box = source.reduced[top:bottom, left:right]
    if box.size == 0:
        return []
    light = encoding.band_linear(box, min(1, source.bands - 1))
    mask = np.zeros(box.shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.round((quad - (left, top) - 0.5) * 16).astype(np.int32), 1, shift=4)
    sides = np.linalg.norm(np.roll(quad, -1, axis=0) - quad, axis=1)
    side = max(2, min(16, int(sides.max()) // 8))
    pieces = []
    for y in range(0, max(box.shape[0] - side, 0) + 1, side):
        for x in range(0, max(box.shape[1] - side, 0) + 1, side):
            base = light[y : y + side, x : x + side][mask[y : y + side, x : x + side] > 0]
            if len(base) >= min(side * side / 4, side * sides.min() / 3, 16):
                place = (float(left + x + side / 2), float(top + y + side / 2))
                pieces.append((*place, float(ranks.median(base))))
    return pieces


def _terms(
    place: npt.NDArray[np.float64], size: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return the terms (n, 4) of a plane and a bowl about the middle of a master of that size."""
    off = (place - size / 2) / (np.hypot(*size) / 2)
    return np.column_stack([np.ones(len(off)), off, (off**2).sum(axis=1)])


def _on_course(
    pieces: npt.NDArray[np.float64], size: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """Return which pieces (x, y, light) lie on a smooth course of light through most of them.

    A plane and a bowl, by least squares with less weight for what is far off (Cauchy), from
    the median on. size: (width, height) of the reduced master.
    """
    terms = _terms(pieces[:, :2], size)
    level = np.log(np.maximum(pieces[:, 2], 1e-6))
    course = np.full(len(level), np.median(level))
    for _ in range(20):
        off = level - course
        usual = max(float(np.median(np.abs(off))), NO_BASE / 4)
        weight = 1.0 / np.sqrt(1.0 + (off / usual) ** 2)
        # A little of ridge: few pieces in one line tell nothing of the course across it.
        rows = np.vstack([terms * weight[:, None], np.diag([0.0, 0.01, 0.01, 0.01])])
        values = np.concatenate([level * weight, np.zeros(3), [0.0]])
        course = terms @ np.linalg.lstsq(rows, values, rcond=None)[0]
    return np.asarray(np.abs(level - course) < NO_BASE)


def density_range(
    source: Source, mask: npt.NDArray[np.bool_], encoding: colour.Encoding
) -> tuple[float, float]:
    """Return the lowest and highest density in the frame (0.1 and 99.9 %), visual channel."""
    step = max(1, int(np.sqrt(np.count_nonzero(mask) / 200_000)))
    codes = source.reduced[::step, ::step][mask[::step, ::step]]
    seen = (codes if len(codes) else source.reduced[mask])[None]
    density = colour.density(encoding.band_linear(seen, min(1, source.bands - 1)))
    return float(ranks.percentile(density, 0.1)), float(ranks.percentile(density, 99.9))


def clipped(codes: Pixels, bits: int) -> tuple[float, float]:
    """Return the share (%) of pixels with a channel at the end of its range: (high, low).

    High: full scale, or a lower code at which pixels pile up (raw values clipped, then scaled).
    """
    full = 2**bits - 1
    flat = codes.reshape(-1, codes.shape[-1])
    # Band by band: numpy's own way along an axis of three takes ten times as long.
    bands = [flat[:, band] for band in range(flat.shape[1])]
    high = np.count_nonzero(reduce(np.maximum, bands) >= full) / len(flat) * 100
    low = np.count_nonzero(reduce(np.minimum, bands) == 0) / len(flat) * 100
    return max(float(high), _plateau(flat, bits)), float(low)


def base_clipped(source: Source, geometry: MasterGeometry) -> float | None:
    """Return the share (%) of film base at full scale in a channel; None where none is seen."""
    full, shares = 2**source.bits - 1, []
    for region in geometry.base_regions:
        quad = np.array(region, float) / source.reduction
        left, top = np.maximum(np.floor(quad.min(axis=0)), 0).astype(int)
        right, bottom = np.ceil(quad.max(axis=0)).astype(int)
        box = source.reduced[top:bottom, left:right]
        mask = np.zeros(box.shape[:2], np.uint8)
        inner = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * 0.8 - (left, top) - 0.5
        cv2.fillConvexPoly(mask, np.round(inner * 16).astype(np.int32), 1, shift=4)
        codes = box[mask.astype(bool)]
        if len(codes):
            shares.append(float(np.mean((codes >= full * 0.999).any(axis=1)) * 100))
    return max(shares) if shares else None


def _plateau(flat: Pixels, bits: int) -> float:
    """Return the share (%) of pixels piled up at the highest code that occurs in a channel."""
    shares = [0.0]
    for band in range(flat.shape[1]):
        counts = np.bincount(flat[:, band], minlength=2**bits)
        top = int(np.flatnonzero(counts).max())
        below = counts[max(0, top - max(top // 64, 8)) : top]
        if counts[top] > 20 and counts[top] > 10 * max(below.max(initial=0), 1):
            shares.append(float(counts[top]) / len(flat) * 100)
    return max(shares)


# Other marks within 20 px of a speck that leave it a speck: more are a pattern of the picture.
FELLOWS = 2
# A speck stands out so many times as far as anything else within 10 px of it.
ALONE = 2.5


def _grey(rendered: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Return the mean (h, w) of the bands of a picture, rounded down."""
    if rendered.ndim == 2:
        return np.ascontiguousarray(rendered)
    bands = [rendered[..., band] for band in range(rendered.shape[2])]
    total = reduce(np.add, bands[1:], bands[0].astype(np.uint16))
    return np.ascontiguousarray((total // np.uint16(len(bands))).astype(np.uint8))


def dust(rendered: npt.NDArray[np.uint8]) -> int:
    """Return how many small specks and thin lines stand out of the rendered frame.

    They are brighter or darker than a 7 px median by more than eight times the usual
    difference in their neighbourhood, at most 60 px in area, and alone: windows, rigging,
    leaves and the edges of things come many together or lie on something that stands out
    itself. Specks on such detail are not counted.
    """
    grey = _grey(rendered)
    if min(grey.shape) < 32:
        return 0
    rest = np.abs(grey.astype(np.float32) - cv2.medianBlur(grey, 7))
    usual = cv2.blur(rest, (41, 41))
    marks = (rest > np.maximum(8 * usual, 24)).astype(np.uint8)
    count, labels, stats, centres = cv2.connectedComponentsWithStats(marks, connectivity=8)
    peak = np.zeros(count, np.float32)
    np.maximum.at(peak, labels[marks > 0], rest[marks > 0])
    spread = cv2.dilate(marks, np.ones((5, 5), np.uint8))
    surroundings = cv2.dilate(rest * (spread == 0), np.ones((21, 21), np.uint8))
    x, y = np.round(centres[1:]).astype(int).T
    places = np.zeros(grey.shape, np.float32)
    np.add.at(places, (y, x), 1.0)
    crowd = cv2.boxFilter(places, -1, (41, 41), normalize=False, borderType=cv2.BORDER_CONSTANT)
    alone = (peak[1:] > ALONE * surroundings[y, x]) & (crowd[y, x] < FELLOWS + 1.5)
    return int(np.count_nonzero(alone & (stats[1:, cv2.CC_STAT_AREA] <= 60)))


def skew_left(frame: Frame) -> float:
    """Return by how much (deg) the four sides together still lean after turning by the angle."""
    corners = np.array(frame.corners, float)
    sides = np.roll(corners, -1, axis=0) - corners
    angles = np.degrees(np.arctan2(sides[:, 1], sides[:, 0])) - 90.0 * np.arange(4)
    lean = (angles - frame.angle_deg + 180.0) % 360.0 - 180.0
    return float(abs(lean.mean()))
