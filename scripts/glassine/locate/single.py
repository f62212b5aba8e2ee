"""One picture on one piece: peel even borders off until the picture itself is reached."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from glassine.locate import sides
from glassine.locate.border import (
    GREY_BOARD,
    LIGHTER_STEPS,
    OPEN,
    Border,
    Search,
    border_inside,
    edges_from,
)
from glassine.locate.opening import differing, opening
from glassine.locate.ovals import lines_of_oval, oval_in, oval_of
from glassine.locate.shadows import without_shadow
from glassine.locate.sides import Line
from glassine.locate.straight import inwards
from glassine.locate.view import Floats, Patch, most_of, off_from, rim_of


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


@dataclass
class Found:
    """border: whether the picture has an even border of its own piece around it; hollow: whether
    an even dark border was seen, but no picture in it; shadow: whether it casts one.
    """

    levels: list[Level]
    border: bool
    hollow: bool = False
    shadow: bool = False

    @property
    def picture(self) -> Level:
        return self.levels[-1]


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
    hollow, inside = False, Inside()
    lines, shadow = _outline(search, border, closed)
    for number in range(5):
        new = _accept(lines, previous, *search.size)
        if border.dark and (new is None or _gain(new) < 2.2):
            oval = oval_of(patch, border.tone, LIGHTER_STEPS[0], previous)
            if oval is not None:
                levels.append(_oval_level(oval, border.tone, search))
                return Found(levels, False, shadow=shadow)
        if new is None:
            new = _faint_outline(search) if ground_dark and number == 0 else None
        if new is None:
            hollow = number == 1 and inside.bare and search.mount_sized(levels[0].lines)
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
            bare = inside.bare and search.mount_sized(new)
            hollow = number == 0 and (bare or (masked and inside.opaque is not None))
            break
        border, lines = inside.border, inside.without_pale()
        if masked and border.dark:
            lines = _reaching(search, new, border, lines)
    if not levels:
        return None
    bordered = len(levels) > 1 and not levels[-1].oval
    return Found(levels, bordered, hollow and len(levels) == 1, shadow)


def _outline(
    search: Search, ground: Border, closed: tuple[bool, bool, bool, bool]
) -> tuple[list[Line | None], bool]:
    """Return the piece's own edges against the ground, and whether it casts a shadow on that."""
    shadow = False
    lines = edges_from(search, None, ground, search.margin * 0.4)
    for side in range(4):
        line = lines[side]
        if closed[side]:
            rows = search.size[side % 2]
            lines[side] = Line(search.margin, 0.0, rows / 2, 0.0, 0.0, 0.0, False)
        elif line is not None and line.at < 1.5 and not ground.dark:
            # No ground is to be seen there: this is a part of something larger.
            lines[side] = None
        elif line is not None and line.found and float(ground.tone.mean()) < GREY_BOARD:
            bare = without_shadow(search.patch, side, line, ground.tone)
            shadow = shadow or bare is not line
            lines[side] = bare
    return lines, shadow


def _faint_outline(search: Search) -> list[Line] | None:
    """Return the edges of a piece hardly lighter than the dark ground around it, or None."""
    h, w = search.size
    rim = rim_of((h, w), 0.6 * search.margin)
    away = off_from(search.patch.v, rim, np.ones((h, w), bool))
    straight = [Line(0.0, 0.0, rows / 2) for rows in (h, w, h, w)]
    return opening(search.patch, away, straight)


@dataclass
class Inside:
    """What was found inside a rectangle.

    pale: see `_pale`; opaque: the deepest even dark band; bare: whether it is even far inside.
    """

    border: Border | None = None
    lines: list[Line | None] = field(default_factory=list)
    pale: dict[int, float] = field(default_factory=dict)
    opaque: tuple[Border, list[Line | None]] | None = None
    bare: bool = False

    def without_pale(self) -> list[Line | None]:
        """Return the lines: a piece's edge with but border inside it is no picture's edge."""
        return [
            None if s in self.pale and (not _seen(line) or self.pale[s] < SAME) else line
            for s, line in enumerate(self.lines)
        ]


def _follows(found: Border, around: Border) -> bool:
    """Whether a border may lie inside another one: film's base or black rebate, no plain sky."""
    level = float(np.sort(found.even)[1]) > 0.85
    if not around.lighter:
        # Nothing dense lies between a film's clear base and its picture.
        return level and not found.lighter and found.tone.mean() <= 0.75
    if not around.dark:
        return True
    black = float(found.tone.mean()) > float(around.tone.mean()) - 0.15
    return level and (black or float(found.tone.mean()) < 0.75)


def _look_inside(search: Search, outer: list[Line], around: Border | None) -> Inside:
    """Look for an even border inside a rectangle, and the next rectangle inside that.

    around: the border outside the rectangle, where that belongs to the piece.
    """
    patch, unit = search.patch, search.unit
    got = Inside()
    for skip in search.skips:
        found = border_inside(patch, outer, search.depth, skip, search.noise)
        if found is None or (around is not None and not _follows(found, around)):
            continue
        lines = edges_from(search, outer, found, search.depth)
        missing = sum(line is not None and not line.found for line in lines)
        if found.dark and min(found.even) > 0.9:
            got.opaque = (found, lines)
        got.bare = got.bare or (skip > search.unit and min(found.even) > 0.9)
        framed = _accept(lines, outer, *search.size) is not None or (
            found.dark and oval_of(patch, found.tone, LIGHTER_STEPS[0], outer) is not None
        )
        if got.border is not None and got.pale:
            # A mask or a mount may be far wider than the border of a film.
            far = 0.45 * min(search.size)
            reach = 4 * unit if got.border.tone.mean() < 0.75 else far
            got.pale = _redrawn(patch, got.lines, lines, got.pale, (reach, far))
            if not got.pale:
                break
        elif framed and missing <= 2 and got.border is None:
            got.border, got.lines = found, lines
            got.pale = _pale(patch, found, lines, outer, skip + search.depth)
        if framed and missing < 2 and not got.pale:
            got.border, got.lines = found, lines
            break
    return got


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
        found = border_inside(search.patch, outer, search.depth, skip, search.noise)
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
        return _oval_level(oval, border.tone, search)
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
    reach: tuple[float, float],
) -> dict[int, float]:
    """Put far plainer edges further in instead of those in doubt; return what is left.

    reach: how far in (px), and how far where what is in doubt is no line at all.
    """
    left = {}
    for side, off in pale.items():
        old, new = kept[side], lines[side]
        wild = old is not None and old.spread > WILD
        if (
            old is not None
            and new is not None
            and new.found
            and new.spread < WILD
            and new.share - new.early > (0.25 if off < SAME or wild else 0.6)
            and 2 < new.at - old.at < reach[wild]
            and step_across(patch, side, new) > 2.5 * off
        ):
            kept[side] = new
        else:
            left[side] = off
    return left


def _oval_level(
    oval: tuple[float, float, float, float, float], tone: Floats, search: Search
) -> Level:
    return Level(lines_of_oval(oval, *search.size), tone, True, oval=True)


def _gain(lines: list[Line]) -> float:
    return float(sum(max(0.0, line.share - line.early) for line in lines))


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
    if min(sides.size(out, w, h)) < 0.2 * min(h, w):
        return None
    return out
