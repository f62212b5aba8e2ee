"""What a person decided: corrections.yaml read, checked, merged and written."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import yaml

from glassine.base import files, naming, settings, wording
from glassine.base.errors import Finding, GlassineError

FILE_NAME = "corrections.yaml"
# XML 1.0 section 2.2: characters that no record could carry.
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
# A frame smaller than this in both directions is a slip of the hand, not a picture.
_MIN_AREA_PX = 16.0

Correction = dict[str, Any]
# An entry of `withdraw`: item, reason, by, when, and master or frames where a part is meant.
Withdrawal = dict[str, Any]


def _finding(where: str, code: str, what: str, expected: str, next_step: str) -> Finding:
    return Finding(f"corrections.{code}", where, what, expected, next_step)


def _shape_problem(corners: list[list[float]]) -> str | None:
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


def _frame_findings(entry: Correction, where: str) -> list[Finding]:
    found = []
    seen = set()
    for frame in entry.get("frames", []):
        place = f"{where}, frame {frame['frame']}"
        key = (frame.get("master"), frame["frame"])
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
        problem = _shape_problem(frame["corners"]) if "corners" in frame else None
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


def _path_findings(entry: Correction, where: str) -> list[Finding]:
    named = [frame["master"] for frame in entry.get("frames", []) if "master" in frame]
    if entry.get("identity"):
        named.append(entry["identity"]["master"])
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


def _entry_findings(entry: Correction, where: str) -> list[Finding]:
    found = _frame_findings(entry, where) + _path_findings(entry, where)
    if _UNPRINTABLE.search(entry.get("note") or ""):
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
        place = f"{where}, withdraw, entry {number} ({entry['item']})"
        texts = {"frames": [{"master": entry["master"]}] if entry.get("master") else []}
        found += _path_findings(texts, place)
        if _UNPRINTABLE.search(entry["reason"]) or not entry["reason"].strip():
            what = "Its reason is empty, or holds control characters, which no record can carry."
            found.append(_finding(place, "reason", what, "plain text.", "Write the reason again."))
        if entry.get("master") and entry.get("frames") is not None:
            what = "It names a master and a number of frames: which of both is withdrawn?"
            found.append(
                _finding(place, "withdraw", what, "one of them.", "Make two entries of it.")
            )
        key = (entry["item"], entry.get("master"), entry.get("frames"))
        if key in seen:
            what = "The same stands twice, so it is not clear which entry holds."
            found.append(
                _finding(place, "withdraw_twice", what, "one entry each.", "Delete the older one.")
            )
        seen.add(key)
    return found


def _as_correction(entry: Correction) -> Correction:
    return {
        "by": entry.get("by"),
        "when": entry.get("when"),
        "note": entry.get("note"),
        "identity": entry.get("identity"),
        "frames": [dict(frame) for frame in entry.get("frames", [])],
    }


def check(loaded: Any, where: str) -> dict[str, Correction]:
    """Return {item: correction} of what corrections.yaml holds.

    loaded: plain data as read from YAML or JSON; where: how to name the file to a person.
    Each correction has the keys by, when, note, identity (or None) and frames (a list).
    Raises GlassineError with one finding per mistake: off the schema, an item or a frame
    that stands twice, corners that bound no picture, paths that leave the batch folder.
    """
    if loaded is None:
        return {}
    found = settings.problems(loaded, files.read_schema("corrections"), where)
    if found:
        raise GlassineError(found)
    found += _withdraw_findings(loaded.get("withdraw", []), where)
    kept: dict[str, Correction] = {}
    claimed: dict[str, str] = {}
    for number, entry in enumerate(loaded.get("corrections", []), 1):
        place = f"{where}, entry {number} ({entry['item']})"
        found += _entry_findings(entry, place)
        if entry["item"] in kept:
            found.append(
                _finding(
                    place,
                    "item_twice",
                    "This item stands twice, so it is not clear which entry holds.",
                    "one entry an item.",
                    "Put both into one entry.",
                )
            )
        kept[entry["item"]] = _as_correction(entry)
        identity = entry.get("identity")
        if (
            identity
            and claimed.setdefault(identity["master"], identity["item"]) != identity["item"]
        ):
            found.append(
                _finding(
                    place,
                    "identity_twice",
                    f"It gives {identity['master']} to {identity['item']}, an entry before it "
                    f"gives the same master to {claimed[identity['master']]}.",
                    "one item for each master.",
                    "Delete the wrong one.",
                )
            )
    if found:
        raise GlassineError(found)
    return kept


def about_nothing(
    corrections: dict[str, Correction], items: set[str], masters: set[str]
) -> list[Finding]:
    """Return a finding for each correction of an item, or identity of a master, that is not there.

    items: ids of the batch; masters: their paths. A master or frame that an item lacks is
    told when the item is located.
    """
    found = []
    for item, correction in sorted(corrections.items()):
        identity = correction.get("identity")
        if identity and identity["master"] not in masters:
            found.append(
                Finding(
                    "corrections.no_master",
                    identity["master"],
                    f"The entry of {item} in {FILE_NAME} names this master under `identity`, but "
                    "the batch has no such master: the entry has no effect.",
                    "the path of a master, as the report shows it.",
                    "Copy the master again, or correct or delete the entry.",
                    "review",
                )
            )
        elif item not in items and (correction["frames"] or not identity):
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


def _some(items: set[str]) -> str:
    known = sorted(item for item in items if not naming.is_stand_in(item))
    return wording.some(known, 12) or "none"


def read_corrections(path: Path) -> dict[str, Correction]:
    """Return {item: correction} of corrections.yaml; see `check`. An empty file says nothing."""
    return check(settings.read_yaml(path), path.name)


def read_withdrawals(path: Path) -> list[Withdrawal]:
    """Return what a person withdrew from delivery, in the file's order; see `check`."""
    loaded = settings.read_yaml(path)
    check(loaded, path.name)
    return list((loaded or {}).get("withdraw", []))


def as_text(corrections: dict[str, Correction], withdraw: Sequence[Withdrawal] = ()) -> str:
    """Return corrections.yaml that is read back as `corrections` and `withdraw`."""
    entries = []
    for item, correction in corrections.items():
        said = {key: value for key, value in correction.items() if value not in (None, [])}
        entries.append({"item": item, **said})
    whole: dict[str, Any] = {"corrections": entries}
    if withdraw:
        whole["withdraw"] = list(withdraw)
    text: str = yaml.safe_dump(
        whole,
        sort_keys=False,
        allow_unicode=True,
        default_flow_style=None,
        width=100,
    )
    return text


def merged(
    standing: dict[str, Correction], new: dict[str, Correction]
) -> tuple[dict[str, Correction], list[str]]:
    """Return `standing` with the items of `new` put in their place, and which items changed.

    An item whose new correction says nothing at all goes back to what is measured.
    """
    result = dict(standing)
    for item, correction in new.items():
        if correction["frames"] or correction["note"] or correction["identity"]:
            result[item] = correction
        else:
            result.pop(item, None)
    changed = sorted(item for item in new if result.get(item) != standing.get(item))
    return result, changed
