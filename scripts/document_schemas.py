"""Write `glassine/base/schemas/*.schema.json` of the records that are types of `base/records`."""

from __future__ import annotations

import argparse
import inspect
import json
import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import msgspec

from glassine.base import files
from glassine.base.records import (
    Record,
    embedded,
    fixity,
    package,
    plan,
    quality,
    receipt,
    render,
)

SCHEMAS = Path(__file__).parent / "glassine" / "base" / "schemas"
# The schema's name, as in fixity.schema.json, and the type of the whole record.
RECORDS: dict[str, type[Record]] = {
    "fixity": fixity.Fixity,
    "package": package.Package,
    "plan": plan.Plan,
    "receipt": receipt.Receipt,
    "render": render.Rendering,
    "quality": quality.Quality,
    "embedded": embedded.Embedded,
}


def schema_of(kind: type[Record]) -> dict[str, Any]:
    """Return the JSON Schema of a record; its title is the first line of the type's module."""
    made = msgspec.json.schema(kind)
    for part in made["$defs"].values():
        if "description" in part:
            part["description"] = inspect.cleandoc(part["description"])
    module = inspect.getmodule(kind)
    title = (module.__doc__ or "").splitlines()[0].rstrip(".")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title, **made}


def text_of(kind: type[Record]) -> str:
    return json.dumps(schema_of(kind), indent=2, ensure_ascii=False) + "\n"


def path_of(name: str) -> Path:
    return SCHEMAS / f"{name}.schema.json"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only tell whether they are current")
    only_tell = parser.parse_args().check
    stale = [
        name
        for name, kind in RECORDS.items()
        if not path_of(name).exists() or path_of(name).read_text("utf-8") != text_of(kind)
    ]
    if not only_tell:
        for name in stale:
            files.write_text(path_of(name), text_of(RECORDS[name]))
        return 0
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
