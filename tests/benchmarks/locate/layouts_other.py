"""Layouts as they lie on real tables: sleeves, carriers, several pieces, damage, odd formats.

`make(kind, seed)` draws one of `KINDS` with exact truth. Written apart from the finder and from
the other makers. A frame of the truth has corners, polarity, process (None: either is right) and
blank, and further

    also      other outlines that a careful archivist might as well cut (a print with its border)
    optional  no loss where it is not found, right where it is: cut off by the master's edge,
              half fogged, unexposed

`tag_ppi` is the resolution that the file states, `ppi` the right one. Large pieces (sleeves,
several prints) have less than 600 ppi, as no camera has the pixels for more.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from typing import Any

import cv2
import numpy as np

from benchmarks.locate import table_pictures as pictures
from benchmarks.locate.table_camera import (
    Box,
    Content,
    Place,
    beyond,
    ellipse,
    ragged,
    rectangle,
    without,
)
from benchmarks.locate.table_pieces import ROLLS, Roll, Stock, Studio, as_shown, lit

PRINT_COLOUR = Stock("positive", "colour", (0, 0, 0), 1.0)
PRINT_GREY = Stock("positive", "monochrome", (0, 0, 0), 1.0)
# ITU-R BT.2020 from BT.709 primaries (ITU-R BT.2087, table 2); ROMM RGB (ISO 22028-2) from sRGB,
# adapted to D50: value from memory.
WIDE = {
    "gamma-2.2": np.array(
        [[0.6274, 0.3293, 0.0433], [0.0691, 0.9195, 0.0114], [0.0164, 0.0880, 0.8956]]
    ),
    "gamma-1.8": np.array(
        [[0.5293, 0.3301, 0.1406], [0.0983, 0.8735, 0.0283], [0.0169, 0.1177, 0.8654]]
    ),
}


def bands_for(s: Studio, *stocks: Stock) -> int:
    """Return 1 for some masters of black-and-white film: captured in grey."""
    grey = all(stock.process == "monochrome" for stock in stocks)
    return 1 if grey and s.chance(0.25) else 3


def grown(box: Box, left: float, top: float, right: float, bottom: float) -> Box:
    """Return the box with each side moved outwards."""
    return (box[0] - left, box[1] - top, box[2] + right, box[3] + bottom)


def unsure(stock: Stock) -> Stock:
    """Return it for pictures that may show no colour: a positive's process is left open."""
    return replace(stock, process=None) if stock.polarity == "positive" else stock


def set_exposure(s: Studio, stock: Stock) -> None:
    """Expose for the film at times, so that the bare lamp is clipped."""
    if s.chance(0.5) and stock.polarity == "negative" and not s.calm:
        clear = float(stock.clear(s.table.bands).max())
        s.camera.exposure = s.u(0.6, 0.95) / clear


# Several strips


def sleeve_page(s: Studio, roll: Roll, rows: int, count: int) -> str:
    """Lay strips in the pockets of a clear sleeve with seams, holes and writing."""
    stock = s.negative()
    pocket = roll.width + s.u(2, 6)
    length = count * ((roll.along[0] + roll.along[1]) / 2 + sum(roll.gap) / 2) + s.u(8, 20)
    binding = s.u(0, 25)
    head = s.u(0, 22)
    width, height = length + binding + s.u(6, 30), head + rows * pocket + s.u(6, 20)
    s.lay_table(width, height, bands=bands_for(s, stock), lowest=300)
    set_exposure(s, stock)
    left, top = (width - length - binding) / 2 + binding, (height - head - rows * pocket) / 2 + head
    page = Place()
    clear = s.u(0.8, 0.95)
    sheet: Box = (left - binding, top - head, left + length, top + rows * pocket)
    s.table.through(page, rectangle(sheet, 1.0), clear, 0.0 if s.calm else 0.004)
    for row in range(rows):
        # The last pocket is not always full, and some are empty.
        number = count if s.chance(0.7) else s.n(0, count)
        y = top + (row + 0.5) * pocket + s.rng.normal(0, 0.5)
        if number:
            x = left + s.u(0.5, 6)
            lead = s.u(0.8, 3)
            turn = float(np.clip(s.rng.normal(0, 0.25), -0.6, 0.6))
            s.strip(
                Place(x, y, turn), roll, stock, number, lead=lead, tail=s.u(0.8, 3), unexposed=0.04
            )
    seam = s.u(0.5, 2.0)
    dim = s.u(0.55, 0.9)
    for row in range(rows + 1):
        y = top + row * pocket
        s.table.through(
            page, rectangle((sheet[0], y - seam / 2, sheet[2], y + seam / 2)), dim, 0.03
        )
    s.table.through(page, rectangle((left - seam, sheet[1], left, sheet[3])), dim, 0.03)
    if binding > 10:
        for y in np.linspace(sheet[1] + 10, sheet[3] - 10, s.n(2, 4)):
            hole = ellipse((left - binding / 2 - 3, y - 3, left - binding / 2 + 3, y + 3))
            s.table.through(page, hole, 1 / clear)
    if not s.calm:
        _write_on_sleeve(s, page, sheet, head)
        _folds(s, page, sheet)
    return {"66": "strip_120", "645": "strip_120"}.get(roll.name, "strip_135")


def _write_on_sleeve(s: Studio, page: Place, sheet: Box, head: float) -> None:
    if head > 8:
        s.ink(page, (sheet[0] + s.u(5, 60), sheet[1] + s.u(1, head - 7)), s.u(4, 7))
    for _ in range(s.n(0, 4)):
        s.ink(page, (s.u(sheet[0], sheet[2] - 40), s.u(sheet[1], sheet[3] - 8)), s.u(2, 5))


def _folds(s: Studio, page: Place, sheet: Box) -> None:
    """Crease the sleeve: thin lines, lighter or darker."""
    for _ in range(s.n(0, 6)):
        x, y = s.u(sheet[0], sheet[2]), s.u(sheet[1], sheet[3])
        at = Place(x, y, s.u(0, 180))
        s.table.through(at, rectangle((0, 0, s.u(5, 60), s.u(0.05, 0.3))), s.u(0.8, 1.15))


def sleeve_135(s: Studio) -> str:
    return sleeve_page(s, ROLLS["135"], s.n(3, 5), s.n(4, 6))


def sleeve_120(s: Studio) -> str:
    return sleeve_page(s, ROLLS[s.one_of(["66", "645"])], s.n(2, 3), 3)


def strips_on_table(s: Studio) -> str:
    """Lay two to four strips on the lamp, of one or several films."""
    roll = ROLLS[s.one_of(["135", "135", "135", "66"])]
    stocks = [s.film() for _ in range(s.n(1, 2))]
    number, count = s.n(2, 4), s.n(3, 6) if roll.name == "135" else 3
    gap = s.u(1.5, 12)
    length = count * (roll.along[1] + roll.gap[1]) + 24
    s.lay_table(
        length + s.u(8, 30),
        number * (roll.width + gap) + s.u(6, 20),
        bands=bands_for(s, *stocks),
        lowest=300,
    )
    set_exposure(s, stocks[0])
    for k in range(number):
        y = s.table.height / 2 + (k - (number - 1) / 2) * (roll.width + gap) + s.rng.normal(0, 0.3)
        turn = float(np.clip(s.rng.normal(0, 0.3), -0.8, 0.8)) * min(1, gap / 4)
        fewer = count if s.chance(0.7) else s.n(1, count)
        s.strip(
            Place(4 + s.u(0, 8), y, turn),
            roll,
            s.one_of(stocks),
            fewer,
            lead=s.u(0.8, 6),
            tail=s.u(0.8, 6),
        )
    return "strip_135" if roll.name == "135" else "strip_120"


def neighbour_cut_off(s: Studio) -> str:
    """A strip in whole, and beside it one or two that the master's edge cuts off."""
    roll = ROLLS[s.one_of(["135", "135", "half", "66"])]
    stock = s.film()
    count = s.n(2, 6) if roll.width < 40 else s.n(1, 3)
    length = count * (roll.along[1] + roll.gap[1]) + 20
    gap = s.u(1, 8)
    seen = roll.width * s.u(0.15, 0.8)
    s.lay_table(
        length + s.u(4, 16), roll.width + gap + seen + s.u(4, 10), bands=bands_for(s, stock)
    )
    set_exposure(s, stock)
    upper = s.chance(0.5)
    away = roll.width + gap
    y = s.table.height - roll.width / 2 - s.u(2, 6) if upper else roll.width / 2 + s.u(2, 6)
    s.strip(Place(3 + s.u(0, 4), y), roll, stock, count, lead=s.u(1, 6), tail=s.u(1, 6))
    other = y - away if upper else y + away
    s.strip(Place(s.u(-30, 4), other, s.rng.normal(0, 0.2)), roll, stock, count, optional=True)
    return "strip_135" if roll.width < 40 else "strip_120"


# One strip


def one_strip(
    s: Studio, roll: Roll, count: int, stock: Stock | None = None, bow: float = 0.0, masked: float = 0.2,
    **more: Any,
) -> tuple[list[Box], Place]:  # fmt: skip
    """Lay one strip on the lamp or behind a mask, along the master's length or, at times, upright.

    bow: how far its edges stray from straight, in mm over its length.
    """
    stock = stock or s.film()
    length = count * (roll.along[1] + max(roll.gap[1], more.get("gaps", (0, 0))[1])) + 26
    around = s.u(2, 14)
    width, height = length + 2 * around, roll.width + 2 * s.u(2, 14)
    upright = s.chance(0.15)
    s.lay_table(*((height, width) if upright else (width, height)), bands=bands_for(s, stock))
    set_exposure(s, stock)
    centre = (s.table.width / 2, s.table.height / 2)
    back = length / 2 - 2
    bend = 0.0 if s.calm else 4 * bow / length**2
    level = -float(np.degrees(np.arctan(bend * length)))  # its ends lie level
    place = (
        Place(centre[0], centre[1] - back, 90 + level, bend)
        if upright
        else Place(centre[0] - back, centre[1], level, bend)
    )
    boxes, end = s.strip(place, roll, stock, count, **more)
    if s.chance(masked) and not bow:
        over = s.u(0.5, 3)
        s.mask(
            place,
            (-over - 1, -roll.width / 2 - over, end + over + 1, roll.width / 2 + over),
            s.u(0, 2),
        )
    return boxes, place


def cartridge_126(s: Studio) -> str:
    one_strip(s, ROLLS["126"], s.n(2, 4))
    return "auto"


def cartridge_110(s: Studio) -> str:
    one_strip(s, ROLLS["110"], s.n(2, 5))
    return "auto"


def panorama_135(s: Studio) -> str:
    one_strip(s, ROLLS["pan135"], s.n(1, 3))
    return "strip_135"


def panorama_120(s: Studio) -> str:
    name = s.one_of(["612", "617"])
    one_strip(s, ROLLS[name], 1 if name == "617" else s.n(1, 2))
    return "strip_120"


def half_frames(s: Studio) -> str:
    one_strip(s, ROLLS["half"], s.n(4, 8))
    return "strip_135"


def roll_120(s: Studio) -> str:
    name = s.one_of(["645", "66", "67", "69"])
    one_strip(s, ROLLS[name], s.n(2, 4) if name == "645" else s.n(1, 3))
    return "strip_120"


def dense_66(s: Studio) -> str:
    """Neighbours with hardly any gap."""
    one_strip(s, ROLLS["66"], s.n(2, 4), gaps=(0.15, 1.2))
    return "strip_120"


def fogged_leader(s: Studio) -> str:
    """The film's beginning saw daylight: dark in a negative, clear in a reversal film."""
    roll = ROLLS["135"]
    stock = s.film()
    count = s.n(3, 5)
    boxes = s.spaced(roll, count, s.u(14, 30), roll.gap)
    fog_end = boxes[0][0] - s.u(1, 8) if s.chance(0.5) else boxes[0][0] + s.u(6, 24)
    s.lay_table(boxes[-1][2] + s.u(10, 30), roll.width + s.u(6, 24), bands=bands_for(s, stock))
    set_exposure(s, stock)
    place = Place(s.u(3, 5), s.table.height / 2)
    s.strip(place, roll, stock, count, boxes=boxes, note=False)
    bright = np.full((8, 8, 3), 1.0, np.float32)
    fog = stock.developed(bright, s.table.bands)[0, 0] * np.float32(
        0.5 if stock.polarity == "negative" else 1
    )
    fogged: Box = (0.4, -roll.width / 2, fog_end, roll.width / 2)
    s.table.through(place, rectangle(fogged), fog, s.grain(), s.u(0.2, 6))
    for box in boxes:
        hurt = box[0] < fog_end + 3
        s.frame(
            place, box, unsure(stock), optional=hurt, also=[(fog_end, *box[1:])] if hurt else ()
        )
    return "strip_135"


def reversal_print(s: Studio) -> str:
    """Reversal film: its dark rebate carries bright numbers and words."""
    name = s.one_of(["135", "135", "66", "67"])
    one_strip(s, ROLLS[name], s.n(2, 6) if name == "135" else s.n(1, 3), s.reversal())
    return "strip_135" if name == "135" else "strip_120"


def overlapping_first(s: Studio) -> str:
    """The first two exposures overlap: either in whole, or cut at the other, is right."""
    roll = ROLLS[s.one_of(["135", "66", "645"])]
    stock = s.negative()
    count = s.n(3, 5) if roll.name == "135" else 3
    boxes = s.spaced(roll, count, s.u(2, 10), roll.gap)
    moved = boxes[1][0] - boxes[0][2] + s.u(0.06, 0.25) * (boxes[0][2] - boxes[0][0])
    boxes = [boxes[0], *((b[0] - moved, b[1], b[2] - moved, b[3]) for b in boxes[1:])]
    s.lay_table(boxes[-1][2] + s.u(10, 30), roll.width + s.u(6, 24), bands=bands_for(s, stock))
    set_exposure(s, stock)
    place = Place(s.u(2, 4), s.table.height / 2)
    s.strip(place, roll, stock, count, boxes=boxes, note=False)
    first, second = boxes[:2]
    middle = (second[0] + first[2]) / 2
    firsts = [(*first[:2], x, first[3]) for x in (second[0], middle)]
    seconds = [(x, *second[1:]) for x in (first[2], middle)]
    for box, also in zip(boxes, [firsts, seconds, *([] for _ in boxes[2:])], strict=True):
        s.frame(place, box, stock, also=also)
    return "strip_135" if roll.name == "135" else "strip_120"


def curled_film(s: Studio) -> str:
    """Film that will not lie flat: its edges bow, up to a millimetre and a half over the strip."""
    roll = ROLLS[s.one_of(["135", "135", "66", "half"])]
    count = {"135": s.n(2, 5), "66": s.n(2, 3), "half": s.n(3, 8)}[roll.name]
    length = count * (roll.along[1] + roll.gap[1])
    bow = s.u(0.3, 1.5) * s.one_of([-1, 1])
    _, place = one_strip(s, roll, count, bow=bow, masked=0.0)
    shade = 1 - s.u(0, 0.15) * np.sin(np.linspace(0, np.pi * s.u(0.5, 3), 64)) ** 2
    along: Box = (0, -roll.width, length + 26, roll.width)
    content = np.repeat(shade[None, :, None].astype(np.float32), s.table.bands, axis=2)
    s.table.through(place, rectangle(along), Content(np.repeat(content, 8, axis=0), along), 0, 20)
    return "strip_120" if roll.name == "66" else "strip_135"


def ink_on_rebate(s: Studio) -> str:
    """Notes in ink on the rebate, which at times run into a picture."""
    roll = ROLLS[s.one_of(["66", "67", "645", "135"])]
    count = s.n(3, 5) if roll.name == "135" else s.n(2, 3)
    boxes, place = one_strip(s, roll, count, s.negative())
    for box in boxes:
        if s.chance(0.7) and not s.calm:
            height = s.u(1.2, 3) if roll.name != "135" else s.u(1, 2.2)
            edge = box[1] - height if s.chance(0.5) else box[3]
            s.ink(place, (s.u(box[0], box[2] - 8), edge + s.rng.normal(0, 0.5)), height)
    return "strip_135" if roll.name == "135" else "strip_120"


def portraits(s: Studio) -> str:
    """A strip of portraits before one plain wall, dark or light."""
    s.mood = s.one_of(["dark portrait", "plain portrait"])
    name = s.one_of(["135", "135", "66", "645"])
    one_strip(s, ROLLS[name], s.n(2, 6) if name == "135" else s.n(2, 3))
    return "strip_135" if name == "135" else "strip_120"


def single_135(s: Studio) -> str:
    """One 35 mm frame with its perforations in view; its neighbours' edges may be seen."""
    roll, stock = ROLLS["135"], s.film()
    side = s.u(0.5, 6)
    s.lay_table(36 + 2 * side + 4, roll.width + s.u(0, 8), bands=bands_for(s, stock))
    set_exposure(s, stock)
    boxes = s.spaced(roll, 3, 0, roll.gap)
    middle = (boxes[1][0] + boxes[1][2]) / 2
    place = Place(s.table.width / 2 - middle, s.table.height / 2)
    s.strip(place, roll, stock, 3, boxes=boxes, tail=2, note=False)
    for k, box in enumerate(boxes):
        s.frame(place, box, unsure(stock), optional=k != 1)
    if s.chance(0.4):
        opening = (
            boxes[1][0] - s.u(0.6, 1.4),
            -roll.width / 2 - 1,
            boxes[1][2] + s.u(0.6, 1.4),
            roll.width / 2 + 1,
        )
        s.mask(place, opening)
        s.frames = [frame for frame in s.frames if not frame["optional"]]
    return "frame_135"


# Openings


def small_aperture(s: Studio) -> str:
    """A mask with one or a few small openings over a strip of orange negatives."""
    stock = s.negative(colour=s.chance(0.8))
    roll = ROLLS[s.one_of(["135", "135", "66", "110"])]
    count = s.n(1, 3)
    boxes = s.spaced(roll, count, 4, roll.gap)
    wide = (boxes[-1][2] + 4) * s.u(1.2, 2.2)
    s.lay_table(wide, max(roll.width * s.u(1.1, 2.0), wide * 0.5), bands=3)
    set_exposure(s, stock)
    place = Place((s.table.width - boxes[-1][2] - 4) / 2, s.table.height / 2, s.rng.normal(0, 0.2))
    s.strip(place, roll, stock, count, boxes=boxes, tail=4, note=False)
    least = min([b[0] - a[2] for a, b in pairwise(boxes)], default=4.0)
    most = min(0.42 * least, 0.75)
    over = s.u(0.12, max(most, 0.13)) if s.chance(0.6) else -s.u(0.3, 1.2)
    radius = s.u(0, 1.5)
    holes = [(b[0] - over, b[1] - over, b[2] + over, b[3] + over) for b in boxes]
    far = 2 * s.table.width
    shape = rectangle((-far, -far, far, far))
    for hole in holes:
        shape = without(shape, rectangle(hole, 0 if s.calm else radius))
    s.table.over(place, shape, s.u(0.0005, 0.006))
    for box, hole in zip(boxes, holes, strict=True):
        if over < 0:
            s.frame(place, hole, stock)
        else:
            s.frame(place, box, stock, also=[hole] if over < 0.4 else ())
    return "auto"


def sheet_in_carrier(s: Studio) -> str:
    """A 4 x 5 in sheet upright in a black carrier, its rebate seen or covered."""
    stock = s.film()
    width, height = 101.6 - 1.5 + s.u(-0.3, 0.3), 127.0 - 1.5 + s.u(-0.3, 0.3)
    edge = s.u(2.5, 5)
    picture: Box = (-width / 2 + edge, -height / 2 + edge, width / 2 - edge, height / 2 - edge)
    s.lay_table(width + s.u(6, 40), height + s.u(6, 40), bands=bands_for(s, stock))
    set_exposure(s, stock)
    place = Place(s.table.width / 2, s.table.height / 2, s.rng.normal(0, 0.4))
    s.table.through(
        place,
        rectangle((-width / 2, -height / 2, width / 2, height / 2)),
        stock.clear(s.table.bands),
        s.grain(),
    )
    shown = s.exposed(place, picture, stock)
    _notches(s, place, stock, width, height)
    over = s.one_of([-1, 0, 1])
    if over < 0:  # the carrier covers the picture's edge
        reach = s.u(0.5, 3)
        opening = grown(picture, *[-reach] * 4)
    elif over == 0:  # it covers the sheet's edge
        reach = s.u(0.8, edge - 1.2)
        opening = (-width / 2 + reach, -height / 2 + reach, width / 2 - reach, height / 2 - reach)
    else:  # light comes round the sheet
        reach = s.u(0.5, 4)
        opening = (-width / 2 - reach, -height / 2 - reach, width / 2 + reach, height / 2 + reach)
    s.mask(place, opening, 0 if s.calm else s.u(0, 2), s.u(0.0005, 0.006))
    s.frame(place, opening if over < 0 else picture, shown)
    return "sheet"


def _notches(s: Studio, place: Place, stock: Stock, width: float, height: float) -> None:
    """Cut the code notches into the short side near a corner."""
    clear = stock.clear(s.table.bands)
    for k in range(s.n(1, 3)):
        x = width / 2 - 6 - 4 * k
        notch = ellipse((x - 1, -height / 2 - 1.2, x + 1, -height / 2 + 1.2))
        inner = beyond(notch, (0, -height / 2), 90)
        s.table.through(place, inner, 1 / clear)


def a_sheet(
    s: Studio, width: float, height: float, stock: Stock, room: float
) -> tuple[Place, Box, Box, Stock]:
    """Lay a sheet with its picture on a table with `room` mm around it; the stock as it shows."""
    s.lay_table(width + 2 * room, height + 2 * room, bands=bands_for(s, stock))
    set_exposure(s, stock)
    place = Place(s.table.width / 2, s.table.height / 2)
    edge = s.u(2, 5)
    sheet: Box = (-width / 2, -height / 2, width / 2, height / 2)
    picture: Box = (sheet[0] + edge, sheet[1] + edge, sheet[2] - edge, sheet[3] - edge)
    s.table.through(place, rectangle(sheet, s.u(0, 0.8)), stock.clear(s.table.bands), s.grain())
    return place, sheet, picture, s.exposed(place, picture, stock)


def sheet_size(s: Studio) -> tuple[float, float]:
    width, height = s.one_of([(125.5, 100.1), (176.3, 125.5), (118.5, 88.5), (88.5, 63.5)])
    return (height, width) if s.chance(0.4) else (width, height)


def clip_carrier(s: Studio) -> str:
    """A sheet that clips hold at its edges: they hide rebate, and a little of the picture."""
    stock = s.film()
    width, height = sheet_size(s)
    place, sheet, picture, shown = a_sheet(s, width, height, stock, s.u(10, 22))
    for corner in range(4):
        if s.chance(0.75) and not s.calm:
            x, y = (sheet[0], sheet[2])[corner % 2], (sheet[1], sheet[3])[corner // 2]
            inwards = s.u(2, 6)
            x += (1, -1)[corner % 2] * s.u(8, 0.3 * width)
            top = y - 12 if corner < 2 else y - inwards
            clip: Box = (x - s.u(3, 6), top, x + s.u(3, 6), top + 12 + inwards)
            s.table.over(place, rectangle(clip, 0.8), lit(s.u(0.002, 0.1), s.table.bands))
            hole = ellipse(
                (x - 1.5, top + 2, x + 1.5, top + 5)
                if corner < 2
                else (x - 1.5, clip[3] - 5, x + 1.5, clip[3] - 2)
            )
            s.table.over(place, hole, lit(0.9, s.table.bands))
    s.frame(place, picture, shown)
    return "sheet"


def glass_carrier(s: Studio) -> str:
    """A sheet or cut film between two glasses whose edges are seen, in a dark frame or none."""
    stock = s.film()
    width, height = s.one_of([(125.5, 100.1), (88.5, 63.5), (61.5, 64.0), (61.5, 92.0)])
    place, sheet, picture, shown = a_sheet(s, width, height, stock, s.u(14, 26))
    glass = rectangle(grown(sheet, *s.rng.uniform(5, 9, 4)))
    inner = rectangle(grown(glass.box, *[-s.u(0.3, 1.2)] * 4))
    s.table.through(place, glass, s.u(0.85, 0.97))
    s.table.through(place, without(glass, inner), s.u(0.25, 0.8))
    if s.chance(0.4):
        s.mask(place, grown(inner.box, -2, -2, -2, -2), 0, s.u(0.0005, 0.01))
    if s.chance(0.5) and not s.calm:
        _rings(s, place, sheet)
    s.frame(place, picture, shown)
    return "sheet"


def _rings(s: Studio, place: Place, sheet: Box) -> None:
    """Draw interference rings between film and glass."""
    y, x = np.mgrid[0:400, 0:400].astype(np.float32) / 400
    centre = (s.u(0, 1), s.u(0, 1))
    far = (x - centre[0]) ** 2 + s.u(0.5, 2) * (y - centre[1]) ** 2
    rings = 1 + s.u(0.02, 0.06) * np.cos(far * s.u(100, 400)) * np.exp(-far * s.u(4, 12))
    content = np.repeat(rings[:, :, None], s.table.bands, axis=2).astype(np.float32)
    s.table.through(place, rectangle(sheet), Content(content, sheet))


def empty_opening(s: Studio) -> str:
    """A mount, mask or carrier without any picture in it; no frame is right, a blank one may be."""
    sort = s.one_of(["mount", "mask", "film"])
    if sort == "mount":
        s.lay_table(s.u(54, 70), s.u(52, 64))
        place = Place(s.table.width / 2, s.table.height / 2, s.rng.normal(0, 0.5))
        opening: Box = (-17.3, -11.4, 17.3, 11.4)
        s.mount(place, opening)
    else:
        s.lay_table(s.u(60, 140), s.u(50, 100))
        w, h = s.table.width * s.u(0.3, 0.42), s.table.height * s.u(0.3, 0.42)
        opening = (-w, -h, w, h)
        place = Place(s.table.width / 2, s.table.height / 2, s.rng.normal(0, 0.5))
        if sort == "film":  # unexposed film behind it
            s.table.through(
                place, rectangle((-2 * w, -2 * h, 2 * w, 2 * h)), s.negative().clear(3), s.grain()
            )
        s.mask(place, opening, s.u(0, 2))
    s.frame(
        place, opening, Stock("negative", "monochrome", (0, 0, 0), 1), blank=True, optional=True
    )
    return "mounted_slide" if sort == "mount" else "auto"


def slides_on_table(s: Studio) -> str:
    """Two to six mounted slides on the lamp, upright ones among them."""
    columns, rows = s.one_of([(2, 1), (3, 1), (2, 2), (3, 2)])
    step = 50 + s.u(3, 12)
    s.lay_table(columns * step + s.u(4, 20), rows * step + s.u(4, 16))
    stock = s.reversal() if s.chance(0.85) else s.negative()
    one = None if s.chance(0.5) else np.exp(s.u(np.log(0.004), np.log(0.2)))
    for k in range(columns * rows):
        x = s.table.width / 2 + (k % columns - (columns - 1) / 2) * step
        y = s.table.height / 2 + (k // columns - (rows - 1) / 2) * step
        turn = float(np.clip(s.rng.normal(0, 1.0), -2.5, 2.5))
        place = Place(x + s.u(-1, 1), y + s.u(-1, 1), turn + (90 if s.chance(0.25) else 0))
        if s.chance(0.06):
            s.mount(place, (-17.3, -11.4, 17.3, 11.4), lightness=one)
            s.frame(place, (-17.3, -11.4, 17.3, 11.4), stock, blank=True, optional=True)
            continue
        w, h = s.one_of([(34.3, 22.9), (34.3, 22.9), (37.9, 37.9), (26.5, 26.5)])
        opening: Box = (-w / 2, -h / 2, w / 2, h / 2)
        film: Box = (-w / 2 - 1, -h / 2 - 0.7, w / 2 + 1, h / 2 + 0.7)
        s.table.through(place, rectangle(film), stock.clear(3))
        shown = s.exposed(place, film, stock)
        s.mount(place, opening, lightness=one)
        if s.chance(0.5) and not s.calm:
            s.reflective = True
            s.ink(place, (s.u(-22, 0), s.u(-23, -19)), s.u(2, 4))
            s.reflective = False
        s.frame(place, opening, shown)
    return "mounted_slide"


# Plates


def plate_stock(s: Studio) -> Stock:
    if s.chance(0.2):
        grey = s.u(2.0, 2.8)
        return Stock("positive", "monochrome", (grey, grey + 0.03, grey + 0.08), s.u(1.4, 1.9))
    grey = s.u(0.08, 0.35)
    return Stock(
        "negative",
        "monochrome",
        (grey, grey + s.u(0, 0.05), grey + s.u(0, 0.12)),
        s.u(1.0, 2.2),
        0.06,
    )


def glass(s: Studio, place: Place, box: Box, stock: Stock, rough: float = 0.0) -> None:
    """Lay a plate: bare edges where the coating has come off, dark lines where the glass ends."""
    outline = rectangle(box)
    s.table.through(place, outline, s.u(0.9, 0.97))
    coated = outline if s.calm or not rough else ragged(outline, s.rng, rough, s.u(2, 8))
    s.table.through(place, coated, stock.clear(s.table.bands), s.grain())
    line = rectangle(grown(box, *[-0.25] * 4))
    if s.chance(0.6):
        s.table.through(place, without(outline, line), s.u(0.3, 0.8))


def stereo_plate(s: Studio) -> str:
    """Two pictures of one scene from places 6 cm apart, a clear or dark strip between them."""
    stock = plate_stock(s)
    width, height, side, tall = s.one_of(
        [(107.0, 45.0, 41.0, 40.0), (130.0, 60.0, 56.0, 54.0), (170.0, 82.5, 76.0, 76.0)]
    )
    gap = s.u(0.6, 0.9 * (width - 2 * side))
    if s.chance(0.25):
        gap = s.u(0.6, 2)
    s.lay_table(width + s.u(6, 24), height + s.u(6, 24), bands=bands_for(s, stock))
    set_exposure(s, stock)
    place = Place(s.table.width / 2, s.table.height / 2)
    glass(s, place, (-width / 2, -height / 2, width / 2, height / 2), stock, s.u(0, 0.3))
    whole = s.picture(1.06 * side / tall)
    pixels = whole.shape[1]
    cut = max(1, int(pixels * s.u(0.01, 0.06)))
    y = s.rng.normal(0, 0.3)
    for sign, part in ((-1, whole[:, cut:]), (1, whole[:, :-cut])):
        left = gap / 2 if sign > 0 else -gap / 2 - side
        box: Box = (left, y - tall / 2, left + side, y + tall / 2)
        arched = rectangle(box, 0 if s.calm or s.chance(0.6) else s.u(0.5, 3))
        s.exposed(place, box, stock, picture=np.ascontiguousarray(part), shape=arched)
        s.frame(place, box, stock)
    if not s.calm and s.chance(0.4):
        s.ink(place, (s.u(-width / 2, width / 3), height / 2 - 3), 2)
    return "plate"


def exposures_below(s: Studio, count: int) -> str:
    """Two or three exposures one below another, by filters the same scene; ragged separators."""
    stock = plate_stock(s)
    if stock.polarity == "positive" and s.chance(0.7):
        stock = Stock("negative", "monochrome", (0.15, 0.17, 0.2), s.u(1.2, 2.0), 0.06)
    wide, tall = s.u(70, 80), s.u(60, 76)
    gaps = [s.u(0.4, 5.0) if s.chance(0.7) else s.u(0.4, 1.0) for _ in range(count - 1)]
    edges = s.rng.uniform(1.5, 7, 4)
    width = wide + edges[0] + edges[1]
    height = count * tall + sum(gaps) + edges[2] + edges[3]
    s.lay_table(width + s.u(4, 24), height + s.u(4, 24), bands=bands_for(s, stock), lowest=400)
    set_exposure(s, stock)
    left, top = (s.table.width - width) / 2, (s.table.height - height) / 2
    place = Place(left, top)
    glass(s, place, (0, 0, width, height), stock, s.u(0, 0.6))
    dark = s.chance(0.35)
    scene = s.picture(wide / tall)
    y, boxes = edges[2], []
    for k in range(count):
        x = edges[0] + s.rng.normal(0, 0.3)
        h = tall + (0 if k else s.rng.normal(0, 0.4))
        boxes.append((x, y, x + wide, y + h))
        y += tall + (gaps[k] if k < count - 1 else 0)
    around: Any = 1.0
    if dark:  # light came past the mask between the exposures
        around = 0.6 * stock.developed(np.full((4, 4, 3), 1.0, np.float32), s.table.bands)[0, 0]
        block = (boxes[0][0] - 0.5, boxes[0][1] - 0.5, boxes[0][2] + 0.5, boxes[-1][3] + 0.5)
        s.table.through(place, rectangle(block), around)
    for box in boxes:
        shade = scene * s.rng.uniform(0.3, 1.0, 3).astype(np.float32)
        shape = rectangle(box)
        if not s.calm and s.chance(0.6):
            shape = ragged(shape, s.rng, s.u(0.02, 0.12), s.u(0.5, 4))
        s.exposed(
            place, box, stock, picture=np.asarray(shade, np.float32), shape=shape, over=around
        )
        s.frame(place, box, stock)
    if not s.calm and s.chance(0.5):
        s.ink(place, (1, height - 4), 2.5)
    return "plate"


def plate_two(s: Studio) -> str:
    return exposures_below(s, 2)


def plate_three(s: Studio) -> str:
    return exposures_below(s, 3)


def a_plate(s: Studio, room: float) -> tuple[Place, Box, Box, Stock]:
    """Lay a plate whose picture ends a little inside its edges; return its outline and picture."""
    stock = plate_stock(s)
    width, height = s.one_of(
        [(120.0, 90.0), (107.95, 82.55), (165.1, 120.65), (180.0, 130.0), (90.0, 65.0)]
    )
    if s.chance(0.4):
        width, height = height, width
    s.lay_table(width + 2 * room, height + 2 * room, bands=bands_for(s, stock))
    set_exposure(s, stock)
    place = Place(s.table.width / 2, s.table.height / 2)
    plate: Box = (-width / 2, -height / 2, width / 2, height / 2)
    rails = s.rng.uniform(1.0, 4.0, 4)
    picture = grown(plate, *-rails)
    return place, plate, picture, stock


def broken_plate(s: Studio) -> str:
    """Cracks through the plate, pieces moved by some tenths of a millimetre, a corner gone."""
    place, plate, picture, stock = a_plate(s, s.u(3, 12))
    glass(s, place, plate, stock, s.u(0, 0.4))
    s.exposed(place, picture, stock)
    if not s.calm:
        for _ in range(s.n(1, 4)):
            _crack(s, place, plate)
        if s.chance(0.6):
            _corner_gone(s, place, plate, s.u(4, 0.25 * (plate[3] - plate[1])))
    s.frame(place, picture, stock)
    return "plate"


def _crack(s: Studio, place: Place, plate: Box) -> None:
    at = (s.u(0.6 * plate[0], 0.6 * plate[2]), s.u(0.6 * plate[1], 0.6 * plate[3]))
    x, y = place.on_table([at])[0]
    long = plate[2] - plate[0] + plate[3] - plate[1]
    wide = s.u(0.05, 0.4)
    line = rectangle((-long, -wide, long, wide))
    stray = ragged(line, s.rng, wide, s.u(2, 10))
    within = rectangle(plate)
    turn = Place(x, y, s.u(0, 180))
    # The crack is drawn where the plate is: in its own place, cut by the plate's outline.
    c, n = (
        np.cos(np.radians(turn.degrees - place.degrees)),
        np.sin(np.radians(turn.degrees - place.degrees)),
    )

    def inside(u: Any, v: Any) -> Any:
        return np.minimum(
            stray.inside(u, v), within.inside(at[0] + c * u - n * v, at[1] + n * u + c * v)
        )

    light = s.u(0.15, 0.8) if s.chance(0.6) else s.u(1.2, 4)
    s.table.through(turn, type(line)(line.box, inside), light)


def _corner_gone(s: Studio, place: Place, plate: Box, size: float) -> None:
    """Break or tear a corner off: the bare ground shows again."""
    right, low = s.chance(0.5), s.chance(0.5)
    x, y = plate[2] if right else plate[0], plate[3] if low else plate[1]
    box: Box = (x - 1.5 * size, y - 1.5 * size, x + 1.5 * size, y + 1.5 * size)
    way = float(np.degrees(np.arctan2(1 if low else -1, 1 if right else -1))) + s.u(-20, 20)
    point = (x - size * 0.5 * (1 if right else -1), y - size * 0.5 * (1 if low else -1))
    gone = ragged(beyond(rectangle(box), point, way), s.rng, 0.3, s.u(1, 4))
    s.table.over(place, gone, s.table.ground)


def torn_sheet(s: Studio) -> str:
    """A sheet with a torn corner or a tear from its edge."""
    stock = s.film()
    width, height = sheet_size(s)
    place, sheet, picture, shown = a_sheet(s, width, height, stock, s.u(3, 12))
    if not s.calm:
        if s.chance(0.7):
            _corner_gone(s, place, sheet, s.u(6, 0.3 * min(width, height)))
        for _ in range(s.n(0, 2)):
            x = s.u(0.7 * sheet[0], 0.7 * sheet[2])
            at = Place(*place.on_table([(x, sheet[1])])[0], s.u(50, 130))
            tear = ragged(rectangle((-2, -0.5, s.u(8, 40), 0.5)), s.rng, 0.25, 1.5)
            s.table.over(at, tear, s.table.ground)
    s.frame(place, picture, shown)
    return "sheet"


def retouched_plate(s: Studio) -> str:
    """Tape along one or more edges, or a mask of paper around the picture."""
    place, plate, picture, stock = a_plate(s, s.u(3, 12))
    glass(s, place, plate, stock, s.u(0, 0.3))
    s.exposed(place, picture, stock)
    seen = list(picture)
    around = s.chance(0.4)
    for side in range(4):
        if not (around or s.chance(0.5)):
            continue
        inwards = s.u(2, 12)
        inner = picture[side] + (inwards if side < 2 else -inwards)
        outer = plate[side] + (-s.u(0, 2) if side < 2 else s.u(0, 2))
        low, high = min(inner, outer), max(inner, outer)
        tape: Box = (
            (low, plate[1], high, plate[3]) if side % 2 == 0 else (plate[0], low, plate[2], high)
        )
        s.tape(place, tape)
        seen[side] = inner
    s.frame(place, (seen[0], seen[1], seen[2], seen[3]), stock, also=[picture])
    return "plate"


# Prints


def board(
    s: Studio, width: float, height: float, sort: str | None = None, lowest: float = 400
) -> None:
    """Set up a table seen by reflected light: grey, black, white or a textured board."""
    s.reflective = True
    sort = sort or s.one_of(["grey", "black", "white", "tinted"])
    value = {"grey": s.u(0.12, 0.35), "black": s.u(0.008, 0.04), "white": s.u(0.7, 0.9)}.get(
        sort, 0.3
    )
    tint = s.rng.uniform(0.93, 1, 3) if sort != "tinted" else s.rng.uniform(0.3, 1, 3)
    s.lay_table(width, height, lit(value * tint, 3), lowest=lowest)
    s.camera.exposure = s.u(0.75, 0.98)


def a_print(s: Studio, place: Place, width: float, height: float, shadow: float = 0.4) -> None:
    """Lay a print with or without a white border, its shadow beside it."""
    stock = PRINT_GREY if s.chance(0.5) else PRINT_COLOUR
    paper: Box = (-width / 2, -height / 2, width / 2, height / 2)
    if shadow and not s.calm:
        dx, dy = s.rng.normal(0, 0.8, 2)
        cast: Box = (paper[0] + dx, paper[1] + dy, paper[2] + dx, paper[3] + dy)
        s.table.shadow(place, cast, s.u(0.3, 3), shadow)
    white = lit(s.u(0.7, 0.9) * s.rng.uniform(0.88, 1, 3), s.table.bands)
    border = 0.0 if s.chance(0.35) else s.u(0.02, 0.08) * min(width, height)
    if border:
        s.table.over(
            place, rectangle(paper, 0 if s.calm else s.u(0, 0.6)), white, 0.0 if s.calm else 0.01
        )
    image = grown(paper, *[-border] * 4)
    picture = s.picture(width / height)
    if stock.process == "monochrome":
        grey = picture @ np.array([0.2126, 0.7152, 0.0722], np.float32)
        tone = np.ones(3, np.float32)
        if s.chance(0.5):  # toned brown: kept in colour or made grey, either is right
            tone = np.array([1, s.u(0.88, 1), s.u(0.75, 1)], np.float32)
            stock = replace(stock, process=None)
        picture = grey[:, :, None] * tone
    printed = (0.03 + 0.95 * picture).astype(np.float32) * white
    s.table.over(place, rectangle(image), Content(printed, image), 0.0 if s.calm else 0.015)
    s.frame(place, image, as_shown(stock, picture), also=[paper] if border else ())


def print_size(s: Studio) -> tuple[float, float]:
    width, height = s.one_of(
        [(148.0, 100.0), (180.0, 130.0), (127.0, 89.0), (105.0, 63.0), (203.0, 152.0), (90.0, 90.0)]
    )
    return (height, width) if s.chance(0.4) else (width, height)


def prints_on_table(s: Studio) -> str:
    """Two to six prints on one board."""
    columns, rows = s.one_of([(2, 1), (2, 2), (3, 1), (3, 2), (1, 2)])
    cell = s.u(95, 130)
    gap = s.u(4, 25)
    board(
        s,
        columns * (cell + gap) + gap,
        rows * (cell + gap) + gap,
        s.one_of([None, "grey", "black", "white"]),
        250,
    )
    for k in range(columns * rows):
        x = gap + cell / 2 + (k % columns) * (cell + gap)
        y = gap + cell / 2 + (k // columns) * (cell + gap)
        turn = float(np.clip(s.rng.normal(0, 0.8), -2.5, 2.5))
        long, short = cell * s.u(0.85, 0.97), cell * s.u(0.55, 0.9)
        size = (long, short) if s.chance(0.6) else (short, long)
        a_print(s, Place(x, y, turn), *size)
    return "print"


def print_with_ruler(s: Studio) -> str:
    """A ruler and patches of colour lie beside the print."""
    width, height = print_size(s)
    below = s.chance(0.6)
    side = s.u(25, 45)
    board(
        s,
        width + s.u(20, 50) + (0 if below else side),
        height + s.u(20, 50) + (side if below else 0),
    )
    x = s.table.width / 2 - (0 if below else side / 2)
    y = s.table.height / 2 - (side / 2 if below else 0)
    a_print(s, Place(x, y, s.rng.normal(0, 0.5)), width, height)
    edge = (
        Place(s.u(6, 12), s.table.height - side, 0)
        if below
        else Place(s.table.width - 6, s.u(6, 12), 90)
    )
    long = (s.table.width if below else s.table.height) - 16
    _patches(s, edge, min(long, s.u(80, 140)))
    _ruler(s, Place(edge.x, edge.y + 17, 0) if below else Place(edge.x - 17, edge.y, 90), long)
    return "print"


def _patches(s: Studio, place: Place, long: float) -> None:
    """Lay a card of colour and grey patches."""
    s.table.over(place, rectangle((0, 0, long, 15)), lit(s.one_of([0.02, 0.85]), 3))
    number = s.n(6, 14)
    step = (long - 2) / number
    greys = s.chance(0.4)
    for k in range(number):
        tone = lit(0.9 * 0.7**k, 3) if greys else s.rng.uniform(0.02, 0.9, 3).astype(np.float32)
        s.table.over(place, rectangle((1 + k * step, 1.5, 1 + (k + 0.92) * step, 13.5)), tone)


def _ruler(s: Studio, place: Place, long: float) -> None:
    paper, ink = (0.85, 0.03) if s.chance(0.7) else (0.03, 0.8)
    s.table.over(place, rectangle((0, 0, long, 7)), lit(paper, 3))
    for mm in range(1, int(long)):
        tall = 4.0 if mm % 10 == 0 else 2.8 if mm % 5 == 0 else 1.8
        s.table.over(place, rectangle((mm - 0.08, 0, mm + 0.08, tall)), lit(ink, 3))


def print_with_shadow(s: Studio) -> str:
    """A print that lies hollow: a soft, wide shadow along two sides."""
    width, height = print_size(s)
    board(s, width + s.u(12, 50), height + s.u(12, 50))
    place = Place(s.table.width / 2, s.table.height / 2, s.rng.normal(0, 0.5))
    if not s.calm:
        soft = s.u(2, 12)
        dx, dy = s.u(1, 5) * s.one_of([-1, 1]), s.u(1, 5) * s.one_of([-1, 1])
        cast: Box = (-width / 2 + dx, -height / 2 + dy, width / 2 + dx, height / 2 + dy)
        s.table.shadow(place, cast, soft, s.u(0.3, 0.8))
    a_print(s, place, width, height, 0)
    return "print"


def print_on_texture(s: Studio) -> str:
    """A board of linen, wood or card whose grain is as strong as some pictures."""
    width, height = print_size(s)
    board(s, width + s.u(20, 60), height + s.u(20, 60))
    whole: Box = (-20, -20, s.table.width + 20, s.table.height + 20)
    if not s.calm:
        s.table.over(Place(), rectangle(whole), Content(texture_of_board(s.rng), whole))
    a_print(s, Place(s.table.width / 2, s.table.height / 2, s.rng.normal(0, 0.5)), width, height)
    return "print"


def texture_of_board(rng: np.random.Generator) -> np.ndarray:
    side = 1400
    tone = rng.uniform(0.03, 0.7) * rng.uniform(0.75, 1, 3)
    sort = rng.integers(3)
    if sort == 0:  # woven
        y, x = np.mgrid[0:side, 0:side].astype(np.float32)
        step = rng.uniform(1.2, 4)
        weave = np.sin(x / step) * np.sin(y / step) + 0.4 * pictures.smooth_noise(
            rng, side, side, 200
        )
    elif sort == 1:  # wood
        lines = pictures.smooth_noise(rng, side, side, 120)
        weave = cv2.GaussianBlur(cv2.resize(lines[:, :60], (side, side)), (0, 0), 1)
        weave = weave + 0.3 * pictures.smooth_noise(rng, side, side, 10)
    else:  # a photograph of one
        name = str(rng.choice(pictures.TEXTURES))
        grey = pictures.cropped(rng, pictures.source(name), 1.0)[:, :, 0]
        grey = cv2.resize(grey, (side, side), interpolation=cv2.INTER_CUBIC)
        weave = (grey - grey.mean()) / max(grey.std(), 1e-3)
    strength = rng.uniform(0.04, 0.3)
    return np.asarray(np.clip(1 + strength * weave[:, :, None], 0.1, 2) * tone, np.float32)


# Encodings and resolutions: any of the others, said wrongly or not at all

PLAIN: tuple[Callable[[Studio], str], ...] = (
    strips_on_table, half_frames, roll_120, sheet_in_carrier, slides_on_table, stereo_plate,
    print_with_ruler, single_135, reversal_print,
)  # fmt: skip


def wide_gamut(s: Studio) -> str:
    """Codes of a wide-gamut profile with a curve of 1.8 or 2.2, which the encoding states."""
    kind: str = s.one_of(PLAIN)(s)
    s.camera.encoding = s.one_of(sorted(WIDE))
    s.camera.primaries = WIDE[str(s.camera.encoding)]
    return kind


def eight_bits(s: Studio) -> str:
    kind: str = s.one_of(PLAIN)(s)
    s.camera.bits = 8
    s.camera.encoding = s.one_of(["gamma-2.2", "srgb"])
    return kind


def any_plain(s: Studio) -> str:
    kind: str = s.one_of(PLAIN)(s)
    return kind


LAYOUTS: dict[str, Callable[[Studio], str]] = {
    "sleeve_135": sleeve_135,
    "sleeve_120": sleeve_120,
    "strips_on_table": strips_on_table,
    "neighbour_cut_off": neighbour_cut_off,
    "prints_on_table": prints_on_table,
    "slides_on_table": slides_on_table,
    "print_with_ruler": print_with_ruler,
    "print_with_shadow": print_with_shadow,
    "print_on_texture": print_on_texture,
    "sheet_in_carrier": sheet_in_carrier,
    "clip_carrier": clip_carrier,
    "glass_carrier": glass_carrier,
    "small_aperture": small_aperture,
    "empty_opening": empty_opening,
    "stereo_plate": stereo_plate,
    "plate_two": plate_two,
    "plate_three": plate_three,
    "broken_plate": broken_plate,
    "retouched_plate": retouched_plate,
    "torn_sheet": torn_sheet,
    "cartridge_126": cartridge_126,
    "cartridge_110": cartridge_110,
    "panorama_135": panorama_135,
    "panorama_120": panorama_120,
    "half_frames": half_frames,
    "roll_120": roll_120,
    "dense_66": dense_66,
    "fogged_leader": fogged_leader,
    "reversal_print": reversal_print,
    "overlapping_first": overlapping_first,
    "curled_film": curled_film,
    "ink_on_rebate": ink_on_rebate,
    "portraits": portraits,
    "single_135": single_135,
    "wide_gamut": wide_gamut,
    "eight_bits": eight_bits,
    "linear_unsaid": any_plain,  # linear codes, and nothing says so: sRGB is assumed
    "ppi_missing": any_plain,
    "ppi_wrong": any_plain,
}
KINDS = tuple(LAYOUTS)


def drawn(kind: str, seed: int, calm: bool = False) -> tuple[Studio, str]:
    rng = np.random.default_rng([seed, KINDS.index(kind), 20261128])
    s = Studio(rng, calm)
    material = LAYOUTS[kind](s)
    s.dirt()
    return s, material


def make(kind: str, seed: int) -> dict[str, Any]:
    """Return a scene as `run.scene_of` takes it."""
    s, material = drawn(kind, seed)
    said = s.camera.encoding
    if kind == "linear_unsaid":
        s.camera.encoding, said = "linear", None
    tag: float | None = s.table.ppi
    if kind == "ppi_missing":
        tag = None
    elif kind == "ppi_wrong":
        right = s.table.ppi
        others = (72.0, 300.0, 600.0, 2 * right, right / 2)
        tag = s.one_of([each for each in others if abs(each / right - 1) > 0.1])
    return {
        "kind": material,
        "name": f"{kind}-{seed}",
        "pixels": s.camera.master(s.table, s.rng),
        "encoding": said,
        "ppi": s.table.ppi,
        "tag_ppi": tag,
        "frames": s.frames,
    }
