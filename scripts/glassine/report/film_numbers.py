"""Frames of a roll that are items of their own: their numbers on the film beside those in names.

Names number captures, and often begin elsewhere than the film does: what all frames of a roll have
in common is told once; a frame that is off from the others may have another's name.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from itertools import pairwise

import msgspec

from glassine.base import naming, wording
from glassine.base.errors import Finding
from glassine.report.shown import Batch, Expected, Missing

_NOTHING_EXPECTED = Expected(
    sources=[], count=0, captured=0, missing=[], shelf_marks={}, surplus=[], double=[], unread=[]
)


def tell(batch: Batch) -> None:
    """Say of a batch which frames of its rolls the film numbers otherwise than their names do."""
    numbers = {}
    for item in batch.items:
        shown = {frame.film_frame for frame in item.frames if not frame.exclude and not frame.blank}
        if len(shown) == 1 and (number := next(iter(shown))):
            numbers[item.item] = number
    batch.notes += found(batch.rolls, numbers)
    if absent := missing(batch.rolls, numbers):
        expected = batch.expected or _NOTHING_EXPECTED
        both = [*expected.missing, *absent]
        batch.expected = msgspec.structs.replace(expected, missing=both)
        batch.notes.append(_absent(batch.batch, absent))


def missing(rolls: Mapping[str, tuple[str, str]], numbers: Mapping[str, str]) -> list[Missing]:
    """Return the frames of rolls that the film has between two neighbours, where their names leave
    no room for them; see `found`. Nothing is said beside frames whose number was not read.
    """
    of_roll: dict[str, list[str]] = {}
    for item, (roll, _) in rolls.items():
        of_roll.setdefault(roll, []).append(item)
    absent = []
    for roll, items in of_roll.items():
        ordered = sorted(items, key=lambda item: naming.film_order(rolls[item][1]))
        for one, other in pairwise(ordered):
            places = [naming.film_number(rolls[item][1]) for item in (one, other)]
            on_film = [naming.film_number(numbers.get(item, "")) for item in (one, other)]
            counts = [each[0] for each in (*places, *on_film) if each is not None]
            if len(counts) < 4:
                continue
            named, (before, after) = counts[1] - counts[0], counts[2:]
            if after - before > max(1, named):
                last = after - 1
                frame = str(last) if last == before + 1 else f"{before + 1} to {last}"
                between = f"{before} ({one}) and {after} ({other})"
                absent.append(Missing(item=roll, frame=frame, between=between, unlisted=True))
    return absent


def _absent(batch: str, absent: list[Missing]) -> Finding:
    words = wording.some([f"{e.frame} of {e.item} between {e.between}" for e in absent], 20)
    return Finding(
        "report.film_frame_missing",
        batch,
        f"Frames are missing by the numbers in the margin of the film, where names count on: "
        f"{words}.",
        "every frame between the first and the last of a roll.",
        "Look at the film: capture what was passed over, or confirm that it has no such frame.",
        "review",
    )


def found(rolls: Mapping[str, tuple[str, str]], numbers: Mapping[str, str]) -> list[Finding]:
    """Return what speaks against the names of items, roll by roll.

    rolls: {item: (its roll, its place there)}. numbers: {item: its number on the film}.
    """
    of_roll: dict[str, dict[str, str]] = {}
    for item, (roll, _) in rolls.items():
        if item in numbers:
            of_roll.setdefault(roll, {})[item] = numbers[item]
    findings = []
    for roll, own in of_roll.items():
        places = {item: rolls[item][1] for item in own}
        findings += _twice(roll, own) + _otherwise(roll, own, places)
    return findings


def _twice(roll: str, numbers: Mapping[str, str]) -> list[Finding]:
    by_number: dict[str, list[str]] = {}
    for item, number in numbers.items():
        by_number.setdefault(number, []).append(item)
    return [
        Finding(
            "report.film_frame_twice",
            items[0],
            f"{len(items)} items of the roll {roll} have the number {number} in the margin of "
            f"their film: {wording.listed(items)}.",
            "another number on the film for each item of a roll.",
            "See whether one was captured twice, or is of another roll.",
            "review",
        )
        for number, items in by_number.items()
        if len(items) > 1
    ]


def _otherwise(roll: str, numbers: Mapping[str, str], places: Mapping[str, str]) -> list[Finding]:
    apart = {}
    for item, number in numbers.items():
        named, on_film = _halves(places[item]), _halves(number)
        if named is not None and on_film is not None:
            apart[item] = on_film - named
    if not apart:
        return []
    ranked = Counter(apart.values()).most_common()
    usual = ranked[0][0] if len(ranked) == 1 or ranked[0][1] > ranked[1][1] else None
    off = [item for item, each in apart.items() if each != usual]
    findings = []
    if usual and len(apart) > len(off):
        first = next(item for item, each in apart.items() if each == usual)
        findings.append(
            Finding(
                "report.film_frames_shifted",
                first,
                f"Names of the roll {roll} number its frames otherwise than the film does: "
                f"{places[first]} is {numbers[first]} on the film, and others alike.",
                "the film's own numbers, or a count that begins elsewhere.",
                "Nothing, where captures were counted; else correct the names.",
                "note",
            )
        )
    if off:
        words = wording.listed(f"{item} is {numbers[item]} on the film" for item in off)
        findings.append(
            Finding(
                "report.film_frame",
                off[0],
                f"Frames of the roll {roll} have other numbers in the margin of their film than "
                f"in their names, not as the others of it: {words}.",
                "names in the order of the film.",
                "Compare them with the film: one may have the name of another.",
                "review",
            )
        )
    return findings


def _halves(number: str) -> int | None:
    """Return a number of a frame in half frames: 12A is 25."""
    parsed = naming.film_number(number)
    return None if parsed is None or parsed[1] not in ("", "A") else 2 * parsed[0] + bool(parsed[1])
