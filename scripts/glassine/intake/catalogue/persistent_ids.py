"""Identifiers of a row, the persistent ones among them in the normal form of their kind."""

from __future__ import annotations

from glassine.base import persistent
from glassine.base.errors import Finding
from glassine.base.normal import nfc
from glassine.intake.catalogue import row_values
from glassine.intake.catalogue.extract import NOT_READ, Cell, Extract, Row, text_of

# The field of each kind.
FIELD_OF: dict[persistent.Scheme, str] = {
    "ark": "ark",
    "doi": "doi",
    "hdl": "handle",
    "urn": "urn",
}
# Types of identifiers that leave open which kind it is.
_ANY = {"local", "uri", "url", "", "persistent", "pid"}


def identifiers(extract: Extract, row: Row, findings: list[Finding]) -> list[dict[str, str]]:
    """Return the identifiers of a row, persistent ones first, each once.

    What is no identifier of the kind that its column, type or form names is kept beside the
    fields, and is for review: a wrong one in a record would lead to another thing.
    """
    found: list[dict[str, str]] = []
    others: list[dict[str, str]] = []
    for scheme, field in FIELD_OF.items():
        for column in extract.columns[field]:
            for part in extract.parts(row.cells.get(column), extract.separator(field)):
                text = nfc(text_of(part).strip())
                found += _read(extract, Cell(row.number, column, text), scheme, row, findings)
    for entry in row_values.identifiers(extract, row):
        kind = persistent.scheme_of(entry["type"])
        if kind is None and entry["type"].casefold() in _ANY:
            kind = persistent.stated_in(entry["value"])
        if kind is None:
            others.append(entry)
            continue
        cell = Cell(row.number, extract.first_column("identifiers"), entry["value"])
        found += _read(extract, cell, kind, row, findings)
    found = [entry for i, entry in enumerate(found) if entry not in found[:i]]
    _tell_several(extract, row, found, findings)
    return [*found, *others]


def _read(
    extract: Extract, cell: Cell, scheme: persistent.Scheme, row: Row, findings: list[Finding]
) -> list[dict[str, str]]:
    """Return the identifier that a cell, or a part of it, holds; none where it holds nothing."""
    text: str = cell.value
    if not text:
        return []
    try:
        value = persistent.read(scheme, text, extract.ark_checked).value
    except persistent.NotPersistent as problem:
        expected = f"{problem.expected} {problem.what}. The record goes without; it keeps the cell "
        findings.append(
            extract.finding("persistent", cell, f"{expected}beside its fields.", "review")
        )
        kept = f"{cell.column} {NOT_READ}"
        row.cells[kept] = " | ".join(filter(None, (str(row.cells.get(kept) or ""), text)))
        return []
    found = [{"type": str(scheme), "value": value}]
    if scheme == "ark" and text.casefold().startswith(("http:", "https:")):
        found.append({"type": "uri", "value": text})  # who resolves it, which its form leaves out
    return found


def _tell_several(
    extract: Extract, row: Row, found: list[dict[str, str]], findings: list[Finding]
) -> None:
    """Tell of two identifiers of one kind: which of them is meant, nobody has said."""
    for scheme, field in FIELD_OF.items():
        values = [entry["value"] for entry in found if entry["type"] == scheme]
        if len(values) < 2:
            continue
        cell = Cell(row.number, extract.first_column(field), " and ".join(values))
        findings.append(
            extract.finding(
                "persistent_several",
                cell,
                f"one {persistent.NAMES[scheme]} an item. The record has all; where one is needed "
                "(`records.objid`) the item is held.",
                "review",
            )
        )
