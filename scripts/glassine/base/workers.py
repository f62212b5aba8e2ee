"""Work shared among processes of one job: as many as its rule has threads.

Threads would not do: what small files cost is mostly Python's own work. The number of processes
changes no byte of a result.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from typing import Any, TypeVar

from glassine.base import hashing, sandbox, threads
from glassine.base.errors import Finding, GlassineError

Thing = TypeVar("Thing")
Result = TypeVar("Result")

# Below so much, processes cost more than they save.
_FEW_BYTES = 64 * 2**20
_FEW = 256
# A piece of the work: enough of it that handing it over costs little.
_PIECE_BYTES = 64 * 2**20
_PIECE = 256

# What forked processes work on: handed over by the fork, not sent.
_work: Callable[[Any], Any] | None = None
_things: Sequence[Any] = ()


def each(
    work: Callable[[Thing], Result],
    things: Sequence[Thing],
    size_of: Callable[[Thing], int],
    *,
    apart: bool = False,
) -> list[Result]:
    """Return what `work` makes of each thing, in their order.

    size_of: bytes that a thing is about. apart: each thing is a piece of the work by itself. What
    `work` raises is raised here, the first of it in the order of the things. Raises GlassineError
    too where a process was ended from outside.
    """
    count = min(threads.allowed(), len(things))
    few = len(things) < _FEW and sum(size_of(thing) for thing in things) < _FEW_BYTES
    if count < 2 or (few and not apart):
        return [work(thing) for thing in things]
    return _in_processes(work, things, _pieces(things, size_of, apart=apart), count)


def _pieces(
    things: Sequence[Thing], size_of: Callable[[Thing], int], *, apart: bool
) -> list[range]:
    """Return the places of things that are worked on in one go."""
    pieces, begin, size = [], 0, 0
    for place, thing in enumerate(things):
        size += size_of(thing)
        if apart or size >= _PIECE_BYTES or place + 1 - begin >= _PIECE:
            pieces.append(range(begin, place + 1))
            begin, size = place + 1, 0
    if begin < len(things):
        pieces.append(range(begin, len(things)))
    return pieces


def _in_processes(
    work: Callable[[Thing], Result], things: Sequence[Thing], pieces: list[range], count: int
) -> list[Result]:
    global _work, _things
    _work, _things = work, things
    try:
        with ProcessPoolExecutor(
            min(count, len(pieces)),
            mp_context=multiprocessing.get_context("fork"),
            initializer=_begin,
            initargs=(os.getpid(),),
        ) as pool:
            done: list[Result] = []
            for results, findings in pool.map(_piece, pieces):
                if findings:
                    raise GlassineError(findings)
                done += results
            return done
    except BrokenProcessPool as problem:
        raise GlassineError.because(
            "run.worker_ended",
            f"process {os.getpid()}",
            "One of the processes that this step works with was ended from outside, or ran out of "
            "memory.",
            "processes that run to their end.",
            "Look at the memory of this machine, then run again: what is done stays.",
        ) from problem
    finally:
        _work, _things = None, ()


def _begin(parent: int) -> None:
    sandbox.die_with_parent(parent)
    threads.announce(1)
    hashing.forget_helper()


def _piece(places: range) -> tuple[list[Any], list[Finding]]:
    """Work on a piece; what holds it comes back as findings, as an error of ours is not sent."""
    assert _work is not None
    try:
        return [_work(_things[place]) for place in places], []
    except GlassineError as error:
        return [], error.findings
