"""The stock library: what films showed of the stocks that batch.yaml names, kept over nights.

One file for all batches of a results folder, which a studio can look at, freeze and carry. A film
never starts from what it showed itself: what its own batch noted before is left out, and what is
noted of it is estimated without the library. So nothing confirms itself.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
from collections.abc import Iterator
from pathlib import Path

import msgspec
import numpy as np

from glassine.base import files, record_files
from glassine.base.records.films import UsedFilm
from glassine.base.records.parts import Number
from glassine.base.records.stocks import MAX_FILMS, Stock, StockFilm, Stocks, StockUsed
from glassine.films.units import Unit
from glassine.render.learned import Learned
from glassine.render.looks import Floats

NAME = "film-stocks.json"
_LOCK = ".film-stocks.lock"
# A film of fewer frames tells too little of its stock.
LEAST_FRAMES = 3
# Development and age make films of one stock differ by this, log10 (value from memory).
APART = 0.02
# Digits after the point of what a film starts from: pictures are made from it.
_DIGITS = 6


def read(results: Path) -> Stocks:
    """Return the library of a results folder, an empty one where there is none yet.

    Raises GlassineError where it cannot be read.
    """
    path = results / NAME
    if not path.exists():
        return Stocks(stocks=[])
    return record_files.load(path, "stocks", Stocks)


def learned(library: Stocks, unit: Unit, batch: str) -> StockUsed | None:
    """Return what films of other batches showed of the stock that is stated of a unit; None where
    none is stated or known."""
    stock = next((stock for stock in library.stocks if _is_of(stock, unit)), None)
    films = [film for film in stock.films if film.batch != batch] if stock else []
    return pooled(stock.name, films) if stock and films else None


def as_start(used: StockUsed) -> Learned:
    """Return what the estimate of a film starts from."""
    films = f"{used.films} earlier film{'s' if used.films > 1 else ''}"
    source = f"film stock {used.name} as {films} showed it (version {used.version})"
    return Learned(source, used.slopes, float(used.contrast), float(used.ratios))


def _is_of(stock: Stock, unit: Unit) -> bool:
    mine = (unit.facts.film_stock, unit.process, unit.channels, unit.encoding)
    return (stock.name, stock.process, stock.channels, stock.encoding) == mine


def pooled(name: str, films: list[StockFilm]) -> StockUsed:
    """Return the middle of films, each weighed by how sure it is, and how far a further one is
    likely to be from it: as they are apart, and as unsure as their middle is."""
    slopes = np.log10(np.array([film.slopes for film in films]))
    level = slopes.mean(axis=1)
    shape = slopes - level[:, None]
    contrast, contrast_off = _middle(level[:, None], [film.contrast for film in films])
    ratios, ratios_off = _middle(shape, [film.ratios for film in films])
    text = files.canonical(msgspec.to_builtins(films))
    middle = 10.0 ** (contrast[0] + ratios - ratios.mean())
    return StockUsed(
        name=name,
        films=len(films),
        version=hashlib.sha256(text.encode()).hexdigest()[:16],
        slopes=tuple(round(float(slope), _DIGITS) for slope in middle),
        contrast=round(contrast_off, _DIGITS),
        ratios=round(ratios_off, _DIGITS),
    )


def _middle(values: Floats, unsure: list[Number]) -> tuple[Floats, float]:
    """Return the weighted median of values (films, n), and one standard deviation of a further
    film about it."""
    weights = 1.0 / (np.array(unsure) ** 2 + APART**2)
    columns = [_median(column, weights) for column in values.T]
    apart = float(np.sqrt(((values - columns) ** 2).mean())) if len(values) > 2 else APART
    return np.array(columns), float(np.hypot(max(apart, APART), 1.0 / np.sqrt(weights.sum())))


def _median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values, kind="stable")
    share = (np.cumsum(weights[order]) - weights[order] / 2) / weights.sum()
    return float(np.interp(0.5, share, values[order]))


def note(results: Path, batch: str, shown: list[tuple[Unit, UsedFilm]]) -> None:
    """Keep what the films of a batch showed, each once, in place of what it showed before.

    shown: a unit of each film, and its values estimated without the library. What the batch noted
    of films that it has no more is removed. Raises GlassineError where the library cannot be read:
    it is never written over then.
    """
    new: dict[str, tuple[Stock, list[StockFilm]]] = {}
    for unit, used in shown:
        if unit.facts.film_stock and used.note.frames >= LEAST_FRAMES:
            stock = _empty(unit, unit.facts.film_stock)
            new.setdefault(_key(stock), (stock, []))[1].append(_entry(batch, used))
    results.mkdir(parents=True, exist_ok=True)
    with _locked(results / _LOCK):
        library = read(results)
        stocks = {key: stock for key, (stock, _) in new.items()}
        stocks |= {_key(stock): stock for stock in library.stocks}
        for key, stock in stocks.items():
            if not stock.frozen:
                films = _with(stock.films, batch, new[key][1] if key in new else [])
                stocks[key] = msgspec.structs.replace(stock, films=films)
        made = Stocks(stocks=[stock for _, stock in sorted(stocks.items()) if stock.films])
        if made != library:
            record_files.save(results / NAME, "stocks", made)


def _with(films: list[StockFilm], batch: str, new: list[StockFilm]) -> list[StockFilm]:
    """Return films with those of a batch as they are now, each in its place; new ones come last,
    and the first ones go where there are too many."""
    now = {film.film: film for film in new}
    kept = [now.pop(film.film, None) if film.batch == batch else film for film in films]
    return [*(film for film in kept if film is not None), *now.values()][-MAX_FILMS:]


def _empty(unit: Unit, name: str) -> Stock:
    return Stock(
        name=name,
        process=unit.process,
        channels=unit.channels,
        encoding=unit.encoding,
        films=[],
    )


def _key(stock: Stock) -> str:
    whose = [stock.name, stock.process, stock.channels, msgspec.to_builtins(stock.encoding)]
    return files.canonical(whose)


def _entry(batch: str, used: UsedFilm) -> StockFilm:
    return StockFilm(
        batch=batch,
        film=used.note.name,
        version=used.note.version,
        frames=used.note.frames,
        masters=used.note.masters,
        slopes=used.values.slopes,
        contrast=used.values.uncertainty.contrast,
        ratios=used.values.uncertainty.ratios,
    )


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[None]:
    with path.open("a") as handle:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield


def freeze(results: Path, name: str, frozen: bool) -> int:
    """Freeze the stocks of a name, or let them learn again; return how many there are.

    Raises GlassineError where the library cannot be read.
    """
    with _locked(results / _LOCK):
        library = read(results)
        mine = [stock for stock in library.stocks if stock.name == name]
        stocks = [
            msgspec.structs.replace(stock, frozen=frozen) if stock.name == name else stock
            for stock in library.stocks
        ]
        if mine:
            record_files.save(results / NAME, "stocks", Stocks(stocks=stocks))
    return len(mine)
