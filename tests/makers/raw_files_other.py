"""A second maker of raw captures, which shares no code with the first.

A table of light, a lens, a sensor and a file, each of its own numbers:

* light falls off by the fourth power of the cosine, off the middle, with a slope across the table;
* film lies on it: photographs that come with scikit-image, as densities of three dyes, patches of
  even density, a step wedge and a slanted edge;
* the sensor has three broad sensitivities (a matrix from the light behind the film), photon and
  read noise, a black level of its own for each of the four sites, sites that are dead or hot;
* the file is a DNG as the specification 1.4 lays it down: a preview in the first directory, the
  raw picture in a SubIFD, either byte order, strips, 12 or 14 bits packed or 16 bits, margins
  outside the active area, and the digest of the raw picture (RawImageDigest).

All is written by ``struct`` alone. Truth is the light at the sensor before fall-off, noise and
mosaic, as a share of what the table without film gives in its middle, for each channel.
"""

from __future__ import annotations

import datetime
import hashlib
import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# What each channel of the sensor sees of the light in three bands (red, green, blue): broad and
# overlapping, as filters of cameras are. Rows: channels. Own numbers.
SENSITIVITY = np.array([[0.80, 0.17, 0.03], [0.16, 0.70, 0.14], [0.02, 0.22, 0.76]])

# The bands' XYZ (D50) for unit light in each: chromatic adaptation is in it. Own numbers near the
# primaries of a wide gamut, so that equal bands are D50 (0.9642, 1, 0.8249).
BANDS_TO_XYZ = np.array(
    [[0.7347, 0.1152, 0.1143], [0.2799, 0.7020, 0.0181], [0.0060, 0.0319, 0.7870]]
)

PHASES = {"RGGB": (0, 1, 1, 2), "GRBG": (1, 0, 2, 1), "GBRG": (1, 2, 0, 1), "BGGR": (2, 1, 1, 0)}


@dataclass(frozen=True)
class Sensor:
    """A sensor and the lens before it; levels in counts, places as shares of the picture."""

    width: int = 1216
    height: int = 832
    margin: int = 16
    """Masked sites round the active area, px on each side."""

    phase: str = "RGGB"
    bits: int = 14
    black: tuple[int, int, int, int] = (500, 512, 520, 508)
    white: int = 15_800
    full_well: float = 40_000.0
    """Electrons at the white level."""

    read_noise: float = 4.0
    """Electrons."""

    fall_off: float = 0.34
    """Loss at the farthest corner, a share."""

    middle: tuple[float, float] = (0.52, 0.47)
    slope: tuple[float, float] = (0.03, -0.02)
    """Of the lamp across the width and the height."""

    lamp: tuple[float, float, float] = (1.0, 0.92, 0.61)
    """Light of the bands."""

    exposure: float = 0.86
    """What the brightest channel of the empty table reaches in the middle, a share of white."""

    dead_share: float = 0.0005
    hot_share: float = 0.0005
    seed: int = 11

    @property
    def gains(self) -> Floats:
        """What each channel sees of the empty table, its brightest one."""
        seen = SENSITIVITY @ np.array(self.lamp)
        return np.asarray(seen / seen.max())


@dataclass(frozen=True)
class Written:
    """A file and what is true of it."""

    path: Path
    light: Floats
    """(height, width, 3): light of the bands through the film, the empty table is 1."""

    channels: Floats
    """(height, width, 3): what the channels see of it, over what they see of the empty table."""

    shade: Floats
    """(height, width): fall-off and slope together, 1 in the middle."""

    faulty: NDArray[np.bool_]
    """(height, width): dead and hot sites."""

    counts: NDArray[np.uint16]
    """(height, width): what the active area holds, with black."""

    boxes: dict[str, tuple[int, int, int, int]] = field(default_factory=dict)
    """Even areas by name: x, y, width, height in px of the active area."""


def shade(sensor: Sensor) -> Floats:
    """Fall-off by the fourth power of the cosine and the lamp's slope: (height, width)."""
    y, x = np.mgrid[0 : sensor.height, 0 : sensor.width]
    u = (x + 0.5) / sensor.width - sensor.middle[0]
    v = ((y + 0.5) / sensor.height - sensor.middle[1]) * sensor.height / sensor.width
    r2 = u**2 + v**2
    farthest = float(r2.max())
    # cos^4 = (1 + t r2)^-2; t so that the farthest corner has the loss asked for.
    t = ((1 - sensor.fall_off) ** -0.5 - 1) / farthest
    even: Floats = (1 + t * r2) ** -2
    return even * (1 + sensor.slope[0] * u + sensor.slope[1] * v)


def _photograph(name: str, height: int, width: int) -> Floats:
    from skimage import data, transform

    picture = np.asarray(getattr(data, name)(), dtype=np.float64) / 255.0
    if picture.ndim == 2:
        picture = np.repeat(picture[:, :, None], 3, axis=2)
    linear = np.where(picture <= 0.04045, picture / 12.92, ((picture + 0.055) / 1.055) ** 2.4)
    return np.asarray(transform.resize(linear[:, :, :3], (height, width), anti_aliasing=True))


def film(
    sensor: Sensor, picture: str = "astronaut", negative: bool = False
) -> tuple[Floats, dict[str, tuple[int, int, int, int]]]:
    """Light of the bands through a piece of film (the empty table is 1), and even areas on it."""
    h, w = sensor.height, sensor.width
    light = np.ones((h, w, 3))
    x0, y0, fw, fh = int(0.22 * w), int(0.16 * h), int(0.5 * w), int(0.5 * h)
    base = np.array([0.22, 0.55, 0.85]) if negative else np.array([0.16, 0.17, 0.19])
    light[y0 - h // 25 : y0 + fh + h // 25, x0 - w // 30 : x0 + fw + w // 30] = 10.0**-base
    seen = np.clip(_photograph(picture, fh, fw), 1e-4, 1.0)
    density = 0.62 * (np.log10(seen) + 2.2) if negative else np.clip(-1.35 * np.log10(seen), 0, 3.1)
    light[y0 : y0 + fh, x0 : x0 + fw] = 10.0 ** -(base + density)
    boxes: dict[str, tuple[int, int, int, int]] = {}
    # A wedge of eleven steps of 0.3 below, and six patches of one dye each.
    side = int(0.055 * w)
    for i in range(11):
        x, y = int(0.12 * w) + i * (side + 6), int(0.76 * h)
        light[y : y + side, x : x + side] = 10.0 ** -(0.3 * i)
        boxes[f"step-{i}"] = (x + 8, y + 8, side - 16, side - 16)
    dyes = [
        (1.2, 0.1, 0.1),
        (0.15, 1.1, 0.2),
        (0.1, 0.25, 1.3),
        (1.1, 1.0, 0.2),
        (0.2, 1, 1),
        (1, 0.3, 1),
    ]
    for i, dye in enumerate(dyes):
        x, y = int(0.12 * w) + i * (side + 6), int(0.76 * h) + side + 12
        light[y : y + side, x : x + side] = 10.0 ** -np.array(dye)
        boxes[f"dye-{i}"] = (x + 8, y + 8, side - 16, side - 16)
    # A slanted edge, 5 degrees, sharp to the site, at the right.
    yy, xx = np.mgrid[0:h, 0:w]
    inside = (xx > 0.78 * w) & (xx < 0.95 * w) & (yy > 0.2 * h) & (yy < 0.6 * h)
    dark = (xx - 0.865 * w) > np.tan(np.radians(5.0)) * (yy - 0.4 * h)
    light[inside & dark] = 10.0**-1.0
    boxes["table"] = (int(0.05 * w), int(0.4 * h), side, side)
    return light, boxes


def expose(sensor: Sensor, light: Floats, seed: int, scale: float = 1.0) -> tuple[Any, ...]:
    """Counts of the active area, channels' truth, shade and faulty sites."""
    rng = np.random.default_rng(seed)
    fixed = np.random.default_rng(sensor.seed)
    gains = sensor.gains
    bands = light * np.array(sensor.lamp)
    raw = bands @ SENSITIVITY.T
    channels = raw / (SENSITIVITY @ np.array(sensor.lamp))
    fallen = shade(sensor)
    h, w = sensor.height, sensor.width
    site = np.empty((h, w))
    black = np.empty((h, w))
    for k, channel in enumerate(PHASES[sensor.phase]):
        rows, columns = slice(k // 2, None, 2), slice(k % 2, None, 2)
        site[rows, columns] = channels[rows, columns, channel] * gains[channel]
        black[rows, columns] = sensor.black[k]
    electrons = site * fallen * sensor.exposure * scale * sensor.full_well
    noisy = rng.poisson(electrons) + rng.normal(0, sensor.read_noise, (h, w))
    counts = black + noisy / sensor.full_well * (sensor.white - black)
    draw = fixed.random((h, w))
    dead, hot = draw < sensor.dead_share, draw > 1 - sensor.hot_share
    counts[dead] = black[dead]
    counts[hot] = fixed.uniform(0.5, 1.0, int(hot.sum())) * sensor.white
    counts = np.clip(np.round(counts), 0, sensor.white).astype(np.uint16)
    return counts, channels, fallen, dead | hot


# --- the file ---------------------------------------------------------------------------------

_SIZE = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 10: 8, 12: 8}


def _packed(counts: NDArray[np.uint16], bits: int) -> bytes:
    """Rows of samples of 12, 14 or 16 bits, the first bit first (TIFF 6.0, FillOrder 1)."""
    if bits == 16:
        raise ValueError("samples of 16 bits follow the file's byte order")
    planes = (counts[:, :, None] >> np.arange(bits - 1, -1, -1)) & 1
    rows = planes.reshape(counts.shape[0], -1).astype(np.uint8)
    return np.packbits(rows, axis=1).tobytes()


class _Tiff:
    """Directories of a TIFF file, written from the end of the data that they name."""

    def __init__(self, order: Literal["<", ">"]) -> None:
        self.order = order
        self.body = bytearray(struct.pack(order + "2sHI", b"II" if order == "<" else b"MM", 42, 0))

    def data(self, content: bytes) -> int:
        if len(self.body) % 2:
            self.body += b"\0"
        place = len(self.body)
        self.body += content
        return place

    def _value(self, kind: int, value: Any) -> tuple[int, bytes]:
        if kind == 2:
            text = value.encode("ascii") + b"\0"
            return len(text), text
        if kind in (1, 7):
            return len(value), bytes(value)
        values = value if isinstance(value, (list, tuple)) else [value]
        if kind == 5:
            parts = [struct.pack(self.order + "II", *_ratio(v)) for v in values]
        elif kind == 10:
            parts = [struct.pack(self.order + "ii", *_ratio(v)) for v in values]
        else:
            parts = [struct.pack(self.order + {3: "H", 4: "I", 12: "d"}[kind], v) for v in values]
        return len(values), b"".join(parts)

    def directory(self, tags: dict[int, tuple[int, Any]]) -> int:
        entries = b""
        for tag in sorted(tags):
            kind, value = tags[tag]
            count, content = self._value(kind, value)
            inline = content.ljust(4, b"\0") if len(content) <= 4 else None
            if inline is None:
                inline = struct.pack(self.order + "I", self.data(content))
            entries += struct.pack(self.order + "HHI", tag, kind, count) + inline
        return self.data(struct.pack(self.order + "H", len(tags)) + entries + b"\0\0\0\0")

    def whole(self, first: int) -> bytes:
        struct.pack_into(self.order + "I", self.body, 4, first)
        return bytes(self.body)


def _ratio(value: float) -> tuple[int, int]:
    return round(value * 10_000), 10_000


def write_dng(
    path: Path,
    sensor: Sensor,
    counts: NDArray[np.uint16],
    *,
    order: Literal["<", ">"] = "<",
    rows_per_strip: int = 64,
    taken: datetime.datetime = datetime.datetime(2026, 3, 4, 10, 30),
    model: str = "Quay 4",
    serial: str = "PE-0007",
    lens: str = "Reproduction 95 mm",
    aperture: float = 8.0,
    seconds: float = 0.04,
    orientation: int = 1,
    digest: bool = True,
    stated_black: tuple[int, int, int, int] | None = None,
) -> None:
    """Write the active area with masked margins round it (black levels alone in them).

    stated_black: what the file says of them, where that is not true."""
    m = sensor.margin
    phase_shift = (m % 2) * 2 + (m % 2)
    if phase_shift:
        raise ValueError("margins are even, so that the pattern starts alike within and without")
    full = np.empty((counts.shape[0] + 2 * m, counts.shape[1] + 2 * m), np.uint16)
    for k in range(4):
        full[k // 2 :: 2, k % 2 :: 2] = sensor.black[k]
    full[m : m + counts.shape[0], m : m + counts.shape[1]] = counts
    h, w = full.shape
    tiff = _Tiff(order)
    strips = []
    for top in range(0, h, rows_per_strip):
        rows = full[top : top + rows_per_strip]
        content = (
            rows.astype(order + "u2").tobytes() if sensor.bits == 16 else _packed(rows, sensor.bits)
        )
        strips.append((tiff.data(content), len(content)))
    raw: dict[int, tuple[int, Any]] = {
        254: (4, 0), 256: (4, w), 257: (4, h), 258: (3, sensor.bits), 259: (3, 1), 262: (3, 32803),
        273: (4, [s[0] for s in strips]), 277: (3, 1), 278: (4, rows_per_strip),
        279: (4, [s[1] for s in strips]), 284: (3, 1),
        33421: (3, [2, 2]), 33422: (1, PHASES[sensor.phase]),
        50710: (1, (0, 1, 2)), 50711: (3, 1),
        50713: (3, [2, 2]), 50714: (5, list(stated_black or sensor.black)), 50717: (4, sensor.white),
        50829: (4, [m, m, h - m, w - m]),
        50719: (5, [0, 0]), 50720: (5, [w - 2 * m, h - 2 * m]),
    }  # fmt: skip
    raw_place = tiff.directory(raw)
    small = (full[m : h - m : 16, m : w - m : 16] >> max(sensor.bits - 8, 0)).astype(np.uint8)
    small_place = tiff.data(small.tobytes())
    when = taken.strftime("%Y:%m:%d %H:%M:%S")
    exif = tiff.directory(
        {
            33434: (5, seconds),
            33437: (5, aperture),
            34855: (3, 100),
            36864: (7, b"0230"),
            36867: (2, when),
            37386: (5, 95.0),
            42033: (2, serial),
            42036: (2, lens),
        }
    )
    to_camera = (SENSITIVITY @ np.linalg.inv(BANDS_TO_XYZ)).ravel()
    neutral = [float(v) for v in sensor.gains]
    first: dict[int, tuple[int, Any]] = {
        254: (4, 1), 256: (4, small.shape[1]), 257: (4, small.shape[0]), 258: (3, 8), 259: (3, 1),
        262: (3, 1), 271: (2, "Port Ellery Works"), 272: (2, model), 273: (4, small_place),
        274: (3, orientation), 277: (3, 1), 278: (4, small.shape[0]), 279: (4, small.size),
        306: (2, when), 330: (4, raw_place), 34665: (4, exif),
        50706: (1, (1, 4, 0, 0)), 50707: (1, (1, 1, 0, 0)), 50708: (2, f"Port Ellery Works {model}"),
        50721: (10, [float(v) for v in to_camera]), 50728: (5, neutral), 50778: (3, 23),
        50735: (2, serial),
    }  # fmt: skip
    if digest:
        # DNG 1.4, RawImageDigest: MD5 of the raw picture's samples in the order of the rows, each
        # padded with zeros to 16 bits, little-endian (value from memory).
        first[50972] = (1, tuple(hashlib.md5(full.astype("<u2").tobytes()).digest()))
        first[50781] = (1, tuple(hashlib.sha256(full.tobytes()).digest()[:16]))
    path.write_bytes(tiff.whole(tiff.directory(first)))


def capture(
    path: Path,
    sensor: Sensor,
    picture: str = "astronaut",
    *,
    negative: bool = False,
    seed: int = 1,
    **file: Any,
) -> Written:
    """A capture of film, written to ``path``."""
    light, boxes = film(sensor, picture, negative)
    counts, channels, fallen, faulty = expose(sensor, light, seed)
    write_dng(path, sensor, counts, **file)
    return Written(path, light, channels, fallen, faulty, counts, boxes)


def empty_table(
    path: Path, sensor: Sensor, *, seed: int = 2, dust: int = 25, **file: Any
) -> Written:
    """A capture of the table alone, with specks on it that no other capture has."""
    light = np.ones((sensor.height, sensor.width, 3))
    rng = np.random.default_rng(seed + 100)
    y, x = np.mgrid[0 : sensor.height, 0 : sensor.width]
    for _ in range(dust):
        cy, cx, r = rng.uniform(0, sensor.height), rng.uniform(0, sensor.width), rng.uniform(1, 4)
        light *= 1 - 0.4 * np.exp(-(((x - cx) ** 2 + (y - cy) ** 2) / r**2))[:, :, None]
    counts, channels, fallen, faulty = expose(sensor, light, seed, scale=0.97)
    write_dng(path, sensor, counts, **file)
    return Written(path, light, channels, fallen, faulty, counts)


def dark(path: Path, sensor: Sensor, *, seed: int = 3, **file: Any) -> Written:
    """A capture with the lens capped."""
    light = np.zeros((sensor.height, sensor.width, 3))
    counts, channels, fallen, faulty = expose(sensor, light, seed)
    write_dng(path, sensor, counts, **file)
    return Written(path, light, channels, fallen, faulty, counts)
