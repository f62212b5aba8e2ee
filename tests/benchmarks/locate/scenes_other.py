"""A second maker of scenes, written apart from `scenes`, for the final figures.

Here everything is painted as polygons on a canvas three times as fine, in upright master
coordinates computed corner by corner, shrunk by area, and spoilt afterwards. The pictures are
photographs and textures that scikit-image ships (public domain or CC0; see its data/README.txt),
cut at random, so that nothing in them resembles the drawn views of the other maker.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import skimage.data

FINE = 3
NAMES = (
    "coffee.png",
    "chelsea.png",
    "rocket.jpg",
    "brick.png",
    "grass.png",
    "gravel.png",
    "moon.png",
    "coins.png",
    "hubble_deep_field.jpg",
    "motorcycle_left.png",
)
COLOURED = ("coffee.png", "chelsea.png", "rocket.jpg", "motorcycle_left.png")


def shrunk(p: np.ndarray, by: float) -> np.ndarray:
    """Move the sides of a closed outline inwards: fillPoly fills each pixel that a side touches,

    which makes shapes larger by 0.37 of its pixels on each side (measured by their area).
    """
    side = np.roll(p, -1, 0) - p
    length = np.hypot(*side.T)
    p, side = p[length > 1e-6], side[length > 1e-6] / length[length > 1e-6, None]
    x, y = p.T
    turn = np.sign((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())
    normal = turn * np.stack([-side[:, 1], side[:, 0]], 1)
    before = np.roll(normal, 1, 0)
    together = 1 + (normal * before).sum(1, keepdims=True)
    return p + by * (normal + before) / np.maximum(together, 0.5)


class Canvas:
    """Transmittance (float32, 3 channels) at FINE times the master's scale; lengths in mm."""

    def __init__(self, r: np.random.Generator, w_mm: float, h_mm: float, ppi: float) -> None:
        self.r = r
        self.px = ppi / 25.4
        self.w, self.h = int(w_mm * self.px), int(h_mm * self.px)
        self.data = np.ones((self.h * FINE, self.w * FINE, 3), np.float32)
        self.angle, self.centre, self.lean = 0.0, np.array([w_mm / 2, h_mm / 2]), np.zeros(2)

    def at(self, points: np.ndarray) -> np.ndarray:
        """Local mm (x along the piece) to master px."""
        p = np.asarray(points, float)
        bend = 1 + p @ self.lean  # a slight perspective
        p = p / bend[..., None]
        a = np.deg2rad(self.angle)
        turned = p @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        return (turned + self.centre) * self.px

    def outline(self, x: float, y: float, w: float, h: float, radius: float = 0.0) -> np.ndarray:
        if radius <= 0:
            return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])
        t = np.linspace(0, np.pi / 2, 10)
        arcs = []
        for cx, cy, turn in (
            (x + radius, y + radius, 2),
            (x + w - radius, y + radius, 3),
            (x + w - radius, y + h - radius, 0),
            (x + radius, y + h - radius, 1),
        ):
            u = t + turn * np.pi / 2
            arcs.append(np.c_[cx + radius * np.cos(u), cy + radius * np.sin(u)])
        return np.concatenate(arcs)

    def stencil(self, outline: np.ndarray) -> tuple[tuple[slice, slice], np.ndarray]:
        """Return the part of the canvas that holds the outline, and which of its pixels do."""
        p = shrunk(self.at(outline) * FINE - 0.5, 0.37)
        height, width = self.data.shape[:2]
        low = np.clip(np.floor(p.min(0)).astype(int) - 1, 0, (width - 1, height - 1))
        high = np.clip(np.ceil(p.max(0)).astype(int) + 2, low + 1, (width, height))
        mask = np.zeros((high - low)[::-1], np.uint8)
        cv2.fillPoly(mask, [np.round((p - low) * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
        return (slice(low[1], high[1]), slice(low[0], high[0])), mask > 0

    def fill(self, outline: np.ndarray, value: object) -> None:
        part, where = self.stencil(outline)
        self.data[part][where] = np.asarray(value, np.float32)

    def paste(self, outline: np.ndarray, box: np.ndarray, image: np.ndarray) -> None:
        """Lay an image whose corners are `box` (local mm, 4 x 2), seen through `outline`."""
        part, where = self.stencil(outline)
        h, w = image.shape[:2]
        source = np.array([[0, 0], [w, 0], [w, h], [0, h]], np.float32) - 0.5
        start = np.array([part[1].start, part[0].start])
        target = (self.at(box) * FINE - 0.5 - start).astype(np.float32)
        laid = cv2.warpPerspective(
            image,
            cv2.getPerspectiveTransform(source, target),
            where.shape[::-1],
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        self.data[part][where] = laid[where]


def view(r: np.random.Generator, aspect: float, colour: bool) -> np.ndarray:
    """A piece of a shipped photograph as linear light, (h, w, 3) float32 in 0..1."""
    image = cv2.imread(
        str(Path(skimage.data.__file__).parent / str(r.choice(COLOURED if colour else NAMES)))
    )[..., ::-1]
    h, w = image.shape[:2]
    part = r.uniform(0.45, 0.95)
    if w / h > aspect:
        ch, cw = part * h, part * h * aspect
    else:
        cw, ch = part * w, part * w / aspect
    x, y = r.uniform(0, w - cw), r.uniform(0, h - ch)
    cut = image[int(y) : int(y + ch), int(x) : int(x + cw)].astype(np.float32) / 255
    if r.random() < 0.5:
        cut = cut[:, ::-1]
    light = cut**2.2
    if not colour:
        light = np.repeat(light.mean(2, keepdims=True), 3, 2)
    light = light * 2 ** r.uniform(-2.5, 0.5) + 0.0008
    scale = 700 / max(light.shape[:2])
    return cv2.resize(light, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC).clip(5e-4, 2)


def develop(
    r: np.random.Generator,
    light: np.ndarray,
    negative: bool,
    base: np.ndarray,
    top: float | None = None,
) -> np.ndarray:
    """Transmittance (or reflectance) of the processed picture."""
    x = np.log10(light)
    if negative:
        slope, knee = r.uniform(0.5, 0.8), r.uniform(-2.6, -2.1)
        d = slope * 0.35 * np.logaddexp(0, (x - knee) / 0.35)
        d = np.minimum(d, 2.2)
    else:
        top = top or r.uniform(2.4, 3.3)
        d = top / (1 + np.exp((x + r.uniform(0.9, 1.3)) * r.uniform(2.2, 3.2)))
    return (10 ** -(d + base)).astype(np.float32)


def base_of(r: np.random.Generator, negative: bool, colour: bool) -> np.ndarray:
    if negative and colour:
        return np.array([0.2, 0.58, 0.8]) + r.uniform(-0.06, 0.08, 3)
    if negative:
        return np.full(3, r.uniform(0.08, 0.32))
    return np.full(3, r.uniform(0.04, 0.1))


def mask_tone(r: np.random.Generator) -> np.ndarray:
    return 10 ** r.uniform(-3.3, -1.8) * np.array([1, r.uniform(0.9, 1.1), r.uniform(0.9, 1.1)])


def start(r, w, h, ppi, skew, keystone=0.3):
    canvas = Canvas(r, w, h, ppi)
    canvas.angle = r.uniform(-skew, skew)
    if r.random() < 0.4:
        canvas.lean = np.deg2rad(keystone) * r.uniform(-1, 1, 2) / max(w, h)
    return canvas


def truth(canvas, x, y, w, h, negative, colour, blank=False):
    return {
        "corners": canvas.at(canvas.outline(x, y, w, h)),
        "polarity": "negative" if negative else "positive",
        "process": "colour" if colour else "monochrome",
        "blank": blank,
    }


def lay(c, r, x, y, w, h, negative, colour, base, through=None, top=None, seed=None):
    image = develop(
        np.random.default_rng(seed) if seed is not None else r,
        view(r, w / h, colour),
        negative,
        base,
        top,
    )
    c.paste(c.outline(x, y, w, h) if through is None else through, c.outline(x, y, w, h), image)


def frame_135(r, ppi):
    c = start(r, 46, 33, ppi, 4)
    negative, colour = r.random() < 0.8, r.random() < 0.6
    colour = colour or not negative  # a black-and-white slide without a mount cannot be told
    base = base_of(r, negative, colour)
    c.data[:] = mask_tone(r)
    shows = r.random() < 0.6
    if not shows and negative and not colour:
        shows = True
    ex, ey = (r.uniform(0.6, 1.4), r.uniform(0.4, 0.9)) if shows else (-r.uniform(0.1, 0.5),) * 2
    opening = c.outline(-18 - ex, -12 - ey, 36 + 2 * ex, 24 + 2 * ey, r.uniform(0, 0.4))
    c.fill(opening, 10**-base if negative else np.full(3, 0.001))
    inner = c.outline(-18, -12, 36, 24) if shows else opening
    lay(c, r, -18, -12, 36, 24, negative, colour, base, inner)
    box = (-18, -12, 36, 24) if shows else (-18 - ex, -12 - ey, 36 + 2 * ex, 24 + 2 * ey)
    return c, [truth(c, *box, negative, colour)]


def mounted_slide(r, ppi):
    c = start(r, 60, 60, ppi, 5)
    if r.random() < 0.25:
        c.data[:] = mask_tone(r)
    c.fill(c.outline(-25, -25, 50, 50, 1.5), mask_tone(r) * r.choice([1, 2, 4]))
    w, h = r.uniform(33.8, 35), r.uniform(22.4, 23.5)
    if r.random() < 0.2:
        w, h = h, w
    x, y = -w / 2 + r.uniform(-0.5, 0.5), -h / 2 + r.uniform(-0.5, 0.5)
    lay(
        c,
        r,
        x,
        y,
        w,
        h,
        False,
        True,
        base_of(r, False, True),
        c.outline(x, y, w, h, r.choice([0, 0.8, 2.5])),
    )
    return c, [truth(c, x, y, w, h, False, True)]


def sheet(r, ppi):
    fw, fh = [(125.4, 100.0), (88.5, 63.5), (176.0, 125.5)][r.integers(3)]
    c = start(r, fw * 1.22, fh * 1.35, ppi, 10)
    negative = r.random() < 0.9
    colour = r.random() < 0.4 or not negative
    base = base_of(r, negative, colour)
    c.fill(c.outline(-fw / 2, -fh / 2, fw, fh, 1), 10**-base if negative else np.full(3, 0.0008))
    for k in range(r.integers(1, 5)):
        x = fw / 2 - 10 - 6 * k
        c.fill(
            np.array([[x, -fh / 2 - 0.2], [x + 3, -fh / 2 - 0.2], [x + 1.5, -fh / 2 + 1.3]]),
            np.ones(3),
        )
    ix, iy = r.uniform(1.8, 3.2, 2)
    x, y, w, h = -fw / 2 + ix + r.uniform(-0.4, 0.4), -fh / 2 + iy, fw - 2 * ix, fh - 2 * iy
    lay(c, r, x, y, w, h, negative, colour, base)
    return c, [truth(c, x, y, w, h, negative, colour)]


def plate(r, ppi):
    fw, fh = [(120, 90), (107.95, 82.55), (164, 120)][r.integers(3)]
    c = start(r, fw * 1.15, fh * 1.2, ppi, 4)
    glass = 10 ** -r.uniform(0.03, 0.05)
    c.fill(c.outline(-fw / 2, -fh / 2, fw, fh), np.full(3, glass * 0.7))
    c.fill(c.outline(-fw / 2 + 0.15, -fh / 2 + 0.15, fw - 0.3, fh - 0.3), np.full(3, glass))
    base = base_of(r, True, False)
    n = 400
    t = np.linspace(0, 1, n, endpoint=False)
    wild = cv2.GaussianBlur(r.standard_normal((1, n)).astype(np.float32), (0, 0), 3)[0]
    inset = 1.2 + np.clip(wild * r.uniform(0.5, 2.0), -0.9, 1.0)
    s = t * 4
    edge = np.empty((n, 2))
    for k in range(n):
        side, u = int(s[k]), s[k] - int(s[k])
        q, w2, h2 = inset[k], fw / 2 - inset[k], fh / 2 - inset[k]
        edge[k] = [
            (-w2 + 2 * w2 * u, -h2),
            (w2, -h2 + 2 * h2 * u),
            (w2 - 2 * w2 * u, h2),
            (-w2, h2 - 2 * h2 * u),
        ][side]
        del q
    c.fill(edge, glass * 10**-base)
    ix, iy = r.uniform(3.0, 5.0, 2)
    x, y, w, h = -fw / 2 + ix, -fh / 2 + iy, fw - 2 * ix, fh - 2 * iy
    lay(c, r, x, y, w, h, True, False, base + 0.04)
    for _ in range(r.integers(0, 4)):
        px = r.choice([-fw / 2, fw / 2])
        py = r.uniform(-fh / 2, fh / 2)
        t2 = np.linspace(0, 2 * np.pi, 9)[:-1]
        c.fill(
            np.c_[px + r.uniform(0.5, 2, 8) * np.cos(t2), py + r.uniform(0.5, 3, 8) * np.sin(t2)],
            np.ones(3),
        )
    return c, [truth(c, x, y, w, h, True, False)]


def lantern(r, ppi):
    fw, fh = [(82.55, 82.55), (101.6, 82.55)][r.integers(2)]
    c = start(r, fw * 1.18, fh * 1.18, ppi, 4)
    if r.random() < 0.2:
        c.data[:] = mask_tone(r)
    c.fill(c.outline(-fw / 2, -fh / 2, fw, fh), mask_tone(r))
    w, h = fw - r.uniform(10, 22), fh - r.uniform(10, 22)
    x, y = -w / 2 + r.uniform(-1, 1), -h / 2 + r.uniform(-1, 1)
    shape = r.integers(3)
    if shape == 0:
        through = c.outline(x, y, w, h)
    elif shape == 1:
        through = c.outline(x, y, w, h, r.uniform(2, 9))
    else:
        t = np.linspace(0, 2 * np.pi, 300)
        through = np.c_[x + w / 2 + w / 2 * np.cos(t), y + h / 2 + h / 2 * np.sin(t)]
    colour = r.random() < 0.25
    lay(c, r, x, y, w, h, False, colour, base_of(r, False, colour), through, r.uniform(1.9, 2.6))
    return c, [truth(c, x, y, w, h, False, colour)]


def holes(c, length, width, phase, value):
    y = width / 2 - 2.01 - 2.794
    for x in np.arange(-length / 2 - 5 + phase, length / 2 + 5, 4.75):
        if x > length / 2 or x + 1.981 < -length / 2:
            continue
        for top in (-y - 2.794, y):
            left, right = max(x, -length / 2), min(x + 1.981, length / 2)
            if right - left > 0.05:
                c.fill(
                    c.outline(left, top, right - left, 2.794, min(0.4, (right - left) / 2.2)), value
                )


def strip_135(r, ppi):
    n = int(r.integers(4, 7))
    length = n * 38 + r.uniform(-1, 6)
    c = start(r, length + 14, 52, ppi, 1.2, 0.1)
    negative = r.random() < 0.85
    colour = r.random() < 0.5 or not negative
    base = base_of(r, negative, colour)
    c.fill(
        c.outline(-length / 2, -17.488, length, 34.976), 10**-base if negative else np.full(3, 8e-4)
    )
    holes(c, length, 34.976, r.uniform(0, 4.75), np.ones(3))
    found, seed = [], int(r.integers(1 << 30))
    w, h = 36 + r.uniform(-0.2, 0.4), 24 + r.uniform(-0.1, 0.2)
    blank = int(r.integers(1, n - 1)) if r.random() < 0.3 else -1
    for k in range(n):
        x = (k - n / 2) * 38 + 1 + r.uniform(-0.35, 0.35)
        if x < -length / 2 or x + w > length / 2:
            continue
        if k != blank:
            lay(c, r, x, -h / 2, w, h, negative, colour, base, seed=seed)
        found.append(truth(c, x, -h / 2, w, h, negative, colour, k == blank))
    return c, found


def strip_120(r, ppi):
    w = float(r.choice([41.5, 55.5, 56, 69.5, 83])) + r.uniform(-0.3, 0.3)
    n, gap, h = (
        (4 if w < 50 else 3 if w < 60 else 2),
        r.uniform(0.5, 6),
        55.5 + r.uniform(-0.4, 0.6),
    )
    length = n * (w + gap) + r.uniform(2, 6)
    c = start(r, length + 16, 80, ppi, 2, 0.15)
    negative = r.random() < 0.85
    colour = r.random() < 0.5 or not negative
    base = base_of(r, negative, colour)
    c.fill(
        c.outline(-length / 2, -30.75, length, 61.5), 10**-base if negative else np.full(3, 8e-4)
    )
    found, seed = [], int(r.integers(1 << 30))
    for k in range(n):
        x = (k - n / 2) * (w + gap) + gap / 2
        lay(c, r, x, -h / 2, w, h, negative, colour, base, seed=seed)
        found.append(truth(c, x, -h / 2, w, h, negative, colour))
    return c, found


def cut_frames(r, ppi):
    c = Canvas(r, 170, 120, ppi)
    negative = r.random() < 0.9
    colour = r.random() < 0.5 or not negative
    base = base_of(r, negative, colour)
    found, seed = [], int(r.integers(1 << 30))
    spots = [(30, 32), (85, 30), (140, 32), (30, 85), (85, 85)]
    r.shuffle(spots)
    for spot in spots[: int(r.integers(2, 6))]:
        c.centre = np.array(spot) + r.uniform(-2, 2, 2)
        c.angle = r.uniform(-9, 9)
        a, b = r.uniform(0.5, 1.6, 2)
        c.fill(
            c.outline(-18 - a, -17.488, 36 + a + b, 34.976),
            10**-base if negative else np.full(3, 1e-3),
        )
        shift = r.uniform(0, 4.75)
        y = 17.488 - 2.01 - 2.794
        for x in np.arange(-18 - a + shift - 4.75, 18 + b, 4.75):
            left, right = max(x, -18 - a), min(x + 1.981, 18 + b)
            if right - left > 0.1:
                for top in (-y - 2.794, y):
                    c.fill(
                        c.outline(left, top, right - left, 2.794, min(0.4, (right - left) / 2.3)),
                        np.ones(3),
                    )
        lay(c, r, -18, -12, 36, 24, negative, colour, base, seed=seed)
        found.append(truth(c, -18, -12, 36, 24, negative, colour))
    c.centre, c.angle = np.array([138.0, 88.0]), r.uniform(-4, 4)
    c.fill(c.outline(-20, -9, 40, 18), np.full(3, r.uniform(0.05, 0.35)))
    for x in np.arange(-14, 14, 0.9):
        if r.random() < 0.5:
            c.fill(c.outline(x, -5, 0.6, 8), np.full(3, 0.005))
    c.centre, c.angle = np.array([70.0, 114.0]), 0.0
    c.fill(c.outline(-55, -3.5, 110, 7), np.full(3, r.uniform(0.01, 0.3)))
    for x in np.arange(-50, 50, 5):
        c.fill(c.outline(x, -3, 0.25, 3), np.ones(3) * 0.9)
    return c, found


def print_(r, ppi):
    fw, fh = [(178, 127), (148, 105), (127, 89)][r.integers(3)]
    c = start(r, fw * 1.15, fh * 1.2, ppi, 4)
    c.data[:] = r.uniform(0.02, 0.08) if r.random() < 0.6 else r.uniform(0.88, 1.0)
    colour = r.random() < 0.5
    white = np.array([0.84, 0.82, 0.77]) * (1 if c.data[0, 0, 0] < 0.5 else 0.9)
    c.fill(c.outline(-fw / 2, -fh / 2, fw, fh), white)
    m = r.uniform(3, 8) if r.random() < 0.7 else 0.0
    x, y, w, h = -fw / 2 + m, -fh / 2 + m, fw - 2 * m, fh - 2 * m
    image = develop(r, view(r, w / h, colour), False, np.full(3, 0.03), r.uniform(1.5, 1.9)) * white
    c.paste(c.outline(x, y, w, h), c.outline(x, y, w, h), image.astype(np.float32))
    return c, [truth(c, x, y, w, h, False, colour)]


MAKERS = {
    "frame_135": (frame_135, 900),
    "mounted_slide": (mounted_slide, 650),
    "sheet": (sheet, 300),
    "plate": (plate, 300),
    "lantern": (lantern, 420),
    "strip_135": (strip_135, 260),
    "strip_120": (strip_120, 220),
    "cut_frames": (cut_frames, 300),
    "print": (print_, 230),
}


def make(kind: str, seed: int) -> dict:
    """Return a scene as `scenes.make` does, as a dict (frames: dicts)."""
    r = np.random.default_rng([seed, 77, list(MAKERS).index(kind)])
    maker, ppi = MAKERS[kind]
    ppi = ppi * r.uniform(0.85, 1.3)
    c, found = maker(r, ppi)
    light = cv2.resize(c.data, (c.w, c.h), interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), r.uniform(0.4, 1.3))
    if r.random() < 0.3:
        light = cv2.blur(light, (1, 3) if r.random() < 0.5 else (3, 3))
    y, x = np.mgrid[-1 : 1 : complex(c.h), -1 : 1 : complex(c.w)].astype(np.float32)
    light *= (1 - r.uniform(0, 0.05) * x * x - r.uniform(0, 0.05) * y * y)[..., None]
    if r.random() < 0.15:  # Newton rings
        rings = np.hypot(x - r.uniform(-1, 1), y - r.uniform(-1, 1))
        light *= (1 + 0.02 * np.cos(300 * rings * rings) * np.exp(-3 * rings))[..., None]
    light += r.uniform(0, 0.002)
    electrons = r.uniform(8000, 60000)
    light = light + np.sqrt(np.maximum(light, 0) / electrons) * r.standard_normal(
        light.shape
    ).astype(np.float32)
    light += 3e-4 * r.standard_normal(light.shape).astype(np.float32)
    for _ in range(r.integers(0, 25)):
        px, py = r.integers(0, c.w), r.integers(0, c.h)
        cv2.ellipse(
            light,
            (int(px), int(py)),
            (int(r.integers(1, 6)), 1),
            float(r.uniform(0, 180)),
            0,
            360,
            [float(r.uniform(0.05, 0.5))] * 3,
            -1,
        )
    light = np.clip(light * r.uniform(0.7, 1.0), 0, 1)
    encoding = str(r.choice(["linear", "gamma-2.2", "gamma-1.8"]))
    if encoding != "linear":
        light = light ** (1 / float(encoding.split("-")[1]))
    pixels = (light * 65535 + 0.5).astype(np.uint16)
    if r.random() < 0.15 and all(f["process"] == "monochrome" for f in found):
        pixels = np.ascontiguousarray(pixels[..., 1])
    return {
        "kind": kind,
        "name": f"{kind}-other-{seed}",
        "pixels": pixels,
        "encoding": encoding,
        "ppi": ppi,
        "frames": found,
    }
