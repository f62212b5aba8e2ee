"""Layouts of roll film: strips, several of them, sleeves, cartridges, panoramas."""

from __future__ import annotations

import numpy as np

from benchmarks.locate.layouts_parts import (
    PERFORATED_MM,
    Place,
    Strip,
    ink,
    lay_strip,
    stock,
)
from benchmarks.locate.scenes import Table, Truth

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
