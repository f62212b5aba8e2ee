"""The catalogue extract: one checked record for each item, or the row and reason why not.

Reads CSV (comma, semicolon, tab), JSON lines, and MODS or Dublin Core XML. Nothing is
guessed: an encoding that does not fit, an unclosed quote or a row with too few cells is
refused by name. A fault of one row holds that item alone; a fault that makes other rows
uncertain too (encoding, quotes, header) refuses the file.
"""

from __future__ import annotations

import csv
import io
import json
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

from glassine import dates
from glassine.errors import Finding, GlassineError

VERSION = "1"

# Far above any real extract; they bound memory against a wrong or hostile file.
MAX_FILE_BYTES = 256 * 2**20
MAX_ROWS = 500_000
MAX_COLUMNS = 500
# Longest cell, in characters; a longer one is a file that went wrong, not a description.
MAX_CELL = 20_000
# How many faults of one kind are told one by one.
MAX_TOLD = 20

FIELDS = (
    "item_id title alternative description date date_edtf date_earliest date_latest creator "
    "creator_role creator_uri subjects subject_uris places place_uris languages genre physical "
    "material decay_level rights_uri copyright_status rights_holder rights_note credit "
    "identifiers collection masters structure"
).split()
MATERIALS = ("nitrate", "acetate", "polyester", "glass", "paper", "unknown")
# PREMIS 3.0, copyrightStatus: values of the Library of Congress copyright status vocabulary.
COPYRIGHT = ("copyrighted", "public domain", "unknown")
_RIGHTS_URI = (
    r"^https?://(rightsstatements\.org/(vocab|page)/[A-Za-z0-9-]+/[0-9.]+/?(\?.*)?"
    r"|creativecommons\.org/(licenses|publicdomain)/[a-z0-9-]+/[0-9.]+/?([a-z-]+/?)?)$"
)
_URI = r"^([A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+)?$"
_TEXT = {"type": "string", "maxLength": MAX_CELL}

# What a record must be; each error of it becomes one finding with row, column and value.
ROW_SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "additionalProperties": False,
    "required": ["item", "row", "title", "rights"],
    "properties": {
        "item": {
            "type": "string",
            "minLength": 1,
            "maxLength": 200,
            "pattern": r"^[^\s/\\]([^/\\]*[^\s/\\])?$",
            "description": "an item number of 1 to 200 characters, without slashes",
        },
        "row": {"type": "integer"},
        "title": {**_TEXT, "minLength": 1, "description": "a title of the photograph"},
        "alternative": _TEXT,
        "description": _TEXT,
        "date_text": {**_TEXT, "maxLength": 500, "description": "a date of at most 500 characters"},
        "edtf": {"type": ["string", "null"]},
        "date_understood": {"type": "boolean"},
        "creators": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "name": {**_TEXT, "minLength": 1},
                    "role": _TEXT,
                    "uri": {
                        "type": "string",
                        "pattern": _URI,
                        "description": "a URI such as https://...",
                    },
                },
            },
        },
        "subjects": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "term": {**_TEXT, "minLength": 1},
                    "authority": _TEXT,
                    "uri": {
                        "type": "string",
                        "pattern": _URI,
                        "description": "a URI such as https://...",
                    },
                },
            },
        },
        "places": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {
                    "name": {**_TEXT, "minLength": 1},
                    "uri": {
                        "type": "string",
                        "pattern": _URI,
                        "description": "a URI such as https://...",
                    },
                },
            },
        },
        "identifiers": {
            "type": "array",
            "items": {
                "type": "object",
                "properties": {"type": _TEXT, "value": {**_TEXT, "minLength": 1}},
            },
        },
        "languages": {
            "type": "array",
            "items": {
                "type": "string",
                "pattern": "^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$",
                "description": "a language code such as eng (ISO 639-2) or en-GB (RFC 5646)",
            },
        },
        "genre": _TEXT,
        "physical": _TEXT,
        "material": {"enum": list(MATERIALS), "description": "one of " + ", ".join(MATERIALS)},
        "decay_level": {
            "type": ["integer", "null"],
            "minimum": 0,
            "maximum": 6,
            "description": "a whole number from 0 to 6, or nothing",
        },
        "rights": {
            "type": "object",
            "properties": {
                "uri": {
                    "type": "string",
                    "pattern": f"{_RIGHTS_URI}|^$",
                    "description": "a URI of rightsstatements.org or creativecommons.org",
                },
                "status": {
                    "enum": list(COPYRIGHT),
                    "description": "one of " + ", ".join(COPYRIGHT),
                },
                "holder": _TEXT,
                "note": _TEXT,
                "credit": _TEXT,
            },
        },
        "collection": _TEXT,
        "masters": {"type": "array", "items": {**_TEXT, "minLength": 1}},
        "structure": {
            "type": "array",
            "items": {
                "type": "object",
                "additionalProperties": False,
                "required": ["label", "frames"],
                "properties": {
                    "label": {**_TEXT, "minLength": 1},
                    "type": _TEXT,
                    "frames": {
                        "type": "array",
                        "items": {"type": "integer", "minimum": 1, "maximum": 10_000},
                        "maxItems": 10_000,
                    },
                },
            },
        },
        "extra": {"type": "object"},
    },
}
_COLUMN_OF = {  # which column a part of a record came from
    "item": "item_id",
    "date_text": "date",
    "creators": "creator",
    "rights.uri": "rights_uri",
    "rights.status": "copyright_status",
    "rights.holder": "rights_holder",
    "rights.note": "rights_note",
    "rights.credit": "credit",
}

Cells = dict[str, Any]


@dataclass
class Catalogue:
    """What a catalogue extract holds.

    records: one dict an item, as ROW_SCHEMA describes. bad_items: items whose row cannot be
    used, with the reason. findings: everything worth telling, those of bad_items included.
    rows_read: rows with data, good or bad.
    """

    records: dict[str, dict[str, Any]] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    bad_items: dict[str, Finding] = field(default_factory=dict)
    rows_read: int = 0
    encoding: str = ""
    delimiter: str = ""


def read_catalogue(path: Path, settings: dict[str, Any]) -> Catalogue:
    """Return the records of a catalogue extract.

    path: .csv, .tsv or .txt (CSV), .jsonl or .ndjson (JSON lines), .xml (MODS, Dublin Core).
    settings: the whole settings, of which the sections `catalogue` and `rights` are used, or
    the section `catalogue` alone.
    Raises GlassineError where the file as a whole cannot be trusted.
    """
    section = _section(settings)
    content = _bytes(path)
    suffix = path.suffix.lower()
    if suffix == ".xml":
        from glassine import catalogue_xml

        found = Catalogue(encoding="as the XML declares", delimiter="xml")
        rows: Iterable[_Row] = (
            _Row(number, cells) for number, cells in catalogue_xml.rows(path, content, section)
        )
        return _collect(found, rows, path, settings, {name: [name] for name in FIELDS})
    text, encoding = _decode(path, content, section.get("encoding", "auto"))
    if suffix in (".jsonl", ".ndjson"):
        found = Catalogue(encoding=encoding, delimiter="json")
        columns = _mapping(section)
        return _collect(found, _json_rows(path, text), path, settings, columns)
    return _read_csv(path, text, encoding, settings)


def _section(settings: dict[str, Any]) -> dict[str, Any]:
    section: dict[str, Any] = settings.get("catalogue", settings)
    return section


# --- bytes and text ----------------------------------------------------------------------


def _refuse(code: str, path: Path, what: str, expected: str, next_step: str) -> GlassineError:
    return GlassineError.because(f"catalogue.{code}", path.name, what, expected, next_step)


def _bytes(path: Path) -> bytes:
    try:
        size = path.stat().st_size
        if size > MAX_FILE_BYTES:
            raise _refuse(
                "size",
                path,
                f"The catalogue has {size} bytes.",
                f"at most {MAX_FILE_BYTES} bytes.",
                "Export the rows of this batch alone.",
            )
        content = path.read_bytes()
    except OSError as problem:
        raise _refuse(
            "unreadable",
            path,
            f"The catalogue cannot be read ({problem.strerror}).",
            "a readable file.",
            "Check `catalogue.path` and the file's permissions.",
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


def _decode(path: Path, content: bytes, declared: str) -> tuple[str, str]:
    """Return text and encoding; refuses what does not fit rather than show wrong letters."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return content.decode("utf-16"), "utf-16"
        except UnicodeDecodeError as problem:
            raise _bad_bytes(path, content, problem, "UTF-16") from problem
    if content.startswith(b"\xef\xbb\xbf") or declared in ("auto", "utf-8"):
        try:
            return content.decode("utf-8-sig"), "utf-8"
        except UnicodeDecodeError as problem:
            raise _bad_bytes(path, content, problem, "UTF-8") from problem
    if not content.isascii() and _is_utf8(content):
        raise _refuse(
            "encoding",
            path,
            f"The settings declare {declared}, but the bytes are UTF-8.",
            f"a file in {declared}.",
            "Set `catalogue.encoding` to `auto`.",
        )
    try:
        return content.decode(declared), declared
    except UnicodeDecodeError as problem:
        raise _bad_bytes(path, content, problem, declared) from problem


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
    return _refuse(
        "encoding",
        path,
        f"Line {line} holds the byte 0x{value}, which is not {encoding}.",
        "UTF-8 (with or without byte order mark), UTF-16 with byte order mark, or what "
        "`catalogue.encoding` declares.",
        "Export the catalogue as UTF-8; if all of it is Windows-1252, set "
        "`catalogue.encoding: cp1252`.",
    )


# --- rows --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Row:
    """Number as a spreadsheet shows it (the header is row 1), cells by column, a fault if any."""

    number: int
    cells: Cells
    fault: str = ""


def _mapping(section: dict[str, Any]) -> dict[str, list[str]]:
    """Return the columns of each field: those configured, else the column of the same name."""
    columns = {name: [name] for name in FIELDS}
    for name, value in section.get("columns", {}).items():
        columns[name] = [value] if isinstance(value, str) else list(value or [])
    return columns


def _read_csv(path: Path, text: str, encoding: str, settings: dict[str, Any]) -> Catalogue:
    section = _section(settings)
    declared, text = _separator_line(text)
    columns = _mapping(section)
    wanted = section.get("delimiter", "auto")
    delimiter = {"tab": "\t", "auto": declared or None}.get(wanted, wanted)
    delimiter = delimiter or _sniff(path, text, columns["item_id"])
    rows = _csv_rows(path, text, delimiter)
    try:
        number, header = next(rows)
    except StopIteration:
        header, number = [], 1
    names = [unicodedata.normalize("NFC", name.strip()) for name in header]
    _check_header(path, names, columns, section.get("columns", {}))
    found = Catalogue(encoding=encoding, delimiter=delimiter)
    return _collect(found, _named(rows, names), path, settings, columns)


def _separator_line(text: str) -> tuple[str, str]:
    """Return the separator that spreadsheets note in a first line "sep=;", and the rest."""
    found = re.match(r"sep=([,;\t])\r?\n", text)
    return (found[1], text[found.end() :]) if found else ("", text)


def _sniff(path: Path, text: str, id_columns: list[str]) -> str:
    """Return the delimiter under which the first line names the item column."""
    first = re.split(r"\r\n|\r|\n", text, maxsplit=1)[0]
    fitting = []
    for delimiter in (",", ";", "\t"):
        names = [name.strip() for name in next(csv.reader([first], delimiter=delimiter), [])]
        if all(column in names for column in id_columns):
            fitting.append((len(names), delimiter))
    if not fitting:
        raise _refuse(
            "header",
            path,
            f"The first line names no column {' or '.join(id_columns)!r}; it begins {first[:80]!r}.",
            f"a header row with the column {id_columns[0]!r}, separated by comma, semicolon or tab.",
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
            raise _refuse(
                "size",
                path,
                f"Row {number} has {len(cells)} cells.",
                f"at most {MAX_ROWS} rows of {MAX_COLUMNS} columns.",
                "Export the rows of this batch alone.",
            )
        if any(cell.strip() for cell in cells):
            yield number, cells


def _check_header(
    path: Path, names: list[str], columns: dict[str, list[str]], configured: dict[str, Any]
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


def _named(rows: Iterable[tuple[int, list[str]]], names: list[str]) -> Iterator[_Row]:
    for number, cells in rows:
        fault = ""
        if len(cells) != len(names):
            fault = f"it has {len(cells)} cells where the header has {len(names)}"
        yield _Row(number, dict(zip(names, cells, strict=False)), fault)


def _json_rows(path: Path, text: str) -> Iterator[_Row]:
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        if number > MAX_ROWS:
            raise _refuse("size", path, "Too many lines.", f"at most {MAX_ROWS}.", "Export less.")
        try:
            value = json.loads(line, object_pairs_hook=_once, parse_constant=_no_constant)
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
        yield _Row(number, value)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def _no_constant(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


# --- records -----------------------------------------------------------------------------


def _collect(
    found: Catalogue,
    rows: Iterable[_Row],
    path: Path,
    settings: dict[str, Any],
    columns: dict[str, list[str]],
) -> Catalogue:
    reader = _RecordReader(path, settings, columns, narrow=found.encoding == "cp1252")
    first_row: dict[str, int] = {}
    for row in rows:
        found.rows_read += 1
        item = reader.item(row)
        findings: list[Finding] = []
        record = reader.record(row, findings)
        if item in first_row:
            findings = [reader.twice(row.number, item, first_row[item])]
        first_row.setdefault(item, row.number)
        found.findings.extend(findings)
        held = next((finding for finding in findings if finding.severity == "hold"), None)
        if held or record is None:
            found.records.pop(item, None)
            if item and held:
                found.bad_items.setdefault(item, held)
        elif item not in found.bad_items:
            found.records[item] = record
    if not found.rows_read:
        raise _refuse(
            "empty",
            path,
            "The catalogue has a header but no rows.",
            "one row an item.",
            "Export it again.",
        )
    return found


# C0 controls other than tab and line ends, DEL, C1 controls, and code points that no XML holds.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
# C1 controls that are Windows-1252 letters read as Latin-1 long ago; WHATWG HTML, section
# "Numeric character reference end state", maps them so. U+0085 stays refused: it is a line end too.
_LETTERS_OF_C1 = {
    code: bytes([code]).decode("cp1252")
    for code in range(0x80, 0xA0)
    if code not in (0x81, 0x85, 0x8D, 0x8F, 0x90, 0x9D)
}


# A question mark where a letter was: what an export into a smaller character set leaves.
_LOST = re.compile(r"(?<![:/=&?])(?:\w\?[\w,;]|(?:^|\s)\?\w)(?!\S*://)")


def _reads_doubly(text: str) -> bool:
    """Return whether the text looks like UTF-8 that was once read as Windows-1252."""
    if text.isascii() or not re.search("[\u00c2-\u00f4][\u0080-\u00bf\u0152-\u2122]", text):
        return False
    try:
        return text.encode("cp1252").decode("utf-8") != text
    except UnicodeError:
        return False


class _RecordReader:
    """Turns rows into records by the configured columns."""

    def __init__(
        self,
        path: Path,
        settings: dict[str, Any],
        columns: dict[str, list[str]],
        narrow: bool,
    ) -> None:
        section = _section(settings)
        self.narrow = narrow  # whether the encoding has room for few letters only
        self.path = path
        self.columns = columns
        self.separator: str = section.get("separator", "|")
        self.materials: dict[str, str] = section.get("materials", {})
        self.rights: dict[str, Any] = settings.get("rights", {})
        self.mapped = {column for names in columns.values() for column in names}

    def finding(
        self, code: str, row: int, column: str, value: Any, expected: str, severity: str = "hold"
    ) -> Finding:
        shown = " ".join(str(value).split())
        shown = shown if len(shown) <= 80 else shown[:77] + "..."
        return Finding(
            f"catalogue.{code}",
            f"{self.path.name}, row {row}",
            f"Column {column!r} holds {shown!r}.",
            expected,
            "Correct the cell in the catalogue and export again.",
            severity,
        )

    def twice(self, row: int, item: str, first: int) -> Finding:
        return Finding(
            "catalogue.duplicate",
            f"{self.path.name}, row {row}",
            f"Item {item!r} has a row already (row {first}).",
            "one row an item.",
            "Remove or renumber one of the two rows.",
        )

    def item(self, row: _Row) -> str:
        return self.one(row, "item_id").strip()

    def one(self, row: _Row, name: str) -> str:
        """Return the field's text; several columns are joined by a blank."""
        cells = [row.cells.get(column) for column in self.columns[name]]
        texts = [str(cell) for cell in cells if cell is not None and cell != ""]
        return unicodedata.normalize("NFC", " ".join(texts))

    def many(self, row: _Row, name: str) -> list[Any]:
        """Return the values of a field: cells split at the separator, JSON lists as they are."""
        values: list[Any] = []
        for column in self.columns[name]:
            cell = row.cells.get(column)
            parts = cell if isinstance(cell, list) else [cell]
            for part in parts:
                if isinstance(part, str):
                    pieces = part.split(self.separator) if part is cell else [part]
                    values += [unicodedata.normalize("NFC", piece.strip()) for piece in pieces]
                elif part is not None:
                    values.append(part if isinstance(part, dict) else str(part))
        return [value for value in values if value != ""]

    def record(self, row: _Row, findings: list[Finding]) -> dict[str, Any] | None:
        """Return the record of a row, None where it cannot be used; tells why in `findings`."""
        item = self.item(row)
        if row.fault:
            findings.append(
                Finding(
                    "catalogue.cells",
                    f"{self.path.name}, row {row.number}",
                    f"The row of item {item!r} cannot be trusted: {row.fault}.",
                    "as many cells as the header has; cells that hold the delimiter in quotes.",
                    "Correct that row; a cell may lack its quotes.",
                )
            )
            return None
        self.check_text(row, findings)
        if any(finding.severity == "hold" for finding in findings):
            return None
        record = self.build(row, item, findings)
        self.check_schema(row, record, findings)
        held = any(finding.severity == "hold" for finding in findings)
        return None if held else record

    def check_text(self, row: _Row, findings: list[Finding]) -> None:
        for column, cell in row.cells.items():
            text = cell if isinstance(cell, str) else json.dumps(cell, ensure_ascii=False)
            if isinstance(cell, str) and text.translate(_LETTERS_OF_C1) != text:
                text = row.cells[column] = text.translate(_LETTERS_OF_C1)
                findings.append(self.damaged(row.number, column, text))
            bad = _FORBIDDEN.search(text)
            if bad:
                findings.append(
                    self.finding(
                        "control",
                        row.number,
                        column,
                        text.encode("unicode_escape").decode("ascii"),
                        f"text without control characters (U+{ord(bad[0]):04X}).",
                    )
                )
            elif len(text) > MAX_CELL:
                findings.append(
                    self.finding(
                        "length",
                        row.number,
                        column,
                        text,
                        f"at most {MAX_CELL} characters (it has {len(text)}).",
                    )
                )
            elif "\ufffd" in text or _reads_doubly(text) or (self.narrow and _LOST.search(text)):
                findings.append(self.damaged(row.number, column, text))

    def damaged(self, row: int, column: str, text: str) -> Finding:
        """Return the finding on letters damaged before; those that are lost hold the item."""
        expected = "text whose letters were not damaged by a wrong encoding earlier."
        severity = "hold" if "\ufffd" in text else "review"
        return self.finding("letters", row, column, text, expected, severity)

    def build(self, row: _Row, item: str, findings: list[Finding]) -> dict[str, Any]:
        one = {name: self.one(row, name).strip() for name in FIELDS if name != "structure"}
        return {
            "item": item,
            "row": row.number,
            "title": " ".join(one["title"].split()),
            "alternative": one["alternative"],
            "description": one["description"],
            **self.dated(row, one, findings),
            "creators": self.creators(row, findings),
            "subjects": self.terms(row, "subjects", "subject_uris", "term", findings),
            "places": self.terms(row, "places", "place_uris", "name", findings),
            "identifiers": self.identifiers(row),
            "languages": self.many(row, "languages"),
            "genre": one["genre"],
            "physical": one["physical"],
            "material": self.material(one["material"]),
            "decay_level": _whole_number(one["decay_level"]),
            "rights": {
                "uri": one["rights_uri"] or self.rights.get("uri") or "",
                "status": _status(one["copyright_status"]) or self.rights.get("status", "unknown"),
                "holder": one["rights_holder"] or self.rights.get("holder", ""),
                "note": one["rights_note"] or self.rights.get("note", ""),
                "credit": one["credit"] or self.rights.get("credit", ""),
            },
            "collection": one["collection"],
            "masters": self.many(row, "masters"),
            "structure": self.structure(row, findings),
            "extra": {
                column: str(cell)
                for column, cell in row.cells.items()
                if column not in self.mapped and cell not in (None, "")
            },
        }

    def dated(self, row: _Row, one: dict[str, str], findings: list[Finding]) -> dict[str, Any]:
        text, stated = one["date"], one["date_edtf"]
        edtf: str | None
        if stated:
            edtf = stated if dates.is_valid(stated) else None
            if edtf is None:
                findings.append(
                    self.finding("edtf", row.number, "date_edtf", stated, "a valid EDTF date.")
                )
        else:
            edtf = dates.to_edtf(text, _day(one["date_earliest"]), _day(one["date_latest"]))
            if edtf is None and text:
                findings.append(
                    self.finding(
                        "date",
                        row.number,
                        self.columns["date"][0],
                        text,
                        "a date in words that are understood and agree with the catalogue's own "
                        'bounds, e.g. "c. 1905", "June 1958", "1890-1910"; the record keeps the '
                        "words and has no machine-readable date.",
                        "review",
                    )
                )
        return {"date_text": text, "edtf": edtf, "date_understood": edtf is not None or not text}

    def creators(self, row: _Row, findings: list[Finding]) -> list[dict[str, str]]:
        names = self.many(row, "creator")
        roles = self.parallel(row, "creator", "creator_role", len(names), findings)
        uris = self.parallel(row, "creator", "creator_uri", len(names), findings)
        found = []
        for name, role, uri in zip(names, roles, uris, strict=True):
            if isinstance(name, dict):
                found.append({key: str(name.get(key) or "") for key in ("name", "role", "uri")})
                continue
            text, inline = _term_and_uri(name)
            found.append({"name": text, "role": role, "uri": uri or inline})
        return found

    def terms(
        self, row: _Row, name: str, uri_name: str, key: str, findings: list[Finding]
    ) -> list[dict[str, str]]:
        values = self.many(row, name)
        uris = self.parallel(row, name, uri_name, len(values), findings)
        found = []
        for value, uri in zip(values, uris, strict=True):
            if isinstance(value, dict):
                entry = {key: str(value.get(key) or ""), "uri": str(value.get("uri") or "")}
                authority = str(value.get("authority") or "")
            else:
                text, inline = _term_and_uri(value)
                entry, authority = {key: text, "uri": uri or inline}, ""
            if key == "term":
                entry["authority"] = authority or _authority(entry["uri"])
            found.append(entry)
        return found

    def parallel(
        self, row: _Row, name: str, other: str, count: int, findings: list[Finding]
    ) -> list[str]:
        """Return one value of `other` for each of `name`: none, one for all, or as many."""
        cells = [str(row.cells.get(column) or "") for column in self.columns[other]]
        text = self.separator.join(cell for cell in cells if cell)
        if not text.strip() or not count:
            return [""] * count
        values = [piece.strip() for piece in text.split(self.separator)]
        if len(values) == 1 and other == "creator_role":
            return values * count
        if len(values) != count:
            findings.append(
                self.finding(
                    "count",
                    row.number,
                    self.columns[other][0],
                    text,
                    f"as many values as {self.columns[name][0]!r} has ({count}).",
                )
            )
            return [""] * count
        return values

    def identifiers(self, row: _Row) -> list[dict[str, str]]:
        """Return identifiers; "box:12" states its type, else the column's name is the type."""
        found = []
        several = len(self.columns["identifiers"]) > 1
        for column in self.columns["identifiers"]:
            cell = row.cells.get(column)
            pieces = cell if isinstance(cell, list) else str(cell or "").split(self.separator)
            for piece in pieces:
                if isinstance(piece, dict):
                    found.append(
                        {
                            "type": str(piece.get("type") or "local"),
                            "value": str(piece.get("value") or ""),
                        }
                    )
                    continue
                text = unicodedata.normalize("NFC", str(piece).strip())
                kind = re.match(r"([A-Za-z][A-Za-z0-9 ._-]{0,30}):\s*(?!//)(?=\S)", text)
                if not text:
                    continue
                if kind and not several:
                    found.append({"type": kind[1], "value": text[kind.end() :]})
                else:
                    found.append({"type": column if several else "local", "value": text})
        return found

    def material(self, text: str) -> str:
        mapped = self.materials.get(text, text)
        return mapped.lower() or "unknown"

    def structure(self, row: _Row, findings: list[Finding]) -> list[Any]:
        """Return divisions; in CSV "Quay = 1-3 | Ferry = 4, 5" with frames counted in the item."""
        column = self.columns["structure"][0]
        cell = row.cells.get(column)
        if isinstance(cell, list):
            return cell
        found = []
        for piece in str(cell or "").split(self.separator):
            if not piece.strip():
                continue
            label, _, figures = piece.rpartition("=")
            frames = _frames(figures)
            if not label.strip() or frames is None:
                findings.append(
                    self.finding(
                        "structure",
                        row.number,
                        column,
                        piece,
                        'divisions such as "Quay = 1-3 | Ferry = 4, 5".',
                    )
                )
                return []
            found.append({"label": label.strip(), "type": "section", "frames": frames})
        return found

    def check_schema(self, row: _Row, record: dict[str, Any], findings: list[Finding]) -> None:
        for error in _validator().iter_errors(record):
            where = ".".join(str(part) for part in error.absolute_path if isinstance(part, str))
            name = _COLUMN_OF.get(where, where.split(".")[0])
            column = (self.columns.get(name) or [name])[0]
            described = error.schema.get("description") if isinstance(error.schema, dict) else None
            expected = f"{described or error.message[:200]}."
            findings.append(self.finding("value", row.number, column, error.instance, expected))


@cache
def _validator() -> Any:
    import jsonschema

    return jsonschema.Draft202012Validator(ROW_SCHEMA)


def _frames(figures: str) -> list[int] | None:
    found: list[int] = []
    for piece in figures.split(","):
        match = re.fullmatch(r"\s*(\d{1,4})(?:\s*[-–]\s*(\d{1,4}))?\s*", piece)
        if not match:
            return None
        found.extend(range(int(match[1]), int(match[2] or match[1]) + 1))
    return found or None


def _term_and_uri(text: str) -> tuple[str, str]:
    """Return "Harbours" and the URI of "Harbours <http://id.loc.gov/...>"."""
    found = re.fullmatch(r"(?P<term>.*?)\s*<(?P<uri>[A-Za-z][A-Za-z0-9+.-]*:[^<>\s]+)>", text)
    return (found["term"], found["uri"]) if found else (text, "")


def _authority(uri: str) -> str:
    """Return the MODS authority code that a well-known URI stands for, or nothing."""
    for start, code in (
        ("http://id.loc.gov/authorities/subjects/", "lcsh"),
        ("http://id.loc.gov/authorities/names/", "naf"),
        ("http://id.loc.gov/vocabulary/graphicMaterials/", "lctgm"),
        ("http://vocab.getty.edu/aat/", "aat"),
        ("http://vocab.getty.edu/tgn/", "tgn"),
        ("http://id.worldcat.org/fast/", "fast"),
    ):
        if re.sub("^https:", "http:", uri).startswith(start):
            return code
    return ""


def _status(text: str) -> str:
    plain = " ".join(text.lower().replace("_", " ").split())
    return {"publicdomain": "public domain", "in copyright": "copyrighted"}.get(plain, plain)


def _whole_number(text: str) -> int | str | None:
    """Return the number, or the text itself for the schema to refuse."""
    return int(text) if re.fullmatch(r"\d{1,3}", text) else text or None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:10] if len(text) > 4 else f"{text}-01-01")
    except ValueError:
        return None
