"""A table in millimetres, seen by a camera: pieces lie on it, the camera makes a master of it.

Shapes are signed distances in mm from their edges; a pixel is covered by as much of it as the
distance of its centre says, so an edge lies where it should to some hundredths of a pixel. Film
takes away light (`through`), paper and metal hide what is below them (`over`). Light is linear.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Matrix = npt.NDArray[np.float64]
Box = tuple[float, float, float, float]  # left, top, right, bottom in mm
MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Place:
    """Where a piece lies: its own origin on the table (mm), clockwise turn, bend along x (1/mm)."""

    x: float = 0.0
    y: float = 0.0
    degrees: float = 0.0
    bend: float = 0.0

    def matrix(self) -> Matrix:
        c, s = math.cos(math.radians(self.degrees)), math.sin(math.radians(self.degrees))
        return np.array([[c, -s, self.x], [s, c, self.y], [0, 0, 1]])

    def on_table(self, points: npt.ArrayLike) -> Matrix:
        """Return points (n, 2) of the piece in mm of the table."""
        given = np.array(points, float)
        given[:, 1] += self.bend * given[:, 0] ** 2
        return given @ self.matrix()[:2, :2].T + (self.x, self.y)


@dataclass(frozen=True)
class Shape:
    """box: what it lies in; inside(x, y): distance in mm from its edge, positive inside."""

    box: Box
    inside: Callable[[Floats, Floats], Floats]


def rectangle(box: Box, radius: float = 0.0) -> Shape:
    left, top, right, bottom = box
    x0, y0, a, b = (left + right) / 2, (top + bottom) / 2, (right - left) / 2, (bottom - top) / 2
    if radius <= 0:
        return Shape(box, lambda x, y: np.minimum(a - np.abs(x - x0), b - np.abs(y - y0)))

    def inside(x: Floats, y: Floats) -> Floats:
        u, v = np.abs(x - x0) - (a - radius), np.abs(y - y0) - (b - radius)
        outer = np.hypot(np.maximum(u, 0), np.maximum(v, 0))
        return np.asarray(radius - outer - np.minimum(np.maximum(u, v), 0), np.float32)

    return Shape(box, inside)


def ellipse(box: Box) -> Shape:
    left, top, right, bottom = box
    x0, y0, a, b = (left + right) / 2, (top + bottom) / 2, (right - left) / 2, (bottom - top) / 2
    return Shape(box, lambda x, y: (1 - np.hypot((x - x0) / a, (y - y0) / b)) * min(a, b))


def ragged(shape: Shape, rng: np.random.Generator, depth: float, length: float) -> Shape:
    """Return it with an edge that strays by `depth` mm (standard deviation) over `length` mm."""
    left, top, right, bottom = shape.box
    w, h = right - left + 8 * depth, bottom - top + 8 * depth
    size = (max(4, int(w / length) + 2), max(4, int(h / length) + 2))
    wave = rng.standard_normal(size[::-1]).astype(np.float32)
    wave = cv2.resize(wave, (8 * size[0], 8 * size[1]), interpolation=cv2.INTER_CUBIC) * depth

    def inside(x: Floats, y: Floats) -> Floats:
        u = (x - (left - 4 * depth)) / w * wave.shape[1] - 0.5
        v = (y - (top - 4 * depth)) / h * wave.shape[0] - 0.5
        stray = cv2.remap(
            wave, u.astype(np.float32), v.astype(np.float32), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        return shape.inside(x, y) - np.abs(stray) * 0.5 + stray * 0.5

    return Shape(shape.box, inside)


def beyond(shape: Shape, point: tuple[float, float], degrees: float) -> Shape:
    """Return the part of it that lies on the side of a line to which `degrees` points."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))

    def inside(x: Floats, y: Floats) -> Floats:
        return np.minimum(shape.inside(x, y), (x - point[0]) * c + (y - point[1]) * s)

    return Shape(shape.box, inside)


def without(shape: Shape, hole: Shape) -> Shape:
    return Shape(shape.box, lambda x, y: np.minimum(shape.inside(x, y), -hole.inside(x, y)))


@dataclass
class Content:
    """pixels (h, w, bands) lie over `box`, and mirrored beyond it."""

    pixels: Floats
    box: Box


Value = float | npt.NDArray[np.float32] | Content


@lru_cache(maxsize=2)
def _noise(side: int) -> Floats:
    rng = np.random.default_rng(77)
    fine = rng.standard_normal((side, side)).astype(np.float32)
    soft = cv2.GaussianBlur(fine, (0, 0), 0.9, borderType=cv2.BORDER_REFLECT)
    return np.asarray(soft / soft.std(), np.float32)


def project(matrix: Matrix, points: npt.ArrayLike) -> Matrix:
    given = np.asarray(points, float)
    away = given @ matrix[:2, :2].T + matrix[:2, 2]
    return np.asarray(away / (given @ matrix[2, :2] + matrix[2, 2])[:, None])


@dataclass
class Table:
    """width, height: what the camera sees, in mm; keystone: share by which far sides shrink."""

    width: float
    height: float
    ppi: float
    bands: int
    ground: float | npt.NDArray[np.float32] = 1.0
    keystone: tuple[float, float] = (0.0, 0.0)
    turn: float = 0.0
    to_px: Matrix = field(init=False)
    light: Floats = field(init=False)

    def __post_init__(self) -> None:
        scale = self.ppi / MM_PER_INCH
        self.size = (round(self.width * scale), round(self.height * scale))
        centre = np.array([[1, 0, -self.width / 2], [0, 1, -self.height / 2], [0, 0, 1.0]])
        c, s = math.cos(math.radians(self.turn)), math.sin(math.radians(self.turn))
        turned = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
        lean = np.eye(3)
        lean[2, :2] = self.keystone[0] / self.width, self.keystone[1] / self.height
        back = np.array([[scale, 0, self.size[0] / 2], [0, scale, self.size[1] / 2], [0, 0, 1.0]])
        self.to_px = back @ lean @ turned @ centre
        self.light = np.empty((self.size[1], self.size[0], self.bands), np.float32)
        self.light[:] = self.ground

    @property
    def scale(self) -> float:
        """Pixels a millimetre."""
        return self.ppi / MM_PER_INCH

    def pixel_points(self, place: Place, points: npt.ArrayLike) -> Matrix:
        return project(self.to_px, place.on_table(points))

    def corners(self, place: Place, box: Box) -> Matrix:
        """Return the corners of a box in master pixels, in reading order as seen in the master."""
        left, top, right, bottom = box
        corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
        found = self.pixel_points(place, corners)
        return np.roll(found, -int(np.argmin(found.sum(axis=1))), axis=0)

    def _window(self, place: Place, box: Box) -> tuple[slice, slice] | None:
        left, top, right, bottom = box
        along = np.linspace(left, right, 9)
        edge = [(x, y) for x in along for y in (top, bottom)]
        points = self.pixel_points(place, edge)
        x0, y0 = np.floor(points.min(axis=0)).astype(int) - 3
        x1, y1 = np.ceil(points.max(axis=0)).astype(int) + 3
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, self.size[0]), min(y1, self.size[1])
        return (slice(y0, y1), slice(x0, x1)) if x1 > x0 and y1 > y0 else None

    def _grid(self, place: Place, window: tuple[slice, slice]) -> tuple[Floats, Floats]:
        """Return x and y in mm of the piece for each pixel's centre."""
        back = np.linalg.inv(self.to_px @ place.matrix())
        px = np.arange(window[1].start, window[1].stop)[None, :] + 0.5
        py = np.arange(window[0].start, window[0].stop)[:, None] + 0.5
        x, y, w = (
            (row[0] * px).astype(np.float32) + (row[1] * py + row[2]).astype(np.float32)
            for row in back
        )
        if abs(back[2, 0]) + abs(back[2, 1]) > 1e-12:
            x, y = x / w, y / w
        if place.bend:
            y = y - np.float32(place.bend) * x * x
        return x, y

    def coverage(
        self, place: Place, shape: Shape, window: tuple[slice, slice], soft_mm: float
    ) -> Floats:
        x, y = self._grid(place, window)
        cover = shape.inside(x, y)
        cover *= np.float32(1 / max(soft_mm, 1 / self.scale))
        cover += np.float32(0.5)
        return np.clip(cover, 0, 1, out=cover)[:, :, None]

    def _laid(self, place: Place, value: Value, window: tuple[slice, slice]) -> Floats:
        if not isinstance(value, Content):
            return np.broadcast_to(np.asarray(value, np.float32), (1, 1, self.bands))
        height, width = value.pixels.shape[:2]
        left, top, right, bottom = value.box
        to_mm = np.array(
            [[(right - left) / width, 0, left], [0, (bottom - top) / height, top], [0, 0, 1.0]]
        )
        half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1.0]])
        shift = np.array(
            [[1, 0, -window[1].start - 0.5], [0, 1, -window[0].start - 0.5], [0, 0, 1]]
        )
        matrix = shift @ self.to_px @ place.matrix() @ to_mm @ half
        size = (window[1].stop - window[1].start, window[0].stop - window[0].start)
        laid = cv2.warpPerspective(
            value.pixels, matrix, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
        )
        return laid.reshape(*laid.shape[:2], -1)

    def _grain(self, window: tuple[slice, slice], amount: float) -> Floats:
        noise = _noise(1024)
        rows = np.arange(window[0].start, window[0].stop) % 1024
        columns = np.arange(window[1].start, window[1].stop) % 1024
        return 1 + np.float32(amount) * noise[np.ix_(rows, columns)][:, :, None]

    def through(
        self, place: Place, shape: Shape, value: Value, grain: float = 0.0, soft_mm: float = 0.0
    ) -> None:
        """Lay something that lets `value` of the light through."""
        window = self._window(place, shape.box)
        if window is None:
            return
        cover = self.coverage(place, shape, window, soft_mm)
        laid = self._laid(place, value, window)
        if grain:
            laid = laid * self._grain(window, grain)
        self.light[window] *= 1 + cover * (laid - 1)

    def over(
        self, place: Place, shape: Shape, value: Value, grain: float = 0.0, soft_mm: float = 0.0
    ) -> None:
        """Lay something that hides what is below it, of lightness `value`."""
        window = self._window(place, shape.box)
        if window is None:
            return
        cover = self.coverage(place, shape, window, soft_mm)
        laid = self._laid(place, value, window)
        if grain:
            laid = laid * self._grain(window, grain)
        self.light[window] *= 1 - cover
        self.light[window] += cover * laid

    def shadow(self, place: Place, box: Box, soft_mm: float, depth: float) -> None:
        """Darken softly: the shadow of a rectangle that lies above the board."""
        left, top, right, bottom = box
        wide = (left - soft_mm, top - soft_mm, right + soft_mm, bottom + soft_mm)
        window = self._window(place, wide)
        if window is None:
            return
        x, y = self._grid(place, window)
        across = np.clip(0.5 + np.minimum(x - left, right - x) / soft_mm, 0, 1)
        down = np.clip(0.5 + np.minimum(y - top, bottom - y) / soft_mm, 0, 1)
        cover = (across * across * (3 - 2 * across) * down * down * (3 - 2 * down))[:, :, None]
        self.light[window] *= 1 - np.float32(depth) * cover


def lettering(text: str, thickness: int = 2, slanted: bool = False) -> Floats:
    """Return a text as coverage (h, w), 0 to 1, 40 px high."""
    font = cv2.FONT_HERSHEY_SCRIPT_SIMPLEX if slanted else cv2.FONT_HERSHEY_SIMPLEX
    (width, height), below = cv2.getTextSize(text, font, 1.2, thickness)
    mask = np.zeros((height + below + 8, width + 8), np.uint8)
    cv2.putText(mask, text, (4, height + 4), font, 1.2, 255, thickness, cv2.LINE_AA)
    return mask.astype(np.float32) / 255


def write(
    table: Table, place: Place, at: tuple[float, float], height_mm: float, text: str,
    value: Value, thickness: int = 2, slanted: bool = False, hides: bool = False,
) -> None:  # fmt: skip
    """Write with its top-left at `at`; value: light let through, or, where it hides, lightness."""
    mask = lettering(text, thickness, slanted)[:, :, None]
    width_mm = height_mm * mask.shape[1] / mask.shape[0]
    box = (at[0], at[1], at[0] + width_mm, at[1] + height_mm)
    ink = np.asarray(value, np.float32) * np.ones(table.bands, np.float32)
    if not hides:
        table.through(place, rectangle(box), Content(1 + mask * (ink - 1), box))
        return
    window = table._window(place, box)
    if window is not None:
        cover = table._laid(place, Content(mask, box), window)
        cover = cover * table.coverage(place, rectangle(box), window, 0)
        table.light[window] += cover * (ink - table.light[window])


@dataclass
class Camera:
    """What lamp, lens and sensor do to the light; encoding: of the master's codes, None is sRGB."""

    blur_px: float = 0.7
    exposure: float = 0.9
    vignette: float = 0.0
    slope: tuple[float, float] = (0.0, 0.0)
    cast: tuple[float, float, float] = (1.0, 1.0, 1.0)
    flare: float = 0.0
    noise: float = 0.001
    encoding: str | None = "linear"
    bits: int = 16
    primaries: Matrix | None = None

    def lamp(self, table: Table) -> Floats:
        """Return the light of the lamp as the sensor sees it, without a piece on it."""
        width, height = table.size
        x = np.linspace(-1, 1, width, dtype=np.float32)[None, :]
        y = np.linspace(-1, 1, height, dtype=np.float32)[:, None]
        falling = 1 - np.float32(self.vignette / 2) * (x * x + y * y)
        falling *= 1 + np.float32(self.slope[0]) * x + np.float32(self.slope[1]) * y
        return np.asarray(falling[:, :, None], np.float32)

    def master(self, table: Table, rng: np.random.Generator) -> npt.NDArray[np.generic]:
        """Return the pixels, (h, w, 3), or (h, w) where the table has one band."""
        light = table.light * self.lamp(table)
        if table.bands == 3:
            light *= np.array(self.cast, np.float32)
        if self.flare:
            small = cv2.resize(light, (64, 64), interpolation=cv2.INTER_AREA)
            veil = cv2.GaussianBlur(small, (0, 0), 8)
            veil = cv2.resize(veil, table.size, interpolation=cv2.INTER_LINEAR)
            light = light * np.float32(1 - self.flare) + np.float32(self.flare) * veil.reshape(
                light.shape
            )
        if self.blur_px > 0:
            light = cv2.GaussianBlur(light, (0, 0), self.blur_px).reshape(light.shape)
        light *= np.float32(self.exposure)
        if self.noise:
            noise = rng.standard_normal(light.shape, np.float32)
            noise *= np.float32(self.noise) * np.sqrt(np.clip(light, 0.003, None))
            light += noise
        if self.primaries is not None and table.bands == 3:
            light = light @ self.primaries.T.astype(np.float32)
        codes = np.clip(light, 0, 1) * np.float32(65535) + np.float32(0.5)
        pixels = _curve(self.encoding, self.bits)[codes.astype(np.uint16)]
        return np.ascontiguousarray(pixels if table.bands == 3 else pixels[:, :, 0])


@lru_cache(maxsize=8)
def _curve(encoding: str | None, bits: int) -> npt.NDArray[np.generic]:
    """Return the code of each linear 16-bit value (sRGB: IEC 61966-2-1)."""
    light = np.arange(65536) / 65535
    if encoding == "linear":
        codes = light
    elif encoding is not None and encoding.startswith("gamma-"):
        codes = light ** (1 / float(encoding.removeprefix("gamma-")))
    else:
        codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    top = 2**bits - 1
    return np.rint(codes * top).astype(np.uint8 if bits == 8 else np.uint16)
