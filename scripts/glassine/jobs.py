"""The frame around each job: its log, its time, its way to fail, and its end with the run.

Entry scripts put their one call between `with jobs.item_step(...)`. What goes wrong is told in
held.json and the log in plain words; the exit code is 1; no traceback is shown (an unexpected
error's traceback goes to the log file only).
"""

from __future__ import annotations

import contextlib
import fcntl
import os
import resource
import sys
import threading
import time
import traceback
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from glassine import clock, files
from glassine.errors import Finding, GlassineError

# Set by the Snakefile to "<pid> <start time>" of the process that leads the run.
LEADER = "GLASSINE_LEADER"
_WATCH_S = 0.2


def process_start(pid: int) -> str | None:
    """Return the start time of a process in clock ticks (proc(5), field 22), or None if gone."""
    try:
        text = Path(f"/proc/{pid}/stat").read_text("utf-8", "replace")
    except OSError:
        return None
    fields = text.rpartition(")")[2].split()
    # A dead leader that nobody has waited for yet (state Z) leads no more.
    return None if fields[0] in {"Z", "X"} else fields[19]


def leader_mark() -> str:
    """Return the mark of this process as the leader of a run."""
    return f"{os.getpid()} {process_start(os.getpid())}"


def _follow_leader() -> None:
    """End this process at once when the run's leader is gone.

    A job that outlived a killed run would go on writing beside the next run.
    """
    pid_text, _, start = os.environ.get(LEADER, "").partition(" ")
    if not pid_text.isdigit():
        return
    if process_start(int(pid_text)) != start:
        os._exit(70)

    def watch() -> None:
        while process_start(int(pid_text)) == start:
            time.sleep(_WATCH_S)
        os._exit(70)

    threading.Thread(target=watch, daemon=True, name="leader-watch").start()


def share_jobs_lock(root: Path) -> int:
    """Hold the shared lock that tells the next run that jobs of this one are still alive."""
    root.mkdir(parents=True, exist_ok=True)
    handle = os.open(root / ".jobs.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    fcntl.flock(handle, fcntl.LOCK_SH)
    return handle


def _unexpected(step: str, log: Path, problem: BaseException) -> Finding:
    no_space = isinstance(problem, OSError) and problem.errno == 28
    if no_space:
        what, next_step = "The disk is full.", "Free space on the results' disk and run again."
    elif isinstance(problem, MemoryError):
        what, next_step = (
            "Memory ran out.",
            "Run with fewer cores, or give the machine more memory.",
        )
    elif isinstance(problem, OSError):
        what = (
            f"The system refused: {problem.strerror or problem} ({problem.filename or 'no file'})."
        )
        next_step = "Check disk, share and rights, then run again."
    else:
        what = f"The step ended unexpectedly: {type(problem).__name__}: {problem}"[:500]
        next_step = f"Run again; if it repeats, send {log} to whoever maintains this installation."
    return Finding(f"{step}.unexpected", str(log), what, "a step that ends.", next_step)


def _tell(log: Path, findings: list[Finding], trace: str) -> None:
    lines = [finding.sentence() for finding in findings]
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("a", encoding="utf-8") as handle:
        handle.write("\n".join([*lines, trace] if trace else lines) + "\n")
    sys.stderr.write("".join(f"HELD {line}\n" for line in lines))


def _write_timing(folder: Path, step: str, started: float) -> None:
    usage = resource.getrusage(resource.RUSAGE_SELF)
    files.write_json(
        folder / f"{step}.json",
        {
            "step": step,
            "seconds": round(time.time() - started, 3),
            "cpu_s": round(usage.ru_utime + usage.ru_stime, 3),
            "max_rss_mb": round(usage.ru_maxrss / 1024, 1),
            "started": clock.now_text(),
        },
    )


def _release(item_dir: Path, step: str) -> None:
    """Remove held.json where it told of this very step, which has now succeeded."""
    held = item_dir / "held.json"
    if not held.exists():
        return
    with contextlib.suppress(GlassineError):
        if files.read_json(held).get("step") != step:
            return
    held.unlink()


@contextlib.contextmanager
def guarded(step: str, log: Path, held: Path | None, facts: dict[str, Any]) -> Iterator[None]:
    """Run a step; on failure tell why in `log` and `held`, and end the process with code 1."""
    _follow_leader()
    try:
        yield
    except Exception as problem:
        expected = isinstance(problem, GlassineError)
        findings = (
            problem.findings
            if isinstance(problem, GlassineError)
            else [_unexpected(step, log, problem)]
        )
        trace = "" if expected else traceback.format_exc()
        with contextlib.suppress(OSError):
            if held is not None:
                files.write_json(
                    held,
                    {
                        **facts,
                        "step": step,
                        "time": clock.now_text(),
                        "findings": [finding.as_dict() for finding in findings],
                    },
                )
            _tell(log, findings, trace)
        sys.stderr.flush()
        # At once, past the engine's wrapper: an exception would show a traceback.
        os._exit(1)


@contextlib.contextmanager
def item_step(step: str, item: str, item_dir: Path, log: Path) -> Iterator[None]:
    """Run one step of an item; `item_dir` gets held.json on failure and a timing on success."""
    with _step(step, {"item": item}, item_dir, item_dir.parents[2], log):
        yield
        _release(item_dir, step)


@contextlib.contextmanager
def batch_step(step: str, batch: str, results_dir: Path, log: Path) -> Iterator[None]:
    """Run one step of a batch; `results_dir` gets held.json on failure and a timing on success."""
    with _step(step, {"batch": batch}, results_dir, results_dir.parent, log):
        yield
        _release(results_dir, step)


@contextlib.contextmanager
def _step(step: str, facts: dict[str, Any], folder: Path, root: Path, log: Path) -> Iterator[None]:
    started = time.time()
    with guarded(step, log, folder / "held.json", facts):
        handle = share_jobs_lock(root)
        yield
        _write_timing(folder / "timings", step, started)
        log.parent.mkdir(parents=True, exist_ok=True)
        log.write_text(f"{clock.now_text()} {step}: done\n", "utf-8")
        os.close(handle)
