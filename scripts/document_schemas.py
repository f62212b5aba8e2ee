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
    audit,
    batch_file,
    batch_targets,
    catalogue,
    corrections,
    developed,
    embedded,
    fetched,
    films,
    fixity,
    intake,
    looks,
    package,
    plan,
    quality,
    receipt,
    render,
    sent,
    session_file,
    stocks,
    target,
    target_limits,
)

SCHEMAS = Path(__file__).parent / "glassine" / "base" / "schemas"
# The schema's name, as in fixity.schema.json, and the type of the whole record.
RECORDS: dict[str, type[Record]] = {
    "audit": audit.BatchAudit,
    "batch": batch_file.BatchFile,
    "catalogue": catalogue.CatalogueRow,
    "corrections": corrections.CorrectionsFile,
    "developed": developed.Developed,
    "embedded": embedded.Embedded,
    "films": films.Films,
    "fixity": fixity.Fixity,
    "intake": intake.Intake,
    "looks": looks.Looks,
    "package": package.Package,
    "plan": plan.Plan,
    "quality": quality.Quality,
    "receipt": receipt.Receipt,
    "render": render.Rendering,
    "sent": sent.SentFile,
    "fetched": fetched.FetchedMasters,
    "session": session_file.SessionFile,
    "stocks": stocks.Stocks,
    "target": target.TargetResult,
    "target_limits": target_limits.LimitsFile,
    "targets": batch_targets.BatchTargets,
}
# Schemas that check what people write, and tell them what is wrong in words of their own.
FOR_PEOPLE = {"batch", "catalogue", "corrections", "session", "target_limits"}


def schema_of(name: str) -> dict[str, Any]:
    """Return the JSON Schema of a record; its title is the first line of the type's module."""
    kind = RECORDS[name]
    made = msgspec.json.schema(kind)
    for part in made["$defs"].values():
        if "description" in part:
            part["description"] = inspect.cleandoc(part["description"])
    if name in FOR_PEOPLE:
        made = _for_people(made)
    module = inspect.getmodule(kind)
    title = (module.__doc__ or "").splitlines()[0].rstrip(".")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": title, **made}


def _for_people(schema: dict[str, Any]) -> dict[str, Any]:
    """Return the schema so that an error names what is wrong: the record itself on top, plain types
    in place of choices between types, and no words on an object that are for programmers."""
    parts = {key: _plain(part) for key, part in schema["$defs"].items()}
    for part in parts.values():
        part.pop("description", None)
    whole = parts.pop(schema["$ref"].rpartition("/")[2])
    del whole["title"]
    return {**whole, "$defs": parts} if parts else whole


def _plain(part: Any) -> Any:
    """Return a schema with `anyOf` of plain types as `type`."""
    if isinstance(part, list):
        return [_plain(each) for each in part]
    if not isinstance(part, dict):
        return part
    plain = {key: _plain(value) for key, value in part.items() if key != "default"}
    choices = plain.get("anyOf", [])
    if "type" in plain and choices:  # the type says in its own words what it takes
        del plain["anyOf"]
    elif len(choices) == 2 and choices[1] == {"type": "null"} and "type" in choices[0]:
        del plain["anyOf"]
        plain = {**plain, **choices[0], "type": [choices[0]["type"], "null"]}
    return plain


def text_of(name: str) -> str:
    return json.dumps(schema_of(name), indent=2, ensure_ascii=False) + "\n"


def path_of(name: str) -> Path:
    return SCHEMAS / f"{name}.schema.json"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only tell whether they are current")
    only_tell = parser.parse_args().check
    stale = [
        name
        for name in RECORDS
        if not path_of(name).exists() or path_of(name).read_text("utf-8") != text_of(name)
    ]
    if not only_tell:
        for name in stale:
            files.write_text(path_of(name), text_of(name))
        return 0
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main())
