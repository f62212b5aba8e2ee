"""Write config/README.md: every setting, every key of batch.yaml and of corrections.yaml."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from glassine.base import files, settings

_NONE: frozenset[str] = frozenset()
HEAD = """# Settings

`config.yaml` holds what differs from the defaults; this table, made from `config.schema.yaml` by
`scripts/document_config.py`, is the reference. A key that is not here stops the run, so that a
slip of the pen is found at once. On the command line: `--config 'delivery={"when":"passed"}'`, or
a file of your own with `--configfile`.

| setting | what it says | default | example |
| --- | --- | --- | --- |
"""

BATCH_HEAD = """
# Keys of batch.yaml

What the studio states of a batch, in the batch folder. Every key may be left out, but `match` of an
entry and `path` and `description` of a target; a key that is not here keeps the batch from being
taken in. An entry or a value that has no effect is told in the report.

| key | what it says | example |
| --- | --- | --- |
"""

CORRECTIONS_HEAD = """
# Keys of corrections.yaml

What a person decided, in the batch folder; the review page and `scripts/withdraw` write it. Of an
entry `item` is needed, of a frame `frame`, of a withdrawal `item`, `reason`, `by` and `when`; what
is left out stays as it was found.

| key | what it says | example |
| --- | --- | --- |
"""


SESSION_HEAD = """
# Keys of session.yaml

With what and by whom a folder of captures was made, in the batch folder or a folder in it; it is
for the captures in that folder and below, the nearest file counts. It informs the report and
decides nothing. Role ids, no names of people.

| key | what it says | example |
| --- | --- | --- |
"""


def rows(described: dict[str, Any], where: str = "") -> Iterator[str]:
    """Yield one table row per setting, sections before what is in them."""
    for key, part in described.get("properties", {}).items():
        name = f"{where}{key}"
        text = " ".join(part["description"].split()).replace("|", "\\|")
        if part.get("properties"):
            yield f"| **{name}** | {text} | | |"
            yield from rows(part, f"{name}.")
            continue
        choice = f" One of: {', '.join(map(str, part['enum']))}." if "enum" in part else ""
        default = _code(part.get("default"))
        example = _code(part.get("examples", [None])[0])
        yield f"| `{name}` | {text}{choice} | {default} | {example} |"
        of_entry = part.get("items", {})
        if of_entry.get("properties"):
            yield from _entry_rows(of_entry, f"{name}[].")


def _entry_rows(described: dict[str, Any], where: str) -> Iterator[str]:
    """Yield rows for the keys of a list's entries: what holds where one is left out says its
    description."""
    for key, part in described["properties"].items():
        name = f"{where}{key}"
        text = " ".join(part["description"].split()).replace("|", "\\|")
        if part.get("properties"):
            yield f"| **{name}** | {text} | | |"
            yield from _entry_rows(part, f"{name}.")
            continue
        choice = f" One of: {', '.join(map(str, part['enum']))}." if "enum" in part else ""
        example = _code(part["examples"][0]) if part.get("examples") else ""
        yield f"| `{name}` | {text}{choice} | | {example} |"


def _code(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False).replace("|", "\\|")
    return f"`{text}`"


def keys(
    described: dict[str, Any],
    whole: dict[str, Any],
    where: str = "",
    before: frozenset[str] = _NONE,
) -> Iterator[str]:
    """Yield one table row per key of a batch's file.

    whole: the schema that references are looked up in; before: what
    stands in the table already (see `_repeated`).
    """
    listed: list[frozenset[str]] = []
    for key, part in described["properties"].items():
        if _mark(key, part) in before:
            continue
        part = _resolved(part, whole)
        inner = _inner(part, whole)
        name = f"{where}{key}" + ("[]" if inner and "items" in part else "")
        text = " ".join(part["description"].split()).replace("|", "\\|")
        if inner:
            yield f"| **{name}** | {text} | |"
            yield from keys(inner, whole, f"{name}.", _repeated(inner, listed))
            listed.append(_marks(inner))
            continue
        options = [str(each) for each in part.get("enum", ()) if each is not None]
        choice = f" One of: {', '.join(options)}." if options else ""
        examples = ", ".join(_code(each) for each in part["examples"])
        yield f"| `{name}` | {text}{choice} | {examples} |"


def _mark(key: str, part: dict[str, Any]) -> str:
    return f"{key} {json.dumps(part, sort_keys=True)}"


def _marks(described: dict[str, Any]) -> frozenset[str]:
    return frozenset(_mark(key, part) for key, part in described["properties"].items())


def _repeated(described: dict[str, Any], listed: list[frozenset[str]]) -> frozenset[str]:
    """Return the keys that a mapping takes over from one listed before it, all of them."""
    marks = _marks(described)
    return frozenset().union(*(each for each in listed if each <= marks))


def _resolved(part: dict[str, Any], whole: dict[str, Any]) -> dict[str, Any]:
    """Return a schema with what its reference names put in."""
    if "$ref" not in part:
        return part
    named: dict[str, Any] = whole["$defs"][part["$ref"].rpartition("/")[2]]
    return named | {key: value for key, value in part.items() if key != "$ref"}


def _inner(part: dict[str, Any], whole: dict[str, Any]) -> dict[str, Any] | None:
    """Return the schema of the mapping, or of each mapping in the list, that a key holds."""
    found = (part, part.get("items", {}), *part.get("anyOf", ()))
    resolved = (_resolved(each, whole) for each in found)
    return next((each for each in resolved if "properties" in each), None)


def page() -> str:
    tables = [HEAD + "\n".join(rows(settings.schema()))]
    for head, described in (
        (BATCH_HEAD, files.read_schema("batch")),
        (CORRECTIONS_HEAD, files.read_schema("corrections")),
        (SESSION_HEAD, files.read_schema("session")),
    ):
        tables.append(head + "\n".join(keys(described, described)))
    return "\n".join(tables) + "\n"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--check", action="store_true", help="only tell whether it is current")
    arguments = parser.parse_args()
    target = settings.PROJECT / "config" / "README.md"
    if arguments.check:
        return 0 if target.exists() and target.read_text("utf-8") == page() else 1
    files.write_text(target, page())
    return 0


if __name__ == "__main__":
    sys.exit(main())
