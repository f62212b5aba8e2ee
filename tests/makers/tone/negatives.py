"""Film and camera in numbers: a negative's master from a known positive.

The three layers see linear light E (sRGB primaries, white 1). Their characteristic curve is
D = Dmin + g log10(E / E0) above the toe. Hard toe: nothing below E0. Soft toe: the same with
1 + E / E0. Cross-talk: each dye absorbs a little in the other bands. The camera sees
T = 10**-D, the bare light table as 1 less a head-room.
D-min about 0.25, 0.60, 0.85 +- 0.15 (value from memory); slopes 0.5 to 0.7, "about 0.6" (ARRI
DI companion, fig. 2.2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

DMIN = np.array([0.25, 0.60, 0.85])


@dataclass(frozen=True)
class Film:
    """One film: slopes and D-min per layer, E0 (log10, white = 0), toe and dye cross-talk."""

    slopes: np.ndarray
    dmin: np.ndarray
    log_e0: float
    soft: bool
    cross: np.ndarray

    def density(self, light: np.ndarray) -> np.ndarray:
        """Return D (..., 3) for linear light (..., 3)."""
        ratio = np.maximum(light, 0) / 10.0**self.log_e0
        x = np.log10(1 + ratio) if self.soft else np.log10(np.maximum(ratio, 1))
        return self.dmin + (self.slopes * x) @ self.cross


def colour_film(rng: np.random.Generator, number: int) -> Film:
    """Return a random colour film; each second has a soft toe, each third cross-talk."""
    cross = np.eye(3)
    if number % 3 == 2:
        cross = cross + rng.uniform(0.0, 0.08, (3, 3)) * (1 - np.eye(3))
        cross = cross / cross.sum(axis=0)
    return Film(
        rng.uniform(0.5, 0.7, 3),
        DMIN + rng.uniform(-0.15, 0.15, 3),
        rng.uniform(-2.5, -1.9),
        number % 2 == 1,
        cross,
    )


def monochrome_film(rng: np.random.Generator, number: int) -> Film:
    """Return a random monochrome film: one slope 0.55-0.7, base and fog 0.05-0.35 (from memory)."""
    slope = rng.uniform(0.55, 0.7)
    return Film(
        np.full(3, slope),
        np.full(3, rng.uniform(0.05, 0.35)),
        rng.uniform(-2.5, -1.9),
        number % 2 == 1,
        np.eye(3),
    )


def linear(code: np.ndarray) -> np.ndarray:
    """Return linear light of sRGB codes (uint8); IEC 61966-2-1."""
    c = code / 255.0
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


BORDER = 24


def master(
    film: Film, positive: np.ndarray, rng: np.random.Generator, base: bool
) -> tuple[np.ndarray, tuple[int, int, int, int]]:
    """Return a 16-bit linear master (h, w, 3) of the negative, and the picture's box in it.

    base: whether a border of clear film base is about the picture. Grain of 0.005 D.
    """
    d = film.density(linear(positive))
    edge = BORDER if base else 0
    if base:
        room = np.broadcast_to(film.dmin, (d.shape[0] + 2 * edge, d.shape[1] + 2 * edge, 3)).copy()
        room[edge:-edge, edge:-edge] = d
        d = room
    t = 0.95 * 10.0 ** -(d + rng.normal(0, 0.005, d.shape))
    codes = np.round(np.clip(t, 0, 1) * 65535).astype(np.uint16)
    return codes, (edge, edge, positive.shape[1], positive.shape[0])
