"""What the layouts are made of: film stocks, views, frames, strips and things that are no picture.

Lengths are mm on the table, angles degrees clockwise; sizes of formats are common practice, no
source, unless a source stands beside them.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
import skimage.data

from benchmarks.locate import scenes
from benchmarks.locate.scenes import Array, Table, Truth, over, rect

# Photographs in the wheel of scikit-image that are free of restrictions (its data/README.txt).
COLOURED = ("coffee.png", "chelsea.png", "rocket.jpg")
GREY = (*COLOURED, "brick.png", "grass.png", "gravel.png", "moon.png", "hubble_deep_field.jpg")
PERFORATED_MM = 34.976  # width of 35 mm film, as in `scenes`


@dataclass(frozen=True)
class Stock:
    """A film: density of its base and of its border (3,), and one development for all frames."""

    polarity: str
    process: str
    base: Array
    border: Array
    seed: int

    def density(self, exposure: Array) -> Array:
        r = np.random.default_rng(self.seed)
        return scenes.density_of(r, exposure, self.polarity, self.process, self.base)


def stock(r: np.random.Generator, polarity: str | None = None, process: str | None = None) -> Stock:
    polarity = polarity or ("negative" if r.random() < 0.8 else "positive")
    process = process or scenes.process_of(r, polarity)
    base = scenes.film_base(r, process, polarity)
    border = base if polarity == "negative" else np.full(3, r.uniform(2.8, 3.3), np.float32)
    return Stock(polarity, process, base, border, int(r.integers(1 << 30)))


def photograph(r: np.random.Generator, colour: bool, w: float, h: float) -> Array:
    """Return a piece of a photograph as relative exposure, (h, w, 3) float32."""
    name = str(r.choice(COLOURED if colour else GREY))
    image = cv2.imread(str(Path(skimage.data.__file__).parent / name))[..., ::-1]
    rows, columns = image.shape[:2]
    part = r.uniform(0.5, 1) * min(rows / h, columns / w)
    high, wide = int(part * h), int(part * w)
    top, left = r.integers(rows - high + 1), r.integers(columns - wide + 1)
    cut = image[top : top + high, left : left + wide].astype(np.float32) / 255
    light = cut**2.2
    if not colour:
        light = np.repeat(light.mean(2, keepdims=True), 3, 2)
    light = cv2.resize(light, None, fx=800 / max(high, wide), fy=800 / max(high, wide))
    return (light * 2 ** np.float32(r.uniform(-2, 0.3))).clip(5e-4, 1.4).astype(np.float32)


def view(r: np.random.Generator, colour: bool, w: float, h: float, hard: bool = True) -> Array:
    """Return a drawn view or a photograph, by turns."""
    if r.random() < 0.5:
        return photograph(r, colour, w, h)
    return scenes.picture(r, scenes.style_of(r, hard), colour, w, h)


def moved(cx: float, cy: float, deg: float, along: float, across: float) -> tuple[float, float]:
    """Return the point of the table that lies (along, across) from a turned piece's centre."""
    a = np.deg2rad(deg)
    c, s = float(np.cos(a)), float(np.sin(a))
    return cx + along * c - across * s, cy + along * s + across * c


def whole(t: Table, corners: Array) -> bool:
    """Return whether all of a frame lies on the master."""
    return bool((corners >= 1).all() and (corners <= (t.w - 1, t.h - 1)).all())


@dataclass(frozen=True)
class Place:
    """The centre (mm on the table) and turn of something, and its size."""

    cx: float
    cy: float
    deg: float
    w: float
    h: float

    def local(self, t: Table) -> tuple[Array, Array]:
        return t.local(self.cx, self.cy, self.deg)

    def distance(self, t: Table, radius: float = 0.0) -> Array:
        return rect(*self.local(t), self.w, self.h, radius)

    def corners(self, t: Table) -> Array:
        return t.corners(self.cx, self.cy, self.deg, self.w, self.h)

    def within(self, along: float, across: float, w: float, h: float, turned: float = 0) -> Place:
        """Return a place given by its offset from this one's centre."""
        cx, cy = moved(self.cx, self.cy, self.deg, along, across)
        return Place(cx, cy, self.deg + turned, w, h)


def near(t: Table, at: Place) -> tuple[Table, tuple[slice, slice]]:
    """Return the part of a table about a place, of the same canvas, and which part it is."""
    corners = at.corners(t)
    # A curled strip passes the box of its corners.
    margin = 3 + round(getattr(t, "bulge_mm", 0) * t.scale)
    low = np.clip(np.floor(corners.min(0)).astype(int) - margin, 0, (t.w, t.h))
    high = np.clip(np.ceil(corners.max(0)).astype(int) + margin, 0, (t.w, t.h))
    part = slice(low[1], high[1]), slice(low[0], high[0])
    window = copy.copy(t)
    window.x, window.y, window.light = t.x[part], t.y[part], t.light[part]
    return window, part


def lay(
    t: Table, film: Stock, exposure: Array, at: Place, clip: Array | None = None, radius: float = 0
) -> Truth:
    """Lay a picture; clip: signed distance (mm, positive inside) that it does not pass."""
    window, part = near(t, at)
    u, v = at.local(window)
    d = rect(u, v, at.w, at.h, radius)
    inside = t.cover(d if clip is None else np.minimum(d, clip[part]))
    scenes.lay_picture(window, window.light, exposure, u, v, at.w, at.h, film.density, inside)
    return Truth(at.corners(t), film.polarity, film.process)


def lay_print(
    t: Table, r: np.random.Generator, exposure: Array, at: Place, process: str, white: Array
) -> Truth:
    """Lay a reflective picture on paper of this reflectance."""
    window, _ = near(t, at)
    u, v = at.local(window)
    seed, deepest = int(r.integers(1 << 30)), np.float32(r.uniform(1.5, 2.0))
    none = np.zeros(3, np.float32)

    def density(x: Array) -> Array:
        own = np.random.default_rng(seed)
        d = scenes.density_of(own, x, "positive", process, none)
        return -np.log10(white) + 0.02 + deepest * (1 - np.exp(-d / deepest))

    inside = t.cover(rect(u, v, at.w, at.h))
    scenes.lay_picture(window, window.light, exposure, u, v, at.w, at.h, density, inside)
    return Truth(at.corners(t), "positive", process)


@dataclass(frozen=True)
class Strip:
    """A piece of roll film of one stock: where it lies, and whether it has 35 mm perforations."""

    at: Place
    film: Stock
    perforated: bool

    def outline(self, t: Table, r: np.random.Generator) -> Array:
        """Return the signed distance (positive on film); holes of perforations are outside."""
        u, v = self.at.local(t)
        d = rect(u, v, self.at.w, self.at.h)
        if not self.perforated:
            return d
        holes = scenes.perforate(t, u, v, self.at.w, self.at.h, r.uniform(0, 4.75))
        return np.minimum(d, -holes)


def lay_film(t: Table, r: np.random.Generator, strip: Strip) -> Array:
    """Lay a strip without pictures; return its signed distance, far outside beyond its box."""
    window, part = near(t, strip.at)
    outline = np.full(t.x.shape, -99, np.float32)
    outline[part] = strip.outline(window, r)
    over(window.light, 10**-strip.film.border, t.cover(outline[part]))
    return outline


def lay_pictures(
    t: Table,
    strip: Strip,
    outline: Array,
    places: Sequence[Place],
    views: Sequence[Array | None],
) -> list[Truth]:
    """Lay a view at each place (None: a blank frame); return those whole on the master."""
    truth = []
    for at, exposure in zip(places, views, strict=True):
        corners = at.corners(t)
        seen = Truth(corners, strip.film.polarity, strip.film.process, exposure is None)
        if exposure is not None:
            lay(t, strip.film, exposure, at, outline)
        if whole(t, corners):
            truth.append(seen)
    return truth


def along(
    r: np.random.Generator, at: Place, count: int, size: tuple[float, float], pitch: float
) -> list[Place]:
    """Return places of frames along a strip, about evenly from its middle."""
    shift = r.uniform(-0.8, 0.8)
    middles = (np.arange(count) - (count - 1) / 2) * pitch + shift + r.normal(0, 0.08, count)
    return [at.within(float(middle), 0, *size) for middle in middles]


def lay_strip(
    t: Table,
    r: np.random.Generator,
    strip: Strip,
    count: int,
    size: tuple[float, float],
    pitch: float,
) -> list[Truth]:
    """Lay film and ordinary pictures; return those that lie whole on the master."""
    outline = lay_film(t, r, strip)
    colour = strip.film.process == "colour"
    views = [view(r, colour, *size, hard=r.random() < 0.4) for _ in range(count)]
    return lay_pictures(t, strip, outline, along(r, strip.at, count, size, pitch), views)


def lay_opaque(t: Table, r: np.random.Generator, d: Array) -> None:
    """Cover what lies inside of a signed distance with a mask, a mount or card."""
    over(t.light, scenes.opaque(r), t.cover(d))


def lay_ruler(t: Table, at: Place, paper: float, ink: float) -> None:
    """Lay a ruler with a line each millimetre, longer ones each five and ten."""
    u, v = at.local(t)
    on = rect(u, v, at.w, at.h)
    over(t.light, np.full(3, paper, np.float32), t.cover(on))
    start = u + np.float32(at.w / 2)
    for step, share in ((1, 0.25), (5, 0.4), (10, 0.55)):
        off = np.abs((start + step / 2) % step - step / 2)
        line = np.minimum(np.float32(0.1) - off, np.float32(share * at.h) - (v + at.h / 2))
        over(t.light, np.full(3, ink, np.float32), t.cover(np.minimum(line, on - 1)))


def lay_patches(t: Table, r: np.random.Generator, at: Place, count: int, colour: bool) -> None:
    """Lay a card with a row of grey or coloured patches."""
    over(t.light, np.full(3, r.uniform(0.02, 0.9), np.float32), t.cover(at.distance(t)))
    wide = at.w / count
    for number in range(count):
        grey = 0.9 * 10 ** (-1.6 * number / max(count - 1, 1))
        value = r.uniform(0.03, 0.8, 3) if colour else np.full(3, grey)
        patch = at.within((number - (count - 1) / 2) * wide, 0, wide * 0.86, at.h * 0.8)
        over(t.light, value.astype(np.float32), t.cover(patch.distance(t)))


def texture(t: Table, r: np.random.Generator, amount: float, size_px: float = 2.0) -> Array:
    """Return a factor per pixel: the grain of board or cloth, finer and coarser together."""
    fine = cv2.GaussianBlur(
        r.standard_normal((t.h, t.w)).astype(np.float32), (0, 0), size_px, sigmaY=size_px * 1.5
    )
    coarse = r.standard_normal((max(4, t.h // 40), max(4, t.w // 40))).astype(np.float32)
    coarse = cv2.resize(coarse, (t.w, t.h), interpolation=cv2.INTER_CUBIC)
    both = fine / fine.std() * amount + coarse * amount * 0.5
    return np.exp(both)[..., None].astype(np.float32)


def ink(t: Table, r: np.random.Generator, at: Place, value: float, letters: int = 4) -> None:
    """Write a number by hand: short strokes within a place."""
    wide = at.w / letters
    for number in range(letters):
        middle = at.within((number - (letters - 1) / 2) * wide, 0, 0, 0)
        knots = r.uniform(-0.5, 0.5, (4, 2)) * (wide * 0.8, at.h)
        points = []
        for x, y in knots:
            px = np.append(moved(middle.cx, middle.cy, at.deg, x, y), 1) @ t.to_px.T
            points.append(px[:2] / px[2])
        thick = max(1, round(0.35 * t.scale))
        line = np.round(points).astype(np.int32)
        cv2.polylines(t.light, [line], False, [value] * 3, thick, cv2.LINE_AA)
