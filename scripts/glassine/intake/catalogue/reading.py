"""The catalogue extract: one checked record for each item, or the row and reason why not.

Reads spreadsheets, CSV (comma, semicolon, tab, bar), JSON (an array, or lines), and XML; what a
file is, its content says (`formats`). An encoding that cannot be told, an unclosed quote or a row
with too few cells is refused by name. A fault of one row holds that item alone; a fault that makes
other rows uncertain too (encoding, quotes, header) refuses the file.
"""

from __future__ import annotations

import codecs
import csv
import errno
import io
import itertools
import json
import re
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Literal

from msgspec import structs

from glassine.base import door
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import ItemId
from glassine.base.normal import nfc
from glassine.base.numbers import EXACT, Numbers
from glassine.base.records.catalogue import CatalogueRow, Identifier
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue import (
    encodings,
    formats,
    json_stream,
    mapped_table,
    mapping,
    spreadsheet,
)
from glassine.intake.catalogue.extract import (
    FIELDS,
    PACKED,
    Cells,
    Extract,
    Row,
    default_columns,
    text_of,
)
from glassine.intake.catalogue.kept_rows import KeptRows, Records
from glassine.intake.catalogue.rows import ACCESS_FIELDS, RecordReader
from glassine.intake.given import CatalogueSection, CatalogueSettings

VERSION = "7"

# Far above any real extract; they bound memory against a wrong or hostile file.
MAX_FILE_BYTES = 256 * 2**20
MAX_ROWS = 500_000
# Rows of which a record is made at once, whether an item of the batch asks for it or not.
CHECKED_ROWS = 20_000
MAX_COLUMNS = 500
# Bytes that are decoded at once.
_PIECE = 2**20


@dataclass
class Catalogue:
    """What a catalogue extract holds.

    records: one an item, by its id. bad_items: items whose
    row cannot be used, with the reason. for_review: what a person should look at, by item.
    findings: all that is worth telling, theirs included. fields_read: those of which a row has a
    cell.
    rows_read: rows with data, good or bad. kept_masters: of rows of which no record was made, what
    masters they list, case folded; film_kept: whether such a row names a film.
    """

    records: Records = field(default_factory=Records)
    findings: list[Finding] = field(default_factory=list)
    bad_items: dict[ItemId, Finding] = field(default_factory=dict)
    for_review: dict[ItemId, list[Finding]] = field(default_factory=dict)
    rows_read: int = 0
    encoding: str = ""
    delimiter: str = ""
    fields_read: set[str] = field(default_factory=set)
    kept_masters: Callable[[], Iterable[tuple[ItemId, set[str]]]] = tuple
    film_kept: Callable[[], bool] = bool

    def listing_masters(self, words: Collection[str]) -> list[ItemId]:
        """Return the items whose rows list masters; of rows of which no record was made, those
        that list one of `words`, case folded."""
        return [item for item, record in self.records.made().items() if record.masters] + [
            item for item, names in self.kept_masters() if not names.isdisjoint(words)
        ]

    def has_film(self, column: str) -> bool:
        """Return whether a row has a value in a column of films that no field takes."""
        return self.film_kept() or any(column in row.extra for row in self.records.made().values())

    def make_records(self, items: Iterable[ItemId]) -> None:
        """Make the records of these items, so that what is wrong with their rows is known."""
        for item in items:
            self.records.get(item)

    def unchecked(self, path: Path) -> list[Finding]:
        """Return what is told of rows that no item of the batch asked for."""
        if not self.records.unmade:
            return []
        return [
            Finding(
                "catalogue.unchecked",
                path.name,
                f"{self.records.unmade} rows of items that have no master here were not checked: "
                f"of a catalogue of more than {CHECKED_ROWS:,} rows the further ones are read for "
                "their item numbers.",
                "rows of this batch alone, where all are to be checked.",
                "Nothing, where this is the catalogue of a whole collection.",
                "note",
            )
        ]

    def respell(self, spellings: dict[ItemId, ItemId]) -> None:
        """Give items the ids that the batch spells them by; a number as the catalogue writes it
        stays an identifier of its item. spellings: {id here: id in the batch}."""
        for old, new in spellings.items():
            record = self.records.pop(old, None)
            if record is not None:
                kept = [*record.identifiers]
                if all(each.value != old for each in kept):
                    kept.append(Identifier(type="local", value=old))
                self.records[new] = structs.replace(record, item=new, identifiers=kept)
            if old in self.bad_items:
                self.bad_items[new] = self.bad_items.pop(old)
            if old in self.for_review:
                self.for_review[new] = self.for_review.pop(old)


@dataclass
class Trace:
    """Where the fields of one item stand in a catalogue: filled by reading it.

    item: its id, as the batch spells it. rows: of its number, each with the origins of its fields.
    """

    item: str
    rows: list[Row] = field(default_factory=list)


def read_catalogue(
    path: Path,
    settings: CatalogueSettings,
    root: Path | None = None,
    numbers: Numbers = EXACT,
    trace: Trace | None = None,
) -> Catalogue:
    """Return the records of a catalogue extract.

    root: the batch folder, below which no link is followed; None where the settings name the file.
    numbers: which spellings of a number are the same; rows of one number are two of one item.
    Raises GlassineError where the file as a whole cannot be trusted.
    """
    section = settings.catalogue
    content = _bytes(path, root)
    asked = _Asked(path, settings, numbers, trace)
    rows: Iterable[Row]
    kind = formats.kind_of(content, path.suffix.lower())
    if kind is None:
        raise _not_read(path, formats.name_of(content) or "of no form that is known")
    if kind == "marc":
        from glassine.intake.catalogue import marc

        catalogue = Catalogue(encoding="as each leader says", delimiter="marc")
        records = marc.Document(path, content, section)
        at_once = CHECKED_ROWS if trace is None else MAX_ROWS
        rows = (Row(number, cells) for number, cells in records.rows(at_once))
        columns = {name: [name] for name in FIELDS}
        return _collect(catalogue, rows, asked, columns, records.unpacked)
    if kind == "spreadsheet":
        return _read_spreadsheet(content, asked)
    if kind == "xml":
        from glassine.intake.catalogue import xml_rows

        document = xml_rows.Document(path, content, section)
        document.traced = trace is not None
        catalogue = Catalogue(encoding="as the XML declares", delimiter="xml")
        rows = (
            Row(number, cells, "", document.origins)
            for number, cells in document.rows(CHECKED_ROWS)
        )
        columns = {name: [name] for name in FIELDS}
        _collect(catalogue, rows, asked, columns, document.unpacked)
        catalogue.findings += document.findings
        return catalogue
    text, findings = _decode(path, content, section.encoding)
    catalogue = Catalogue(findings=findings, encoding=text.encoding, delimiter="json")
    if kind in ("json", "json lines"):
        columns = _mapping(section)
        objects = _json_rows(path, text) if kind == "json lines" else _json_array(path, text)
        table = mapping.of_table(section.mapping)
        if table is not None:
            return _collect_mapped(catalogue, objects, asked, table)
        rows = _with_paths(objects, columns)
        keys: dict[str, None] = {}
        _collect(catalogue, _noting_keys(rows, keys), asked, columns)
        _check_keys(path, catalogue, columns["item_id"], list(keys))
        catalogue.findings += _not_mapped(path, catalogue, section)
        return catalogue
    return _read_csv(text, catalogue, asked)


@dataclass(frozen=True)
class _Asked:
    """What is asked of a catalogue; see `read_catalogue`."""

    path: Path
    settings: CatalogueSettings
    numbers: Numbers
    trace: Trace | None


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


@dataclass(frozen=True)
class _Text:
    """A text in an encoding that it was seen to be whole in; codec: its name to Python, which may
    pass over a mark at the beginning."""

    content: bytes
    encoding: str
    codec: str

    def lines(self, newline: Literal["", "\n"] = "") -> Iterator[str]:
        """Yield the lines with their ends, decoded as they are asked for. newline: as of `open`."""
        yield from io.TextIOWrapper(io.BytesIO(self.content), self.codec, newline=newline)

    def pieces(self) -> Iterator[str]:
        """Yield the text a piece at a time."""
        stream = io.TextIOWrapper(io.BytesIO(self.content), self.codec, newline="")
        yield from iter(partial(stream.read, _PIECE), "")


def _decode(path: Path, content: bytes, declared: str) -> tuple[_Text, list[Finding]]:
    """Return the text and what is told of its encoding; refuses what does not fit rather than show
    wrong letters."""

    def text(encoding: str, codec: str | None = None) -> _Text:
        _see_whole(content, codec or encoding)
        return _Text(content, encoding, codec or encoding)

    marked = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    unmarked = None if marked else encodings.wide(content)
    if marked or unmarked:
        try:
            return text("utf-16", unmarked), []
        except UnicodeDecodeError as problem:
            raise _bad_bytes(path, content, problem, "UTF-16") from problem
    if content.startswith(b"\xef\xbb\xbf") or declared in ("auto", "utf-8"):
        try:
            return text("utf-8", "utf-8-sig"), []
        except UnicodeDecodeError as problem:
            guess = encodings.found(content) if declared == "auto" else None
            if guess is None or content.startswith(b"\xef\xbb\xbf"):
                raise _bad_bytes(path, content, problem, "UTF-8") from problem
            return text(guess.encoding), [_guessed(path, guess)]
    if not content.isascii() and _is_utf8(content):
        raise _refuse(
            "encoding",
            path,
            f"The settings declare {declared}, but the bytes are UTF-8.",
            f"a file in {declared}.",
            "Set `catalogue.encoding` to `auto`.",
        )
    try:
        return text(declared), []
    except UnicodeDecodeError as problem:
        raise _bad_bytes(path, content, problem, declared) from problem


def _see_whole(content: bytes, codec: str) -> None:
    """Raise UnicodeDecodeError where bytes are not in an encoding, at the place in all of them."""
    decoder = codecs.getincrementaldecoder(codec)()
    view = memoryview(content)
    try:
        for start in range(0, len(content), _PIECE):
            decoder.decode(view[start : start + _PIECE])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        content.decode(codec)
        raise


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
    catalogue: Catalogue, rows: Iterable[Row], asked: _Asked, table: mapping.Mapping
) -> Catalogue:
    """Return the records of rows that a mapping table reads."""
    separator, traced = asked.settings.catalogue.separator, asked.trace is not None
    cells = mapped_table.rows(rows, table, separator, traced)
    columns = {name: [name] for name in FIELDS}
    return _collect(catalogue, cells, asked, columns)


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


def _read_spreadsheet(content: bytes, asked: _Asked) -> Catalogue:
    path, settings = asked.path, asked.settings
    table = mapping.of_table(settings.catalogue.mapping)
    columns = _columns(settings.catalogue, table)
    rows = spreadsheet.rows(path, content, columns["item_id"], settings.catalogue.sheet)
    names = [nfc(name.strip()) for name in next(rows)[1]]
    catalogue = Catalogue(encoding="as the spreadsheet has it", delimiter="cells")
    if table is not None:
        _check_mapped(path, names, table)
        bounded = _named(_bounded(path, rows), names)
        return _collect_mapped(catalogue, bounded, asked, table)
    _check_header(path, names, columns, settings.catalogue.columns)
    named = _named(_bounded(path, rows), names)
    return _collect(catalogue, named, asked, columns)


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


def _read_csv(text: _Text, catalogue: Catalogue, asked: _Asked) -> Catalogue:
    path, section = asked.path, asked.settings.catalogue
    declared, lines = _separator_line(text)
    first = next(lines, "")
    lines = itertools.chain([first] if first else [], lines)
    table = mapping.of_table(section.mapping)
    columns = _columns(section, table)
    setting = section.delimiter
    delimiter = {"tab": "\t", "auto": declared or None}.get(setting, setting)
    delimiter = delimiter or _sniff(path, first, columns["item_id"])
    rows = _csv_rows(path, lines, delimiter)
    try:
        header = next(rows)[1]
    except StopIteration:
        header = []
    names = [nfc(name.strip()) for name in header]
    catalogue.delimiter = delimiter
    if table is not None:
        _check_mapped(path, names, table)
        return _collect_mapped(catalogue, _named(rows, names), asked, table)
    _check_header(path, names, columns, section.columns)
    return _collect(catalogue, _named(rows, names), asked, columns)


def _separator_line(text: _Text) -> tuple[str, Iterator[str]]:
    """Return the separator that spreadsheets note in a first line "sep=;", and the other lines."""
    lines = text.lines()
    first = next(lines, "")
    match = re.fullmatch(r"sep=([,;|\t])\r?\n", first)
    return (match[1], lines) if match else ("", itertools.chain([first] if first else [], lines))


def _sniff(path: Path, line: str, id_columns: list[str]) -> str:
    """Return the delimiter under which the first line names the item column."""
    # Under a wrong delimiter the whole row is one cell, longer than csv takes by default.
    csv.field_size_limit(MAX_FILE_BYTES)
    first = line.rstrip("\r\n")
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


def _csv_rows(path: Path, lines: Iterable[str], delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Yield row number and cells; refuses the file at a quote that does not close properly."""
    csv.field_size_limit(MAX_FILE_BYTES)
    reader = csv.reader(lines, delimiter=delimiter, strict=True)
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


def _json_rows(path: Path, text: _Text) -> Iterator[Row]:
    for number, line in enumerate(text.lines("\n"), start=1):
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


def _noting_keys(rows: Iterable[Row], keys: dict[str, None]) -> Iterator[Row]:
    """Yield the rows; note their keys in their order, as many as a table may have columns."""
    for row in rows:
        if len(keys) < MAX_COLUMNS:
            keys |= dict.fromkeys(row.cells)
        yield row


def _check_keys(path: Path, catalogue: Catalogue, wanted: list[str], keys: list[str]) -> None:
    """Refuse objects of which none has a number: that is no fault of one row after the other."""
    if "item_id" not in catalogue.fields_read:
        raise _refuse(
            "header",
            path,
            f"No object has a key {' or '.join(wanted)!r}; they have {', '.join(keys)[:300]}.",
            f"the key {wanted[0]!r} with the item's number in each object.",
            "Name the key of item numbers in `catalogue.columns.item_id`.",
        )


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


def _without_access(path: Path, section: CatalogueSection, read: set[str]) -> list[Finding]:
    """Return what is told where the settings say from what restrictions are read, and no row has
    one: a key may be spelled otherwise, and all would be public."""
    table = mapping.load(mapping.find(section.mapping)) if section.mapping else None
    by_columns = {name for name, names in _mapping(section).items() if names != [name]}
    stated = by_columns | {*(table.fields if table else ())}
    return [
        Finding(
            "catalogue.access_absent",
            path.name,
            f"No row of this file has a value for {name!r}, though the settings say from what it "
            "is read: no item is restricted by it.",
            "a value in some row, where any item is restricted.",
            "See that the column, key or path is spelled as in the file; nothing, where no item "
            "is restricted.",
            "review",
        )
        for name in ACCESS_FIELDS
        if name in stated and name not in read
    ]


def _json(text: str) -> Any:
    """Return a JSON value. Raises ValueError or RecursionError for what is none."""
    return json.loads(
        text,
        object_pairs_hook=json_stream.once,
        parse_constant=json_stream.no_constant,
        parse_float=json_stream.finite,
    )


def _json_array(path: Path, text: _Text) -> Iterator[Row]:
    """Yield the objects of an array, or of the only array within an object; numbered from 1."""
    entries = json_stream.entries(text.pieces)
    for number in itertools.count(1):
        try:
            entry = next(entries)
        except StopIteration:
            return
        except (ValueError, RecursionError) as problem:
            raise _refuse(
                "json",
                path,
                f"It is not JSON: {str(problem)[:200]}.",
                "one array of objects, each key once, no NaN.",
                "Export again; the file may have been cut off.",
            ) from problem
        if number > MAX_ROWS:
            raise _refuse("size", path, "Too many objects.", f"at most {MAX_ROWS}.", "Export less.")
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


# --- records -----------------------------------------------------------------------------


def _collect(
    catalogue: Catalogue,
    rows: Iterable[Row],
    asked: _Asked,
    columns: dict[str, list[str]],
    unpacked: Callable[[Cells], Cells] = lambda cells: cells,
) -> Catalogue:
    """Return the records of the rows: the first `CHECKED_ROWS` are made at once, and further ones
    when an item of the batch asks for its own. unpacked: the cells of a row that stands packed."""
    path, settings = asked.path, asked.settings
    narrow = catalogue.encoding in encodings.OLD
    reader = RecordReader(path, settings, columns, narrow=narrow, numbers=asked.numbers)
    collecting = _Collecting(catalogue, reader, asked, unpacked)
    for row in rows:
        catalogue.rows_read += 1
        if catalogue.rows_read > CHECKED_ROWS:
            collecting.keep(row)
        else:
            collecting.take(row)
    collecting.close_what_is_not_open()
    catalogue.findings += catalogue_columns.unused(
        path.name, reader.unused, set(FIELDS), reader.read
    )
    catalogue.fields_read = reader.read
    # A table names its columns above them; of packed records nobody knows it yet.
    if catalogue.delimiter in ("json", "xml", "marc") and not collecting.has_packed:
        catalogue.findings += _without_access(path, settings.catalogue, reader.of_access)
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


def _traced(row: Row, extract: Extract) -> Row:
    """Return a row with the origins of its fields; those of a table are its columns."""
    by_column = {
        name: [
            f"{column}: {text_of(row.cells[column])[:200]}"
            for column in columns
            if text_of(row.cells.get(column))
        ]
        for name, columns in extract.columns.items()
    }
    return Row(row.number, dict(row.cells), row.fault, row.origins or by_column)


class _Collecting:
    """Rows on their way into a catalogue; `first` has the first row of each number: its number and
    item, or the place where it is kept."""

    def __init__(
        self,
        catalogue: Catalogue,
        reader: RecordReader,
        asked: _Asked,
        unpacked: Callable[[Cells], Cells],
    ) -> None:
        self.catalogue, self.reader, self.trace = catalogue, reader, asked.trace
        self.unpacked = unpacked
        self.has_packed = False
        self.key = asked.numbers.key
        self.first: dict[str, tuple[int, ItemId] | int] = {}
        self.kept = KeptRows()
        catalogue.records.make = self._make
        catalogue.kept_masters = self._masters
        catalogue.film_kept = lambda: reader.has_film or self.has_packed

    def _masters(self) -> Iterator[tuple[ItemId, set[str]]]:
        if "masters" not in self.reader.read:
            return
        for item, place in self.catalogue.records.kept():
            names = self.reader.extract.many(self.kept.get(place), "masters")
            yield item, {str(name).replace("\\", "/").casefold() for name in names}

    def take(self, row: Row) -> None:
        """Make the record of a row."""
        row = self._whole(row)
        item = self.reader.item(row)
        findings: list[Finding] = []
        record = self.reader.record(row, findings)
        key = self.key(item)
        if self.trace is not None and key == self.key(self.trace.item):
            self.trace.rows.append(_traced(row, self.reader.extract))
        known = self.first.get(key)
        if known is None:
            self.first[key] = (row.number, item)
        elif item:
            findings, item = self._twice(row, item, known)
        self._put(item, record, findings)

    def keep(self, row: Row) -> None:
        """Keep a row until it is asked for; one without a number, with a fault, or of a number that
        there was before is judged at once."""
        item = self.reader.item(row)
        key = self.key(item)
        wanted = self.trace is not None and key == self.key(self.trace.item)
        if row.fault or not item or key in self.first or wanted:
            self.take(row)
            return
        if PACKED in row.cells:
            self.has_packed = True
        else:
            self.reader.count(row)
        place = self.kept.add(row)
        self.first[key] = place
        self.catalogue.records.keep(item, place)

    def _whole(self, row: Row) -> Row:
        """Return a row with all its cells."""
        cells = self.unpacked(row.cells)
        return row if cells is row.cells else Row(row.number, cells, row.fault, row.origins)

    def _twice(
        self, row: Row, item: ItemId, known: tuple[int, ItemId] | int
    ) -> tuple[list[Finding], ItemId]:
        """Return what is told of a second row of a number, and the item that it is of."""
        if isinstance(known, int):
            first = self.kept.get(known)
            known = (first.number, self.reader.item(first))
        return [self.reader.twice(row.number, item, known[0])], known[1]

    def _make(self, item: ItemId, place: int) -> CatalogueRow | None:
        """Return the record of a kept row; what is told of it is told now."""
        findings: list[Finding] = []
        with self.reader.counted_before():
            record = self.reader.record(self._whole(self.kept.get(place)), findings)
        self._put(item, record, findings)
        if record is None or item in self.catalogue.bad_items:
            return None
        return self._close(item, record)

    def close_what_is_not_open(self) -> None:
        """Close the items of which a column that nobody reads says that they are not open: only all
        rows tell what such a column is for."""
        for item, record in [*self.catalogue.records.made().items()]:
            self._close(item, record)

    def _close(self, item: ItemId, record: CatalogueRow) -> CatalogueRow:
        closed, findings = self.reader.access_columns.judged(record, self.reader.extract)
        if findings:
            self.catalogue.records[item] = closed
            self.catalogue.findings.extend(findings)
            self.catalogue.for_review.setdefault(item, []).extend(findings)
        return closed

    def _put(self, item: ItemId, record: CatalogueRow | None, findings: list[Finding]) -> None:
        catalogue = self.catalogue
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
