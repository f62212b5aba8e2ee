"""What a small trained network says of a film and of its frames: one more source beside `layers`.

The network was trained on films drawn at random (`tests/training/train_tone.py`), so it knows
photographs, films and cameras as they usually are, and says of each value how far it may be off. It
sees of a frame how its exposures lie, as percentiles and the colours of its lightest and darkest
places, never where; of a film, what its frames have in common. It is no judge: what it says is
weighed against what `layers` finds, by how sure both are.

Sums are in double precision and what comes out is rounded (`DIGITS`), so that every processor says
the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
from msgspec.structs import replace

from glassine.base.records.films import TrainedFilm
from glassine.base.tone import Channels
from glassine.render import dyes

Floats = npt.NDArray[np.float64]

FILE = Path(__file__).with_name("trained.npz")
DIGITS = 4
# Slopes that densities are put in proportion by, before the profile's own factors: those of usual
# film (`negative_film.COLOUR_SLOPE`); the network was trained with this number.
SLOPE = 0.6
# Shares of the places by which exposures are told, those whose mean colour is told of the lightest
# by their weakest channel and of the darkest by their strongest, and the level of the lightest.
SHARES = (0.002, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.98, 0.99, 0.995, 0.999)
LIGHTEST, DARKEST, LEVEL = (0.003, 0.01, 0.04, 0.15), 0.02, 0.999
# More places than this tell no more.
PLACES = 12_000
# Edges are told in a picture of so many px on each side.
SIDE = 48
# Exposures (log10 over D-min) beyond these tell nothing.
LEAST, MOST = -1.0, 5.0
_BESIDE = ((0, 1), (0, 2), (1, 0), (1, 2), (2, 0), (2, 1))


@dataclass(frozen=True)
class Said:
    """What the network says of a frame, given its film.

    balance: log10 of exposure, per channel, with the frame's exposure in it, for the network's own
    slopes and matrix; exposure, cast: how far their mean, and each against it, may be off, one
    standard deviation; error: mean CIEDE2000 that it expects of its own picture.
    """

    balance: Channels
    exposure: float
    cast: float
    error: float


@dataclass(frozen=True)
class _Seen:
    values: Floats
    level: float


def usual_of(facts: Channels) -> tuple[Floats, Floats]:
    """Return the usual matrix and the usual slopes that a film's facts say."""
    values = np.array(facts)
    return np.eye(3) + values[:9].reshape(3, 3), SLOPE * 10.0 ** values[9:12]


def exposures(places: Floats, dmin: Channels, context: TrainedFilm) -> Floats:
    """Return log10 H/H0 per channel (n, 3) by the network's own slopes and matrix, before balance.

    places: density (n, 3)."""
    matrix, slopes = usual_of(context.facts)
    x = (places - np.array(dmin)) / (slopes * 10.0 ** np.array(context.slopes))
    return np.asarray(x @ (np.array(context.matrix) @ matrix).T)


def facts_of(usual: dyes.Nominal, dmin: Channels, seen: bool) -> Channels:
    """Return what is known of a film without its pictures. seen: whether its base is."""
    apart = (np.array(usual.matrix) - np.eye(3)).ravel()
    off = np.array(dmin) - np.array(usual.base)
    return _rounded([*apart, *np.log10(usual.slopes), float(seen), *off])


def film(
    frames: Sequence[tuple[Floats, Floats | None]], dmin: Sequence[Channels], facts: Channels
) -> TrainedFilm:
    """Return what the network says of a film, for all that comes after.

    frames: of each, the density of its places (n, 3) and of its picture (h, w, 3) or None; dmin:
    of each frame's film base; facts: see `facts_of`.
    """
    seen = [
        _seen(places, picture, base, facts)
        for (places, picture), base in zip(frames, dmin, strict=True)
    ]
    levels = np.array([one.level for one in seen])
    largest, mean = float(levels.max()), float(levels.mean())
    known = np.array(facts)
    first = np.stack([_first(one, (largest, mean), known) for one in seen])
    both = np.concatenate([first.mean(axis=0), first.max(axis=0)])
    weight, bias = _layer("pool1")
    wide = first.shape[1]
    shared = weight[:, wide:] @ both + bias
    second = np.stack([_second(one, shared) for one in first])
    count = [np.log(len(seen))]
    whole = np.concatenate([second.mean(axis=0), second.max(axis=0), known, count])
    of_film = _bent("film1", whole)
    out = _plain("film2", of_film)
    weight, bias = _layer("own1")
    mixing = np.zeros((3, 3))
    for (row, column), part in zip(_BESIDE, out[3:9], strict=True):
        mixing[row, column] = round(float(part), DIGITS)
    mixing += np.diag(1.0 - mixing.sum(axis=1))
    contrast, ratios, beside = _deviations(out[9:12])
    context = TrainedFilm(
        facts=facts,
        levels=_rounded([largest, mean]),
        shared=_rounded(shared),
        own=_rounded(weight[:, 2 * wide :] @ of_film + bias),
        slopes=_rounded(out[:3]),
        matrix=tuple(_rounded(row) for row in mixing),
        contrast=contrast,
        ratios=ratios,
        beside=beside,
        balance=(0.0, 0.0, 0.0),
        cast=1.0,
    )
    said = [_said(one, context) for one in seen]
    casts = np.array([one.balance for one in said])
    casts -= casts.mean(axis=1, keepdims=True)
    weight = np.array([one.cast for one in said]) ** -2.0
    common = (casts * weight[:, None]).sum(axis=0) / weight.sum()
    # What misleads it of one frame misleads it of the others: many are no surer than one.
    return replace(context, balance=_rounded(common), cast=_rounded([weight.mean() ** -0.5])[0])


def frame(places: Floats, picture: Floats | None, dmin: Channels, context: TrainedFilm) -> Said:
    """Return what the network says of a frame of a film. places, picture: as in `film`."""
    return _said(_seen(places, picture, dmin, context.facts), context)


def _said(seen: _Seen, context: TrainedFilm) -> Said:
    x = _first(seen, context.levels, np.array(context.facts))
    y = _second(x, np.array(context.shared))
    weight, _ = _layer("own1")
    wide = len(x)
    inner = np.maximum(weight[:, : 2 * wide] @ np.concatenate([x, y]) + np.array(context.own), 0.0)
    out = _plain("own2", inner)
    usual, _ = usual_of(context.facts)
    mixing = np.array(context.matrix) @ usual
    # The network tells exposures about the level, at which a grey is.
    pivot = -mixing @ (seen.level * 10.0 ** -np.array(context.slopes))
    exposure, cast = _deviations(out[3:5])
    error = round(float(np.exp(min(float(out[5]) + 1.6, 4.0))), 2)
    return Said(_rounded(pivot + out[:3]), exposure, cast, error)


def _seen(places: Floats, picture: Floats | None, dmin: Channels, facts: Channels) -> _Seen:
    matrix, slopes = usual_of(facts)
    places = places[:: max(1, len(places) // PLACES)]
    x = np.clip((places - np.array(dmin)) / slopes @ matrix.T, LEAST, MOST)
    ranked = np.sort(x, axis=1)
    each = np.sort(np.concatenate([x, ranked], axis=1), axis=0)
    last = len(x) - 1
    level = float(each[round(LEVEL * last), 4])
    light = x[np.argsort(-ranked[:, 0], kind="stable")]
    dark = x[np.argsort(ranked[:, 2], kind="stable")]
    lightest = [light[: max(1, round(share * len(x)))].mean(axis=0) for share in LIGHTEST]
    told = np.concatenate(
        [
            each[[round(share * last) for share in SHARES]].ravel(),
            *lightest,
            dark[: max(1, round(DARKEST * len(x)))].mean(axis=0),
        ]
    )
    edges = np.zeros(3) if picture is None else _edges(picture, dmin, matrix, slopes, level)
    return _Seen(np.concatenate([told - level, edges, [level - 2.0]]), level)


def _edges(picture: Floats, dmin: Channels, matrix: Floats, slopes: Floats, level: float) -> Floats:
    """Return the colour of the strongest edges, log10 of exposure, mean 0."""
    d = ((picture - np.array(dmin)) / slopes).astype(np.float32)
    small = cv2.resize(d, (SIDE, SIDE), interpolation=cv2.INTER_AREA).astype(np.float64)
    light = 10.0 ** np.minimum(np.clip(small @ matrix.T, LEAST, MOST) - level, 0.5)
    here = light[1:, 1:]
    strength = np.hypot(here - light[1:, :-1], here - light[:-1, 1:])
    found = np.log10((strength**5).mean(axis=(0, 1)) + 1e-12) / 5
    return np.asarray(found - found.mean())


def _first(seen: _Seen, levels: Sequence[float], facts: Floats) -> Floats:
    near = [seen.level - levels[0], seen.level - levels[1]]
    return _bent("frame2", _bent("frame1", np.concatenate([seen.values, near, facts])))


def _second(x: Floats, shared: Floats) -> Floats:
    weight, _ = _layer("pool1")
    return _bent("pool2", np.maximum(weight[:, : len(x)] @ x + shared, 0.0))


def _deviations(logs: Floats) -> tuple[float, ...]:
    return tuple(round(float(np.exp(np.clip(part, -6.0, 2.0))), DIGITS) for part in logs)


def _rounded(values: Sequence[float] | Floats) -> Channels:
    return tuple(round(float(value), DIGITS) for value in values)


@cache
def _weights() -> dict[str, Floats]:
    with np.load(FILE, allow_pickle=False) as kept:
        return {name: kept[name].astype(np.float64) for name in kept.files}


def _layer(name: str) -> tuple[Floats, Floats]:
    kept = _weights()
    return kept[f"{name}.weight"], kept[f"{name}.bias"]


def _plain(name: str, x: Floats) -> Floats:
    weight, bias = _layer(name)
    return np.asarray(weight @ x + bias)


def _bent(name: str, x: Floats) -> Floats:
    return np.maximum(_plain(name, x), 0.0)
