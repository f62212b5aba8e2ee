"""Polarity and process of a picture, from its pixels and the border around it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from glassine.locate.view import Floats, mean_of

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# A masked colour negative's clear base is orange: blue density above red by about 0.6
# (C-41 D-min 0.25, 0.6, 0.85; value from memory). Half of that tells it from toned film.
MASK_DENSITY = 0.22


# Kinds whose dark border is the film's own and no mask.
ROLL_FILM = ("strip_135", "strip_120", "cut_frames")


@dataclass
class Character:
    """polarity/process with the trust (0 to 1) in each."""

    polarity: str
    process: str
    polarity_trust: float
    process_trust: float
    stray: float = 0.0

    def alike(self, other: Character) -> bool:
        """Whether both say the same, whatever the trust."""
        return (self.polarity, self.process) == (other.polarity, other.process)


# A picture whose channels stray further than this from one curve has colours of its own.
COLOUR_STRAY = 0.012
# Uneven staining of a grey picture, or a colour picture of grey things, lie between these.
DOUBTFUL_STRAY = (0.0105, 0.0145)
# Half the distance from the lowest to the highest tenth of a normal distribution, in sigma.
TENTHS = 1.28
# Tones denser than this hold more noise than colour.
CLEAR_TONES = 1.6
# A picture has tones to tell colours by where this share of it is no denser than CLEAR_TONES.
CLEAR_SHARE = 0.02
# Ends of the scale of tones (per cent). A mask shows in green as well: so much (density) lies green
# above red at both ends.
TONE_ENDS, VARIED = (1, 99), 0.05
# Black and white negatives span about 1.5 of density, transparencies up to 3: the two are parted
# at SPAN. No negative has a scale longer than SPAN_PLAIN; a short one tells nothing, as there are
# transparencies of mist and snow.
SPAN, SPAN_PLAIN = 1.9, 2.3
# Trust in what was told: by the kind or an orange mask; by the film's own border; by colours; by a
# span of tones that is plain; where it may as well be otherwise; and of a process as a rule, in
# doubt, and where hardly anything but black shows.
BY_KIND, BY_MASK, BY_BORDER, BY_COLOURS, BY_SPAN, UNSURE = 0.98, 0.98, 0.95, 0.9, 0.85, 0.6
PROCESS_PLAIN, PROCESS_DOUBTFUL, PROCESS_DARK = 0.97, 0.7, 0.6
# How many times as far channels must stray in a picture that is nearly black all over.
STRAY_IN_DARK = 5
# Tones are told apart by so much density; one counts where this share of the picture has it.
TONE_STEP, TONE_SHARE = 0.1, 0.004
# In a picture of one colour tints lie off one curve by no more than the first (0.004 in 150 drawn
# ones), in one that has colours of its own by the second and more, in this share of it: less may
# be ink.
OFF_DOUBTFUL, OFF_COLOUR, OFF_AREA = 0.01, 0.02, 0.05
# No stain, toner or lamp makes green by so much (density) the densest or the clearest of three; a
# picture is in colour where it is that in more than this share.
ODD, ODD_SHARE = 0.1, 0.15
# Channels of grey film lie no further apart than those of its own border by so much (0.06 in 150
# drawn ones); of what is toned, or has one hue all over, they do.
TINT = 0.12


def colourfulness(v: Floats) -> float:
    """Return how far the channels stray from one common curve of density, robustly.

    v: (n, 3) tones of a picture, row by row. A toned or stained monochrome picture follows one
    curve. What neighbours differ by is noise and is taken off.
    """
    grey = v.mean(1)
    use = grey < CLEAR_TONES
    if use.mean() < CLEAR_SHARE:
        use = grey < 9
    # Points side by side on the grid: what differs between them is noise more than colour.
    beside = use[:-1] & use[1:]
    terms = np.stack([np.ones_like(grey), grey, grey**2, grey**3], 1)
    spread = 0.0
    for a, b in ((0, 1), (2, 1)):
        d = v[:, a] - v[:, b]
        off = d - terms @ np.linalg.lstsq(terms[use], d[use], rcond=None)[0]
        wide = float(np.percentile(off[use], 90) - np.percentile(off[use], 10)) / 2
        noise = 0.0
        if beside.sum() > 100:
            noise = float(np.median(np.abs(np.diff(off)[beside]))) * 1.4826 / np.sqrt(2)
        spread = max(spread, float(np.sqrt(max(wide**2 - (TENTHS * noise) ** 2, 0.0))))
    return spread


@dataclass(frozen=True)
class Tints:
    """Colours by the tints of single tones, each of which counts, however little of the picture
    has it: a plain wall hides what is before it from `colourfulness`.

    off: how far (density) they lie off one smooth curve; odd: share of the picture with a tint that
    no stain, toner or lamp gives; most: greatest tint (density between channels).
    """

    off: float = 0.0
    odd: float = 0.0
    most: float = 0.0

    @property
    def plain(self) -> bool:
        """Whether they are colours of the picture's own."""
        return self.off > OFF_COLOUR or self.odd > ODD_SHARE

    def unclear(self, own: float) -> bool:
        """Whether they may be colours or not. own: tint (density) of the film's own border."""
        return not self.plain and (self.off > OFF_DOUBTFUL or self.most > TINT + own)


def tints_of(v: Floats) -> Tints:
    """Return the tints of the tones of a picture, (n, 3)."""
    grey = mean_of(v)
    v, grey = v[grey < CLEAR_TONES], grey[grey < CLEAR_TONES]
    if v.shape[1] != 3 or not len(v):
        return Tints()
    step = np.clip(np.floor(grey / TONE_STEP), 0, None).astype(np.int64)
    shares = np.bincount(step) / len(step)
    own = [v[step == k] for k in np.flatnonzero(shares >= TONE_SHARE)]
    middle = np.array([np.median(each, axis=0) for each in own], np.float64)
    green, beside = v[:, 1], v[:, (0, 2)]
    odd = (green > beside.max(1) + ODD) | (green < beside.min(1) - ODD)
    off = _off_a_curve(middle, shares[shares >= TONE_SHARE])
    return Tints(off, float(odd.mean()), float(np.ptp(middle, axis=1).max()))


def _off_a_curve(tones: npt.NDArray[np.float64], shares: npt.NDArray[np.float64]) -> float:
    """Return how far (density) the tints of tones, (n, 3), lie off one smooth curve, in OFF_AREA of
    the picture. shares: of it that have each tone.
    """
    # A curve has fewer bends than there are tones, so that something is left to lie off it.
    bends = 3 if len(tones) > 7 else 2 if len(tones) > 4 else 1
    if len(tones) < bends + 2:
        return 0.0
    weight = np.sqrt(shares)[:, None]
    terms = tones.mean(1)[:, None] ** np.arange(bends + 1)
    tint = tones[:, (0, 2)] - tones[:, 1:2]
    curve = np.linalg.lstsq(terms * weight, tint * weight, rcond=None)[0]
    rest = np.abs(tint - terms @ curve).max(1)
    furthest = np.argsort(-rest)
    reached = int(np.searchsorted(np.cumsum(shares[furthest]), OFF_AREA))
    return float(rest[furthest[min(reached, len(rest) - 1)]])


def mask_of(v: Floats) -> float:
    """Return by how much (density) blue lies above red at both ends of the scale of tones.

    v: (n, 3) tones of a picture. The orange mask of a colour negative lies under all of it: its
    clearest and its densest parts are orange alike. In a transparency the whites are neutral,
    or else the blacks are, whatever it shows.
    """
    if v.shape[1] != 3:
        return 0.0
    clear, dense = np.percentile(v, TONE_ENDS, axis=0)
    if min(clear[1] - clear[0], dense[1] - dense[0]) < VARIED:
        return 0.0
    return float(min(clear[2] - clear[0], dense[2] - dense[0]))


def is_colour(v: Floats) -> bool:
    """Whether (n, 3) tones of a picture hold colours of their own."""
    return v.shape[1] == 3 and (colourfulness(v) > COLOUR_STRAY or tints_of(v).plain)


def character(picture: Floats, border: Floats | None, kind: str, dark_border: bool) -> Character:
    """Decide polarity and process.

    picture: (n, c) tones of the picture; border: (c,) tone of the film's own border around it,
    or None where none is seen; dark_border: whether that border is black.
    """
    colour = picture.shape[1] == 3
    # Negative film is clear where no light fell: what has a black rebate is none.
    rebate = border is not None and dark_border and kind in ROLL_FILM
    mask = 0.0 if rebate else mask_of(picture)
    if colour and border is not None and not dark_border:
        mask = float(border[2] - border[0])
    stray = colourfulness(picture) if colour else 0.0
    tints = tints_of(picture) if colour else Tints()
    # What clipping of 8-bit blacks, noise and unequal channels leave in a grey picture.
    process = (
        "colour"
        if stray > COLOUR_STRAY or tints.plain or (mask > MASK_DENSITY and kind != "print")
        else "monochrome"
    )
    doubtful = DOUBTFUL_STRAY[0] < stray < DOUBTFUL_STRAY[1] and not tints.plain
    if process == "monochrome":
        own = 0.0 if border is None or dark_border else float(np.ptp(border))
        # Paper yellows, and prints are toned, by any amount.
        doubtful = doubtful or tints.unclear(own if kind != "print" else np.inf)
    sure = not doubtful or mask > MASK_DENSITY
    process_trust = PROCESS_PLAIN if sure else PROCESS_DOUBTFUL
    dark = colour and float((mean_of(picture) < CLEAR_TONES).mean()) < CLEAR_SHARE
    if dark and stray < STRAY_IN_DARK * COLOUR_STRAY and mask <= MASK_DENSITY and not tints.plain:
        process_trust = PROCESS_DARK
    found = _polarity(picture, border, kind, dark_border, mask, process)
    return Character(*found[:2], found[2], max(process_trust, found[3]), stray)


def _polarity(
    picture: Floats,
    border: Floats | None,
    kind: str,
    dark_border: bool,
    mask: float,
    process: str,
) -> tuple[str, str, float, float]:
    """Return polarity, process, and the trust in each (0: as it was)."""
    if kind in ("print", "lantern", "mounted_slide"):
        return "positive", process, BY_KIND, 0.0
    if mask > MASK_DENSITY:
        return "negative", "colour", BY_MASK, BY_MASK
    if border is not None and not dark_border and process == "colour":
        # Colours, a light border and no orange mask: a print on a dark board, or one of the few
        # colour negatives without a mask. A person says which.
        return "positive", process, UNSURE, 0.0
    if border is not None and not (dark_border and kind == "frame_135"):
        return "positive" if dark_border else "negative", process, BY_BORDER, 0.0
    # Without a border: a colour picture without an orange mask is a transparency.
    if process == "colour":
        return "positive", process, BY_COLOURS, 0.0
    low, high = np.percentile(picture.mean(1), TONE_ENDS)
    # Black and white film without any border: a negative by far most often.
    span = float(high - low)
    return (
        "positive" if span > SPAN else "negative",
        process,
        BY_SPAN if span > SPAN_PLAIN else UNSURE,
        0.0,
    )
