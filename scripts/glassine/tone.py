"""Tone of a frame: negatives inverted by density, positives through their profile, both to sRGB.

A plan is made once from the reduced master and holds every parameter; `apply` repeats the
pixels from it exactly, for any horizontal band, pixel by pixel.

Negatives. Transmittance T is linear light of the master (bare table = 1), D = -log10 T.
With the film base's D-min and the film's slope g of the straight line,
H/H0 = 10 ** ((D - Dmin) / g) is the exposure that the film saw; H0 is what the straight line
gives at D-min. The picture's light is gain * (H/H0 - toe), then a shoulder for highlights,
then the sRGB curve. Exposures of the three layers are shown in the primaries of sRGB (a
convention; `negative_primaries: profile` shows them in the primaries of the master's profile).
Positives pass through their profile, relative colorimetric with black point compensation.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine import colour
from glassine.model import Corners, Facts, Frame, MasterGeometry
from glassine.settings import canonical

if TYPE_CHECKING:
    from glassine.pixels import Source

VERSION = "1"

Floats = npt.NDArray[np.float64]
Table = npt.NDArray[np.float32]
Pixels = npt.NDArray[Any]

# Where neither batch.yaml nor the settings know the film. Colour: "about 0.6", ARRI DI companion,
# fig. 2.2. Monochrome: middle of contrast index 0.55-0.7 of usual film (value from memory).
COLOUR_SLOPE = 0.6
MONOCHROME_SLOPE = 0.62
# At most so many pixels of a frame are looked at; more change no percentile that is used here.
MAX_SAMPLES = 60_000
CHANNELS = ("red", "green", "blue")


@dataclass(frozen=True)
class Look:
    """What was seen of one frame: codes (n, bands), and linear light (n, bands)."""

    frame: Frame
    codes: Pixels
    light: Floats


def plan(
    source: Source,
    geometry: MasterGeometry,
    facts: Facts,
    icc: bytes | None,
    settings: dict[str, Any],
) -> list[dict[str, Any]]:
    """Return one JSON-able tone per frame of `geometry.frames`, in their order.

    settings: the section `tone`. Frames that are negatives share D-min, slopes and balance;
    exposure and shoulder are each frame's own. `tone["bands"]` says how many bands `apply`
    returns, `tone["review"]` why a person should look (empty as a rule).
    Raises GlassineError where the profile cannot be used.
    """
    encoding = colour.encoding_of(icc, facts.encoding, source.bits, source.bands)
    looks = [_look(source, frame, encoding) for frame in geometry.frames]
    negatives = [look for look in looks if look.frame.polarity == "negative"]
    film = _film(source, geometry, facts, encoding, negatives, settings) if negatives else {}
    tones = []
    for look in looks:
        if look.frame.polarity == "negative":
            tone = _negative(look, film[look.frame.process], settings)
        else:
            tone = _positive(look, encoding, settings)
        tone |= {"version": VERSION, "bits": source.bits, "master_bands": source.bands}
        tone["encoding"] = dict(encoding.describe)
        if encoding.describe.get("assumed"):
            tone["review"].append(
                "The master has no colour profile and batch.yaml states no encoding: sRGB assumed."
            )
        tone["clipped_percent"] = _clipped(look, tone, encoding)
        tones.append(_rounded(tone))
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
    codes = reduced[_inside(reduced.shape, frame.corners, source.reduction, 0.04)]
    if len(codes) == 0:
        codes = reduced.reshape(-1, reduced.shape[-1])
    codes = codes[:: max(1, -(-len(codes) // MAX_SAMPLES))]
    light = encoding.linear(codes[None])[0].astype(np.float64)
    return Look(frame, codes, light)


# ------------------------------------------------------------------ film


def _film(
    source: Source,
    geometry: MasterGeometry,
    facts: Facts,
    encoding: colour.Encoding,
    looks: list[Look],
    settings: dict[str, Any],
) -> dict[str, dict[str, Any]]:
    """Return what the negatives of a master share, by process: D-min, slopes, balance."""
    found: dict[str, dict[str, Any]] = {}
    stock = settings["film_stocks"].get(facts.film_stock or "", {})
    for process in sorted({look.frame.process for look in looks}):
        mine = [look for look in looks if look.frame.process == process]
        pictures = [look for look in mine if not look.frame.blank and not look.frame.excluded]
        bands = _bands(process, source.bands, settings)
        dmin, dmin_source = _dmin(source, geometry, encoding, stock, pictures or mine, bands)
        film: dict[str, Any] = {
            "process": process,
            "channels": bands,
            "dmin": dmin,
            "dmin_source": dmin_source,
        }
        film |= _slopes_and_balance(film, facts, stock, pictures or mine, settings)
        film["matrix"] = (
            encoding.matrix.tolist()
            if len(bands) == 3 and settings["negative_primaries"] == "profile"
            else None
        )
        found[process] = film
    return found


def _bands(process: str, bands: int, settings: dict[str, Any]) -> list[int]:
    """Return which bands of the master are used: all, or one for a monochrome negative."""
    if bands == 1:
        return [0]
    if process == "monochrome":
        return [CHANNELS.index(settings["monochrome_channel"])]
    return [0, 1, 2]


def _dmin(
    source: Source,
    geometry: MasterGeometry,
    encoding: colour.Encoding,
    stock: dict[str, Any],
    looks: list[Look],
    bands: list[int],
) -> tuple[list[float], str]:
    """Return D-min per used channel and where it comes from."""
    if geometry.base_regions:
        measured = [_base_density(source, region, encoding) for region in geometry.base_regions]
        seen = [value for value in measured if value is not None]
        if seen:
            dmin = np.median(np.stack(seen), axis=0)[bands]
            return dmin.tolist(), f"film base, {len(seen)} region(s)"
    if stock.get("dmin"):
        dmin = np.array(stock["dmin"], float)
        return dmin[bands if len(dmin) > 1 else [0]].tolist(), "settings, film stock"
    # The thinnest part of all frames: half a per mille, so that pinholes and dust do not count.
    thin = [np.percentile(colour.density(look.light), 0.05, axis=0) for look in looks]
    return np.min(np.stack(thin), axis=0)[bands].tolist(), "thinnest part of the pictures"


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


def _slopes_and_balance(
    film: dict[str, Any],
    facts: Facts,
    stock: dict[str, Any],
    looks: list[Look],
    settings: dict[str, Any],
) -> dict[str, Any]:
    count = len(film["channels"])
    given = facts.slopes or stock.get("slopes")
    source = "batch.yaml" if facts.slopes else "settings, film stock"
    if given is None:
        default = COLOUR_SLOPE if film["process"] == "colour" else MONOCHROME_SLOPE
        given, source = [default] * 3, "default of the process"
    slopes = [float(given[band]) for band in film["channels"]] if len(given) == 3 else [given[0]]
    balance = [0.0] * count
    if stock.get("balance") and count == 3:
        balance = [float(value) for value in stock["balance"]]
    elif count == 3:
        balance = _balance(film["dmin"], slopes, looks, settings["balance_limit"])
    return {"slopes": slopes, "slopes_source": source, "balance": balance}


def _exposures(look: Look, film: dict[str, Any]) -> Floats:
    """Return log10 H/H0 per used channel, (n, channels)."""
    d = colour.density(look.light[:, film["channels"]])
    return np.asarray((d - np.array(film["dmin"])) / np.array(film["slopes"]))


def _balance(
    dmin: Sequence[float], slopes: Sequence[float], looks: list[Look], limit: float
) -> list[float]:
    film = {"channels": [0, 1, 2], "dmin": dmin, "slopes": slopes}
    levels = np.concatenate(
        [np.percentile(_exposures(look, film), [50, 75, 90, 97, 99], axis=0) for look in looks]
    )
    offset = np.median(levels[:, 1:2] - levels, axis=0)
    return np.clip(offset, -limit, limit).tolist()  # type: ignore[no-any-return]


# ------------------------------------------------------------------ tones


def _negative(look: Look, film: dict[str, Any], settings: dict[str, Any]) -> dict[str, Any]:
    """Return the tone of a negative frame: what the film shares, and its own exposure."""
    x = _exposures(look, film) + np.array(film["balance"])
    brightest = x.max(axis=1)
    white = float(np.percentile(brightest, 99.5))
    exposure = np.log10(0.95) - white
    top = float(np.percentile(brightest, 99.98) + exposure)
    return {
        "rendering": f"negative, {film['process']}",
        "bands": len(film["channels"]),
        **film,
        "exposure": exposure,
        "toe": settings["toe"],
        "shoulder": _shoulder(10.0**top, settings["shoulder_start"]),
        "review": [],
    }


def _shoulder(top: float, start: float) -> dict[str, float] | None:
    """Return the shoulder that brings light up to `top` below 1; None where nothing exceeds 1."""
    if top <= 1.0:
        return None
    return {"start": start, "top": min(top, 8.0)}


def _positive(look: Look, encoding: colour.Encoding, settings: dict[str, Any]) -> dict[str, Any]:
    matrix = encoding.matrix if len(encoding.tables) == 3 else np.eye(1)
    light = look.light @ matrix.T
    black = float(np.percentile(light.min(axis=1), 0.1))
    return {
        "rendering": "positive",
        "bands": look.light.shape[1],
        "channels": list(range(look.light.shape[1])),
        "process": look.frame.process,
        "intent": "relative colorimetric",
        "black_point_compensation": True,
        "matrix": matrix.tolist() if len(matrix) == 3 else None,
        "black": min(max(black, 0.0), settings["black_limit"]),
        "shoulder": None,
        "review": [],
    }


def _clipped(look: Look, tone: dict[str, Any], encoding: colour.Encoding) -> dict[str, float]:
    """Return the share (%) of samples at the ends, in the master and as rendered."""
    full = 2 ** tone["bits"] - 1
    rendered = _render(encoding.flatten(look.codes[None]), _Tables.of(tone, encoding))
    return {
        "master_high": float(np.mean(look.codes.max(axis=1) >= full) * 100),
        "master_low": float(np.mean(look.codes.min(axis=1) <= 0) * 100),
        "rendered_high": float(np.mean(rendered.max(axis=-1) >= 255) * 100),
        "rendered_low": float(np.mean(rendered.max(axis=-1) <= 0) * 100),
    }


def _rounded(value: Any) -> Any:
    """Return `value` with floats rounded, so that what is written repeats what was done."""
    if isinstance(value, dict):
        return {key: _rounded(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(part) for part in value]
    if isinstance(value, float | np.floating):
        return round(float(value), 6)
    return value


# ------------------------------------------------------------------ pixels


@dataclass(frozen=True)
class _Tables:
    """What `apply` looks up. One table per channel, or two about a matrix.

    direct: uint8 (1, codes, channels), where channels do not mix; else light (float32, same
    shape, scaled so that 65535 is `headroom`), matrix (3 x 3) and ending uint8 (65536).
    """

    channels: tuple[int, ...]
    direct: npt.NDArray[np.uint8] | None
    light: Table
    matrix: Table | None
    ending: Pixels
    headroom: float

    @classmethod
    def of(cls, tone: dict[str, Any], encoding: colour.Encoding) -> _Tables:
        light = _light_tables(_rounded(tone), encoding)
        matrix = None if tone["matrix"] is None else np.array(tone["matrix"])
        # Primaries of sRGB itself differ from ours by the rounding of profiles only.
        mixes = matrix is not None and bool(np.abs(matrix - np.eye(3)).max() > 5e-4)
        headroom = tone["shoulder"]["top"] if tone["shoulder"] else 1.0
        ending = _encoded(np.linspace(0.0, headroom, 65536), tone["shoulder"])
        direct = None if mixes else _eight(_encoded(light, tone["shoulder"])).T[None].copy()
        scaled = np.ascontiguousarray((light * 65535.0 / headroom).T[None], np.float32)
        return cls(
            tuple(tone["channels"]),
            direct,
            scaled,
            matrix.astype(np.float32) if mixes and matrix is not None else None,
            _eight(ending),
            headroom,
        )


def _eight(value: Floats) -> npt.NDArray[np.uint8]:
    return np.round(value * 255.0).astype(np.uint8)


def _light_tables(tone: dict[str, Any], encoding: colour.Encoding) -> Floats:
    """Return the picture's light (before matrix and shoulder) of each code, (channels, codes)."""
    light = encoding.tables[tone["channels"]].astype(np.float64)
    if tone["rendering"] == "positive":
        return np.asarray((light - tone["black"]) / (1.0 - tone["black"]))
    column = (-1, 1)
    dmin = np.reshape(tone["dmin"], column)
    slopes = np.reshape(tone["slopes"], column)
    gain = np.reshape(tone["balance"], column) + tone["exposure"]
    x = (colour.density(light) - dmin) / slopes
    # Codes that no film has (the opaque mask) would overflow: 10**6 is far beyond white.
    picture = 10.0 ** np.minimum(x + gain, 6.0) - tone["toe"] * 10.0**gain
    return np.asarray(np.maximum(picture, 0.0))


def _encoded(light: npt.NDArray[Any], shoulder: dict[str, float] | None) -> Floats:
    """Return sRGB codes 0..1 of light, highlights rolled off by `shoulder`.

    Up to `start` light is kept; from there to `top` it follows a rational curve that leaves
    `start` with slope 1 and reaches 1 at `top`.
    """
    if shoulder is None:
        return colour.linear_to_srgb(light)
    start, top = shoulder["start"], shoulder["top"]
    way, room = top - start, 1.0 - start
    u = np.clip((light - start) / way, 0.0, 1.0)
    # Rational curve r(u) = u (1 + k) / (1 + k u): r(0) = 0, r(1) = 1, slope at 0 is way / room.
    k = way / room - 1.0
    rolled = start + room * u * (1.0 + k) / (1.0 + k * u)
    return colour.linear_to_srgb(np.where(light <= start, light, rolled))


@lru_cache(maxsize=32)
def _prepared(tone_text: str, icc: bytes | None) -> tuple[_Tables, colour.Encoding]:
    tone = json.loads(tone_text)
    stated = None if tone["encoding"]["by"] == "profile" else tone["encoding"]["name"]
    encoding = colour.encoding_of(icc, stated, tone["bits"], tone["master_bands"])
    return _Tables.of(tone, encoding), encoding


def apply(pixels: Pixels, tone: dict[str, Any], icc: bytes | None) -> npt.NDArray[np.uint8]:
    """Return the picture, uint8 (h, w, tone["bands"]), sRGB (one band: grey with the sRGB curve).

    pixels: code values of the master, uint8 or uint16 (h, w, 1 or 3), any horizontal band of
    any size; each pixel is rendered by itself. Safe to call from several threads.
    """
    tables, encoding = _prepared(canonical(tone), icc)
    return _render(encoding.flatten(_as_bands(pixels, tone)), tables)


def apply16(pixels: Pixels, tone: dict[str, Any], icc: bytes | None) -> npt.NDArray[np.uint16]:
    """Return the picture as `apply`, but uint16 (h, w, tone["bands"])."""
    tables, encoding = _prepared(canonical(tone), icc)
    flat = _picked(encoding.flatten(_as_bands(pixels, tone)), tables)
    light = cv2.LUT(np.ascontiguousarray(flat), tables.light).reshape(flat.shape)
    if tables.matrix is not None:
        light = np.asarray(cv2.transform(light, tables.matrix))
    codes = _encoded(light * (tables.headroom / 65535.0), tone["shoulder"])
    return np.round(codes * 65535.0).astype(np.uint16)


def _as_bands(pixels: Pixels, tone: dict[str, Any]) -> Pixels:
    """Return `pixels` as (h, w, bands); raises ValueError for pixels that `tone` is not for."""
    shaped = pixels[..., None] if pixels.ndim == 2 else pixels
    deep = np.uint16 if tone["bits"] == 16 else np.uint8
    if shaped.ndim != 3 or shaped.shape[2] != tone["master_bands"] or shaped.dtype != deep:
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
    return np.asarray(cv2.LUT(codes, tables.ending), np.uint8).reshape(picked.shape)
