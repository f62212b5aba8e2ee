"""The table of limits and how a value is judged by it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from glassine.base.errors import GlassineError
from glassine.base.model import Facts, MasterGeometry
from glassine.base.records.quality import Measure, Verdict
from glassine.base.settings import PROJECT, read_own, read_yaml
from glassine.render.given import QualitySection

LIMITS_PATH = PROJECT / "config" / "quality_limits.yaml"
# Film up to 4 x 5 inches: 102 x 127 mm, with a margin for carriers' cut.
SMALL_MM = (104.0, 130.0)
NO_LIMIT = "no limit: recorded for comparison"


@dataclass(frozen=True)
class Limit:
    """What one measure must keep. keep: beyond it, review; fail: beyond it, fail."""

    unit: str
    at_most: bool
    keep: float | None
    fail: float | None
    source: str

    def verdict(self, value: float | int | None) -> Verdict:
        """Return the verdict on `value`; None is what could not be measured."""
        if value is None:
            return "pass" if self.keep is None else "not measured"
        if self.fail is not None and self._beyond(value, self.fail):
            return "fail"
        return "review" if self.keep is not None and self._beyond(value, self.keep) else "pass"

    def _beyond(self, value: float, bound: float) -> bool:
        return value > bound if self.at_most else value < bound

    def text(self) -> str | None:
        if self.keep is None:
            return None
        return f"{'<=' if self.at_most else '>='} {self.keep:g} {self.unit}".strip()


def prepare() -> None:
    """Read the project's own table, once a process."""
    _table(LIMITS_PATH)


@lru_cache(maxsize=4)
def _table(path: Path) -> dict[str, Any]:
    loaded = read_own(path) if path == LIMITS_PATH else read_yaml(path, trusted=True)
    if not isinstance(loaded, dict) or not isinstance(loaded.get("limits"), dict):
        raise GlassineError.because(
            "quality.limits",
            path,
            "The table of limits has no mapping `limits`.",
            "measures with unit, direction, pass and source, as config/quality_limits.yaml has.",
            "Correct the file, or set `quality.limits` to null.",
        )
    limits: dict[str, Any] = loaded["limits"]
    return limits


def material(geometry: MasterGeometry, facts: Facts) -> str:
    """Return the column of the table: film_small, film_large or print."""
    kind = facts.kind if facts.kind != "auto" else geometry.kind
    if kind == "print":
        return "print"
    if facts.size_mm is not None:
        short, long = sorted(facts.size_mm)
        return "film_small" if short <= SMALL_MM[0] and long <= SMALL_MM[1] else "film_large"
    return "film_large" if kind == "plate" else "film_small"


def limit(name: str, column: str, settings: QualitySection) -> Limit | None:
    """Return the limit of measure `name`; None where the table has none."""
    path = Path(settings.limits) if settings.limits else LIMITS_PATH
    row = _table(path).get(name)
    if row is None:
        return None
    try:
        keep = row["pass"].get(column)
        if isinstance(keep, list):
            keep = keep[settings.level - 1]
        at_most = {"at_most": True, "at_least": False}[row["direction"]]
        fail = row.get("fail")
        return Limit(
            str(row["unit"]),
            at_most,
            None if keep is None else float(keep),
            None if fail is None else float(fail),
            str(row["source"]),
        )
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as problem:
        raise GlassineError.because(
            "quality.limits",
            path,
            f"The limits of `{name}` cannot be read: {problem}.",
            "unit, direction (at_most or at_least), pass (by material) and source.",
            f"Correct the entry `{name}`.",
        ) from problem


def judged(
    name: str,
    value: float | int | None,
    unit: str,
    column: str,
    settings: QualitySection,
    agreed: float | None = None,
) -> Measure:
    """Return the measure `name` with its limit and verdict; floats rounded to 6 digits.

    agreed: a limit that batch.yaml states, in place of the table's.
    """
    rounded = round(value, 6) if isinstance(value, float) else value
    table_limit = limit(name, column, settings)
    if table_limit is not None and agreed is not None:
        table_limit = replace(
            table_limit, keep=agreed, fail=None, source="agreed for this batch (batch.yaml)"
        )
    if table_limit is None:
        return Measure(name, rounded, unit, None, "pass", NO_LIMIT)
    return Measure(
        name,
        rounded,
        table_limit.unit,
        table_limit.text(),
        table_limit.verdict(rounded),
        table_limit.source,
    )
