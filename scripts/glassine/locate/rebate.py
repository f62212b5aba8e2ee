"""The margins of 35 mm film beyond its perforations, straightened along a piece of it.

What is printed there by light when film is made (numbers, words, bar codes) is read from a band
that runs along the film as its frames lie, at the resolution that a bar code needs and no more.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import film, processor
from glassine.locate.encoding import linear
from glassine.locate.scene import Master
from glassine.locate.shapes import Doubles
from glassine.locate.view import Floats, View

# Of a straightened band, px per mm: a module of a code (0.45 mm) is nine of them wide.
PX_PER_MM = 20.0
# From the film's middle line to where a band begins, in the perforations, and ends, beyond the edge
# of film whose frames lie by half a millimetre off its middle (common practice, no source).
INNER_MM, OUTER_MM = 14.5, film.FILM_135.width_mm / 2 + 0.7
# The master is read in parts so long (mm): a tilted strip then needs little of what is beside it.
_PART_MM = 40.0
# The least light that counts (density 3.5).
_DARKEST = 10**-3.5


@dataclass(frozen=True)
class Piece:
    """A piece of 35 mm film. middle: a point on the line midway between its edges, master px;
    along: unit vector of that line; mm: master px per mm; low, high: from where to where along the
    line, in mm from `middle`, it is read; frames: numbers of those on it; places: where along the
    line the centre of each lies, mm.
    """

    middle: Doubles
    along: Doubles
    mm: float
    low: float
    high: float
    frames: tuple[int, ...]
    places: tuple[float, ...]

    def point(self, side: int, along_mm: float, out_mm: float) -> Doubles:
        """Return the point (master px) of a side's own axes, see `Band`."""
        across = np.array([-self.along[1], self.along[0]])
        return np.asarray(
            self.middle + side * self.mm * (along_mm * self.along + out_mm * across), np.float64
        )


@dataclass(frozen=True)
class Band:
    """One margin of a piece: rows run from within the perforations outwards, columns along the film
    so that outwards is down: the other margin (side -1) is turned by half a turn, never mirrored.

    density: (rows, columns, 1 or 3), from `start` mm along the piece (of the side's own axis) on.
    """

    side: int
    start: float
    density: Floats

    def place(self, column: float) -> float:
        """Return where along the side's own axis a column lies, mm."""
        return self.start + column / PX_PER_MM


def rough(view: View, piece: Piece, side: int) -> Band:
    """Return a margin by the reduced copy."""
    start, columns, rows = _extent(piece, side)
    matrix = _to_master(piece, side, start) / view.reduction
    return Band(side, start, _warped(view.v, matrix, columns, rows))


def fine(master: Master, white: float, piece: Piece, side: int) -> Band:
    """Return a margin by the master's own pixels. white: linear light of the brightest."""
    start, columns, rows = _extent(piece, side)
    whole = _to_master(piece, side, start)
    part = round(_PART_MM * PX_PER_MM)
    parts = []
    for first in range(0, columns, part):
        wide = min(part, columns - first)
        own = np.c_[whole[:, :2], whole[:, 2] + first * whole[:, 0]]
        parts.append(_part(master, own, wide, rows, piece.mm))
    light = np.concatenate(parts, axis=1) / np.float32(white)
    return Band(side, start, _density(light))


def _extent(piece: Piece, side: int) -> tuple[float, int, int]:
    """Return where a band begins (mm, own axis), and its columns and rows."""
    start = piece.low if side > 0 else -piece.high
    columns = max(1, round((piece.high - piece.low) * PX_PER_MM))
    return start, columns, round((OUTER_MM - INNER_MM) * PX_PER_MM)


def _to_master(piece: Piece, side: int, start: float) -> Doubles:
    """Return 2 x 3 from band px (corner origin) to master px."""
    origin = piece.point(side, start, INNER_MM)
    across = np.array([-piece.along[1], piece.along[0]])
    step = side * piece.mm / PX_PER_MM
    return np.asarray(np.c_[step * piece.along, step * across, origin], np.float64)


def _warped(light: Floats, matrix: Doubles, columns: int, rows: int) -> Floats:
    """Return the band. matrix: 2 x 3 from band px to px of `light`, both with corner origin."""
    half = np.array([0.5, 0.5])
    shifted = np.c_[matrix[:, :2], matrix[:, 2] + matrix[:, :2] @ half - half]
    how = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    made = cv2.warpAffine(
        light, shifted, (columns, rows), flags=how, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(made.reshape(rows, columns, -1), np.float32)


def _part(master: Master, matrix: Doubles, columns: int, rows: int, mm: float) -> Floats:
    corners = np.array([(0, 0), (columns, 0), (columns, rows), (0, rows)], np.float64)
    reached = corners @ matrix[:, :2].T + matrix[:, 2]
    by = max(1, int(mm / PX_PER_MM))
    low = np.clip(np.floor(reached.min(0)) - by, 0, (master.width - 1, master.height - 1))
    high = np.clip(np.ceil(reached.max(0)) + by, low + 1, (master.width, master.height))
    left, top = int(low[0]), int(low[1])
    pixels = master.region(left, top, int(high[0]) - left, int(high[1]) - top)
    height, width = (max(1, size // by) for size in pixels.shape[:2])
    used: npt.NDArray[Any] = np.ascontiguousarray(pixels[: height * by, : width * by])
    if by > 1 and min(pixels.shape[:2]) >= by:
        used = cv2.resize(used, (width, height), interpolation=cv2.INTER_AREA)
    light = linear(used.reshape(*used.shape[:2], -1), master.table)
    own = np.c_[matrix[:, :2], matrix[:, 2] - (left, top)] / by
    return _warped(light, own, columns, rows)


def _density(light: Floats) -> Floats:
    return -processor.log10(np.maximum(light, np.float32(_DARKEST)))
