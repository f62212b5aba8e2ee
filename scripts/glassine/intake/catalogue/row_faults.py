"""A record of a row against the schema of one: what an operator is told of each fault."""

from __future__ import annotations

import json
from functools import cache, lru_cache
from typing import Any

from glassine.base import files
from glassine.base.errors import Finding
from glassine.intake.catalogue.extract import Cell, Extract, Row

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


def check_schema(
    extract: Extract, row: Row, record: dict[str, Any], findings: list[Finding]
) -> None:
    """Hold a row whose record is not as schemas/catalogue.schema.json has it."""
    for part, value in record.items():
        if part == "extra":
            continue  # whatever the catalogue says there
        text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)
        for where, text_shown, expected in _faults(part, text, isinstance(value, str)):
            name = _COLUMN_OF.get(where, where.split(".")[0])
            column = (extract.columns.get(name) or [name])[0]
            findings.append(extract.wrong_value(Cell(row.number, column, text_shown), expected))


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
def _faults(part: str, text: str, is_text: bool) -> tuple[tuple[str, str, str], ...]:
    """Return (place, value, what would do) of each fault of one part of a record.

    Part by part and remembered, since rows repeat each other: a whole record takes the
    validator a millisecond.
    """
    value = text if is_text else json.loads(text)
    faults = []
    for error in _validators()[part].iter_errors(value):
        names = [part, *(str(step) for step in error.absolute_path if isinstance(step, str))]
        described = error.schema.get("description") if isinstance(error.schema, dict) else None
        expected = f"{described or error.message[:200]}."
        faults.append((".".join(names), str(error.instance), expected))
    return tuple(faults)
