"""Record files checked against their JSON Schemas when written and when read."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import jsonschema

from glassine.base import files
from glassine.base.errors import GlassineError


@cache
def _validator(name: str) -> Any:
    return jsonschema.Draft202012Validator(files.read_schema(name))


def write(path: Path, name: str, value: Any) -> None:
    """Write `value` as JSON to `path`. Raises GlassineError where it breaks the schema `name`."""
    _require(path, name, value)
    files.write_json(path, value)


def read(path: Path, name: str) -> Any:
    """Return the JSON at `path`. Raises GlassineError where it breaks the schema `name`."""
    value = files.read_json(path)
    _require(path, name, value)
    return value


def _require(path: Path, name: str, value: Any) -> None:
    error = next(iter(_validator(name).iter_errors(value)), None)
    if error is not None:
        where = ".".join(str(part) for part in error.absolute_path) or "(the whole)"
        raise GlassineError.because(
            f"contracts.{name}",
            path,
            f"This record is not built as it should be, at {where}: {error.message[:300]}.",
            f"a record as schemas/{name}.schema.json describes it.",
            files.advice_on(path),
        )
