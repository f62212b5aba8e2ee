"""One run at a time in one place, and a clean start after a killed one."""

from __future__ import annotations

import fcntl
import json
import os
import re
import socket
import time
from pathlib import Path

from glassine.base import clock, files
from glassine.base.errors import GlassineError

# How long a starting run waits for the last jobs of a killed one to end (they watch their
# leader five times a second), and for a dry run to let go.
_PATIENCE_S = 10.0


def _acquire(path: Path, patience_s: float) -> int | None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
    deadline = time.monotonic() + patience_s
    while True:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return handle
        except BlockingIOError:
            if time.monotonic() > deadline:
                os.close(handle)
                return None
            time.sleep(0.1)
        except OSError as problem:  # a share without locks: no safe way to work there
            os.close(handle)
            raise GlassineError.because(
                "run.no_locks",
                path,
                f"This file cannot be locked: {problem.strerror or problem}.",
                "a file system with locks (flock(2)): local, or NFS and SMB that pass them on.",
                "Let --directory name a folder on such a disk.",
            ) from problem


def _told(path: Path) -> str:
    try:
        told = json.loads(path.read_text("utf-8"))
        return f"since {told['since']}, process {told['pid']} on {told['host']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "since an unknown time"


class RunLock:
    """The exclusive right to run in a working directory, held until the process ends.

    flock(2) is let go by the system when the holder dies, so that no person ever has to unlock.
    """

    def __init__(self, working_dir: Path) -> None:
        self.working_dir = working_dir
        self.path = working_dir / "results" / ".run.lock"
        self._handle: int | None = None

    @property
    def held(self) -> bool:
        """Whether this process may change what is in the working directory."""
        return self._handle is not None

    def take(self) -> None:
        """Take the lock and clear what a killed run left behind.

        Raises GlassineError where another run is going on.
        """
        self._handle = _acquire(self.path, patience_s=1.0)
        if self._handle is None:
            raise GlassineError.because(
                "run.busy",
                self.path,
                f"Another run is going on here {_told(self.path)}.",
                "one run at a time in one working directory.",
                "Wait for it to end; nothing was started and nothing was changed.",
            )
        broken = self._handle is not None and self.path.stat().st_size > 0
        jobs = _acquire(self.working_dir / "results" / ".jobs.lock", _PATIENCE_S)
        if jobs is None:
            raise GlassineError.because(
                "run.jobs_alive",
                self.path,
                "Jobs of an earlier run are still alive.",
                "that they end within seconds of their run.",
                "End the processes that hold results/.jobs.lock (fuser names them).",
            )
        os.close(jobs)
        self._clear_engine_locks()
        if broken:
            self._sweep()
        told = {"pid": os.getpid(), "host": socket.gethostname(), "since": clock.now_text()}
        os.ftruncate(self._handle, 0)
        os.pwrite(self._handle, json.dumps(told).encode(), 0)
        os.fsync(self._handle)

    def ended(self) -> None:
        """Mark the run as ended in order: the next one has nothing to clear."""
        if self._handle is not None:
            os.ftruncate(self._handle, 0)

    def _clear_engine_locks(self) -> None:
        """Remove the engine's own locks: whoever made them is dead, as we hold the run's lock."""
        folder = self.working_dir / ".snakemake" / "locks"
        for path in sorted(folder.glob("*")) if folder.is_dir() else []:
            path.unlink(missing_ok=True)

    def _sweep(self) -> None:
        """Remove half-written files; a delivery under way is left, as it goes on where it was."""
        folder = self.working_dir / "results"
        if folder.is_dir():
            files.sweep(folder)


_ONLY_LOOKING = {
    "-n", "--dry-run", "--dryrun", "--lint", "-l", "--list", "--list-rules", "--list-target-rules",
    "--summary", "-S", "--detailed-summary", "-D", "--dag", "--rulegraph", "--filegraph",
    "--d3dag", "--unlock", "--list-input-changes", "--list-params-changes", "--report",
}  # fmt: skip


_DRY_LETTERS = re.compile(r"-[npkF]*n[npkF]*")


def only_looks(arguments: list[str]) -> bool:
    """Return whether the engine was called to look, not to work (a dry run, a lint, a graph)."""
    looks = any(argument.split("=")[0] in _ONLY_LOOKING for argument in arguments)
    return looks or is_dry(arguments)


def is_dry(arguments: list[str]) -> bool:
    """Return whether the engine was called for a dry run: also by a shortened option, or with
    other options of one letter that take no value (`-np`)."""
    return any(
        argument.startswith("--dry") or _DRY_LETTERS.fullmatch(argument) for argument in arguments
    )
