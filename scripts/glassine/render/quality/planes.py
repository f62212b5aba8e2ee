"""One plane of density of the reduced master, for what needs the whole frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Frame, MasterGeometry
from glassine.masters import colour
from glassine.render.quality.patches import Floats

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

# So much of the film around a frame is taken along, px of the reduced master: a scratch goes on
# there, a thing in the picture does not.
MARGIN = 40


@dataclass(frozen=True)
class Upright:
    """A frame, upright, with MARGIN px of what lies around it.

    density: (h, w); base: whether that place is film base, same shape; margin: px.
    """

    density: Floats
    base: npt.NDArray[np.bool_]
    margin: int

    def picture(self) -> Floats:
        """Return the frame's density without its margin and its outermost pixels."""
        m = self.margin + min(8, min(self.density.shape) // 2 - self.margin - 1)
        return np.ascontiguousarray(self.density[m:-m, m:-m])


def density(source: Source, encoding: colour.Encoding) -> Floats:
    """Return the density (h, w) of the reduced master, visual channel."""
    return encoding.band_density(source.reduced, min(1, source.bands - 1))


def upright(plane: Floats, geometry: MasterGeometry, frame: Frame, scale: float) -> Upright:
    """Cut a frame out of a plane at 1 / scale of the master, turned upright."""
    quad = np.array(frame.corners, float) / scale
    across = (quad[1] - quad[0] + quad[2] - quad[3]) / 2
    down = (quad[3] - quad[0] + quad[2] - quad[1]) / 2
    width, height = int(np.hypot(*across)), int(np.hypot(*down))
    angle = float(np.arctan2(across[1], across[0]))
    cos, sin = np.cos(angle), np.sin(angle)
    turn = np.array([[cos, -sin], [sin, cos]])
    size = (width + 2 * MARGIN, height + 2 * MARGIN)
    start = quad.mean(axis=0) - turn @ np.array([size[0] / 2, size[1] / 2])
    # From the corner origin of coordinates to the pixel centres of OpenCV, and back.
    shift = start + turn @ np.array([0.5, 0.5]) - 0.5
    matrix = np.column_stack([turn, shift])
    if abs(angle) < 2e-3:
        matrix[:, 2] = np.round(matrix[:, 2])
        cut = _box(plane, (int(matrix[0, 2]), int(matrix[1, 2])), size)
    else:
        flags = cv2.WARP_INVERSE_MAP | cv2.INTER_CUBIC
        cut = np.asarray(
            cv2.warpAffine(plane, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        )
    there = np.zeros(size[::-1], np.uint8)
    for region in geometry.base_regions:
        corners = (np.array(region, float) / scale - 0.5 - matrix[:, 2]) @ turn
        cv2.fillConvexPoly(there, np.round(corners * 16).astype(np.int32), 1, shift=4)
    return Upright(cut, there > 0, MARGIN)


def _box(plane: Floats, start: tuple[int, int], size: tuple[int, int]) -> Floats:
    """Return the box from `start` (x, y) on of `size`; what lies beyond the plane is its edge."""
    ends = [
        np.clip(np.arange(start[k], start[k] + size[k]), 0, plane.shape[1 - k] - 1) for k in (0, 1)
    ]
    (left, right), (top, bottom) = ((int(end[0]), int(end[-1]) + 1) for end in ends)
    inner = plane[top:bottom, left:right]
    before = [int(np.count_nonzero(end[1:] == end[0]) * (end[0] == 0)) for end in ends]
    missing = [size[k] - inner.shape[1 - k] - before[k] for k in (0, 1)]
    around = ((before[1], missing[1]), (before[0], missing[0]))
    return np.pad(inner, around, mode="edge") if any(map(any, around)) else inner.copy()
