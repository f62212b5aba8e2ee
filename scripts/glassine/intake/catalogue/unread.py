"""What a row says in columns that no field takes: it is counted, and holds or marks the item where
somebody must read it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from glassine.base.errors import Finding
from glassine.intake import date_words
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue import dates as catalogue_dates
from glassine.intake.catalogue.access_columns import AccessColumns
from glassine.intake.catalogue.extract import FIELDS, NOT_READ, Cell, Extract, Row, text_of

# How the name of a cell ends that a level above its record says.
ABOVE = "(of a level above)"
_RIGHTS_STEP = (
    "Name the column under `catalogue.columns` as rights_uri (a URI), copyright_status "
    "(copyrighted, public domain, unknown), rights_holder or rights_note (free words), or under "
    "`catalogue.ignored_columns`."
)
_RIGHTS_STEP_XML = (
    "State them in the export as MODS accessCondition with xlink:href, or as dc:rights; or name "
    "this path under `catalogue.ignored_columns`."
)


@dataclass(frozen=True)
class ReadValues:
    """What a row's record says by the columns that are read: the date as EDTF, URI or status of the
    rights."""

    edtf: str | None
    rights: str


def unread_cells(extract: Extract, row: Row) -> list[Cell]:
    """Return the cells with a value in columns that no field takes."""
    return [
        Cell(row.number, column, value)
        for column, value in row.cells.items()
        if column not in extract.mapped and text_of(value).strip()
    ]


def check(
    extract: Extract,
    row: Row,
    read_values: ReadValues,
    counted: Counter[str],
    access_columns: AccessColumns,
    findings: list[Finding],
) -> list[str]:
    """Count the columns that nobody reads; hold or mark the item where one must be read.

    Return the words of the row that may keep the item from the public, and hold it not.
    """
    doubts = []
    for field in ("rights_note", "rights_holder", "credit"):
        words = catalogue_columns.held_back_words(extract.one(row, field))
        if words:
            findings.append(_kept_back_by_note(extract, row, field, words))
            doubts.append(words)
    for cell in unread_cells(extract, row):
        if cell.column not in extract.ignored:
            counted[cell.column] += 1
            access_columns.see(cell)
            told = _findings_of(extract, row, cell, read_values)
            findings += told
            if any(each.code == "catalogue.restriction" for each in told):
                words = catalogue_columns.held_back_words(text_of(cell.value))
                doubts += [words] if words else []
    return doubts


def _findings_of(extract: Extract, row: Row, cell: Cell, read_values: ReadValues) -> list[Finding]:
    """Return what is told of a cell that nobody reads."""
    text = text_of(cell.value)
    states = (extract.one(row, name).strip() for name in ("rights_uri", "copyright_status"))
    if cell.column.endswith(NOT_READ):  # it was told where its field could not take it
        words = catalogue_columns.held_back_words(text)
        return [_kept_back(extract, cell, "review")] if words else []
    if catalogue_columns.keeps_back(cell.column, text):
        # What is said of a whole collection need not mean this item.
        wide = cell.column.endswith(ABOVE) and not catalogue_columns.closes(text)
        return [_kept_back(extract, cell, "review" if wide else "hold")]
    if catalogue_columns.speaks_of_rights(cell.column, cell.value) and not any(states):
        return [_unread_rights(extract, cell, read_values)]
    if catalogue_columns.held_back_words(text):
        return [_kept_back(extract, cell, "review")]
    if catalogue_columns.may_qualify_a_date(cell.column) and _qualifies(text, extract):
        return [_unread_qualifier(extract, cell, read_values)]
    if catalogue_columns.speaks_of_a_date(cell.column):
        return _unread_date(extract, row, cell, read_values)
    return []


def _qualifies(text: str, extract: Extract) -> bool:
    """Return whether a text is a word such as "vor" or "circa", which changes a year beside it."""
    words = " ".join(text.split())
    if not words or len(words) > 40 or any(char.isdigit() for char in words):
        return False
    return date_words.read(f"{words} 1905", extract.dates) not in (None, "1905")


def _unread_qualifier(extract: Extract, cell: Cell, read_values: ReadValues) -> Finding:
    return extract.finding(
        "date_qualifier",
        cell,
        "a word that belongs to the date in a column that is read with it; the record has "
        f"{read_values.edtf or 'no date'}.",
        "review",
        "Read both columns: `catalogue.columns.date` takes a list, the word's column first.",
    )


def _unread_date(extract: Extract, row: Row, cell: Cell, read_values: ReadValues) -> list[Finding]:
    """Return what is told of a date that nobody reads, where no other date is stated, or the
    record's is another."""
    if not any(extract.one(row, name).strip() for name in FIELDS if name.startswith("date")):
        expected = "a date in a column that is read; the record has none."
    else:
        other = date_words.to_edtf(text_of(cell.value), reading=extract.dates)
        if not (other and read_values.edtf and catalogue_dates.apart(other, read_values.edtf)):
            return []
        expected = f"the date that the record has by the columns that are read, {read_values.edtf}."
    step = "Name the column under `catalogue.columns`, if it holds the photograph's date."
    return [extract.finding("date_unread", cell, expected, "review", step)]


def _kept_back(extract: Extract, cell: Cell, severity: str = "hold") -> Finding:
    return extract.finding(
        "restriction",
        cell,
        "nothing that keeps the picture from the public in a column that nobody reads.",
        severity,
        next_step="Name the column under `catalogue.columns` as rights_access (who may see it) "
        "or rights_embargo (until when it is closed); the item then goes on without public "
        "pictures. Where the column says nothing of the kind, name it under "
        "`catalogue.ignored_columns`.",
    )


def _kept_back_by_note(extract: Extract, row: Row, field: str, words: str) -> Finding:
    return extract.finding(
        "restriction_note",
        Cell(row.number, extract.first_column(field), words),
        "a note that does not speak against showing the picture. No picture of it is made "
        "public until the row says in `rights_access` who may see it.",
        "review",
        "State `rights_access` (open, reading_room, no_publication or closed) or "
        "`rights_embargo` (its last day); take the item out of the batch if it may not be "
        "delivered at all.",
    )


def _unread_rights(extract: Extract, cell: Cell, read_values: ReadValues) -> Finding:
    return extract.finding(
        "rights_unread",
        cell,
        f"rights in a column that is read; without it the record would say {read_values.rights}.",
        next_step=_RIGHTS_STEP_XML if extract.path.suffix.lower() == ".xml" else _RIGHTS_STEP,
    )
