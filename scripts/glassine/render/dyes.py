"""What a camera's channels see of the dyes of a usual colour negative film.

A camera tells the three dyes apart no better than its primaries do: red light passes the flank of
the magenta dye, and so on. For a profile's primaries this is worked out from nominal dyes, seen by
the colorimetric observer (whoever made the profile brought the camera to it), and undone by a
3 x 3 matrix. Its rows sum to 1: greys stay as they are, whatever is mixed.

Dyes and base are smooth curves through values from memory of masked negative film; the observer
is the fit by sums of bells of Wyman, Sloan, Shirley, "Simple Analytic Approximations to the CIE XYZ
Color Matching Functions", JCGT 2 (2), 2013, table 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from glassine.base.tone import Channels
from glassine.masters import colour

Floats = npt.NDArray[np.float64]

_NM = np.arange(400.0, 701.0, 10.0)
# Middle (nm), width below and above (nm, one sigma) of each dye at its peak; then its second
# absorption near 430 nm, what the mask leaves of it. Values from memory.
_DYES = ((686.0, 55.0, 65.0, 0.04), (548.0, 35.0, 33.0, 0.02), (446.0, 44.0, 35.0, 0.0))
# Density of the base with its mask: (nm, D). Value from memory.
_BASE = ((430.0, 0.85), (480.0, 0.79), (545.0, 0.60), (600.0, 0.42), (660.0, 0.25))
# Bands in which films are made balanced, near those of ISO 5-3 status M (value from memory).
_MADE_FOR = (640.0, 545.0, 445.0)
# Development of one layer holds the others back by this share (value from memory): the dyes'
# mixing that the film's makers undid themselves.
_HELD_BACK = 0.05
# How much of what is worked out is used; the rest is what films differ by. Masters in sRGB are
# often no camera's colours, but three bands that a program called so: there each channel stands for
# its layer. Chosen on tests/benchmarks/tone.
_STRENGTH = 0.85


@dataclass(frozen=True)
class Nominal:
    """matrix: 3 x 3, rows sum to 1, from densities above base over slopes to log10 exposures;
    slopes: factors on the slopes of a film as the channels see them; base: density of the film
    base, against the bare table."""

    matrix: tuple[Channels, ...]
    slopes: Channels
    base: Channels


def _bell(middle: float, below: float, above: float) -> Floats:
    width = np.where(middle > _NM, below, above)
    return np.asarray(np.exp(-(((_NM - middle) / width) ** 2) / 2))


def _observer() -> Floats:
    """Return the observer (3, wavelengths), each row summing to D50's XYZ for the bare table."""
    x = 1.056 * _bell(599.8, 37.9, 31.0) + 0.362 * _bell(442.0, 16.0, 26.7)
    x -= 0.065 * _bell(501.1, 20.4, 26.2)
    y = 0.821 * _bell(568.8, 46.9, 40.5) + 0.286 * _bell(530.9, 16.3, 31.1)
    z = 1.217 * _bell(437.0, 11.8, 36.0) + 0.681 * _bell(459.0, 26.0, 13.8)
    seen = np.stack([x, y, z])
    return np.asarray(seen / seen.sum(axis=1, keepdims=True) * colour.D50[:, None])


def nominal(to_srgb: Floats) -> Nominal:
    """Return what is usual for a profile; to_srgb: its linear light to linear sRGB, 3 x 3."""
    return _nominal(tuple(tuple(round(value, 6) for value in row) for row in to_srgb.tolist()))


@lru_cache(maxsize=16)
def _nominal(to_srgb: tuple[Channels, ...]) -> Nominal:
    matrix = np.array(to_srgb)
    strength = 0.0 if np.abs(matrix - np.eye(3)).max() < 0.01 else _STRENGTH
    to_profile = np.linalg.inv(colour.srgb_matrix() @ matrix) @ _observer()
    dyes = np.stack([_bell(*dye[:3]) + dye[3] * _bell(430.0, 38.0, 38.0) for dye in _DYES])
    base = np.interp(_NM, *np.array(_BASE).T)

    def density(amounts: Floats) -> Floats:
        light = 10.0 ** -(amounts @ dyes + base) @ to_profile.T
        return np.asarray(-np.log10(np.maximum(light, 1e-5)))

    clear = density(np.zeros((1, 3)))[0]
    balance = _balanced(dyes)
    grey = density(np.array([[0.3], [1.1]]) * balance) - clear
    slopes = (grey[1] - grey[0]) / 0.8
    # Densities about greys of three depths, each dye a little more or less.
    tints = np.concatenate([np.zeros((1, 3)), 0.2 * np.eye(3), -0.2 * np.eye(3)])
    wanted = (np.array([0.3, 0.7, 1.1])[:, None, None] + tints).reshape(-1, 3)
    made = wanted @ (np.eye(3) - _HELD_BACK * (1 - np.eye(3))).T / (1 - 2 * _HELD_BACK)
    got = np.hstack([(density(made * balance) - clear) / slopes, np.ones((len(made), 1))])
    mix = np.linalg.lstsq(got, wanted, rcond=None)[0][:3].T
    mix = np.eye(3) + strength * (mix / mix.sum(axis=1, keepdims=True) - np.eye(3))
    return Nominal(
        tuple(tuple(row) for row in np.round(mix, 4).tolist()),
        tuple(np.round(slopes**strength, 4).tolist()),
        tuple(np.round(clear, 4).tolist()),
    )


def _balanced(dyes: Floats) -> Floats:
    """Return amounts of the dyes that add the density 1 in each of the bands of `_MADE_FOR`."""
    bands = np.stack([_bell(middle, 10.0, 10.0) for middle in _MADE_FOR])
    bands /= bands.sum(axis=1, keepdims=True)
    amounts = np.ones(3)
    for _ in range(5):
        steps = np.array([[0.3], [1.1]]) * amounts
        d = -np.log10(10.0 ** -(steps @ dyes) @ bands.T)
        amounts = amounts * 0.8 / (d[1] - d[0])
    return amounts
