"""Settings: read, completed with defaults and checked, every mistake told at once."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import jsonschema
import yaml

from glassine.errors import Finding, GlassineError

PROJECT = Path(__file__).resolve().parents[2]
SCHEMA_PATH = PROJECT / "config" / "config.schema.yaml"


class _StrictLoader(yaml.SafeLoader):
    """YAML of plain data: no tags that make objects, no aliases, no key twice."""

    def compose_node(self, parent: Any, index: Any) -> Any:
        if self.check_event(yaml.events.AliasEvent):
            raise yaml.constructor.ConstructorError(
                None, None, "aliases are not allowed", parent and parent.start_mark
            )
        return super().compose_node(parent, index)

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:
        seen = set()
        for key_node, _ in node.value:
            key = self.construct_object(key_node, deep=True)
            if not isinstance(key, str | int | float | bool) or key in seen:
                raise yaml.constructor.ConstructorError(
                    None, None, f"the key {key!r} stands twice or is no text", key_node.start_mark
                )
            seen.add(key)
        return super().construct_mapping(node, deep)


# Dates stay text: a catalogue's "1906-05-01" is what was written, not a moment in time.
_StrictLoader.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in resolvers if tag != "tag:yaml.org,2002:timestamp"]
    for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}

MAX_YAML_BYTES = 4 * 2**20


def read_yaml(path: Path) -> Any:
    """Return what the YAML file holds (plain data only).

    Raises GlassineError for a missing, oversized or malformed file, tags, aliases and
    keys that stand twice.
    """
    try:
        if path.stat().st_size > MAX_YAML_BYTES:
            raise ValueError(f"it is larger than {MAX_YAML_BYTES} bytes")
        text = path.read_text("utf-8-sig")
    except (OSError, ValueError) as problem:
        raise _unreadable(path, problem) from problem
    return parse_yaml(text, path)


def parse_yaml(text: str, where: object) -> Any:
    """Return what YAML text holds; see `read_yaml`. where: how to name it to a person."""
    try:
        if len(text.encode("utf-8", "replace")) > MAX_YAML_BYTES:
            raise ValueError(f"it is larger than {MAX_YAML_BYTES} bytes")
        return yaml.load(text, Loader=_StrictLoader)  # noqa: S506
    except (ValueError, yaml.YAMLError, RecursionError) as problem:
        raise _unreadable(where, problem) from problem


def _unreadable(where: object, problem: Exception) -> GlassineError:
    return GlassineError.because(
        "settings.yaml",
        where,
        f"This file cannot be read: {' '.join(str(problem).split())}.",
        "YAML of plain mappings, lists and values, each key once.",
        "Correct the line named above and run again.",
    )


def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = read_yaml(SCHEMA_PATH)
    return loaded


def _completed(value: Any, described: dict[str, Any]) -> Any:
    if not isinstance(value, dict) or "properties" not in described:
        return value
    result = dict(value)
    for key, part in described["properties"].items():
        if key not in result and "default" in part:
            result[key] = copy.deepcopy(part["default"])
        if key in result:
            result[key] = _completed(_unquoted(result[key], part), part)
    return result


def _unquoted(value: Any, described: dict[str, Any]) -> Any:
    """Return the number, list or mapping that a command line passed as text."""
    wanted = described.get("type", "string")
    allowed = wanted if isinstance(wanted, list) else [wanted]
    if "enum" in described or not isinstance(value, str) or "string" in allowed:
        return value
    try:
        parsed = yaml.load(value, Loader=_StrictLoader)  # noqa: S506
    except yaml.YAMLError:
        parsed = value
    return [parsed] if allowed == ["array"] and isinstance(parsed, str) else parsed


def problems(value: Any, described: dict[str, Any], where: str) -> list[Finding]:
    """Return one finding for each way in which `value` breaks the JSON Schema `described`."""
    validator = jsonschema.Draft202012Validator(described)
    found = []
    for error in sorted(validator.iter_errors(value), key=lambda error: list(map(str, error.path))):
        key = ".".join(str(part) for part in error.absolute_path) or "(the whole)"
        hint = error.schema.get("description", "") if isinstance(error.schema, dict) else ""
        found.append(
            Finding(
                "settings.value",
                where,
                f"{key}: {error.message[:300]}.",
                " ".join(str(hint).split()) or "a value as config/README.md describes.",
                f"Correct `{key}`.",
            )
        )
    return found


def load(given: dict[str, Any], where: str = "config/config.yaml") -> dict[str, Any]:
    """Return the settings `given` with every default filled in.

    Raises GlassineError with one finding per mistake (unknown key, wrong type or range).
    """
    described = schema()
    complete: dict[str, Any] = _completed(given, described)
    found = problems(complete, described, where)
    if found:
        raise GlassineError(found)
    return complete
