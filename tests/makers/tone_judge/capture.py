"""What a camera makes of film before a light, and the six ways in which studios encode that."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from makers import icc_profiles
from makers.tone_judge.scenes import coded
from makers.tone_judge.spectra import CAMERAS, D65_TO_D50, LIGHTS, SRGB_TO_XYZ, camera_matrix

# Chromaticities of red, green, blue and the white: Adobe RGB (1998) section 4.3, ISO 22028-2
# (the third), ITU-R BT.2020 table 3 (the wide one).
D65, D50 = (0.3127, 0.3290), (0.3457, 0.3585)
ADOBE = ((0.64, 0.33), (0.21, 0.71), (0.15, 0.06), D65)
ROMM = ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), D50)
WIDE = ((0.708, 0.292), (0.170, 0.797), (0.131, 0.046), D65)
ENCODINGS = ("srgb", "adobe", "romm", "linear", "wide", "camera")


def _to_d50(*points: tuple[float, float]) -> np.ndarray:
    """Return linear RGB to XYZ (D50) of primaries and a white."""
    xyz = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in points]).T
    matrix = xyz[:, :3] * np.linalg.solve(xyz[:, :3], xyz[:, 3])
    return D65_TO_D50 @ matrix if points[3] == D65 else matrix


def space(encoding: str, camera: str, light: str) -> tuple[np.ndarray, np.ndarray]:
    """Return linear RGB to XYZ (D50), and the curve from code to light at 1024 codes."""
    codes = np.linspace(0, 1, 1024)
    if encoding == "srgb":
        light_of = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
        return D65_TO_D50 @ SRGB_TO_XYZ, light_of
    if encoding == "adobe":
        return _to_d50(*ADOBE), codes ** (563 / 256)
    if encoding == "romm":
        return _to_d50(*ROMM), np.where(codes < 1 / 32, codes / 16, codes**1.8)
    if encoding == "linear":
        return _to_d50(*ADOBE), codes
    if encoding == "wide":
        return _to_d50(*WIDE), codes**2.2
    return camera_matrix(camera, light), codes


@dataclass(frozen=True)
class Rig:
    """camera, light: names in `spectra`; flare: share of the mean light that lies over all;
    vignette: share of light lost in the corners; level: linear light of the bare table."""

    camera: str
    light: str
    encoding: str
    flare: float
    vignette: float
    level: float


def seen(rig: Rig, through: np.ndarray) -> np.ndarray:
    """Return a camera's channels, white-balanced on the bare light (1), of film before it.

    through: transmittance (h, w, 31).
    """
    lamp, sensor = LIGHTS[rig.light], CAMERAS[rig.camera]
    raw = through @ (sensor * lamp).T / (sensor @ lamp)
    raw = raw * (1 - rig.flare) + rig.flare * raw.mean(axis=(0, 1))
    y, x = (np.linspace(-1, 1, size) for size in raw.shape[:2])
    fall = 1 - rig.vignette * (y[:, None] ** 2 + x**2) / 2
    return np.asarray(raw * fall[..., None])


def encoded_light(rig: Rig, raw: np.ndarray) -> np.ndarray:
    """Return linear light of the encoding, not clipped: what lies outside of it is below 0."""
    to_xyz, _ = space(rig.encoding, rig.camera, rig.light)
    return np.asarray(raw @ np.linalg.solve(to_xyz, camera_matrix(rig.camera, rig.light)).T)


def encode(rig: Rig, raw: np.ndarray, scale: float) -> tuple[np.ndarray, bytes]:
    """Return codes (uint16, clipped) and the profile that says what they mean. scale: exposure."""
    to_xyz, curve = space(rig.encoding, rig.camera, rig.light)
    linear = np.clip(scale * encoded_light(rig, raw), 0, 1)
    codes = np.interp(linear, curve, np.linspace(0, 1, curve.size))
    icc = icc_profiles.matrix_profile(f"Rig, {rig.encoding}", to_xyz, curve)
    return np.round(codes * 65535).astype(np.uint16), icc


def as_srgb(rig: Rig, raw: np.ndarray) -> np.ndarray:
    """Return sRGB 0..1 of a camera's channels: the picture of a slide."""
    to_srgb = np.linalg.solve(D65_TO_D50 @ SRGB_TO_XYZ, camera_matrix(rig.camera, rig.light))
    return np.asarray(coded(raw @ to_srgb.T))


def read(rig: Rig, codes: np.ndarray) -> np.ndarray:
    """Return sRGB 0..1 of codes, through the profile of the encoding: a master as it is."""
    to_xyz, curve = space(rig.encoding, rig.camera, rig.light)
    light = np.interp(codes / 65535, np.linspace(0, 1, curve.size), curve)
    return np.asarray(coded(light @ np.linalg.solve(D65_TO_D50 @ SRGB_TO_XYZ, to_xyz).T))
