"""Scenes of film on a light table with exact truth, for measuring how well frames are found.

Everything is laid out in millimetres on the table, covered by signed distances (so edges are
exact), mapped to pixels by one homography, blurred by a point spread function in linear light,
and then encoded. Nothing here is shared with the package or with the sample masters.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

Array = np.ndarray


@dataclass
class Truth:
    """One picture: corners (4, 2) in master px (outer corner of the top-left pixel is 0, 0)."""

    corners: Array
    polarity: str
    process: str
    blank: bool = False


@dataclass
class Scene:
    kind: str
    name: str
    pixels: Array  # (h, w, 3) or (h, w) uint16 or uint8, as encoded
    encoding: str
    ppi: float
    frames: list[Truth] = field(default_factory=list)
    notes: dict[str, object] = field(default_factory=dict)


class Table:
    """A canvas in linear light with a map from table millimetres to pixels."""

    def __init__(
        self,
        rng: np.random.Generator,
        width_mm: float,
        height_mm: float,
        ppi: float,
        skew_deg: float,
        keystone_deg: float,
    ) -> None:
        self.rng = rng
        self.scale = ppi / 25.4
        self.w = round(width_mm * self.scale)
        self.h = round(height_mm * self.scale)
        a = np.deg2rad(skew_deg)
        s = self.scale
        similar = np.array(
            [
                [s * np.cos(a), -s * np.sin(a), self.w / 2],
                [s * np.sin(a), s * np.cos(a), self.h / 2],
                [0, 0, 1],
            ]
        )
        # A perspective term k turns opposite sides by about k * length against each other.
        k = np.deg2rad(keystone_deg) / max(width_mm, height_mm) / s * s
        gx, gy = rng.uniform(-1, 1, 2) * k
        tilt = np.array([[1, 0, 0], [0, 1, 0], [gx, gy, 1]])
        self.to_px = similar @ tilt
        self.from_px = np.linalg.inv(self.to_px)
        y, x = np.mgrid[0 : self.h, 0 : self.w].astype(np.float32) + np.float32(0.5)
        m = self.from_px
        d = (m[2, 0] * x + m[2, 1] * y + m[2, 2]).astype(np.float32)
        self.x = ((m[0, 0] * x + m[0, 1] * y + m[0, 2]) / d).astype(np.float32)
        self.y = ((m[1, 0] * x + m[1, 1] * y + m[1, 2]) / d).astype(np.float32)
        self.light = np.ones((self.h, self.w, 3), np.float32)

    def local(self, cx: float, cy: float, deg: float) -> tuple[Array, Array]:
        a = np.deg2rad(deg)
        dx, dy = self.x - np.float32(cx), self.y - np.float32(cy)
        c, s = np.float32(np.cos(a)), np.float32(np.sin(a))
        return c * dx + s * dy, -s * dx + c * dy

    def cover(self, distance_mm: Array) -> Array:
        """Coverage from a signed distance (positive inside)."""
        return np.clip(distance_mm * np.float32(self.scale) + 0.5, 0, 1)[..., None]

    def corners(self, cx: float, cy: float, deg: float, w: float, h: float) -> Array:
        a = np.deg2rad(deg)
        r = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        p = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2 @ r.T + (cx, cy)
        q = np.c_[p, np.ones(4)] @ self.to_px.T
        return q[:, :2] / q[:, 2:]


def rect(u: Array, v: Array, w: float, h: float, r: float = 0.0) -> Array:
    """Signed distance to a (rounded) rectangle, positive inside."""
    qx, qy = np.abs(u) - np.float32(w / 2 - r), np.abs(v) - np.float32(h / 2 - r)
    out = np.hypot(np.maximum(qx, 0), np.maximum(qy, 0))
    return np.float32(r) - out - np.minimum(np.maximum(qx, qy), 0)


def picture(rng: np.random.Generator, style: str, colour: bool, w: float, h: float) -> Array:
    """Relative exposure (h, w, 3) float32, 0.002 to 1, of an invented view."""
    n = 900
    ww, hh = (n, max(8, round(n * h / w))) if w >= h else (max(8, round(n * w / h)), n)
    y = np.linspace(0, 1, hh, dtype=np.float32)[:, None]
    ev = np.empty((hh, ww), np.float32)
    slope = rng.uniform(-0.15, 0.15)
    x = np.linspace(0, 1, ww, dtype=np.float32)[None]
    horizon = rng.uniform(0.3, 0.65) + slope * (x - 0.5)
    ground = rng.uniform(-4.5, -2.0)
    sky = {
        "day": rng.uniform(-1.2, -0.3),
        "night": rng.uniform(-8.5, -7.0),
        "snow": -0.4,
        "thin": rng.uniform(-6.5, -5.5),
        "dense": -0.1,
        "plainsky": -0.5,
    }[style]
    if style == "night":
        ground = rng.uniform(-8.0, -6.0)
    if style == "snow":
        ground = rng.uniform(-0.7, -0.1)
    if style == "thin":
        ground = rng.uniform(-7.0, -6.0)
    if style == "dense":
        ground = rng.uniform(-1.2, -0.4)
    ev[:] = np.where(y < horizon, sky + rng.uniform(0, 0.8) * y, ground + rng.uniform(0, 1.0) * y)
    contrast = {"day": 1.0, "night": 0.6, "snow": 0.5, "thin": 0.4, "dense": 0.4, "plainsky": 0.8}[
        style
    ]
    # 1/f texture, weaker in the sky
    t = np.zeros((hh, ww), np.float32)
    for octave in range(2, 8):
        m = 2**octave
        noise = rng.standard_normal((max(2, m * hh // n), max(2, m * ww // n))).astype(np.float32)
        t += cv2.resize(noise, (ww, hh), interpolation=cv2.INTER_CUBIC) / octave
    ev += t * np.where(y < horizon, 0.12, 0.5) * contrast
    for _ in range(rng.integers(2, 9)):  # houses with slanted roofs
        bw, bh = rng.uniform(0.05, 0.3) * ww, rng.uniform(0.08, 0.35) * hh
        bx, by = rng.uniform(-0.1, 1) * ww, rng.uniform(0.35, 0.9) * hh
        body = np.array(
            [
                [bx, by],
                [bx, by - bh],
                [bx + bw / 2, by - bh * 1.5],
                [bx + bw, by - bh],
                [bx + bw, by],
            ]
        )
        base = sky if style in ("night", "dense", "snow") else -2.5
        cv2.fillPoly(ev, [body.astype(np.int32)], float(base + rng.uniform(-2, 1.5) * contrast))
    for _ in range(rng.integers(1, 6)):  # masts and ropes
        p = (int(rng.uniform(0, ww)), hh)
        q = (int(p[0] + rng.uniform(-0.3, 0.3) * ww), int(rng.uniform(0, 0.4) * hh))
        cv2.line(
            ev,
            p,
            q,
            float(rng.uniform(-5, -1) * contrast + (sky if style == "night" else 0)),
            int(rng.integers(1, 8)),
            cv2.LINE_AA,
        )
    if style == "night":
        for _ in range(rng.integers(8, 40)):
            cv2.circle(
                ev,
                (int(rng.uniform(0, ww)), int(rng.uniform(0.2, 0.9) * hh)),
                int(rng.integers(2, 18)),
                float(rng.uniform(-3, 0)),
                -1,
                cv2.LINE_AA,
            )
    if style == "plainsky":
        ev = np.where(y < horizon, np.float32(sky), ev)
    out = np.repeat(np.exp2(np.clip(ev, -9, 0.5))[..., None], 3, 2).astype(np.float32)
    if colour:
        for ch in range(3):
            tint = cv2.resize(
                rng.standard_normal((4, 5)).astype(np.float32),
                (ww, hh),
                interpolation=cv2.INTER_CUBIC,
            )
            hue = np.where(y < horizon, (-0.5, 0.0, 0.5)[ch], (0.25, 0.1, -0.4)[ch])
            out[..., ch] *= np.exp2(0.35 * tint + hue)
    return out


def density_of(
    rng: np.random.Generator, exposure: Array, polarity: str, process: str, base: Array
) -> Array:
    """Density above nothing of a developed picture: a toe, a straight line, a shoulder."""
    log_h = np.log10(np.maximum(exposure, 1e-4))
    if polarity == "negative":
        gamma = rng.uniform(0.55, 0.75)
        speed = rng.uniform(2.0, 2.5)
        span = rng.uniform(1.9, 2.6)
        above = gamma * np.log10(1 + 10 ** (log_h + speed)) / 1.0
        above = span * (1 - np.exp(-above / span))
        return (base + above).astype(np.float32)
    gamma = rng.uniform(1.3, 1.7)
    dmax = rng.uniform(2.6, 3.4)
    d = -gamma * (log_h - 0.05)
    d = dmax * (1 - np.exp(-np.maximum(d, 0) / dmax * 1.3))
    return (base + d).astype(np.float32)


def film_base(rng: np.random.Generator, process: str, polarity: str) -> Array:
    if process == "colour" and polarity == "negative":
        return np.array([0.25, 0.6, 0.85], np.float32) + rng.uniform(-0.1, 0.1, 3).astype(
            np.float32
        )
    if polarity == "negative":
        return np.float32(rng.uniform(0.06, 0.35)) + rng.uniform(-0.01, 0.01, 3).astype(np.float32)
    return np.float32(rng.uniform(0.04, 0.12)) + rng.uniform(-0.01, 0.01, 3).astype(np.float32)


def lay_picture(
    table: Table,
    target: Array,
    exposure: Array,
    u: Array,
    v: Array,
    w: float,
    h: float,
    dens,
    inside: Array,
) -> None:
    """Multiply `target` (transmittance) by the picture where `inside` (coverage) is set."""
    hh, ww = exposure.shape[:2]
    rows, columns = np.flatnonzero(inside.any((1, 2))), np.flatnonzero(inside.any((0, 2)))
    if not len(rows):
        return
    part = slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1)
    mx = ((u[part] / w + 0.5) * ww - 0.5).astype(np.float32)
    my = ((v[part] / h + 0.5) * hh - 0.5).astype(np.float32)
    e = cv2.remap(exposure, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
    t = 10 ** -dens(e)
    target[part] *= 1 - inside[part]
    target[part] += t * inside[part]


STYLES = ("day", "day", "day", "plainsky", "night", "snow", "thin", "dense")


def style_of(rng: np.random.Generator, hard: bool = True) -> str:
    return str(rng.choice(STYLES if hard else STYLES[:4]))


def finish(
    table: Table,
    rng: np.random.Generator,
    encoding: str | None = None,
    bits: int | None = None,
    grey: bool = False,
    edge_px: float | None = None,
) -> tuple[Array, str]:
    """Flare, fall-off, point spread, grain and noise, then the encoding."""
    light = table.light
    x = (np.arange(table.w, dtype=np.float32) / table.w - 0.5)[None, :, None]
    y = (np.arange(table.h, dtype=np.float32) / table.h - 0.5)[:, None, None]
    fall = rng.uniform(0.0, 0.10)
    ox, oy = rng.uniform(-0.15, 0.15, 2)
    light = light * (1 - 2 * fall * ((x - ox) ** 2 + (y - oy) ** 2))
    if rng.random() < 0.6:  # scatter in the lens
        small = cv2.resize(
            light, (max(8, table.w // 16), max(8, table.h // 16)), interpolation=cv2.INTER_AREA
        )
        for sigma, part in ((4, rng.uniform(0, 0.004)), (25, rng.uniform(0, 0.004))):
            glow = cv2.GaussianBlur(small, (0, 0), sigma)
            light = light + np.float32(part) * cv2.resize(glow, (table.w, table.h))
    kind = rng.integers(3)
    if kind == 0:
        light = cv2.GaussianBlur(light, (0, 0), rng.uniform(0.5, 1.6))
    elif kind == 1:
        r = rng.uniform(0.7, 2.2)
        n = 2 * int(np.ceil(r)) + 1
        g = np.hypot(*np.mgrid[-(n // 2) : n // 2 + 1, -(n // 2) : n // 2 + 1])
        k = np.clip(r + 0.5 - g, 0, 1)
        light = cv2.filter2D(light, -1, k / k.sum())
    else:
        light = 0.85 * cv2.GaussianBlur(light, (0, 0), 0.7) + 0.15 * cv2.GaussianBlur(
            light, (0, 0), 3.0
        )
    # dust and scratches, also across edges
    for _ in range(rng.integers(0, 60)):
        c = (int(rng.uniform(0, table.w)), int(rng.uniform(0, table.h)))
        cv2.circle(
            light, c, int(rng.integers(1, 4)), [float(rng.uniform(0, 0.25))] * 3, -1, cv2.LINE_AA
        )
    for _ in range(rng.integers(0, 6)):
        c = np.array([rng.uniform(0, table.w), rng.uniform(0, table.h)])
        d = rng.normal(0, 0.08, 2) * max(table.w, table.h)
        cv2.line(
            light,
            tuple(c.astype(int).tolist()),
            tuple((c + d).astype(int).tolist()),
            [float(rng.uniform(0.05, 0.6))] * 3,
            1,
            cv2.LINE_AA,
        )
    grain = rng.uniform(0.0, 0.03)
    one = rng.standard_normal((table.h, table.w, 1)).astype(np.float32)
    light = np.maximum(light, 0) * (1 + grain * one)
    noise = rng.uniform(0.0003, 0.0015)
    light += noise * rng.standard_normal(light.shape).astype(np.float32)
    light *= rng.uniform(0.75, 1.08)  # some tables clip
    light = np.clip(light, 0, 1)
    if grey:
        light = light[..., 1]
    encoding = encoding or str(rng.choice(["linear", "srgb", "gamma-2.2", "gamma-1.8"]))
    if encoding == "srgb":
        light = np.where(
            light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055
        )
    elif encoding.startswith("gamma"):
        light = light ** (1 / float(encoding.split("-")[1]))
    bits = bits or int(rng.choice([16, 16, 16, 8]))
    if bits == 8 and encoding == "linear":
        bits = 16
    top = 65535 if bits == 16 else 255
    return (light * top + 0.5).astype(np.uint16 if bits == 16 else np.uint8), encoding


def opaque(rng: np.random.Generator) -> Array:
    """Transmitted plus reflected light of a mask, as measured: from black to dark grey."""
    return np.float32(rng.uniform(0.0003, 0.02)) * (1 + rng.uniform(-0.1, 0.1, 3)).astype(
        np.float32
    )


def over(target: Array, value: Array, cover: Array) -> None:
    target *= 1 - cover
    target += np.asarray(value, np.float32) * cover


def process_of(rng: np.random.Generator, polarity: str) -> str:
    return "colour" if rng.random() < 0.5 else "monochrome"


def ragged(rng: np.random.Generator, u: Array, v: Array, size: float, amount: float) -> Array:
    """Smooth noise in mm along the outline, to make a distance ragged."""
    turn = np.linspace(-np.pi, np.pi, 20_001, dtype=np.float32)
    total = np.zeros_like(turn)
    for k in range(5, 120, 7):
        total += np.float32(rng.normal(0, 1 / np.sqrt(k))) * np.sin(
            k * turn + np.float32(rng.uniform(0, 6.28))
        )
    angle = np.arctan2(v, u)
    return np.interp(angle, turn, total * np.float32(amount)).astype(np.float32)


def frame_135(rng, ppi):
    w, h = 36 + rng.uniform(-0.3, 0.5), 24 + rng.uniform(-0.3, 0.3)
    skew = rng.uniform(-3, 3)
    t = Table(rng, 48, 34, ppi, skew, rng.choice([0, 0.3]))
    polarity = "negative" if rng.random() < 0.75 else "positive"
    process = process_of(rng, polarity)
    base = film_base(rng, process, polarity)
    showing = rng.random() < 0.5  # whether the mask shows the rebate
    dx, dy = rng.uniform(-0.4, 0.4, 2)
    mw, mh = (
        (w + rng.uniform(1.5, 3), h + rng.uniform(1.2, 1.7))
        if showing
        else (w - rng.uniform(0.3, 1.2), h - rng.uniform(0.3, 1.0))
    )
    u, v = t.local(0, 0, 0)
    border = base if polarity == "negative" else np.full(3, rng.uniform(2.8, 3.4), np.float32)
    t.light[:] = 10**-border
    e = picture(rng, style_of(rng), process == "colour", w, h) * 1.0
    e = e if process == "colour" else e  # noqa: RUF034
    lay_picture(
        t,
        t.light,
        e,
        u - dx,
        v - dy,
        w,
        h,
        lambda x, s=int(rng.integers(1 << 30)): density_of(  # noqa: B008
            np.random.default_rng(s), x, polarity, process, base
        ),
        t.cover(rect(u - dx, v - dy, w, h)),
    )
    over(t.light, opaque(rng), 1 - t.cover(rect(u, v, mw, mh, rng.uniform(0, 0.5))))
    if showing:
        c = t.corners(dx, dy, 0, w, h)
    else:
        left, right = max(-mw / 2, dx - w / 2), min(mw / 2, dx + w / 2)
        top, bottom = max(-mh / 2, dy - h / 2), min(mh / 2, dy + h / 2)
        c = t.corners((left + right) / 2, (top + bottom) / 2, 0, right - left, bottom - top)
    return t, [Truth(c, polarity, process)]


def mounted_slide(rng, ppi):
    t = Table(
        rng, 58, 58 if rng.random() < 0.6 else 44, ppi, rng.uniform(-4, 4), rng.choice([0, 0.3])
    )
    u, v = t.local(0, 0, 0)
    if rng.random() < 0.3:
        t.light[:] = opaque(rng)
    process = "colour" if rng.random() < 0.85 else "monochrome"
    base = film_base(rng, process, "positive")
    mount = opaque(rng) * rng.choice([1, 3, 6])
    over(t.light, mount, t.cover(rect(u, v, 50, 50, 2)))
    w, h = rng.uniform(34, 35.2), rng.uniform(22.4, 23.6)
    if rng.random() < 0.15:
        w, h = h, w
    dx, dy = rng.uniform(-0.4, 0.4, 2)
    e = picture(rng, style_of(rng), process == "colour", w, h)
    lay_picture(
        t,
        t.light,
        e,
        u - dx,
        v - dy,
        w,
        h,
        lambda x, s=int(rng.integers(1 << 30)): density_of(  # noqa: B008
            np.random.default_rng(s), x, "positive", process, base
        ),
        t.cover(rect(u - dx, v - dy, w, h, rng.uniform(0, 2.0))),
    )
    return t, [Truth(t.corners(dx, dy, 0, w, h), "positive", process)]


def sheet(rng, ppi):
    fw, fh, pw, ph = [
        (125.4, 100, 120.5, 95.5),
        (176, 125.5, 171, 120.5),
        (90, 65, 85.5, 60.5),
        (252, 201.5, 246, 196),
    ][rng.choice(4, p=[0.5, 0.2, 0.2, 0.1])]
    pw, ph = pw + rng.uniform(-1, 1), ph + rng.uniform(-1, 1)
    if rng.random() < 0.3:
        fw, fh, pw, ph = fh, fw, ph, pw
    skew = rng.uniform(-10, 10)
    grow = 1.03 + abs(np.sin(np.deg2rad(skew)))
    t = Table(rng, fw * grow + 6, fh * grow * (1.1) + 6, ppi, skew, rng.choice([0, 0.3]))
    u, v = t.local(0, 0, 0)
    polarity = "negative" if rng.random() < 0.85 else "positive"
    process = process_of(rng, polarity) if polarity == "negative" else "colour"
    base = film_base(rng, process, polarity)
    border = base if polarity == "negative" else np.full(3, rng.uniform(2.8, 3.3), np.float32)
    d = rect(u, v, fw, fh, rng.uniform(0.5, 2.5))
    for k in range(rng.integers(1, 4)):  # notches at the top right
        nx = fw / 2 - 8 - 5 * k
        d = np.minimum(d, np.hypot(u - nx, v + fh / 2) - np.float32(rng.uniform(0.8, 1.5)))
    over(t.light, 10**-border, t.cover(d))
    dx, dy = rng.uniform(-0.5, 0.5, 2)
    e = picture(rng, style_of(rng), process == "colour", pw, ph)
    lay_picture(
        t,
        t.light,
        e,
        u - dx,
        v - dy,
        pw,
        ph,
        lambda x, s=int(rng.integers(1 << 30)): density_of(  # noqa: B008
            np.random.default_rng(s), x, polarity, process, base
        ),
        t.cover(rect(u - dx, v - dy, pw, ph, rng.choice([0, 0, 1.5]))),
    )
    return t, [Truth(t.corners(dx, dy, 0, pw, ph), polarity, process)]


def plate(rng, ppi):
    fw, fh = [(120, 90), (107.95, 82.55), (180, 130), (215.9, 165.1)][rng.integers(4)]
    skew = rng.uniform(-4, 4)
    t = Table(rng, fw * 1.12 + 6, fh * 1.14 + 6, ppi, skew, rng.choice([0, 0.3]))
    u, v = t.local(0, 0, 0)
    if rng.random() < 0.2:
        t.light[:] = opaque(rng)
    d = rect(u, v, fw, fh, 0.3)
    for _ in range(rng.integers(0, 5)):  # chips
        a = rng.uniform(0, 6.28)
        px, py = np.clip(np.cos(a) * fw, -fw / 2, fw / 2), np.clip(np.sin(a) * fh, -fh / 2, fh / 2)
        d = np.minimum(d, np.hypot(u - px, v - py) - np.float32(rng.uniform(1, 4)))
    glass = np.float32(10 ** -rng.uniform(0.03, 0.06))
    lit = np.where(t.light < 0.5, glass, t.light * glass)
    t.light = t.light * (1 - t.cover(d)) + lit * t.cover(d)
    rim = np.exp(-(((d - 0.2) / 0.15) ** 2))[..., None]
    t.light *= 1 - 0.4 * rim
    base = film_base(rng, "monochrome", "negative")
    em = rect(u, v, fw - rng.uniform(1, 3), fh - rng.uniform(1, 3), 1) + ragged(
        rng, u, v, fw, rng.uniform(0.1, 0.5)
    )
    over(t.light, glass * 10**-base, t.cover(np.minimum(em, d)))
    inset = rng.uniform(4, 8)
    pw, ph = fw - inset - rng.uniform(0, 1), fh - inset
    dx, dy = rng.uniform(-0.7, 0.7, 2)
    e = picture(rng, style_of(rng), False, pw, ph)
    lay_picture(
        t,
        t.light,
        e,
        u - dx,
        v - dy,
        pw,
        ph,
        lambda x, s=int(rng.integers(1 << 30)): (  # noqa: B008
            0.05 + density_of(np.random.default_rng(s), x, "negative", "monochrome", base)
        ),
        t.cover(np.minimum(rect(u - dx, v - dy, pw, ph), em)),
    )
    return t, [Truth(t.corners(dx, dy, 0, pw, ph), "negative", "monochrome")]


def lantern(rng, ppi):
    fw, fh = [(82.55, 82.55), (101.6, 82.55), (85, 85), (100, 85)][rng.integers(4)]
    t = Table(rng, fw * 1.1 + 6, fh * 1.1 + 6, ppi, rng.uniform(-4, 4), rng.choice([0, 0.3]))
    u, v = t.local(0, 0, 0)
    if rng.random() < 0.3:
        t.light[:] = opaque(rng)
    process = "monochrome" if rng.random() < 0.7 else "colour"
    base = film_base(rng, process, "positive")
    over(t.light, opaque(rng), t.cover(rect(u, v, fw, fh, 0.3)))
    shape = rng.integers(3)
    w, h = rng.uniform(58, 75), rng.uniform(55, 72)
    w = min(w + (15 if fw > 95 else 0), fw - 9)
    dx, dy = rng.uniform(-1.5, 1.5, 2)
    uu, vv = u - dx, v - dy
    if shape == 2:
        g = np.sqrt((uu / (w / 2)) ** 2 + (vv / (h / 2)) ** 2)
        # first-order distance to an ellipse
        d = (1 - g) * g / np.maximum(np.hypot(uu / (w / 2) ** 2, vv / (h / 2) ** 2), 1e-6)
    else:
        d = rect(uu, vv, w, h, 0 if shape == 0 else rng.uniform(2, 10))
    d = d.astype(np.float32)
    e = picture(rng, style_of(rng), process == "colour", w, h)
    lay_picture(
        t,
        t.light,
        e,
        uu,
        vv,
        w,
        h,
        lambda x, s=int(rng.integers(1 << 30)): density_of(  # noqa: B008
            np.random.default_rng(s), x, "positive", process, base
        ),
        t.cover(d),
    )
    return t, [Truth(t.corners(dx, dy, 0, w, h), "positive", process)]


def perforate(t, u, v, length, film_w, phase, pitch=4.75):
    """Signed distance of the perforations (positive inside a hole)."""
    centre = film_w / 2 - 2.01 - 2.794 / 2
    k = (u - np.float32(phase) + pitch / 2) % np.float32(pitch) - np.float32(pitch / 2)
    k = np.where(np.abs(u) < length / 2 + 3, k, 99)
    return np.maximum(
        rect(k, v - centre, 1.981, 2.794, 0.5), rect(k, v + centre, 1.981, 2.794, 0.5)
    )


def strip_135(rng, ppi):
    half = rng.random() < 0.15
    n = int(rng.integers(4, 7)) * (2 if half else 1)
    w = (18 if half else 36) + rng.uniform(-0.3, 0.3)
    h = 24 + rng.uniform(-0.2, 0.2)
    pitch = 19.0 if half else 38.0
    length = n * pitch + rng.uniform(0, 10)
    skew = rng.uniform(-2, 2)
    off = rng.random() < 0.2  # runs out of the picture on both sides
    t = Table(
        rng,
        length + (10 if not off else -6),
        35 + 8 + length * abs(np.sin(np.deg2rad(skew))),
        ppi,
        skew,
        rng.choice([0, 0.15]),
    )
    u, v = t.local(0, 0, 0)
    polarity = "negative" if rng.random() < 0.8 else "positive"
    process = process_of(rng, polarity)
    base = film_base(rng, process, polarity)
    border = base if polarity == "negative" else np.full(3, rng.uniform(2.8, 3.3), np.float32)
    if rng.random() < 0.2:
        over(t.light, opaque(rng), 1 - t.cover(rect(u, v, length + 4, 35 + 3)))
    film = rect(u, v, length, 34.976)
    perf = perforate(t, u, v, length, 34.976, rng.uniform(0, 4.75))
    over(t.light, 10**-border, t.cover(np.minimum(film, -perf)))
    truth = []
    blank = int(rng.integers(n)) if rng.random() < 0.35 else -1
    uneven = rng.uniform(0, 0.5)
    overlap = rng.random() < 0.12 and not half
    at = -(n - 1) * pitch / 2 + rng.uniform(-1, 1)
    leader = rng.random() < 0.15
    seed = int(rng.integers(1 << 30))
    for i in range(n):
        cx = at + i * pitch + rng.normal(0, uneven)
        if overlap and i == n // 2:
            cx -= rng.uniform(2.2, 4)
        if leader and i == 0:
            edge = cx + w / 2 - rng.uniform(2, 12) + (v * np.float32(rng.uniform(-0.4, 0.4)))
            fog = t.cover(np.minimum(np.minimum(film, -perf), (edge - u) / 2))
            over(
                t.light,
                10 ** -np.full(3, rng.uniform(1.8, 2.8), np.float32)
                if polarity == "negative"
                else 10**-base,
                fog,
            )
            continue
        if cx - w / 2 < -length / 2 or cx + w / 2 > length / 2:
            continue
        corners = t.corners(cx, 0, 0, w, h)
        if (corners[:, 0] < 1).any() or (corners[:, 0] > t.w - 1).any():  # noqa: SIM108
            seen = False
        else:
            seen = True
        if i == blank:
            if seen:
                truth.append(Truth(corners, polarity, process, True))
            continue
        e = picture(rng, style_of(rng), process == "colour", w, h)
        c = t.cover(rect(u - cx, v, w, h))
        before = t.light.copy() if overlap and i == n // 2 else None
        lay_picture(
            t,
            t.light,
            e,
            u - cx,
            v,
            w,
            h,
            lambda x: density_of(np.random.default_rng(seed), x, polarity, process, base),
            c,
        )
        if before is not None and polarity == "negative":
            both = c * (before < 10 ** -(base + 0.02)).any(-1, keepdims=True)
            t.light = np.where(
                both > 0, t.light * np.minimum(before / 10**-base, 1), t.light
            ).astype(np.float32)
        if seen:
            truth.append(Truth(corners, polarity, process))
    return t, truth


def strip_120(rng, ppi):
    w = float([41.5, 56, 69, 82.6][rng.integers(4)]) + rng.uniform(-0.5, 0.5)
    h = 56 + rng.uniform(-0.6, 0.4)
    n = int(rng.integers(2, 5)) if w < 60 else int(rng.integers(2, 4))
    gap = rng.choice([0.0, 1.0, 3.0, 5.0])
    length = n * (w + gap) + gap + rng.uniform(2, 8)
    skew = rng.uniform(-2, 2)
    t = Table(
        rng,
        length + 12,
        61.5 + 10 + length * abs(np.sin(np.deg2rad(skew))),
        ppi,
        skew,
        rng.choice([0, 0.2]),
    )
    u, v = t.local(0, 0, 0)
    polarity = "negative" if rng.random() < 0.8 else "positive"
    process = process_of(rng, polarity)
    base = film_base(rng, process, polarity)
    border = base if polarity == "negative" else np.full(3, rng.uniform(2.8, 3.3), np.float32)
    over(t.light, 10**-border, t.cover(rect(u, v, length, 61.5)))
    truth = []
    seed = int(rng.integers(1 << 30))
    blank = int(rng.integers(n)) if rng.random() < 0.15 and n > 2 else -1
    for i in range(n):
        cx = (i - (n - 1) / 2) * (w + gap) + rng.uniform(-0.3, 0.3) * min(gap, 1)
        if i == blank:
            truth.append(Truth(t.corners(cx, 0, 0, w, h), polarity, process, True))
            continue
        e = picture(rng, style_of(rng), process == "colour", w, h)
        lay_picture(
            t,
            t.light,
            e,
            u - cx,
            v,
            w,
            h,
            lambda x: density_of(np.random.default_rng(seed), x, polarity, process, base),
            t.cover(rect(u - cx, v, w, h)),
        )
        truth.append(Truth(t.corners(cx, 0, 0, w, h), polarity, process))
    return t, truth


def cut_frames(rng, ppi):
    t = Table(rng, 190, 140, ppi, 0, rng.choice([0, 0.1]))
    truth = []
    polarity = "negative" if rng.random() < 0.85 else "positive"
    process = process_of(rng, polarity)
    base = film_base(rng, process, polarity)
    border = base if polarity == "negative" else np.full(3, rng.uniform(2.8, 3.3), np.float32)
    seed = int(rng.integers(1 << 30))
    cells = [(-60, -35), (0, -35), (60, -35), (-60, 30), (0, 30)]
    rng.shuffle(cells)
    for cx, cy in cells[: int(rng.integers(2, 6))]:
        cx, cy = cx + rng.uniform(-4, 4), cy + rng.uniform(-4, 4)
        deg = rng.uniform(-8, 8) + rng.choice([0, 0, 90])
        kind = rng.integers(3)
        w, h = [(36, 24), (36, 24), (41.5, 41.5)][kind]
        fw = w + rng.uniform(0.8, 3)
        fh = 34.976 if kind < 2 else 46
        u, v = t.local(cx, cy, deg)
        cut = np.deg2rad(rng.uniform(-1.5, 1.5))
        film = np.minimum(rect(u, v, 99, fh), rect(u + v * np.float32(np.tan(cut)), v, fw, 99))
        if kind < 2:
            film = np.minimum(film, -perforate(t, u, v, fw, fh, rng.uniform(0, 4.75)))
        over(t.light, 10**-border, t.cover(film))
        e = picture(rng, style_of(rng, hard=rng.random() < 0.5), process == "colour", w, h)
        inside = np.minimum(rect(u, v, w, h), film)
        lay_picture(
            t,
            t.light,
            e,
            u,
            v,
            w,
            h,
            lambda x: density_of(np.random.default_rng(seed), x, polarity, process, base),
            t.cover(inside),
        )
        c = t.corners(cx, cy, deg, w, h)
        truth.append(Truth(reading_corners(c), polarity, process))
    # a paper label and a ruler, both opaque on the table
    u, v = t.local(66 + rng.uniform(-3, 3), 35, rng.uniform(-3, 3))
    over(t.light, np.full(3, rng.uniform(0.02, 0.3)), t.cover(rect(u, v, 38, 18)))
    bars = (np.sin(u * 3.1) + np.sin(u * 5.3) > 0.4) & (np.abs(u) < 16) & (np.abs(v) < 5)
    t.light[bars] *= 0.1
    u, v = t.local(rng.uniform(-10, 10), 63, rng.uniform(-1, 1))
    over(t.light, np.full(3, rng.uniform(0.01, 0.5)), t.cover(rect(u, v, 120, 8)))
    ticks = (np.abs((u + 60) % 5 - 2.5) < 0.15) & (np.abs(v) < 3) & (np.abs(u) < 58)
    t.light[ticks] = 0.9 * t.light[ticks] + 0.08
    return t, truth


def reading_corners(c: Array) -> Array:
    """Order corners so that the first is the one nearest the top left as seen in the master."""
    centre = c.mean(0)
    for k in range(4):
        r = np.roll(c, -k, 0)
        top = r[1] - r[0]
        if abs(np.degrees(np.arctan2(top[1], top[0]))) <= 45 and r[0, 1] < centre[1]:
            return r
    return c


def print_(rng, ppi):
    fw, fh = [(180, 130), (140, 90), (254, 203), (90, 60)][rng.integers(4)]
    t = Table(rng, fw * 1.15, fh * 1.18, ppi, rng.uniform(-4, 4), rng.choice([0, 0.3]))
    u, v = t.local(0, 0, 0)
    dark_ground = rng.random() < 0.55
    t.light[:] = rng.uniform(0.01, 0.12) if dark_ground else rng.uniform(0.85, 1.0)
    t.light *= (1 + rng.uniform(-0.05, 0.05, 3)).astype(np.float32)
    process = process_of(rng, "positive")
    white = np.array([0.83, 0.80, 0.74], np.float32) * rng.uniform(0.9, 1.05)
    if not dark_ground:
        white = white * 0.92
    over(t.light, white, t.cover(rect(u, v, fw, fh, rng.choice([0, 1]))))
    border = rng.random() < 0.6
    pw, ph = (fw - rng.uniform(6, 14), fh - rng.uniform(6, 14)) if border else (fw, fh)
    e = picture(rng, style_of(rng), process == "colour", pw, ph)
    s = int(rng.integers(1 << 30))
    dmax = rng.uniform(1.5, 2.0)
    base = -np.log10(white)

    def dens(x):
        d = density_of(np.random.default_rng(s), x, "positive", process, np.zeros(3, np.float32))
        return base + 0.02 + dmax * (1 - np.exp(-d / dmax))

    lay_picture(t, t.light, e, u, v, pw, ph, dens, t.cover(rect(u, v, pw, ph)))
    return t, [Truth(t.corners(0, 0, 0, pw, ph), "positive", process)]


MAKERS = {
    "frame_135": (frame_135, (800, 1500)),
    "mounted_slide": (mounted_slide, (600, 1000)),
    "sheet": (sheet, (300, 500)),
    "plate": (plate, (300, 500)),
    "lantern": (lantern, (500, 700)),
    "strip_135": (strip_135, (300, 500)),
    "strip_120": (strip_120, (250, 400)),
    "cut_frames": (cut_frames, (250, 380)),
    "print": (print_, (250, 350)),
}


def make(kind: str, seed: int) -> Scene:
    """Return the scene of this kind and seed; the same pixels every time."""
    rng = np.random.default_rng([seed, list(MAKERS).index(kind)])
    maker, (low, high) = MAKERS[kind]
    ppi = float(rng.uniform(low, high))
    table, truth = maker(rng, ppi)
    pixels, encoding = finish(table, rng)
    for frame in truth:
        frame.corners = reading_corners(frame.corners)
    return Scene(kind, f"{kind}-{seed}", pixels, encoding, ppi, truth)
