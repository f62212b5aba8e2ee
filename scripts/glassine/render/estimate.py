"""A film from what its frames show: of one master, or of all that were taken on it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glassine.base.model import Facts
from glassine.base.tone import Channels
from glassine.masters import colour
from glassine.render import dyes, layers, negative_film, trained
from glassine.render.given import FilmStock
from glassine.render.learned import Learned
from glassine.render.looks import Look
from glassine.render.negative_film import UNSEEN, Film


@dataclass(frozen=True)
class Known:
    """What is known of a film before its pictures are looked at.

    process: colour or monochrome; channels: bands of the master that are used; base: density per
    band of each region of clear film base; facts: as batch.yaml states them (`slopes`); stock: as
    the settings know it; primaries: of the master's profile, to linear sRGB (3 x 3), None for grey;
    learned: what earlier films of its stock showed.
    """

    process: str
    channels: tuple[int, ...]
    base: tuple[Channels, ...]
    facts: Facts
    stock: FilmStock
    primaries: tuple[Channels, ...] | None
    learned: Learned | None = None


def primaries_of(encoding: colour.Encoding) -> tuple[Channels, ...] | None:
    """Return the primaries of an encoding as rows, rounded as a record keeps them."""
    if len(encoding.tables) != 3:
        return None
    return tuple(tuple(row) for row in np.round(encoding.matrix, 9).tolist())


def estimate(looks: list[Look], known: Known) -> Film:
    """Return the film of these frames, at least one. It depends on nothing else, and not on their
    order."""
    dmin, source = negative_film.dmin_of(known.base, known.stock, looks, known.channels)
    coloured = known.primaries is not None and len(known.channels) == 3
    usual = dyes.nominal(np.array(known.primaries)) if coloured else None
    start = negative_film.stated(
        known.process, known.channels, dmin, source, known.facts, known.stock, usual, known.learned
    )
    return layers.estimate(looks, start)


def with_network(film: Film, looks: list[Look], known: Known) -> Film:
    """Return the film with what the trained network says of it beside what was found: of colour
    film whose slopes, matrix and balance nobody states. The film's own values stay as they are."""
    if known.primaries is None or len(film.channels) != 3 or film.process != "colour":
        return film
    if known.facts.slopes or known.stock.slopes or known.stock.matrix or film.balance_stated:
        return film
    usual = dyes.nominal(np.array(known.primaries))
    facts = trained.facts_of(usual, film.dmin, film.dmin_source != UNSEEN)
    seen = [(colour.density(look.calm), look.picture) for look in looks]
    said = trained.film(seen, [look.base or film.dmin for look in looks], facts)
    return replace(film, trained=said)
