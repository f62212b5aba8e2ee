"""The film that the negatives of a master share: D-min, slopes, and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glassine.base.errors import GlassineError
from glassine.base.model import Corners, Facts, MasterGeometry
from glassine.base.records.films import TrainedFilm
from glassine.base.tone import Channels
from glassine.masters import colour, ranks
from glassine.render import dyes
from glassine.render.given import FilmStock, ToneSection
from glassine.render.learned import Learned
from glassine.render.looks import Floats, Look, Pixels, codes_inside, inside

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

# Where neither batch.yaml nor the settings know the film. Colour: "about 0.6", ARRI DI companion,
# fig. 2.2. Monochrome: development differs, 0.45 to 0.80 (value from memory), geometric middle.
COLOUR_SLOPE = 0.6
MONOCHROME_SLOPE = 0.60
CHANNELS = ("red", "green", "blue")
# Where D-min comes from when no film base is seen and the settings know none.
UNSEEN = "thinnest part of the pictures"
# Where slopes come from when neither batch.yaml nor the settings state any.
UNSTATED = "default of the process"


@dataclass(frozen=True)
class Uncertainty:
    """How far a film's values may be off: one standard deviation, log10.

    contrast: of all slopes together; ratios: of a channel's slope to the others'; balance: of a
    channel's exposure; white: of where white lies on frames of the film, None where one frame
    alone is known. frames: how many frames the film was estimated from.
    """

    contrast: float
    ratios: float
    balance: float
    white: float | None = None
    frames: int = 0


# Of a film of which nothing was seen yet: usual films differ by this (values from memory).
UNKNOWN = Uncertainty(contrast=0.05, ratios=0.05, balance=0.06)


@dataclass(frozen=True)
class Film:
    """What negatives of one process share on a master; values per channel that is used.

    channels: bands of the master; dmin: density; slopes: density per log10 of exposure; balance:
    log10 of exposure; matrix: the profile's primaries to sRGB, None where they are not used.
    density_matrix: tells the layers apart (see `exposures`), None for one channel;
    usual_base: density of a usual film base as the channels see it, None where it tells nothing;
    balance_stated: whether `balance` is not to be changed; light: that most frames were taken in,
    by name; white: log10 of exposure over D-min, after balance, at which white lies on most frames,
    None where it is not known; learned: what earlier films of its stock showed, None where nothing
    is known of these; uncertainty: of all this; trained: what the trained network says of the film,
    None where it is not asked.
    """

    process: str
    channels: tuple[int, ...]
    dmin: Channels
    dmin_source: str
    slopes: Channels
    slopes_source: str
    balance: Channels
    matrix: tuple[Channels, ...] | None = None
    density_matrix: tuple[Channels, ...] | None = None
    usual_base: Channels | None = None
    balance_stated: bool = False
    light: str = "daylight"
    white: float | None = None
    learned: Learned | None = None
    uncertainty: Uncertainty = UNKNOWN
    trained: TrainedFilm | None = None


def exposures(look: Look, film: Film) -> Floats:
    """Return log10 H/H0 per used channel, (n, channels), before balance.

    Density above the base over the slopes, then the film's density matrix. Its rows sum to 1, so
    the slopes are those of a grey scale as the channels see it.
    """
    d = look.calm_density[:, list(film.channels)]
    dmin = film.dmin if look.base is None else [look.base[band] for band in film.channels]
    x = (d - np.array(dmin)) / np.array(film.slopes)
    if film.density_matrix is not None:
        x = x @ np.array(film.density_matrix).T
    return np.asarray(x)


def bands_of(process: str, bands: int, settings: ToneSection) -> tuple[int, ...]:
    """Return which bands of the master are used: all, or one for a monochrome negative."""
    if bands == 1:
        return (0,)
    if process == "monochrome":
        return (CHANNELS.index(settings.monochrome_channel),)
    return (0, 1, 2)


def base_of(
    source: Source, geometry: MasterGeometry, encoding: colour.Encoding
) -> tuple[Channels, ...]:
    """Return the density per band of each region of film base that shows film."""
    measured = [_base_density(source, region, encoding) for region in geometry.base_regions]
    return tuple(tuple(value.tolist()) for value in measured if value is not None)


def dmin_of(
    base: tuple[Channels, ...], stock: FilmStock, looks: list[Look], bands: tuple[int, ...]
) -> tuple[Channels, str]:
    """Return D-min per used channel and where it comes from. base: as `base_of` measured it."""
    if base:
        dmin = np.median(np.array(base), axis=0)[[*bands]]
        return tuple(dmin.tolist()), f"film base, {len(base)} region(s)"
    if stock.dmin:
        dmin = np.array(stock.dmin, float)
        return tuple(dmin[[*bands] if len(dmin) > 1 else [0]].tolist()), "settings, film stock"
    # The thinnest part of all frames: half a per mille, so that pinholes and dust do not count.
    thin = [np.percentile(colour.density(look.calm), 0.05, axis=0) for look in looks]
    return tuple(np.min(np.stack(thin), axis=0)[[*bands]].tolist()), UNSEEN


def _base_density(source: Source, region: Corners, encoding: colour.Encoding) -> Floats | None:
    """Return the median density of a base region; None where it shows no film."""
    codes = codes_inside(source.reduced, region, source.reduction, 0.1)
    if len(codes) < 64:
        codes = _base_pixels(source, region)
    if len(codes) < 16:
        return None
    light = encoding.linear(codes[None])[0]
    return colour.density(
        np.array([ranks.median(light[:, band]) for band in range(light.shape[1])])
    )


def _base_pixels(source: Source, region: Corners) -> Pixels:
    """Return full-resolution pixels of a small base region (at most 512 x 512 about its middle)."""
    quad = np.array(region, float)
    middle = quad.mean(axis=0)
    half = np.minimum((quad.max(axis=0) - quad.min(axis=0)) / 2, 256)
    left, top = np.clip(np.floor(middle - half), 0, [source.width - 1, source.height - 1])
    right, bottom = np.clip(np.ceil(middle + half), 1, [source.width, source.height])
    box = source.region(int(left), int(top), int(right - left), int(bottom - top))
    shifted = tuple((float(x - left), float(y - top)) for x, y in quad)
    codes: Pixels = box[inside(box.shape, shifted, 1.0, 0.1)]  # type: ignore[arg-type]
    return codes


def stated(
    process: str,
    channels: tuple[int, ...],
    dmin: Channels,
    dmin_source: str,
    facts: Facts,
    stock: FilmStock,
    usual: dyes.Nominal | None = None,
    learned: Learned | None = None,
) -> Film:
    """Return the film as it is before its pictures are looked at: as stated, else as earlier films
    of its stock were, else as is usual.

    usual: what is usual for the master's primaries, used for three channels; None for none.
    learned: slopes of the used channels, None where no such film is known.
    """
    slopes: tuple[float, ...] | None = facts.slopes or stock.slopes or None
    source = "batch.yaml" if facts.slopes else "settings, film stock"
    coloured = len(channels) == 3
    if slopes is None:
        slope = COLOUR_SLOPE if process == "colour" else MONOCHROME_SLOPE
        factors = usual.slopes if usual is not None and coloured else (1.0,) * 3
        slopes, source = tuple(slope * factor for factor in factors), UNSTATED
    used = tuple(float(slopes[band]) for band in channels)
    if source != UNSTATED:
        learned = None
    elif learned is not None:
        used = learned.slopes
    matrix = usual.matrix if usual is not None else None
    if matrix is not None and np.abs(np.array(matrix) - np.eye(3)).max() < 1e-3:
        matrix = None
    return Film(
        process,
        channels,
        dmin,
        dmin_source,
        used,
        source,
        tuple(stock.balance) if stock.balance and coloured else (0.0,) * len(channels),
        density_matrix=(_scaled(stock.matrix) if stock.matrix else matrix) if coloured else None,
        usual_base=usual.base if usual is not None and coloured else None,
        balance_stated=bool(stock.balance) and coloured,
        learned=learned,
    )


def _scaled(matrix: tuple[Channels, ...]) -> tuple[Channels, ...]:
    """Return a stated matrix with rows of the sum 1; one that has no such sum raises."""
    rows = np.array(matrix, float)
    sums = rows.sum(axis=1, keepdims=True)
    if np.any(sums < 0.1) or abs(float(np.linalg.det(rows))) < 1e-3:
        raise GlassineError.because(
            "tone.matrix",
            "config/config.yaml",
            "The `matrix` of a film in `tone.film_stocks` tells no three layers apart: a row's sum "
            "is not above 0, or one row follows from the others.",
            "three rows of three numbers, each row of the sum 1.",
            "Correct the matrix, or remove it: what is usual for the master's primaries is then "
            "used.",
        )
    return tuple(tuple(row) for row in np.round(rows / sums, 6).tolist())
