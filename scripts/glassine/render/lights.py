"""Lights that a picture may have been taken in, on film made for daylight.

A light's colour is that of a black body (Planck's law) at the wavelengths in which the layers of
daylight film see most, about 640, 545 and 445 nm (value from memory), against 5500 K.

What is shown: the light is taken out but for a tenth (`KEPT`). A room lit by lamps stays a little
warm, as the eye keeps some of it (common practice, no source); no picture keeps the orange that
daylight film makes of lamps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

KEPT = 0.1
DAYLIGHT = "daylight"
_BANDS_NM = np.array([640.0, 545.0, 445.0])
_DAYLIGHT_K = 5500.0


@dataclass(frozen=True)
class Light:
    """cast: log10 of each layer's exposure by the light, mean 0; prior: how usual it is."""

    name: str
    cast: tuple[float, ...]
    prior: float


def _planck(kelvin: float) -> Floats:
    """Return the black body's light per band; c2 = 1.4388e7 nm K (CODATA 2018, 5 digits)."""
    return np.asarray(_BANDS_NM**-5 / np.expm1(1.4388e7 / (_BANDS_NM * kelvin)))


def _light(name: str, kelvin: float, prior: float) -> Light:
    cast = np.log10(_planck(kelvin) / _planck(_DAYLIGHT_K))
    return Light(name, tuple((cast - cast.mean()).tolist()), prior)


# How usual each is: common practice, no source.
LIGHTS = (
    _light(DAYLIGHT, _DAYLIGHT_K, 0.92),
    _light("lamps, 2850 K", 2850.0, 0.02),
    _light("lamps, 3300 K", 3300.0, 0.02),
    _light("mixed light", 4100.0, 0.02),
    _light("shade, 7500 K", 7500.0, 0.01),
    _light("shade, 10000 K", 10000.0, 0.01),
)
