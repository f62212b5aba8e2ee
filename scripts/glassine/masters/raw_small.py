"""A raw file as a picture before it is developed: to read codes, and to tell a sleeve from film.

For the look each square of Bayer's pattern becomes one pixel: half the sides, and no colours made
up; levels are the sensor's over its black level, balanced as the camera was. Codes are read in the
sites as they lie, each colour scaled so that the lightest of the picture, mostly paper, is alike in
all: of black print on paper that is a grey picture of full size, in which as many drawn codes were
read as in a TIFF (14 of 14 of two pixels a module; in the green, filled in, 11; in squares, 8).
Fall-off of lens and table stays.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from glassine.masters import raws
from glassine.masters.raws import Raw


def read(path: Path, max_pixels: int) -> npt.NDArray[np.uint16]:
    """Return the picture, (h, w, 3), linear, 65535 at the sensor's white level. Raises as
    `raws.read`."""
    return of(raws.read(path, max_pixels))


def of(raw: Raw) -> npt.NDArray[np.uint16]:
    """Return the picture of a decoded raw file, see `read`; of a linear raw all its pixels."""
    balance = np.array(raw.balance or (1.0, 1.0, 1.0))
    gains = 65535.0 * balance / balance.max()
    if raw.pattern is None:
        return _levels(raw.sensor, raw.black[0], raw.white, gains)
    height, width = (side // 2 for side in raw.sensor.shape[:2])
    out = np.empty((height, width, 3), np.uint16)
    for colour in range(3):
        squares = [
            _levels(
                raw.sensor[down : 2 * height : 2, across : 2 * width : 2],
                raw.black[down, across],
                raw.white,
                gains[colour],
            )
            for down, across in np.argwhere(raw.pattern == colour).tolist()
        ]
        # The mean of two greens: halves are added, so that 16 bits hold them.
        out[..., colour] = squares[0] if len(squares) == 1 else sum(each >> 1 for each in squares)
    return out


# Percentile of a colour's sites that is taken for the lightest, and of how many they are counted.
_LIGHTEST, _EVERY = 99.5, 4
# Code that it gets: what is lighter still has room.
_AT_LIGHTEST = 60_000.0
# A colour whose lightest is less than this share of the range has no light to scale.
_LEAST = 1e-3


def grey_of(raw: Raw) -> npt.NDArray[np.uint16]:
    """Return the sites of a decoded raw file as a grey picture, (h, w), linear; of a linear raw its
    green."""
    if raw.pattern is None:
        return np.ascontiguousarray(of(raw)[..., 1])
    height, width = (side // 2 * 2 for side in raw.sensor.shape[:2])
    out = np.empty((height, width), np.uint16)
    for place in range(4):
        down, across = divmod(place, 2)
        samples, black = raw.sensor[down:height:2, across:width:2], float(raw.black[down, across])
        few = np.percentile(samples[::_EVERY, ::_EVERY], _LIGHTEST)
        level = max((float(few) - black) / (raw.white - black), _LEAST)
        out[down::2, across::2] = _levels(samples, black, raw.white, _AT_LIGHTEST / level)
    return out


def _levels(
    samples: npt.NDArray[np.uint16],
    black: npt.NDArray[np.float64] | float,
    white: float,
    gains: npt.NDArray[np.float64] | float,
) -> npt.NDArray[np.uint16]:
    """Return samples from black to white as 0 to `gains`."""
    light = samples.astype(np.float32)
    light -= np.asarray(black, np.float32)
    light *= np.asarray(gains / (white - np.asarray(black)), np.float32)
    np.clip(light, 0, 65535, out=light)
    return np.asarray(light.astype(np.uint16))
