"""Random scenes of film, plates, slides and prints at the size at which the map sees a master.

A small grammar: a ground, on it carriers, mounts or sleeves, in them film, glass or paper, on that
pictures, perforations, marks; labels, rulers and patches beside it. Sizes, tones, colours, lamps,
dirt and faults are drawn wide, wider than what is met. Nothing here is shared with the package,
with the scenes of the benchmarks or with the sample masters.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from training.views import Floats, Pool, Rng

GROUND, CARRIER, FILM, PICTURE, HOLE, LABEL = range(6)
CLASSES = ("ground", "carrier", "film", "picture", "perforation", "label")
IGNORED = 255
# (height, width) of scenes: about as many pixels each, as of masters of other shapes.
SIZES = ((256, 384), (304, 320), (192, 512), (112, 640))
# Steps of tone per unit of density, and the greatest value: see `learned.py`.
STEPS = 400
GREATEST = 1080


@dataclass
class Scene:
    """tone: (h, w, 3) uint16, 0 to GREATEST; kind: (h, w) uint8; edge: (h, w) uint8, 0 or 1;
    which: (h, w), the number of the picture there, or 0; layout: which of LAYOUTS.
    """

    tone: npt.NDArray[np.uint16]
    kind: npt.NDArray[np.uint8]
    edge: npt.NDArray[np.uint8]
    layout: str
    which: npt.NDArray[np.int32]


class Canvas:
    """Linear light of a scene, and what lies where. Layouts have units of their own (`to_px`)."""

    def __init__(self, rng: Rng, pool: Pool, h: int, w: int) -> None:
        self.rng, self.pool, self.h, self.w = rng, pool, h, w
        self.light = np.ones((h, w, 3), np.float32)
        self.kind = np.zeros((h, w), np.uint8)
        self.which = np.zeros((h, w), np.int32)
        self.pictures = 0
        self.m = np.eye(3)
        self.lamp = np.ones(3, np.float32)

    def fit(self, width: float, height: float, fill: float, turn_deg: float) -> None:
        """Map layout units, the middle at 0, so that width x height takes `fill` of the canvas."""
        a = np.deg2rad(turn_deg)
        c, s = np.cos(a), np.sin(a)
        wide = abs(width * c) + abs(height * s)
        high = abs(width * s) + abs(height * c)
        k = fill * min(self.w / wide, self.h / high)
        shift = self.rng.normal(0, 0.02, 2) * (self.w, self.h)
        similar = np.array(
            [
                [k * c, -k * s, self.w / 2 + shift[0]],
                [k * s, k * c, self.h / 2 + shift[1]],
                [0, 0, 1],
            ]
        )
        tilt = np.eye(3)
        if self.rng.random() < 0.3:
            tilt[2, :2] = self.rng.normal(0, 0.015, 2) / max(width, height)
        self.m = similar @ tilt

    def px(self, points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        q = np.c_[points, np.ones(len(points))] @ self.m.T
        return np.asarray(q[:, :2] / q[:, 2:])

    def scale(self) -> float:
        return float(np.sqrt(abs(np.linalg.det(self.m[:2, :2]))))

    def cover(self, points: npt.NDArray[np.float64]) -> tuple[tuple[slice, slice], Floats] | None:
        """Return where a polygon (layout units) lies, and how far it covers the pixels there."""
        p = self.px(points)
        x0, y0 = np.floor(p.min(0)).astype(int) - 1
        x1, y1 = np.ceil(p.max(0)).astype(int) + 2
        x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, self.w), min(y1, self.h)
        if x1 - x0 < 1 or y1 - y0 < 1:
            return None
        drawn = np.zeros((y1 - y0, x1 - x0), np.uint8)
        fixed = np.round((p - (x0 + 0.5, y0 + 0.5)) * 16)
        fixed = np.clip(fixed, -300_000, 300_000).astype(np.int32)
        cv2.fillPoly(drawn, [fixed], 255, cv2.LINE_AA, 4)
        return (slice(y0, y1), slice(x0, x1)), drawn.astype(np.float32) / 255

    def paint(
        self, points: npt.NDArray[np.float64], tone: Floats, kind: int | None,
        through: bool = False, alpha: float = 1.0,
    ) -> None:  # fmt: skip
        """Cover a polygon by a tone, or (through) let its light through such film."""
        got = self.cover(points)
        if got is None:
            return
        at, cover = got
        m = cover[..., None] * alpha
        new = self.light[at] * tone if through else tone
        self.light[at] = self.light[at] * (1 - m) + new * m
        if kind is not None:
            inside = cover > 0.5
            self.kind[at][inside] = kind
            self.which[at][inside] = 0

    def roughen(
        self, points: npt.NDArray[np.float64], amount: float, streaks: bool = False
    ) -> None:
        got = self.cover(points)
        if got is None:
            return
        at, cover = got
        texture = self.pool.texture(self.rng, *cover.shape, streaks)
        self.light[at] *= np.exp2(cover * texture * amount)[..., None]

    def picture(
        self, rect: npt.NDArray[np.float64], outline: npt.NDArray[np.float64], tones: Floats,
        seen: bool = True, through: Floats | None = None,
    ) -> None:  # fmt: skip
        """Lay an array of tones on the quadrilateral `rect`, seen within `outline`.

        through: (3,) light that falls through it; without, the tones are what is seen.
        """
        got = self.cover(outline)
        if got is None:
            return
        at, cover = got
        p = self.px(rect) - (at[1].start, at[0].start)
        hh, ww = tones.shape[:2]
        far = max(np.hypot(*(p[1] - p[0])) / ww, np.hypot(*(p[3] - p[0])) / hh)
        if far < 0.75:  # a smaller one first, so that fine detail becomes tone and no noise
            size = max(4, round(ww * far)), max(4, round(hh * far))
            tones = cv2.resize(tones, size, interpolation=cv2.INTER_AREA)
            hh, ww = tones.shape[:2]
        start = np.array([[0, 0], [ww, 0], [ww, hh], [0, hh]], np.float32) - 0.5
        m = cv2.getPerspectiveTransform(start, (p - 0.5).astype(np.float32))
        laid = cv2.warpPerspective(
            tones, m, cover.shape[::-1], flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        if through is not None:
            laid = laid * through
        inside = cover > 0.5
        before = (
            float(
                np.abs(
                    np.log10(self.light[at][inside] + 0.004) - np.log10(laid[inside] + 0.004)
                ).mean()
            )
            if inside.any()
            else 0.0
        )
        self.light[at] = self.light[at] * (1 - cover[..., None]) + laid * cover[..., None]
        if not seen:
            return
        self.pictures += 1
        # A picture that does not differ from what is around it at all cannot be asked for.
        self.kind[at][inside] = PICTURE if before > 0.015 else IGNORED
        self.which[at][inside] = self.pictures if before > 0.015 else 0


# ---- outlines --------------------------------------------------------------------------------
def rectangle(
    cx: float, cy: float, w: float, h: float, deg: float = 0.0, r: float = 0.0
) -> npt.NDArray[np.float64]:
    """Return a (rounded) rectangle; the first four of a sharp one are its corners in order."""
    if r <= 0:
        p = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    else:
        r = min(r, w / 2, h / 2)
        t = np.linspace(0, np.pi / 2, 6)
        arc = np.c_[np.cos(t), np.sin(t)] * r
        p = np.concatenate(
            [
                arc @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
                + (sx * (w / 2 - r), sy * (h / 2 - r))
                for a, sx, sy in (
                    (np.pi, -1, -1),
                    (1.5 * np.pi, 1, -1),
                    (0, 1, 1),
                    (0.5 * np.pi, -1, 1),
                )
            ]
        )
    a = np.deg2rad(deg)
    return np.asarray(p @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + (cx, cy))


def ellipse(cx: float, cy: float, w: float, h: float) -> npt.NDArray[np.float64]:
    t = np.linspace(0, 2 * np.pi, 48, endpoint=False)
    return np.c_[cx + np.cos(t) * w / 2, cy + np.sin(t) * h / 2]


def ragged(rng: Rng, points: npt.NDArray[np.float64], amount: float) -> npt.NDArray[np.float64]:
    """Return the outline with points along its sides, each moved a little, smoothly."""
    dense = []
    for p, q in zip(points, np.roll(points, -1, 0), strict=True):
        t = np.linspace(0, 1, 24, endpoint=False)[:, None]
        dense.append(p * (1 - t) + q * t)
    out = np.concatenate(dense)
    push = rng.normal(0, amount, out.shape)
    for _ in range(int(rng.integers(0, 4))):
        push = (np.roll(push, 1, 0) + push + np.roll(push, -1, 0)) / 3 * 1.4
    return out + push


# ---- film ------------------------------------------------------------------------------------
@dataclass
class Stock:
    """How film or paper answers light. base, rest: densities of what was not and was exposed."""

    base: Floats
    border: Floats
    negative: bool
    grey: bool
    gamma: float
    span: float
    speed: float

    def through(self, e: Floats) -> Floats:
        """Return the share of light that passes where it was exposed to `e`."""
        if self.grey:
            e = e.mean(2, keepdims=True)
        log_e = np.log10(np.maximum(e, 1e-3))
        if self.negative:
            d = self.gamma * np.log10(1 + 10 ** (log_e + self.speed))
            d = self.span * (1 - np.exp(-d / self.span))
        else:
            d = np.maximum(-2 * self.gamma * (log_e - 0.05), 0)
            d = self.span * 1.4 * (1 - np.exp(-d / self.span))
        return np.asarray(10 ** -(self.base + d), np.float32)


def stock_of(rng: Rng) -> Stock:
    negative = bool(rng.random() < 0.65)
    grey = bool(rng.random() < 0.6)
    if negative and not grey and rng.random() < 0.85:
        base = np.array([0.2, 0.55, 0.8]) * rng.uniform(0.6, 1.2) + rng.normal(0, 0.06, 3)
    else:
        base = rng.uniform(0.02, 0.4) + rng.normal(0, 0.02, 3)
    base = np.maximum(base, 0.01).astype(np.float32)
    border = base if negative else (base + rng.uniform(1.6, 3.3)).astype(np.float32)
    if rng.random() < 0.06:  # fogged, or a positive with a clear border
        border = (base + rng.uniform(0.0, 2.0)).astype(np.float32)
    return Stock(
        base,
        border,
        negative,
        grey,
        rng.uniform(0.45, 0.9),
        rng.uniform(1.4, 2.8),
        rng.uniform(1.6, 2.6),
    )


def lay(
    c: Canvas, stock: Stock, rect: npt.NDArray[np.float64],
    outline: npt.NDArray[np.float64] | None = None, e: Floats | None = None,
) -> None:  # fmt: skip
    """Put a picture on film that the lamp shines through."""
    side = c.px(rect)
    aspect = np.hypot(*(side[1] - side[0])) / max(np.hypot(*(side[3] - side[0])), 1e-6)
    e = c.pool.view(c.rng, float(np.clip(aspect, 0.2, 5))) if e is None else e
    tones = stock.through(e)
    c.picture(rect, rect if outline is None else outline, tones, through=c.lamp)


def marks(c: Canvas, points: npt.NDArray[np.float64], tone: Floats, n: int) -> None:
    """Edge print: short dark or light strokes at these places."""
    for _ in range(n):
        p = points[c.rng.integers(len(points))] + c.rng.normal(0, 0.4, 2)
        w, h = c.rng.uniform(0.2, 2.0), c.rng.uniform(0.2, 0.9)
        c.paint(rectangle(p[0], p[1], w, h), tone, None)


def strip(
    c: Canvas, at: tuple[float, float], deg: float, stock: Stock, n: int, size: tuple[float, float],
    gap: float, film_w: float, holes: int, cut: tuple[float, float] = (1.0, 1.0),
) -> None:  # fmt: skip
    """A strip of `n` pictures of `size`; holes: rows of perforations; cut: film before and after."""
    rng = c.rng
    w, h = size
    length = n * w + (n - 1) * gap + sum(cut)
    a = np.deg2rad(deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])

    def to(p: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray(p @ turn + at)

    outline = rectangle(0, 0, length, film_w, 0, rng.choice([0, 0, 1.0]))
    if rng.random() < 0.3:
        lean = rng.normal(0, 0.02)
        outline = outline + np.c_[outline[:, 1] * lean, np.zeros(len(outline))]
    c.paint(to(outline), 10**-stock.border * c.lamp, FILM)
    if rng.random() < 0.3:
        c.roughen(to(outline), rng.uniform(0.02, 0.2), rng.random() < 0.5)
    shift = rng.normal(0, 0.01) * film_w
    x = -length / 2 + cut[0]
    blank = rng.random(n) < (0.12 if rng.random() < 0.3 else 0.0)
    wander = rng.uniform(0, 0.25) * gap
    same = c.pool.view(rng, w / h) if rng.random() < 0.12 else None
    round_px = rng.choice([0, 0, 0.02, 0.06]) * h
    for k in range(n):
        cx = x + w / 2 + k * (w + gap) + rng.normal(0, wander)
        rect = rectangle(cx, shift, w, h)
        if blank[k]:
            continue
        shown = rectangle(cx, shift, w, h, 0, round_px)
        if rng.random() < 0.06:
            shown = ragged(rng, shown, 0.006 * h)
        e = same if same is None else np.asarray(same * np.exp2(rng.normal(0, 0.7)), np.float32)
        lay(c, stock, to(rect), to(shown), e)
    edges = (film_w - h) / 2
    if rng.random() < 0.6 and edges > 2:
        for side in (-1, 1):
            p = np.c_[
                rng.uniform(-length / 2, length / 2, 20),
                np.full(20, side * (film_w / 2 - min(1.0, edges / 3))),
            ]
            tone = 10 ** -(stock.base + (rng.uniform(0.5, 2) if stock.negative else 0.1)) * c.lamp
            marks(c, to(p), tone.astype(np.float32), int(rng.integers(2, 18)))
    pitch = 4.75 * film_w / 35 * rng.uniform(0.9, 1.1)
    hole_w, hole_h = (
        pitch * rng.uniform(0.38, 0.5),
        min(0.08 * film_w, edges * 0.8) if edges > 1 else 0.06 * film_w,
    )
    seen = c.lamp * rng.uniform(0.9, 1.1) if rng.random() < 0.85 else c.lamp * rng.uniform(0.0, 0.3)
    for side in ((-1, 1), (-1,), (1,))[holes % 3] if holes else ():
        y = side * (film_w / 2 - max(edges * 0.5, hole_h * 0.7))
        for px in np.arange(-length / 2 + rng.uniform(0, pitch), length / 2 - hole_w * 0.6, pitch):
            c.paint(to(rectangle(px, y, hole_w, hole_h, 0, hole_h * 0.2)), seen, HOLE)


# ---- grounds and things beside -----------------------------------------------------------------
def ground(c: Canvas) -> str:
    """Paint the ground; returns its kind: light, dark or grey."""
    rng = c.rng
    kind = str(rng.choice(["light", "dark", "grey"], p=[0.6, 0.25, 0.15]))
    c.lamp = (np.ones(3) + rng.normal(0, 0.04, 3)).astype(np.float32)
    if kind == "light":
        c.light[:] = c.lamp
        if rng.random() < 0.2:
            c.light *= np.exp2(c.pool.texture(rng, c.h, c.w) * rng.uniform(0.005, 0.06))[..., None]
        return kind
    level = rng.uniform(0.0005, 0.04) if kind == "dark" else rng.uniform(0.04, 0.75)
    tint = np.exp2(rng.normal(0, 0.05 if rng.random() < 0.7 else 0.5, 3))
    c.light[:] = (level * tint).astype(np.float32)
    if rng.random() < 0.7:
        amount = rng.uniform(0.01, 0.15) if rng.random() < 0.7 else rng.uniform(0.15, 0.7)
        c.light *= np.exp2(c.pool.texture(rng, c.h, c.w, rng.random() < 0.3) * amount)[..., None]
    return kind


def writing(c: Canvas, cx: float, cy: float, w: float, h: float, deg: float, ink: Floats) -> None:
    """Lines of strokes, or bars, or a grid of squares."""
    rng = c.rng
    a = np.deg2rad(deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    kind = rng.integers(3)

    def put(x: float, y: float, ww: float, hh: float) -> None:
        c.paint(rectangle(x, y, ww, hh) @ turn + (cx, cy), ink, None)

    if kind == 0:
        rows = int(rng.integers(1, 7))
        for row in range(rows):
            y = (row + 0.5) / rows * h * 0.8 - 0.4 * h
            x = -0.42 * w
            while x < 0.4 * w * rng.uniform(0.6, 1):
                ww = rng.uniform(0.01, 0.08) * w
                put(x, y, ww, 0.35 * h / rows)
                x += ww + 0.02 * w
    elif kind == 1:
        x = -0.42 * w
        while x < 0.42 * w:
            ww = rng.uniform(0.008, 0.035) * w
            put(x, 0, ww, 0.6 * h)
            x += ww + rng.uniform(0.01, 0.035) * w
    else:
        n = int(rng.integers(8, 14))
        side = 0.8 * min(w, h) / n
        for i, j in np.argwhere(rng.random((n, n)) < 0.5):
            put((i - n / 2) * side, (j - n / 2) * side, side, side)


def label(c: Canvas, cx: float, cy: float, w: float, h: float, deg: float) -> None:
    paper = (rng_tone(c.rng, 0.25, 0.95)).astype(np.float32)
    box = rectangle(cx, cy, w, h, deg)
    c.paint(box, paper, LABEL)
    writing(c, cx, cy, w, h, deg, paper * np.float32(c.rng.uniform(0.05, 0.4)))


def rng_tone(rng: Rng, low: float, high: float) -> Floats:
    return np.asarray(rng.uniform(low, high) * np.exp2(rng.normal(0, 0.08, 3)), np.float32)


def ruler(c: Canvas, cx: float, cy: float, w: float, h: float, deg: float) -> None:
    rng = c.rng
    light = rng.random() < 0.6
    c.paint(
        rectangle(cx, cy, w, h, deg),
        rng_tone(rng, 0.4, 0.95) if light else rng_tone(rng, 0.005, 0.3),
        LABEL,
    )
    ink = rng_tone(rng, 0.005, 0.1) if light else rng_tone(rng, 0.5, 0.95)
    a = np.deg2rad(deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    step = w / rng.integers(10, 60)
    for k, x in enumerate(np.arange(-w / 2 + step, w / 2, step)):
        long = h * (0.6 if k % 5 == 0 else 0.35)
        c.paint(rectangle(x, -h / 2 + long / 2, step * 0.2, long) @ turn + (cx, cy), ink, None)


def patches(c: Canvas, cx: float, cy: float, w: float, h: float, deg: float) -> None:
    """A card of colours, or a wedge of greys."""
    rng = c.rng
    card = rng_tone(rng, 0.005, 0.9)
    c.paint(rectangle(cx, cy, w, h, deg), card, LABEL)
    rows = int(rng.integers(1, 5))
    columns = max(2, round(rows * w / max(h, 1e-6)))
    columns = min(columns, 24)
    a = np.deg2rad(deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    wedge = rng.random() < 0.5
    share = rng.uniform(0.75, 1.0)
    for row in range(rows):
        for k in range(columns):
            tone = (
                np.full(3, 10 ** (-2.2 * k / columns)) if wedge else 10 ** rng.uniform(-1.6, 0, 3)
            )
            x, y = ((k + 0.5) / columns - 0.5) * w, ((row + 0.5) / rows - 0.5) * h
            box = rectangle(x, y, w / columns * share, h / rows * share) @ turn + (cx, cy)
            c.paint(box, tone.astype(np.float32), None)


def beside(c: Canvas, width: float, height: float, most: int = 3) -> None:
    """Put labels, rulers and patches near the edges of what was laid out (width x height)."""
    rng = c.rng
    corners = np.linalg.inv(c.m) @ np.array([[0, 0, 1], [c.w, c.h, 1], [c.w, 0, 1], [0, c.h, 1]]).T
    far = np.abs(corners[:2] / corners[2]).max(1)
    for _ in range(int(rng.integers(1, most + 1))):
        along = rng.random() < 0.5
        side = rng.choice([-1, 1])
        free = (far[1] - height / 2) if along else (far[0] - width / 2)
        h = max(free, 0.02 * max(width, height)) * rng.uniform(0.4, 0.9)
        w = min(h * rng.uniform(1, 12), (width if along else height) * 1.1)
        off = ((height if along else width) / 2 + free / 2) * side
        t = rng.uniform(-0.5, 0.5) * (width if along else height)
        x, y, deg = (t, off, 0.0) if along else (off, t, 90.0)
        draw = (label, ruler, patches)[rng.integers(3)]
        draw(c, x, y, w, h, deg + rng.normal(0, 1.5))


# ---- layouts ---------------------------------------------------------------------------------
def fill_of(rng: Rng) -> float:
    return float(
        rng.choice(
            [rng.uniform(0.5, 0.8), rng.uniform(0.8, 0.99), rng.uniform(0.99, 1.25)],
            p=[0.25, 0.55, 0.2],
        )
    )


def turn_of(rng: Rng) -> float:
    return float(
        rng.choice(
            [rng.normal(0, 0.7), rng.uniform(-4, 4), rng.uniform(-15, 15)], p=[0.5, 0.4, 0.1]
        )
    )


def frame_aspect(c: Canvas) -> float:
    long = float(
        c.rng.choice([1.0, 1.2, 1.25, 1.33, 1.36, 1.4, 1.5, 1.5, 2.3, c.rng.uniform(1, 2.6)])
    )
    return long if c.w >= c.h or c.rng.random() < 0.3 else 1 / long


def sheet(c: Canvas) -> None:
    """One sheet of film: border, notches, perhaps in a carrier with an opening."""
    rng = c.rng
    aspect = frame_aspect(c)
    h = 100.0
    w = h * aspect
    border = rng.choice([0.0, rng.uniform(0.5, 3), rng.uniform(3, 9)], p=[0.1, 0.5, 0.4])
    c.fit(w + 2 * border, h + 2 * border, fill_of(rng), turn_of(rng))
    stock = stock_of(rng)
    film = rectangle(0, 0, w + 2 * border, h + 2 * border, 0, rng.uniform(0, 3))
    if rng.random() < 0.45:
        carrier(c, w + 2 * border, h + 2 * border)
    c.paint(film, 10**-stock.border * c.lamp, FILM)
    off = rng.normal(0, 0.15, 2) * border
    rect = rectangle(off[0], off[1], w, h)
    lay(c, stock, rect, rectangle(off[0], off[1], w, h, 0, rng.choice([0, 0, 2])))
    for k in range(int(rng.integers(0, 4))):
        c.paint(rectangle(w / 2 - 8 - 5 * k, -h / 2 - border, 2.5, 2.5, 45), c.lamp, GROUND)
    if rng.random() < 0.4:
        beside(c, w + 2 * border, h + 2 * border)


def carrier(c: Canvas, w: float, h: float) -> None:
    """A holder around an opening of w x h: most of the canvas, or a frame of its own."""
    rng = c.rng
    tone = rng_tone(rng, 0.0004, 0.03) if rng.random() < 0.7 else rng_tone(rng, 0.03, 0.6)
    wide = rng.uniform(0.06, 0.5) * max(w, h) if rng.random() < 0.6 else 10 * max(w, h)
    outer = rectangle(
        rng.normal(0, 0.05) * wide * 0, 0, w + 2 * wide, h + 2 * wide, 0, rng.uniform(0, 0.1) * wide
    )
    c.paint(outer, tone, CARRIER)
    if rng.random() < 0.4:
        c.roughen(outer, rng.uniform(0.02, 0.3))
    gap = rng.choice([0.0, rng.uniform(0, 0.04)]) * max(w, h)
    c.paint(rectangle(0, 0, w + gap, h + gap, 0, rng.choice([0, 0.02]) * h), c.lamp, GROUND)


def masked(c: Canvas) -> None:
    """A picture behind the opening of a mask, mount or carrier: slides, lantern slides, frames."""
    rng = c.rng
    aspect = frame_aspect(c)
    h = 100.0
    w = h * aspect
    wide = rng.uniform(0.05, 0.7, 2) * h
    outer = (w + 2 * wide[0], h + 2 * wide[1])
    if rng.random() < 0.4:
        outer = (max(outer),) * 2
    fill = (
        fill_of(rng)
        if rng.random() < 0.6
        else rng.uniform(1.0, max(outer[0] / w, outer[1] / h) * 1.05)
    )
    c.fit(*outer, fill, turn_of(rng))
    stock = stock_of(rng)
    kind = rng.integers(4)
    opening = (
        ellipse(0, 0, w, h) if kind == 0 and rng.random() < 0.7
        else rectangle(0, 0, w, h, 0, rng.choice([0, rng.uniform(1, 6), rng.uniform(6, 30)]))
    )  # fmt: skip
    tone = rng_tone(rng, 0.0003, 0.03) if rng.random() < 0.65 else rng_tone(rng, 0.03, 0.9)
    board = rectangle(0, 0, *outer, 0, rng.choice([0, 3]))
    if rng.random() < 0.3:  # bound glass: a rim of tape
        c.paint(rectangle(0, 0, outer[0] * 1.02, outer[1] * 1.02), rng_tone(rng, 0.0, 0.3), CARRIER)
    c.paint(board, tone, CARRIER)
    if rng.random() < 0.4:
        c.roughen(board, rng.uniform(0.02, 0.4))
    for _ in range(int(rng.integers(0, 3)) if rng.random() < 0.4 else 0):
        side = rng.choice([-1, 1])
        room = wide[1]
        label(
            c,
            rng.uniform(-0.3, 0.3) * w,
            side * (h / 2 + room / 2),
            rng.uniform(0.1, 0.6) * w,
            room * rng.uniform(0.3, 0.8),
            rng.normal(0, 2),
        )
    grow = rng.choice([1.1, rng.uniform(0.9, 1.0)], p=[0.7, 0.3])
    got = c.cover(opening)
    if got is None:
        return
    c.paint(opening, 10**-stock.border * c.lamp, FILM)
    if grow > 1:
        lay(c, stock, rectangle(0, 0, w * grow, h * grow), opening)
        return
    shift = rng.normal(0, 0.25, 2) * (1 - grow) * (w, h)
    shown = rectangle(shift[0], shift[1], w * grow, h * grow)
    keep = {name: getattr(c, name).copy() for name in ("light", "kind", "which")}
    lay(c, stock, shown)
    at, cover = got
    beyond = np.ones((c.h, c.w), np.float32)
    beyond[at] = 1 - cover
    c.light = c.light * (1 - beyond[..., None]) + keep["light"] * beyond[..., None]
    c.kind = np.where(beyond > 0.5, keep["kind"], c.kind)
    c.which = np.where(beyond > 0.5, keep["which"], c.which)


def film_kind(rng: Rng) -> tuple[tuple[float, float], float, float, int]:
    """Return ((picture w, h), gap, film's width, rows of perforations + 1 or 0), in mm or so."""
    kind = rng.integers(6)
    if kind <= 2:
        w = float(rng.choice([36, 36, 36, 18, 24, 32, 65]))
        return (w, 24.0), rng.choice([0.0, 0.4, 1.0, 2.0, 2.0, 2.0, 3.0]), 35.0, 3
    if kind <= 4:
        w = float(rng.choice([41.5, 56, 69, 82.6]))
        return (w, 56.0), rng.choice([0.0, 0.7, 1.5, 3, 5]), 61.5, 0
    h = rng.uniform(10, 50)
    return (
        (h * rng.uniform(0.7, 2.2), h),
        rng.uniform(0, 0.15) * h,
        h * rng.uniform(1.02, 1.6),
        int(rng.choice([0, 0, 1, 2, 3])),
    )


def strips(c: Canvas) -> None:
    """One to five strips beside one another, on the ground, in a carrier or a sleeve."""
    rng = c.rng
    size, gap, film_w, holes = film_kind(rng)
    upright = c.h > c.w * rng.uniform(0.7, 1.4)
    long_px, short_px = (c.h, c.w) if upright else (c.w, c.h)
    n = int(rng.integers(1, 8))
    rows = int(rng.choice([1, 2, 3, 4, 5], p=[0.6, 0.15, 0.1, 0.1, 0.05]))
    if rows == 1:
        n = int(
            np.clip(round(rng.normal(long_px / short_px * film_w / (size[0] + gap), 0.7)), 1, 12)
        )
    space = rng.choice([rng.uniform(0.02, 0.1), rng.uniform(0.1, 0.4)]) * film_w
    length, across = n * (size[0] + gap) + 4, rows * film_w + (rows - 1) * space
    c.fit(
        length,
        across,
        fill_of(rng),
        turn_of(rng) * (0.4 if length > 3 * across else 1) + (90 if upright else 0),
    )
    dress = rng.choice(["bare", "carrier", "sleeve"], p=[0.55, 0.25, 0.2])
    if dress == "carrier":
        carrier(c, length + 2, across + 1)
    elif dress == "sleeve":
        c.paint(
            rectangle(0, 0, length * 1.1, across * 1.1),
            np.float32(rng.uniform(0.6, 0.95)) + np.zeros(3, np.float32),
            CARRIER,
            through=True,
        )
        for row in range(rows + 1):
            y = (row - rows / 2) * (film_w + space)
            c.paint(
                rectangle(0, y, length * 1.1, rng.uniform(0.3, 1.5)),
                np.float32(rng.uniform(0.5, 1.1)) + np.zeros(3, np.float32),
                None,
                through=True,
            )
    stock = stock_of(rng)
    for row in range(rows):
        if rng.random() < 0.1:
            stock = stock_of(rng)
        y = (row - (rows - 1) / 2) * (film_w + space)
        m = n if rng.random() < 0.8 else int(rng.integers(1, n + 1))
        ends = rng.choice([0.3, 1.0, 2.0, 10.0], size=2)
        strip(
            c,
            (rng.normal(0, 1), y),
            rng.normal(0, 0.3),
            stock,
            m,
            size,
            gap,
            film_w,
            holes,
            (ends[0], ends[1]),
        )
    if rng.random() < 0.35:
        beside(c, length, across)
    if dress == "sleeve":
        box = rectangle(0, 0, length * 1.1, across * 1.1)
        c.paint(box, rng_tone(rng, 0.5, 0.9), None, alpha=rng.uniform(0, 0.08))
        c.roughen(box, rng.uniform(0, 0.05), True)


def scattered(c: Canvas) -> None:
    """Pieces of film or prints in a loose grid, each turned a little, of one size or of several."""
    rng = c.rng
    columns = int(rng.integers(1, 6))
    rows = max(1, round(columns * c.h / c.w * rng.uniform(0.7, 1.3)))
    rows = min(rows, 6)
    c.fit(columns, rows, rng.uniform(0.85, 1.1), rng.normal(0, 1))
    kind = rng.choice(["cut", "mounts", "prints"], p=[0.45, 0.25, 0.3])
    stock = stock_of(rng)
    size, gap, film_w, holes = film_kind(rng)
    one = rng.uniform(0.55, 0.92)
    tone = rng_tone(rng, 0.3, 0.95) if rng.random() < 0.5 else rng_tone(rng, 0.001, 0.3)
    for i in range(rows):
        for j in range(columns):
            if rng.random() < 0.12:
                continue
            x, y = (
                j - (columns - 1) / 2 + rng.normal(0, 0.02),
                i - (rows - 1) / 2 + rng.normal(0, 0.02),
            )
            deg = rng.normal(0, 3) + (90 if rng.random() < 0.15 else 0)
            if rng.random() < 0.05:
                label(c, x, y, rng.uniform(0.3, 0.8), rng.uniform(0.2, 0.5), deg)
            elif kind == "cut":
                if rng.random() < 0.15:
                    stock = stock_of(rng)
                k = one / max(film_w, size[0] + 2)
                inner = Canvas.__new__(Canvas)
                inner.__dict__ = {**c.__dict__, "m": c.m @ np.diag([k, k, 1])}
                strip(
                    inner,
                    (x / k, y / k),
                    deg,
                    stock,
                    1,
                    size,
                    gap,
                    film_w,
                    holes,
                    tuple(rng.uniform(0.3, 1.6, 2)),
                )
                c.pictures = inner.pictures
            elif kind == "mounts":
                c.paint(rectangle(x, y, one, one, deg, 0.03), tone, CARRIER)
                w, h = one * 0.7, one * 0.47
                rect = rectangle(x, y, w, h, deg)
                lay(c, stock, rect, rectangle(x, y, w, h, deg, rng.choice([0, 0.03])))
            else:
                a = frame_aspect(c)
                w, h = (one, one / a) if a > 1 else (one * a, one)
                paper(c, x, y, w, h, deg, rng.choice([0.0, 0.02, 0.05]))
    if rng.random() < 0.3:
        beside(c, columns, rows)


def paper(c: Canvas, x: float, y: float, w: float, h: float, deg: float, border: float) -> None:
    """A print: white or toned paper, a picture on it. Light falls on it, not through it."""
    rng = c.rng
    white = rng_tone(rng, 0.5, 0.95) * np.array([1, 0.97, rng.uniform(0.75, 0.97)], np.float32)
    dark = rng.random() < 0.08
    outline = rectangle(x, y, w, h, deg)
    if rng.random() < 0.1:
        outline = ragged(rng, outline, 0.004 * max(w, h))
    c.paint(outline, white * np.float32(0.03) if dark else white, FILM)
    side = border * max(w, h)
    a = np.deg2rad(deg)
    off = rng.uniform(-0.3, 0.8) * side if rng.random() < 0.3 else 0.0
    cx, cy = x + np.sin(a) * off, y - np.cos(a) * off
    ww, hh = w - 2 * side, h - 2 * side - 2 * abs(off)
    if min(ww, hh) <= 0.05 * max(w, h):
        return
    e = c.pool.view(rng, float(np.clip(ww / hh, 0.2, 5)))
    if rng.random() < 0.6:
        e = e.mean(2, keepdims=True) * np.array([1, 0.95, 0.85], np.float32) ** rng.uniform(0, 3)
    span = rng.uniform(1.2, 2.2)
    d = np.clip(-rng.uniform(0.9, 1.8) * (np.log10(np.maximum(e, 1e-3)) + 0.05), 0, 4)
    tones = white * 10 ** -(span * (1 - np.exp(-d / span)))
    rect = rectangle(cx, cy, ww, hh, deg)
    shown = ellipse(cx, cy, ww, hh) if rng.random() < 0.05 and abs(deg) < 3 else rect
    c.picture(rect, shown, tones.astype(np.float32))


def prints(c: Canvas) -> None:
    """One print on a ground, or mounted on a card."""
    rng = c.rng
    a = frame_aspect(c)
    w, h = 100 * a, 100.0
    if rng.random() < 0.3:
        grow = rng.uniform(1.05, 1.5, 2)
        c.fit(w * grow[0], h * grow[1], fill_of(rng), turn_of(rng))
        card = rectangle(0, 0, w * grow[0], h * grow[1])
        c.paint(card, rng_tone(rng, 0.05, 0.9), CARRIER)
        c.roughen(card, rng.uniform(0, 0.2))
        if rng.random() < 0.4:
            writing(
                c,
                0,
                h * (0.5 + (grow[1] - 1) / 4),
                w * 0.6,
                h * (grow[1] - 1) * 0.3,
                0,
                rng_tone(rng, 0.01, 0.3),
            )
    else:
        c.fit(w, h, fill_of(rng), turn_of(rng))
    paper(c, 0, 0, w, h, 0, rng.choice([0.0, 0.02, 0.05, 0.12]))
    if rng.random() < 0.4:
        beside(c, w, h)


def plate(c: Canvas) -> None:
    """Glass with one to four exposures, one under another or beside; ragged emulsion, chips."""
    rng = c.rng
    n = int(rng.choice([1, 2, 3, 4], p=[0.4, 0.2, 0.3, 0.1]))
    a = float(rng.uniform(0.8, 1.4))
    thin = float(rng.choice([0.0, rng.uniform(0, 2), rng.uniform(1, 6)]))
    h, w = 100.0, 100.0 * a
    down = c.h > c.w if rng.random() < 0.8 else rng.random() < 0.5
    inner = (w, n * h + (n - 1) * thin) if down else (n * w + (n - 1) * thin, h)
    border = rng.choice([rng.uniform(0, 2), rng.uniform(2, 8), rng.uniform(5, 15)], size=2)
    outer = inner[0] + 2 * border[0], inner[1] + 2 * border[1]
    c.fit(*outer, fill_of(rng), turn_of(rng))
    stock = stock_of(rng)
    stock.grey = rng.random() < 0.9
    if rng.random() < 0.25:
        carrier(c, *outer)
    glass = rectangle(0, 0, *outer)
    c.paint(glass, c.lamp * np.float32(rng.uniform(0.8, 0.97)), FILM)
    for k in range(4):  # edges of glass are dark
        p, q = glass[k], glass[(k + 1) % 4]
        mid, long = (p + q) / 2, float(np.hypot(*(q - p)))
        deg = float(np.degrees(np.arctan2(*(q - p)[::-1])))
        if rng.random() < 0.6:
            c.paint(
                rectangle(mid[0], mid[1], long, rng.uniform(0.2, 1.2), deg),
                c.lamp * np.float32(rng.uniform(0.05, 0.7)),
                FILM,
            )
    back = rng.uniform(0, 0.7, 2) * border
    emulsion = ragged(
        rng,
        rectangle(0, 0, outer[0] - 2 * back[0], outer[1] - 2 * back[1]),
        rng.choice([0.1, 0.5, 1.0]),
    )
    c.paint(emulsion, 10**-stock.border * c.lamp, FILM)
    if rng.random() < 0.6:
        c.roughen(emulsion, rng.uniform(0.02, 0.5))
    same = c.pool.view(rng, a) if rng.random() < 0.55 else None
    parted = rng.choice(["border", "dark", "light"], p=[0.7, 0.2, 0.1])
    if parted != "border":
        c.paint(
            rectangle(0, 0, *inner),
            (c.lamp * (0.02 if parted == "dark" else 0.9)).astype(np.float32),
            FILM,
        )
    lean = rng.normal(0, 0.4)
    for k in range(n):
        t = (k - (n - 1) / 2) * ((h if down else w) + thin)
        x, y = (0.0, t) if down else (t, 0.0)
        x, y = x + rng.normal(0, 0.6), y + rng.normal(0, min(0.6, thin * 0.15))
        ww, hh = w * rng.uniform(0.985, 1), h * rng.uniform(0.985, 1)
        rect = rectangle(x, y, ww, hh, lean + rng.normal(0, 0.15))
        shown = ragged(rng, rect, 0.25) if rng.random() < 0.5 else rect
        e = None
        if same is not None:
            e = np.asarray(same[..., [k % 3]] * np.exp2(rng.normal(0, 0.5)), np.float32).repeat(
                3, 2
            )
        lay(c, stock, rect, shown, e)
    if rng.random() < 0.5:
        p = rng.uniform(-0.5, 0.5, (20, 2)) * outer
        edge = (np.abs(p[:, 0]) > 0.44 * outer[0]) | (np.abs(p[:, 1]) > 0.46 * outer[1])
        if edge.any():
            marks(c, p[edge], c.lamp * np.float32(rng.uniform(0.02, 0.5)), int(rng.integers(1, 12)))
    for _ in range(int(rng.integers(0, 4)) if rng.random() < 0.5 else 0):
        corner = glass[rng.integers(4)] + rng.normal(0, 2, 2)
        c.paint(
            ragged(rng, ellipse(corner[0], corner[1], *rng.uniform(3, 14, 2)), 0.3), c.lamp, GROUND
        )
    if rng.random() < 0.2:
        beside(c, *outer)


def within(c: Canvas) -> None:
    """Nothing but picture: no edge of it is on the master."""
    e = c.pool.view(c.rng, c.w / c.h)
    c.fit(100.0 * c.w / c.h, 100.0, c.rng.uniform(1.06, 1.3), c.rng.normal(0, 1))
    box = rectangle(0, 0, 100.0 * c.w / c.h, 100.0)
    if c.rng.random() < 0.7:
        lay(c, stock_of(c.rng), box, box, e)
    else:
        c.picture(box, box, np.asarray(e, np.float32))


def nothing(c: Canvas) -> None:
    """No picture at all: the bare ground, a carrier without film, film without a picture."""
    rng = c.rng
    c.fit(100.0, 70.0, rng.uniform(0.5, 1.2), turn_of(rng))
    kind = rng.integers(4)
    if kind == 1:
        carrier(c, 100, 70)
    elif kind == 2:
        stock = stock_of(rng)
        box = rectangle(0, 0, 100, 70, 0, rng.uniform(0, 3))
        c.paint(box, 10**-stock.border * c.lamp, FILM)
        c.roughen(box, rng.uniform(0, 0.15))
    elif kind == 3:
        c.paint(rectangle(0, 0, 100, 70), rng_tone(rng, 0.1, 0.95), FILM)
    if rng.random() < 0.6:
        beside(c, 100, 70, 5)


LAYOUTS = {
    "sheet": (sheet, 0.16), "masked": (masked, 0.17), "strips": (strips, 0.26),
    "scattered": (scattered, 0.12), "print": (prints, 0.10), "plate": (plate, 0.12),
    "within": (within, 0.03), "nothing": (nothing, 0.04),
}  # fmt: skip


# ---- what the camera adds -----------------------------------------------------------------------
def dirt(c: Canvas) -> None:
    rng = c.rng
    if rng.random() < 0.4:
        return
    for _ in range(int(rng.integers(0, 40))):
        p = (rng.uniform(0, 1, 2) * (c.w, c.h)).astype(int).tolist()
        tone = [float(rng.uniform(0, 1.0) ** 2)] * 3
        cv2.circle(c.light, tuple(p), int(rng.choice([0, 0, 1, 2])), tone, -1)
    for _ in range(int(rng.integers(0, 6))):
        p = rng.uniform(0, 1, 2) * (c.w, c.h)
        q = p + rng.normal(0, 0.15, 2) * (c.w, c.h)
        drawn = np.zeros((c.h, c.w), np.uint8)
        cv2.line(
            drawn, tuple(p.astype(int).tolist()), tuple(q.astype(int).tolist()), 255, 1, cv2.LINE_AA
        )
        m = drawn[..., None].astype(np.float32) / 255 * rng.uniform(0.1, 0.8)
        c.light = c.light * (1 - m) + m * np.float32(rng.uniform(0, 1))


def photographed(c: Canvas) -> npt.NDArray[np.uint16]:
    """Return the tones of the canvas: lamp's fall-off, flare, blur, noise, the brightest as 1."""
    rng = c.rng
    light = c.light
    y, x = np.mgrid[0 : c.h, 0 : c.w].astype(np.float32)
    ox, oy = rng.uniform(0.3, 0.7, 2)
    fall = rng.choice([0.0, rng.uniform(0, 0.2), rng.uniform(0.2, 0.8)], p=[0.3, 0.5, 0.2])
    light = light * (1 - fall * ((x / c.w - ox) ** 2 + (y / c.h - oy) ** 2))[..., None]
    if rng.random() < 0.5:
        small = cv2.resize(
            light, (max(4, c.w // 12), max(4, c.h // 12)), interpolation=cv2.INTER_AREA
        )
        glow = cv2.resize(cv2.GaussianBlur(small, (0, 0), rng.uniform(1, 5)), (c.w, c.h))
        light = light + np.float32(rng.uniform(0, 0.02)) * glow
    if rng.random() < 0.75:
        light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.3, 1.1))
    if rng.random() < 0.15:  # grey masters
        light = light.mean(2, keepdims=True).repeat(3, 2)
    light = light * (
        1 + rng.normal(0, 1, (c.h, c.w, 1)).astype(np.float32) * np.float32(rng.uniform(0, 0.02))
    )
    light = light + rng.normal(0, 1, light.shape).astype(np.float32) * np.float32(
        rng.uniform(0, 0.0015)
    )
    light = (
        np.clip(light, 0, rng.uniform(0.85, 1.05)) if rng.random() < 0.3 else np.maximum(light, 0)
    )
    white = max(float(np.percentile(light.max(2), 99.7)), 1e-4)
    light = light / np.float32(white)
    if rng.random() < 0.15:  # read by a wrong curve
        light = light ** np.float32(rng.uniform(0.6, 1.6))
    return tones_of(light)


def tones_of(light: Floats) -> npt.NDArray[np.uint16]:
    """Return tones as the map takes them: STEPS a unit of density, 0 the brightest."""
    floor = 0.002
    v = -np.log10((np.clip(light, 0, 1) + floor) / (1 + floor))
    return np.asarray(np.clip(np.round(v * STEPS), 0, GREATEST), np.uint16)


def edges_of(which: npt.NDArray[np.int32]) -> npt.NDArray[np.uint8]:
    """Return the pixels on either side of the edge of a picture."""
    w = which.astype(np.float32)
    box = np.ones((3, 3), np.uint8)
    return np.asarray(cv2.dilate(w, box) != cv2.erode(w, box), np.uint8)


def scene(rng: Rng, pool: Pool, size: tuple[int, int], layout: str | None = None) -> Scene:
    """Draw one scene of (height, width) px."""
    names = list(LAYOUTS)
    if layout is None:
        share = np.array([LAYOUTS[name][1] for name in names])
        if max(size) > 3 * min(size):  # hardly anything else is photographed so
            share[names.index("strips")] *= 5
        layout = str(rng.choice(names, p=share / share.sum()))
    c = Canvas(rng, pool, *size)
    ground(c)
    if rng.random() < 0.06 and layout not in ("within", "nothing"):  # the table ends
        c.fit(100, 100, 1, 0)
        t = np.linspace(-1, 1, 2) * 80
        cut = rng.uniform(30, 48)
        c.paint(
            np.array([[t[0], cut], [t[1], cut + rng.normal(0, 2)], [t[1], 90], [t[0], 90]]),
            rng_tone(rng, 0.001, 0.5),
            GROUND,
        )
    LAYOUTS[layout][0](c)
    dirt(c)
    return Scene(photographed(c), c.kind, edges_of(c.which), layout, c.which)


def batch(
    seed: int, pool: Pool, size: tuple[int, int], n: int
) -> tuple[npt.NDArray[np.uint16], npt.NDArray[np.uint8]]:
    """Return (n, h, w, 3) tones and (n, h, w) labels: the class, and 128 more on edges."""
    rng = np.random.default_rng(seed)
    cv2.setNumThreads(1)
    made = [scene(rng, pool, size) for _ in range(n)]
    labels = [np.where(s.kind == IGNORED, np.uint8(7), s.kind) | (s.edge << 7) for s in made]
    return np.stack([s.tone for s in made]), np.stack(labels).astype(np.uint8)
