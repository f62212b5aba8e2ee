"""What people decided of a batch: who, when, what, what came of it, and how long it took."""

from __future__ import annotations

import statistics
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import decisions, wording
from glassine.report.shown import Batch, Frame, Item, Master, PictureFile, address

# So many are listed, the latest first; so many of them with pictures.
LISTED, PICTURED = 200, 40
_WORDS = {
    "accept": ("accepted as it is", "no longer accepted"),
    "exclude": ("left out", "taken in again"),
    "mirror": ("mirrored", "not mirrored"),
    "blank": ("blank", "not blank"),
}


@dataclass(frozen=True)
class Row:
    """A decision in words. before, after: small pictures, None where there is none; seconds: how
    long a person looked, None where it is not known; note: what became of it, empty where it was
    applied."""

    item: str
    what: str
    by: str
    when: str | None
    seconds: float | None
    before: str | None
    after: PictureFile | None
    note: str


@dataclass(frozen=True)
class Person:
    """What one role id decided. median_s: seconds a decision, None where none is known."""

    by: str
    decisions: int
    median_s: float | None


@dataclass(frozen=True)
class Decided:
    """rows: the latest first, at most `LISTED`; total: how many there are."""

    rows: list[Row]
    total: int
    people: list[Person]

    @property
    def more(self) -> int:
        return self.total - len(self.rows)


def _of_frame(was: dict[str, Any], now: dict[str, Any]) -> str:
    said = []
    for key in sorted({*was, *now} - {"master", "frame", "seen"}):
        old, new = was.get(key), now.get(key)
        if old == new:
            continue
        if key == "corners":
            said.append("outline drawn" if new else "own outline dropped")
        elif key == "rotate":
            said.append(f"turned by {new}\u00b0" if new else "not turned")
        elif key in _WORDS:
            said.append(_WORDS[key][0 if new else 1])
        else:
            said.append(f"{key} {new}" if new else f"{key} as found")
    return ", ".join(said) or "as before"


def words_of(decision: decisions.Decision) -> str:
    """Return a decision in plain words."""
    part, now = decision.part, decision.now
    if part.name == "frame":
        named = f"Frame {part.frame}"
        if now is None:
            return f"{named}: decision taken back"
        return f"{named}: {_of_frame(_mapping(decision.was), _mapping(now))}"
    if part.name == "note":
        return f"Note: {str(now)[:200]}" if now else "Note taken away"
    told = [each for each in (now if isinstance(now, list) else [now]) if isinstance(each, dict)]
    given = ", ".join(f"{each.get('master')} is of {each.get('item')}" for each in told)
    return f"Identity: {given}" if given else "Identity as by its name"


def _named(decision: decisions.Decision) -> list[tuple[str, str]]:
    """Return (master, item) of each capture that a decision gives to an item."""
    now = decision.now if isinstance(decision.now, list) else [decision.now]
    return [
        (str(each.get("master")), str(each.get("item"))) for each in now if isinstance(each, dict)
    ]


def _mapping(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _by_hand(batch: Batch, noted: list[decisions.Decision]) -> list[decisions.Decision]:
    """Return what stands in corrections.yaml though no review page noted it."""
    last = {(each.item, each.part): each.now for each in noted}
    found = []
    for item, correction in batch.standing.items():
        for part, value in decisions.parts(msgspec.to_builtins(correction)).items():
            if last.get((item, part)) != value:
                made = decisions.Decision(item, part, correction.by, correction.when, None, value)
                found.append(made)
    return found


def _frame_now(item: Item, decision: decisions.Decision) -> tuple[Frame | None, str]:
    """Return the frame that a decision lies on now, and what is to be said where it does not."""
    for master in item.masters:
        if decision.part.master not in {"", master.path}:
            continue
        number = _number_now(master, decision)
        if number is None:
            return None, "not applied: the frames are others now"
        for frame in master.frames:
            if frame.n == number:
                return frame, ""
    return None, "not applied: there is no such frame now"


def _number_now(master: Master, decision: decisions.Decision) -> int | None:
    for ruling in master.decided:
        if ruling["entry"] == decision.now:
            on: int | None = ruling["on"]
            return on
    return decision.part.frame


def _identity_row(items: dict[str, Item], decision: decisions.Decision) -> Row:
    """Return a decision whose captures are: it stands with the item that they belong to now."""
    named = _named(decision)
    of = [item for _, item in named if item in items]
    missing = [
        path
        for path, item in named
        if item not in items or path not in {master.path for master in items[item].masters}
    ]
    shown = of[0] if of else decision.item
    return Row(
        item=shown,
        what=words_of(decision),
        by=decision.by or "not stated",
        when=decision.when,
        seconds=decision.seconds,
        before=None,
        after=None,
        note=f"not applied: {wording.some(missing, 3)}" if missing else "",
    )


def _row(items: dict[str, Item], results: Path, decision: decisions.Decision) -> Row:
    if decision.part.name == "identity":
        return _identity_row(items, decision)
    item = items.get(decision.item)
    picture: str | None = None
    after, note = None, "" if item else "the batch has no such item now"
    if item and decision.part.name == "frame":
        name = decisions.picture_name(decision.item, decision.part)
        if (results / "report" / decisions.BEFORE / name).is_file():
            picture = address(decisions.BEFORE, *name.split("/"))
        frame, note = _frame_now(item, decision)
        after = frame.files.get("thumb") if frame else None
    return Row(
        item=decision.item,
        what=words_of(decision),
        by=decision.by or "not stated",
        when=decision.when,
        seconds=decision.seconds,
        before=picture,
        after=after,
        note="" if decision.now is None else note,
    )


def of_batch(batch: Batch, results: Path) -> Decided:
    """Return the decisions of a batch, those of the review pages and those written by hand."""
    noted = list(decisions.read(results / decisions.FILE_NAME))
    all_of_them = noted + _by_hand(batch, noted)
    latest = sorted(all_of_them, key=lambda each: each.when or "", reverse=True)
    items = {item.item: item for item in batch.items}
    seconds: dict[str, list[float | None]] = defaultdict(list)
    for each in all_of_them:
        seconds[each.by or "not stated"].append(each.seconds)
    people = []
    for by, taken in sorted(seconds.items(), key=lambda pair: (-len(pair[1]), pair[0])):
        known = [each for each in taken if each is not None]
        people.append(Person(by, len(taken), statistics.median(known) if known else None))
    rows = [_row(items, results, each) for each in latest[:LISTED]]
    return Decided(rows, len(all_of_them), people)
