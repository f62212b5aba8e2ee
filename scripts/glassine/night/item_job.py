"""The steps of one item, one after the other in one process.

A process for each step would cost more in starting than most steps take. `steps.json` keeps what
each step was last given; the chain starts at the first step that was given something else (or
never ran), so that a corrected title leaves the pixels alone.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import msgspec

from glassine import steps as table
from glassine.base import files, sandbox
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.given import Master
from glassine.films import record as films
from glassine.night import due, supervision
from glassine.render import addresses

# What a step is given stays plain JSON here: `steps.json` keeps a digest of it as it came through
# the engine's params, and a type that gains a key with a default must not do every item anew.
# `steps.given` makes the step's type of it when the step is done.
StepGiven = dict[str, Any]


@dataclass(frozen=True)
class Job:
    """What the job of an item is given.

    steps: what each step is given, in order. key: digest of that, for the stamp. mem_mb: memory
    that its pixels need.
    """

    batch_dir: Path
    item_dir: Path
    steps: list[StepGiven]
    key: str
    mem_mb: int | None

    @property
    def item(self) -> ItemId:
        return ItemId(self.steps[0]["item"])


def process_item(
    batch_dir: Path, item_dir: Path, steps: list[StepGiven], key: str, mem_mb: int | None
) -> None:
    """Take an item from its first due step to the end, and stamp it as done.

    Ends the process with code 1 where a step holds the item; what was done before stays done. An
    item that was held tonight when its frames were looked at is not tried again.
    """
    job = Job(batch_dir, item_dir, steps, key, mem_mb)
    if _stands_held(job):  # the reason was told then
        sys.stderr.flush()
        os._exit(1)
    with _in_job(job):
        _do_from(job, _first_due(job), len(steps))
        _finish(job)


def look_at_item(
    batch_dir: Path, item_dir: Path, steps: list[StepGiven], key: str, mem_mb: int | None
) -> None:
    """Take an item up to the look at its frames, and on to the end where none of them may share
    a film; `looked.json` tells that, or that the item is held.

    steps, key: as if it shared none. An item that is held fails no job here: the films of the
    batch are made without it. Its second job fails.
    """
    job = Job(batch_dir, item_dir, steps, key, mem_mb)
    code = _in_child(partial(_look, job))
    if code == 0 and (item_dir / due.LOOKED).is_file():
        return
    if code != 1 or not (item_dir / "held.json").is_file():
        sys.stderr.flush()
        os._exit(code or 1)
    files.write_json(item_dir / due.LOOKED, {"key": key, "state": "held"})


def _look(job: Job) -> None:
    """Do the first half of an item in this process, which ends with it."""
    damaged = job.item_dir / films.LOOKS
    first_half = {step.name for step in table.first_half()}
    half = sum(given["step"] in first_half for given in job.steps)
    with _in_job(job):
        if not films.is_whole(damaged):
            damaged.unlink(missing_ok=True)
        _do_from(job, _first_due(job), half)
        alone = not films.shows_any(damaged)
        if alone:
            _do_from(job, _first_due(job), len(job.steps))
            _finish(job)
        (job.item_dir / "held.json").unlink(missing_ok=True)
        state = "done" if alone else "looked"
        files.write_json(job.item_dir / due.LOOKED, {"key": job.key, "state": state})


def _in_child(work: Callable[[], None]) -> int:
    """Return the exit code of `work` in a process of its own, which tells what goes wrong."""
    sys.stdout.flush()
    sys.stderr.flush()
    parent = os.getpid()
    child = os.fork()
    if child == 0:
        code = 70
        try:
            sandbox.die_with_parent(parent)
            work()
            code = 0
        finally:
            sys.stderr.flush()
            os._exit(code)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


def _stands_held(job: Job) -> bool:
    """Return whether the item was held in the first half of this run; the stamp that says so is
    taken away where a run begins."""
    if not any(given.get("pools") for given in job.steps):
        return False
    try:
        looked = files.read_json(job.item_dir / due.LOOKED)
    except GlassineError:
        return False
    return looked["state"] == "held" and (job.item_dir / "held.json").is_file()


def _first_due(job: Job) -> int:
    return due.first_due(due.steps_done(job.item_dir), job.steps, job.item_dir)


@contextlib.contextmanager
def _in_job(job: Job) -> Iterator[None]:
    """Run what is done of an item in a process of its own, watched by this one."""
    masters = msgspec.convert(job.steps[0]["masters"], list[Master])

    def step_now() -> str:
        return str(job.steps[min(_first_due(job), len(job.steps) - 1)]["step"])

    seconds = sandbox.seconds_for([(master.bytes, master.size_px) for master in masters])
    log = job.item_dir / "logs" / "item.log"
    with supervision.item_job(job.item, job.item_dir, log, job.mem_mb, step_now, seconds):
        yield


def _do_from(job: Job, first: int, end: int) -> None:
    """Do the steps from `first` up to `end`, which is left out."""
    done = due.steps_done(job.item_dir)
    # Render reads each master whole and compares its digest: what follows in this process
    # need not read it again.
    read = {"masters_read": first <= [given["step"] for given in job.steps].index("render")}
    last = done.get(job.steps[first]["step"]) if first < end else None
    for place in range(first, end):
        done = {earlier["step"]: done[earlier["step"]] for earlier in job.steps[:place]}
        given = job.steps[place]
        moved = place == first and _only_moved(job.item_dir, given, last)
        _do_step(job.batch_dir, job.item_dir, given, done, read, moved)


def _only_moved(item_dir: Path, given: StepGiven, last: str | None) -> bool:
    """Return whether render was last given the same but for the address of its image services.

    last: digest of what it was given.
    """
    settings = given.get("settings")
    if given["step"] != "render" or last is None or not isinstance(settings, dict):
        return False
    base = addresses.base_of(item_dir)
    if base is None or "iiif" not in settings:
        return False
    as_before = {**settings, "iiif": {**settings["iiif"], "base_url": base}}
    return due.digest({**given, "settings": as_before}) == last


def _finish(job: Job) -> None:
    """Stamp an item of which every step is done."""
    # Of a process that was killed after its last step was done, nothing else would clear it.
    (job.item_dir / "held.json").unlink(missing_ok=True)
    due.write_stamp(job.item_dir, job.key, job.steps)


def _do_step(
    batch_dir: Path,
    item_dir: Path,
    given: StepGiven,
    done: dict[str, str],
    read: dict[str, bool],
    moved: bool,
) -> None:
    """Do one step; `steps.json` forgets it and what follows while it is under way.

    read: what is known of this process alone, beside what the step is given. moved: only the
    address of the image services is another, so that pictures need not be made again.
    """
    name = given["step"]
    with supervision.item_step(name, given["item"], item_dir, item_dir / "logs" / f"{name}.log"):
        files.write_json(item_dir / due.STEPS_DONE, done)
        typed = table.given(name, given | read)
        if not (moved and addresses.renew(item_dir, typed)):
            table.function(name)(batch_dir, item_dir, typed)
        done[name] = due.digest(given)
        files.write_json(item_dir / due.STEPS_DONE, done)
