"""The steps of one item, one after the other in one process.

A process for each step would cost more in starting than most steps take. `steps.json` keeps what
each step was last given; the chain starts at the first step that was given something else (or
never ran), so that a corrected title leaves the pixels alone.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import msgspec

from glassine import steps as table
from glassine.base import files, sandbox
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.given import Master
from glassine.night import due, supervision

STEPS_DONE = "steps.json"
# What a step is given stays plain JSON here: `steps.json` keeps a digest of it as it came through
# the engine's params, and a type that gains a key with a default must not do every item anew.
# `steps.given` makes the step's type of it when the step is done.
StepGiven = dict[str, Any]


def _digest(given: StepGiven) -> str:
    return hashlib.sha256(files.canonical(given).encode()).hexdigest()


def _read_done(item_dir: Path) -> dict[str, str]:
    """Return {step: digest of what it was given}; empty where the record is missing or bad."""
    try:
        done = files.read_json(item_dir / STEPS_DONE)
    except GlassineError:
        return {}
    return done if isinstance(done, dict) else {}


def first_due(done: dict[str, str], steps: list[StepGiven], item_dir: Path) -> int:
    """Return the place of the first step that must run; len(steps) where all is as it should be.

    A step must run where it was given something else or one of its records is missing.
    """
    for place, given in enumerate(steps):
        records = table.step(given["step"]).records
        whole = all((item_dir / name).is_file() for name in records)
        if done.get(given["step"]) != _digest(given) or not whole:
            return place
    return len(steps)


def process_item(
    batch_dir: Path, item_dir: Path, steps: list[StepGiven], key: str, mem_mb: int | None
) -> None:
    """Take an item from its first due step to the end, and stamp it as done.

    steps: what each step is given, in order. mem_mb: memory that its pixels need. Ends the
    process with code 1 where a step holds the item; what was done before stays done.
    """
    item = ItemId(steps[0]["item"])
    masters = msgspec.convert(steps[0]["masters"], list[Master])

    def step_now() -> str:
        place = first_due(_read_done(item_dir), steps, item_dir)
        return str(steps[min(place, len(steps) - 1)]["step"])

    seconds = sandbox.seconds_for([(master.bytes, master.size_px) for master in masters])
    log = item_dir / "logs" / "item.log"
    with supervision.item_job(item, item_dir, log, mem_mb, step_now, seconds):
        done = _read_done(item_dir)
        first = first_due(done, steps, item_dir)
        # Render reads each master whole and compares its digest: what follows in this process
        # need not read it again.
        read = {"masters_read": first <= [given["step"] for given in steps].index("render")}
        for place in range(first, len(steps)):
            done = {earlier["step"]: done[earlier["step"]] for earlier in steps[:place]}
            _do_step(batch_dir, item_dir, steps[place], done, read)
        # Of a process that was killed after its last step was done, nothing else would clear it.
        (item_dir / "held.json").unlink(missing_ok=True)
        due.write_stamp(item_dir, key)


def _do_step(
    batch_dir: Path,
    item_dir: Path,
    given: StepGiven,
    done: dict[str, str],
    read: dict[str, bool],
) -> None:
    """Do one step; `steps.json` forgets it and what follows while it is under way.

    read: what is known of this process alone, beside what the step is given.
    """
    name = given["step"]
    with supervision.item_step(name, given["item"], item_dir, item_dir / "logs" / f"{name}.log"):
        files.write_json(item_dir / STEPS_DONE, done)
        table.function(name)(batch_dir, item_dir, table.given(name, given | read))
        done[name] = _digest(given)
        files.write_json(item_dir / STEPS_DONE, done)
