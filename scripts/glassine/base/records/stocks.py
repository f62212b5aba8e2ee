"""film-stocks.json: what films of earlier nights showed of the film stocks that they are of."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from glassine.base.records import Record
from glassine.base.records.parts import Number, Positive
from glassine.base.tone import Channels, StatedEncoding

# Films that are kept of a stock: the last ones. More make it no surer.
MAX_FILMS = 50


class StockFilm(Record, frozen=True, kw_only=True):
    """What one film showed, estimated without the library. batch, film: whose it is, as films.json
    names it; version: of its values; frames, masters: how many these rest on; slopes: density per
    log10 of exposure; contrast, ratios: how far these may be off, log10, one standard deviation."""

    batch: str
    film: str
    version: str
    frames: Positive
    masters: Positive
    slopes: Channels
    contrast: Number
    ratios: Number


class Stock(Record, frozen=True, kw_only=True):
    """A film stock as masters of one encoding show it. name: as batch.yaml gives it in
    `film_stock`; frozen: whether nothing more is learned of it."""

    name: str
    process: str
    channels: tuple[int, ...]
    encoding: StatedEncoding
    frozen: bool = False
    films: Annotated[list[StockFilm], Meta(max_length=MAX_FILMS)]


class Stocks(Record, frozen=True, kw_only=True):
    """film-stocks.json, for all batches; a person may copy it, freeze or remove a stock in it."""

    stocks: list[Stock]


class StockUsed(Record, frozen=True, kw_only=True):
    """What a film's values started from. films: how many earlier ones; version: a digest of them;
    slopes: their middle; contrast, ratios: how far a further film is likely to be from it, log10,
    one standard deviation."""

    name: str
    films: Positive
    version: str
    slopes: Channels
    contrast: Number
    ratios: Number
