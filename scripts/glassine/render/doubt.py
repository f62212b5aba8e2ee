"""A frame's own tone, given its film: its light, its exposure, and how far it may be off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glassine.base.tone import Channels
from glassine.render import layers
from glassine.render.lights import KEPT, LIGHTS
from glassine.render.looks import Floats, Look
from glassine.render.negative_film import UNSEEN, Film, exposures

# Linear light that the lightest part of a negative's picture (all but 0.02 %) is shown as. Grey
# pictures have their lightest part below white more often than colour ones have in no channel.
WHITE = {"colour": 1.02, "monochrome": 0.94}
# Frames of a film whose whites differ by less than this (log10, one standard deviation) were
# exposed alike: one whose lightest part lies lower shows no white, and is believed by this share.
ALIKE, BELIEVED, AT_MOST = 0.12, 0.5, 0.2
# A frame's light is that of most frames of its film, unless something speaks for another.
FRAME_AS_FILM = 0.97


@dataclass(frozen=True)
class Signs:
    """What speaks for and against a frame's tone.

    balance: log10 of exposure, one standard deviation; off: colour of the lightest part that is
    left, in its own deviations; cast: the same in log10; colour: mean distance of the picture from
    grey in log10; contrast: log10, one standard deviation; span: log10 of what the picture spans
    against what is usual; clipped: share of pixels with a channel at its end; unseen: whether no
    film base is seen; frames: of the film.
    """

    balance: float
    off: float
    cast: float
    colour: float
    contrast: float
    span: float
    clipped: float
    unseen: bool
    frames: int


@dataclass(frozen=True)
class Own:
    """What a frame has of its own. balance, exposure: log10 of exposure; light: its name."""

    balance: Channels
    exposure: float
    light: str
    signs: Signs


def own(look: Look, film: Film) -> Own:
    """Return the frame's own part of its tone; pure, and the same every time."""
    balance, light = _balance(look, film)
    level = layers.lightest(look, film, balance)
    exposure = float(np.log10(WHITE[film.process])) - _white(level, film)
    return Own(balance, exposure, light, _signs(look, film, np.array(balance)))


def _white(level: float, film: Film) -> float:
    """Return log10 of exposure of white, for a frame whose lightest part is at `level`."""
    spread = film.uncertainty.white
    if film.white is None or spread is None:
        return level
    share = BELIEVED * float(np.exp(-((spread / ALIKE) ** 2)))
    return level + share * min(max(film.white - level, 0.0), 2 * AT_MOST)


def _balance(look: Look, film: Film) -> tuple[Channels, str]:
    """Return the frame's balance and light: another light than the film's where it fits better."""
    if len(film.channels) != 3 or film.uncertainty.frames < 2 or film.balance_stated:
        return film.balance, film.light
    seen = layers.lightest_part(exposures(look, film) + np.array(film.balance))
    deviation = float(np.hypot(seen.deviation, film.uncertainty.balance))
    usual = next(light for light in LIGHTS if light.name == film.light)
    costs = []
    for light in LIGHTS:
        shift = np.array(light.cast) - np.array(usual.cast)
        off = float(np.linalg.norm(seen.cast - shift)) / deviation
        same = light.name == film.light
        prior = FRAME_AS_FILM if same else (1 - FRAME_AS_FILM) * light.prior
        costs.append(4.0 * np.log1p((off / 2.0) ** 2) * 1.5 - 2.0 * np.log(prior))
    best = LIGHTS[int(np.argmin(costs))]
    if best.name == film.light:
        return film.balance, film.light
    shift = (1.0 - KEPT) * (np.array(best.cast) - np.array(usual.cast))
    return tuple((np.array(film.balance) - shift).tolist()), best.name


def _signs(look: Look, film: Film, balance: Floats) -> Signs:
    x = exposures(look, film) + balance
    colour, cast, off = 0.0, 0.0, 0.0
    if len(film.channels) == 3:
        apart = x[:, [0, 2]] - x[:, 1:2]
        colour = float(np.linalg.norm(np.median(apart, axis=0)))
        seen = layers.lightest_part(x)
        cast = float(np.linalg.norm(seen.cast))
        off = cast / float(np.hypot(seen.deviation, film.uncertainty.balance))
    codes = look.codes[:, list(film.channels)]
    full = np.iinfo(codes.dtype).max
    return Signs(
        balance=film.uncertainty.balance,
        off=off,
        cast=cast,
        colour=colour,
        contrast=film.uncertainty.contrast,
        span=layers.span(look, film),
        clipped=float(np.mean(((codes >= full) | (codes <= 0)).any(axis=1))),
        unseen=film.dmin_source == UNSEEN,
        frames=film.uncertainty.frames,
    )
