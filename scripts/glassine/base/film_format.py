"""The trade's names for sizes of sheets, plates and slides, by the measured outline of a piece."""

from __future__ import annotations

import math
from dataclasses import dataclass

from glassine.base import film
from glassine.base.model import MasterGeometry

SIZES: dict[str, tuple[film.Size, ...]] = {
    "sheet": film.SHEETS,
    "plate": film.PLATES,
    "lantern": film.LANTERN,
    "mounted_slide": (film.MOUNT,),
}
# What a scale rests on that was not itself taken from the size of such a piece.
_INDEPENDENT = {
    "perforations": "perforations",
    "batch": "the resolution that batch.yaml states",
    "tag": "the resolution in the file's header",
}


@dataclass(frozen=True)
class Format:
    """A size by name. width_mm, height_mm: as measured, the longer one first; scale: in words,
    what the measurement rests on."""

    size: film.Size
    width_mm: float
    height_mm: float
    scale: str

    @property
    def name(self) -> str:
        return self.size.name

    def words(self) -> str:
        """Return name, measurement, tolerance and source in a line."""
        return (
            f"{self.name} (measured {self.width_mm:.1f} x {self.height_mm:.1f} mm by {self.scale}; "
            f"within {self.size.tolerance_mm:g} mm of {self.size.width_mm:g} x "
            f"{self.size.height_mm:g} mm, {self.size.source})"
        )


def format_of(geometry: MasterGeometry) -> Format | None:
    """Return the size of the piece on a master by name, None where its outline was not seen, its
    scale rests on a size itself, or not just one name fits."""
    scale = _INDEPENDENT.get(geometry.ppi_source or "")
    if scale is None or geometry.object_corners is None or not geometry.ppi:
        return None
    mm = film.px_per_mm(geometry.ppi)
    c = geometry.object_corners
    across, down = (
        (math.dist(c[a], c[b]) + math.dist(c[d], c[e])) / 2 / mm
        for a, b, d, e in ((0, 1, 3, 2), (0, 3, 1, 2))
    )
    long, short = max(across, down), min(across, down)
    fits = [
        size
        for size in SIZES.get(geometry.kind, ())
        if abs(long - size.width_mm) <= size.tolerance_mm
        and abs(short - size.height_mm) <= size.tolerance_mm
    ]
    return Format(fits[0], long, short, scale) if len(fits) == 1 else None
