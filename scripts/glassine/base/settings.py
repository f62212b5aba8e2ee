"""Settings: read, completed with defaults and checked, every mistake told at once."""

from __future__ import annotations

import copy
import difflib
import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import jsonschema
import yaml

from glassine.base import door, rights
from glassine.base.errors import Finding, GlassineError

PROJECT = Path(__file__).resolve().parents[3]
SCHEMA_PATH = PROJECT / "config" / "config.schema.yaml"


# What no XML 1.0 document can hold (section 2.2), and DEL; halves of a pair fit no UTF-8 either.
_NO_RECORD = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")


class _Strict(yaml.constructor.SafeConstructor):
    """Plain data: no tags that make objects, no key twice."""

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

    def construct_scalar(self, node: Any) -> Any:
        value = super().construct_scalar(node)
        bad = _NO_RECORD.search(value)
        if bad:
            raise yaml.constructor.ConstructorError(
                None, None, f"a character that no record can carry: {bad[0]!r}", node.start_mark
            )
        return value

    def construct_number(self, node: Any) -> float:
        value = self.construct_yaml_float(node)
        if not math.isfinite(value):
            raise yaml.constructor.ConstructorError(
                None, None, f"{node.value[:40]!r} is no finite number", node.start_mark
            )
        return float(value)


_Strict.yaml_constructors = {
    **yaml.constructor.SafeConstructor.yaml_constructors,
    "tag:yaml.org,2002:float": _Strict.construct_number,
}


class _StrictLoader(_Strict, yaml.SafeLoader):
    """YAML of plain data, without aliases."""

    def compose_node(self, parent: Any, index: Any) -> Any:
        if self.check_event(yaml.events.AliasEvent):
            raise yaml.constructor.ConstructorError(
                None, None, "aliases are not allowed", parent and parent.start_mark
            )
        return super().compose_node(parent, index)


class _OwnLoader(_Strict, getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """The same read by libyaml, in a tenth of the time: for the project's own files, since it
    differs in what it makes of odd ones, and in its words."""


# Dates stay text: a catalogue's "1906-05-01" is what was written, not a moment in time. So do
# numbers as YAML 1.1 alone writes them (0012 for 10, 1:30 for 90): an item's id is no number.
_AS_TEXT = {"tag:yaml.org,2002:timestamp", "tag:yaml.org,2002:int"}
for _loader in (_StrictLoader, _OwnLoader):
    _loader.yaml_implicit_resolvers = {
        first: [(tag, pattern) for tag, pattern in resolvers if tag not in _AS_TEXT]
        for first, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
    }
    # YAML 1.2.2 section 10.3.2, integers in base 10, but for leading zeros.
    _loader.add_implicit_resolver(
        "tag:yaml.org,2002:int", re.compile(r"[-+]?(?:0|[1-9][0-9]*)\Z"), list("-+0123456789")
    )

MAX_YAML_BYTES = 4 * 2**20


def read_yaml(path: Path, *, trusted: bool = False) -> Any:
    """Return what the YAML file holds (plain data only: finite numbers, whole characters).

    trusted: whether the file is the studio's own, which may be a link; in a batch folder none is
    followed. Raises GlassineError for a file that is missing, oversized, malformed or no regular
    file, tags, aliases and keys that stand twice.
    """
    try:
        content = door.read_file(path, None if trusted else path.parent, MAX_YAML_BYTES)
        text = content.decode("utf-8-sig")
    except (OSError, ValueError) as problem:
        raise _unreadable(path, problem) from problem
    return parse_yaml(text, path)


def joined(one: dict[str, Any], other: dict[str, Any]) -> dict[str, Any]:
    """Return settings with those of a later file put over them, as the engine does."""
    result = dict(one)
    for key, value in other.items():
        before = result.get(key)
        both = isinstance(value, dict) and isinstance(before, dict)
        result[key] = joined(before, value) if both else value  # type: ignore[arg-type]
    return result


def stated(paths: Iterable[str | Path]) -> dict[str, Any]:
    """Return what config/config.yaml states and, over it, files in their order, as a night has it.

    Raises GlassineError for a file that cannot be read or holds no settings.
    """
    config: dict[str, Any] = {}
    for path in (PROJECT / "config" / "config.yaml", *map(Path, paths)):
        own = read_yaml(path, trusted=True)
        if own is not None and not isinstance(own, dict):
            raise _unreadable(path, ValueError("it holds no settings"))
        config = joined(config, own or {})
    return config


def named(paths: Sequence[str]) -> str:
    """Return how to name to a person where settings of `stated` come from."""
    return ", ".join(("config/config.yaml", *paths))


def parse_yaml(text: str, where: object) -> Any:
    """Return what YAML text holds; see `read_yaml`. where: how to name it to a person."""
    try:
        if len(text.encode("utf-8", "replace")) > MAX_YAML_BYTES:
            raise ValueError(f"it is larger than {MAX_YAML_BYTES} bytes")
        return yaml.load(text, Loader=_StrictLoader)  # noqa: S506
    except (ValueError, yaml.YAMLError, RecursionError) as problem:
        raise _unreadable(where, problem) from problem


def _unreadable(where: object, problem: Exception) -> GlassineError:
    why: object = problem.strerror if isinstance(problem, OSError) else problem
    if isinstance(problem, yaml.MarkedYAMLError) and problem.problem_mark is not None:
        begun = problem.context_mark
        since = f" (what begins in line {begun.line + 1})" if begun is not None else ""
        why = f"line {problem.problem_mark.line + 1}: {problem.problem}{since}"
    return GlassineError.because(
        "settings.yaml",
        where,
        f"This file cannot be read: {' '.join(str(why).split())[:600]}.",
        "YAML of plain mappings, lists and values, each key once.",
        "Correct the line named above, or put a file there that can be read, and run again.",
    )


def read_own(path: Path) -> Any:
    """Return what a YAML file of the project itself holds, as `read_yaml` reads it, and quickly."""
    try:
        return yaml.load(path.read_bytes(), Loader=_OwnLoader)  # noqa: S506
    except (OSError, ValueError, yaml.YAMLError) as problem:
        raise _unreadable(path, problem) from problem


def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = read_own(SCHEMA_PATH)
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
        found += _told(error, where)
    return found


def whole_numbers(value: Any, keys: frozenset[str]) -> Any:
    """Return plain data with the whole numbers under `keys` as `int`: JSON Schema takes 2.0 for
    one (section 4.2.3), a type does not."""
    if isinstance(value, list):
        return [whole_numbers(each, keys) for each in value]
    if not isinstance(value, dict):
        return value
    return {
        key: int(part)
        if key in keys and isinstance(part, float) and part.is_integer()
        else whole_numbers(part, keys)
        for key, part in value.items()
    }


def _rights_problems(complete: dict[str, Any], where: str) -> list[Finding]:
    """Return what is wrong with the rights that items get whose rows state none."""
    uri, status = complete["rights"]["uri"], complete["rights"]["status"]
    if uri and rights.statement(uri) is None:
        what = f"rights.uri: {uri[:100]!r} is no rights statement that is known here."
        step = "Correct `rights.uri`; free words belong into `rights.note`."
    elif rights.contradiction(uri, status):
        known = rights.statement(uri)
        what = f"rights.status: {status!r} contradicts {uri} ({known.status if known else ''})."
        step = "Leave `rights.status` out: it follows from the URI."
    else:
        return []
    expected = "a URI of rightsstatements.org 1.0 or Creative Commons, and no other status."
    return [Finding("settings.rights", where, what, expected, step)]


def _told(error: Any, where: str) -> list[Finding]:
    """Return one mistake in an operator's words: a name that is not known, or a wrong value."""
    parts = [str(part) for part in error.absolute_path]
    described = error.schema if isinstance(error.schema, dict) else {}
    if error.validator == "additionalProperties" and "properties" in described:
        known = list(described["properties"])
        unknown = [str(name) for name in error.instance if name not in known]
        return [
            _unknown(".".join([*parts, str(name)]), str(name), known, where) for name in unknown
        ]
    key = ".".join(parts) or "(the whole)"
    what = f"{key}: {error.message[:300]}."
    expected = " ".join(str(described.get("description", "")).split())
    if error.validator == "pattern":
        what = f"{key}: {str(error.instance)[:100]!r} does not have the form that is wanted."
        example = next(iter(described.get("examples", [])), None)
        expected += f" As in {example!r}." if example else ""
    expected = expected or "a value as config/README.md describes."
    return [Finding("settings.value", where, what, expected, f"Correct `{key}`.")]


def _unknown(key: str, name: str, known: list[str], where: str) -> Finding:
    close = difflib.get_close_matches(name, known, n=1)
    near = f" Did you mean {close[0]}?" if close else ""
    return Finding(
        "settings.value",
        where,
        f"There is no key `{key}`.{near}",
        f"one of {', '.join(known)}.",
        f"Correct or remove `{key}`.",
    )


def mistakes(stated: dict[str, Any], where: str) -> list[Finding]:
    """Return what is wrong with one file of settings by itself (unknown key, wrong type or range);
    where: its path. What it says together with others, `load` judges."""
    described = schema()
    complete: dict[str, Any] = _completed(stated, described)
    return problems(complete, described, where)


def load(given: dict[str, Any], where: str = "config/config.yaml") -> dict[str, Any]:
    """Return the settings `given` with every default filled in.

    Raises GlassineError with one finding per mistake (unknown key, wrong type or range, rights
    that contradict each other).
    """
    described = schema()
    complete: dict[str, Any] = _completed(given, described)
    found = problems(complete, described, where) or _rights_problems(complete, where)
    if found:
        raise GlassineError(found)
    return complete
