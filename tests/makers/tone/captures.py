"""Masters of known quality: clean ones, and each with one thing wrong.

A drawn negative with a border of film base, as a camera sees it: lens blur of 0.5 to 0.8 px,
film grain, shot noise, up to 2 % of light fall-off, 16 bits linear. Six things may be wrong:
clipped, upsampled, eight_bits (stretched to 16), defocused, uneven (light), rings (Newton's).
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from makers.film import pictures
from makers.tone import negatives

WIDTH, HEIGHT, EDGE = 1080, 760, 60
FAULTS = ("clipped", "upsampled", "eight_bits", "defocused", "uneven", "rings")


@lru_cache(maxsize=16)
def _picture(name: str, seed: int) -> np.ndarray:
    return np.clip(pictures.draw(name, WIDTH, HEIGHT, seed), 0, 1.0)


def _radius() -> np.ndarray:
    """Return the distance from the middle as a share of half the diagonal."""
    height, width = HEIGHT + 2 * EDGE, WIDTH + 2 * EDGE
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    return np.hypot(x - width / 2, y - height / 2) / np.hypot(width / 2, height / 2)


def _ring_light(rng: np.random.Generator) -> np.ndarray:
    """Return the factor (h, w, 3) by which rings change the light: 3 to 6 % each way.

    Reflections at a wedge of air r^2 / (2 R) thick: phase = 2 pi r^2 / (R wavelength).
    """
    height, width = HEIGHT + 2 * EDGE, WIDTH + 2 * EDGE
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    cx, cy = rng.uniform([0.2 * width, 0.2 * height], [0.8 * width, 0.8 * height])
    first = rng.uniform(60, 140)  # radius of the first ring in green, px
    reach = rng.uniform(250, 450)
    r2 = (x - cx) ** 2 + (y - cy) ** 2
    strength = rng.uniform(0.03, 0.06) * np.exp(-r2 / (2 * reach**2))
    wavelengths = np.array([0.62, 0.54, 0.46]) / 0.54
    waves = [np.cos(2 * np.pi * r2 / (first**2 * ratio)) for ratio in wavelengths]
    return 1 + strength[..., None] * np.stack(waves, axis=-1)


def capture(number: int, fault: str | None) -> np.ndarray:
    """Return master `number` (uint16, h, w, 3) with `fault`, None for a clean one."""
    rng = np.random.default_rng(7000 + number)
    names = list(pictures.VIEWS)
    positive = _picture(names[number % len(names)], number // len(names))
    make = negatives.colour_film if number % 4 else negatives.monochrome_film
    film = make(rng, number)
    if number % 4 == 0:
        positive = np.repeat((positive @ np.array([0.21, 0.72, 0.07]))[..., None], 3, axis=2)
    d = np.broadcast_to(film.dmin, (HEIGHT + 2 * EDGE, WIDTH + 2 * EDGE, 3)).astype(np.float32)
    d[EDGE:-EDGE, EDGE:-EDGE] = film.density(positive)
    grain = cv2.GaussianBlur(rng.standard_normal(d.shape, np.float32), (0, 0), 0.7)
    d += grain / grain.std() * rng.uniform(0.004, 0.02)
    t = 10.0**-d
    if fault == "rings":
        t *= _ring_light(rng)
    sigma = rng.uniform(0.5, 0.8)
    if fault == "defocused":
        sigma = rng.uniform(2.2, 4.0)
    t = cv2.GaussianBlur(t, (0, 0), sigma)
    fall = rng.uniform(0.06, 0.25) if fault == "uneven" else rng.uniform(0, 0.02)
    t *= (1 - fall * _radius() ** 2)[..., None]
    t *= 0.9 / t.max() if fault != "clipped" else rng.uniform(1.15, 1.6) / np.percentile(t, 99.5)
    return _sensor(t, rng, fault)


def _sensor(t: np.ndarray, rng: np.random.Generator, fault: str | None) -> np.ndarray:
    """Return codes of transmittance `t`: 40,000 electrons at full scale, 14 bits, scaled to 16."""
    if fault == "upsampled":
        scale = rng.uniform(1.5, 2.5)
        how = (cv2.INTER_CUBIC, cv2.INTER_LINEAR, cv2.INTER_LANCZOS4)[rng.integers(3)]
        small = cv2.resize(t, None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA)
        small = np.clip(
            small
            + np.sqrt(np.maximum(small, 0) / 40000) * rng.standard_normal(small.shape, np.float32),
            0,
            1,
        )
        codes = np.round(small * 65535).astype(np.uint16)
        return cv2.resize(codes, t.shape[1::-1], interpolation=how)
    t = np.clip(
        t + np.sqrt(np.maximum(t, 0) / 40000) * rng.standard_normal(t.shape, np.float32), 0, 1
    )
    if fault == "eight_bits":
        low, high = np.percentile(t, [0.01, 99.99])
        coded = np.clip((t - low) / (high - low), 0, 1) ** (1 / rng.choice([1.0, 1.8, 2.2]))
        return (np.round(coded * 255) * 250 + 600).astype(np.uint16)
    return np.round(np.round(t * 16383) * 65535 / 16383).astype(np.uint16)
