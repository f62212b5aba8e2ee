"""Whether negatives can be of one film: what contradicts it for certain, and what makes it likely.

Contradictions are few and plain, as a film that a person names is believed; for a film that nobody
names, agreement must be close.
"""

from __future__ import annotations

import numpy as np

from glassine.base.model import Frame
from glassine.base.records.films import FilmValues
from glassine.films.units import Unit
from glassine.render import pool
from glassine.render.doubt import BELIEVED
from glassine.render.looks import Floats, Look
from glassine.render.negative_film import UNSEEN, exposures

# Film base of one film differs from master to master by less than this, density: its colour
# (channels against their mean) and its level, which the light of the capture changes too.
# Chosen on films drawn at random (tests/unit/films); common practice, no source.
COLOUR_APART, LEVEL_APART = 0.06, 0.15
# Nothing of a picture is thinner than the base of its film by more than this, density.
THINNER = 0.10
# Slopes of two channels against each other, log10, that two masters of so many frames show. Of
# single frames nothing can be told: those of one film showed 0.25 apart, those of most pairs of
# different films less than 0.15 (25 drawn films, five pictures each).
SLOPES_APART, FRAMES_TO_TELL = 0.12, 3
# The base of a film that nobody names: each channel within this, density.
SAME_BASE = 0.02
# Thinner than this, density, no film is: the bare table shows. A colour negative has a mask.
BARE = {"colour": 0.10, "monochrome": 0.02}
# Densities above D-min, as exposures (log10) of a middle film, at which films are compared.
_AT = (0.3, 0.8, 1.3, 1.8, 2.2)


def contradiction(one: Unit, other: Unit) -> str | None:
    """Return why two units cannot be of one film, None where nothing plain says so."""
    if one.edge_stock and other.edge_stock and one.edge_stock != other.edge_stock:
        return f"the codes in its margin say film {other.edge_stock}, not {one.edge_stock}"
    if one.base is not None and other.base is not None:
        apart = np.array(one.base) - np.array(other.base)
        if float(np.abs(apart - apart.mean()).max()) > COLOUR_APART:
            return "its film base has another colour"
        if abs(float(apart.mean())) > LEVEL_APART:
            return "its film base has another density"
    for base, shown in ((one, other), (other, one)):
        if base.base is not None and shown.base is None and _thinner(shown, base.base):
            return "parts of its pictures are thinner than the film base"
    if _slopes_can_be_told(one) and _slopes_can_be_told(other):
        ratio = np.log10(np.array(one.alone.slopes) / np.array(other.alone.slopes))
        if float(ratio.max() - ratio.min()) > SLOPES_APART:
            return "its layers have other slopes"
    return None


def _slopes_can_be_told(unit: Unit) -> bool:
    frames = len(unit.frames)
    return frames >= FRAMES_TO_TELL and len(unit.channels) == 3 and unit.facts.slopes is None


def _thinner(unit: Unit, base: tuple[float, ...]) -> bool:
    if shows_bare_table(unit):
        return False  # a hole, or what lies beside the film: it says nothing of the film
    return bool((np.array(unit.alone.dmin) < np.array(base) - THINNER).any())


def shows_bare_table(unit: Unit) -> bool:
    """Return whether the pictures have parts too thin for any film, and no base is seen."""
    unseen = unit.base is None and unit.alone.dmin_source == UNSEEN
    return unseen and max(unit.alone.dmin) < BARE[unit.process]


def alike(one: Unit, other: Unit) -> bool:
    """Return whether two units may be taken for one film though nobody says so."""
    if one.process != "colour" or one.base is None or other.base is None:
        return False
    if of_one_kind(one) != of_one_kind(other):
        return False
    apart = np.abs(np.array(one.base) - np.array(other.base))
    return float(apart.max()) <= SAME_BASE and contradiction(one, other) is None


def of_one_kind(unit: Unit) -> tuple[object, ...]:
    """Return what units of one film have in common: process, channels, how codes became light, and
    what is stated of the film's values. Units of a film that nobody names have the kind too."""
    facts = unit.facts
    kind = None if facts.film else unit.kind
    return (unit.process, unit.channels, unit.encoding, facts.slopes, facts.film_stock, kind)


def exposures_apart(one: FilmValues, other: FilmValues) -> float:
    """Return how far apart two films show the same densities, log10 of exposure.

    The largest difference of any channel on the neutral axis of `one`; what is common to all
    channels at its light end is left out, as each frame is exposed by itself.
    """
    if (one.process, one.channels) != (other.process, other.channels):
        return float("inf")
    density = np.array(one.dmin) + np.outer(_AT, one.slopes) - _balanced(one)
    apart = _difference(density, one, other)
    if one.white is not None and other.white is not None:
        apart = max(apart, abs(one.white - other.white) * BELIEVED)
    return round(apart, 6)


def _balanced(film: FilmValues) -> Floats:
    return np.asarray(np.array(film.balance) * np.array(film.slopes))


def _difference(density: Floats, one: FilmValues, other: FilmValues) -> float:
    shown = [_shown(density, film) for film in (one, other)]
    apart = shown[0] - shown[1]
    return float(np.abs(apart - apart[-1].mean()).max())


def _shown(density: Floats, values: FilmValues) -> Floats:
    """Return log10 of exposure that a film gives to densities (n, used channels)."""
    channels = values.channels
    light = np.ones((len(density), max(channels) + 1))
    light[:, list(channels)] = 10.0**-density
    frame = Frame(1, ((0.0, 0.0),) * 4, 0.0, "negative", values.process)  # type: ignore[arg-type]
    look = Look(frame, np.empty((0, light.shape[1]), np.uint16), light, light, None)
    return np.asarray(exposures(look, pool.of_values(values)) + np.array(values.balance))
