"""Layouts of plates, sheets, slides and prints."""

from __future__ import annotations

import cv2
import numpy as np

from benchmarks.locate import scenes
from benchmarks.locate.layouts_parts import (
    Place,
    Stock,
    ink,
    lay,
    lay_opaque,
    lay_patches,
    lay_print,
    lay_ruler,
    stock,
    texture,
    view,
)
from benchmarks.locate.scenes import Array, Table, Truth, over, rect

Laid = tuple[Table, list[Truth]]

# Stereo plates (w, h), a picture's size and the distance of the pictures' centres, mm.
STEREO = (
    ((107, 45), (41, 41), 63.0),
    ((130, 60), (57, 54), 64.0),
    ((170, 83), (73, 76), 82.0),
    ((180, 130), (84, 118), 87.0),
)


def spread(t: Table, r: np.random.Generator, pictures: Array, emulsion: Array) -> None:
    """Light of dense parts spreads in the glass beyond a picture's edge (halation)."""
    inside = np.clip(pictures, 0, 1)[..., 0]
    density = -np.log10(np.maximum(t.light[..., 1], 1e-4)) * inside
    reach = r.uniform(0.8, 2.5) * t.scale
    near = cv2.GaussianBlur(density, (0, 0), reach) * np.float32(r.uniform(0.1, 0.5))
    t.light *= 10 ** -(near[..., None] * (1 - pictures) * emulsion)


def glass(t: Table, r: np.random.Generator, at: Place) -> Array:
    """Lay a plate of glass; return its signed distance."""
    d = at.distance(t, 0.3)
    t.light *= 1 - t.cover(d) * np.float32(1 - 10 ** -r.uniform(0.03, 0.06))
    t.light *= 1 - np.float32(0.4) * np.exp(-(((d - 0.2) / 0.15) ** 2))[..., None]
    return d


def emulsion_of(t: Table, r: np.random.Generator, at: Place, film: Stock, d: Array) -> Array:
    """Coat a plate, ragged along its edges; return the emulsion's signed distance."""
    u, v = at.local(t)
    edge = rect(u, v, at.w - r.uniform(0.4, 2.5), at.h - r.uniform(0.4, 2.5), 0.8)
    edge = np.minimum(edge + scenes.ragged(r, u, v, at.w, r.uniform(0.1, 0.5)), d)
    over(t.light, 10**-film.border, t.cover(edge))
    return edge


def exposures(r: np.random.Generator) -> Laid:
    """Two or three exposures of one scene on a plate, one above or beside the other."""
    count = int(r.choice([2, 3, 3]))
    wide = r.uniform(70, 130)
    share = r.uniform(0.75, 1.1) if count == 3 else r.uniform(0.6, 1.4)
    gap = r.uniform(0.4, 3.0)
    heights = share * wide * (1 + r.uniform(-1, 1, count) * r.choice([0.0, 0.04, 0.15]))
    ends, sides = r.uniform(0.8, 6, 2), r.uniform(0.8, 5, 2)
    long = heights.sum() + gap * (count - 1) + ends.sum()
    upright = r.random() < 0.65
    plate_w, plate_h = (wide + sides.sum(), long) if upright else (long, wide + sides.sum())
    ppi = min(r.uniform(110, 300), 2400 * 25.4 / long)
    margin = r.uniform(3, 14)
    t = Table(r, plate_w + margin, plate_h + margin, ppi, r.uniform(-2, 2), r.choice([0, 0.2]))
    film = stock(r, "negative", "monochrome")
    plate = Place(0, 0, 0, plate_w, plate_h)
    coat = emulsion_of(t, r, plate, film, glass(t, r, plate))
    scene = view(r, True, wide, share * wide)
    truth, at, pictures = [], -long / 2 + ends[0], np.zeros((t.h, t.w, 1), np.float32)
    order = r.permutation(3)
    for number, high in enumerate(heights):
        centre, off = at + high / 2, (sides[0] - sides[1]) / 2 + r.normal(0, 0.25)
        place = Place(off, centre, r.normal(0, 0.15), wide + r.normal(0, 0.3), high)
        if not upright:
            place = Place(centre, off, place.deg, high, place.w)
        light = np.repeat(scene[..., order[number], None], 3, 2) * 2 ** np.float32(r.normal(0, 0.4))
        u, v = place.local(t)
        ragged = scenes.ragged(r, u, v, wide, r.choice([0.0, 0.05, 0.2]))
        clip = np.minimum(coat, rect(u, v, place.w, place.h) + ragged)
        truth.append(lay(t, film, light, place, clip))
        pictures = np.maximum(pictures, t.cover(np.minimum(clip, rect(u, v, place.w, place.h))))
        at += high + gap
    if r.random() < 0.6:
        spread(t, r, pictures, t.cover(coat))
    if r.random() < 0.5:
        ink(t, r, plate.within(-plate_w / 4, -plate_h / 2 + 1.5, 14, 2.5), 0.02)
    return t, truth


def stereo(r: np.random.Generator) -> Laid:
    """A stereo plate: two pictures of one scene side by side, a negative or a transparency."""
    (plate_w, plate_h), (w, h), apart = STEREO[r.integers(len(STEREO))]
    w, h = w + r.uniform(-1, 0.5), h + r.uniform(-1.5, 0.5)
    apart = max(apart + r.uniform(-1, 1), w + r.uniform(0.3, 2))
    ppi = r.uniform(200, 420)
    t = Table(r, plate_w + r.uniform(4, 14), plate_h + r.uniform(4, 14), ppi,
              r.uniform(-3, 3), r.choice([0, 0.2]))  # fmt: skip
    film = stock(r, "negative" if r.random() < 0.6 else "positive", "monochrome")
    plate = Place(0, 0, 0, plate_w, plate_h)
    d = glass(t, r, plate)
    masked = film.polarity == "positive" and r.random() < 0.7
    if masked:
        lay_opaque(t, r, d)
    coat = d if masked else emulsion_of(t, r, plate, film, d)
    wider = view(r, False, w * 1.06, h)
    columns = wider.shape[1]
    cut = int(columns / 1.06)
    truth = []
    for side in (-1, 1):
        light = wider[:, :cut] if side < 0 else wider[:, columns - cut :]
        place = Place(side * apart / 2, r.normal(0, 0.2), r.normal(0, 0.15), w, h)
        arched = float(r.choice([0, 0, 2.0])) if masked else 0.0
        truth.append(lay(t, film, light, place, coat, arched))
    return t, truth


def ground(t: Table, r: np.random.Generator, choices: tuple[str, ...]) -> str:
    """Lay what prints lie on; return which of `choices` it is."""
    kind = str(r.choice(choices))
    low, high = {"black": (0.01, 0.05), "grey": (0.1, 0.35), "white": (0.8, 1.0),
                 "board": (0.15, 0.6)}[kind]  # fmt: skip
    t.light[:] = (r.uniform(low, high) * (1 + r.uniform(-0.06, 0.06, 3))).astype(np.float32)
    if kind == "board":
        t.light *= texture(t, r, r.uniform(0.03, 0.12), r.uniform(1.0, 3.0))
    return kind


def paper(r: np.random.Generator, kind: str) -> Array:
    white = np.array([0.83, 0.80, 0.74], np.float32) * np.float32(r.uniform(0.9, 1.05))
    return white * np.float32(0.9) if kind == "white" else white


def one_print(t: Table, r: np.random.Generator, at: Place, white: Array) -> Truth:
    """Lay a print, with a white border or without; the truth is its picture."""
    over(t.light, white, t.cover(at.distance(t, r.choice([0, 0.8]))))
    border = r.uniform(2.5, 6) if r.random() < 0.6 else 0.0
    process = scenes.process_of(r, "positive")
    picture = at.within(0, 0, at.w - 2 * border, at.h - 2 * border)
    light = view(r, process == "colour", picture.w, picture.h)
    return lay_print(t, r, light, picture, process, white)


def rows_of(r: np.random.Generator, count: int, w: float, h: float, gap: float) -> list[Place]:
    """Return places of `count` pieces of about one size in rows, laid by hand."""
    across = int(np.ceil(np.sqrt(count * h / w * 1.3)))
    down = int(np.ceil(count / across))
    places = []
    for number in range(count):
        row, column = divmod(number, across)
        cx = (column - (across - 1) / 2) * (w + gap) + r.uniform(-0.3, 0.3) * gap
        cy = (row - (down - 1) / 2) * (h + gap) + r.uniform(-0.3, 0.3) * gap
        places.append(Place(cx, cy, r.uniform(-1.5, 1.5), w, h))
    return places


def extent(places: list[Place], margin: float) -> tuple[float, float]:
    """Return the width and height (mm) of a table that holds all places, centred on it."""
    wide = max(abs(p.cx) + p.w / 2 for p in places)
    high = max(abs(p.cy) + p.h / 2 for p in places)
    return 2 * (wide + margin), 2 * (high + margin)


def several_prints(r: np.random.Generator) -> Laid:
    """Two to six prints in one capture."""
    w, h = [(90, 60), (140, 90), (130, 180), (85, 85), (148, 105)][r.integers(5)]
    places = rows_of(r, int(r.integers(2, 7)), w, h, r.uniform(6, 20))
    sizes = r.uniform(0.8, 1.0, len(places)) if r.random() < 0.5 else np.ones(len(places))
    places = [
        Place(p.cx, p.cy, p.deg, p.w * s, p.h * s) for p, s in zip(places, sizes, strict=True)
    ]
    width, height = extent(places, r.uniform(6, 20))
    ppi = 25.4 * r.uniform(1500, 2400) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-1, 1), r.choice([0, 0.2]))
    white = paper(r, ground(t, r, ("black", "grey", "white", "board")))
    return t, [one_print(t, r, place, white) for place in places]


def several_slides(r: np.random.Generator) -> Laid:
    """Mounted slides side by side on the light table."""
    places = rows_of(r, int(r.integers(2, 9)), 50.0, 50.0, r.uniform(3, 14))
    width, height = extent(places, r.uniform(4, 12))
    ppi = 25.4 * r.uniform(1600, 2500) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-1.5, 1.5), r.choice([0, 0.2]))
    film = stock(r, "positive")
    card = scenes.opaque(r)
    upright = r.random() < 0.3
    truth = []
    for at in places:
        over(t.light, card * np.float32(r.uniform(0.8, 1.2)), t.cover(at.distance(t, 2.0)))
        w, h = 34.2 + r.uniform(-0.5, 0.8), 22.9 + r.uniform(-0.5, 0.6)
        w, h = (h, w) if upright or r.random() < 0.15 else (w, h)
        opening = at.within(r.normal(0, 0.15), r.normal(0, 0.15), w, h)
        light = view(r, film.process == "colour", w, h, hard=r.random() < 0.4)
        truth.append(lay(t, film, light, opening, radius=float(r.uniform(0, 1.5))))
    return t, truth


def print_ruler(r: np.random.Generator) -> Laid:
    """A print with a ruler, and a card of patches, beside it on grey or black."""
    w, h = [(180, 130), (130, 180), (140, 90), (254, 203)][r.integers(4)]
    gap, strip = r.uniform(4, 15), r.uniform(12, 30)
    below, beside = r.random() < 0.8, r.random() < 0.6
    places = [Place(0, 0, r.uniform(-1.5, 1.5), w, h)]
    long = w * r.uniform(0.7, 1.2)
    side = 1 if r.random() < 0.7 else -1
    ruler = Place(r.uniform(-5, 5), side * (h / 2 + gap + strip / 2), r.uniform(-1, 1), long, strip)
    tall = h * r.uniform(0.4, 0.9)
    card = Place(w / 2 + gap + strip / 2, r.uniform(-5, 5), 90 + r.uniform(-1, 1), tall, strip)
    shown = places + ([ruler] if below else []) + ([] if below and not beside else [card])
    boxes = [Place(p.cx, p.cy, 0, *((p.h, p.w) if p.deg > 45 else (p.w, p.h))) for p in shown]
    width, height = extent(boxes, r.uniform(4, 14))
    ppi = 25.4 * r.uniform(1500, 2300) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-0.5, 0.5), 0)
    truth = [one_print(t, r, places[0], paper(r, ground(t, r, ("black", "grey"))))]
    if ruler in shown:
        dark = r.random() < 0.4
        lay_ruler(t, ruler, 0.05 if dark else 0.8, 0.8 if dark else 0.03)
    if card in shown:
        lay_patches(t, r, card, int(r.integers(5, 20)), bool(r.random() < 0.5))
    return t, truth


def portrait_carrier(r: np.random.Generator) -> Laid:
    """A 4 x 5 inch sheet, upright, in an opaque carrier that shows its rebate or hides it."""
    film = stock(r, None if r.random() < 0.5 else "negative")
    w, h = 95.5 + r.uniform(-1, 1), 120.5 + r.uniform(-1, 1)
    shows = r.random() < 0.6
    inset = -r.uniform(0.6, 2.0) if shows else r.uniform(0.5, 3)
    opening = Place(0, 0, 0, w - 2 * inset, h - 2 * inset)
    wide, high = w + r.uniform(12, 60), h + r.uniform(12, 60)
    t = Table(r, wide, high, r.uniform(250, 420), r.uniform(-1.5, 1.5), r.choice([0, 0.2]))
    t.light[:] = 10**-film.border
    picture = Place(r.uniform(-0.4, 0.4), r.uniform(-0.4, 0.4), r.uniform(-0.5, 0.5), w, h)
    seen = lay(t, film, view(r, film.process == "colour", w, h), picture)
    lay_opaque(t, r, -opening.distance(t, r.uniform(0, 1.0)))
    if r.random() < 0.3:  # the carrier ends on the master: its outer edge and the table show
        outer = Place(0, 0, 0, wide - r.uniform(3, 9), high - r.uniform(3, 9))
        over(t.light, np.ones(3, np.float32), 1 - t.cover(outer.distance(t, 2)))
    corners = seen.corners if shows else opening.corners(t)
    return t, [Truth(corners, film.polarity, film.process)]


def print_shadow(r: np.random.Generator) -> Laid:
    """A print on a light ground, with the soft shadow that its thickness or a curl throws."""
    w, h = [(180, 130), (130, 180), (140, 90), (90, 60)][r.integers(4)]
    at = Place(0, 0, r.uniform(-2, 2), w, h)
    width, height = extent([at], r.uniform(8, 30))
    t = Table(r, width, height, 25.4 * r.uniform(1400, 2200) / max(width, height), 0, 0)
    kind = ground(t, r, ("grey", "white", "white", "board"))
    sigma, deep = r.uniform(0.8, 7), r.uniform(0.15, 0.6)
    thrown = at.within(*r.uniform(-1.3, 1.3, 2) * sigma, w, h, r.uniform(-1.5, 1.5))
    dark = cv2.GaussianBlur(t.cover(thrown.distance(t))[..., 0], (0, 0), sigma * t.scale)
    t.light *= 1 - np.float32(deep) * dark[..., None]
    return t, [one_print(t, r, at, paper(r, kind))]


def board(r: np.random.Generator) -> Laid:
    """A print mounted on a larger board, plain or with grain, which lies on a ground."""
    w, h = [(90, 60), (60, 90), (140, 100), (165, 115), (115, 165)][r.integers(5)]
    mount = Place(0, 0, r.uniform(-2, 2), w * r.uniform(1.1, 1.7), h * r.uniform(1.1, 1.7))
    fills = r.random() < 0.3
    width, height = extent([mount], -3 if fills else r.uniform(4, 18))
    t = Table(r, width, height, 25.4 * r.uniform(1400, 2200) / max(width, height), 0, 0)
    ground(t, r, ("black", "grey", "white"))
    value = np.float32(r.uniform(0.15, 0.85)) * np.array([1, 0.95, 0.86], np.float32)
    card = value * texture(t, r, r.choice([0.01, 0.05, 0.1]), r.uniform(1, 3))
    over(t.light, card, t.cover(mount.distance(t, 1)))
    process = scenes.process_of(r, "positive")
    picture = mount.within(r.uniform(-2, 2), -r.uniform(0, 0.12) * (mount.h - h), w, h,
                           r.normal(0, 0.3))  # fmt: skip
    white = np.array([0.78, 0.74, 0.66], np.float32)
    light = view(r, process == "colour", w, h)
    return t, [lay_print(t, r, light, picture, process, white)]


def sheet_on(t: Table, r: np.random.Generator, film: Stock, w: float, h: float) -> tuple:
    """Lay a sheet with its notch; return its outline, its place, and its picture."""
    sheet = Place(0, 0, r.uniform(-0.8, 0.8), w, h)
    u, v = sheet.local(t)
    d = rect(u, v, w, h, r.uniform(0.5, 2.5))
    notch = np.hypot(u - np.float32(w / 2 - 10), v + np.float32(h / 2))
    d = np.minimum(d, notch - np.float32(r.uniform(0.8, 1.5)))
    over(t.light, 10**-film.border, t.cover(d))
    edge = r.uniform(4, 6)
    at = sheet.within(r.uniform(-0.4, 0.4), r.uniform(-0.4, 0.4), w - edge, h - edge)
    return d, sheet, lay(t, film, view(r, film.process == "colour", at.w, at.h), at, d)


SHEETS = ((125.4, 100), (100, 125.4), (90, 65), (65, 90), (176, 125.5))


def sheet_table(r: np.random.Generator, margin: float) -> tuple[Table, Stock, float, float]:
    w, h = SHEETS[r.integers(len(SHEETS))]
    width, height = w + margin, h + margin
    ppi = 25.4 * r.uniform(1300, 2200) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-1.5, 1.5), r.choice([0, 0.2]))
    return t, stock(r), w, h


def clip_carrier(r: np.random.Generator) -> Laid:
    """A sheet held by clips or corners, which cover its rebate and a little of the picture."""
    t, film, w, h = sheet_table(r, r.uniform(8, 26))
    _, sheet, seen = sheet_on(t, r, film, w, h)
    value = scenes.opaque(r)
    wide, deep = r.uniform(5, 14), r.uniform(2, 5)
    if r.random() < 0.5:  # triangles over the corners
        u, v = sheet.local(t)
        reach = np.float32((w + h) / 2 - r.uniform(6, 11))
        over(t.light, value, t.cover((np.abs(u) + np.abs(v) - reach) / np.float32(2**0.5)))
        return t, [seen]
    for side in (-1, 1):
        for place in r.uniform(-0.35, 0.35, int(r.integers(1, 3))):
            clip = sheet.within(place * w, side * (h / 2 + 10 - deep), wide, 20)
            over(t.light, value, t.cover(clip.distance(t, 0.5)))
    return t, [seen]


def glass_carrier(r: np.random.Generator) -> Laid:
    """A sheet between glasses in an opaque holder: outlines within one another."""
    margin = r.uniform(16, 50)
    t, film, w, h = sheet_table(r, margin)
    pane = Place(0, 0, 0, w + r.uniform(4, margin - 6), h + r.uniform(4, margin - 6))
    glass(t, r, pane.within(0, 0, pane.w + 2, pane.h + 2))
    _, _, seen = sheet_on(t, r, film, w, h)
    lay_opaque(t, r, -pane.distance(t, r.uniform(0, 1)))
    if r.random() < 0.5:  # strips of tape hold the sheet on the glass
        for side in (-1, 1):
            tape = pane.within(side * w / 2, r.uniform(-0.3, 0.3) * h, r.uniform(3, 8), 15)
            t.light *= 1 - np.float32(r.uniform(0.1, 0.4)) * t.cover(tape.distance(t))
    return t, [seen]


def torn(r: np.random.Generator) -> Laid:
    """A broken plate: cracks that let light through, and a corner or a piece that is gone."""
    w, h = [(120, 90), (108, 82.5), (180, 130), (165, 215)][r.integers(4)]
    width, height = w * 1.1 + 4, h * 1.1 + 4
    ppi = 25.4 * r.uniform(1400, 2300) / max(width, height)
    t = Table(r, width, height, ppi, r.uniform(-3, 3), r.choice([0, 0.2]))
    film = stock(r, "negative", "monochrome")
    at = Place(0, 0, 0, w, h)
    d = glass(t, r, at)
    if r.random() < 0.8:
        for _ in range(int(r.integers(1, 3))):
            d = np.minimum(d, _break(r, t, w, h))
        t.light = np.where(d[..., None] > 0, t.light, np.float32(1)).astype(np.float32)
    cracks = [_crack(r, t, w, h) for _ in range(int(r.integers(0, 4)))]
    coat = emulsion_of(t, r, at, film, d)
    picture = at.within(r.uniform(-0.5, 0.5), r.uniform(-0.5, 0.5), w - r.uniform(4, 8),
                        h - r.uniform(4, 8))  # fmt: skip
    light = view(r, False, picture.w, picture.h)
    for crack in cracks:
        coat = np.minimum(coat, crack)
    before = t.light.copy()
    seen = lay(t, film, light, picture, coat)
    for crack in cracks:
        gap = t.cover(-crack) * t.cover(d)
        t.light[:] = t.light * (1 - gap) + np.maximum(before, 0.8) * gap
    return t, [seen]


def _break(r: np.random.Generator, t: Table, w: float, h: float) -> Array:
    """Return the signed distance (positive: what is left) of a break that takes a corner."""
    sx, sy = r.choice([-1, 1], 2)
    a = np.arctan2(sy * h, sx * w) + r.normal(0, 0.25)
    reach = np.hypot(w, h) / 2 - r.uniform(4, 0.16 * (w + h))
    jagged = scenes.ragged(r, t.x, t.y, w, 0.8)
    return np.float32(reach) - (t.x * np.float32(np.cos(a)) + t.y * np.float32(np.sin(a))) + jagged


def _crack(r: np.random.Generator, t: Table, w: float, h: float) -> Array:
    """Return the distance (mm) from a crack across the plate, less half its width."""
    a, off = r.uniform(0, np.pi), r.uniform(-0.35, 0.35) * min(w, h)
    line = t.x * np.float32(np.cos(a)) + t.y * np.float32(np.sin(a)) - np.float32(off)
    line += scenes.ragged(r, t.x - np.float32(w), t.y, w, 1.5)
    return np.abs(line) - np.float32(r.uniform(0.05, 0.4))


def retouched(r: np.random.Generator) -> Laid:
    """Tape, ink, opaque paint and a label on the border of a sheet or plate."""
    t, film, w, h = sheet_table(r, r.uniform(4, 16))
    d, sheet, seen = sheet_on(t, r, film, w, h)
    for side in range(4):
        if r.random() > 0.5:
            continue
        long = (w, h)[side % 2] * r.uniform(0.3, 1.02)
        wide = r.uniform(2, 7)
        off = ((h, w)[side % 2] - 4.5) / 2 + wide / 2 + r.uniform(-0.3, 0.8)
        tape = sheet.within(0, 0, 0, 0, 90.0 * side).within(r.uniform(-9, 9), -off, long, wide)
        value = np.array([[0.02] * 3, [0.25, 0.03, 0.02], [0.4, 0.36, 0.25]][r.integers(3)])
        over(t.light, value.astype(np.float32), t.cover(tape.distance(t)))
    if r.random() < 0.6:
        ink(t, r, sheet.within(r.uniform(-0.3, 0.3) * w, -h / 2 + 1.3, 15, 2), 0.02, 6)
    if r.random() < 0.3:
        label = sheet.within(0, h / 2 + 3, r.uniform(15, 40), 9)
        over(t.light, np.full(3, r.uniform(0.05, 0.3), np.float32), t.cover(label.distance(t)))
    if r.random() < 0.3:  # paint along a side of the picture, up to its edge
        paint = sheet.within(0, -(h - 5) / 2 + 4, w - 8, 8 + 0.2).distance(t)
        u, v = sheet.local(t)
        paint += scenes.ragged(r, u, v, w, 1.0)
        over(t.light, np.array([0.08, 0.01, 0.01], np.float32), t.cover(np.minimum(paint, d)))
    return t, [seen]


def empty_opening(r: np.random.Generator) -> Laid:
    """A mount or carrier with nothing in it: the light table shows through its opening."""
    mount = r.random() < 0.5
    w, h = (35.0, 23.0) if mount else [(95.5, 120.5), (56, 56), (36, 24)][r.integers(3)]
    width, height = (56.0, 56.0) if mount else (w * 1.4, h * 1.4)
    t = Table(r, width, height, 25.4 * r.uniform(1100, 2000) / max(width, height),
              r.uniform(-3, 3), 0)  # fmt: skip
    opening = Place(0, 0, 0, w, h)
    body = -opening.distance(t, r.uniform(0, 1))
    if mount:
        body = np.minimum(body, rect(t.x, t.y, 50, 50, 2))
    lay_opaque(t, r, body)
    return t, [Truth(opening.corners(t), "positive", "monochrome", True)]
