"""Sites that stand at one value whatever light falls on them, as a capture of film shows them.

One that stands near the light of the bare table is no exception in the table's capture. In dense
film it stands out, and no lens draws a point so: the sites about it get a share of any light that
is real (of a point blurred by no more than 0.4 px, an eighth each). Without a capture in the dark
nothing else tells of it.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from glassine.develop.flat import Mask
from glassine.develop.mosaic import FULL, OFFSET
from glassine.masters.raws import Sensor

# A site is alone where it is so many times brighter than each that touches it, whatever its colour,
# and so many times than those of its own colour about it.
_TOUCHING, _OWN = 20.0, 4.0
# Least light of such a site, share of full scale: below it noise decides.
_LEAST = 0.02
# How near to the bare table's light a site of red or blue must come, share of it: those that touch
# it have other colours, and may truly be darker. But no dye lets so much of its colour through.
_AT_TABLE = 0.05
# The noise that is let pass for light of the sites about it, codes.
_FLOOR = 8
# Beside a site of this code none can be so many times brighter.
_NEVER = OFFSET + (FULL - OFFSET) / _TOUCHING
# Rows that are looked at together, an even number; they stay in the processor's cache.
_BAND = 64

_TOUCH = np.ones((3, 3), np.uint8)
_TOUCH[1, 1] = 0
_RING = np.zeros((5, 5), np.uint8)
_RING[::2, ::2] = 1
_RING[2, 2] = 0


def found(
    codes: Sensor,
    pattern: npt.NDArray[np.int64],
    table: tuple[float, float, float] | None,
    dead: Mask,
) -> Mask:
    """Return (h, w) which sites stand out so, beside those that are known.

    codes: of a corrected mosaic, see `mosaic`. table: what a site of red, green and blue shows that
    has the sensor's value of the light capture, 1 is full scale; None where it is not known: then
    green sites alone are told. dead: (h, w) those known not to work, of the whole sensor.
    """
    height, width = codes.shape
    mask = np.zeros(dead.shape, bool)
    for top in range(0, height, _BAND):
        bottom = min(top + _BAND, height)
        first, last = max(0, top - 2), min(height, bottom + 2)
        known = dead[first:last, :width]
        part = codes[first:last]
        if known.any():
            part = np.where(known, np.uint16(0), part)
        inner = slice(top - first, bottom - first)
        about = cv2.dilate(part, _TOUCH)[inner]
        if about.min() >= _NEVER:
            continue
        light = part[inner].astype(np.float32) - OFFSET
        touching = about.astype(np.float32) - OFFSET
        own = cv2.dilate(part, _RING)[inner].astype(np.float32) - OFFSET
        alone = (
            (light > _LEAST * (FULL - OFFSET))
            & (light > _TOUCHING * np.maximum(touching, _FLOOR))
            & (light > _OWN * np.maximum(own, _FLOOR))
        )
        alone &= _allowed(light, pattern, table)
        mask[top:bottom, :width] = alone
    return mask


def _allowed(
    light: npt.NDArray[np.float32],
    pattern: npt.NDArray[np.int64],
    table: tuple[float, float, float] | None,
) -> Mask:
    """Return which sites may be told: all of green, of red and blue those as bright as the table.
    light: of rows that begin with an even one."""
    allowed = np.zeros(light.shape, bool)
    for down in (0, 1):
        for across in (0, 1):
            place = (slice(down, None, 2), slice(across, None, 2))
            colour = int(pattern[down, across])
            if colour == 1:
                allowed[place] = True
            elif table is not None:
                level = table[colour] * (FULL - OFFSET)
                allowed[place] = light[place] > (1 - _AT_TABLE) * level
    return allowed
