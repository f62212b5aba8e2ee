"""What is missing of items and rolls: frames left out, captures of a number twice, sides alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

import msgspec

from glassine.base import naming, parts, wording
from glassine.base.errors import Finding
from glassine.base.records.intake import ExpectedItem
from glassine.intake.model import Batch, Collector, Item, Master

# Numbers that are named one by one; more of them are counted.
_NAMED = 12
# A run of missing numbers longer than this is told by its ends.
_RUN = 3
# Frames of one strip at most, and the last number that a film of 36 may reach (common practice, no
# source).
_STRIP, _LAST = 6, 40


def check(batch: Batch, collector: Collector) -> None:
    """Ask a person about items and rolls that seem to lack a part, or to have one twice."""
    sides = _sides_of_batch(collector)
    rolls: dict[str, list[Item]] = {}
    for item in collector.items.values():
        if naming.is_stand_in(item.item) or not item.masters:
            continue
        item.findings += _incomplete(item, sides)
        item.findings += _unknown_parts(batch, item)
        for part, masters in _by_part(item).items():
            item.findings += _frames(batch, item, part, masters)
        if item.roll:
            rolls.setdefault(item.roll, []).append(item)
    for roll, items in rolls.items():
        _check_roll(batch, roll, items)


def counting(item: Item) -> list[Master]:
    """Return the masters of an item that no other took the place of."""
    return [master for master in item.masters if master.superseded_by is None]


def _by_part(item: Item) -> dict[str | None, list[Master]]:
    found: dict[str | None, list[Master]] = {}
    for master in counting(item):
        if not parts.is_shown_whole(master.part):
            found.setdefault(master.part, []).append(master)
    return found


# ------------------------------------------------------------------ what makes an item


def _sides_of_batch(collector: Collector) -> bool:
    """Return whether film of the batch was captured from its emulsion side, or named without side:
    then a base side alone lacks the other."""
    return any(
        parts.is_film(master.part) and not parts.is_back(master.part)
        for item, master in collector.masters()
        if not naming.is_stand_in(item.item)
    )


def _incomplete(item: Item, sides: bool) -> list[Finding]:
    """Return what an item lacks of that which makes it one."""
    masters = counting(item)
    if all(parts.is_shown_whole(master.part) for master in masters):
        what = "Only its sleeve or the whole object is here, and no picture of the film"
        expected = "a capture of the film, or of the print, beside it."
    elif sides and all(
        parts.is_back(master.part) or parts.is_shown_whole(master.part) for master in masters
    ):
        what = (
            "Only its base side or back is here, where other items have another capture of the film"
        )
        expected = "both sides, or the side that shows the picture."
    else:
        return []
    shown = wording.listed(master.path for master in masters)
    return [
        Finding(
            "intake.incomplete",
            masters[0].path,
            f"{what}: {shown}.",
            expected,
            "Capture what is missing, or confirm that there is no more of it.",
            "review",
        )
    ]


def _unknown_parts(batch: Batch, item: Item) -> list[Finding]:
    """Ask about parts by words that say nothing: their masters are processed as film is, and may be
    a sleeve in another language, or a copy at another size."""
    asked: dict[str, Master] = {}
    for master in counting(item):
        if not parts.is_known(master.part) and not batch.statements.name_part(
            item.item, str(master.part)
        ):
            asked.setdefault(str(master.part), master)
    return [
        Finding(
            "intake.part_unknown",
            master.path,
            f"Its part is {part!r}, which says nothing of what was captured: it is processed as a "
            "picture of the film.",
            "emulsion, base, recto, verso, print, sleeve, object, or another word of the trade.",
            "Say in `naming.parts` of config/config.yaml what the word means, or write an entry "
            "with this `part` in batch.yaml; where it is no capture of its own, move it out.",
            "review",
        )
        for part, master in sorted(asked.items())
    ]


# ------------------------------------------------------------------ numbers of frames


def missing(numbers: Iterable[int]) -> list[tuple[int, int, int, int]]:
    """Return the gaps between numbers of frames as (before, first, last, after).

    Those before 1 (00, 0) are none of a film's own: where they are there, it is counted from 1.

    >>> missing([0, 1, 2, 4, 7])
    [(2, 3, 3, 4), (4, 5, 6, 7)]
    """
    there = sorted(set(numbers))
    counted = [number for number in there if number >= 1]
    if counted and counted[0] > 1 and there[0] < 1:
        counted.insert(0, 0)
    return [
        (one, one + 1, other - 1, other)
        for one, other in zip(counted, counted[1:], strict=False)  # noqa: RUF007 - one line
        if other - one > 1
    ]


def missing_frames(collector: Collector) -> list[ExpectedItem]:
    """Return the frames that are missing between others of an item or of a roll, each once."""
    found: dict[tuple[str, str], ExpectedItem] = {}
    rolls: dict[str, list[Item]] = {}
    for item in collector.items.values():
        if naming.is_stand_in(item.item) or not item.masters:
            continue
        for masters in _by_part(item).values():
            for gap in missing(_numbers(master.sequence for master in masters)):
                told = _missing_frame(item.item, gap)
                found.setdefault((told.item, str(told.frame)), told)
        if item.roll:
            rolls.setdefault(item.roll, []).append(item)
    for roll, items in rolls.items():
        for gap in missing(_numbers(item.place for item in items)):
            for told in _missing_items(roll, items, gap):
                found.setdefault((told.item, str(told.frame)), told)
    return list(found.values())


def _numbers(texts: Iterable[str | None]) -> list[int]:
    parsed = (naming.film_number(text or "") for text in texts)
    return [number[0] for number in parsed if number is not None]


def _missing_frame(item: str, gap: tuple[int, int, int, int]) -> ExpectedItem:
    before, first, last, after = gap
    frame = str(first) if first == last else f"{first} to {last}"
    return ExpectedItem(item=item, frame=frame, between=f"{before} and {after}", unlisted=True)


def _missing_items(
    roll: str, items: list[Item], gap: tuple[int, int, int, int]
) -> list[ExpectedItem]:
    """Return the frames of a roll that would be items, with ids like that of the one before; where
    none can be told so, or they are many, the roll has them."""
    before, first, last, after = gap
    like = next((i for i in items if _numbers([i.place]) == [before]), None)
    place = like.place or "" if like else ""
    head, found, tail = like.item.rpartition(place) if like and place else ("", "", "")
    if not found or last - first >= _NAMED:
        return [msgspec.structs.replace(_missing_frame(roll, gap), roll=roll)]
    width = len(place) if place.startswith("0") or len(str(after)) == len(place) else 0
    between = f"{before} and {after}"
    return [
        ExpectedItem(
            item=f"{head}{n:0{width}d}{tail}",
            frame=str(n),
            between=between,
            roll=roll,
            unlisted=True,
        )
        for n in range(first, last + 1)
    ]


def gap_words(numbers: Iterable[int]) -> str:
    """Return the gaps in words, empty where there are none."""
    words = []
    for before, first, last, after in missing(numbers):
        listed = ", ".join(str(number) for number in range(first, last + 1))
        named = listed if last - first < _RUN else f"{first} to {last}"
        are = "is" if first == last else "are"
        words.append(f"{named} {are} missing between {before} and {after}")
    more = len(words) - _NAMED
    return "; ".join(words[:_NAMED]) + (f"; and {more} more gaps" if more > 0 else "")


def _frames(batch: Batch, item: Item, part: str | None, masters: list[Master]) -> list[Finding]:
    named = [(master, naming.film_number(master.sequence or "")) for master in masters]
    numbers = [(master, number) for master, number in named if number is not None]
    of_part = f" of its part {part}" if part else ""
    found = _gaps(item.item, of_part, [number for _, number in numbers], masters[0].path)
    places = Counter(number for _, number in numbers)
    for number, count in places.items():
        if count > 1:
            paths = [master.path for master, other in numbers if other == number]
            found.append(
                Finding(
                    "intake.frame_twice",
                    paths[0],
                    f"{count} captures{of_part} are frame {number[0]}{number[1]}: "
                    f"{wording.listed(paths)}.",
                    "one capture of each frame, or the mark of a retake in its name.",
                    "Move the wrong one out of the batch folder, or correct its number.",
                )
            )
    expected = batch.statements.captures_of(item.item, part)
    if expected is not None and expected != len(masters):
        found.append(_count(masters[0].path, of_part, len(masters), expected))
    return found


def start_words(numbers: Iterable[int]) -> str:
    """Return in words what is missing before the first frame, empty where that asks nothing: of a
    single strip, which may begin anywhere, and of counters that are no numbers of a film."""
    there = sorted(set(numbers))
    if len(there) <= _STRIP or there[0] <= 1 or there[-1] > _LAST:
        return ""
    before = there[0] - 1
    named = "1 is" if before == 1 else f"1 to {before} are"
    return f"{named} not here, before {there[0]}"


def _gaps(owner: str, of_part: str, numbers: list[tuple[int, str]], path: str) -> list[Finding]:
    there = [number for number, _ in numbers]
    words = "; ".join(each for each in (start_words(there), gap_words(there)) if each)
    if not words:
        return []
    return [
        Finding(
            "intake.frame_missing",
            path,
            f"Frames{of_part} of {owner} are not all here: {words}.",
            "every frame of the film, from its first to its last.",
            "Capture what is missing, or confirm that the film has no such frame.",
            "review",
        )
    ]


def _count(path: str, of_part: str, count: int, expected: int) -> Finding:
    return Finding(
        "intake.captures",
        path,
        f"{count} captures{of_part} are here, and batch.yaml states {expected}.",
        f"{expected} captures.",
        "Capture what is missing, move out what is too much, or correct `captures`.",
        "review",
    )


def _check_roll(batch: Batch, roll: str, items: list[Item]) -> None:
    """Ask about a roll whose frames are items of their own."""
    placed = [(item, naming.film_number(item.place or "")) for item in items]
    numbers = [number for _, number in placed if number is not None]
    first = min(items, key=lambda item: naming.film_order(item.place))
    path = first.masters[0].path
    first.findings += _gaps(f"the roll {roll}", "", numbers, path)
    for number, count in Counter(numbers).items():
        twice = [item.item for item, other in placed if other == number]
        for item in items if count > 1 else []:
            if item.item in twice:
                item.findings.append(
                    Finding(
                        "intake.frame_twice",
                        item.masters[0].path,
                        f"{count} items are frame {number[0]}{number[1]} of the roll {roll}: "
                        f"{wording.listed(twice)}.",
                        "one item for each frame.",
                        "Correct the number of one of them.",
                    )
                )
    expected = batch.statements.captures_of(roll, None)
    if expected is not None and expected != len(items):
        first.findings.append(_count(path, f" of the roll {roll}", len(items), expected))
