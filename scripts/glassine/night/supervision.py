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
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from glassine.base import clock, files, sandbox
from glassine.base.errors import Finding, GlassineError
from glassine.night import leading


def share_jobs_lock(root: Path) -> int:
    """Hold the shared lock that tells the next run that jobs of this one are still alive."""
    root.mkdir(parents=True, exist_ok=True)
    handle = os.open(root / ".jobs.lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    fcntl.flock(handle, fcntl.LOCK_SH)
    return handle


_FEWER_CORES = "run with fewer cores, or give the machine more memory."
_SIGNALS = {
    signal.SIGKILL: "The system ended the step (SIGKILL), as it does where memory runs out.",
    signal.SIGABRT: "The step broke off (SIGABRT), as libraries do where memory runs out.",
    signal.SIGTRAP: "The step broke off (SIGTRAP), as libraries do where memory runs out.",
}


def _ended(step: str, frame: _Frame, ending: sandbox.Ending) -> Finding:
    """Return what a person is told of a step whose process did not end by itself."""
    log = frame.log
    if ending.late:
        return Finding(
            f"{step}.time",
            str(log),
            f"The step was ended after {frame.seconds:.0f} seconds.",
            f"a step that ends within `{frame.limit}`, of which an item has a share by its pixels.",
            f"Check {frame.concerns}, and that disk and share are not far too slow; else raise "
            f"`{frame.limit}`.",
        )
    number = signal.Signals(ending.signal or 0)
    plain = f"The step crashed ({number.name}), as a decoder may on a damaged or hostile file."
    return Finding(
        f"{step}.crash",
        str(log),
        _SIGNALS.get(number, plain),
        "a step that ends.",
        f"Check {frame.concerns}; else {frame.more_memory}",
    )


def _unexpected(frame: _Frame, problem: BaseException) -> Finding:
    step, log = frame.step, frame.log
    more_memory = f"Check {frame.concerns}; else {frame.more_memory}"
    no_space = isinstance(problem, OSError) and problem.errno == 28
    if no_space:
        what, next_step = "The disk is full.", "Free space on the results' disk and run again."
    elif isinstance(problem, MemoryError):
        what, next_step = "Memory ran out.", more_memory
    elif isinstance(problem, OSError):
        what = (
            f"The system refused: {problem.strerror or problem} ({problem.filename or 'no file'})."
        )
        next_step = "Check disk, share and rights, then run again."
    elif "out of memory" in str(problem).lower():
        what, next_step = "Memory ran out.", more_memory
    else:
        what = f"The step ended unexpectedly: {type(problem).__name__}: {problem}"[:500] + "."
        next_step = f"Run again; if it repeats, send {log} to whoever maintains this installation."
    return Finding(f"{step}.unexpected", str(log), what, "a step that ends.", next_step)


def _tell(log: Path, findings: list[Finding], trace: str) -> None:
    lines = [finding.sentence() for finding in findings]
    log.parent.mkdir(parents=True, exist_ok=True)
    with log.open("a", encoding="utf-8") as handle:
        handle.write("\n".join([*lines, trace] if trace else lines) + "\n")
    # One line a held item: the log, held.json and the report have them all.
    more = f" (and {len(lines) - 1} more, see the report)" if len(lines) > 1 else ""
    sys.stderr.write("".join(f"HELD {line}{more}\n" for line in lines[:1]))


@dataclass(frozen=True)
class _Start:
    """When a step began, and the processor time that its process had used by then."""

    time: float
    cpu_s: float


def _cpu_s() -> float:
    usage = resource.getrusage(resource.RUSAGE_SELF)
    return usage.ru_utime + usage.ru_stime


def _begin() -> _Start:
    """Return the start of a step, with the process's peak of memory counted anew from here."""
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", "ascii")  # proc(5): resets VmHWM
    return _Start(time.time(), _cpu_s())


def _peak_mb() -> float:
    """Return the peak of resident memory since `_begin`, in MB (VmHWM of proc(5))."""
    with contextlib.suppress(OSError):
        for line in Path("/proc/self/status").read_text("ascii", "replace").splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _write_timing(folder: Path, step: str, start: _Start) -> None:
    files.write_json(
        folder / f"{step}.json",
        {
            "step": step,
            "seconds": round(time.time() - start.time, 3),
            "cpu_s": round(_cpu_s() - start.cpu_s, 3),
            "max_rss_mb": round(_peak_mb(), 1),
            "started": clock.text_of(start.time),
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


def _fail(
    log: Path, held: Path, facts: dict[str, Any], findings: list[Finding], trace: str
) -> None:
    """Tell why a step failed, in the log and held.json, and end the process with code 1."""
    with contextlib.suppress(OSError):
        files.write_json(
            held,
            {
                **facts,
                "time": clock.now_text(),
                "findings": [finding.as_dict() for finding in findings],
            },
        )
    with contextlib.suppress(OSError):
        _tell(log, findings, trace)
    sys.stderr.flush()
    # At once, past the engine's wrapper: an exception would show a traceback.
    os._exit(1)


@dataclass(frozen=True)
class _Frame:
    """Where a step tells how it ended, and what it may use."""

    step: str
    facts: dict[str, Any]
    folder: Path
    root: Path
    log: Path
    seconds: float
    memory_bytes: int | None

    @property
    def limit(self) -> str:
        """The setting that bounds the time of the process."""
        return "limits.seconds" if "item" in self.facts else "limits.batch_seconds"

    @property
    def concerns(self) -> str:
        """What a person looks at first."""
        if "item" in self.facts:
            return "that the master is what it should be"
        return "that disk and share answer as they should"

    @property
    def more_memory(self) -> str:
        """What gives the step more memory: only an item's steps have a limit of their own."""
        limited = "item" in self.facts
        return ("raise `limits.memory_mb`, " if limited else "") + _FEWER_CORES

    def fail(self, findings: list[Finding], trace: str = "") -> None:
        facts = {**self.facts, "step": self.step}
        _fail(self.log, self.folder / "held.json", facts, findings, trace)


def _check_room(frame: _Frame) -> None:
    """Raise GlassineError where the results' disk is nearly full: better not to start than to
    stop in the middle, and the report needs room too."""
    needed = sandbox.limits().free_mb
    frame.folder.mkdir(parents=True, exist_ok=True)
    status = os.statvfs(frame.folder)
    free = status.f_bavail * status.f_frsize // 2**20
    if free < needed:
        raise GlassineError.because(
            f"{frame.step}.room",
            frame.root,
            f"The disk of the results is full but for {free} MB; the step was not started.",
            f"at least {needed} MB free (`limits.free_mb`).",
            "Free space on that disk and run again.",
        )


def _supervise(frame: _Frame, step_now: Callable[[], str]) -> None:
    """Return in a child process that may do the work; end this one as the child ends.

    step_now: asked where the child did not end by itself: the step it was in.
    """
    ending = sandbox.split(
        frame.seconds, frame.memory_bytes, sandbox.limits().open_files, leading.goes_on
    )
    if ending is None:
        return
    if ending.abandoned:
        os._exit(70)
    if ending.code is not None:
        os._exit(ending.code)
    step = step_now()
    replace(frame, step=step).fail([_ended(step, frame, ending)])


@contextlib.contextmanager
def _guarded(frame: _Frame) -> Iterator[None]:
    """Run a step; on failure tell why in its log and held.json, and end with code 1."""
    try:
        yield
    except GlassineError as problem:
        frame.fail(problem.findings)
    except Exception as problem:
        frame.fail([_unexpected(frame, problem)], traceback.format_exc())


@contextlib.contextmanager
def item_job(
    item: str,
    item_dir: Path,
    log: Path,
    mem_mb: int | None,
    step_now: Callable[[], str],
    seconds: float | None = None,
) -> Iterator[None]:
    """Run the steps of an item in a process of its own, watched by this one.

    It may take `seconds` (`limits.seconds` where None), and the memory that its pixels are
    expected to need (`mem_mb`) with a margin and `limits.memory_mb`. Where it crashes or passes a
    limit, `held.json` tells so of the step that `step_now` names.
    """
    allowed = sandbox.limits()
    frame = _Frame(
        "item",
        {"item": item},
        item_dir,
        item_dir.parents[2],
        log,
        allowed.seconds if seconds is None else seconds,
        sandbox.memory_for(mem_mb),
    )
    with _job(frame, step_now):
        # No other job works in an item's folder: what lies there half-written is of a job that
        # was killed while its run went on.
        files.sweep(item_dir)
        yield


@contextlib.contextmanager
def item_step(step: str, item: str, item_dir: Path, log: Path) -> Iterator[None]:
    """Do one step of an item; `item_dir` gets held.json on failure and a timing on success."""
    frame = _Frame(step, {"item": item}, item_dir, item_dir.parents[2], log, 0, None)
    with _told(frame):
        yield


@contextlib.contextmanager
def batch_step(step: str, batch: str, results_dir: Path, log: Path) -> Iterator[None]:
    """Run one step of a batch; `results_dir` gets held.json on failure and a timing on success."""
    seconds = sandbox.limits().batch_seconds
    frame = _Frame(step, {"batch": batch}, results_dir, results_dir.parent, log, seconds, None)
    with _job(frame, lambda: step), _told(frame):
        for folder in (results_dir, results_dir / "report"):
            files.sweep_dead(folder)
        yield


@contextlib.contextmanager
def telling_here(step: str, batch: str, results_dir: Path) -> Iterator[None]:
    """Do a step of a batch in this very process; where it fails, held.json tells, and the error
    goes on."""
    try:
        yield
    except GlassineError as problem:
        findings = [finding.as_dict() for finding in problem.findings]
        record = {"batch": batch, "step": step, "time": clock.now_text(), "findings": findings}
        files.write_json(results_dir / "held.json", record)
        raise
    _release(results_dir, step)


@contextlib.contextmanager
def file_step(step: str, name: str, folder: Path, root: Path, log: Path) -> Iterator[None]:
    """Move one file; `folder`, below the results' folder `root`, gets held.json on failure and a
    timing on success."""
    seconds = sandbox.limits().batch_seconds
    frame = _Frame(step, {"file": name}, folder, root, log, seconds, None)
    with _job(frame, lambda: step), _told(frame):
        yield


@contextlib.contextmanager
def _job(frame: _Frame, step_now: Callable[[], str]) -> Iterator[None]:
    """Hold the jobs' lock, see that there is room, and go on in a supervised process."""
    if not leading.goes_on():
        os._exit(70)
    with _guarded(frame):
        handle = share_jobs_lock(frame.root)
        _check_room(frame)
        _supervise(frame, step_now)
        yield
        _release(frame.folder, frame.step)
        os.close(handle)


@contextlib.contextmanager
def _told(frame: _Frame) -> Iterator[None]:
    """Do a step: why it failed is told, or how long it took."""
    start = _begin()
    with _guarded(frame):
        yield
        _release(frame.folder, frame.step)
        _write_timing(frame.folder / "timings", frame.step, start)
        frame.log.parent.mkdir(parents=True, exist_ok=True)
        frame.log.write_text(f"{clock.now_text()} {frame.step}: done\n", "utf-8")
