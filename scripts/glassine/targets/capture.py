"""A capture as light: regions of a master in linear light, and a small copy to look at."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from glassine.base.records.parts import Header
from glassine.masters import colour, opening
from glassine.masters.colour import D50
from glassine.targets.colour import Array

Codes = npt.NDArray[Any]
Light = npt.NDArray[np.float32]

# Long edge of the reduced copy in which the target is sought.
SMALL_PX = 1600
# Channel weights where the master is grey, or its profile says nothing of luminance.
GREY = np.array([1.0])


@dataclass(frozen=True)
class Sensor:
    """What the sensor of a raw capture says that its developed picture no longer does.

    bits: of its range. middle: samples of the picture's middle, (h, w, places of the pattern).
    at_white: (h, w) of the picture, where a site of the pattern's square stood at its white level.
    """

    bits: int
    middle: npt.NDArray[np.uint16]
    at_white: npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Capture:
    """An opened master; regions are (left, top, width, height) in px, read when asked for.

    plain: whether the file is uncompressed, and is read anew for each region; else it is held
    in memory. sensor: of a raw capture, which was developed before.
    """

    path: Path
    image: Any
    encoding: colour.Encoding
    header: Header
    plain: bool
    sensor: Sensor | None = None

    @property
    def width(self) -> int:
        return int(self.image.width)

    @property
    def height(self) -> int:
        return int(self.image.height)

    @property
    def bands(self) -> int:
        return int(self.image.bands)

    @property
    def bits(self) -> int:
        return 16 if self.image.format == "ushort" else 8

    @cached_property
    def to_xyz(self) -> Array:
        """Matrix (3, bands): linear light to XYZ of D50, Y = 1 at full scale."""
        if self.bands == 1:
            return np.asarray(D50[:, None])
        return np.asarray(colour.srgb_matrix() @ self.encoding.matrix)

    @cached_property
    def weights(self) -> Array:
        """Share of each channel in luminance."""
        return GREY if self.bands == 1 else np.asarray(self.to_xyz[1])

    def codes(self, left: int, top: int, width: int, height: int) -> Codes:
        """Return the stored values (height, width, bands) of a region inside the master."""
        with opening.decoding(self.path):
            found = self.image.crop(left, top, width, height).numpy()
        return np.asarray(found).reshape(height, width, self.bands)

    def clipped(self, left: int, top: int, codes: Codes) -> float:
        """Return the share of a region's pixels that hold no more light: of `codes` (h, w, bands)
        that were read at `left`, `top`."""
        full = (codes >= (65535 if self.bits == 16 else 255)).any(axis=2)
        if self.sensor is not None:
            height, width = full.shape
            full = full | self.sensor.at_white[top : top + height, left : left + width]
        return float(full.mean())

    def light(self, left: int, top: int, width: int, height: int) -> Light:
        """Return linear light (height, width, bands), 1 at full scale."""
        return self.encoding.linear(self.codes(left, top, width, height))

    def within(self, centre: Array, width: float, height: float) -> tuple[int, int, int, int]:
        """Return the upright region about `centre` (px), cut at the master's borders."""
        left = max(0, round(float(centre[0]) - width / 2))
        top = max(0, round(float(centre[1]) - height / 2))
        right = min(self.width, round(float(centre[0]) + width / 2))
        bottom = min(self.height, round(float(centre[1]) + height / 2))
        return left, top, max(0, right - left), max(0, bottom - top)

    def _whole(self) -> Any:
        """Return the image for one way from top to bottom: a third of the cost of random access."""
        return opening.open_image(self.path) if self.plain else self.image

    def strip(self, left: int, width: int) -> Light:
        """Return linear light (height, width, bands) of an upright strip of full height."""
        with opening.decoding(self.path):
            found = np.asarray(self._whole().crop(left, 0, width, self.height).numpy())
        return self.encoding.linear(found.reshape(self.height, width, self.bands))

    def shrunk(self, factor: int) -> Codes:
        """Return mean codes over squares of `factor` px (float32, bands last)."""
        whole = self._whole()
        with opening.decoding(self.path):
            small = whole if factor == 1 else whole.shrink(factor, factor)
            found = np.asarray(small.cast("float").numpy())
        return found.reshape(found.shape[0], found.shape[1], self.bands)

    @cached_property
    def small(self) -> tuple[Light, int]:
        """The whole capture in linear light, reduced, and the whole-number factor."""
        factor = max(1, -(-max(self.width, self.height) // SMALL_PX))
        codes = self.shrunk(factor)
        whole = np.round(codes).astype(np.uint16 if self.bits == 16 else np.uint8)
        return self.encoding.linear(whole), factor


def open_capture(path: Path, stated: str | None) -> Capture:
    """Return the capture at `path`. stated: encoding for masters without a profile.

    Raises GlassineError for what is no sound master.
    """
    header = opening.read_header(path)
    opening.prove_pixels(path)
    plain = header.compression == "uncompressed"
    image = opening.open_image(path, access="random" if plain else "sequential")
    if not plain:
        # Regions of a packed file would be unpacked again and again.
        with opening.decoding(path):
            image = image.copy_memory()
    bits = 16 if image.format == "ushort" else 8
    encoding = colour.encoding_of(opening.icc_profile(image), stated, bits, image.bands)
    return Capture(path, image, encoding, header, plain)
