"""From encoded values to (approximately) linear light, by the profile or what the batch states."""

from __future__ import annotations

import struct

import numpy as np
import numpy.typing as npt

from glassine import processor

Floats = npt.NDArray[np.float32]

TABLE_LENGTH = 65536
# Without a profile or a statement: the gamma that FADGI 2016 names for grey masters.
DEFAULT_GAMMA = 2.2


def _srgb(x: Floats) -> Floats:
    """IEC 61966-2-1: the sRGB transfer function, encoded to linear."""
    low = x / np.float32(12.92)
    high = processor.power((x + np.float32(0.055)) / np.float32(1.055), 2.4)
    return np.where(x <= 0.04045, low, high).astype(np.float32)


def _tag(icc: bytes, signature: bytes) -> bytes | None:
    """Return the bytes of one tag of an ICC profile (ICC.1:2022, 7.3), or None."""
    if len(icc) < 132:
        return None
    count = min(struct.unpack(">I", icc[128:132])[0], 100)
    for number in range(count):
        entry = icc[132 + 12 * number : 144 + 12 * number]
        if len(entry) == 12 and entry[:4] == signature:
            offset, size = struct.unpack(">II", entry[4:])
            return icc[offset : offset + size]
    return None


def _parametric(body: bytes, x: Floats) -> Floats | None:
    """ICC.1:2022, 10.18: parametricCurveType, function types 0 to 4."""
    kind = struct.unpack(">H", body[8:10])[0]
    count = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}.get(kind)
    if count is None or len(body) < 12 + 4 * count:
        return None
    values = [v / 65536 for v in struct.unpack(f">{count}i", body[12 : 12 + 4 * count])]
    g, a, b, c, d, e, f = (values + [0.0] * 7)[:7]
    if kind == 0:
        return processor.power(x, g)
    power = processor.power(np.maximum(a * x + b, 0), g)
    if kind in (1, 2):
        offset = c if kind == 2 else 0.0
        start = -b / a if a else 0.0
        return np.asarray(np.where(x >= start, power + offset, offset), np.float32)
    low = c * x + (f if kind == 4 else 0.0)
    high = power + (e if kind == 4 else 0.0)
    return np.asarray(np.where(x >= d, high, low), np.float32)


def curve_of(icc: bytes, x: Floats) -> Floats | None:
    """Return the profile's tone curve (green, else grey) at `x`, or None where it has none."""
    body = _tag(icc, b"gTRC") or _tag(icc, b"kTRC")
    if body is None or len(body) < 12:
        return None
    if body[:4] == b"para":
        return _parametric(body, x)
    if body[:4] != b"curv":
        return None
    count = struct.unpack(">I", body[8:12])[0]
    if count == 0:
        return x
    table = np.frombuffer(body[12 : 12 + 2 * min(count, 65536)], ">u2").astype(np.float32)
    if count == 1 and len(table) == 1:
        return processor.power(x, table[0] / 256)
    if len(table) < 2:
        return None
    return np.interp(x, np.linspace(0, 1, len(table)), table / 65535).astype(np.float32)


def linear_table(icc: bytes | None, stated: str | None) -> Floats:
    """Return 65,536 values: linear light (0 to 1) of an encoded 16-bit value.

    The embedded profile decides; without one, the statement of the batch ("srgb", "linear",
    "gamma-2.2", "gamma-1.8"); else gamma 2.2.
    """
    x = np.linspace(0, 1, TABLE_LENGTH, dtype=np.float32)
    if icc:
        found = curve_of(icc, x)
        if found is not None and np.isfinite(found).all():
            return np.clip(found, 0, 1).astype(np.float32)
    if stated == "linear":
        return x
    if stated == "srgb":
        return _srgb(x)
    gamma = DEFAULT_GAMMA
    if stated is not None and stated.startswith("gamma-"):
        gamma = float(stated.removeprefix("gamma-"))
    return processor.power(x, gamma)


def linear(pixels: npt.NDArray[np.generic], table: Floats) -> Floats:
    """Return (h, w, channels) float32 linear light of uint8 or uint16 pixels; alpha is left out."""
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    if pixels.shape[2] in (2, 4):
        pixels = pixels[..., :-1]
    if pixels.dtype == np.uint8:
        return np.asarray(table[pixels.astype(np.uint16) * np.uint16(257)])
    return np.asarray(table[pixels.astype(np.uint16, copy=False)])
