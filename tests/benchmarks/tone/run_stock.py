"""What the stock library gains: films of two frames, with and without what earlier nights learned.

    tests/benchmarks/run tone-stock [--stocks 4] [--pictures FOLDER]

Stocks of tests/makers/tone/film_model.py. Of each, earlier nights saw three films of six frames,
developed a little differently each (0.02, log10 of the slopes, one standard deviation; value from
memory); what these showed is put together as the library does. Then a film of two frames, of
pictures that none of these nights saw, is estimated without and with it. Mean CIEDE2000 against the
pictures; `slopes`: how far the film's slopes are off at most, log10.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from benchmarks.result import Outcome, Row, figure
from glassine.base import settings
from glassine.base.model import Facts
from glassine.base.records.films import MasterFilm, UsedFilm
from glassine.base.records.stocks import StockFilm
from glassine.base.tone import FilmNote, Negative
from glassine.films import library
from glassine.masters import colour
from glassine.render import looks, negative_film, pool, tone, toning
from glassine.render.estimate import Known, estimate, primaries_of
from glassine.render.given import FilmStock, ToneSection
from glassine.render.learned import Learned
from makers.tone import film_model as model
from makers.tone import positives

SECTION = msgspec.convert(settings.load({})["tone"], ToneSection)
NIGHTS, EARLIER, FRAMES = 3, 6, 2
DEVELOPED = 0.02


@dataclass(frozen=True)
class Night:
    """One film of a stock, as it was developed, and the strip of its frames."""

    film: model.FilmModel
    strip: model.Strip
    shown: list[np.ndarray]


def night(stock: model.FilmModel, shown: list[np.ndarray], number: int) -> Night:
    rng = np.random.default_rng(number)
    film = replace(stock, slopes=stock.slopes * 10.0 ** rng.normal(0, DEVELOPED))
    evs = list(rng.normal(0, 0.3, len(shown)))
    return Night(film, model.strip(film, shown, number, base=True, evs=evs), shown)


def estimated(of: Night, learned: Learned | None) -> negative_film.Film:
    strip = of.strip
    encoding = colour.encoding_of(strip.icc, None, 16, 3)
    base = negative_film.base_of(strip.source, strip.geometry, encoding)
    known = Known("colour", (0, 1, 2), base, Facts(), FilmStock(), primaries_of(encoding), learned)
    seen = [looks.look(strip.source, frame, encoding) for frame in strip.geometry.frames]
    return estimate(seen, known)


def entry(of: Night, number: int) -> StockFilm:
    """Return what the library keeps of a film."""
    film = estimated(of, None)
    return StockFilm(
        batch=f"night {number}",
        film="roll",
        version="0",
        frames=len(of.shown),
        masters=len(of.shown),
        slopes=film.slopes,
        contrast=film.uncertainty.contrast,
        ratios=film.uncertainty.ratios,
    )


def errors(of: Night, film: negative_film.Film) -> list[float]:
    """Return the mean CIEDE2000 of each frame, rendered with a film."""
    note = FilmNote(name="roll", whence="batch.yaml", frames=FRAMES, masters=FRAMES, version="0")
    used = UsedFilm(note=note, values=pool.values_of(film), deviations=None)
    shared = {"colour": MasterFilm(master="a.tif", process="colour", film=used)}
    strip = of.strip
    ways = tone.plan(strip.source, strip.geometry, Facts(), strip.icc, SECTION, shared)
    found = []
    for place, (way, picture) in enumerate(zip(ways, of.shown, strict=True)):
        assert isinstance(way, Negative)
        got = toning.apply(strip.part(place), way, strip.icc)[::3, ::3]
        found.append(float(deltaE_ciede2000(rgb2lab(picture[::3, ::3]), rgb2lab(got)).mean()))
    return found


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stocks", type=int, default=4)
    parser.add_argument("--pictures", type=Path, help="folder of own pictures, sRGB")
    options = parser.parse_args(arguments)
    shown = positives.photographs() | (positives.own(options.pictures) if options.pictures else {})
    every = [shown[name] for name in sorted(shown)]
    order = np.random.default_rng(11).permutation(len(every))
    without: list[float] = []
    with_it: list[float] = []
    off: list[list[float]] = []
    for number in range(options.stocks):
        stock = model.film_of("usual", 300 + number)
        mine = [every[place] for place in np.roll(order, 5 * number)]
        last, before = mine[:FRAMES], mine[FRAMES:]
        nights = [
            night(stock, [before[(k * EARLIER + n) % len(before)] for n in range(EARLIER)], k)
            for k in range(NIGHTS)
        ]
        start = library.pooled("stock", [entry(one, k) for k, one in enumerate(nights)])
        film = night(stock, last, 100 + number)
        pair = [estimated(film, learned) for learned in (None, library.as_start(start))]
        without += errors(film, pair[0])
        with_it += errors(film, pair[1])
        truth = np.log10(film.film.cross @ film.film.couplers @ film.film.slopes)
        off.append([float(np.abs(np.log10(each.slopes) - truth).max()) for each in pair])
        print(f"stock {number}: {np.mean(without[-2:]):.2f} without, {np.mean(with_it[-2:]):.2f}")
    rows: list[Row] = [
        {
            "case": title,
            "frames": len(found),
            "median": figure(np.median(found), 2),
            "mean": figure(np.mean(found), 2),
            "slopes": figure(np.mean(off, axis=0)[place], 3),
        }
        for place, (title, found) in enumerate((("without", without), ("with", with_it)))
    ]
    for row in rows:
        print(*row.values(), sep="  ")
    return Outcome(rows)
