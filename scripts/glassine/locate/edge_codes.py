"""Bar codes that film carries in its margin: read, and each reading put to the proof.

The code as published (US patent 4,965,628; encyclopedia article on DX numbers): two parallel tracks
of dark bars, the clock track towards the perforations, the data track along the edge of the film.
Data, a module a bit, 1 dark: 101010, product 7 bits, 0, generation 4 bits, on newer film frame 6
bits, half frame 1 bit, 0; parity (of all since the product), 0101. Clock: five dark modules, single
ones in turn, three dark ones. It comes again each half frame, its number grows as it is read.

A library finds and reads them. Its one parity bit lets wrong readings pass, and a code of the film
next to this one, or a clock track taken for data, passes too. So each reading is laid over the
picture again: every bit must show as the text says, and the data track must lie outwards of its
clock. Where one code is known, its neighbours are too, and are looked for by what they must be.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import zxingcpp

from glassine.locate.rebate import INNER_MM, PX_PER_MM, Band
from glassine.locate.shapes import Doubles
from glassine.locate.view import Floats

# Codes come again each half frame: four perforations (4 x 4.75 mm).
HALF_MM = 19.0
# Length of a module, mm: measured on a photograph of real film, 14.1 to 14.2 mm for 31 of them.
MODULE_MM = 0.456
# Modules of other lengths that are looked for, as shares of it.
_LONGER = (0.94, 0.96, 0.98, 1.0, 1.02, 1.04, 1.06)
# Film is evened out over this length, and smoothed over this height (mm).
_EVENED_MM, _SMOOTHED_MM = 8.0, 0.35
# Where a clock track shows at all: share of its period in what varies along the film, over so much
# of its height (mm). A clean one has 0.64 (2 / pi); numbers and noise of 14 drawn strips had 0.40.
_PERIODIC, _CLOCK_MM = 0.46, 0.5
# A track is that of a text from this correlation on; where its neighbour says what it must be, too.
_LIKE, _LIKE_CLOCK = 0.70, 0.55
# Of a bit's distance from the middle between dark and clear, in a reading, as a share of it.
_PLAIN_BIT = 0.15
# Data tracks lie so far outwards of their clocks (mm).
_APART_MM = (0.35, 1.7)
# Halves of frames that a code may count: up to 44A (common practice, no source: rolls have up to
# 36 numbered frames, and a few more at their end).
MOST_HALVES = 90

_FORMATS: Any = (zxingcpp.BarcodeFormat.DXFilmEdge,)
_TEXT = re.compile(r"([0-9]{1,3})-([0-9]{1,2})(?:/([0-9]{1,2})(A?))?")


@dataclass(frozen=True)
class Text:
    """What a code says. half: twice the frame's number, one more for a half frame (12A is 25);
    None on film without numbers."""

    product: int
    generation: int
    half: int | None

    @property
    def stock(self) -> str:
        """Return product and generation as they are written: the film's kind."""
        return f"{self.product}-{self.generation}"

    def __str__(self) -> str:
        return self.stock if self.half is None else f"{self.stock}/{written(self.half)}"


@dataclass(frozen=True)
class Code:
    """A code that was proved. side: of the film (see `rebate.Band`); at: its middle along the
    side's own axis, out: of both tracks across, mm; forward: whether it reads in the axis'
    direction; like: how much the picture is like the text, 0 to 1.
    """

    text: Text
    side: int
    at: float
    out: float
    forward: bool
    like: float


def written(half: int) -> str:
    """Return the number of a frame as film counts: 00, 00A, 0, 0A, 1, ...

    >>> [written(half) for half in (-2, 0, 1, 24, 25)]
    ['00', '0', '0A', '12', '12A']
    """
    number = "00" if half < 0 else str(half // 2)
    return f"{number}{'A' if half % 2 else ''}"


def parsed(text: str) -> Text | None:
    """Return what the library read, None where it is no code of film."""
    match = _TEXT.fullmatch(text)
    if match is None:
        return None
    half = None if match[3] is None else 2 * int(match[3]) + bool(match[4])
    return Text(int(match[1]), int(match[2]), half)


def data_bits(text: Text) -> str:
    """Return the data track of a code, 1 for a dark module."""
    body = f"{text.product:07b}0{text.generation:04b}"
    if text.half is not None:
        body += f"{text.half >> 1:06b}{text.half & 1}0"
    return f"101010{body}{body.count('1') & 1}0101"


def clock_bits(modules: int) -> str:
    """Return the clock track of a code of so many modules."""
    return "11111" + "01" * ((modules - 8) // 2) + "0" + "111"


# ------------------------------------------------------------------ a margin made plain


@dataclass(frozen=True)
class Plain:
    """A margin without what varies slowly along it; more is what exposure adds.

    evened: (rows, columns), smoothed across the film alone.
    """

    band: Band
    evened: Floats


def plain(band: Band, channel: int | None, sign: int) -> Plain:
    """Return a margin of one channel, or the mean of red and green. sign: 1 where exposed film is
    dark, -1 for reversal film, where it is clear."""
    density = band.density
    if channel is not None:
        one = density[..., min(channel, density.shape[2] - 1)]
    else:
        # Added channel by channel: numpy's mean over so short an axis takes ten times as long.
        both = density[..., 0], density[..., min(1, density.shape[2] - 1)]
        one = (both[0] + both[1]) / np.float32(2)
    one = np.asarray(one * np.float32(sign), np.float32)
    # What is clearer than bare film is the table, through holes and beyond the ends.
    ranked = np.sort(one[:, ::8], axis=1)
    low, high = (ranked[:, [round(share * (ranked.shape[1] - 1))]] for share in (0.30, 0.92))
    reach = np.maximum(high - low, 0.02)
    one = np.clip(one, low - 0.5 * reach, high + reach).astype(np.float32)
    tall = max(1, round(_SMOOTHED_MM * PX_PER_MM))
    smooth = cv2.blur(one, (1, tall), borderType=cv2.BORDER_REPLICATE)
    wide = round(_EVENED_MM * PX_PER_MM) | 1
    evened = smooth - cv2.blur(smooth, (wide, 1), borderType=cv2.BORDER_REPLICATE)
    return Plain(band, np.asarray(evened, np.float32))


def shows_clock(one: Plain) -> bool:
    """Return whether something varies along the margin as a clock track does. A cheap question:
    of most film the answer is no, and nothing more is asked."""
    high = round(_CLOCK_MM * PX_PER_MM)
    tops = np.arange(0, one.evened.shape[0] - high + 1, high // 2)
    means = cv2.blur(one.evened, (1, high))[tops + high // 2]
    window = round(21 * MODULE_MM * PX_PER_MM)
    if means.shape[1] <= window:
        return False
    square = cv2.blur(means * means, (window, 1), borderType=cv2.BORDER_REPLICATE)
    spread = np.sqrt(np.maximum(square, 1e-12))
    columns = np.arange(means.shape[1], dtype=np.float64)
    for longer in (0.965, 1.015):
        turn = 2 * np.pi * columns / (2 * MODULE_MM * longer * PX_PER_MM)
        parts = [
            cv2.blur(np.asarray(means * wave[None], np.float32), (window, 1))
            for wave in (np.cos(turn).astype(np.float32), np.sin(turn).astype(np.float32))
        ]
        share = np.sqrt(parts[0] ** 2 + parts[1] ** 2) / spread
        if bool((share > _PERIODIC).any()):
            return True
    return False


# ------------------------------------------------------------------ reading


def readings(one: Plain) -> list[Code]:
    """Return the codes that the library reads in a margin and that stand the proof."""
    found: list[Code] = []
    for grey in _shown(one.evened):
        for each in zxingcpp.read_barcodes(grey, formats=_FORMATS):
            text = parsed(each.text) if each.valid else None
            place = each.position
            first, last = place.top_left.x, place.top_right.x
            at = one.band.place((first + last) / 2)
            if text is None or any(text == c.text and abs(at - c.at) < 1 for c in found):
                continue
            proved = _proved(one, text, min(first, last), max(first, last), last > first)
            if proved is not None:
                found.append(proved)
    return _apart(found)


def _shown(evened: Floats) -> list[npt.NDArray[np.uint8]]:
    """Return the margin as the library sees it, dark bars on light: in greys, then in two."""
    spread = max(float(np.sqrt(np.mean(evened * evened))), 1e-4)
    grey = np.clip(128 - evened * np.float32(60 / spread), 0, 255).astype(np.uint8)
    soft = cv2.blur(evened, (3, 1), borderType=cv2.BORDER_REPLICATE)
    two = np.where(soft > 0, 0, 255).astype(np.uint8)
    return [grey, two]


def _apart(codes: list[Code]) -> list[Code]:
    """Return one of each code that was read several times, the likest."""
    kept: list[Code] = []
    for code in sorted(codes, key=lambda each: -each.like):
        if all(abs(code.at - other.at) > HALF_MM / 4 for other in kept):
            kept.append(code)
    return sorted(kept, key=lambda each: each.at)


def expected(one: Plain, text: Text, at: float, forward: bool) -> Code | None:
    """Return a code that must lie at a place (mm, own axis) if what was read beside it is right."""
    length = len(data_bits(text)) * MODULE_MM * PX_PER_MM
    middle = (at - one.band.start) * PX_PER_MM
    return _proved(one, text, middle - length / 2, middle + length / 2, forward, loose=True)


def _proved(
    one: Plain, text: Text, first: float, last: float, forward: bool, loose: bool = False
) -> Code | None:
    """Return a reading whose bits all show between two columns, its data outwards of its clock.

    loose: whether it is looked for by what must be there; then two bits of what is the same in all
    codes of a film may be spoilt, but none that sets it apart from its neighbours.
    """
    data = data_bits(text)
    modules = len(data)
    tracks = [data, clock_bits(modules)]
    if not forward:
        tracks = [bits[::-1] for bits in tracks]
    laid = _laid(one.evened, tracks, first, last, 0.8 if loose else 0.3)
    if laid is None:
        return None
    start, module, rows = laid
    values = _modules(one.evened, start, module, modules)
    per_row = [_correlation(values, bits) for bits in tracks]
    data_row, clock_row = rows
    apart = (data_row - clock_row) / PX_PER_MM
    if not _APART_MM[0] <= apart <= _APART_MM[1]:
        return None
    like, like_clock = float(per_row[0][data_row]), float(per_row[1][clock_row])
    if like < _LIKE or like_clock < _LIKE_CLOCK:
        return None
    spoilt = _spoilt_bits(values, tracks[0], data_row)
    own = _own_bits(modules, forward)
    if spoilt[own].any() or spoilt.sum() > (2 if loose else 0):
        return None
    middle = start + module * modules / 2
    out = INNER_MM + ((data_row + clock_row) / 2 + 0.5) / PX_PER_MM
    return Code(text, one.band.side, one.band.place(middle), out, forward, like)


def _laid(
    evened: Floats, tracks: list[str], first: float, last: float, reach_mm: float
) -> tuple[float, float, tuple[int, int]] | None:
    """Return where both tracks lie best: first column, columns a module, rows (data, clock)."""
    modules = len(tracks[0])
    length = modules * MODULE_MM * PX_PER_MM
    if not 0.88 < (last - first) / length < 1.12:
        return None
    middle = (first + last) / 2
    best: tuple[float, float, float, tuple[int, int]] | None = None
    steps = np.arange(-reach_mm, reach_mm + 0.01, 0.1) * PX_PER_MM
    thin = np.ascontiguousarray(evened[::2])
    for longer in _LONGER:
        module = MODULE_MM * PX_PER_MM * longer
        for step in steps:
            start = middle + float(step) - module * modules / 2
            if start < 0 or start + module * modules > evened.shape[1]:
                continue
            values = _modules(thin, start, module, modules)
            both = [_correlation(values, bits) for bits in tracks]
            rows = int(both[0].argmax()), int(both[1].argmax())
            score = float(both[0][rows[0]] + both[1][rows[1]])
            if best is None or score > best[0]:
                best = score, start, module, (2 * rows[0], 2 * rows[1])
    return None if best is None else best[1:]


def _modules(evened: Floats, start: float, module: float, count: int) -> Floats:
    """Return (rows, count): the mean of each module's inner part."""
    places = start + module * (np.arange(count)[:, None] + np.array([0.3, 0.5, 0.7])[None])
    columns = np.clip(np.rint(places - 0.5).astype(np.int64), 0, evened.shape[1] - 1)
    return np.asarray(evened[:, columns].mean(2), np.float32)


def _correlation(values: Floats, bits: str) -> Doubles:
    """Return of each row how much it is like the bits, -1 to 1."""
    wanted = np.array([int(bit) for bit in bits], np.float64)
    wanted -= wanted.mean()
    own = values - values.mean(1, keepdims=True, dtype=np.float64)
    scale = np.sqrt((own * own).sum(1) * (wanted * wanted).sum())
    return np.asarray((own * wanted[None]).sum(1) / np.maximum(scale, 1e-9), np.float64)


def _own_bits(modules: int, forward: bool) -> npt.NDArray[np.bool_]:
    """Return which modules of a data track set a code apart from its neighbours on the film: those
    of frame, half frame and parity; none where a code has no number."""
    own = np.zeros(modules, bool)
    if modules == 31:
        own[[*range(18, 25), 26]] = True
    return own if forward else own[::-1]


def _spoilt_bits(values: Floats, bits: str, row: int) -> npt.NDArray[np.bool_]:
    """Return of each bit whether it does not plainly show as it should, about a row."""
    reach = round(0.2 * PX_PER_MM)
    mean = values[max(0, row - reach) : row + reach + 1].mean(0, dtype=np.float64)
    dark = np.array([bit == "1" for bit in bits])
    high, low = float(np.median(mean[dark])), float(np.median(mean[~dark]))
    if high <= low:
        return np.ones(len(bits), bool)
    off = (mean - (high + low) / 2) / ((high - low) / 2)
    return np.asarray(np.where(dark, off, -off) < _PLAIN_BIT, bool)
