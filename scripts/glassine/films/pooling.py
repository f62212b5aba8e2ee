"""The values of one film from what its frames show, and how sure they are."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import msgspec
import numpy as np

from glassine.base import files
from glassine.base.records.films import Deviations, FilmValues, UsedFilm
from glassine.base.tone import Channels, FilmNote
from glassine.films.groups import Group
from glassine.films.units import Unit, looks_of
from glassine.render import pool
from glassine.render.estimate import Known, estimate, with_network
from glassine.render.given import FilmStock, ToneSection
from glassine.render.learned import Learned
from glassine.render.looks import Look

# So many frames tell a film's values; of more, these are taken evenly.
MAX_FRAMES = 24
# Parts of the frames that are left out in turn, to see how much the values rest on any of them.
PARTS = 6


def chosen(group: Group) -> list[tuple[Unit, tuple[int, ...]]]:
    """Return the units that a film rests on, each with the frames that are used of it."""
    every = [(unit, index) for unit in group.pooled for index in unit.frames]
    places = np.linspace(0, len(every) - 1, min(len(every), MAX_FRAMES)).round().astype(int)
    taken = [every[place] for place in dict.fromkeys(places.tolist())]
    return [
        (unit, frames)
        for unit in group.pooled
        if (frames := tuple(index for other, index in taken if other is unit))
    ]


def pooled(group: Group, settings: ToneSection, learned: Learned | None = None) -> UsedFilm:
    """Return the film that a group's frames show. learned: what earlier films of its stock showed.

    Raises GlassineError where looks are damaged.
    """
    parts = [(unit, looks_of(unit, frames)) for unit, frames in chosen(group)]
    values = _estimated(parts, settings, learned, ask=True)
    return _used(group, parts, values, _deviations(parts, values, settings, learned))


Part = tuple[Unit, list[Look]]


def _estimated(
    parts: list[Part], settings: ToneSection, learned: Learned | None, *, ask: bool = False
) -> FilmValues:
    """Return the values of a film. ask: also what the trained network says of it."""
    first = parts[0][0]
    base = tuple(_of_bands(unit) for unit, _ in parts if unit.base is not None)
    stock = settings.film_stocks.get(first.facts.film_stock or "", FilmStock())
    known = Known(first.process, first.channels, base, first.facts, stock, first.primaries, learned)
    looks = [look for _, mine in parts for look in mine]
    film = estimate(looks, known)
    values = pool.values_of(with_network(film, looks, known) if ask else film)
    if base:
        values = msgspec.structs.replace(values, dmin_source=f"film base on {len(base)} master(s)")
    return values


def _of_bands(unit: Unit) -> Channels:
    """Return the base per band of the master, as `estimate` takes it; bands not used are 0."""
    values = [0.0] * (max(unit.channels) + 1)
    for band, value in zip(unit.channels, unit.base or (), strict=True):
        values[band] = value
    return tuple(values)


def _deviations(
    parts: list[Part], values: FilmValues, settings: ToneSection, learned: Learned | None
) -> Deviations | None:
    """Return one standard deviation of each value, by leaving out parts of the masters in turn.

    The delete-a-group jackknife: (g - 1) / g times the sum of squared deviations of the g
    estimates from their mean (Shao and Tu, The Jackknife and Bootstrap, section 2.3; from memory).
    """
    count = min(len(parts), PARTS)
    if count < 2:
        return None
    without = [
        _estimated(
            [part for place, part in enumerate(parts) if place % count != left], settings, learned
        )
        for left in range(count)
    ]

    def spread(of: Callable[[FilmValues], Channels]) -> Channels:
        each = np.array([of(one) for one in without])
        squares = ((each - each.mean(axis=0)) ** 2).sum(axis=0)
        deviation = np.sqrt(squares * (count - 1) / count)
        return tuple(round(float(value), pool.DIGITS) for value in deviation)

    return Deviations(
        dmin=spread(lambda film: film.dmin),
        slopes=spread(lambda film: film.slopes),
        balance=spread(lambda film: film.balance),
    )


def _used(
    group: Group, parts: list[Part], values: FilmValues, deviations: Deviations | None
) -> UsedFilm:
    note = {
        "name": group.name,
        "whence": group.whence,
        "frames": sum(len(looks) for _, looks in parts),
        "masters": len(parts),
    }
    text = files.canonical([note, msgspec.to_builtins(values), msgspec.to_builtins(deviations)])
    version = hashlib.sha256(text.encode()).hexdigest()[:16]
    return UsedFilm(
        note=FilmNote(version=version, **note),  # type: ignore[arg-type]
        values=values,
        deviations=deviations,
    )
