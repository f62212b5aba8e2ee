"""Columns that no field takes and whose cells say, item by item, who may see the picture.

A column is known by its name (`columns`) or, where its name says nothing that is known, by what it
holds: where one row says `frei` and the next `nach Rücksprache`, the second is not open, whatever
that means. The words are common ones of catalogues (common practice, no source).
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

from msgspec import UNSET, structs

from glassine.base.errors import Finding
from glassine.base.records.catalogue import CatalogueRow, RowAccess
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue.extract import Cell, Extract, short, text_of

# What says by itself that anybody may see an item.
_OPEN = {
    "public", "unrestricted", "free", "freely available", "open access", "open to the public",
    "no restriction", "no restrictions", "not restricted", "without restriction",
    "frei", "frei zugänglich", "öffentlich", "uneingeschränkt", "ohne einschränkung",
    "libre", "accès libre", "librement communicable", "vrij", "vrij toegankelijk", "openbaar",
    "libero", "pubblico", "liberamente consultabile", "público", "acceso libre", "acesso livre",
    "livre", "fri", "offentlig", "offentlig tillgänglig", "avoin", "julkinen", "publiczny",
}  # fmt: skip
# What may be said of much else, and speaks of access where other rows of its column do.
_OPEN_OR_ELSE = {
    "open", "available", "offen", "ouvert", "accessible", "abierto", "aperto", "aberto", "öppen",
    "åpen", "åben", "otwarty", "yes", "y", "true", "1", "ja", "oui", "si", "sí", "sim",
}  # fmt: skip
_SHUT = {
    "closed", "restricted", "withheld", "embargoed", "confidential", "gesperrt", "vertraulich",
    "geschlossen", "fermé", "confidentiel", "gesloten", "beperkt", "vertrouwelijk", "chiuso",
    "riservato", "cerrado", "reservado", "restringido", "hemlig", "stängd", "lukket", "zastrzeżony",
    "reading room", "lesesaal", "salle de lecture", "leeszaal",
}  # fmt: skip
# What keeps something back counts for its column in cells of so many letters: a longer one is a
# text on all sorts of things.
_LONGEST_SHUT = 80
# A column of more different words than this holds something else than who may see an item.
_MOST_WORDS = 50


@dataclass
class _Column:
    """What the cells of a column say. words: those that are not open."""

    open: bool = False
    open_or_else: bool = False
    shut: bool = False
    words: set[str] = field(default_factory=set)

    def says_access(self) -> bool:
        several = len(self.words) <= _MOST_WORDS
        return several and (self.open or (self.open_or_else and self.shut))


class AccessColumns:
    """Cells of columns that no field takes, as the rows come."""

    def __init__(self) -> None:
        self._columns: dict[str, _Column] = defaultdict(_Column)

    def see(self, cell: Cell) -> None:
        column, word = self._columns[cell.column], _word(text_of(cell.value))
        if word in catalogue_columns.NOTHING:
            return
        is_open = _is_open(word)
        column.open |= is_open and word not in _OPEN_OR_ELSE
        column.open_or_else |= word in _OPEN_OR_ELSE
        if not is_open and len(column.words) <= _MOST_WORDS:
            column.words.add(word)
            spoken = word in _SHUT or bool(catalogue_columns.held_back_words(word))
            column.shut |= spoken and len(word) <= _LONGEST_SHUT

    def judged(self, record: CatalogueRow, extract: Extract) -> tuple[CatalogueRow, list[Finding]]:
        """Return the record of a row, closed where a column of access says of it what is not open,
        and what is told of that."""
        access = RowAccess() if record.access is UNSET else record.access
        cells = [] if access.level else self._not_open(record)
        if not cells:
            return record, []
        doubt = "; ".join([access.doubt] * bool(access.doubt) + [str(c.value) for c in cells])
        closed = structs.replace(access, doubt=short(doubt))
        findings = [_finding(extract, cell) for cell in cells]
        return structs.replace(record, access=closed), findings

    def _not_open(self, record: CatalogueRow) -> list[Cell]:
        return [
            Cell(record.row, name, text)
            for name, text in record.extra.items()
            if name in self._columns
            and self._columns[name].says_access()
            and not _is_open(_word(text))
            and not catalogue_columns.held_back_words(text)  # told by itself
        ]


def _word(text: str) -> str:
    return " ".join(text.casefold().split()).rstrip(".!")


def _is_open(word: str) -> bool:
    known = word in _OPEN or word in _OPEN_OR_ELSE or word in catalogue_columns.NOTHING
    return known or (len(word) <= 500 and catalogue_columns.leaves_open(word))


def _finding(extract: Extract, cell: Cell) -> Finding:
    return extract.finding(
        "access_in_words",
        cell,
        "a word that plainly leaves the picture open, as other rows of this column have it. No "
        "picture of the item is made public until the row says in a column that is read who may "
        "see it.",
        "review",
        "Name the column under `catalogue.columns` as rights_access, and its words under "
        "`access.words`; where it says nothing of who may see an item, name it under "
        "`catalogue.ignored_columns`.",
    )
