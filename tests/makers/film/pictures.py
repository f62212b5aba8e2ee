"""The pictures on the film: an invented harbour, Port Ellery, drawn by code.

`draw(name, width, height, seed)` gives linear light, diffuse white about 1.0, BT.709
primaries. Nothing in them is a real place, ship or person.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable

import numpy as np

from makers.film.canvas import Canvas, Colour

Light = dict[str, Colour]

DAY: Light = {
    "zenith": (0.16, 0.30, 0.58),
    "low": (0.62, 0.72, 0.82),
    "cloud": (0.92, 0.92, 0.93),
    "haze": (0.60, 0.68, 0.76),
    "water": (0.62, 0.74, 0.78),
}
DULL: Light = {
    "zenith": (0.42, 0.45, 0.48),
    "low": (0.72, 0.73, 0.73),
    "cloud": (0.80, 0.80, 0.80),
    "haze": (0.66, 0.67, 0.68),
    "water": (0.62, 0.66, 0.66),
}
EVENING: Light = {
    "zenith": (0.10, 0.16, 0.34),
    "low": (0.98, 0.56, 0.24),
    "cloud": (0.85, 0.40, 0.26),
    "haze": (0.70, 0.46, 0.32),
    "water": (0.60, 0.58, 0.60),
}
NIGHT: Light = {
    "zenith": (0.006, 0.009, 0.018),
    "low": (0.035, 0.036, 0.045),
    "cloud": (0.05, 0.05, 0.055),
    "haze": (0.03, 0.03, 0.036),
    "water": (0.50, 0.55, 0.62),
}
BRICK = (0.30, 0.11, 0.07)
TAR = (0.020, 0.019, 0.018)
STONE = (0.34, 0.31, 0.27)
TIMBER = (0.22, 0.14, 0.08)
RUST = (0.33, 0.10, 0.04)
WHITE = (0.82, 0.81, 0.77)
HULLS = ((0.03, 0.04, 0.06), (0.30, 0.03, 0.03), (0.03, 0.12, 0.16), (0.05, 0.16, 0.07))
SAILS = ((0.78, 0.74, 0.64), (0.42, 0.13, 0.06), (0.60, 0.52, 0.40))


def _mix(a: Colour, b: Colour, share: float) -> Colour:
    return (
        a[0] + (b[0] - a[0]) * share,
        a[1] + (b[1] - a[1]) * share,
        a[2] + (b[2] - a[2]) * share,
    )


def _dim(colour: Colour, by: float) -> Colour:
    return (colour[0] * by, colour[1] * by, colour[2] * by)


# ---- parts -------------------------------------------------------------------------------
def sky(c: Canvas, light: Light, horizon: float, cover: float = 0.5) -> None:
    c.gradient(0, horizon, [(0, light["zenith"]), (1, light["low"])])
    wall = _mix(_dim(light["haze"], 0.35), _dim(STONE, light["haze"][1]), 0.5)
    c.gradient(horizon, 1, [(0, wall), (0.1, _dim(wall, 0.6)), (1, wall)])
    cloud = c.noise(0.55, 0.16, 6)
    rows = (np.arange(c.height) + 0.5) / c.height
    mask = np.clip((cloud - (0.72 - 0.35 * cover)) * 4.5, 0, 0.9) * (rows < horizon)[:, None]
    shade = np.clip(c.noise(0.3, 0.1, 5) * 1.6 - 0.4, 0, 1)
    c.veil(mask, _mix(light["cloud"], light["zenith"], 0.35))
    c.veil(mask * shade, light["cloud"])


def hills(c: Canvas, light: Light, base: float, height: float, far: float) -> None:
    """A coast with headlands; `far` 0..1 mixes it with the haze."""
    ridge = c.noise(0.45, 0.9, 6)[0]
    tops = base - height * np.clip(ridge * 1.7 - 0.45, 0.02, 1)
    step = max(1, c.width // 240)
    points = [(0.0, base)]
    points += [(x / c.height, float(tops[x])) for x in range(0, c.width, step)]
    points += [(c.aspect, base)]
    c.poly(points, _mix((0.10, 0.13, 0.09), light["haze"], far))


def shed(
    c: Canvas, x: float, base: float, w: float, h: float, wall: Colour, lit: bool = False
) -> None:
    """A gabled warehouse seen from the gable end or the side, with doors and windows."""
    roof = _dim((0.20, 0.19, 0.20), c.pick(0.7, 1.3))
    gable = c.pick(0, 1) < 0.55
    c.box(x, base - h, w, h, wall)
    c.box(x, base - h, w * c.pick(0.06, 0.16), h, _dim(wall, 0.6))
    if gable:
        c.poly([(x, base - h), (x + w / 2, base - h * 1.42), (x + w, base - h)], _dim(wall, 0.95))
        c.line((x - w * 0.03, base - h * 0.98), (x + w / 2, base - h * 1.44), h * 0.05, roof)
        c.line((x + w * 1.03, base - h * 0.98), (x + w / 2, base - h * 1.44), h * 0.05, roof)
    else:
        c.poly(
            [
                (x - w * 0.02, base - h),
                (x + w * 0.06, base - h * 1.34),
                (x + w * 0.94, base - h * 1.34),
                (x + w * 1.02, base - h),
            ],
            roof,
        )
        for part in range(1, 12):
            at = x + w * part / 12
            c.line((at, base - h), (at, base - h * 1.33), h * 0.008, _dim(roof, 0.8))
    storeys = 2 if h > 0.13 else 1
    count = max(2, int(w / (h * 0.32)))
    for storey in range(storeys):
        for place in range(count):
            wx = x + w * (place + 0.5) / count
            wy = base - h * (0.9 - 0.42 * storey) if storeys == 2 else base - h * 0.82
            glass = (0.9, 0.66, 0.28) if lit and c.pick(0, 1) < 0.5 else (0.05, 0.055, 0.06)
            size = h * (0.15 if storeys == 2 else 0.22)
            c.box(wx - size * 0.42, wy - size * 0.08, size * 0.84, size * 1.2, _dim(wall, 1.35))
            c.box(wx - size * 0.35, wy, size * 0.7, size, glass)
            c.line((wx, wy), (wx, wy + size), size * 0.07, _dim(wall, 1.2))
    door = w * 0.5 - h * 0.16
    c.box(x + door, base - h * 0.38, h * 0.34, h * 0.38, _dim(TIMBER, 0.6))
    c.line((x + door + h * 0.17, base - h * 0.38), (x + door + h * 0.17, base), h * 0.012, TAR)


def crane(c: Canvas, x: float, base: float, size: float, colour: Colour, left: bool) -> None:
    """A quay crane: portal, cabin, latticed jib, rope and hook."""
    side = -1 if left else 1
    thick = size * 0.016
    for foot, top in ((-0.12, -0.08), (0.12, 0.08)):
        c.line((x + foot * size, base), (x + top * size, base - size * 0.34), thick * 1.6, colour)
    for level in range(4):
        low, high = base - size * 0.085 * level, base - size * 0.085 * (level + 1)
        spread = size * (0.12 - 0.01 * level)
        c.line((x - spread, low), (x + spread, high), thick * 0.6, colour)
        c.line((x + spread, low), (x - spread, high), thick * 0.6, colour)
    deck = base - size * 0.36
    c.box(x - size * 0.13, deck, size * 0.26, size * 0.03, colour)
    c.box(x - size * 0.10, deck - size * 0.15, size * 0.20, size * 0.15, _dim(colour, 1.2))
    c.box(x + side * size * 0.02, deck - size * 0.12, size * 0.06, size * 0.06, (0.25, 0.3, 0.33))
    c.poly(
        [
            (x - size * 0.12, deck - size * 0.15),
            (x, deck - size * 0.21),
            (x + size * 0.12, deck - size * 0.15),
        ],
        _dim(colour, 0.7),
    )
    steep = c.pick(0.75, 1.15)
    tip = (x + side * size * 0.62 * math.cos(steep), deck - size * 0.78 * math.sin(steep))
    foot = (x + side * size * 0.07, deck - size * 0.05)
    head = (x - side * size * 0.02, deck - size * 0.36)
    off = size * 0.035
    c.line(foot, tip, thick, colour)
    c.line((foot[0] - side * off, foot[1] - off * 1.4), tip, thick, colour)
    for part in range(1, 13):
        share, after = part / 13, (part + 0.7) / 13
        a = (foot[0] + (tip[0] - foot[0]) * share, foot[1] + (tip[1] - foot[1]) * share)
        b = (
            foot[0] - side * off * (1 - after) + (tip[0] - foot[0]) * after,
            foot[1] - off * 1.4 * (1 - after) + (tip[1] - foot[1]) * after,
        )
        c.line(a, b, thick * 0.5, colour)
    c.line((x - side * size * 0.08, deck - size * 0.15), head, thick, colour)
    c.line(head, (x + side * size * 0.06, deck - size * 0.15), thick, colour)
    c.line(head, tip, thick * 0.35, TAR)
    hook = tip[1] + size * c.pick(0.25, 0.6)
    c.line(tip, (tip[0], hook), thick * 0.35, TAR)
    c.box(tip[0] - size * 0.035, hook, size * 0.07, size * 0.05, _dim(TIMBER, 1.1))


def steamer(c: Canvas, x: float, base: float, length: float, hull: Colour, left: bool) -> None:
    """A coastal steamer: hull with sheer, house, funnel, masts, portholes."""
    s = -1 if left else 1

    def at(u: float, v: float) -> tuple[float, float]:
        return (x + s * u * length, base - v * length)

    deck = [(-0.5, 0.12), (-0.3, 0.09), (0.0, 0.085), (0.3, 0.10), (0.54, 0.16)]
    keel = [(0.47, 0.0), (-0.44, 0.0), (-0.49, 0.05)]
    c.poly([at(*p) for p in deck + keel], hull)
    c.poly([at(-0.445, 0.0), at(0.47, 0.0), at(0.473, 0.014), at(-0.46, 0.014)], RUST)
    for a, b in itertools.pairwise(deck):
        c.line(at(*a), at(*b), length * 0.008, _dim(WHITE, 0.8))
    for hole in range(9):
        c.oval(*at(-0.34 + hole * 0.08, 0.055), length * 0.008, length * 0.008, (0.3, 0.28, 0.2))
    c.poly([at(-0.26, 0.08), at(0.10, 0.08), at(0.10, 0.16), at(-0.26, 0.16)], WHITE)
    c.poly([at(-0.02, 0.16), at(0.10, 0.16), at(0.09, 0.22), at(-0.01, 0.22)], _dim(WHITE, 0.92))
    for window in range(8):
        u = -0.235 + window * 0.04
        c.poly([at(u, 0.11), at(u + 0.022, 0.11), at(u + 0.022, 0.14), at(u, 0.14)], TAR)
    c.poly([at(0.0, 0.185), at(0.09, 0.185), at(0.09, 0.205), at(0.0, 0.205)], TAR)
    c.poly([at(-0.15, 0.16), at(-0.08, 0.16), at(-0.09, 0.34), at(-0.155, 0.34)], hull)
    c.poly([at(-0.151, 0.27), at(-0.087, 0.27), at(-0.088, 0.305), at(-0.153, 0.305)], WHITE)
    for u, v in ((0.27, 0.44), (-0.36, 0.38)):
        c.line(at(u, 0.09), at(u - 0.01, v), length * 0.010, TIMBER)
        c.line(at(u, 0.14), at(u + 0.16, v * 0.8), length * 0.006, TIMBER)
        c.line(at(u - 0.01, v), at(0.53, 0.16), length * 0.002, TAR)
        c.line(at(u - 0.01, v), at(-0.5, 0.12), length * 0.002, TAR)
    c.line(at(0.26, 0.44), at(-0.37, 0.38), length * 0.002, TAR)


def smoke(c: Canvas, x: float, y: float, reach: float, tone: Colour, drift: float = 1.0) -> None:
    for puff in range(26):
        share = puff / 25
        px = x + drift * reach * share + c.pick(-0.01, 0.01)
        py = y - reach * 0.35 * share**0.6 + c.pick(-0.01, 0.01)
        size = 0.012 + 0.07 * share * reach / 0.4
        c.oval(px, py, size * 1.3, size, tone, 0.20 * (1 - share) + 0.02)


def smack(c: Canvas, x: float, base: float, size: float, hull: Colour, sail: Colour | None) -> None:
    """A fishing smack, under sail or with bare pole."""
    side = 1 if c.pick(0, 1) < 0.5 else -1

    def at(u: float, v: float) -> tuple[float, float]:
        return (x + side * u * size, base - v * size)

    c.poly([at(-0.48, 0.14), at(0, 0.09), at(0.52, 0.19), at(0.42, 0), at(-0.42, 0)], hull)
    c.line(at(-0.48, 0.14), at(0, 0.095), size * 0.02, WHITE)
    c.line(at(0, 0.095), at(0.52, 0.19), size * 0.02, WHITE)
    c.poly([at(-0.3, 0.11), at(-0.06, 0.1), at(-0.06, 0.22), at(-0.3, 0.22)], _dim(WHITE, 0.7))
    c.line(at(0.1, 0.1), at(0.09, 1.1), size * 0.018, TIMBER)
    c.line(at(0.50, 0.19), at(0.8, 0.24), size * 0.014, TIMBER)
    if sail is None:
        c.line(at(0.1, 0.24), at(-0.5, 0.3), size * 0.02, _dim(SAILS[1], 0.8))
        c.line(at(0.09, 1.08), at(-0.46, 0.14), size * 0.004, TAR)
    else:
        c.poly([at(0.08, 0.2), at(0.08, 0.86), at(-0.34, 1.04), at(-0.52, 0.24)], sail)
        c.poly([at(0.08, 0.52), at(-0.43, 0.64), at(-0.52, 0.24), at(0.08, 0.2)], _dim(sail, 0.86))
        c.poly([at(0.12, 0.98), at(0.78, 0.24), at(0.2, 0.24)], _dim(sail, 1.12))
    c.line(at(0.09, 1.08), at(0.79, 0.24), size * 0.004, TAR)


def rowing_boat(c: Canvas, x: float, y: float, size: float, paint: Colour) -> None:
    c.poly(
        [
            (x - size * 0.5, y - size * 0.16),
            (x + size * 0.55, y - size * 0.20),
            (x + size * 0.4, y),
            (x - size * 0.38, y),
        ],
        paint,
    )
    c.poly(
        [
            (x - size * 0.46, y - size * 0.155),
            (x + size * 0.5, y - size * 0.19),
            (x + size * 0.4, y - size * 0.12),
            (x - size * 0.4, y - size * 0.11),
        ],
        _dim(TIMBER, 0.7),
    )
    for seat in (-0.2, 0.08, 0.3):
        c.line(
            (x + seat * size, y - size * 0.17),
            (x + seat * size, y - size * 0.11),
            size * 0.05,
            STONE,
        )


def person(c: Canvas, x: float, base: float, size: float, coat: Colour, woman: bool) -> None:
    """A standing figure `size` high, with shadow."""
    skin, dark = (0.46, 0.28, 0.19), _dim(coat, 0.55)
    c.poly(
        [
            (x - size * 0.1, base),
            (x + size * 0.12, base),
            (x + size * 0.62, base + size * 0.10),
            (x + size * 0.42, base + size * 0.12),
        ],
        TAR,
        0.45,
    )
    c.oval(x, base - size * 0.905, size * 0.062, size * 0.078, skin)
    if woman:
        hem = size * 0.2
        c.poly(
            [
                (x - size * 0.07, base - size * 0.55),
                (x + size * 0.07, base - size * 0.55),
                (x + hem, base - size * 0.03),
                (x - hem, base - size * 0.03),
            ],
            dark,
        )
        c.poly(
            [
                (x - size * 0.065, base - size * 0.48),
                (x + size * 0.045, base - size * 0.48),
                (x + size * 0.09, base - size * 0.10),
                (x - size * 0.11, base - size * 0.10),
            ],
            _dim(WHITE, 0.8),
        )
        c.oval(x, base - size * 0.945, size * 0.085, size * 0.06, (0.5, 0.45, 0.36))
    else:
        for side in (-1, 1):
            c.poly(
                [
                    (x, base - size * 0.5),
                    (x + side * size * 0.10, base - size * 0.5),
                    (x + side * size * 0.10, base),
                    (x + side * size * 0.02, base),
                ],
                dark,
            )
        c.box(x - size * 0.08, base - size * 1.0, size * 0.16, size * 0.055, TAR)
        c.box(x - size * 0.095, base - size * 0.955, size * 0.21, size * 0.02, TAR)
    c.poly(
        [
            (x - size * 0.13, base - size * 0.80),
            (x + size * 0.13, base - size * 0.80),
            (x + size * 0.11, base - size * 0.44),
            (x - size * 0.11, base - size * 0.44),
        ],
        coat,
    )
    bend = c.pick(0.10, 0.22)
    for side in (-1, 1):
        elbow = (x + side * size * bend, base - size * 0.62)
        hand = (x + side * size * bend * 0.7, base - size * 0.46)
        c.line((x + side * size * 0.11, base - size * 0.78), elbow, size * 0.06, _dim(coat, 0.85))
        c.line(elbow, hand, size * 0.05, _dim(coat, 0.85))
        c.oval(*hand, size * 0.026, size * 0.026, skin)


def quay(c: Canvas, top: float, light: Light, bottom: float = 1.0) -> None:
    """Paved ground in perspective from `top` down, with the coping stones of the edge."""
    tone = _mix(STONE, light["haze"], 0.25)
    c.gradient(top, bottom, [(0, _dim(tone, 0.85)), (1, _dim(tone, 1.15))])
    row, depth = top, 0.012
    while row < bottom:
        c.line((0, row), (c.aspect, row), depth * 0.09, _dim(tone, 0.55))
        joints = max(3, int(c.aspect / (depth * 3.2)))
        skip = c.pick(0, 1)
        for joint in range(joints + 1):
            x = (joint + skip) * c.aspect / joints
            slant = (x - c.aspect / 2) * depth * 0.6
            c.line((x, row), (x + slant, row + depth), depth * 0.07, _dim(tone, 0.6))
        row += depth
        depth *= 1.33
    c.roughen(top, bottom, (0.06, 0.02), 0.28)


def barrel(c: Canvas, x: float, base: float, h: float) -> None:
    w = h * 0.36
    c.poly(
        [
            (x - w * 0.8, base - h),
            (x + w * 0.8, base - h),
            (x + w, base - h * 0.5),
            (x + w * 0.8, base),
            (x - w * 0.8, base),
            (x - w, base - h * 0.5),
        ],
        TIMBER,
    )
    c.poly(
        [
            (x + w * 0.3, base - h),
            (x + w * 0.8, base - h),
            (x + w, base - h / 2),
            (x + w * 0.3, base),
        ],
        _dim(TIMBER, 0.5),
    )
    for v in (0.12, 0.38, 0.66, 0.9):
        c.line((x - w * 0.93, base - h * v), (x + w * 0.93, base - h * v), h * 0.035, TAR)
    c.oval(x, base - h, w * 0.8, h * 0.08, _dim(TIMBER, 1.4))


def crates(c: Canvas, x: float, base: float, size: float, count: int) -> None:
    for place in range(count):
        tone = _dim((0.40, 0.29, 0.17), c.pick(0.7, 1.15))
        cx, cy = x + (place % 3) * size * 1.06, base - (place // 3) * size * 0.98
        c.box(cx, cy - size * 0.96, size, size * 0.96, tone)
        for plank in range(1, 4):
            y = cy - size * 0.24 * plank
            c.line((cx, y), (cx + size, y), size * 0.02, _dim(tone, 0.5))
        c.line((cx, cy), (cx + size, cy - size * 0.96), size * 0.07, _dim(tone, 0.75))
        c.line((cx, cy - size), (cx, cy), size * 0.05, _dim(tone, 0.6))


def bollard(c: Canvas, x: float, base: float, h: float) -> None:
    c.box(x - h * 0.22, base - h * 0.85, h * 0.44, h * 0.85, (0.05, 0.05, 0.055))
    c.box(x - h * 0.2, base - h * 0.8, h * 0.1, h * 0.8, (0.16, 0.16, 0.17))
    c.oval(x, base - h * 0.88, h * 0.36, h * 0.16, (0.07, 0.07, 0.075))


def gulls(c: Canvas, count: int, low: float) -> None:
    for _ in range(count):
        x, y, size = c.pick(0.1, c.aspect - 0.1), c.pick(0.06, low), c.pick(0.006, 0.018)
        lift = c.pick(0.3, 0.7)
        c.line((x - size, y - size * lift), (x, y), size * 0.16, _dim(WHITE, 0.9))
        c.line((x, y), (x + size, y - size * lift * 0.8), size * 0.16, _dim(WHITE, 0.75))


def town(c: Canvas, light: Light, base: float, lit: bool = False) -> None:
    """Houses and a spire behind the quay, in the haze."""
    x = -0.02
    while x < c.aspect:
        w, h = c.pick(0.04, 0.09), c.pick(0.035, 0.085)
        wall = _mix((0.42, 0.34, 0.27), light["haze"], c.pick(0.35, 0.65))
        roof = _mix((0.24, 0.12, 0.10), light["haze"], 0.45)
        c.box(x, base - h, w, h, wall)
        c.poly([(x, base - h), (x + w / 2, base - h - w * 0.4), (x + w, base - h)], roof)
        for _ in range(4):
            wx, wy = x + w * c.pick(0.1, 0.85), base - h * c.pick(0.25, 0.9)
            glass = (0.95, 0.62, 0.22) if lit and c.pick(0, 1) < 0.45 else _dim(wall, 0.4)
            c.box(wx, wy, 0.006, 0.010, glass)
        c.box(x + w * 0.7, base - h - w * 0.42, w * 0.09, w * 0.3, _dim(roof, 0.9))
        x += w * c.pick(0.8, 1.05)
    spire = c.pick(0.25, 0.75) * c.aspect
    tone = _mix((0.28, 0.27, 0.25), light["haze"], 0.45)
    c.box(spire - 0.013, base - 0.15, 0.026, 0.15, tone)
    c.poly([(spire - 0.016, base - 0.15), (spire, base - 0.27), (spire + 0.016, base - 0.15)], tone)


# ---- views -------------------------------------------------------------------------------
def view_basin(c: Canvas) -> None:
    """The basin by day: steamer, cranes, town behind, quay in front."""
    horizon = c.pick(0.50, 0.56)
    sky(c, DAY, horizon, 0.6)
    hills(c, DAY, horizon, 0.12, 0.72)
    town(c, DAY, horizon)
    for place in range(2):
        crane(
            c,
            c.aspect * (0.14 + 0.66 * place),
            horizon,
            c.pick(0.36, 0.5),
            (0.08, 0.1, 0.1),
            place > 0,
        )
    hull = HULLS[int(c.pick(0, 3.99))]
    steamer(c, c.aspect * c.pick(0.42, 0.58), horizon + 0.03, 0.78, hull, c.pick(0, 1) < 0.5)
    c.mirror(horizon + 0.03, 1, DAY["water"], 0.05)
    smoke(c, c.aspect * 0.45, horizon - 0.24, 0.4, (0.20, 0.20, 0.21))
    rowing_boat(c, c.aspect * 0.72, 0.78, 0.17, (0.4, 0.35, 0.24))
    quay(c, 0.86, DAY)
    bollard(c, c.aspect * 0.2, 0.93, 0.1)
    for place in range(3):
        barrel(c, c.aspect * (0.80 + 0.06 * place), 0.94 + 0.015 * place, 0.12)
    gulls(c, 9, 0.4)


def view_quay(c: Canvas) -> None:
    """People before the sheds of the quay."""
    horizon = 0.56
    sky(c, DULL, horizon, 0.8)
    x = -0.05
    while x < c.aspect:
        w = c.pick(0.3, 0.46)
        wall = (BRICK, (0.40, 0.33, 0.24), (0.24, 0.22, 0.21))[int(c.pick(0, 2.99))]
        shed(c, x, 0.62, w, c.pick(0.2, 0.3), _dim(wall, c.pick(0.8, 1.2)))
        x += w + c.pick(-0.01, 0.05)
    crane(c, c.aspect * c.pick(0.6, 0.8), 0.63, 0.62, (0.05, 0.05, 0.055), True)
    quay(c, 0.62, DULL)
    for rail in (0.70, 0.725):
        c.line((0, rail), (c.aspect, rail + 0.02), 0.005, (0.10, 0.09, 0.085))
    crates(c, c.aspect * 0.08, 0.80, 0.085, 5)
    for place in range(4):
        barrel(c, c.aspect * (0.74 + 0.055 * place), 0.79 + 0.02 * (place % 2), 0.115)
    coats = ((0.05, 0.05, 0.06), (0.14, 0.11, 0.08), (0.09, 0.11, 0.15), (0.30, 0.25, 0.18))
    for place in range(5):
        x = c.aspect * (0.30 + 0.085 * place) + c.pick(-0.02, 0.02)
        person(
            c, x, 0.86 + c.pick(-0.04, 0.05), c.pick(0.29, 0.34), coats[place % 4], place in (1, 3)
        )


def view_night(c: Canvas) -> None:
    """Lamps and lit windows over black water; the borders of the picture are dark."""
    horizon = 0.56
    sky(c, NIGHT, horizon, 0.5)
    c.glow(c.aspect * 0.78, 0.17, 0.02, (0.8, 0.8, 0.75))
    c.oval(c.aspect * 0.78, 0.17, 0.024, 0.024, (0.95, 0.93, 0.85))
    hills(c, NIGHT, horizon, 0.10, 0.7)
    x = c.aspect * 0.10
    while x < c.aspect * 0.82:
        w = c.pick(0.2, 0.3)
        shed(c, x, horizon, w, c.pick(0.11, 0.18), (0.030, 0.026, 0.026), lit=True)
        x += w + 0.03
    steamer(c, c.aspect * 0.6, horizon + 0.03, 0.5, (0.008, 0.009, 0.011), True)
    crane(c, c.aspect * 0.26, horizon, 0.42, (0.012, 0.012, 0.013), False)
    for place in range(6):
        x, y = c.aspect * (0.14 + 0.145 * place), horizon - c.pick(0.12, 0.16)
        c.line((x, horizon), (x, y), 0.005, (0.03, 0.03, 0.03))
        c.glow(x, y, 0.020, (1.5, 1.1, 0.6))
        c.oval(x, y, 0.008, 0.010, (2.2, 1.8, 1.1))
    c.mirror(horizon + 0.03, 1, NIGHT["water"], 0.16)


def view_fleet(c: Canvas) -> None:
    """The fishing fleet comes home at evening."""
    horizon = c.pick(0.44, 0.52)
    sky(c, EVENING, horizon, 0.65)
    sun = c.aspect * c.pick(0.3, 0.7)
    c.glow(sun, horizon - 0.09, 0.05, (0.9, 0.55, 0.2))
    c.oval(sun, horizon - 0.09, 0.026, 0.026, (1.5, 1.15, 0.6))
    hills(c, EVENING, horizon, 0.14, 0.6)
    for place in range(5):
        x = c.aspect * (0.1 + 0.19 * place) + c.pick(-0.04, 0.04)
        smack(c, x, horizon + 0.012, c.pick(0.08, 0.14), HULLS[place % 4], SAILS[place % 3])
    c.mirror(horizon + 0.01, 1, EVENING["water"], 0.06)
    for place in range(2):
        x = c.aspect * (0.28 + 0.42 * place)
        size = 0.34 + 0.08 * place
        hull = _dim(HULLS[place], 0.8)
        smack(c, x, 0.72 + 0.08 * place, size, hull, SAILS[1 - place])
        c.box(x - size * 0.45, 0.72 + 0.08 * place, size * 0.9, 0.012, _dim(hull, 0.5), 0.6)
    gulls(c, 7, 0.35)


def view_lighthouse(c: Canvas) -> None:
    """The light on the mole, breakers below."""
    horizon = 0.58
    sky(c, DAY, horizon, 0.8)
    c.gradient(horizon, 1, [(0, (0.22, 0.34, 0.40)), (1, (0.06, 0.14, 0.17))])
    c.roughen(horizon, 1, (0.10, 0.014), 0.55)
    x = c.aspect * c.pick(0.55, 0.68)
    c.poly(
        [(0, 0.74), (x - 0.1, 0.64), (x + 0.2, 0.63), (x + 0.3, 0.78), (0, 0.92)],
        _dim(STONE, 0.75),
    )
    c.poly([(0, 0.74), (x - 0.1, 0.64), (x + 0.2, 0.63), (x + 0.18, 0.66), (0, 0.79)], STONE)
    for part in range(14):
        at = part / 13
        a = (at * (x - 0.05), 0.79 - at * 0.125)
        c.line(a, (a[0] + 0.015, a[1] + 0.12 - 0.05 * at), 0.003, _dim(STONE, 0.45))
    for band in range(5):
        low, high = 0.64 - 0.088 * band, 0.64 - 0.088 * (band + 1)
        w, v = 0.062 - 0.0055 * band, 0.062 - 0.0055 * (band + 1)
        tone = WHITE if band % 2 == 0 else (0.48, 0.05, 0.04)
        c.poly([(x - w, low), (x + w, low), (x + v, high), (x - v, high)], tone)
        shade = [(x + w * 0.35, low), (x + w, low), (x + v, high), (x + v * 0.35, high)]
        c.poly(shade, TAR, 0.38)
        c.box(x - 0.008, low - 0.055, 0.014, 0.024, TAR)
    c.box(x - 0.052, 0.185, 0.104, 0.015, TAR)
    c.box(x - 0.026, 0.125, 0.052, 0.06, (0.75, 0.78, 0.66))
    for bar in range(5):
        at = x - 0.026 + 0.013 * bar
        c.line((at, 0.125), (at, 0.185), 0.003, TAR)
    c.poly([(x - 0.034, 0.125), (x, 0.075), (x + 0.034, 0.125)], (0.30, 0.04, 0.03))
    for _ in range(150):
        px, py = c.pick(0, x + 0.4), c.pick(0.80, 0.95)
        c.oval(
            px, py - 0.05 * px, c.pick(0.01, 0.06), c.pick(0.003, 0.011), (0.85, 0.88, 0.88), 0.42
        )
    smack(c, c.aspect * 0.16, 0.63, 0.17, HULLS[2], SAILS[0])
    gulls(c, 12, 0.5)


def view_storm(c: Canvas) -> None:
    """A steamer in heavy seas."""
    horizon = 0.5
    dark = {
        **DULL,
        "zenith": (0.13, 0.14, 0.16),
        "low": (0.44, 0.45, 0.46),
        "cloud": (0.5, 0.5, 0.5),
    }
    sky(c, dark, horizon, 1.0)
    c.gradient(horizon, 1, [(0, (0.20, 0.23, 0.24)), (1, (0.05, 0.07, 0.08))])
    steamer(c, c.aspect * 0.5, 0.60, 0.72, HULLS[0], True)
    smoke(c, c.aspect * 0.55, 0.34, 0.5, (0.05, 0.05, 0.05))
    for row in range(9):
        y = 0.56 + 0.05 * row
        wave = c.noise(0.10 + 0.035 * row, 0.5, 5)[row]
        tone = _mix((0.22, 0.26, 0.27), (0.05, 0.07, 0.08), row / 8)
        tops = y - (0.03 + 0.008 * row) * (wave - 0.3) * 2
        step = max(1, c.width // 300)
        edge = [(px / c.height, float(tops[px])) for px in range(0, c.width, step)]
        c.poly([(0, 1), *edge, (c.aspect, float(tops[-1])), (c.aspect, 1)], tone)
        for a, b in itertools.pairwise(edge):
            if a[1] < y - 0.012:
                c.line(a, b, 0.006 + 0.001 * row, (0.74, 0.76, 0.76))
        for _ in range(40):
            px, py = edge[int(c.pick(0, len(edge) - 1))]
            foam = (0.7, 0.72, 0.72)
            c.oval(px, py + c.pick(0.004, 0.05), c.pick(0.006, 0.035), 0.004, foam, 0.4)
    c.roughen(horizon, 1, (0.05, 0.012), 0.35)


def view_snow(c: Canvas) -> None:
    """Sheds and smacks under snow; the ground runs white into the border."""
    horizon = 0.52
    pale = {
        **DULL,
        "zenith": (0.58, 0.60, 0.63),
        "low": (0.84, 0.85, 0.86),
        "haze": (0.8, 0.81, 0.83),
    }
    sky(c, pale, horizon, 0.3)
    hills(c, pale, horizon, 0.16, 0.75)
    c.gradient(horizon, 1, [(0, (0.80, 0.82, 0.85)), (1, (0.93, 0.93, 0.94))])
    for place in range(3):
        w, h = c.pick(0.3, 0.4), c.pick(0.13, 0.19)
        x = c.aspect * (0.02 + 0.33 * place)
        c.poly(
            [(x - 0.03, 0.62), (x + w + 0.03, 0.62), (x + w / 2, 0.62 - h * 1.62)],
            (0.9, 0.91, 0.93),
        )
        shed(c, x, 0.62, w, h, _dim(TIMBER, 0.8))
        snow = [(x - 0.02, 0.62 - h), (x + w * 0.06, 0.62 - h * 1.36)]
        c.poly(
            [*snow, (x + w * 0.94, 0.62 - h * 1.36), (x + w + 0.02, 0.62 - h)], (0.88, 0.89, 0.91)
        )
    for place in range(3):
        smack(c, c.aspect * (0.2 + 0.28 * place), 0.72, c.pick(0.2, 0.27), HULLS[place], None)
    for _ in range(60):
        x, y = c.pick(0, c.aspect), c.pick(0.72, 1.0)
        c.oval(x, y, c.pick(0.02, 0.14), c.pick(0.003, 0.012), (0.70, 0.74, 0.80), 0.35)
    for place in range(2):
        person(c, c.aspect * (0.42 + 0.1 * place), 0.86, 0.2, (0.06, 0.05, 0.05), place == 1)


def view_men(c: Canvas) -> None:
    """Net menders before a plank wall: a group portrait."""
    c.gradient(0, 0.74, [(0, _dim(TIMBER, 0.9)), (1, _dim(TIMBER, 1.4))])
    x = 0.0
    while x < c.aspect:
        w = c.pick(0.05, 0.08)
        c.box(x, 0, w, 0.74, _dim(TIMBER, c.pick(0.9, 1.6)), 0.5)
        c.line((x, 0), (x + 0.004, 0.74), 0.004, _dim(TIMBER, 0.25))
        x += w
    c.roughen(0, 0.74, (0.012, 0.3), 0.3)
    c.box(c.aspect * 0.64, 0.10, 0.26, 0.30, _dim(WHITE, 0.75))
    c.box(c.aspect * 0.64 + 0.02, 0.12, 0.22, 0.26, (0.03, 0.035, 0.04))
    c.line((c.aspect * 0.64 + 0.13, 0.12), (c.aspect * 0.64 + 0.13, 0.38), 0.012, _dim(WHITE, 0.7))
    quay(c, 0.74, DULL)
    coats = ((0.04, 0.05, 0.07), (0.16, 0.13, 0.10), (0.08, 0.09, 0.10), (0.25, 0.22, 0.18))
    for place in range(4):
        x = c.aspect * (0.17 + 0.21 * place) + c.pick(-0.02, 0.02)
        person(c, x, 0.93 - 0.03 * (place % 2), c.pick(0.68, 0.76), coats[place], place == 2)
    for _ in range(90):
        a = (c.pick(0.05, 0.9) * c.aspect, c.pick(0.86, 0.97))
        c.line(
            a, (a[0] + c.pick(-0.12, 0.12), a[1] + c.pick(-0.03, 0.05)), 0.003, (0.32, 0.27, 0.2)
        )
    barrel(c, c.aspect * 0.95, 0.96, 0.3)


def view_cranes(c: Canvas) -> None:
    """Looking up at the cranes of the new quay: slanted lines against the sky."""
    sky(c, DAY, 0.9, 0.55)
    shed(c, -0.05, 0.9, 0.5, 0.2, BRICK)
    shed(c, c.aspect - 0.48, 0.9, 0.55, 0.17, (0.33, 0.28, 0.22))
    for place in range(3):
        size = c.pick(0.75, 0.98)
        x = c.aspect * (0.18 + 0.3 * place)
        tone = ((0.07, 0.09, 0.09), (0.30, 0.11, 0.05), (0.12, 0.13, 0.15))[place]
        crane(c, x, 0.92, size, tone, place == 2)
    quay(c, 0.9, DAY)
    crates(c, c.aspect * 0.45, 0.97, 0.07, 6)
    for place in range(3):
        person(c, c.aspect * (0.3 + 0.2 * place), 0.97, 0.13, (0.06, 0.07, 0.1), False)


def view_launch(c: Canvas) -> None:
    """A hull on the slip, dressed with flags, and the crowd below."""
    sky(c, DAY, 0.72, 0.4)
    hills(c, DAY, 0.6, 0.1, 0.75)
    x, base, size = c.aspect * 0.48, 0.72, 0.9
    steamer(c, x, base, size, (0.33, 0.06, 0.04), False)
    for pole in range(9):
        px = x - size * 0.55 + size * 1.1 * pole / 8
        c.line((px, 0.80), (px + 0.01, 0.5), 0.008, TIMBER)
    c.poly([(0, 0.77), (c.aspect, 0.70), (c.aspect, 0.80), (0, 0.84)], _dim(TIMBER, 0.9))
    tones = ((0.6, 0.05, 0.05), (0.75, 0.7, 0.2), (0.05, 0.15, 0.45), WHITE)
    for flag in range(26):
        share = flag / 25
        fx, fy = x - size * 0.46 + size * 0.95 * share, 0.30 + 0.18 * (2 * share - 1) ** 2
        c.poly([(fx, fy), (fx + 0.026, fy), (fx + 0.013, fy + 0.034)], tones[flag % 4])
    quay(c, 0.82, DAY)
    for row in range(3):
        for place in range(int(c.aspect * 16)):
            px = (place + 0.5 * (row % 2) + c.pick(-0.2, 0.2)) / 16
            coat = _dim(((0.07, 0.07, 0.09), (0.2, 0.15, 0.1), (0.3, 0.3, 0.3))[place % 3], 1)
            person(c, px, 0.95 + 0.05 * row, 0.15 + 0.02 * row, coat, c.pick(0, 1) < 0.4)


VIEWS: dict[str, Callable[[Canvas], None]] = {
    "basin": view_basin,
    "quay": view_quay,
    "night": view_night,
    "fleet": view_fleet,
    "lighthouse": view_lighthouse,
    "storm": view_storm,
    "snow": view_snow,
    "men": view_men,
    "cranes": view_cranes,
    "launch": view_launch,
}


def draw(name: str, width: int, height: int, seed: int) -> np.ndarray:
    """Return the view `name` as height x width x 3 float32, linear light, at least 0."""
    canvas = Canvas(width, height, seed)
    VIEWS[name](canvas)
    canvas.rgb *= (1 + 0.06 * (canvas.noise(0.004, 0.004, 1) - 0.5))[..., None].astype("f4")
    canvas.rgb += np.float32(0.004)
    canvas.soften(max(0, round(width / 1600)))
    return np.clip(canvas.rgb, 0, 4).astype(np.float32)
