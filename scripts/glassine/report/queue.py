"""The review queue: every capture whose item is not known, then every frame that asks for a look,
once, grouped by its most serious reason."""

from __future__ import annotations

import re
from collections.abc import Callable

import msgspec

from glassine.base.item_states import Reason
from glassine.report import unnamed
from glassine.report.shown import Batch, Item, Master

# Numbers differ from frame to frame of one reason.
_NUMBER = re.compile(r"\d[\d.,]*")
# A reason is shown by the words of its first frame, cut here.
_MAX_WORDS = 300


class Entry(msgspec.Struct, frozen=True, array_like=True):
    """What is looked at: a frame; a master where frame is None; an item where that is None too."""

    item: str
    master: str | None
    frame: int | None


class Group(msgspec.Struct, frozen=True, kw_only=True):
    """Entries of one reason. words: those of the first entry; names: whether a person says which
    item each of them is of."""

    words: str
    entries: list[Entry]
    names: bool = False


def groups(batch: Batch) -> list[Group]:
    """Return the queue of a batch: captures without an item first, then what concerns the outline
    before what was measured of the picture, those of items without a row last; then the most
    frequent reason first; in a group, the order of the batch."""
    found: dict[tuple[int, str], Group] = {}
    for item in batch.in_state("review"):
        for entry, reason in _first_reasons(item):
            key = (_rank(item, reason), _NUMBER.sub("0", reason.text))
            group = found.setdefault(key, Group(words=reason.text[:_MAX_WORDS], entries=[]))
            group.entries.append(entry)
    ordered = sorted(found.items(), key=lambda each: (each[0][0], -len(each[1].entries)))
    asked, offered = _unnamed(batch, unnamed.asked), _unnamed(batch, unnamed.offered_alone)
    return [*asked, *(group for _, group in ordered), *offered]


def _unnamed(batch: Batch, which: Callable[[Item], list[Master]]) -> list[Group]:
    """Return the captures whose item a person says, by what holds them."""
    found: dict[str, Group] = {}
    for item in batch.in_state("held"):
        holds = [each for each in item.status.findings if each.severity == "hold"]
        for master in which(item):
            about = next((each for each in holds if each.path == master.path), holds[0])
            words = f"Which item is it? {about.what}"[:_MAX_WORDS]
            group = found.setdefault(about.code, Group(words=words, entries=[], names=True))
            group.entries.append(Entry(item.item, master.path, None))
    return sorted(found.values(), key=lambda group: -len(group.entries))


def _first_reasons(item: Item) -> list[tuple[Entry, Reason]]:
    """Return each frame that a reason names with the most serious one, and what names no frame."""
    first: dict[Entry, Reason] = {}
    for reason in item.status.reasons:
        entry = Entry(item.item, _master_of(item, reason), reason.frame)
        known = first.get(entry)
        if known is None or _rank(item, reason) < _rank(item, known):
            first[entry] = reason
    return [*first.items()]


def _master_of(item: Item, reason: Reason) -> str | None:
    """Return the path of a reason's master; where it names none, of the item's only one."""
    if reason.master is not None or len(item.masters) != 1:
        return reason.master
    return item.masters[0].path


def _rank(item: Item, reason: Reason) -> int:
    """Return 0 for what says no frame, 1 for what locate says of its outline, 2 for the rest."""
    if reason.frame is None:
        return 0
    outlines = (
        text
        for master in item.masters
        if master.path == reason.master
        for frame in master.frames
        if frame.n == reason.frame
        for text in frame.reasons
    )
    return 1 if reason.text in outlines else 2
