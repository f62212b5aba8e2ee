"""The cells of a row as they stand: characters that no record can carry, letters that were damaged
before, more than one value where a field is one text."""

from __future__ import annotations

import json
import re

from glassine.base.errors import Finding
from glassine.intake.catalogue.extract import MAX_CELL, MAX_KEPT, Cell, Extract, Row, set_aside

# Fields of one text; JSON could give a list or an object there.
_ONE_TEXT = (
    "item_id", "title", "alternative", "description", "date", "date_edtf", "date_earliest",
    "date_latest", "genre", "physical", "dimensions", "extent", "material", "decay_level",
    "rights_uri", "copyright_status", "rights_holder", "rights_note", "rights_access",
    "rights_embargo", "credit", "collection",
)  # fmt: skip
_NEEDED = (
    "item_id", "title", "material", "decay_level", "rights_uri", "copyright_status", "rights_note",
    "rights_access", "rights_embargo",
)  # fmt: skip
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


def check_text(extract: Extract, row: Row, findings: list[Finding]) -> None:
    """Hold a row with text that no record can carry; say of letters that look damaged. Letters
    that were read wrongly long ago are put right in the row's cells."""
    for column, value in list(row.cells.items()):
        if _FORBIDDEN.search(column):
            findings.append(
                extract.finding(
                    "control",
                    Cell(row.number, column, value),
                    "a column name without control characters.",
                )
            )
        if not value:
            continue
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
        if isinstance(value, str) and text.translate(_LETTERS_OF_C1) != text:
            text = row.cells[column] = text.translate(_LETTERS_OF_C1)
            findings.append(_damaged(extract, Cell(row.number, column, text)))
        finding = _bad_text(extract, Cell(row.number, column, text))
        if finding is not None:
            findings.append(finding)
            if finding.code == "catalogue.length" and finding.severity == "review":
                set_aside(row, column)


def _bad_text(extract: Extract, cell: Cell) -> Finding | None:
    """Return what is wrong with the text of a cell, or None."""
    text: str = cell.value
    bad = _FORBIDDEN.search(text)
    if bad:
        return extract.finding(
            "control",
            cell._replace(value=text.encode("unicode_escape").decode("ascii")),
            f"text without control characters (U+{ord(bad[0]):04X}).",
        )
    if len(text) > MAX_CELL:
        return _too_long(extract, cell)
    if "\ufffd" in text or _reads_doubly(text) or _has_lost_letters(extract, cell.column, text):
        return _damaged(extract, cell)
    return None


def _too_long(extract: Extract, cell: Cell) -> Finding | None:
    """Return what is told of a long cell: without its number there is no item; a cell that no
    field takes may be long."""
    length = len(cell.value)
    if cell.column not in extract.mapped and length <= MAX_KEPT:
        return None
    needed = cell.column in (*extract.columns["item_id"], *extract.columns["masters"])
    expected = f"at most {MAX_CELL} characters (it has {length})."
    if needed or length > MAX_KEPT:
        return extract.finding("length", cell, expected)
    expected += " The record goes without; it keeps the cell beside its fields."
    return extract.finding("length", cell, expected, "review")


def _has_lost_letters(extract: Extract, column: str, text: str) -> bool:
    """Return whether question marks stand where an export found no letter of its own."""
    if not extract.narrow or "?" not in text:
        return False
    return column in extract.of_names or bool(_LOST.search(_without_addresses(text)))


def _damaged(extract: Extract, cell: Cell) -> Finding:
    """Return the finding on letters damaged before; those that are lost hold the item."""
    expected = "text whose letters were not damaged by a wrong encoding earlier."
    severity = "hold" if "\ufffd" in cell.value else "review"
    return extract.finding("letters", cell, expected, severity)


def check_one_value(extract: Extract, row: Row, findings: list[Finding]) -> None:
    """Tell of a list, an object or true or false for a field of one text; hold a row that gives
    one for its number or material."""
    for column in (column for name in _ONE_TEXT for column in extract.columns[name]):
        value = row.cells.get(column)
        if not isinstance(value, list | dict | bool):
            continue
        if value in ([], {}):
            row.cells[column] = ""
        elif isinstance(value, list) and len(value) == 1 and isinstance(value[0], str):
            row.cells[column] = value[0]
        else:
            text = json.dumps(value, ensure_ascii=False)
            cell = Cell(row.number, column, text)
            needed = any(column in extract.columns[name] for name in _NEEDED)
            findings.append(extract.wrong_value(cell, "one text.", "hold" if needed else "review"))
            if not needed:
                set_aside(row, column)
