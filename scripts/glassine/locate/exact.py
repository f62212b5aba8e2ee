"""Frames at full resolution: each side on its edge, and the sides of a frame with each other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glassine.base import film
from glassine.locate import sides, square
from glassine.locate.border import OPEN
from glassine.locate.candidate import Candidate
from glassine.locate.refine import Edge, Sampler, edge, oval
from glassine.locate.shapes import ENDS, Doubles, angle_of, box_of, lengths_of, met, order

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# How wide a rebate may be that a hand-cut end leaves and the reduced copy does not show.
THIN_BORDER_MM = 1.2
# How far (degrees) an oval mask may lie askew in its slide.
OVAL_ASKEW = 0.2
# An edge counts from this share of its length on; measured again closer by, it may show along so
# much less of it.
LEAST_SHARE, AGAIN_SHARE = 0.12, 0.8
# Share of a side's length left out at both ends, for rounded corners: from and to.
TRIM = (0.02, 0.15)
# The perforations of 35 mm film are 0.68 mm from its pictures: so far (mm) is looked, well short.
BESIDE_HOLES_MM = 0.35
# Corners that move by more than so many times what is searched were not those of the frame.
FAR, FAR_OVAL = 3, 4
# Unless all four sides show along this share, straight within so much (px), and make a frame of the
# same size (share).
PLAIN_SHARE, PLAIN_PX, SAME_SIZE = 0.6, 1.5, 0.03
# The picture's own edge in a thin border: how far it may lean (slope), shares of its ends left out,
# the least share that shows, the greatest spread (px); and how much more (degrees) than the film's
# end it may lean against the other sides.
THIN_LEAN, THIN_TRIM, THIN_SHARE, THIN_SPREAD_PX, THIN_WORSE_DEG = 0.03, 0.06, 0.5, 1, 0.05
# A side leans where it is off the others' direction by so much (degrees), unless it shows along
# nearly as much of its length as they do and lies evenly (px). Fitted anew it may lean so little
# (slope), and must show along so much of what it did.
LEANS_DEG, AS_PLAIN, EVEN_PX, ANEW_LEAN, ANEW_TRIM, ANEW_SHARE = 0.35, 0.8, 0.5, 0.004, 0.05, 0.5


@dataclass(frozen=True)
class Exact:
    """Looks at the master itself. reduction: master px per px of the view; ppi: where known;
    ground_tone: of what the pieces lie on.
    """

    sampler: Sampler
    reduction: float
    ppi: float | None
    ground_tone: float

    @property
    def _half(self) -> int:
        """Return how far (px) to either side of what the view shows an edge is looked for."""
        return int(np.ceil(1.5 * self.reduction)) + 3

    def refine(self, candidate: Candidate) -> None:
        """Move the sides to the edges at full resolution; what was seen goes into `edges`."""
        c = candidate.corners
        candidate.edges = [None] * 4
        if candidate.blank or candidate.oval:
            candidate.corners = order(c)
            if candidate.oval:
                self._refine_oval(candidate)
            return
        lines: list[tuple[Doubles, Doubles]] = []
        half = self._half
        for side in range(4):
            got = self._edge_of(candidate, side) if candidate.found[side] else None
            candidate.edges[side] = got
            i, j = ENDS[side]
            lines.append((got.p, got.q) if got is not None else (c[i], c[j]))
        self._thin_borders(candidate, lines)
        self._straighten(candidate, lines, half)
        new = met(lines)
        if np.hypot(*(new - c).T).max() <= FAR * half or _plainly_there(candidate, new):
            candidate.corners = new

    def _edge_of(self, candidate: Candidate, side: int) -> Edge | None:
        """Return the edge that a side lies on, looked for again close by where it shows."""
        i, j = ENDS[side]
        p, q = candidate.corners[i], candidate.corners[j]
        length = float(np.hypot(*(q - p)))
        trim = float(np.clip(candidate.round_px / max(length, 1), *TRIM))
        near = half = self._half
        if candidate.gauge == "135" and side in (sides.TOP, sides.BOTTOM) and self.ppi:
            near = min(half, max(3, int(BESIDE_HOLES_MM * self.ppi / film.MM_PER_INCH)))
        sign = self._sign(candidate, side)
        got = edge(self.sampler, p, q, near, trim, sign)
        if got is None or got.share < LEAST_SHARE:
            return got
        again = edge(self.sampler, got.p, got.q, min(near, max(6, half // 3)), trim, sign)
        plain = again is not None and again.share >= got.share * AGAIN_SHARE
        return again if plain else got

    def _thin_borders(self, candidate: Candidate, lines: list[tuple[Doubles, Doubles]]) -> None:
        """Move sides that may be the ends of the film to the picture's own edge just inside.

        Film is cut by hand: where little of a border is left, its end is the plainer edge, but it
        leans against the picture's other sides.
        """
        if self.ppi is None:
            return
        reach = THIN_BORDER_MM * self.ppi / film.MM_PER_INCH
        half = max(4, int(reach / 2))
        for side in candidate.thin:
            end, others = candidate.edges[side], candidate.edges.copy()
            if end is None:
                continue
            along = (end.q - end.p) / np.hypot(*(end.q - end.p))
            inward = np.array([-along[1], along[0]]) * (2 + reach / 2)
            sign = -1 if candidate.level_dark else 1
            p, q = end.p + inward, end.q + inward
            got = edge(self.sampler, p, q, half, THIN_TRIM, sign, THIN_LEAN)
            if got is None or got.share < THIN_SHARE or got.residual > THIN_SPREAD_PX:
                continue
            others[side] = None
            leaning = [t for t in square.turns_of(others) if t is not None]
            if not leaning or not square.usable(end):
                continue
            before, after = (square.turn_of(e.p, e.q, side) for e in (end, got))
            usual = float(np.median(leaning))
            if abs(after - usual) < abs(before - usual) + THIN_WORSE_DEG:
                candidate.edges[side] = got
                lines[side] = got.p, got.q

    def square(self, found: list[Candidate]) -> None:
        """Let the sides of one frame, or of a strip's frames, agree on how they lie."""
        agreed = square.together([c.edges for c in found])
        for candidate, edges in zip(found, agreed, strict=True):
            c = candidate.corners
            lines = [
                (c[i], c[j]) if e is None else (e.p, e.q)
                for e, (i, j) in zip(edges, ENDS, strict=True)
            ]
            candidate.edges = list(edges)
            new = met(lines)
            if np.hypot(*(new - c).T).max() <= FAR * self.reduction + 3:
                candidate.corners = new

    def _refine_oval(self, candidate: Candidate) -> None:
        """Fit the oval at full resolution; how it lies, the slide's own edges tell as well."""
        half = self._half
        first = box_of(candidate.corners)
        found = oval(self.sampler, first, half)
        if found is not None:
            found = oval(self.sampler, found.box, max(6, half // 3)) or found
        candidate.oval_seen = 0.0 if found is None else found.share
        if (
            found is None
            or np.hypot(*(found.box.corners() - candidate.corners).T).max() > FAR_OVAL * half
        ):
            return
        angle = found.box.angle_deg
        if candidate.object_corners is not None and candidate.levels > 1:
            own = angle_of(order(candidate.object_corners))
            # A paper mask is laid in by hand, a few tenths of a degree askew.
            trust = OVAL_ASKEW**2 / (OVAL_ASKEW**2 + found.angle_error_deg**2)
            angle = own + trust * (angle - own)
        candidate.corners = replace(found.box, angle_deg=angle).corners()

    def _sign(self, candidate: Candidate, side: int) -> int:
        """Return +1 where the picture is denser than what borders it, -1: lighter, 0: either.

        Along a strip the next picture may be the neighbour, denser or not; a mask or a mount
        sends back light of the room, so that a night may be denser than it. A black rebate is
        the densest there is. Paper on a light board may be the lighter of the two.
        """
        if side in candidate.touching or (candidate.level_dark and not candidate.strip):
            return 0
        if candidate.levels == 1 and not candidate.strip and self.ground_tone > OPEN:
            return 0
        return -1 if candidate.level_dark else 1

    def _straighten(
        self, candidate: Candidate, lines: list[tuple[Doubles, Doubles]], half: int
    ) -> None:
        """Fit a poorly seen side that leans against the others anew, in their direction."""
        turns = [square.turn_of(p, q, side) for side, (p, q) in enumerate(lines)]
        middle = float(np.median(turns))
        shares = [0.0 if got is None else got.share for got in candidate.edges]
        for side in range(4):
            got = candidate.edges[side]
            if got is None or abs(turns[side] - middle) < LEANS_DEG:
                continue
            if got.share > AS_PLAIN * float(np.median(shares)) and got.residual < EVEN_PX:
                continue
            p, q = lines[side]
            length, angle = float(np.hypot(*(q - p))), np.deg2rad(middle + 90 * (side - 1))
            along = np.array([np.cos(angle), np.sin(angle)]) * length / 2
            centre = (p + q) / 2
            p, q = centre - along, centre + along
            again = edge(self.sampler, p, q, half, ANEW_TRIM, slope_limit=ANEW_LEAN)
            if again is not None and again.share > ANEW_SHARE * got.share:
                candidate.edges[side] = again
                lines[side] = again.p, again.q


def _plainly_there(candidate: Candidate, new: Doubles) -> bool:
    """Whether all four sides show so plainly that corners far from the first ones are the frame's:
    curled film turns each of its frames another way than the strip lies.
    """
    sizes = np.array([lengths_of(each) for each in (candidate.corners, new)])
    plain = all(
        got is not None and got.share > PLAIN_SHARE and got.residual < PLAIN_PX
        for got in candidate.edges
    )
    return plain and bool((np.abs(sizes[1] / np.maximum(sizes[0], 1.0) - 1) < SAME_SIZE).all())
