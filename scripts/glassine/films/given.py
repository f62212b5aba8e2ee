"""What the pooling of films is given of a batch."""

from __future__ import annotations

from typing import Literal

from glassine.base.model import BatchId
from glassine.base.records import Given
from glassine.base.records.parts import Number
from glassine.render import given as render

Pool = Literal["found", "named", "none"]
StockLibrary = Literal["none", "use", "learn"]


class ToneSection(render.ToneSection, frozen=True, kw_only=True):
    """pool: which films are pooled. pool_step: log10 of exposure. stock_library: whether films
    start from what earlier ones of their stock showed, and whether they are noted in it."""

    pool: Pool
    pool_step: Number
    stock_library: StockLibrary = "none"


class Settings(Given, frozen=True, kw_only=True):
    tone: ToneSection


class FilmsGiven(Given, frozen=True, kw_only=True):
    """items: those whose negatives may share a film, in the order of the batch."""

    batch: BatchId
    items: tuple[str, ...]
    settings: Settings
