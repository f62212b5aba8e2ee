"""Rows of a large catalogue, kept small until an item of the batch asks for its own.

A record costs a tenth of a millisecond and some kilobytes; the catalogue of a whole archive has
half a million rows, and a batch a few hundred items. So rows are kept packed, a block at a time,
and only the item numbers are at hand.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator, MutableMapping
from typing import Any

import msgspec

from glassine.base.model import ItemId
from glassine.base.records.catalogue import CatalogueRow
from glassine.intake.catalogue.extract import Row

# Rows of a block: enough to pack well, few enough to unpack for one of them.
_BLOCK = 64


class KeptRows:
    """Rows by their place, in the order in which they were added."""

    def __init__(self) -> None:
        self._blocks: list[bytes] = []
        self._open: list[tuple[int, int, str, list[Any]]] = []
        self._names: dict[tuple[str, ...], int] = {}
        self._unpacked: tuple[int, list[Any]] | None = None

    def add(self, row: Row) -> int:
        """Keep a row; return its place."""
        place = len(self._blocks) * _BLOCK + len(self._open)
        named = self._names.setdefault(tuple(row.cells), len(self._names))
        self._open.append((row.number, named, row.fault, list(row.cells.values())))
        if len(self._open) == _BLOCK:
            self._blocks.append(zlib.compress(msgspec.msgpack.encode(self._open), 1))
            self._open = []
        return place

    def get(self, place: int) -> Row:
        block, at = divmod(place, _BLOCK)
        number, named, fault, values = self._rows(block)[at]
        names = next(names for names, known in self._names.items() if known == named)
        return Row(number, dict(zip(names, values, strict=True)), fault)

    def _rows(self, block: int) -> list[Any]:
        if block == len(self._blocks):
            return self._open
        if self._unpacked is None or self._unpacked[0] != block:
            content = zlib.decompress(self._blocks[block])
            self._unpacked = (block, msgspec.msgpack.decode(content))
        return self._unpacked[1]


class Records(MutableMapping[ItemId, CatalogueRow]):
    """The record of each item: made already, or made of its kept row when it is asked for.

    make: returns the record of the row at a place, None where it cannot be used (it then tells
    why); such an item is none of this mapping any more.
    """

    def __init__(self) -> None:
        self._made: dict[ItemId, CatalogueRow] = {}
        self._places: dict[ItemId, int] = {}
        self.make: Callable[[ItemId, int], CatalogueRow | None] = lambda item, place: None

    def keep(self, item: ItemId, place: int) -> None:
        """Note where the row of an item is kept."""
        self._places[item] = place

    def is_kept(self, item: ItemId) -> bool:
        """Return whether an item has a row of which no record was made yet."""
        return item in self._places

    def kept(self) -> list[tuple[ItemId, int]]:
        """Return item and place of each row of which no record was made yet."""
        return [*self._places.items()]

    def made(self) -> dict[ItemId, CatalogueRow]:
        return self._made

    @property
    def unmade(self) -> int:
        """The number of rows of which no record was made yet."""
        return len(self._places)

    def __getitem__(self, item: ItemId) -> CatalogueRow:
        if item in self._places:
            record = self.make(item, self._places.pop(item))
            if record is not None:
                self._made[item] = record
        return self._made[item]

    def __setitem__(self, item: ItemId, record: CatalogueRow) -> None:
        self._places.pop(item, None)
        self._made[item] = record

    def __delitem__(self, item: ItemId) -> None:
        if self._places.pop(item, None) is None:
            del self._made[item]

    def __contains__(self, item: object) -> bool:
        return item in self._made or item in self._places

    def __iter__(self) -> Iterator[ItemId]:
        yield from [*self._made, *self._places]

    def __len__(self) -> int:
        return len(self._made) + len(self._places)
