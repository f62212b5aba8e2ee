"""One piece with one picture: cut out of the view, peeled, and made a frame."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glassine.locate import boards, exposures, sides, single
from glassine.locate.border import Search
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
from glassine.locate.measures import give_sizes
from glassine.locate.scene import Scene
from glassine.locate.shapes import Doubles, order
from glassine.locate.straight import around, settle
from glassine.locate.view import Floats, Patch, Piece, upright

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# An edge of a picture nearer than this (mm) to the film's end may be that end.
NEAR_END_MM = 0.7
# Ground left around a piece: share of its shorter side, and view px at the least.
MARGIN, MARGIN_PX = 0.035, 8.0
# A piece that is turned by more (degrees) has no side along the master's edge.
ALONG_EDGE_DEG = 20
# How far inside its border's ragged end a picture's plain edge may lie: mm, or share of the shorter
# side where the scale is unknown.
PLAIN_MM, PLAIN_SHARE = 4, 0.07
# How far around a piece a picture hardly lighter than the dark around it may reach: likewise.
FAINT_MM, FAINT_SHARE = 6, 0.12
# Of such a picture so many sides must show.
FAINT_SIDES = 3
# A border of film is wide enough for D-min from this on (view px); of its width this share is left
# out on both sides, and of its length the outer quarters.
BASE_PX, BASE_INSET, BASE_ENDS = 4, 0.3, 0.25


@dataclass(frozen=True)
class Cut:
    """A piece turned upright with some of the ground around it.

    level: (c,) tone of the ground; margin: view px of ground around the piece.
    """

    piece: Piece
    patch: Patch
    level: Floats
    margin: float

    def on_master(self, lines: list[sides.Line], reduction: float) -> Doubles:
        """Return (4, 2) master px of the corners where lines meet."""
        h, w = self.patch.v.shape[:2]
        return self.patch.points(sides.corners(lines, w, h)) * reduction

    def search(self, scene: Scene, mm: float | None) -> Search:
        """Return what edges are looked for with. mm: view px per millimetre, where known."""
        return Search.of(self.patch, scene.view.noise, mm, self.margin)


def cut_of(scene: Scene, piece: Piece) -> Cut:
    """Turn a piece upright."""
    margin = max(MARGIN_PX, MARGIN * min(piece.width, piece.height))
    patch = _upright(scene, piece, margin)
    level = level_at(scene, piece)
    if scene.layout.apart:
        patch = boards.alone(patch, piece, level)
    return Cut(piece, patch, level, margin)


def _upright(scene: Scene, piece: Piece, margin: float) -> Patch:
    width, height = piece.width + 2 * margin, piece.height + 2 * margin
    return upright(scene.view, piece.centre, piece.angle_deg, width, height)


def level_at(scene: Scene, piece: Piece) -> Floats:
    """Return the tone of the ground in the piece's place, as light falls off."""
    x, y = (
        int(np.clip(v, 0, n - 1))
        for v, n in zip(piece.centre, scene.view.v.shape[1::-1], strict=True)
    )
    return np.asarray(scene.layout.level[y, x], np.float32)


def peeled(scene: Scene, cut: Cut, mm: float | None) -> single.Found | None:
    """Return the nested rectangles of a piece, the picture's sides on plain edges."""
    piece = cut.piece
    closed = piece.touches if abs(piece.angle_deg) < ALONG_EDGE_DEG else (False,) * 4
    dark = scene.layout.ground == "dark"
    noise = scene.view.noise
    found = single.peel(cut.patch, cut.level, dark, noise, mm, cut.margin, closed)
    if found is None or not found.border or found.picture.oval:
        return found
    picture = found.picture
    reach = PLAIN_MM * mm if mm else PLAIN_SHARE * min(cut.patch.v.shape[:2])
    picture.lines = settle(cut.patch, picture.lines, picture.dark, reach)
    picture.lines = around(cut.patch, picture.lines, picture.dark, reach / 2, reach)
    return found


def candidate_of(
    scene: Scene, cut: Cut, found: single.Found, known: Known
) -> tuple[Candidate, Known]:
    """Return the picture of a piece as a frame, and its borders with what is known."""
    picture = found.picture
    outer = cut.on_master(found.levels[0].lines, scene.reduction)
    candidate = Candidate(
        cut.on_master(picture.lines, scene.reduction),
        picture.dark,
        [line.share - line.early for line in picture.lines],
        [line.found for line in picture.lines],
        "single",
        picture.outside if found.border else None,
        oval=picture.oval,
        object_corners=outer,
    )
    candidate.levels = len(found.levels)
    if found.border:
        candidate.held_in = cut.on_master(found.levels[-2].lines, scene.reduction)
    candidate.hollow, candidate.shadow = found.hollow, found.shadow
    candidate.ground = scene.layout.ground
    if found.border and scene.layout.ground == "light" and known.mm:
        pairs = enumerate(zip(picture.lines, found.levels[0].lines, strict=True))
        near = NEAR_END_MM * known.mm
        candidate.thin = tuple(side for side, (a, b) in pairs if a.at - b.at < near)
    if scene.opening is not None and candidate.border is None:
        candidate.border = cut.level
    give_sizes(candidate, known.ppi)
    if known.object_corners is None and found.border:
        known = replace(known, object_corners=order(outer))
    if found.border and not picture.dark:
        base = _base_regions(cut.patch, found, scene.reduction)
        known = replace(known, base_regions=known.base_regions + base)
    return candidate, known


def _base_regions(patch: Patch, found: single.Found, reduction: float) -> tuple[Doubles, ...]:
    """Return where the clear border between the picture and the piece's edge lies, for D-min."""
    h, w = patch.v.shape[:2]
    outer, inner = found.levels[-2].lines, found.levels[-1].lines
    regions = []
    for side in range(4):
        wide = inner[side].at - outer[side].at
        if wide < BASE_PX:
            continue
        n = h if side in (sides.LEFT, sides.RIGHT) else w
        a, b = outer[side].at + BASE_INSET * wide, inner[side].at - BASE_INSET * wide
        low, high = BASE_ENDS * n, (1 - BASE_ENDS) * n
        box = {
            sides.LEFT: [(a, low), (b, low), (b, high), (a, high)],
            sides.TOP: [(low, a), (high, a), (high, b), (low, b)],
            sides.RIGHT: [(w - b, low), (w - a, low), (w - a, high), (w - b, high)],
            sides.BOTTOM: [(low, h - b), (high, h - b), (high, h - a), (low, h - a)],
        }[side]
        regions.append(patch.points(np.array(box)) * reduction)
    return tuple(regions)


def exposures_of(
    scene: Scene, cut: Cut, several: exposures.Exposures, whole: Candidate, ppi: float | None
) -> list[Candidate]:
    """Return the exposures of a piece as frames. whole: the piece taken for one picture."""
    parts = []
    for lines in several.lines:
        part = Candidate(
            cut.on_master(lines, scene.reduction),
            several.border.lighter,
            [line.share - line.early for line in lines],
            [line.found for line in lines],
            "single",
            several.border.tone,
            object_corners=whole.object_corners,
        )
        part.levels, part.ground, part.whole = max(2, whole.levels), whole.ground, whole
        part.repeated = several.repeated
        give_sizes(part, ppi)
        parts.append(part)
    return parts


def unseen(scene: Scene, patch: Patch, margin: float) -> Candidate:
    """Return what lies there as a frame none of whose edges was found."""
    h, w = patch.v.shape[:2]
    box = np.array(
        [[margin, margin], [w - margin, margin], [w - margin, h - margin], [margin, h - margin]]
    )
    corners = patch.points(box) * scene.reduction
    return Candidate(corners, scene.layout.ground == "dark", [0.0] * 4, [False] * 4, "single")


def faint(scene: Scene, piece: Piece, known: Known) -> Candidate | None:
    """Look for the straight edges of a picture hardly lighter than the dark around it."""
    short = min(piece.width, piece.height)
    reach = FAINT_MM * known.mm if known.mm else FAINT_SHARE * short
    patch = _upright(scene, piece, reach)
    h, w = patch.v.shape[:2]
    lines = [sides.Line(reach, 0.0, n / 2, found=False) for n in (h, w, h, w)]
    lines = around(patch, lines, True, reach - 2, reach)
    if sum(line.found for line in lines) < FAINT_SIDES:
        return None
    corners = patch.points(sides.corners(lines, w, h)) * scene.reduction
    seen = [line.share for line in lines]
    made = Candidate(corners, True, seen, [line.found for line in lines], "single")
    made.ground = "dark"
    give_sizes(made, known.ppi)
    return made
