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
# Expected mean CIEDE2000 over which a person should look, and the share of clipped pixels.
REVIEW_ABOVE, REVIEW_CLIPPED = 8.0, 0.02
# One channel this far (log10) above what may be white: of 20 such frames nine were wrong by
# more than 12, one was right within 6 (tests/benchmarks/tone/README.md).
REVIEW_BEYOND = 0.2
# Of grey pictures nothing tells a better guess from a worse one: mean difference of L*, of one
# frame and of several.
GREY_ERROR = (5.0, 4.5)
# A frame's light is that of most frames of its film, unless something speaks for another.
FRAME_AS_FILM = 0.97


@dataclass(frozen=True)
class Signs:
    """What speaks for and against a frame's tone.

    balance: log10 of exposure, one standard deviation; off: colour of the lightest part that is
    left, in its own deviations; cast: the same in log10; shifted: the balance, log10; colour: mean
    distance of the picture from grey in log10, and one_colour: which share of this is of one hue;
    contrast: log10, one standard deviation; span: log10 of what the picture spans
    against what is usual; clipped: share of pixels with a channel at its end; unseen: whether no
    film base is seen; frames: of the film.
    """

    balance: float
    off: float
    cast: float
    shifted: float
    colour: float
    one_colour: float
    contrast: float
    span: float
    clipped: float
    unseen: bool
    frames: int

    def expected_error(self) -> float:
        """Return the mean CIEDE2000 that a colour picture is likely to be off by.

        Fitted (least squares, no negative factor) to 576 frames of films of tests/makers/tone, of
        which it explains a third of the variance: tests/benchmarks/tone/README.md.
        """
        cast, dull = min(self.cast, 0.5), min(max(0.0, -self.span), 0.6)
        shifted = min(self.shifted, 0.6)
        error = 5.5 + 2.3 * cast + 2.3 * dull + 1.0 * self.one_colour
        if self.frames > 1:
            return error + 2.3 * shifted
        error += 11.0 * shifted + 4.9 * dull
        return error + (6.3 * cast + 11.8 * dull if self.unseen else 0.0)


@dataclass(frozen=True)
class Own:
    """What a frame has of its own. balance, exposure: log10 of exposure; light: its name;
    expected_error: mean CIEDE2000, of grey pictures mean difference of L*; review: why a person
    should look."""

    balance: Channels
    exposure: float
    light: str
    signs: Signs
    expected_error: float
    review: tuple[str, ...]


def own(look: Look, film: Film) -> Own:
    """Return the frame's own part of its tone; pure, and the same every time."""
    balance, light = _balance(look, film)
    level = layers.lightest(look, film, balance)
    exposure = float(np.log10(WHITE[film.process])) - _white(level, film)
    signs = _signs(look, film, np.array(balance))
    coloured = len(film.channels) == 3
    error = signs.expected_error() if coloured else GREY_ERROR[signs.frames > 1]
    review = _review(signs, error) if coloured else ()
    if signs.clipped > REVIEW_CLIPPED:
        review += (
            f"In {signs.clipped:.0%} of the picture a channel is clipped in the master: what was "
            "there is lost. Capture it again with less light, or with more where it is black.",
        )
    if coloured and layers.beyond(look, film, balance) > REVIEW_BEYOND:
        review += (
            "Its lightest part is a colour that one channel shows far beyond the others: the film "
            "or the master's profile cannot hold it, so exposure and colours are a guess. Look "
            "whether they are right; a master in a wider or linear encoding holds more.",
        )
    return Own(balance, exposure, light, signs, round(error, 1), review)


def _review(signs: Signs, error: float) -> tuple[str, ...]:
    """Return why a person should look at a colour picture's tone."""
    if error <= REVIEW_ABOVE:
        return ()
    if signs.frames > 1:
        why = "it is unlike the other frames of this film"
    elif signs.one_colour > 0.5:
        why = "one colour fills the frame and no other frame of this film is known"
    elif signs.span < -0.15:
        why = "it shows little light and shade and no other frame of this film is known"
    else:
        why = "its lightest part has a colour and no other frame of this film is known"
    base = "; no film base is seen either" if signs.unseen else ""
    return (
        f"Its colours are likely to be off (CIEDE2000 {error:.0f}): {why}{base}. Look whether they "
        "are right; `film_stock` or `slopes` in batch.yaml make them surer.",
    )


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
    colour, one_colour, cast, off = 0.0, 0.0, 0.0, 0.0
    if len(film.channels) == 3:
        apart = x[:, [0, 2]] - x[:, 1:2]
        colour = float(np.linalg.norm(apart, axis=1).mean())
        one_colour = float(np.linalg.norm(apart.mean(axis=0))) / max(colour, 1e-6)
        seen = layers.lightest_part(x)
        cast = float(np.linalg.norm(seen.cast))
        off = cast / float(np.hypot(seen.deviation, film.uncertainty.balance))
    codes = look.codes[:, list(film.channels)]
    full = np.iinfo(codes.dtype).max
    return Signs(
        balance=film.uncertainty.balance,
        off=off,
        cast=cast,
        shifted=float(np.linalg.norm(balance)),
        colour=colour,
        one_colour=one_colour,
        contrast=film.uncertainty.contrast,
        span=layers.span(look, film),
        clipped=float(np.mean(((codes >= full) | (codes <= 0)).any(axis=1))),
        unseen=film.dmin_source == UNSEEN,
        frames=film.uncertainty.frames,
    )
