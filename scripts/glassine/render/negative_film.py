"""The film that the negatives of a master share: D-min, slopes, and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from glassine.base.model import Corners, Facts, MasterGeometry
from glassine.base.tone import Channels
from glassine.masters import colour
from glassine.render.given import FilmStock, ToneSection
from glassine.render.looks import Floats, Look, Pixels, inside

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

# Where neither batch.yaml nor the settings know the film. Colour: "about 0.6", ARRI DI companion,
# fig. 2.2. Monochrome: middle of contrast index 0.55-0.7 of usual film (value from memory).
COLOUR_SLOPE = 0.6
MONOCHROME_SLOPE = 0.62
CHANNELS = ("red", "green", "blue")
# Where D-min comes from when no film base is seen and the settings know none.
UNSEEN = "thinnest part of the pictures"
# Where slopes come from when neither batch.yaml nor the settings state any.
UNSTATED = "default of the process"


@dataclass(frozen=True)
class Film:
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


def exposures(look: Look, film: Film) -> Floats:
    """Return log10 H/H0 per used channel, (n, channels)."""
    d = colour.density(look.calm[:, list(film.channels)])
    return np.asarray((d - np.array(film.dmin)) / np.array(film.slopes))


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
    reduced = source.reduced
    codes = reduced[inside(reduced.shape, region, source.reduction, 0.1)]
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
    codes: Pixels = box[inside(box.shape, shifted, 1.0, 0.1)]  # type: ignore[arg-type]
    return codes


def stated(
    process: str,
    channels: tuple[int, ...],
    dmin: Channels,
    dmin_source: str,
    facts: Facts,
    stock: FilmStock,
) -> Film:
    """Return the film as it is before its pictures are looked at: slopes as stated or usual."""
    slopes: tuple[float, ...] | None = facts.slopes or stock.slopes or None
    source = "batch.yaml" if facts.slopes else "settings, film stock"
    if slopes is None:
        usual = COLOUR_SLOPE if process == "colour" else MONOCHROME_SLOPE
        slopes, source = (usual,) * 3, UNSTATED
    used = tuple(float(slopes[band]) for band in channels)
    return Film(process, channels, dmin, dmin_source, used, source, (0.0,) * len(channels))
