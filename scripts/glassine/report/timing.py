"""How long the steps took: from the timings that each step leaves with its item."""

from __future__ import annotations

import statistics
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from glassine.base import files
from glassine.base.errors import GlassineError

STEPS = ("verify", "develop", "locate", "look", "render", "embed", "record", "pack")
# A pause longer than this between two steps parts one night from another.
_NEW_SESSION_S = 2 * 3600.0


@dataclass(frozen=True)
class Mark:
    """One step of one item. started: seconds since 1970, or None where it was not written."""

    item: str
    step: str
    seconds: float
    cpu_s: float | None
    max_rss_mb: float | None
    started: float | None


@dataclass(frozen=True)
class Stage:
    """One step over all items of the latest run; times in seconds, memory in MB."""

    step: str
    items: int
    total_s: float
    median_s: float
    longest_s: float
    longest_item: str
    cpu_s: float | None
    max_rss_mb: float | None


@dataclass(frozen=True)
class Throughput:
    """The latest run: from when to when (seconds since 1970), masters, bytes and stages."""

    started: float | None
    span_s: float | None
    masters: int
    bytes: int
    stages: list[Stage]

    @property
    def masters_an_hour(self) -> float | None:
        return self.masters * 3600 / self.span_s if self.span_s and self.masters else None

    @property
    def gigabytes_an_hour(self) -> float | None:
        return self.bytes / 1e9 * 3600 / self.span_s if self.span_s and self.masters else None


def seconds_of(value: Any) -> float | None:
    """Return seconds since 1970 of a number or an xs:dateTime, None for anything else."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if not isinstance(value, str):
        return None
    try:
        moment = datetime.fromisoformat(value)
    except ValueError:
        return None
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _number(value: Any) -> float | None:
    return (
        float(value)
        if isinstance(value, int | float) and not isinstance(value, bool) and value >= 0
        else None
    )


def read_marks(item_dir: Path, item: str) -> list[Mark]:
    """Return the timings of an item; a damaged one is left out (it holds nothing to act on)."""
    marks = []
    for path in sorted((item_dir / "timings").glob("*.json")):
        try:
            record = files.read_json(path)
        except GlassineError:
            continue
        seconds = _number(record.get("seconds")) if isinstance(record, dict) else None
        if seconds is None:
            continue
        marks.append(
            Mark(
                item,
                str(record.get("step") or path.stem),
                seconds,
                _number(record.get("cpu_s")),
                _number(record.get("max_rss_mb")),
                seconds_of(record.get("started")),
            )
        )
    return marks


def latest_run(marks: list[Mark], since: float | None = None) -> list[Mark]:
    """Return the marks of the latest run: those from `since` on, else those after the last pause.

    Marks without a start time belong to every run.
    """
    timed = sorted((mark for mark in marks if mark.started is not None), key=_start)
    if since is None:
        since, end = None, None
        for mark in timed:
            if end is None or _start(mark) - end > _NEW_SESSION_S:
                since = _start(mark)
            end = max(end or 0.0, _start(mark) + mark.seconds)
    return [
        mark for mark in marks if mark.started is None or since is None or _start(mark) >= since - 1
    ]


def _start(mark: Mark) -> float:
    return mark.started or 0.0


def _largest(values: list[float | None]) -> float | None:
    return max((value for value in values if value is not None), default=None)


def _stage(step: str, marks: list[Mark]) -> Stage:
    longest = max(marks, key=lambda mark: mark.seconds)
    cpu = [mark.cpu_s for mark in marks if mark.cpu_s is not None]
    return Stage(
        step,
        len(marks),
        sum(mark.seconds for mark in marks),
        statistics.median(mark.seconds for mark in marks),
        longest.seconds,
        longest.item,
        sum(cpu) if cpu else None,
        _largest([mark.max_rss_mb for mark in marks]),
    )


def throughput(
    marks: list[Mark], masters: dict[str, tuple[int, int]], since: float | None = None
) -> Throughput:
    """Return what the latest run did.

    masters: item -> (number of its masters, their bytes); since: when the run began
    (seconds since 1970), where known.
    """
    run = latest_run(marks, since)
    steps = [step for step in STEPS if any(mark.step == step for mark in run)]
    steps += sorted({mark.step for mark in run} - set(STEPS))
    timed = [mark for mark in run if mark.started is not None]
    begun = min((_start(mark) for mark in timed), default=None)
    ended = max((_start(mark) + mark.seconds for mark in timed), default=None)
    items = {mark.item for mark in run if mark.step != "record"}
    return Throughput(
        begun,
        ended - begun if begun is not None and ended is not None else None,
        sum(masters.get(item, (0, 0))[0] for item in items),
        sum(masters.get(item, (0, 0))[1] for item in items),
        [_stage(step, [mark for mark in run if mark.step == step]) for step in steps],
    )
