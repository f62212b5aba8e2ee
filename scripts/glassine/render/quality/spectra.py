"""What the spectra of small pieces tell: grain's sharpness, noise, enlargement."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from glassine.masters import ranks
from glassine.render.quality.patches import Patch

Doubles = npt.NDArray[np.float64]

SIDE = 64
_FY, _FX = np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None, :]
_RADIUS = np.hypot(_FX, _FY)
# Where a lens and a film leave least: what is there is the sensor's noise.
_CORNER = (np.abs(_FY) > 0.38) & (_FX > 0.38)
# Rings of the mean spectrum of quiet pieces, cycles/px.
_RING = 1 / 32
_RINGS = np.arange(2 * _RING, 0.5, _RING)
LEAST_PIECES = 4


def powers(patches: list[Patch], band: int) -> Doubles:
    """Return the power spectra (n, SIDE, SIDE // 2 + 1) of windowed pieces, D^2 a pixel."""
    hann = np.hanning(SIDE + 1)[:SIDE]
    window = np.outer(hann, hann)
    parts = [np.zeros((0, SIDE, SIDE // 2 + 1))]
    for patch in patches:
        density = patch.density[..., band].astype(np.float64)
        down, across = density.shape[0] // SIDE, density.shape[1] // SIDE
        cut = density[: down * SIDE, : across * SIDE].reshape(down, SIDE, across, SIDE)
        pieces = cut.transpose(0, 2, 1, 3).reshape(-1, SIDE, SIDE)
        if len(pieces):
            even = pieces - pieces.mean(axis=(1, 2), keepdims=True)
            parts.append(np.abs(np.fft.rfft2(even * window)) ** 2 / (window**2).sum())
    return np.concatenate(parts)


def places(patches: list[Patch]) -> npt.NDArray[np.intp]:
    """Return of each piece of `powers` the number of its patch."""
    counts = [(p.density.shape[0] // SIDE) * (p.density.shape[1] // SIDE) for p in patches]
    return np.repeat(np.arange(len(patches)), counts)


# ------------------------------------------------------------------ grain and noise


@dataclass(frozen=True)
class Quiet:
    """The mean spectrum of the quietest pieces. rings: by radius; corner: of the sensor's noise."""

    rings: Doubles
    corner: float


def quiet(power: Doubles) -> Quiet | None:
    """Return the spectrum of the quietest fifth of pieces, where grain stands before picture."""
    if len(power) < LEAST_PIECES:
        return None
    middle = power[:, (_RADIUS > 0.1) & (_RADIUS < 0.3)].mean(axis=1)
    order = np.argsort(middle, kind="stable")[: max(6, len(middle) // 5)]
    mean = np.median(power[order], axis=0) / np.log(2.0)
    rings = [mean[(ring <= _RADIUS) & (ring + _RING > _RADIUS)].mean() for ring in _RINGS]
    return Quiet(np.array(rings), float(mean[_CORNER].mean()))


def fine_noise(spectrum: Quiet | None) -> float | None:
    """Return the RMS (D) of noise as strong at all frequencies as it is at the highest."""
    return None if spectrum is None else float(np.sqrt(spectrum.corner))


# What is tried for the blur of grain, px.
_BLURS = np.arange(0.3, 4.05, 0.1)


def grain_blur(spectrum: Quiet | None) -> float | None:
    """Return sigma (px) of the Gaussian whose spectrum that of grain is, over even noise.

    A exp(-4 pi^2 s^2 f^2) + W by least squares of the relative error. It holds grain's own size,
    so a capture is at least as sharp. None without grain above the noise.
    """
    if spectrum is None:
        return None
    middle = _RINGS + _RING / 2
    weight = 1.0 / np.maximum(spectrum.rings, 1e-30)
    best, found = np.inf, None
    for sigma in _BLURS:
        shape = np.exp(-4 * np.pi**2 * sigma**2 * middle**2)
        terms = np.stack([shape * weight, weight], axis=1)
        scale = np.sqrt((terms**2).sum(axis=0))
        values = np.linalg.lstsq(terms / scale, np.ones(len(middle)), rcond=None)[0] / scale
        if values[1] < 0:
            values = np.array([terms[:, 0].sum() / (terms[:, 0] ** 2).sum(), 0.0])
        left = float(np.sum((terms @ values - 1.0) ** 2))
        if values[0] > 0 and left < best:
            best, found = left, (float(sigma), values[0] / max(values[1], 1e-30))
    return found[0] if found is not None and found[1] > GRAIN_OVER_NOISE else None


GRAIN_OVER_NOISE = 1.0
# Grain's own size, px, that the blur of grain holds at least where nothing else is sharp (common
# practice, no source); from this blur on it does not show that a capture is sharp, and from this
# one it shows that it is not. Measured on tests/benchmarks/tone-frames and makers/frame_judge.py.
GRAIN_PX, SHARP_GRAIN, BLURRED_GRAIN = 1.0, 1.75, 2.3
# Anything that stands so far above the sensor's noise about a quarter of the sampling frequency
# was caught sharply: a disc of 4 px radius leaves less than 10^-4 there.
SHARP_RING, SHARP_DB = 6, 3.0


def capture_blur(edges: float | None, grain: float | None) -> float | None:
    """Return the blur (sigma, px) of the picture's edges.

    Where no edges are seen: of grain that is blurred more than grain is by itself; grain that is
    not tells of no edge, and None says so.
    """
    if edges is not None or grain is None or grain < BLURRED_GRAIN:
        return edges
    return float(np.sqrt(grain**2 - GRAIN_PX**2))


def is_sharp(spectrum: Quiet | None, grain: float | None) -> bool:
    """Return whether what is fine and quiet shows that a capture is sharp, be its picture soft."""
    if grain is not None and grain < SHARP_GRAIN:
        return True
    if spectrum is None:
        return False
    above = spectrum.rings[SHARP_RING] / max(spectrum.corner, 1e-30)
    return bool(above > 10.0 ** (SHARP_DB / 10.0))


# ------------------------------------------------------------------ enlargement

# Interpolation leaves its period in the second differences of a row: a peak so many times its
# surroundings, in rows and in columns, at frequencies as far apart as this at most.
PERIODIC, SAME = 12.0, 0.012
# The spectrum of an enlarged picture falls by more than FALL_DB within three rings, and ends more
# than END_DB below where it was at a quarter of the sampling frequency.
FALL_DB, END_DB = 24.0, 25.0


def sampling_used(patches: list[Patch], band: int, spectrum: Quiet | None) -> float | None:
    """Return the share (%) of half the sampling frequency that holds any signal or noise.

    By the empty end of the spectrum, and by the period that interpolation leaves (Gallagher,
    "Detection of linear and cubic interpolation in JPEG compressed images", 2005).
    """
    if spectrum is None:
        return None
    return min(_before_the_end(spectrum), _by_period(patches, band))


def _before_the_end(spectrum: Quiet) -> float:
    level = 10.0 * np.log10(np.maximum(spectrum.rings, 1e-30))
    corner = 10.0 * np.log10(max(spectrum.corner, 1e-30))
    falls = [level[k] - level[k + 3 :].min() for k in range(4, len(level) - 3)]
    if max(falls) < FALL_DB or level[6] - corner < END_DB:
        return 100.0
    above = np.flatnonzero(level >= (level[4] + level.min()) / 2)
    return min(100.0, float(200.0 * (_RINGS[int(above.max())] + _RING)))


def _by_period(patches: list[Patch], band: int) -> float:
    down, across = (_period(patches, band, axis) for axis in (0, 1))
    if down is None or across is None or abs(down - across) > SAME:
        return 100.0
    return 100.0 * (1.0 - (down + across) / 2)


def _period(patches: list[Patch], band: int, axis: int) -> float | None:
    """Return the frequency (cycles/px) at which second differences along an axis repeat."""
    count = min((min(patch.density.shape[:2]) for patch in patches), default=0) - 2
    if count < 64:
        return None
    total = np.zeros(count // 2 + 1)
    for patch in patches:
        codes = patch.codes[..., band].astype(np.float32)
        rows = codes if axis else codes.T
        rows = rows[::2]
        second = np.abs(2 * rows[:, 1:-1] - rows[:, :-2] - rows[:, 2:])
        second = np.minimum(second, ranks.percentile(second[::4, ::4], 90))
        mean = second.mean(axis=0, dtype=np.float64)[:count]
        even = mean / max(float(mean.mean()), 1e-9) - 1.0
        total += np.abs(np.fft.rfft(even * np.hanning(count))) ** 2
    padded = np.pad(total, 12, mode="reflect")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 25), axis=1)
    frequency = np.fft.rfftfreq(count)
    allowed = (frequency > 0.04) & (frequency < 0.485)
    # A camera's mosaic repeats every 2 px, blocks of a JPEG every 8.
    for eighth in (0.125, 0.25, 0.375):
        allowed &= np.abs(frequency - eighth) > 2.5 / count
    ratio = np.where(allowed, total / np.maximum(around, 1e-30), 0.0)
    peak = int(ratio.argmax())
    return float(frequency[peak]) if ratio[peak] > PERIODIC else None


def compression_blocks(patches: list[Patch], band: int) -> float | None:
    """Return by how much (%) pixels differ more across every eighth line than elsewhere.

    The blocks of lossy compression are of 8 px (ITU-T T.81); the same phase must show in rows and
    in columns, the weaker counts. 0 without such blocks; None without patches.
    """
    if not patches:
        return None
    phases = [_by_phase(patches, band, axis) for axis in (0, 1)]
    places = [int(values.argmax()) for values in phases]
    if places[0] != places[1]:
        return 0.0
    excess = [
        values[place] - np.delete(values, place).mean()
        for values, place in zip(phases, places, strict=True)
    ]
    return float(max(min(excess), 0.0) * 100.0)


def _by_phase(patches: list[Patch], band: int, axis: int) -> Doubles:
    """Return the mean step across lines of each phase of 8, less that of their neighbours."""
    total = np.zeros(8)
    for patch in patches:
        codes = np.sqrt(patch.codes[..., band].astype(np.float32))
        rows, first = (codes, patch.left) if axis else (codes.T, patch.top)
        rows = rows[::2]
        step = np.abs(rows[:, 1:] - rows[:, :-1])
        step = np.minimum(step, 3.0 * step.mean() + 1e-9)
        excess = step[:, 1:-1] - (step[:, :-2] + step[:, 2:]) / 2
        mean = excess.mean(axis=0, dtype=np.float64) / max(float(step.mean()), 1e-9)
        phase = (np.arange(len(mean)) + first + 2) % 8
        total += np.bincount(phase, mean, 8) / np.maximum(np.bincount(phase, minlength=8), 1)
    return total / len(patches)
