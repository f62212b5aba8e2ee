"""What lies on the light table: each kind of material as layers, with its truth.

All sizes in mm. Sources, where a standard or a published value exists:
135 film: 24 x 36 mm frame, film 34.976 mm wide (1.377 in), perforation pitch 4.75 mm,
2.794 x 1.981 mm (KS-1870), eight perforations a frame: ISO 1007; ANSI PH22.36. Film edge to
perforation 2.01 mm: value from memory. 120 film: 56 x 56 mm in 6 x 6, ISO 732; width 61.5 mm:
value from memory. 2 x 2 inch mount 50 x 50 mm, aperture 22.5 x 34.3 mm (mounts vary to
23.5 x 35): ISO 1755 and BKSTS. 4 x 5 inch sheet cut to 100.0 x 125.4 mm, image 95.5 x 120.5:
value from memory (ISO 1012 governs). Plate 90 x 120 mm and quarter plate 82.55 x 107.95 mm;
lantern slide 82.55 mm square (British size): published size tables, hand cut within 2 mm.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
import zxingcpp

from makers.film import icc, pictures
from makers.film.optics import (
    MM_PER_INCH,
    Box,
    Camera,
    Convex,
    Cut,
    Field,
    Fill,
    Flat,
    Layer,
    Moved,
    Oval,
    Picture,
    Ragged,
    Shape,
    Stock,
)

# Orange mask: D-min about 0.25/0.60/0.85 (+-0.15) in R/G/B: value from memory; straight-line
# slope about 0.6 in published data on colour negatives.
COLOUR_STOCK = Stock((0.25, 0.60, 0.85), (0.55, 0.60, 0.64))
MONO_STOCK = Stock((0.20, 0.20, 0.21), (0.65, 0.65, 0.65))
PLATE_STOCK = Stock((0.12, 0.12, 0.13), (0.70, 0.70, 0.70))
LUMA = (0.2126, 0.7152, 0.0722)  # IEC 61966-2-1
POSITIVE_WHITE, POSITIVE_BLACK = 0.82, 0.0012
PRINT_WHITE, PRINT_BLACK = 0.78, 0.035
MASK = 0.0006  # what an opaque mask sends back of the room's light
FILM_135, PITCH_135, FRAME_135 = 34.976, 4.75, (36.0, 24.0)
FILM_120 = 61.5
SCENE_PX = 2400  # a picture is drawn no wider than this


@dataclass(frozen=True)
class Wish:
    """What a scene shall be; None leaves it to the seed.

    views: names from `pictures.VIEWS`, one a frame, "blank" for an unexposed frame.
    rotate, mirror: what the workflow must do to bring the picture upright and right-reading.
    samples: 3 or 1. gamma, wide: encoding and primaries of the embedded profile.
    """

    kind: str
    seed: int
    ppi: float
    width: int
    height: int
    views: tuple[str, ...] | None = None
    polarity: str | None = None
    process: str | None = None
    skew_deg: float | None = None
    samples: int = 3
    gamma: float = 1.0
    wide: bool = False
    stock: Stock | None = None
    rotate: int = 0
    mirror: bool = False
    label: str | None = None
    camera: dict[str, float] = field(default_factory=dict)


class Table:
    """Collects the layers of one capture and the truth about its frames."""

    def __init__(self, wish: Wish, polarity: str, process: str, stock: Stock) -> None:
        self.wish = wish
        self.polarity, self.process = wish.polarity or polarity, wish.process or process
        self.stock = wish.stock or stock
        self.rng = np.random.Generator(np.random.PCG64([wish.seed, 77]))
        limit = 2.5
        self.skew = self.pick(-limit, limit) if wish.skew_deg is None else wish.skew_deg
        self.x, self.y = self.pick(-0.8, 0.8), self.pick(-0.8, 0.8)
        self.layers: list[Layer] = []
        self.frames: list[dict[str, Any]] = []
        self.scenes: list[np.ndarray | None] = []
        self.label: str | None = None
        self.ground: tuple[float, ...] = (1.0, 1.0, 1.0)

    def pick(self, low: float, high: float) -> float:
        return low + (high - low) * float(self.rng.random())

    def lay(
        self, shape: Shape, fill: Fill, u: float = 0, v: float = 0, angle: float = 0, **how: Any
    ) -> None:
        """Lay a thing at (u, v) mm from the object's centre, turned with the object."""
        x, y = self._place(u, v)
        self.layers.append(Layer(shape, fill, x, y, self.skew + angle, **how))

    def _place(self, u: float, v: float) -> tuple[float, float]:
        c, s = math.cos(math.radians(self.skew)), math.sin(math.radians(self.skew))
        return self.x + u * c - v * s, self.y + u * s + v * c

    def picture(
        self,
        size: tuple[float, float],
        u: float = 0,
        v: float = 0,
        angle: float = 0,
        opening: Shape | None = None,
        soft_mm: float = 0.02,
    ) -> None:
        """Lay the next picture, `size` mm as it lies; its visible part is `opening`, if given.

        The truth's corners bound the visible part.
        """
        index = len(self.frames) + 1
        views = self.wish.views or ()
        names = list(pictures.VIEWS)
        view = views[index - 1] if len(views) >= index else names[int(self.pick(0, len(names)))]
        shape = opening or Box(*size)
        bounds = (2 * shape.half[0], 2 * shape.half[1])
        if view == "blank":
            self.scenes.append(None)
        else:
            fill = Picture(self._scene(view, index, size), *size)
            self.lay(shape, fill, u, v, angle, soft_mm=soft_mm)
        self.frames.append(
            {
                "index": index,
                "corners": self._corners(bounds, u, v, angle),
                "angle_deg": round(self.skew + angle, 6),
                "blank": view == "blank",
                "rotate": self.wish.rotate,
                "mirror": self.wish.mirror,
                "size_mm": [round(side, 4) for side in bounds],
                "view": view,
            }
        )

    def _corners(
        self, size: tuple[float, float], u: float, v: float, angle: float
    ) -> list[list[float]]:
        x, y = self._place(u, v)
        turn = math.radians(self.skew + angle)
        c, s = math.cos(turn), math.sin(turn)
        scale = self.wish.ppi / MM_PER_INCH
        corners = []
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
            du, dv = a * size[0] / 2, b * size[1] / 2
            px = (x + du * c - dv * s) * scale + self.wish.width / 2
            py = (y + du * s + dv * c) * scale + self.wish.height / 2
            corners.append([round(px, 4), round(py, 4)])
        return corners

    def _scene(self, view: str, index: int, size: tuple[float, float]) -> np.ndarray:
        """Draw the view upright, keep it as truth, return what the film or paper shows."""
        turned = self.wish.rotate in (90, 270)
        w, h = (size[1], size[0]) if turned else size
        columns = int(min(SCENE_PX, max(64, math.ceil(w * self.wish.ppi / MM_PER_INCH))))
        rows = max(48, round(columns * h / w))
        light = pictures.draw(view, columns, rows, self.wish.seed * 31 + index)
        if self.process == "monochrome":
            grey = light[..., 0] * np.float32(LUMA[0])
            grey = grey + light[..., 1] * np.float32(LUMA[1]) + light[..., 2] * np.float32(LUMA[2])
            light = np.repeat(grey[..., None], self.wish.samples, axis=2)
        self.scenes.append(light)
        shown = self._developed(light)
        if self.wish.mirror:
            shown = shown[:, ::-1]
        # `rotate` clockwise quarter turns bring it upright, so it lies turned the other way
        return np.ascontiguousarray(np.rot90(shown, self.wish.rotate // 90))

    def _developed(self, light: np.ndarray) -> np.ndarray:
        if self.polarity == "negative":
            return self.stock.transmittance(light)
        if self.wish.wide and light.shape[2] == 3:
            matrix = icc.from_bt709(icc.WIDE).astype(np.float32)
            light = sum(light[..., band : band + 1] * matrix[:, band] for band in range(3))
        light = np.clip(light, 0, 1)
        if self.wish.kind == "print":
            return light * np.float32(PRINT_WHITE - PRINT_BLACK) + np.float32(PRINT_BLACK)
        return light * np.float32(POSITIVE_WHITE - POSITIVE_BLACK) + np.float32(POSITIVE_BLACK)

    # ---- wear ------------------------------------------------------------------------------
    def dust(self, width: float, height: float, count: int) -> None:
        """Specks and fibres over an area about the object's centre."""
        for _ in range(count):
            u, v = self.pick(-0.5, 0.5) * width, self.pick(-0.5, 0.5) * height
            long = 0.03 + 0.22 * self.pick(0, 1) ** 3 * math.sqrt(width / 40)
            thin = self.pick(0.5, 1.0) * long if self.pick(0, 1) < 0.8 else 0.03
            dark = self.pick(0.15, 0.6)
            shape = Oval(long, thin) if thin > 0.03 else Box(long * 4, 0.025)
            self.lay(shape, Flat((dark,)), u, v, self.pick(0, 180), through=True, soft_mm=0.02)

    def scratches(self, width: float, height: float, count: int) -> None:
        """Long fine scratches along the film, lighter than what they cross."""
        for _ in range(count):
            long = self.pick(0.15, 0.6) * width
            u, v = self.pick(-0.3, 0.3) * width, self.pick(-0.45, 0.45) * height
            shape = Box(long, self.pick(0.012, 0.03))
            light = Flat((0.75,) * 3)
            self.lay(shape, light, u, v, self.pick(-1.5, 1.5), opacity=0.12)

    def grey(self, value: float) -> Flat:
        return Flat((value,) * 3)

    @property
    def base(self) -> Flat:
        return Flat(self.stock.base)


# ---- kinds ---------------------------------------------------------------------------------
def _frame_135(t: Table) -> None:
    """Film under an opaque mask whose opening leaves a little rebate round the picture."""
    t.ground = (MASK, MASK, MASK)
    opening = (37.3, 25.2)
    t.lay(Box(*opening, 0.25), t.base, t.pick(-0.15, 0.15), t.pick(-0.1, 0.1), t.pick(-0.2, 0.2))
    t.picture(FRAME_135, opening=Box(36.0, 24.0, 0.15))
    t.dust(36, 24, 40)
    t.scratches(36, 24, 3)


def _mounted_slide(t: Table) -> None:
    side = 50.0
    t.lay(Box(side, side, 1.2), Flat((0.0032, 0.0029, 0.0026)), angle=t.pick(-0.2, 0.2))
    t.lay(Box(38.0, 26.4, 1.4), Flat((0.0022, 0.0020, 0.0018)))
    t.picture((36.0, 24.0), opening=Box(34.3, 22.9, 1.6), soft_mm=0.03)
    t.dust(33, 22, 30)


def _sheet(t: Table) -> None:
    width, height, image = 125.4, 100.0, (120.5, 95.5)
    notch = [
        Moved(Box(2.6, 2.6, 0.5), width / 2 - 9 - 4.2 * place, -height / 2) for place in (0, 1)
    ]
    notch.append(Moved(Convex(((-1.6, -0.2), (1.6, -0.2), (0, 2.2))), width / 2 - 19, -height / 2))
    t.lay(Cut(Box(width, height, 1.2), tuple(notch)), t.base)
    t.picture(image, t.pick(-0.4, 0.4), t.pick(-0.3, 0.3), t.pick(-0.15, 0.15), soft_mm=0.06)
    t.dust(width - 6, height - 6, 70)
    t.scratches(width, height, 4)


def _small_sheet(t: Table) -> None:
    """A film-pack negative, 3 1/4 x 4 1/4 inch, its corners clipped by age."""
    width, height, image = 107.0, 81.6, (102.4, 77.6)
    chip = Moved(Box(9, 9), -width / 2, height / 2, 45)
    t.lay(Cut(Box(width, height, 0.8), (chip,)), t.base)
    t.picture(image, soft_mm=0.06)
    t.dust(width - 6, height - 6, 60)


def _plate(t: Table) -> None:
    _glass_plate(t, 120.0, 90.0, (115.0, 85.0))


def _quarter_plate(t: Table) -> None:
    _glass_plate(t, 107.95, 82.55, (103.0, 77.6))


def _glass_plate(t: Table, width: float, height: float, image: tuple[float, float]) -> None:
    """Glass with dark ground edges and chips, a ragged coating, the picture within it."""
    chips = []
    for _ in range(7):
        along, side = t.pick(-0.48, 0.48), int(t.pick(0, 4))
        size = t.pick(0.8, 2.6)
        spot = (
            (along * width, -height / 2),
            (along * width, height / 2),
            (-width / 2, along * height),
            (width / 2, along * height),
        )[side]
        chips.append(Moved(Oval(size * 1.6, size), *spot, t.pick(0, 180)))
    corner = (width / 2, -height / 2)
    chips.append(Moved(Box(t.pick(4, 7), t.pick(4, 7)), *corner, t.pick(38, 52)))
    glass = Cut(Box(width, height, 0.3), tuple(chips))
    t.lay(glass, t.grey(0.30), soft_mm=0.1)
    inner = [replace(chip, shape=_grown(chip.shape, 0.7)) for chip in chips]
    t.lay(Cut(Box(width - 0.7, height - 0.7, 0.3), tuple(inner)), t.grey(0.90), soft_mm=0.25)
    coat = Ragged(Box(width - 3.0, height - 2.8, 2.0), 1.1, 11.0, t.wish.seed * 3 + 1)
    t.lay(Cut(coat, tuple(inner)), t.base, soft_mm=0.15)
    t.picture(image, t.pick(-0.2, 0.2), t.pick(-0.2, 0.2), soft_mm=0.06)
    for _ in range(3):  # silvering and finger marks near the edges
        u, v = t.pick(-0.5, 0.5) * width, (0.5 if t.pick(0, 1) < 0.5 else -0.5) * (height - 6)
        t.lay(Oval(t.pick(5, 11), t.pick(4, 7)), t.grey(0.75), u, v, 20, through=True, soft_mm=2.5)
    t.dust(width - 4, height - 4, 80)


def _grown(shape: Shape, by: float) -> Shape:
    w, h = shape.half
    return Oval(2 * w + by, 2 * h + by) if isinstance(shape, Oval) else Box(2 * w + by, 2 * h + by)


def _lantern(t: Table) -> None:
    """Two glasses bound with black tape, a paper mask between them."""
    side = 82.55
    t.lay(Box(side, side, 0.5), t.grey(0.0010), soft_mm=0.05)
    t.lay(Box(side - 9, side - 9), t.grey(0.0006), soft_mm=0.1)
    turned = t.wish.rotate in (90, 270)
    opening = (58.0, 70.0) if turned else (70.0, 58.0)
    t.picture((opening[0] + 3, opening[1] + 3), 0, 0, t.pick(-0.5, 0.5), Box(*opening, 4.0), 0.05)
    for side_u in (-1, 1):  # white spots that tell the projectionist which way up
        t.lay(Oval(4.5, 4.5), t.grey(0.004), side_u * 34, -38.2 if not turned else 38.2)
    t.dust(*opening, 50)


def _strip_135(t: Table) -> None:
    """Five frames with perforations; the film advance is never quite even."""
    count = len(t.wish.views or ()) or 5
    length = count * 38.0 + 9
    t.lay(Box(length, FILM_135), t.base)
    row = FILM_135 / 2 - 2.01 - 2.794 / 2
    phase = t.pick(-2, 2)
    holes = int(length / PITCH_135) + 2
    for place in range(-holes // 2, holes // 2 + 1):
        u = place * PITCH_135 + phase
        if abs(u) < length / 2 + 1:
            for v in (-row, row):
                t.lay(Box(1.981, 2.794, 0.5), Flat(t.ground), u, v)
    u = -(count - 1) / 2 * 38.0
    for index in range(count):
        at = u + 8 * PITCH_135 * index + t.pick(-0.35, 0.35)
        t.picture(FRAME_135, at, t.pick(-0.08, 0.08), 0, Box(36.0, 24.0, 0.2))
        _edge_print(t, at, FILM_135 / 2 - 1.0, index)
    t.dust(length, 30, 110)
    t.scratches(length, 24, 5)


def _edge_print(t: Table, u: float, v: float, number: int) -> None:
    """Exposed marks in the rebate: bars whose widths stand for the frame's number."""
    dark = Flat(tuple(value * 0.12 for value in t.stock.base))
    for place in range(4):
        width = 0.9 if (number + 1) >> place & 1 else 0.35
        t.lay(Box(width, 1.0), dark, u + 1.6 * place - 2.4, v, soft_mm=0.05)


def _strip_120(t: Table) -> None:
    count = len(t.wish.views or ()) or 3
    pitch = 62.0
    t.lay(Box(count * pitch + 4, FILM_120), t.base)
    for index in range(count):
        at = (index - (count - 1) / 2) * pitch + t.pick(-0.9, 0.9)
        t.picture((56.0, 56.0), at, t.pick(-0.15, 0.15), t.pick(-0.08, 0.08), soft_mm=0.05)
        _edge_print(t, at, FILM_120 / 2 - 1.1, index)
    t.dust(count * pitch, 58, 100)
    t.scratches(count * pitch, 56, 3)


def _cut_frames(t: Table) -> None:
    """Pieces cut by hand, lying as they fell on a glass carrier, with label and ruler."""
    skew, t.skew = t.skew, 0.0
    t.x = t.y = 0.0
    t.lay(Box(400, 400), t.grey(0.93), through=True)
    places = ((-33, -23), (21, -25), (-29, 15), (24, 14))
    for place, (u, v) in enumerate(places[: len(t.wish.views or places)]):
        angle = skew + t.pick(-6, 6)
        u, v = u + t.pick(-1.5, 1.5), v + t.pick(-1.5, 1.5)
        size = (36.0, 24.0) if place != 1 else (40.0, 28.0)
        w, h = size[0] / 2, size[1] / 2
        edge = [t.pick(1.0, 2.6) for _ in range(8)]
        piece = Convex(
            (
                (-w - edge[0], -h - edge[1]),
                (w + edge[2], -h - edge[3]),
                (w + edge[4], h + edge[5]),
                (-w - edge[6], h + edge[7]),
            )
        )
        t.lay(piece, t.base, u, v, angle)
        t.picture(size, u, v, angle, soft_mm=0.04)
    t.label = t.wish.label or f"PEH-{t.wish.seed % 10000:04d}"
    _label(t, t.label, -22, 38.5, t.pick(-1.5, 1.5))
    _ruler(t, 32, 39)
    t.dust(120, 85, 90)


def _label(t: Table, text: str, u: float, v: float, angle: float) -> None:
    """A paper label with the item's number as Code 128 (ISO/IEC 15417) and in letters."""
    module, high = 0.36, 6.0
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.Code128)
    row = np.array(code.to_image(scale=1, add_quiet_zones=False))[0] == 0
    width = len(row) * module + 28 * module
    t.lay(Box(width, 11.5, 0.4), Flat((0.72, 0.71, 0.68)), u, v, angle, soft_mm=0.04)
    turn = math.radians(angle)
    starts = [i for i in range(len(row)) if row[i] and (i == 0 or not row[i - 1])]
    for start in starts:
        end = start
        while end < len(row) and row[end]:
            end += 1
        du, dv = ((start + end) / 2 - len(row) / 2) * module, -1.6
        x, y = du * math.cos(turn) - dv * math.sin(turn), du * math.sin(turn) + dv * math.cos(turn)
        t.lay(Box((end - start) * module, high), t.grey(0.012), u + x, v + y, angle)
    plain = _written(text, 0.70, 0.02)
    du, dv = 0.0, 3.4
    x, y = du * math.cos(turn) - dv * math.sin(turn), du * math.sin(turn) + dv * math.cos(turn)
    t.lay(Box(22, 3.0), Picture(plain, 22, 3.0), u + x, v + y, angle)


def _written(text: str, paper: float, ink: float, height: int = 96) -> np.ndarray:
    """Return one line of text, `height` px high, 22:3, as three equal samples."""
    width = height * 22 // 3
    page = np.zeros((height, width), np.uint8)
    face = cv2.FONT_HERSHEY_DUPLEX
    size = height / 34
    (w, h), _ = cv2.getTextSize(text, face, size, 4)
    cv2.putText(page, text, ((width - w) // 2, (height + h) // 2), face, size, 255, 4, cv2.LINE_8)
    light = np.float32(paper) + (page > 127).astype(np.float32) * np.float32(ink - paper)
    return np.repeat(light[..., None], 3, axis=2)


def _ruler(t: Table, u: float, v: float) -> None:
    """A clear ruler, 40 mm, millimetres."""
    t.lay(Box(46, 8), t.grey(0.82), u, v, through=True)
    for mm in range(41):
        long = 4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0
        t.lay(Box(0.16, long), t.grey(0.02), u - 20 + mm, v - 4 + long / 2)


def _print(t: Table) -> None:
    """A borderless photographic print on dark cloth."""
    t.ground = (0.021, 0.020, 0.022)
    size = (165.0, 120.0)
    t.lay(Box(167.0, 122.4, 1.0), t.grey(0.35), 0.8, 1.0, through=True, soft_mm=3.0)
    t.picture(size, soft_mm=0.05)
    t.dust(*size, 40)


def _sleeve(t: Table) -> None:
    """The paper envelope that a negative came in, on dark cloth."""
    t.ground = (0.021, 0.020, 0.022)
    w, h = 118.0, 92.0
    index = len(t.frames) + 1
    t.lay(Box(w, h, 0.6), Flat((0.56, 0.47, 0.34)), soft_mm=0.05)
    t.lay(Box(1.0, h), Flat((0.80, 0.78, 0.74)), w / 2 - 12, through=True, soft_mm=0.5)
    t.lay(Box(w, 1.0), Flat((0.82, 0.80, 0.76)), 0, h / 2 - 11, through=True, soft_mm=0.5)
    for line, text in enumerate((t.wish.label or "PEH", "Mole, breakers", "c. 1931")):
        ink = _written(text, 0.0, 1.0)
        paper = np.array((0.56, 0.47, 0.34), np.float32) * (1 - ink * np.float32(0.86))
        t.lay(Box(66, 9), Picture(paper, 66, 9), -14, -26 + 15 * line, -1.0)
    t.frames.append(
        {
            "index": index,
            "corners": t._corners((w, h), 0, 0, 0),
            "angle_deg": round(t.skew, 6),
            "blank": False,
            "rotate": 0,
            "mirror": False,
            "size_mm": [w, h],
            "view": "envelope",
        }
    )
    t.scenes.append(None)


# name: (field in mm, builder, polarity, process, stock)
_Kind = tuple[tuple[float, float], Callable[[Table], None], str, str, Stock]
BUILDERS: dict[str, _Kind] = {
    "frame_135": ((42.0, 30.0), _frame_135, "negative", "colour", COLOUR_STOCK),
    "mounted_slide": ((56.0, 56.0), _mounted_slide, "positive", "colour", COLOUR_STOCK),
    "sheet": ((140.0, 114.0), _sheet, "negative", "monochrome", MONO_STOCK),
    "small_sheet": ((120.0, 95.0), _small_sheet, "negative", "monochrome", MONO_STOCK),
    "plate": ((134.0, 104.0), _plate, "negative", "monochrome", PLATE_STOCK),
    "quarter_plate": ((121.0, 96.0), _quarter_plate, "negative", "monochrome", PLATE_STOCK),
    "lantern": ((94.0, 94.0), _lantern, "positive", "monochrome", MONO_STOCK),
    "strip_135": ((216.0, 50.0), _strip_135, "negative", "colour", COLOUR_STOCK),
    "strip_120": ((204.0, 76.0), _strip_120, "negative", "monochrome", MONO_STOCK),
    "cut_frames": ((120.0, 90.0), _cut_frames, "negative", "monochrome", MONO_STOCK),
    "print": ((186.0, 140.0), _print, "positive", "colour", COLOUR_STOCK),
    "sleeve": ((140.0, 112.0), _sleeve, "positive", "colour", COLOUR_STOCK),
}
# What the workflow calls them, where it has one word for several of ours.
KIND_WORDS = {"small_sheet": "sheet", "quarter_plate": "plate", "sleeve": "print"}


@dataclass(frozen=True)
class Scene:
    """A capture ready to be computed, and the truth about it.

    scenes: per frame the upright positive (linear light, BT.709 primaries), None where blank.
    """

    field: Field
    truth: dict[str, Any]
    scenes: tuple[np.ndarray | None, ...]
    icc: bytes


def build(wish: Wish) -> Scene:
    """Lay out `wish`; pixels are computed by `Scene.field.bands()` or `.image()`."""
    _, builder, polarity, process, stock = BUILDERS[wish.kind]
    table = Table(wish, polarity, process, stock)
    builder(table)
    rng = np.random.Generator(np.random.PCG64([wish.seed, 78]))
    settings = {
        "fall_off": 0.03 + 0.07 * float(rng.random()),
        "tilt": -0.015 + 0.03 * float(rng.random()),
        "psf_px": 0.55 + 0.35 * float(rng.random()),
        **wish.camera,
    }
    camera = Camera(gamma=wish.gamma, **settings)
    layers = tuple(_in_samples(layer, wish.samples) for layer in table.layers)
    field = Field(
        wish.width,
        wish.height,
        wish.ppi,
        table.ground[: wish.samples],
        layers,
        camera,
        wish.seed,
        wish.samples,
    )
    negative = table.polarity == "negative"
    truth = {
        "kind": KIND_WORDS.get(wish.kind, wish.kind),
        "width": wish.width,
        "height": wish.height,
        "ppi": round(wish.ppi, 4),
        "samples": wish.samples,
        "polarity": table.polarity,
        "process": table.process,
        "frames": table.frames,
        "d_min": list(table.stock.d_min[: wish.samples]) if negative else None,
        "slopes": list(table.stock.slopes[: wish.samples]) if negative else None,
        "label": table.label,
        "white": camera.white,
        "gamma": wish.gamma,
    }
    return Scene(field, truth, tuple(table.scenes), _profile(wish))


def _profile(wish: Wish) -> bytes:
    curve = "linear" if wish.gamma == 1.0 else f"gamma {wish.gamma:.1f}"
    if wish.samples == 1:
        return icc.grey_profile(f"Marlow capture grey, {curve}", wish.gamma)
    primaries = icc.WIDE if wish.wide else icc.BT709
    return icc.rgb_profile(f"Marlow capture RGB, {curve}", primaries, wish.gamma)


def _in_samples(layer: Layer, samples: int) -> Layer:
    """Reduce a layer's colours to the number of samples of the master."""
    fill = layer.fill
    if isinstance(fill, Flat) and len(fill.value) > samples:
        return replace(layer, fill=Flat(fill.value[:samples]))
    if isinstance(fill, Picture) and fill.image.shape[2] > samples:
        image = np.ascontiguousarray(fill.image[..., :samples])
        return replace(layer, fill=Picture(image, fill.width, fill.height))
    return layer
