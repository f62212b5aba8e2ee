"""The catalogue extract: one checked record for each item, or the row and reason why not.

Reads spreadsheets, CSV (comma, semicolon, tab, bar), JSON (an array, or lines), and XML; what a
file is, its content says (`formats`). An encoding that cannot be told, an unclosed quote or a row
with too few cells is refused by name. A fault of one row holds that item alone; a fault that makes
other rows uncertain too (encoding, quotes, header) refuses the file.
"""

from __future__ import annotations

import csv
import errno
import io
import json
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from msgspec import structs

from glassine.base import door
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import ItemId
from glassine.base.normal import nfc
from glassine.base.numbers import EXACT, Numbers
from glassine.base.records.catalogue import CatalogueRow, Identifier
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue import encodings, formats, mapped_table, mapping, spreadsheet
from glassine.intake.catalogue.extract import FIELDS, Row, default_columns, text_of
from glassine.intake.catalogue.rows import RecordReader
from glassine.intake.given import CatalogueSection, CatalogueSettings

VERSION = "5"

# Far above any real extract; they bound memory against a wrong or hostile file.
MAX_FILE_BYTES = 256 * 2**20
MAX_ROWS = 500_000
MAX_COLUMNS = 500


@dataclass
class Catalogue:
    """What a catalogue extract holds.

    records: one an item, by its id. bad_items: items whose
    row cannot be used, with the reason. for_review: what a person should look at, by item.
    findings: all that is worth telling, theirs included. fields_read: those of which a row has a
    cell.
    rows_read: rows with data, good or bad.
    """

    records: dict[ItemId, CatalogueRow] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    bad_items: dict[ItemId, Finding] = field(default_factory=dict)
    for_review: dict[ItemId, list[Finding]] = field(default_factory=dict)
    rows_read: int = 0
    encoding: str = ""
    delimiter: str = ""
    fields_read: set[str] = field(default_factory=set)

    def respell(self, spellings: dict[ItemId, ItemId]) -> None:
        """Give items the ids that the batch spells them by; a number as the catalogue writes it
        stays an identifier of its item. spellings: {id here: id in the batch}."""
        for old, new in spellings.items():
            if old in self.records:
                record = self.records.pop(old)
                kept = [*record.identifiers]
                if all(each.value != old for each in kept):
                    kept.append(Identifier(type="local", value=old))
                self.records[new] = structs.replace(record, item=new, identifiers=kept)
            if old in self.bad_items:
                self.bad_items[new] = self.bad_items.pop(old)
            if old in self.for_review:
                self.for_review[new] = self.for_review.pop(old)


def read_catalogue(
    path: Path,
    settings: CatalogueSettings,
    root: Path | None = None,
    numbers: Numbers = EXACT,
) -> Catalogue:
    """Return the records of a catalogue extract.

    root: the batch folder, below which no link is followed; None where the settings name the file.
    numbers: which spellings of a number are the same; rows of one number are two of one item.
    Raises GlassineError where the file as a whole cannot be trusted.
    """
    section = settings.catalogue
    content = _bytes(path, root)
    rows: Iterable[Row]
    kind = formats.kind_of(content, path.suffix.lower())
    if kind is None:
        raise _not_read(path, formats.name_of(content) or "of no form that is known")
    if kind == "marc":
        from glassine.intake.catalogue import marc

        catalogue = Catalogue(encoding="as each leader says", delimiter="marc")
        rows = (Row(number, cells) for number, cells in marc.rows(path, content, section))
        columns = {name: [name] for name in FIELDS}
        return _collect(catalogue, rows, path, settings, columns, numbers)
    if kind == "spreadsheet":
        return _read_spreadsheet(path, content, settings, numbers)
    if kind == "xml":
        from glassine.intake.catalogue import xml_rows

        document = xml_rows.Document(path, content, section)
        catalogue = Catalogue(encoding="as the XML declares", delimiter="xml")
        rows = (Row(number, cells) for number, cells in document.rows())
        columns = {name: [name] for name in FIELDS}
        _collect(catalogue, rows, path, settings, columns, numbers)
        catalogue.findings += document.findings
        return catalogue
    text, encoding, findings = _decode(path, content, section.encoding)
    catalogue = Catalogue(findings=findings, encoding=encoding, delimiter="json")
    if kind in ("json", "json lines"):
        columns = _mapping(section)
        objects = _json_rows(path, text) if kind == "json lines" else _json_array(path, text)
        table = mapping.of_table(section.mapping)
        if table is not None:
            return _collect_mapped(catalogue, objects, path, settings, table, numbers)
        rows = _with_paths(objects, columns)
        _collect(catalogue, rows, path, settings, columns, numbers)
        catalogue.findings += _not_mapped(path, catalogue, section)
        return catalogue
    return _read_csv(path, text, catalogue, settings, numbers)


# --- bytes and text ----------------------------------------------------------------------


def _refuse(code: str, path: Path, what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because(f"catalogue.{code}", path.name, what, expected, next_step)


def _bytes(path: Path, root: Path | None) -> bytes:
    try:
        content = door.read_file(path, root, MAX_FILE_BYTES)
    except OSError as problem:
        raise _refuse(
            "size" if problem.errno == errno.EFBIG else "unreadable",
            path,
            f"The catalogue cannot be read: {problem.strerror}.",
            f"a readable file of at most {MAX_FILE_BYTES} bytes.",
            "Check `catalogue.path` and the file's permissions; export the rows of this batch "
            "alone.",
        ) from problem
    if not content.strip():
        raise _refuse(
            "empty",
            path,
            "The catalogue is empty.",
            "a header row and one row an item.",
            "Export it again.",
        )
    return content


def _not_read(path: Path, name: str) -> GlassineError:
    return _refuse(
        "format",
        path,
        f"This is {name}, and no catalogue extract.",
        "a spreadsheet (XLSX, ODS), CSV, JSON, or XML.",
        "Export the catalogue in one of these forms.",
    )


def _decode(path: Path, content: bytes, declared: str) -> tuple[str, str, list[Finding]]:
    """Return text, encoding, and what is told of it; refuses what does not fit rather than show
    wrong letters."""
    marked = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    unmarked = None if marked else encodings.wide(content)
    if marked or unmarked:
        try:
            return content.decode(unmarked or "utf-16"), "utf-16", []
        except UnicodeDecodeError as problem:
            raise _bad_bytes(path, content, problem, "UTF-16") from problem
    if content.startswith(b"\xef\xbb\xbf") or declared in ("auto", "utf-8"):
        try:
            return content.decode("utf-8-sig"), "utf-8", []
        except UnicodeDecodeError as problem:
            guess = encodings.found(content) if declared == "auto" else None
            if guess is None or content.startswith(b"\xef\xbb\xbf"):
                raise _bad_bytes(path, content, problem, "UTF-8") from problem
            return content.decode(guess.encoding), guess.encoding, [_guessed(path, guess)]
    if not content.isascii() and _is_utf8(content):
        raise _refuse(
            "encoding",
            path,
            f"The settings declare {declared}, but the bytes are UTF-8.",
            f"a file in {declared}.",
            "Set `catalogue.encoding` to `auto`.",
        )
    try:
        return content.decode(declared), declared, []
    except UnicodeDecodeError as problem:
        raise _bad_bytes(path, content, problem, declared) from problem


def _guessed(path: Path, guess: encodings.Guess) -> Finding:
    shown = ", ".join(f'"{word}"' for word in guess.words)
    return Finding(
        "catalogue.encoding_found",
        path.name,
        f"This file is not UTF-8 and does not say its encoding; it was read as {guess.encoding}, "
        f"in which its letters are those of one language: {shown}.",
        "words that read right.",
        "Look at these words. Where they are wrong, set `catalogue.encoding`, or export as UTF-8.",
        "note",
    )


def _is_utf8(content: bytes) -> bool:
    try:
        content.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _bad_bytes(
    path: Path, content: bytes, problem: UnicodeDecodeError, encoding: str
) -> GlassineError:
    line = content.count(b"\n", 0, problem.start) + 1
    value = content[problem.start : problem.start + 1].hex()
    likely = [guess for guess in encodings.guesses(content)[:3] if guess.words]
    ways = "; ".join(f"as {guess.encoding} {', '.join(guess.words)}" for guess in likely)
    ways = ways or "like nothing in any other"
    return _refuse(
        "encoding",
        path,
        f"Line {line} holds the byte 0x{value}, which is not {encoding}; words of it read {ways}.",
        "UTF-8, UTF-16, or what `catalogue.encoding` declares.",
        "Export the catalogue as UTF-8; or set `catalogue.encoding` to the one in which the "
        "words read right, e.g. `catalogue.encoding: cp1252`.",
    )


# --- rows ---


def _mapping(section: CatalogueSection) -> dict[str, list[str]]:
    """Return the columns of each field: those configured, else the column of the same name."""
    columns = default_columns()
    for name, value in section.columns.items():
        columns[name] = [value] if isinstance(value, str) else list(value or [])
    return columns


def _collect_mapped(
    catalogue: Catalogue,
    rows: Iterable[Row],
    path: Path,
    settings: CatalogueSettings,
    table: mapping.Mapping,
    numbers: Numbers,
) -> Catalogue:
    """Return the records of rows that a mapping table reads."""
    cells = mapped_table.rows(rows, table, settings.catalogue.separator)
    columns = {name: [name] for name in FIELDS}
    return _collect(catalogue, cells, path, settings, columns, numbers)


def _columns(section: CatalogueSection, table: mapping.Mapping | None) -> dict[str, list[str]]:
    """Return the columns of each field, by a mapping table where there is one."""
    if table is None:
        return _mapping(section)
    columns = {name: [name] for name in FIELDS}
    columns |= {name: mapped_table.columns_of(source) for name, source in table.fields.items()}
    return columns


def _check_mapped(path: Path, names: list[str], table: mapping.Mapping) -> None:
    """Refuse a table that has none of the columns of a field that the mapping reads."""
    for name, source in table.fields.items():
        columns = mapped_table.columns_of(source)
        if columns and not any(column in names for column in columns):
            raise _refuse(
                "header",
                path,
                f"Row 1 has no column {columns[0]!r}, from which {name!r} is read; it has "
                f"{', '.join(names)[:300]}.",
                "every column that the mapping file names.",
                "Correct the mapping file (`catalogue.mapping`), or export the column.",
            )


def _read_spreadsheet(
    path: Path, content: bytes, settings: CatalogueSettings, numbers: Numbers
) -> Catalogue:
    table = mapping.of_table(settings.catalogue.mapping)
    columns = _columns(settings.catalogue, table)
    rows = spreadsheet.rows(path, content, columns["item_id"], settings.catalogue.sheet)
    names = [nfc(name.strip()) for name in next(rows)[1]]
    catalogue = Catalogue(encoding="as the spreadsheet has it", delimiter="cells")
    if table is not None:
        _check_mapped(path, names, table)
        bounded = _named(_bounded(path, rows), names)
        return _collect_mapped(catalogue, bounded, path, settings, table, numbers)
    _check_header(path, names, columns, settings.catalogue.columns)
    named = _named(_bounded(path, rows), names)
    return _collect(catalogue, named, path, settings, columns, numbers)


def _bounded(path: Path, rows: Iterable[tuple[int, list[str]]]) -> Iterator[tuple[int, list[str]]]:
    for number, cells in rows:
        if number > MAX_ROWS or len(cells) > MAX_COLUMNS:
            raise _too_large(path, number, len(cells))
        yield number, cells


def _too_large(path: Path, number: int, cells: int) -> GlassineError:
    return _refuse(
        "size",
        path,
        f"Row {number} has {cells} cells.",
        f"at most {MAX_ROWS} rows of {MAX_COLUMNS} columns.",
        "Export the rows of this batch alone.",
    )


def _read_csv(
    path: Path, text: str, catalogue: Catalogue, settings: CatalogueSettings, numbers: Numbers
) -> Catalogue:
    section = settings.catalogue
    declared, text = _separator_line(text)
    table = mapping.of_table(section.mapping)
    columns = _columns(section, table)
    setting = section.delimiter
    delimiter = {"tab": "\t", "auto": declared or None}.get(setting, setting)
    delimiter = delimiter or _sniff(path, text, columns["item_id"])
    rows = _csv_rows(path, text, delimiter)
    try:
        header = next(rows)[1]
    except StopIteration:
        header = []
    names = [nfc(name.strip()) for name in header]
    catalogue.delimiter = delimiter
    if table is not None:
        _check_mapped(path, names, table)
        return _collect_mapped(catalogue, _named(rows, names), path, settings, table, numbers)
    _check_header(path, names, columns, section.columns)
    return _collect(catalogue, _named(rows, names), path, settings, columns, numbers)


def _separator_line(text: str) -> tuple[str, str]:
    """Return the separator that spreadsheets note in a first line "sep=;", and the rest."""
    match = re.match(r"sep=([,;|\t])\r?\n", text)
    return (match[1], text[match.end() :]) if match else ("", text)


def _sniff(path: Path, text: str, id_columns: list[str]) -> str:
    """Return the delimiter under which the first line names the item column."""
    # Under a wrong delimiter the whole row is one cell, longer than csv takes by default.
    csv.field_size_limit(MAX_FILE_BYTES)
    first = re.split(r"\r\n|\r|\n", text, maxsplit=1)[0]
    fitting = []
    for delimiter in (",", ";", "\t", "|"):
        if first.count(delimiter) > 20 * MAX_COLUMNS:
            continue  # no header; a list of its cells would fill the memory
        names = [name.strip() for name in next(csv.reader([first], delimiter=delimiter), [])]
        if all(column in names for column in id_columns):
            fitting.append((len(names), delimiter))
    if not fitting:
        raise _refuse(
            "header",
            path,
            f"Row 1 names no column {' or '.join(id_columns)!r}; it begins {first[:80]!r}.",
            f"a header row with the column {id_columns[0]!r}; one of , ; | or tab between.",
            "Name the column of item numbers in `catalogue.columns.item_id`.",
        )
    return max(fitting)[1]


def _csv_rows(path: Path, text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Yield row number and cells; refuses the file at a quote that does not close properly."""
    csv.field_size_limit(MAX_FILE_BYTES)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number, line = 0, 1
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as problem:
            raise _refuse(
                "quotes",
                path,
                f"Row {number + 1} (line {line}) has a quote that does not close where the cell "
                f"ends: {problem}.",
                "cells with quotes around the whole cell, quotes inside doubled.",
                "Correct that row, or export again; the file may have been cut off.",
            ) from problem
        number += 1
        if number > MAX_ROWS or len(cells) > MAX_COLUMNS:
            raise _too_large(path, number, len(cells))
        if any(cell.strip() for cell in cells):
            yield number, cells


def _check_header(
    path: Path, names: list[str], columns: dict[str, list[str]], configured: Iterable[str]
) -> None:
    twice = sorted({name for name in names if name and names.count(name) > 1})
    absent = [
        column
        for name in ("item_id", *configured)
        for column in columns[name]
        if column not in names and (name == "item_id" or columns[name] != [name])
    ]
    if twice:
        raise _refuse(
            "header",
            path,
            f"Row 1 names the column {twice[0]!r} twice.",
            "each column once.",
            "Rename one of the two.",
        )
    if absent:
        raise _refuse(
            "header",
            path,
            f"Row 1 has no column {absent[0]!r}; it has {', '.join(names)[:300]}.",
            "every column that `catalogue.columns` names.",
            "Correct `catalogue.columns`, or export the column.",
        )


def _named(rows: Iterable[tuple[int, list[str]]], names: list[str]) -> Iterator[Row]:
    for number, cells in rows:
        fault = ""
        if len(cells) != len(names):
            fault = f"it has {len(cells)} cells where the header has {len(names)}"
        elif any(cell.strip() and not name for name, cell in zip(names, cells, strict=True)):
            fault = "a cell stands in a column that has no name"
        yield Row(number, dict(zip(names, cells, strict=False)), fault)


def _json_rows(path: Path, text: str) -> Iterator[Row]:
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        if number > MAX_ROWS:
            raise _refuse("size", path, "Too many lines.", f"at most {MAX_ROWS}.", "Export less.")
        try:
            value = _json(line)
        except (ValueError, RecursionError) as problem:
            raise _refuse(
                "json",
                path,
                f"Line {number} is not JSON: {str(problem)[:200]}.",
                "one JSON object on each line, each key once, no NaN.",
                "Correct that line, or export again; the file may have been cut off.",
            ) from problem
        if not isinstance(value, dict):
            raise _refuse(
                "json",
                path,
                f"Line {number} holds no object.",
                "one JSON object on each line.",
                "Export the catalogue as JSON lines.",
            )
        yield Row(number, value)


def _not_mapped(path: Path, catalogue: Catalogue, section: CatalogueSection) -> list[Finding]:
    """Return what is told of keys that are read for their names alone, where others are mapped."""
    if not section.columns:
        return []
    read = [name for name in sorted(catalogue.fields_read) if name not in section.columns]
    return (
        [
            Finding(
                "catalogue.by_name",
                path.name,
                f"These keys are read because they bear a field's name, though "
                f"`catalogue.columns` does "
                f"not name them: {', '.join(read)}.",
                "keys that mean what the field means.",
                "Name another key for the field in `catalogue.columns`, or use a mapping file "
                "(`catalogue.mapping`), which reads what it names alone.",
                "note",
            )
        ]
        if read
        else []
    )


def _json(text: str) -> Any:
    """Return a JSON value. Raises ValueError or RecursionError for what is none."""
    return json.loads(
        text, object_pairs_hook=_once, parse_constant=_no_constant, parse_float=_finite
    )


def _json_array(path: Path, text: str) -> Iterator[Row]:
    """Yield the objects of an array, or of the only array within an object; numbered from 1."""
    try:
        value = _json(text)
    except (ValueError, RecursionError) as problem:
        raise _refuse(
            "json",
            path,
            f"It is not JSON: {str(problem)[:200]}.",
            "one array of objects, each key once, no NaN.",
            "Export again; the file may have been cut off.",
        ) from problem
    if isinstance(value, dict):
        lists = [each for each in value.values() if isinstance(each, list) and each]
        value = lists[0] if len(lists) == 1 and isinstance(lists[0][0], dict) else [value]
    if len(value) > MAX_ROWS:
        raise _refuse("size", path, "Too many objects.", f"at most {MAX_ROWS}.", "Export less.")
    for number, entry in enumerate(value, start=1):
        if not isinstance(entry, dict):
            raise _refuse(
                "json",
                path,
                f"Entry {number} of the array is no object.",
                "one array of objects.",
                "Export the catalogue as an array of objects, or as JSON lines.",
            )
        yield Row(number, entry)


def _with_paths(rows: Iterable[Row], columns: dict[str, list[str]]) -> Iterator[Row]:
    """Yield the rows with the values at the paths that columns name, e.g. dateRange.startYear or
    contributors[].name."""
    paths = {
        column for names in columns.values() for column in names if re.search(r"[.\[]", column)
    }
    for row in rows:
        values = {
            path: value
            for path in paths
            if path not in row.cells and (value := _at(row.cells, path)) is not None
        }
        yield Row(row.number, row.cells | values, row.fault) if values else row


def _at(value: Any, path: str) -> Any:
    """Return what stands at a path; a list of texts and numbers where it passes a list."""
    found = [value]
    several = False
    for step in path.replace("[]", ".[]").split("."):
        if step == "[]":
            several = True
            found = [each for one in found if isinstance(one, list) for each in one]
        else:
            found = [one[step] for one in found if isinstance(one, dict) and step in one]
    found = [each for each in found if each is not None]
    if several:
        return [each if isinstance(each, str) else text_of(each) for each in found] or None
    return found[0] if found else None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    values = dict(pairs)
    if len(values) != len(pairs):
        raise ValueError("a key stands twice")
    return values


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError(f"{text[:40]} is larger than any number")
    return value


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


# --- records -----------------------------------------------------------------------------


def _collect(
    catalogue: Catalogue,
    rows: Iterable[Row],
    path: Path,
    settings: CatalogueSettings,
    columns: dict[str, list[str]],
    numbers: Numbers,
) -> Catalogue:
    narrow = catalogue.encoding in encodings.OLD
    reader = RecordReader(path, settings, columns, narrow=narrow, numbers=numbers)
    first_row: dict[str, tuple[int, ItemId]] = {}
    for row in rows:
        catalogue.rows_read += 1
        item = reader.item(row)
        findings: list[Finding] = []
        record = reader.record(row, findings)
        first, known_as = first_row.setdefault(numbers.key(item), (row.number, item))
        if item and first != row.number:
            findings = [reader.twice(row.number, item, first)]
            item = known_as
        catalogue.findings.extend(findings)
        held = next((finding for finding in findings if finding.severity == "hold"), None)
        if held or record is None:
            catalogue.records.pop(item, None)
            if item and held:
                catalogue.bad_items.setdefault(item, held)
        elif item not in catalogue.bad_items:
            catalogue.records[item] = record
            for_review = [finding for finding in findings if finding.severity == "review"]
            if for_review:
                catalogue.for_review[item] = for_review
    catalogue.findings += catalogue_columns.unused(
        path.name, reader.unused, set(FIELDS), reader.read
    )
    catalogue.fields_read = reader.read
    separator = settings.catalogue.separator
    catalogue.findings += catalogue_columns.joined(path.name, reader.joined, separator)
    if not catalogue.rows_read:
        raise _refuse(
            "empty",
            path,
            "The catalogue has a header but no rows.",
            "one row an item.",
            "Export it again.",
        )
    return catalogue
