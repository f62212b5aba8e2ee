"""A canvas in linear light on which the harbour is drawn.

Coordinates: y from 0 (top) to 1 (bottom), x from 0 to `aspect` in the same unit. Shapes are
filled on a mask three times finer than the canvas and averaged down, all in integers, so that
edges are smooth and the result the same on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np

Colour = tuple[float, float, float]
Points = Sequence[tuple[float, float]]
_FINE = 3


class Canvas:
    """`rgb`: height x width x 3 float32, linear light, diffuse white about 1.0."""

    def __init__(self, width: int, height: int, seed: int) -> None:
        self.width, self.height = width, height
        self.aspect = width / height
        self.rng = np.random.Generator(np.random.PCG64(seed))
        self.rgb = np.zeros((height, width, 3), np.float32)

    def pick(self, low: float, high: float) -> float:
        return low + (high - low) * float(self.rng.random())

    # ---- areas -------------------------------------------------------------------------
    def gradient(self, top: float, bottom: float, stops: Sequence[tuple[float, Colour]]) -> None:
        """Fill the rows between `top` and `bottom` with colours interpolated between stops."""
        first, last = self._row(top), self._row(bottom)
        if last <= first:
            return
        place = (np.arange(first, last) + 0.5 - top * self.height) / ((bottom - top) * self.height)
        where = [stop[0] for stop in stops]
        for band in range(3):
            values = np.interp(place, where, [stop[1][band] for stop in stops])
            self.rgb[first:last, :, band] = values[:, None].astype(np.float32)

    def noise(self, cell_x: float, cell_y: float, octaves: int = 4) -> np.ndarray:
        """Return value noise in 0..1 of the whole canvas; cells in canvas units."""
        total = np.zeros((self.height, self.width), np.float32)
        weight, sum_weight = 1.0, 0.0
        for _ in range(octaves):
            total += np.float32(weight) * self._lattice(cell_x, cell_y)
            sum_weight += weight
            weight, cell_x, cell_y = weight / 2, cell_x / 2, cell_y / 2
            if min(cell_x, cell_y) * self.height < 1:
                break
        return total / np.float32(sum_weight)

    def _lattice(self, cell_x: float, cell_y: float) -> np.ndarray:
        rows, columns = int(1 / cell_y) + 3, int(self.aspect / cell_x) + 3
        grid = self.rng.random((rows, columns), np.float32)
        y, x = np.arange(self.height) / self.height / cell_y, np.arange(self.width)
        x = x / self.height / cell_x
        iy, ix = y.astype(int), x.astype(int)
        fy, fx = (y - iy)[:, None], x - ix
        fy, fx = (fy * fy * (3 - 2 * fy)).astype("f4"), (fx * fx * (3 - 2 * fx)).astype("f4")
        low = grid[iy] * (1 - fy) + grid[iy + 1] * fy
        return low[:, ix] * (1 - fx) + low[:, ix + 1] * fx

    def veil(self, mask: np.ndarray, colour: Colour) -> None:
        """Blend `colour` over the canvas where `mask` (0..1) says so."""
        mask = mask[..., None].astype(np.float32)
        self.rgb += mask * (np.array(colour, np.float32) - self.rgb)

    def roughen(self, top: float, bottom: float, cell: tuple[float, float], depth: float) -> None:
        """Multiply the rows by noise of mean 1 and the given depth: the grain of a surface."""
        first, last = self._row(top), self._row(bottom)
        texture = 1 + depth * (self.noise(*cell)[first:last] - 0.5) * 2
        self.rgb[first:last] *= texture[..., None].astype(np.float32)

    # ---- shapes ------------------------------------------------------------------------
    def poly(self, points: Points, colour: Colour, opacity: float = 1.0) -> None:
        scale = self.height * _FINE
        fine = np.round(np.array(points) * scale).astype(int)
        left, top = fine.min(axis=0) // _FINE
        right, bottom = fine.max(axis=0) // _FINE + 1
        left, top = max(left, 0), max(top, 0)
        right, bottom = min(right, self.width), min(bottom, self.height)
        if right <= left or bottom <= top:
            return
        mask = np.zeros(((bottom - top) * _FINE, (right - left) * _FINE), np.uint8)
        cv2.fillPoly(mask, [(fine - (left * _FINE, top * _FINE)).astype(np.int32)], 1)
        cover = mask.reshape(bottom - top, _FINE, right - left, _FINE).sum(axis=(1, 3))
        alpha = (cover * (opacity / _FINE**2)).astype(np.float32)[..., None]
        part = self.rgb[top:bottom, left:right]
        part += alpha * (np.array(colour, np.float32) - part)

    def box(self, x: float, y: float, w: float, h: float, colour: Colour, a: float = 1.0) -> None:
        self.poly([(x, y), (x + w, y), (x + w, y + h), (x, y + h)], colour, a)

    def line(
        self, a: tuple[float, float], b: tuple[float, float], width: float, colour: Colour
    ) -> None:
        """Draw a line; thinner than a pixel it fades instead of vanishing."""
        least = 1.0 / self.height
        opacity = min(1.0, width / least)
        width = max(width, least)
        dx, dy = b[0] - a[0], b[1] - a[1]
        length = math.sqrt(dx * dx + dy * dy) or 1.0
        nx, ny = -dy / length * width / 2, dx / length * width / 2
        corners = [(a[0] + nx, a[1] + ny), (b[0] + nx, b[1] + ny)]
        corners += [(b[0] - nx, b[1] - ny), (a[0] - nx, a[1] - ny)]
        self.poly(corners, colour, opacity)

    def oval(
        self, x: float, y: float, rx: float, ry: float, colour: Colour, a: float = 1.0
    ) -> None:
        turn = [2 * math.pi * step / 40 for step in range(40)]
        self.poly([(x + rx * math.cos(t), y + ry * math.sin(t)) for t in turn], colour, a)

    def glow(self, x: float, y: float, radius: float, colour: Colour) -> None:
        """Add the halo of a light."""
        reach = int(radius * 7 * self.height)
        cx, cy = int(x * self.height), int(y * self.height)
        rows = slice(max(cy - reach, 0), max(min(cy + reach, self.height), 0))
        columns = slice(max(cx - reach, 0), max(min(cx + reach, self.width), 0))
        yy = np.arange(self.height)[rows, None] / self.height - y
        xx = np.arange(self.width)[columns] / self.height - x
        far = (xx * xx + yy * yy) / (radius * radius)
        fade = np.maximum(1 / ((1 + far) * (1 + far)) - 1 / 2500, 0).astype(np.float32)
        self.rgb[rows, columns] += fade[..., None] * np.array(colour, np.float32)

    def mirror(self, horizon: float, bottom: float, dim: Colour, wave: float) -> None:
        """Turn the rows under `horizon` into water that reflects what stands above it."""
        first, last = self._row(horizon), self._row(bottom)
        count = last - first
        depth = (np.arange(count) + 0.5) / count
        ripple = self.noise(0.10, 0.008, 3)[first:last] - 0.5
        fine = self.noise(0.025, 0.004, 2)[first:last] - 0.5
        shift = (ripple + 0.5 * fine) * (wave * self.height * (0.15 + depth[:, None]))
        rows = first - 1 - np.arange(count)[:, None] * 0.9 + shift * 2
        rows = np.clip(rows, 0, first - 1).astype(int)
        columns = np.clip(np.arange(self.width) + (shift * 0.3).astype(int), 0, self.width - 1)
        seen = self.rgb[rows, columns]
        glint = 1 + 0.7 * (ripple + fine)
        self.rgb[first:last] = seen * np.array(dim, np.float32) * glint[..., None].astype("f4")

    def haze(self, colour: Colour, amount: float) -> None:
        self.rgb += np.float32(amount) * (np.array(colour, np.float32) - self.rgb)

    def soften(self, radius_px: int) -> None:
        """Blur a little, as a lens does: a box of 2 radius + 1 pixels, twice."""
        for _ in range(2):
            for axis in (0, 1):
                self.rgb = _box_mean(self.rgb, radius_px, axis)

    def _row(self, y: float) -> int:
        return min(max(round(y * self.height), 0), self.height)


def _box_mean(values: np.ndarray, radius: int, axis: int) -> np.ndarray:
    if radius < 1:
        return values
    pad = [(0, 0)] * values.ndim
    pad[axis] = (radius, radius)
    wide = np.pad(values, pad, mode="edge")
    size = values.shape[axis]
    total = np.zeros_like(values)
    for start in range(2 * radius + 1):
        total += wide[start : start + size] if axis == 0 else wide[:, start : start + size]
    return total * np.float32(1 / (2 * radius + 1))
