"""Targets over time: one small database under results, and when a measure began to drift.

The database (SQLite) is a summary: every figure in it also stands in the results of its batch,
and it can be made anew from them.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from contextlib import closing
from pathlib import Path
from typing import Literal

import numpy as np
import numpy.typing as npt

from glassine.base import files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.batch_targets import Course, Drift, Point, Series
from glassine.base.records.parts import FindingNote
from glassine.base.records.target import TargetResult
from glassine.targets import plots

SCHEMA_VERSION = 1
# Measures kept, those whose course says something of focus, colour or light.
KEPT = (
    "sampling_rate", "scale_error", "distortion", "sfr10", "sfr50", "sfr_half_sampling",
    "sfr_peak", "misregistration", "illuminance_nonuniformity", "tone_error_density",
    "tone_error_lightness", "white_balance", "de2000_mean", "de2000_max", "noise_lightness",
    "dynamic_range", "exposure_error", "light_level", "banding",
)  # fmt: skip
# Captures before a drift can be told from the rig's usual scatter.
BASELINE = 5
# CUSUM after E. S. Page, Biometrika 41 (1954), 100-115: allowance and decision in units of the
# usual scatter; 0.5 and 5 as handbooks of process control advise (value from memory).
ALLOWANCE = 0.5
DECISION = 5.0

_TABLES = """
CREATE TABLE IF NOT EXISTS point (
  batch TEXT NOT NULL, file TEXT NOT NULL, target TEXT NOT NULL, taken TEXT NOT NULL,
  measure TEXT NOT NULL, value REAL NOT NULL, unit TEXT NOT NULL,
  PRIMARY KEY (batch, file, measure)
) WITHOUT ROWID;
"""


Direction = Literal["rising", "falling"]
Courses = dict[tuple[str, str], list[Point]]


def _open(database: Path) -> sqlite3.Connection:
    try:
        database.parent.mkdir(parents=True, exist_ok=True)
        connection = sqlite3.connect(database, timeout=30)
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version not in (0, SCHEMA_VERSION):
            raise sqlite3.DatabaseError(f"it is of version {version}")
        connection.executescript(_TABLES)
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    except sqlite3.Error as problem:
        raise GlassineError.because(
            "targets.trend",
            database.name,
            f"The record of earlier targets cannot be used: {problem}.",
            "the database this workflow writes.",
            "Move it away; it is made anew from the results of the batches.",
        ) from problem
    return connection


def record(database: Path, batch: str, results: Iterable[TargetResult]) -> None:
    """Add the measures of a batch's targets; those it had before are replaced.

    A target captured more than once in a batch gives a point each time.
    Raises GlassineError for a file that is no such database.
    """
    rows = [
        (batch, result.file, result.target, result.taken, measure.name, float(measure.value),
         measure.unit)
        for result in results
        if result.state == "measured"
        for measure in result.measures
        if measure.name in KEPT and measure.value is not None
    ]  # fmt: skip
    with closing(_open(database)) as connection, connection:
        connection.execute("DELETE FROM point WHERE batch = ?", (batch,))
        connection.executemany("INSERT INTO point VALUES (?, ?, ?, ?, ?, ?, ?)", rows)


def courses(database: Path) -> Courses:
    """Return for each (target, measure) its points in order of capture."""
    known: Courses = {}
    if not database.exists():
        return known
    with closing(_open(database)) as connection:
        rows = connection.execute(
            "SELECT target, measure, taken, batch, value, unit FROM point "
            "ORDER BY target, measure, taken, batch, file"
        ).fetchall()
    for target, measure, taken, batch, value, unit in rows:
        point = Point(batch=batch, taken=taken, value=value, unit=unit)
        known.setdefault((target, measure), []).append(point)
    return known


def drifts(known: Courses) -> list[Drift]:
    """Return the measures that drift, and since which batch."""
    return [
        drift
        for (target, measure), points in known.items()
        if (drift := _drift(target, measure, points)) is not None
    ]


def _drift(target: str, measure: str, points: list[Point]) -> Drift | None:
    begun = began(point.value for point in points)
    if begun is None:
        return None
    index, direction, baseline, scatter = begun
    return Drift(
        target=target,
        measure=measure,
        unit=points[-1].unit,
        since=points[index].batch,
        taken=points[index].taken,
        direction=direction,
        baseline=baseline,
        scatter=scatter,
        latest=points[-1].value,
    )


def findings(drifting: list[Drift], batch: str) -> list[Finding]:
    """Return what a person should look at: one finding for each measure that drifts."""
    return [
        Finding(
            "targets.drift",
            drift.target,
            f"{drift.measure.replace('_', ' ')} has been {drift.direction} since batch "
            f"{drift.since} ({drift.taken}): {drift.latest:.4g} {drift.unit} in {batch}.",
            f"about {drift.baseline:.4g} {drift.unit}, as in the first captures of this target.",
            "Compare the plots of both batches, then check focus, lamps and lens.",
            "review",
        )
        for drift in drifting
    ]


def section(database: Path, out_dir: Path, batch: str) -> Course:
    """Write a plot of each series into `out_dir` and return the course, for the report page."""
    known = courses(database)
    drifting = drifts(known)
    return Course(
        series=[_series(out_dir, *key, points) for key, points in known.items()],
        drifts=drifting,
        findings=[FindingNote(**finding.as_dict()) for finding in findings(drifting, batch)],
    )


def _series(out_dir: Path, target: str, measure: str, points: list[Point]) -> Series:
    name = None
    if len(points) > 1:
        name = f"trend.{target}.{measure}.svg"
        title = f"{measure.replace('_', ' ')}, {target}"
        files.write_text(out_dir / name, plots.trend_plot(points, title))
    return Series(target=target, measure=measure, unit=points[-1].unit, points=points, plot=name)


def began(values: Iterable[float]) -> tuple[int, Direction, float, float] | None:
    """Return (index at which a drift began, "rising" or "falling", usual value, scatter), or None.

    The usual value is the median of the first captures, the scatter comes from the steps between
    neighbours; the sum of departures beyond the allowance (CUSUM) tells the drift, and least
    squares its start.
    A single outlier that comes back is no drift.
    """
    course = np.array(list(values), dtype=float)
    if len(course) <= BASELINE:
        return None
    usual = float(np.median(course[:BASELINE]))
    # From night to night, so that a drift does not widen it; five captures alone tell it badly.
    # Never less than 0.2 % of the value. The factor makes it a standard deviation (Gauss).
    steps = np.abs(np.diff(course))
    scatter = max(1.4826 * float(np.median(steps)) / np.sqrt(2), 0.002 * abs(usual), 1e-6)
    ways: tuple[tuple[float, Direction], ...] = ((1.0, "rising"), (-1.0, "falling"))
    for sign, direction in ways:
        total = 0.0
        for value in course:
            step = sign * (value - usual) / scatter - ALLOWANCE
            total = max(0.0, total + min(step, DECISION - ALLOWANCE))
        if total > DECISION:
            return _start(course), direction, usual, scatter
    return None


def _start(course: npt.NDArray[np.float64]) -> int:
    """Return the index from which a step or a steady climb explains the course best.

    Least squares over all starts, each with both forms.
    """
    place = np.arange(len(course), dtype=float)
    best, start = np.inf, len(course) - 1
    for index in range(1, len(course)):
        for form in (place >= index, np.clip(place - index + 1, 0, None)):
            terms = np.stack([np.ones_like(place), form.astype(float)], 1)
            fitted = terms @ np.linalg.lstsq(terms, course, rcond=None)[0]
            rest = float(np.square(course - fitted).sum())
            if rest < best - 1e-12:
                best, start = rest, index
    return start
