"""One row of a catalogue extract made into a record, or the reasons why it cannot be."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from glassine import dates, files
from glassine.errors import Finding
from glassine.normal import nfc

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
        if any(finding.severity == "hold" for finding in findings):
            return None
        record = self.build(row, item, findings)
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

    def dated(self, row: Row, one: dict[str, str], findings: list[Finding]) -> dict[str, Any]:
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


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:10] if len(text) > 4 else f"{text}-01-01")
    except ValueError:
        return None
