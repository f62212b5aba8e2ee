"""Several exposures on one piece: three on a plate, a stereo pair, two views on one sheet.

Between two exposures a line or band of the border's tone runs right across the piece, straight and
of one tone, with pictures on both sides of it; or there is no band, but the same view comes twice
or thrice, as on stereo cards and colour separations. A horizon has a picture on one side of it
alone that is not of the border's tone, a door frame ends before the picture does, and of the bars
of a fence there are many: none of them is taken for a separator.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import processor
from glassine.locate import sides
from glassine.locate.border import Border, Search, edges_from
from glassine.locate.candidate import Candidate
from glassine.locate.repeats import repeat
from glassine.locate.shapes import order
from glassine.locate.sides import Line
from glassine.locate.single import Found
from glassine.locate.straight import Band, ridges, rows_between
from glassine.locate.view import Floats, Patch, mean_of

Doubles = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

# Columns that a region is looked at in: narrow enough for a slant, wide enough for grain and dust.
COLUMNS = 64
# How far a separator may lean (tangent) against the piece: plate backs are shifted by hand.
LEAN = 0.025
# Share of the columns that are of the border's tone on a separator, or denser (clearer) than what
# lies on both sides.
ACROSS = 0.93
# Share of the columns that show a picture on both sides of it, and on one side at least.
BETWEEN, BESIDE = 0.3, 0.75
# No other line may come nearer to being a separator than this: of a fence's bars there are many.
OTHERS = 0.8
# An exposure is no narrower than this share of the next one, and at the most so many times as long
# as it is wide.
LEAST_SHARE, LONGEST = 0.42, 3.2
# What is longer is a strip of film beside another one, in one sleeve.
LONGEST_STRIP = 14.0
# Most exposures in a row: more than four only where they are of one length, as on film.
MOST, UNEVEN_MOST = 6, 4
# A separator is no wider than this share of the piece: stereo pairs lie well apart.
WIDEST = 0.28


@dataclass(frozen=True)
class Region:
    """Tones (n, m) of a piece's inside: n rows along which exposures may follow one another.

    border: tone of the border round the pictures, None where there is none; noise: of one pixel.
    """

    grey: Floats
    border: float | None
    noise: float


@dataclass(frozen=True)
class Separator:
    """at: row of its middle in the middle of the region, lean: rows per column; width: rows;
    across: share of the columns where it shows; tone: its own.
    """

    at: float
    lean: float
    width: float
    across: float
    tone: float


def as_seen(light: Floats) -> Floats:
    """Return linear light in steps that look alike: about that of a display's code (gamma 2.2)."""
    return np.asarray(processor.power(np.clip(light, 0.0, 1.0), 1 / 2.2), np.float32)


def chunks(grey: Floats, count: int = COLUMNS) -> tuple[Floats, Doubles]:
    """Return (n, k) means of narrow columns, and the place of each, px from the middle."""
    n, m = grey.shape
    k = min(count, m)
    small = cv2.resize(grey, (k, n), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32), (np.arange(k) + 0.5) * m / k - m / 2


def separators(region: Region) -> list[Separator]:
    """Return the bands right across a region that part exposures, in order; none where in doubt."""
    n, m = region.grey.shape
    if n < 48 or m < 24:
        return []
    small, places = chunks(region.grey)
    best: list[Separator] = []
    for sign in (1.0, -1.0):
        tone = _tone(small, sign, region.border)
        if tone is None:
            continue
        found = _of_sign(sign * small, places, sign * tone, region, region.border is not None)
        if region.border is None and not _stands_out(sign * small, found):
            continue
        if len(found) > len(best) or (
            found and np.mean([s.across for s in found]) > np.mean([s.across for s in best])
        ):
            best = [Separator(s.at, s.lean, s.width, s.across, sign * s.tone) for s in found]
    return best


def _stands_out(s: Floats, found: list[Separator]) -> bool:
    """Whether bands are of a tone that the pictures hardly have, and no hairlines."""
    if not found or min(f.width for f in found) < HAIRLINE:
        return False
    rows = sum(f.width + 4 for f in found) / len(s)
    return float((s > min(f.tone for f in found) - 0.05).mean()) < RARE + rows


def _tone(small: Floats, sign: float, border: float | None) -> float | None:
    """Return the tone that a separator denser (sign +1) or clearer (-1) than pictures has."""
    if border is not None:
        usual = float(np.median(small))
        return border if sign * (border - usual) > 0.04 else None
    inner = small[len(small) // 10 : -max(1, len(small) // 10)]
    return float(sign * np.median(sign * inner, axis=1).max())


def _tolerance(tone: float, usual: float) -> float:
    """Return how far one border strays from its own tone: flare counts the more, the denser it is.

    usual: tone of the pictures, which limits it.
    """
    wide = 0.05 if abs(tone) < 0.6 else 0.1 if abs(tone) < 1.2 else 0.3
    return max(min(wide, 0.35 * abs(tone - usual)), 0.03)


def _shifted(rows: int, reach: int, values: Floats, least: bool) -> Floats:
    """Return the least or greatest of values `reach` rows away on the two sides of each row."""
    padded = np.pad(values, ((reach, reach), (0, 0)), "edge")
    before, after = padded[:rows], padded[2 * reach : 2 * reach + rows]
    return np.minimum(before, after) if least else np.maximum(before, after)


# How far (rows) to either side of a line what lies beside a band is looked for.
REACHES = (3, 4, 6, 9, 13, 19, 28, 42, 63, 95, 140, 210)


def _masks(s: Floats, tone: float, noise: float) -> tuple[Mask, Mask, Mask]:
    """Return where a column is as a separator is: of its tone or a ridge; with pictures on both
    sides; with one on one side at least. s: (n, k), the more the more like a separator.
    """
    n = len(s)
    step = max(0.05, 5 * noise)
    between = np.zeros(s.shape, bool)
    beside = np.zeros(s.shape, bool)
    reaches = [r for r in REACHES if 2 * r < max(8, 1.3 * WIDEST * n)]
    near = s >= tone - _tolerance(tone, float(np.median(s)))
    for reach in reaches:
        between |= s - _shifted(n, reach, s, least=False) > step
        beside |= s - _shifted(n, reach, s, least=True) > step
    narrow = s - _shifted(n, reaches[min(1, len(reaches) - 1)], s, least=False) > step
    like = near | (narrow & (s > tone - max(0.35, 0.6 * abs(tone))))
    return like, between & like, beside & like


def _along(mask: Mask, rows: npt.NDArray[np.int64], shift: npt.NDArray[np.int64]) -> Doubles:
    """Return the share of a mask's columns that are set along leaning lines through `rows`."""
    index = np.clip(rows[:, None] + shift[None], 0, len(mask) - 1)
    return np.asarray(np.take_along_axis(mask, index, axis=0).mean(1))


@dataclass(frozen=True)
class _Line:
    row: int
    lean: float
    across: float
    score: float


def _scores(s: Floats, places: Doubles, tone: float, noise: float) -> list[_Line]:
    """Return for each row the best line through it that may be a separator."""
    like, between, beside = _masks(s, tone, noise)
    n = len(s)
    reach = int(np.ceil(LEAN * float(np.abs(places).max()))) + 1
    kernel = np.ones((2 * reach + 1, 1), np.uint8)
    wide = cv2.dilate(like.astype(np.uint8), kernel).mean(1)
    both = cv2.dilate(between.astype(np.uint8), kernel).mean(1)
    margin = max(8, round(0.06 * n))
    rows = np.flatnonzero((wide > 0.8) & (both > 0.8 * BETWEEN))
    rows = rows[(rows > margin) & (rows < n - margin)]
    if not len(rows):
        return []
    best = np.zeros((len(rows), 3))
    best[:, 2] = -1.0
    number = max(1, int(np.ceil(2 * LEAN * np.ptp(places))))
    for lean in np.linspace(-LEAN, LEAN, 2 * number + 1):
        shift = np.round(lean * places).astype(np.int64)
        across = _along(like, rows, shift)
        two, one = _along(between, rows, shift), _along(beside, rows, shift)
        score = across * np.clip(two / BETWEEN, 0, 1) * np.clip(one / BESIDE, 0, 1)
        score = score - 0.02 * abs(lean) / LEAN
        better = score > best[:, 2]
        best[better] = np.stack([np.full(len(rows), lean), across, score], 1)[better]
    return [_Line(int(r), *(float(b) for b in row)) for r, row in zip(rows, best, strict=True)]


@dataclass(frozen=True)
class _Band:
    """A line that may be a separator, with the rows its band begins and ends at, its tone, and how
    straight its ends are (see `_extent`).
    """

    line: _Line
    low: float
    high: float
    tone: float
    straight: float


def _bands(s: Floats, places: Doubles, tone: float, noise: float) -> list[_Band]:
    """Return the bands that are most like separators, the likeliest first."""
    lines = {line.row: line for line in _scores(s, places, tone, noise)}
    out: list[_Band] = []
    for line in sorted(lines.values(), key=lambda one: -one.score):
        if len(out) > 3 * MOST or line.score < 0.4:
            break
        middle = _middle(lines, line)
        if any(band.low - 6 <= middle.row <= band.high + 6 for band in out):
            continue
        out.append(_Band(middle, *_extent(s, places, middle, noise)))
    return out


def _middle(lines: dict[int, _Line], line: _Line) -> _Line:
    """Return the line in the middle of the rows around one that are as good as it."""
    first = last = line.row
    while first - 1 in lines and lines[first - 1].score > line.score - 0.03:
        first -= 1
    while last + 1 in lines and lines[last + 1].score > line.score - 0.03:
        last += 1
    return replace(lines[(first + last) // 2], score=line.score, across=line.across)


def _of_sign(
    s: Floats, places: Doubles, tone: float, region: Region, known: bool
) -> list[Separator]:
    n = len(s)
    bands = _bands(s, places, tone, region.noise)
    joined = _joined(bands, n)
    good = chosen(joined, n, tone if known else None)
    if not good or known:
        good = _between_strips(joined, n, region.grey.shape[1]) or good
    found = [
        Separator((b.low + b.high) / 2, b.line.lean, b.high - b.low, b.line.across, b.tone)
        for b in sorted(good, key=lambda b: b.low)
    ]
    return found if found and balanced(found, n, region.grey.shape[1]) else []


def _between_strips(bands: list[_Band], n: int, across_px: int) -> list[_Band]:
    """Return the bands between strips of film in one sleeve, or none where they are no strips.

    Strips lie a little askew in their pockets, so that the bands' ends need not be straight;
    whether film lies there is seen when each is looked at by itself.
    """
    good = sorted((b for b in bands if min(b.line.across, b.line.score) >= ACROSS), key=_low)
    if not good or len(good) > MOST or min(b.high - b.low for b in good) < HAIRLINE:
        return []
    ends = [0.0, *(end for b in good for end in (b.low, b.high)), float(n)]
    lengths = np.diff(ends)[::2]
    return good if across_px > LONGEST * float(lengths.max()) else []


def _low(band: _Band) -> float:
    return band.low


# Bands nearer to each other than this share of the piece are one: a sleeve's seam or a printed
# line runs along in it.
NEAR = 0.035


def _joined(bands: list[_Band], n: int) -> list[_Band]:
    """Return the bands, those joined that lie close together."""
    out: list[_Band] = []
    for band in sorted((b for b in bands if b.line.score >= ACROSS), key=lambda b: b.low):
        if out and band.low - out[-1].high < NEAR * n:
            last = out.pop()
            straight = min(last.straight, band.straight)
            best = max(last, band, key=lambda b: b.line.score)
            high = max(last.high, band.high)
            band = replace(best, low=last.low, high=high, straight=straight)
        out.append(band)
    weak = [b for b in bands if b.line.score < ACROSS]
    inside = [w for w in weak if any(b.low <= w.line.row <= b.high for b in out)]
    return out + [w for w in weak if w not in inside]


def chosen(bands: list[_Band], n: int, border: float | None) -> list[_Band]:
    """Return those of the bands that are separators: far likelier than all others; or none.

    border: its tone, where it is known. A ragged band of that tone may show in fewer columns.
    """
    tries = ((ACROSS, OTHERS),) if border is None else ((ACROSS, OTHERS), (RAGGED, ALONE))
    for across, others in tries:
        good = [b for b in bands if min(b.line.across, b.line.score) >= across]
        rest = max((b.line.score for b in bands if b not in good), default=0.0)
        good = [b for b in good if b.high - b.low <= WIDEST * n and b.straight >= STRAIGHT]
        if any(b.high - b.low < HAIRLINE for b in good) and not _even(good, n):
            continue
        if across == RAGGED and any(abs(b.tone - (border or 0.0)) > SAME_TONE for b in good):
            continue
        if len(good) >= UNEVEN_MOST and (border is None or not _even(good, n)):
            continue
        if good and len(good) < MOST and rest <= others * min(b.line.score for b in good):
            return good
    return []


def _even(bands: list[_Band], n: int) -> bool:
    """Whether bands part a region into equal lengths, within a tenth."""
    ends = [
        0.0,
        *(e for b in sorted(bands, key=lambda b: b.low) for e in (b.low, b.high)),
        float(n),
    ]
    lengths = np.diff(ends)[::2]
    return bool(lengths.min() > 0.9 * lengths.max())


# A ragged separator shows in fewer columns; then no other line may be anywhere near to it.
RAGGED, ALONE = 0.78, 0.6
# How far its tone may be from the border's: a hairline's blur mixes it with the pictures'.
SAME_TONE = 0.2
# Share of the columns in which the ends of a band lie on a straight line. What lies across a view,
# a shore or a beam in shade, mostly has one straight end at the most.
STRAIGHT = 0.75
# Without a border whose tone is known: a band is as dense (clear) as next to nothing in the
# pictures, and no mere hairline (rows).
RARE, HAIRLINE = 0.12, 3.0


def _extent(
    s: Floats, places: Doubles, line: _Line, noise: float
) -> tuple[float, float, float, float]:
    """Return the first and last row of a band, its own tone, and how straight its ends are.

    Where a picture is of the border's tone the band has no end in it: what most columns that do
    show one say holds. The last number is the lesser share of columns whose end lies on that line.
    """
    n = len(s)
    reach = max(6, int(1.2 * WIDEST * n))
    rows = np.clip(np.arange(line.row - reach, line.row + reach + 1), 0, n - 1)
    shift = np.round(line.lean * places).astype(np.int64)
    index = np.clip(rows[:, None] + shift[None], 0, n - 1)
    part = np.take_along_axis(s, index, axis=0)
    own = part[reach - 1 : reach + 2].max(0)
    tone = float(np.median(own))
    ends, straight = [], 1.0
    for beyond in (part[reach::-1], part[reach:]):
        fell = beyond < own - max(0.04, 4 * noise)
        seen = fell.any(0)
        if not seen.any():
            return line.row - reach, line.row + reach, tone, 0.0
        first = fell.argmax(0)[seen]
        ends.append(float(np.percentile(first, 40)))
        straight = min(straight, float((np.abs(first - ends[-1]) <= 2).mean()))
    low, high = line.row + 1 - ends[0], line.row + ends[1]
    return low, max(high, low + 1), tone, straight


def expected(region: Region, step: float) -> list[Separator]:
    """Return what parts the views of a picture that repeats itself every `step` rows.

    A band hardly denser or clearer than the pictures, or fogged in part, is enough there; where no
    band is, the line along which the tone changes; `across` tells how much of it shows.
    """
    n = len(region.grey)
    small, places = chunks(region.grey)
    count = max(2, round(n / step))
    # One camera's exposures are of a size; the view itself may have moved between them.
    windows = [((k - 0.1) * n / count, (k + 0.1) * n / count) for k in range(1, count)]
    best: list[Separator] = []
    for sign in _signs(small, region.border):
        found = [_ridge(sign * small, places, window, region.noise) for window in windows]
        if not best or sum(f.across for f in found) > sum(b.across for b in best):
            best = [Separator(f.at, f.lean, f.width, f.across, sign * f.tone) for f in found]
    if min(b.across for b in best) < WEAKEST:
        best = [_seam(small, places, window, region.noise) for window in windows]
    return best if min(b.across for b in best) >= FAINTEST else []


# Share of the columns in which a band between two like views must show.
WEAKEST = 0.45
# Half the share of the columns in which a seam without a band must show: perforations repeat too.
FAINTEST = 0.2


def _signs(small: Floats, border: float | None) -> tuple[float, ...]:
    """Return whether separators are denser (1) or clearer (-1) than the pictures, or either."""
    if border is None or abs(border - float(np.median(small))) < 0.1:
        return (1.0, -1.0)
    return (1.0,) if border > float(np.median(small)) else (-1.0,)


def _best_line(
    strength: Floats, places: Doubles, window: tuple[float, float]
) -> tuple[int, float, float]:
    """Return row, lean and mean strength of the strongest leaning line in a window of rows."""
    low, high = max(0, int(window[0])), min(len(strength), int(window[1]) + 1)
    rows = np.arange(low, max(high, low + 1))
    best = 0, 0.0, -1.0
    number = max(1, int(np.ceil(2 * LEAN * np.ptp(places))))
    for lean in np.linspace(-LEAN, LEAN, 2 * number + 1):
        shift = np.round(lean * places).astype(np.int64)
        index = np.clip(rows[:, None] + shift[None], 0, len(strength) - 1)
        mean = np.take_along_axis(strength, index, axis=0).mean(1) - 0.002 * abs(lean) / LEAN
        at = int(mean.argmax())
        if mean[at] > best[2]:
            best = int(rows[at]), float(lean), float(mean[at])
    return best


def _ridge(s: Floats, places: Doubles, window: tuple[float, float], noise: float) -> Separator:
    """Return the strongest band in a window of rows that is denser than what is around it."""
    n = len(s)
    step = max(0.04, 4 * noise)
    reaches = [r for r in (4, 6, 9, 13, 19, 28) if r < max(8, 0.06 * n)]
    ridge = np.full(s.shape, -9.0, np.float32)
    for reach in reaches:
        ridge = np.maximum(ridge, s - _shifted(n, reach, s, least=False))
    row, lean, _ = _best_line(np.clip(ridge, 0, 0.12), places, window)
    shift = np.round(lean * places).astype(np.int64)
    share = float(_along(ridge > step, np.array([row]), shift)[0])
    low, high, tone, _ = _extent(s, places, _Line(row, lean, share, share), noise)
    return Separator((low + high) / 2, lean, high - low, share, tone)


def _seam(s: Floats, places: Doubles, window: tuple[float, float], noise: float) -> Separator:
    """Return the line in a window of rows along which the tone changes most."""
    change = np.zeros(s.shape, np.float32)
    change[2:-2] = np.abs((s[2:-2] + s[3:-1] - s[1:-3] - s[:-4]) / 2)
    row, lean, _ = _best_line(np.clip(change, 0, 0.2), places, window)
    shift = np.round(lean * places).astype(np.int64)
    share = float(_along(change > max(0.03, 4 * noise), np.array([row]), shift)[0])
    index = np.clip(row + shift, 0, len(s) - 1)
    tone = float(np.median(s[index, np.arange(s.shape[1])]))
    return Separator(float(row), lean, 0.0, 0.5 * share, tone)


Rectangle = tuple[tuple[float, float], tuple[float, float], float]


def strip_in(patch: Patch, lines: list[Line], tone: Floats) -> Rectangle | None:
    """Return centre, size (px of the patch) and turn (degrees) of the film between two separators,
    or None where but the sleeve, of this tone, lies there.
    """
    h, w = patch.v.shape[:2]
    inside = np.zeros((h, w), np.uint8)
    cv2.fillConvexPoly(inside, np.round(sides.corners(lines, w, h)).astype(np.int32), 1)
    away = (np.abs(patch.v - tone).max(2) > 0.12) & (inside > 0)
    film = cv2.morphologyEx(away.astype(np.uint8), cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    contours, _ = cv2.findContours(film, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    # The seam lies apart from the film, and is thin.
    largest = max(contours, key=cv2.contourArea)
    (x, y), (width, height), angle = cv2.minAreaRect(largest.astype(np.float32) + np.float32(0.5))
    if min(width, height) < 0.3 * min(sides.size(lines, w, h)):
        return None
    if angle > 45:
        angle, width, height = angle - 90, height, width
    return (float(x), float(y)), (float(width), float(height)), float(angle)


def elsewhere(parts: list[Candidate], frames: list[Candidate]) -> bool:
    """Whether exposures lie at other places than frames that were found on the same piece."""
    for part in parts:
        near = 0.03 * float(np.hypot(*(part.corners[2] - part.corners[0])))
        far = [np.hypot(*(order(f.corners) - order(part.corners)).T).max() for f in frames]
        if not far or min(far) > near:
            return True
    return len(parts) != len(frames)


def balanced(found: list[Separator], n: int, m: int) -> bool:
    """Whether what the separators leave are as long as exposures on one piece may be."""
    ends = [0.0, *(e for s in found for e in (s.at - s.width / 2, s.at + s.width / 2)), float(n)]
    lengths = [ends[k + 1] - ends[k] for k in range(0, len(ends), 2)]
    if min(lengths) < LEAST_SHARE * max(lengths):
        return False
    return max(max(x, m) / max(min(x, m), 1) for x in lengths) < LONGEST_STRIP


@dataclass(frozen=True)
class Exposures:
    """Exposures of one piece. lines: the sides of each (see `sides`); upright: whether they lie one
    below another; tone: of the border between them; border: (c,) tone of each one's surroundings;
    across: the least share of a separator that shows; repeated: whether the view comes again;
    longest: how many times as long as wide one is.
    """

    lines: list[list[Line]]
    upright: bool
    border: Border
    across: float
    repeated: bool
    longest: float

    @property
    def strips(self) -> bool:
        """Whether they are too long for exposures: strips of film beside one another."""
        return self.longest > LONGEST


def of_piece(patch: Patch, found: Found, search: Search, ground: Floats) -> Exposures | None:
    """Return the exposures of a piece, where it has several; None where it shows one picture.

    found: the piece's nested rectangles; ground: (c,) tone of what the piece lies on.
    """
    if found.picture.oval:
        return None
    tones: list[Floats | None] = [found.picture.outside if found.border else None]
    if not found.border:
        tones.append(ground)
    for tone in tones:
        for upright in (True, False):
            made = _in_direction(patch, found, search, tone, upright)
            if made is not None:
                return made
    return None


def _within(found: Found, size: tuple[int, int]) -> list[Line]:
    """Return the lines inside which exposures are looked for: those of the picture, or where that
    leaves much of the piece out, which may be another exposure, the piece's own.
    """
    picture = found.picture.lines
    if not found.border:
        return picture
    outer = found.levels[-2].lines
    h, w = size
    inside, whole = sides.size(picture, w, h), sides.size(outer, w, h)
    lines = list(picture)
    for axis, ends in enumerate(((sides.LEFT, sides.RIGHT), (sides.TOP, sides.BOTTOM))):
        if inside[axis] < FILLED * whole[axis]:
            for side in ends:
                lines[side] = replace(outer[side], at=outer[side].at + 4.0, found=False)
    return lines


# A picture fills more of its piece than this share; what fills less may be one of several.
FILLED = 0.72


def _in_direction(
    patch: Patch, found: Found, search: Search, tone: Floats | None, upright: bool
) -> Exposures | None:
    h, w = search.size
    lines = _within(found, search.size)
    x0, x1 = round(max(lines[sides.LEFT].at, 0)), round(w - max(lines[sides.RIGHT].at, 0))
    y0, y1 = round(max(lines[sides.TOP].at, 0)), round(h - max(lines[sides.BOTTOM].at, 0))
    if x1 - x0 < 24 or y1 - y0 < 24:
        return None
    part = mean_of(patch.v[y0:y1, x0:x1])
    inset = max(2, round(0.02 * (part.shape[1] if upright else part.shape[0])))
    grey = part[:, inset:-inset] if upright else part[inset:-inset].T
    grey = np.ascontiguousarray(grey)
    level = None if tone is None else float(tone.mean())
    region = Region(grey, level, search.noise)
    cuts = separators(region)
    like = repeat(grey)
    if like.plain and len(cuts) < max(1, round(len(grey) / like.step) - 1):
        cuts = expected(region, like.step)
    if not cuts:
        return None
    start, middle = (y0, (x0 + x1) / 2) if upright else (x0, (y0 + y1) / 2)
    border = _border_of(patch, cuts, upright, start, middle, tone)
    boxes = _boxes(found, cuts, upright, start, middle, search.size)
    made = [_sides(search, box, cut, border, lines) for box, cut in boxes]
    sizes = [sides.size(lines, w, h) for lines in made]
    longest = max(max(size) / max(min(size), 1.0) for size in sizes)
    return Exposures(made, upright, border, min(c.across for c in cuts), like.plain, longest)


def _border_of(
    patch: Patch,
    cuts: list[Separator],
    upright: bool,
    start: float,
    middle: float,
    tone: Floats | None,
) -> Border:
    """Return the border between the exposures as the search for their sides knows borders."""
    v = patch.v if upright else patch.v.swapaxes(0, 1)
    m = v.shape[1]
    if tone is None:
        wide = max(cuts, key=lambda c: c.width)
        columns = np.arange(m // 10, m - m // 10)
        rows = np.round(start + wide.at + wide.lean * (columns + 0.5 - middle) - 0.5).astype(int)
        tone = np.median(v[np.clip(rows, 0, v.shape[0] - 1), columns], axis=0).astype(np.float32)
    usual = float(np.median(mean_of(v[::4, ::4])))
    dark = float(tone.mean()) > usual
    return Border(tone, 0.0, dark, not dark, [1.0] * 4, 0.1)


def _boxes(
    found: Found,
    cuts: list[Separator],
    upright: bool,
    start: float,
    middle: float,
    size: tuple[int, int],
) -> list[tuple[list[Line], frozenset[int]]]:
    """Return for each exposure the lines between which it lies, and which of them are separators;
    the others are the piece's edges.
    """
    h, w = size
    outer = found.levels[-2].lines if found.border else found.picture.lines
    length, across = (h, w) if upright else (w, h)
    first, last = (sides.TOP, sides.BOTTOM) if upright else (sides.LEFT, sides.RIGHT)
    boxes = []
    for k in range(len(cuts) + 1):
        box = list(outer)
        if k:
            cut = cuts[k - 1]
            at = start + cut.at + cut.lean * (across / 2 - middle)
            box[first] = Line(at, cut.lean, across / 2)
        if k < len(cuts):
            cut = cuts[k]
            at = start + cut.at + cut.lean * (across / 2 - middle)
            box[last] = Line(length - at, -cut.lean, across / 2)
        sides_cut = {first} if k else set()
        boxes.append((box, frozenset(sides_cut | ({last} if k < len(cuts) else set()))))
    return boxes


def _sides(
    search: Search, box: list[Line], cut: frozenset[int], border: Border, usual: list[Line]
) -> list[Line]:
    """Return the four sides of one exposure in its box.

    cut: the box's sides that are separators; usual: those of all exposures together.
    """
    made = list(usual)
    part = _part(search, box, cut)
    inner = part.edges(box, border)
    for side in cut:
        made[side] = _beside(inner[side], box[side], search)
    # Exposures lie a little beside one another: each has its own edge against the piece's border.
    for side in set(range(4)) - cut:
        made[side] = part.against(side, box, made, border) or made[side]
    return made


@dataclass(frozen=True)
class _Part:
    """A part of a patch, looked at by itself. offsets: px left out at each side (see `sides`)."""

    search: Search
    offsets: tuple[int, int, int, int]

    def edges(self, box: list[Line], border: Border) -> list[Line | None]:
        """Return what `edges_from` finds inside a box, all in the whole patch's places."""
        own = [self._moved(line, side, -1) for side, line in enumerate(box)]
        lines = edges_from(self.search, own, border, self.search.depth)
        return [
            None if line is None else self._moved(line, side, 1) for side, line in enumerate(lines)
        ]

    def against(self, side: int, box: list[Line], usual: list[Line], border: Border) -> Line | None:
        """Return the edge of a picture against the border inside the piece's own edge, or None.

        box: the piece's edge at this side; usual: sides that were found before.
        """
        edge, old = (self._moved(each[side], side, -1) for each in (box, usual))
        patch = self.search.patch
        lines = [self._moved(line, k, -1) for k, line in enumerate(usual)]
        width = min(self.search.size)
        columns = round(edge.at - 2), round(max(old.at, edge.at) + ASTRAY * width)
        rows = rows_between(patch, lines, side)
        band = Band(side, rows, columns, old.middle, old.slope, 0.012)
        found = ridges(patch, band, -1 if border.lighter else 1)
        plain = [
            r.line for r in found if r.share > 0.6 and r.height > 5 and r.line.at > edge.at + 2
        ]
        steps = [self._step(side, line, border) for line in plain]
        if not plain or max(steps) <= 0:
            return None
        best = plain[int(np.argmax(steps))]
        return self._moved(best, side, 1)

    def _step(self, side: int, line: Line, border: Border) -> float:
        """Return the step across a line as an eye sees it, 0 to 1; 0 where what lies outside it
        is not more like the border than what lies inside.

        Light strays from a bright sky into the border. By density it ends where the border
        begins to be black, by eye where the picture does.
        """
        light = sides.facing(self.search.patch.light, side)
        rows = np.arange(light.shape[0] // 10, light.shape[0] - light.shape[0] // 10)
        at = np.round(line.columns(rows + 0.5)).astype(int)
        levels = []
        for first in (-4, 1):
            columns = np.clip(at[:, None] + first + np.arange(3)[None], 0, light.shape[1] - 1)
            levels.append(as_seen(light[rows[:, None], columns].mean((1, 2))))
        outside, inside = levels
        own = float(as_seen(np.asarray(10.0 ** -border.tone.astype(np.float64), np.float32)).mean())
        nearer = np.abs(outside - own) < 0.7 * np.abs(inside - own)
        return float(np.median(np.abs(inside - outside))) if nearer.mean() > 0.5 else 0.0

    def _moved(self, line: Line, side: int, sign: int) -> Line:
        along = self.offsets[sides.TOP if side in (sides.LEFT, sides.RIGHT) else sides.LEFT]
        return replace(
            line, at=line.at + sign * self.offsets[side], middle=line.middle + sign * along
        )


def _part(search: Search, box: list[Line], cut: frozenset[int]) -> _Part:
    """Return the part of the patch from the separators on, so that they are its near sides."""
    h, w = search.size
    offsets = [0, 0, 0, 0]
    for side in cut:
        length = h if side in (sides.LEFT, sides.RIGHT) else w
        lean = abs(box[side].slope) * length / 2
        offsets[side] = max(0, int(box[side].at - lean) - 3)
    left, top, right, bottom = offsets
    v = np.ascontiguousarray(search.patch.v[top : h - bottom, left : w - right])
    light = search.patch.light[top : h - bottom, left : w - right]
    patch = Patch(v, lambda: light, search.patch.to_view)
    return _Part(replace(search, patch=patch), (left, top, right, bottom))


# How far beside the others (share of the piece's width) one exposure may lie.
ASTRAY = 0.06


def _beside(line: Line | None, own: Line, search: Search) -> Line:
    """Return the side along a separator: where the picture begins, or the separator itself."""
    near = line is not None and line.at - own.at < 0.6 * WIDEST * max(search.size)
    if near and line is not None and line.found and line.share - line.early > 0.3:
        return line
    return Line(own.at + 1.0, own.slope, own.middle, 0.5, 0.0, 1.0)
