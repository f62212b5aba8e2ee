"""One picture on one piece: peel even borders off until the picture itself is reached."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate import sides
from glassine.locate.opening import differing, opening
from glassine.locate.sides import Line
from glassine.locate.straight import inwards
from glassine.locate.view import Floats, Patch, any_of, most_of, off_from

# Tone differences (density) that count as leaving an even border.
LEAVE_LIGHT = 0.02
LEAVE_DARK = 0.20
# A border darker than this is a mask, a mount or a rebate black as one.
OPAQUE = 1.2


@dataclass
class Level:
    """A rectangle and what lies just outside it.

    outside: tone per channel of the border around it; dark: whether that border is darker
    than what it encloses; even: share of the border, per side, that looks like `outside`.
    """

    lines: list[Line]
    outside: Floats
    dark: bool
    even: list[float] = field(default_factory=lambda: [1.0] * 4)
    oval: bool = False

    def strength(self) -> float:
        return float(np.mean([line.share - line.early for line in self.lines]))


@dataclass
class Found:
    levels: list[Level]
    border: bool  # whether the picture has an even border of its own piece around it

    @property
    def picture(self) -> Level:
        return self.levels[-1]


def _row_range(lines: list[Line] | None, side: int, length: int, inset: float) -> tuple[int, int]:
    if lines is None:
        return round(inset), round(length - inset)
    if side in (sides.LEFT, sides.RIGHT):
        low, high = lines[sides.TOP].at, length - lines[sides.BOTTOM].at
    else:
        low, high = lines[sides.LEFT].at, length - lines[sides.RIGHT].at
    return max(0, round(low + inset)), min(length, round(high - inset))


def ring(patch: Patch, lines: list[Line], skip: float, depth: float) -> list[Floats]:
    """Return, per side, (rows, channels): the median tone of a band just inside the lines."""
    out = []
    for side in range(4):
        v = sides.facing(patch.v, side)
        low, high = _row_range(lines, side, v.shape[0], skip + depth)
        rows = np.arange(low, max(high, low + 1))
        start = np.round(lines[side].columns(rows) + skip).astype(int)
        columns = np.clip(start[:, None] + np.arange(max(2, round(depth)))[None], 0, v.shape[1] - 1)
        rows = np.clip(rows, 0, v.shape[0] - 1)
        out.append(np.median(v[rows[:, None], columns], axis=1))
    return out


def common(samples: Floats, tolerance: float) -> tuple[Floats, float]:
    """Return the most frequent tone of (n, c) samples and the share within the tolerance."""
    grey = np.sort(samples.mean(1))
    n = len(grey)
    # Densest interval of the tolerance's length.
    right = np.searchsorted(grey, grey + tolerance)
    at = int((right - np.arange(n)).argmax())
    middle = (grey[at] + grey[min(right[at], n) - 1]) / 2
    near = np.abs(samples.mean(1) - middle) <= tolerance
    level = np.median(samples[near], axis=0)
    share = float((np.abs(samples - level).max(1) <= tolerance).mean())
    return level.astype(np.float32), share


def departures(
    patch: Patch,
    previous: list[Line] | None,
    outside: list[Floats | None],
    level: Floats,
    lighter: float | None,
    denser: float | None,
    skip: float,
    blur: int,
    run: int,
    reach: float,
    max_slope: tuple[float, ...],
    tolerances: tuple[float, ...],
) -> list[Line | None]:
    """Return per side the line where the picture begins, coming from the border at `level`."""
    out: list[Line | None] = []
    for side in range(4):
        v = sides.facing(patch.v, side)
        n, columns = v.shape[:2]
        low, high = _row_range(previous, side, n, skip + 2)
        if high - low < 12:
            out.append(None)
            continue
        middle = n / 2
        rows = np.arange(low, high)
        depth = int(columns * reach)
        band = sides.smooth_along(np.ascontiguousarray(v[low:high, :depth]), blur)
        base: Floats = level[None, None]
        own = outside[side]
        if own is not None and len(own) == len(rows):
            base = own[:, None]
        differs = _differs(band - base, lighter, denser)
        start = np.zeros(len(rows), np.int64)
        slope0 = 0.0
        if previous is not None:
            start = np.round(previous[side].columns(rows + 0.5) + skip).astype(np.int64)
            slope0 = previous[side].slope
        start = np.clip(start, 0, depth - 1)
        first = sides.first_departure(differs, start, run)
        if previous is not None:
            # Where the step stands right at the start there is no border to leave.
            at_once = (first >= 0) & (first <= start + (1 if columns < 400 else 2))
            if at_once.mean() > 0.5:
                out.append(Line(previous[side].at, slope0, middle, 0.0, 0.0, 0.0, False))
                continue
            first = np.where(at_once, -1, first)
        best = None
        for tolerance in tolerances:
            line = sides.vote(first, rows, middle, depth, tolerance, max_slope[side], slope0=slope0)
            if line is None:
                continue
            gain = line.share - line.early - 0.12 * np.log2(tolerance / tolerances[0])
            if best is None or gain > best[0]:
                best = (gain, line)
        out.append(best[1] if best else None)
    return out


def even_rows(
    patch: Patch,
    side: int,
    previous: list[Line] | None,
    level: Floats,
    skip: float,
    depth: float,
    tolerance: float,
) -> Floats | None:
    """Return (rows, c) the border's tone along a side where it is even, to follow light fall-off."""  # noqa: E501
    v = sides.facing(patch.v, side)
    low, high = _row_range(previous, side, v.shape[0], skip + 2)
    if high - low < 12:
        return None
    rows = np.arange(low, high)
    at = np.zeros(len(rows)) if previous is None else previous[side].columns(rows + 0.5) + skip
    columns = np.clip(
        np.round(at).astype(int)[:, None] + np.arange(max(2, round(depth)))[None], 0, v.shape[1] - 1
    )
    own = np.median(v[rows[:, None], columns], axis=1)
    good = np.abs(own - level).max(1) <= tolerance
    if good.mean() < 0.3:
        return None
    # A straight line along the side through the even rows: fall-off without the outliers.
    t = (rows - rows.mean()) / max(len(rows), 1)
    out = np.empty_like(own)
    for k in range(own.shape[1]):
        fit = np.polyfit(t[good], own[good, k], 2 if good.mean() > 0.6 else 0)
        out[:, k] = np.polyval(fit, t)
    return out.astype(np.float32)


def oval_of(
    patch: Patch, level: Floats, limit: float, previous: list[Line] | None
) -> tuple[float, float, float, float, float] | None:
    """Return (cx, cy, width, height, angle) of an oval opening in a dark mask, or None."""
    lit = np.asarray(any_of((patch.v - level) < -limit), np.uint8)
    if previous is not None:
        h, w = lit.shape
        shut = 0.02 * min(h, w)
        lit[: int(max(0, previous[1].at) + shut)] = 0
        lit[int(h - max(0, previous[3].at) - shut) :] = 0
        lit[:, : int(max(0, previous[0].at) + shut)] = 0
        lit[:, int(w - max(0, previous[2].at) - shut) :] = 0
    return oval_in(lit, nested=previous is not None)


def oval_in(
    lit: npt.NDArray[np.uint8], nested: bool
) -> tuple[float, float, float, float, float] | None:
    """Return (cx, cy, width, height, angle) of the oval that an opening's pixels make, or None.

    nested: whether the slide's own edges were found.
    """
    lit = np.asarray(cv2.morphologyEx(lit, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8)), np.uint8)
    contours, _ = cv2.findContours(lit, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    big = [c for c in contours if len(c) > 20 and cv2.contourArea(c) > 0.01 * lit.size]
    if not big:
        return None
    hull = cv2.convexHull(np.concatenate(big))
    filled = cv2.contourArea(hull)
    _, _, wide, high = cv2.boundingRect(hull)
    if not 0.70 < filled / (wide * high) < 0.86:
        return None
    # Evenly spaced points of the outline that lie on the hull.
    mask = np.zeros(lit.shape, np.uint8)
    cv2.drawContours(mask, [hull], -1, 1, -1)
    points = np.concatenate(big)[:, 0].astype(np.float32)
    inner = cv2.distanceTransform(mask, cv2.DIST_L2, 3)
    on = inner[points[:, 1].astype(int), points[:, 0].astype(int)] <= 2.5
    if on.sum() < 40:
        return None
    points = points[on] + np.float32(0.5)
    (cx, cy), (a, b), angle = cv2.fitEllipseDirect(points)
    for _ in range(2):
        t = np.deg2rad(angle)
        d = points - (cx, cy)
        u, v = d @ (np.cos(t), np.sin(t)), d @ (-np.sin(t), np.cos(t))
        g = np.hypot(u / (a / 2), v / (b / 2))
        off = np.abs(g - 1)
        keep = off < max(3 * float(np.median(off)), 0.004)
        if keep.sum() < 40:
            return None
        (cx, cy), (a, b), angle = cv2.fitEllipseDirect(points[keep])
    turn = round(angle / 90) * 90
    w, h = (a, b) if turn % 180 == 0 else (b, a)
    # Points all around, and close to the curve, or it is no oval.
    around = np.unique(np.round(np.arctan2(v, u)[off < 0.012] * 36 / np.pi))
    if float(np.median(off)) > 0.008 or len(around) < 42:
        return None
    if max(a, b) < 1.1 * min(a, b) and nested:
        return cx, cy, w, h, 0.0  # nearly a circle: the slide's own edges tell its direction
    return cx, cy, w, h, angle - turn


def _differs(step: Floats, lighter: float | None, denser: float | None) -> npt.NDArray[np.bool_]:
    found = np.zeros(step.shape[:2], bool)
    if lighter is not None:
        found |= any_of(step < -lighter)
    if denser is not None:
        found |= any_of(step > denser)
    return found


# A ground lighter than this is a lit table or light paper; lighter than the other, open table.
PAPER, OPEN = 0.4, 0.12
# A dark ground lighter than this can be told from what is black.
GREY_BOARD = 1.8
# Tone steps tried in turn, the plainest first: a weaker one must show the edge better to win.
LIGHTER_STEPS = (0.25, 0.10, 0.05)
DENSER_STEPS = (0.03, 0.015, 0.008)


@dataclass
class Border:
    """An even border: its tone, from how deep inside the last rectangle, which way to leave it."""

    tone: Floats
    skip: float
    lighter: bool
    denser: bool
    even: list[float]
    tolerance: float

    @property
    def dark(self) -> bool:
        grey = float(self.tone.mean())
        # Half-opaque and neutral: card, paper or plastic, darker than parts of what it frames.
        card = grey > (0.75 if self.lighter else 1.0) and float(np.ptp(self.tone)) < 0.15
        return card or (self.lighter and (grey > OPAQUE or not self.denser))


def peel(
    patch: Patch,
    ground: Floats,
    ground_dark: bool,
    noise: float,
    mm: float | None,
    margin: float,
    closed: tuple[bool, bool, bool, bool],
) -> Found | None:
    """Return the nested rectangles of a piece; the last one bounds the picture.

    ground: tone of what lies around the piece. mm: view px per millimetre or None.
    margin: view px of ground left around the piece in the patch. closed: sides where the piece
    runs out of the master (the patch's edge stands for the piece's).
    """
    search = Search.of(patch, noise, mm, margin)
    lighter = ground_dark or float(ground.mean()) > OPEN
    # A black mask may lie on a board that is less black.
    denser = not ground_dark or float(ground.mean()) < GREY_BOARD
    border = Border(ground, 0.0, lighter, denser, [1.0] * 4, 0.1)
    previous: list[Line] | None = None
    levels: list[Level] = []
    lines = _outline(search, border, closed)
    for number in range(5):
        new = _accept(lines, previous, *search.size)
        if border.dark and (new is None or _gain(new) < 2.2):
            oval = oval_of(patch, border.tone, LIGHTER_STEPS[0], previous)
            if oval is not None:
                levels.append(_oval_level(oval, border.tone, *search.size))
                return Found(levels, False)
        if new is None:
            new = _faint_outline(search) if ground_dark and number == 0 else None
        if new is None:
            break
        levels.append(Level(new, border.tone, border.dark, border.even))
        previous = new
        inside = _look_inside(search, new, border if number else None)
        masked = number == 0 and (not ground_dark or search.mounted(new))
        if masked and inside.opaque is not None and (inside.border is None or inside.pale):
            faint = _faint_inside(search, new, *inside.opaque)
            if faint is not None:
                levels.append(faint)
                break
        if inside.border is None:
            break
        border, lines = inside.border, inside.without_pale()
        if masked and border.dark:
            lines = _reaching(search, new, border, lines)
    if not levels:
        return None
    return Found(levels, len(levels) > 1 and not levels[-1].oval)


@dataclass
class Search:
    """A patch and the lengths (px) that edges are looked for with.

    unit: a millimetre or what may be one; blur: rows averaged; run: how far a departure must
    last; depth: of the band that shows a border; fine: tolerances of a straight line; margin: of
    ground around the piece.
    """

    patch: Patch
    noise: float
    mm: float | None
    unit: float
    blur: int
    run: int
    depth: float
    fine: tuple[float, ...]
    margin: float

    @classmethod
    def of(cls, patch: Patch, noise: float, mm: float | None, margin: float) -> Search:
        short = min(patch.v.shape[:2])
        unit = mm if mm is not None else short / 60
        return cls(
            patch,
            noise,
            mm,
            unit,
            max(1, round(short / 150)),
            max(2, round(0.12 * unit)),
            max(3.0, 0.35 * unit),
            (1.5, max(2.5, 0.25 * unit), max(4.0, 0.6 * unit)),
            margin,
        )

    @property
    def skips(self) -> tuple[float, ...]:
        """Return how far inside an edge a border is looked for, px.

        A blurred edge takes two or three pixels; a bevel or a ragged coating takes more.
        """
        unit = self.unit
        return max(3.0, 0.15 * unit), 0.5 * unit, 1.1 * unit, 2.0 * unit, 3.0 * unit

    @property
    def size(self) -> tuple[int, int]:
        """Return the patch's height and width, px."""
        return self.patch.v.shape[0], self.patch.v.shape[1]

    def mounted(self, lines: list[Line]) -> bool:
        """Whether a piece is of a size that only mounts and lantern slides have, not bare film."""
        h, w = self.size
        size = w - lines[0].at - lines[2].at, h - lines[1].at - lines[3].at
        return self.mm is not None and min(size) > 45 * self.mm


def _outline(
    search: Search, ground: Border, closed: tuple[bool, bool, bool, bool]
) -> list[Line | None]:
    """Return the piece's own edges against the ground."""
    lines = _edges_from(search, None, ground, search.margin * 0.4)
    for side in range(4):
        line = lines[side]
        if closed[side]:
            rows = search.size[side % 2]
            lines[side] = Line(search.margin, 0.0, rows / 2, 0.0, 0.0, 0.0, False)
        elif line is not None and line.at < 1.5 and not ground.dark:
            # No ground is to be seen there: this is a part of something larger.
            lines[side] = None
    return lines


def _faint_outline(search: Search) -> list[Line] | None:
    """Return the edges of a piece hardly lighter than the dark ground around it, or None."""
    h, w = search.size
    rim = np.ones((h, w), bool)
    n = max(3, round(0.6 * search.margin))
    rim[n:-n, n:-n] = False
    away = off_from(search.patch.v, rim, np.ones((h, w), bool))
    straight = [Line(0.0, 0.0, rows / 2) for rows in (h, w, h, w)]
    return opening(search.patch, away, straight)


@dataclass
class Inside:
    """What was found inside a rectangle. pale: see `_pale`; opaque: the deepest even dark band."""

    border: Border | None = None
    lines: list[Line | None] = field(default_factory=list)
    pale: dict[int, float] = field(default_factory=dict)
    opaque: tuple[Border, list[Line | None]] | None = None

    def without_pale(self) -> list[Line | None]:
        """Return the lines: a piece's edge with but border inside it is no picture's edge."""
        return [
            None if s in self.pale and (not _seen(line) or self.pale[s] < SAME) else line
            for s, line in enumerate(self.lines)
        ]


def _follows(found: Border, around: Border) -> bool:
    """Whether a border may lie inside another one: film's base or black rebate, no plain sky."""
    if not around.lighter:
        # Nothing dense lies between a film's clear base and its picture.
        return not found.lighter and found.tone.mean() <= 0.75
    if not around.dark:
        return True
    black = float(found.tone.mean()) > float(around.tone.mean()) - 0.15
    return (black or float(found.tone.mean()) < 0.75) and float(np.sort(found.even)[1]) > 0.85


def _look_inside(search: Search, outer: list[Line], around: Border | None) -> Inside:
    """Look for an even border inside a rectangle, and the next rectangle inside that.

    around: the border outside the rectangle, where that belongs to the piece.
    """
    patch, unit = search.patch, search.unit
    got = Inside()
    for skip in search.skips:
        found = _border_inside(patch, outer, search.depth, skip, search.noise)
        if found is None or (around is not None and not _follows(found, around)):
            continue
        lines = _edges_from(search, outer, found, search.depth)
        missing = sum(line is not None and not line.found for line in lines)
        if found.dark and min(found.even) > 0.9:
            got.opaque = (found, lines)
        framed = _accept(lines, outer, *search.size) is not None or (
            found.dark and oval_of(patch, found.tone, LIGHTER_STEPS[0], outer) is not None
        )
        if got.border is not None and got.pale:
            # A mask or a mount may be far wider than the border of a film.
            reach = 4 * unit if got.border.tone.mean() < 0.75 else 0.45 * min(search.size)
            got.pale = _redrawn(patch, got.lines, lines, got.pale, reach)
            if not got.pale:
                break
        elif framed and missing <= 2 and got.border is None:
            got.border, got.lines = found, lines
            got.pale = _pale(patch, found, lines, outer, skip + search.depth)
        if framed and missing < 2 and not got.pale:
            got.border, got.lines = found, lines
            break
    return got


# How far a side may lean against the piece's direction: film is cut by hand to 1.5 degrees, a
# picture lies as straight in its border as the camera's gate (and a keystone of 0.3 degrees).
CUT_SLOPE, GATE_SLOPE = 0.032, 0.009


def _reaching(
    search: Search, outer: list[Line], border: Border, lines: list[Line | None]
) -> list[Line | None]:
    """Return the lines, those moved outwards beyond which the picture still differs from the mask.

    Steps of tone leave dark parts of a picture out, and take a plain line in it for its edge.
    """
    deep = _deepest(search, outer, border)
    away = differing(search.patch, outer, deep, search.depth, not border.denser)
    whole = opening(search.patch, away, outer)
    if whole is None or oval_in(away.astype(np.uint8), nested=True) is not None:
        return lines
    out = list(lines)
    for side, line in enumerate(lines):
        if line is None:
            continue
        outside = line.found and whole[side].at < line.at - 4
        glow = line.at < outer[side].at + deep < whole[side].at
        if outside or glow or line.spread > WILD:
            out[side] = whole[side]
    return out


def _deepest(search: Search, outer: list[Line], border: Border) -> float:
    """Return how far inside its edges a mask is even still, away from the glow around it."""
    for skip in reversed(search.skips):
        found = _border_inside(search.patch, outer, search.depth, skip, search.noise)
        if found is not None and found.dark and min(found.even) > 0.9:
            return max(skip, border.skip)
    return border.skip


def _faint_inside(
    search: Search, outer: list[Line], border: Border, lines: list[Line | None]
) -> Level | None:
    """Return the opening of a mask some of whose sides hardly show: large areas or lines do."""
    patch, (h, w) = search.patch, search.size
    away = differing(patch, outer, border.skip, search.depth, not border.denser)
    oval = oval_in(away.astype(np.uint8), nested=True)
    if oval is not None:
        return _oval_level(oval, border.tone, h, w)
    whole = opening(patch, away, outer)
    if whole is not None:
        return Level(whole, border.tone, border.dark, border.even)
    start = []
    for side, line in enumerate(lines):
        if line is not None and line.found and line.share - line.early > 0.4:
            start.append(line)
        else:
            start.append(Line(outer[side].at, outer[side].slope, outer[side].middle, found=False))
    if not any(line.found for line in start):
        return None
    reach = 0.45 * min(h, w)
    done = inwards(patch, start, border.skip + 3, reach)
    if not all(line.found for line in done):
        return None
    return Level(list(done), border.tone, border.dark, border.even)


def _seen(line: Line | None) -> bool:
    return line is not None and line.found


# Places where a border is left that are spread wider (px) lie on no line.
WILD = 3.0
# Two tones that differ by less are the same: what lies between them is no edge of a picture.
SAME = 0.02


def _band(patch: Patch, side: int, line: Line, start: float, depth: int) -> Floats:
    """Return (rows, c): the mean tone of `depth` columns from `start` beyond a line."""
    v = sides.facing(patch.v, side)
    rows = np.arange(v.shape[0] // 8, v.shape[0] - v.shape[0] // 8)
    first = np.round(line.columns(rows + 0.5) + start).astype(int)
    columns = np.clip(first[:, None] + np.arange(depth)[None], 0, v.shape[1] - 1)
    return np.asarray(v[rows[:, None], columns].mean(1))


def step_across(patch: Patch, side: int, line: Line) -> float:
    """Return the typical step of tone across a line, two pixels to either side of it."""
    step = _band(patch, side, line, 2, 3) - _band(patch, side, line, -5, 3)
    return float(np.abs(np.median(step, axis=0)).max())


def _pale(
    patch: Patch, border: Border, lines: list[Line | None], previous: list[Line], reach: float
) -> dict[int, float]:
    """Return the sides where what was left may be but the glow of a brighter neighbour.

    There the line is near (or is the piece's own edge), and what follows it looks much like the
    border still: the number is by how much (density) it differs.
    """
    out = {}
    for side, line in enumerate(lines):
        if line is None:
            continue
        if line.found and (border.lighter or line.at - previous[side].at > reach + 4):
            continue
        inside = _band(patch, side, line, 4 if line.found else reach, max(2, round(reach / 2)))
        off = float(np.median(most_of(np.abs(inside - border.tone))))
        if off < (border.tolerance if border.lighter else 0.1):
            out[side] = off if line.found else 0.03
    return out


def _redrawn(
    patch: Patch,
    kept: list[Line | None],
    lines: list[Line | None],
    pale: dict[int, float],
    reach: float,
) -> dict[int, float]:
    """Put far plainer edges a little further in instead of those in doubt; return what is left."""
    left = {}
    for side, off in pale.items():
        old, new = kept[side], lines[side]
        if (
            old is not None
            and new is not None
            and new.found
            and new.share - new.early > (0.25 if off < SAME else 0.6)
            and 2 < new.at - old.at < reach
            and step_across(patch, side, new) > 2.5 * off
        ):
            kept[side] = new
        else:
            left[side] = off
    return left


def _slopes(previous: list[Line] | None) -> tuple[float, ...]:
    """Return per side how far the next rectangle may lean against the last one.

    Where a side of the last one leans against the others, it was cut so; the picture was not.
    """
    if previous is None:
        return (CUT_SLOPE,) * 4
    turns = [sign * line.slope for sign, line in zip((-1, 1, 1, -1), previous, strict=True)]
    middle = float(np.median(turns))
    return tuple(min(GATE_SLOPE + abs(turn - middle), 0.04) for turn in turns)


def _gain(lines: list[Line]) -> float:
    return float(sum(max(0.0, line.share - line.early) for line in lines))


def _edges_from(
    search: Search, previous: list[Line] | None, border: Border, band: float
) -> list[Line | None]:
    """Return per side the best line over all tone steps. band: depth that shows the border, px."""
    patch, blur, run, fine = search.patch, search.blur, search.run, search.fine
    own = [
        even_rows(patch, s, previous, border.tone, border.skip, band, max(border.tolerance, 0.04))
        for s in range(4)
    ]
    reach = 0.3 if previous is None else 0.45
    best: list[Line | None] = [None] * 4
    quiet = search.noise / np.sqrt(blur)
    # Grey paper is as quiet as clear film, whichever way it is left.
    paper = float(border.tone.mean()) < PAPER
    for number, (light, dense) in enumerate(zip(LIGHTER_STEPS, DENSER_STEPS, strict=True)):
        if number and max(light, dense) < 6 * quiet:
            break
        lighter = dense if paper else light
        denser = dense if paper or not border.lighter else max(dense, 0.06)
        lines = departures(
            patch, previous, own, border.tone,
            lighter if border.lighter else None, denser if border.denser else None,
            border.skip, blur, run, reach, _slopes(previous), fine,
        )  # fmt: skip
        for s, line in enumerate(lines):
            old = best[s]
            if line is None:
                continue
            better = old is None or line.share - line.early - 0.15 > old.share - old.early
            if better and (old is None or line.found):
                best[s] = line
        if all(b is not None and b.share - b.early > 0.6 for b in best):
            break
    return best


def _border_inside(
    patch: Patch, lines: list[Line], depth: float, skip: float, noise: float
) -> Border | None:
    """Return the even border that lies `skip` inside a rectangle, or None where none does."""
    samples = ring(patch, lines, skip, depth)
    joined = np.concatenate(samples)
    if len(joined) < 16:
        return None
    interior = _interior(patch, lines)
    tolerance = max(0.03, 5 * noise)
    tone, _ = common(joined, tolerance)
    grey = float(tone.mean())
    # Opaque borders differ by flare: a wider band of tones counts as even there.
    if grey > 0.6:
        tolerance = max(tolerance, 0.06 if grey < OPAQUE else 0.35)
    even = [float((most_of(np.abs(s - tone)) <= tolerance).mean()) for s in samples]
    # Film cut close to the picture keeps its border on two sides only, one across from the other.
    paired = max(min(even[0], even[2]), min(even[1], even[3])) > 0.9
    if not is_material(tone) or (
        (np.sort(even)[1] < 0.55 or np.mean(even) < 0.6) and not (paired and np.mean(even) > 0.45)
    ):
        return None
    # By its densest and its clearest dye: a dark blue sky is as dark as the mask on the whole.
    lighter = float(((interior - tone).min(-1) < -0.06).mean()) > 0.08 and grey > 0.2
    denser = float(((interior - tone).max(-1) > 0.05).mean()) > 0.08 and grey < 1.9
    if not lighter and not denser:
        lighter, denser = grey > OPAQUE, grey <= OPAQUE
    return Border(tone, skip, lighter, denser, even, tolerance)


def is_material(tone: Floats) -> bool:
    """Whether a border can be of this tone: neutral or warm (film, card, paper), or orange film.

    A picture's own plain area, a red wall or a blue sky, is no border.
    """
    if len(tone) < 3 or tone.mean() > OPAQUE + 0.6:
        return True
    red, green, blue = (float(t) for t in tone)
    if max(red, green, blue) - min(red, green, blue) < 0.25:
        return True
    # A masked colour negative: red clearest, blue densest, as far apart as masks get (C-41
    # D-min 0.25, 0.6, 0.85 with 0.15 to spare: value from memory).
    return 0.05 < green - red < 0.75 and -0.1 < blue - green < 0.75 and red < 0.75


def _interior(patch: Patch, lines: list[Line]) -> Floats:
    h, w = patch.v.shape[:2]
    x0, x1 = lines[0].at, w - lines[2].at
    y0, y1 = lines[1].at, h - lines[3].at
    dx, dy = 0.12 * (x1 - x0), 0.12 * (y1 - y0)
    part = patch.v[max(0, int(y0 + dy)) : int(y1 - dy), max(0, int(x0 + dx)) : int(x1 - dx)]
    return part[::3, ::3] if part.size else patch.v[::3, ::3]


def _oval_level(
    oval: tuple[float, float, float, float, float], level: Floats, h: int, w: int
) -> Level:
    cx, cy, ow, oh, angle = oval
    t = np.tan(np.deg2rad(angle))
    # In each side's facing: columns from that side, rows along it.
    lines = [
        Line(cx - ow / 2 - t * (h / 2 - cy), -t, h / 2, 0.9),
        Line(cy - oh / 2 + t * (w / 2 - cx), t, w / 2, 0.9),
        Line(w - cx - ow / 2 + t * (h / 2 - cy), t, h / 2, 0.9),
        Line(h - cy - oh / 2 - t * (w / 2 - cx), -t, w / 2, 0.9),
    ]
    return Level(lines, level, True, oval=True)


def _accept(
    lines: list[Line | None], previous: list[Line] | None, h: int, w: int
) -> list[Line] | None:
    """Return four lines where enough sides were seen, the others filled in, or None."""
    gains = [0.0 if line is None else line.share - line.early for line in lines]
    good = [
        gain >= 0.2 or (line is not None and not line.found)
        for gain, line in zip(gains, lines, strict=True)
    ]
    kept = sum(line is not None and not line.found for line in lines)
    if sum(good) < 3 or np.sum(gains) < (0.3 if previous is not None else 0.2) * (4 - kept):
        return None
    if sum(g >= 0.2 for g in gains) < 2:
        return None
    out = []
    for s in range(4):
        line = lines[s]
        if line is not None and (good[s] or gains[s] >= 0.06):
            out.append(
                Line(line.at, line.slope, line.middle, line.share, line.early, line.spread,
                     (line.found and gains[s] >= 0.1)
                     or (not line.found and previous is not None and previous[s].found))
            )  # fmt: skip
            continue
        n = h if s in (0, 2) else w
        if previous is None:
            at = float(np.median([o.at for o in lines if o is not None]))
            out.append(Line(at, 0.0, n / 2, found=False))
            continue
        # The border is taken to be as wide as on the opposite side.
        opposite = lines[(s + 2) % 4]
        wide = opposite.at - previous[(s + 2) % 4].at if opposite is not None else 0.0
        out.append(Line(previous[s].at + wide, previous[s].slope, n / 2, found=False))
    size = [w - out[0].at - out[2].at, h - out[1].at - out[3].at]
    if min(size) < 0.2 * min(h, w):
        return None
    return out
