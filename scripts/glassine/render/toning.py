"""Pixels toned: what a plan says, done to any band of rows, pixel by pixel."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.tone import AnyTone, Negative, Positive, PositiveAsIs, Restoration, Shoulder
from glassine.masters import colour
from glassine.render import fading
from glassine.render.looks import Floats, Pixels

Table = npt.NDArray[np.float32]


# Densities that are mixed stand in 16 bits: log10 of exposure over D-min from LOWEST on, in steps
# of 1 / STEPS (0.02 % of light). What a film can hold ends near 4; a mask is far beyond.
LOWEST, STEPS = -0.6, 11_700.0


@dataclass(frozen=True)
class _Mixed:
    """Layers told apart before they become light, all in 16 bits, so that each processor does it
    alike: codes to log10 of exposure (uint16, (1, codes, 3)), a 3 x 3 matrix whose rows sum to 1,
    and back to what `ends` says: sRGB in 8 and 16 bits, (1, 65536, 3)."""

    exposures: npt.NDArray[np.uint16]
    matrix: Table
    ends: npt.NDArray[np.uint8]
    deep_ends: npt.NDArray[np.uint16]

    def mixed(self, picked: Pixels) -> npt.NDArray[np.uint16]:
        """Return log10 of exposure of each layer as whole steps, (h, w, 3)."""
        return np.asarray(cv2.transform(cv2.LUT(picked, self.exposures), self.matrix), np.uint16)


@dataclass(frozen=True)
class _Tables:
    """What `apply` looks up. One table per channel, or two about a matrix.

    direct: uint8 (1, codes, channels), where channels do not mix; else light (float32, same
    shape, scaled so that 65535 is `headroom`), matrix (3 x 3, or 1 x 3 to grey) and ending
    uint8 (65536). layers: where densities are mixed; `light` is then of exposures, not of codes.
    """

    channels: tuple[int, ...]
    direct: npt.NDArray[np.uint8] | None
    light: Table
    matrix: Table | None
    ending: Pixels
    headroom: float
    layers: _Mixed | None
    fresh: _Fresh | None

    @classmethod
    def of(cls, tone: AnyTone, encoding: colour.Encoding) -> _Tables:
        apart = isinstance(tone, Negative) and tone.density_matrix is not None
        light = _light_tables(tone, encoding) if not apart else _light_of_steps(tone)
        matrix = None if tone.matrix is None else np.array(tone.matrix)
        # Primaries of sRGB itself differ from ours by the rounding of profiles only.
        mixes = matrix is not None and (
            len(matrix) == 1 or bool(np.abs(matrix - np.eye(3)).max() > 5e-4)
        )
        headroom = tone.shoulder.top if tone.shoulder else 1.0
        ending = _encoded(np.linspace(0.0, headroom, 65536), tone.shoulder)
        direct = None if mixes or apart else _eight(_encoded(light, tone.shoulder)).T[None].copy()
        scaled = np.ascontiguousarray((light * 65535.0 / headroom).T[None], np.float32)
        return cls(
            tone.channels,
            direct,
            scaled,
            matrix.astype(np.float32) if mixes and matrix is not None else None,
            _eight(ending),
            headroom,
            _mixed(tone, encoding, light) if apart else None,
            _Fresh.of(tone),
        )


@dataclass(frozen=True)
class _Fresh:
    """A positive whose faded dyes are made up for: after that its black is taken off."""

    restoration: Restoration
    black: float

    @classmethod
    def of(cls, tone: AnyTone) -> _Fresh | None:
        restoration = tone.restoration if isinstance(tone, Positive) else None
        return cls(restoration, tone.black) if isinstance(tone, Positive) and restoration else None

    def light(self, faded: npt.NDArray[Any]) -> Floats:
        """Return linear sRGB (h, w, 3), not clipped, of that of the faded picture."""
        light = fading.restored(faded, self.restoration)
        return np.asarray((light - self.black) / (1.0 - self.black))


def _eight(value: Floats) -> npt.NDArray[np.uint8]:
    return np.round(value * 255.0).astype(np.uint8)


def _light_tables(tone: AnyTone, encoding: colour.Encoding) -> Floats:
    """Return the picture's light (before matrix and shoulder) of each code, (channels, codes)."""
    light = encoding.tables[list(tone.channels)].astype(np.float64)
    if isinstance(tone, Positive):
        black = 0.0 if tone.restoration else tone.black
        return np.asarray((light - black) / (1.0 - black))
    column = (-1, 1)
    dmin = np.reshape(tone.dmin, column)
    slopes = np.reshape(tone.slopes, column)
    gain = np.reshape(tone.balance, column) + tone.exposure
    x = (colour.density(light) - dmin) / slopes
    # Codes that no film has (the opaque mask) would overflow: 10**6 is far beyond white.
    picture = 10.0 ** np.minimum(x + gain, 6.0) - tone.toe * 10.0**gain
    return np.asarray(np.maximum(picture, 0.0))


def _light_of_steps(tone: AnyTone) -> Floats:
    """Return the picture's light of each step of `_Mixed`, (3, 65536)."""
    assert isinstance(tone, Negative)
    gain = np.reshape(tone.balance, (-1, 1)) + tone.exposure
    x = LOWEST + np.arange(65536) / STEPS
    picture = 10.0 ** np.minimum(x + gain, 6.0) - tone.toe * 10.0**gain
    return np.asarray(np.maximum(picture, 0.0))


def _mixed(tone: AnyTone, encoding: colour.Encoding, light: Floats) -> _Mixed:
    assert isinstance(tone, Negative)
    density = colour.density(encoding.tables[list(tone.channels)])
    x = (density - np.reshape(tone.dmin, (-1, 1))) / np.reshape(tone.slopes, (-1, 1))
    steps = np.clip(np.round((x - LOWEST) * STEPS), 0, 65535)
    ends = _encoded(light, tone.shoulder).T[None]
    return _Mixed(
        np.ascontiguousarray(steps.T[None], np.uint16),
        np.array(tone.density_matrix, np.float32),
        _eight(ends).copy(),
        np.round(ends * 65535.0).astype(np.uint16),
    )


def _encoded(light: npt.NDArray[Any], shoulder: Shoulder | None) -> Floats:
    """Return sRGB codes 0..1 of light, highlights rolled off by `shoulder`.

    Up to `start` light is kept; from there to `top` it follows a rational curve that leaves
    `start` with slope 1 and reaches 1 at `top`.
    """
    return colour.linear_to_srgb(_rolled(light, shoulder))


def _rolled(light: npt.NDArray[Any], shoulder: Shoulder | None) -> npt.NDArray[Any]:
    """Return light with its highlights rolled off; what is below 0 stays."""
    if shoulder is None:
        return light
    start, top = shoulder.start, shoulder.top
    way, room = top - start, 1.0 - start
    u = np.clip((light - start) / way, 0.0, 1.0)
    # Rational curve r(u) = u (1 + k) / (1 + k u): r(0) = 0, r(1) = 1, slope at 0 is way / room.
    k = way / room - 1.0
    rolled = start + room * u * (1.0 + k) / (1.0 + k * u)
    return np.where(light <= start, light, rolled)


@lru_cache(maxsize=32)
def _prepared(tone: AnyTone, icc: bytes | None) -> tuple[_Tables, colour.Encoding]:
    encoding = colour.encoding_of(icc, tone.encoding.stated, tone.bits, tone.master_bands)
    return _Tables.of(tone, encoding), encoding


def apply(pixels: Pixels, tone: AnyTone, icc: bytes | None) -> npt.NDArray[np.uint8]:
    """Return the picture, uint8 (h, w, tone.bands), sRGB (one band: grey with the sRGB curve).

    pixels: code values of the master, uint8 or uint16 (h, w, 1 or 3), any horizontal band of
    any size; each pixel is rendered by itself. Safe to call from several threads.
    """
    tables, encoding = _prepared(tone, icc)
    return _render(encoding.flatten(_as_bands(pixels, tone)), tables)


def apply16(pixels: Pixels, tone: AnyTone, icc: bytes | None) -> npt.NDArray[np.uint16]:
    """Return the picture as `apply`, but uint16 (h, w, tone.bands)."""
    tables, encoding = _prepared(tone, icc)
    flat = encoding.flatten(_as_bands(pixels, tone))
    if tables.layers is not None and tables.matrix is None:
        mixed = tables.layers.mixed(np.ascontiguousarray(_picked(flat, tables)))
        return np.asarray(cv2.LUT(mixed, tables.layers.deep_ends), np.uint16)
    return np.round(_encoded(_light(flat, tables), tone.shoulder) * 65535.0).astype(np.uint16)


def light(pixels: Pixels, tone: AnyTone, icc: bytes | None) -> npt.NDArray[Any]:
    """Return what `apply16` encodes: linear sRGB (h, w, tone.bands), 1 is white, not clipped."""
    tables, encoding = _prepared(tone, icc)
    flat = encoding.flatten(_as_bands(pixels, tone))
    return _rolled(_light(flat, tables), tone.shoulder)


def _light(pixels: Pixels, tables: _Tables) -> npt.NDArray[Any]:
    """Return the picture's linear sRGB light (h, w, bands) before its shoulder, not clipped."""
    flat = np.ascontiguousarray(_picked(pixels, tables))
    if tables.layers is not None:
        flat = tables.layers.mixed(flat)
    light = cv2.LUT(flat, tables.light).reshape(flat.shape)
    if tables.matrix is not None:
        light = np.asarray(cv2.transform(light, tables.matrix))
        light = light.reshape(*flat.shape[:2], len(tables.matrix))
    light = light * (tables.headroom / 65535.0)
    return light if tables.fresh is None else tables.fresh.light(light)


def uninverted(tone: AnyTone, icc: bytes | None) -> PositiveAsIs:
    """Return the tone that shows a negative as it was captured: through its profile, no more."""
    encoding = colour.encoding_of(icc, tone.encoding.stated, tone.bits, tone.master_bands)
    matrix = tuple(tuple(row) for row in encoding.matrix.tolist())
    return PositiveAsIs(
        version=tone.version,
        process=tone.process,
        bits=tone.bits,
        master_bands=tone.master_bands,
        bands=tone.master_bands,
        channels=tuple(range(tone.master_bands)),
        encoding=tone.encoding,
        black=0,
        intent="relative colorimetric",
        black_point_compensation=False,
        matrix=matrix if tone.master_bands == 3 else None,
        shoulder=None,
        review=(),
        clipped_percent=tone.clipped_percent,
    )


def shown(codes: Pixels, tone: AnyTone, encoding: colour.Encoding) -> npt.NDArray[np.uint8]:
    """Return a few codes (n, bands) as the picture shows them, (n, tone.bands)."""
    return np.asarray(_render(encoding.flatten(codes[None]), _Tables.of(tone, encoding))[0])


def _as_bands(pixels: Pixels, tone: AnyTone) -> Pixels:
    """Return `pixels` as (h, w, bands); raises ValueError for pixels that `tone` is not for."""
    shaped = pixels[..., None] if pixels.ndim == 2 else pixels
    deep = np.uint16 if tone.bits == 16 else np.uint8
    if shaped.ndim != 3 or shaped.shape[2] != tone.master_bands or shaped.dtype != deep:
        raise ValueError(f"pixels {pixels.shape} {pixels.dtype} do not fit the tone")
    return shaped


def _picked(pixels: Pixels, tables: _Tables) -> Pixels:
    if len(tables.channels) == pixels.shape[-1]:
        return pixels
    return np.ascontiguousarray(pixels[..., list(tables.channels)])


def _render(pixels: Pixels, tables: _Tables) -> npt.NDArray[np.uint8]:
    if tables.fresh is not None:
        return _eight(colour.linear_to_srgb(_light(pixels, tables)))
    picked = np.ascontiguousarray(_picked(pixels, tables))
    if tables.layers is not None:
        picked = tables.layers.mixed(picked)
        if tables.matrix is None:
            return np.asarray(cv2.LUT(picked, tables.layers.ends), np.uint8)
    if tables.direct is not None:
        return np.asarray(cv2.LUT(picked, tables.direct), np.uint8).reshape(picked.shape)
    light = cv2.LUT(picked, tables.light)
    assert tables.matrix is not None
    mixed = cv2.transform(light, tables.matrix)
    codes = cv2.addWeighted(mixed, 1.0, mixed, 0.0, 0.0, dtype=cv2.CV_16U)
    shape = (*picked.shape[:2], len(tables.matrix))
    return np.asarray(cv2.LUT(codes, tables.ending), np.uint8).reshape(shape)
