"""The sensor's samples, corrected before colours are made of them: levels, light, pixels."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from glassine.develop.flat import Field, Mask
from glassine.masters.raws import Raw, Sensor

# Codes of the corrected mosaic: 0 light stands at OFFSET, so that noise about it is not cut; full
# scale (1.0) is 65535.
OFFSET, FULL = 1024, 65535
# Rows of a plane that are corrected together: they stay in the processor's cache.
_BAND = 32
# Side of the blocks in which light is compared with the bare table's, px of a plane.
_BLOCK = 8
# Pairs of neighbours of the same colour on a line through a pixel; those of green touch it.
_PAIRS = ((0, 2), (2, 0), (2, 2), (2, -2))
_PAIRS_GREEN = ((1, 1), (1, -1), *_PAIRS)


@dataclass(frozen=True)
class Corrected:
    """codes: (h, w) or (h, w, 3), see OFFSET. over: share of samples that ended above full scale.
    at_white: share of the sensor's samples that had reached their white level. brighter: share of
    blocks above `limit`, of those looked at."""

    codes: Sensor
    over: float
    at_white: float
    brighter: float = 0.0


def corrected(
    raw: Raw,
    field: Field | None,
    gains: tuple[float, float, float],
    dead: Mask | None = None,
    limit: float | None = None,
) -> Corrected:
    """Return the samples as light: (sample - black) / (white - black), over the light of the bare
    table where `field` is known, times the gain of its colour. dead: pixels that do not count as
    bright. limit: what blocks of samples are compared with, 1 is full scale."""
    height, width = (side // 2 * 2 for side in raw.sensor.shape[:2])
    out = np.empty((height, width, *raw.sensor.shape[2:]), np.uint16)
    works = None if dead is None or raw.pattern is None else ~dead
    over = white = blocks = above = 0
    places = [(down, across) for down in (0, 1) for across in (0, 1)]
    for place, (down, across) in enumerate(places):
        for top in range(0, height // 2, _BAND):
            bottom = min(top + _BAND, height // 2)
            site = slice(down + 2 * top, down + 2 * bottom, 2), slice(across, width, 2)
            light = raw.sensor[site].astype(np.float32)
            white += _count(light >= raw.white, works, site)
            _to_codes(raw, light, place, gains)
            if field is not None:
                light /= field.rows(place, top, bottom)
            if limit is not None and raw.pattern is not None and top // _BAND % 2 == 0:
                means = _blocks(light)
                blocks += means.size
                above += int(np.count_nonzero(means > limit * (FULL - OFFSET)))
            light += np.float32(OFFSET)
            over += _count(light > FULL + 0.5, works, site)
            np.clip(np.rint(light, out=light), 0, FULL, out=light)
            out[site] = light
    return Corrected(out, over / out.size, white / out.size, above / blocks if blocks else 0.0)


def _count(marked: Mask, works: Mask | None, site: tuple[slice, slice]) -> int:
    """Return how many are marked of those that work. marked: of a site; works: of the sensor."""
    if works is not None and marked.any():
        marked &= works[site]
    return int(np.count_nonzero(marked))


def _blocks(light: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return the means of blocks of samples, in which noise is small."""
    rows, columns = (side // _BLOCK for side in light.shape)
    whole = np.ascontiguousarray(light[: rows * _BLOCK, : columns * _BLOCK])
    if not whole.size:
        return np.zeros((0, 0), np.float32)
    return np.asarray(cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA))


def _to_codes(
    raw: Raw, samples: npt.NDArray[np.float32], place: int, gains: tuple[float, float, float]
) -> None:
    """Make samples of a place of the pattern (or of three colours) their light times its gain, in
    place, in codes over OFFSET."""
    span = FULL - OFFSET
    if raw.pattern is None:
        black = raw.black[0]
        samples -= black.astype(np.float32)
        samples *= (np.asarray(gains) * span / (raw.white - black)).astype(np.float32)
        return
    black_here = float(raw.black.ravel()[place])
    gain_here = gains[int(raw.pattern.ravel()[place])] * span / (raw.white - black_here)
    samples -= np.float32(black_here)
    samples *= np.float32(gain_here)


def repair(codes: Sensor, dead: Mask, pattern: npt.NDArray[np.int64]) -> int:
    """Fill pixels that do not work from those of their colour about them, in place; return how
    many. On the line through it on which its neighbours are most alike, their mean is taken."""
    height, width = codes.shape
    dead = dead[:height, :width]
    rows, columns = np.divmod(np.flatnonzero(dead), width)
    if not rows.size:
        return 0
    green = pattern[rows % 2, columns % 2] == 1
    filled = np.empty(rows.size, np.uint16)
    for kind, pairs in ((True, _PAIRS_GREEN), (False, _PAIRS)):
        these = green == kind
        filled[these] = _from_pairs(codes, dead, rows[these], columns[these], pairs)
    codes[rows, columns] = filled
    return int(rows.size)


def _from_pairs(
    codes: Sensor,
    dead: Mask,
    rows: npt.NDArray[np.int64],
    columns: npt.NDArray[np.int64],
    pairs: tuple[tuple[int, int], ...],
) -> npt.NDArray[np.uint16]:
    height, width = codes.shape
    means = np.zeros((len(pairs), rows.size))
    apart = np.full((len(pairs), rows.size), np.inf)
    for number, (down, across) in enumerate(pairs):
        one = _inside(rows - down, height), _inside(columns - across, width)
        two = _inside(rows + down, height), _inside(columns + across, width)
        values = codes[one].astype(np.float64), codes[two].astype(np.float64)
        means[number] = (values[0] + values[1]) / 2
        works = ~(dead[one] | dead[two])
        apart[number, works] = np.abs(values[0] - values[1])[works]
    best = np.argmin(apart, axis=0)
    return np.asarray(np.rint(means[best, np.arange(rows.size)]), np.uint16)


def _inside(places: npt.NDArray[np.int64], count: int) -> npt.NDArray[np.int64]:
    """Return places mirrored at the edges, which keeps their colour."""
    folded = np.abs(places)
    return np.where(folded >= count, 2 * (count - 1) - folded, folded)
