"""Layouts of roll film: several strips, sleeves, cartridges, panoramas, odd strips, one frame."""

from __future__ import annotations

import cv2
import numpy as np

from benchmarks.locate import scenes
from benchmarks.locate.layouts_parts import (
    PERFORATED_MM,
    Place,
    Stock,
    Strip,
    along,
    ink,
    lay,
    lay_film,
    lay_opaque,
    lay_pictures,
    lay_strip,
    stock,
    view,
    whole,
)
from benchmarks.locate.scenes import Array, Table, Truth, over, rect

Laid = tuple[Table, list[Truth]]


def sleeve_page(r: np.random.Generator) -> Laid:
    """A page of clear pockets with strips of 35 mm or 120 film, on the light table."""
    small = r.random() < 0.65
    rows = int(r.integers(3, 8)) if small else int(r.integers(2, 5))
    each = int(r.integers(4, 7)) if small else int(r.integers(2, 4))
    size = (36.0, 24.0) if small else ((56.0, 56.0) if r.random() < 0.6 else (69.0, 56.0))
    pitch = size[0] + (2.0 if small else r.uniform(2.5, 5))
    film_mm = PERFORATED_MM if small else 61.5
    pocket = film_mm + r.uniform(4, 8)
    long = each * pitch + r.uniform(2, 5)
    page = Place(0, 0, 0, long + r.uniform(18, 40), rows * pocket + r.uniform(10, 30))
    margin = r.uniform(-6, 12)  # below zero the page passes the master's edges
    width, height = page.w + margin, page.h + max(margin, -4)
    ppi = 25.4 * r.uniform(1800, 2500) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-1, 1), r.choice([0, 0.15]))
    film = stock(r)
    top = -rows * pocket / 2
    truth = []
    for row in range(rows):
        if row == rows - 1 and r.random() < 0.3:
            continue  # an empty pocket
        held = each if r.random() < 0.7 else int(r.integers(1, each + 1))
        length = held * pitch + 2
        slack = (long - length) / 2
        cx = 4 - slack if r.random() < 0.5 else 4 + r.uniform(-1, 1) * slack
        cy = top + (row + 0.5) * pocket + r.uniform(-1, 1) * (pocket - film_mm - 2.5) / 2
        at = Place(cx, cy, r.normal(0, 0.25), length, film_mm)
        truth += lay_strip(t, r, Strip(at, film, small), held, size, pitch)
    _sleeve(t, r, page, rows, pocket)
    return t, truth


def _sleeve(t: Table, r: np.random.Generator, page: Place, rows: int, pocket: float) -> None:
    """Lay the page over its film: a slight density, welded seams, holes for a binder."""
    u, v = page.local(t)
    density = np.full_like(u, r.choice([0.02, 0.05, 0.15]))
    weld, dark = np.float32(r.uniform(0.4, 1.2)), np.float32(r.uniform(0.05, 0.3))
    for row in range(rows + 1):
        seam = (row - rows / 2) * pocket
        density += dark * (np.abs(v - np.float32(seam)) < weld)
    for seam in (-page.w / 2 + 14, page.w / 2 - 2):
        density += dark * (np.abs(u - np.float32(seam)) < weld)
    holes = np.full_like(u, -9.0)
    for place in (-40, 40):
        hole = 3 - np.hypot(u + page.w / 2 - 7, v - np.float32(place))
        holes = np.maximum(holes, hole)
    on = t.cover(np.minimum(page.distance(t, 1), -holes))
    t.light *= 10 ** -(density[..., None] * on)
    ink(t, r, page.within(0, -page.h / 2 + 3, 40, 3), 0.05, 9)


def several_strips(r: np.random.Generator) -> Laid:
    """Two to four strips of one film, or of several, on the table."""
    small = r.random() < 0.7
    count = int(r.integers(2, 5 if small else 4))
    each = int(r.integers(3, 7)) if small else int(r.integers(2, 4))
    size = (36.0, 24.0) if small else (56.0, 56.0)
    pitch = size[0] + (2.0 if small else r.uniform(2, 5))
    film_mm = PERFORATED_MM if small else 61.5
    gap = r.uniform(1.5, 12)
    width, height = each * pitch + r.uniform(8, 24), count * (film_mm + gap) + r.uniform(6, 16)
    ppi = 25.4 * r.uniform(1600, 2500) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-1, 1), r.choice([0, 0.15]))
    film = stock(r)
    mixed = r.random() < 0.25
    truth = []
    for number in range(count):
        own = stock(r) if mixed else film
        held = each if r.random() < 0.7 else int(r.integers(1, each + 1))
        cy = (number - (count - 1) / 2) * (film_mm + gap)
        lean = np.rad2deg(gap / max(each * pitch, 1)) * 0.4
        length = held * pitch + r.uniform(0.5, 4)
        at = Place(r.uniform(-2, 2), cy, r.uniform(-1, 1) * lean, length, film_mm)
        truth += lay_strip(t, r, Strip(at, own, small), held, size, pitch)
    return t, truth


def neighbour_strip(r: np.random.Generator) -> Laid:
    """A strip, and a part of another one that the master's edge cuts off."""
    small = r.random() < 0.7
    each = int(r.integers(3, 7)) if small else int(r.integers(2, 4))
    size = (36.0, 24.0) if small else (56.0, 56.0)
    pitch = size[0] + (2.0 if small else r.uniform(2, 5))
    film_mm = PERFORATED_MM if small else 61.5
    gap, shown = r.uniform(1.5, 8), r.uniform(0.15, 0.75) * film_mm
    width, height = each * pitch + r.uniform(6, 20), film_mm + gap + shown + r.uniform(3, 8)
    ppi = 25.4 * r.uniform(1500, 2400) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-0.6, 0.6), 0)
    film = stock(r)
    side = 1 if r.random() < 0.5 else -1
    cy = -side * (height / 2 - film_mm / 2 - 2)
    at = Place(0, cy, 0, each * pitch + r.uniform(1, 4), film_mm)
    truth = lay_strip(t, r, Strip(at, film, small), each, size, pitch)
    beyond = Place(r.uniform(-15, 15), cy + side * (film_mm + gap), r.uniform(-0.5, 0.5),
                   at.w, film_mm)  # fmt: skip
    truth += lay_strip(t, r, Strip(beyond, film, small), each, size, pitch)
    return t, truth


def table_of(
    r: np.random.Generator, length: float, film_mm: float, longest_px: float = 2300
) -> Table:
    """Return a table for one strip, which runs out of it at both ends now and then."""
    width = length + (r.uniform(4, 14) if r.random() < 0.75 else -r.uniform(1, 6))
    skew = r.uniform(-1.5, 1.5)
    height = film_mm + r.uniform(4, 12) + length * abs(np.sin(np.deg2rad(skew)))
    ppi = 25.4 * r.uniform(0.6, 1) * longest_px / max(width, height)
    t = Table(r, width, height, ppi, skew, r.choice([0, 0.15]))
    if r.random() < 0.15:
        lay_opaque(t, r, -rect(t.x, t.y, length + 4, film_mm + 2))
    return t


def views_of(r: np.random.Generator, film: Stock, count: int, size: tuple[float, float]) -> list:
    return [view(r, film.process == "colour", *size) for _ in range(count)]


def half_frames(r: np.random.Generator) -> Laid:
    """Pictures of 18 x 24 mm on 35 mm film."""
    count, pitch = int(r.integers(6, 13)), r.uniform(18.6, 19.3)
    at = Place(0, 0, 0, count * pitch + r.uniform(1, 10), PERFORATED_MM)
    t = table_of(r, at.w, at.h)
    size = 18 + r.uniform(-0.3, 0.3), 24 + r.uniform(-0.2, 0.2)
    return t, lay_strip(t, r, Strip(at, stock(r), True), count, size, pitch)


def panorama(r: np.random.Generator) -> Laid:
    """Long pictures: 24 x 58 or 65 on 35 mm film, 56 x 112 or 168 on 120."""
    small = r.random() < 0.5
    long = float(r.choice([58, 65] if small else [112, 168]))
    count = int(r.integers(1, 4)) if small else int(r.integers(1, 3))
    size = (long + r.uniform(-0.5, 0.5), 24.0 if small else 56.0)
    pitch = size[0] + r.uniform(1.5, 5)
    at = Place(0, 0, 0, count * pitch + r.uniform(2, 12), PERFORATED_MM if small else 61.5)
    t = table_of(r, at.w, at.h)
    return t, lay_strip(t, r, Strip(at, stock(r), small), count, size, pitch)


def dense_120(r: np.random.Generator) -> Laid:
    """Pictures on 120 film with narrow gaps, some exposed so much that they are nearly black."""
    wide = float([41.5, 56, 69, 76, 82.6][r.integers(5)]) + r.uniform(-0.5, 0.5)
    count = int(r.integers(2, 5)) if wide < 60 else int(r.integers(2, 4))
    pitch = wide + r.uniform(0.2, 2.5)
    at = Place(0, 0, 0, count * pitch + r.uniform(1, 8), 61.5)
    t = table_of(r, at.w, at.h)
    film = stock(r, "negative")
    size = wide, 56 + r.uniform(-0.6, 0.4)
    views = [
        light * np.float32(r.uniform(4, 14)) if r.random() < 0.6 else light
        for light in views_of(r, film, count, size)
    ]
    strip = Strip(at, film, False)
    return t, lay_pictures(t, strip, lay_film(t, r, strip), along(r, at, count, size, pitch), views)


def leader(r: np.random.Generator) -> Laid:
    """The beginning of a film: fogged by daylight, ragged towards the first picture."""
    small = r.random() < 0.75
    size = (36.0, 24.0) if small else (56.0, 56.0)
    count = int(r.integers(2, 6)) if small else int(r.integers(1, 4))
    pitch = size[0] + (2.0 if small else r.uniform(1, 5))
    fogged = r.uniform(0.3, 1.6) * pitch
    at = Place(0, 0, 0, count * pitch + fogged + 2, PERFORATED_MM if small else 61.5)
    t = table_of(r, at.w, at.h)
    film = stock(r)
    strip = Strip(at, film, small)
    outline = lay_film(t, r, strip)
    places = along(r, at.within(fogged / 2, 0, at.w, at.h), count, size, pitch)
    truth = lay_pictures(t, strip, outline, places, views_of(r, film, count, size))
    u, v = at.local(t)
    edge = np.float32(-at.w / 2 + fogged - r.uniform(0.2, 6)) + v * np.float32(r.uniform(-0.3, 0.3))
    edge += scenes.ragged(r, u + np.float32(at.w / 2), v, 10, r.uniform(0, 1.5))
    soft = np.clip((edge - u) / np.float32(r.uniform(0.5, 8)), 0, 1)[..., None]
    struck = (
        10 ** -np.full(3, r.uniform(1.6, 3.0)) if film.polarity == "negative" else 10**-film.base
    )
    on = soft * t.cover(outline)
    t.light[:] = t.light ** (1 - on) * struck.astype(np.float32) ** on
    return t, truth


def reversal(r: np.random.Generator) -> Laid:
    """Slide film: a black rebate with bright printing along its edges, some dark pictures."""
    small = r.random() < 0.7
    size = (36.0, 24.0) if small else (56.0, 56.0)
    count = int(r.integers(3, 7)) if small else int(r.integers(2, 4))
    pitch = size[0] + (2.0 if small else r.uniform(1, 5))
    at = Place(0, 0, 0, count * pitch + r.uniform(1, 6), PERFORATED_MM if small else 61.5)
    t = table_of(r, at.w, at.h)
    film = stock(r, "positive", "colour")
    strip = Strip(at, film, small)
    outline = lay_film(t, r, strip)
    places = along(r, at, count, size, pitch)
    views = [
        light * np.float32(r.uniform(0.02, 0.2)) if r.random() < 0.35 else light
        for light in views_of(r, film, count, size)
    ]
    truth = lay_pictures(t, strip, outline, places, views)
    bright = float(r.uniform(0.15, 0.7))
    for number in range(count * 2):
        for side in (-1, 1):
            if r.random() < 0.6:
                place = (number + 0.5 - count) * pitch / 2, side * (at.h / 2 - 1.1)
                mark = at.within(*place, r.uniform(2, 9), 1.1)
                ink(t, r, mark, bright * r.uniform(0.7, 1), int(r.integers(1, 6)))
    return t, truth


def overlapped(r: np.random.Generator) -> Laid:
    """The second picture was begun before the first one had passed: both lie on one another."""
    small = r.random() < 0.7
    size = (36.0, 24.0) if small else (56.0, 56.0)
    count = int(r.integers(3, 7)) if small else 3
    pitch = size[0] + (2.0 if small else r.uniform(1, 5))
    shared = r.uniform(1, 0.35 * size[0])
    short = shared + pitch - size[0]
    at = Place(0, 0, 0, count * pitch - short + r.uniform(1, 6), PERFORATED_MM if small else 61.5)
    t = table_of(r, at.w, at.h)
    film = stock(r, "negative")
    strip = Strip(at, film, small)
    outline = lay_film(t, r, strip)
    where = int(r.integers(1, count)) if r.random() < 0.3 else 1
    places = along(r, at, count, size, pitch)
    places = [
        p.within(short / 2 if number < where else -short / 2, 0, p.w, p.h)
        for number, p in enumerate(places)
    ]
    views = views_of(r, film, count, size)
    truth = lay_pictures(t, strip, outline, places[:where], views[:where])
    first = t.light / 10**-film.base
    truth += lay_pictures(t, strip, outline, places[where:], views[where:])
    both = np.minimum(places[where - 1].distance(t), places[where].distance(t))
    both = t.cover(np.minimum(both, outline))
    t.light *= 1 - both + both * np.minimum(first, 1)
    return t, truth


class Curled(Table):
    """A table on which film does not lie flat: straight lines along and across it are bent.

    A point (x, y) of the film lies at (x - c (y / reach_y)^2, y - b (x / reach_x)^2), in mm.
    """

    bend: tuple[float, float, float, float]
    bulge_mm = 0.0

    def curl(self, b: float, c: float, reach_x: float, reach_y: float) -> None:
        self.bend = b, c, reach_x, reach_y
        self.bulge_mm = abs(b) + abs(c)
        x, y = self.x, self.y
        self.x = x + np.float32(c) * (y / np.float32(reach_y)) ** 2
        self.y = y + np.float32(b) * (x / np.float32(reach_x)) ** 2

    def corners(self, cx: float, cy: float, deg: float, w: float, h: float) -> Array:
        px = super().corners(cx, cy, deg, w, h)
        flat = np.c_[px, np.ones(4)] @ self.from_px.T
        flat = flat[:, :2] / flat[:, 2:]
        b, c, reach_x, reach_y = self.bend
        lies = flat.copy()
        for _ in range(20):  # what `curl` turns into `flat`
            lies[:, 0] = flat[:, 0] - c * (lies[:, 1] / reach_y) ** 2
            lies[:, 1] = flat[:, 1] - b * (lies[:, 0] / reach_x) ** 2
        back = np.c_[lies, np.ones(4)] @ self.to_px.T
        return back[:, :2] / back[:, 2:]


def curled(r: np.random.Generator) -> Laid:
    """A strip that does not lie flat: its long sides and the pictures' sides are bent."""
    small = r.random() < 0.7
    size = (36.0, 24.0) if small else (56.0, 56.0)
    count = int(r.integers(1, 6)) if small else int(r.integers(1, 4))
    pitch = size[0] + (2.0 if small else r.uniform(1, 5))
    film_mm = PERFORATED_MM if small else 61.5
    at = Place(0, 0, 0, count * pitch + r.uniform(1, 6), film_mm)
    width, height = at.w + r.uniform(5, 12), film_mm + r.uniform(7, 14)
    t = Curled(r, width, height, 25.4 * r.uniform(1300, 2300) / max(width, height), 0, 0)
    t.curl(
        np.clip(r.normal(0, 0.006), -0.01, 0.01) * at.w, r.normal(0, 0.15), at.w / 2, film_mm / 2
    )
    return t, lay_strip(t, r, Strip(at, stock(r), small), count, size, pitch)


def portrait(r: np.random.Generator, colour: bool, w: float, h: float, backdrop: float) -> Array:
    """Return a head and shoulders before a plain backdrop (its exposure), as exposure."""
    high, wide = (800, round(800 * w / h)) if h > w else (round(800 * h / w), 800)
    ev = np.full((high, wide), backdrop, np.float32)
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    cx, cy, head = (
        wide * r.uniform(0.4, 0.6),
        high * r.uniform(0.3, 0.45),
        high * r.uniform(0.12, 0.2),
    )
    shade = 1 + np.float32(0.35) * np.clip((cx - x) / head, -1, 1)
    body = np.hypot((x - cx) / (2.3 * head), (y - cy - 3.6 * head) / (2.6 * head)) < 1
    ev = np.where(body, np.float32(r.choice([0.01, 0.03, 0.5])), ev)
    face = np.hypot((x - cx) / (0.78 * head), (y - cy) / head) < 1
    ev = np.where(face, np.float32(r.uniform(0.12, 0.4)) * shade, ev)
    hair = (np.hypot((x - cx) / (0.85 * head), (y - cy + 0.25 * head) / head) < 1) & (
        y < cy - 0.3 * head
    )
    ev = np.where(hair, np.float32(r.choice([0.008, 0.05, 0.3])), ev)
    ev = cv2.GaussianBlur(ev, (0, 0), 2.5)
    ev *= np.exp(np.float32(0.05) * cv2.GaussianBlur(
        r.standard_normal((high, wide)).astype(np.float32), (0, 0), 6) * 12)  # fmt: skip
    tint = np.array([1.15, 1.0, 0.8] if colour else [1, 1, 1], np.float32)
    return (ev[..., None] * tint).clip(1e-3, 1.4).astype(np.float32)


def portraits(r: np.random.Generator) -> Laid:
    """A studio's portraits before one backdrop, dark, grey or white: sides hardly show."""
    small = r.random() < 0.75
    size = (36.0, 24.0) if small else (41.5, 56.0)
    count = int(r.integers(3, 7)) if small else int(r.integers(2, 5))
    pitch = size[0] + (2.0 if small else r.uniform(1, 5))
    at = Place(0, 0, 0, count * pitch + r.uniform(1, 6), PERFORATED_MM if small else 61.5)
    t = table_of(r, at.w, at.h)
    film = stock(r)
    strip = Strip(at, film, small)
    backdrop = float(r.choice([0.002, 0.01, 0.05, 0.2, 0.9]))
    views = [portrait(r, film.process == "colour", *size, backdrop) for _ in range(count)]
    outline = lay_film(t, r, strip)
    return t, lay_pictures(t, strip, outline, along(r, at, count, size, pitch), views)


def cartridge(r: np.random.Generator) -> Laid:
    """Film from 126 or 110 cartridges: one hole a picture, borders exposed beforehand.

    28 x 28 mm on film 35 mm wide, 13 x 17 mm on film 16 mm wide: values from memory.
    """
    large = r.random() < 0.5
    wide, high, film_mm = (28.0, 28.0, 35.0) if large else (17.0, 13.0, 16.0)
    pitch = wide + (r.uniform(3, 5) if large else r.uniform(7, 9))
    count = int(r.integers(3, 6))
    at = Place(0, 0, 0, count * pitch + r.uniform(0, 5), film_mm)
    t = table_of(r, at.w, at.h, 1900)
    film = stock(r)
    over(t.light, 10**-film.border, t.cover(at.distance(t)))
    off = -film_mm / 2 + high / 2 + r.uniform(1.2, 1.8)
    places = along(r, at.within(0, -off, at.w, film_mm), count, (wide, high), pitch)
    truth = []
    exposed = r.random() < 0.5
    for place, light in zip(places, views_of(r, film, count, (wide, high)), strict=True):
        if exposed:
            rim = place.within(0, 0, wide + 2.2, high + 1.6).distance(t)
            value = 10**-1.7 if film.polarity == "negative" else 0.6
            ring = np.minimum(np.minimum(rim, 0.5 - rim), at.distance(t))
            over(t.light, np.full(3, value), t.cover(ring))
        seen = lay(t, film, light, place)
        hole = place.within(-wide / 2 - 1.5, off + film_mm / 2 - 2.2, 2.5, 1.9)
        over(t.light, np.ones(3), t.cover(hole.distance(t, 0.4)))
        if whole(t, seen.corners):
            truth.append(seen)
    return t, truth


def single_perforations(r: np.random.Generator) -> Laid:
    """One 35 mm picture with its perforations in view, a cut one or with its neighbours' ends."""
    cut = r.random() < 0.4
    shown = r.uniform(37, 41) if cut else r.uniform(41, 54)
    at = Place(0, 0, 0, shown if cut else 3 * 38.0, PERFORATED_MM)
    width, height = shown + (r.uniform(2, 12) if cut else 0), PERFORATED_MM + r.uniform(1.5, 9)
    t = Table(r, width, height, r.uniform(700, 1300), r.uniform(-2, 2), r.choice([0, 0.2]))
    film = stock(r)
    strip = Strip(at, film, True)
    outline = lay_film(t, r, strip)
    size = 36 + r.uniform(-0.3, 0.3), 24 + r.uniform(-0.2, 0.2)
    count = 1 if cut else 3
    places = along(r, at, count, size, 38.0)
    truth = lay_pictures(t, strip, outline, places, views_of(r, film, count, size))
    if r.random() < 0.4:  # a mask or carrier that ends beside the perforations
        lay_opaque(t, r, -rect(t.x, t.y, width - r.uniform(0, 2), height - r.uniform(0.5, 2), 0.5))
    return t, truth


def small_aperture(r: np.random.Generator) -> Laid:
    """A mask whose opening is smaller than the picture: no rebate shows, often of orange film."""
    film = stock(r, "negative", "colour" if r.random() < 0.75 else "monochrome")
    w, h = [(36.0, 24.0), (56.0, 56.0), (95.5, 120.5)][r.choice(3, p=[0.6, 0.25, 0.15])]
    share = r.uniform(0.75, 0.98)
    opening = Place(r.uniform(-0.5, 0.5), r.uniform(-0.5, 0.5), 0, w * share, h * share)
    width, height = w * r.uniform(1.05, 2.2), h * r.uniform(1.1, 2.2)
    ppi = 25.4 * r.uniform(1300, 2300) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-3, 3), r.choice([0, 0.2]))
    lay(t, film, view(r, film.process == "colour", w, h), Place(0, 0, 0, w, h))
    lay_opaque(t, r, -opening.distance(t, r.uniform(0, 0.6)))
    return t, [Truth(opening.corners(t), film.polarity, film.process)]
