"""From things on a light table to sensor codes.

Shapes give signed distances in millimetres (negative inside), so that an edge may lie anywhere
between pixels and is drawn with its exact coverage. Everything per pixel is plain arithmetic
or a table, so that a picture is the same bytes on every machine. Rows are made in bands with
noise that belongs to the row, so that the height of a band does not matter.

The chain: transmittance (light table 1.0) x illumination, grain, point spread of the lens,
shot and read noise, 16-bit linear code, profile curve.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from statistics import NormalDist
from typing import Protocol

import numpy as np

MM_PER_INCH = 25.4
_NOISE_ROWS = 64
_BAND_ROWS = 256


# ---- shapes --------------------------------------------------------------------------------
class Shape(Protocol):
    """A plane figure about its own origin; half: (half width, half height) of its bounds."""

    @property
    def half(self) -> tuple[float, float]: ...

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray: ...


@dataclass(frozen=True)
class Box:
    """A rectangle, its corners rounded by `radius`."""

    width: float
    height: float
    radius: float = 0.0

    @property
    def half(self) -> tuple[float, float]:
        return self.width / 2, self.height / 2

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        a = np.abs(u) - np.float32(self.width / 2 - self.radius)
        b = np.abs(v) - np.float32(self.height / 2 - self.radius)
        if self.radius == 0:
            return np.maximum(a, b)
        outside = np.sqrt(np.maximum(a, 0) ** 2 + np.maximum(b, 0) ** 2)
        return outside + np.minimum(np.maximum(a, b), 0) - np.float32(self.radius)


@dataclass(frozen=True)
class Oval:
    """An ellipse; the distance is right at the edge, which is where it is used."""

    width: float
    height: float

    @property
    def half(self) -> tuple[float, float]:
        return self.width / 2, self.height / 2

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        a, b = np.float32(self.width / 2), np.float32(self.height / 2)
        k = np.sqrt((u / a) ** 2 + (v / b) ** 2) + np.float32(1e-6)
        slope = np.sqrt((u / a**2) ** 2 + (v / b**2) ** 2) + np.float32(1e-6)
        return (k - 1) * k / slope


@dataclass(frozen=True)
class Convex:
    """A convex polygon, corners clockwise as seen (y down)."""

    points: tuple[tuple[float, float], ...]

    @property
    def half(self) -> tuple[float, float]:
        return max(abs(p[0]) for p in self.points), max(abs(p[1]) for p in self.points)

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        far = None
        for (ax, ay), (bx, by) in zip(self.points, self.points[1:] + self.points[:1], strict=True):
            length = math.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
            nx, ny = np.float32((by - ay) / length), np.float32(-(bx - ax) / length)
            side = (u - np.float32(ax)) * nx + (v - np.float32(ay)) * ny
            far = side if far is None else np.maximum(far, side)
        assert far is not None
        return far


@dataclass(frozen=True)
class Moved:
    """A shape set at (x, y), turned clockwise by angle_deg."""

    shape: Shape
    x: float
    y: float
    angle_deg: float = 0.0

    @property
    def half(self) -> tuple[float, float]:
        reach = math.hypot(*self.shape.half)
        return abs(self.x) + reach, abs(self.y) + reach

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        c, s = math.cos(math.radians(self.angle_deg)), math.sin(math.radians(self.angle_deg))
        du, dv = u - np.float32(self.x), v - np.float32(self.y)
        return self.shape.distance(
            du * np.float32(c) + dv * np.float32(s), dv * np.float32(c) - du * np.float32(s)
        )


@dataclass(frozen=True)
class Cut:
    """A shape without the parts that the `gone` cover (notches, chips, perforations)."""

    shape: Shape
    gone: tuple[Moved, ...]

    @property
    def half(self) -> tuple[float, float]:
        return self.shape.half

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        far = self.shape.distance(u, v)
        for part in self.gone:
            reach = math.hypot(*part.shape.half) + 1.0
            near = (np.abs(u - part.x) < reach) & (np.abs(v - part.y) < reach)
            rows, columns = np.flatnonzero(near.any(axis=1)), np.flatnonzero(near.any(axis=0))
            if len(rows):
                # beyond its reach a part cannot touch the outline: look at its surroundings only
                block = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
                np.maximum(far[block], -part.distance(u[block], v[block]), out=far[block])
        return far


@dataclass(frozen=True)
class Ragged:
    """A shape whose outline wanders by about `depth` mm: hand-coated emulsion, torn paper."""

    shape: Shape
    depth: float
    cell: float
    seed: int

    @property
    def half(self) -> tuple[float, float]:
        w, h = self.shape.half
        return w + self.depth, h + self.depth

    def distance(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        rng = np.random.Generator(np.random.PCG64(self.seed))
        far = self.shape.distance(u, v)
        for axis in (u, v):
            for cell, depth in ((self.cell, 1.0), (self.cell / 4, 0.35)):
                knots = np.arange(-int(200 / cell), int(200 / cell) + 1) * cell
                values = (rng.random(len(knots)) * 2 - 1) * self.depth / 2 * depth
                far = far + np.interp(axis.ravel(), knots, values).astype("f4").reshape(axis.shape)
        return far


# ---- what fills them -----------------------------------------------------------------------
class Fill(Protocol):
    def light(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Return transmittance (or reflectance), u.shape + (samples,) or broadcastable."""
        ...


@dataclass(frozen=True)
class Flat:
    value: tuple[float, ...]

    def light(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        return np.array(self.value, np.float32)


@dataclass(frozen=True, eq=False)
class Picture:
    """An image (rows x columns x samples, float32) spread over width x height mm, bilinear."""

    image: np.ndarray
    width: float
    height: float

    def light(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        rows, columns, samples = self.image.shape
        x = (u / np.float32(self.width) + np.float32(0.5)) * np.float32(columns) - np.float32(0.5)
        y = (v / np.float32(self.height) + np.float32(0.5)) * np.float32(rows) - np.float32(0.5)
        x, y = np.clip(x, 0, columns - 1.001), np.clip(y, 0, rows - 1.001)
        ix, iy = x.astype(np.int32), y.astype(np.int32)
        fx, fy = (x - ix)[..., None], (y - iy)[..., None]
        flat = self.image.reshape(-1, samples)
        first = iy * columns + ix
        top = flat[first]
        top += fx * (flat[first + 1] - top)
        first += columns
        low = flat[first]
        low += fx * (flat[first + 1] - low)
        low -= top
        low *= fy
        low += top
        return low


@dataclass(frozen=True)
class Layer:
    """A thing laid over what is beneath it.

    shape at (x, y) mm from the centre of the field, turned clockwise by angle_deg; opacity:
    1 replaces what is beneath; soft_mm: width of its edge (0: as sharp as the optics allow);
    through: its light multiplies what is beneath, as glass or dust does, in place of replacing.
    """

    shape: Shape
    fill: Fill
    x: float
    y: float
    angle_deg: float = 0.0
    opacity: float = 1.0
    soft_mm: float = 0.0
    through: bool = False


# ---- film ----------------------------------------------------------------------------------
@dataclass(frozen=True)
class Stock:
    """A film by its characteristic curve: D = d_min + slope * log10(toe-rounded H / speed).

    d_min, slopes: per sample (R, G, B) or one. speed: exposure (white 1.0) at the toe.
    """

    d_min: tuple[float, ...]
    slopes: tuple[float, ...]
    speed: float = 0.008
    d_max: float = 3.0

    def transmittance(self, exposure: np.ndarray) -> np.ndarray:
        """Return T of the developed film for `exposure` (..., samples), by table."""
        index = np.sqrt(np.clip(exposure, 0, 4) * np.float32(0.25))
        index = np.minimum((index * np.float32(65535)).astype(np.int32), 65535)
        out = np.empty(exposure.shape, np.float32)
        for band in range(exposure.shape[-1]):
            out[..., band] = self._table(band)[index[..., band]]
        return out

    def _table(self, band: int) -> np.ndarray:
        level = ((np.arange(65536) + 0.5) / 65535) ** 2 * 4 / self.speed
        density = self.d_min[band] + self.slopes[band] * 0.5 * np.log10(1 + level * level)
        # rounded, so that the last bit of log10 on some machine does not matter
        return np.round(10.0 ** -np.minimum(density, self.d_max), 8).astype(np.float32)

    @property
    def base(self) -> tuple[float, ...]:
        return tuple(10.0**-d for d in self.d_min)


# ---- camera --------------------------------------------------------------------------------
@dataclass(frozen=True)
class Camera:
    """Lens, light table and sensor.

    white: code of the bare light table at the centre (share of full scale); fall_off: loss in
    the corners (share); tilt: linear change across the width (share); psf_px: sigma of the
    point spread; grain: relative grain at half transmittance; read, shot: noise as shares of
    full scale; flare: share of the mean light spread over all.
    """

    white: float = 0.92
    fall_off: float = 0.06
    tilt: float = 0.01
    psf_px: float = 0.6
    grain: float = 0.007
    read: float = 0.00005
    shot: float = 0.0007
    flare: float = 0.0005
    gamma: float = 1.0


@dataclass(frozen=True)
class Field:
    """What the camera sees: layers over a ground, at width x height px and ppi."""

    width: int
    height: int
    ppi: float
    ground: tuple[float, ...]
    layers: tuple[Layer, ...]
    camera: Camera
    seed: int
    samples: int = 3
    _noise: dict[tuple[int, int], np.ndarray] = field(default_factory=dict, compare=False)

    @property
    def px_per_mm(self) -> float:
        return self.ppi / MM_PER_INCH

    def bands(self) -> Iterator[np.ndarray]:
        """Yield the master's rows in order, u16, rows x width x samples."""
        curve = encoding_table(self.camera.gamma)
        for top in range(0, self.height, _BAND_ROWS):
            codes = self._codes(top, min(top + _BAND_ROWS, self.height))
            yield codes if self.camera.gamma == 1.0 else curve[codes]

    def image(self) -> np.ndarray:
        return np.concatenate(list(self.bands()))

    def _codes(self, top: int, bottom: int) -> np.ndarray:
        halo = max(1, math.ceil(self.camera.psf_px * 3))
        light = self._light(top - halo, bottom + halo, halo)
        light *= self._illumination(top - halo, bottom + halo, halo)[..., None]
        grain = self._random(top - halo, bottom + halo, halo, 0)
        light += grain * (light * (1 - light)) * np.float32(self.camera.grain * 4)
        light = _blurred(light, self.camera.psf_px, halo)
        light += np.float32(self.camera.flare)
        noise = self._random(top, bottom, 0, 1)
        read, shot = self.camera.read, self.camera.shot
        light += noise * np.sqrt(np.float32(read**2) + np.float32(shot**2) * np.abs(light))
        light *= np.float32(self.camera.white * 65535)
        light += np.float32(0.5)
        return np.clip(light, 0, 65535).astype(np.uint16)

    def _light(self, top: int, bottom: int, halo: int) -> np.ndarray:
        wide = self.width + 2 * halo
        light = np.empty((bottom - top, wide, self.samples), np.float32)
        light[:] = np.array(self.ground, np.float32)
        for layer in self.layers:
            self._lay(light, layer, top, -halo)
        return light

    def _lay(self, light: np.ndarray, layer: Layer, top: int, left: int) -> None:
        """Lay one layer over the rows of `light`, whose first pixel is (left, top)."""
        scale = self.px_per_mm
        cx, cy = layer.x * scale + self.width / 2, layer.y * scale + self.height / 2
        c, s = math.cos(math.radians(layer.angle_deg)), math.sin(math.radians(layer.angle_deg))
        hw, hh = layer.shape.half
        margin = 2 + layer.soft_mm * scale
        rx = (abs(c) * hw + abs(s) * hh) * scale + margin
        ry = (abs(s) * hw + abs(c) * hh) * scale + margin
        x0 = max(math.floor(cx - rx), left)
        x1 = min(math.ceil(cx + rx), left + light.shape[1])
        y0 = max(math.floor(cy - ry), top)
        y1 = min(math.ceil(cy + ry), top + light.shape[0])
        if x0 >= x1 or y0 >= y1:
            return
        dx = (np.arange(x0, x1) + 0.5 - cx) / scale
        dy = ((np.arange(y0, y1) + 0.5 - cy) / scale)[:, None]
        u, v = (dx * c + dy * s).astype("f4"), (dy * c - dx * s).astype("f4")
        part = light[y0 - top : y1 - top, x0 - left : x1 - left]
        edge = max(layer.soft_mm, 1 / scale)
        cover = np.clip(0.5 - layer.shape.distance(u, v) * np.float32(1 / edge), 0, 1)
        cover = (cover * np.float32(layer.opacity)).astype(np.float32)[..., None]
        value = layer.fill.light(u, v)
        if layer.through:
            part *= 1 - cover * (1 - value)
        else:
            part += cover * (value - part)

    def _illumination(self, top: int, bottom: int, halo: int) -> np.ndarray:
        x = (np.arange(-halo, self.width + halo) + 0.5) / self.width * 2 - 1
        y = ((np.arange(top, bottom) + 0.5) / self.height * 2 - 1)[:, None]
        far = (x * x + y * y) / 2
        loss = self.camera.fall_off * (0.6 * far + 0.4 * far * far)
        return (1 - loss + self.camera.tilt / 2 * x).astype(np.float32)

    def _random(self, top: int, bottom: int, halo: int, use: int) -> np.ndarray:
        """Return normal deviates of the rows, the same whichever band asks for them."""
        parts = []
        for block in range(top // _NOISE_ROWS, (bottom - 1) // _NOISE_ROWS + 1):
            rows = self._noise_block(block, use)
            start = max(top - block * _NOISE_ROWS, 0)
            parts.append(rows[start : bottom - block * _NOISE_ROWS])
        rows = np.concatenate(parts) if len(parts) > 1 else parts[0]
        return rows[:, _HALO_MAX - halo : _HALO_MAX + self.width + halo]

    def _noise_block(self, block: int, use: int) -> np.ndarray:
        if (block, use) in self._noise:
            return self._noise[block, use]
        rng = np.random.Generator(np.random.PCG64([self.seed, use, block + 8]))
        shape = (_NOISE_ROWS, self.width + 2 * _HALO_MAX, self.samples)
        raw = np.frombuffer(rng.bytes(2 * shape[0] * shape[1] * shape[2]), "<u2")
        values = normal_table()[raw].reshape(shape)
        for old in [key for key in self._noise if key[1] == use and key[0] < block - 1]:
            del self._noise[old]
        self._noise[block, use] = values
        return values


_HALO_MAX = 16


@lru_cache(maxsize=1)
def normal_table() -> np.ndarray:
    """Return 65,536 quantiles of the normal distribution (mean 0, deviation 1)."""
    coarse = [NormalDist().inv_cdf((step + 0.5) / 4096) for step in range(4096)]
    fine = np.interp((np.arange(65536) + 0.5) / 16 - 0.5, np.arange(4096), np.round(coarse, 6))
    return fine.astype(np.float32)


@lru_cache(maxsize=8)
def encoding_table(gamma: float) -> np.ndarray:
    """Return the u16 code of each linear u16 code for a profile curve of this gamma."""
    value = (np.arange(65536) / 65535) ** (1 / gamma)
    return np.floor(np.round(value * 65535, 4) + 0.5).astype(np.uint16)


def _blurred(light: np.ndarray, sigma: float, halo: int) -> np.ndarray:
    """Return `light` without its halo, blurred by a Gaussian of `sigma` px."""
    offsets = np.arange(-halo, halo + 1)
    weights = np.exp(-(offsets**2) / (2 * sigma * sigma))
    weights = np.round(weights / weights.sum(), 7).astype(np.float32)
    rows, columns = light.shape[0] - 2 * halo, light.shape[1] - 2 * halo
    middle = weights[halo]
    across = light[:, halo : halo + columns] * middle
    for step in range(1, halo + 1):
        pair = light[:, halo - step : halo - step + columns]
        pair = pair + light[:, halo + step : halo + step + columns]
        pair *= weights[halo + step]
        across += pair
    out = across[halo : halo + rows] * middle
    for step in range(1, halo + 1):
        pair = across[halo - step : halo - step + rows] + across[halo + step : halo + step + rows]
        pair *= weights[halo + step]
        out += pair
    return out
