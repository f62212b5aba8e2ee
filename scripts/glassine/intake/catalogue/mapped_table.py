"""Rows of a table or of JSON read by a mapping table: cells under the fields' own names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from glassine.base.normal import nfc
from glassine.intake.catalogue import mapped
from glassine.intake.catalogue.extract import FIELDS, Row, separators_of, text_of
from glassine.intake.catalogue.mapping import PARTS, RIGHTS, SEVERAL, Mapping, Source


def columns_of(source: Any) -> list[str]:
    """Return the columns and paths that a source reads, in its order."""
    if isinstance(source, str):
        return [source]
    if isinstance(source, list):
        return [column for each in source for column in columns_of(each)]
    inner = [source.from_, source.first, source.join]
    return [column for each in inner if each is not None for column in columns_of(each)]


def rows(
    extract: Iterable[Row], mapping: Mapping, stated: str | dict[str, str], traced: bool = False
) -> Iterator[Row]:
    """Yield the rows with cells under the names of fields; columns that no field takes keep theirs,
    marked where they bear a field's name. traced: whether rows say where each value stands."""
    separators = separators_of(stated)
    used = {column for source in mapping.fields.values() for column in columns_of(source)}
    used |= {column for source in mapping.fields.values() for column in _beside(source)}
    used |= {*mapping.ignored, *(column.split(".")[0].split("[")[0] for column in used)}
    for row in extract:
        cells: dict[str, Any] = {}
        for field, source in mapping.fields.items():
            if field == RIGHTS:
                cells |= mapped.sorted_rights(_texts(row.cells, source, ""))
            elif field in SEVERAL:
                cells[field] = _several(row.cells, field, source, separators.get(field, "|"))
            else:
                cells[field] = next(iter(_texts(row.cells, source, "")), "")
        rest = {
            f"{name} (unread)" if name in FIELDS else name: value
            for name, value in row.cells.items()
            if name not in used
        }
        origins = _origins(row.cells, mapping) if traced else {}
        yield Row(row.number, cells | rest, row.fault, origins)


def _origins(cells: Any, mapping: Mapping) -> dict[str, list[str]]:
    """Return {field: the columns and paths with a value that it is read from, in words}."""
    return {
        field: [
            f"{column}: {text_of(value)[:200]}"
            for column in dict.fromkeys([*columns_of(source), *_beside(source)])
            for value in _values(cells, column)
            if text_of(value)
        ]
        or _constant(source)
        for field, source in mapping.fields.items()
    }


def _constant(source: Any) -> list[str]:
    """Return in words that a field is the same for all, nothing where it is read."""
    stated = source.constant if isinstance(source, Source) else None
    return [] if stated is None else [f"a constant of the mapping: {stated}"]


def _beside(source: Any) -> list[str]:
    """Return the columns of a row that hold parts of a value of it, such as its role."""
    if not isinstance(source, Source) or any("[" in column for column in columns_of(source)):
        return []
    parts = {part for names in PARTS.values() for part in names}
    inner = [each for part in parts if (each := getattr(source, part)) is not None]
    return [column for each in inner for column in columns_of(each) if column != "."]


def _values(cells: Any, path: str) -> list[Any]:
    """Return what stands in a column or at a path such as contributors[].name."""
    if path == ".":
        return [cells]
    if isinstance(cells, dict) and path in cells:
        value = cells[path]
        return value if isinstance(value, list) else [value]
    found = [cells]
    for step in path.replace("[]", ".[]").split("."):
        if step == "[]":
            found = [each for one in found if isinstance(one, list) for each in one]
        else:
            found = [one[step] for one in found if isinstance(one, dict) and step in one]
    return found


def _texts(cells: Any, source: Any, separator: str) -> list[str]:
    """Return the values of a source as texts; separator: between those of one cell, "" for none."""
    if isinstance(source, str):
        texts = [nfc(text_of(value)).strip() for value in _values(cells, source)]
        if separator:
            texts = [part.strip() for text in texts for part in text.split(separator)]
        return [text for text in texts if text]
    if isinstance(source, list):
        return next((found for each in source if (found := _texts(cells, each, separator))), [])
    separator = separator if source.separator is None else source.separator
    if source.constant is not None:
        return [source.constant]
    if source.first is not None:
        return _texts(cells, source.first, separator)
    if source.join is not None:
        pieces = [next(iter(_texts(cells, each, "")), "") for each in source.join]
        glue = " " if source.with_ is None else source.with_
        found = [glue.join(filter(None, pieces))]
    else:
        paths = [source.from_] if isinstance(source.from_, str) else source.from_ or []
        found = [text for path in paths for text in _texts(cells, path, separator)]
        if source.with_ is not None:
            found = [source.with_.join(dict.fromkeys(found))]
    known = {word.casefold() for word in source.words}
    if source.others == "leave":
        found = [text for text in found if text.casefold() in known]
    return [text for each in found if (text := mapped.reworded(each, source))]


def _several(cells: Any, field: str, source: Any, separator: str) -> list[Any]:
    parts = PARTS.get(field)
    if parts is None:
        return list(dict.fromkeys(_texts(cells, source, separator)))
    if not isinstance(source, Source) or all(getattr(source, part) is None for part in parts):
        return [{parts[0]: text} for text in _texts(cells, source, separator)]
    paths = [source.from_] if isinstance(source.from_, str) else source.from_ or []
    mark = separator if source.separator is None else source.separator
    entries = []
    for value in (value for path in paths for value in _values(cells, path)):
        pieces = value.split(mark) if isinstance(value, str) and mark else [value]
        for piece in pieces:
            entry = _parts_of(cells, piece, source, parts)
            if entry and entry not in entries:
                entries.append(entry)
    return entries


def _parts_of(cells: Any, value: Any, source: Source, parts: tuple[str, ...]) -> dict[str, str]:
    """Return the parts of one value: of an object from within it, of a text from its row."""
    entry = {}
    for part in parts:
        inner = getattr(source, part)
        if inner is None:
            entry[part] = nfc(text_of(value)).strip() if part == parts[0] else ""
        else:
            within = value if isinstance(value, dict) or inner == "." else cells
            entry[part] = next(iter(_texts(within, inner, "")), "")
    if not entry[parts[0]]:
        return {}
    entry[parts[0]] = mapped.reworded(entry[parts[0]], source)
    return {part: text for part, text in entry.items() if text}
