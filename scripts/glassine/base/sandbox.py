"""A step in a process of its own, with limits: whatever it does, its supervisor tells how it ended.

The job's process forks: the child does the work, the parent waits. A master that crashes a
decoder, fills the memory or never ends costs its item alone, and a person reads why.
"""

from __future__ import annotations

import contextlib
import ctypes
import json
import os
import resource
import select
import signal
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

# Set by the Snakefile to the section `limits` of the settings, as JSON.
LIMITS = "GLASSINE_LIMITS"
_PR_SET_PDEATHSIG = 1  # <linux/prctl.h>
_LOOK_MS = 200
# Memory is counted twice what the pixels are expected to need: the estimate is a mean.
_MARGIN = 2

# Wall time of an item's steps at the default of `limits.seconds`, some twenty times what was
# measured on two cores (5.6 s for 24 megapixels, tests/benchmarks/pixels/README.md), for slow
# machines that are shared; the bytes are read four times from a share of 20 MB/s.
_BASE_S = 300.0
_S_PER_PIXEL = 5e-6
_S_PER_BYTE = 4 / 20e6
_BYTES_PER_PIXEL = 6
_BESIDE_BYTES = 64 * 2**20


@dataclass(frozen=True)
class Limits:
    """What a step may use. memory_mb: private memory beside what its pixels need; seconds: wall
    time of a step of one item, batch_seconds: of a whole batch; free_mb: room that must be on the
    results' disk when it starts; open_files."""

    memory_mb: int = 3000
    seconds: int = 3600
    batch_seconds: int = 172800
    free_mb: int = 200
    open_files: int = 256

    def announce(self) -> None:
        """Pass the limits on to the processes that this one starts."""
        os.environ[LIMITS] = json.dumps(asdict(self))


def limits() -> Limits:
    """Return the limits that the run announced, else the defaults."""
    return Limits(**json.loads(os.environ.get(LIMITS, "{}")))


@dataclass(frozen=True)
class Ending:
    """How a child ended: its exit code, or the signal that ended it, or `late` when it was ended
    after its time, or `abandoned` when its run's leader was gone."""

    code: int | None = None
    signal: int | None = None
    late: bool = False
    abandoned: bool = False


def _restrict(memory_bytes: int | None, open_files: int | None) -> None:
    """Set the limits of this process (getrlimit(2)); RLIMIT_DATA counts private writable memory,
    so that a mapped file is not held against a step."""

    def lower(which: int, wanted: int) -> None:
        _, hard = resource.getrlimit(which)
        allowed = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(which, (allowed, hard))

    lower(resource.RLIMIT_CORE, 0)
    if memory_bytes is not None:
        lower(resource.RLIMIT_DATA, memory_bytes)
    if open_files is not None:
        lower(resource.RLIMIT_NOFILE, open_files)


def die_with_parent(parent: int) -> None:
    """See that this process, a child of `parent`, ends with it."""
    ctypes.CDLL(None, use_errno=True).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    if os.getppid() != parent:  # it died before the line above
        os._exit(70)


def split(
    seconds: float,
    memory_bytes: int | None,
    open_files: int | None,
    leads: Callable[[], bool] = lambda: True,
) -> Ending | None:
    """Fork. Return None in the child, and in the parent how the child ended.

    seconds: wall time, then the child is killed; leads: asked five times a second, the child is
    killed when it says False. The child dies with its parent.
    """
    parent = os.getpid()
    child = os.fork()
    if child == 0:
        die_with_parent(parent)
        _restrict(memory_bytes, open_files)
        return None
    deadline = time.monotonic() + seconds
    handle = os.pidfd_open(child)
    waiting = select.poll()
    waiting.register(handle, select.POLLIN)
    late = abandoned = False
    while not waiting.poll(_LOOK_MS):
        late, abandoned = time.monotonic() > deadline, not leads()
        if late or abandoned:
            with contextlib.suppress(ProcessLookupError):
                os.kill(child, signal.SIGKILL)
            break
    _, status = os.waitpid(child, 0)
    os.close(handle)
    if late or abandoned:
        return Ending(late=late, abandoned=abandoned)
    if os.WIFSIGNALED(status):
        return Ending(signal=os.WTERMSIG(status))
    return Ending(code=os.WEXITSTATUS(status))


def memory_for(mem_mb: int | None) -> int:
    """Return the bytes a step may take whose pixels are expected to need `mem_mb`."""
    return (limits().memory_mb + _MARGIN * (mem_mb or 0)) * 2**20


def seconds_for(sizes: Sequence[tuple[int, Sequence[int] | None]]) -> float:
    """Return the wall time in seconds that the steps of an item may take.

    All of `limits.seconds` for the largest, and of it the share that the pixels need: who raises
    the setting gives more time to every item.

    sizes: of each master: bytes of the file, and [width, height] in px that its header declares
    (None where it declares none). Bytes count as far as such a picture can need them, so that a
    file of 300 GB that holds nothing buys no time.
    """
    total = _BASE_S
    for size, shape in sizes:
        pixels = shape[0] * shape[1] if shape else 0
        total += pixels * _S_PER_PIXEL
        total += min(size, pixels * _BYTES_PER_PIXEL + _BESIDE_BYTES) * _S_PER_BYTE
    return limits().seconds * min(1.0, total / Limits.seconds)


def answer(question: Callable[[], Any], seconds: float, memory_bytes: int) -> Any | None:
    """Return what `question` answers (JSON-able) in a process of its own, or None where that
    failed, crashed, or passed its limits of time and memory.

    To be asked where nothing has used pixels yet: a fork inherits the locks of other threads.
    """
    reading, writing = os.pipe()
    parent = os.getpid()
    child = os.fork()
    if child == 0:
        try:
            die_with_parent(parent)
            _restrict(memory_bytes, None)
            text = json.dumps(question()).encode()
            with os.fdopen(writing, "wb") as out:
                out.write(text)
            os._exit(0)
        finally:
            os._exit(1)
    os.close(writing)
    told = _read_until(reading, time.monotonic() + seconds)
    os.close(reading)
    with contextlib.suppress(ProcessLookupError):
        os.kill(child, signal.SIGKILL) if told is None else None
    _, status = os.waitpid(child, 0)
    return json.loads(told) if told and status == 0 else None


def _read_until(handle: int, deadline: float) -> bytes | None:
    """Return all that comes from a pipe until it is closed, or None where that takes too long."""
    found = b""
    while True:
        left = deadline - time.monotonic()
        if left <= 0 or not select.select([handle], [], [], left)[0]:
            return None
        piece = os.read(handle, 2**16)
        if not piece:
            return found
        found += piece
