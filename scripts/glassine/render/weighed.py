"""What `layers` finds and what the trained network says of a negative, weighed by their precision.

The film stays what `layers` finds: its record holds both. What a frame is rendered with is the mean
of the two, each counted by the inverse square of how far it may be off.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from glassine.base.records.films import TrainedFilm
from glassine.base.tone import Channels, NetworkNote
from glassine.masters import colour
from glassine.render import trained
from glassine.render.lights import KEPT, LIGHTS
from glassine.render.looks import Floats, Look
from glassine.render.negative_film import Film, exposures

# How far what the trained network says may be off, against what it says itself: films that are like
# none that it was trained with.
UNLIKE = 1.25
# How far parts of the usual matrix are from one that is fitted to the truth, and slopes of layers
# against each other from such a fit beside what `layers` says of them (it knows of no matrix), one
# standard deviation. A fit to pictures is unsure itself: the network's deviations are of the same.
# In masters with the primaries of sRGB each channel often stands for its layer: there less.
USUAL_MATRIX, USUAL_MATRIX_SRGB, RATIOS = 0.5, 0.2, 0.05
# How far exposure and cast are off by what `layers` finds, log10, one standard deviation: of a
# frame alone, of one of several.
EXPOSURE, CAST = (0.15, 0.045), (0.09, 0.045)
# A frame whose colours differ by less than HUES (log10, one standard deviation along their main
# direction) is of one colour, which the network takes for light too surely (one-colour frames of
# films were 1.8 times as far off as it says): the fewer hues, the less its cast counts, down to
# this deviation.
HUES, PLAIN = 0.2, 0.15
# How far below the lightest parts a film's balances are compared, log10 of exposure.
BELOW = 0.3


@dataclass(frozen=True)
class Weighed:
    """film: with slopes and matrix to render with; balance, exposure: of the frame, for these,
    log10 of exposure; network: what the network says of the frame."""

    film: Film
    balance: Channels
    exposure: float
    network: NetworkNote


def weighed(
    look: Look, film: Film, balance: Channels, exposure: float, spread: float
) -> Weighed | None:
    """Return how a frame is rendered; None where the network was not asked about its film.

    balance, exposure: as found of the frame, for the film's own slopes and matrix; spread: how far
    its colours differ from one another, log10, one standard deviation. The two are compared in
    the lighter half of the picture, as each has slopes and a matrix of its own.
    """
    said = film.trained
    if said is None:
        return None
    dmin = look.base or film.dmin
    density = colour.density(look.calm)
    frame = trained.frame(density, look.picture, dmin, said)
    theirs = trained.exposures(density, dmin, said) + np.array(frame.balance)
    mean = theirs.mean(axis=1)
    light = mean >= np.median(mean)
    shown = _film(film, said)
    common = exposures(look, shown)[light]
    found = exposures(look, film)[light] + np.array(balance) + exposure
    mine, other = (found - common).mean(axis=0), (theirs[light] - common).mean(axis=0)
    other = other + _kept(film)
    several = film.uncertainty.frames > 1
    level = mean_of(mine.mean(), EXPOSURE[several], other.mean(), UNLIKE * frame.exposure)
    if several:
        unsure = said.cast
        # Frames of a film are balanced alike, but for one that was taken in another light.
        cast = _common(film, shown, said) + np.array(balance) - np.array(film.balance)
    else:
        unsure = float(np.hypot(frame.cast, PLAIN * max(0.0, 1.0 - spread / HUES)))
        cast = mean_of(mine - mine.mean(), CAST[0], other - other.mean(), UNLIKE * unsure)
    note = NetworkNote(
        balance=frame.balance,
        exposure=frame.exposure,
        cast=round(unsure, trained.DIGITS),
        error=frame.error,
        differ=round(float(np.linalg.norm(other - mine)), trained.DIGITS),
    )
    return Weighed(shown, _rounded(cast), round(float(level), 6), note)


def _common(film: Film, shown: Film, said: TrainedFilm) -> Floats:
    """Return the balance of all frames of a film, weighed, for the slopes and matrix of `shown`.

    Both are compared at a grey a little below the level at which its frames are lightest.
    """
    _, slopes = trained.usual_of(said.facts)
    grey = np.array(film.dmin) + slopes * (said.levels[1] - BELOW)
    common = _exposures(grey, shown)
    found = _exposures(grey, film) + np.array(film.balance) - common
    other = trained.exposures(grey[None], film.dmin, said)[0] + np.array(said.balance) - common
    other = other + _kept(film)
    cast = mean_of(found - found.mean(), CAST[1], other - other.mean(), UNLIKE * said.cast)
    return np.asarray(cast)


def _kept(film: Film) -> Floats:
    """Return what is kept of the film's light, log10: the network takes all of it out."""
    light = next(light for light in LIGHTS if light.name == film.light)
    return KEPT * np.array(light.cast)


def _exposures(density: Floats, film: Film) -> Floats:
    x = (density - np.array(film.dmin)) / np.array(film.slopes)
    return np.asarray(x if film.density_matrix is None else np.array(film.density_matrix) @ x)


def _film(film: Film, said: TrainedFilm) -> Film:
    """Return the film with slopes and matrix weighed."""
    usual, slopes = trained.usual_of(said.facts)
    found, other = np.log10(np.array(film.slopes) / slopes), np.array(said.slopes)
    doubt = film.uncertainty
    contrast = mean_of(found.mean(), doubt.contrast, other.mean(), UNLIKE * said.contrast)
    ratios = mean_of(
        found - found.mean(),
        float(np.hypot(doubt.ratios, RATIOS)),
        other - other.mean(),
        UNLIKE * said.ratios,
    )
    plain = bool(np.abs(usual - np.eye(3)).max() < 1e-3)
    off = USUAL_MATRIX_SRGB if plain else USUAL_MATRIX
    beside = mean_of(np.eye(3), off, np.array(said.matrix), UNLIKE * said.beside)
    rows = np.round(beside @ usual, 6)
    rows[np.arange(3), np.arange(3)] += 1.0 - rows.sum(axis=1)
    return replace(
        film,
        slopes=_rounded(slopes * 10.0 ** (contrast + ratios)),
        slopes_source=f"{film.slopes_source}, and a trained network",
        density_matrix=tuple(_rounded(row) for row in rows),
    )


def mean_of(one: Any, deviation: float, other: Any, others: float) -> Any:
    """Return the mean of two values by their precision; deviations are of each."""
    return one + deviation**2 / max(deviation**2 + others**2, 1e-12) * (other - one)


def _rounded(values: Floats) -> Channels:
    return tuple(round(float(value), 6) for value in values)
