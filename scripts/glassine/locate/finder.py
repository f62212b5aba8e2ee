"""From a reduced copy and full-resolution cuts to the frames of one master."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Literal, cast

import cv2
import numpy as np
import numpy.typing as npt

from glassine import film, labels
from glassine.locate import sides, single, square, strips
from glassine.locate.character import MASK_DENSITY, Character, character, mask_of
from glassine.locate.character import is_colour as character_of
from glassine.locate.encoding import linear_table
from glassine.locate.refine import Box, Edge, Region, Sampler, edge, oval
from glassine.locate.straight import around, settle
from glassine.locate.view import Floats, Layout, Patch, Piece, View, look, survey, tone, upright
from glassine.model import Corners, Facts, Frame, MasterGeometry, Side

Doubles = npt.NDArray[np.float64]
DEFAULTS: dict[str, Any] = {"fit": "quadrilateral", "review_below": 0.8}


# How wide a rebate may be that a hand-cut end leaves and the reduced copy does not show.
THIN_BORDER_MM = 1.2
# An edge of a picture nearer than this (mm) to the film's end may be that end.
NEAR_END_MM = 0.7
# How far (degrees) an oval mask may lie askew in its slide.
OVAL_ASKEW = 0.2
# Tone of a dark board against white paper on it: boards reflect 2 % and more. An opaque mask
# round a plate is darker than that.
BOARD = 1.58


@dataclass
class Candidate:
    """A frame before it is judged. corners: master px. prior: how far each side may be off, px."""

    corners: Doubles
    level_dark: bool
    seen: list[float]
    found: list[bool]
    kind: str
    border: Floats | None = None
    blank: bool = False
    oval: bool = False
    reasons: list[str] = field(default_factory=list)
    edges: list[Edge | None] = field(default_factory=list)
    character: Character | None = None
    confidence: float = 0.0
    keystone: float = 0.0
    round_px: float = 0.0
    trust: float = 1.0
    object_corners: Doubles | None = None
    strip: int = 0
    gauge: str = ""
    levels: int = 1
    ground: str = "light"
    touching: tuple[int, ...] = ()
    oval_seen: float = 1.0
    thin: tuple[int, ...] = ()  # sides that may be the ends of the film
    modelled: list[bool] = field(default_factory=lambda: [False] * 4)

    def plainness(self) -> float:
        """Return how well the edges show: of each the share seen where it is straight, summed."""
        return sum(e.share for e in self.edges if e is not None and e.residual < 1.5)

    def trust_of(self, side: int) -> float:
        """Return the share of a side that was seen, in the view and at full resolution."""
        got = self.edges[side] if self.edges else None
        if got is None:
            return 0.0
        return min(got.share, 2 * self.seen[side]) if self.strip else got.share


def order(corners: Doubles) -> Doubles:
    """Return corners clockwise, the first being the top left as seen in the master."""
    c = corners.copy()
    area = np.sum(c[:, 0] * np.roll(c[:, 1], -1) - np.roll(c[:, 0], -1) * c[:, 1])
    if area < 0:
        c = c[::-1]
    best, at = None, 0
    for k in range(4):
        d = c[(k + 1) % 4] - c[k]
        angle = abs(np.degrees(np.arctan2(d[1], d[0])))
        if best is None or angle < best:
            best, at = angle, k
    return np.roll(c, -at, 0)


class Finder:
    """Finds the frames of one master; `run` returns what goes into geometry.json."""

    def __init__(
        self,
        reduced: npt.NDArray[np.generic],
        reduction: float,
        region: Region,
        facts: Facts,
        ppi_hint: float | None,
        settings: dict[str, Any],
        width: int,
        height: int,
        table: Floats,
    ) -> None:
        self.facts, self.settings = facts, {**DEFAULTS, **settings}
        self.width, self.height = width, height
        self.reduction = reduction
        self.view: View = look(reduced, table, reduction)
        self.sampler = Sampler(region, width, height, table, self.view.white)
        ppi = facts.nominal_ppi or ppi_hint
        self.ppi = ppi
        self.ppi_source: str | None = (
            "batch" if facts.nominal_ppi else ("tag" if ppi_hint else None)
        )
        self.mm: float | None = ppi / film.MM_PER_INCH / reduction if ppi else None
        self.notes: list[str] = []
        self.base_regions: list[Doubles] = []
        self.object_corners: Doubles | None = None
        self.kind = facts.kind
        self.strips = 0
        self.nested = False
        self.opening = 0.0, 0.0  # of the mask, px of the view
        self.mask_level = 0.0
        self.alone = False
        self.strip_patches: dict[int, Patch] = {}
        self.labels: list[dict[str, Any]] = []

    def run(self) -> tuple[list[Candidate], str]:
        layout = survey(self.view)
        layout = self._inside_mask(layout)
        self.layout = layout
        found: list[Candidate] = []
        for piece in layout.pieces:
            found.extend(self._piece(piece, layout))
        if len(found) > 1:
            self.labels = self._read_labels()
        found = self._without_strangers(found)
        for candidate in found:
            self._refine(candidate)
        if layout.faint is not None and len(found) < 2:
            found = self._better_seen(found, layout.faint, layout)
        plain = [c for c in found if not c.blank and not c.oval]
        for one in plain:
            if not one.strip:
                self._square([one])
        for number in range(1, self.strips + 1):
            self._square([c for c in plain if c.strip == number])
            self._agree([c for c in found if c.strip == number], self.strip_patches[number])
        self.alone = len(found) == 1
        return found, self._kind(found)

    def _better_seen(self, found: list[Candidate], faint: Piece, layout: Layout) -> list[Candidate]:
        """Return the frame found, or the one in a wider, fainter piece where that shows better."""
        sound = found and (found[0].oval or (found[0].plainness() > 3 and found[0].trust == 1))
        if found and (found[0].kind != "single" or sound):
            return found
        kept = self.object_corners, list(self.base_regions)
        self.object_corners, self.base_regions = None, []
        other = self._single(faint, layout)
        if other is not None:
            self._refine(other)
            gain = 0.0 if not found else other.plainness() - found[0].plainness()
            if not found or other.oval or gain > 0.3 or other.trust > found[0].trust:
                return [other]
        self.object_corners, self.base_regions = kept
        return found

    # -- what lies on the table ------------------------------------------------------------

    def _inside_mask(self, layout: Layout) -> Layout:
        """Where an opaque mask leaves an opening onto the light table, look inside that."""
        if layout.ground != "dark" or not layout.pieces:
            return layout
        piece = layout.pieces[0]
        size = max(3, round(0.012 * min(piece.width, piece.height)))
        inner = cv2.erode(piece.mask.astype(np.uint8), np.ones((2 * size + 1,) * 2, np.uint8))
        core = cv2.erode(inner, np.ones((2 * size + 1,) * 2, np.uint8))
        band = (inner > 0) & (core == 0)
        tones = self.view.grey[band]
        if tones.size < 50 or (piece.width / max(piece.height, 1) < 1.0 and self.kind == "auto"):
            return layout
        if (
            np.percentile(tones, 85) > 0.1
            or np.percentile(self.view.grey[inner > 0], 2) < np.median(tones) - 0.05
        ):
            return layout
        hidden = View(
            np.where(inner[..., None] > 0, self.view.light, np.float32(10 ** -np.median(tones))),
            np.where(inner[..., None] > 0, self.view.v, np.median(self.view.v[band], axis=0)),
            np.where(inner > 0, self.view.grey, np.median(tones)).astype(np.float32),
            self.view.reduction,
            self.view.white,
            self.view.noise,
        )
        nested = survey(hidden)
        if nested.ground != "light" or not nested.pieces:
            return layout
        self.view = hidden
        self.nested = True
        self.opening = piece.width, piece.height
        self.mask_level = float(np.median(layout.level))
        return nested

    def _read_labels(self) -> list[dict[str, Any]]:
        shown = np.clip(255 * self.view.light[..., min(1, self.view.light.shape[2] - 1)], 0, 255)
        found = labels.read(np.sqrt(shown / 255 * 255 * 255).astype(np.uint8))
        for label in found:
            label["corners"] = [
                [x * self.reduction, y * self.reduction] for x, y in label["corners"]
            ]
        return found

    def _is_strip(self, piece: Piece) -> str | None:
        """Return the gauge where a piece is a strip of roll film."""
        if self.kind == "strip_135":
            return "135"
        if self.kind == "strip_120":
            return "120"
        if self.kind not in ("auto", "cut_frames"):
            return None
        long, short = max(piece.width, piece.height), min(piece.width, piece.height)
        if self.mm is None:
            return "135?"
        width = film.FILM_135.width_mm
        if min(abs(long / self.mm - width), abs(short / self.mm - width)) < 1.5 and (
            long / self.mm > 20
        ):
            return "135?"
        if (
            self.kind == "auto"
            and abs(short / self.mm - film.FILM_120.width_mm) < 1.7
            and long / self.mm > 66
        ):
            return "120?"
        return None

    def _attempts(self, piece: Piece, gauge: str | None) -> list[tuple[str, bool]]:
        """Return what to take a piece for, in turn: a gauge, and whether film runs up and down.

        Without a scale, perforations alone tell 35 mm film, whichever way a piece of it lies;
        plain film is told by its width and by several pictures that are as high as they must be.
        """
        upright = piece.height > piece.width
        if gauge is None:
            return []
        if self.mm is not None or gauge != "135?":
            across = film.FILM_135.width_mm * (self.mm or 0)
            if gauge == "135?" and max(piece.width, piece.height) < 45 * (self.mm or 0):
                upright = abs(piece.height - across) > abs(piece.width - across)
            return [(gauge, upright)]
        long, short = max(piece.width, piece.height), min(piece.width, piece.height)
        tries = [("135?", upright)]
        if long < 1.9 * short:
            tries.append(("135?", not upright))
        if self.kind == "auto" and 1.42 * short < long < 7 * short:
            tries.append(("120?", upright))
        return tries

    def _piece(self, piece: Piece, layout: Layout) -> list[Candidate]:
        gauge = self._is_strip(piece)
        for attempt, turned in self._attempts(piece, gauge):
            made = self._strip(piece, layout, attempt, turned)
            if made:
                return made
        made_one = self._single(piece, layout)
        return [made_one] if made_one else []

    # -- single pieces ---------------------------------------------------------------------

    def _single(self, piece: Piece, layout: Layout) -> Candidate | None:
        scale = self.mm
        margin = max(8.0, 0.035 * min(piece.width, piece.height))
        patch = upright(
            self.view,
            piece.centre,
            piece.angle_deg,
            piece.width + 2 * margin,
            piece.height + 2 * margin,
        )
        level = np.median(layout.level.reshape(-1, layout.level.shape[2])[::97], axis=0)
        x, y = (
            int(np.clip(v, 0, n - 1))
            for v, n in zip(piece.centre, self.view.v.shape[1::-1], strict=True)
        )
        if layout.ground == "light":
            level = layout.level[y, x]
        closed = piece.touches if abs(piece.angle_deg) < 20 else (False,) * 4
        found = single.peel(
            patch,
            level.astype(np.float32),
            layout.ground == "dark",
            self.view.noise,
            scale,
            margin,
            closed,
        )
        h, w = patch.v.shape[:2]
        if found is None:
            faint = self._faint(piece) if layout.ground == "dark" else None
            return faint or self._unseen(patch, margin)
        picture = found.picture
        if found.border and not picture.oval:
            reach = 4 * scale if scale else 0.07 * min(h, w)
            picture.lines = settle(patch, picture.lines, picture.dark, reach)
            picture.lines = around(patch, picture.lines, picture.dark, reach / 2, reach)
        corners = patch.points(sides.corners(picture.lines, w, h)) * self.reduction
        outer = patch.points(sides.corners(found.levels[0].lines, w, h)) * self.reduction
        if self.object_corners is None and found.border:
            self.object_corners = order(outer)
        border = picture.outside if found.border else None
        candidate = Candidate(
            corners,
            picture.dark,
            [line.share - line.early for line in picture.lines],
            [line.found for line in picture.lines],
            "single",
            border,
            oval=picture.oval,
            object_corners=outer,
        )
        candidate.levels = len(found.levels)
        if found.border and layout.ground == "light" and scale:
            pairs = enumerate(zip(picture.lines, found.levels[0].lines, strict=True))
            candidate.thin = tuple(s for s, (a, b) in pairs if a.at - b.at < NEAR_END_MM * scale)
        if self.nested and border is None:
            candidate.border = level.astype(np.float32)
        candidate.ground = layout.ground
        if found.border and not picture.dark:
            self._base(patch, found)
        self._sizes(candidate)
        return candidate

    def _unseen(self, patch: Patch, margin: float) -> Candidate:
        """Return what lies there as a frame none of whose edges was found."""
        h, w = patch.v.shape[:2]
        box = np.array(
            [[margin, margin], [w - margin, margin], [w - margin, h - margin], [margin, h - margin]]
        )
        corners = patch.points(box) * self.reduction
        return Candidate(corners, self.layout.ground == "dark", [0.0] * 4, [False] * 4, "single")

    def _faint(self, piece: Piece) -> Candidate | None:
        """Look for the straight edges of a picture hardly lighter than the dark around it."""
        reach = 6 * self.mm if self.mm else 0.12 * min(piece.width, piece.height)
        patch = upright(
            self.view,
            piece.centre,
            piece.angle_deg,
            piece.width + 2 * reach,
            piece.height + 2 * reach,
        )
        h, w = patch.v.shape[:2]
        lines = [sides.Line(reach, 0.0, n / 2, found=False) for n in (h, w, h, w)]
        lines = around(patch, lines, True, reach - 2, reach)
        if sum(line.found for line in lines) < 3:
            return None
        corners = patch.points(sides.corners(lines, w, h)) * self.reduction
        seen = [line.share for line in lines]
        made = Candidate(corners, True, seen, [line.found for line in lines], "single")
        made.ground = "dark"
        self._sizes(made)
        return made

    def _sizes(self, candidate: Candidate) -> None:
        c = candidate.corners
        candidate.trust = 1.0
        size = [float(np.hypot(*(c[1] - c[0]))), float(np.hypot(*(c[3] - c[0])))]
        if self.ppi is not None:
            mm = self.ppi / film.MM_PER_INCH
            candidate.round_px = 2.5 * mm
            if min(size) / mm < 9:
                candidate.trust = 0.3
        else:
            candidate.round_px = 0.05 * min(size)

    def _base(self, patch: Patch, found: single.Found) -> None:
        """Note the clear border between the picture and the piece's edge, for D-min."""
        h, w = patch.v.shape[:2]
        outer, inner = found.levels[-2].lines, found.levels[-1].lines
        for side in range(4):
            wide = inner[side].at - outer[side].at
            if wide < 4:
                continue
            n = h if side in (0, 2) else w
            a, b = outer[side].at + 0.3 * wide, inner[side].at - 0.3 * wide
            low, high = 0.25 * n, 0.75 * n
            box = {
                0: [(a, low), (b, low), (b, high), (a, high)],
                1: [(low, a), (high, a), (high, b), (low, b)],
                2: [(w - b, low), (w - a, low), (w - a, high), (w - b, high)],
                3: [(low, h - b), (high, h - b), (high, h - a), (low, h - a)],
            }[side]
            self.base_regions.append(patch.points(np.array(box)) * self.reduction)

    # -- strips ----------------------------------------------------------------------------

    def _strip(self, piece: Piece, layout: Layout, gauge: str, turned: bool) -> list[Candidate]:
        angle = piece.angle_deg
        width, height = piece.width, piece.height
        if turned:
            angle, width, height = angle + 90, height, width
        margin = max(6.0, 0.05 * height)
        view = self.view
        for _ in range(2):
            patch = upright(view, piece.centre, angle, width + 2 * margin, height + 2 * margin)
            top, bottom, turn = self._film_edges(patch, layout, margin)
            angle += turn
            if abs(turn) < 0.01:
                break
        patch = upright(view, piece.centre, angle, width + 2 * margin, height + 2 * margin)
        top, bottom, _ = self._film_edges(patch, layout, margin)
        holes = strips.perforations(patch, top, bottom, self.mm) if gauge[:3] != "120" else None
        if gauge == "135?" and holes is None:
            return []
        if holes is not None:
            # What was taken for the film's edges may be a mask's around it.
            mm = holes.pitch_px / film.PERFORATION_PITCH_MM
            width = film.FILM_135.width_mm * mm
            if abs(bottom - top - width) > 0.02 * width:
                middle = strips.between_rows(patch, holes, (top + bottom) / 2, mm)
                top, bottom = middle - width / 2, middle + width / 2
                holes = strips.perforations(patch, top, bottom, self.mm) or holes
        n = patch.v.shape[1]
        left = margin if width + 2 < self._span(angle) else 0.0
        strip = strips.lay_out(
            patch, top, bottom, left, n - left, gauge[:3], holes, view.noise, self.mm
        )
        if gauge == "120?":
            plain = [s for s in strip.slots if min(s.seen_left, s.seen_right) > 0.3]
            if len([s for s in strip.slots if not s.blank]) < 2:
                return []
            if self.mm is None and (len(plain) < 2 or min(strip.rows_seen) < 0.3):
                return []
        if not strip.slots or all(s.blank for s in strip.slots):
            return [self._unseen(patch, margin)] if holes is not None else []
        if holes is not None:
            self.ppi = (
                holes.pitch_px * self.reduction / film.PERFORATION_PITCH_MM * film.MM_PER_INCH
            )
            self.ppi_source = "perforations"
            self.mm = self.mm or holes.pitch_px / film.PERFORATION_PITCH_MM
        made = self._frames_of(strip, patch)
        if len(made) == 1:
            gaps = strip.slots[0].left - left, n - left - strip.slots[0].right
            near = NEAR_END_MM * strip.mm
            made[0].thin = tuple(s for s, gap in zip((0, 2), gaps, strict=True) if gap < near)
        return made

    def _span(self, angle: float) -> float:
        h, w = self.view.v.shape[:2]
        return float(h if abs(((angle + 45) % 180) - 45) > 45 else w)

    def _film_edges(
        self, patch: Patch, layout: Layout, margin: float
    ) -> tuple[float, float, float]:
        """Return the film's upper and lower edge (patch px) and the turn (deg) that levels them."""
        h, w = patch.v.shape[:2]
        dark = layout.ground == "dark"
        level = np.median(
            patch.v[: max(2, int(margin * 0.4))].reshape(-1, patch.v.shape[2]), axis=0
        )
        limit = 0.2 if dark else max(0.02, 4 * self.view.noise)
        own = [
            single.even_rows(patch, side, None, level, 0.0, margin * 0.4, 3 * limit)
            if side in (sides.TOP, sides.BOTTOM)
            else None
            for side in range(4)
        ]
        lines = single.departures(
            patch, None, own, level.astype(np.float32), limit if dark else None,
            None if dark else limit, 0.0, max(1, w // 400), 2, 0.3, (0.02,) * 4, (1.5, 3.0),
        )  # fmt: skip
        upper, lower = lines[1], lines[3]
        good = [line for line in (upper, lower) if line is not None and line.share > 0.25]
        top = upper.at if upper is not None and upper.share > 0.25 else margin
        bottom = h - (lower.at if lower is not None and lower.share > 0.25 else margin)
        turns = []
        for line in good:
            sign = 1 if line is upper else -1
            turns.append(sign * line.slope)
        return top, bottom, float(np.degrees(np.arctan(np.mean(turns)))) if turns else 0.0

    def _frames_of(self, strip: strips.Strip, patch: Patch) -> list[Candidate]:
        out: list[Candidate] = []
        mm = strip.mm
        self.strips += 1
        self.strip_patches[self.strips] = patch
        for number, slot in enumerate(strip.slots):
            box = np.array(
                [
                    [slot.left, strip.picture_top],
                    [slot.right, strip.picture_top],
                    [slot.right, strip.picture_bottom],
                    [slot.left, strip.picture_bottom],
                ]
            )
            corners = patch.points(box) * self.reduction
            seen = [slot.seen_left, strip.rows_seen[0], slot.seen_right, strip.rows_seen[1]]
            c = Candidate(
                corners, strip.dark, seen, [s >= 0.1 for s in seen], "strip", strip.base, slot.blank
            )
            c.round_px = 0.3 * mm * self.reduction
            if slot.overlap and min(seen[0], seen[2]) < 0.3:
                c.reasons.append("overlaps the next exposure")
            c.strip = self.strips
            c.gauge = strip.gauge
            gaps = [
                slot.left - strip.slots[number - 1].right if number else mm,
                strip.slots[number + 1].left - slot.right if slot is not strip.slots[-1] else mm,
            ]
            ends = (sides.LEFT, sides.RIGHT)
            c.touching = tuple(s for s, gap in zip(ends, gaps, strict=True) if gap < 0.6 * mm)
            out.append(c)
        for before, after in zip(strip.slots[:-1], strip.slots[1:], strict=True):
            gap = after.left - before.right
            if gap > 0.8 * mm and not strip.dark:
                a, b = before.right + 0.3 * gap, after.left - 0.3 * gap
                y0 = strip.picture_top + 0.2 * (strip.picture_bottom - strip.picture_top)
                y1 = strip.picture_bottom - 0.2 * (strip.picture_bottom - strip.picture_top)
                self.base_regions.append(
                    patch.points(np.array([[a, y0], [b, y0], [b, y1], [a, y1]])) * self.reduction
                )
        return out

    # -- all kinds -------------------------------------------------------------------------

    def _without_strangers(self, found: list[Candidate]) -> list[Candidate]:
        """Leave out labels, rulers, nested and far too small finds."""
        if not found:
            return found
        areas = [abs(cv2.contourArea(c.corners.astype(np.float32))) for c in found]
        largest = max(areas)
        keep = []
        for candidate, area in zip(found, areas, strict=True):
            c = candidate.corners
            long = max(np.hypot(*(c[1] - c[0])), np.hypot(*(c[3] - c[0])))
            short = min(np.hypot(*(c[1] - c[0])), np.hypot(*(c[3] - c[0])))
            if candidate.kind == "single" and len(found) > 1:
                if long / max(short, 1) > 3.2 or area < 0.12 * largest:
                    continue
                if self.ppi is not None and short * film.MM_PER_INCH / self.ppi < 11:
                    continue
                if self._is_paper(candidate):
                    continue
            keep.append(candidate)
        return keep or found[:1]

    def _is_paper(self, candidate: Candidate) -> bool:
        """Tell a paper label from film: a readable code, or an even, neutral, half-opaque ground."""  # noqa: E501
        outline = (
            candidate.object_corners if candidate.object_corners is not None else candidate.corners
        )
        shape = outline.astype(np.float32)
        for label in self.labels:
            middle = np.mean(label["corners"], axis=0)
            if cv2.pointPolygonTest(shape, (float(middle[0]), float(middle[1])), False) >= 0:
                return True
        v = self._rim(outline)
        level, share = single.common(v, 0.06)
        return float(np.ptp(level)) < 0.2 and 0.42 < float(level.mean()) < 2.0 and share > 0.6

    def _rim(self, corners: Doubles) -> Floats:
        """Return (n, c) tones along a line a little inside an outline."""
        c = corners / self.reduction
        middle = c.mean(0)
        c = middle + (c - middle) * 0.93
        t = np.linspace(0, 1, 100)[:, None]
        p = np.concatenate([c[k] * (1 - t) + c[(k + 1) % 4] * t for k in range(4)])
        x = np.clip(p[:, 0].astype(int), 0, self.view.v.shape[1] - 1)
        y = np.clip(p[:, 1].astype(int), 0, self.view.v.shape[0] - 1)
        return np.asarray(self.view.v[y, x])

    def border_inside(self, candidate: Candidate, side: int) -> bool:
        """Whether what lies just inside a side is of the border's own tone, nearly all along."""
        if candidate.border is None:
            return False
        c = candidate.corners / self.reduction
        p, q = (c[k] for k in ((3, 0), (0, 1), (1, 2), (2, 3))[side])
        along = (q - p) / max(float(np.hypot(*(q - p))), 1e-6)
        inward = np.array([-along[1], along[0]])
        t = np.linspace(0.08, 0.92, 120)[:, None]
        at = p * (1 - t) + q * t + 3 * inward
        x = np.clip(at[:, 0].astype(int), 0, self.view.v.shape[1] - 1)
        y = np.clip(at[:, 1].astype(int), 0, self.view.v.shape[0] - 1)
        off = np.abs(self.view.v[y, x] - candidate.border).max(1)
        return float((off < (0.25 if candidate.level_dark else 0.04)).mean()) > 0.8

    def _pixels(self, candidate: Candidate, inset: float) -> Floats:
        """Return (n, c) tones of the picture, means of small squares of the reduced view."""
        c = candidate.corners / self.reduction
        u = np.linspace(inset, 1 - inset, 120)
        a, b = np.meshgrid(u, u)
        a, b = a.ravel()[:, None], b.ravel()[:, None]
        p = (1 - a) * (1 - b) * c[0] + a * (1 - b) * c[1] + a * b * c[2] + (1 - a) * b * c[3]
        x = np.clip(p[:, 0].astype(int), 0, self.view.v.shape[1] - 1)
        y = np.clip(p[:, 1].astype(int), 0, self.view.v.shape[0] - 1)
        left, top = int(x.min()), int(y.min())
        part = self.view.light[top : int(y.max()) + 1, left : int(x.max()) + 1]
        size = 2 * (min(part.shape[:2]) // 400) + 3
        smooth = cv2.blur(part, (size, size)).reshape(part.shape)
        return tone(smooth[y - top, x - left])

    def _refine(self, candidate: Candidate) -> None:
        c = candidate.corners
        candidate.edges = [None] * 4
        if candidate.blank or candidate.oval:
            candidate.corners = order(c)
            if candidate.oval:
                self._refine_oval(candidate)
            return
        pairs = {0: (3, 0), 1: (0, 1), 2: (1, 2), 3: (2, 3)}
        lines: list[tuple[Doubles, Doubles]] = []
        half = int(np.ceil(1.5 * self.reduction)) + 3
        for side in range(4):
            i, j = pairs[side]
            p, q = c[i], c[j]
            length = float(np.hypot(*(q - p)))
            trim = float(np.clip(candidate.round_px / max(length, 1), 0.02, 0.15))
            near = half
            if candidate.gauge == "135" and side in (sides.TOP, sides.BOTTOM) and self.ppi:
                # The perforations are 0.68 mm away.
                near = min(half, max(3, int(0.35 * self.ppi / film.MM_PER_INCH)))
            sign = self._sign(candidate, side)
            got = edge(self.sampler, p, q, near, trim, sign) if candidate.found[side] else None
            if got is not None and got.share >= 0.12:
                fine = min(near, max(6, half // 3))
                again = edge(self.sampler, got.p, got.q, fine, trim, sign)
                if again is not None and again.share >= got.share * 0.8:
                    got = again
            candidate.edges[side] = got
            lines.append((got.p, got.q) if got is not None else (p, q))
        self._thin_borders(candidate, lines)
        self._straighten(candidate, lines, half)
        new = _met(lines)
        if np.hypot(*(new - c).T).max() <= 3 * half:
            candidate.corners = new

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
            got = edge(self.sampler, p, q, half, 0.06, sign, slope_limit=0.03)
            if got is None or got.share < 0.5 or got.residual > 1:
                continue
            others[side] = None
            leaning = [t for t in square.turns_of(others) if t is not None]
            before, after = (square.turns_of([e] * 4)[side] for e in (end, got))
            if not leaning or before is None or after is None:
                continue
            usual = float(np.median(leaning))
            if abs(after - usual) < abs(before - usual) + 0.05:
                candidate.edges[side] = got
                lines[side] = got.p, got.q

    def _square(self, found: list[Candidate]) -> None:
        """Let the sides of one frame, or of a strip's frames, agree on how they lie."""
        agreed = square.together([c.edges for c in found])
        for candidate, edges in zip(found, agreed, strict=True):
            c = candidate.corners
            lines = [
                (c[i], c[j]) if e is None else (e.p, e.q)
                for e, (i, j) in zip(edges, ((3, 0), (0, 1), (1, 2), (2, 3)), strict=True)
            ]
            candidate.edges = list(edges)
            new = _met(lines)
            if np.hypot(*(new - c).T).max() <= 3 * self.reduction + 3:
                candidate.corners = new

    def _refine_oval(self, candidate: Candidate) -> None:
        """Fit the oval at full resolution; how it lies, the slide's own edges tell as well."""
        half = int(np.ceil(1.5 * self.reduction)) + 3
        first = box_of(candidate.corners)
        found = oval(self.sampler, first, half)
        if found is not None:
            found = oval(self.sampler, found.box, max(6, half // 3)) or found
        candidate.oval_seen = 0.0 if found is None else found.share
        if found is None or np.hypot(*(found.box.corners() - candidate.corners).T).max() > 4 * half:
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
        if candidate.levels == 1 and not candidate.strip and self._ground_tone() > single.OPEN:
            return 0
        return -1 if candidate.level_dark else 1

    def _ground_tone(self) -> float:
        return float(np.median(self.layout.level))

    def _straighten(
        self, candidate: Candidate, lines: list[tuple[Doubles, Doubles]], half: int
    ) -> None:
        """Fit a poorly seen side that leans against the others anew, in their direction."""
        turns = []
        for side, (p, q) in enumerate(lines):
            d = q - p
            turn = np.degrees(np.arctan2(d[1], d[0])) - 90 * (side - 1)
            turns.append((turn + 180) % 360 - 180)
        middle = float(np.median(turns))
        shares = [0.0 if got is None else got.share for got in candidate.edges]
        for side in range(4):
            got = candidate.edges[side]
            if got is None or abs(turns[side] - middle) < 0.35:
                continue
            if got.share > 0.8 * float(np.median(shares)) and got.residual < 0.5:
                continue
            p, q = lines[side]
            length, angle = float(np.hypot(*(q - p))), np.deg2rad(middle + 90 * (side - 1))
            along = np.array([np.cos(angle), np.sin(angle)]) * length / 2
            centre = (p + q) / 2
            again = edge(
                self.sampler, centre - along, centre + along, half, 0.05, slope_limit=0.004
            )
            if again is not None and again.share > 0.5 * got.share:
                candidate.edges[side] = again
                lines[side] = again.p, again.q

    def _agree(self, found: list[Candidate], patch: Patch) -> None:
        """Make the frames of a strip agree: one camera's gate gave them height and width.

        A long edge off the line that the others share, and an end that makes a frame longer or
        shorter than the others, are put where the others say.
        """
        seen = [c for c in found if not c.blank]
        if len(seen) < 3:
            return
        a = patch.to_view
        back = np.linalg.inv(a[:, :2])

        def local(points: Doubles) -> Doubles:
            return np.asarray((points / self.reduction - a[:, 2]) @ back.T)

        def master(points: Doubles) -> Doubles:
            return patch.points(points) * self.reduction

        mm = (self.ppi or 0) / film.MM_PER_INCH / self.reduction or np.hypot(
            *(local(seen[0].corners)[3] - local(seen[0].corners)[0])
        ) / (24 if self.ppi_source == "perforations" else 56)
        boxes = {id(c): local(c.corners) for c in seen}
        for first, second, side in ((0, 1, sides.TOP), (3, 2, sides.BOTTOM)):
            middles = np.array([(boxes[id(c)][first] + boxes[id(c)][second]) / 2 for c in seen])
            weight = np.array([0.0 if (e := c.edges[side]) is None else e.share for c in seen])
            good = weight > 0.4
            if good.sum() < 2:
                continue
            line = _steady(middles[good])
            for c in seen:
                box = boxes[id(c)]
                off = (box[first] + box[second])[1] / 2 - np.polyval(
                    line, (box[first] + box[second])[0] / 2
                )
                e = c.edges[side]
                # Film wanders a little in the gate: what is plainly seen stands.
                free = 0.5 if e is not None and e.share > 0.6 else 0.1
                if abs(off) > free * mm or e is None or e.share < 0.3:
                    for k in (first, second):
                        box[k][1] = np.polyval(line, box[k][0])
                    c.modelled[side] = True
        ends = {
            id(c): (
                (boxes[id(c)][0] + boxes[id(c)][3])[0] / 2,
                (boxes[id(c)][1] + boxes[id(c)][2])[0] / 2,
            )
            for c in seen
        }
        trust = {id(c): (c.trust_of(sides.LEFT), c.trust_of(sides.RIGHT)) for c in seen}
        widths = [ends[id(c)][1] - ends[id(c)][0] for c in seen if min(trust[id(c)]) > 0.4]
        if len(widths) >= 2:
            w = float(np.median(widths))
            for c in seen:
                left, right = ends[id(c)]
                free = 0.5 if min(trust[id(c)]) > 0.6 else 0.12
                if abs(right - left - w) <= free * mm and min(trust[id(c)]) > 0.1:
                    continue
                box = boxes[id(c)]
                if trust[id(c)][0] >= trust[id(c)][1]:
                    for k, other in ((1, 0), (2, 3)):
                        box[k] = box[other] + (box[k] - box[other]) * (w / (right - left))
                    c.modelled[2] = True
                else:
                    for k, other in ((0, 1), (3, 2)):
                        box[k] = box[other] + (box[k] - box[other]) * (w / (right - left))
                    c.modelled[0] = True
        for c in seen:
            if any(c.modelled):
                c.corners = master(boxes[id(c)])

    def characters(self, found: list[Candidate], kind: str) -> list[Character]:
        """Return polarity and process of each; frames of one strip are one film."""
        each = []
        for c in found:
            # A black border inside a mask's opening is the film's own.
            rebate = kind == "frame_135" and c.level_dark and c.levels > 1
            made = character(
                self._pixels(c, 0.04), c.border, "cut_frames" if rebate else kind, c.level_dark
            )
            each.append(made)
        ground = self.mask_level or float(np.median(self.layout.level))
        unsure = abs(ground - BOARD) < 0.13 and self.kind == "auto"
        if unsure and self.view.v.shape[2] == 1:
            for k, c in enumerate(found):
                if kind in ("print", "plate") and not c.level_dark:
                    each[k] = replace(each[k], polarity_trust=0.7)
        for number in {c.strip for c in found} - {0}:
            own = [k for k, c in enumerate(found) if c.strip == number and not c.blank]
            if not own:
                continue
            # The one that shows its colours best speaks for all.
            best = max(own, key=lambda k: (each[k].process_trust, each[k].stray))
            for k, c in enumerate(found):
                if c.strip == number:
                    each[k] = replace(
                        each[k], process=each[best].process, process_trust=each[best].process_trust
                    )
        return each

    def _kind(self, found: list[Candidate]) -> str:
        if self.kind != "auto":
            return self.kind
        numbers = {c.strip for c in found}
        if len(numbers - {0}) > 1 or (len(found) > 1 and 0 in numbers):
            return "cut_frames"
        if any(c.kind == "strip" for c in found):
            if len(found) == 1:
                return "cut_frames"
            return "strip_135" if self.ppi_source == "perforations" else "strip_120"
        if len(found) > 1:
            return "cut_frames"
        if not found:
            return "auto"
        return self._kind_of_one(found[0])

    def _kind_of_one(self, candidate: Candidate) -> str:
        """Tell the kind of a single piece by size, ground and border."""
        long, short = self._size_mm(candidate.corners)
        outer_long, outer_short = self._size_mm(
            candidate.corners if candidate.object_corners is None else candidate.object_corners
        )
        known = self.ppi is not None
        small = known and 20 < short < 26 and 31 < long < 38.5
        square = known and 36 < short < 41 and long < 42
        # A white mount lit from the front looks like a mask's opening onto the light table.
        held = tuple(n / (self.mm or 1) for n in self.opening)
        held = held if self.nested else (outer_long, outer_short)
        mount_sized = max(abs(n - film.MOUNT.width_mm) for n in held) < 1.5
        if (small or square) and mount_sized:
            return "mounted_slide"  # whatever the mount's colour
        if candidate.level_dark and (small or square):
            # An opening smaller than the camera's gate is a mount's, be it as dark as the ground.
            mount = candidate.levels > 1 and outer_long > 42
            if long < 35.0 and short < 23.7:
                mount = mount or mask_of(self._pixels(candidate, 0.05)) <= MASK_DENSITY
            return "mounted_slide" if mount or square else "frame_135"
        if small and not candidate.level_dark:
            return "frame_135"
        if candidate.oval:
            return "lantern"
        ground = float(np.median(self.layout.level))
        if self.nested and candidate.levels == 1 and self.mask_level < BOARD:
            # Film in the opening of a mask has a rebate; a picture on white paper has none.
            return "print"
        if candidate.level_dark and candidate.levels > 1:
            return "lantern"
        if candidate.ground == "dark":
            # A board reflects a few hundredths of the light; a mask lets nothing through.
            if candidate.level_dark and candidate.levels == 1:
                return "print" if ground < 1.75 or not known or long > 76 else "lantern"
            paper = ground < BOARD or (ground < 1.8 and self._like_paper(candidate))
            return "print" if paper else "plate"
        if self._like_paper(candidate):
            return "print"
        if candidate.levels > 2:
            return "plate"
        plates = film.nearest(outer_long, outer_short, film.PLATES)
        sheet = film.nearest(outer_long, outer_short, film.SHEETS)
        return "plate" if plates is not None and sheet is None else "sheet"

    def _like_paper(self, candidate: Candidate) -> bool:
        """On a light ground: colours without an orange mask, or the warm white of paper."""
        v = self._pixels(candidate, 0.05)
        if candidate.level_dark or v.shape[1] != 3:
            return False
        border = candidate.border
        difference = v[:, 2] - v[:, 0]
        if border is not None:  # noqa: SIM108
            warm = float(border[2] - border[0])
        else:
            warm = float(np.median(difference))
        if character_of(v):
            return (warm if border is not None else mask_of(v)) < 0.2
        return 0.03 < warm < 0.2

    def _size_mm(self, c: Doubles) -> tuple[float, float]:
        a = float(np.hypot(*(c[1] - c[0])) + np.hypot(*(c[2] - c[3]))) / 2
        b = float(np.hypot(*(c[3] - c[0])) + np.hypot(*(c[2] - c[1]))) / 2
        mm = self.ppi / film.MM_PER_INCH if self.ppi else 1.0
        return max(a, b) / mm, min(a, b) / mm


def _met(lines: list[tuple[Doubles, Doubles]]) -> Doubles:
    """Return (4, 2) corners where the sides (left, top, right, bottom) meet, top left first."""
    turns = ((1, 0), (1, 2), (3, 2), (3, 0))
    return np.array([sides.crossing(lines[a], lines[b]) for a, b in turns])


def _steady(points: Doubles) -> Doubles:
    """Return slope and height of a line through (n, 2) points, by medians (n small)."""
    x, y = points[:, 0], points[:, 1]
    i, j = np.triu_indices(len(x), 1)
    slope = float(np.median((y[j] - y[i]) / np.where(x[j] == x[i], 1, x[j] - x[i])))
    return np.array([slope, float(np.median(y - slope * x))])


def angle_of(c: Doubles) -> float:
    """Clockwise rotation (degrees) of the top edge from the x axis."""
    d = c[1] - c[0]
    return float(np.degrees(np.arctan2(d[1], d[0])))


def box_of(c: Doubles) -> Box:
    """Return the turned box with these corners (order: see `order`)."""
    width = float(np.hypot(*(c[1] - c[0])) + np.hypot(*(c[2] - c[3]))) / 2
    height = float(np.hypot(*(c[3] - c[0])) + np.hypot(*(c[2] - c[1]))) / 2
    x, y = (float(v) for v in c.mean(0))
    return Box(x, y, width, height, angle_of(c))


def keystone_of(c: Doubles) -> float:
    """Largest difference between the directions of opposite sides, degrees."""

    def direction(a: Doubles) -> float:
        return float(np.degrees(np.arctan2(a[1], a[0])))

    d1 = direction(c[1] - c[0]) - direction(c[2] - c[3])
    d2 = direction(c[3] - c[0]) - direction(c[2] - c[1])
    return max(abs((d1 + 180) % 360 - 180), abs((d2 + 180) % 360 - 180))


def rectangle_of(c: Doubles) -> Doubles:
    """Return the rectangle that is nearest to a quadrilateral (same centre and mean sides)."""
    u = (c[1] - c[0]) + (c[2] - c[3])
    v = (c[3] - c[0]) + (c[2] - c[1])
    angle = np.angle(complex(u[0], u[1]) * abs(1) + complex(v[1], -v[0]))
    w, h = np.hypot(*u) / 2, np.hypot(*v) / 2
    a = np.array([np.cos(angle), np.sin(angle)])
    b = np.array([-a[1], a[0]])
    m = c.mean(0)
    return np.array(
        [
            m - a * w / 2 - b * h / 2,
            m + a * w / 2 - b * h / 2,
            m + a * w / 2 + b * h / 2,
            m - a * w / 2 + b * h / 2,
        ]
    )


def judge(finder: Finder, candidate: Candidate) -> None:
    """Set the candidate's confidence, reasons and character."""
    facts = finder.facts
    assert candidate.character is not None
    names = sides.NAMES
    confidence = 0.99
    if not candidate.blank and not candidate.oval:
        for side, got in enumerate(candidate.edges):
            if candidate.modelled[side]:
                if candidate.trust_of((side + 2) % 4) < 0.4 or candidate.modelled[(side + 2) % 4]:
                    confidence *= 0.7
                    candidate.reasons.append(
                        f"{names[side]} edge not seen: placed as on the other frames of the strip"
                    )
                else:
                    confidence *= 0.95
                continue
            if candidate.strip and side in (0, 2) and candidate.seen[side] < 0.12:
                confidence *= 0.75
                candidate.reasons.append(f"{names[side]} edge hardly differs from the border")
            if got is None or got.share < 0.12:
                confidence *= 0.4
                candidate.reasons.append(
                    f"{names[side]} edge not found: picture as {'dark' if candidate.level_dark else 'clear'} as the border"  # noqa: E501
                )
            elif got.residual > max(1.5, 0.001 * float(np.hypot(*(got.q - got.p)))):
                confidence *= 0.65
                candidate.reasons.append(f"{names[side]} edge is not straight")
            elif got.share < 0.3:
                confidence *= 0.75
                candidate.reasons.append(
                    f"{names[side]} edge seen along {got.share:.0%} of its length only"
                )
            plain = 0.8 if candidate.level_dark else 0.1
            if got is not None and got.contrast > plain and finder.border_inside(candidate, side):
                confidence *= 0.5
                candidate.reasons.append(
                    f"{names[side]} edge may be that of the film: border is seen inside it"
                )
    confidence *= _shape(finder, candidate)
    if candidate.oval:
        u, v = finder._size_mm(candidate.corners)
        if candidate.levels == 1 and u < 1.1 * v:
            confidence *= 0.6
            candidate.reasons.append("round opening: nothing shows how the slide lies")
        if candidate.oval_seen < 0.5:
            confidence *= 0.6
            candidate.reasons.append(
                f"edge of the oval seen along {candidate.oval_seen:.0%} of its length only"
            )
    if keystone_of(candidate.corners) > 0.9:
        confidence *= 0.6
        candidate.reasons.append("opposite sides are not parallel")
    area = float(cv2.contourArea(candidate.corners.astype(np.float32)))
    if not candidate.strip and area < 0.1 * finder.width * finder.height and finder.alone:
        confidence *= 0.5
        candidate.reasons.append("covers little of the master: there may be more picture around it")
    if _cut_off(finder, candidate):
        confidence *= 0.5
        candidate.reasons.append("cut off by the master's edge")
    low, high = candidate.corners.min(0), candidate.corners.max(0)
    if low.min() < -1 or (high > np.array([finder.width, finder.height]) + 1).any():
        confidence *= 0.5
        candidate.reasons.append("runs out of the master")
    if candidate.trust < 1:
        confidence *= candidate.trust
        candidate.reasons.append("far smaller than any known picture")
    if any(r.startswith("overlaps") for r in candidate.reasons):
        confidence *= 0.75
    if (
        facts.polarity == "auto"
        and candidate.character.polarity_trust < 0.8
        and not candidate.blank
    ):
        confidence *= 0.78
        candidate.reasons.append("negative or positive: not clear from the picture")
    if facts.process == "auto" and candidate.character.process_trust < 0.8 and not candidate.blank:
        confidence *= 0.78
        candidate.reasons.append("colour or monochrome: not clear from the picture")
    candidate.confidence = confidence


def _cut_off(finder: Finder, candidate: Candidate) -> bool:
    """Whether a frame of a strip has a side along the master's own edge."""
    if not candidate.strip:
        return False
    near = 0.4 * (finder.ppi or 0) / film.MM_PER_INCH + 2
    far = np.array([finder.width, finder.height]) - near
    c = candidate.corners
    sides_of = [c[[k, (k + 1) % 4]] for k in range(4)]
    return any(((side < near).all(0) | (side > far).all(0)).any() for side in sides_of)


def _shape(finder: Finder, candidate: Candidate) -> float:
    """Return a factor for how like a picture's the shape is: square corners, a known size."""
    if candidate.blank or candidate.oval:
        return 1.0
    c = candidate.corners
    factor = 1.0
    turns = []
    for k in range(4):
        a, b = c[(k + 1) % 4] - c[k], c[k - 1] - c[k]
        turns.append(
            abs(90 - np.degrees(np.arccos(np.clip(a @ b / np.hypot(*a) / np.hypot(*b), -1, 1))))
        )
    if max(turns) > 0.75:
        factor *= 0.7
        candidate.reasons.append(f"corners are up to {max(turns):.1f} degrees off square")
    if candidate.gauge == "135" and finder.ppi_source == "perforations":
        long, short = finder._size_mm(c)
        whole = abs(long - 36) < 0.55 and abs(short - 24) < 0.55
        half = abs(long - 24) < 0.55 and abs(short - 18) < 0.6
        if not whole and not half:
            factor *= 0.7
            candidate.reasons.append(
                f"{long:.1f} x {short:.1f} mm is no usual size of a picture on 35 mm film"
            )
    return factor


def _tuple(c: Doubles) -> Corners:
    return cast(Corners, tuple((float(x), float(y)) for x, y in c))


def frame_of(finder: Finder, candidate: Candidate, index: int) -> Frame:
    facts = finder.facts
    corners = order(candidate.corners)
    shift = int(np.argmin(np.hypot(*(candidate.corners - corners[0]).T)))
    keystone = keystone_of(corners)
    if finder.settings["fit"] == "rectangle":
        corners = rectangle_of(corners)
    made = []
    for k, name in enumerate(sides.NAMES):
        got = candidate.edges[(k + shift) % 4] if candidate.edges else None
        made.append(
            Side(name, got is not None, got.residual if got else 0.0, got.contrast if got else 0.0)
        )
    assert candidate.character is not None
    state: Literal["ok", "review"] = (
        "ok" if candidate.confidence >= finder.settings["review_below"] else "review"
    )
    return Frame(
        index=index,
        corners=_tuple(corners),
        angle_deg=angle_of(corners),
        polarity=cast(
            Any, candidate.character.polarity if facts.polarity == "auto" else facts.polarity
        ),
        process=cast(
            Any, candidate.character.process if facts.process == "auto" else facts.process
        ),
        rotate=facts.rotate,
        mirror=facts.emulsion_side == "toward",
        blank=candidate.blank,
        confidence=round(candidate.confidence, 3),
        state=state,
        reasons=tuple(candidate.reasons) if state == "review" else (),
        sides=tuple(made),
        keystone_deg=keystone,
    )


def reading_order(candidates: list[Candidate]) -> list[Candidate]:
    """Sort by rows from top to bottom, then left to right."""
    rest = sorted(candidates, key=lambda c: float(c.corners[:, 1].mean()))
    out: list[Candidate] = []
    while rest:
        first = rest[0]
        height = float(np.ptp(first.corners[:, 1]))
        level = float(first.corners[:, 1].mean())
        row = [c for c in rest if abs(float(c.corners[:, 1].mean()) - level) < 0.5 * height]
        out.extend(sorted(row, key=lambda c: float(c.corners[:, 0].mean())))
        rest = [c for c in rest if all(c is not r for r in row)]
    return out


def locate_array(
    reduced: npt.NDArray[np.generic],
    reduction: float,
    region: Region,
    facts: Facts,
    ppi_hint: float | None,
    settings: dict[str, Any] | None = None,
    *,
    size: tuple[int, int] | None = None,
    table: Floats | None = None,
    path: str = "",
) -> MasterGeometry:
    """Return the frames of one master.

    reduced: (h, w) or (h, w, 3) uint8/uint16, the master shrunk by `reduction` (master px per
    px; each value the mean of its block). region(left, top, width, height): master pixels, same
    type and encoding. table: 65,536 values from encoded to linear light (default: from
    facts.encoding). size: (width, height) of the master, default reduced size x reduction.
    """
    width, height = size or (
        round(reduced.shape[1] * reduction),
        round(reduced.shape[0] * reduction),
    )
    if table is None:
        table = linear_table(None, facts.encoding)
    finder = Finder(
        reduced, reduction, region, facts, ppi_hint, settings or {}, width, height, table
    )
    candidates, kind = finder.run()
    characters = finder.characters(candidates, kind)
    for candidate, found in zip(candidates, characters, strict=True):
        candidate.character = found
        judge(finder, candidate)
    candidates = reading_order(candidates)
    frames = tuple(frame_of(finder, c, k + 1) for k, c in enumerate(candidates))
    notes = tuple(finder.notes) + (() if frames else ("no frame found",))
    return MasterGeometry(
        path=path,
        width=width,
        height=height,
        ppi=finder.ppi,
        ppi_source=cast(Any, finder.ppi_source),
        frames=frames,
        kind=kind,
        base_regions=tuple(_tuple(q) for q in finder.base_regions),
        object_corners=_tuple(finder.object_corners) if finder.object_corners is not None else None,
        notes=notes,
    )
