"""What is seen of a frame before its tone is planned, in the reduced master."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Corners, Frame
from glassine.masters import colour

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

Floats = npt.NDArray[np.float64]
Pixels = npt.NDArray[Any]

# At most so many pixels of a frame are looked at; more change no percentile that is used here.
MAX_SAMPLES = 60_000
# The look at a picture's steps is taken at about this many pixels on the long edge.
PICTURE_PX = 400


@dataclass(frozen=True)
class Look:
    """What was seen of one frame: codes (n, bands), and linear light (n, bands).

    calm: linear light (n, bands) with grain and dust taken out by a median of 3 x 3 px.
    picture: density of the upright box about the frame's middle, reduced, (h, w, 3); None for
    grey masters and for boxes too small to tell anything. base: density of the film base of its
    master, per band, where frames of several masters are looked at together; None for one master,
    whose film says it.
    """

    frame: Frame
    codes: Pixels
    light: Floats
    calm: Floats
    picture: Floats | None
    base: tuple[float, ...] | None = None

    @cached_property
    def calm_density(self) -> Floats:
        """Density (n, bands) of what is calm: asked for by each estimate of the film."""
        return colour.density(self.calm)


def inside(shape: tuple[int, ...], corners: Corners, reduction: float, inset: float) -> Pixels:
    """Return a mask of the reduced master: True inside `corners`, shrunk by the share `inset`."""
    quad = np.array(corners, float) / reduction
    quad = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (1 - 2 * inset)
    mask = np.zeros(shape[:2], np.uint8)
    # fillConvexPoly counts from pixel centres; the sixteenth is its fixed-point unit.
    cv2.fillConvexPoly(mask, np.round((quad - 0.5) * 16).astype(np.int32), 1, shift=4)
    return mask.astype(bool)


def codes_inside(reduced: Pixels, corners: Corners, reduction: float, inset: float) -> Pixels:
    """Return codes (n, bands) inside `corners`, as `inside` tells them, row by row; only the box
    about them is looked at."""
    quad = np.array(corners, float) / reduction
    quad = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (1 - 2 * inset)
    sixteenths = np.round((quad - 0.5) * 16).astype(np.int32)
    size = np.array(reduced.shape[1::-1])
    first = np.clip(sixteenths.min(axis=0) // 16 - 1, 0, size)
    last = np.clip(sixteenths.max(axis=0) // 16 + 3, first, size)
    box = reduced[first[1] : last[1], first[0] : last[0]]
    mask = np.zeros(box.shape[:2], np.uint8)
    if mask.size:
        cv2.fillConvexPoly(mask, (sixteenths - first * 16).astype(np.int32), 1, shift=4)
    return np.asarray(box[mask.astype(bool)])


def look(source: Source, frame: Frame, encoding: colour.Encoding) -> Look:
    """Return what is seen of `frame` in the reduced master, 4 % away from its edges."""
    reduced = source.reduced
    mask = inside(reduced.shape, frame.corners, source.reduction, 0.04)
    # Every so many rows and columns: few pixels are gathered of large frames.
    step = max(1, int(np.sqrt(np.count_nonzero(mask) / MAX_SAMPLES)))
    codes = reduced[::step, ::step][mask[::step, ::step]]
    if len(codes) == 0:
        codes = reduced[::step, ::step].reshape(-1, reduced.shape[-1])
    codes = codes[:: max(1, -(-len(codes) // MAX_SAMPLES))]
    light = encoding.linear(codes[None])[0].astype(np.float64)
    calm = encoding.linear(_calm(reduced, mask)[None])[0].astype(np.float64)
    return Look(frame, codes, light, calm, _picture(source, frame, encoding))


def _calm(reduced: Pixels, mask: Pixels) -> Pixels:
    """Return codes (n, bands) of `reduced` inside `mask`, each the median of 3 x 3 px."""
    if not mask.any():
        mask = np.ones_like(mask)
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    box = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    smooth = cv2.medianBlur(np.ascontiguousarray(reduced[box]), 3)
    places = np.flatnonzero(mask[box])
    places = places[:: max(1, -(-len(places) // MAX_SAMPLES))]
    return np.asarray(smooth.reshape(mask[box].size, -1)[places])


def _picture(source: Source, frame: Frame, encoding: colour.Encoding) -> Floats | None:
    """Return density of the largest upright box inside the frame, about PICTURE_PX long."""
    quad = np.array(frame.corners, float) / source.reduction
    middle = quad.mean(axis=0)
    low = np.sort(quad, axis=0)[1] * 0.96 + middle * 0.04
    high = np.sort(quad, axis=0)[2] * 0.96 + middle * 0.04
    left, top = np.clip(np.ceil(low), 0, None).astype(int)
    right, bottom = np.floor(high).astype(int)
    box = source.reduced[top:bottom, left:right]
    if source.bands < 3 or min(box.shape[:2]) < 24:
        return None
    shrink = min(1.0, PICTURE_PX / max(box.shape[:2]))
    small = cv2.resize(box, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return colour.density(encoding.linear(small))
