"""Film, plates, mounts, sleeves and prints on the drawn table, and what stands written on them.

Sizes in mm: 35 mm film 34.976 wide (ISO 491), picture 24 x 36 (ISO 1007), 120 film's pictures 56
wide and 41.5, 56, 70, 84, 118, 168 long (ISO 732), mounts 50 x 50 (BKSTS Dictionary, 4th ed., App.
C), perforations 1.981 x 2.794 every 4.75 (KS-1870). Values from memory: 120 film 61.5 wide;
perforations 2.01 from the edge; cartridge film 35 mm wide with pictures of 28 x 28 (126), 16 mm
wide with 13 x 17 every 25.4 (110). Common practice, no source: all spacings, and the densities of
base and mask.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from benchmarks.locate import table_pictures as pictures
from benchmarks.locate.table_camera import (
    Box,
    Camera,
    Content,
    Floats,
    Place,
    Shape,
    Table,
    beyond,
    ellipse,
    ragged,
    rectangle,
    write,
)

GREY = np.array([0.2126, 0.7152, 0.0722], np.float32)  # ITU-R BT.709
WORDS = (
    "Quay 3", "No 14", "Sept 1931", "Harbour", "PEH 204", "print dark", "Box 7", "?", "lighthouse",
    "A. 12", "copy neg", "do not use", "North pier", "1952", "x", "R 88-3",
)  # fmt: skip


@dataclass(frozen=True)
class Stock:
    """base: density of unexposed film per band; strength: densities a picture spans above it.

    process: None in the truth of a picture that does not show whether it is of colour film.
    """

    polarity: str
    process: str | None
    base: tuple[float, float, float]
    strength: float
    fog: float = 0.05

    def bands(self, count: int) -> Floats:
        base = np.array(self.base, np.float32)
        return base if count == 3 else base.mean(keepdims=True)

    def clear(self, count: int) -> Floats:
        return np.asarray(10 ** -self.bands(count), np.float32)

    def developed(self, picture: Floats, count: int) -> Floats:
        """Return the picture's light as a share of what the base lets through."""
        grey = picture @ GREY
        exposed = grey[:, :, None] if self.process == "monochrome" else picture
        if exposed.shape[2] != count:
            exposed = (
                np.repeat(exposed, 3, axis=2) if count == 3 else exposed.mean(2, keepdims=True)
            )
        stops = np.clip(np.log10(np.maximum(exposed, 0.003)) + 2.2, 0, 2.2) / 2.2
        if self.polarity == "negative":
            return np.asarray(10 ** -(self.fog + self.strength * stops), np.float32)
        lift = self.bands(count) - (0.12 + self.strength * (1 - stops))
        return np.asarray(10 ** np.maximum(lift, 0.02), np.float32)


def as_shown(stock: Stock, picture: Floats) -> Stock:
    """Return it without its process where a positive in colour has hardly a colour in it."""
    if stock.polarity == "negative" or stock.process != "colour":
        return stock
    spread = (picture.max(axis=2) - picture.min(axis=2)) / picture.max(axis=2)
    return replace(stock, process=None) if np.percentile(spread, 75) < 0.3 else stock


@dataclass(frozen=True)
class Roll:
    """along: lengths of its pictures along the film; gap: between them; holes: perforations."""

    name: str
    width: float
    along: tuple[float, float]
    across: tuple[float, float]
    gap: tuple[float, float]
    holes: str = ""


ROLLS = {
    "135": Roll("135", 34.976, (36.0, 36.6), (24.0, 24.4), (1.4, 2.2), "135"),
    "half": Roll("half", 34.976, (17.6, 18.2), (24.0, 24.3), (0.7, 1.4), "135"),
    "pan135": Roll("pan135", 34.976, (56.0, 66.0), (24.0, 24.2), (1.5, 3.5), "135"),
    "126": Roll("126", 34.976, (27.0, 28.0), (27.0, 28.0), (3.5, 4.5), "126"),
    "110": Roll("110", 16.0, (16.8, 17.2), (12.9, 13.2), (8.2, 8.6), "110"),
    "645": Roll("645", 61.5, (41.0, 42.0), (55.5, 56.2), (3.0, 7.0)),
    "66": Roll("66", 61.5, (54.5, 56.2), (54.5, 56.2), (4.0, 9.0)),
    "67": Roll("67", 61.5, (68.0, 70.0), (55.5, 56.2), (3.0, 8.0)),
    "69": Roll("69", 61.5, (82.0, 84.5), (55.5, 56.2), (3.0, 8.0)),
    "612": Roll("612", 61.5, (112.0, 118.0), (55.5, 56.2), (4.0, 8.0)),
    "617": Roll("617", 61.5, (167.0, 168.5), (55.5, 56.2), (4.0, 8.0)),
}


@dataclass
class Studio:
    """Chance, what was laid down so far, and the frames that a careful archivist would cut.

    calm: pictures of one tone, no dirt, no noise: edges can be measured.
    """

    rng: np.random.Generator
    calm: bool = False
    table: Table = field(init=False)
    camera: Camera = field(init=False)
    frames: list[dict[str, Any]] = field(default_factory=list)
    mood: str = "any"
    reflective: bool = False

    def u(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def n(self, low: int, high: int) -> int:
        """Return a whole number, both ends included."""
        return int(self.rng.integers(low, high + 1))

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def one_of(self, values: Sequence[Any]) -> Any:
        return values[int(self.rng.integers(len(values)))]

    def picture(self, aspect: float, mood: str | None = None) -> Floats:
        """Return light of the positive. All chance of it is apart from that of the layout."""
        rng = np.random.default_rng(self.rng.integers(2**63))
        if self.calm:
            return np.full((64, 64, 3), 0.12, np.float32)
        mood = mood or self.mood
        if mood == "dark portrait":
            return pictures.portrait(rng, aspect, dark=True)
        if mood == "plain portrait":
            return pictures.portrait(rng, aspect, dark=False)
        if mood == "photograph":
            return pictures.photograph(rng, aspect)
        return pictures.any_picture(rng, aspect)

    def lay_table(
        self, width: float, height: float, ground: Any = 1.0, bands: int = 3, lowest: float = 600
    ) -> Table:
        """Set up a table of a size in mm, with a resolution for a handy number of pixels."""
        megapixels = float(np.clip(np.exp(self.rng.normal(np.log(7.5), 0.3)), 4, 24))
        ppi = 25.4 * np.sqrt(megapixels * 1e6 / (width * height))
        ppi = float(np.clip(ppi, lowest, 4000))
        most = 25.4 * np.sqrt(24e6 / (width * height))
        skew = self.u(-3, 3) if self.chance(0.3) else self.rng.normal(0, 0.5)
        lean = self.rng.normal(0, 0.004, 2) if self.chance(0.5) else (0.0, 0.0)
        self.table = Table(
            width, height, min(ppi, most), bands, ground,
            keystone=(float(np.clip(lean[0], -0.01, 0.01)), float(np.clip(lean[1], -0.01, 0.01))),
            turn=float(np.clip(skew, -3, 3)),
        )  # fmt: skip
        self.camera = Camera(
            blur_px=self.u(0.45, 1.3),
            exposure=self.u(0.72, 0.97),
            vignette=self.u(0, 0.16),
            slope=(self.rng.normal(0, 0.02), self.rng.normal(0, 0.02)),
            cast=tuple(self.u(0.88, 1.0) for _ in range(3)),
            flare=self.u(0, 0.012),
            noise=np.exp(self.u(np.log(0.001), np.log(0.008))),
            encoding=self.one_of(["linear", "gamma-2.2", "gamma-1.8", "srgb"]),
        )
        if self.calm:
            self.camera = Camera(blur_px=0.6, noise=0.0)
        return self.table

    def frame(
        self, place: Place, box: Box, stock: Stock, blank: bool = False, optional: bool = False,
        also: Sequence[Box] = (),
    ) -> None:  # fmt: skip
        """Note a frame; also: further outlines that are as right; optional: no loss if missed."""
        corners = self.table.corners(place, box)
        width, height = self.table.size
        if optional:
            corners = np.clip(corners, 0, (width, height))
            if cv2.contourArea(corners.astype(np.float32)) < 50:
                return
        self.frames.append(
            {
                "corners": corners,
                "also": [self.table.corners(place, each).tolist() for each in also],
                "polarity": stock.polarity,
                "process": stock.process,
                "blank": blank,
                "optional": optional,
            }
        )

    # Stocks

    def negative(self, colour: bool | None = None) -> Stock:
        if colour is None:
            colour = self.chance(0.45)
        if colour:
            base = (self.u(0.18, 0.3), self.u(0.5, 0.68), self.u(0.78, 1.05))
            return Stock("negative", "colour", base, self.u(0.9, 1.6), self.u(0.05, 0.12))
        grey = self.u(0.2, 0.42)
        tint = self.u(-0.02, 0.04)
        base = (grey, grey + tint / 2, grey + tint)
        return Stock("negative", "monochrome", base, self.u(0.8, 1.9), self.u(0.04, 0.12))

    def reversal(self) -> Stock:
        dark = self.u(2.5, 3.2)
        base = (dark + self.u(-0.1, 0.1), dark + self.u(-0.1, 0.1), dark + self.u(-0.15, 0.15))
        return Stock("positive", "colour", base, self.u(2.0, 2.6))

    def film(self) -> Stock:
        return self.reversal() if self.chance(0.25) else self.negative()

    # Film

    def grain(self) -> float:
        return 0.0 if self.calm else self.u(0.004, 0.03)

    def exposed(
        self, place: Place, box: Box, stock: Stock, mood: str | None = None, shape: Shape | None = None,
        picture: Floats | None = None, over: Floats | float = 1.0,
    ) -> Stock:  # fmt: skip
        """Expose a picture in a box of film that lies there already; return the stock as it shows.

        over: what was laid on the film there before, in place of which the picture comes.
        """
        left, top, right, bottom = box
        if picture is None:
            picture = self.picture((right - left) / (bottom - top), mood)
        developed = stock.developed(picture, self.table.bands) / np.asarray(over, np.float32)
        soft = 0.0 if self.calm else self.u(0, 0.03)
        grain = 0.0 if self.calm else self.u(0.01, 0.05)
        if shape is None:
            shape = rectangle(box, 0.0 if self.calm else self.one_of([0, 0, 0.2, 0.5]))
        self.table.through(place, shape, Content(developed, box), grain, soft)
        return as_shown(stock, picture)

    def punch(self, place: Place, box: Box, clear: Floats, ground: Floats | float = 1.0) -> None:
        """Punch a hole: what the film takes away comes back."""
        radius = min(0.5, 0.4 * min(box[2] - box[0], box[3] - box[1]))
        self.table.through(place, rectangle(box, radius), np.asarray(ground / clear, np.float32))

    def perforate(
        self, place: Place, roll: Roll, clear: Floats, boxes: Sequence[Box], end: float
    ) -> None:
        half = roll.width / 2
        if roll.holes == "135":
            start = self.u(0, 4.75)
            for x in np.arange(start, end - 1.2, 4.75):
                if x < 1.2:
                    continue
                for y in (-half + 2.01, half - 2.01 - 2.794):
                    self.punch(place, (x - 0.99, y, x + 0.99, y + 2.794), clear)
        elif roll.holes == "126":
            for box in boxes:  # one a picture, near one edge
                x = box[0] + 1.5
                self.punch(place, (x, -half + 0.9, x + 2.2, -half + 3.1), clear)
        elif roll.holes == "110":
            for box in boxes:
                x = box[2] + 1.0
                self.punch(place, (x, -half + 0.5, x + 1.5, -half + 1.4), clear)

    def edge_print(
        self, place: Place, roll: Roll, stock: Stock, boxes: Sequence[Box], end: float
    ) -> None:
        """Print numbers, words and bars on the rebate, as makers of film do."""
        ink: Any = 10 ** -self.u(0.5, 1.3)
        if stock.polarity == "positive":
            ink = np.float32(10 ** self.u(1.3, 2.3)) * np.array([1.0, 0.75, 0.3], np.float32)
            ink = ink if self.table.bands == 3 else ink.mean(keepdims=True)
        edge = (roll.width - max(box[3] - box[1] for box in boxes)) / 2
        height = min(1.4, 0.6 * edge) if roll.holes == "135" else min(2.2, 0.6 * edge)
        if height < 0.3:
            return
        top, bottom = -roll.width / 2 + 0.2, roll.width / 2 - 0.2 - height
        first = self.n(0, 30)
        for number, box in enumerate(boxes):
            middle = (box[0] + box[2]) / 2 + self.u(-3, 3)
            write(self.table, place, (middle, bottom), height, str(first + number), ink)
            if self.chance(0.6):
                quarter = box[0] + self.u(0.05, 0.2) * (box[2] - box[0])
                write(self.table, place, (quarter, bottom), height, f"{first + number}A", ink)
            if self.chance(0.5):
                text = self.one_of(["SAFETY FILM", "64 T", "S 200", "PAN 21"])
                write(self.table, place, (box[0] + self.u(1, 10), top), height, text, ink)
            if roll.holes == "135" and self.chance(0.4):
                x = box[0] + self.u(0, 12)
                for _ in range(12):
                    bar = (x, bottom, x + self.one_of([0.4, 0.8]), bottom + 0.5 * height)
                    self.table.through(place, rectangle(bar), ink)
                    x += self.one_of([0.8, 1.2])

    def strip(
        self, place: Place, roll: Roll, stock: Stock, count: int, *, gaps: tuple[float, float] | None = None,
        lead: float | None = None, tail: float | None = None, mood: str | None = None,
        optional: bool = False, printed: bool = True, unexposed: float = 0.0,
        boxes: list[Box] | None = None, note: bool = True,
    ) -> tuple[list[Box], float]:  # fmt: skip
        """Lay a strip with its left end's middle at the place; return pictures and its length."""
        lead = self.u(1, 12) if lead is None else lead
        boxes = boxes or self.spaced(roll, count, lead, gaps or roll.gap)
        end = boxes[-1][2] + (self.u(1, 12) if tail is None else tail)
        clear = stock.clear(self.table.bands)
        whole = rectangle((0, -roll.width / 2, end, roll.width / 2))
        slant = 0.0 if self.calm else self.rng.normal(0, 1.0)
        whole = beyond(beyond(whole, (0.4, 0), slant), (end - 0.4, 0), 180 + slant)
        self.table.through(place, whole, clear, self.grain())
        self.perforate(place, roll, clear, boxes, end)
        if printed and not self.calm:
            self.edge_print(place, roll, stock, boxes, end)
        for box in boxes:
            blank = self.chance(unexposed)
            shown = stock if blank else self.exposed(place, box, stock, mood)
            if note:
                self.frame(place, box, shown, blank=blank, optional=optional or blank)
        if not self.calm:
            self.scratches(place, (0, -roll.width / 2, end, roll.width / 2))
        return boxes, end

    def spaced(self, roll: Roll, count: int, lead: float, gaps: tuple[float, float]) -> list[Box]:
        """Return pictures of one camera: one size, one height on the film, gaps that vary."""
        along, across = self.u(*roll.along), self.u(*roll.across)
        off = self.rng.normal(0, 0.15)
        middle = self.u(*gaps)
        spread = 0.05 if roll.holes == "135" else 0.25
        boxes, x = [], lead
        for _ in range(count):
            y = off + self.rng.normal(0, 0.03)
            boxes.append((x, y - across / 2, x + along, y + across / 2))
            x += along + max(gaps[0] * 0.5, middle * (1 + self.rng.normal(0, spread)))
        return boxes

    # Dirt

    def scratches(self, place: Place, box: Box) -> None:
        left, top, right, bottom = box
        for _ in range(self.n(0, 4)):
            y, x = self.u(top, bottom), self.u(left, right)
            line = (x, y, min(right, x + self.u(0.1, 0.9) * (right - left)), y + self.u(0.01, 0.05))
            if line[2] > line[0] + 0.1:
                self.table.through(place, rectangle(line), self.u(0.6, 1.3))

    def dirt(self) -> None:
        """Lay dust and hairs all over."""
        if self.calm:
            return
        table = self.table
        for _ in range(int(np.exp(self.u(1.5, 5.5)))):
            size = np.exp(self.u(np.log(0.01), np.log(0.2))) * max(1, 20 / table.scale)
            x, y = self.u(0, table.width), self.u(0, table.height)
            spot = ellipse(
                (x - size, y - size * self.u(0.4, 1), x + size, y + size * self.u(0.4, 1))
            )
            where = Place()
            if self.reflective:
                table.over(where, spot, self.u(0.1, 0.8))
            else:
                table.through(where, spot, self.u(0.2, 0.9))
        for _ in range(self.n(0, 6)):
            self._hair()

    def _hair(self) -> None:
        table = self.table
        x, y, way = self.u(0, table.size[0]), self.u(0, table.size[1]), self.u(0, 7)
        step, points = self.u(0.1, 0.4) * table.scale, []
        for _ in range(self.n(8, 40)):
            points.append((x, y))
            way += self.rng.normal(0, 0.25)
            x, y = x + step * np.cos(way), y + step * np.sin(way)
        line = np.array(points)
        low = np.floor(line.min(axis=0)).astype(int) - 4
        high = np.ceil(line.max(axis=0)).astype(int) + 4
        low, high = np.maximum(low, 0), np.minimum(high, table.size)
        if (high <= low).any():
            return
        mask = np.zeros((high[1] - low[1], high[0] - low[0]), np.uint8)
        drawn = np.rint((line - low) * 16).astype(np.int32).reshape(-1, 1, 2)
        wide = max(1, round(0.03 * table.scale))
        cv2.polylines(mask, [drawn], False, 255, wide, cv2.LINE_AA, 4)
        part = table.light[low[1] : high[1], low[0] : high[0]]
        part *= 1 - (mask[:, :, None] / np.float32(255)) * np.float32(self.u(0.2, 0.7))

    def ink(
        self, place: Place, at: tuple[float, float], height: float, text: str | None = None
    ) -> None:
        """Write by hand, in dark ink or, at times, red or white."""
        colours = ([0.03, 0.03, 0.04], [0.5, 0.05, 0.05], [0.05, 0.05, 0.3])
        ink = np.array(self.one_of(colours), np.float32)
        ink = ink if self.table.bands == 3 else ink.mean(keepdims=True)
        turned = Place(*place.on_table([at])[0], place.degrees + self.rng.normal(0, 3))
        text = text or str(self.one_of(WORDS))
        write(
            self.table,
            turned,
            (0, 0),
            height,
            text,
            ink,
            self.n(1, 4),
            self.chance(0.7),
            self.reflective,
        )

    # Things that hide light

    def tape(self, place: Place, box: Box, opaque: bool = True) -> None:
        shape = rectangle(box)
        if not self.calm:
            shape = ragged(shape, self.rng, self.u(0.05, 0.25), self.u(0.5, 3))
        value = self.u(0.001, 0.01) if opaque else self.u(0.3, 0.7)
        tint = np.array([1, self.u(0.6, 1), self.u(0.3, 1)], np.float32)
        tint = tint if self.table.bands == 3 else tint.mean(keepdims=True)
        (self.table.over if opaque else self.table.through)(place, shape, value * tint)

    def mount(self, place: Place, opening: Box, size: float = 50.0, lightness: Any = None) -> None:
        """Lay a mount of card or plastic over what lies there, its opening left free."""
        half = size / 2
        outer = rectangle((-half, -half, half, half), 0.0 if self.calm else self.u(0.5, 3))
        if lightness is None:
            grey = np.exp(self.u(np.log(0.004), np.log(0.25)))
            lightness = grey * np.array([1, self.u(0.85, 1), self.u(0.7, 1)], np.float32)
        lightness = np.broadcast_to(np.asarray(lightness, np.float32), (3,))[: self.table.bands]
        hole = rectangle(opening, 0.0 if self.calm else self.one_of([0, 0.3, 1.0, 1.8]))
        shape = Shape(outer.box, lambda x, y: np.minimum(outer.inside(x, y), -hole.inside(x, y)))
        self.table.over(place, shape, lightness, 0.0 if self.calm else 0.03)

    def mask(self, place: Place, opening: Box, radius: float = 0.0, ground: float = 0.002) -> None:
        """Cover the whole table but for an opening."""
        hole = rectangle(opening, radius)
        far = 2 * max(self.table.width, self.table.height)
        shape = Shape((-far, -far, far, far), lambda x, y: -hole.inside(x, y))
        self.table.over(place, shape, ground)


def lit(values: npt.ArrayLike, bands: int) -> Floats:
    """Return a lightness per band."""
    given = np.broadcast_to(np.asarray(values, np.float32), (3,))
    return given.copy() if bands == 3 else given.mean(keepdims=True)
