"""Frames along a strip: of the layouts that cameras give, the one that what is seen speaks for."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from glassine.locate.view import Floats

Doubles = npt.NDArray[np.float64]

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Steps (mm) in which lengths of pictures are tried.
STEP_MM = 0.2
# A picture longer (mm) than this is none of a half frame's; one longer than that, on 120 film, is
# as long as two that touch.
HALF_MM, TWO_FIT_MM = 30.0, 80.0
# Of a frame's score: its worse end, its better one, the picture in it; what film without picture
# in it costs, up to so much of it, and what fogged film in it costs; what a frame costs.
WORSE_END, BETTER_END, PICTURE, EMPTY, EMPTY_MOST, FOGGED, COST = 1.5, 0.3, 0.25, 1.5, 0.4, 1.5, 0.5
# Columns with less picture (share of their rows) than this are empty.
BARE = 0.02
# No frame is where its better end shows along less than the first share; nor, of whole frames and
# half ones, where its worse end does. Half frames are rare, and whatever stands in the middle of a
# picture looks like two. But the end that another exposure covers is not to be seen, where the
# other end shows along the last share.
LEAST_SEEN, LEAST_WHOLE, LEAST_HALF, OTHER_SEEN = 0.12, 0.05, 0.35, 0.6
# Frames overlap by this share of their length at the most, and by the second where the next one was
# begun before the first had passed, which is rare and costs as much; half frames lie four
# perforations apart: so much film (mm) is between them.
OVERLAP, OVERLAP_MOST, OVERLAP_COST, BETWEEN_HALVES_MM = 0.11, 0.36, 0.3, 0.4
# What a mm of picture that no frame covers takes from a layout.
UNCOVERED = 0.4
# Long pictures are rare: what speaks for them counts so much, and both of their ends show along
# this share. No gap from side to side parts them but near their ends (mm). Where a shorter picture
# would end and begin in them, as two that overlap do, no steps are seen: each takes as much.
LONG_COUNTS, LEAST_LONG, LONG_ENDS_MM, STEP_INSIDE = 0.9, 0.15, 3.0, 1.5
# Film between pictures that nearly touch is no wider than this, mm.
MEET_MM = 3.0
# Frames of which more than this share seem to be two are, and count so much less.
TWO_SHARE, TWO_COUNTS = 0.6, 0.3
# How near (mm) to its place a frame's end is looked for, in the choice and afterwards.
NEAR_MM, REACH_MM = 0.12, 0.7
# A frame both of whose ends show along more than the first share tells the length that all have;
# ends that show along the second share stay, as do those that are off by less than this (mm).
TELLS, STAYS, OFF_MM = 0.35, 0.6, 0.15

# Film between frames (mm) where nothing shows it; frames that share more than the second overlap.
BETWEEN_MM, OVERLAPS_MM = 2.0, 0.3
# No frame is expected where more than this share of the border is fogged; one is blank where less
# than the second share of it is filled. How far (mm) an edge may lie from where it is expected.
FOG_IN_BLANK, FILLED, REACH_EXPECTED_MM = 0.15, 0.03, 1.2


@dataclass
class Slot:
    """One frame along the strip, patch px. seen: share of rows with an edge at each end."""

    left: float
    right: float
    seen_left: float
    seen_right: float
    filled: float
    blank: bool = False
    overlap: bool = False


@dataclass(frozen=True)
class Signs:
    """What shows along a strip of film.

    begin, finish, jump: (n + 1,) share of rows that show, at the boundary before each column, a
    picture's beginning, its end, a step of tone; filled: (n,) share of rows that differ from the
    film's border; fog: (n,) whether the border itself is exposed; solid: (n,) whether there is more
    than specks; mm: px per millimetre; ends: where the film begins and ends, px.
    """

    begin: Doubles
    finish: Doubles
    jump: Doubles
    filled: Floats
    fog: npt.NDArray[np.bool_]
    solid: npt.NDArray[np.bool_]
    mm: float
    ends: tuple[float, float]

    @cached_property
    def empty_before(self) -> npt.NDArray[np.int64]:
        """Return (n + 1,) how many columns before each boundary are empty."""
        return np.concatenate([[0], np.cumsum(self.filled < BARE)])

    @cached_property
    def fogged_before(self) -> npt.NDArray[np.int64]:
        """Return (n + 1,) how many columns before each boundary are fogged."""
        return np.concatenate([[0], np.cumsum(self.fog)])

    @cached_property
    def filled_before(self) -> Floats:
        """Return (n + 1,) how many columns of picture lie before each boundary."""
        return np.concatenate([[0], np.cumsum(self.filled)])

    @cached_property
    def gaps(self) -> npt.NDArray[np.bool_]:
        """Return (n,) where a gap between pictures is seen; a night may be empty all over."""
        n = max(2, round(0.4 * self.mm))
        empty = box(self.filled < BARE, n) >= n - 0.5
        beside = np.pad(self.filled, 4 * n, "edge")
        return np.asarray(empty & (np.minimum(beside[: -8 * n], beside[8 * n :]) > 0.3))

    @cached_property
    def gaps_before(self) -> npt.NDArray[np.int64]:
        """Return (n + 1,) how many columns of gaps lie before each boundary."""
        return np.concatenate([[0], np.cumsum(self.gaps)])

    @cached_property
    def ends_near(self) -> tuple[Doubles, Doubles]:
        """Return how plainly a picture begins, and ends, at or hardly off each boundary."""
        near = max(1, round(NEAR_MM * self.mm))
        return local_max(self.begin, near), local_max(self.finish, near)

    @cached_property
    def jump_near(self) -> Doubles:
        """Return the greatest step of tone near each boundary."""
        return local_max(self.jump, max(1, round(0.5 * self.mm)))

    @cached_property
    def apart(self) -> Doubles:
        """Return (n + 1,) how plainly two frames meet near each boundary: a gap, or an edge all the
        way down.

        Two frames are as long as a long one. One picture may have such an edge in its middle, but
        hardly all of a strip.
        """
        gap = local_max(self.gaps.astype(np.float64), round(1.5 * self.mm))
        plain = np.clip((self.jump_near - 0.55) / 0.25, 0, 1)
        return np.asarray(np.maximum(np.append(gap, 0.0), plain))


@dataclass(frozen=True)
class Layout:
    """Frames of one length. starts: px; width: of each, px; score: how much speaks for them."""

    starts: list[int]
    width: int
    score: float


@dataclass(frozen=True)
class Lengths:
    """Lengths of the pictures (mm) that cameras give on one film, as ranges from and to.

    usual: those that any strip may have; long: of wide views, which usual ones may look like.
    """

    usual: tuple[tuple[float, float], ...]
    long: tuple[tuple[float, float], ...] = ()


def frames_along(signs: Signs, lengths: Lengths) -> list[Slot]:
    """Return the frames of the layout that the most speaks for."""
    tried = [
        layout
        for low, high in (*lengths.usual, *lengths.long)
        for length in np.arange(low, high + 0.01, STEP_MM)
        if (layout := _layout(signs, float(length), lengths)) is not None
    ]
    if not tried:
        return []
    best = max(tried, key=lambda layout: layout.score)
    reach = max(2, round(REACH_MM * signs.mm))
    slots = []
    for start in best.starts:
        left, seen_left = peak(signs.begin, start, reach)
        right, seen_right = peak(signs.finish, start + best.width, reach)
        inside = signs.filled[int(left) + 1 : int(right)]
        slots.append(Slot(left, right, seen_left, seen_right, float(inside.mean())))
    _settle(slots, signs.mm)
    return slots


def _layout(signs: Signs, length: float, lengths: Lengths) -> Layout | None:
    """Return the best places of frames of one length (mm), or None where none fits."""
    n, mm, ends = len(signs.filled), signs.mm, signs.ends
    width = round(length * mm)
    if width < 8 or width >= n:
        return None
    x = np.arange(max(0, int(ends[0]) - 1), min(n - width, int(ends[1]) - width + 1) + 1)
    if not len(x):
        return None
    whole, long = length > HALF_MM, bool(lengths.long) and length >= lengths.long[0][0]
    scores = _scores(signs, x, width, LEAST_WHOLE if whole else LEAST_HALF)
    if long:
        scores = _of_long(signs, x, length, scores, lengths)
    overlap = (OVERLAP, OVERLAP_MOST) if whole else (-BETWEEN_HALVES_MM / length,) * 2
    apart = tuple(max(1, width - round(share * width)) for share in overlap)
    score, starts = _best_set(scores, x, apart)
    # Fewer, longer frames must not lose to more, shorter ones by count alone.
    score *= length * (LONG_COUNTS if long else 1.0)
    halved = np.mean([signs.apart[at + width // 2] > 0.5 for at in starts]) if starts else 0.0
    if halved > TWO_SHARE and (length > TWO_FIT_MM or (whole and len(starts) > 1)):
        score *= TWO_COUNTS
    return Layout(starts, width, score - UNCOVERED * _uncovered(signs, starts, width) / mm)


def _uncovered(signs: Signs, starts: list[int], width: int) -> float:
    """Return how much picture (px along the film) lies outside of frames; fogged film is none."""
    free = ~signs.fog
    free[: max(0, round(signs.ends[0]))] = False
    free[round(signs.ends[1]) :] = False
    for start in starts:
        free[start : start + width] = False
    return float(signs.filled[free].sum())


def _scores(signs: Signs, x: npt.NDArray[np.int64], width: int, least: float) -> Doubles:
    """Return what speaks for a frame that begins at each of x (px); -1 where none can be.

    least: share along which the worse of its ends shows.
    """
    begin, finish = signs.ends_near
    a, b = begin[x], finish[x + width]
    worse, better = np.minimum(a, b), np.maximum(a, b)
    empty, fogged, full = (
        (before[x + width] - before[x]) / width
        for before in (signs.empty_before, signs.fogged_before, signs.filled_before)
    )
    score = WORSE_END * worse + BETTER_END * better + PICTURE * full - COST
    score -= EMPTY * np.minimum(empty, EMPTY_MOST)
    score -= FOGGED * fogged
    hidden = (better > OTHER_SEEN) & (least == LEAST_WHOLE)
    return np.where((better < LEAST_SEEN) | ((worse < least) & ~hidden), -1.0, score)


def _of_long(
    signs: Signs, x: npt.NDArray[np.int64], length: float, scores: Doubles, lengths: Lengths
) -> Doubles:
    """Return the scores of long pictures: none where film parts them, less where shorter ones that
    overlap would begin and end.
    """
    width, inset = round(length * signs.mm), round(LONG_ENDS_MM * signs.mm)
    gaps = signs.gaps_before
    parted = gaps[x + width - inset] - gaps[x + inset] > 0
    begin, finish = signs.ends_near
    ends = np.minimum(begin[x], finish[x + width])
    scores = np.where(parted | (ends < LEAST_LONG), -1.0, scores)
    left = np.flatnonzero(scores > 0)  # what lies inside takes from these only
    if not len(left):
        return scores
    step, x = signs.jump_near, x[left]
    inside = np.zeros(len(x))
    for low, high in lengths.usual:
        for short in np.arange(low, high + 0.01, 2 * STEP_MM):
            if short < length <= 2 * short:
                w = round(short * signs.mm)
                inside = np.maximum(inside, np.minimum(step[x + w], step[x + width - w]))
    scores[left] -= STEP_INSIDE * inside
    return scores


def meeting_inside(signs: Signs, slot: Slot, lengths: Lengths) -> float:
    """Return how plainly (share of rows) steps of tone run down a long picture in all the places
    where shorter ones, side by side in it, would begin and end.

    Where pictures touch, no film between them shows that they are several.
    """
    step, mm = signs.jump_near, signs.mm
    start, end = round(slot.left), min(round(slot.right), len(step) - 1)
    most = 0.0
    for low, high in lengths.usual:
        for short in np.arange(low, high + 0.01, STEP_MM):
            number = round((end - start) / (short * mm))
            if number < 2:
                continue
            gap = ((end - start) / mm - number * short) / (number - 1)
            if not -OVERLAP * short < gap < MEET_MM:
                continue
            pitch = (short + gap) * mm
            begins = [start + k * pitch for k in range(1, number)]
            places = [round(at - part) for at in begins for part in (0.0, gap * mm)]
            inside = [min(max(at, start), end) for at in places]
            most = max(most, float(step[inside].min()))
    return most


def _best_set(
    score: Doubles, x: npt.NDArray[np.int64], apart: tuple[int, ...]
) -> tuple[float, list[int]]:
    """Choose starts with the greatest sum of scores.

    score: of each of x, which are one px apart; apart: px from one to the next, and the least where
    they overlap by more, which costs.
    """
    places = np.flatnonzero(score > 0)
    if not len(places):
        return 0.0, []
    own = score[places]
    # How many of the places lie far enough before each: freely, and to be overlapped.
    free, near = (np.searchsorted(places, places - n, "right").tolist() for n in apart)
    ending: list[float] = []  # the best sum that ends with each
    before: list[int] = []
    upto = [(0.0, -1)]  # the best sum of the first so many, and its last place
    for k, value in enumerate(own.tolist()):
        best, last = upto[free[k]]
        for j in range(free[k], near[k]):
            if ending[j] - OVERLAP_COST > best:
                best, last = ending[j] - OVERLAP_COST, j
        ending.append(best + value)
        before.append(last)
        upto.append(max(upto[k], (ending[k], k), key=lambda pair: pair[0]))
    total, k = upto[-1]
    chosen = []
    while k >= 0:
        chosen.append(int(x[places[k]]))
        k = before[k]
    return total, chosen[::-1]


def _settle(slots: list[Slot], mm: float) -> None:
    """Give frames with a weak end the length that those seen well share: one camera, one gate."""
    good = [s.right - s.left for s in slots if min(s.seen_left, s.seen_right) > TELLS]
    if len(good) < 2:
        return
    w = float(np.median(good))
    for slot in slots:
        off = slot.right - slot.left - w
        if abs(off) < OFF_MM * mm or min(slot.seen_left, slot.seen_right) > STAYS:
            continue
        if slot.seen_left >= slot.seen_right:
            slot.right, slot.seen_right = slot.left + w, 0.0
        else:
            slot.left, slot.seen_left = slot.right - w, 0.0


def with_blanks(signs: Signs, slots: list[Slot], pitch: float | None) -> list[Slot]:
    """Return the frames with others, mostly blank, where the spacing leaves room for them.

    pitch: px from frame to frame, where no two of them tell it.
    """
    if not slots:
        return slots
    width = float(np.median([slot.right - slot.left for slot in slots]))
    starts = [slot.left for slot in slots]
    singles = [b - a for a, b in pairwise(starts) if b - a < 1.5 * width]
    if singles:
        pitch = float(np.median(singles))
    elif pitch is None:
        pitch = width + BETWEEN_MM * signs.mm
    made = [_expected(signs, at, width) for at in _free_places(signs, starts, width, pitch)]
    out = sorted([*slots, *(slot for slot in made if slot)], key=lambda slot: slot.left)
    for before, after in pairwise(out):
        if after.left < before.right - OVERLAPS_MM * signs.mm:
            before.overlap = after.overlap = True
    return out


def _free_places(signs: Signs, starts: list[float], width: float, pitch: float) -> list[float]:
    """Return where the spacing of frames leaves room for others, between them and beyond them."""
    places = []
    for before, after in pairwise(starts):
        number = round((after - before) / pitch) - 1
        places += [before + (after - before) * k / (number + 1) for k in range(1, number + 1)]
    slack = 0.3 * signs.mm
    for direction, start in ((-1, starts[0]), (1, starts[-1])):
        at = start + direction * pitch
        while at >= signs.ends[0] - slack and at + width <= signs.ends[1] + slack:
            places.append(at)
            at += direction * pitch
    return places


def _expected(signs: Signs, at: float, width: float) -> Slot | None:
    """Return the frame expected at `at`, moved to whatever edge shows near there; or None where
    there is none.
    """
    low, high = int(max(at, 0)), int(min(at + width, len(signs.filled)))
    if high - low < 4 or signs.fog[low:high].mean() > FOG_IN_BLANK:
        return None
    inside = float(signs.filled[low + 2 : high - 2].mean())
    if inside < FILLED and not signs.solid[low + 2 : high - 2].any():
        # Film is cut between frames: what is left over at its end is no blank frame.
        near = 0.5 * signs.mm
        if at < signs.ends[0] + near or at + width > signs.ends[1] - near:
            return None
        return Slot(at, at + width, 0.0, 0.0, inside, blank=True)
    reach = max(2, round(REACH_EXPECTED_MM * signs.mm))
    left, seen_left = peak(signs.begin, round(at), reach)
    right, seen_right = peak(signs.finish, round(at + width), reach)
    if max(seen_left, seen_right) < 0.06:
        return Slot(at, at + width, 0.0, 0.0, inside)
    if seen_left >= seen_right:
        return Slot(left, left + width, seen_left, 0.0, inside)
    return Slot(right - width, right, 0.0, seen_right, inside)


def box(a: npt.NDArray[np.generic], n: int) -> Doubles:
    """Return sums of n values about each."""
    return np.convolve(np.asarray(a, np.float64), np.ones(n), "same")


def local_max(a: Doubles, reach: int) -> Doubles:
    """Return the greatest of what lies within `reach` of each."""
    padded = np.pad(a, reach)
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1).max(1))


def peak(a: Doubles, at: int, reach: int) -> tuple[float, float]:
    """Return where `a` is greatest near a place (px), and how great; nearer ones count more."""
    reach = max(1, reach)
    low = max(0, at - reach)
    part = a[low : max(0, at + reach + 1)]
    if not len(part):  # a neighbour that the master cuts off: nothing of it is to be seen there
        return float(at), 0.0
    weight = part * (1 - 0.3 * np.abs(np.arange(low, low + len(part)) - at) / reach)
    k = int(weight.argmax())
    return float(low + k), float(part[k])
