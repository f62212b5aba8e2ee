"""A film estimated from its pictures: contrast, its three layers matched, light, and how surely.

`estimate` is one function for the frames of one master and for those of a film that lies on many:
the more frames, the surer. It reads no file and keeps nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.masters import ranks
from glassine.render.lights import KEPT, LIGHTS, Light
from glassine.render.looks import MAX_SAMPLES, Floats, Look
from glassine.render.negative_film import (
    UNSEEN,
    UNSTATED,
    Film,
    Uncertainty,
    exposures,
)

# How far apart things usually are, in log10 (one standard deviation). slope: each layer's slope
# from the usual one (0.5 to 0.7 evenly); balance: the layers' speeds, and with them what D-min is
# wrong by where no film base is seen, and unseen: how much more for what the pictures span less
# than usual; base: usual film bases from one another (density); highlight, steps: what is seen at
# its best. gap: how much of the way from the lightest part to white may be colour; width: what the
# breadth of the commonest ratio of steps adds, squared; outlier: from so many deviations on
# evidence counts less. Chosen on tests/benchmarks/tone, where the result depends on none sharply.
USUAL = {
    "slope": 0.05,
    "balance": 0.045,
    "odd": 1.0,
    "balance_unseen": 0.06,
    "unseen": 0.4,
    "base": 0.15,
    "highlight": 0.01,
    "gap": 0.5,
    "cue": 0.06,
    "steps": 0.004,
    "width": 1.7,
    "outlier": 2.0,
}
# What is lightest in a picture without being white is more often yellow than blue: bright yellows
# are usual, blues are dark. So of a lightest part that is less sure than `WHITE_WITHIN` (one
# standard deviation, log10) this much of what exceeds it, at most `WARM_AT_MOST`, is taken for its
# own colour; red, green, blue. Of 106 pictures, 79 of them photographs, the 46 that are less sure
# are off by (0.04, 0.01, -0.04) in the median, the others by less than 0.005: see
# tests/benchmarks/tone.
WARM, WHITE_WITHIN, WARM_AT_MOST = (1.2, 0.8, -2.0), 0.025, 0.03
# So many frames tell that the speeds of a film's layers are odd.
SEVERAL = 3
# No film's layers differ more from their mean slope, log10: what fading and broad bands do.
MAX_RATIO = 0.2
# What pictures span from all but the darkest half per cent to all but the lightest thousandth,
# log10 of exposure, and how much this differs (log10 of it) towards more and towards less; measured
# on 44 photographs as films of tests/makers/tone show them. common: what all frames of a film may
# have in common in this.
SPAN = {"middle": 1.80, "more": 0.085, "less": 0.12, "common": 0.03}
# Contrast of usual films, log10 (one standard deviation): see negative_film.
CONTRAST = {"colour": 0.08, "monochrome": 0.075}


def estimate(looks: Sequence[Look], known: Film) -> Film:
    """Return the film that `looks` show: what is stated in `known` is kept, the rest is found.

    looks: frames of one film, of one master or of many (each with its `base` then); without any,
    `known` is returned. Slopes that are stated are kept. Else those of `known` stand for usual
    film, and contrast, the differences between channels and the balance are estimated, by what
    usual films are and by what the pictures show. What contradicts the rest counts little, so
    that a sunset stays one, and so does one odd frame among many.
    """
    if not looks:
        return known
    stated = known.slopes_source != UNSTATED
    film = known
    contrast = 0.01
    if not stated:
        shift, contrast = _contrast(looks, known)
        film = replace(known, slopes=tuple((np.array(known.slopes) * 10.0**shift).tolist()))
    if len(film.channels) != 3:
        source = film.learned.source if film.learned else film.slopes_source
        grey = Uncertainty(contrast, 0.0, 0.0, None, len(looks))
        film = replace(film, slopes_source=source, uncertainty=grey)
    else:
        film = _matched(film, looks, stated, contrast)
    return _with_white(film, looks)


def _contrast(looks: Sequence[Look], film: Film) -> tuple[float, float]:
    """Return (log10 change of the slopes, its standard deviation) by what the pictures span.

    A picture that spans more than is usual was hardly taken of more light and shade, so the film
    is steeper than was thought; one that spans less may be a dull view. So the most likely change
    is sought under a prior for films and a lopsided one for pictures, whose tail is heavy.
    """
    usual = film.learned.contrast if film.learned else CONTRAST[film.process]
    spans = np.array([span(look, film) for look in looks])
    shifts = np.linspace(-0.3, 0.3, 121)
    off = spans[:, None] - shifts
    deviation = np.where(off > 0, SPAN["more"], SPAN["less"])
    # Student's t with 3 degrees of freedom.
    chance = -2.0 * np.log1p((off / deviation) ** 2 / 3.0).sum(axis=0) - (shifts / usual) ** 2 / 2
    chance = np.exp(chance - chance.max())
    chance /= chance.sum()
    mean = float(np.sum(chance * shifts))
    return mean, float(np.hypot(np.sqrt(np.sum(chance * (shifts - mean) ** 2)), SPAN["common"]))


def span(look: Look, film: Film) -> float:
    """Return log10 of what a picture spans on this film against what is usual."""
    x = exposures(look, film).mean(axis=1)
    low, high = ranks.percentile(x, 0.5), ranks.percentile(x, 99.9)
    return float(np.log10(max(float(high - low), 0.05) / SPAN["middle"]))


def _matched(film: Film, looks: Sequence[Look], stated: bool, contrast: float) -> Film:
    """Return `film` with its layers matched and the light told that most frames were taken in."""
    seen: list[_Evidence] = []
    for look in looks:
        seen += _highlight(look, film)
        seen += [] if stated else _shades(look, np.array(film.slopes))
    usual = USUAL["balance"]
    found = [_layers(_usual(film, looks, stated, light, usual) + seen, light) for light in LIGHTS]
    light, best = min(zip(LIGHTS, found, strict=True), key=lambda pair: pair[1].cost)
    if film.balance_stated:
        light, best = LIGHTS[0], found[0]
    if len(looks) >= SEVERAL:
        best = _layers(_usual(film, looks, stated, light, _speeds(best, light)) + seen, light)
    start = film.learned.source if film.learned else film.slopes_source
    source = film.slopes_source if stated else f"{start}, channels matched on the pictures"
    balance = np.array(film.balance) if film.balance_stated else best.balance
    ratios, doubt = best.deviations()
    return replace(
        film,
        slopes=tuple((np.array(film.slopes) * 10.0**best.ratios).tolist()),
        slopes_source=source,
        balance=tuple((balance + KEPT * np.array(light.cast)).tolist()),
        light=light.name,
        uncertainty=Uncertainty(
            contrast, ratios, 0.0 if film.balance_stated else doubt, None, len(looks)
        ),
    )


@dataclass(frozen=True)
class _Layers:
    """ratios, balance: log10 per channel, each of mean 0; cost: twice the negative logarithm of
    how likely; covariance: of ratios and balance, 6 x 6."""

    ratios: Floats
    balance: Floats
    cost: float
    covariance: Floats

    def deviations(self) -> tuple[float, float]:
        """Return the mean standard deviation of ratios and of balance, their mean left out."""
        apart = np.eye(3) - 1 / 3
        parts = [apart @ self.covariance[k : k + 3, k : k + 3] @ apart for k in (0, 3)]
        ratios, balance = (float(np.sqrt(np.trace(part) / 3)) for part in parts)
        return ratios, balance


def _with_white(film: Film, looks: Sequence[Look]) -> Film:
    """Return `film` with where white lies on most of the frames, and how much they differ in it."""
    if len(looks) < 3:
        return film
    levels = np.array([lightest(look, film, film.balance) for look in looks])
    # Pictures without white lie below: the upper half tells.
    white = float(np.percentile(levels, 70))
    spread = float(np.median(np.abs(levels - np.median(levels)))) * 1.48
    return replace(film, white=white, uncertainty=replace(film.uncertainty, white=spread))


# Glints farther above the lightest half per cent than this (log10) are rolled off; and one channel
# farther above the second of the three is no white but a colour that the film or the profile cannot
# hold (a channel of the master at its end counts for any density).
GLINTS, ONE_CHANNEL = 0.2, 0.15
# Edges are looked at in a picture of this long edge, px: what is kept of a frame for its film is
# rarely smaller, so that both tell the same. Steps need all that is there.
EDGES_PX = 128


def lightest(look: Look, film: Film, balance: Sequence[float]) -> float:
    """Return log10 of exposure of the lightest part: the lightest channel of all but 0.02 % of
    the pixels, glints and what only one channel shows left out."""
    top, level = _tops(look, film, balance)
    return min(top, level)


def beyond(look: Look, film: Film, balance: Sequence[float]) -> float:
    """Return by how much (log10 of exposure) one channel alone is above the lightest part."""
    top, level = _tops(look, film, balance)
    return max(0.0, top - level)


def alone(look: Look, film: Film, balance: Sequence[float]) -> float:
    """Return by how much (log10 of exposure) the lightest channel of three is above the second."""
    top, second = _two_highest(exposures(look, film) + np.array(balance))
    return float(ranks.percentile(top, 99.98) - ranks.percentile(second, 99.98))


def _tops(look: Look, film: Film, balance: Sequence[float]) -> tuple[float, float]:
    """Return log10 of exposure of the lightest channel, and how much of it may be white."""
    x = exposures(look, film) + np.array(balance)
    highest, second = _two_highest(x)
    most, top = ranks.percentile(highest, 99.5), ranks.percentile(highest, 99.98)
    level = min(float(top), float(most) + GLINTS)
    if x.shape[1] < 3:
        return level, level
    return level, float(ranks.percentile(second, 99.98)) + ONE_CHANNEL


def _two_highest(x: Floats) -> tuple[Floats, Floats]:
    """Return the highest and the second of each row of (n, channels); of one channel, it twice.

    As sorted rows have them, in a tenth of the time."""
    highest = second = x[:, 0]
    for channel in range(1, x.shape[1]):
        lower = np.minimum(highest, x[:, channel])
        highest = np.maximum(highest, x[:, channel])
        second = lower if channel == 1 else np.maximum(second, lower)
    return highest, second


@dataclass(frozen=True)
class _Evidence:
    """One thing seen or known of the three layers: `row` times (slopes, balance) is `value`.

    row: six factors, of the log10 changes of the slopes and of the balance in log10 exposure;
    deviation: standard deviation of the value; seen: may be wrong altogether (an outlier).
    """

    row: Floats
    value: float
    deviation: float
    seen: bool


def _layers(evidence: list[_Evidence], light: Light) -> _Layers:
    """Return slopes and balance of the layers, if the pictures were taken in `light`.

    Weighed against each other: what is usual of films; the lightest parts, which are the more
    surely neutral the nearer they are to white in every channel; steps of brightness, most of
    which are of light and shade and so change all channels alike, the more surely the more
    alike they are.
    """
    solution, cost, covariance = _weighed(evidence)
    ratios, balance = solution[:3] - solution[:3].mean(), solution[3:] - solution[3:].mean()
    cost -= 2.0 * float(np.log(light.prior))
    return _Layers(np.clip(ratios, -MAX_RATIO, MAX_RATIO), balance, cost, covariance)


def _speeds(found: _Layers, light: Light) -> float:
    """Return how far the speeds of a film's layers may differ, log10, once several frames agree
    that they do: the farther they are from usual ones, the less usual ones say of the film.

    It must not be asked before the light is told: odd speeds explain any light.
    """
    odd = found.balance + np.array(light.cast)
    return float(np.hypot(USUAL["balance"], USUAL["odd"] * np.sqrt(np.mean(odd**2))))


def _usual(
    film: Film, looks: Sequence[Look], stated: bool, light: Light, speeds: float
) -> list[_Evidence]:
    """Return what is known of films in `light` before any is seen; stated: slopes are not to be
    changed; speeds: how far the layers' may differ, log10, one standard deviation."""
    seen = film.dmin_source != UNSEEN
    balance = speeds if seen else max(speeds, _thin_part(looks, film))
    slope = film.learned.ratios if film.learned else USUAL["slope"]
    spread = [1e-6 if stated else slope] * 3 + [balance] * 3
    middle = [0.0] * 3 + [-part for part in light.cast]
    known = [_Evidence(np.eye(6)[k], middle[k], spread[k], seen=False) for k in range(6)]
    if seen or film.usual_base is None:
        return known
    # Where the thinnest part stands for the base, the base itself is one of usual films.
    off = (np.array(film.dmin) - np.array(film.usual_base)) / np.array(film.slopes)
    off = off - off.mean() + np.array(middle[3:])
    deviation = USUAL["base"] / float(np.mean(film.slopes))
    return known + [_Evidence(np.eye(6)[k + 3], float(off[k]), deviation, False) for k in range(3)]


def _thin_part(looks: Sequence[Look], film: Film) -> float:
    """Return by how much the balance may be off where the thinnest part stands for the base.

    The less the pictures span, the less likely is it that anything in them was black.
    """
    reach = max(float(np.percentile(exposures(look, film).mean(axis=1), 99.9)) for look in looks)
    return USUAL["balance_unseen"] + USUAL["unseen"] * max(0.0, SPAN["middle"] - reach)


@dataclass(frozen=True)
class Lightest:
    """The colour (log10 of exposure, mean 0) and level of the lightest part, and how far colour
    may be its own: one standard deviation."""

    cast: Floats
    level: float
    deviation: float


def lightest_part(x: Floats) -> Lightest:
    """Return what the lightest part of exposures (n, 3) is: nothing is lighter than white in any
    channel.

    The wider the gap between the lightest channel of anything and the lightest part, once that
    is taken for neutral, the more colour it may have.
    """
    light = _lightest(x)
    cast = light - light.mean()
    lightest_channel, _ = _two_highest(x - cast)
    gap = max(0.0, float(ranks.percentile(lightest_channel, 99.98) - light.mean()))
    return Lightest(cast, float(light.mean()), USUAL["highlight"] + USUAL["gap"] * gap)


def neutral(look: Look, film: Film) -> Lightest:
    """Return what the picture shows of the neutral axis: three cues, weighed, as one.

    The lightest part; the lightest of each channel; the strongest edges of each channel (the mean
    of their fifth powers: light and shade change all channels alike). They are of the same pixels
    more or less, so together they count as one witness, which is as unsure as the cues differ.
    The more one channel alone is above the others, the less the second and third say. What is
    usual of a lightest part that is no white (`WARM`) is taken off.
    """
    x = exposures(look, film)
    seen = lightest_part(x)
    top, second = (float(ranks.percentile(each, 99.98)) for each in _two_highest(x - seen.cast))
    cues = [seen.cast, lightest_of_each(x)]
    if look.picture is not None:
        cues.append(_edges(_reduced(look.picture), film))
    others = USUAL["cue"] + USUAL["gap"] * max(0.0, top - second - ONE_CHANNEL)
    weight = np.array([seen.deviation] + [others] * (len(cues) - 1)) ** -2.0
    each = np.stack(cues)
    cast = (each * weight[:, None]).sum(axis=0) / weight.sum()
    apart = float((weight[:, None] * (each - cast) ** 2).sum() / weight.sum() / 3)
    deviation = float(np.sqrt(1.0 / weight.sum() + apart))
    unsure = min(max(deviation - WHITE_WITHIN, 0.0), WARM_AT_MOST)
    return Lightest(cast - unsure * np.array(WARM), seen.level, deviation)


def lightest_of_each(x: Floats) -> Floats:
    """Return the colour (log10, mean 0) of what is lightest in each channel of exposures (n, 3)."""
    most = np.array([ranks.percentile(x[:, channel], 99.9) for channel in range(x.shape[1])])
    return np.asarray(most - most.mean())


def _reduced(picture: Floats) -> Floats:
    """Return a picture's density at `EDGES_PX`, or as it is where it is smaller."""
    shrink = min(1.0, EDGES_PX / max(picture.shape[:2]))
    small = cv2.resize(picture, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float64)


def _edges(picture: Floats, film: Film) -> Floats:
    """Return the colour (log10, mean 0) of the strongest edges of a picture (density, h, w, 3)."""
    x = (picture - np.array(film.dmin)) / np.array(film.slopes)
    if film.density_matrix is not None:
        x = x @ np.array(film.density_matrix).T
    light = (10.0 ** np.minimum(x, 4.0)).astype(np.float32)
    smooth = cv2.GaussianBlur(light, (0, 0), 1.0).astype(np.float64)
    edges = np.hypot(np.diff(smooth, axis=1)[1:], np.diff(smooth, axis=0)[:, 1:])
    colour = np.log10((edges**5).mean(axis=(0, 1)) + 1e-12) / 5
    return np.asarray(colour - colour.mean())


def _highlight(look: Look, film: Film) -> list[_Evidence]:
    """Return that the lightest parts are neutral."""
    seen = neutral(look, film)
    # A slope larger by the factor 10 ** r lowers x at the lightest part by x ln 10 r.
    pull = max(seen.level, 0.3) * np.log(10.0)
    apart = np.eye(3) - 1 / 3
    mix = np.eye(3) if film.density_matrix is None else np.array(film.density_matrix)
    rows = np.hstack([-pull * apart @ mix, apart])
    return [_Evidence(rows[k], -float(seen.cast[k]), seen.deviation, seen=True) for k in range(3)]


def _weighed(evidence: list[_Evidence]) -> tuple[Floats, float, Floats]:
    """Return the six unknowns by least squares, with less weight for what is far off (Cauchy);
    then the cost of what is left, and the unknowns' covariance."""
    rows = np.stack([one.row for one in evidence])
    value = np.array([one.value for one in evidence])
    deviation = np.array([one.deviation for one in evidence])
    from_pictures = np.array([one.seen for one in evidence])
    solution = np.zeros(6)
    for turn in range(30):
        off = (rows @ solution - value) / deviation
        weight = 1.0 / (1.0 + (off / USUAL["outlier"]) ** 2)
        # From the usual film all that is seen may be far off: nothing is let go at once.
        weight = np.maximum(weight, 0.2) if turn < 3 else weight
        scale = np.sqrt(np.where(from_pictures, weight, 1.0)) / deviation
        solution = np.linalg.lstsq(rows * scale[:, None], value * scale, rcond=None)[0]
    off = (rows @ solution - value) / deviation
    outlier = USUAL["outlier"]
    cost = np.where(from_pictures, outlier**2 * np.log1p((off / outlier) ** 2), off**2).sum()
    scaled = rows * scale[:, None]
    return np.asarray(solution), float(cost), np.linalg.inv(scaled.T @ scaled)


def _lightest(x: Floats) -> Floats:
    """Return the mean log exposure of the 1 % of pixels whose weakest channel is highest."""
    weakest = _weakest(x)
    return np.asarray(x[weakest >= ranks.percentile(weakest, 99)].mean(axis=0))


def _weakest(x: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return the least channel of (..., channels); much faster than numpy's own."""
    return reduce(np.minimum, [x[..., channel] for channel in range(x.shape[-1])])


def _shades(look: Look, slopes: Floats) -> list[_Evidence]:
    """Return what steps of brightness say of the slopes of red and blue against green.

    Steps are differences of density over 2, 4 and 8 px of a reduced picture. Light and shade on
    one thing change all exposures alike, so the commonest ratio of steps is that of the slopes.
    Nothing is returned where too few steps are seen.
    """
    if look.picture is None:
        return []
    steps = _steps(look.picture / slopes)
    size = np.linalg.norm(steps, axis=1)
    steps, size = steps[size > 0.08], size[size > 0.08]
    if len(steps) < 300:
        return []
    evidence = []
    for band in (0, 2):
        ratio, width = _common_ratio(steps, size, band)
        row = np.zeros(6)
        row[band], row[1] = 1.0, -1.0
        deviation = USUAL["steps"] + USUAL["width"] * width**2
        evidence.append(_Evidence(row, ratio, deviation, seen=True))
    return evidence


def _steps(density: Floats) -> Floats:
    smooth = cv2.GaussianBlur(density.astype(np.float32), (0, 0), 1.0)
    densest = _weakest(smooth)
    good = densest > ranks.percentile(densest, 0.5) + 0.25
    parts = []
    for lag in (2, 4, 8):
        across = smooth[:, lag:] - smooth[:, :-lag]
        down = smooth[lag:] - smooth[:-lag]
        parts.append(across[good[:, lag:] & good[:, :-lag]])
        parts.append(down[good[lag:] & good[:-lag]])
    steps = np.concatenate(parts)
    return steps[:: max(1, -(-len(steps) // MAX_SAMPLES))].astype(np.float64)


def _common_ratio(steps: Floats, size: Floats, band: int) -> tuple[float, float]:
    """Return log10 of the commonest ratio of a channel's steps to green's, and its full width."""
    same = steps[:, band] * steps[:, 1] > 0
    red_or_blue, green = np.abs(steps[same, band]), np.abs(steps[same, 1])
    ratio = np.log10(red_or_blue / np.maximum(green, 1e-6) + 1e-6)
    counts, ends = np.histogram(ratio, bins=np.linspace(-0.6, 0.6, 241), weights=size[same])
    kernel = np.hanning(13)
    smooth = np.convolve(counts, kernel / kernel.sum(), "same")
    peak = int(smooth.argmax())
    below = np.flatnonzero(smooth <= smooth[peak] / 2)
    low = int(below[below < peak].max(initial=0))
    high = int(below[below > peak].min(initial=len(counts) - 1))
    # Between the peak and the middle at half height: less noise than the one, less skew than
    # the other.
    middle, top = (ends[low + 1] + ends[high]) / 2, ends[peak] + 0.0025
    return float(middle + top) / 2, (high - low - 1) * 0.005
