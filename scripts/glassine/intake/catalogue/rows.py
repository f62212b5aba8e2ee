"""One row of a catalogue extract made into a record, or the reasons why it cannot be."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from glassine.base import files, rights
from glassine.base.errors import Finding
from glassine.base.normal import nfc
from glassine.intake import date_words
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue import dates as catalogue_dates

# Longest cell, in characters; a longer one is a file that went wrong, not a description.
MAX_CELL = 20_000
# Frames that the divisions of an item count in one cell.
MAX_FRAMES = 10_000

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
    "languages",
    "genre",
    "physical",
    "material",
    "decay_level",
    "rights_uri",
    "copyright_status",
    "rights_holder",
    "rights_note",
    "credit",
    "identifiers",
    "collection",
    "masters",
    "structure",
)
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

# Fields of one text; JSON could give a list or an object there.
_ONE_TEXT = (
    "item_id", "title", "alternative", "description", "date", "date_edtf", "date_earliest",
    "date_latest", "genre", "physical", "material", "decay_level", "rights_uri",
    "copyright_status", "rights_holder", "rights_note", "credit", "collection",
)  # fmt: skip
_URI_EXPECTED = (
    "a URI of rightsstatements.org 1.0 (http://rightsstatements.org/vocab/InC/1.0/ and its "
    "like), or of a Creative Commons licence, CC0 or Public Domain Mark with its version "
    "(http://creativecommons.org/licenses/by/4.0/); free words belong into `rights_note`."
)

_RIGHTS_STEP = (
    "Name the column under `catalogue.columns` as rights_uri (a URI), copyright_status "
    "(copyrighted, public domain, unknown), rights_holder or rights_note (free words), or under "
    "`catalogue.ignored_columns`."
)
_RIGHTS_STEP_XML = (
    "State them in the export as MODS accessCondition with xlink:href, or as dc:rights; or name "
    "this path under `catalogue.ignored_columns`."
)

Cells = dict[str, Any]


@dataclass(frozen=True)
class Row:
    """Number as a spreadsheet shows it (the header is row 1), cells by column, a fault if any."""

    number: int
    cells: Cells
    fault: str = ""


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
_LOST = re.compile(r"(?<![:/=&?])(?:\w\?[\w,;]|(?:^|\s)\?\w)")


def _without_addresses(text: str) -> str:
    """Return the words of a text, each from its last "://" on: what precedes it is an address'."""
    return " ".join(word[max(0, word.rfind("://")) :] for word in text.split())


def _reads_doubly(text: str) -> bool:
    """Return whether the text looks like UTF-8 that was once read as Windows-1252."""
    if text.isascii() or not re.search("[\u00c2-\u00f4][\u0080-\u00bf\u0152-\u2122]", text):
        return False
    try:
        return text.encode("cp1252").decode("utf-8") != text
    except UnicodeError:
        return False


class RecordReader:
    """Turns rows into records by the configured columns."""

    def __init__(
        self,
        path: Path,
        settings: dict[str, Any],
        columns: dict[str, list[str]],
        narrow: bool,
    ) -> None:
        section = settings.get("catalogue", settings)
        self.narrow = narrow  # whether the encoding has room for few letters only
        self.names = {*columns["creator"], *columns["places"], *columns["subjects"]}
        self.path = path
        self.columns = columns
        self.separator: str = section.get("separator", "|")
        words = section.get("materials", {})
        self.materials = {word.casefold(): material for word, material in words.items()}
        self.rights: dict[str, Any] = settings.get("rights", {})
        self.mapped = {column for names in columns.values() for column in names}
        self.ignored = set(section.get("ignored_columns") or ())
        # Cells with a value in columns that no field takes, and the fields that have a column.
        self.unused: Counter[str] = Counter()
        self.read: set[str] = set()
        # Cells whose one value holds a semicolon, by column: several values, perhaps.
        self.joined: Counter[str] = Counter()

    def finding(
        self,
        code: str,
        row: int,
        column: str,
        value: Any,
        expected: str,
        severity: str = "hold",
        next_step: str = "Correct the cell in the catalogue and export again.",
    ) -> Finding:
        return Finding(
            f"catalogue.{code}",
            f"{self.path.name}, row {row}",
            f"Column {column!r} holds {_short(value)!r}.",
            expected,
            next_step,
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

    def item(self, row: Row) -> str:
        return self.one(row, "item_id").strip()

    def one(self, row: Row, name: str) -> str:
        """Return the field's text; several columns are joined by a blank."""
        cells = [row.cells.get(column) for column in self.columns[name]]
        texts = [str(cell) for cell in cells if cell is not None and cell != ""]
        return nfc(" ".join(texts))

    def many(self, row: Row, name: str) -> list[Any]:
        """Return the values of a field: cells split at the separator, JSON lists as they are."""
        values: list[Any] = []
        for column in self.columns[name]:
            cell = row.cells.get(column)
            if isinstance(cell, str):
                parts: list[Any] = list(cell.split(self.separator))
            else:
                parts = cell if isinstance(cell, list) else [cell]
            for part in parts:
                if isinstance(part, str):
                    values += [nfc(part.strip())]
                elif part is not None:
                    values.append(part if isinstance(part, dict) else str(part))
        return [value for value in values if value != ""]

    def record(self, row: Row, findings: list[Finding]) -> dict[str, Any] | None:
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
        self.check_one_value(row, findings)
        if any(finding.severity == "hold" for finding in findings):
            return None
        self.count_joined(row)
        record = self.build(row, item, findings)
        self.check_unread(row, record, findings)
        self.check_schema(row, record, findings)
        held = any(finding.severity == "hold" for finding in findings)
        return None if held else record

    def check_text(self, row: Row, findings: list[Finding]) -> None:
        for column, cell in row.cells.items():
            if _FORBIDDEN.search(column):
                findings.append(
                    self.finding(
                        "control",
                        row.number,
                        column,
                        cell,
                        "a column name without control characters.",
                    )
                )
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
            elif "\ufffd" in text or _reads_doubly(text) or self.lost(column, text):
                findings.append(self.damaged(row.number, column, text))

    def lost(self, column: str, text: str) -> bool:
        """Return whether question marks stand where an export found no letter of its own."""
        if not self.narrow or "?" not in text:
            return False
        return column in self.names or bool(_LOST.search(_without_addresses(text)))

    def damaged(self, row: int, column: str, text: str) -> Finding:
        """Return the finding on letters damaged before; those that are lost hold the item."""
        expected = "text whose letters were not damaged by a wrong encoding earlier."
        severity = "hold" if "\ufffd" in text else "review"
        return self.finding("letters", row, column, text, expected, severity)

    def build(self, row: Row, item: str, findings: list[Finding]) -> dict[str, Any]:
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
            "rights": self.stated_rights(row, one, findings),
            "collection": one["collection"],
            "masters": self.many(row, "masters"),
            "structure": self.structure(row, findings),
            "extra": {column: _text(cell) for column, cell in self.unread(row)},
        }

    def unread(self, row: Row) -> list[tuple[str, Any]]:
        """Return the cells with a value in columns that no field takes."""
        return [
            (column, cell)
            for column, cell in row.cells.items()
            if column not in self.mapped and _text(cell).strip()
        ]

    def count_joined(self, row: Row) -> None:
        for name in ("creator", "subjects", "places"):
            for column in self.columns[name]:
                cell = row.cells.get(column)
                values = cell if isinstance(cell, list) else [cell]
                texts = [
                    str(each.get("term") or each.get("name") or "")
                    if isinstance(each, dict)
                    else str(each or "")
                    for each in values
                ]
                if self.separator != ";" and any(";" in text for text in texts):
                    self.joined[column] += 1

    def check_one_value(self, row: Row, findings: list[Finding]) -> None:
        """Hold a row that gives a list, an object or true or false for a field of one text."""
        self.read |= {name for name in FIELDS if any(c in row.cells for c in self.columns[name])}
        for name in _ONE_TEXT:
            for column in self.columns[name]:
                cell = row.cells.get(column)
                if isinstance(cell, list) and len(cell) == 1 and isinstance(cell[0], str):
                    row.cells[column] = cell[0]
                elif isinstance(cell, list | dict | bool) and cell not in ([], {}):
                    shown = json.dumps(cell, ensure_ascii=False)
                    findings.append(self.finding("value", row.number, column, shown, "one text."))
                elif isinstance(cell, list | dict):
                    row.cells[column] = ""

    def check_unread(self, row: Row, record: dict[str, Any], findings: list[Finding]) -> None:
        """Count the columns that nobody reads; hold or mark the item where one must be read."""
        one = {name: self.one(row, name).strip() for name in ("rights_uri", "copyright_status")}
        dated = any(self.one(row, name).strip() for name in FIELDS if name.startswith("date"))
        words = catalogue_columns.held_back_words(self.one(row, "rights_note"))
        if words:
            findings.append(self.kept_back_by_note(row, words))
        for column, cell in self.unread(row):
            if column in self.ignored:
                continue
            self.unused[column] += 1
            if catalogue_columns.keeps_back(column, _text(cell)):
                findings.append(self.kept_back(row, column, cell))
            elif catalogue_columns.speaks_of_rights(column, cell) and not any(one.values()):
                findings.append(self.unread_rights(row, column, cell, record))
            elif catalogue_columns.held_back_words(_text(cell)):
                findings.append(self.kept_back(row, column, cell, "review"))
            elif catalogue_columns.speaks_of_a_date(column):
                findings += self.unread_date(row, column, cell, record if dated else None)

    def unread_date(
        self, row: Row, column: str, cell: Any, record: dict[str, Any] | None
    ) -> list[Finding]:
        """Return what is told of a date that nobody reads, where no other date is stated (record:
        None), or the record's is another."""
        if record is None:
            expected = "a date in a column that is read; the record has none."
        else:
            other = date_words.to_edtf(_text(cell))
            if not (other and record["edtf"] and catalogue_dates.apart(other, record["edtf"])):
                return []
            expected = (
                f"the date that the record has by the columns that are read, {record['edtf']}."
            )
        step = "Name the column under `catalogue.columns`, if it holds the photograph's date."
        code = "date_unread"
        return [self.finding(code, row.number, column, cell, expected, "review", step)]

    def kept_back(self, row: Row, column: str, cell: Any, severity: str = "hold") -> Finding:
        return self.finding(
            "restriction",
            row.number,
            column,
            _text(cell),
            "nothing that keeps the picture from the public in a column that nobody reads.",
            severity,
            next_step="Take the item out of the batch if it is closed. If it is not: clear the "
            "cell, or name the column under `catalogue.ignored_columns` where it says nothing "
            "of the kind.",
        )

    def kept_back_by_note(self, row: Row, words: str) -> Finding:
        return self.finding(
            "restriction_note",
            row.number,
            self.columns["rights_note"][0],
            words,
            "a note that does not speak against delivering the picture.",
            "review",
            "See whether the item may be delivered; take it out of the batch if not.",
        )

    def unread_rights(self, row: Row, column: str, cell: Any, record: dict[str, Any]) -> Finding:
        used = record["rights"]["uri"] or record["rights"]["status"]
        return self.finding(
            "rights_unread",
            row.number,
            column,
            _text(cell),
            f"rights in a column that is read; without it the record would say {used}.",
            next_step=_RIGHTS_STEP_XML if self.path.suffix.lower() == ".xml" else _RIGHTS_STEP,
        )

    def stated_rights(
        self, row: Row, one: dict[str, str], findings: list[Finding]
    ) -> dict[str, str]:
        """Return the rights of a row; what it leaves open comes from the settings."""
        uri, status = one["rights_uri"], _status(one["copyright_status"])
        stated = {
            "uri": uri,
            "status": status,
            "holder": one["rights_holder"],
            "note": one["rights_note"],
            "credit": one["credit"],
        }
        if uri and rights.statement(uri) is None:
            column = self.columns["rights_uri"][0]
            findings.append(self.finding("rights_uri", row.number, column, uri, _URI_EXPECTED))
            return {**stated, "uri": "", "status": rights.UNKNOWN}
        if status and status not in rights.STATUSES:
            return stated  # the schema refuses it by name
        severity = rights.contradiction(uri, status)
        if severity:
            findings.append(self.contradiction(row, uri, status, severity))
        found = rights.resolved(stated, self.rights)
        words = catalogue_columns.rights_in_words(one["rights_note"])
        if words and not uri and not status:
            column = self.columns["rights_note"][0]
            expected = (
                f"a rights_uri or copyright_status beside a note that states rights ({words!r}); "
                f"the record says {found.name or found.status!r} and keeps the note."
            )
            note = one["rights_note"]
            findings.append(
                self.finding("rights_in_words", row.number, column, note, expected, "review")
            )
        against = catalogue_columns.note_contradicts(one["rights_note"], found.status)
        if against:
            column = self.columns["rights_note"][0]
            expected = f"a note that agrees with {found.name or found.status!r}."
            findings.append(
                self.finding("rights_contradict", row.number, column, against, expected, "review")
            )
        if one["rights_holder"] and found.marked is False and not found.grants:
            column = self.columns["rights_holder"][0]
            expected = "no rights holder of what is in the public domain."
            findings.append(
                self.finding(
                    "rights_holder", row.number, column, one["rights_holder"], expected, "review"
                )
            )
        return found.as_row()

    def contradiction(self, row: Row, uri: str, status: str, severity: str) -> Finding:
        known = rights.statement(uri)
        assert known is not None  # for the type checker: `rights.contradiction` looked
        went_on = "" if severity == "hold" else " The records follow the URI."
        return Finding(
            "catalogue.rights_contradict",
            f"{self.path.name}, row {row.number}",
            f"Column {self.columns['copyright_status'][0]!r} says {status!r}, but {uri} says "
            f"{known.name!r} ({known.status}).{went_on}",
            "a status and a URI that say the same, or the URI alone.",
            "Correct the one that is wrong in the catalogue and export again.",
            severity,
        )

    def dated(self, row: Row, one: dict[str, str], findings: list[Finding]) -> dict[str, Any]:
        stated = catalogue_dates.Stated(
            *(one[name] for name in ("date", "date_edtf", "date_earliest", "date_latest"))
        )
        found = catalogue_dates.dated(stated)
        for problem in found.problems:
            columns = [self.columns[name][0] for name in problem.fields]
            findings.append(
                Finding(
                    f"catalogue.{problem.code}",
                    f"{self.path.name}, row {row.number}",
                    f"Column {' and '.join(repr(column) for column in columns)} "
                    f"{'holds' if len(columns) == 1 else 'hold'} "
                    f"{' and '.join(repr(_short(one[name])) for name in problem.fields)}.",
                    problem.expected,
                    "Correct the cell in the catalogue and export again.",
                    problem.severity,
                )
            )
        return {
            "date_text": one["date"],
            "edtf": found.edtf,
            "date_understood": found.understood,
        }

    def creators(self, row: Row, findings: list[Finding]) -> list[dict[str, str]]:
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
        self, row: Row, name: str, uri_name: str, key: str, findings: list[Finding]
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
        self, row: Row, name: str, other: str, count: int, findings: list[Finding]
    ) -> list[str]:
        """Return one value of `other` for each of `name`: none, one for all, or as many."""
        values: list[str] = []
        for column in self.columns[other]:
            cell = row.cells.get(column)
            if isinstance(cell, list):
                values += [str(piece or "").strip() for piece in cell]
            elif cell not in (None, ""):
                values += [piece.strip() for piece in str(cell).split(self.separator)]
        text = self.separator.join(values)
        if not "".join(values) or not count:
            return [""] * count
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

    def identifiers(self, row: Row) -> list[dict[str, str]]:
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
                text = nfc(str(piece).strip())
                kind = re.match(r"([A-Za-z][A-Za-z0-9 ._-]{0,30}):\s*(?!//)(?=\S)", text)
                if not text:
                    continue
                if kind and not several:
                    found.append({"type": kind[1], "value": text[kind.end() :]})
                else:
                    found.append({"type": column if several else "local", "value": text})
        return found

    def material(self, text: str) -> str:
        return self.materials.get(text.casefold(), text.lower()) or "unknown"

    def structure(self, row: Row, findings: list[Finding]) -> list[Any]:
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

    def check_schema(self, row: Row, record: dict[str, Any], findings: list[Finding]) -> None:
        for part, value in record.items():
            if part == "extra":
                continue  # whatever the catalogue says there
            text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
            for where, shown, expected in _faults(part, text, isinstance(value, str)):
                name = _COLUMN_OF.get(where, where.split(".")[0])
                column = (self.columns.get(name) or [name])[0]
                findings.append(self.finding("value", row.number, column, shown, expected))


@cache
def _validators() -> dict[str, Any]:
    """Return the JSON Schema of a record, ready for each of its parts."""
    import jsonschema

    parts = files.read_schema("catalogue")["properties"]
    return {name: jsonschema.Draft202012Validator(part) for name, part in parts.items()}


@lru_cache(maxsize=4096)
def _faults(part: str, text: str, is_text: bool) -> tuple[tuple[str, str, str], ...]:
    """Return (place, value, what would do) of each fault of one part of a record.

    Part by part and remembered, since rows repeat each other: a whole record takes the
    validator a millisecond.
    """
    value = text if is_text else json.loads(text)
    found = []
    for error in _validators()[part].iter_errors(value):
        names = [part, *(str(step) for step in error.absolute_path if isinstance(step, str))]
        described = error.schema.get("description") if isinstance(error.schema, dict) else None
        expected = f"{described or error.message[:200]}."
        found.append((".".join(names), str(error.instance), expected))
    return tuple(found)


def _frames(figures: str) -> list[int] | None:
    found: list[int] = []
    for piece in figures.split(","):
        match = re.fullmatch(r"(\d{1,4})(?:\s*[-–]\s*(\d{1,4}))?", piece.strip())
        if not match or len(found) > MAX_FRAMES:
            return None
        found.extend(range(int(match[1]), int(match[2] or match[1]) + 1))
    return found or None


_URI = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:[^<>\s]+>")


def _term_and_uri(text: str) -> tuple[str, str]:
    """Return "Harbours" and the URI of "Harbours <http://id.loc.gov/...>"."""
    term, opened, uri = text.rpartition("<")
    if not opened or not _URI.fullmatch(uri) or "\n" in term.rstrip():
        return text, ""
    return term.rstrip(), uri[:-1]


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
    plain = " ".join(re.sub("[_-]", " ", text.lower()).split())
    return {"publicdomain": "public domain", "in copyright": "copyrighted"}.get(plain, plain)


def _whole_number(text: str) -> int | str | None:
    """Return the number, or the text itself for the schema to refuse."""
    return int(text) if re.fullmatch(r"\d{1,3}", text) else text or None


def _text(cell: Any) -> str:
    """Return a cell as text: lists and objects as JSON, nothing for null and what is empty."""
    if cell is None or cell == [] or cell == {}:
        return ""
    return cell if isinstance(cell, str) else json.dumps(cell, ensure_ascii=False)


def _short(value: Any) -> str:
    shown = " ".join(_text(value).split())
    return shown if len(shown) <= 80 else shown[:77] + "..."
