"""Captures that were made again: the later one counts, where both show the same thing.

Two captures claim one place in their item (the same part and sequence), be it that a name ends as
in `_v2`, or that two folders have one name. Which was made later says the mark in the name, else
the camera's clock; that they show the same is proved by their pictures. Where either is not
certain, the item is held: two frames must never be delivered as one.
"""

from __future__ import annotations

from dataclasses import replace

from glassine.base import naming, sandbox
from glassine.base.errors import Finding
from glassine.base.helper_process import Apart
from glassine.base.records.intake import LeftOut
from glassine.intake.model import Batch, Collector, Item, Master
from glassine.masters import header_time

# Time for comparing two pictures; large ones take seconds.
COMPARE_S = 240.0
# As `masters.alike.SAME`, which is not loaded here: it would load the image library.
SAME = 0.85


def settle(batch: Batch, collector: Collector, comparer: Apart) -> None:
    """Mark the masters that a later capture took the place of, or hold their item."""
    _tell_alone(collector)
    if batch.settings.intake.retakes == "hold":
        return
    for item in collector.items.values():
        if naming.is_stand_in(item.item) or item.waiting:
            continue
        for masters in _same_place(item):
            _settle_place(batch, item, masters, comparer)


def _tell_alone(collector: Collector) -> None:
    """Say of captures that were made again by their names where there is none before them."""
    for item in collector.items.values():
        if naming.is_stand_in(item.item):
            continue
        for masters in _places(item):
            if len(masters) == 1 and (masters[0].take or 0) > 1:
                item.findings.append(
                    Finding(
                        "intake.retake_alone",
                        masters[0].path,
                        "By its name it was captured again, and the capture before it is not here.",
                        "both captures, or the last one alone where the former was thrown away.",
                        "Nothing, where this is the one that counts; else bring the former one.",
                        "note",
                    )
                )


def _same_place(item: Item) -> list[list[Master]]:
    return [masters for masters in _places(item) if len(masters) > 1]


def _places(item: Item) -> list[list[Master]]:
    places: dict[tuple[str | None, str | None], list[Master]] = {}
    for master in item.masters:
        places.setdefault((master.part, master.sequence), []).append(master)
    return list(places.values())


def _settle_place(batch: Batch, item: Item, masters: list[Master], comparer: Apart) -> None:
    ordered = _in_order(batch, masters)
    if isinstance(ordered, str):
        item.findings.append(_not_settled(masters, ordered))
        return
    *former, last = ordered
    for master in former:
        why = _why_not_same(batch, master, last, comparer)
        if why:
            item.findings.append(_not_settled([master, last], why))
            return
    for master in former:
        _supersede(batch, item, master, last)


def _in_order(batch: Batch, masters: list[Master]) -> list[Master] | str:
    """Return captures of one place in the order in which they were made, or why it is not known."""
    takes = [master.take or 0 for master in masters]
    times = [header_time.captured(batch.folder / m.path, batch.folder).taken for m in masters]
    known = [time for time in times if time is not None]
    timed = len(set(known)) == len(masters)
    by_time = sorted(zip(masters, times, strict=True), key=lambda pair: pair[1] or 0.0)
    if len(set(takes)) == len(masters):
        marked = sorted(masters, key=lambda master: master.take or 0)
        if timed and [master for master, _ in by_time] != marked:
            return "the marks in their names and the camera's clock contradict each other"
        return marked
    if not timed:
        return "nothing says which of them was captured later"
    return [master for master, _ in by_time]


def _why_not_same(batch: Batch, one: Master, other: Master, comparer: Apart) -> str:
    """Return why two captures are not certain to show the same thing, empty where they are."""
    sizes = [master.size_px for master in (one, other)]
    limit = batch.settings.intake.max_pixels
    pixels = [size[0] * size[1] for size in sizes if size is not None]
    if len(pixels) < 2 or max(pixels) > limit:
        return "their pictures could not be compared"
    likeness = comparer.ask(
        str(batch.folder / one.path),
        str(batch.folder / other.path),
        str(limit),
        seconds=COMPARE_S,
        memory_bytes=sandbox.memory_for(16 * (sum(pixels) // 10**6 + 1)),
    )
    if not isinstance(likeness, float):
        return "their pictures could not be compared, or show too little"
    if likeness < SAME:
        return f"their pictures do not show the same (they agree by {likeness:.0%})"
    return ""


def _not_settled(masters: list[Master], why: str) -> Finding:
    paths = ", ".join(master.path for master in masters)
    return Finding(
        "intake.retake_unsure",
        masters[0].path,
        f"These masters claim the same place, and which of them counts is not certain, as {why}: "
        f"{paths}.",
        "a later capture of the same thing, or one master per part and sequence of an item.",
        "Give each a number of its own, or move the one that does not count out of the batch "
        "folder.",
    )


def _supersede(batch: Batch, item: Item, master: Master, last: Master) -> None:
    place = item.masters.index(master)
    if batch.settings.intake.retakes == "leave_out":
        del item.masters[place]
        item.left_out.append(
            LeftOut(
                path=master.path,
                bytes=master.size_bytes,
                mtime_ns=master.mtime_ns,
                expected=master.expected,
                why=f"superseded by {last.path}",
            )
        )
    else:
        item.masters[place] = replace(master, superseded_by=last.path)
    item.findings.append(
        Finding(
            "intake.retake",
            master.path,
            f"It was captured again as {last.path}, which shows the same and counts in its place.",
            "the last capture of each thing, as `intake.retakes` says.",
            "Nothing, where that is so.",
            "note",
        )
    )
