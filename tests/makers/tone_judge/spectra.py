"""Light, surfaces, observers and sensors, as spectra from 400 to 700 nm in steps of 10.

Spectra are arrays of length 31 (`NM`), pictures of spectra have them last.
"""

from __future__ import annotations

import warnings
from functools import lru_cache

import numpy as np
from scipy.optimize import lsq_linear

NM = np.arange(400.0, 701.0, 10.0)
# Linear sRGB to XYZ for D65 (IEC 61966-2-1:1999, section 5.2).
SRGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
# Bradford's matrix (ICC.1:2022, annex E), D65 to D50.
D65_TO_D50 = np.array(
    [[1.0479, 0.0229, -0.0502], [0.0296, 0.9904, -0.0171], [-0.0092, 0.0151, 0.7519]]
)


def bump(peak_nm: float, width_nm: float, right_nm: float | None = None) -> np.ndarray:
    """Return a bell of height 1; widths are standard deviations, left and right of the peak."""
    width = np.where(peak_nm > NM, width_nm, right_nm or width_nm)
    return np.exp(-0.5 * ((NM - peak_nm) / width) ** 2)


def planck(kelvin: float) -> np.ndarray:
    """Return the radiation of a black body, 1 at 560 nm (Planck's law, c2 = 0.014388 m K)."""
    metres = NM * 1e-9

    def power(at: np.ndarray | float) -> np.ndarray:
        return np.asarray(at**-5.0 / np.expm1(0.014388 / (at * kelvin)))

    return power(metres) / power(560e-9)


# What falls on a scene. Daylight of a phase is a little less blue than a black body: not modelled.
ILLUMINANTS = {"daylight": planck(5500), "tungsten": planck(3200), "shade": planck(8000)}


@lru_cache(maxsize=1)
def observer() -> np.ndarray:
    """Return the CIE 1931 2 degree observer (CIE 015), 3 x 31, from colour-science."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it tells of plots that it cannot draw
        from colour import MSDS_CMFS, SpectralShape
    values = MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    return np.asarray(values.align(SpectralShape(400, 700, 10)).values).T


@lru_cache(maxsize=1)
def surfaces() -> np.ndarray:
    """Return smooth reflectances (31 x 3) of linear red, green and blue, which add up to 1.

    The smoothest non-negative ones that have the chromaticity of sRGB's primaries under light of
    5500 K, which is white here as D65 is in sRGB: any sRGB colour is then their weighted sum.
    """
    seen = observer() * ILLUMINANTS["daylight"]
    white = seen.sum(axis=1)
    wanted = SRGB_TO_XYZ / SRGB_TO_XYZ.sum(axis=1, keepdims=True)
    bend = np.diff(np.eye(NM.size), 2, axis=0)
    rows, values = [], []
    for number in range(3):
        place = np.eye(3)[number]
        rows += [np.kron(place, seen / white[:, None]) * 300, np.kron(place, bend)]
        values += [wanted[:, number] * 300, np.zeros(len(bend))]
    rows.append(np.kron(np.ones(3), np.eye(NM.size)) * 300)
    values.append(np.ones(NM.size) * 300)
    found = lsq_linear(np.vstack(rows), np.concatenate(values), bounds=(0, 1)).x
    return np.asarray(found.reshape(3, NM.size).T)


# What stands below the film: (a lamp's spectrum) and what looks at it (a row for each channel).
LIGHTS = {
    "white": bump(452, 10, 12) * 0.9 + bump(560, 45, 60),
    "halogen": planck(3100),
    "narrow": bump(455, 10) + bump(528, 14) + bump(635, 9),
}
CAMERAS = {
    "broad": np.stack([bump(605, 28, 38) + 0.06 * bump(450, 30), bump(535, 38), bump(458, 27)]),
    "sharp": np.stack([bump(620, 20, 26), bump(535, 24), bump(450, 20)]),
    "leaky": np.stack(
        [
            bump(595, 30, 45) + 0.12 * bump(520, 40),
            bump(530, 42, 46) + 0.08 * bump(640, 30),
            bump(465, 30) + 0.07 * bump(540, 30),
        ]
    ),
}


@lru_cache(maxsize=16)
def camera_matrix(camera: str, light: str) -> np.ndarray:
    """Return the matrix from a camera's white-balanced channels to XYZ (D50; bare light is white).

    By least squares over smooth transmittances, as a maker of a profile would; white is exact.
    """
    lamp = LIGHTS[light]
    rng = np.random.default_rng(5)
    amounts = rng.uniform(0, 1.5, (300, 3))
    through = 10 ** -(amounts @ np.stack([bump(650, 45), bump(545, 38), bump(445, 35)]))
    through = np.vstack([through, rng.random((300, 3)) @ surfaces().T])
    seen = through @ (CAMERAS[camera] * lamp).T / (CAMERAS[camera] @ lamp)
    xyz = through @ (observer() * lamp).T / (observer() @ lamp)  # 1, 1, 1 for the bare light
    weight = 1 / (0.05 + seen.mean(axis=1, keepdims=True))
    found = np.linalg.lstsq(seen * weight, xyz * weight, rcond=None)[0].T
    found /= found.sum(axis=1, keepdims=True)
    return np.asarray(np.diag([0.9642, 1.0, 0.8249]) @ found)
