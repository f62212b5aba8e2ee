"""Patches from spectra: what an invented camera sees of them on an invented lamp, and their colours.

XYZ by the CIE 1931 2 degree observer (ISO/CIE 11664-1, as colour-science tabulates it), adapted to
D50 from the lamp's white by Bradford's matrix (ICC.1:2022, annex E). Lamp, camera, dyes and paints
are own smooth curves, in steps of 5 nm.
"""

from __future__ import annotations

import warnings
from functools import cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
NM = np.arange(400.0, 701.0, 5.0)
D50 = np.array([0.9642, 1.0, 0.8249])
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def bump(middle: float, width: float) -> Floats:
    return np.asarray(np.exp(-(((NM - middle) / width) ** 2) / 2))


# A white LED: a blue line and a broad phosphor.
LAMP = 0.9 * bump(452, 10) + bump(560, 55) + 0.35 * bump(620, 40)
# Filters over silicon, rows red, green, blue.
CAMERA = np.stack(
    [bump(602, 32) + 0.08 * bump(530, 30), bump(535, 38), bump(462, 27) + 0.06 * bump(520, 30)]
)


@cache
def observer() -> Floats:
    """Return the colour matching functions, (3, wavelengths)."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

        table = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
        return np.asarray(np.stack([table[nm] for nm in NM], axis=1))


def seen(spectra: Floats) -> tuple[Floats, Floats]:
    """Return (camera's values, the bare lamp is 1; XYZ of D50, the lamp is white) of spectra (n, w):
    share of light that is let through or thrown back."""
    camera = (spectra * LAMP) @ CAMERA.T / (LAMP @ CAMERA.T)
    xyz, white = ((light * LAMP) @ observer().T for light in (spectra, np.ones_like(NM)))
    xyz, white = xyz / white[1], white / white[1]
    adapted = np.diag((_BRADFORD @ D50) / (_BRADFORD @ white))
    return camera, xyz @ (np.linalg.inv(_BRADFORD) @ adapted @ _BRADFORD).T


def dyes(count: int, seed: int) -> Floats:
    """Return spectra of film: three dyes of random density over a base, (count, wavelengths)."""
    random = np.random.default_rng(seed)
    shapes = np.stack(
        [
            bump(655, 48) + 0.10 * bump(430, 40),
            bump(548, 34) + 0.12 * bump(440, 30) + 0.05 * bump(640, 40),
            bump(448, 34) + 0.08 * bump(530, 40),
        ]
    )
    amounts = random.uniform(0.0, 1.9, (count, 3))
    amounts[: count // 4] = np.linspace(0.0, 2.2, count // 4)[:, None]  # a grey wedge
    return np.asarray(10.0 ** -(amounts @ shapes + 0.06))


def paints(count: int, seed: int) -> Floats:
    """Return spectra of smooth paints: edges and bands in the spectrum, (count, wavelengths)."""
    random = np.random.default_rng(seed)
    made = []
    for number in range(count):
        low, high = random.uniform(0.03, 0.1), random.uniform(0.3, 0.85)
        edge = 1 / (1 + np.exp(-(NM - random.uniform(440, 640)) / random.uniform(15, 35)))
        band = bump(random.uniform(430, 650), random.uniform(25, 60))
        shape = (edge, 1 - edge, band, 1 - 0.9 * band)[number % 4]
        made.append(low + (high - low) * shape)
    for place, level in enumerate(np.linspace(0.03, 0.9, count // 4)):
        made[4 * place] = np.full(NM.size, level)
    return np.array(made)
