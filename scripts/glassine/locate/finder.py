"""From a reduced copy and full-resolution cuts to the frames of one master."""

from __future__ import annotations

import copy
from dataclasses import replace
from typing import Any, cast

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import film
from glassine.base.model import Facts
from glassine.locate import boards, border, exposures, sides, single, sleeves, strips
from glassine.locate.agree import agree
from glassine.locate.candidate import Candidate
from glassine.locate.exact import Exact
from glassine.locate.kinds import kind_of
from glassine.locate.refine import Region, Sampler
from glassine.locate.scale import Scale
from glassine.locate.scale import agree as agree_on
from glassine.locate.shapes import ENDS, Doubles, lengths_of, order
from glassine.locate.straight import around, settle
from glassine.locate.view import Floats, Layout, Patch, Piece, View, look, survey, tone, upright
from glassine.masters import labels

DEFAULTS: dict[str, Any] = {"fit": "quadrilateral", "review_below": 0.8}
# An edge of a picture nearer than this (mm) to the film's end may be that end.
NEAR_END_MM = 0.7


class Finder:
    """Finds the frames of one master; `run` returns what goes into geometry.json."""

    def __init__(
        self,
        reduced: npt.NDArray[np.generic],
        reduction: float,
        region: Region,
        facts: Facts,
        settings: dict[str, Any],
        width: int,
        height: int,
        table: Floats,
    ) -> None:
        self.facts, self.settings = facts, {**DEFAULTS, **settings}
        self.width, self.height = width, height
        self.reduction = reduction
        self.whole: View = look(reduced, table, reduction)
        self.view: View = self.whole  # or what the opening of a mask shows
        self.sampler = Sampler(region, width, height, table, self.view.white)
        self.kind = facts.kind
        self.nested = False
        self.opening = 0.0, 0.0  # of the mask, px of the view
        self.mask_level = 0.0
        self.layout = self._inside_mask(
            sleeves.opened(self.view, boards.apart(self.view, survey(self.view)))
        )
        self._labels: list[list[dict[str, Any]]] = []  # read once for all looks
        self._begin(None)

    def _begin(self, scale: Scale | None) -> None:
        self.ppi: float | None = scale.ppi if scale else None
        self.ppi_source: str | None = scale.source if scale else None
        self.mm: float | None = film.px_per_mm(scale.ppi) / self.reduction if scale else None
        # What the film itself shows of the scale; whether what is used is more than a hint.
        self.seen: Scale | None = None
        self.sure = False
        self.base_regions: list[Doubles] = []
        self.object_corners: Doubles | None = None
        self.strips = 0
        self.alone = False
        self.strip_patches: dict[int, Patch] = {}

    def at(self, scale: Scale | None) -> Finder:
        """Return another look at the same master, by this scale or by none."""
        other = copy.copy(self)
        other._begin(scale)
        return other

    def roughly(self) -> list[Candidate]:
        """Return the frames as the reduced copy shows them; sets `seen`."""
        found: list[Candidate] = []
        for piece in self.layout.pieces:
            found.extend(self._piece(piece, self.layout))
        return self._without_strangers(found)

    def exactly(self, found: list[Candidate]) -> tuple[list[Candidate], str]:
        """Return the frames with their edges at full resolution, and the kind of material."""
        layout = self.layout
        exact = self._exact()
        for candidate in found:
            exact.refine(candidate)
        if layout.faint is not None and len(found) < 2:
            found = self._better_seen(found, layout.faint, exact)
        plain = [c for c in found if not c.blank and not c.oval]
        for one in plain:
            if not one.strip:
                exact.square([one])
        for number in range(1, self.strips + 1):
            exact.square([c for c in plain if c.strip == number])
            agree(
                [c for c in found if c.strip == number],
                self.strip_patches[number],
                self.reduction,
                self.ppi / film.MM_PER_INCH / self.reduction if self.ppi else None,
            )
        self.alone = len(found) == 1
        return found, kind_of(self, found)

    def _better_seen(self, found: list[Candidate], faint: Piece, exact: Exact) -> list[Candidate]:
        """Return the frame found, or the one in a wider, fainter piece where that shows better."""
        sound = found and (found[0].oval or (found[0].plainness() > 3 and not found[0].small))
        if found and (found[0].kind != "single" or sound):
            return found
        kept = self.object_corners, list(self.base_regions)
        self.object_corners, self.base_regions = None, []
        other = self._single(faint, self.layout)
        if other is not None:
            exact.refine(other)
            gain = 0.0 if not found else other.plainness() - found[0].plainness()
            if not found or other.oval or gain > 0.3 or (found[0].small and not other.small):
                return [other]
        self.object_corners, self.base_regions = kept
        return found

    # -- what lies on the table ------------------------------------------------------------

    def _inside_mask(self, layout: Layout) -> Layout:
        """Where an opaque mask leaves an opening onto the light table, look inside that."""
        if layout.ground != "dark" or len(layout.pieces) != 1:
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
        # Specks in something white are what a print shows, and no film in an opening.
        if max(p.mask.sum() for p in nested.pieces) < 0.1 * piece.mask.sum():
            return layout
        self.view = hidden
        self.nested = True
        self.opening = piece.width, piece.height
        self.mask_level = layout.tone
        return nested

    @property
    def labels(self) -> list[dict[str, Any]]:
        """Return what can be read on labels; corners in master px."""
        if not self._labels:
            self._labels.append(self._read_labels())
        return self._labels[0]

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
        if self.kind == "frame_135" and self.layout.ground == "light":
            return "135?"  # a frame with its perforations in view; without them, one picture
        if self.kind not in ("auto", "cut_frames"):
            return None
        long, short = max(piece.width, piece.height), min(piece.width, piece.height)
        if self.mm is None:
            return "135?"
        width = film.FILM_135.width_mm
        # In the opening of a mask a little of the table may show around the film.
        most = 4.5 if self.layout.ground == "dark" else 1.5
        across = [n / self.mm - width for n in (long, short)]
        if any(-1.5 < more < most for more in across) and long / self.mm > 20:
            return "135?"
        if (
            self.kind == "auto"
            and abs(short / self.mm - film.FILM_120.width_mm) < 1.7
            and long / self.mm > 66
            and short > 0.7 * self._widest()
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
        likely = self.kind == "auto" and 1.42 * short < long < 7 * short
        if likely and short > 0.7 * self._widest():
            tries.append(("120?", upright))
        return tries

    def _widest(self) -> float:
        """Return the greatest width of all pieces: no ruler and no label is as wide as 120 film."""
        return max(min(piece.width, piece.height) for piece in self.layout.pieces)

    def _piece(self, piece: Piece, layout: Layout) -> list[Candidate]:
        gauge = self._is_strip(piece)
        for attempt, turned in self._attempts(piece, gauge):
            made = self._strip(piece, layout, attempt, turned)
            if made:
                return self._rather_exposures(piece, made) or made
        made_one = self._single(piece, layout)
        if made_one is None:
            return []
        return made_one.parts or [made_one]

    def _rather_exposures(self, piece: Piece, strip: list[Candidate]) -> list[Candidate]:
        """Return the exposures on a plate that was taken for film: the same view comes again on
        it, at other places than the frames that were found. Nothing where it is film.
        """
        if strip[0].gauge != "120" or self.kind != "auto":
            return []
        kept = self.object_corners, list(self.base_regions)
        self.object_corners, self.base_regions = None, []
        one = self._single(piece, self.layout)
        parts = [] if one is None else one.parts
        if parts and parts[0].repeated and exposures.elsewhere(parts, strip):
            self.strips, self.seen = self.strips - 1, None
            return parts
        self.object_corners, self.base_regions = kept
        return []

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
        if layout.apart:
            patch = boards.alone(patch, piece, level)
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
        candidate.hollow, candidate.shadow = found.hollow, found.shadow
        if found.border and layout.ground == "light" and scale:
            pairs = enumerate(zip(picture.lines, found.levels[0].lines, strict=True))
            candidate.thin = tuple(s for s, (a, b) in pairs if a.at - b.at < NEAR_END_MM * scale)
        if self.nested and border is None:
            candidate.border = level.astype(np.float32)
        candidate.ground = layout.ground
        if found.border and not picture.dark:
            self._base(patch, found)
        self._sizes(candidate)
        candidate.parts = self._exposures(
            candidate, piece, patch, found, level.astype(np.float32), margin
        )
        return candidate

    def _exposures(
        self,
        whole: Candidate,
        piece: Piece,
        patch: Patch,
        found: single.Found,
        ground: Floats,
        margin: float,
    ) -> list[Candidate]:
        """Return the exposures of a piece that has several; nothing where it shows one picture."""
        search = border.Search.of(patch, self.view.noise, self.mm, margin)
        several = exposures.of_piece(patch, found, search, ground)
        if several is None:
            return []
        h, w = patch.v.shape[:2]
        if several.strips:
            return self._strips_in(piece, patch, several)
        parts = []
        for lines in several.lines:
            part = Candidate(
                patch.points(sides.corners(lines, w, h)) * self.reduction,
                several.border.lighter,
                [line.share - line.early for line in lines],
                [line.found for line in lines],
                "single",
                several.border.tone,
                object_corners=whole.object_corners,
            )
            part.levels, part.ground, part.whole = max(2, whole.levels), whole.ground, whole
            part.repeated = several.repeated
            self._sizes(part)
            parts.append(part)
        return parts

    def _strips_in(
        self, piece: Piece, patch: Patch, several: exposures.Exposures
    ) -> list[Candidate]:
        """Return the frames of strips of film that a sleeve's seam joins to one piece."""
        made: list[Candidate] = []
        for lines in several.lines:
            box = exposures.strip_in(patch, lines, several.border.tone)
            if box is None:
                continue  # an empty pocket of the sleeve
            (x, y), (width, height), turn = box
            centre = patch.points(np.array([[x, y]]))[0]
            part = replace(
                piece,
                centre=(float(centre[0]), float(centre[1])),
                angle_deg=piece.angle_deg + turn,
                width=width,
                height=height,
            )
            frames = [c for c in self._piece(part, self.layout) if c.strip]
            if not frames:
                # Film lies there: it is for review, and no ruler that may be left out.
                whole = upright(self.view, part.centre, part.angle_deg, width + 8, height + 8)
                frames = [self._unseen(whole, 4.0)]
                frames[0].kind = "strip"
            made += frames
        return made if any(c.strip for c in made) else []

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
        size = [float(np.hypot(*(c[1] - c[0]))), float(np.hypot(*(c[3] - c[0])))]
        if self.ppi is not None:
            mm = self.ppi / film.MM_PER_INCH
            candidate.round_px = 2.5 * mm
            candidate.small = min(size) / mm < 9
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
            patch = self._cut(piece, layout, angle, width + 2 * margin, height + 2 * margin)
            top, bottom, turn = self._film_edges(patch, layout, margin)
            angle += turn
            if abs(turn) < 0.01:
                break
        patch = self._cut(piece, layout, angle, width + 2 * margin, height + 2 * margin)
        top, bottom, _ = self._film_edges(patch, layout, margin)
        holes = self._perforations(patch, top, bottom) if gauge[:3] != "120" else None
        if gauge == "135?" and holes is None:
            return []
        if holes is not None:
            # What was taken for the film's edges may be a mask's around it.
            mm = holes.pitch_px / film.PERFORATION_PITCH_MM
            width = film.FILM_135.width_mm * mm
            if abs(bottom - top - width) > 0.02 * width:
                middle = strips.between_rows(patch, holes, (top + bottom) / 2, mm)
                top, bottom = middle - width / 2, middle + width / 2
                holes = strips.perforations(patch, top, bottom) or holes
        n = patch.v.shape[1]
        left = margin if width + 2 < self._span(angle) else 0.0
        known = self._trusted_mm(gauge, holes, bottom - top)
        strip = strips.lay_out(
            patch, top, bottom, left, n - left, gauge[:3], holes, view.noise, known
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
            self.seen = Scale(self.ppi, "perforations")
        elif self.seen is None:
            self.seen = self._by_width(gauge, bottom - top)
        made = self._frames_of(strip, patch)
        if len(made) == 1:
            gaps = strip.slots[0].left - left, n - left - strip.slots[0].right
            near = NEAR_END_MM * strip.mm
            made[0].thin = tuple(s for s, gap in zip((0, 2), gaps, strict=True) if gap < near)
        return made

    def _cut(self, piece: Piece, layout: Layout, angle: float, w: float, h: float) -> Patch:
        """Return a piece turned upright; where several lie on one board or page, without others."""
        patch = upright(self.view, piece.centre, angle, w, h)
        if not layout.apart or layout.ground != "light":
            return patch
        y, x = (int(np.clip(v, 0, n - 1)) for v, n in zip(
            piece.centre[::-1], self.view.v.shape[:2], strict=True
        ))  # fmt: skip
        return boards.alone(patch, piece, layout.level[y, x])

    def _by_width(self, gauge: str, across: float) -> Scale:
        """Return the scale by the width (view px) of film that shows no perforations."""
        wide = film.FILM_135 if gauge[:3] == "135" else film.FILM_120
        return Scale(across * self.reduction / wide.width_mm * film.MM_PER_INCH, "film width")

    def _trusted_mm(
        self, gauge: str, holes: strips.Perforations | None, across: float
    ) -> float | None:
        """Return view px per mm as stated, or None where the width of the film contradicts it."""
        if holes is not None or self.ppi is None or self.ppi_source is None:
            return self.mm
        said = Scale(self.ppi, cast(Any, self.ppi_source))
        return self.mm if agree_on(said, self._by_width(gauge, across)) else None

    def _perforations(self, patch: Patch, top: float, bottom: float) -> strips.Perforations | None:
        """Look for holes where they are on film with these edges, or inside of a mask's."""
        holes = strips.perforations(patch, top, bottom)
        width = film.FILM_135.width_mm * (self.mm or 0)
        if holes is not None or not 0 < width < bottom - top:
            return holes
        loose = bottom - top - width
        for share in (0.5, 0.25, 0.75, 0.0, 1.0):
            start = top + share * loose
            holes = strips.perforations(patch, start, start + width)
            if holes is not None:
                return holes
        return None

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
            border.even_rows(patch, side, None, level, 0.0, margin * 0.4, 3 * limit)
            if side in (sides.TOP, sides.BOTTOM)
            else None
            for side in range(4)
        ]
        lines = border.departures(
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
                c.against("overlaps", "overlaps the next exposure")
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

    def _exact(self) -> Exact:
        """Return what looks at the master itself, by what is known of the scale by now."""
        return Exact(self.sampler, self.reduction, self.ppi, self.layout.tone)

    def size_mm(self, c: Doubles) -> tuple[float, float]:
        """Return the longer and the shorter side in mm, or in px where the scale is unknown."""
        long, short = lengths_of(c)
        mm = self.ppi / film.MM_PER_INCH if self.ppi else 1.0
        return long / mm, short / mm

    # -- all kinds -------------------------------------------------------------------------

    def _without_strangers(self, found: list[Candidate]) -> list[Candidate]:
        """Leave out labels, rulers, nested and far too small finds."""
        if not found:
            return found
        wholes = [candidate.whole or candidate for candidate in found]
        areas = [abs(cv2.contourArea(c.corners.astype(np.float32))) for c in wholes]
        largest = max(areas)
        keep = []
        for candidate, whole, area in zip(found, wholes, areas, strict=True):
            c = whole.corners
            long = max(np.hypot(*(c[1] - c[0])), np.hypot(*(c[3] - c[0])))
            short = min(np.hypot(*(c[1] - c[0])), np.hypot(*(c[3] - c[0])))
            if candidate.kind == "single" and len({id(w) for w in wholes}) > 1:
                if long / max(short, 1) > 3.2 or area < 0.12 * largest:
                    continue
                if self.ppi is not None and short * film.MM_PER_INCH / self.ppi < 11:
                    continue
                if self._is_paper(whole):
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
        if candidate.levels > 1 and candidate.level_dark:
            return False  # a mount of card or plastic, with a picture lighter than it inside
        if self.layout.tone > border.OPEN:
            return False  # on a board all is seen by light from above: paper is what prints are on
        v = self._rim(outline)
        level, share = border.common(v, 0.06)
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
        p, q = (c[k] for k in ENDS[side])
        along = (q - p) / max(float(np.hypot(*(q - p))), 1e-6)
        inward = np.array([-along[1], along[0]])
        t = np.linspace(0.08, 0.92, 120)[:, None]
        at = p * (1 - t) + q * t + 3 * inward
        x = np.clip(at[:, 0].astype(int), 0, self.view.v.shape[1] - 1)
        y = np.clip(at[:, 1].astype(int), 0, self.view.v.shape[0] - 1)
        off = np.abs(self.view.v[y, x] - candidate.border).max(1)
        return float((off < (0.25 if candidate.level_dark else 0.04)).mean()) > 0.8

    def pixels(self, candidate: Candidate, inset: float) -> Floats:
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
