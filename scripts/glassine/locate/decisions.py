"""Which found frame each decision of a person is about.

corrections.yaml names a frame by its number. A newer version of this step may number otherwise,
and a master may be captured again: then another picture has the number. So what a person saw is
compared with what was found, by place. It is what the entry itself says (`seen`), else what the
record before this one says: where the frame lay when the same entry was first applied, or, for an
entry that is new, where it lies in the record whose numbers the person read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from glassine.base import files, item_states, wording
from glassine.base.errors import GlassineError
from glassine.base.model import Frame, MasterGeometry, plain

# Two outlines are of one picture where they share at least this much of the area that either
# covers (intersection over union); the same as where decisions are counted (review/frame_scores).
SAME_PICTURE_IOU = 0.5
# A corner that lies off by more than this share of the diagonal makes another crop than the one
# that was seen; the same as in the project's benchmark.
AS_SEEN_WITHIN = 0.01
# What a person sees of a frame beside its outline, and the settings that they may decide.
_LOOKS = ("polarity", "process", "blank")

Entry = dict[str, Any]


@dataclass(frozen=True)
class Seen:
    """What a person saw when they decided.

    corners: master px, None where no frame had the number. looks: polarity, process and blank as
    measured then, where known. sha256, size: of the master, (width, height) px, where known.
    """

    corners: Any | None
    looks: dict[str, Any] = field(default_factory=dict)
    sha256: str | None = None
    size: tuple[int, int] | None = None

    def as_dict(self) -> dict[str, Any]:
        return {
            "corners": self.corners,
            "looks": self.looks,
            "sha256": self.sha256,
            "size": list(self.size) if self.size else None,
        }

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Seen:
        size = values["size"]
        return cls(
            values["corners"],
            values["looks"],
            values["sha256"],
            (int(size[0]), int(size[1])) if size else None,
        )


@dataclass(frozen=True)
class Ruling:
    """What becomes of one entry.

    on: the number of the frame that it is applied to, None where it is held back. as_seen: whether
    that frame is as the person saw it, so that their decision stands for a look at it. words: what
    a person must know. asks: whether they should look.
    """

    entry: Entry
    on: int | None
    seen: Seen
    as_seen: bool = True
    words: str = ""
    asks: bool = False


@dataclass(frozen=True)
class Before:
    """What the record before this one says of an item; empty where there is none.

    masters: as recorded; entries: the decisions that it was made with; digests: SHA-256 by master;
    kept: see `recorded`; added: (master, number) of frames that a person added.
    """

    masters: dict[str, MasterGeometry] = field(default_factory=dict)
    entries: tuple[Entry, ...] = ()
    digests: dict[str, str | None] = field(default_factory=dict)
    kept: tuple[dict[str, Any], ...] = ()
    added: frozenset[tuple[str, int]] = frozenset()

    def of(self, path: str, entry: Entry) -> Seen | None:
        """Return what the person who wrote `entry` saw, None where nothing tells."""
        number, geometry = entry["frame"], self.masters.get(path)
        if any(_same_entry(entry, other) for other in self.entries):
            for each in self.kept:
                if (each["master"], each["frame"]) == (path, number):
                    return Seen.from_dict(each["seen"])
        if geometry is None:
            return None
        frame = next((each for each in geometry.frames if each.index == number), None)
        digest, size = self.digests.get(path), (geometry.width, geometry.height)
        if frame is None or (path, number) in self.added:
            return Seen(None, {}, digest, size)
        if frame.source == "correction" and frame.measured is None and self._was_drawn(number):
            return None  # a record of an earlier version, which does not say what was found
        return seen_of(frame, digest, size)

    def _was_drawn(self, number: int) -> bool:
        return any(each["frame"] == number and each.get("corners") for each in self.entries)


def _same_entry(one: Entry, other: Entry) -> bool:
    return bool(plain(one) == plain(other))


def seen_of(frame: Frame, sha256: str | None, size: tuple[int, int]) -> Seen:
    """Return what a person who looks at a frame sees of what was measured."""
    source = frame.measured or frame
    corners = [[round(x, 3), round(y, 3)] for x, y in source.corners]
    return Seen(corners, {key: getattr(source, key) for key in _LOOKS}, sha256, size)


def before(item_dir: Path) -> Before:
    """Return what geometry.json says as it stands; a damaged one says nothing, as it is made
    anew."""
    try:
        record = files.read_json(item_dir / "geometry.json")
        masters = [MasterGeometry.from_dict(each) for each in record["masters"]]
        detail = record["event"].get("detail") or {}
        entries = (detail.get("corrections") or {}).get("frames") or []
        return Before(
            {each.path: each for each in masters},
            tuple(entries),
            dict(detail.get("digests") or {}),
            tuple(detail.get("decisions") or []),
            frozenset(
                (master["path"], frame["index"])
                for master in record["masters"]
                for frame in master["frames"]
                if frame.get("measured", frame) is None
            ),
        )
    except (GlassineError, LookupError, TypeError, ValueError, AttributeError):
        return Before()


def digests(item_dir: Path) -> dict[str, str | None]:
    """Return the SHA-256 of each master as verify read it; empty where there is no fixity.json."""
    path = item_dir / "fixity.json"
    if not path.is_file():
        return {}
    return {each["path"]: each["digests"]["sha256"] for each in files.read_json(path)["masters"]}


def rulings(
    geometry: MasterGeometry, entries: Sequence[Entry], known: Before, sha256: str | None
) -> list[Ruling]:
    """Return what becomes of each entry about a master.

    geometry: as measured; entries: those about it; sha256: of the master, where known.
    """
    frames = {frame.index: frame for frame in geometry.frames}
    size = geometry.width, geometry.height
    taken = {*frames, *(entry["frame"] for entry in entries)}
    found = []
    for entry in entries:
        known_seen = _seen(entry, geometry, known)
        now = frames.get(entry["frame"])
        fresh = seen_of(now, sha256, size) if now else Seen(None, sha256=sha256, size=size)
        seen = known_seen or fresh
        if _is_another_capture(seen, size, sha256):
            one = _held(entry, seen, "the master was captured again since, or changed")
        else:
            seen = replace(seen, sha256=seen.sha256 or sha256, size=seen.size or size)
            place = _drawn if entry.get("corners") else _numbered
            one = place(entry, seen, frames, max(taken) + 1, known_seen is not None)
        taken.add(one.on or 0)
        found.append(one)
    return [_asked_of_two(each, frames, entries) for each in _without_collisions(found)]


def _seen(entry: Entry, geometry: MasterGeometry, known: Before) -> Seen | None:
    """Return what a person saw, as the entry says, else as the record before says."""
    stated, recorded_seen = _stated(entry), known.of(geometry.path, entry)
    if stated is None or stated.sha256 or recorded_seen is None:
        return stated or recorded_seen
    return replace(stated, sha256=recorded_seen.sha256, size=recorded_seen.size)


def _stated(entry: Entry) -> Seen | None:
    """Return what the entry itself says that the person saw."""
    seen = entry.get("seen") or {}
    if not seen.keys() - {"reasons"}:  # these say nothing of where and what it was
        return None
    return Seen(
        seen.get("corners"), {key: seen[key] for key in _LOOKS if key in seen}, seen.get("sha256")
    )


def _numbered(entry: Entry, seen: Seen, frames: dict[int, Frame], free: int, known: bool) -> Ruling:
    """Return the ruling on an entry without corners. known: whether anything tells what was seen.
    free: a number that no frame has."""
    number = entry["frame"]
    if not known or (seen.corners is None and number not in frames):
        return Ruling(entry, number, seen)
    if seen.corners is None:
        return _held(entry, seen, "no frame had that number when it was decided")
    meets = _meeting(seen.corners, frames)
    if len(meets) == 1:
        return _applied(entry, seen, frames[meets[0]])
    why = f"frames {_listed(meets)} lie" if meets else "no frame lies"
    return _held(entry, seen, f"{why} where that frame lay when it was decided")


def _drawn(entry: Entry, seen: Seen, frames: dict[int, Frame], free: int, known: bool) -> Ruling:
    """Return the ruling on corners: they say themselves where the picture is, so only the number
    can be wrong, which would put it in place of another picture."""
    number = entry["frame"]
    now, meets = frames.get(number), _meeting(entry["corners"], frames)
    if now is None:
        return Ruling(entry, number, seen)
    # Where nothing tells, it counts as redrawn from what was found, unless it lies on another.
    redrawn = _is_still(seen, now) and (known or not meets)
    if number in meets or redrawn:
        return _applied(entry, seen, now)
    if len(meets) > 1:
        return _held(entry, seen, f"its corners lie on frames {_listed(meets)} alike")
    if meets:
        return replace(_applied(entry, seen, frames[meets[0]]), asks=True)
    words = (
        f"The frame that a person drew as number {number} is frame {free} now, as a frame that was "
        "found elsewhere has its number. Look at both, and leave out what is no picture."
    )
    return Ruling(entry, free, seen, words=words, asks=True)


def _asked_of_two(ruling: Ruling, frames: dict[int, Frame], entries: Sequence[Entry]) -> Ruling:
    """Return the ruling on a frame that a person added; it asks where a frame that nobody decided
    about was found in its place, as one picture would be there twice."""
    corners = ruling.entry.get("corners")
    if not corners or ruling.on is None or ruling.on in frames:
        return ruling
    decided = {entry["frame"] for entry in entries}
    twice = [number for number in _meeting(corners, frames) if number not in decided]
    if not twice:
        return ruling
    words = (
        f"It was drawn by a person, and frame {_listed(twice)} was found in the same place: leave "
        "one of them out, or accept both."
    )
    return replace(ruling, words=f"{ruling.words} {words}".strip(), asks=True)


def _listed(numbers: list[int]) -> str:
    return wording.some([str(number) for number in numbers], 4)


def _is_still(seen: Seen, frame: Frame) -> bool:
    """Return whether a found frame lies where the one that a person drew anew had been found."""
    return bool(seen.corners) and iou(seen.corners, frame.corners) >= SAME_PICTURE_IOU


def _applied(entry: Entry, seen: Seen, frame: Frame) -> Ruling:
    words = []
    if frame.index != entry["frame"]:
        words.append(
            f"What was decided of frame {entry['frame']} is applied to frame {frame.index}, which "
            "lies where that frame lay: frames are numbered otherwise now."
        )
    other = _otherwise(entry, seen, frame)
    if other:
        words.append(
            f"A person decided about frame {entry['frame']} when it was otherwise ({other}): look "
            "at it again, and decide anew on the review page."
        )
    words += [] if other else _said_since(entry, frame)
    return Ruling(entry, frame.index, seen, not other, " ".join(words), asks=bool(other))


def _said_since(entry: Entry, frame: Frame) -> list[str]:
    """Return what is to be said of a frame that a person accepted and that is as they saw it, where
    it is doubted now for another reason than they were told: their look stands for it, but the
    record says so."""
    told = (entry.get("seen") or {}).get("reasons")
    if not entry.get("accept") or told is None or frame.state != "review":
        return []
    later = [text for text in frame.reasons if item_states.Reason(text).key not in told]
    if not later:
        return []
    return [
        f"Frame {frame.index} was accepted by a person and is as they saw it; what is said of it "
        f"beside what they were told asks for no other look: {' '.join(later)}"
    ]


def _otherwise(entry: Entry, seen: Seen, frame: Frame) -> str:
    """Return in words what of a frame is not as it was seen and not decided by the entry."""
    if entry.get("exclude"):
        return ""
    found = []
    if not entry.get("corners") and corner_error(seen.corners, frame.corners) > AS_SEEN_WITHIN:
        found.append("other corners")
    found += [
        f"{key} {_word(value)}, is {_word(getattr(frame, key))} now"
        for key, value in seen.looks.items()
        if entry.get(key) is None and value != getattr(frame, key)
    ]
    return ", ".join(found)


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def _is_another_capture(seen: Seen, size: tuple[int, int], sha256: str | None) -> bool:
    if seen.sha256 and sha256:
        return seen.sha256 != sha256
    return seen.size is not None and seen.size != size


def _held(entry: Entry, seen: Seen, why: str) -> Ruling:
    words = (
        f"corrections.yaml decides about frame {entry['frame']} ({keys_of(entry)}), but {why}: "
        "this was not applied to any frame. Look at the frames of this master and decide anew on "
        "the review page, or correct or delete the entry."
    )
    return Ruling(entry, None, seen, False, words, asks=True)


def keys_of(entry: Entry) -> str:
    """Return what an entry decides, in words."""
    keys = sorted(key for key in entry if key not in ("master", "frame", "seen"))
    return ", ".join(
        f"{key} {_word(entry[key])}" if key != "corners" else "corners"
        for key in keys
        if entry[key] is not None
    )


def _meeting(corners: Any, frames: dict[int, Frame]) -> list[int]:
    return [
        number
        for number, frame in sorted(frames.items())
        if iou(corners, frame.corners) >= SAME_PICTURE_IOU
    ]


def _without_collisions(found: list[Ruling]) -> list[Ruling]:
    """Hold back decisions of which several would be applied to one frame."""
    on = Counter(each.on for each in found if each.on is not None)
    return [
        each
        if each.on is None or on[each.on] == 1
        else _held(each.entry, each.seen, f"several decisions are about frame {each.on} now")
        for each in found
    ]


def marked(geometry: MasterGeometry, found: Sequence[Ruling]) -> MasterGeometry:
    """Return the geometry with what the rulings ask a person to look at.

    What is asked of one frame stands on it; a decision that was held back is about some frame of
    the master, so it stands on all of them that a person has not decided about (on all, where they
    decided about each).
    """
    held = tuple(each.words for each in found if each.on is None)
    asked = {each.on: each.words for each in found if each.on is not None and each.asks}
    notes = tuple(each.words for each in found if each.words and each.on is not None)
    open_frames = {frame.index for frame in geometry.frames if frame.source == "measured"}
    on_all = open_frames or {frame.index for frame in geometry.frames}
    frames = []
    for frame in geometry.frames:
        more = (held if frame.index in on_all else ()) + (
            (asked[frame.index],) if frame.index in asked else ()
        )
        frames.append(
            replace(frame, state="review", reasons=frame.reasons + more) if more else frame
        )
    return replace(geometry, frames=tuple(frames), notes=geometry.notes + notes)


def recorded(path: str, found: Sequence[Ruling]) -> list[dict[str, Any]]:
    """Return what the record keeps of the rulings on a master, for `Before` and the report."""
    return [
        {
            "master": path,
            "frame": each.entry["frame"],
            "on": each.on,
            "as_seen": each.as_seen,
            "seen": each.seen.as_dict(),
        }
        for each in found
    ]


def _points(corners: Any) -> npt.NDArray[np.float32]:
    return np.array(corners, np.float32)


def iou(one: Any, other: Any) -> float:
    """Return the area that two quadrilaterals (4, 2) share, by the area that either covers.

    What a person wrote may be crossed, so both are taken as the outline around them.
    """
    a, b = cv2.convexHull(_points(one)), cv2.convexHull(_points(other))
    areas = float(cv2.contourArea(a)), float(cv2.contourArea(b))
    if min(areas) <= 0:
        return 0.0
    shared = float(cv2.intersectConvexConvex(a, b)[0])
    return shared / (sum(areas) - shared)


def corner_error(one: Any, other: Any) -> float:
    """Return the largest distance of a corner as a share of the second's diagonal."""
    a, b = _points(one), _points(other)
    return float(np.hypot(*(a - b).T).max()) / max(float(np.hypot(*(b[2] - b[0]))), 1e-6)
