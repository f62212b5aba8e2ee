"""Settings to write for a batch as it lies there: columns of its catalogue, a rule for its names.

Everything is derived from what is there and proposed to a person with the lines to write; whoever
calls tries the lines with intake itself and says how many masters go on with them. The catalogue
is read here with a lenient eye, to propose how it is to be read; what it says is never taken over.
"""

from __future__ import annotations

import csv
import io
import itertools
import json
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from glassine.base import door, settings
from glassine.intake import catalogue_place, name_rules
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue import json_stream

_MOST_BYTES = 64 * 2**20
_MOST_ROWS = 20_000
_MOST_COLUMNS = 500
# Names that are taken to find a rule; the rule is tried with all.
_MOST_NAMES = 1_000
# Share of the numbers in a column that differ from all others: some catalogues repeat rows.
_LEAST_DIFFERENT = 0.8
# Several files in one cell.
_LISTED = re.compile(r"[;|\n]")
_DELIMITERS = {",": ",", ";": ";", "\t": "tab"}
# Words of columns for what the fields hold (common practice, no source).
_WORDS: dict[str, tuple[str, ...]] = {
    "title": ("titel", "titre", "titulo", "titolo", "caption", "object_title", "bildtitel"),
    "date": (
        "creation_date", "date_created", "date_of_photograph", "date_taken", "datum", "datierung",
        "aufnahmedatum", "year", "jahr", "fecha", "dated",
    ),
    "creator": ("photographer", "fotograf", "photographe", "author", "maker", "artist"),
    "description": ("beschreibung", "descripcion", "content", "scope_and_content", "caption_text"),
    "subjects": ("keywords", "subject", "schlagworte", "tags"),
    "places": ("place", "location", "ort", "lieu", "lugar"),
    "collection": ("fonds", "bestand", "series", "coleccion"),
    "material": ("base", "support", "traeger", "base_material"),
    "rights_uri": ("rights_statement", "rights_statement_uri", "rightsstatement"),
    "copyright_status": ("copyright",),
    "rights_holder": ("copyright_holder", "rechteinhaber"),
    "credit": ("credit_line", "bildnachweis"),
}  # fmt: skip
_ID_WORDS = (
    "item", "item_number", "item_no", "accession_number", "accession_no", "accession",
    "object_number", "object_id", "inventory_number", "inventory_no", "inventarnummer", "inv_nr",
    "inventar_nr", "inv_no", "signatur", "shelf_mark", "reference", "reference_number", "ref_no",
    "identifier", "id", "number", "nr",
)  # fmt: skip


@dataclass(frozen=True)
class Table:
    """A catalogue as a table. encoding, delimiter: as the settings name them; of JSON `json`."""

    path: Path
    names: list[str]
    rows: list[list[str]]
    encoding: str
    delimiter: str

    def columns(self) -> dict[str, list[str]]:
        """Return the cells of each column that has a name."""
        return {
            name: [row[place].strip() for row in self.rows if place < len(row)]
            for place, name in enumerate(self.names)
            if name
        }


@dataclass
class Proposal:
    """Settings to write: nested as in config.yaml. words: what they are for, a line each; by_hand:
    what is to be done in the batch folder. hints: what is to be known where no settings help."""

    settings: dict[str, Any] = field(default_factory=dict)
    words: list[str] = field(default_factory=list)
    by_hand: list[str] = field(default_factory=list)
    hints: list[str] = field(default_factory=list)


def read_table(path: Path, root: Path | None) -> Table | None:
    """Return a CSV as a table, in the encoding and with the delimiter that fit it, or JSON by its
    keys; None where it is neither. root: as in `door.open_file`."""
    try:
        content = door.read_file(path, root, _MOST_BYTES)
    except OSError:
        return None
    text, encoding = _text(content)
    if text.lstrip()[:1] in ("[", "{"):
        return _json_table(path, text, encoding)
    csv.field_size_limit(_MOST_BYTES)
    first = text.splitlines()[0] if text.strip() else ""
    delimiter = max(_DELIMITERS, key=first.count)
    if not first.count(delimiter) or first.count(delimiter) > _MOST_COLUMNS:
        return None
    try:
        lines = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        rows = [row for row, _ in zip(lines, range(_MOST_ROWS + 1), strict=False)]
    except csv.Error:
        return None
    names = [name.strip() for name in rows[0]]
    return Table(path, names, rows[1:], encoding, _DELIMITERS[delimiter])


def _json_table(path: Path, text: str, encoding: str) -> Table | None:
    """Return the objects of an array, or one a line, as a table of their texts and numbers."""
    try:
        objects = list(itertools.islice(json_stream.entries(lambda: iter([text])), _MOST_ROWS))
    except (ValueError, RecursionError):
        lines = itertools.islice((line for line in text.splitlines() if line.strip()), _MOST_ROWS)
        try:
            objects = [json.loads(line) for line in lines]
        except (ValueError, RecursionError):
            return None
    rows = [each for each in objects if isinstance(each, dict)]
    names = list(dict.fromkeys(name for row in rows for name in row))[:_MOST_COLUMNS]
    cells = [[_cell(row.get(name)) for name in names] for row in rows]
    return Table(path, names, cells, encoding, "json") if rows else None


def _cell(value: Any) -> str:
    plain = isinstance(value, str | int | float) and not isinstance(value, bool)
    return str(value) if plain else ""


def _text(content: bytes) -> tuple[str, str]:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", "replace"), "auto"
    try:
        return content.decode("utf-8-sig"), "auto"
    except UnicodeDecodeError:
        return content.decode("cp1252", "replace"), "cp1252"


def propose(
    config: dict[str, Any], masters: Sequence[str], table: Table | None, ids: Sequence[str]
) -> Proposal:
    """Return the settings that fit the masters and the catalogue of a batch.

    config: the settings as they are; masters: paths in the batch; table: its catalogue, where that
    is one; ids: the item numbers of a catalogue that is none.
    """
    proposal = Proposal()
    columns = _unlike(table.columns()) if table else {"": list(ids)} if ids else {}
    listed = _masters_column(config["catalogue"]["columns"], table, masters) if table else None
    if listed and 2 * listed[0] >= len(masters):
        columns = {}  # the catalogue tells the items; a rule for names would tell others
    found, of_paths = (
        _name_rules(masters, columns, config) if columns or not listed else ([], False)
    )
    column = next((rule.column for rule in found if rule.column), None)
    if table:
        _propose_columns(proposal, config, table, column, listed[1] if listed else None)
    if found:
        _propose_names(proposal, config, found, of_paths)
    return proposal


# Words for parts in other languages and short forms, by what they mean here (common practice, no
# source).
_PART_MEANINGS = {
    "umschlag": "envelope", "kuvert": "envelope", "enveloppe": "envelope", "busta": "envelope",
    "sobre": "envelope", "env": "envelope", "huelle": "sleeve", "tasche": "sleeve",
    "pochette": "sleeve", "slv": "sleeve", "vorderseite": "recto", "vorne": "recto",
    "avant": "recto", "hinten": "verso", "dos": "verso", "retro": "verso", "schicht": "emulsion",
    "schichtseite": "emulsion", "traeger": "base", "abzug": "print", "tirage": "print",
    "gesamt": "object", "all": "object", "whole": "object",
}  # fmt: skip


def of_words(
    config: dict[str, Any], codes: Collection[str], parts_unknown: Sequence[str]
) -> Proposal:
    """Return the settings for separators that intake saw, and for words of parts that say nothing.

    codes: of findings; parts_unknown: words that stand for parts in names.
    """
    proposal = Proposal()
    naming: dict[str, Any] = {}
    identify = config["naming"]["identify"]
    if "intake.separator" in codes and "separator" not in identify:
        naming["identify"] = [*identify, "separator"]
        proposal.words.append(
            "Captures with a code stand before others without one: where each opens an item, the "
            "captures after it belong to that."
        )
    known = {word: _PART_MEANINGS.get(word.casefold()) for word in parts_unknown}
    meant = {word: meaning for word, meaning in known.items() if meaning}
    if meant:
        naming["parts"] = {**config["naming"]["parts"], **meant}
        proposal.words.append(f"Words for parts: {', '.join(meant)}.")
    if naming:
        proposal.settings["naming"] = naming
    return proposal


def takes(key: str) -> bool:
    """Return whether there is such a setting, as in `naming.same_number`."""
    described: dict[str, Any] = settings.schema()
    for name in key.split("."):
        if name not in described.get("properties", {}):
            return False
        described = described["properties"][name]
    return True


def _takes_several_patterns() -> bool:
    described = settings.schema()["properties"]["naming"]["properties"]["pattern"]
    return "array" in str(described.get("type", "")) or "anyOf" in described or "oneOf" in described


def _name_rules(
    masters: Sequence[str], columns: dict[str, list[str]], config: dict[str, Any]
) -> tuple[list[name_rules.Rule], bool]:
    """Return the rules for names alone, or for paths where these tell more, and which of both."""
    some = masters[:: max(1, len(masters) // _MOST_NAMES)]
    names = [path.rpartition("/")[2] for path in some]
    by_name = name_rules.rules(names, columns)
    if not takes("naming.pattern_of") or len(set(names)) == len(names):
        return by_name, False
    by_path = name_rules.rules(some, columns)
    told = [
        (sum(rule.fits for rule in each), sum(rule.items for rule in each))
        for each in (by_path, by_name)
    ]
    return (by_path, True) if told[0] > told[1] else (by_name, False)


# --- the catalogue -----------------------------------------------------------------------


def _propose_columns(
    proposal: Proposal,
    config: dict[str, Any],
    table: Table,
    id_column: str | None,
    masters_column: str | None,
) -> None:
    stated = config["catalogue"]
    lines: dict[str, Any] = {}
    if table.encoding != "auto" and stated["encoding"] != table.encoding:
        lines["encoding"] = table.encoding
        proposal.words.append(
            f"{table.path.name} is no UTF-8; its letters are right as Windows-1252."
        )
    columns = _columns(stated["columns"], table, id_column)
    if masters_column:
        columns["masters"] = masters_column
    if columns:
        lines["columns"] = {**_stated_columns(stated["columns"]), **columns}
        shown = ", ".join(f"{name} from {column!r}" for name, column in columns.items())
        proposal.words.append(f"Columns of {table.path.name}: {shown}.")
    if lines:
        proposal.settings["catalogue"] = lines


def _masters_column(
    stated: dict[str, Any], table: Table, masters: Sequence[str]
) -> tuple[int, str] | None:
    """Return how many files of the batch a column lists, and which one lists the most; None where
    none does, or one is stated already."""
    if stated.get("masters", "masters") in table.names:
        return None
    words: set[str] = set()
    for path in masters:
        words |= {path.casefold(), path.rpartition("/")[2].casefold()}
    best: tuple[int, str] | None = None
    for name, cells in table.columns().items():
        listed = [each for cell in cells for each in _LISTED.split(cell)]
        count = sum(each.strip().replace("\\", "/").casefold() in words for each in listed)
        if count and (best is None or count > best[0]):
            best = count, name
    return best


def _unlike(columns: dict[str, list[str]]) -> dict[str, list[str]]:
    """Return the columns that can hold numbers of items: hardly a cell stands there twice."""
    filled = {name: [cell for cell in cells if cell] for name, cells in columns.items()}
    return {
        name: cells
        for name, cells in filled.items()
        if len(set(cells)) >= _LEAST_DIFFERENT * len(cells)
    }


def _stated_columns(columns: dict[str, Any]) -> dict[str, Any]:
    """Return the columns that the settings state, without those that are the defaults."""
    return {name: column for name, column in columns.items() if column != name}


def _columns(stated: dict[str, Any], table: Table, id_column: str | None) -> dict[str, str]:
    """Return {field: column} of the fields that a column plainly holds and none is stated for."""
    plain = {catalogue_columns.plain(name): name for name in reversed(table.names) if name}
    found: dict[str, str] = {}
    now = stated.get("item_id", "item_id")
    if id_column is None and now not in table.names:
        id_column = next((plain[word] for word in _ID_WORDS if word in plain), None)
    if id_column and id_column != now:
        found["item_id"] = id_column
    for name, words in _WORDS.items():
        if name in table.names or stated.get(name, name) != name:
            continue
        column = next((plain[word] for word in (name, *words) if word in plain), None)
        if column is not None and column not in found.values():
            found[name] = column
    return found


# --- names -------------------------------------------------------------------------------


def _propose_names(
    proposal: Proposal, config: dict[str, Any], found: list[name_rules.Rule], of_paths: bool
) -> None:
    patterns = name_rules.joined(found)
    several = len(patterns) > 1 and _takes_several_patterns()
    lines: dict[str, Any] = {"pattern": patterns if several else patterns[0]}
    templates = {rule.item for rule in found}
    if of_paths:
        lines["pattern_of"] = "path"
        if len(templates) == 1 and None not in templates:
            lines["item"] = templates.pop()
    same_number = _together([rule.same_number for rule in found]).as_setting()
    if same_number and takes("naming.same_number"):
        lines["same_number"] = same_number
    elif same_number:
        proposal.hints.append(
            "The catalogue writes the numbers otherwise than the names do (marks, leading zeros or "
            "capitals): write them alike in one of both."
        )
    stated = config["naming"]
    lines = {key: value for key, value in lines.items() if not _in_force(stated, key, value)}
    if not lines:
        return
    proposal.settings["naming"] = lines
    column = next((rule.column for rule in found if rule.column), None)
    against = f", against the column {column!r} of the catalogue" if column else ""
    if "pattern" in lines:
        proposal.words.append(f"A rule for the file names{against}.")
    left = len(patterns) - 1
    if left and not several:
        proposal.words.append(f"Names of {left} further shapes have no place in one pattern.")


def _in_force(stated: dict[str, Any], key: str, value: Any) -> bool:
    """Return whether a setting says already what would be proposed."""
    now = stated.get(key)
    return {**now, **value} == now if isinstance(now, dict) else bool(now == value)


def _together(rules: list[name_rules.SameNumber]) -> name_rules.SameNumber:
    return name_rules.SameNumber(
        "".join(sorted({mark for rule in rules for mark in rule.marks})),
        any(rule.leading_zeros for rule in rules),
        any(rule.case for rule in rules),
    )


def table_of(
    folder: Path, configured: str | None, alike: Sequence[str], proposal_for: Proposal
) -> Table | None:
    """Return the catalogue of a batch as a table: the one that the night reads, else one file that
    may be meant for it, with what is to be done for it to be read."""
    path = catalogue_place.path_of(folder, configured)
    if path is not None:
        return read_table(path, catalogue_place.root(folder, configured))
    if configured:
        return None
    tables = [table for name in alike if (table := read_table(folder / name, folder))]
    if len(tables) == 1:
        ending = "json" if tables[0].delimiter == "json" else "csv"
        proposal_for.by_hand.append(f"Rename {tables[0].path.name} to catalogue.{ending}.")
        return tables[0]
    for name in alike:
        if name.lower().endswith((".xlsx", ".xls", ".xlsm", ".ods", ".numbers")):
            proposal_for.by_hand.append(f"Export {name} as CSV (UTF-8), named catalogue.csv.")
    return None
