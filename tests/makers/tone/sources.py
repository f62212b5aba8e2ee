"""Masters held in memory, and what locate would hand on of them."""

from __future__ import annotations

import numpy as np

from glassine.base.model import Frame, MasterGeometry
from glassine.masters import colour
from makers import icc_profiles


class ArraySource:
    """A master held in memory."""

    def __init__(self, pixels: np.ndarray) -> None:
        self.pixels = pixels
        self.height, self.width, self.bands = pixels.shape
        self.bits = 16 if pixels.dtype == np.uint16 else 8
        self.reduced = pixels
        self.reduction = 1.0

    def region(self, left: int, top: int, width: int, height: int) -> np.ndarray:
        return self.pixels[top : top + height, left : left + width]


def geometry(
    source: ArraySource, box: tuple[int, int, int, int], process: str, polarity: str = "negative"
) -> MasterGeometry:
    """Return what locate would hand on: one frame, and its borders as film base."""
    left, top, width, height = box
    right, bottom = left + width, top + height
    frame = Frame(
        1,
        ((left, top), (right, top), (right, bottom), (left, bottom)),
        0.0,
        polarity,  # type: ignore[arg-type]
        process,  # type: ignore[arg-type]
    )
    strip = ((2, 2), (source.width - 2, 2), (source.width - 2, top - 2), (2, top - 2))
    return MasterGeometry(
        "a.tif",
        source.width,
        source.height,
        4000.0,
        "tag",
        (frame,),
        base_regions=(strip,) if top > 8 else (),
    )


def linear_profile() -> bytes:
    return icc_profiles.matrix_profile("Linear", colour.srgb_matrix(), np.array([0.0, 1.0]))
