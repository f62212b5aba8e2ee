"""How even the field is: fall-off of the light, and bands across it.

A field is a capture of the bare light table (or an even sheet) by the same rig.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.records.target import PlacedValue
from glassine.targets import colour
from glassine.targets.capture import Capture
from glassine.targets.colour import Array
from glassine.targets.sampling import Reading

# Blocks along the long side into which the field is averaged.
BLOCKS = 96
# Parts of a block along a side, in which pixels at full scale are looked for.
FINE = 8
# Degree of the surface that stands for the light: lamps and lenses are smooth.
DEGREE = 4
# Width of the strips in which bands are sought, px.
STRIP_PX = 512
# Periods of bands, px; longer ones are fall-off, and a strip must hold four.
MIN_PERIOD_PX = 2.0
MAX_PERIOD_SHARE = 0.25
# Share of a field at full scale from which nothing is told from it.
MAX_CLIPPED = 0.001


@dataclass(frozen=True)
class Evenness:
    """nonuniformity: 100 (1 - darkest / brightest). deviation: 100 standard deviation / mean.
    lightness: largest difference of L*. residual: largest departure of a block from the smooth
    surface, in % (dust, a mark on the glass). falloff: map of light, brightest = 1, for a plot.
    """

    nonuniformity: float
    deviation: float
    lightness: float
    residual: float
    darkest_at: tuple[float, float]
    falloff: list[list[float]]


def _blocks(values: npt.NDArray[Any], side: int) -> npt.NDArray[Any]:
    """Return the means over squares of `side`; what fills no square at the end is left out."""
    rows, columns = (length // side for length in values.shape[:2])
    whole = values[: rows * side, : columns * side]
    return np.asarray(whole.reshape(rows, side, columns, side, -1).mean(axis=(1, 3)))


def _clipped(codes: npt.NDArray[Any], side: int, full: int) -> float:
    """Return the share of squares all of whose pixels are at full scale in some channel.

    Single pixels that noise lifts there do not count.
    """
    return float((_blocks(codes, side) >= full - 0.5).any(axis=2).mean())


def _terms(x: Array, y: Array) -> Array:
    return np.stack(
        [x**i * y**j for i in range(DEGREE + 1) for j in range(DEGREE + 1 - i)], axis=-1
    )


def evenness(capture: Capture) -> Evenness | float:
    """Return how even a field capture is, by a smooth surface through its block means.

    The surface is evaluated out to the borders of the picture, where blocks only average.
    A field that is clipped hides fall-off and bands: its share at full scale comes instead.
    """
    fine = max(1, -(-max(capture.width, capture.height) // (FINE * BLOCKS)))
    small = capture.shrunk(fine)
    clipped = _clipped(small, max(1, 4 // fine), 65535 if capture.bits == 16 else 255)
    if capture.sensor is not None:
        clipped = max(clipped, float(capture.sensor.at_white.mean()))
    if clipped > MAX_CLIPPED:
        return clipped
    codes = _blocks(small, FINE)
    factor = fine * FINE
    kind = np.uint16 if capture.bits == 16 else np.uint8
    light = capture.encoding.linear(np.round(codes).astype(kind)).astype(float) @ capture.weights
    rows, columns = light.shape
    # Whole blocks may not fill the picture: positions are in its own borders, -1 to 1.
    x = 2 * (np.arange(columns) + 0.5) * factor / capture.width - 1
    y = 2 * (np.arange(rows) + 0.5) * factor / capture.height - 1
    inside_x, inside_y = x < 1, y < 1
    light, x, y = light[np.ix_(inside_y, inside_x)], x[inside_x], y[inside_y]
    surface = _surface(light, x, y)
    edge_x = np.concatenate([[-1.0], x, [1.0]])
    edge_y = np.concatenate([[-1.0], y, [1.0]])
    smooth = _terms(*np.meshgrid(edge_x, edge_y)) @ surface
    steady = cv2.medianBlur(light.astype(np.float32), 3)
    low, high = (
        min(float(smooth.min()), float(steady.min())),
        max(float(smooth.max()), float(steady.max())),
    )
    inner = _terms(*np.meshgrid(x, y)) @ surface
    darkest = np.unravel_index(int(np.argmin(smooth)), smooth.shape)
    return Evenness(
        nonuniformity=100 * (1 - low / max(high, 1e-9)),
        deviation=100 * float(light.std() / max(light.mean(), 1e-9)),
        lightness=float(colour.lightness(high) - colour.lightness(low)),
        residual=100 * float(np.abs(light / np.clip(inner, 1e-9, None) - 1).max()),
        darkest_at=(float(edge_x[darkest[1]]), float(edge_y[darkest[0]])),
        falloff=[[round(float(v / high), 5) for v in row[::4]] for row in inner[::4]],
    )


def _surface(light: Array, x: Array, y: Array) -> Array:
    """Return the coefficients of the surface, spots that stand out left aside."""
    terms = _terms(*np.meshgrid(x, y)).reshape(light.size, -1)
    values = light.ravel()
    weight = np.ones_like(values)
    for _ in range(4):
        root = np.sqrt(weight)[:, None]
        coefficients, *_ = np.linalg.lstsq(terms * root, values * root[:, 0], rcond=None)
        away = values - terms @ coefficients
        spread = 1.4826 * float(np.median(np.abs(away))) + 1e-9
        weight = np.where(np.abs(away) < 4 * spread, 1.0, 0.0)
    return np.asarray(coefficients)


def evenness_of_patches(readings: list[Reading]) -> Evenness | None:
    """Return how even the light is over the `flat` patches of a target (None: fewer than 4)."""
    flat = [reading for reading in readings if "flat" in reading.patch.roles]
    if len(flat) < 4:
        return None
    light = np.array([reading.luminance / reading.patch.xyz[1] for reading in flat])
    seen = np.array([reading.luminance for reading in flat])
    brightest = float(seen[int(light.argmax())])
    dark = float(light.min() / light.max())
    return Evenness(
        nonuniformity=100 * (1 - dark),
        deviation=100 * float(light.std() / light.mean()),
        lightness=float(colour.lightness(brightest) - colour.lightness(brightest * dark)),
        residual=0.0,
        darkest_at=flat[int(light.argmin())].patch.at,
        falloff=[],
    )


def banding(capture: Capture) -> list[PlacedValue]:
    """Return the strongest regular band across rows and across columns of a field capture.

    value: from crest to trough, in % of the light; period_px. What even light and noise leave is
    measured the same way, so the value never is 0.
    """
    bands = []
    width, height = min(STRIP_PX, capture.width), min(STRIP_PX, capture.height)
    upright = capture.strip((capture.width - width) // 2, width)
    level = capture.light(0, (capture.height - height) // 2, capture.width, height)
    weights = capture.weights
    for name, profile in (
        ("rows", (upright @ weights).mean(axis=1, dtype=float)),
        ("columns", (level @ weights).mean(axis=0, dtype=float)),
    ):
        value, period = strongest_band(profile)
        bands.append(PlacedValue(where=name, value=value, period_px=period))
    return bands


def strongest_band(profile: Array) -> tuple[float, float]:
    """Return crest to trough (% of the mean) and period (px) of the strongest regular band."""
    count = len(profile)
    mean = float(profile.mean())
    if count < 32 or mean <= 0:
        return 0.0, 0.0
    place = np.linspace(-1, 1, count)
    smooth = np.polynomial.legendre.legval(place, np.polynomial.legendre.legfit(place, profile, 6))
    rest = (profile - smooth) / mean
    window = np.hanning(count + 2)[1:-1]
    spectrum = np.abs(np.fft.rfft(rest * window, 8 * count)) * 2 / window.sum()
    frequency = np.fft.rfftfreq(8 * count)
    wanted = (frequency >= 1 / (MAX_PERIOD_SHARE * count)) & (frequency <= 1 / MIN_PERIOD_PX)
    best = int(np.argmax(np.where(wanted, spectrum, 0)))
    return 200 * float(spectrum[best]), float(1 / frequency[best])
