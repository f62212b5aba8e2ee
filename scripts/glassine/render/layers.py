"""The three layers of a colour film matched with one another on its pictures."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from glassine.render.given import FilmStock, ToneSection
from glassine.render.looks import MAX_SAMPLES, Floats, Look
from glassine.render.negative_film import UNSEEN, UNSTATED, Film, exposures

# How far apart things usually are, in log10 (one standard deviation). slope: each layer's slope
# from the usual one (0.5 to 0.7 evenly); balance: the layers' speeds, and with them what D-min is
# wrong by where no film base is seen; highlight, steps: what is seen at its best. gap: how much
# of the way from the lightest part to white may be colour; width: what the breadth of the
# commonest ratio of steps adds, squared; outlier: from so many deviations on evidence counts
# less. Chosen on tests/benchmarks/tone, where the result depends on none of them sharply.
USUAL = {
    "slope": 0.042,
    "balance": 0.02,
    "balance_unseen": 0.05,
    "highlight": 0.008,
    "gap": 0.5,
    "steps": 0.004,
    "width": 1.7,
    "outlier": 2.0,
}
# No film's layers differ more from their mean slope, log10.
MAX_RATIO = 0.1


def matched(film: Film, stock: FilmStock, looks: list[Look], settings: ToneSection) -> Film:
    """Return `film` with its channels matched on the pictures: balance, slopes where not stated.

    Slopes that are stated are kept. Else the default of the process stands for all channels
    together, and the differences between channels are estimated with the balance.
    """
    if len(film.channels) != 3:
        return film
    slopes_stated = film.slopes_source != UNSTATED
    ratio, balance = _neutral(film, looks, slopes_stated, settings.balance_limit)
    slopes = np.array(film.slopes) * 10.0**ratio
    source = (
        film.slopes_source if slopes_stated else f"{UNSTATED}, channels matched on the pictures"
    )
    if stock.balance:
        balance = np.array(stock.balance, float)
    return replace(
        film,
        slopes=tuple(slopes.tolist()),
        slopes_source=source,
        balance=tuple(balance.tolist()),
    )


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


def _neutral(
    film: Film, looks: list[Look], slopes_stated: bool, limit: float
) -> tuple[Floats, Floats]:
    """Return (log10 change of slopes, balance in log10 exposure) per channel, each of mean 0.

    Weighed against each other: what is usual of films; the lightest parts, which are the more
    surely neutral the nearer they are to white in every channel; steps of brightness, most of
    which are of light and shade and so change all channels alike, the more surely the more
    alike they are. What contradicts the rest counts little, so that a sunset stays one.
    slopes_stated: they are not to be changed.
    """
    evidence = _usual(slopes_stated, "balance_unseen" if film.dmin_source == UNSEEN else "balance")
    for look in looks:
        evidence += _highlight(look, film)
        evidence += [] if slopes_stated else _shades(look, np.array(film.slopes))
    solution = _weighed(evidence)
    ratio, balance = solution[:3] - solution[:3].mean(), solution[3:] - solution[3:].mean()
    return np.clip(ratio, -MAX_RATIO, MAX_RATIO), np.clip(balance, -limit, limit)


def _usual(slopes_stated: bool, balance: str) -> list[_Evidence]:
    """Return what is known of films before any is seen."""
    spread = [1e-6 if slopes_stated else USUAL["slope"]] * 3 + [USUAL[balance]] * 3
    return [_Evidence(np.eye(6)[k], 0.0, spread[k], seen=False) for k in range(6)]


def _highlight(look: Look, film: Film) -> list[_Evidence]:
    """Return that the lightest part is neutral: nothing is lighter than white in any channel.

    The wider the gap between the lightest channel of anything and the lightest part, once that
    is taken for neutral, the more colour it may have.
    """
    x = exposures(look, film)
    light = _lightest(x)
    cast = light - light.mean()
    gap = max(0.0, float(np.percentile((x - cast).max(axis=1), 99.98) - light.mean()))
    # A slope larger by the factor 10 ** r lowers x at the lightest part by x ln 10 r.
    pull = max(float(light.mean()), 0.3) * np.log(10.0)
    apart = np.eye(3) - 1 / 3
    rows = np.hstack([-pull * apart, apart])
    deviation = USUAL["highlight"] + USUAL["gap"] * gap
    return [_Evidence(rows[k], -float(cast[k]), deviation, seen=True) for k in range(3)]


def _weighed(evidence: list[_Evidence]) -> Floats:
    """Return the six unknowns by least squares, with less weight for what is far off (Cauchy)."""
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
    return np.asarray(solution)


def _lightest(x: Floats) -> Floats:
    """Return the mean log exposure of the 1 % of pixels whose weakest channel is highest."""
    weakest = x.min(axis=1)
    return np.asarray(x[weakest >= np.percentile(weakest, 99)].mean(axis=0))


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
    thin = np.percentile(smooth.min(axis=2), 0.5) + 0.25
    good = smooth.min(axis=2) > thin
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
