"""A record of a row against the schema of one: what an operator is told of each fault."""

from __future__ import annotations

import contextlib
import json
from functools import cache, lru_cache
from typing import Any

import msgspec

from glassine.base import files
from glassine.base.errors import Finding
from glassine.base.records.catalogue import CatalogueRow
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.catalogue.extract import NOT_READ, Cell, Extract, Row, text_of

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


# Without these nobody knows which item it is, what it is called, or whether it is dangerous.
_NEEDED = frozenset({"item", "title", "masters", "material", "decay_level", "row"})


def check_schema(
    extract: Extract, row: Row, record: dict[str, Any], findings: list[Finding]
) -> None:
    """Hold a row whose record is not as schemas/catalogue.schema.json has it in what is needed;
    what else its fields cannot take is left out of them, kept beside, and for review."""
    with contextlib.suppress(msgspec.ValidationError):
        msgspec.convert(record, CatalogueRow)  # by the same limits, and quick
        return
    for part, value in list(record.items()):
        if part == "extra":
            continue  # whatever the catalogue says there
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
        for where, text_shown, expected, path in _faults(part, text, isinstance(value, str)):
            name = _COLUMN_OF.get(where, where.split(".")[0])
            column = (extract.columns.get(name) or [name])[0]
            closed = where == "rights.status" and not catalogue_columns.names_terms(text_shown)
            severity = "hold" if part in _NEEDED or closed else "review"
            cell = Cell(row.number, column, text_shown)
            findings.append(extract.wrong_value(cell, expected, severity))
            if severity == "review":
                record[part] = _without(record[part], path)
                record["extra"][f"{column} {NOT_READ}"] = text_of(row.cells.get(column, text_shown))
        if isinstance(record[part], list):
            record[part] = [each for each in record[part] if each not in ("", {})]


def _without(value: Any, path: tuple[Any, ...]) -> Any:
    """Return a value with what stands at a path emptied: a text, or an entry of a list."""
    if not path:
        return type(value)() if isinstance(value, str | list | dict) else None
    step, rest = path[0], path[1:]
    inner = value[step]
    optional = isinstance(value, dict) and step in ("uri", "role", "authority", "note", "holder")
    if isinstance(value, dict) and not rest and not optional and step != "status":
        return {}  # an entry without its name says nothing
    if isinstance(value, dict) and step == "status":
        return {**value, "status": "unknown"}
    changed = _without(inner, rest)
    if isinstance(value, list):
        return [*value[:step], changed, *value[step + 1 :]]
    return {**value, step: changed}


@cache
def _validators() -> dict[str, Any]:
    """Return the JSON Schema of a record, ready for each of its parts."""
    import jsonschema

    schema = files.read_schema("catalogue")
    return {
        name: jsonschema.Draft202012Validator({**part, "$defs": schema["$defs"]})
        for name, part in schema["properties"].items()
    }


@lru_cache(maxsize=4096)
def _faults(
    part: str, text: str, is_text: bool
) -> tuple[tuple[str, str, str, tuple[Any, ...]], ...]:
    """Return (place, value, what would do, path) of each fault of one part of a record.

    Part by part and remembered, since rows repeat each other: a whole record takes the
    validator a millisecond.
    """
    value = text if is_text else json.loads(text)
    faults = []
    for error in _validators()[part].iter_errors(value):
        names = [part, *(str(step) for step in error.absolute_path if isinstance(step, str))]
        described = error.schema.get("description") if isinstance(error.schema, dict) else None
        expected = f"{described or error.message[:200]}."
        faults.append((".".join(names), str(error.instance), expected, tuple(error.absolute_path)))
    return tuple(faults)
