"""What inside the outline of one picture speaks for more than one: bars, seams, repeats, holes.

All is measured on the reduced copy, turned upright; places are shares of the outline's own sides.
Straight things stand in real pictures too: a horizon, a rail, a wall. A bar counts where it runs
from side to side, is even all along, and what it parts differs from it on both sides nearly all
along; a seam where two contents meet along one line, now lighter on one side, now on the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.locate.view import Floats, View

# A picture is looked at in this many parts along a line, at most so many px long.
PARTS = 24
LONG_PX = 1000
# Lines are looked for that lie within so many degrees of the outline's sides.
TILT_DEG = 1.0
# Nearer than this share of a side to the outline, what is seen belongs to the outline itself.
NEAR = 0.04
# Tones nearer to each other than this are alike, and the same.
ALIKE, SAME = 0.12, 0.05
# Beyond a seam the tone stays another for this many px.
WIDE = 11
# Wider than this share a band is an area and no bar.
WIDEST = 0.2


@dataclass(frozen=True)
class Line:
    """A line through an outline from side to side. across: whether it runs left to right; at: its
    place, a share of the side it cuts; strength: 0 to 1; ground: whether it is as the ground;
    tone: its own.
    """

    across: bool
    at: float
    strength: float
    ground: bool = False
    tone: float = 0.0


@dataclass(frozen=True)
class Inside:
    """What was seen inside an outline.

    bars: even bands from side to side; seams: lines along which two contents meet; repeat: how
    like the picture is to itself moved (correlation, 0 to 1) and by which share of its long side;
    holes: the most evenly spaced holes like perforations that stand in one row.
    """

    bars: tuple[Line, ...]
    seams: tuple[Line, ...]
    repeat: tuple[float, float]
    holes: int


def upright_grey(view: View, corners: npt.NDArray[np.float64]) -> Floats:
    """Return the mean tone inside four corners (view px, clockwise), long side at most LONG_PX."""
    sides = [float(np.hypot(*(corners[(k + 1) % 4] - corners[k]))) for k in range(4)]
    w, h = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    factor = min(1.0, LONG_PX / max(w, h, 1.0))
    size = max(16, round(w * factor)), max(16, round(h * factor))
    target = np.array([[0, 0], [size[0], 0], [size[0], size[1]], [0, size[1]]], np.float32)
    low = np.maximum(np.floor(corners.min(0)).astype(int) - 2, 0)
    high = np.ceil(corners.max(0)).astype(int) + 3
    part: Floats = view.grey[low[1] : high[1], low[0] : high[0]]
    if min(part.shape) < 4:
        return np.zeros((16, 16), np.float32)
    if factor < 0.7:
        part = np.asarray(cv2.blur(part, (2, 2)), np.float32)
    matrix = cv2.getPerspectiveTransform((corners - low).astype(np.float32), target)
    return np.asarray(
        cv2.warpPerspective(part, matrix, size, borderMode=cv2.BORDER_REPLICATE), np.float32
    )


def look_inside(
    view: View,
    corners: npt.NDArray[np.float64],
    around: tuple[float, ...] = (),
    ground: float | None = None,
) -> Inside:
    """Return what is seen inside four corners (view px, clockwise from the top left).

    around, ground: tones (mean over channels) of what lies around the picture: what parts two
    pictures is as one of them. Without any, it is the lightest or darkest there.
    """
    grey = upright_grey(view, corners)
    extreme = tuple(float(each) for each in np.percentile(grey[::3, ::3], (1, 99)))
    like = (around or extreme) if ground is None else (*(around or extreme), ground)
    bars: list[Line] = []
    seams: list[Line] = []
    for across in (True, False):
        upright = grey if across else np.ascontiguousarray(grey.T)
        lines = _Lines.of(upright, view.noise)
        bars += lines.bars(across, like, ground)
        seams += lines.seams(across)
    return Inside(tuple(bars), tuple(seams), repeat_in(grey), max(holes_in(grey), holes_in(grey.T)))


@dataclass
class _Lines:
    """Profiles across the lines that are looked for. tone, rough: (tilts, PARTS, rows), the mean
    of each part of a row and the spread within it."""

    tone: Floats
    rough: Floats
    noise: float

    @classmethod
    def of(cls, grey: Floats, noise: float) -> _Lines:
        h, w = grey.shape
        trim = round(0.015 * w)
        inner = np.ascontiguousarray(grey[:, trim : w - trim])
        tone = cv2.resize(inner, (PARTS, h), interpolation=cv2.INTER_AREA)
        square = cv2.resize(inner * inner, (PARTS, h), interpolation=cv2.INTER_AREA)
        rough = np.sqrt(np.maximum(square - tone * tone, 0))
        most = int(np.ceil(np.tan(np.radians(TILT_DEG)) * w / 2))
        # The ends of a line go up and down by so many px; a part is no longer than its tilt allows.
        tilts = np.arange(-most, most + 1)
        shift = np.round(tilts[:, None] * np.linspace(-1, 1, PARTS)[None]).astype(int)
        rows = np.clip(np.arange(h)[None, None] + shift[..., None], 0, h - 1)
        part = np.arange(PARTS)[None, :, None]
        return cls(tone.T[part, rows], rough.T[part, rows], noise)

    def bars(self, across: bool, like: tuple[float, ...], ground: float | None) -> list[Line]:
        """Return the even bands from side to side that differ from what lies on both sides."""
        found = []
        middle = np.median(self.tone, axis=1)
        off = np.abs(self.tone - middle[:, None])
        for free in (0.03, 0.08, 0.13):
            found += self._bands(across, like, middle, off, free + 2 * self.noise)
        return [
            replace(line, ground=ground is not None and abs(line.tone - ground) < SAME)
            for line in _apart(found)
        ]

    def _bands(
        self, across: bool, like: tuple[float, ...], middle: Floats, off: Floats, free: float
    ) -> list[Line]:
        """Return the bands that are even within `free`, of a tone that is `like` one of those."""
        n = self.tone.shape[2]
        plain = (off < free) & (self.rough < 1.5 * free)
        ends = plain[:, :2].any(1) & plain[:, -2:].any(1)
        known = np.min([np.abs(middle - each) for each in like], axis=0) < ALIKE
        even = (plain.mean(1) >= 0.9) & ends & known
        near = max(3, round(NEAR * n))
        found = []
        for k in np.flatnonzero(even[:, near:-near].any(1)):
            for low, high in _runs(even[k]):
                if low < near or high > n - near or high - low > WIDEST * n:
                    continue
                strength = self._parted(int(k), low, high, middle[k], 2 * free)
                if strength > 0:
                    tone = float(np.median(middle[k, low:high]))
                    found.append(Line(across, (low + high) / 2 / n, strength, tone=tone))
        return found

    def _parted(self, k: int, low: int, high: int, middle: Floats, limit: float) -> float:
        """Return along how much of a band both its sides differ from it, the lesser of both."""
        level = float(np.median(middle[low:high]))
        shares = []
        for rows in (slice(max(0, low - 5), low - 1), slice(high + 1, high + 5)):
            step = self.tone[k][:, rows] - level
            most = np.where(np.abs(step.max(1)) > np.abs(step.min(1)), step.max(1), step.min(1))
            shares.append(float(max((most > limit).mean(), (most < -limit).mean())))
        return min(shares)

    def seams(self, across: bool) -> list[Line]:
        """Return the lines along which the tone jumps nearly everywhere, in both directions."""
        tone, n = self.tone, self.tone.shape[2]
        above = (tone[..., :-5] + tone[..., 1:-4] + tone[..., 2:-3]) / 3
        below = (tone[..., 3:-2] + tone[..., 4:-1] + tone[..., 5:]) / 3
        step = below - above
        size = np.abs(step)
        reach = 9
        around = cv2.blur(size.reshape(-1, n - 5), (2 * reach + 1, 1)).reshape(size.shape)
        peak = cv2.dilate(size.reshape(-1, n - 5), np.ones((1, 2 * reach + 1))).reshape(size.shape)
        sharp = (size > 0.03 + 3 * self.noise) & (size > 2.5 * around) & (size >= 0.9 * peak)
        # A mast is left on its other side: beyond a seam the other picture goes on.
        wide = cv2.blur(tone.reshape(-1, n), (WIDE, 1)).reshape(tone.shape)
        shift = WIDE // 2 + 2
        beyond = np.roll(wide, -shift, 2) - np.roll(wide, shift, 2)
        sharp &= beyond[..., 2:-3] * np.sign(step) > 0.4 * size
        near = max(3, round(NEAR * n))
        # A place may be off by one pixel.
        sharp = sharp | np.roll(sharp, 1, 2) | np.roll(sharp, -1, 2)
        up = (sharp & (step > 0)).mean(1)
        down = (sharp & (step < 0)).mean(1)
        both = np.minimum(up, down)
        all_along = sharp.mean(1)
        good = (all_along > 0.8) & (both > 0.2)
        good[:, :near] = False
        good[:, -near:] = False
        found = [
            Line(across, (float(y) + 3) / n, float(all_along[k, y]))
            for k, y in zip(*np.nonzero(good), strict=True)
        ]
        return _apart(found)


# A band along a side: rows of it are even within this (density) but for their outer twelfths and
# ends (shares); rows beyond it vary by more. It is so wide (shares of the shorter side): a border
# or a shadow is seen in it, what is wider may be a sky. Set on 172 drawn scenes: of the outlines of
# single pieces that had one, ten were off by 0.8 to 8 % of the diagonal, three right.
BAND_EVEN, BAND_VARIED, BAND_ENDS = 0.06, 0.15, 0.06
BAND_FROM, BAND_TO, BAND_PX = 0.011, 0.065, 2


def banded(grey: Floats) -> list[bool]:
    """Return of each side of an upright picture (left, top, right, bottom) whether a narrow even
    band runs along it, beyond which the picture begins.
    """
    return [_has_band(part) for part in (grey.T, grey, grey.T[::-1], grey[::-1])]


def _has_band(grey: Floats) -> bool:
    """Whether a narrow even band runs along the upper side."""
    short = min(grey.shape)
    trim = round(BAND_ENDS * grey.shape[1])
    rows = grey[: round(2 * BAND_TO * short), trim : grey.shape[1] - trim]
    low, high = np.percentile(rows, (8, 92), axis=1)
    spread = high - low
    first = max(2, round(0.004 * short))  # the blur of the edge itself
    uneven = np.flatnonzero(spread[first:] > BAND_EVEN)
    if not len(uneven):
        return False
    end = first + int(uneven[0])
    beyond = spread[end + round(0.01 * short) : end + round(0.035 * short) + 2]
    wide = end - first >= max(BAND_PX, 0.006 * short)
    within = BAND_FROM * short <= end <= BAND_TO * short
    return wide and within and len(beyond) > 0 and float(np.median(beyond)) > BAND_VARIED


def _runs(marked: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Return (first, one after last) of each run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marked.astype(np.int8), [0]])))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _apart(lines: list[Line]) -> list[Line]:
    """Return the strongest of lines that lie within two hundredths of each other."""
    kept: list[Line] = []
    for line in sorted(lines, key=lambda each: -each.strength):
        if all(abs(line.at - other.at) > 0.02 for other in kept):
            kept.append(line)
    return kept


def repeat_in(grey: Floats) -> tuple[float, float]:
    """Return how like a picture is to itself moved along its longer side, and by which share.

    What repeats in short steps (a fence, bricks) repeats at once and over again: that is no second
    exposure and gives 0.
    """
    if grey.shape[1] > grey.shape[0]:
        grey = np.ascontiguousarray(grey.T)
    h, w = grey.shape
    size = (64, max(64, round(64 * h / w)))
    small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), np.float32)
    detail = small - cv2.GaussianBlur(small, (0, 0), 4)
    inner = detail[3:-3, 5:-5]
    n = inner.shape[0]
    lags = np.arange(2, round(0.56 * n))
    like = np.zeros(len(lags))
    for k, lag in enumerate(lags):
        a = detail[3 : 3 + n - lag, 5:-5]
        for move in (-2, -1, 0, 1, 2):
            b = detail[3 + lag : 3 + n, 5 + move : detail.shape[1] - 5 + move]
            norm = float(np.sqrt((a * a).sum() * (b * b).sum()))
            like[k] = max(like[k], float((a * b).sum()) / norm if norm > 0 else 0.0)
    far = lags > 0.22 * n
    if not far.any():
        return 0.0, 0.0
    best = int(np.argmax(np.where(far, like, -1)))
    # Its own tail, and what repeats in short steps.
    tail = np.flatnonzero(like < 0.3)
    first = int(tail[0]) if len(tail) else len(lags)
    short = like[first : max(first, int(np.searchsorted(lags, 0.2 * n)))]
    if first >= best or (len(short) and short.max() > 0.6 * like[best]):
        return 0.0, 0.0
    return float(like[best]), float(lags[best] / n)


# Perforations take this share of their pitch (ISO 491: 1.98 of 4.75 mm), within what blur makes of
# it, and so many at the least stand in one row of a frame (eight to a whole one).
HOLE_SHARE = 0.3, 0.56
# Their pitch, 4.75 mm, as a share of an outline that takes them in: of film 35 mm wide the rows of
# both sides (0.136), or little more than the picture's 24 mm (0.198); 10 % more either way.
PITCH_SHARE = 0.12, 0.22
FEWEST_HOLES = 5
# Tones (per cent of a row of film) between which holes and film are parted.
LOW_TONE, HIGH_TONE = 8, 80


def holes_in(grey: Floats) -> int:
    """Return how many holes like perforations stand in one row along the upper or lower side.

    They are of one tone, evenly spaced, and as wide for their pitch as perforations are.
    """
    h = grey.shape[0]
    deep, step = max(2, round(0.02 * h)), max(1, round(0.02 * h))
    starts = range(0, round(0.24 * h) - deep, step)
    bands = [grey[a : a + deep] for start in starts for a in (start, h - start - deep)]
    if not bands:
        return 0
    profiles = np.array([part.mean(0) for part in bands], np.float64)
    low, high = _two_ranks(np.sort(profiles, axis=1))
    most = 0
    for k in np.flatnonzero(high - low > 0.06):
        part, profile, level = bands[k], profiles[k], (low[k] + high[k]) / 2
        most = max(most, _in_time(profile < level, part, h), _in_time(profile > level, part, h))
    return most


def _two_ranks(ordered: npt.NDArray[np.float64]) -> tuple[Any, Any]:
    """Return what `np.percentile` gives for LOW_TONE and HIGH_TONE of each (rows, n), in order."""
    found = []
    for per_cent in (LOW_TONE, HIGH_TONE):
        place = (ordered.shape[1] - 1) * (per_cent / 100)
        first = int(place)
        share = place - first
        a, b = ordered[:, first], ordered[:, min(first + 1, ordered.shape[1] - 1)]
        found.append(b - (b - a) * (1 - share) if share >= 0.5 else a + (b - a) * share)
    return found[0], found[1]


def _in_time(marked: npt.NDArray[np.bool_], rows: Floats, across: int) -> int:
    """Return the number of runs where they are evenly spaced, even, and like perforations.

    across: size of the outline across the film, px.
    """
    runs = [(a, b) for a, b in _runs(marked) if a > 0 and b < len(marked)]
    if len(runs) < FEWEST_HOLES:
        return 0
    middles = np.array([(a + b) / 2 for a, b in runs])
    widths = np.array([b - a for a, b in runs], float)
    pitches = np.diff(middles)
    pitch = float(np.median(pitches))
    shares = widths / pitch
    even = np.abs(pitches - pitch).max() < 0.1 * pitch + 1 and np.ptp(widths) < 0.2 * pitch + 2
    like = HOLE_SHARE[0] < shares.min() and shares.max() < HOLE_SHARE[1]
    pitched = PITCH_SHARE[0] * across < pitch < PITCH_SHARE[1] * across
    if not even or not like or not pitched:
        return 0
    tones = [rows[:, a + (b - a) // 4 : b - (b - a) // 4] for a, b in runs]
    plain = max(float(tone.std()) for tone in tones) < 0.08
    same = float(np.ptp([tone.mean() for tone in tones])) < 0.12
    return len(runs) if plain and same else 0
