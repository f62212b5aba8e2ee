"""What a person decided: corrections.yaml read, checked, merged and written."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec
import yaml
from msgspec import UNSET

from glassine.base import files, naming, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import ItemId
from glassine.base.records.corrections import (
    Corner,
    Correction,
    CorrectionsFile,
    Entry,
    Identity,
    Withdrawal,
    listed,
)

FILE_NAME = "corrections.yaml"
# XML 1.0 section 2.2: characters that no record could carry.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
# A frame smaller than this in both directions is a slip of the hand, not a picture.
_MIN_AREA_PX = 16.0

# Keys whose numbers are whole ones.
_WHOLE = frozenset({"frame", "frames", "rotate"})


@dataclass(frozen=True)
class Decided:
    """What corrections.yaml holds: corrections by item, withdrawals in the file's order."""

    corrections: dict[ItemId, Correction] = field(default_factory=dict)
    withdraw: list[Withdrawal] = field(default_factory=list)


def _finding(where: str, code: str, what: str, expected: str, next_step: str) -> Finding:
    return Finding(f"corrections.{code}", where, what, expected, next_step)


def _shape_problem(corners: list[Corner]) -> str | None:
    """Return in plain words why four points are no frame, or None.

    Walking top left, top right, bottom right, bottom left with y pointing down, every
    turn of a convex quadrilateral is to the right: all cross products are positive.
    """
    if not all(math.isfinite(value) for point in corners for value in point):
        return "a corner is not a finite number"
    turns = []
    for number in range(4):
        (ax, ay), (bx, by), (cx, cy) = (corners[(number + step) % 4] for step in range(3))
        turns.append((bx - ax) * (cy - by) - (by - ay) * (cx - bx))
    if all(turn < 0 for turn in turns):
        return "the corners run anticlockwise"
    if not all(turn > 0 for turn in turns):
        return "the corners cross, or three of them lie on one line"
    (left, top), (right, other) = corners[:2]
    if right - left <= abs(other - top):  # more than 45 degrees: another corner is the top left
        return "the first is not the top left as the master is stored (`rotate` turns a picture)"
    area = (turns[0] + turns[2]) / 2
    return None if area >= _MIN_AREA_PX else "the frame is smaller than 4 x 4 pixels"


def _frame_findings(entry: Entry, where: str) -> list[Finding]:
    found = []
    seen = set()
    for frame in entry.frames or []:
        place = f"{where}, frame {frame.frame}"
        key = (frame.master, frame.frame)
        if key in seen:
            found.append(
                _finding(
                    place,
                    "frame_twice",
                    "This frame stands twice, so it is not clear which one holds.",
                    "one entry a frame.",
                    "Put both into one.",
                )
            )
        seen.add(key)
        problem = None if frame.corners is UNSET else _shape_problem(frame.corners)
        if problem:
            found.append(
                _finding(
                    place,
                    "corners",
                    f"Its corners bound no picture: {problem}.",
                    "top left, top right, bottom right, bottom left as seen in the master.",
                    "Set the corners again on the review page.",
                )
            )
    return found


def _path_findings(named: list[str], where: str) -> list[Finding]:
    """Return which of the paths of masters lead out of the batch folder."""
    found = []
    for name in named:
        parts = name.split("/")
        if name.startswith("/") or ".." in parts or "\\" in name or _UNPRINTABLE.search(name):
            found.append(
                _finding(
                    where,
                    "path",
                    f"{name[:100]!r} is no path inside the batch folder.",
                    "the path of a master, as the report shows it.",
                    "Copy the path from the report.",
                )
            )
    return found


def _entry_findings(entry: Entry, where: str) -> list[Finding]:
    named = [frame.master for frame in entry.frames or [] if frame.master is not UNSET]
    named += [identity.master for identity in listed(entry.identity)]
    found = _frame_findings(entry, where) + _path_findings(named, where)
    if _UNPRINTABLE.search(entry.note or ""):
        found.append(
            _finding(
                where,
                "note",
                "Its note holds control characters, which no record can carry.",
                "plain text.",
                "Write the note again.",
            )
        )
    return found


def _withdraw_findings(entries: list[Withdrawal], where: str) -> list[Finding]:
    found = []
    seen = set()
    for number, entry in enumerate(entries, 1):
        place = f"{where}, withdraw, entry {number} ({entry.item})"
        found += _path_findings([entry.master] if entry.master else [], place)
        if _UNPRINTABLE.search(entry.reason) or not entry.reason.strip():
            what = "Its reason is empty, or holds control characters, which no record can carry."
            found.append(_finding(place, "reason", what, "plain text.", "Write the reason again."))
        if entry.master and entry.frames is not UNSET:
            what = "It names a master and a number of frames: which of both is withdrawn?"
            found.append(
                _finding(place, "withdraw", what, "one of them.", "Make two entries of it.")
            )
        key = (entry.item, entry.master, entry.frames)
        if key in seen:
            what = "The same stands twice, so it is not clear which entry holds."
            found.append(
                _finding(place, "withdraw_twice", what, "one entry each.", "Delete the older one.")
            )
        seen.add(key)
    return found


def check(loaded: Any, where: str) -> Decided:
    """Return what corrections.yaml holds.

    loaded: plain data as read from YAML or JSON; where: how to name the file to a person.
    Raises GlassineError with one finding per mistake: off the schema, an item or a frame
    that stands twice, corners that bound no picture, paths that leave the batch folder.
    """
    if loaded is None:
        return Decided()
    loaded = settings.whole_numbers(loaded, _WHOLE)
    found = settings.problems(loaded, files.read_schema("corrections"), where)
    if found:
        raise GlassineError(found)
    file = msgspec.convert(loaded, CorrectionsFile)
    found += _withdraw_findings(file.withdraw, where)
    kept: dict[ItemId, Correction] = {}
    claimed: dict[str, ItemId] = {}
    for number, entry in enumerate(file.corrections, 1):
        place = f"{where}, entry {number} ({entry.item})"
        found += _entry_findings(entry, place)
        if entry.item in kept:
            found.append(
                _finding(
                    place,
                    "item_twice",
                    "This item stands twice, so it is not clear which entry holds.",
                    "one entry an item.",
                    "Put both into one entry.",
                )
            )
        kept[entry.item] = entry.correction()
        found += _claimed_before(listed(entry.identity), claimed, place)
    if found:
        raise GlassineError(found)
    return Decided(kept, file.withdraw)


def claimed_twice(corrections: dict[ItemId, Correction]) -> list[Finding]:
    """Return a finding for each master that two entries give to two items."""
    claimed: dict[str, ItemId] = {}
    return [
        each
        for item, correction in corrections.items()
        for each in _claimed_before(correction.identities, claimed, f"{FILE_NAME} ({item})")
    ]


def _claimed_before(
    identities: list[Identity], claimed: dict[str, ItemId], place: str
) -> list[Finding]:
    """Return whether an entry before gives its master to another item; add it to `claimed`."""
    return [
        _finding(
            place,
            "identity_twice",
            f"It gives {identity.master} to {identity.item}, an entry before it "
            f"gives the same master to {claimed[identity.master]}.",
            "one item for each master.",
            "Delete the wrong one.",
        )
        for identity in identities
        if claimed.setdefault(identity.master, identity.item) != identity.item
    ]


def about_nothing(
    corrections: dict[ItemId, Correction], items: set[ItemId], masters: set[str]
) -> list[Finding]:
    """Return a finding for each correction of an item, or identity of a master, that is not there.

    items: ids of the batch; masters: their paths. A master or frame that an item lacks is
    told when the item is located.
    """
    found = []
    for item, correction in sorted(corrections.items()):
        absent = [each for each in correction.identities if each.master not in masters]
        found += [
            Finding(
                "corrections.no_master",
                identity.master,
                f"The entry of {item} in {FILE_NAME} names this master under `identity`, but the "
                "batch has no such master: the entry has no effect.",
                "the path of a master, as the report shows it.",
                "Copy the master again, or correct or delete the entry.",
                "review",
            )
            for identity in absent
        ]
        identity = correction.identities
        if not absent and item not in items and (correction.frames or not identity):
            found.append(
                Finding(
                    "corrections.no_item",
                    FILE_NAME,
                    f"It holds a correction of {item}, but the batch has no such item"
                    f"{' now' if identity else ''}: no frame of it was corrected.",
                    f"an item of this batch: {_some(items)}.",
                    "Correct the id, bring back the item's masters, or delete the entry.",
                    "review",
                )
            )
    return found


def _some(items: set[ItemId]) -> str:
    known = sorted(item for item in items if not naming.is_stand_in(item))
    return wording.some(known, 12) or "none"


def read(path: Path) -> Decided:
    """Return what corrections.yaml holds; see `check`. An empty file says nothing."""
    return check(settings.read_yaml(path), path.name)


Texts = dict[ItemId, tuple[Correction, str]]


def as_text(
    corrections: dict[ItemId, Correction],
    withdraw: Sequence[Withdrawal] = (),
    texts: Texts | None = None,
) -> str:
    """Return corrections.yaml that is read back as `corrections` and `withdraw`.

    texts: the entries as written last time, by item; they are used again, and renewed.
    """
    kept: Texts = {} if texts is None else texts
    for item in kept.keys() - corrections.keys():
        del kept[item]
    for item, correction in corrections.items():
        if item not in kept or kept[item][0] != correction:
            kept[item] = (correction, _yaml([{"item": item, **_stated(correction)}]))
    entries = "".join(kept[item][1] for item in corrections)
    text = f"corrections:\n{entries}" if entries else "corrections: []\n"
    return text + (_yaml({"withdraw": msgspec.to_builtins(withdraw)}) if withdraw else "")


def _yaml(value: Any) -> str:
    text: str = yaml.safe_dump(
        value, sort_keys=False, allow_unicode=True, default_flow_style=None, width=100
    )
    return text


def _stated(correction: Correction) -> dict[str, Any]:
    """Return a correction without what it leaves open."""
    values = msgspec.to_builtins(correction)
    return {key: value for key, value in values.items() if value not in (None, [])}


def merged(
    standing: dict[ItemId, Correction], new: dict[ItemId, Correction]
) -> tuple[dict[ItemId, Correction], list[ItemId]]:
    """Return `standing` with the items of `new` put in their place, and which items changed.

    An item whose new correction says nothing at all goes back to what is measured.
    """
    result = dict(standing)
    for item, correction in new.items():
        if correction.says_nothing:
            result.pop(item, None)
        else:
            result[item] = correction
    changed = sorted(item for item in new if result.get(item) != standing.get(item))
    return result, changed
