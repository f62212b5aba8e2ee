"""Results of benchmarks: one schema for all, in `results/NAME.json`.

name, command (as typed), date (UTC), machine (cpu, cores, memory_gb, python; null where it is not
known), rows (flat objects). Further, where they say more: summary (a flat object, shown in place
of the rows) and source (where the figures come from that no run of the command wrote).
"""

from __future__ import annotations

import contextlib
import json
import math
import os
import platform
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

Value = str | int | float | bool | None
Row = dict[str, Value]


@dataclass(frozen=True)
class Outcome:
    """Rows of a run; good: what the benchmark demands is kept; summary: the rows in short."""

    rows: list[Row]
    good: bool = True
    summary: Row | None = None


def figure(value: float, digits: int) -> float | None:
    """Return the value rounded, None where there is none (NaN): JSON has no such number."""
    return round(float(value), digits) if math.isfinite(value) else None


def machine() -> dict[str, Value]:
    cpu = None
    with contextlib.suppress(OSError):
        for line in Path("/proc/cpuinfo").read_text("utf-8").splitlines():
            if line.startswith("model name"):
                cpu = line.partition(":")[2].strip()
                break
    memory = os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    return {
        "cpu": cpu,
        "cores": len(os.sched_getaffinity(0)),
        "memory_gb": round(memory / 2**30, 1),
        "python": platform.python_version(),
    }


def keep(path: Path, command: str, outcome: Outcome) -> None:
    """Write the outcome of `command` to `path`, results/NAME.json."""
    content: dict[str, Any] = {
        "name": path.stem,
        "command": command,
        "date": time.strftime("%Y-%m-%d", time.gmtime()),
        "machine": machine(),
        "rows": outcome.rows,
    }
    if outcome.summary is not None:
        content["summary"] = outcome.summary
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False, default=_plain) + "\n"
    new = path.with_suffix(".new")
    path.parent.mkdir(exist_ok=True)
    new.write_text(text, "utf-8")
    new.replace(path)


def _plain(value: Any) -> Any:
    """Return a number of numpy as Python's own: a long run is not lost for one."""
    if hasattr(value, "item"):
        return value.item()
    raise TypeError(f"{value!r} cannot stand in a result")


def differences(before: list[Row], now: list[Row]) -> list[str]:
    """Return a line for each figure that stands in rows of the same first column, and differs."""
    old = {next(iter(row.values())): row for row in before if row}
    lines = []
    for row in now:
        label = next(iter(row.values()))
        for column, value in row.items():
            last = old.get(label, {}).get(column)
            if isinstance(value, int | float) and last is not None and last != value:
                lines.append(f"{label}: {column} {last} last time, {value} now")
    return lines
