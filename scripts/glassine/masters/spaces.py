"""Colour spaces that a rendered picture may have beside sRGB, and their profiles, made from the
standards' own numbers.

    adobergb  Adobe RGB (1998) Color Image Encoding, 4.3.1 (primaries, D65) and 4.3.4 (563/256)
    romm      ISO 22028-2 (ROMM RGB): primaries, D50; 1.8, straight below 1/512
    ecirgb    ISO/TS 22028-4 (eciRGB v2): primaries, D50; L* of CIE 015
    linear    light itself, in the primaries of ISO 22028-2

Pictures in grey have one band and a space's curve alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from glassine.masters import colour

Floats = npt.NDArray[np.float64]
Point = tuple[float, float]

_D65: Point = (0.3127, 0.3290)
_D50: Point = (0.3457, 0.3585)
# Bradford's cone responses (ICC.1:2022, annex E.3).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
# Steps of a curve that a profile holds by points.
_POINTS = 4096
_ROMM_STRAIGHT = 1 / 512
# Of linear sRGB (ITU-R BT.709-6, item 3.2), as a column.
_LUMINANCE = np.array([[0.2126], [0.7152], [0.0722]])
Bits = Literal[8, 16]


@dataclass(frozen=True)
class Space:
    """title: what its profile is called. red, green, blue, white: chromaticities x, y (CIE 1931).
    curve: "gamma", "romm", "lightness" or "linear"."""

    title: str
    red: Point
    green: Point
    blue: Point
    white: Point
    curve: str

    @property
    def matrix(self) -> Floats:
        """Linear RGB to XYZ of the profile connection space (D50), 3 x 3; white is exact."""
        primaries = np.stack([_xyz(p) for p in (self.red, self.green, self.blue)], axis=1)
        white = _xyz(self.white)
        native = primaries * np.linalg.solve(primaries, white)
        cones = _BRADFORD @ np.stack([white, colour.D50], axis=1)
        adapted = np.diag(cones[:, 1] / cones[:, 0])
        return np.asarray(np.linalg.solve(_BRADFORD, adapted @ _BRADFORD) @ native)


def _xyz(point: Point) -> Floats:
    x, y = point
    return np.array([x / y, 1.0, (1 - x - y) / y])


_ROMM = ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), _D50)
SPACES = {
    "adobergb": Space(
        "Compatible with Adobe RGB (1998)",
        (0.64, 0.33),
        (0.21, 0.71),
        (0.15, 0.06),
        _D65,
        "gamma",
    ),
    "romm": Space("ROMM RGB, ISO 22028-2", *_ROMM, "romm"),
    # Published as 0.67 0.33, 0.21 0.71, 0.14 0.08; finer as colour-science 0.4.7 has them.
    "ecirgb": Space(
        "eciRGB v2",
        (0.670103, 0.329897),
        (0.209906, 0.709906),
        (0.140062, 0.080330),
        _D50,
        "lightness",
    ),
    "linear": Space("Linear light, primaries of ROMM RGB", *_ROMM, "linear"),
}


def code_of(light: npt.NDArray[Any], curve: str) -> Floats:
    """Return codes 0..1 of light 0..1 (clipped)."""
    light = np.clip(np.asarray(light, np.float64), 0.0, 1.0)
    if curve == "gamma":
        return np.asarray(light ** (256 / 563))
    if curve == "romm":
        return np.where(light < _ROMM_STRAIGHT, 16 * light, light ** (1 / 1.8))
    if curve == "lightness":  # CIE 015: L* / 100
        bright = 1.16 * np.cbrt(light) - 0.16
        return np.where(light > (6 / 29) ** 3, bright, light * (29 / 3) ** 3 / 100)
    return light


def light_of(code: npt.NDArray[Any], curve: str) -> Floats:
    """Return light 0..1 of codes 0..1: the inverse of `code_of`."""
    code = np.asarray(code, np.float64)
    if curve == "gamma":
        return np.asarray(code ** (563 / 256))
    if curve == "romm":
        return np.where(code < 16 * _ROMM_STRAIGHT, code / 16, code**1.8)
    if curve == "lightness":
        return np.where(code > 0.08, ((code + 0.16) / 1.16) ** 3, code * 100 / (29 / 3) ** 3)
    return code


@lru_cache(maxsize=16)
def profile(name: str, bands: int) -> bytes:
    """Return the profile of a space for pictures of 3 bands or 1; the same bytes every time."""
    space = SPACES[name]
    points = light_of(np.linspace(0.0, 1.0, _POINTS), space.curve)
    if space.curve == "linear":
        points = np.array([0.0, 1.0])
    if bands == 1:
        return colour.made_profile(grey_title(name), points, None)
    return colour.made_profile(space.title, points, space.matrix)


def grey_title(name: str) -> str:
    """Return what the profile of a grey picture with the space's curve is called."""
    curves = {"gamma": "563/256", "romm": "ROMM RGB", "lightness": "L*", "linear": "linear"}
    return f"Grey, curve {curves[SPACES[name].curve]}"


@lru_cache(maxsize=8)
def _from_srgb(name: str) -> Floats:
    return np.asarray(np.linalg.solve(SPACES[name].matrix, colour.srgb_matrix()))


def encoded(light: npt.NDArray[Any], name: str, bits: Bits = 16) -> npt.NDArray[Any]:
    """Return uint16 (or uint8) codes of linear sRGB light (h, w, 3) or grey light (h, w, 1).

    light: 1 is white; below 0 or above 1 where a colour lies outside of sRGB, which is kept as far
    as the space holds it.
    """
    mixed = light if light.shape[-1] == 1 else np.asarray(light, np.float64) @ _from_srgb(name).T
    return _whole(code_of(mixed, SPACES[name].curve), bits)


def in_grey(light: npt.NDArray[Any], bits: Bits) -> npt.NDArray[Any]:
    """Return uint16 or uint8 codes (h, w, 1), curve of sRGB, of the luminance of linear sRGB light
    (h, w, 3) or of grey light (h, w, 1)."""
    luminance = light if light.shape[-1] == 1 else np.asarray(light, np.float64) @ _LUMINANCE
    return _whole(colour.linear_to_srgb(luminance), bits)


def _whole(codes: npt.NDArray[Any], bits: Bits) -> npt.NDArray[Any]:
    deep = bits == 16
    return np.round(codes * (65535.0 if deep else 255.0)).astype(np.uint16 if deep else np.uint8)
