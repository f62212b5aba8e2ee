"""A frame's own tone, given its film: its light, its exposure, and how far it may be off."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from glassine.base.tone import Channels, NetworkNote
from glassine.render import layers, weighed
from glassine.render.lights import DAYLIGHT, KEPT, LIGHTS
from glassine.render.looks import Look
from glassine.render.negative_film import UNSEEN, Film, exposures

# Linear light that the lightest part of a negative's picture (all but 0.02 %) is shown as. Grey
# pictures have their lightest part below white more often than colour ones have in no channel.
WHITE = {"colour": 1.0, "monochrome": 0.94}
# Frames of a film whose whites differ by less than this (log10, one standard deviation) were
# exposed alike: one whose lightest part lies lower shows no white, and is believed by this share.
ALIKE, BELIEVED, AT_MOST = 0.2, 0.8, 0.2
# Expected mean CIEDE2000 over which a person should look, of one frame alone and of several of a
# film, whose errors are less apart; and the share of clipped pixels.
REVIEW_ABOVE, REVIEW_CLIPPED = (6.8, 7.2), 0.02
# One channel this far (log10) above what may be white: of 20 such frames nine were wrong by
# more than 12, one was right within 6 (tests/benchmarks/tone/README.md).
REVIEW_BEYOND = 0.2
# Colours that differ by less than this (log10, one standard deviation) are of one hue.
FEW_HUES = 0.12
# Nearer to grey than this (log10, red and blue against green) a pixel has no colour.
GREY = 0.08
# Grey pictures: mean difference of L*, of one frame and of several; and of one whose middle and
# darkest tenth are this near to its lightest part (log10): of 48 on films of tests/makers ten were
# so, three of the five that were wrong by more than 12 among them.
GREY_ERROR = (5.0, 4.5)
NO_WHITE, NO_WHITE_ERROR = (-0.5, -1.2), 9.0
# What is left where nothing speaks against a frame: of a film, of one frame alone.
SHARED, SINGLE = {"least": 2.0}, {"least": 2.1}
# Share of the expected error that the trained network says, where it is asked. Chosen with the
# limits as they were on films 500 and 501 of the judge (tests/benchmarks/tone/README.md).
BY_NETWORK = 0.3
# A frame's light is that of most frames of its film, unless something speaks for another.
FRAME_AS_FILM = 0.97


@dataclass(frozen=True)
class Signs:
    """What speaks for and against a colour frame's tone. log10 of exposure, unless said.

    top: how much colour the lightest of each channel has, though it should be neutral; spread: how
    far colours differ from one another along their main direction, one standard deviation; middle:
    how far the middle of the picture is below its lightest part; alone: by how much the lightest
    channel of anything is above the second of its three; level: of the lightest part above D-min;
    coloured: share of the picture that is not grey; span: of what the picture spans against what is
    usual; lamps: whether it was taken in another light than daylight, other_light: than its film;
    unseen: whether no film base is seen; whites: how far the whites of the film's frames differ;
    balance: of the film, one standard deviation; frames: of the film. network: mean CIEDE2000 that
    the trained network expects, None where it was not asked; differ: how far what it says is from
    what `layers` finds.
    """

    top: float
    spread: float
    middle: float
    alone: float
    level: float
    coloured: float
    span: float
    lamps: bool
    other_light: bool
    unseen: bool
    whites: float
    balance: float
    frames: int
    network: float | None = None
    differ: float = 0.0

    def parts(self) -> dict[str, float]:
        """Return what the expected error is the sum of, mean CIEDE2000, by what it is of.

        Fitted (least squares of what counts in its square root, no negative factor) to films of
        tests/makers/tone, those filled by one colour among them: tests/benchmarks/tone/README.md.
        A frame alone rests on its own colours: the fewer hues it shows, the less they tell. One
        of a film that is lightest in a plain colour is of one colour, or of another light than the
        others, and which of these the film does not tell: from 0.25 on that counts more than
        fitted. With the limit for films it was chosen on 444 frames of films of six.
        """
        bright = min(max(self.middle + 0.8, 0.0), 0.5)
        dense = min(max(self.level - 2.6, 0.0), 0.8)
        alone = min(max(self.alone, 0.0), 0.5)
        top = min(self.top, 0.4)
        if self.frames > 1:
            return SHARED | {
                "top": 2.1 * top + 10.0 * min(max(self.top - 0.25, 0.0), 0.2),
                "hues": 0.6 * self.coloured,
                "bright": 6.5 * bright,
                "alone": 1.3 * alone,
                "light": 2.2 * self.lamps + 2.9 * self.other_light,
                "dense": 5.0 * dense,
                "film": 3.1 * min(self.whites, 0.3) + 5.3 * min(10.0 * self.balance, 1.0),
            }
        dull = 10.5 * min(max(-self.span, 0.0), 0.6) if self.unseen else 0.0
        return SINGLE | {
            "top": 3.3 * top,
            "hues": 32.5 * max(0.2 - self.spread, 0.0) + 2.2 * self.coloured,
            "bright": 5.1 * bright,
            "alone": 8.8 * alone,
            "light": 3.7 * self.lamps,
            "faint": 3.5 * min(max(2.1 - self.level, 0.0), 0.6),
            "dense": 2.9 * dense,
            "base": 1.0 * self.unseen + dull,
        }

    def expected_error(self) -> float:
        """Return the mean CIEDE2000 that a colour picture is likely to be off by: by the signs, and
        by what the trained network expects where it was asked."""
        by_signs = sum(self.parts().values())
        if self.network is None:
            return by_signs
        return by_signs + BY_NETWORK * (self.network - by_signs)


@dataclass(frozen=True)
class Own:
    """What a frame has of its own. film: with the slopes and the matrix that it is rendered with;
    balance, exposure: log10 of exposure, for these; light: its name;
    signs: None of grey pictures; expected_error: mean CIEDE2000, of grey pictures mean difference
    of L*; review: why a person should look; network: what the trained network says of it, None
    where it was not asked."""

    film: Film
    balance: Channels
    exposure: float
    light: str
    signs: Signs | None
    expected_error: float
    review: tuple[str, ...]
    network: NetworkNote | None = None


def own(look: Look, film: Film) -> Own:
    """Return the frame's own part of its tone; pure, and the same every time."""
    balance, light = _balance(look, film)
    level = layers.lightest(look, film, balance)
    exposure = float(np.log10(WHITE[film.process])) - _white(level, film)
    coloured = len(film.channels) == 3
    signs = _signs(look, film, Balance(balance, light)) if coloured else None
    both = weighed.weighed(look, film, balance, exposure, signs.spread) if signs else None
    if signs and both:
        signs = replace(signs, network=both.network.error, differ=both.network.differ)
    if signs:
        error = signs.expected_error()
        review = _review(signs, error)
    else:
        error, review = _grey(look, film, level)
    clipped = _clipped(look, film)
    if clipped > REVIEW_CLIPPED:
        review += (
            f"In {clipped:.0%} of the picture a channel is clipped in the master: what was "
            "there is lost. Capture it again with less light, or with more where it is black.",
        )
    if coloured and layers.beyond(look, film, balance) > REVIEW_BEYOND:
        review += (
            "Its lightest part is a colour that one channel shows far beyond the others: the film "
            "or the master's profile cannot hold it, so exposure and colours are a guess. Look "
            "whether they are right; a master in a wider or linear encoding holds more.",
        )
    found = Own(film, balance, exposure, light, signs, round(error, 1), review)
    if both is None:
        return found
    return replace(
        found,
        film=both.film,
        balance=both.balance,
        exposure=both.exposure,
        network=both.network,
    )


# What a person is told, by the part of the expected error that is largest.
_WHY = {
    "hues": "its colours differ little from one another",
    "base": "it shows little light and shade",
    "top": "its brightest parts have a colour",
    "bright": "nothing in it stands out as white",
    "alone": "its brightest part is one strong colour",
    "light": "it seems to have been taken in another light than daylight",
    "dense": "its brightest part is denser than films mostly get",
    "faint": "little light fell on the film, so that nothing in it may be white",
    "film": "the frames of its film agree little",
}


def _review(signs: Signs, error: float) -> tuple[str, ...]:
    """Return why a person should look at a colour picture's tone."""
    if error <= REVIEW_ABOVE[signs.frames > 1]:
        return ()
    parts = signs.parts()
    largest = max((name for name in parts if name != "least"), key=lambda name: parts[name])
    one = signs.spread < FEW_HUES and largest in ("hues", "base")
    why = "one colour fills the frame, or hardly any," if one else _WHY[largest]
    why = why if signs.frames < 2 else why.rstrip(",")
    known = " and no other frame of this film is known" if signs.frames < 2 else ""
    base = "; no film base is seen either" if signs.unseen else ""
    return (
        f"Its colours are likely to be off (CIEDE2000 {error:.0f}): {why}{known}{base}. Look "
        "whether they are right; `film_stock` or `slopes` in batch.yaml make them surer.",
    )


def _grey(look: Look, film: Film, level: float) -> tuple[float, tuple[str, ...]]:
    """Return how far off a grey picture's lightness is likely to be, and why one should look."""
    if film.uncertainty.frames > 1:
        return GREY_ERROR[1], ()
    darkest, middle = np.percentile(exposures(look, film)[:, 0], [10, 50]) - level
    if middle <= NO_WHITE[0] or darkest <= NO_WHITE[1]:
        return GREY_ERROR[0], ()
    return NO_WHITE_ERROR, (
        "It may be shown much too light: nothing in it stands out as white, nor as black, and no "
        "other frame of this film is known. Look whether it is right; naming its `film` in "
        "batch.yaml makes it surer.",
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


@dataclass(frozen=True)
class Balance:
    """A frame's balance (log10 of exposure) and the light that it was taken in."""

    value: Channels
    light: str


def _signs(look: Look, film: Film, balance: Balance) -> Signs:
    x = exposures(look, film) + np.array(balance.value)
    apart = x[:, [0, 2]] - x[:, 1:2]
    top = layers.lightest_of_each(x)
    level = layers.lightest(look, film, balance.value)
    return Signs(
        top=float(np.linalg.norm(top)),
        spread=float(np.sqrt(np.linalg.eigvalsh(np.cov(apart.T))[-1])),
        middle=float(np.median(x.mean(axis=1))) - level,
        alone=layers.alone(look, film, balance.value),
        level=level,
        coloured=float(np.mean(np.linalg.norm(apart, axis=1) >= GREY)),
        span=layers.span(look, film),
        lamps=balance.light != DAYLIGHT,
        other_light=balance.light != film.light,
        unseen=film.dmin_source == UNSEEN,
        whites=film.uncertainty.white or 0.0,
        balance=film.uncertainty.balance,
        frames=film.uncertainty.frames,
    )


def _clipped(look: Look, film: Film) -> float:
    """Return the share of pixels with a channel at its end in the master."""
    codes = look.codes[:, list(film.channels)]
    full = np.iinfo(codes.dtype).max
    return float(np.mean(((codes >= full) | (codes <= 0)).any(axis=1)))
