"""How many threads a job works with: as many as the engine counts for it (`threads:` of its rule).

What a job starts beyond that number takes cores that the engine gave to another job. The number
changes no byte of a result. Threads that only wait are not counted.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from typing import Any

# Set by a job to its number of threads, for itself and the processes that it starts.
THREADS = "GLASSINE_THREADS"
# Of a command that a person started, with a machine to itself.
_BY_HAND = 2


def announce(count: int) -> None:
    """State how many threads this process may work with (`snakemake.threads`)."""
    os.environ[THREADS] = str(count)


def allowed() -> int:
    """Return how many threads this process may work with: 1 or more, at most one for a core."""
    stated = int(os.environ.get(THREADS, _BY_HAND))
    return max(1, min(stated, len(os.sched_getaffinity(0))))


class _Here(Executor):
    """Does what it is given at once, in the thread that gives it."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        done: Future[Any] = Future()
        try:
            done.set_result(fn(*args, **kwargs))
        except Exception as problem:
            done.set_exception(problem)
        return done


def pool(at_most: int | None = None, ready: Callable[[], object] = lambda: None) -> Executor:
    """Return what does the work while the caller waits: all threads allowed, or `at_most` of them.

    ready: called first by each thread that works. Where one thread is allowed, it is the caller's.
    """
    count = allowed() if at_most is None else min(allowed(), at_most)
    if count > 1:
        return ThreadPoolExecutor(count, initializer=ready)
    ready()
    return _Here()


def helper() -> Executor:
    """Return what works beside the caller: one thread where a second is allowed, else the caller's
    own, which then does the work at once."""
    return ThreadPoolExecutor(1) if allowed() > 1 else _Here()
