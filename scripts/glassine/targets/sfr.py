"""Spatial frequency response from a slanted edge (ISO 12233:2014, e-SFR, 6.2.4 to 6.2.5).

The steps of the standard: linear signal in; the edge located row by row as the centroid of
the derivative and fitted by a curve; the rows projected along the edge into bins of a quarter
pixel; derivative by the [-1/2, 0, 1/2] kernel; a window; modulus of the DFT, normalised at zero;
correction for the derivative and for the width of the bins.

Frequencies are in cycles per pixel along the edge's normal. A region is a 2-D float array whose
edge runs within 30 degrees of vertical (transpose it for the other kind: `edge_response` does).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

# ISO 12233: four bins a pixel.
OVERSAMPLING = 4
# Degree of the curve fitted to the edge; the third follows the bow that a lens gives a
# straight edge (ISO 12233:2023 allows up to the fifth; value from memory).
EDGE_DEGREE = 3
# Contrast below which an edge says nothing: difference of the two sides over their sum.
MIN_CONTRAST = 0.05
MIN_ROWS = 20
MIN_HALF_WIDTH_PX = 6.0
# The response is reported up to this frequency; above the sampling frequency it means nothing.
MAX_FREQUENCY = 1.0
# Window about the edge: (px, multiples of the 10-90 % distance) up to where it is flat, and
# where it ends; chosen by trial on edges with noise. An edge that overshoots was sharpened,
# and the halo of sharpening is wider than the edge.
WINDOW = ((2.0, 1.2), (5.0, 2.5))
WINDOW_HALO = ((5.0, 2.0), (12.0, 4.0))
HALO_OVERSHOOT = 0.02
# A pixel this many times the usual spread away from its bin's mean is dust, not edge.
STRAY = 6.0


class EdgeUnusable(ValueError):
    """The region holds no edge that can be measured; the text says why, for a person."""


@dataclass(frozen=True)
class EdgeResponse:
    """SFR of one edge in one channel.

    frequency: cycles per pixel, rising from 0; modulation: SFR there (1 at 0).
    sfr50, sfr10: frequency where the response falls through 0.5 and 0.1 (None: not below
    MAX_FREQUENCY). half_sampling: SFR at 0.5 cycles per pixel. peak: the largest SFR.
    angle_deg: the edge against the nearest axis. position: of the edge at the middle row,
    in px from the region's left outer border. rise_px: 10 to 90 % distance.
    residual_px: rms of the row centroids about the fitted curve.
    """

    frequency: tuple[float, ...]
    modulation: tuple[float, ...]
    sfr50: float | None
    sfr10: float | None
    half_sampling: float
    peak: float
    angle_deg: float
    position: float
    rise_px: float
    contrast: float
    residual_px: float
    overshoot: float


def _levels(region: Array) -> tuple[float, float]:
    """Return the signal left and right of the edge, from the outer fifth of the columns."""
    width = max(2, region.shape[1] // 5)
    return float(np.median(region[:, :width])), float(np.median(region[:, -width:]))


def _centroids(region: Array, centre: Array, half_width: float) -> Array:
    """Return the edge's x (pixel index of centres) in each row.

    The centroid of the derivative, weighed by a cosine bell about `centre`: far columns hold
    noise only.
    """
    slope = np.gradient(region, axis=1)
    columns = np.arange(region.shape[1], dtype=float)
    offset = (columns[None, :] - centre[:, None]) / half_width
    bell = np.where(np.abs(offset) < 1, 0.5 + 0.5 * np.cos(np.pi * offset), 0.0)
    weighed = slope * bell
    total = weighed.sum(axis=1)
    scale = np.median(np.abs(total))
    total = np.where(np.abs(total) < 0.2 * scale + 1e-30, np.nan, total)
    return np.asarray((weighed * columns).sum(axis=1) / total)


def _fit(rows: Array, found: Array, degree: int) -> tuple[npt.NDArray[np.float64], float]:
    """Return polynomial coefficients (highest first) of x over y and the rms residual."""
    good = np.isfinite(found)
    for _ in range(3):
        if good.sum() < MIN_ROWS // 2:
            raise EdgeUnusable("the edge could be followed in too few rows")
        curve = np.polyfit(rows[good], found[good], degree)
        residual = found - np.polyval(curve, rows)
        spread = 1.4826 * float(np.median(np.abs(residual[good]))) + 1e-6
        good = np.isfinite(found) & (np.abs(residual) < 4 * spread)
    return curve, float(np.sqrt(np.mean(residual[good] ** 2)))


def _edge_curve(region: Array, degree: int) -> tuple[npt.NDArray[np.float64], float]:
    height, width = region.shape
    rows = np.arange(height, dtype=float) - (height - 1) / 2
    # First guess: where the smoothed row crosses half way.
    left, right = _levels(region)
    rising = (region - left) / (right - left)
    guess = width - 0.5 - rising.sum(axis=1)
    curve, _ = _fit(rows, guess, 1)
    for half_width, order in ((width / 2, 1), (12.0, 1), (8.0, degree), (8.0, degree)):
        centre = np.polyval(curve, rows)
        curve, residual = _fit(rows, _centroids(region, centre, half_width), order)
    return curve, residual


def _distances(shape: tuple[int, ...], curve: npt.NDArray[np.float64]) -> Array:
    """Return how far each pixel's centre lies from the edge along its normal, px."""
    rows = np.arange(shape[0], dtype=float) - (shape[0] - 1) / 2
    lean = np.sqrt(1 + np.polyval(np.polyder(curve), rows) ** 2)
    columns = np.arange(shape[1], dtype=float)
    return np.asarray((columns[None] - np.polyval(curve, rows)[:, None]) / lean[:, None])


def _profile(region: Array, curve: npt.NDArray[np.float64], half_width: float) -> Array:
    """Return the edge spread function, OVERSAMPLING bins a pixel, centred on the edge.

    Pixels that stand out from their bin (dust, a scratch) are left out in a second round.
    """
    distance = _distances(region.shape, curve)
    count = 2 * int(half_width * OVERSAMPLING)
    place = np.floor(distance * OVERSAMPLING + count / 2).astype(np.int64)
    inside = (place >= 0) & (place < count)
    index, values, distance = place[inside], region[inside], distance[inside]
    profile = _binned(index, values, distance, count)
    wanted = (np.arange(count) + 0.5 - count / 2) / OVERSAMPLING
    away = np.abs(values - np.interp(distance, wanted, profile))
    spread = 1.4826 * float(np.median(away)) + 0.01 * float(np.ptp(profile))
    clean = away < STRAY * spread
    if clean.all() or not clean.any():
        return profile
    return _binned(index[clean], values[clean], distance[clean], count)


def _binned(index: npt.NDArray[np.int64], values: Array, distance: Array, count: int) -> Array:
    number = np.bincount(index, minlength=count).astype(float)
    if (number == 0).sum() > count // 8:
        raise EdgeUnusable("the edge lies too straight along the pixels (less than 1 degree)")
    filled = number > 0
    total = np.bincount(index, weights=values, minlength=count)
    centre = np.bincount(index, weights=distance, minlength=count)
    wanted = (np.arange(count) + 0.5 - count / 2) / OVERSAMPLING
    # The samples of a bin are not spread evenly over it: their mean distance is known, so the
    # mean is moved to the bin's centre along the local slope.
    mean = np.interp(wanted, wanted[filled], total[filled] / number[filled])
    at = np.interp(wanted, wanted[filled], centre[filled] / number[filled])
    return np.asarray(mean + (wanted - at) * np.gradient(mean, wanted))


def _rise(profile: Array) -> tuple[float, float]:
    """Return the 10-90 % distance in px and the overshoot as a share of the step."""
    outer = max(2, len(profile) // 8)
    low, high = float(np.mean(profile[:outer])), float(np.mean(profile[-outer:]))
    unit = (profile - low) / (high - low)
    middle = int(np.argmin(np.abs(unit - 0.5)))
    left = middle - int(np.argmax(unit[middle::-1] <= 0.1))
    right = middle + int(np.argmax(unit[middle:] >= 0.9))
    over = max(float(unit.max()) - 1.0, -float(unit.min()))
    return max(1, right - left) / OVERSAMPLING, max(0.0, over)


def _crossing(frequency: Array, modulation: Array, level: float) -> float | None:
    below = np.nonzero(modulation < level)[0]
    if not len(below) or below[0] == 0:
        return None
    right = int(below[0])
    # On a logarithmic scale the fall of a lens is close to a parabola, of a Gaussian exactly so.
    high, low = np.log(modulation[right - 1]), np.log(max(modulation[right], 1e-6))
    share = (high - np.log(level)) / (high - low)
    return float(frequency[right - 1] + share * (frequency[right] - frequency[right - 1]))


def edge_response(region: Array) -> EdgeResponse:
    """Return the response of the one near-vertical edge in `region` (linear signal, 2-D).

    Raises EdgeUnusable where there is no edge with contrast across the whole height.
    """
    region = np.asarray(region, dtype=float)
    if region.ndim != 2 or region.shape[0] < MIN_ROWS or region.shape[1] < 2 * MIN_HALF_WIDTH_PX:
        raise EdgeUnusable(f"the region is too small ({region.shape[1]} x {region.shape[0]} px)")
    left, right = _levels(region)
    contrast = abs(right - left) / max(abs(right) + abs(left), 1e-12)
    if contrast < MIN_CONTRAST:
        raise EdgeUnusable(f"the contrast across the edge is only {contrast:.3f}")
    curve, residual = _edge_curve(region, EDGE_DEGREE)
    middle = float(curve[-1])
    reach = float(np.ptp(np.polyval(curve, [-region.shape[0] / 2, region.shape[0] / 2]))) / 2
    room = min(middle, region.shape[1] - 1 - middle) - reach
    if room < MIN_HALF_WIDTH_PX:
        raise EdgeUnusable("the edge comes too close to the border of its region")
    half_width = room
    profile = _profile(region, curve, half_width)
    rise, overshoot = _rise(profile)
    frequency, modulation = _transform(profile, _window(len(profile), rise, overshoot))
    return EdgeResponse(
        frequency=tuple(frequency.tolist()),
        modulation=tuple(modulation.tolist()),
        sfr50=_crossing(frequency, modulation, 0.5),
        sfr10=_crossing(frequency, modulation, 0.1),
        half_sampling=float(np.interp(0.5, frequency, modulation)),
        peak=float(modulation[frequency <= 0.5].max()),
        angle_deg=float(np.degrees(np.arctan(curve[-2]))),
        position=middle + 0.5,
        rise_px=rise,
        contrast=contrast,
        residual_px=residual,
        overshoot=overshoot,
    )


def _window(count: int, rise: float, overshoot: float) -> Array:
    """Return weights about the edge: 1 near it, falling by a cosine to 0 some widths away.

    The standard's window (Hamming's, over the whole region) narrows a wide edge and so
    raises its response, and lets the noise of the far columns in; a flat middle with soft
    ends does neither. `rise` is the 10-90 % distance in px.
    """
    distance = np.abs(np.arange(count) + 0.5 - count / 2) / OVERSAMPLING
    reach = WINDOW_HALO if overshoot > HALO_OVERSHOOT else WINDOW
    flat, end = (max(least, times * rise) for least, times in reach)
    end = min(end, count / 2 / OVERSAMPLING)
    flat = min(flat, 0.6 * end)
    ramp = np.clip((distance - flat) / (end - flat), 0, 1)
    return np.asarray(0.5 + 0.5 * np.cos(np.pi * ramp))


def _transform(profile: Array, window: Array) -> tuple[Array, Array]:
    """Return frequency and corrected modulation of an edge spread function."""
    spread = np.zeros_like(profile)
    spread[1:-1] = (profile[2:] - profile[:-2]) / 2
    count = len(spread)
    spread = spread * window
    padded = 1 << (4 * count - 1).bit_length()
    modulus = np.abs(np.fft.rfft(spread, padded))
    frequency = np.fft.rfftfreq(padded, 1 / OVERSAMPLING)
    wanted = frequency <= MAX_FREQUENCY
    frequency, modulus = frequency[wanted], modulus[wanted]
    turn = 2 * np.pi * frequency / OVERSAMPLING
    with np.errstate(invalid="ignore", divide="ignore"):
        derivative = np.where(turn > 0, turn / np.sin(turn), 1.0)
    bins = np.sinc(frequency / OVERSAMPLING)
    return np.asarray(frequency), np.asarray(modulus / modulus[0] * derivative / bins)
