"""A frame before it is judged."""

from __future__ import annotations

from dataclasses import dataclass, field

from glassine.locate.character import Character
from glassine.locate.refine import Edge
from glassine.locate.shapes import Doubles
from glassine.locate.view import Floats
from glassine.locate.weights import Evidence


@dataclass
class Candidate:
    """A frame before it is judged. corners: master px; seen: share of each side; found: whether it
    was seen at all; round_px: how far its corners may be rounded, master px.
    """

    corners: Doubles
    level_dark: bool
    seen: list[float]
    found: list[bool]
    kind: str
    border: Floats | None = None
    blank: bool = False
    oval: bool = False
    evidence: list[Evidence] = field(default_factory=list)  # what speaks against it
    edges: list[Edge | None] = field(default_factory=list)
    character: Character | None = None
    round_px: float = 0.0
    small: bool = False  # far smaller than any known picture
    object_corners: Doubles | None = None
    held_in: Doubles | None = None  # outline of the border around it: film in a mask's opening
    strip: int = 0
    gauge: str = ""
    levels: int = 1
    ground: str = "light"
    touching: tuple[int, ...] = ()
    hollow: bool = False
    oval_seen: float = 1.0
    # Exposures that the piece has beside one another, and of each of those the piece as a whole.
    parts: list[Candidate] = field(default_factory=list)
    whole: Candidate | None = None
    format_seen: bool = False  # whether it and others of its film are alike, of a known format
    varied: float = 1.0  # how far its tones lie apart (density), see `measures.spread_of`
    structure: float = 1.0  # the same without an even fall-off of light and without grain
    repeated: bool = False  # whether the same view comes again on its piece
    shadow: bool = False  # whether its piece casts one: it lies in light from above
    thin: tuple[int, ...] = ()  # sides that may be the ends of the film
    modelled: list[bool] = field(default_factory=lambda: [False] * 4)

    def against(self, feature: str, words: str | None = None, amount: float = 1.0) -> None:
        """Note something that speaks against this frame (see `weights`)."""
        self.evidence.append(Evidence(feature, words, amount))

    def plainness(self) -> float:
        """Return how well the edges show: of each the share seen where it is straight, summed."""
        return sum(e.share for e in self.edges if e is not None and e.residual < 1.5)

    def trust_of(self, side: int) -> float:
        """Return the share of a side that was seen, in the view and at full resolution."""
        got = self.edges[side] if self.edges else None
        if got is None:
            return 0.0
        return min(got.share, 2 * self.seen[side]) if self.strip else got.share
