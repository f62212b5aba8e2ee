"""Tone of a frame: negatives inverted by density, positives through their profile, both to sRGB.

A plan is made once from the reduced master and holds every parameter; `apply` repeats the
pixels from it exactly, for any horizontal band, pixel by pixel.

Negatives. Transmittance T is linear light of the master (bare table = 1), D = -log10 T.
With the film base's D-min and the film's slope g of the straight line,
H/H0 = 10 ** ((D - Dmin) / g) is the exposure that the film saw; H0 is what the straight line
gives at D-min. The picture's light is gain * (H/H0 - toe), then a shoulder for highlights,
then the sRGB curve. Exposures of the three layers are shown in the primaries of sRGB (a
convention; `negative_primaries: profile` shows them in the primaries of the master's profile).
Positives pass through their profile, relative colorimetric with black point compensation. One
that is stated to be monochrome becomes grey by its luminance, whatever tint the paper or the light
gave it; one that was merely recognised as monochrome keeps its tint.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base.model import Corners, Facts, Frame, MasterGeometry
from glassine.base.tone import (
    Channels,
    Clipped,
    Conversion,
    Inversion,
    Shoulder,
    StatedEncoding,
    Tone,
)
from glassine.masters import colour
from glassine.render.settings import FilmStock, ToneSettings

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

VERSION = "5"

Floats = npt.NDArray[np.float64]
Table = npt.NDArray[np.float32]
Pixels = npt.NDArray[Any]

# Luminance of the primaries of sRGB (IEC 61966-2-1: those of ITU-R BT.709, section 3.2).
LUMINANCE = (0.2126, 0.7152, 0.0722)
# A picture shows colours where more than this share of its pixels is farther than SEEN_CHROMA
# (CIE 1976 chroma) from grey: about what a sepia toned or yellowed print has and a camera's
# white balance has not. Common practice, no source.
SEEN_CHROMA, SEEN_SHARE = 10.0, 0.05
# Darker than this (CIE 1976 lightness) chroma is noise.
DARK_LIGHTNESS = 15.0

# Where neither batch.yaml nor the settings know the film. Colour: "about 0.6", ARRI DI companion,
# fig. 2.2. Monochrome: middle of contrast index 0.55-0.7 of usual film (value from memory).
COLOUR_SLOPE = 0.6
MONOCHROME_SLOPE = 0.62
# Linear light that the lightest part of a negative's picture (all but 0.02 %) is shown as. Grey
# pictures have their lightest part below white more often than colour ones have in no channel.
WHITE = {"colour": 0.98, "monochrome": 0.94}
# Glints farther above the lightest half per cent than this (log10) are rolled off.
GLINTS = 0.2
# At most so many pixels of a frame are looked at; more change no percentile that is used here.
MAX_SAMPLES = 60_000
CHANNELS = ("red", "green", "blue")
# Where D-min comes from when no film base is seen and the settings know none.
UNSEEN = "thinnest part of the pictures"
# Where slopes come from when neither batch.yaml nor the settings state any.
UNSTATED = "default of the process"
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
# The look at a picture's steps is taken at about this many pixels on the long edge.
PICTURE_PX = 400


@dataclass(frozen=True)
class Look:
    """What was seen of one frame: codes (n, bands), and linear light (n, bands).

    calm: linear light (n, bands) with grain and dust taken out by a median of 3 x 3 px.
    picture: density of the upright box about the frame's middle, reduced, (h, w, 3); None for
    grey masters and for boxes too small to tell anything.
    """

    frame: Frame
    codes: Pixels
    light: Floats
    calm: Floats
    picture: Floats | None


def plan(
    source: Source,
    geometry: MasterGeometry,
    facts: Facts,
    icc: bytes | None,
    settings: ToneSettings,
) -> list[Tone]:
    """Return one tone per frame of `geometry.frames`, in their order.

    Frames that are negatives share D-min, slopes and balance; exposure and shoulder are each
    frame's own. Raises GlassineError where the profile cannot be used.
    """
    encoding = colour.encoding_of(icc, facts.encoding, source.bits, source.bands)
    looks = [_look(source, frame, encoding) for frame in geometry.frames]
    negatives = [look for look in looks if look.frame.polarity == "negative"]
    film = _film(source, geometry, facts, encoding, negatives, settings) if negatives else {}
    tones = []
    for look in looks:
        if look.frame.polarity == "negative":
            tone = _negative(look, film[look.frame.process], encoding, source.bits, settings)
        else:
            tone = _positive(look, encoding, source.bits, settings)
        assumed = colour.assumption(encoding)
        if assumed is not None:
            tone = replace(tone, review=(*tone.review, assumed))
        tone = _rounded(tone)
        tones.append(replace(tone, clipped=_rounded(_clipped(look, tone, encoding))))
    return tones


# ------------------------------------------------------------------ looking


def _inside(shape: tuple[int, ...], corners: Corners, reduction: float, inset: float) -> Pixels:
    """Return a mask of the reduced master: True inside `corners`, shrunk by the share `inset`."""
    quad = np.array(corners, float) / reduction
    quad = quad.mean(axis=0) + (quad - quad.mean(axis=0)) * (1 - 2 * inset)
    mask = np.zeros(shape[:2], np.uint8)
    # fillConvexPoly counts from pixel centres; the sixteenth is its fixed-point unit.
    cv2.fillConvexPoly(mask, np.round((quad - 0.5) * 16).astype(np.int32), 1, shift=4)
    return mask.astype(bool)


def _look(source: Source, frame: Frame, encoding: colour.Encoding) -> Look:
    """Return what is seen of `frame` in the reduced master, 4 % away from its edges."""
    reduced = source.reduced
    mask = _inside(reduced.shape, frame.corners, source.reduction, 0.04)
    # Every so many rows and columns: few pixels are gathered of large frames.
    step = max(1, int(np.sqrt(np.count_nonzero(mask) / MAX_SAMPLES)))
    codes = reduced[::step, ::step][mask[::step, ::step]]
    if len(codes) == 0:
        codes = reduced[::step, ::step].reshape(-1, reduced.shape[-1])
    codes = codes[:: max(1, -(-len(codes) // MAX_SAMPLES))]
    light = encoding.linear(codes[None])[0].astype(np.float64)
    calm = encoding.linear(_calm(reduced, mask)[None])[0].astype(np.float64)
    return Look(frame, codes, light, calm, _picture(source, frame, encoding))


def _calm(reduced: Pixels, mask: Pixels) -> Pixels:
    """Return codes (n, bands) of `reduced` inside `mask`, each the median of 3 x 3 px."""
    if not mask.any():
        mask = np.ones_like(mask)
    rows, columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    box = (slice(rows[0], rows[-1] + 1), slice(columns[0], columns[-1] + 1))
    smooth = cv2.medianBlur(np.ascontiguousarray(reduced[box]), 3)
    codes = smooth.reshape(*mask[box].shape, -1)[mask[box]]
    return np.asarray(codes[:: max(1, -(-len(codes) // MAX_SAMPLES))])


def _picture(source: Source, frame: Frame, encoding: colour.Encoding) -> Floats | None:
    """Return density of the largest upright box inside the frame, about PICTURE_PX long."""
    quad = np.array(frame.corners, float) / source.reduction
    middle = quad.mean(axis=0)
    low = np.sort(quad, axis=0)[1] * 0.96 + middle * 0.04
    high = np.sort(quad, axis=0)[2] * 0.96 + middle * 0.04
    left, top = np.clip(np.ceil(low), 0, None).astype(int)
    right, bottom = np.floor(high).astype(int)
    box = source.reduced[top:bottom, left:right]
    if source.bands < 3 or min(box.shape[:2]) < 24:
        return None
    shrink = min(1.0, PICTURE_PX / max(box.shape[:2]))
    small = cv2.resize(box, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return colour.density(encoding.linear(small))


# ------------------------------------------------------------------ film


@dataclass(frozen=True)
class _Film:
    """What negatives of one process share on a master; values per channel that is used.

    channels: bands of the master; dmin: density; slopes: density per log10 of exposure; balance:
    log10 of exposure; matrix: the profile's primaries to sRGB, None where they are not used.
    """

    process: str
    channels: tuple[int, ...]
    dmin: Channels
    dmin_source: str
    slopes: Channels
    slopes_source: str
    balance: Channels
    matrix: tuple[Channels, ...] | None = None


def _rows(matrix: Floats) -> tuple[Channels, ...]:
    return tuple(tuple(row) for row in matrix.tolist())


def _film(
    source: Source,
    geometry: MasterGeometry,
    facts: Facts,
    encoding: colour.Encoding,
    looks: list[Look],
    settings: ToneSettings,
) -> dict[str, _Film]:
    """Return what the negatives of a master share, by process."""
    found: dict[str, _Film] = {}
    stock = settings.film_stocks.get(facts.film_stock or "", FilmStock())
    for process in sorted({look.frame.process for look in looks}):
        mine = [look for look in looks if look.frame.process == process]
        pictures = [look for look in mine if not look.frame.blank and not look.frame.excluded]
        bands = _bands(process, source.bands, settings)
        dmin, dmin_source = _dmin(source, geometry, encoding, stock, pictures or mine, bands)
        start = _stated_film(process, bands, dmin, dmin_source, facts, stock)
        film = _matched(start, stock, pictures or mine, settings)
        if len(bands) == 3 and settings.negative_primaries == "profile":
            film = replace(film, matrix=_rows(encoding.matrix))
        found[process] = film
    return found


def _bands(process: str, bands: int, settings: ToneSettings) -> tuple[int, ...]:
    """Return which bands of the master are used: all, or one for a monochrome negative."""
    if bands == 1:
        return (0,)
    if process == "monochrome":
        return (CHANNELS.index(settings.monochrome_channel),)
    return (0, 1, 2)


def _dmin(
    source: Source,
    geometry: MasterGeometry,
    encoding: colour.Encoding,
    stock: FilmStock,
    looks: list[Look],
    bands: tuple[int, ...],
) -> tuple[Channels, str]:
    """Return D-min per used channel and where it comes from."""
    if geometry.base_regions:
        measured = [_base_density(source, region, encoding) for region in geometry.base_regions]
        seen = [value for value in measured if value is not None]
        if seen:
            dmin = np.median(np.stack(seen), axis=0)[[*bands]]
            return tuple(dmin.tolist()), f"film base, {len(seen)} region(s)"
    if stock.dmin:
        dmin = np.array(stock.dmin, float)
        return tuple(dmin[[*bands] if len(dmin) > 1 else [0]].tolist()), "settings, film stock"
    # The thinnest part of all frames: half a per mille, so that pinholes and dust do not count.
    thin = [np.percentile(colour.density(look.calm), 0.05, axis=0) for look in looks]
    return tuple(np.min(np.stack(thin), axis=0)[[*bands]].tolist()), UNSEEN


def _base_density(source: Source, region: Corners, encoding: colour.Encoding) -> Floats | None:
    """Return the median density of a base region; None where it shows no film."""
    reduced = source.reduced
    codes = reduced[_inside(reduced.shape, region, source.reduction, 0.1)]
    if len(codes) < 64:
        codes = _base_pixels(source, region)
    if len(codes) < 16:
        return None
    light = encoding.linear(codes[None])[0]
    return colour.density(np.median(light, axis=0))


def _base_pixels(source: Source, region: Corners) -> Pixels:
    """Return full-resolution pixels of a small base region (at most 512 x 512 about its middle)."""
    quad = np.array(region, float)
    middle = quad.mean(axis=0)
    half = np.minimum((quad.max(axis=0) - quad.min(axis=0)) / 2, 256)
    left, top = np.clip(np.floor(middle - half), 0, [source.width - 1, source.height - 1])
    right, bottom = np.clip(np.ceil(middle + half), 1, [source.width, source.height])
    box = source.region(int(left), int(top), int(right - left), int(bottom - top))
    shifted = tuple((float(x - left), float(y - top)) for x, y in quad)
    inside: Pixels = box[_inside(box.shape, shifted, 1.0, 0.1)]  # type: ignore[arg-type]
    return inside


def _stated_film(
    process: str,
    channels: tuple[int, ...],
    dmin: Channels,
    dmin_source: str,
    facts: Facts,
    stock: FilmStock,
) -> _Film:
    """Return the film as it is before its pictures are looked at: slopes as stated or usual."""
    slopes: tuple[float, ...] | None = facts.slopes or stock.slopes
    source = "batch.yaml" if facts.slopes else "settings, film stock"
    if slopes is None:
        usual = COLOUR_SLOPE if process == "colour" else MONOCHROME_SLOPE
        slopes, source = (usual,) * 3, UNSTATED
    used = tuple(float(slopes[band]) for band in channels)
    return _Film(process, channels, dmin, dmin_source, used, source, (0.0,) * len(channels))


def _matched(film: _Film, stock: FilmStock, looks: list[Look], settings: ToneSettings) -> _Film:
    """Return `film` with its channels matched on the pictures: balance, slopes where not stated.

    Slopes that are stated are kept. Else the default of the process stands for all channels
    together, and the differences between channels are estimated with the balance.
    """
    if len(film.channels) != 3:
        return film
    known = film.slopes_source != UNSTATED
    ratio, balance = _neutral(film, looks, known, settings.balance_limit)
    slopes = np.array(film.slopes) * 10.0**ratio
    source = film.slopes_source if known else f"{UNSTATED}, channels matched on the pictures"
    if stock.balance:
        balance = np.array(stock.balance, float)
    return replace(
        film,
        slopes=tuple(slopes.tolist()),
        slopes_source=source,
        balance=tuple(balance.tolist()),
    )


def _exposures(look: Look, film: _Film) -> Floats:
    """Return log10 H/H0 per used channel, (n, channels)."""
    d = colour.density(look.calm[:, list(film.channels)])
    return np.asarray((d - np.array(film.dmin)) / np.array(film.slopes))


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


def _neutral(film: _Film, looks: list[Look], known: bool, limit: float) -> tuple[Floats, Floats]:
    """Return (log10 change of slopes, balance in log10 exposure) per channel, each of mean 0.

    Weighed against each other: what is usual of films; the lightest parts, which are the more
    surely neutral the nearer they are to white in every channel; steps of brightness, most of
    which are of light and shade and so change all channels alike, the more surely the more
    alike they are. What contradicts the rest counts little, so that a sunset stays one.
    known: the slopes are not to be changed.
    """
    evidence = _usual(known, "balance_unseen" if film.dmin_source == UNSEEN else "balance")
    for look in looks:
        evidence += _highlight(look, film)
        evidence += [] if known else _shades(look, np.array(film.slopes))
    found = _weighed(evidence)
    ratio, balance = found[:3] - found[:3].mean(), found[3:] - found[3:].mean()
    return np.clip(ratio, -MAX_RATIO, MAX_RATIO), np.clip(balance, -limit, limit)


def _usual(known: bool, balance: str) -> list[_Evidence]:
    """Return what is known of films before any is seen."""
    spread = [1e-6 if known else USUAL["slope"]] * 3 + [USUAL[balance]] * 3
    return [_Evidence(np.eye(6)[k], 0.0, spread[k], seen=False) for k in range(6)]


def _highlight(look: Look, film: _Film) -> list[_Evidence]:
    """Return that the lightest part is neutral: nothing is lighter than white in any channel.

    The wider the gap between the lightest channel of anything and the lightest part, once that
    is taken for neutral, the more colour it may have.
    """
    x = _exposures(look, film)
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
    seen = np.array([one.seen for one in evidence])
    found = np.zeros(6)
    for turn in range(30):
        off = (rows @ found - value) / deviation
        weight = 1.0 / (1.0 + (off / USUAL["outlier"]) ** 2)
        # From the usual film all that is seen may be far off: nothing is let go at once.
        weight = np.maximum(weight, 0.2) if turn < 3 else weight
        scale = np.sqrt(np.where(seen, weight, 1.0)) / deviation
        found = np.linalg.lstsq(rows * scale[:, None], value * scale, rcond=None)[0]
    return np.asarray(found)


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
    found = []
    for band in (0, 2):
        ratio, width = _common_ratio(steps, size, band)
        row = np.zeros(6)
        row[band], row[1] = 1.0, -1.0
        deviation = USUAL["steps"] + USUAL["width"] * width**2
        found.append(_Evidence(row, ratio, deviation, seen=True))
    return found


def _steps(density: Floats) -> Floats:
    smooth = cv2.GaussianBlur(density.astype(np.float32), (0, 0), 1.0)
    thin = np.percentile(smooth.min(axis=2), 0.5) + 0.25
    good = smooth.min(axis=2) > thin
    found = []
    for lag in (2, 4, 8):
        across = smooth[:, lag:] - smooth[:, :-lag]
        down = smooth[lag:] - smooth[:-lag]
        found.append(across[good[:, lag:] & good[:, :-lag]])
        found.append(down[good[lag:] & good[:-lag]])
    steps = np.concatenate(found)
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


# ------------------------------------------------------------------ tones


def _negative(
    look: Look, film: _Film, encoding: colour.Encoding, bits: int, settings: ToneSettings
) -> Tone:
    """Return the tone of a negative frame: what the film shares, and its own exposure.

    The lightest part (the lightest channel of all but 0.02 % of the pixels) is taken to WHITE,
    glints left out: most pictures are exposed and printed so that something in them is white.
    """
    x = _exposures(look, film) + np.array(film.balance)
    most, lightest = np.percentile(x.max(axis=1), [99.5, 99.98])
    exposure = np.log10(WHITE[film.process]) - min(float(lightest), float(most) + GLINTS)
    top = float(lightest) + exposure
    return Tone(
        version=VERSION,
        rendering=f"negative, {film.process}",
        process=film.process,
        bits=bits,
        master_bands=look.light.shape[1],
        bands=len(film.channels),
        channels=film.channels,
        encoding=StatedEncoding.from_record(encoding.describe),
        way=Inversion(
            film.dmin,
            film.dmin_source,
            film.slopes,
            film.slopes_source,
            film.balance,
            float(exposure),
            settings.toe,
        ),
        matrix=film.matrix,
        shoulder=_shoulder(float(10.0**top), settings.shoulder_start),
    )


def _shoulder(top: float, start: float) -> Shoulder | None:
    """Return the shoulder that brings light up to `top` below 1; None where nothing exceeds 1."""
    if top <= 1.0:
        return None
    return Shoulder(start, min(top, 8.0))


def _positive(look: Look, encoding: colour.Encoding, bits: int, settings: ToneSettings) -> Tone:
    """Return the tone of a positive frame: through its profile, grey where it is stated to be."""
    bands = look.light.shape[1]
    matrix = encoding.matrix if len(encoding.tables) == 3 else np.eye(1)
    grey = bands == 3 and look.frame.process == "monochrome" and look.frame.process_stated
    coloured = _coloured(look.calm @ matrix.T) if grey else 0.0
    if grey:
        matrix = np.array([LUMINANCE]) @ matrix
    light = look.light @ matrix.T
    black = float(np.percentile(light.min(axis=1), 0.1))
    review: tuple[str, ...] = ()
    if coloured > SEEN_SHARE:
        review = (
            f"Stated to be monochrome and made grey, but {coloured:.0%} of the picture shows "
            "colours: a tint is lost, or `process` is wrong.",
        )
    return Tone(
        version=VERSION,
        rendering="positive, grey" if grey else "positive",
        process=look.frame.process,
        bits=bits,
        master_bands=bands,
        bands=len(matrix),
        channels=tuple(range(bands)),
        encoding=StatedEncoding.from_record(encoding.describe),
        way=Conversion(min(max(black, 0.0), settings.black_limit)),
        matrix=_rows(matrix) if bands == 3 else None,
        shoulder=None,
        review=review,
    )


def _coloured(light: Floats) -> float:
    """Return the share of pixels (n, 3: linear sRGB) that are plainly not grey.

    L*a*b* (D50) by CIE 15:2018, section 8.2.1.
    """
    ratio = np.clip(light, 0.0, None) @ colour.srgb_matrix().T / colour.D50
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    chroma = np.hypot(500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2]))
    seen = 116 * f[:, 1] - 16 > DARK_LIGHTNESS
    return float(np.mean(chroma[seen] > SEEN_CHROMA)) if seen.any() else 0.0


def _clipped(look: Look, tone: Tone, encoding: colour.Encoding) -> Clipped:
    """Return the shares of samples at the ends, in the master and as rendered."""
    full = 2**tone.bits - 1
    rendered = _render(encoding.flatten(look.codes[None]), _Tables.of(tone, encoding))
    return Clipped(
        master_high=float(np.mean(look.codes.max(axis=1) >= full) * 100),
        master_low=float(np.mean(look.codes.min(axis=1) <= 0) * 100),
        rendered_high=float(np.mean(rendered.max(axis=-1) >= 255) * 100),
        rendered_low=float(np.mean(rendered.max(axis=-1) <= 0) * 100),
    )


def _rounded(value: Any) -> Any:
    """Return `value` with floats rounded, so that what is written repeats what was done."""
    if is_dataclass(value) and not isinstance(value, type):
        parts = {part.name: _rounded(getattr(value, part.name)) for part in fields(value)}
        return replace(value, **parts)
    if isinstance(value, tuple):
        return tuple(_rounded(part) for part in value)
    if isinstance(value, float):
        return round(float(value), 6)
    return value


# ------------------------------------------------------------------ pixels


@dataclass(frozen=True)
class _Tables:
    """What `apply` looks up. One table per channel, or two about a matrix.

    direct: uint8 (1, codes, channels), where channels do not mix; else light (float32, same
    shape, scaled so that 65535 is `headroom`), matrix (3 x 3, or 1 x 3 to grey) and ending
    uint8 (65536).
    """

    channels: tuple[int, ...]
    direct: npt.NDArray[np.uint8] | None
    light: Table
    matrix: Table | None
    ending: Pixels
    headroom: float

    @classmethod
    def of(cls, tone: Tone, encoding: colour.Encoding) -> _Tables:
        light = _light_tables(tone, encoding)
        matrix = None if tone.matrix is None else np.array(tone.matrix)
        # Primaries of sRGB itself differ from ours by the rounding of profiles only.
        mixes = matrix is not None and (
            len(matrix) == 1 or bool(np.abs(matrix - np.eye(3)).max() > 5e-4)
        )
        headroom = tone.shoulder.top if tone.shoulder else 1.0
        ending = _encoded(np.linspace(0.0, headroom, 65536), tone.shoulder)
        direct = None if mixes else _eight(_encoded(light, tone.shoulder)).T[None].copy()
        scaled = np.ascontiguousarray((light * 65535.0 / headroom).T[None], np.float32)
        return cls(
            tone.channels,
            direct,
            scaled,
            matrix.astype(np.float32) if mixes and matrix is not None else None,
            _eight(ending),
            headroom,
        )


def _eight(value: Floats) -> npt.NDArray[np.uint8]:
    return np.round(value * 255.0).astype(np.uint8)


def _light_tables(tone: Tone, encoding: colour.Encoding) -> Floats:
    """Return the picture's light (before matrix and shoulder) of each code, (channels, codes)."""
    light = encoding.tables[list(tone.channels)].astype(np.float64)
    way = tone.way
    if isinstance(way, Conversion):
        return np.asarray((light - way.black) / (1.0 - way.black))
    column = (-1, 1)
    dmin = np.reshape(way.dmin, column)
    slopes = np.reshape(way.slopes, column)
    gain = np.reshape(way.balance, column) + way.exposure
    x = (colour.density(light) - dmin) / slopes
    # Codes that no film has (the opaque mask) would overflow: 10**6 is far beyond white.
    picture = 10.0 ** np.minimum(x + gain, 6.0) - way.toe * 10.0**gain
    return np.asarray(np.maximum(picture, 0.0))


def _encoded(light: npt.NDArray[Any], shoulder: Shoulder | None) -> Floats:
    """Return sRGB codes 0..1 of light, highlights rolled off by `shoulder`.

    Up to `start` light is kept; from there to `top` it follows a rational curve that leaves
    `start` with slope 1 and reaches 1 at `top`.
    """
    if shoulder is None:
        return colour.linear_to_srgb(light)
    start, top = shoulder.start, shoulder.top
    way, room = top - start, 1.0 - start
    u = np.clip((light - start) / way, 0.0, 1.0)
    # Rational curve r(u) = u (1 + k) / (1 + k u): r(0) = 0, r(1) = 1, slope at 0 is way / room.
    k = way / room - 1.0
    rolled = start + room * u * (1.0 + k) / (1.0 + k * u)
    return colour.linear_to_srgb(np.where(light <= start, light, rolled))


@lru_cache(maxsize=32)
def _prepared(tone: Tone, icc: bytes | None) -> tuple[_Tables, colour.Encoding]:
    encoding = colour.encoding_of(icc, tone.encoding.stated, tone.bits, tone.master_bands)
    return _Tables.of(tone, encoding), encoding


def apply(pixels: Pixels, tone: Tone, icc: bytes | None) -> npt.NDArray[np.uint8]:
    """Return the picture, uint8 (h, w, tone.bands), sRGB (one band: grey with the sRGB curve).

    pixels: code values of the master, uint8 or uint16 (h, w, 1 or 3), any horizontal band of
    any size; each pixel is rendered by itself. Safe to call from several threads.
    """
    tables, encoding = _prepared(tone, icc)
    return _render(encoding.flatten(_as_bands(pixels, tone)), tables)


def apply16(pixels: Pixels, tone: Tone, icc: bytes | None) -> npt.NDArray[np.uint16]:
    """Return the picture as `apply`, but uint16 (h, w, tone.bands)."""
    tables, encoding = _prepared(tone, icc)
    flat = _picked(encoding.flatten(_as_bands(pixels, tone)), tables)
    light = cv2.LUT(np.ascontiguousarray(flat), tables.light).reshape(flat.shape)
    if tables.matrix is not None:
        light = np.asarray(cv2.transform(light, tables.matrix))
        light = light.reshape(*flat.shape[:2], len(tables.matrix))
    codes = _encoded(light * (tables.headroom / 65535.0), tone.shoulder)
    return np.round(codes * 65535.0).astype(np.uint16)


def _as_bands(pixels: Pixels, tone: Tone) -> Pixels:
    """Return `pixels` as (h, w, bands); raises ValueError for pixels that `tone` is not for."""
    shaped = pixels[..., None] if pixels.ndim == 2 else pixels
    deep = np.uint16 if tone.bits == 16 else np.uint8
    if shaped.ndim != 3 or shaped.shape[2] != tone.master_bands or shaped.dtype != deep:
        raise ValueError(f"pixels {pixels.shape} {pixels.dtype} do not fit the tone")
    return shaped


def _picked(pixels: Pixels, tables: _Tables) -> Pixels:
    if len(tables.channels) == pixels.shape[-1]:
        return pixels
    return np.ascontiguousarray(pixels[..., list(tables.channels)])


def _render(pixels: Pixels, tables: _Tables) -> npt.NDArray[np.uint8]:
    picked = np.ascontiguousarray(_picked(pixels, tables))
    if tables.direct is not None:
        return np.asarray(cv2.LUT(picked, tables.direct), np.uint8).reshape(picked.shape)
    light = cv2.LUT(picked, tables.light)
    assert tables.matrix is not None
    mixed = cv2.transform(light, tables.matrix)
    codes = cv2.addWeighted(mixed, 1.0, mixed, 0.0, 0.0, dtype=cv2.CV_16U)
    shape = (*picked.shape[:2], len(tables.matrix))
    return np.asarray(cv2.LUT(codes, tables.ending), np.uint8).reshape(shape)
