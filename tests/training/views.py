"""Pictures that are laid on drawn film: photographs with open licences, drawn views, noise.

All are relative exposures, (h, w, 3) float32 from 0.002 to about 1. Some are kept apart for
measuring (`KEPT_APART`), so that a map that knows its photographs by heart is found out.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt
from skimage import data

from makers.film import pictures

Floats = npt.NDArray[np.float32]
Rng = np.random.Generator

# Those that come with scikit-image itself; their licences stand in its data folder.
PHOTOGRAPHS = (
    "astronaut", "chelsea", "rocket", "hubble_deep_field", "retina", "moon", "coins", "page",
    "text", "brick", "grass", "gravel", "immunohistochemistry", "clock", "stereo_motorcycle",
    "camera", "coffee",
)  # fmt: skip
KEPT_APART = ("camera", "coffee", "launch", "lighthouse", "quay")
LONG = 440


def photograph(name: str) -> Floats:
    """Return a photograph as exposures."""
    array: Any = getattr(data, name)()
    array = array[0] if isinstance(array, tuple) else array
    array = np.asarray(array)[..., :3] if np.ndim(array) == 3 else np.asarray(array)[..., None]
    light = (array.astype(np.float32) / 255) ** np.float32(2.2)
    return _fit(np.repeat(light, 3, 2) if light.shape[2] == 1 else light)


def _fit(light: Floats) -> Floats:
    scale = LONG / max(light.shape[:2])
    size = round(light.shape[1] * scale), round(light.shape[0] * scale)
    return np.asarray(np.clip(cv2.resize(light, size, interpolation=cv2.INTER_AREA), 0.002, 1.5))


def field(rng: Rng, h: int, w: int, slope: float, stretch: float = 1.0) -> Floats:
    """Return noise of zero mean and unit spread whose spectrum falls by frequency ** -slope."""
    fy = np.fft.fftfreq(h)[:, None] * stretch
    fx = np.fft.rfftfreq(w)[None]
    frequency = np.maximum(np.hypot(fx, fy), 1 / max(h, w))
    phase = np.exp(2j * np.pi * rng.random(frequency.shape))
    made = np.fft.irfft2(phase * frequency**-slope, (h, w))
    return np.asarray((made - made.mean()) / max(made.std(), 1e-9), np.float32)


class Pool:
    """Pictures and textures, made once; `view` and `texture` take pieces of them."""

    def __init__(self, seed: int, apart: bool = False, each: int = 4) -> None:
        rng = np.random.default_rng(seed)
        photos = [n for n in PHOTOGRAPHS if (n in KEPT_APART) == apart]
        drawn = [n for n in pictures.VIEWS if (n in KEPT_APART) == apart]
        self.real = [photograph(name) for name in photos]
        for name in drawn:
            for _ in range(each):
                size = (
                    (LONG, round(LONG * rng.uniform(0.6, 1))) if rng.random() < 0.8 else (300, LONG)
                )
                made = pictures.draw(name, *size, int(rng.integers(1 << 30)))
                self.real.append(np.clip(made, 0.002, 1.5))
        self.fields = [field(rng, 512, 512, s) for s in (0.3, 0.7, 1.0, 1.0, 1.3, 1.6, 2.0)]
        self.streaks = [field(rng, 512, 512, 1.0, k) for k in (6, 20, 60)]

    def texture(self, rng: Rng, h: int, w: int, streaks: bool = False) -> Floats:
        """Return (h, w) noise of about unit spread: a piece of a field, turned, enlarged."""
        fields = self.streaks if streaks else self.fields
        part = fields[rng.integers(len(fields))]
        n = int(rng.choice([64, 128, 256, 512]))
        y, x = rng.integers(0, 513 - n, 2)
        part = part[y : y + n, x : x + n]
        part = np.rot90(part, int(rng.integers(4)))
        return np.asarray(
            cv2.resize(np.ascontiguousarray(part), (w, h), interpolation=cv2.INTER_LINEAR)
        )

    def view(self, rng: Rng, aspect: float) -> Floats:
        """Return the exposures of a picture of this aspect (width to height), 200 px or so."""
        w, h = (
            (240, max(24, round(240 / aspect)))
            if aspect >= 1
            else (max(24, round(240 * aspect)), 240)
        )
        kind = rng.choice(9, p=[0.36, 0.12, 0.1, 0.1, 0.08, 0.06, 0.06, 0.06, 0.06])
        if kind <= 1:
            made = self._piece(rng, h, w)
            if kind == 1:  # one seen through another: what no photographer would take
                made = np.sqrt(made * self._piece(rng, h, w))
        else:
            draw = (_noise, _land, _shapes, _lights, _plain, _fences, _frames)[kind - 2]
            made = draw(self, rng, h, w)
        return _exposed(rng, np.ascontiguousarray(made, np.float32))

    def _piece(self, rng: Rng, h: int, w: int) -> Floats:
        whole = self.real[rng.integers(len(self.real))]
        hh, ww = whole.shape[:2]
        share = rng.uniform(0.3, 1.0)
        scale = min(ww / w, hh / h) * share
        cw, ch = max(8, int(w * scale)), max(8, int(h * scale))
        x, y = rng.integers(0, ww - cw + 1), rng.integers(0, hh - ch + 1)
        part = cv2.resize(whole[y : y + ch, x : x + cw], (w, h), interpolation=cv2.INTER_AREA)
        part = part[:, ::-1] if rng.random() < 0.5 else part
        part = part[::-1] if rng.random() < 0.1 else part
        return np.asarray(part[..., rng.permutation(3)] if rng.random() < 0.3 else part)


def _exposed(rng: Rng, e: Floats) -> Floats:
    """Return it as a camera may have taken it: contrast, exposure, cast, fall-off, grey or not."""
    ev = np.log2(np.clip(e, 0.001, 2))
    ev = (
        (ev - ev.mean()) * rng.uniform(0.5, 1.6)
        + rng.choice([-7, -4.5, -3, -3, -2.2, -1.2])
        + rng.normal(0, 0.6)
    )
    if rng.random() < 0.5:
        ev = ev.mean(2, keepdims=True).repeat(3, 2)
    else:
        ev = ev + rng.normal(0, 0.25, 3).astype(np.float32)
    if rng.random() < 0.3:
        h, w = e.shape[:2]
        y, x = np.mgrid[0:h, 0:w].astype(np.float32)
        ev = ev - rng.uniform(0, 2.5) * ((x / w - 0.5) ** 2 + (y / h - 0.5) ** 2)[..., None]
    return np.asarray(np.exp2(np.clip(ev, -9, 0.6)), np.float32)


def _colours(rng: Rng) -> Floats:
    return np.asarray(
        np.exp2(rng.uniform(-6, 0, (1, 1, 1)) + rng.normal(0, 0.7, (1, 1, 3))), np.float32
    )


def _noise(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    made = np.stack([pool.texture(rng, h, w) for _ in range(3)], -1)
    own = rng.uniform(0, 1)
    made = own * made + (1 - own) * made.mean(2, keepdims=True)
    return np.asarray(np.exp2(made * rng.uniform(0.4, 1.6) - 3))


def _land(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    """A sky and a ground with a straight line between them, from side to side, perhaps a wall."""
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    line = rng.uniform(0.15, 0.85) * h + rng.choice([0, 0, rng.normal(0, 0.1)]) * (x - w / 2)
    below = np.clip(y - line + 0.5, 0, 1)[..., None]
    sky = _colours(rng) * np.exp2(pool.texture(rng, h, w) * rng.uniform(0, 0.4))[..., None]
    land = _colours(rng) * np.exp2(pool.texture(rng, h, w) * rng.uniform(0.1, 1.2))[..., None]
    made = sky * 6 * (1 - below) + land * below
    return (
        made
        if rng.random() < 0.75
        else np.ascontiguousarray(cv2.resize(made.transpose(1, 0, 2), (w, h)))
    )


def _shapes(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    """Things with straight and round outlines on one another."""
    made = np.broadcast_to(_colours(rng) * 3, (h, w, 3)).copy()
    for _ in range(rng.integers(3, 25)):
        colour = [float(v) for v in (_colours(rng) * 4).ravel()]
        c = rng.uniform(-0.1, 1.1, 2) * (w, h)
        size = rng.uniform(0.02, 0.4, 2) * (w, h)
        kind = rng.integers(4)
        if kind == 0:
            cv2.rectangle(
                made,
                tuple((c - size).astype(int).tolist()),
                tuple((c + size).astype(int).tolist()),
                colour,
                -1,
            )
        elif kind == 1:
            cv2.ellipse(
                made,
                tuple(c.astype(int).tolist()),
                tuple(size.astype(int).tolist()),
                float(rng.uniform(0, 180)),
                0,
                360,
                colour,
                -1,
            )
        elif kind == 2:
            cv2.fillPoly(
                made,
                [(c + rng.normal(0, 0.2, (int(rng.integers(3, 7)), 2)) * (w, h)).astype(np.int32)],
                colour,
            )
        else:
            cv2.line(
                made,
                tuple(c.astype(int).tolist()),
                tuple((rng.uniform(0, 1, 2) * (w, h)).astype(int).tolist()),
                colour,
                int(rng.integers(1, 6)),
            )
    return np.asarray(made * np.exp2(pool.texture(rng, h, w) * rng.uniform(0, 0.6))[..., None])


def _lights(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    """A night: nearly nothing, and some lights."""
    made = np.full((h, w, 3), 0.004, np.float32) * np.exp2(pool.texture(rng, h, w))[..., None]
    for _ in range(rng.integers(2, 30)):
        c = (rng.uniform(0, 1, 2) * (w, h)).astype(int).tolist()
        cv2.circle(
            made,
            tuple(c),
            int(rng.integers(1, 9)),
            [float(v) for v in (_colours(rng) * 8).ravel()],
            -1,
        )
    return np.asarray(cv2.GaussianBlur(made, (0, 0), 1.2))


def _plain(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    """Nearly one tone: fog, sky, snow, water."""
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    slope = np.exp2(rng.normal(0, 0.6) * (y / h - 0.5) + rng.normal(0, 0.4) * (x / w - 0.5))
    made = slope * np.exp2(pool.texture(rng, h, w) * rng.uniform(0, 0.25))
    return np.asarray(made[..., None] * _colours(rng) * 4)


def _fences(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    """Straight bars, planks, columns, doors that reach from side to side."""
    made = pool._piece(rng, h, w) if rng.random() < 0.5 else _noise(pool, rng, h, w)
    made = np.ascontiguousarray(made)
    across = rng.random() < 0.35
    n = int(rng.integers(1, 12))
    for k in range(n):
        at = (k + rng.uniform(0.2, 0.8)) / n * (h if across else w)
        wide = rng.uniform(0.005, 0.35) * (h if across else w) / max(1, n / 3)
        lean = rng.normal(0, 0.01) * (w if across else h)
        far = rng.choice([0.0, 0.0, 0.2, 0.4]) * (w if across else h)
        long = w if across else h
        box = np.array([[at, far], [at + wide, far], [at + wide + lean, long], [at + lean, long]])
        box = box[:, ::-1] if across else box
        cv2.fillPoly(made, [box.astype(np.int32)], [float(v) for v in (_colours(rng) * 4).ravel()])
    return made


def _frames(pool: Pool, rng: Rng, h: int, w: int) -> Floats:
    """Windows, doors and pictures on a wall: rectangles inside a picture, with and without rims."""
    made = np.ascontiguousarray(
        _plain(pool, rng, h, w) if rng.random() < 0.6 else _land(pool, rng, h, w)
    )
    for _ in range(rng.integers(1, 7)):
        ww, hh = (rng.uniform(0.08, 0.6, 2) * (w, h)).astype(int)
        ww, hh = max(ww, 6), max(hh, 6)
        x, y = rng.integers(0, max(1, w - ww)), rng.integers(0, max(1, h - hh))
        rim = int(rng.integers(0, 5))
        made[y : y + hh, x : x + ww] = _colours(rng) * 4
        inner = made[y + rim : y + hh - rim, x + rim : x + ww - rim]
        if inner.size:
            inner[:] = (
                pool._piece(rng, *inner.shape[:2]) if rng.random() < 0.4 else _colours(rng) * 4
            )
        if rng.random() < 0.4:
            made[y : y + hh, x + ww // 2 - 1 : x + ww // 2 + 1] = _colours(rng)
    return made
