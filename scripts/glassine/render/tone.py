"""Tone of a frame: negatives inverted by density, positives through their profile, both to sRGB.

A plan is made once from the reduced master and holds every parameter; `toning.apply` repeats the
pixels from it exactly, for any horizontal band, pixel by pixel.

Negatives. Transmittance T is linear light of the master (bare table = 1), D = -log10 T.
With the film base's D-min and the film's slope g of the straight line,
H/H0 = 10 ** (M (D - Dmin) / g) is the exposure that the film saw; H0 is what the straight line
gives at D-min, and M tells the layers of colour film apart (`dyes`; its rows sum to 1). What the
film is and what the frame has of its own: `layers`, `doubt`. The picture's light is
gain * (H/H0 - toe), then a shoulder for highlights, then the sRGB curve. Exposures of the three
layers are shown in the primaries of sRGB (a convention; `negative_primaries: profile` shows them
in the primaries of the master's profile).
Positives pass through their profile, relative colorimetric with black point compensation. One
that is stated to be monochrome becomes grey by its luminance, whatever tint the paper or the light
gave it; one that was merely recognised as monochrome keeps its tint. Faded dyes of colour ones are
made up for where `tone.restore` asks for it (`fading`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np
from msgspec import UNSET

from glassine.base.model import Facts, MasterGeometry
from glassine.base.records.films import MasterFilm
from glassine.base.records.parts import Number
from glassine.base.tone import (
    NOT_MEASURED,
    AnyTone,
    Channels,
    Clipped,
    ColourNegative,
    MonochromeNegative,
    PositiveAsIs,
    PositiveInGrey,
    Shoulder,
)
from glassine.masters import colour
from glassine.render import doubt, fading, negative_film, pool, toning
from glassine.render.estimate import Known, estimate, primaries_of, with_network
from glassine.render.given import FilmStock, ToneSection
from glassine.render.looks import Floats, Look, look
from glassine.render.negative_film import Film, exposures

if TYPE_CHECKING:
    from glassine.masters.pixels import Source

VERSION = "10"

# Luminance of the primaries of sRGB (IEC 61966-2-1: those of ITU-R BT.709, section 3.2).
LUMINANCE = (0.2126, 0.7152, 0.0722)
# A picture shows colours where more than this share of its pixels is farther than SEEN_CHROMA
# (CIE 1976 chroma) from grey: about what a sepia toned or yellowed print has and a camera's
# white balance has not. Common practice, no source.
SEEN_CHROMA, SEEN_SHARE = 10.0, 0.05
# Darker than this (CIE 1976 lightness) chroma is noise.
DARK_LIGHTNESS = 15.0


def plan(
    source: Source,
    geometry: MasterGeometry,
    facts: Facts,
    icc: bytes | None,
    settings: ToneSection,
    pooled: Mapping[str, MasterFilm] | None = None,
) -> list[AnyTone]:
    """Return one tone per frame of `geometry.frames`, in their order.

    Frames that are negatives share D-min, slopes and balance, unless one was taken in another
    light; exposure and shoulder are each frame's own. pooled: by process, the film that negatives
    of this master share with those of others, in place of what they show by themselves. Raises
    GlassineError where the profile, or the film, cannot be used.
    """
    settings = msgspec.structs.replace(settings, restore=facts.restore or settings.restore)
    pooled = pooled or {}
    encoding = colour.encoding_of(icc, facts.encoding, source.bits, source.bands)
    looks = [look(source, frame, encoding) for frame in geometry.frames]
    negatives = [picture for picture in looks if picture.frame.polarity == "negative"]
    film = _film(source, geometry, facts, encoding, negatives, settings, pooled)
    tones = []
    for picture in looks:
        tone: AnyTone
        if picture.frame.polarity == "negative":
            process = picture.frame.process
            tone = _negative(picture, film[process], encoding, source.bits, settings)
            tone = _of_film(tone, pooled.get(process))
        else:
            tone = _positive(picture, encoding, source.bits, settings)
        assumed = colour.assumption(encoding)
        if assumed is not None:
            tone = msgspec.structs.replace(tone, review=(*tone.review, assumed))
        tone = _rounded(tone)
        clipped = _rounded(_clipped(picture, tone, encoding))
        tones.append(msgspec.structs.replace(tone, clipped_percent=clipped))
    return tones


def _of_film(tone: AnyTone, shared: MasterFilm | None) -> AnyTone:
    """Return the tone with what is to be said of the film that the frame shares."""
    if shared is None:
        return tone
    if shared.film is not None:
        tone = msgspec.structs.replace(tone, film=shared.film.note)
    parted = () if shared.doubt is UNSET else (shared.doubt,)
    return msgspec.structs.replace(tone, review=(*tone.review, *parted))


def _rows(matrix: Floats) -> tuple[Channels, ...]:
    return tuple(tuple(row) for row in matrix.tolist())


def _film(
    source: Source,
    geometry: MasterGeometry,
    facts: Facts,
    encoding: colour.Encoding,
    looks: list[Look],
    settings: ToneSection,
    pooled: Mapping[str, MasterFilm],
) -> dict[str, Film]:
    """Return what the negatives of a master share, by process."""
    films: dict[str, Film] = {}
    stock = settings.film_stocks.get(facts.film_stock or "", FilmStock())
    for process in sorted({picture.frame.process for picture in looks}):
        mine = [picture for picture in looks if picture.frame.process == process]
        pictures = [
            picture for picture in mine if not picture.frame.blank and not picture.frame.excluded
        ]
        bands = negative_film.bands_of(process, source.bands, settings)
        used = pooled[process].film if process in pooled else None
        if used is not None:
            film = pool.film_of(used, process, bands)
        else:
            base = negative_film.base_of(source, geometry, encoding)
            known = Known(process, bands, base, facts, stock, primaries_of(encoding))
            shown = pictures or mine
            film = with_network(estimate(shown, known), shown, known)
        if len(bands) == 3 and settings.negative_primaries == "profile":
            film = replace(film, matrix=_rows(encoding.matrix))
        films[process] = film
    return films


def _negative(
    picture: Look, film: Film, encoding: colour.Encoding, bits: int, settings: ToneSection
) -> AnyTone:
    """Return the tone of a negative frame: what the film shares, and its own light and exposure.

    The lightest part (the lightest channel of all but 0.02 % of the pixels) is taken to white,
    glints left out: most pictures are exposed and printed so that something in them is white.
    """
    own = doubt.own(picture, film)
    film = own.film
    limit = settings.balance_limit
    balance = own.balance if film.balance_stated else _within(own.balance, limit)
    x = exposures(picture, film) + np.array(balance)
    top = float(np.percentile(x.max(axis=1), 99.98)) + own.exposure
    kind = ColourNegative if film.process == "colour" else MonochromeNegative
    return kind(
        version=VERSION,
        process=film.process,
        bits=bits,
        master_bands=picture.light.shape[1],
        bands=len(film.channels),
        channels=film.channels,
        encoding=encoding.describe,
        dmin=film.dmin,
        dmin_source=film.dmin_source,
        slopes=film.slopes,
        slopes_source=film.slopes_source,
        balance=balance,
        exposure=own.exposure,
        toe=settings.toe,
        matrix=film.matrix,
        density_matrix=film.density_matrix,
        shoulder=_shoulder(float(10.0**top), settings.shoulder_start),
        expected_error=own.expected_error,
        review=own.review,
        clipped_percent=NOT_MEASURED,
        network=own.network or UNSET,
    )


def _within(balance: Channels, limit: float) -> Channels:
    return tuple(min(max(part, -limit), limit) for part in balance)


def _shoulder(top: float, start: Number) -> Shoulder | None:
    """Return the shoulder that brings light up to `top` below 1; None where nothing exceeds 1."""
    if top <= 1.0:
        return None
    return Shoulder(start, min(top, 8.0))


def _positive(
    picture: Look, encoding: colour.Encoding, bits: int, settings: ToneSection
) -> AnyTone:
    """Return the tone of a positive frame: through its profile, grey where it is stated to be."""
    bands = picture.light.shape[1]
    matrix = encoding.matrix if len(encoding.tables) == 3 else np.eye(1)
    grey = bands == 3 and picture.frame.process == "monochrome" and picture.frame.process_stated
    coloured = _coloured(picture.calm @ matrix.T) if grey else 0.0
    if grey:
        matrix = np.array([LUMINANCE]) @ matrix
    light = picture.light @ matrix.T
    asked = settings.restore == "faded" and len(matrix) == 3 and picture.frame.process == "colour"
    fresh = fading.estimated(picture.calm @ matrix.T) if asked else None
    if fresh and fresh.restoration.changes:
        light = fading.restored(light, fresh.restoration)
    black = float(np.percentile(light.min(axis=1), 0.1))
    review: tuple[str, ...] = ()
    if coloured > SEEN_SHARE:
        review = (
            f"Stated to be monochrome and made grey, but {coloured:.0%} of the picture shows "
            "colours: a tint is lost, or `process` is wrong.",
        )
    review += fresh.review if fresh else ()
    kind = PositiveInGrey if grey else PositiveAsIs
    return kind(
        version=VERSION,
        process=picture.frame.process,
        bits=bits,
        master_bands=bands,
        bands=len(matrix),
        channels=tuple(range(bands)),
        encoding=encoding.describe,
        black=min(max(black, 0.0), settings.black_limit),
        intent="relative colorimetric",
        black_point_compensation=True,
        restored=fresh.restoration if fresh else UNSET,
        matrix=_rows(matrix) if bands == 3 else None,
        shoulder=None,
        review=review,
        clipped_percent=NOT_MEASURED,
    )


def _coloured(light: Floats) -> float:
    """Return the share of pixels (n, 3: linear sRGB) that are plainly not grey.

    L*a*b* (D50) by CIE 15:2018, section 8.2.1.
    """
    ratio = np.clip(light, 0.0, None) @ colour.srgb_matrix().T / colour.D50
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    chroma = np.hypot(500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2]))
    light_enough = 116 * f[:, 1] - 16 > DARK_LIGHTNESS
    return float(np.mean(chroma[light_enough] > SEEN_CHROMA)) if light_enough.any() else 0.0


def _clipped(picture: Look, tone: AnyTone, encoding: colour.Encoding) -> Clipped:
    """Return the shares of samples at the ends, in the master and as rendered."""
    full = 2**tone.bits - 1
    rendered = toning.shown(picture.codes, tone, encoding)
    return Clipped(
        master_high=float(np.mean(picture.codes.max(axis=1) >= full) * 100),
        master_low=float(np.mean(picture.codes.min(axis=1) <= 0) * 100),
        rendered_high=float(np.mean(rendered.max(axis=-1) >= 255) * 100),
        rendered_low=float(np.mean(rendered.max(axis=-1) <= 0) * 100),
    )


def _rounded(value: Any) -> Any:
    """Return `value` with floats rounded, so that what is written repeats what was done."""
    if isinstance(value, msgspec.Struct):
        parts = {name: _rounded(getattr(value, name)) for name in value.__struct_fields__}
        return msgspec.structs.replace(value, **parts)
    if isinstance(value, tuple):
        return tuple(_rounded(part) for part in value)
    if isinstance(value, float):
        return round(float(value), 6)
    return value
