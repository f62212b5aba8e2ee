"""How light falls off over the masters of a batch, by the film base that all of them show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Doubles = npt.NDArray[np.float64]

# (x, y) as shares of a master's width and height, 0 to 1, and log10 of the light there.
Piece = tuple[float, float, float]

# So many masters show it: with six, 99 of 100 simulated batches have every corner right within a
# tenth of a stop (tests/unit/base/test_batch_light.py simulates them; base whose density wanders by
# 0.006 D within a master: value from memory). A deviation (stops) over the most is not told either.
LEAST_MASTERS, MOST_DEVIATION = 6, 0.1
# A master counts with so many pieces, on so many of the four sides of its middle, so far from it
# (share of width or height).
LEAST_PIECES, LEAST_SIDES, SIDE = 6, 3, 0.25
CORNERS = ("top left", "top right", "bottom left", "bottom right")
_PLACES = np.array([(0.02, 0.02), (0.98, 0.02), (0.02, 0.98), (0.98, 0.98)])
_MIDDLE = np.array([(0.5, 0.5)])
_STOPS = 1.0 / np.log10(2.0)
# Rounds of weights; a piece that is so far off (log10) counts half.
ROUNDS, FAR = 6, 0.006


@dataclass(frozen=True)
class Course:
    """corners: stops of light that each of CORNERS has less than the middle; deviation: of the
    least sure of them, stops; masters: how many it rests on."""

    corners: tuple[float, float, float, float]
    deviation: float
    masters: int


def usable(pieces: Sequence[Piece]) -> bool:
    """Return whether a master's base lies about its middle, so that it tells of a course.

    Base above and below alone cannot tell a bowl from a density of its own.
    """
    x, y = np.array([piece[:2] for piece in pieces]).reshape(-1, 2).T - 0.5
    level, upright = np.abs(y) < SIDE, np.abs(x) < SIDE
    sides = [level & (x < -SIDE), level & (x > SIDE), upright & (y < -SIDE), upright & (y > SIDE)]
    return len(x) >= LEAST_PIECES and sum(bool(side.any()) for side in sides) >= LEAST_SIDES


def course(masters: Sequence[Sequence[Piece]]) -> Course | None:
    """Return the course of light that masters of one size share; None where it cannot be told.

    Each master's base has a density of its own; what all have in common from place to place is the
    light: a polynomial of the second degree in x and y by least squares, with less weight for
    what is far off (Cauchy). Its deviation by leaving out a master at a time (jackknife). Pictures
    are not used: a taking lens darkens corners of the scene, which makes those of a negative
    lighter and those of a slide darker, in every frame alike, as uneven light would.
    """
    tables = [np.array(pieces, float) for pieces in masters if usable(pieces)]
    if len(tables) < LEAST_MASTERS:
        return None
    terms = [_terms(table[:, :2]) for table in tables]
    weights = [np.ones(len(table)) for table in tables]
    value = np.zeros(terms[0].shape[1])
    products, own = np.zeros(0), np.zeros(0)
    for _ in range(ROUNDS):
        zipped = zip(terms, tables, weights, strict=True)
        sums = [_sums(t, table[:, 2], weight) for t, table, weight in zipped]
        products, own = np.stack([s[0] for s in sums]), np.stack([s[1] for s in sums])
        value = _solved(products.sum(axis=0), own.sum(axis=0))
        off = [table[:, 2] - t @ value for t, table in zip(terms, tables, strict=True)]
        weights = [_weights(each) for each in off]
    others = zip(products.sum(axis=0) - products, own.sum(axis=0) - own, strict=True)
    left_out = np.array([_corners(_solved(*each)) for each in others])
    count = len(tables)
    deviation = np.sqrt((count - 1) / count * ((left_out - left_out.mean(axis=0)) ** 2).sum(axis=0))
    if deviation.max() > MOST_DEVIATION:
        return None
    found = _corners(value)
    corners = (float(found[0]), float(found[1]), float(found[2]), float(found[3]))
    return Course(corners, float(deviation.max()), count)


def _terms(places: Doubles) -> Doubles:
    x, y = 2.0 * places[:, 0] - 1.0, 2.0 * places[:, 1] - 1.0
    return np.stack([x, y, x * x + y * y, x * y, x * x - y * y], axis=1)


def _weights(off: Doubles) -> Doubles:
    off = off - np.median(off)
    return np.asarray(1.0 / (1.0 + (off / FAR) ** 2))


def _sums(terms: Doubles, level: Doubles, weight: Doubles) -> tuple[Doubles, Doubles]:
    """Return a master's products of terms, and with its level, both about its own mean."""
    total = weight.sum()
    terms = terms - (terms * weight[:, None]).sum(axis=0) / total
    level = level - (level * weight).sum() / total
    return (terms * weight[:, None]).T @ terms, (terms * weight[:, None]).T @ level


def _solved(products: Doubles, own: Doubles) -> Doubles:
    ridge = 1e-6 * np.trace(products) / len(products)
    return np.asarray(np.linalg.solve(products + ridge * np.eye(len(products)), own))


def _corners(value: Doubles) -> Doubles:
    return np.asarray((_terms(_MIDDLE) @ value - _terms(_PLACES) @ value) * _STOPS)


def words(masters: Sequence[Sequence[Piece]]) -> str:
    """Return in words how light falls off over masters of one size."""
    count = sum(usable(pieces) for pieces in masters)
    found = course(masters)
    if found is None and count < LEAST_MASTERS:
        return (
            f"not measured: {count} of them show film base on {LEAST_SIDES} sides of the picture "
            f"or more, and {LEAST_MASTERS} are needed"
        )
    if found is None:
        return f"not measured: the film base of {count} masters does not agree on a course"
    named = zip(CORNERS, found.corners, strict=True)
    parts = [f"{corner} {_stops(value)}" for corner, value in named]
    return (
        f"{', '.join(parts[:-1])} and {parts[-1]} than the middle "
        f"(± {max(found.deviation, 0.005):.2f}), by the film base of {found.masters} masters"
    )


def _stops(value: float) -> str:
    return f"{abs(value):.2f} stop {'less' if value >= 0 else 'more'}"
