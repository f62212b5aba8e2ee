"""What one look at a master knows beside the frames: the scale, borders for D-min, strips."""

from __future__ import annotations

from dataclasses import dataclass, replace

from glassine.base import film
from glassine.locate.scale import Scale
from glassine.locate.shapes import Doubles, lengths_of
from glassine.locate.view import Patch


@dataclass(frozen=True)
class Known:
    """What is known by now; each piece that is looked at returns another one.

    scale: by which sizes are measured; mm: view px per millimetre that pieces are looked for with,
    which stays that of the first scale where perforations show another; seen: the scale that the
    film itself shows; sure: whether the scale is more than a hint; base_regions: clear borders
    (master px); object_corners: of the first piece with a border (master px); patches: of each
    strip of film, turned level, by its number less one.
    """

    scale: Scale | None = None
    mm: float | None = None
    seen: Scale | None = None
    sure: bool = False
    base_regions: tuple[Doubles, ...] = ()
    object_corners: Doubles | None = None
    patches: tuple[Patch, ...] = ()

    @classmethod
    def by(cls, scale: Scale | None, reduction: float) -> Known:
        """Return what is known before anything was found. reduction: master px per view px."""
        return cls(scale, None if scale is None else film.px_per_mm(scale.ppi) / reduction)

    @property
    def ppi(self) -> float | None:
        """Return px of the master per inch, where known."""
        return None if self.scale is None else self.scale.ppi

    @property
    def perforated(self) -> bool:
        """Whether perforations of 35 mm film were seen."""
        return self.seen is not None and self.seen.source == "perforations"

    @property
    def by_perforations(self) -> bool:
        """Whether sizes are measured by the pitch of perforations."""
        return self.scale is not None and self.scale.source == "perforations"

    def size_mm(self, c: Doubles) -> tuple[float, float]:
        """Return the longer and the shorter side in mm, or in px where the scale is unknown."""
        long, short = lengths_of(c)
        mm = film.px_per_mm(self.ppi) if self.ppi else 1.0
        return long / mm, short / mm

    def without_pieces(self) -> Known:
        """Return it without borders and outlines, to look at a piece once more."""
        return replace(self, object_corners=None, base_regions=())
