"""A drawn light table as a camera sees it, and what is found on it."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Facts, MasterGeometry
from glassine.locate import locate_array


def locate(light: npt.NDArray[np.float32], ppi: float | None = None) -> MasterGeometry:
    """Return the frames on a table. light: (h, w, 3), the bare lamp is 1; soft by 0.7 px, with noise
    of 0.08 % of the light."""
    r = np.random.default_rng(8)
    soft = cv2.GaussianBlur(light, (0, 0), 0.7) + 0.0008 * r.standard_normal(light.shape)
    pixels = np.round(np.clip(soft, 0, 1) * 65535).astype(np.uint16)
    return locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear"),
        ppi,
        {},
    )
