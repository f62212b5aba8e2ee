"""A mapping table: from which part of a record each field of a catalogue row is read.

A file in YAML, ready ones in `config/mappings`. A source is a column (or a path in JSON, an XPath
in XML), a list of them (the first that has a value), or a table of `Source`.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, Literal

import msgspec

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.intake.catalogue.extract import FIELDS

FOLDER = settings.PROJECT / "config" / "mappings"
# Parts of a value of these fields; the first is the value itself.
PARTS = {
    "creator": ("name", "role", "uri", "authority"),
    "subjects": ("term", "authority", "uri"),
    "places": ("name", "uri", "authority", "country", "state", "county", "city", "section"),
    "people": ("name", "uri", "authority", "kind"),
    "identifiers": ("value", "type"),
}
# Fields that hold several values.
SEVERAL = frozenset({*PARTS, "languages", "masters"})
# Reads as rights_uri, copyright_status or rights_note by what it says.
RIGHTS = "rights"
Helper = Literal["ead", "marc", "mods", "dublin core"]


class Source(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where a value comes from: one of `from`, `first`, `join`, `constant`.

    from: parts of the record. first: the first source that has a value. join: sources, put together
    with `with`. constant: the value itself. with: between values joined; of a field of one text,
    a `from` without it takes the first value. text: what is made of each value of `from`, an XPath
    from there. separator: between the values of one cell of a table. words: {word of the catalogue:
    value}; others: what becomes of words that it lacks. tidy: punctuation that ISBD puts after a
    part is left out. lines: whether the lines of a text of XML are joined, or kept, of a `from`
    with `with`. name, role, uri, term, authority, kind, country to section, type, value: the parts
    of each value of `from`, from there.
    """

    from_: str | list[str] | None = msgspec.field(default=None, name="from")
    first: list[str | Source] | None = None
    join: list[str | Source] | None = None
    constant: str | None = None
    with_: str | None = msgspec.field(default=None, name="with")
    text: str | None = None
    separator: str | None = None
    words: dict[str, str] = {}
    others: Literal["keep", "leave"] = "keep"
    tidy: bool = False
    lines: Literal["join", "keep"] = "join"
    name: str | list[str | Source] | Source | None = None
    role: str | list[str | Source] | Source | None = None
    uri: str | list[str | Source] | Source | None = None
    term: str | list[str | Source] | Source | None = None
    authority: str | list[str | Source] | Source | None = None
    kind: str | list[str | Source] | Source | None = None
    country: str | list[str | Source] | Source | None = None
    state: str | list[str | Source] | Source | None = None
    county: str | list[str | Source] | Source | None = None
    city: str | list[str | Source] | Source | None = None
    section: str | list[str | Source] | Source | None = None
    type: str | list[str | Source] | Source | None = None
    value: str | list[str | Source] | Source | None = None


class Element(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """An element that shows a document to be of this format. namespace: None where any will do,
    "" for none at all."""

    name: str
    namespace: str | None = None


class Mapping(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A mapping table.

    what: the format, in words. format: what it is read from. recognised: by what XML is known to
    be of this format. records: names of the elements that are a record each; they may stand within
    one another where `nested`. whole: an element that is a record where none stands within it.
    namespaces: {prefix: namespace} of the paths; without them names count whatever namespace they
    are in. fields: {field: where it is read}. ignored: parts that say nothing a record needs. tags:
    {tag of MARC: what it is}, for what is told of it. helper: what paths cannot say here.
    """

    what: str
    fields: dict[str, str | list[str | Source] | Source]
    format: Literal["xml", "table"] = "xml"
    recognised: list[Element] = []
    records: list[str] = []
    nested: bool = False
    whole: str | None = None
    namespaces: dict[str, str] = {}
    ignored: list[str] = []
    tags: dict[str, str] = {}
    helper: Helper | None = None


def ready() -> list[Mapping]:
    """Return the mappings of `config/mappings` by which XML is recognised."""
    paths = sorted(FOLDER.glob("*.yaml"))
    return [mapping for mapping in map(load, paths) if mapping.recognised]


def of_table(name: str | None) -> Mapping | None:
    """Return the mapping of a table or of JSON that the settings name, None for none."""
    mapping = load(find(name)) if name else None
    return mapping if mapping is not None and mapping.format == "table" else None


def path_of(name: str) -> Path:
    """Return where a mapping is: a path, or the name of a file in `config/mappings`."""
    ready_name = re.fullmatch(r"[A-Za-z0-9_-]{1,80}", name)
    return FOLDER / f"{name}.yaml" if ready_name else Path(name)


def find(name: str) -> Path:
    """Return the file of a mapping: a path, or the name of one in `config/mappings`.

    Raises GlassineError where there is none.
    """
    path = path_of(name)
    if not path.is_file():
        names = ", ".join(sorted(each.stem for each in FOLDER.glob("*.yaml")))
        raise GlassineError.because(
            "catalogue.mapping",
            str(path),
            f"`catalogue.mapping` names {name!r}, and there is no such file.",
            f"one of {names} (config/mappings), or the path of a mapping file.",
            "Correct `catalogue.mapping`.",
        )
    return path


def load(path: Path) -> Mapping:
    """Return the mapping of a file. Raises GlassineError where it is none."""
    loaded = settings.read_yaml(path)
    fields = loaded.get("fields") if isinstance(loaded, dict) else None
    if _holds_a_switch(fields):
        raise bad(
            path.name,
            "Under 'fields' stands a word that means true or false in YAML, such as No or Yes.",
            'names of columns like these in quotes: "No".',
        )
    try:
        mapping = msgspec.convert(_spelled_out(loaded), Mapping)
    except msgspec.ValidationError as problem:
        raise bad(path.name, _in_words(str(problem))) from problem
    _check(path.name, mapping)
    return mapping


def _holds_a_switch(value: Any) -> bool:
    """Whether true or false stands somewhere among sources, other than as `tidy`."""
    if isinstance(value, dict):
        return any(_holds_a_switch(each) for key, each in value.items() if key != "tidy")
    if isinstance(value, list):
        return any(map(_holds_a_switch, value))
    return isinstance(value, bool)


def _spelled_out(loaded: Any) -> Any:
    """Return a mapping with `{name}` in paths replaced by what `paths` says of it."""
    paths = loaded.pop("paths", {}) if isinstance(loaded, dict) else {}
    if not isinstance(paths, dict):
        raise msgspec.ValidationError("Expected `object` - at `$.paths`")

    def spelled(value: Any) -> Any:
        if isinstance(value, str):
            for name, path in paths.items():
                value = value.replace(f"{{{name}}}", str(path))
            return value
        if isinstance(value, dict):
            return {key: spelled(each) for key, each in value.items()}
        return [spelled(each) for each in value] if isinstance(value, list) else value

    return spelled(loaded)


def bad(name: str, what: str, expected: str = "") -> GlassineError:
    return GlassineError.because(
        "catalogue.mapping",
        name,
        what,
        expected or "a mapping table as those of config/mappings are.",
        "Correct the mapping file; a copy of a ready one is a good start.",
    )


def _in_words(problem: str) -> str:
    """Return what msgspec says of a mapping, in an operator's words."""
    what, _, place = problem.partition(" - at `")
    # Lists of what is allowed are written in the loader's own terms.
    place = re.sub(r"\[\.\.\.\]", ".*", place.strip("`").removeprefix("$").removeprefix("."))
    unknown = re.search(r"unknown field `(.+?)`", what)
    missing = re.search(r"missing required field `(.+?)`", what)
    where = f" under {place!r}" if place else ""
    if unknown:
        return f"The key {unknown[1]!r}{where} is none that a mapping knows."
    if missing:
        return f"The key {missing[1]!r} is missing{where}."
    return f"The value{where or ' of the file'} is of another kind than it should be."


def _check(name: str, mapping: Mapping) -> None:
    known = {*FIELDS, RIGHTS}
    for field, source in mapping.fields.items():
        if field not in known:
            raise bad(name, f"{field!r} is no field.", f"one of {', '.join(sorted(known))}.")
        _check_source(name, field, source)
    if "item_id" not in mapping.fields and mapping.helper is None:
        raise bad(name, "It does not say where the item number stands.", "a source of `item_id`.")
    if mapping.format == "xml" and not mapping.records:
        raise bad(name, "It does not say which elements are records.", "names under `records`.")
    for each in mapping.records:
        if not re.fullmatch(r"[^\W\d][\w.-]*", each):
            raise bad(name, f"{each!r} is no name of an element.", "names without a prefix.")


def _check_source(name: str, field: str, source: Any) -> None:
    for inner in source if isinstance(source, list) else []:
        _check_source(name, field, inner)
    if not isinstance(source, Source):
        return
    ways = [
        way for way in ("from_", "first", "join", "constant") if getattr(source, way) is not None
    ]
    if len(ways) != 1:
        raise bad(name, f"The source of {field!r} has {len(ways)} of from, first, join, constant.",
                  "exactly one of them.")  # fmt: skip
    allowed = PARTS.get(field, ())
    for part in ("name", "role", "uri", "term", "authority", "type", "value"):
        if getattr(source, part) is not None and (part not in allowed or ways != ["from_"]):
            listed = ", ".join(allowed) or "none"
            raise bad(name, f"The source of {field!r} has the part {part!r}.",
                      f"a `from` with parts of the field: {listed}.")  # fmt: skip
    for inner in [*(source.first or []), *(source.join or [])]:
        _check_source(name, field, inner)


def says_all_of_itself(mapping: Mapping) -> bool:
    """Return whether a record can be read apart from the others: its paths leave it nowhere, and
    it lists no masters, which are asked of all records."""
    paths = json.dumps(msgspec.to_builtins(mapping.fields))
    leaves = re.search(r'ancestor|preceding|following|\.\./|[|"]\s*/', paths)
    return not (mapping.nested or mapping.helper == "ead" or leaves) and (
        "masters" not in mapping.fields
    )
