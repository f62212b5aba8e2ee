"""The size that the catalogue states, as a hint to the scale where nothing else says it.

It moves no frame and is never laid over what was seen, over a header or over batch.yaml. It counts
where one piece was found with its outline, whose sides are to each other as those of the size.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from glassine.base import film
from glassine.base.model import MasterGeometry
from glassine.locate import scale
from glassine.locate.scale import Scale
from glassine.locate.shapes import lengths_of, order

# How far (share) the shape of the outline may be off that of the size: plates are cut by hand, and
# nominal inches are rounded (common practice, no source).
OFF = 0.04


def hinted(geometry: MasterGeometry, size_mm: tuple[float, float] | None) -> MasterGeometry:
    """Return the geometry with the scale by the catalogue's size, as it is where that cannot be.

    size_mm: shorter and longer side, None where the catalogue states none.
    """
    if size_mm is None or geometry.ppi is not None or len(geometry.frames) != 1:
        return geometry
    if geometry.object_corners is None:
        return geometry
    long, short = lengths_of(order(np.array(geometry.object_corners, np.float64)))
    short_mm, long_mm = size_mm
    if short <= 0 or abs(math.log(long / short * short_mm / long_mm)) > OFF:
        return geometry
    found = Scale(math.sqrt(long * short / (long_mm * short_mm)) * film.MM_PER_INCH, "catalogue")
    if not scale.plausible(found, max(geometry.width, geometry.height)):
        return geometry
    notes = (*geometry.notes, scale.unconfirmed(found))
    return replace(geometry, ppi=found.ppi, ppi_source=found.source, notes=notes)
