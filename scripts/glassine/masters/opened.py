"""One opening of a master for all that is read of it: what is hashed is what is decoded.

A path may come to name another file at any moment. All reading goes through one descriptor, and
at the end the file is asked whether it is still the one that was opened, unchanged, and whether
the path still names it.
"""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Opened:
    """An open master. path: its name; handle: its descriptor; first: its state when opened."""

    path: Path
    handle: int
    first: os.stat_result

    @property
    def content(self) -> Path:
        """A path to this very file, whatever its name has come to mean (proc(5), /proc/pid/fd)."""
        return Path(f"/proc/self/fd/{self.handle}")

    def is_as_noted(self, size: int, mtime_ns: int) -> bool:
        """Return whether it had this size in bytes and this time when it was opened."""
        return (self.first.st_size, self.first.st_mtime_ns) == (size, mtime_ns)

    def is_unchanged(self) -> bool:
        """Return whether neither the file nor what its path names has changed since the opening.

        The time of its last change of state (ctime) is set by the system alone; who copies a file
        over and sets its time back changes it.
        """
        try:
            return state(os.fstat(self.handle)) == state(self.first) == state(self.path.lstat())
        except OSError:  # its path names nothing any more, or nothing that can be reached
            return False


def state(status: os.stat_result) -> tuple[int, ...]:
    """Return what differs as soon as a file is another one, or was written to."""
    return (
        status.st_dev,
        status.st_ino,
        status.st_size,
        status.st_mtime_ns,
        status.st_ctime_ns,
    )


@contextlib.contextmanager
def opened(path: Path) -> Iterator[Opened]:
    """Yield the opened file, read-only. Raises OSError: also for links, pipes and devices."""
    # A pipe would wait for its writer; a link would lead elsewhere.
    handle = os.open(path, os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        first = os.fstat(handle)
        if not stat.S_ISREG(first.st_mode):
            raise OSError(22, "it is no plain file", str(path))
        yield Opened(path, handle, first)
    finally:
        os.close(handle)
