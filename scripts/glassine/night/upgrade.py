"""What newer software would make again, said before a night does so; nothing is changed."""

from __future__ import annotations

import argparse
import itertools
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from glassine import steps
from glassine.base import exits, wording
from glassine.base.errors import GlassineError
from glassine.base.model import ItemId
from glassine.base.records.receipt import Receipt
from glassine.base.visible import visible
from glassine.deliver import causes, receipt_files
from glassine.night import by_hand, due, kept
from glassine.night.lock import RunLock
from glassine.night.lookup import Lookup
from glassine.night.service import place_of
from glassine.report import timing

_NAMED = 8


@dataclass
class Touched:
    """What a night would make again of a batch.

    software: items, by versions alone; otherwise: items for which more has changed, or of which
    that cannot be told; kept: items that stay as they were delivered; delivered: items of the first
    two that are in a delivery. versions: {(step, version before, version now): items}; the version
    before is "?" where it cannot be told. seconds: what the steps took when they were last done.
    """

    batch: str
    software: list[ItemId] = field(default_factory=list)
    otherwise: list[ItemId] = field(default_factory=list)
    kept: list[ItemId] = field(default_factory=list)
    delivered: int = 0
    versions: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    seconds: float = 0.0
    untimed: int = 0

    @property
    def items(self) -> list[ItemId]:
        return [*self.software, *self.otherwise]


def of_batch(
    batch: due.Batch, items_dir: Path, config: dict[str, Any], receipts: list[Receipt]
) -> Touched:
    """Return what a night would make again of the batch's finished items."""
    found = Touched(batch.name)
    unsettled = [
        item for item in due.unsettled(batch, items_dir, config) if _is_made(items_dir / item)
    ]
    found.kept = kept.kept(batch, items_dir, config, unsettled, receipts)
    open_ = [item for item in unsettled if item not in {*found.kept}]
    found.software = kept.software_alone(batch, items_dir, config, open_)
    found.otherwise = [item for item in open_ if item not in {*found.software}]
    last = causes.last_of(receipts)
    found.delivered = sum(item in last for item in open_)
    for item in unsettled:
        _count(found, batch, item, items_dir / item, config, again=item in {*open_})
    return found


def _is_made(item_dir: Path) -> bool:
    return (item_dir / due.STAMP).exists()


def _count(
    found: Touched,
    batch: due.Batch,
    item: ItemId,
    item_dir: Path,
    config: dict[str, Any],
    *,
    again: bool,
) -> None:
    """Count which steps of an item have other versions, and, of one made again, what it costs."""
    given, done = due.steps_given(batch, item, config), due.steps_done(item_dir)
    for one in given:
        if done.get(one["step"]) != due.digest(one):
            found.versions[one["step"], _version_before(one, done), one["version"]] += 1
    if not again:
        return
    first = due.first_due(done, given, item_dir)
    names = {one["step"] for one in given[first:]}
    marks = [mark for mark in timing.read_marks(item_dir, item) if mark.step in names]
    found.seconds += sum(mark.seconds for mark in marks)
    found.untimed += not marks


def _version_before(one: dict[str, Any], done: dict[str, str]) -> str:
    """Return the version of a step that did what was recorded, if that is all that differs: of
    what a step was given a digest is kept, and versions are counted."""
    for tried in _earlier(one):
        if due.digest(tried) == done.get(one["step"]):
            return str(tried["version"])
    return "?"


def _earlier(one: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Yield what a step would be given with each earlier version of its own, and of the tone where
    it is told that."""
    tones = _down_from(one["tone"]) if "tone" in one else [None]
    for own, tone in itertools.product(_down_from(one["version"]), tones):
        yield {**one, "version": own, **({"tone": tone} if tone is not None else {})}


def _down_from(version: str) -> list[str]:
    now = int(version) if version.isdecimal() else 0
    return [str(number) for number in range(now, -1, -1)]


def _lines(found: Touched, policy: str) -> list[str]:
    lines = []
    for (step, before, now), count in sorted(found.versions.items()):
        changed = f"version {before} -> {now}"
        if before in ("?", now):
            why = "given otherwise" if before == "?" else "with another version of what it uses"
            changed = f"{why}, now {now}"
        lines.append(f"  {step}: {changed} ({count:,} items)")
    if found.kept:
        names = wording.some(sorted(found.kept), _NAMED)
        lines.append(f"  stay as delivered (on_new_version: keep): {len(found.kept):,} ({names})")
    if found.software:
        names = wording.some(sorted(found.software), _NAMED)
        lines.append(f"  made again, for newer software alone: {len(found.software):,} ({names})")
    if found.otherwise:
        names = wording.some(sorted(found.otherwise), _NAMED)
        lines.append(
            f"  made again, for settings, side files or what cannot be told: "
            f"{len(found.otherwise):,} ({names})"
        )
    if found.items:
        untimed = f", {found.untimed:,} of unknown time" if found.untimed else ""
        lines.append(
            f"  as last measured: {wording.span_words(found.seconds)} of one core{untimed}"
        )
    if found.delivered:
        then = {
            "ask": "the night makes them, and asks before it delivers them",
            "deliver": "the night delivers them again",
            "keep": "the repository keeps those of newer software alone",
        }[policy]
        lines.append(f"  delivered before: {found.delivered:,}; {then}")
    return lines


def check(lookup: Lookup) -> tuple[list[str], int]:
    """Return (lines on each batch, how many items a night would make again)."""
    place, lines, total = lookup.place, [], 0
    policy = place.config["delivery"]["on_new_version"]
    for path in sorted(place.results.glob("*/intake.json")):
        name = path.parent.name
        receipts = receipt_files.read(place.deliveries, name).sound
        batch = lookup.batch(name)
        found = of_batch(batch, place.results_dir(name) / "items", lookup.config, receipts)
        total += len(found.items)
        ready = len([*batch.ready()])
        said = f"{len(found.items):,} of {ready:,} items would be made again"
        lines += [f"{name}: {said if found.items else 'nothing would be made again'}"]
        lines += _lines(found, policy)
    return lines, total


def main(arguments: list[str] | None = None) -> int:
    """Return the exit code: 0 where nothing would be made again, 1 where something would, 78 where
    settings or records cannot be read."""
    parser = argparse.ArgumentParser(
        prog="scripts/upgrade",
        description="After an upgrade, before the next night: which steps have other versions than "
        "the results were made with, which items a night would make again and what that takes. "
        "Changes nothing. What of it is delivered again says delivery.on_new_version.",
    )
    parser.add_argument("--check", action="store_true", required=True, help="say it")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    folder = Path(options.directory).resolve()
    try:
        place = place_of(folder, [Path(path) for path in options.configfile])
        lines, total = check(Lookup(place, RunLock(folder)))
    except GlassineError as error:
        return by_hand.refused(error, exits.SETTINGS)
    names = ", ".join(f"{step.name} {steps.version(step.name)}" for step in steps.STEPS)
    print(f"versions of the steps now: {names}")
    print("\n".join(visible(line) for line in lines) or "no batch has been taken in here")
    print("intake is done anew each night, and may see an item otherwise than the last one did")
    return exits.HELD if total else 0


if __name__ == "__main__":
    sys.exit(main())
