"""Writing on film, labels, mounts and sleeves: a suggestion with its place, never a value.

The margins of 35 mm film are read from straightened bands, all else from the whole master; pictures
themselves are left out. A line of writing alone does not tell how it stands: 6 turned is 9, "Box"
mirrored top to bottom reads "BOX". So each line is read in all ways, and those of one piece are
asked together; where they do not tell plainly, the record says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from glassine.base.model import Corners, Frame, MasterPiece, SeenText
from glassine.locate import rebate, text_reader
from glassine.locate.edge_numbers import Told
from glassine.locate.encoding import linear
from glassine.locate.judge import corners_of
from glassine.locate.rebate import INNER_MM, PX_PER_MM, Band, Piece
from glassine.locate.scene import Master
from glassine.locate.shapes import Doubles
from glassine.locate.text_reader import LINE_ROWS, Grey
from glassine.locate.view import Floats, View

# What is set here without a source was set on lines that `tests/benchmarks/run seen-text` draws.
# Lines count from this confidence on.
LEAST = 0.5
# How writing stands is told where the best way of reading has so many times the score of the next
# one, and so many characters more (a character that is read surely counts 1).
_PLAINLY, _MORE = 1.2, 1.0
# Characters of a line that count for how it stands.
_COUNTED = 10
# A line whose sides differ by less than this share may run along either of them.
_SQUARE = 2.0
# Ground about a line as it is read, as a share of its height.
_AROUND = 0.12
# A line that is longer than so many times its height is read no further.
_LONGEST = 30
# The margin of film as it is looked at (mm): from where its perforations end to beyond its edge; in
# parts so long, that overlap by so much; enlarged, as numbers 1 mm high are not seen otherwise.
_FROM_MM, _PART_MM, _OVERLAP_MM = 15.6, 60.0, 12.0
_ENLARGED = 1.5
# Half the length (mm) of a bar code, in which no writing is looked for.
_CODE_MM = 7.6
# Film is evened out over this length (mm).
_EVENED_MM = 12.0
# Lines of the reduced copy that are lower than this (px) are read from the master's own pixels.
_LOW_PX = 36.0
# The margin of 35 mm film, from its middle line (mm): what lies there is read from the bands.
_MARGIN_MM = (12.6, 18.2)

# How a line may stand: clockwise quarter turns (degrees) against its own piece, and mirrored.
Way = tuple[int, bool]


@dataclass(frozen=True)
class Reading:
    """One way to read a line. angle: of its baseline, degrees clockwise from the x axis."""

    way: Way
    angle: float
    text: str
    sure: float

    @property
    def score(self) -> float:
        """Return how much speaks for it, about a character's worth each."""
        return self.sure**2 * min(len(self.text), _COUNTED) if self.sure >= LEAST else 0.0


@dataclass(frozen=True)
class Line:
    """A line of writing. place: (4, 2) master px; readings: what it says in each way."""

    place: Doubles
    readings: tuple[Reading, ...]
    on: str


# ------------------------------------------------------------------ how lines stand


def way_of(lines: Sequence[Line]) -> Way | None:
    """Return how all lines of a piece stand, None where that is not plain."""
    scores: dict[Way, float] = {}
    for line in lines:
        for each in line.readings:
            scores[each.way] = scores.get(each.way, 0.0) + each.score
    ranked = sorted(scores.items(), key=lambda each: -each[1])
    if not ranked:
        return None
    second = ranked[1][1] if len(ranked) > 1 else 0.0
    (way, first), enough = ranked[0], max(_PLAINLY * second, second + _MORE)
    return way if first >= enough else None


def seen(lines: Sequence[Line], known: Way | None = None) -> list[SeenText]:
    """Return the texts of a piece's lines. known: how they stand, where something else tells it."""
    way = known or way_of(lines)
    found = []
    for line in lines:
        reading = _as_all(line, way) if way is not None else None
        own = way_of([line])
        if reading is None and own is not None and known is None:
            reading = next(each for each in line.readings if each.way == own)
        told = reading is not None
        if reading is None and line.readings:
            # Read as it comes nearest to upright; which of them is right nothing says.
            reading = max(line.readings, key=lambda each: (each.sure >= LEAST, -_off(each)))
        if reading is None or reading.sure < LEAST or not reading.text:
            continue
        angle = round(reading.angle) % 360
        found.append(
            SeenText(
                text=reading.text,
                place=corners_of(line.place),
                confidence=reading.sure,
                turned_degrees=angle if told else None,
                mirrored=reading.way[1] if told else None,
                on=line.on,
            )
        )
    return found


def _as_all(line: Line, way: Way) -> Reading | None:
    """Return what a line says as all of its piece stand, None where it says more otherwise."""
    reading = next((each for each in line.readings if each.way == way), None)
    if reading is None or reading.sure < LEAST:
        return None
    best = max(line.readings, key=lambda each: each.score)
    return None if best.score > 2 * reading.score + _MORE else reading


def _off(reading: Reading) -> float:
    return abs((reading.angle + 180) % 360 - 180) + 1000.0 * reading.way[1]


# ------------------------------------------------------------------ lines in a grey picture


def _cut(grey: Grey, box: Doubles) -> Grey:
    """Return a line of `grey`, its first corner top left, LINE_ROWS high."""
    across, down = box[1] - box[0], box[3] - box[0]
    long, high = float(np.hypot(*across)), float(np.hypot(*down))
    around = _AROUND * high
    columns = round(LINE_ROWS * min((long + 2 * around) / max(high + 2 * around, 1), _LONGEST))
    a, d = across / max(long, 1e-6), down / max(high, 1e-6)
    corner = box[0] - around * (a + d)
    step = (high + 2 * around) / LINE_ROWS
    matrix = np.c_[a * step, d * step, corner]
    half = np.array([0.5, 0.5])
    matrix[:, 2] += matrix[:, :2] @ half - half
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = max(columns, 8), LINE_ROWS
    made = cv2.warpAffine(grey, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(made, np.uint8)


def _ways(box: Doubles, along_only: bool) -> list[tuple[int, bool, Doubles]]:
    """Return the ways in which a line in a box may stand: quarter turns of the box' first side,
    whether mirrored, the box with its first corner where the line begins."""
    long, high = np.hypot(*(box[1] - box[0])), np.hypot(*(box[3] - box[0]))
    turns = [0, 2]
    if not along_only and high > long:
        turns = [1, 3]
    if not along_only and max(long, high) < _SQUARE * min(long, high):
        turns = [0, 1, 2, 3]
    return [
        (90 * turn, mirrored, np.roll(box, -turn, axis=0))
        for turn in turns
        for mirrored in (False, True)
    ]


@dataclass(frozen=True)
class _Box:
    """A line that is to be read. box: (4, 2) px of grey; place: the same, master px; base: angle of
    the piece on which it stands, degrees; along_only: whether it runs along the box' first side."""

    grey: Grey
    box: Doubles
    place: Doubles
    base: float
    on: str
    along_only: bool = False


def _lines(boxes: Sequence[_Box]) -> list[Line]:
    """Read lines, each in all ways."""
    asked: list[tuple[int, Way, float]] = []
    crops: list[Grey] = []
    for k, one in enumerate(boxes):
        for turn, mirrored, box in _ways(one.box, one.along_only):
            crop = _cut(one.grey, box)
            crops.append(np.ascontiguousarray(crop[:, ::-1]) if mirrored else crop)
            side = np.roll(one.place, -(turn // 90), axis=0)
            across = side[1] - side[0]
            angle = float(np.degrees(np.arctan2(across[1], across[0])))
            quarter = round((angle - one.base) / 90) * 90 % 360
            asked.append((k, (quarter, mirrored), angle))
    found: list[list[Reading]] = [[] for _ in boxes]
    for (k, way, angle), (text, sure) in zip(asked, text_reader.read(crops), strict=True):
        found[k].append(Reading(way, angle, text, sure))
    return [Line(one.place, tuple(each), one.on) for one, each in zip(boxes, found, strict=True)]


# ------------------------------------------------------------------ margins of 35 mm film


@dataclass(frozen=True)
class Margins:
    """What is written in the margins of a piece. way: how it stands on the piece, as quarter turns
    against `Piece.along`; None where that is not told."""

    piece: Piece
    texts: tuple[SeenText, ...]
    way: Way | None


def of_margins(
    master: Master, view: View, piece: Piece, told: Told | None, reversal: bool
) -> Margins:
    """Read what is written in the margins of a piece. told: what its codes say, where it has some;
    reversal: whether its pictures are positives, whose writing is clear."""
    boxes: list[_Box] = []
    for side in (1, -1):
        if view.reduction > 1:
            band = rebate.fine(master, view.white, piece, side)
        else:
            band = rebate.rough(view, piece, side)
        grey = _shown(band, -1 if reversal else 1)
        boxes += _on_band(grey, band, piece, told)
    lines = _lines(boxes)
    known = way_by_codes(told)
    return Margins(piece, tuple(seen(lines, known)), known or way_of(lines))


def way_by_codes(told: Told | None) -> Way | None:
    """Return how writing stands by the codes beside it: they lie at the lower edge of upright film
    (common practice, no source)."""
    if told is None or told.forward is None:
        return None
    return (0 if told.side == 1 else 180, not told.forward)


def _shown(band: Band, sign: int) -> Grey:
    """Return a margin with dark writing on light, from where the perforations end."""
    first = round((_FROM_MM - INNER_MM) * PX_PER_MM)
    density = np.asarray(band.density[first:, :, :2].mean(2) * np.float32(sign), np.float32)
    ranked = np.sort(density[:, ::8], axis=1)
    low, high = (ranked[:, [round(share * (ranked.shape[1] - 1))]] for share in (0.30, 0.95))
    reach = np.maximum(high - low, 0.04)
    one = np.clip(density, low - 0.5 * reach, high + 1.5 * reach).astype(np.float32)
    wide = round(_EVENED_MM * PX_PER_MM) | 1
    evened = one - cv2.blur(one, (wide, 1), borderType=cv2.BORDER_REPLICATE)
    soft = cv2.GaussianBlur(evened, (0, 0), 0.8)
    most = max(float(np.quantile(soft[::2, ::4], 0.985)), 0.04)
    return np.asarray(np.clip(205 - soft * np.float32(165 / most), 0, 255), np.uint8)


def _on_band(grey: Grey, band: Band, piece: Piece, told: Told | None) -> list[_Box]:
    """Return the lines on a margin but for what are its bar codes."""
    codes = [] if told is None else [*told.counted, *told.others]
    bars = [code.at for code in codes if code.side == band.side]
    along = float(np.degrees(np.arctan2(piece.along[1], piece.along[0])))
    found = []
    for box in _boxes_of_band(grey):
        low, high = band.place(box[:, 0].min()), band.place(box[:, 0].max())
        if any(low < at + _CODE_MM and high > at - _CODE_MM for at in bars):
            continue
        out = _FROM_MM + box[:, 1] / PX_PER_MM
        place = np.array(
            [
                piece.point(band.side, band.place(float(x)), float(v))
                for x, v in zip(box[:, 0], out, strict=True)
            ]
        )
        found.append(_Box(grey, box, place, along, "margin", along_only=True))
    return found


def _boxes_of_band(grey: Grey) -> list[Doubles]:
    """Return level boxes of what is written along a margin, which is looked at in parts that lie
    below one another: the network takes no picture that is as long and low as a margin."""
    rows, columns = grey.shape
    part, over = round(_PART_MM * PX_PER_MM), round(_OVERLAP_MM * PX_PER_MM)
    starts = list(range(0, max(columns - over, 1), part - over))
    wide, gap = min(part, columns), rows // 3
    page = np.full((len(starts) * (rows + gap) + gap, wide), 205, np.uint8)
    for k, start in enumerate(starts):
        cut = grey[:, start : start + wide]
        page[gap + k * (rows + gap) :][:rows, : cut.shape[1]] = cut
    found: list[Doubles] = []
    large = cv2.resize(page, None, fx=_ENLARGED, fy=_ENLARGED, interpolation=cv2.INTER_CUBIC)
    for box in text_reader.lines(np.asarray(large, np.uint8)):
        (left, top), (right, bottom) = box.min(0) / _ENLARGED, box.max(0) / _ENLARGED
        k = min(int(max((top + bottom) / 2 - gap / 2, 0) // (rows + gap)), len(starts) - 1)
        above = gap + k * (rows + gap)
        first, last = starts[k] + left, starts[k] + right
        # What both of two parts show is taken once: where it is whole, or longer.
        level = (max(top - above, 0.0), min(bottom - above, float(rows)))
        found.append(_level(first, last, *level))
    return _once([box for box in found if box[2, 1] - box[0, 1] > 8])


def _level(left: float, right: float, top: float, bottom: float) -> Doubles:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float64)


def _once(boxes: list[Doubles]) -> list[Doubles]:
    kept: list[Doubles] = []
    for box in sorted(boxes, key=lambda each: each[0, 0] - each[1, 0]):
        middle = box.mean(0)
        if not any((other[0] <= middle).all() and (middle <= other[2]).all() for other in kept):
            kept.append(box)
    return sorted(kept, key=lambda each: float(each[0, 0]))


# ------------------------------------------------------------------ the whole master


def of_master(
    master: Master,
    view: View,
    frames: Sequence[Frame],
    pieces: Sequence[MasterPiece],
    margins: Sequence[Piece],
) -> list[SeenText]:
    """Read what is written beside the pictures of a master. frames: those whose inside is left out;
    margins: pieces of 35 mm film, whose margins are read by themselves."""
    light = view.light[..., :2].mean(2)
    grey = np.clip(255 * np.sqrt(np.clip(light, 0, 1)), 0, 255).astype(np.uint8)
    by_piece: dict[int, list[_Box]] = {}
    for box in text_reader.lines(grey):
        place = box * view.reduction
        middle = place.mean(0)
        if any(_inside(frame.corners, middle) for frame in frames):
            continue
        if any(_in_margin(piece, middle) for piece in margins):
            continue
        number = next((k for k, one in enumerate(pieces) if _inside(one.corners, middle)), -1)
        on = pieces[number].taken_for if number >= 0 else "table"
        by_piece.setdefault(number, []).append(_sharp(master, view, grey, box, on))
    return [text for _, boxes in sorted(by_piece.items()) for text in seen(_lines(boxes))]


def _inside(corners: Corners, point: Doubles) -> bool:
    quad = np.array(corners, np.float32)
    return bool(cv2.pointPolygonTest(quad, (float(point[0]), float(point[1])), False) >= 0)


def _in_margin(piece: Piece, point: Doubles) -> bool:
    across = np.array([-piece.along[1], piece.along[0]])
    along_mm = float((point - piece.middle) @ piece.along) / piece.mm
    out_mm = abs(float((point - piece.middle) @ across)) / piece.mm
    return piece.low <= along_mm <= piece.high and _MARGIN_MM[0] < out_mm < _MARGIN_MM[1]


def _sharp(master: Master, view: View, grey: Grey, box: Doubles, on: str) -> _Box:
    """Return a line as it is to be read: from the master's own pixels where the copy is coarse."""
    place = box * view.reduction
    low = min(np.hypot(*(box[1] - box[0])), np.hypot(*(box[3] - box[0])))
    if view.reduction <= 1 or low >= _LOW_PX:
        return _Box(grey, box, place, 0.0, on)
    around = _AROUND * low * view.reduction + 2
    first = np.clip(np.floor(place.min(0) - around), 0, (master.width - 1, master.height - 1))
    last = np.clip(np.ceil(place.max(0) + around), first + 1, (master.width, master.height))
    left, top, right, bottom = (int(each) for each in (*first, *last))
    pixels = master.region(left, top, right - left, bottom - top)
    by = max(1.0, low * view.reduction / LINE_ROWS)
    size = max(1, round((right - left) / by)), max(1, round((bottom - top) / by))
    used = cv2.resize(np.ascontiguousarray(pixels), size, interpolation=cv2.INTER_AREA)
    light: Floats = linear(np.asarray(used).reshape(size[1], size[0], -1), master.table)
    shown = np.clip(light[..., :2].mean(2) / np.float32(view.white), 0, 1)
    sharp = np.clip(255 * np.sqrt(shown), 0, 255).astype(np.uint8)
    return _Box(sharp, (place - (left, top)) * (np.array(size) / (right - left, bottom - top)),
                place, 0.0, on)  # fmt: skip
