"""What lies on the master outside every frame: which pieces, and what of it looks like a picture.

A piece is a label, a ruler or a target only where it shows what such things show; what is neither
that nor covered by frames stays unexplained, and is said to a person.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import film
from glassine.locate import masks
from glassine.locate.candidate import Candidate
from glassine.locate.shapes import Doubles, lengths_of
from glassine.locate.view import Floats, Layout, Mask, Piece, View, any_of, mean_of

TakenFor = Literal["frame", "strip", "mount", "label", "ruler", "target", "mask", "unexplained"]

# The master is looked at in a copy with this long side (px).
LONG_PX = 500
# A ground lighter than this may be a lamp.
LAMP = 0.12
# Around a frame so much (share of its short side) belongs to its edge.
RIM = 0.03
# Between frames of a strip, and beyond its last, so much (share of a frame's length) is rebate.
GAP = 0.14
# Tones farther from the bare rebate or mount than this are something that lies or shows there.
TONED = 0.15
# Tone (density) of what is as bright as the brightest of the master, as light falls off.
BARE = 0.08
# From this tone (density) on an area is nearly black: noise makes it vary, and light that strays
# from the pictures lights it. It is busy where it varies by so much, toned where it is off by so
# much.
DENSE, BUSY_IN_BLACK, TONED_IN_BLACK = 1.5, 0.2, 0.6
# An edge that was found shows this wide in the small copy, px.
EDGE_PX = 5
# An area counts from this thickness (share of the frames' short side) and this area (share of a
# frame's).
THICK, LARGE = 0.16, 0.05
# Along a frame's side it counts from this thickness.
THIN = 0.06
# A target's patches: even within this (density), so many at the least, which fill this share of the
# piece and are alike in size within this share; tones of two of them lie so far apart (density). A
# box is full where this share of it is of one patch.
EVEN_PATCH, FEWEST_PATCHES, PATCHED, PATCH_OFF = 0.02, 5, 0.3, 0.25
PATCH_APART, FULL_BOX = 0.06, 0.85


@dataclass(frozen=True)
class Seen:
    """Something on the master. corners: (4, 2) master px; share: of the master's area."""

    corners: Doubles
    taken_for: TakenFor
    share: float
    is_area: bool = False  # part of a piece, no piece by itself


@dataclass
class Small:
    """The master at LONG_PX. factor: px of it per px of the view; away: what is not the ground."""

    v: Floats
    grey: Floats
    away: Mask
    factor: float
    noise: float

    @classmethod
    def of(cls, view: View, layout: Layout) -> Small:
        h, w = view.grey.shape
        factor = min(1.0, LONG_PX / max(h, w))
        size = max(8, round(w * factor)), max(8, round(h * factor))

        def shrunk(a: Floats) -> Floats:
            small = cv2.resize(a, size, interpolation=cv2.INTER_AREA)
            return np.asarray(small.reshape(size[1], size[0], -1), np.float32)

        v, level = shrunk(view.v), shrunk(layout.level)
        if layout.ground == "dark":
            away = any_of(level - v > 0.25)
        else:
            # Nothing outshines a lamp; on paper or a board things may be lighter.
            off = v - level if layout.tone < LAMP else np.abs(v - level)
            away = any_of(off > max(0.03, 6 * view.noise))
        return cls(v, mean_of(v), np.asarray(away), factor, view.noise)

    def drawn(self, shapes: list[Doubles]) -> Mask:
        """Return where polygons (view px) lie."""
        out = np.zeros(self.grey.shape, np.uint8)
        for shape in shapes:
            cv2.fillPoly(out, [np.round(shape * self.factor - 0.5).astype(np.int32)], 1)
        return out.astype(bool)

    def outlined(self, shapes: list[Doubles]) -> Mask:
        """Return where the sides of polygons (view px) run, with the blur beside them."""
        out = np.zeros(self.grey.shape, np.uint8)
        for shape in shapes:
            points = np.round(shape * self.factor - 0.5).astype(np.int32)
            cv2.polylines(out, [points], True, 1, EDGE_PX)
        return out.astype(bool)


def _edges_around(one: Candidate) -> list[Doubles]:
    """Return the outlines around a frame that were found beside its own: of its film or paper, and
    of the opening that these lie in.
    """
    whole = one.whole or one
    return [each for each in (whole.held_in, whole.object_corners) if each is not None]


def explained(found: list[Candidate], reduction: float) -> list[Doubles]:
    """Return the outlines (view px) that frames account for: film and its margins beside them."""
    out = []
    for each in found:
        c = as_film_runs(each, found) / reduction
        along, down = c[1] - c[0], c[3] - c[0]
        a, d = float(np.hypot(*along)), float(np.hypot(*down))
        if min(a, d) < 1:
            continue
        rim = RIM * min(a, d) + 1.5
        wide = rim / a, rim / d
        if each.strip:
            roll = film.FILM_120 if each.gauge == "120" else film.FILM_135
            margin = (roll.width_mm / roll.picture_height_mm - 1) / 2 + 0.03
            wide = GAP, margin
        out.append(_grown(c, *wide))
    return out


def as_film_runs(one: Candidate, found: list[Candidate]) -> Doubles:
    """Return a frame's corners, those of a strip's so that the first two lie along the film."""
    places = [each.corners.mean(0) for each in found if one.strip and each.strip == one.strip]
    if len(places) < 2:
        return one.corners
    film_runs = places[-1] - places[0]
    u, v = one.corners[1] - one.corners[0], one.corners[3] - one.corners[0]
    turned = abs(u @ film_runs) * np.hypot(*v) < abs(v @ film_runs) * np.hypot(*u)
    return np.roll(one.corners, -1, 0) if turned else one.corners


def _grown(c: Doubles, along: float, down: float) -> Doubles:
    """Return four corners moved out by shares of the sides."""
    u, v = (c[1] - c[0] + c[2] - c[3]) / 2 * along, (c[3] - c[0] + c[2] - c[1]) / 2 * down
    return np.asarray(c + np.array([-u - v, u - v, u + v, -u + v]))


def ground_inside(small: Small, layout: Layout, corners: Doubles) -> float:
    """Return the share of a frame (corners: view px) where the table shows, seen from outside it.

    On a dark ground dark parts of a picture look like it: 0.
    """
    if layout.ground == "dark":
        return 0.0
    bare = cv2.erode((~small.away).astype(np.uint8), np.ones((3, 3), np.uint8))
    inner = small.drawn([_grown(corners, -0.02, -0.02)])
    _, parts = cv2.connectedComponents(bare)
    without = np.unique(parts[(bare > 0) & ~small.drawn([corners])])
    open_table = np.isin(parts, without[without > 0])
    return float((open_table & inner).sum() / max(int(inner.sum()), 1))


def seen_outside(
    small: Small,
    view: View,
    layout: Layout,
    found: list[Candidate],
    label_places: Callable[[], list[Doubles]],
) -> list[Seen]:
    """Return every piece on the table and what it was taken for, and areas like pictures that no
    frame covers. label_places: reads labels, returns the middles (master px) of their codes.
    """
    frames = [c.corners / view.reduction for c in found]
    covered = small.drawn(explained(found, view.reduction))
    seen = [
        _piece(small, piece, found, frames, covered, view, label_places)
        if not masks.covers(view, layout, piece) or len(layout.pieces) < 2
        else Seen(outline_of(piece) * view.reduction, "mask", float(piece.mask.mean()))
        for piece in layout.pieces
    ]
    named = [
        each.corners / view.reduction
        for each in seen
        if each.taken_for in ("label", "ruler", "target", "unexplained")
    ]
    if layout.ground == "light":
        covered |= masks.opaque_areas(small.grey)
    covered |= small.outlined(
        [edge / view.reduction for one in found for edge in _edges_around(one)]
    )
    rest = small.away & ~covered & ~small.drawn([_grown(c, 0.03, 0.03) for c in named])
    if found:
        seen += _areas(small, rest, found, view)
    return seen


def outline_of(piece: Piece) -> Doubles:
    """Return a piece's corners, view px."""
    a = np.deg2rad(piece.angle_deg)
    u = np.array([np.cos(a), np.sin(a)]) * piece.width / 2
    v = np.array([-np.sin(a), np.cos(a)]) * piece.height / 2
    return np.asarray(np.array(piece.centre) + np.array([-u - v, u - v, u + v, -u + v]))


def _piece(
    small: Small,
    piece: Piece,
    found: list[Candidate],
    frames: list[Doubles],
    covered: Mask,
    view: View,
    label_places: Callable[[], list[Doubles]],
) -> Seen:
    corners = outline_of(piece)
    share = float(piece.mask.mean())
    size = small.grey.shape[1], small.grey.shape[0]
    mask = cv2.resize(piece.mask.astype(np.uint8), size, interpolation=cv2.INTER_AREA) > 0
    inside = [
        k
        for k, c in enumerate(frames)
        if cv2.pointPolygonTest(corners.astype(np.float32), tuple(map(float, c.mean(0))), False) > 0
    ]
    taken: TakenFor = "unexplained"
    if inside:
        one = found[inside[0]]
        taken = (
            "strip" if one.strip else ("mount" if one.levels > 1 and one.level_dark else "frame")
        )
    elif mask.any() and (mask & covered).sum() > 0.6 * mask.sum():
        taken = "strip" if found and found[0].strip else "frame"
    else:
        taken = _stranger(view, piece, corners, label_places)
    return Seen(corners * view.reduction, taken, share)


def _stranger(
    view: View, piece: Piece, corners: Doubles, label_places: Callable[[], list[Doubles]]
) -> TakenFor:
    """Tell a piece without a frame by what it shows."""
    outline = corners.astype(np.float32) * view.reduction
    for at in label_places():
        if cv2.pointPolygonTest(outline, (float(at[0]), float(at[1])), False) >= 0:
            return "label"
    x, y, w, h = piece.box
    mask = piece.mask[y : y + h, x : x + w]
    long, short = max(piece.width, piece.height), min(piece.width, piece.height)
    n = max(1, round(0.06 * short))
    mask = cv2.erode(mask.astype(np.uint8), np.ones((2 * n + 1,) * 2, np.uint8)).astype(bool)
    if mask.sum() < 30:
        return "unexplained"
    v = view.v[y : y + h, x : x + w]
    grey = view.grey[y : y + h, x : x + w]
    tones = np.sort(grey[mask])
    right = np.searchsorted(tones, tones + 0.12)
    first = int((right - np.arange(len(tones))).argmax())
    ground = float(np.median(tones[first : right[first]]))
    off = (np.abs(grey - ground) > 0.1) & mask
    # Writing, marks and bars are thin; a picture is not.
    n = max(3, round(0.22 * short))
    broad = cv2.morphologyEx(off.astype(np.uint8), cv2.MORPH_OPEN, np.ones((n, n), np.uint8))
    even = float((~off & mask).sum() / mask.sum())
    neutral = float(np.median(np.ptp(v[mask], axis=1))) < 0.25
    if broad.sum() < 0.02 * mask.sum() and even > 0.45:
        if long > 4 * short:
            return "ruler"
        return "label" if neutral else "unexplained"
    return "target" if holds_patches(v, mask, short, view.noise) else "unexplained"


def holds_patches(v: Floats, mask: Mask, short: float, noise: float) -> bool:
    """Whether a piece is made of even patches of one size and of several tones, as targets are.

    v: (h, w, c) tones; mask: (h, w) where the piece is; short: its shorter side, px.
    """
    n = max(3, round(0.05 * short)) | 1
    mean = cv2.blur(v, (n, n)).reshape(v.shape)
    square = cv2.blur(v * v, (n, n)).reshape(v.shape)
    spread = np.sqrt(np.maximum(square - mean * mean, 0))
    plain = ((spread.max(2) < EVEN_PATCH + 2 * noise) & mask).astype(np.uint8)
    _, parts, stats, _ = cv2.connectedComponentsWithStats(plain, connectivity=4)
    own = [k for k in range(1, len(stats)) if _is_box(stats[k], short)]
    if len(own) < FEWEST_PATCHES:
        return False
    sizes = stats[own][:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]].astype(np.float64)
    like = (np.abs(sizes / np.median(sizes, axis=0) - 1) < PATCH_OFF).all(1)
    own = [k for k, alike in zip(own, like.tolist(), strict=True) if alike]
    if sum(int(stats[k, cv2.CC_STAT_AREA]) for k in own) < PATCHED * mask.sum():
        return False
    tones: list[Floats] = []
    for k in own:
        tone = np.median(v[parts == k], axis=0)
        if all(np.abs(tone - other).max() > PATCH_APART for other in tones):
            tones.append(tone)
    return len(own) >= FEWEST_PATCHES and len(tones) >= FEWEST_PATCHES - 1


def _is_box(stats: npt.NDArray[np.int32], short: float) -> bool:
    """Whether an area fills the upright box around it, and is no speck."""
    box = int(stats[cv2.CC_STAT_WIDTH] * stats[cv2.CC_STAT_HEIGHT])
    least = min(stats[cv2.CC_STAT_WIDTH], stats[cv2.CC_STAT_HEIGHT])
    return bool(stats[cv2.CC_STAT_AREA] > FULL_BOX * box and least > 0.12 * short)


def _areas(small: Small, rest: Mask, found: list[Candidate], view: View) -> list[Seen]:
    """Return the areas of the rest that look like a picture, or like a part of one."""
    sides = [lengths_of(one.corners / view.reduction) for one in found]
    short = float(np.median([each[1] for each in sides])) * small.factor
    area = float(np.median([a * b for a, b in sides])) * small.factor**2
    if short < 6 or not rest.any():
        return []
    k = max(3, round(0.06 * short)) | 1
    mean = cv2.blur(small.grey, (k, k))
    spread = np.sqrt(np.maximum(cv2.blur(small.grey * small.grey, (k, k)) - mean * mean, 0))
    level = float(np.median(small.grey[rest]))
    # What is as clear as the light itself is bare table, or paper; what is as the border of the
    # pictures is their film, beyond the last of them too. Neither shows a picture.
    bare = [level, *{round(float(one.border.mean()), 3) for one in found if one.border is not None}]
    off = np.min([np.abs(mean - each) for each in bare], axis=0)
    toned = (off > np.where(mean > DENSE, TONED_IN_BLACK, TONED)) & (mean > BARE)
    # What is nearly black varies by its noise, and by little light more.
    least = np.where(mean > DENSE, BUSY_IN_BLACK, 0.05)
    busy = (spread > least + 4 * small.noise) | toned
    n = max(3, round(THICK * short))
    # What the master's edge cuts off goes on beyond it.
    padded = np.pad((busy & rest).astype(np.uint8), n, mode="edge")
    marked = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    marked = cv2.morphologyEx(marked, cv2.MORPH_OPEN, np.ones((n, n), np.uint8))[n:-n, n:-n]
    marked = np.asarray(np.maximum(marked, _beside(small, rest, short)), np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(np.ascontiguousarray(marked))
    out = []
    for x, y, w, h, size in stats[1:]:
        if size < LARGE * area or max(w, h) < 0.35 * short:
            continue
        box = np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], float)
        corners = box / small.factor * view.reduction
        out.append(Seen(corners, "unexplained", float(size / marked.size), is_area=True))
    return out


def _beside(small: Small, rest: Mask, short: float) -> npt.NDArray[np.uint8]:
    """Return where what looks like a picture runs along a frame: a part that was left out.

    Tones are compared within the rest alone, so that neither table nor frame make it busy.
    """
    inner = cv2.erode(rest.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(np.float32)
    k = max(3, round(0.05 * short)) | 1
    weight = np.maximum(cv2.blur(inner, (k, k)), 1e-6)
    mean = cv2.blur(small.grey * inner, (k, k)) / weight
    square = cv2.blur(small.grey * small.grey * inner, (k, k)) / weight
    spread = np.sqrt(np.maximum(square - mean * mean, 0))
    busy = ((spread > 0.05 + 4 * small.noise) & (inner > 0)).astype(np.uint8)
    thick, long = max(3, round(THIN * short)), max(5, round(0.6 * short))
    out = np.zeros(busy.shape, np.uint8)
    for size in ((thick, long), (long, thick)):
        out |= np.asarray(cv2.morphologyEx(busy, cv2.MORPH_OPEN, np.ones(size, np.uint8)))
    return out
