"""Which process leads a run, and whether it is there: of what jobs ask five times a second."""

from __future__ import annotations

import os
from pathlib import Path

# Set by the Snakefile to "<pid> <start time>" of the process that leads the run.
LEADER = "GLASSINE_LEADER"
# The same of the job that a fork of the warm process works for.
ASKED_BY = "GLASSINE_ASKED_BY"


def process_start(pid: int) -> str | None:
    """Return the start time of a process in clock ticks (proc(5), field 22), or None if gone."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text("utf-8", "replace")
    except OSError:
        return None
    fields = text.rpartition(")")[2].split()
    # A dead leader that nobody has waited for yet (state Z) leads no more.
    return None if fields[0] in {"Z", "X"} else fields[19]


def mark_of(pid: int) -> str:
    """Return the mark of a process: no other has had it since the machine was started."""
    return f"{pid} {process_start(pid)}"


def goes_on() -> bool:
    """Return whether the leader of this job's run is there, and the job that this process works
    for where that is another (always, where none was told)."""
    return all(_lives(os.environ.get(name, "")) for name in (LEADER, ASKED_BY))


def _lives(mark: str) -> bool:
    pid_text, _, start = mark.partition(" ")
    return not pid_text.isdigit() or process_start(int(pid_text)) == start
