"""Judge measures against the tables of config/target_limits.yaml.

A table gives levels, lowest first; the level reached by a criterion is the highest one such that
it and all below it are met, and the level reached overall is the lowest of the criteria that
could be judged. A criterion that nothing was measured for is named, never taken for met.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.settings import read_yaml

LIMITS_PATH = settings.PROJECT / "config" / "target_limits.yaml"

STATEMENT = (
    "Measured by this workflow and compared with published numbers; this is no certification. "
    "FADGI 2016 reserves certification for its own targets and analysis software."
)

# Values are compared at this many decimals: finer differences are noise of the measurement.
DECIMALS = {
    "sfr_peak": 2,
    "sfr_half_sampling": 3,
    "clipped": 2,
    "effective_bits": 1,
    "gain_highlights": 2,
    "gain_other": 2,
}
DEFAULT_DECIMALS = 3

_SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": False,
    "required": ["sources", "tables"],
    "properties": {
        "sources": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "additionalProperties": False,
                "required": ["title", "edition", "read_in_original"],
                "properties": {
                    "title": {"type": "string"},
                    "edition": {"type": "string"},
                    "read_in_original": {"type": "boolean"},
                    "note": {"type": "string"},
                },
            },
        },
        "tables": {
            "type": "object",
            "additionalProperties": {
                "type": "object",
                "additionalProperties": False,
                "required": ["family", "title", "applies", "level_word", "levels", "criteria"],
                "properties": {
                    "family": {"type": "string"},
                    "title": {"type": "string"},
                    "applies": {
                        "type": "object",
                        "additionalProperties": False,
                        "required": ["kind", "polarity", "size"],
                        "properties": {
                            "kind": {"enum": ["transmissive", "reflective", "any"]},
                            "polarity": {"enum": ["positive", "negative", "any"]},
                            "size": {"enum": ["to_4x5", "over_4x5", "any"]},
                        },
                    },
                    "level_word": {"type": "string"},
                    "levels": {"type": "array", "minItems": 1, "items": {"type": "string"}},
                    "print_notes": {"type": "array", "items": {"type": "string"}},
                    "silent_on": {"type": "array", "items": {"type": "string"}},
                    "criteria": {
                        "type": "object",
                        "additionalProperties": {
                            "type": "object",
                            "additionalProperties": False,
                            "required": ["measure", "limits", "unit", "source"],
                            "properties": {
                                "measure": {"type": "string"},
                                "rule": {"$ref": "#/$defs/rule"},
                                "rules": {"type": "array", "items": {"$ref": "#/$defs/rule"}},
                                "limits": {"type": "array", "minItems": 1},
                                "slack_percent": {"type": "array", "items": {"type": "number"}},
                                "unit": {"type": "string"},
                                "source": {"type": "string"},
                                "from_memory": {"type": "boolean"},
                                "judged": {"type": "boolean"},
                                "why": {"type": "string"},
                                "note": {"type": "string"},
                            },
                        },
                    },
                },
            },
        },
    },
    "$defs": {"rule": {"enum": ["less", "at_most", "greater", "at_least", "inside"]}},
}


def limits(path: Path = LIMITS_PATH) -> dict[str, Any]:
    """Return {"sources", "tables"} of the limits file. Raises GlassineError for mistakes in it."""
    return _limits(str(path), path.stat().st_mtime_ns if path.exists() else 0)


@cache
def _limits(path: str, _changed: int) -> dict[str, Any]:
    given: dict[str, Any] = read_yaml(Path(path), trusted=True)
    found = settings.problems(given, _SCHEMA, Path(path).name)
    if found:
        raise GlassineError(found)
    for name, table in given["tables"].items():
        for key, row in table["criteria"].items():
            counts = {len(row["limits"]), len(row.get("rules", row["limits"]))}
            if counts != {len(table["levels"])} or ("rule" in row) == ("rules" in row):
                raise GlassineError.because(
                    "targets.limits",
                    Path(path).name,
                    f"The row {key} of {name} does not fit the table's levels.",
                    "one limit (and one rule, or one for each) per level.",
                    "Correct the row.",
                )
            if row["source"] not in given["sources"]:
                raise GlassineError.because(
                    "targets.limits",
                    Path(path).name,
                    f"The row {key} of {name} names the unknown source {row['source']!r}.",
                    "a key of `sources`.",
                    "Add the source, or correct its name.",
                )
    return given


# Kinds of originals that never exceed 4 x 5 in.
_SMALL_KINDS = ("frame_135", "mounted_slide", "strip_135", "strip_120", "lantern", "cut_frames")
# 4 x 5 in sheet film, with room for what a studio may state of it.
_LONG_SIDE_4X5_MM = 130.0


def tables_for(kind: str, facts: Facts, named: Iterable[str] = ()) -> list[str]:
    """Return the ids of the tables that apply to a target of this kind in this batch.

    facts say whether negatives or positives are captured and how large; where they do not, the
    stricter table is taken (negatives; up to 4 x 5 in). named: ids that replace the choice.
    Raises GlassineError for a name that is no table.
    """
    given = limits()["tables"]
    chosen = list(named)
    unknown = [name for name in chosen if name not in given]
    if unknown:
        raise GlassineError.because(
            "targets.table",
            "config/config.yaml",
            f"There is no table of limits named {', '.join(unknown)}.",
            f"names out of {', '.join(given)}.",
            "Correct `targets.tables`.",
        )
    if chosen:
        return [name for name in chosen if given[name]["applies"]["kind"] in (kind, "any")]
    polarity = "positive" if facts.polarity == "positive" else "negative"
    long_side = max(facts.size_mm) if facts.size_mm else 0.0
    large = long_side > _LONG_SIDE_4X5_MM and facts.kind not in _SMALL_KINDS
    wanted = {"kind": kind, "polarity": polarity, "size": "over_4x5" if large else "to_4x5"}
    return [
        name
        for name, table in given.items()
        if all(table["applies"][key] in (value, "any") for key, value in wanted.items())
    ]


def judge(measures: list[dict[str, Any]], table_id: str) -> dict[str, Any]:
    """Return the verdict of one table on the measures of one target."""
    given = limits()
    table = given["tables"][table_id]
    by_name = {measure["name"]: measure for measure in measures}
    criteria, left_out = [], []
    for name, row in table["criteria"].items():
        source = given["sources"][row["source"]]
        measure = by_name.get(row["measure"])
        absent = _not_judged(row, measure)
        if absent is not None:
            left_out.append({"criterion": name, **absent})
            continue
        assert measure is not None
        criteria.append(_criterion(name, row, measure, table["levels"], source))
    reached = [criterion["level_index"] for criterion in criteria]
    overall = min(reached) if reached else None
    return {
        "table": table_id,
        "family": table["family"],
        "title": table["title"],
        "level_word": table["level_word"],
        "levels": table["levels"],
        "criteria": criteria,
        "not_judged": left_out,
        "silent_on": table.get("silent_on", []),
        "print_notes": table.get("print_notes", []),
        "overall": None if overall is None or overall < 0 else table["levels"][overall],
        "overall_index": overall,
        "complete": bool(criteria)
        and not any(entry["reason"] == "not measured" for entry in left_out),
        "read_in_original": all(criterion["read_in_original"] for criterion in criteria),
        "from_memory": any(criterion["from_memory"] for criterion in criteria),
        "statement": STATEMENT,
    }


def _not_judged(row: dict[str, Any], measure: dict[str, Any] | None) -> dict[str, str] | None:
    """Return why a row cannot be judged, None where it can."""
    if row.get("judged") is False:
        return {"reason": "no measure of a rig", "why": row.get("why", "")}
    if measure is None:
        return {"reason": "not measured", "why": "the target holds nothing to measure it by"}
    if measure["value"] is None:
        reason = "not measured" if measure.get("applies", True) else "does not apply"
        return {"reason": reason, "why": measure["note"]}
    return None


def _criterion(
    name: str,
    row: dict[str, Any],
    measure: dict[str, Any],
    levels: list[str],
    source: dict[str, Any],
) -> dict[str, Any]:
    decimals = DECIMALS.get(measure["name"], DEFAULT_DECIMALS)
    values = [
        (entry["where"], entry["value"])
        for entry in measure.get("values") or [{"where": "", "value": measure["value"]}]
    ]
    worst_level, worst = len(levels), values[0]
    for where, value in values:
        level = _level(round(value, decimals), row, levels)
        if level < worst_level or (level == worst_level and _worse(value, worst[1], row)):
            worst_level, worst = level, (where, value)
    return {
        "criterion": name,
        "measure": measure["name"],
        "value": worst[1],
        "where": worst[0],
        "unit": row["unit"],
        "level": levels[worst_level] if worst_level >= 0 else None,
        "level_index": worst_level,
        "limits": {
            level: limit_text(row, index, row["unit"]) for index, level in enumerate(levels)
        },
        "fails": [
            {"level": level, "by": by, "limit": limit_text(row, index, row["unit"])}
            for index, level in enumerate(levels)
            if (by := _excess(round(worst[1], decimals), row, index)) is not None
        ],
        "source": source["title"],
        "edition": source["edition"],
        "read_in_original": bool(source["read_in_original"]),
        "from_memory": bool(row.get("from_memory", False)),
        "note": " ".join(filter(None, (measure.get("note", ""), row.get("note", "")))),
    }


def _rule(row: dict[str, Any], index: int) -> str:
    return str(row["rules"][index] if "rules" in row else row["rule"])


def _limit(row: dict[str, Any], index: int) -> Any:
    limit = row["limits"][index]
    if limit is not None and "slack_percent" in row:
        return limit * (1 - row["slack_percent"][index] / 100)
    return limit


def _excess(value: float, row: dict[str, Any], index: int) -> float | None:
    """Return by how much the value misses the limit of a level (0 at the limit), None if met."""
    limit, rule = _limit(row, index), _rule(row, index)
    if limit is None:
        return None
    if rule == "inside":
        low, high = limit
        return None if low <= value <= high else round(max(low - value, value - high), 6)
    met = {
        "less": value < limit,
        "at_most": value <= limit,
        "greater": value > limit,
        "at_least": value >= limit,
    }[rule]
    return None if met else round(abs(value - limit), 6)


def _level(value: float, row: dict[str, Any], levels: list[str]) -> int:
    """Return the index of the highest level met with all below it, -1 for none."""
    reached = -1
    for index in range(len(levels)):
        if _excess(value, row, index) is not None:
            break
        reached = index
    return reached


def _worse(value: float, other: float, row: dict[str, Any]) -> bool:
    rule = _rule(row, 0)
    if rule == "inside":
        ends = row["limits"][-1] or row["limits"][0]
        middle = (ends[0] + ends[1]) / 2
        return bool(abs(value - middle) > abs(other - middle))
    return bool(value > other) if rule in ("less", "at_most") else bool(value < other)


def limit_text(row: dict[str, Any], index: int, unit: str) -> str:
    """Return a limit as a person reads it, e.g. "< 3 %" or "40 to 65 % of half sampling"."""
    limit, rule = row["limits"][index], _rule(row, index)
    if limit is None:
        return "no limit printed"
    if rule == "inside":
        return f"{limit[0]:g} to {limit[1]:g} {unit}".strip()
    sign = {"less": "<", "at_most": "<=", "greater": ">", "at_least": ">="}[rule]
    slack = f" (less {row['slack_percent'][index]:g} %)" if "slack_percent" in row else ""
    return f"{sign} {limit:g} {unit}".strip() + slack
