"""A few full-resolution patches of a frame: where there is detail, and where it is flat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Frame
from glassine.masters import colour

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

Pixels = npt.NDArray[Any]
Floats = npt.NDArray[np.float32]

PATCH_PX = 384
DETAIL_PATCHES = 6
FLAT_PATCHES = 3
# Of the reduced master every so many rows and columns tell where there is detail.
EVERY = 3


@dataclass(frozen=True)
class Patch:
    """A piece of the master at full resolution.

    codes: (h, w, bands) as stored; density: float32, same shape; left, top: master pixels.
    """

    left: int
    top: int
    codes: Pixels
    density: Floats


def inside(
    shape: tuple[int, ...], frame: Frame, scale: float, inset: float
) -> npt.NDArray[np.bool_]:
    """Return a mask of an image at 1/scale of the master: True inside the frame, shrunk."""
    quad = np.array(frame.corners, float) / scale
    quad = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (1 - 2 * inset)
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillConvexPoly(mask, np.round((quad - 0.5) * 16).astype(np.int32), 1, shift=4)
    return mask.astype(bool)


def _candidates(source: Source, frame: Frame, side: int) -> list[tuple[int, int]]:
    """Return left, top of boxes of `side` px, half overlapping, that lie inside the frame."""
    quad = np.array(frame.corners, float)
    quad = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * 0.96
    low = np.maximum(np.floor(quad.min(axis=0)), 0)
    high = np.minimum(np.ceil(quad.max(axis=0)), [source.width, source.height])
    polygon = quad.astype(np.float32)
    places = []
    step = max(side // 2, int(max(high - low)) // 24)
    for top in range(int(low[1]), max(int(high[1]) - side, int(low[1])) + 1, step):
        for left in range(int(low[0]), max(int(high[0]) - side, int(low[0])) + 1, step):
            ends = [(left + dx, top + dy) for dx in (0, side) for dy in (0, side)]
            if all(
                cv2.pointPolygonTest(polygon, (float(x), float(y)), False) >= 0 for x, y in ends
            ):
                places.append((left, top))
    return places


def pick(
    source: Source, frame: Frame, encoding: colour.Encoding, plane: Floats
) -> tuple[list[Patch], list[Patch]]:
    """Return (patches with most detail, flattest patches), spread over the frame.

    plane: density of the reduced master, by which they are chosen. Small frames get smaller
    patches; a frame below 72 px gives none.
    """
    quad = np.array(frame.corners, float)
    short = float(min(np.linalg.norm(quad[1] - quad[0]), np.linalg.norm(quad[3] - quad[0])))
    side = int(min(PATCH_PX, short // 3))
    if side < 24:
        return [], []
    places = _candidates(source, frame, side)
    scores = _busy(plane, places, side, source.reduction)
    order = sorted(range(len(places)), key=lambda number: (-scores[number], number))
    detail = _spread([places[number] for number in order], side, DETAIL_PATCHES)
    flat = _spread([places[number] for number in reversed(order)], side, FLAT_PATCHES)
    patches = [_read(source, place, side, encoding) for place in detail]
    return patches, [_read(source, place, side, encoding) for place in flat]


def _busy(plane: Floats, places: list[tuple[int, int]], side: int, reduction: float) -> list[float]:
    """Return how much detail the reduced master shows in each box: the mean step of density."""
    part = np.ascontiguousarray(plane[::EVERY, ::EVERY])
    steps = np.zeros(part.shape, np.float32)
    steps[:-1, :-1] = cv2.absdiff(part[1:, :-1], part[:-1, :-1])
    steps[:-1, :-1] += cv2.absdiff(part[:-1, 1:], part[:-1, :-1])
    total = cv2.integral(steps, sdepth=cv2.CV_64F)
    high, wide = part.shape
    scale = reduction * EVERY
    size = max(int(side / scale), 3)
    scores = []
    for place in places:
        left, top = int(place[0] / scale), int(place[1] / scale)
        right, bottom = min(left + size - 1, wide), min(top + size - 1, high)
        count = max((right - left) * (bottom - top), 1)
        box = total[bottom, right] - total[top, right] - total[bottom, left] + total[top, left]
        scores.append(float(box) / count)
    return scores


def _spread(places: list[tuple[int, int]], side: int, count: int) -> list[tuple[int, int]]:
    """Return the first `count` places that do not overlap one taken before."""
    chosen: list[tuple[int, int]] = []
    for left, top in places:
        apart = all(abs(left - x) >= side or abs(top - y) >= side for x, y in chosen)
        if apart:
            chosen.append((left, top))
        if len(chosen) == count:
            break
    return chosen


def _read(source: Source, place: tuple[int, int], side: int, encoding: colour.Encoding) -> Patch:
    codes = source.region(place[0], place[1], side, side)
    codes = codes[..., None] if codes.ndim == 2 else codes
    return Patch(place[0], place[1], codes, encoding.density(codes))
