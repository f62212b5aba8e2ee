"""Frames on a strip of roll film: perforations give scale and phase, the rebate gives the base."""

from __future__ import annotations

import functools
from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import film
from glassine.locate import sides
from glassine.locate.chain import (
    Doubles,
    Lengths,
    Signs,
    Slot,
    box,
    frames_along,
    meeting_inside,
    peak,
    with_blanks,
)
from glassine.locate.straight import Band, ridges
from glassine.locate.view import Floats, Patch, any_of, mean_of, most_of

# Picture lengths tried, mm (ISO 1007, ISO 732; cameras differ by a millimetre or so). Wide views of
# 24 x 56 to 66 mm on 35 mm film, 56 x 112 and 168 mm on 120 film: value from memory.
LENGTHS_135 = Lengths(((35.2, 36.8), (17.4, 18.6)), ((55.6, 66.4),))
LENGTHS_120 = Lengths(
    ((40.5, 42.6), (53.5, 57.2), (68.0, 71.0), (75.5, 78.0), (81.8, 85.0)),
    ((111.0, 119.0), (166.0, 169.6)),
)
# Length of a whole frame on 35 mm film, mm (ISO 1007).
FRAME_135_MM = 36.0
# A piece of 35 mm film shorter than this holds one whole frame at most.
LONE_MM = 46.0
# A border denser than this is that of reversal film.
DARK = 1.2
# Share of the holes that must be seen where there is a whole piece of film.
HOLES_SEEN = 0.45


@dataclass
class Perforations:
    """pitch_px along the film in the patch; first: place of one hole; strength: 0 to 1."""

    pitch_px: float
    first: float
    count: int
    strength: float
    residual_px: float


@dataclass
class Strip:
    """A strip laid out: film runs along x. top/bottom: film edges; base: its clear (or black) tone."""  # noqa: E501

    gauge: str
    top: float
    bottom: float
    mm: float
    base: Floats
    dark: bool
    perforations: Perforations | None
    slots: list[Slot] = field(default_factory=list)
    picture_top: float = 0.0
    picture_bottom: float = 0.0
    rows_seen: tuple[float, float] = (0.0, 0.0)
    meeting: float = 0.0  # of one frame alone: see `meeting_inside`

    @property
    def shown(self) -> float:
        """Return how plainly its frames show, by their worse ends and by their long sides."""
        return sum(min(s.seen_left, s.seen_right) + min(self.rows_seen) for s in self.slots)


@functools.lru_cache(maxsize=1)
def _phases(n: int, nominal: float) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.complex128]]:
    """Return the pitches near `nominal` px, and (pitches, n) waves of each along n px."""
    pitches = nominal * np.linspace(0.93, 1.07, 281)
    x = np.arange(n) + 0.5
    return pitches, np.exp(2j * np.pi * x[None] / pitches[:, None]) * np.hanning(n)


def perforations(patch: Patch, top: float, bottom: float) -> Perforations | None:
    """Find two rows of holes brighter than the film, evenly spaced, at their place across it."""
    width = bottom - top
    mm = width / film.FILM_135.width_mm
    centre = film.PERFORATION_MARGIN_MM + film.PERFORATION_SIZE_MM[1] / 2
    profiles = []
    for row in (top + centre * mm, bottom - centre * mm):
        low, high = round(row - 0.8 * mm), round(row + 0.8 * mm) + 1
        if low < 0 or high > patch.v.shape[0]:
            return None
        profiles.append(mean_of(patch.v[low:high]).mean(0))
    n = len(profiles[0])
    if n < 4 * film.PERFORATION_PITCH_MM * mm:
        return None
    nominal = film.PERFORATION_PITCH_MM * mm
    window = max(3, round(nominal))
    kernel = np.ones(window) / window
    detrended = []
    for profile in profiles:
        flat = (
            profile - np.convolve(np.pad(profile, window, "edge"), kernel, "same")[window:-window]
        )
        spread = max(float(np.percentile(np.abs(flat), 75)), 1e-6)
        detrended.append(np.clip(flat, -1.5 * spread, 1.5 * spread))
    taper = np.hanning(n)
    pitches, phases = _phases(n, nominal)
    power = sum(np.abs(phases @ d) for d in detrended)
    best = int(np.argmax(power))
    strength = float(power[best] / sum(float((np.abs(d) * taper).sum()) for d in detrended))
    if strength < 0.35:
        return None
    return _holes(profiles, detrended, float(pitches[best]), strength)


def _holes(
    profiles: list[Floats], detrended: list[Floats], pitch: float, strength: float
) -> Perforations | None:
    """Centre each hole between its two flanks and fit one comb to all of them."""
    x = np.arange(len(profiles[0])) + 0.5
    place = []
    for profile, flat in zip(profiles, detrended, strict=True):
        turn = np.angle((np.exp(2j * np.pi * x / pitch) * flat * np.hanning(len(x))).sum())
        # Holes are where the tone is least: half a pitch from the crest.
        first = (turn / (2 * np.pi) * pitch + pitch / 2) % pitch
        for k in range(int((len(x) - first) / pitch) + 1):
            centre = first + k * pitch
            low, high = int(centre - 0.48 * pitch), int(centre + 0.48 * pitch) + 1
            if low < 0 or high > len(x):
                continue
            part = profile[low:high].astype(np.float64)
            bottom, top = np.percentile(part, [12, 80])
            if top - bottom < 0.012:
                continue
            inside = part < (bottom + top) / 2
            if not 0.2 < inside.mean() < 0.65:
                continue
            edges = np.flatnonzero(np.diff(inside.astype(int)))
            if len(edges) != 2:
                continue
            half = (bottom + top) / 2
            found = [low + e + 0.5 + (part[e] - half) / (part[e] - part[e + 1]) for e in edges]
            place.append(sum(found) / 2)
    # A ruler's marks or a label's bars keep time with the holes now and then, not all along.
    if len(place) < max(6, HOLES_SEEN * 2 * len(x) / pitch):
        return None
    at = np.array(place)
    k = np.round((at - at.min()) / pitch)
    keep = np.ones(len(at), bool)
    slope, base = pitch, float(at.min())
    for _ in range(4):
        if keep.sum() < 6:
            return None
        slope, base = np.polyfit(k[keep], at[keep], 1)
        off = np.abs(at - base - slope * k)
        keep = off <= max(3 * float(np.median(off)), 0.15)
    return Perforations(float(slope), float(base), int(keep.sum()), strength, float(np.median(off)))


def between_rows(patch: Patch, holes: Perforations, middle: float, mm: float) -> float:
    """Return the height midway between both rows of holes: the film's own middle.

    Printing on the film's margin, and what lies beyond its edges, do not move it.
    """
    grey = mean_of(patch.v)
    phase = (np.arange(grey.shape[1]) + 0.5 - holes.first) / holes.pitch_px
    off = np.abs(phase - np.round(phase))
    inside, between = off < 0.12, off > 0.36
    if inside.sum() < 8 or between.sum() < 8:
        return middle
    drop = np.median(grey[:, between], axis=1) - np.median(grey[:, inside], axis=1)
    apart = (film.FILM_135.width_mm / 2 - film.PERFORATION_MARGIN_MM) * mm
    apart -= film.PERFORATION_SIZE_MM[1] / 2 * mm
    size = max(3, round(film.PERFORATION_SIZE_MM[1] * mm))
    sums = np.convolve(drop, np.ones(size) / size, "same")
    reach = max(1, round(0.7 * mm))
    places = []
    for sign in (-1, 1):
        at = round(middle + sign * apart)
        low, high = max(0, at - reach), min(len(sums), at + reach + 1)
        if high - low < 3 or sums[low:high].max() < 0.02:
            return middle
        near = slice(max(0, at - reach - size), min(len(drop), at + reach + size))
        weight = np.clip(drop[near] - 0.5 * sums[low:high].max(), 0, 0.5 * sums[low:high].max())
        rows = np.arange(near.start, near.stop) + 0.5
        places.append(float((weight * rows).sum() / max(weight.sum(), 1e-9)))
    agree = abs(places[1] - places[0] - 2 * apart) < 0.5 * mm
    return (places[0] + places[1]) / 2 if agree else middle


def rebate(
    patch: Patch, top: float, bottom: float, mm: float, inner: float
) -> tuple[Floats, Floats]:
    """Return ((n, c) tone of the rebate along the film, its typical tone)."""
    rows: list[int] = []
    for low, high in (
        (top + 0.35 * mm, top + inner * mm),
        (bottom - inner * mm, bottom - 0.35 * mm),
    ):
        rows.extend(
            range(max(0, round(low)), min(patch.v.shape[0], max(round(high), round(low) + 1)))
        )
    along = np.median(patch.v[rows], axis=0)
    window = max(3, round(2.0 * mm)) | 1
    padded = np.pad(along, ((window // 2, window // 2), (0, 0)), "edge")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, window, axis=0), axis=-1)
    return smooth.astype(np.float32), np.median(smooth, axis=0).astype(np.float32)


@dataclass(frozen=True)
class Level:
    """Film that runs along x in a patch. top, bottom: its edges; left, right: where it ends, patch
    px; holes: its perforations; noise: of the view, density; known_mm: px per mm, where known;
    runs_out: whether it does not end there but runs out of the master, left and right.
    """

    patch: Patch
    top: float
    bottom: float
    left: float
    right: float
    gauge: str
    holes: Perforations | None
    noise: float
    known_mm: float | None
    runs_out: tuple[bool, bool] = (False, False)

    @property
    def mm(self) -> float:
        """Return px per millimetre: by the holes, as known, or by the width of the film."""
        if self.holes is not None:
            return self.holes.pitch_px / film.PERFORATION_PITCH_MM
        if self.known_mm is not None:
            return self.known_mm
        return (self.bottom - self.top) / self.nominal.width_mm

    @property
    def nominal(self) -> film.Film:
        """Return the nominal sizes of the film."""
        return film.FILM_135 if self.gauge == "135" else film.FILM_120

    @property
    def ends(self) -> tuple[float, float]:
        """Return where the film begins and ends within the patch, px."""
        return max(self.left, 0.0), min(self.right, float(self.patch.v.shape[1]))


@dataclass(frozen=True)
class _Seen:
    """What differs from the border between the rows where pictures lie.

    rows: from and to; picture: of those rows, whether each px differs from the border; local: (n,
    c) the border's tone along the film; signs: what that shows along the film.
    """

    rows: tuple[int, int]
    picture: npt.NDArray[np.bool_]
    local: Floats
    limit: float
    signs: Signs


def lay_out(level: Level) -> Strip:
    """Return the strip with its frames."""
    patch, mm, holes = level.patch, level.mm, level.holes
    along, base = _border(level)
    dark = bool(base.mean() > DARK)
    strip = Strip(level.gauge, level.top, level.bottom, mm, base, dark, holes)
    middle = (level.top + level.bottom) / 2
    if holes is not None:
        middle = between_rows(patch, holes, middle, mm)
    half = level.nominal.picture_height_mm / 2 * mm
    seen = _seen(level, (along, base), middle, half)
    signs = seen.signs
    lengths = LENGTHS_135 if level.gauge == "135" else LENGTHS_120
    slots = frames_along(signs, lengths)
    if not slots and holes is not None and signs.ends[1] - signs.ends[0] < LONE_MM * mm:
        slots = [_lone(strip, level, seen.rows, signs.filled)]
    strip.slots = with_blanks(signs, slots, _pitch(strip, slots))
    if len(slots) == 1:
        strip.meeting = meeting_inside(signs, slots[0], lengths)
    _rows(strip, patch, seen.local, seen.limit, middle, half)
    return strip


def _border(level: Level) -> tuple[Floats, Floats]:
    """Return ((n, c) tone of the film's border along it, its typical tone)."""
    mm, ends = level.mm, level.ends
    inner = 1.65 if level.gauge == "135" else 1.7
    along, base = rebate(level.patch, level.top, level.bottom, mm, inner)
    # Near its ends the film's tone is that a little further in, not the table's beyond.
    last = len(along) - 1
    within = min(round(ends[0] + 2 * mm), last), max(round(ends[1] - 2 * mm), 0)
    return along[np.arange(len(along)).clip(*within)], base


def _pitch(strip: Strip, slots: list[Slot]) -> float | None:
    """Return px from frame to frame as cameras for 35 mm film advance it."""
    if strip.gauge != "135" or not slots:
        return None
    width = float(np.median([slot.right - slot.left for slot in slots])) / strip.mm
    if width > film.FRAME_ADVANCE_135_MM:
        return None
    return film.FRAME_ADVANCE_135_MM * strip.mm * (1 if width > 27 else 0.5)


def _seen(level: Level, border: tuple[Floats, Floats], middle: float, half: float) -> _Seen:
    """Return what differs from the border, about the pictures' middle and half height (px)."""
    patch, mm, ends, (along, base) = level.patch, level.mm, level.ends, border
    dark = bool(base.mean() > DARK)
    limit = 0.2 if dark else max(0.02, 4 * level.noise)
    low, high = round(middle - half + 0.8 * mm), round(middle + half - 0.8 * mm)
    area = patch.v[max(low, 0) : high]
    fog = np.abs(along - base).max(1) > (0.5 if dark else 0.18)
    local = np.where(fog[:, None], base, along)
    step = area - local[None]
    m = any_of(step < -limit) if dark else any_of(step > limit)
    filled = m.mean(0)
    rise, fall = _edges(m)
    jump = jumps(area, max(0.035, 6 * level.noise))
    # Where but border follows a step, that is the neighbour's end and not this one's beginning.
    after, before = _beside(filled, max(2, round(0.5 * mm)))
    begin = np.maximum(rise, 0.55 * jump * np.clip(after / 0.3, 0, 1))
    finish = np.maximum(fall, 0.55 * jump * np.clip(before / 0.3, 0, 1))
    if dark:
        # There the step into the film is the other way round than the one into a picture.
        for edges, own in ((begin, rise), (finish, fall)):
            for part in (slice(0, round(ends[0] + 2 * mm)), slice(round(ends[1] - 2 * mm), None)):
                edges[part] = own[part]
    # The film's own ends are no frame's ends.
    close = max(4, round(0.12 * mm))
    for edges in (begin, finish):
        edges[: max(0, round(ends[0]) + close)] = 0
        edges[min(len(edges), round(ends[1]) - close + 1) :] = 0
    # Specks of dust are no picture: only what is wider than eight tenths of a millimetre counts.
    size = max(3, round(0.8 * mm))
    eroded = cv2.erode(m.astype(np.uint8), np.ones((size, size), np.uint8))
    solid = np.asarray(eroded.any(0), bool)
    signs = Signs(begin, finish, jump, filled, fog, solid, mm, ends)
    return _Seen((low, high), m, local, limit, signs)


def _lone(strip: Strip, level: Level, rows: tuple[int, int], filled: Floats) -> Slot:
    """Return the frame on a piece cut close to it, whose ends hardly show.

    The piece is little longer than the frame: its place is known to a millimetre, and the whole
    of an end, looked at together, mostly shows it. In the middle of the piece where neither does.
    Where the piece runs out of the master, its frame may as well.
    """
    patch, ends = level.patch, level.ends
    n, mm = patch.v.shape[1], strip.mm
    w = FRAME_135_MM * mm
    slack = max(ends[1] - ends[0] - w, 0.0)
    if any(level.runs_out):
        slack = max(slack, (LONE_MM - FRAME_135_MM) * mm)
    found = []
    for side, end in ((sides.LEFT, ends[0]), (sides.RIGHT, n - ends[1])):
        # The end of clear film is a step the same way as the one into a picture.
        first = end + (0.15 if strip.dark else 0.4) * mm
        columns = round(first), round(end + slack + 0.3 * mm)
        band = Band(side, rows, columns, (rows[0] + rows[1]) / 2, 0.0, 0.009)
        seen = ridges(patch, band, -1 if strip.dark else 1)
        found.append([r for r in seen if r.share > 0.6 and r.height > 6])
    pairs = [
        (a.step + b.step, a.line.at, n - b.line.at, a.share, b.share)
        for a in found[0]
        for b in found[1]
        if abs(n - b.line.at - a.line.at - w) < 0.5 * mm
    ]
    if pairs:
        _, left, right, *shares = max(pairs)
        inside = filled[int(left) + 1 : int(right)]
        return Slot(left, right, shares[0], shares[1], float(inside.mean()))
    start = (ends[0] + ends[1] - w) / 2
    seen_left = seen_right = 0.0
    alone = [(r.step, k, r) for k in (0, 1) for r in found[k]]
    if alone:
        _, k, best = max(alone, key=lambda each: each[0])
        start = best.line.at if k == 0 else n - best.line.at - w
        seen_left, seen_right = (best.share, 0.0) if k == 0 else (0.0, best.share)
    inside = filled[max(int(start) + 1, 0) : int(start + w)]
    return Slot(start, start + w, seen_left, seen_right, float(inside.mean()))


def _edges(m: npt.NDArray[np.bool_]) -> tuple[Doubles, Doubles]:
    """Share of rows where exposure begins (rise) or ends (fall) at the boundary before column x."""
    n = m.shape[1]
    rise, fall = np.zeros(n + 1), np.zeros(n + 1)
    on = m[:, 2:-1] & m[:, 3:]
    off = ~m[:, 1:-2] & ~m[:, :-3]
    rise[2 : n - 1] = (on & off).mean(0)
    on = m[:, 1:-2] & m[:, :-3]
    off = ~m[:, 2:-1] & ~m[:, 3:]
    fall[2 : n - 1] = (on & off).mean(0)
    return np.minimum(box(rise, 3), 1), np.minimum(box(fall, 3), 1)


# A step of tone shows this far (px) to either side of where it is.
STEP_PX = 4


def _beside(filled: Floats, n: int) -> tuple[Doubles, Doubles]:
    """Return the mean of n columns after and before each boundary, a step's width away from it."""
    total = np.concatenate([[0.0], np.cumsum(filled, dtype=np.float64)])
    at = np.arange(len(total))
    ends = [np.clip(at + k, 0, len(filled)) for k in (STEP_PX, STEP_PX + n, -STEP_PX, -STEP_PX - n)]
    after, before = total[ends[1]] - total[ends[0]], total[ends[2]] - total[ends[3]]
    return after / n, before / n


def jumps(area: Floats, limit: float) -> Doubles:
    """Share of rows with a step of tone across the boundary before column x, of one sign mostly."""
    n = area.shape[1]
    d = np.zeros((area.shape[0], n + 1), np.float32)
    step = area[:, 3:] - area[:, :-3]
    k = most_of(np.abs(step))
    d[:, 2 : n - 1] = k
    share = (d > limit).mean(0)
    # A plain edge stands out from its surroundings; busy areas differ everywhere.
    around = np.minimum(np.roll(share, 6), np.roll(share, -6))
    return np.asarray(np.clip(share - around, 0, 1), np.float64)


def _rows(
    strip: Strip, patch: Patch, local: Floats, limit: float, middle: float, half: float
) -> None:
    """Find the picture's upper and lower edge, common to all frames of the strip."""
    mm = strip.mm
    # The perforations begin 0.68 mm beyond the frame: the search must not reach them.
    outer = half + (0.52 if strip.gauge == "135" else 1.6) * mm
    low, high = max(0, round(middle - outer)), min(patch.v.shape[0], round(middle + outer))
    columns = np.zeros(patch.v.shape[1], bool)
    for slot in strip.slots:
        if not slot.blank:
            columns[max(0, int(slot.left + mm)) : max(0, int(slot.right - mm))] = True
    strip.picture_top, strip.picture_bottom = middle - half, middle + half
    if columns.sum() < 10:
        return
    step = patch.v[low:high][:, columns] - local[None][:, columns]
    m = any_of(step < -limit) if strip.dark else any_of(step > limit)
    rise, fall = _edges(m.T)
    reach = round((1.6 if strip.gauge == "135" else 2.6) * mm)
    top, seen_top = peak(rise, round(middle - half) - low, reach)
    bottom, seen_bottom = peak(fall, round(middle + half) - low, reach)
    if seen_top > 0.08:
        strip.picture_top = top + low
    if seen_bottom > 0.08:
        strip.picture_bottom = bottom + low
    if seen_top < 0.2:
        strip.picture_top, seen_top = _faint_row(strip, patch, sides.TOP, seen_top)
    if seen_bottom < 0.2:
        strip.picture_bottom, seen_bottom = _faint_row(strip, patch, sides.BOTTOM, seen_bottom)
    # The threshold is passed in the foot of the blur, a little early: the edge is where tone
    # changes fastest.
    profile = mean_of(patch.v[:, columns]).mean(1) * (-1 if strip.dark else 1)
    change = np.diff(profile, prepend=profile[0])
    deep = max(4, round(0.35 * mm))
    strip.picture_top = _fastest(change, strip.picture_top, deep)
    strip.picture_bottom = len(change) - _fastest(
        -change[::-1], len(change) - strip.picture_bottom, deep
    )
    strip.rows_seen = (seen_top, seen_bottom)


def _fastest(change: Floats, at: float, deep: int) -> float:
    """Return the row before which `change`, the step of tone, is greatest: `at` or beyond it."""
    low = max(1, round(at) - 1)
    part = change[low : low + deep + 2]
    return float(low + int(part.argmax())) if len(part) and part.max() > 0.01 else at


def _faint_row(strip: Strip, patch: Patch, side: int, seen: float) -> tuple[float, float]:
    """Return the height of the pictures' long edge, by what their faint edges agree on, and trust.

    Searched around where the other long edge puts it. Without agreement: as it was.
    """
    mm, h = strip.mm, patch.v.shape[0]
    old = strip.picture_top if side == sides.TOP else strip.picture_bottom
    at = old if side == sides.TOP else h - old
    reach = (0.5 if strip.gauge == "135" else 1.5) * mm
    places = []
    slots = [slot for slot in strip.slots if not slot.blank]
    for slot in slots:
        rows = round(max(slot.left, 0) + mm), round(min(slot.right, patch.v.shape[1]) - mm)
        columns = round(at - reach), round(at + reach)
        band = Band(side, rows, columns, (slot.left + slot.right) / 2, 0.0, 0.006)
        found = ridges(patch, band, -1 if strip.dark else 1)
        if found and found[0].share > 0.7:
            places.append(found[0].line.at)
    if not places:
        return old, seen
    middle = float(np.median(places))
    agree = sum(abs(place - middle) < max(1.5, 0.15 * mm) for place in places) / len(slots)
    if agree < 0.5:
        return old, seen
    return (middle if side == sides.TOP else h - middle), max(seen, 0.4 * agree)
