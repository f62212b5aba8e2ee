"""What a run holds while it works: memory, open files, and whether its items add up."""

from __future__ import annotations

import json
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

from faults import kills
from glassine.base import item_states
from glassine.base.errors import GlassineError


@dataclass
class Seen:
    """Peaks over a run. engine_mb: resident memory of the engine's process; jobs_mb: of the
    largest other process; open_files: most in any one process; looks: how often items were
    counted; wrong: counts that did not add up."""

    engine_mb: float = 0.0
    jobs_mb: float = 0.0
    open_files: int = 0
    looks: int = 0
    wrong: list[dict[str, int]] = field(default_factory=list)


def _resident_mb(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS:"):
            return int(line.split()[1]) / 1024
    return 0.0


def _look_at(pid: int, engine: bool, seen: Seen) -> None:
    try:
        memory = _resident_mb(pid)
        opened = len(list(Path(f"/proc/{pid}/fd").iterdir()))
    except OSError:
        return  # it has ended meanwhile
    seen.open_files = max(seen.open_files, opened)
    if engine:
        seen.engine_mb = max(seen.engine_mb, memory)
    else:
        seen.jobs_mb = max(seen.jobs_mb, memory)


def _count(results: Path, seen: Seen) -> None:
    """Count the items while jobs write: every item is in one state, at every moment."""
    try:
        wanted = len(json.loads((results / "intake.json").read_text("utf-8"))["items"])
        counts = item_states.counts(item_states.batch_status(results))
    except (OSError, ValueError, GlassineError):
        return  # not taken in yet
    seen.looks += 1
    total = sum(counts[state] for state in item_states.STATES)
    if total != wanted or counts["total"] != wanted:
        seen.wrong.append(counts)


def watched(run: subprocess.Popen[bytes], results: Path, pause_s: float) -> Seen:
    """Look at a run until it ends."""
    seen = Seen()
    while run.poll() is None:
        for pid in [run.pid, *kills.descendants(run.pid)]:
            _look_at(pid, pid == run.pid, seen)
        _count(results, seen)
        time.sleep(pause_s)
    return seen
