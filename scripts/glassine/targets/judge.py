"""Judge measures against the tables of config/target_limits.yaml.

A table gives levels, lowest first; the level reached by a criterion is the highest one such that
it and all below it are met, and the level reached overall is the lowest of the criteria that
could be judged. A criterion that nothing was measured for is named, never taken for met.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import UNSET

from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.records.target import Criterion, Judgement, Measure, Miss, NotJudged, PlacedValue
from glassine.base.records.target_limits import Applies, LimitsFile, Row, Source
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


def limits(path: Path = LIMITS_PATH) -> LimitsFile:
    """Return the limits file. Raises GlassineError for mistakes in it."""
    return _limits(str(path), path.stat().st_mtime_ns if path.exists() else 0)


@cache
def _limits(path: str, _changed: int) -> LimitsFile:
    where = Path(path)
    loaded = read_yaml(where, trusted=True)
    problems = settings.problems(loaded, files.read_schema("target_limits"), where.name)
    if problems:
        raise GlassineError(problems)
    try:
        known = msgspec.convert(loaded, LimitsFile)
    except (
        msgspec.ValidationError
    ) as problem:  # what the schema passes: YAML's names may be numbers
        raise GlassineError.because(
            "targets.limits",
            where.name,
            f"It is not built as it should be: {problem}.",
            "text as the name of each source, table and row.",
            "Put names that are numbers into quotes.",
        ) from problem
    for name, table in known.tables.items():
        for key, row in table.criteria.items():
            _check_row(key, row, name, known, where.name)
    return known


def _check_row(key: str, row: Row, name: str, known: LimitsFile, where: str) -> None:
    table = known.tables[name]
    counts = {len(row.limits), len(row.rules or row.limits)}
    if counts != {len(table.levels)} or (row.rule is UNSET) == (row.rules is UNSET):
        raise GlassineError.because(
            "targets.limits",
            where,
            f"The row {key} of {name} does not fit the table's levels.",
            "one limit (and one rule, or one for each) per level.",
            "Correct the row.",
        )
    if row.judged and not all(map(_can_be_met, row.limits, _rules(row))):
        raise GlassineError.because(
            "targets.limits",
            where,
            f"The row {key} of {name} has a limit that no value can be compared with.",
            "a number for each level, [lowest, highest] for `inside`, null where none is printed.",
            "Correct the row, or set `judged: false` where it says nothing of a rig.",
        )
    if row.slack_percent and len(row.slack_percent) != len(table.levels):
        raise GlassineError.because(
            "targets.limits",
            where,
            f"The row {key} of {name} has {len(row.slack_percent)} values of `slack_percent`.",
            "one for each level.",
            "Correct the row.",
        )
    if row.source not in known.sources:
        raise GlassineError.because(
            "targets.limits",
            where,
            f"The row {key} of {name} names the unknown source {row.source!r}.",
            "a key of `sources`.",
            "Add the source, or correct its name.",
        )


def _rules(row: Row) -> list[str]:
    return row.rules or [str(row.rule)] * len(row.limits)


def _can_be_met(limit: Any, rule: str) -> bool:
    if limit is None:
        return True
    ends = limit if rule == "inside" and isinstance(limit, list) and len(limit) == 2 else [limit]
    numbers = all(isinstance(end, int | float) and not isinstance(end, bool) for end in ends)
    return numbers and (len(ends) == 2) == (rule == "inside")


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
    tables = limits().tables
    chosen = list(named)
    unknown = [name for name in chosen if name not in tables]
    if unknown:
        raise GlassineError.because(
            "targets.table",
            "config/config.yaml",
            f"There is no table of limits named {', '.join(unknown)}.",
            f"names out of {', '.join(tables)}.",
            "Correct `targets.tables`.",
        )
    if chosen:
        return [name for name in chosen if tables[name].applies.kind in (kind, "any")]
    polarity = "positive" if facts.polarity == "positive" else "negative"
    long_side = max(facts.size_mm) if facts.size_mm else 0.0
    large = long_side > _LONG_SIDE_4X5_MM and facts.kind not in _SMALL_KINDS
    size = "over_4x5" if large else "to_4x5"
    return [name for name, table in tables.items() if _fits(table.applies, kind, polarity, size)]


def _fits(applies: Applies, kind: str, polarity: str, size: str) -> bool:
    return (
        applies.kind in (kind, "any")
        and applies.polarity in (polarity, "any")
        and applies.size in (size, "any")
    )


def judge(measures: Iterable[Measure], table_id: str) -> Judgement:
    """Return the verdict of one table on the measures of one target."""
    known = limits()
    table = known.tables[table_id]
    by_name = {measure.name: measure for measure in measures}
    criteria, left_out = [], []
    for name, row in table.criteria.items():
        measure = by_name.get(row.measure)
        absent = _not_judged(name, row, measure)
        if absent is not None:
            left_out.append(absent)
            continue
        assert measure is not None
        criteria.append(_criterion(name, row, measure, table.levels, known.sources[row.source]))
    reached = [criterion.level_index for criterion in criteria]
    overall = min(reached) if reached else None
    return Judgement(
        table=table_id,
        family=table.family,
        title=table.title,
        level_word=table.level_word,
        levels=table.levels,
        criteria=criteria,
        not_judged=left_out,
        silent_on=table.silent_on,
        print_notes=table.print_notes,
        overall=None if overall is None or overall < 0 else table.levels[overall],
        overall_index=overall,
        complete=bool(criteria) and not any(entry.reason == "not measured" for entry in left_out),
        read_in_original=all(criterion.read_in_original for criterion in criteria),
        from_memory=any(criterion.from_memory for criterion in criteria),
        statement=STATEMENT,
    )


def _not_judged(name: str, row: Row, measure: Measure | None) -> NotJudged | None:
    """Return why a row cannot be judged, None where it can."""
    if not row.judged:
        return NotJudged(criterion=name, reason="no measure of a rig", why=row.why)
    if measure is None:
        why = "the target holds nothing to measure it by"
        return NotJudged(criterion=name, reason="not measured", why=why)
    if measure.value is None:
        reason: Literal["not measured", "does not apply"]
        reason = "not measured" if measure.applies else "does not apply"
        return NotJudged(criterion=name, reason=reason, why=measure.note)
    return None


def _criterion(
    name: str, row: Row, measure: Measure, levels: list[str], source: Source
) -> Criterion:
    decimals = DECIMALS.get(measure.name, DEFAULT_DECIMALS)
    assert measure.value is not None
    values = measure.values or [PlacedValue(where="", value=measure.value)]
    worst_level, worst = len(levels), values[0]
    for placed in values:
        level = _level(round(placed.value, decimals), row, levels)
        if level < worst_level or (level == worst_level and _worse(placed.value, worst.value, row)):
            worst_level, worst = level, placed
    texts = {level: limit_text(row, index, row.unit) for index, level in enumerate(levels)}
    return Criterion(
        criterion=name,
        measure=measure.name,
        value=worst.value,
        where=worst.where,
        unit=row.unit,
        level=levels[worst_level] if worst_level >= 0 else None,
        level_index=worst_level,
        limits=texts,
        fails=[
            Miss(level=level, by=by, limit=texts[level])
            for index, level in enumerate(levels)
            if (by := _excess(round(worst.value, decimals), row, index)) is not None
        ],
        source=source.title,
        edition=source.edition,
        read_in_original=source.read_in_original,
        from_memory=row.from_memory,
        note=" ".join(filter(None, (measure.note, row.note))),
    )


def _rule(row: Row, index: int) -> str:
    return _rules(row)[index]


def _limit(row: Row, index: int) -> Any:
    limit: Any = row.limits[index]
    if limit is not None and row.slack_percent:
        return limit * (1 - row.slack_percent[index] / 100)
    return limit


def _excess(value: float, row: Row, index: int) -> float | None:
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


def _level(value: float, row: Row, levels: list[str]) -> int:
    """Return the index of the highest level met with all below it, -1 for none."""
    reached = -1
    for index in range(len(levels)):
        if _excess(value, row, index) is not None:
            break
        reached = index
    return reached


def _worse(value: float, other: float, row: Row) -> bool:
    rule = _rule(row, 0)
    if rule == "inside":
        ends: Any = row.limits[-1] or row.limits[0]
        if ends is None:
            return False
        middle = (ends[0] + ends[1]) / 2
        return bool(abs(value - middle) > abs(other - middle))
    return bool(value > other) if rule in ("less", "at_most") else bool(value < other)


def limit_text(row: Row, index: int, unit: str) -> str:
    """Return a limit as a person reads it, e.g. "< 3 %" or "40 to 65 % of half sampling"."""
    limit: Any = row.limits[index]
    rule = _rule(row, index)
    if limit is None:
        return "no limit printed"
    if rule == "inside":
        return f"{limit[0]:g} to {limit[1]:g} {unit}".strip()
    sign = {"less": "<", "at_most": "<=", "greater": ">", "at_least": ">="}[rule]
    slack = f" (less {row.slack_percent[index]:g} %)" if row.slack_percent else ""
    return f"{sign} {limit:g} {unit}".strip() + slack
