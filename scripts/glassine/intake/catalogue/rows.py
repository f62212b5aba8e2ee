"""One row of a catalogue extract made into a record, or the reasons why it cannot be."""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from glassine.base.errors import Finding
from glassine.base.model import ItemId
from glassine.base.numbers import EXACT, Numbers
from glassine.base.records.catalogue import CatalogueRow, RowAccess
from glassine.intake.catalogue import (
    cell_checks,
    persistent_ids,
    row_access,
    row_faults,
    row_rights,
    row_values,
    unread,
)
from glassine.intake.catalogue import dates as catalogue_dates
from glassine.intake.catalogue.access_columns import AccessColumns
from glassine.intake.catalogue.extract import (
    FIELDS,
    Extract,
    Row,
    separators_of,
    short,
    text_of,
)
from glassine.intake.date_words import Reading
from glassine.intake.given import CatalogueSettings

ACCESS_FIELDS = ("rights_access", "rights_embargo")


class RecordReader:
    """Turns rows into records by the configured columns, and counts what the columns hold.

    unused: cells with a value in columns that no field takes. read: fields that have a column.
    of_access: fields on who may see an item that a row has a value for.
    joined: cells whose one value holds a semicolon, by column: several values, perhaps.
    """

    def __init__(
        self,
        path: Path,
        settings: CatalogueSettings,
        columns: dict[str, list[str]],
        narrow: bool,
        numbers: Numbers = EXACT,
    ) -> None:
        self.numbers = numbers
        section = settings.catalogue
        self.extract = Extract(
            path=path,
            columns=columns,
            separators=separators_of(section.separator),
            narrow=narrow,
            materials={word.casefold(): to for word, to in section.materials.items()},
            rights=settings.rights,
            ignored=frozenset([*section.ignored_columns, section.film_column or ""]),
            dates=Reading(tuple(section.languages), section.day_first),
            ark_checked=settings.identifiers.ark_checked,
            access=row_access.words_of(settings.access),
        )
        self.unused: Counter[str] = Counter()
        self.read: set[str] = set()
        self.joined: Counter[str] = Counter()
        self.of_access: set[str] = set()
        self.access_columns = AccessColumns()
        self.film_column = section.film_column
        self.has_film = False
        self._fields_of: tuple[str, ...] = ()

    @contextlib.contextmanager
    def counted_before(self) -> Iterator[None]:
        """Make a record of a row without counting its columns anew."""
        kept = self.unused, self.joined
        self.unused, self.joined = Counter(), Counter()
        try:
            yield
        finally:
            self.unused, self.joined = kept

    def count(self, row: Row) -> None:
        """Count what the columns of a row hold, of which no record is made yet."""
        self._note_fields(row)
        self._count_joined(row)
        for cell in unread.unread_cells(self.extract, row):
            if cell.column not in self.extract.ignored:
                self.unused[cell.column] += 1
                self.access_columns.see(cell)
            elif cell.column == self.film_column:
                self.has_film = True
        self.of_access |= {name for name in ACCESS_FIELDS if self.extract.one(row, name)}

    def _note_fields(self, row: Row) -> None:
        names = tuple(row.cells)
        if names != self._fields_of:
            self._fields_of = names
            columns = self.extract.columns
            self.read |= {name for name in FIELDS if any(c in row.cells for c in columns[name])}

    def twice(self, row: int, item: str, first: int) -> Finding:
        return Finding(
            "catalogue.duplicate",
            f"{self.extract.path.name}, row {row}",
            f"Item {item!r} has a row already (row {first}).",
            "one row an item.",
            "Remove or renumber one of the two rows.",
        )

    def item(self, row: Row) -> ItemId:
        """Return the item's number in the form of an id, where the settings say how."""
        return ItemId(self.numbers.id_form(self.extract.one(row, "item_id")))

    def _written(self, row: Row, item: ItemId) -> list[dict[str, str]]:
        """Return the number as it is written as an identifier, where the id is another."""
        written = self.extract.one(row, "item_id").strip()
        return [] if written == item else [{"type": "local", "value": written}]

    def record(self, row: Row, findings: list[Finding]) -> CatalogueRow | None:
        """Return the record of a row, None where it cannot be used; tells why in `findings`."""
        extract = self.extract
        item = self.item(row)
        if row.fault:
            findings.append(
                Finding(
                    "catalogue.cells",
                    f"{extract.path.name}, row {row.number}",
                    f"The row of item {item!r} cannot be trusted: {row.fault}.",
                    "as many cells as the header has; cells that hold the delimiter in quotes.",
                    "Correct that row; a cell may lack its quotes.",
                )
            )
            return None
        cell_checks.check_text(extract, row, findings)
        self._note_fields(row)
        cell_checks.check_one_value(extract, row, findings)
        if _holds(findings):
            return None
        self._count_joined(row)
        record = _build(extract, row, item, findings)
        record["identifiers"] += self._written(row, item)
        rights = record["rights"]["uri"] or record["rights"]["status"]
        read_values = unread.ReadValues(record["edtf"], rights)
        doubts = unread.check(extract, row, read_values, self.unused, self.access_columns, findings)
        access = row_access.stated(extract, row, doubts, findings)
        self.of_access |= {name for name in ACCESS_FIELDS if extract.one(row, name)}
        if access != RowAccess():
            record["access"] = msgspec.to_builtins(access)
        row_faults.check_schema(extract, row, record, findings)
        return None if _holds(findings) else msgspec.convert(record, CatalogueRow)

    def _count_joined(self, row: Row) -> None:
        for name in ("creator", "subjects", "places", "people"):
            marks = {";", "$"} - {self.extract.separator(name)}
            for column in self.extract.columns[name]:
                cell = row.cells.get(column)
                values = cell if isinstance(cell, list) else [cell]
                if any(mark in _name_in(value) for value in values for mark in marks):
                    self.joined[column] += 1


def _holds(findings: list[Finding]) -> bool:
    return any(finding.severity == "hold" for finding in findings)


def _name_in(value: Any) -> str:
    """Return the name or term of a value, which JSON may give as an object."""
    if isinstance(value, dict):
        return str(value.get("term") or value.get("name") or "")
    return str(value or "")


def _build(extract: Extract, row: Row, item: str, findings: list[Finding]) -> dict[str, Any]:
    """Return what a row says as a record has it, before the schema has looked at it."""
    one = {name: extract.one(row, name).strip() for name in FIELDS if name != "structure"}
    return {
        "item": item,
        "row": row.number,
        "title": " ".join(one["title"].split()),
        "alternative": one["alternative"],
        "description": one["description"],
        **_dated(extract, row, one, findings),
        "creators": row_values.creators(extract, row, findings),
        "subjects": row_values.subjects(extract, row, findings),
        "places": row_values.places(extract, row, findings),
        "identifiers": persistent_ids.identifiers(extract, row, findings),
        **_people_and_measures(extract, row, one, findings),
        "languages": row_values.languages(extract, row),
        "genre": one["genre"],
        "physical": one["physical"],
        "material": row_values.material(extract, one["material"]),
        "decay_level": row_values.whole_number(one["decay_level"]),
        "rights": row_rights.stated_rights(extract, row, one, findings),
        "collection": one["collection"],
        "masters": extract.many(row, "masters"),
        "structure": row_values.structure(extract, row, findings),
        "extra": {cell.column: text_of(cell.value) for cell in unread.unread_cells(extract, row)},
    }


def _people_and_measures(
    extract: Extract, row: Row, one: dict[str, str], findings: list[Finding]
) -> dict[str, Any]:
    """Return what a record has only where the catalogue says it."""
    people = row_values.people(extract, row, findings)
    texts = {name: one[name] for name in ("dimensions", "extent") if one[name]}
    return {**({"people": people} if people else {}), **texts}


def _dated(
    extract: Extract, row: Row, one: dict[str, str], findings: list[Finding]
) -> dict[str, Any]:
    stated = catalogue_dates.Stated(
        one["date"], one["date_edtf"], one["date_earliest"], one["date_latest"], extract.dates
    )
    date = catalogue_dates.dated(stated)
    for problem in date.problems:
        columns = [extract.first_column(name) for name in problem.fields]
        findings.append(
            Finding(
                f"catalogue.{problem.code}",
                f"{extract.path.name}, row {row.number}",
                f"Column {' and '.join(repr(column) for column in columns)} "
                f"{'holds' if len(columns) == 1 else 'hold'} "
                f"{' and '.join(repr(short(one[name])) for name in problem.fields)}.",
                problem.expected,
                "Correct the cell in the catalogue and export again.",
                problem.severity,
            )
        )
    return {
        "date_text": one["date"],
        "edtf": date.edtf,
        "date_understood": date.understood,
    }
