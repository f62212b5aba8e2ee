"""Read the patches of a placed target: mean light, colour and noise of each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glassine.targets import colour
from glassine.targets.capture import Capture, Light
from glassine.targets.colour import Array
from glassine.targets.description import Pair, Patch
from glassine.targets.placement import Placement

# Inner share of a patch that is read: its border is blurred and shaded.
INNER_SHARE = 0.7
# Blur of the border in px that is left out besides.
BORDER_PX = 3.0
# Enough for a standard deviation within 0.3 %.
MAX_SIDE_PX = 256
MIN_SIDE_PX = 6


@dataclass(frozen=True)
class Reading:
    """One patch as captured.

    light: mean linear light per channel, 1 at full scale. xyz: of the mean, Y = 1 at full scale.
    codes: mean stored value per channel. region: (left, top, width, height) read.
    noise: standard deviation of luminance about a tilted plane, linear. noise_lightness: of L*.
    clipped: share of pixels with a channel at its largest value, or at the sensor's.
    """

    patch: Patch
    light: Array
    xyz: Array
    codes: Array
    region: tuple[int, int, int, int]
    noise: float
    noise_lightness: float
    clipped: float

    @property
    def luminance(self) -> float:
        return float(self.xyz[1])


def upright(
    placement: Placement, at: Pair, size: Pair, share: float = 1.0, border: float = 0.0
) -> tuple[Array, float, float, bool]:
    """Return centre, width and height (px) of the upright region inside a box given in mm.

    The last says whether the target's horizontal runs vertically in the master.
    """
    matrix = np.abs(placement.scale(np.array(at)))
    across, down = size[0] * share, size[1] * share
    turned = bool(matrix[1, 0] > matrix[0, 0])
    if turned:
        width = matrix[0, 1] * down - matrix[0, 0] * across
        height = matrix[1, 0] * across - matrix[1, 1] * down
    else:
        width = matrix[0, 0] * across - matrix[0, 1] * down
        height = matrix[1, 1] * down - matrix[1, 0] * across
    centre = placement.pixels(np.array(at))
    return centre, float(width) - 2 * border, float(height) - 2 * border, turned


def read_patches(
    capture: Capture, placement: Placement, patches: tuple[Patch, ...]
) -> tuple[list[Reading], list[str]]:
    """Return the readings, and the names of patches too small or outside the picture."""
    found, unread = [], []
    for patch in patches:
        centre, width, height, _ = upright(placement, patch.at, patch.size, INNER_SHARE, BORDER_PX)
        region = capture.within(centre, min(width, MAX_SIDE_PX), min(height, MAX_SIDE_PX))
        if min(width, height) < MIN_SIDE_PX or min(region[2:]) < MIN_SIDE_PX:
            unread.append(patch.name)
            continue
        found.append(_reading(capture, patch, region))
    return found, unread


def _reading(capture: Capture, patch: Patch, region: tuple[int, int, int, int]) -> Reading:
    codes = capture.codes(*region)
    light = capture.encoding.linear(codes)
    mean = light.reshape(-1, capture.bands).mean(0, dtype=float)
    xyz = capture.to_xyz @ mean
    grey = light @ capture.weights
    return Reading(
        patch=patch,
        light=mean,
        xyz=xyz,
        codes=codes.reshape(-1, capture.bands).mean(0, dtype=float),
        region=region,
        noise=_deviation(grey),
        noise_lightness=_deviation(colour.lightness(grey)),
        clipped=capture.clipped(*region[:2], codes),
    )


def _deviation(values: Light | Array) -> float:
    """Return the standard deviation about the best plane: light that falls off is no noise."""
    height, width = values.shape
    y = np.linspace(-1, 1, height)[:, None]
    x = np.linspace(-1, 1, width)[None, :]
    flat = np.asarray(values, dtype=float)
    rest = flat - flat.mean()
    # x, y and 1 are orthogonal on an even grid: each slope is found by itself.
    rest = rest - x * ((rest * x).sum() / (np.square(x).sum() * height))
    rest = rest - y * ((rest * y).sum() / (np.square(y).sum() * width))
    return float(np.sqrt(np.square(rest).sum() / max(1, rest.size - 3)))
