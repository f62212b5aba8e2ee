"""Motion of camera or table while the shutter is open: fine detail weaker along one direction."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Doubles = npt.NDArray[np.float64]

# The spectra of pieces of SIDE px are read by rings of 1 / SIDE cycles/px and by SECTORS of half a
# turn. Coarser than FIRST_RING is picture, finer than LAST_RING the sensor's noise.
SIDE, SECTORS = 64, 16
FIRST_RING, LAST_RING = 3, 25
_FY, _FX = np.fft.fftfreq(SIDE)[:, None], np.fft.rfftfreq(SIDE)[None, :]
_RING = np.rint(np.hypot(_FX, _FY) * SIDE).astype(int)
_SECTOR = np.rint(np.arctan2(_FY, _FX) % np.pi / np.pi * SECTORS).astype(int) % SECTORS
_USED = (_RING >= FIRST_RING) & (_RING <= LAST_RING)
_PLACE = ((_RING - FIRST_RING) * SECTORS + _SECTOR)[_USED]
_SHAPE = (LAST_RING - FIRST_RING + 1, SECTORS)
_CELLS = np.bincount(_PLACE, minlength=_SHAPE[0] * _SHAPE[1]).reshape(_SHAPE)
# Where a lens and a film leave least: what is there is the sensor's noise.
_CORNER = (np.abs(_FY) > 0.38) & (_FX > 0.38)
# The share of pieces of which the strongest counts: what most pieces do not show is picture.
LOW = 0.25
LEAST_PIECES = 8
# A ring tells where it stands so many times as far as the noise above the noise. A frame is still
# only where they tell up to a frequency (cycles/px) at which a path of 4 px takes half of the
# contrast away (sinc); a trough so deep (dB) is motion in any case.
SEEN, LEAST_RINGS, LEAST_FREQUENCY, PLAIN_DB = 1.0, 2, 0.12, 2.5
# What is taken away from a level for noise (less than all: it is uneven), and the least share of
# the level that is left: else noise alone would make deep troughs.
NOISE_SHARE, LEAST_LEFT = 0.8, 0.03
# Sectors that make a trough and a peak. A subject of stripes raises a few sectors far above the
# rest; so this share of the peak is no trough.
FEW, OF_PEAK = 3, 0.1
# Rings that are read together; the depth of the deepest so many is the value, at most so many
# times its trough.
RUN, OF_TROUGH = 3, 1.5
# Motion shows in all rings together, in dB, and with this share of the value.
LEAST_DB, OF_VALUE = 0.6, 0.17
# Grass and brick are fine in one direction too, but not to where grain ends: the value is at most
# so many times what the finest rings show, unless it is more than this beyond.
OF_FINEST, BEYOND_DB = 1.5, 1.2
# Ropes and masts lie over most pieces, but not over the quietest: the value is at most so many
# times what this share of the pieces, those with least detail between these rings, shows.
OF_QUIET, QUIET = 1.3, 1 / 3
_DETAIL = (_RING >= 7) & (_RING <= 19)
# A trough of so much (dB) that a subject may as well have made: neither motion nor none.
UNSURE_DB, SURE_DB = 1.3, 2.0
# Groups of pieces that must agree on the direction, with this share of the wave that all show.
GROUPS, AGREED = 3, 0.5
_WAVE = np.exp(2j * np.pi * np.arange(SECTORS) / SECTORS)


def motion_blur(power: Doubles, groups: npt.NDArray[np.intp]) -> float | None:
    """Return by how much (dB) fine detail is weaker along one direction than along most.

    Motion weakens grain and picture alike, everywhere, over a broad range of directions; a subject
    makes single directions stronger, in places. So of each frequency the weaker pieces count, and
    groups of pieces, from different places, must agree. power: spectra (n, SIDE, SIDE // 2 + 1) of
    pieces; groups: of each, the number of its place. None where grain and picture do not stand
    above the noise at frequencies that motion would take away, and where what is weaker along one
    direction may be the subject's.
    """
    level = _levels(power)
    if level is None:
        return None
    wave = _wave(level.mean(axis=0))
    seen = max(float(_runs(level, wave)[0].max()), float(_troughs(level.mean(axis=0)[None])[0]))
    value = _of_motion(power, groups, level, wave)
    if value < PLAIN_DB and _finest(level) < LEAST_FREQUENCY:
        return None
    return None if value <= SURE_DB and seen > UNSURE_DB else value


def _of_motion(
    power: Doubles, groups: npt.NDArray[np.intp], level: Doubles, wave: complex
) -> float:
    """Return the part (dB) of the deepest trough that only motion explains."""
    value = _deepest(level, wave)
    trough = float(_troughs(level.mean(axis=0)[None])[0])
    if trough < max(LEAST_DB, OF_VALUE * value):
        return max(min(value, trough), 0.0)
    along = []
    for number in range(GROUPS):
        part = _levels(power[groups % GROUPS == number])
        if part is not None:
            along.append(_along(_wave(part.mean(axis=0)), wave))
    agreed = len(along) >= min(2, int(groups.max()) + 1) and min(along) > AGREED * abs(wave)
    return min(value, OF_QUIET * _of_quiet(power, wave)) if agreed else 0.0


def _of_quiet(power: Doubles, wave: complex) -> float:
    """Return the deepest trough (dB) along `wave` of the quietest pieces; infinite: not seen."""
    detail = np.log(power[:, _DETAIL] + 1e-30).mean(axis=1)
    count = max(LEAST_PIECES, int(len(power) * QUIET))
    level = _levels(power[np.argsort(detail, kind="stable")[:count]], low=0.5)
    return np.inf if level is None else float(_runs(level, wave)[0].max())


def _levels(power: Doubles, low: float = LOW) -> Doubles | None:
    """Return the level (rings, SECTORS) of rings that tell, dB above the middle of directions.

    low: the share of pieces of which the strongest counts. The first ring is the coarsest; no ring
    between two that tell is missing. None for too few.
    """
    if len(power) < LEAST_PIECES:
        return None
    place = int(low * (len(power) - 1))
    usual = np.partition(power, place, axis=0)[place] / -np.log(1.0 - low)
    noise = float(usual[_CORNER].mean())
    total = np.bincount(_PLACE, usual[_USED], _SHAPE[0] * _SHAPE[1]).reshape(_SHAPE)
    value = _smooth(total) / np.maximum(_smooth(_CELLS), 1)
    middle = np.median(value, axis=1, keepdims=True)
    seen = middle[:, 0] > (1.0 + SEEN) * noise
    count = len(seen) if seen.all() else int(seen.argmin())
    if count < LEAST_RINGS:
        return None
    value, middle = value[:count], middle[:count]
    least = LEAST_LEFT * middle
    above = np.maximum(value - NOISE_SHARE * noise, least)
    return np.asarray(10.0 * np.log10(above / np.maximum(middle - NOISE_SHARE * noise, least)))


def _finest(level: Doubles) -> float:
    return (FIRST_RING + len(level) - 1) / SIDE


def _smooth(values: npt.NDArray[Any]) -> Doubles:
    """Return the sum of each sector and of its two neighbours."""
    return np.asarray(values + np.roll(values, 1, axis=1) + np.roll(values, -1, axis=1), float)


def _wave(course: Doubles) -> complex:
    """Return strength and direction of a single rise and fall of a course over half a turn."""
    return complex((course * _WAVE).mean() * 2)


def _along(wave: complex, other: complex) -> float:
    return (wave * other.conjugate()).real / max(abs(other), 1e-9)


def _troughs(level: Doubles) -> Doubles:
    order = np.sort(level, axis=1)
    return np.asarray(
        -order[:, :FEW].mean(axis=1) - OF_PEAK * np.maximum(order[:, -FEW:].mean(axis=1), 0.0)
    )


def _runs(level: Doubles, wave: complex) -> tuple[Doubles, float]:
    """Return the depth (dB) of each run of RUN rings along `wave`; and how much the finest run
    shows of it.

    The mean of the wave and of the trough: a long path leaves a ridge across it, and so little else
    that the trough is shallow beside the middle. A ridge alone is a subject's.
    """
    run = min(RUN, len(level))
    total = np.cumsum(np.vstack([np.zeros(SECTORS), level]), axis=0)
    means = (total[run:] - total[:-run]) / run
    waves = np.array([_along(_wave(mean), wave) for mean in means])
    troughs = _troughs(means)
    depth = np.minimum((waves + troughs) / 2, OF_TROUGH * np.minimum(troughs, waves))
    return depth, float(waves[-1])


def _deepest(level: Doubles, wave: complex) -> float:
    """Return the deepest trough (dB) of RUN rings that lies in the direction of `wave`."""
    troughs, finest = _runs(level, wave)
    value = float(troughs.max())
    return max(min(value, max(OF_FINEST * finest, value - BEYOND_DB)), 0.0)
