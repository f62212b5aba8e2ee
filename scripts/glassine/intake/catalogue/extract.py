"""A row of a catalogue extract, the columns that its fields are read from, and what is said of one
of its cells."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, NamedTuple

from glassine.base import persistent
from glassine.base.errors import Finding
from glassine.base.normal import nfc
from glassine.base.records.catalogue import Level
from glassine.intake.date_words import AS_ANY, Reading

# Longest cell, in characters; a longer one is a file that went wrong, not a description.
MAX_CELL = 20_000

# How the name of a cell ends that a field could not take; it is kept beside the fields.
NOT_READ = "(not read)"
# Longest cell that is kept beside the fields, in characters.
MAX_KEPT = 1_000_000

FIELDS = (
    "item_id",
    "title",
    "alternative",
    "description",
    "date",
    "date_edtf",
    "date_earliest",
    "date_latest",
    "creator",
    "creator_role",
    "creator_uri",
    "subjects",
    "subject_uris",
    "places",
    "place_uris",
    "place_country",
    "place_state",
    "place_county",
    "place_city",
    "place_section",
    "people",
    "people_uris",
    "languages",
    "genre",
    "physical",
    "dimensions",
    "extent",
    "material",
    "decay_level",
    "rights_uri",
    "copyright_status",
    "rights_holder",
    "rights_note",
    "rights_access",
    "rights_embargo",
    "credit",
    "identifiers",
    "ark",
    "doi",
    "handle",
    "urn",
    "collection",
    "masters",
    "structure",
)

# Columns of a table that these fields are read from where the settings name none: they are written
# in capitals as often as not.
_WRITTEN = {
    "ark": ["ark", "ARK", "Ark"],
    "doi": ["doi", "DOI", "Doi"],
    "handle": ["handle", "Handle", "HANDLE", "hdl"],
    "urn": ["urn", "URN", "Urn"],
}
# In place of a column, of a record of XML that is not read yet.
PACKED = "(packed)"

# What a row holds by column: texts of CSV, any value of JSON.
Cells = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """Number as a spreadsheet shows it (the header is row 1), cells by column, a fault if any.

    origins: {field: where its value stands in the file, in words}, of rows whose cells are fields
    already, where it was asked for.
    """

    number: int
    cells: Cells
    fault: str = ""
    origins: Mapping[str, list[str]] = field(default_factory=dict)


def default_columns() -> dict[str, list[str]]:
    """Return the columns of each field where the settings name none."""
    return {name: [*_WRITTEN.get(name, [name])] for name in FIELDS}


def set_aside(row: Row, column: str) -> None:
    """Keep a cell that its field cannot take beside the fields."""
    row.cells[f"{column} {NOT_READ}"] = text_of(row.cells.get(column))
    row.cells[column] = ""


def separators_of(stated: str | dict[str, str]) -> dict[str, str]:
    """Return the separator of each field by the setting, which is one for all or one a field."""
    return stated if isinstance(stated, dict) else dict.fromkeys(FIELDS, stated)


class Cell(NamedTuple):
    """A cell as it is shown to a person; value: as it stands there, or the part of it meant."""

    row: int
    column: str
    value: Any


@dataclass(frozen=True)
class Extract:
    """A catalogue extract, and how its rows are read.

    columns: of each field. separators: between the values of one cell, {field: separator} where it
    is not "|". narrow: whether its encoding
    has room for few letters only. materials: {word of the catalogue, case folded: material}.
    rights: those of the settings. ignored: columns that may say what they want. dates: how those
    in words are read. ark_checked: see `persistent.read`. access: {word of the catalogue,
    case folded: who may see an item}.
    """

    path: Path
    columns: dict[str, list[str]]
    separators: dict[str, str]
    narrow: bool
    materials: dict[str, str]
    rights: dict[str, str]
    ignored: frozenset[str]
    dates: Reading = AS_ANY
    ark_checked: Mapping[str, persistent.ArkCheck] = field(default_factory=dict)
    access: Mapping[str, Level] = field(default_factory=dict)

    @cached_property
    def mapped(self) -> set[str]:
        """The columns that fields are read from."""
        return {column for names in self.columns.values() for column in names}

    @cached_property
    def of_names(self) -> set[str]:
        """The columns of names, in which a question mark is no punctuation."""
        return {*self.columns["creator"], *self.columns["places"], *self.columns["subjects"]}

    def finding(
        self,
        code: str,
        cell: Cell,
        expected: str,
        severity: str = "hold",
        next_step: str = "Correct the cell in the catalogue and export again.",
    ) -> Finding:
        """Return what is wrong with a cell."""
        return Finding(
            f"catalogue.{code}",
            f"{self.path.name}, row {cell.row}",
            f"Column {cell.column!r} holds {short(cell.value)!r}.",
            expected,
            next_step,
            severity,
        )

    def wrong_value(self, cell: Cell, expected: str, severity: str = "hold") -> Finding:
        """Return that a cell holds what its field cannot take; review: it is kept beside them."""
        if severity == "review":
            expected += " The record goes without; it keeps the cell beside its fields."
        return self.finding("value", cell, expected, severity)

    def separator(self, name: str) -> str:
        """Return what separates the values of one cell of a field."""
        return self.separators.get(name, "|")

    def first_column(self, name: str) -> str:
        return self.columns[name][0]

    def one(self, row: Row, name: str) -> str:
        """Return the field's text; several columns are joined by a blank."""
        cells = [row.cells.get(column) for column in self.columns[name]]
        texts = [str(cell) for cell in cells if cell is not None and cell != ""]
        return nfc(" ".join(texts))

    def many(self, row: Row, name: str) -> list[Any]:
        """Return the values of a field: cells split at the separator, JSON lists as they are."""
        values: list[Any] = []
        for column in self.columns[name]:
            for part in self.parts(row.cells.get(column), self.separator(name)):
                if isinstance(part, str):
                    values.append(nfc(part.strip()))
                elif part is not None:
                    values.append(part if isinstance(part, dict) else str(part))
        return [value for value in values if value != ""]

    @staticmethod
    def parts(cell: Any, separator: str) -> list[Any]:
        """Return the values that a cell holds as they stand: a text split, a list as it is."""
        if isinstance(cell, str):
            return list(cell.split(separator))
        return cell if isinstance(cell, list) else [cell]


def text_of(cell: Any) -> str:
    """Return a cell as text: lists and objects as JSON, nothing for null and what is empty."""
    if cell is None or cell == [] or cell == {}:
        return ""
    return cell if isinstance(cell, str) else json.dumps(cell, ensure_ascii=False)


def short(value: Any) -> str:
    """Return a value for a person to read, at most 80 characters of it."""
    text = " ".join(text_of(value).split())
    return text if len(text) <= 80 else text[:77] + "..."
