"""A film from what its frames show: of one master, or of all that were taken on it."""

from __future__ import annotations

from dataclasses import dataclass

from glassine.base.model import Facts
from glassine.base.tone import Channels
from glassine.render import layers, negative_film
from glassine.render.given import FilmStock, ToneSection
from glassine.render.looks import Look
from glassine.render.negative_film import Film


@dataclass(frozen=True)
class Known:
    """What is known of a film before its pictures are looked at.

    process: colour or monochrome; channels: bands of the master that are used; base: density per
    band of each region of clear film base; facts: as batch.yaml states them (`slopes`); stock: as
    the settings know it.
    """

    process: str
    channels: tuple[int, ...]
    base: tuple[Channels, ...]
    facts: Facts
    stock: FilmStock


def estimate(looks: list[Look], known: Known, settings: ToneSection) -> Film:
    """Return the film of these frames, at least one. It depends on nothing else, and not on their
    order."""
    dmin, source = negative_film.dmin_of(known.base, known.stock, looks, known.channels)
    start = negative_film.stated(
        known.process, known.channels, dmin, source, known.facts, known.stock
    )
    return layers.matched(start, known.stock, looks, settings)
