"""Columns that no field takes and whose cells say, item by item, who may see the picture.

A column is known by its name (`columns`; names in further languages here) or, where its name says
nothing that is known, by what it holds: where one row says `frei` and the next `nach Rücksprache`,
the second is not open, whatever that means. A name that may say something else counts where a cell
speaks of leave or of keeping back. All words are common ones of catalogues (common practice, no
source; value from memory).
"""

from __future__ import annotations

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
# What is seen only by someone's leave, within a cell.
_BY_LEAVE = (
    "auf anfrage", "auf antrag", "nach absprache", "nach rücksprache", "nach vereinbarung",
    "genehmigung", "zustimmung", "sur demande", "sur rendez-vous", "sur autorisation",
    "op aanvraag", "op verzoek", "na overleg", "toestemming", "su richiesta", "autorizzazione",
    "bajo petición", "previa", "autorización", "mediante solicitud", "mediante pedido",
    "sob consulta", "autorização", "på begäran", "efter överenskommelse", "tillstånd",
    "efter aftale", "tilladelse", "etter avtale", "tillatelse", "pyynnöstä", "luvalla",
    "na życzenie", "za zgodą", "on request", "by appointment", "by arrangement",
)  # fmt: skip
# Names of columns that say who may see an item, and of those that may say it: `Zugang` is how an
# item came to the archive as well.
_NAMES = {
    "zugänglichkeit", "zugangsstatus", "zugangsbedingungen", "zugangsbeschränkung",
    "zugangsbeschränkungen", "benutzbarkeit", "benutzungsbedingungen", "benutzungsbeschränkung",
    "accessibilité", "conditions_d_accès", "openbaarheid", "toegankelijkheid", "accessibilità",
    "condizioni_di_accesso", "accesibilidad", "condiciones_de_acceso", "acessibilidade",
    "condições_de_acesso", "tillgänglighet", "tilgængelighed", "tilgjengelighet", "saatavuus",
    "dostępność", "warunki_dostępu",
}  # fmt: skip
_NAMES_OR_ELSE = {
    "zugang", "nutzung", "benutzung", "consultation", "accès", "toegang", "raadpleging", "accesso",
    "consultazione", "acceso", "consulta", "acesso", "tillgång", "adgang", "tilgang", "käyttö",
    "dostęp", "udostępnianie",
}  # fmt: skip
# What keeps something back counts for its column in cells of so many letters: a longer one is a
# text on all sorts of things.
_LONGEST_SHUT = 80
# A column of more different words than this holds something else than who may see an item.
_MOST_WORDS = 50


@dataclass
class _Column:
    """What the name and the cells of a column say. words: those that are not open."""

    name: str
    open: bool = False
    open_or_else: bool = False
    shut: bool = False
    words: set[str] = field(default_factory=set)

    def says_access(self) -> bool:
        if self.name in _NAMES:
            return True
        several = len(self.words) <= _MOST_WORDS
        may_say_it = self.open_or_else or self.name in _NAMES_OR_ELSE
        return several and (self.open or (may_say_it and self.shut))


class AccessColumns:
    """Cells of columns that no field takes, as the rows come."""

    def __init__(self) -> None:
        self._columns: dict[str, _Column] = {}

    def see(self, cell: Cell) -> None:
        column = self._columns.get(cell.column)
        if column is None:
            name = catalogue_columns.plain(cell.column)
            column = self._columns[cell.column] = _Column(name)
        word = _word(text_of(cell.value))
        if word in catalogue_columns.NOTHING:
            return
        is_open = _is_open(word)
        column.open |= is_open and word not in _OPEN_OR_ELSE
        column.open_or_else |= word in _OPEN_OR_ELSE
        if not is_open and len(column.words) <= _MOST_WORDS:
            column.words.add(word)
            column.shut |= len(word) <= _LONGEST_SHUT and _shuts(word)

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


def _shuts(word: str) -> bool:
    by_leave = any(phrase in word for phrase in _BY_LEAVE)
    return by_leave or word in _SHUT or bool(catalogue_columns.held_back_words(word))


def _finding(extract: Extract, cell: Cell) -> Finding:
    return extract.finding(
        "access_in_words",
        cell,
        "a word that plainly leaves the picture open, in a column on who may see it. No "
        "picture of the item is made public until the row says in a column that is read who may "
        "see it.",
        "review",
        "Name the column under `catalogue.columns` as rights_access, and its words under "
        "`access.words`; where it says nothing of who may see an item, name it under "
        "`catalogue.ignored_columns`.",
    )
