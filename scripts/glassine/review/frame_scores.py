"""How often found frames were right, by what a person decided about them.

A decision compares two things that geometry.json holds: what was measured of a frame, and what a
person made of it. Frames that nobody decided about say nothing, however sure they looked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Literal

import cv2
import numpy as np
import numpy.typing as npt

Result = Literal["right", "wrong", "lost", "extra"]

# A corner may lie off by this share of the diagonal: the same as in the project's benchmark.
RIGHT_WITHIN = 0.01
# A frame that a person took out, and one that they added over this share of it, are one frame
# that was found wrongly.
SAME_FRAME_IOU = 0.5
# Two-sided, 95 % of the normal distribution.
Z_95 = 1.959964
# Confidences are told in these bands, and `review_below` is proposed from these values.
BANDS = (0.0, 0.3, 0.6, 0.8, 0.9, 0.97, 1.0)
PROPOSED = (0.5, 0.6, 0.7, 0.75, 0.8, 0.85, 0.9, 0.95, 0.97, 0.98, 0.99)


@dataclass(frozen=True)
class Decision:
    """What a person's decision says of one frame.

    A frame that was turned, mirrored or accepted was seen and left as it is: right. One that was
    taken out is `extra`, also where it shows a picture that nobody wants.
    frame: number on the master. kind: of the master, as stated or recognised. marked: whether a
    person was asked (of a lost frame: anything about its master). asked_anyway: marked for another
    reason than its confidence. confidence: None of a lost frame. why: what was wrong, in words.
    """

    item: str
    master: str
    frame: int
    kind: str
    result: Result
    marked: bool
    confidence: float | None = None
    asked_anyway: bool = False
    why: str = ""

    @property
    def good(self) -> bool:
        return self.result == "right"


@dataclass(frozen=True)
class JudgedMaster:
    """A master, the decisions about its frames, and how many frames nobody decided about.

    open_ok, open_marked: not decided, by what locate said of them. unknown: decided, but the record
    does not say what was measured (it was written by an earlier version). renumbered: decided, but
    the number now stands for another frame than the one that was drawn again.
    """

    item: str
    path: str
    kind: str
    decisions: tuple[Decision, ...]
    open_ok: int = 0
    open_marked: int = 0
    unknown: int = 0
    renumbered: int = 0

    @property
    def whole(self) -> bool:
        """Whether a person decided about each of its frames: then none was picked out."""
        return bool(self.decisions) and not self.left

    @property
    def left(self) -> int:
        """How many frames have no decision that says anything."""
        return self.open_ok + self.open_marked + self.unknown + self.renumbered


def judged(geometry: dict[str, Any], review_below: float) -> list[JudgedMaster]:
    """Return the masters of an item as decisions.

    geometry: geometry.json, checked. review_below: the setting in force, where it names none.
    """
    settings = geometry["event"].get("detail", {}).get("settings") or {}
    below = float(settings.get("review_below", review_below))
    return [_master(geometry["item"], master, below) for master in geometry["masters"]]


def _master(item: str, master: dict[str, Any], below: float) -> JudgedMaster:
    frames = master["frames"]
    still = [frame for frame in frames if frame["source"] == "measured"]
    known = [frame for frame in frames if frame["source"] == "correction" and "measured" in frame]
    before = [*still, *(frame["measured"] for frame in known if frame["measured"])]
    asked = not before or any(frame["state"] == "review" for frame in before)
    place = item, master["path"], master.get("kind", "auto")
    added = [frame for frame in known if frame["measured"] is None and not frame.get("excluded")]
    measured = [frame for frame in known if frame["measured"] is not None]
    moved = [frame for frame in measured if _is_renumbered(frame, before)]
    measured = [frame for frame in measured if frame not in moved]
    # A frame that was taken out may take one of those added over it: so these come first.
    decisions = [_decision(place, frame, below, added) for frame in measured]
    decisions += [
        Decision(place[0], place[1], frame["index"], place[2], "lost", asked, why="not found")
        for frame in added
    ]
    return JudgedMaster(
        *place,
        tuple(sorted(decisions, key=lambda each: each.frame)),
        open_ok=sum(frame["state"] == "ok" for frame in still),
        open_marked=sum(frame["state"] == "review" for frame in still),
        unknown=len(frames) - len(still) - len(known),
        renumbered=len(moved),
    )


def _is_renumbered(frame: dict[str, Any], before: list[dict[str, Any]]) -> bool:
    """Return whether a person's corners lie on another measured frame than that of their number.

    A newer version that finds more frames, or fewer, numbers them anew; decisions keep the number.
    """
    if iou(frame["measured"], frame) >= SAME_FRAME_IOU:
        return False
    return any(iou(other, frame) >= SAME_FRAME_IOU for other in before)


def _decision(
    place: tuple[str, str, str], frame: dict[str, Any], below: float, added: list[dict[str, Any]]
) -> Decision:
    """Return what became of a measured frame; one that stands for it is taken from `added`."""
    measured = frame["measured"]
    result: Result = "right"
    why = _differences(measured, frame)
    if frame.get("excluded"):
        again = next((one for one in added if iou(measured, one) >= SAME_FRAME_IOU), None)
        if again is None:
            result, why = "extra", ["excluded"]
        else:
            added.remove(again)
            why = _differences(measured, again) or ["drawn again"]
    if result == "right" and why:
        result = "wrong"
    confidence = float(measured["confidence"])
    marked = measured["state"] == "review"
    return Decision(
        place[0],
        place[1],
        frame["index"],
        place[2],
        result,
        marked,
        confidence,
        asked_anyway=marked and confidence >= below,
        why=", ".join(why),
    )


def _differences(measured: dict[str, Any], decided: dict[str, Any]) -> list[str]:
    """Return in words what a person changed of what locate decides; turning is not of it."""
    found = [
        f"{key} {measured[key]}, is {decided[key]}"
        for key in ("polarity", "process")
        if measured[key] != decided[key]
    ]
    if measured["blank"] != decided["blank"]:
        found.append("taken for blank" if measured["blank"] else "is blank")
    elif not decided["blank"]:
        error = corner_error(measured["corners"], decided["corners"])
        if error > RIGHT_WITHIN:
            found.append(f"corners {100 * error:.1f} % of the diagonal off")
    return found


def _points(corners: Any) -> npt.NDArray[np.float32]:
    return np.array(corners, np.float32)


def corner_error(measured: Any, decided: Any) -> float:
    """Return the largest distance of a corner as a share of the decided frame's diagonal."""
    one, other = _points(measured), _points(decided)
    diagonal = float(np.hypot(*(other[2] - other[0])))
    return float(np.hypot(*(one - other).T).max()) / max(diagonal, 1e-6)


def iou(one: dict[str, Any], other: dict[str, Any]) -> float:
    """Return the area that two frames share, by the area that either covers."""
    a, b = _points(one["corners"]), _points(other["corners"])
    shared = float(cv2.intersectConvexConvex(a, b)[0])
    either = float(cv2.contourArea(a) + cv2.contourArea(b)) - shared
    return shared / either if either > 0 else 0.0


def wilson(count: int, of: int, z: float = Z_95) -> tuple[float, float]:
    """Return the limits between which a share lies of which `count` in `of` were seen.

    The score interval: E. B. Wilson, Probable inference, the law of succession, and statistical
    inference, Journal of the American Statistical Association 22 (1927), 209-212. It holds for few
    and for no cases too, where the usual one (plus or minus two deviations) does not.

    >>> [round(limit, 4) for limit in wilson(0, 20)]
    [0.0, 0.1611]
    """
    if of == 0:
        return 0.0, 1.0
    share, square = count / of, z * z
    middle = (share + square / (2 * of)) / (1 + square / of)
    half = z / (1 + square / of) * math.sqrt(share * (1 - share) / of + square / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def needed_without_error(wanted: float, z: float = Z_95) -> int:
    """Return how many frames, none of them wrong, show that fewer than `wanted` (a share) are."""
    return math.ceil(z * z * (1 - wanted) / wanted - 1e-9)


@dataclass(frozen=True)
class Band:
    """Decided frames of one band of confidence; low, high: of the share that is right."""

    name: str
    mean: float
    count: int
    right: int
    low: float
    high: float


def bands(decisions: Sequence[Decision]) -> list[Band]:
    """Return the bands that hold any frame."""
    found = []
    for low, high in pairwise(BANDS):
        last = high == BANDS[-1]
        held = [
            each
            for each in decisions
            if each.confidence is not None
            and low <= each.confidence
            and (each.confidence < high or last)
        ]
        if held:
            mean = sum(each.confidence or 0.0 for each in held) / len(held)
            right = sum(each.good for each in held)
            limits = wilson(right, len(held))
            found.append(Band(f"{low:.2f} to {high:.2f}", mean, len(held), right, *limits))
    return found


@dataclass(frozen=True)
class Threshold:
    """What a value of `review_below` would have let pass: frames, wrong ones, and their share.

    high: the upper limit of that share (`wilson`). asked: frames that a person would have been
    asked about; asked_right: those of them that were right.
    """

    value: float
    passed: int
    wrong: int
    high: float
    asked: int
    asked_right: int


def threshold(decisions: Sequence[Decision], value: float) -> Threshold:
    asked: list[Decision] = []
    passed: list[Decision] = []
    for each in decisions:
        if each.confidence is not None:
            to_ask = each.asked_anyway or each.confidence < value
            (asked if to_ask else passed).append(each)
    wrong = sum(not each.good for each in passed)
    high = wilson(wrong, len(passed))[1]
    good = sum(each.good for each in asked)
    return Threshold(value, len(passed), wrong, high, len(asked), good)


def proposal(decisions: Sequence[Decision], wanted: float) -> Threshold | None:
    """Return the lowest of PROPOSED of which no more than `wanted` (a share) may pass wrongly,
    by the upper limit of its share; None where none of them shows that."""
    return next(
        (
            each
            for each in (threshold(decisions, value) for value in PROPOSED)
            if each.high <= wanted
        ),
        None,
    )
