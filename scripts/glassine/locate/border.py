"""Even borders: what a rectangle has just inside it, and where along each side that is left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from glassine.base import film
from glassine.locate import sides
from glassine.locate.sides import Line
from glassine.locate.view import Floats, Patch, most_of

# A border darker than this is a mask, a mount or a rebate black as one.
OPAQUE = 1.2
# A ground lighter than this is a lit table or light paper; lighter than the other, open table.
PAPER, OPEN = 0.4, 0.12
# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# A dark ground lighter than this can be told from what is black.
GREY_BOARD = 1.8
# Tone steps tried in turn, the plainest first: a weaker one must show the edge better to win.
LIGHTER_STEPS = (0.25, 0.10, 0.05)
DENSER_STEPS = (0.03, 0.015, 0.008)
# How far a side may lean against the piece's direction: film is cut by hand to 1.5 degrees, a
# picture lies as straight in its border as the camera's gate (and a keystone of 0.3 degrees).
CUT_SLOPE, GATE_SLOPE, MOST_SLOPE = 0.032, 0.009, 0.04
# Card, paper or plastic frames a picture from these tones on (density; with a lighter picture, and
# without), in one tone for all colours within CARD_NEUTRAL.
CARD_LIGHTER, CARD, CARD_NEUTRAL = 0.75, 1.0, 0.15
# Without a scale: a piece's shorter side is taken to be so many millimetres.
SHORT_MM = 60
# Only mounts and lantern slides are wider than this, mm, among what a dark ground may frame.
MOUNT_ONLY_MM, MOUNT_OFF_MM = 45, 2
# A side shorter than this (rows) shows no border; one seen in fewer columns is a small one.
LEAST_ROWS, SMALL_PX = 12, 400
# A border is followed along its side where so much of it is even, and as a curve from the second.
EVEN_LINE, EVEN_CURVE = 0.3, 0.6
# A looser line, by a doubling of its tolerance, must show along so much more of the side; a weaker
# step along so much more; no weaker one is tried where all sides show along the last share.
LOOSER_COSTS, WEAKER_COSTS, PLAIN_SHARE = 0.12, 0.15, 0.6
# Share of the patch in which the piece's own edge is looked for, and the next one inside of it.
FIRST_REACH, NEXT_REACH = 0.3, 0.45
# Weaker steps than so many times the noise of averaged rows are none.
STEP_NOISE = 6
# How far (density) an even border may stray: clear, half-opaque, opaque (where flare lies on it),
# or so many times the noise; tones from HALF_OPAQUE on are half-opaque.
STRAY_CLEAR, STRAY_HALF, STRAY_OPAQUE, STRAY_NOISE, HALF_OPAQUE = 0.03, 0.06, 0.35, 5, 0.6
# Shares of the border that must be even: of the second least even side, of all; where two sides
# across from each other are even (film cut close to its picture), of these and of all.
EVEN_SECOND, EVEN_ALL, EVEN_PAIR, EVEN_WITH_PAIR = 0.55, 0.6, 0.9, 0.45
# The picture is lighter or denser than its border where this share of it is, by so much; no border
# this clear has a lighter picture, none this dark a denser one.
INSIDE_SHARE, INSIDE_LIGHTER, INSIDE_DENSER = 0.08, 0.06, 0.05
CLEAREST, DARKEST = 0.2, 1.9


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
    def neutral(self) -> bool:
        return float(np.ptp(self.tone)) < CARD_NEUTRAL

    @property
    def dark(self) -> bool:
        grey = float(self.tone.mean())
        # Half-opaque and neutral: card, paper or plastic, darker than parts of what it frames.
        card = grey > (CARD_LIGHTER if self.lighter else CARD) and self.neutral
        return card or (self.lighter and (grey > OPAQUE or not self.denser))


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
        unit = mm if mm is not None else short / SHORT_MM
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

    def mount_sized(self, lines: list[Line]) -> bool:
        """Whether a piece is of the very size of a mount or of a lantern slide."""
        h, w = self.size
        if self.mm is None:
            return False
        short, long = sorted(n / self.mm for n in sides.size(lines, w, h))
        return any(
            abs(short - known.height_mm) < MOUNT_OFF_MM
            and abs(long - known.width_mm) < MOUNT_OFF_MM
            for known in (film.MOUNT, *film.LANTERN)
        )

    def mounted(self, lines: list[Line]) -> bool:
        """Whether a piece is of a size that only mounts and lantern slides have, not bare film."""
        h, w = self.size
        return self.mm is not None and min(sides.size(lines, w, h)) > MOUNT_ONLY_MM * self.mm


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
        out.append(_medians(v, rows, columns))
    return out


def _medians(v: Floats, rows: npt.NDArray[np.int_], columns: npt.NDArray[np.int_]) -> Floats:
    """Return (n, c) what `np.median` gives of (n, k) columns of v (h, w, c) at each of n rows.

    Ordered all at once across the few columns, in half the time."""
    ordered = np.sort(np.ascontiguousarray(v[rows[:, None], columns].transpose(1, 0, 2)), axis=0)
    k = len(ordered)
    if k % 2:
        return np.asarray(ordered[k // 2], np.float32)
    return np.asarray((ordered[k // 2 - 1] + ordered[k // 2]) / np.float32(2), np.float32)


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
    if high - low < LEAST_ROWS:
        return None
    rows = np.arange(low, high)
    at = np.zeros(len(rows)) if previous is None else previous[side].columns(rows + 0.5) + skip
    columns = np.clip(
        np.round(at).astype(int)[:, None] + np.arange(max(2, round(depth)))[None], 0, v.shape[1] - 1
    )
    own = _medians(v, rows, columns)
    good = np.abs(own - level).max(1) <= tolerance
    if good.mean() < EVEN_LINE:
        return None
    # A straight line along the side through the even rows: fall-off without the outliers.
    t = (rows - rows.mean()) / max(len(rows), 1)
    out = np.empty_like(own)
    for k in range(own.shape[1]):
        fit = np.polyfit(t[good], own[good, k], 2 if good.mean() > EVEN_CURVE else 0)
        out[:, k] = np.polyval(fit, t)
    return out.astype(np.float32)


@dataclass(frozen=True)
class Leaving:
    """How a border is left, alike for all sides.

    level: (c,) the border's tone; lighter, denser: how much lighter or denser (density) the picture
    is where it begins, None where it cannot be; skip: px inside the last rectangle that do not
    count; blur: rows averaged; run: px that a departure must last; reach: share of the patch that
    is searched; tolerances: px of a straight line, tried in turn.
    """

    level: Floats
    lighter: float | None
    denser: float | None
    skip: float
    blur: int
    run: int
    reach: float
    tolerances: tuple[float, ...]


def departures(
    patch: Patch,
    previous: list[Line] | None,
    outside: list[Floats | None],
    leaving: Leaving,
    max_slopes: tuple[float, ...],
    steps: dict[int, tuple[Floats, Floats]] | None = None,
    wanted: tuple[int, ...] = (sides.LEFT, sides.TOP, sides.RIGHT, sides.BOTTOM),
) -> list[Line | None]:
    """Return per side the line where the picture begins, coming from the border.

    previous: the last rectangle; outside: per side, the border's tone along it (see `even_rows`);
    max_slopes: per side, how far the line may lean against the last one; steps: what is kept per
    side for another call that differs in `lighter` and `denser` alone; wanted: sides to be looked
    at, the others have none.
    """
    steps = {} if steps is None else steps
    out: list[Line | None] = []
    for side in range(4):
        v = sides.facing(patch.v, side)
        low, high = _row_range(previous, side, v.shape[0], leaving.skip + 2)
        if side not in wanted or high - low < LEAST_ROWS:
            out.append(None)
            continue
        if side not in steps:
            own = outside[side]
            alike = own is not None and len(own) == high - low
            base = own if alike and own is not None else leaving.level[None]
            depth = int(v.shape[1] * leaving.reach)
            steps[side] = _range(v[low:high, :depth], leaving.blur, base)
        differs = _differs(*steps[side], leaving.lighter, leaving.denser)
        last = None if previous is None else previous[side]
        size = v.shape[0], v.shape[1]
        out.append(_departure(size, np.arange(low, high), last, differs, leaving, max_slopes[side]))
    return out


def _departure(
    size: tuple[int, int],
    rows: npt.NDArray[np.int_],
    previous: Line | None,
    differs: npt.NDArray[np.bool_],
    leaving: Leaving,
    max_slope: float,
) -> Line | None:
    """Return where the picture begins along one side.

    size: rows and columns of the patch, in the facing of the side; differs: where the rows are
    unlike the border.
    """
    n, columns = size
    depth = int(columns * leaving.reach)
    start = np.zeros(len(rows), np.int64)
    if previous is not None:
        start = np.round(previous.columns(rows + 0.5) + leaving.skip).astype(np.int64)
    start = np.clip(start, 0, depth - 1)
    first = sides.first_departure(differs, start, leaving.run)
    slope0 = 0.0
    if previous is not None:
        # Where the step stands right at the start there is no border to leave.
        slope0 = previous.slope
        at_once = (first >= 0) & (first <= start + (1 if columns < SMALL_PX else 2))
        if at_once.mean() > 0.5:
            return Line(previous.at, slope0, n / 2, 0.0, 0.0, 0.0, False)
        first = np.where(at_once, -1, first)
    best = None
    for tolerance in leaving.tolerances:
        line = sides.vote(first, rows, n / 2, depth, tolerance, max_slope, slope0=slope0)
        if line is None:
            continue
        gain = line.share - line.early
        gain -= LOOSER_COSTS * np.log2(tolerance / leaving.tolerances[0])
        if best is None or gain > best[0]:
            best = (gain, line)
    return best[1] if best else None


def _range(band: Floats, blur: int, base: Floats) -> tuple[Floats, Floats]:
    """Return the least and the greatest step of the channels from `base` (rows or 1, c)."""
    least = most = np.empty(0, np.float32)
    for k in range(band.shape[2]):
        step = sides.smooth_along(np.array(band[..., k], order="C"), blur)
        step -= base[:, k : k + 1]
        least, most = (np.minimum(least, step), np.maximum(most, step)) if k else (step, step)
    return least, most


def _differs(
    least: Floats, most: Floats, lighter: float | None, denser: float | None
) -> npt.NDArray[np.bool_]:
    found = np.zeros(least.shape, bool)
    if lighter is not None:
        found |= least < -lighter
    if denser is not None:
        found |= most > denser
    return found


def _slopes(previous: list[Line] | None) -> tuple[float, ...]:
    """Return per side how far the next rectangle may lean against the last one.

    Where a side of the last one leans against the others, it was cut so; the picture was not.
    """
    if previous is None:
        return (CUT_SLOPE,) * 4
    turns = [sign * line.slope for sign, line in zip((-1, 1, 1, -1), previous, strict=True)]
    middle = float(np.median(turns))
    return tuple(min(GATE_SLOPE + abs(turn - middle), MOST_SLOPE) for turn in turns)


def edges_from(
    search: Search, previous: list[Line] | None, border: Border, band: float
) -> list[Line | None]:
    """Return per side the best line over all tone steps. band: depth that shows the border, px."""
    patch, blur = search.patch, search.blur
    own = [
        even_rows(patch, s, previous, border.tone, border.skip, band, max(border.tolerance, 0.04))
        for s in range(4)
    ]
    reach = FIRST_REACH if previous is None else NEXT_REACH
    best: list[Line | None] = [None] * 4
    quiet = search.noise / np.sqrt(blur)
    # Grey paper is as quiet as clear film, whichever way it is left.
    paper = float(border.tone.mean()) < PAPER
    steps: dict[int, tuple[Floats, Floats]] = {}
    for number, (light, dense) in enumerate(zip(LIGHTER_STEPS, DENSER_STEPS, strict=True)):
        if number and max(light, dense) < STEP_NOISE * quiet:
            break
        lighter = dense if paper else light
        denser = dense if paper or not border.lighter else max(dense, 0.06)
        leaving = Leaving(
            border.tone,
            lighter if border.lighter else None,
            denser if border.denser else None,
            border.skip,
            blur,
            search.run,
            reach,
            search.fine,
        )
        lines = departures(patch, previous, own, leaving, _slopes(previous), steps)
        for s, line in enumerate(lines):
            old = best[s]
            if line is None:
                continue
            better = old is None or line.share - line.early - WEAKER_COSTS > old.share - old.early
            if better and (old is None or line.found):
                best[s] = line
        if all(b is not None and b.share - b.early > PLAIN_SHARE for b in best):
            break
    return best


def border_inside(
    patch: Patch, lines: list[Line], depth: float, skip: float, noise: float
) -> Border | None:
    """Return the even border that lies `skip` inside a rectangle, or None where none does."""
    samples = ring(patch, lines, skip, depth)
    joined = np.concatenate(samples)
    if len(joined) < 16:
        return None
    interior = _interior(patch, lines)
    tolerance = max(STRAY_CLEAR, STRAY_NOISE * noise)
    tone, _ = common(joined, tolerance)
    grey = float(tone.mean())
    # Opaque borders differ by flare: a wider band of tones counts as even there.
    if grey > HALF_OPAQUE:
        tolerance = max(tolerance, STRAY_HALF if grey < OPAQUE else STRAY_OPAQUE)
    even = [float((most_of(np.abs(s - tone)) <= tolerance).mean()) for s in samples]
    # Film cut close to the picture keeps its border on two sides only, one across from the other.
    paired = max(min(even[0], even[2]), min(even[1], even[3])) > EVEN_PAIR
    uneven = np.sort(even)[1] < EVEN_SECOND or np.mean(even) < EVEN_ALL
    if not is_material(tone) or (uneven and not (paired and np.mean(even) > EVEN_WITH_PAIR)):
        return None
    # By its densest and its clearest dye: a dark blue sky is as dark as the mask on the whole.
    lighter = float(((interior - tone).min(-1) < -INSIDE_LIGHTER).mean()) > INSIDE_SHARE
    denser = float(((interior - tone).max(-1) > INSIDE_DENSER).mean()) > INSIDE_SHARE
    lighter, denser = lighter and grey > CLEAREST, denser and grey < DARKEST
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
