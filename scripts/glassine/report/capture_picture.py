"""A master that no step has looked at, as a person sees it; asked in a process of its own."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np

from glassine.base import naming
from glassine.base.errors import GlassineError
from glassine.locate.encoding import linear_table, table_of
from glassine.locate.step import PREVIEW_QUALITY, preview_of
from glassine.locate.view import Floats
from glassine.masters import colour, labels, opening

prepare = labels.prepare


def write(source: str, target: str, max_pixels: str) -> bool:
    """Write a master's picture to `target` as a JPEG, its long edge at most 1600 px.

    max_pixels: a whole number as text; a master with more is refused. Raises GlassineError for a
    file that is no sound master.
    """
    samples = labels.samples_of(Path(source), max_pixels)
    shape = samples.reshape(*samples.shape[:2], -1)
    shown = preview_of(shape, _table(Path(source), shape.shape[2]))
    content = cv2.imencode(".jpg", shown[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, PREVIEW_QUALITY])[1]
    Path(target).write_bytes(np.asarray(content).tobytes())
    return True


def _table(path: Path, bands: int) -> Floats:
    """Return the light of 16-bit codes; of a profile that cannot be used, that of sRGB."""
    if naming.is_raw(path.name):
        return linear_table("linear")
    try:
        icc = opening.icc_profile(opening.open_image(path))
        return table_of(colour.encoding_of(icc, None, 16, bands))
    except GlassineError:  # the steps hold the master for it; it is recognised all the same
        return linear_table(None)
