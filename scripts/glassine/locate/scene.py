"""What was seen of one master, before anything on it is taken for a frame; it never changes."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.base.model import Facts
from glassine.locate import boards, masks, sleeves
from glassine.locate.masks import Opening
from glassine.locate.refine import Region, Sampler
from glassine.locate.view import Floats, Layout, View, look, survey
from glassine.masters import labels

# Of film by its piece's centre, angle and size: angle (degrees), upper and lower edge (px).
FilmEdges = dict[tuple[float, ...], tuple[float, float, float]]


@dataclass(frozen=True)
class Settings:
    """What the studio set of this step (see config.schema.yaml)."""

    fit: str = "quadrilateral"
    review_below: float = 0.8
    edge_codes: bool = True
    seen_text: bool = False

    @classmethod
    def of(cls, settings: dict[str, Any]) -> Settings:
        """Return them by their names in the configuration; what is not set keeps its default."""
        return cls(**{name: settings[name] for name in cls.__annotations__ if name in settings})


@dataclass(frozen=True)
class Master:
    """Pixels of one master. reduced: (h, w) or (h, w, 3) uint8/uint16, the master shrunk by
    `reduction` (master px per px; each value the mean of its block); region(left, top, width,
    height): master pixels, same type and encoding; width, height: of the master, px; table: linear
    light of 16-bit codes.
    """

    reduced: npt.NDArray[np.generic]
    reduction: float
    region: Region
    width: int
    height: int
    table: Floats


@dataclass(frozen=True)
class Scene:
    """A master and what lies on it. whole: the reduced copy; view: the same, or what the opening of
    a mask shows of it; opening: that of the mask, where there is one; layout: of the view; width,
    height: of the master, px; film_edges: how film lies in pieces, which `rolls` measures once for
    all looks.
    """

    whole: View
    view: View
    layout: Layout
    opening: Opening | None
    sampler: Sampler
    facts: Facts
    settings: Settings
    width: int
    height: int
    film_edges: FilmEdges = field(default_factory=dict, compare=False)

    @classmethod
    def of(cls, master: Master, facts: Facts, settings: Settings) -> Scene:
        """Look at a master."""
        whole = look(master.reduced, master.table, master.reduction)
        layout = sleeves.opened(whole, boards.apart(whole, survey(whole)))
        inside = masks.inside(whole, layout, facts.kind)
        sampler = Sampler(master.region, master.width, master.height, master.table, whole.white)
        return cls(
            whole,
            whole if inside is None else inside.view,
            layout if inside is None else inside.layout,
            None if inside is None else inside.opening,
            sampler,
            facts,
            settings,
            master.width,
            master.height,
        )

    @property
    def kind(self) -> str:
        """Return the kind of material that the batch states, or `auto`."""
        return self.facts.kind

    @property
    def reduction(self) -> float:
        """Return master px per px of the view."""
        return self.view.reduction

    @property
    def widest(self) -> float:
        """Return the greatest width (view px) of all pieces on the table."""
        return max(min(piece.width, piece.height) for piece in self.layout.pieces)

    @property
    def around_tone(self) -> float:
        """Return the tone of what lies around all: of the mask, or else of the ground."""
        return self.layout.tone if self.opening is None else self.opening.tone

    @cached_property
    def labels(self) -> list[dict[str, Any]]:
        """Return what can be read on labels, read once; corners in master px."""
        shown = np.clip(255 * self.view.light[..., min(1, self.view.light.shape[2] - 1)], 0, 255)
        found = labels.read(np.sqrt(shown / 255 * 255 * 255).astype(np.uint8))
        for label in found:
            label["corners"] = [
                [x * self.reduction, y * self.reduction] for x, y in label["corners"]
            ]
        return found
