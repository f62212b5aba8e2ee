"""Before a run starts: can it write where it must, and is there room for what is due?"""

from __future__ import annotations

import contextlib
import os
import stat
import time
from collections.abc import Iterable
from pathlib import Path

from glassine.base import files
from glassine.base.errors import Finding, GlassineError

# A delivery holds the masters byte for byte, and the results beside it; measured on the sample
# batch (compressed masters) and on plain 16-bit ones: pictures and tiles come to 0.1 to 0.5.
_SHARE_OF_MASTERS = 1.3
# A cropped TIFF of 16 bits hardly shrinks: twice in the results, once in the delivery.
_SHARE_OF_CROPS = 3.0


def check_writable(folder: Path) -> None:
    """Make `folder` where missing and see that a file can be written there.

    Raises GlassineError in plain words: read-only, no rights, in the way, full.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        probe = folder / f"{files.TEMPORARY_PREFIX}{os.getpid()}-probe"
        probe.write_bytes(b"x")
        probe.unlink()
    except OSError as problem:
        raise GlassineError.because(
            "run.not_writable",
            folder,
            f"Nothing can be written here: {problem.strerror or problem}.",
            "a folder that the night's user may write to, on a disk with room.",
            "Check the disk, the share and the rights; nothing was started.",
        ) from problem


def refused(problem: OSError) -> GlassineError:
    """Return what is told where the system refused something before the run had started."""
    return GlassineError.because(
        "run.refused",
        problem.filename or "(no file)",
        f"The system refused this: {problem.strerror or problem}.",
        "files and folders that the night's user may read and write.",
        "Check the disk, the share and the rights; nothing was started.",
    )


def unexpected(place: str, problem: Exception) -> Finding:
    """Return what is told of an error that nobody foresaw, at the end of a run."""
    return Finding(
        "run.unexpected",
        place,
        f"This ended unexpectedly: {type(problem).__name__}: {problem}"[:500] + ".",
        "a run that can tell how each batch stands.",
        "Run again; if it repeats, send the run's output to whoever maintains this installation.",
    )


def bring_to_now(paths: Iterable[Path | str]) -> None:
    """Give files of ours that are younger than now the present time.

    A clock that was ahead and has been set right leaves such; the engine would refuse whatever
    is made from them until the old time has come.
    """
    now = time.time()
    for path in paths:
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            if os.stat(path).st_mtime > now + 1:  # noqa: PTH116 - a third of the time
                os.utime(path)


def free_bytes(folder: Path) -> int:
    status = os.statvfs(folder)
    return status.f_bavail * status.f_frsize


def masters_bytes(batch_dir: Path) -> int:
    """Return the bytes of all plain files below a batch folder; links are not followed."""
    total = 0
    for folder, _, names in os.walk(batch_dir):
        for name in names:
            try:
                status = os.lstat(f"{folder}/{name}")
            except OSError:
                continue
            total += status.st_size if stat.S_ISREG(status.st_mode) else 0
    return total


def check_room(results: Path, due_bytes: int, reserve_mb: int, *, crops: int = 0) -> str | None:
    """Return a warning where the disk may fill up on the way, else None.

    due_bytes: of the masters not yet delivered. crops: how often each frame is also kept as a
    cropped TIFF. Raises GlassineError where not even the reserve
    is free: no step would start.
    """
    free = free_bytes(results)
    if free < reserve_mb * 2**20:
        raise GlassineError.because(
            "run.no_room",
            results,
            f"The disk is full but for {free // 2**20} MB.",
            f"at least {reserve_mb} MB free (`limits.free_mb`).",
            "Free space on that disk and run again; nothing was started.",
        )
    needed = int(due_bytes * (_SHARE_OF_MASTERS + _SHARE_OF_CROPS * crops))
    if free - reserve_mb * 2**20 >= needed:
        return None
    return (
        f"{results}: about {needed // 2**20} MB are due and {free // 2**20} MB are free. What fits "
        "is done; the rest is held until there is room [run.little_room]"
    )
