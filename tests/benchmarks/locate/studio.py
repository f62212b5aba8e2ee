"""Another maker: what a studio meets and the other makers do not draw, layer upon layer.

    tests/benchmarks/run locate --maker studio --count 1 --first 1

Plates in paper masks, film on envelopes, slides in a sleeve, an aperture card, a contact sheet,
strips of odd film, prints on velvet, in mounts and in albums, of photographs that come with
scikit-image (`table_pictures` tells their rights). Written apart from the finder and the other
makers, before its author had read either. Sizes are in mm, tones in linear light; `mul` lays
something that light goes through, `over` something that hides what is below it. A frame of the
truth is as in `layouts_other`. Sizes of film and papers: values from memory.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
import skimage

Array = npt.NDArray[Any]
DATA = Path(skimage.__file__).parent / "data"
COLOUR = [
    "astronaut.png",
    "coffee.png",
    "chelsea.png",
    "rocket.jpg",
    "motorcycle_left.png",
    "motorcycle_right.png",
]
GREY = ["camera.png", "moon.png", "coins.png"]
LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
_cache: dict[str, Array] = {}


def photo(r: np.random.Generator, w: int, h: int, mono: bool) -> Array:
    """Return (h, w, 3) linear light of a part of a photograph, grey where `mono`."""
    names = COLOUR + GREY if mono else COLOUR
    name = names[r.integers(len(names))]
    if name not in _cache:
        im = cv2.imread(str(DATA / name))[:, :, ::-1].astype(np.float32) / 255
        _cache[name] = np.where(im <= 0.04045, im / 12.92, ((im + 0.055) / 1.055) ** 2.4).astype(
            np.float32
        )
    im = _cache[name]
    high, wide = im.shape[:2]
    k = min(wide / w, high / h) * r.uniform(0.75, 1)
    cw, ch = int(w * k), int(h * k)
    x, y = r.integers(0, wide - cw + 1), r.integers(0, high - ch + 1)
    im = im[y : y + ch, x : x + cw]
    if r.random() < 0.5:
        im = im[:, ::-1]
    im = cv2.resize(np.ascontiguousarray(im), (w, h), interpolation=cv2.INTER_CUBIC)
    im = np.clip(im * r.uniform(0.7, 1.1), 0.002, 1)
    if mono:
        im = np.repeat((im @ LUMINANCE)[..., None], 3, axis=2)
    return im


class Stock:
    """Film: its base, and how dense it is where it was exposed."""

    def __init__(
        self,
        r: np.random.Generator,
        kind: str | None = None,
        gamma: float | None = None,
        over: float = 0.0,
    ) -> None:
        self.kind = kind or ["neg_bw", "neg_col", "slide"][r.integers(3)]
        self.polarity = "positive" if self.kind == "slide" else "negative"
        self.process = "colour" if self.kind != "neg_bw" else "monochrome"
        self.base = {
            "neg_bw": np.full(3, r.uniform(0.12, 0.35)),
            "neg_col": np.array([0.25, 0.62, 0.85]) + r.uniform(-0.05, 0.1, 3),
            "slide": np.array([2.9, 3.0, 3.1]),
        }[self.kind]
        self.gamma = gamma or r.uniform(0.5, 0.75)
        self.over = over

    def clear(self) -> Array:
        return (10**-self.base).astype(np.float32)

    def picture(self, light: Array) -> Array:
        lg = np.log10(np.clip(light, 0.002, 1))
        if self.kind == "slide":
            density = np.clip(-1.35 * lg + 0.12, 0.1, self.base)
        else:
            density = self.base + self.gamma * np.clip(lg + 2.0 + self.over, 0, None)
        return (10**-density).astype(np.float32)

    def fog(self) -> Array:
        return (
            (10 ** -(self.base + 2.6)).astype(np.float32)
            if self.kind != "slide"
            else np.full(3, 0.75, np.float32)
        )


class Scene:
    """A table of w x h mm, and what was laid on it; `place` says where the next thing lies."""

    def __init__(
        self, r: np.random.Generator, w: float, h: float, px: int = 3000, ground: Any = 1.0
    ) -> None:
        self.r = r
        self.s = px / max(w, h)
        self.wide, self.high = round(w * self.s), round(h * self.s)
        self.c = np.full((self.high, self.wide, 3), 1.0, np.float32) * np.asarray(
            ground, np.float32
        )
        self.truth: list[dict[str, Any]] = []
        self.place(w / 2, h / 2, 0.0)

    def place(self, cx: float, cy: float, turn: float) -> None:
        self.mid = (cx, cy)
        t = np.radians(turn)
        c, s = np.cos(t), np.sin(t)
        self.axes = np.array([[c, -s], [s, c]])

    def at(self, pts: Any) -> Array:
        """Return px of places (mm from the middle of what is being laid)."""
        return ((np.asarray(pts, float) @ self.axes.T) + self.mid) * self.s

    def poly(self, pts: Any, value: Any, mode: str = "mul", soft: float = 0) -> None:
        q = self.at(pts)
        m = np.zeros((self.high, self.wide), np.float32)
        cv2.fillPoly(m, [np.round(q * 16).astype(np.int32)], 1.0, 8, 4)
        if soft:
            m = cv2.GaussianBlur(m, (0, 0), soft * self.s)
        self.blend(m, np.asarray(value, np.float32), mode)

    def blend(self, m: Array, v: Any, mode: str) -> None:
        x, y, w, h = cv2.boundingRect((m > 0).view(np.uint8))
        part = (slice(y, y + h), slice(x, x + w))
        m = m[part][..., None]
        v = v[part] if v.ndim == 3 else v
        own = self.c[part]
        self.c[part] = own * (1 - m + m * v) if mode == "mul" else own * (1 - m) + v * m

    def rect(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        value: Any,
        mode: str = "mul",
        soft: float = 0,
        rounded: float = 0,
    ) -> None:
        if rounded:
            corners = (
                (x + w - rounded, y + rounded, -90),
                (x + w - rounded, y + h - rounded, 0),
                (x + rounded, y + h - rounded, 90),
                (x + rounded, y + rounded, 180),
            )
            pts = [
                (cx + rounded * np.cos(t), cy + rounded * np.sin(t))
                for cx, cy, a in corners
                for t in np.radians(np.linspace(a, a + 90, 6))
            ]
        else:
            pts = [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]
        self.poly(pts, value, mode, soft)

    def image(self, x: float, y: float, w: float, h: float, im: Array, mode: str = "mul") -> None:
        ih, iw = im.shape[:2]
        src = np.float32([[-0.5, -0.5], [iw - 0.5, -0.5], [iw - 0.5, ih - 0.5]])
        dst = self.at([(x, y), (x + w, y), (x + w, y + h)]).astype(np.float32) - 0.5
        turn = cv2.getAffineTransform(src, dst)
        v = cv2.warpAffine(
            im,
            turn,
            (self.wide, self.high),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        m = cv2.warpAffine(np.ones((ih, iw), np.float32), turn, (self.wide, self.high))
        self.blend(m, v, mode)

    def pic(self, w: float, h: float, mono: bool) -> Array:
        return photo(self.r, max(8, round(w * self.s)), max(8, round(h * self.s)), mono)

    def frame(
        self,
        x: float,
        y: float,
        w: float,
        h: float,
        polarity: str,
        process: str | None,
        **more: Any,
    ) -> None:
        c = self.at([(x, y), (x + w, y), (x + w, y + h), (x, y + h)])
        self.truth.append(
            {
                "corners": c.tolist(),
                "polarity": polarity,
                "process": process,
                "blank": False,
                **more,
            }
        )
        if "also" in more:
            self.truth[-1]["also"] = [
                self.at([(a, b), (a + p, b), (a + p, b + q), (a, b + q)]).tolist()
                for a, b, p, q in more["also"]
            ]

    def text(
        self,
        x: float,
        y: float,
        t: str,
        size: float,
        value: Any,
        mode: str = "mul",
        bold: float = 0.12,
    ) -> None:
        m = np.zeros((self.high, self.wide), np.uint8)
        q = self.at([(x, y)])[0]
        fs = size * self.s / 22
        cv2.putText(
            m,
            t,
            (int(q[0]), int(q[1])),
            cv2.FONT_HERSHEY_SIMPLEX,
            fs,
            255,
            max(1, round(size * bold * self.s)),
            cv2.LINE_AA,
        )
        m = m.astype(np.float32) / 255
        self.blend(m, np.asarray(value, np.float32), mode)

    def done(self, exposure: float | None = None, blur: float = 0.8, noise: float = 0.004) -> Array:
        """Return the master: lamp, veil, blur, dust, noise; 16-bit sRGB."""
        r = self.r
        c = self.c
        yy, xx = np.mgrid[0 : self.high, 0 : self.wide].astype(np.float32)
        lamp = 1 - 0.08 * (
            ((xx / self.wide - 0.5 - r.uniform(-0.1, 0.1)) ** 2 + (yy / self.high - 0.5) ** 2) * 2
        )
        c = c * lamp[..., None] * (1 + r.uniform(-0.03, 0.03, 3))
        veil = cv2.GaussianBlur(
            cv2.resize(c, (self.wide // 16, self.high // 16), interpolation=cv2.INTER_AREA),
            (0, 0),
            6,
        )
        c = c * 0.99 + 0.01 * cv2.resize(veil, (self.wide, self.high))
        c = cv2.GaussianBlur(c.astype(np.float32), (0, 0), blur)
        e = exposure or 0.9 / max(np.percentile(c, 99.7), 1e-3)
        c = c * e
        for _ in range(r.integers(20, 80)):
            p = (int(r.integers(self.wide)), int(r.integers(self.high)))
            cv2.circle(
                c,
                p,
                int(r.integers(1, 3)),
                tuple(float(v) * r.uniform(0.3, 0.8) for v in c[p[1], p[0]]),
                -1,
            )
        c = c + r.normal(0, 1, c.shape).astype(np.float32) * noise * np.sqrt(np.clip(c, 0.002, 1))
        c = np.clip(c, 0, 1)
        c = np.where(c <= 0.0031308, 12.92 * c, 1.055 * c ** (1 / 2.4) - 0.055)
        return (c * 65535 + 0.5).astype(np.uint16)


def perfs(
    sc: Scene,
    x0: float,
    x1: float,
    y: float,
    value: float,
    pitch: float = 4.75,
    w: float = 2.0,
    h: float = 2.8,
    start: float = 0.0,
) -> None:
    x = x0 + start
    while x + w < x1:
        sc.rect(x, y, w, h, value, "over", rounded=0.5)
        x += pitch


def film35(
    sc: Scene,
    st: Stock,
    n: int,
    lead: float = 4,
    tail: float = 5,
    blank: tuple[int, ...] = (),
) -> float:
    """Lay a strip of 35 mm film and return its length, mm."""
    fw, gap = 36.0, 2.0
    length = lead + tail + n * fw + (n - 1) * gap
    x0 = -length / 2
    sc.rect(x0, -17.5, length, 35, st.clear())
    st0 = sc.r.uniform(0, 4.5)
    for y in (-15.5, 12.7):
        perfs(sc, x0, -x0, y, 1.0, start=st0)
    d = st.fog() if st.kind != "slide" else [0.8, 0.7, 0.2]
    for k in range(n):
        x = x0 + lead + k * (fw + gap)
        sc.text(x + 3, -15.7, f"{k + 11}", 1.3, d, "over", 0.1)
        sc.text(x + 18, 17.1, f"{k + 11}A  PE 400", 1.3, d, "over", 0.1)
    for k in range(n):
        x = x0 + lead + k * (fw + gap)
        if k in blank:
            sc.frame(x, -12, fw, 24, st.polarity, None, optional=True)
            sc.truth[-1]["blank"] = True
            continue
        sc.image(x, -12, fw, 24, st.picture(sc.pic(fw, 24, st.kind == "neg_bw")) / st.clear())
        sc.frame(x, -12, fw, 24, st.polarity, st.process if st.polarity == "negative" else None)
    return length


def little(r: np.random.Generator) -> float:
    """Return a turn, degrees."""
    return float(np.clip(r.normal(0, 0.5), -1.2, 1.2))


def mask_label(r: np.random.Generator) -> tuple[Scene, Array]:
    """A plate in a mask of paper, with a label."""
    sc = Scene(r, 145, 175)
    st = Stock(r, "neg_bw")
    sc.place(72, 87, little(r))
    sc.rect(-50.5, -63.5, 101, 127, st.clear())
    v = st.picture(sc.pic(95, 121, True)) / st.clear()
    sc.image(-47.5, -60.5, 95, 121, v)
    w, h = r.uniform(70, 82), r.uniform(90, 105)
    dx, dy = r.uniform(-3, 3, 2)
    paper = 0.008 if r.random() < 0.5 else np.array([0.012, 0.006, 0.003])
    for x, y, a, b in (
        (-51, -64, 102, 64 + dy - h / 2),
        (-51, dy + h / 2, 102, 64 - dy - h / 2),
        (-51, -64, 51 + dx - w / 2, 128),
        (dx + w / 2, -64, 51 - dx - w / 2, 128),
    ):
        sc.rect(x, y, a, b, paper, "over")
    sc.rect(-30, 55, 40, 8, [0.12, 0.1, 0.07], "over")
    sc.text(-28, 61, "Quay 1911", 4, 0.01, "over")
    sc.frame(dx - w / 2, dy - h / 2, w, h, "negative", "monochrome", also=[(-51, -64, 102, 128)])
    return sc, sc.done()


def lantern_pair(r: np.random.Generator) -> tuple[Scene, Array]:
    """Two lantern slides in a holder, whose opaque mats fill its openings."""
    sc = Scene(r, 215, 120, ground=0.004)
    col = r.random() < 0.5
    for k in (0, 1):
        sc.place(58 + 99 * k, 60, little(r))
        sc.rect(-39.5, -39.5, 79, 79, 1.0, "over")
        sc.rect(-39.5, -39.5, 79, 79, 0.006, "over")
        w, h = (70, 52) if r.random() < 0.6 else (58, 70)
        dy = r.uniform(-2, 2)
        im = sc.pic(w, h, not col)
        p = np.clip(im**1.25 * 0.8, 0.004, 1)
        if not col:
            p = p * np.array([1, 0.95, 0.86])
        sc.image(-w / 2, dy - h / 2, w, h, p.astype(np.float32), "over")
        sc.rect(-38, 30, 20, 5, [0.04, 0.04, 0.035], "over")
        sc.frame(-w / 2, dy - h / 2, w, h, "positive", None, also=[(-39.5, -39.5, 79, 79)])
    return sc, sc.done()


def lantern_clear_gap(r: np.random.Generator) -> tuple[Scene, Array]:
    """The same, light beside the slides."""
    sc = Scene(r, 215, 120, ground=0.004)
    for k in (0, 1):
        sc.place(58 + 99 * k, 60, 0)
        sc.rect(-44, -44, 88, 88, 1.0, "over")
        sc.place(58 + 99 * k, 60, little(r))
        sc.rect(-41.3, -41.3, 82.6, 82.6, 0.006, "over")
        w, h = (70, 52) if r.random() < 0.6 else (58, 70)
        im = sc.pic(w, h, True)
        p = np.clip(im**1.25 * 0.8, 0.004, 1) * np.array([1, 0.95, 0.86])
        sc.image(-w / 2, -h / 2, w, h, p.astype(np.float32), "over")
        sc.frame(-w / 2, -h / 2, w, h, "positive", None, also=[(-41.3, -41.3, 82.6, 82.6)])
    return sc, sc.done()


def wide_opening(r: np.random.Generator) -> tuple[Scene, Array]:
    """A strip in an opening wider than film."""
    sc = Scene(r, 210, 90, ground=0.003)
    st = Stock(r)
    sc.place(105, 45, 0)
    a = r.uniform(42, 50)
    sc.rect(-95, -a / 2, 190, a, 1.0, "over")
    sc.place(105 + r.uniform(-4, 4), 45 + r.uniform(-2, 2), little(r) * 0.6)
    film35(sc, st, 4)
    return sc, sc.done()


def leak(r: np.random.Generator) -> tuple[Scene, Array]:
    """A strip with a blank first frame and a light leak over its edge."""
    sc = Scene(r, 230, 60)
    st = Stock(r, ["neg_bw", "neg_col"][r.integers(2)])
    sc.place(115, 30, little(r) * 0.5)
    film35(sc, st, 5, blank=(0,))
    m = np.zeros((sc.high, sc.wide), np.float32)
    q = sc.at([(r.uniform(-55, -30), -16)])[0]
    cv2.ellipse(m, (int(q[0]), int(q[1])), (int(9 * sc.s), int(22 * sc.s)), 15, 0, 360, 1.0, -1)
    m = cv2.GaussianBlur(m, (0, 0), 4 * sc.s)
    sc.c = (sc.c * (10 ** (-1.2 * m[..., None]))).astype(np.float32)
    # the lamp shines through holes all the same: not modelled where the leak is
    return sc, sc.done()


def velvet_card(r: np.random.Generator) -> tuple[Scene, Array]:
    """A print on velvet with a grey card and a label."""
    sc = Scene(r, 260, 200, ground=0.006)
    sc.c *= (1 + r.normal(0, 0.12, sc.c.shape)).astype(np.float32)
    sc.place(110, 95, little(r))
    w, h = 150, 110
    b = r.uniform(4, 7)
    mono = r.random() < 0.5
    sc.rect(-w / 2, -h / 2, w, h, [0.78, 0.76, 0.7], "over")
    sc.image(
        -w / 2 + b,
        -h / 2 + b,
        w - 2 * b,
        h - 2 * b,
        (sc.pic(w, h, mono) * 0.75 + 0.02).astype(np.float32),
        "over",
    )
    sc.frame(
        -w / 2 + b,
        -h / 2 + b,
        w - 2 * b,
        h - 2 * b,
        "positive",
        None,
        also=[(-w / 2, -h / 2, w, h)],
    )
    sc.place(222, 80, little(r))
    sc.rect(-25, -35, 50, 70, 0.18, "over")
    sc.place(60, 178, little(r))
    sc.rect(-30, -9, 60, 18, 0.8, "over")
    sc.text(-26, 4, "PE 1204", 8, 0.03, "over")
    return sc, sc.done()


def contact_sheet(r: np.random.Generator) -> tuple[Scene, Array]:
    """A contact sheet: one print of many pictures."""
    sc = Scene(r, 250, 300, ground=0.05)
    sc.place(125, 150, little(r))
    sc.rect(-101, -127, 202, 254, 0.7, "over")
    sc.rect(-98, -124, 196, 248, 0.012, "over")
    for row in range(5):
        y = -118 + row * 48
        sc.rect(-96, y, 192, 35, 0.02, "over")
        for yy in (y + 2, y + 30.2):
            perfs(sc, -96, 96, yy, 0.012)
        for k in range(5):
            sc.image(
                -95 + k * 38,
                y + 5.5,
                36,
                24,
                (sc.pic(36, 24, True) * 0.7 + 0.012).astype(np.float32),
                "over",
            )
    sc.frame(-101, -127, 202, 254, "positive", None, also=[(-98, -124, 196, 248)])
    return sc, sc.done()


def film120(sc: Scene, st: Stock, widths: list[float], gap: float, cut_first: float = 0.0) -> float:
    """Lay a strip of 120 film and return where it begins, mm."""
    lead, tail, high = 3, 6, 56
    length = lead * (not cut_first) + tail + sum(widths) + gap * (len(widths) - 1) - cut_first
    x = -length / 2
    sc.rect(x, -30.75, length, 61.5, st.clear())
    x0 = x
    x += lead if not cut_first else 0
    for k, w in enumerate(widths):
        im = st.picture(sc.pic(w, high, st.kind == "neg_bw")) / st.clear()
        if k == 0 and cut_first:
            q = int(im.shape[1] * cut_first / w)
            sc.image(x, -high / 2, w - cut_first, high, np.ascontiguousarray(im[:, q:]))
            sc.frame(
                x,
                -high / 2,
                w - cut_first,
                high,
                st.polarity,
                None if st.polarity == "positive" else st.process,
                optional=True,
            )
            x += w - cut_first + gap
            continue
        sc.image(x, -high / 2, w, high, im)
        sc.frame(
            x, -high / 2, w, high, st.polarity, None if st.polarity == "positive" else st.process
        )
        x += w + gap
    return x0


def cut_66(r: np.random.Generator) -> tuple[Scene, Array]:
    """A strip of 6 x 6 cm cut through its first picture."""
    sc = Scene(r, 205, 85)
    st = Stock(r)
    sc.place(102, 42, little(r) * 0.6)
    film120(sc, st, [56, 56, 56], 4, cut_first=r.uniform(15, 30))
    return sc, sc.done()


def touching_645(r: np.random.Generator) -> tuple[Scene, Array]:
    """Pictures of 6 x 4.5 cm that nearly touch."""
    sc = Scene(r, 205, 85)
    st = Stock(r)
    sc.place(102, 42, little(r) * 0.6)
    film120(sc, st, [41.5] * 4, r.uniform(0.25, 0.6))
    return sc, sc.done()


def edge_text(r: np.random.Generator) -> tuple[Scene, Array]:
    """Printing on the film's edge that runs into its pictures."""
    sc = Scene(r, 205, 85)
    st = Stock(r, ["neg_bw", "neg_col"][r.integers(2)])
    sc.place(102, 42, 0)
    x0 = film120(sc, st, [56, 56, 56], r.uniform(3, 6))
    for k in range(3):
        sc.text(x0 + 10 + 60 * k, -25, "PE SAFETY 7", 5.5, st.fog(), "over")
        sc.text(x0 + 25 + 60 * k, 30.6, f"{k + 4}", 5, st.fog(), "over")
    return sc, sc.done()


def minox(r: np.random.Generator) -> tuple[Scene, Array]:
    """Pictures of 8 x 11 mm on film 9.5 mm wide."""
    sc = Scene(r, 75, 24)
    st = Stock(r, ["neg_bw", "neg_col"][r.integers(2)])
    sc.place(37, 12, little(r) * 0.5)
    length = 5 * 11 + 4 * 1.5 + 5
    sc.rect(-length / 2, -4.75, length, 9.5, st.clear())
    for k in range(5):
        x = -length / 2 + 2 + k * 12.5
        sc.image(x, -4, 11, 8, st.picture(sc.pic(11, 8, st.kind == "neg_bw")) / st.clear())
        sc.frame(x, -4, 11, 8, "negative", st.process)
    return sc, sc.done(blur=1.2)


def thin(r: np.random.Generator) -> tuple[Scene, Array]:
    """A strip with hardly any contrast."""
    sc = Scene(r, 210, 60)
    st = Stock(r, "neg_bw", gamma=0.12)
    sc.place(105, 30, little(r) * 0.5)
    film35(sc, st, 4)
    return sc, sc.done()


def dense(r: np.random.Generator) -> tuple[Scene, Array]:
    """A strip that lets hardly any light through."""
    sc = Scene(r, 210, 60)
    st = Stock(r, ["neg_bw", "neg_col"][r.integers(2)], gamma=0.8, over=1.3)
    sc.place(105, 30, little(r) * 0.5)
    film35(sc, st, 4)
    return sc, sc.done(exposure=3.0)


def touching_plates(r: np.random.Generator) -> tuple[Scene, Array]:
    """Two plates side by side that touch."""
    sc = Scene(r, 215, 150)
    st = Stock(r, "neg_bw")
    a = little(r) * 0.4
    for k in (0, 1):
        sc.place(107 - 45 * (1 - 2 * k), 75, a)
        sc.rect(-45, -60, 90, 120, st.clear())
        b = r.uniform(1.5, 3.5)
        sc.image(
            -45 + b,
            -60 + b,
            90 - 2 * b,
            120 - 2 * b,
            st.picture(sc.pic(86, 116, True)) / st.clear(),
        )
        sc.frame(
            -45 + b,
            -60 + b,
            90 - 2 * b,
            120 - 2 * b,
            "negative",
            "monochrome",
            also=[(-45, -60, 90, 120)],
        )
        sc.rect(-45.15, -60, 0.3, 120, 0.6)
    return sc, sc.done()


def slide_sleeve(r: np.random.Generator) -> tuple[Scene, Array]:
    """Four slides in the pockets of a sleeve."""
    sc = Scene(r, 130, 130)
    sc.place(65, 65, 0)
    sc.rect(-62, -62, 124, 124, 0.85)
    for k in range(4):
        sc.place(65 + (k % 2 - 0.5) * 58, 65 + (k // 2 - 0.5) * 58, little(r))
        sc.rect(-25, -25, 50, 50, [0.05, 0.05, 0.045], "over", rounded=2)
        w, h = (34.5, 23) if r.random() < 0.7 else (23, 34.5)
        sc.image(-w / 2, -h / 2, w, h, Stock(r, "slide").picture(sc.pic(w, h, False)), "over")
        sc.frame(-w / 2, -h / 2, w, h, "positive", "colour")
        sc.text(-20, -17 if h < 30 else -19, "1974", 3, 0.01, "over")
    sc.place(65, 65, 0)
    sc.rect(-0.7, -62, 1.4, 124, 0.7)
    sc.rect(-62, -0.7, 124, 1.4, 0.7)
    return sc, sc.done()


def overlap_prints(r: np.random.Generator) -> tuple[Scene, Array]:
    """A print over the corner of another."""
    sc = Scene(r, 260, 190, ground=0.15)
    for cx, cy in ((75, 80), (165, 100)):
        sc.place(cx, cy, little(r) * 3)
        w, h = 105, 75
        sc.rect(-w / 2 + 1.5, -h / 2 + 1.5, w, h, 0.6, soft=1)
        sc.rect(-w / 2, -h / 2, w, h, [0.75, 0.72, 0.65], "over")
        b = 4
        sc.image(
            -w / 2 + b,
            -h / 2 + b,
            w - 2 * b,
            h - 2 * b,
            (sc.pic(w, h, True) * 0.7 + 0.02).astype(np.float32),
            "over",
        )
        sc.frame(
            -w / 2 + b,
            -h / 2 + b,
            w - 2 * b,
            h - 2 * b,
            "positive",
            None,
            also=[(-w / 2, -h / 2, w, h)],
        )
    return sc, sc.done()


def aperture_card(r: np.random.Generator) -> tuple[Scene, Array]:
    """A punched card with a frame of microfilm."""
    sc = Scene(r, 200, 95, ground=1.0)
    sc.place(100, 47, little(r) * 0.5)
    sc.rect(-93.7, -41.3, 187.4, 82.6, [0.05, 0.045, 0.03], "over")
    for _ in range(30):
        sc.rect(-85 + r.integers(0, 50) * 1.8, -35 + r.integers(0, 10) * 7, 1.4, 3.2, 1.0, "over")
    st = Stock(r, "neg_bw")
    x = 30
    sc.rect(x, -21, 50, 36, 1.0, "over")
    sc.rect(x, -20.5, 50, 35, st.clear())
    sc.image(x + 4, -18, 42, 30, st.picture(sc.pic(42, 30, True)) / st.clear())
    sc.frame(x + 4, -18, 42, 30, "negative", "monochrome", also=[(x, -21, 50, 36)])
    sc.text(-80, -36, "PE-77-310 HARBOUR PLAN", 3.5, 0.006, "over")
    return sc, sc.done()


def cine16(r: np.random.Generator) -> tuple[Scene, Array]:
    """Eight frames of 16 mm film."""
    sc = Scene(r, 75, 26)
    st = Stock(r)
    sc.place(37, 13, little(r) * 0.4)
    sc.rect(-34, -8, 68, 16, st.clear())
    for k in range(9):
        sc.rect(-33 + k * 7.62 - 0.6, -7.2, 1.83, 1.27, 1.0, "over", rounded=0.25)
    for k in range(8):
        x = -30 + k * 7.62
        sc.image(x, -5, 7.4, 10.2, st.picture(sc.pic(7.4, 10.2, st.kind == "neg_bw")) / st.clear())
        sc.frame(x, -5, 7.4, 10.2, st.polarity, None if st.polarity == "positive" else st.process)
    return sc, sc.done(blur=1.0)


def on_envelope(r: np.random.Generator) -> tuple[Scene, Array]:
    """A sheet on its envelope."""
    sc = Scene(r, 190, 150)
    sc.place(95, 75, little(r) * 2)
    sc.rect(-80, -62, 160, 124, [0.3, 0.27, 0.2])
    sc.rect(-80, 40, 160, 1.2, 0.8)
    sc.text(-70, 55, "Fish market, J. 12", 7, 0.2)
    st = Stock(r, "neg_bw")
    sc.place(95 + r.uniform(-6, 6), 68, little(r))
    sc.rect(-60, -45, 120, 90, st.clear())
    sc.image(-57, -42, 114, 84, st.picture(sc.pic(114, 84, True)) / st.clear())
    sc.frame(-57, -42, 114, 84, "negative", "monochrome", also=[(-60, -45, 120, 90)])
    return sc, sc.done()


def album(r: np.random.Generator) -> tuple[Scene, Array]:
    """Prints in an album, with paper corners and captions."""
    sc = Scene(r, 300, 230, ground=[0.02, 0.018, 0.015])
    sc.place(150, 115, 0)
    for k in range(4):
        sc.place(80 + (k % 2) * 140, 60 + (k // 2) * 108, little(r) * 1.5)
        w, h = r.uniform(85, 115), r.uniform(60, 82)
        b = r.uniform(0, 5) if r.random() < 0.7 else 0
        sc.rect(-w / 2, -h / 2, w, h, [0.7, 0.66, 0.55], "over")
        sc.image(
            -w / 2 + b,
            -h / 2 + b,
            w - 2 * b,
            h - 2 * b,
            (sc.pic(w, h, True) * np.array([0.68, 0.6, 0.48]) + 0.02).astype(np.float32),
            "over",
        )
        for x, y, p, q in (
            (-w / 2, -h / 2, 6, 6),
            (w / 2, -h / 2, -6, 6),
            (w / 2, h / 2, -6, -6),
            (-w / 2, h / 2, 6, -6),
        ):
            sc.poly([(x, y), (x + p, y), (x, y + q)], [0.03, 0.028, 0.02], "over")
        sc.text(-20, h / 2 + 8, "Regatta", 5, 0.6, "over")
        sc.frame(
            -w / 2 + b,
            -h / 2 + b,
            w - 2 * b,
            h - 2 * b,
            "positive",
            None,
            also=[(-w / 2, -h / 2, w, h)],
        )
    return sc, sc.done()


def mixed_lengths(r: np.random.Generator) -> tuple[Scene, Array]:
    """A wide view among whole frames."""
    sc = Scene(r, 225, 60)
    st = Stock(r, ["neg_bw", "neg_col"][r.integers(2)])
    sc.place(112, 30, little(r) * 0.4)
    ws = [36, 65, 36, 36]
    length = sum(ws) + 6 + 10
    sc.rect(-length / 2, -17.5, length, 35, st.clear())
    for y in (-15.5, 12.7):
        perfs(sc, -length / 2, length / 2, y, 1.0, start=r.uniform(0, 4))
    x = -length / 2 + 5
    for w in ws:
        sc.image(x, -12, w, 24, st.picture(sc.pic(w, 24, st.kind == "neg_bw")) / st.clear())
        sc.frame(x, -12, w, 24, "negative", st.process)
        x += w + 2
    return sc, sc.done()


def step_wedge(r: np.random.Generator) -> tuple[Scene, Array]:
    """A sheet and a step wedge in one opening."""
    sc = Scene(r, 190, 140, ground=0.003)
    sc.place(95, 70, 0)
    sc.rect(-85, -62, 170, 124, 1.0, "over")
    st = Stock(r, ["neg_bw", "neg_col"][r.integers(2)])
    sc.place(80, 70, little(r))
    sc.rect(-45, -56, 90, 112, st.clear())
    sc.image(-42, -53, 84, 106, st.picture(sc.pic(84, 106, st.kind == "neg_bw")) / st.clear())
    sc.frame(-42, -53, 84, 106, "negative", st.process, also=[(-45, -56, 90, 112)])
    sc.place(152, 70, little(r))
    for k in range(11):
        sc.rect(-9, -55 + k * 10, 18, 10, 10 ** (-0.05 - 0.28 * k))
    return sc, sc.done()


def window_mount(r: np.random.Generator) -> tuple[Scene, Array]:
    """A print in a window mount."""
    sc = Scene(r, 240, 290, ground=0.01)
    sc.place(120, 145, little(r))
    sc.rect(-105, -135, 210, 270, [0.72, 0.7, 0.64], "over")
    w, h = 130, 180
    mono = r.random() < 0.6
    sc.rect(-w / 2 - 1.5, -h / 2 - 11.5, w + 3, h + 3, 0.85, "over")
    sc.image(
        -w / 2, -h / 2 - 10, w, h, (sc.pic(w, h, mono) * 0.7 + 0.02).astype(np.float32), "over"
    )
    sc.rect(-w / 2, -h / 2 - 10, w, 1.0, 0.6, soft=0.4)
    sc.text(-30, 115, "Kerr, 1923", 7, 0.1, "over", 0.05)
    sc.frame(-w / 2, -h / 2 - 10, w, h, "positive", None, also=[(-105, -135, 210, 270)])
    return sc, sc.done()


def spliced(r: np.random.Generator) -> tuple[Scene, Array]:
    """Two strips that tape joins."""
    sc = Scene(r, 225, 60)
    a = Stock(r, "neg_bw")
    b = Stock(r, ["neg_bw", "neg_col"][r.integers(2)])
    t = little(r) * 0.3
    sc.place(60, 30, t)
    film35(sc, a, 2, lead=3, tail=3)
    sc.place(60 + 80 + 24, 30 + r.uniform(-0.8, 0.8), t + r.uniform(-0.6, 0.6))
    film35(sc, b, 2, lead=3, tail=r.uniform(3, 20))
    sc.place(101, 30, t)
    sc.rect(-5, -19, 30, 38, 0.75)
    return sc, sc.done()


def torn_strip(r: np.random.Generator) -> tuple[Scene, Array]:
    """A strip whose last corner is gone."""
    sc = Scene(r, 210, 60)
    st = Stock(r)
    sc.place(105, 30, little(r) * 0.4)
    length = film35(sc, st, 4, lead=2, tail=12)
    sc.poly(
        [
            (length / 2 + 1, -18),
            (length / 2 - 26, -18),
            (length / 2 - 14, -6),
            (length / 2 - 6, 3),
            (length / 2 + 1, 10),
        ],
        1.0,
        "over",
    )
    return sc, sc.done()


def oval_mat(r: np.random.Generator) -> tuple[Scene, Array]:
    """A portrait in an oval mat."""
    sc = Scene(r, 130, 160, ground=0.01)
    sc.place(65, 80, little(r))
    sc.rect(-50, -65, 100, 130, [0.35, 0.24, 0.08], "over")
    t = np.linspace(0, 2 * np.pi, 120)
    w, h = 62, 82
    im = (sc.pic(w, h, True) * 0.35 + 0.01).astype(np.float32)
    before = sc.c.copy()
    sc.image(-w / 2, -h / 2, w, h, im, "over")
    m = np.zeros((sc.high, sc.wide), np.float32)
    q = sc.at(np.stack([w / 2 * np.cos(t), h / 2 * np.sin(t)], 1))
    cv2.fillPoly(m, [np.round(q * 16).astype(np.int32)], 1.0, 8, 4)
    sc.c = (before * (1 - m[..., None]) + sc.c * m[..., None]).astype(np.float32)
    sc.frame(-w / 2, -h / 2, w, h, "positive", None, also=[(-50, -65, 100, 130)])
    return sc, sc.done()


def velvet_alone(r: np.random.Generator) -> tuple[Scene, Array]:
    """A grey print on velvet, and nothing else."""
    sc = Scene(r, 230, 180, ground=r.uniform(0.004, 0.015))
    sc.c *= (1 + r.normal(0, 0.12, sc.c.shape)).astype(np.float32)
    for _ in range(40):
        sc.place(r.uniform(0, 230), r.uniform(0, 180), r.uniform(0, 360))
        sc.rect(-0.1, -0.02, r.uniform(0.2, 1.5), 0.08, r.uniform(0.05, 0.3), "over")
    sc.place(115, 90, little(r))
    w, h = r.uniform(120, 180), r.uniform(90, 130)
    b = r.uniform(3, 8)
    sc.rect(-w / 2, -h / 2, w, h, np.array([0.78, 0.76, 0.7]) if r.random() < 0.5 else 0.75, "over")
    sc.image(
        -w / 2 + b,
        -h / 2 + b,
        w - 2 * b,
        h - 2 * b,
        (sc.pic(w, h, True) * 0.75 + 0.02).astype(np.float32),
        "over",
    )
    sc.frame(
        -w / 2 + b,
        -h / 2 + b,
        w - 2 * b,
        h - 2 * b,
        "positive",
        None,
        also=[(-w / 2, -h / 2, w, h)],
    )
    return sc, sc.done()


KINDS: dict[str, Callable[[np.random.Generator], tuple[Scene, Array]]] = {
    each.__name__: each
    for each in (
        mask_label,
        lantern_pair,
        lantern_clear_gap,
        wide_opening,
        leak,
        velvet_card,
        contact_sheet,
        cut_66,
        touching_645,
        edge_text,
        minox,
        thin,
        dense,
        touching_plates,
        slide_sleeve,
        overlap_prints,
        aperture_card,
        cine16,
        on_envelope,
        album,
        mixed_lengths,
        step_wedge,
        window_mount,
        spliced,
        torn_strip,
        oval_mat,
        velvet_alone,
    )
}


def make(kind: str, seed: int) -> dict[str, Any]:
    """Return a scene as `run.scene_of` takes it."""
    r = np.random.default_rng([seed, zlib.crc32(kind.encode()), 77])
    sc, pixels = KINDS[kind](r)
    ppi = sc.s * 25.4
    for frame in sc.truth:
        frame["corners"] = _from_top_left(frame["corners"])
        frame["also"] = [_from_top_left(each) for each in frame.get("also", ())]
    return {
        "kind": "auto",
        "name": f"{kind}-{seed}",
        "pixels": pixels,
        "encoding": "srgb",
        "ppi": ppi,
        "tag_ppi": ppi if r.random() < 0.5 else None,
        "frames": sc.truth,
    }


def _from_top_left(corners: Any) -> list[list[float]]:
    c = np.array(corners)
    return [list(map(float, each)) for each in np.roll(c, -int(np.argmin(c.sum(1))), 0)]
