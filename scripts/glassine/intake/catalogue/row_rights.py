"""The rights that a row states, and where what it says of them does not agree."""

from __future__ import annotations

import re

from glassine.base import rights
from glassine.base.errors import Finding
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue.extract import Cell, Extract, Row, set_aside

_URI_EXPECTED = (
    "a URI of rightsstatements.org 1.0 (http://rightsstatements.org/vocab/InC/1.0/ and its "
    "like), or of a Creative Commons licence, CC0 or Public Domain Mark with its version "
    "(http://creativecommons.org/licenses/by/4.0/); free words belong into `rights_note`."
)


def stated_rights(
    extract: Extract, row: Row, one: dict[str, str], findings: list[Finding]
) -> dict[str, str]:
    """Return the rights of a row; what it leaves open comes from the settings.

    one: {field: its text}.
    """
    uri, status = one["rights_uri"], _status(one["copyright_status"])
    stated = {
        "uri": uri,
        "status": status,
        "holder": one["rights_holder"],
        "note": one["rights_note"],
        "credit": one["credit"],
    }
    if uri and rights.statement(uri) is None:
        cell = Cell(row.number, extract.first_column("rights_uri"), uri)
        if " | " in uri:  # statements that differ: one of them is wrong
            findings.append(extract.finding("rights_uri", cell, _URI_EXPECTED))
            return {**stated, "uri": "", "status": rights.UNKNOWN}
        if not catalogue_columns.names_terms(uri):
            findings.append(extract.finding("rights_uri", cell, _URI_EXPECTED))
            return {**stated, "uri": "", "status": rights.UNKNOWN}
        expected = f"{_URI_EXPECTED} The record says {rights.UNKNOWN!r}; it keeps the cell beside."
        findings.append(extract.finding("rights_uri", cell, expected, "review"))
        set_aside(row, extract.first_column("rights_uri"))
        return {**stated, "uri": "", "status": rights.UNKNOWN}
    if status and status not in rights.STATUSES:
        return stated  # the schema refuses it by name
    severity = rights.contradiction(uri, status)
    if severity:
        findings.append(_contradiction(extract, row, uri, status, severity))
    resolved = rights.resolved(stated, extract.rights)
    findings += _against_the_words(extract, row, stated, resolved)
    return resolved.as_row()


def _against_the_words(
    extract: Extract, row: Row, stated: dict[str, str], resolved: rights.Rights
) -> list[Finding]:
    """Return where the note, or the holder, does not agree with the rights of the record."""
    findings = []
    name, note = resolved.name or resolved.status, stated["note"]

    def ask(code: str, field: str, value: str, expected: str) -> None:
        cell = Cell(row.number, extract.first_column(field), value)
        findings.append(extract.finding(code, cell, expected, "review"))

    words = catalogue_columns.rights_in_words(note)
    if words and not stated["uri"] and not stated["status"]:
        expected = (
            f"a rights_uri or copyright_status beside a note that states rights ({words!r}); "
            f"the record says {name!r} and keeps the note."
        )
        ask("rights_in_words", "rights_note", note, expected)
    against = catalogue_columns.note_contradicts(note, resolved.status)
    if against:
        ask("rights_contradict", "rights_note", against, f"a note that agrees with {name!r}.")
    if stated["holder"] and resolved.marked is False and not resolved.grants:
        expected = "no rights holder of what is in the public domain."
        ask("rights_holder", "rights_holder", stated["holder"], expected)
    return findings


def _contradiction(extract: Extract, row: Row, uri: str, status: str, severity: str) -> Finding:
    statement = rights.statement(uri)
    assert statement is not None  # for the type checker: `rights.contradiction` looked
    went_on = "" if severity == "hold" else " The records follow the URI."
    return Finding(
        "catalogue.rights_contradict",
        f"{extract.path.name}, row {row.number}",
        f"Column {extract.first_column('copyright_status')!r} says {status!r}, but {uri} says "
        f"{statement.name!r} ({statement.status}).{went_on}",
        "a status and a URI that say the same, or the URI alone.",
        "Correct the one that is wrong in the catalogue and export again.",
        severity,
    )


def _status(text: str) -> str:
    plain = " ".join(re.sub("[_-]", " ", text.lower()).split())
    return {"publicdomain": "public domain", "in copyright": "copyrighted"}.get(plain, plain)
