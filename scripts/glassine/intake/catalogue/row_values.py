"""The fields of a row that hold several values: names with role and URI, terms, identifiers, and
the divisions of an item."""

from __future__ import annotations

import re
from typing import Any

from glassine.base import persistent
from glassine.base.errors import Finding
from glassine.base.normal import nfc
from glassine.intake.catalogue.extract import Cell, Extract, Row, set_aside

# Frames that the divisions of an item count in one cell.
MAX_FRAMES = 10_000
_LANGUAGE = re.compile("[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")


def creators(extract: Extract, row: Row, findings: list[Finding]) -> list[dict[str, str]]:
    names = extract.many(row, "creator")
    roles = _parallel(extract, row, ("creator", "creator_role"), len(names), findings)
    uris = _parallel(extract, row, ("creator", "creator_uri"), len(names), findings)
    entries = []
    for name, role, uri in zip(names, roles, uris, strict=True):
        if isinstance(name, dict):
            entry = {key: str(name.get(key) or "") for key in ("name", "role", "uri")}
            stated = str(name.get("authority") or "")
        else:
            text, inline = _term_and_uri(name)
            entry, stated = {"name": text, "role": role, "uri": uri or inline}, ""
        entries.append(_with_authority(entry, stated))
    return entries


def _with_authority(entry: dict[str, Any], stated: str) -> dict[str, Any]:
    """Return an entry with the code of the list that its URI is of, where that is known."""
    code = stated or _authority(str(entry["uri"]))
    return {**entry, "authority": code} if code else entry


def subjects(extract: Extract, row: Row, findings: list[Finding]) -> list[dict[str, str]]:
    entries = []
    for value, uri in _with_uris(extract, row, ("subjects", "subject_uris"), findings):
        entry = _term("term", value, uri)
        authority = str(value.get("authority") or "") if isinstance(value, dict) else ""
        entries.append({**entry, "authority": authority or _authority(entry["uri"])})
    return entries


def languages(extract: Extract, row: Row) -> list[Any]:
    """Return codes of languages; of "eng; spa" both, as no code holds such a mark."""
    out = []
    for value in extract.many(row, "languages"):
        parts = (
            [part.strip() for part in re.split("[;,/]", value)] if isinstance(value, str) else []
        )
        codes = [part.lower() if part.isupper() else part for part in parts if part]
        out += codes if codes and all(_LANGUAGE.fullmatch(code) for code in codes) else [value]
    return list(dict.fromkeys(map(str, out)))


# Parts of a place from the widest to the narrowest; columns of them are `place_country` and so on.
LEVELS = ("country", "state", "county", "city", "section")


def places(extract: Extract, row: Row, findings: list[Finding]) -> list[dict[str, Any]]:
    """Return the places; columns of its parts make one, which is the one of its narrowest name."""
    entries: list[dict[str, Any]] = []
    for value, uri in _with_uris(extract, row, ("places", "place_uris"), findings):
        stated = value if isinstance(value, dict) else {}
        entry = _with_authority(_term("name", value, uri), str(stated.get("authority") or ""))
        inner = stated.get("levels")
        parts = inner if isinstance(inner, dict) else stated
        entries.append(_with_levels(entry, {name: parts.get(name) for name in LEVELS}))
    columns = {name: extract.one(row, f"place_{name}").strip() for name in LEVELS}
    narrowest = next((columns[name] for name in reversed(LEVELS) if columns[name]), "")
    if not narrowest:
        return entries
    same = [entry for entry in entries if entry["name"].casefold() == narrowest.casefold()]
    if len(same) == 1 and "levels" not in same[0]:
        same[0].update(_with_levels(same[0], columns))
        return entries
    return [_with_levels({"name": narrowest, "uri": ""}, columns), *entries]


def _with_levels(entry: dict[str, Any], parts: dict[str, Any]) -> dict[str, Any]:
    levels = {name: text for name in LEVELS if (text := str(parts.get(name) or "").strip())}
    return {**entry, "levels": levels} if levels else entry


def people(extract: Extract, row: Row, findings: list[Finding]) -> list[dict[str, str]]:
    """Return whom the photograph is about."""
    entries = []
    for value, uri in _with_uris(extract, row, ("people", "people_uris"), findings):
        stated = value if isinstance(value, dict) else {}
        entry = _term("name", value, uri)
        authority = str(stated.get("authority") or "") or _authority(entry["uri"])
        kind = str(stated.get("kind") or "").casefold()
        entries.append({**entry, "authority": authority, "kind": _PEOPLE.get(kind, "")})
    return entries


# Kinds of names in the words of MODS, EAD and MARC.
_PEOPLE = {
    **dict.fromkeys(("personal", "person", "persname", "600"), "personal"),
    **dict.fromkeys(("corporate", "corpname", "organisation", "610"), "corporate"),
    **dict.fromkeys(("family", "famname"), "family"),
}


def _with_uris(
    extract: Extract, row: Row, fields: tuple[str, str], findings: list[Finding]
) -> list[tuple[Any, str]]:
    """Return each value of the first field with its URI of the second."""
    values = extract.many(row, fields[0])
    uris = _parallel(extract, row, fields, len(values), findings)
    return list(zip(values, uris, strict=True))


def _term(key: str, value: Any, uri: str) -> dict[str, str]:
    if isinstance(value, dict):
        return {key: str(value.get(key) or ""), "uri": str(value.get("uri") or "")}
    text, inline = _term_and_uri(value)
    return {key: text, "uri": uri or inline}


def _parallel(
    extract: Extract, row: Row, fields: tuple[str, str], count: int, findings: list[Finding]
) -> list[str]:
    """Return one value of the second field for each of the `count` of the first: none, one for all,
    or as many."""
    name, other = fields
    values: list[str] = []
    for column in extract.columns[other]:
        cell = row.cells.get(column)
        if isinstance(cell, list):
            values += [str(piece or "").strip() for piece in cell]
        elif cell not in (None, ""):
            values += [piece.strip() for piece in str(cell).split(extract.separator(name))]
    if not "".join(values) or not count:
        return [""] * count
    if len(values) == 1 and other == "creator_role":
        return values * count
    if len(values) != count:
        cell = Cell(row.number, extract.first_column(other), extract.separator(name).join(values))
        expected = f"as many values as {extract.first_column(name)!r} has ({count})."
        expected += " They were not used; the record keeps the cell beside its fields."
        findings.append(extract.finding("count", cell, expected, "review"))
        for column in extract.columns[other]:
            set_aside(row, column)
        return [""] * count
    return values


_TYPED = re.compile(r"([A-Za-z][A-Za-z0-9 ._-]{0,30}):\s*(?!//)(?=\S)")


def identifiers(extract: Extract, row: Row) -> list[dict[str, str]]:
    """Return identifiers; "box:12" states its type, else the column's name is the type."""
    several = len(extract.columns["identifiers"]) > 1
    entries = []
    for column in extract.columns["identifiers"]:
        cell = row.cells.get(column)
        pieces = (
            cell
            if isinstance(cell, list)
            else str(cell or "").split(extract.separator("identifiers"))
        )
        for piece in pieces:
            entry = _identifier(piece, column if several else None)
            if entry is not None:
                entries.append(entry)
    return entries


def _identifier(piece: Any, column: str | None) -> dict[str, str] | None:
    """Return an identifier, None for an empty text; column: its type, where it is no other's."""
    if isinstance(piece, dict):
        kind, value = str(piece.get("type") or "local"), str(piece.get("value") or "")
        return {"type": kind, "value": value}
    text = nfc(str(piece).strip())
    if not text:
        return None
    if persistent.stated_in(text):
        return {"type": "local", "value": text}  # its label is a part of it
    typed = _TYPED.match(text)
    if typed and column is None:
        return {"type": typed[1], "value": text[typed.end() :]}
    return {"type": column or "local", "value": text}


def material(extract: Extract, text: str) -> str:
    return extract.materials.get(text.casefold(), text.lower()) or "unknown"


def structure(extract: Extract, row: Row, findings: list[Finding]) -> list[Any]:
    """Return divisions; in CSV "Quay = 1-3 | Ferry = 4, 5" with frames counted in the item."""
    column = extract.first_column("structure")
    cell = row.cells.get(column)
    if isinstance(cell, list):
        return [_counted_whole(division) for division in cell]
    divisions = []
    for piece in str(cell or "").split(extract.separator("structure")):
        if not piece.strip():
            continue
        label, _, figures = piece.rpartition("=")
        frames = _frames(figures)
        if not label.strip() or frames is None:
            expected = 'divisions such as "Quay = 1-3 | Ferry = 4, 5".'
            cell = Cell(row.number, column, piece)
            findings.append(extract.finding("structure", cell, expected, "review"))
            set_aside(row, column)
            return []
        divisions.append({"label": label.strip(), "type": "section", "frames": frames})
    return divisions


def _counted_whole(division: Any) -> Any:
    """Return a division of JSON with 2.0 as 2, which is the same number to JSON."""
    frames = division.get("frames") if isinstance(division, dict) else None
    if not isinstance(frames, list):
        return division
    whole = [int(n) if isinstance(n, float) and n.is_integer() else n for n in frames]
    return {**division, "frames": whole}


def _frames(figures: str) -> list[int] | None:
    numbers: list[int] = []
    for piece in figures.split(","):
        match = re.fullmatch(r"(\d{1,4})(?:\s*[-–]\s*(\d{1,4}))?", piece.strip())
        if not match or len(numbers) > MAX_FRAMES:
            return None
        numbers.extend(range(int(match[1]), int(match[2] or match[1]) + 1))
    return numbers or None


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


def whole_number(text: str) -> int | str | None:
    """Return the number, or the text itself for the schema to refuse."""
    return int(text) if re.fullmatch(r"\d{1,3}", text) else text or None
