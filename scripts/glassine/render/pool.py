"""The film of a master's negatives where it is shared with other masters, as a film and back."""

from __future__ import annotations

import msgspec
from msgspec import UNSET

from glassine.base.errors import GlassineError
from glassine.base.records.films import FilmUncertainty, FilmValues, UsedFilm
from glassine.render.negative_film import Film, Uncertainty

# Digits after the point of what a film's record holds: pictures are made from the record.
DIGITS = 6


def values_of(film: Film) -> FilmValues:
    """Return a film as its record keeps it, rounded. The matrix of a master's profile is no
    property of the film: `tone` adds it."""

    def rounded(channels: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(round(value, DIGITS) for value in channels)

    return FilmValues(
        process=film.process,
        channels=film.channels,
        dmin=rounded(film.dmin),
        dmin_source=film.dmin_source,
        slopes=rounded(film.slopes),
        slopes_source=film.slopes_source,
        balance=rounded(film.balance),
        density_matrix=film.density_matrix and tuple(map(rounded, film.density_matrix)),
        balance_stated=film.balance_stated,
        light=film.light,
        white=None if film.white is None else round(film.white, DIGITS),
        uncertainty=_rounded(film.uncertainty),
        trained=UNSET if film.trained is None else film.trained,
    )


def _rounded(doubt: Uncertainty) -> FilmUncertainty:
    return FilmUncertainty(
        contrast=round(doubt.contrast, DIGITS),
        ratios=round(doubt.ratios, DIGITS),
        balance=round(doubt.balance, DIGITS),
        white=None if doubt.white is None else round(doubt.white, DIGITS),
        frames=doubt.frames,
    )


def of_values(values: FilmValues) -> Film:
    """Return the film that a record keeps."""
    return Film(
        process=values.process,
        channels=values.channels,
        dmin=values.dmin,
        dmin_source=values.dmin_source,
        slopes=values.slopes,
        slopes_source=values.slopes_source,
        balance=values.balance,
        density_matrix=values.density_matrix,
        balance_stated=values.balance_stated,
        light=values.light,
        white=values.white,
        uncertainty=Uncertainty(**msgspec.structs.asdict(values.uncertainty)),
        trained=None if values.trained is UNSET else values.trained,
    )


def film_of(used: UsedFilm, process: str, channels: tuple[int, ...]) -> Film:
    """Return the film that negatives of a master are rendered with.

    Raises GlassineError where it is of another process or other channels than theirs.
    """
    if (used.values.process, used.values.channels) != (process, channels):
        raise GlassineError.because(
            "render.film",
            used.note.name,
            f"The values of this film are those of {used.values.process} negatives and of other "
            f"channels than this master's ({process}).",
            "values that were pooled of such negatives.",
            "Run again; if it repeats, delete films.json in the results of the batch.",
        )
    return of_values(used.values)
