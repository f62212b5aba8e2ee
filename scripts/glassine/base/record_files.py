"""Record files, checked when written and when read.

`load` and `save` carry the types of `records`; `read` and `write` carry JSON as it stands, for
records whose schema is written by hand.
"""

from __future__ import annotations

import contextlib
from functools import cache
from pathlib import Path
from typing import Any, TypeVar

import jsonschema
import msgspec

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.records import Record

Kind = TypeVar("Kind", bound=msgspec.Struct)


def load(path: Path, name: str, kind: type[Kind]) -> Kind:
    """Return the record at `path`. name: of its schema.

    Raises GlassineError where it is not as its type says.
    """
    return take(path, name, kind, files.read_json(path))


def save(path: Path, name: str, record: Record) -> None:
    """Write a record as JSON. Raises GlassineError where it breaks a limit of its type."""
    value = msgspec.to_builtins(record)
    take(path, name, type(record), value)
    files.write_json(path, value)


def take(path: Path, name: str, kind: type[Kind], value: Any) -> Kind:
    """Return the record that `value`, the JSON at `path`, is; see `load`."""
    try:
        return msgspec.convert(value, kind)
    except msgspec.ValidationError as problem:
        what, _, where = str(problem).partition(" - at ")
        raise _broken(path, name, where.strip("`$.") or "(the whole)", what) from None


def prepare(*kinds: type[msgspec.Struct], schemas: tuple[str, ...] = ()) -> None:
    """Work out once a process how records of these types and schemas are checked."""
    for kind in kinds:
        with contextlib.suppress(msgspec.ValidationError):
            msgspec.convert({}, kind)
    for name in schemas:
        _validator(name)


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
        raise _broken(path, name, where, error.message)


def _broken(path: Path, name: str, where: str, what: str) -> GlassineError:
    return GlassineError.because(
        f"contracts.{name}",
        path,
        f"This record is not built as it should be, at {where}: {what.rstrip('.')[:300]}.",
        f"a record as schemas/{name}.schema.json describes it.",
        files.advice_on(path),
    )
