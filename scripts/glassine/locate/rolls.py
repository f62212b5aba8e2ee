"""A piece taken for a strip of roll film: turned level, its holes looked for, its frames made."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from glassine.base import film
from glassine.locate import boards, border, sides, strips
from glassine.locate.candidate import Candidate
from glassine.locate.chain import Slot
from glassine.locate.known import Known
from glassine.locate.pictures import NEAR_END_MM, level_at, unseen
from glassine.locate.scale import Scale, agree
from glassine.locate.scene import Scene
from glassine.locate.shapes import Doubles
from glassine.locate.view import Patch, Piece, upright

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Ground left around a strip: share of its height, and view px at the least.
MARGIN, MARGIN_PX = 0.05, 6.0
# A strip that lies within this (degrees) is level.
LEVEL_DEG = 0.01
# An edge of the film counts from this share of its length on.
FILM_EDGE_SHARE = 0.25
# Step of tone (density) at the film's edge: on a dark ground; on a lit table at the least, or so
# many times the noise.
STEP_ON_DARK, STEP_ON_LIGHT, STEP_NOISE = 0.2, 0.02, 4
# The film's edges lie in this share of the patch, lean by no more than this (slope) and are
# straight within one of these.
EDGE_REACH, EDGE_LEAN, EDGE_TOLERANCES_PX = 0.3, 0.02, (1.5, 3.0)
# Where between a mask's edges film with perforations may lie: shares of what is left beside it.
LOOSE = (0.5, 0.25, 0.75, 0.0, 1.0)
# The film's edges and its perforations tell the same width within this share.
SAME_WIDTH = 0.02
# Film is as wide as it comes; a piece of it that is wider by more (mm) holds a seam besides.
FILM_120_MM, SEAM_MM = film.FILM_120.width_mm, 1.2
# Plain film is 120 film for certain where so many frames show at both ends this well (share), and
# their long sides too. An end that overlaps the next exposure is plain from the same share on.
PLAIN_FRAMES, PLAIN_SHARE = 2, 0.3
# Wide views on 120 film are longer than this (mm; 6 x 12 cm and more: 111 and more on the film).
WIDE_MM = 110.0
# Steps of tone down this share of a long picture, where shorter ones would meet, may be their ends.
MEETING = 0.35
# A side of a frame that shows along less than this share of it was not found.
SIDE_SHARE = 0.1
# Frames (mm): a neighbour nearer than this touches; film between two of them that is wider than
# this shows the base; corners of a camera's gate are rounded so far. Common practice, no source.
TOUCHING_MM, BASE_MM, ROUND_MM = 0.6, 0.8, 0.3
# Share of the film between two frames, and of their height, left out at each end, for the base.
BASE_INSET, BASE_ENDS = 0.3, 0.2


@dataclass(frozen=True)
class Gauge:
    """The roll film that a piece is taken for. sure: whether the batch states it; otherwise its
    perforations or its frames must show it.
    """

    name: Literal["135", "120"]
    sure: bool = False

    @property
    def width_mm(self) -> float:
        """Return the width of the film."""
        return (film.FILM_135 if self.name == "135" else film.FILM_120).width_mm


@dataclass(frozen=True)
class _Level:
    """Film turned level, running along x. top, bottom: its edges, patch px; angle_deg: of the patch
    in the view; margin: px around the piece.
    """

    patch: Patch
    top: float
    bottom: float
    angle_deg: float
    margin: float

    @property
    def across(self) -> float:
        """Return the width of the film, px."""
        return self.bottom - self.top


def frames_on(
    scene: Scene, piece: Piece, gauge: Gauge, upright_film: bool, known: Known
) -> tuple[list[Candidate], Known]:
    """Return the frames of a piece taken for a strip of film; none where it is no such.

    upright_film: whether the film runs up and down.
    """
    level = _levelled(scene, piece, upright_film)
    holes = _perforations(level, known.mm) if gauge.name == "135" else None
    if holes is None and gauge.name == "135" and not gauge.sure:
        return [], known
    if holes is not None:
        level, holes = _between_its_edges(level, holes)
    columns = level.patch.v.shape[1]
    runs_out = _runs_out(piece, level.angle_deg)
    left = 0.0 if runs_out[0] else level.margin
    right = columns if runs_out[1] else columns - level.margin
    trusted = _trusted_mm(scene, gauge, holes, level.across, known)
    film_level = strips.Level(
        level.patch, level.top, level.bottom, left, right, gauge.name, holes,
        scene.view.noise, trusted, runs_out,
    )  # fmt: skip
    loose = _loose(gauge, level.across, known)
    strip = strips.lay_out(film_level) if loose is None else _within(film_level, loose)
    mm = known.mm if loose is None else None
    if gauge.name == "120" and not gauge.sure and not _shows_120(strip, mm):
        return [], known
    if not strip.slots or all(slot.blank for slot in strip.slots):
        return [unseen(scene, level.patch, level.margin)] if holes is not None else [], known
    if loose is None:
        known = _with_scale(scene, known, gauge, holes, level.across)
    known = replace(known, patches=(*known.patches, level.patch))
    made = _frames_of(strip, level.patch, scene.reduction, len(known.patches))
    if len(made) == 1:
        gaps = strip.slots[0].left - left, right - strip.slots[0].right
        near = NEAR_END_MM * strip.mm
        ends = (sides.LEFT, sides.RIGHT)
        made[0].thin = tuple(
            side
            for side, gap, out in zip(ends, gaps, runs_out, strict=True)
            if gap < near and not out
        )
    base = _base_regions(strip, level.patch, scene.reduction)
    return made, replace(known, base_regions=known.base_regions + base)


# ------------------------------------------------------------------ the film, and its scale


def _levelled(scene: Scene, piece: Piece, upright_film: bool) -> _Level:
    """Turn a piece so that the edges of its film lie level.

    How it lies is the same for every look, so only the first one measures it.
    """
    angle, width, height = piece.angle_deg, piece.width, piece.height
    if upright_film:
        angle, width, height = angle + 90, height, width
    margin = max(MARGIN_PX, MARGIN * height)

    def at(angle_deg: float) -> Patch:
        size = width + 2 * margin, height + 2 * margin
        patch = upright(scene.view, piece.centre, angle_deg, *size)
        if scene.layout.ground != "light":
            return patch
        # Without what lies beside it: a neighbour's edge is none of this film.
        if scene.layout.apart:
            return boards.alone(patch, piece, level_at(scene, piece))
        return boards.without_others(patch, piece, scene.layout.pieces, level_at(scene, piece))

    key = (*piece.centre, angle, width, height)
    if key not in scene.film_edges:
        for _ in range(2):
            _, _, turn = _film_edges(scene, at(angle), margin)
            angle += turn
            if abs(turn) < LEVEL_DEG:
                break
        top, bottom, _ = _film_edges(scene, at(angle), margin)
        scene.film_edges[key] = angle, top, bottom
    angle, top, bottom = scene.film_edges[key]
    patch = at(angle)
    return _Level(patch, top, bottom, angle, margin)


def _film_edges(scene: Scene, patch: Patch, margin: float) -> tuple[float, float, float]:
    """Return the film's upper and lower edge (patch px) and the turn (deg) that levels them."""
    h, w = patch.v.shape[:2]
    dark = scene.layout.ground == "dark"
    ground = margin * 0.4
    outside = patch.v[: max(2, int(ground))].reshape(-1, patch.v.shape[2])
    level = np.median(outside, axis=0).astype(np.float32)
    limit = STEP_ON_DARK if dark else max(STEP_ON_LIGHT, STEP_NOISE * scene.view.noise)
    own = [
        border.even_rows(patch, side, None, level, 0.0, ground, 3 * limit)
        if side in (sides.TOP, sides.BOTTOM)
        else None
        for side in range(4)
    ]
    leaving = border.Leaving(
        level,
        lighter=limit if dark else None,
        denser=None if dark else limit,
        skip=0.0,
        blur=max(1, w // 400),
        run=2,
        reach=EDGE_REACH,
        tolerances=EDGE_TOLERANCES_PX,
    )
    wanted = sides.TOP, sides.BOTTOM
    lines = border.departures(patch, None, own, leaving, (EDGE_LEAN,) * 4, wanted=wanted)
    upper, lower = (
        line if line is not None and line.share > FILM_EDGE_SHARE else None
        for line in (lines[sides.TOP], lines[sides.BOTTOM])
    )
    top = margin if upper is None else upper.at
    bottom = h - (margin if lower is None else lower.at)
    turns = [sign * line.slope for sign, line in ((1, upper), (-1, lower)) if line is not None]
    return top, bottom, float(np.degrees(np.arctan(np.mean(turns)))) if turns else 0.0


def _perforations(level: _Level, mm: float | None) -> strips.Perforations | None:
    """Look for holes where they are on film with these edges, or inside of a mask's.

    mm: px per millimetre, where known.
    """
    top, bottom = level.top, level.bottom
    holes = strips.perforations(level.patch, top, bottom)
    width = film.FILM_135.width_mm * (mm or 0)
    if holes is not None or not 0 < width < bottom - top:
        return holes
    loose = bottom - top - width
    for share in LOOSE:
        start = top + share * loose
        holes = strips.perforations(level.patch, start, start + width)
        if holes is not None:
            return holes
    return None


def _loose(gauge: Gauge, across: float, known: Known) -> float | None:
    """Return how much wider (px) than 120 film a piece of it is, as a seam or a fold along it makes
    it; None where it is as wide as the film.
    """
    if gauge.name != "120" or known.mm is None:
        return None
    more = across - FILM_120_MM * known.mm
    return more if more > SEAM_MM * known.mm else None


def _within(level: strips.Level, loose: float) -> strips.Strip:
    """Return the strip where its frames show best, of some places of the film in a wider piece."""
    tried = [
        strips.lay_out(
            replace(level, top=level.top + share * loose, bottom=level.bottom - (1 - share) * loose)
        )
        for share in (0.0, 0.5, 1.0)
    ]
    return max(tried, key=lambda strip: strip.shown)


def _mm_by(holes: strips.Perforations) -> float:
    """Return px per millimetre by the pitch of perforations."""
    return holes.pitch_px / film.PERFORATION_PITCH_MM


def _between_its_edges(
    level: _Level, holes: strips.Perforations
) -> tuple[_Level, strips.Perforations]:
    """Return the film with the edges that its perforations say where those that were seen are
    others: they may be those of a mask around it.
    """
    mm = _mm_by(holes)
    width = film.FILM_135.width_mm * mm
    if abs(level.across - width) <= SAME_WIDTH * width:
        return level, holes
    middle = strips.between_rows(level.patch, holes, (level.top + level.bottom) / 2, mm)
    level = replace(level, top=middle - width / 2, bottom=middle + width / 2)
    return level, strips.perforations(level.patch, level.top, level.bottom) or holes


def _runs_out(piece: Piece, angle_deg: float) -> tuple[bool, bool]:
    """Return whether film that is turned so runs out of the view where it begins and where it ends:
    that is no end of the film.
    """
    left, top, right, bottom = piece.touches
    x, y = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    (first, last), along = ((left, right), x) if abs(x) >= abs(y) else ((top, bottom), y)
    return (first, last) if along > 0 else (last, first)


def _by_width(scene: Scene, gauge: Gauge, across: float) -> Scale:
    """Return the scale by the width (view px) of film that shows no perforations."""
    return Scale(across * scene.reduction / gauge.width_mm * film.MM_PER_INCH, "film width")


def _trusted_mm(
    scene: Scene, gauge: Gauge, holes: strips.Perforations | None, across: float, known: Known
) -> float | None:
    """Return view px per mm as stated, or None where the width of the film contradicts it."""
    if holes is not None or known.scale is None:
        return known.mm
    return known.mm if agree(known.scale, _by_width(scene, gauge, across)) else None


def _with_scale(
    scene: Scene, known: Known, gauge: Gauge, holes: strips.Perforations | None, across: float
) -> Known:
    """Return what is known with the scale that a strip shows; perforations go before all."""
    if holes is None:
        return replace(known, seen=known.seen or _by_width(scene, gauge, across))
    ppi = holes.pitch_px * scene.reduction / film.PERFORATION_PITCH_MM * film.MM_PER_INCH
    by_pitch = Scale(ppi, "perforations")
    return replace(known, scale=by_pitch, seen=by_pitch, mm=known.mm or _mm_by(holes))


# ------------------------------------------------------------------ its frames


def _shows_120(strip: strips.Strip, mm: float | None) -> bool:
    """Whether frames show that plain film is 120 film. mm: view px per millimetre, where known."""
    own = [slot for slot in strip.slots if not slot.blank]
    if len(own) < 2:
        return mm is not None and len(own) == 1 and _is_wide_view(strip, own[0])
    plain = [s for s in strip.slots if min(s.seen_left, s.seen_right) > PLAIN_SHARE]
    return mm is not None or (len(plain) >= PLAIN_FRAMES and min(strip.rows_seen) >= PLAIN_SHARE)


def _is_wide_view(strip: strips.Strip, slot: Slot) -> bool:
    """Whether a frame alone on its film is a wide view, all of whose sides show: what was exposed
    frame by frame shows ends inside of it, or film between.
    """
    plain = min(slot.seen_left, slot.seen_right, *strip.rows_seen) > PLAIN_SHARE
    wide = slot.right - slot.left > WIDE_MM * strip.mm
    return plain and wide and strip.meeting < MEETING


def _frames_of(strip: strips.Strip, patch: Patch, reduction: float, number: int) -> list[Candidate]:
    """Return the frames of a strip. number: of the strip on its master."""
    out = []
    mm, top, bottom = strip.mm, strip.picture_top, strip.picture_bottom
    for k, slot in enumerate(strip.slots):
        box = np.array(
            [[slot.left, top], [slot.right, top], [slot.right, bottom], [slot.left, bottom]]
        )
        seen = [slot.seen_left, strip.rows_seen[0], slot.seen_right, strip.rows_seen[1]]
        one = Candidate(
            patch.points(box) * reduction,
            strip.dark,
            seen,
            [share >= SIDE_SHARE for share in seen],
            "strip",
            strip.base,
            slot.blank,
        )
        one.strip, one.gauge = number, strip.gauge
        one.round_px = ROUND_MM * mm * reduction
        if slot.overlap and min(slot.seen_left, slot.seen_right) < PLAIN_SHARE:
            one.against("overlaps", "overlaps the next exposure")
        gaps = [
            slot.left - strip.slots[k - 1].right if k else mm,
            strip.slots[k + 1].left - slot.right if slot is not strip.slots[-1] else mm,
        ]
        ends = (sides.LEFT, sides.RIGHT)
        near = TOUCHING_MM * mm
        one.touching = tuple(s for s, gap in zip(ends, gaps, strict=True) if gap < near)
        out.append(one)
    return out


def _base_regions(strip: strips.Strip, patch: Patch, reduction: float) -> tuple[Doubles, ...]:
    """Return where clear film shows between the frames of a strip, for D-min."""
    if strip.dark:
        return ()
    regions = []
    high = strip.picture_bottom - strip.picture_top
    y0, y1 = strip.picture_top + BASE_ENDS * high, strip.picture_bottom - BASE_ENDS * high
    for before, after in zip(strip.slots[:-1], strip.slots[1:], strict=True):
        gap = after.left - before.right
        if gap > BASE_MM * strip.mm:
            a, b = before.right + BASE_INSET * gap, after.left - BASE_INSET * gap
            box = np.array([[a, y0], [b, y0], [b, y1], [a, y1]])
            regions.append(patch.points(box) * reduction)
    return tuple(regions)
