"""What is stated of a master put beside what its part says and what was found on it.

A statement is followed, and where something speaks against it a person is asked: the frames are
marked for review, until the review page says that they were seen.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from glassine.base import parts
from glassine.base.model import (
    POSITIVE_KINDS,
    Facts,
    Frame,
    MasterGeometry,
    Polarity,
    Process,
)
from glassine.base.records.given import StatedMaster
from glassine.locate import cut_corner, film_order, orientation, text_notes
from glassine.locate.turn import ORIENTATIONS, combined, words

# Sides of a picture may part from their stated proportions by this share: masks and worn edges.
# Common practice, no source.
PROPORTION = 0.06


_DIGIT = re.compile("[0-9]")


@dataclass(frozen=True)
class Located:
    """A master with its part, its facts, the TIFF's orientation and what was found on it.

    has_profile: whether a colour profile is embedded. suggested: what it shows of how it lay.
    corner: of `object_corners`, which one is cut off the sheet.
    """

    part: str | None
    facts: Facts
    orientation: int
    has_profile: bool
    geometry: MasterGeometry
    suggested: tuple[str, ...] = ()
    corner: int | None = None

    @property
    def turn(self) -> tuple[int, bool]:
        """How frames are turned, as (clockwise degrees, mirrored)."""
        return combined(
            ORIENTATIONS[self.orientation], (self.facts.rotate, is_mirrored(self.part, self.facts))
        )


def corner_notes(masters: Sequence[Located]) -> dict[str, str]:
    """Return {path: a note of its cut corner, beside those of the other masters}."""
    places = {
        one.geometry.path: cut_corner.shown_at(one.corner, one.turn)
        for one in masters
        if one.corner is not None
    }
    everywhere = list(places.values())
    return {path: cut_corner.note(place, everywhere) for path, place in places.items()}


def is_mirrored(part: str | None, facts: Facts) -> bool:
    """Return whether the picture is seen mirrored for how the film lay.

    Not stated, the part says it: an emulsion side is seen with the emulsion toward the camera. A
    print is never seen from behind.
    """
    if facts.kind == "print":
        return False
    if facts.emulsion_side == "auto":
        return parts.is_emulsion_side(part)
    return facts.emulsion_side == "toward"


def shows_whole(part: str | None, facts: Facts) -> bool:
    """Return whether all of the master is its picture: where `crop` says so, or by its part."""
    if facts.crop == "whole":
        return True
    return parts.is_shown_whole(part) and "crop" not in facts.for_part


def whole(master: StatedMaster, facts: Facts, found: MasterGeometry) -> MasterGeometry:
    """Return the geometry of a master of which all is shown, as one frame.

    A sleeve or a whole object is no negative unless an entry with its `part` says so. What was
    superseded has its frame left out of the pictures.
    """
    of_object = parts.is_shown_whole(master.part)
    seen = [frame for frame in found.frames if not frame.blank] or list(found.frames)
    polarity: Polarity = "negative" if facts.polarity == "negative" else "positive"
    if of_object and "polarity" not in facts.for_part:
        polarity = "positive"
    elif facts.polarity == "auto" and seen:
        polarity = seen[0].polarity
    process: Process = seen[0].process if seen else "colour"
    if facts.process in ("colour", "monochrome"):
        process = "monochrome" if facts.process == "monochrome" else "colour"
    reasons: tuple[str, ...] = ()
    if not of_object and facts.polarity == "auto" and master.superseded_by is None:
        reasons = ("all of the master is shown: whether it is a negative is not stated",)
    frame = Frame(
        index=1,
        corners=(
            (0.0, 0.0),
            (float(found.width), 0.0),
            (float(found.width), float(found.height)),
            (0.0, float(found.height)),
        ),
        angle_deg=0.0,
        polarity=polarity,
        process=process,
        confidence=1.0,
        state="review" if reasons else "ok",
        reasons=reasons,
        excluded=master.superseded_by is not None,
        process_stated=facts.process != "auto",
    )
    notes = found.notes
    if polarity == "positive" and any(each.polarity == "negative" for each in seen):
        notes = (
            *notes,
            f"Looks like a negative, but a {master.part or 'print'} is shown as it is: not "
            f"inverted unless `polarity` is stated for `part: {master.part}` in batch.yaml.",
        )
    if master.superseded_by is not None:
        notes = (*notes, f"Superseded by {master.superseded_by}: it is kept, and not shown.")
    return replace(found, frames=(frame,), notes=notes, pieces=(), edges=())


def judged(masters: list[Located], item: str = "") -> list[MasterGeometry]:
    """Return the geometry of an item's masters, turned, with what speaks against statements.

    item: its id, which a label of the same form in a picture must not contradict.
    """
    several = _between(masters)
    on_film = [(one.part, one.geometry) for one in masters]
    corners = corner_notes(masters)
    doubles, missing = film_order.doubles(on_film), film_order.missing(on_film)
    found = []
    for one in masters:
        turned, mirrored = one.turn
        frames = tuple(
            _asked(
                replace(_not_inverted(one, frame), rotate=turned, mirror=mirrored),
                _reasons(one, frame)
                + several.get(one.geometry.path, [])
                + doubles.get((one.geometry.path, frame.index), [])
                + another_item(item, one.geometry.labels),
            )
            for frame in one.geometry.frames
        )
        notes = one.geometry.notes + tuple(_notes(one))
        notes += (corners[one.geometry.path],) if one.geometry.path in corners else ()
        if missing and one.geometry.edges:
            notes = (*notes, f"By the codes in the film's margin frames are missing: {missing}.")
            missing = ""
        found.append(replace(one.geometry, frames=frames, notes=notes, orientation=one.orientation))
    return found


def another_item(item: str, labels: Sequence[dict[str, Any]]) -> list[str]:
    """Return what speaks against the item in the labels of a picture: one of the form of its id,
    with other digits, where none says the id itself."""
    texts = {str(label["text"]).strip() for label in labels}
    others = sorted(text for text in texts if text != item and _form(text) == _form(item))
    if not item or item in texts or not others:
        return []
    return [f"a label in the picture says {', '.join(others[:3])}, and the item is {item}"]


def _form(text: str) -> str:
    """Return a text with each digit made alike."""
    return _DIGIT.sub("0", text)


def _asked(frame: Frame, reasons: list[str]) -> Frame:
    if not reasons:
        return frame
    return replace(frame, state="review", reasons=(*frame.reasons, *reasons))


def _not_inverted(one: Located, frame: Frame) -> Frame:
    """Return paper and whole objects as positives, unless a negative was stated of them."""
    of_object = parts.is_object(one.part) and "polarity" not in one.facts.for_part
    if of_object or (parts.is_paper(one.part) and one.facts.polarity == "auto"):
        return replace(frame, polarity="positive")
    return frame


def _reasons(one: Located, frame: Frame) -> list[str]:
    """Return what a person should look at, of one frame as it was found."""
    return [
        *_polarity_reasons(one, frame),
        *_turn_reasons(one),
        *film_order.against_side(one.geometry, frame, _lay(one)),
        *text_notes.against_side(one.geometry, _lay(one)),
        *_size_reasons(one, frame),
    ]


def _lay(one: Located) -> film_order.Lay:
    mirrored = is_mirrored(one.part, one.facts)
    return film_order.Lay(one.part, one.facts, one.orientation, mirrored, one.turn)


def _polarity_reasons(one: Located, frame: Frame) -> list[str]:
    state = f"State `polarity` for `part: {one.part}` in batch.yaml."
    if frame.polarity != "negative" or frame.blank:
        return []
    if parts.is_paper(one.part) and one.facts.polarity == "auto":
        return [f"looks like a negative, but a {one.part} is none: not inverted. {state}"]
    if one.facts.kind in POSITIVE_KINDS and not one.facts.polarity_of_kind:
        kind = one.facts.kind.replace("_", " ")
        return [
            f"batch.yaml states a negative, and in another place a {kind}: inverted. State "
            "`polarity` in the entry that states `kind`."
        ]
    return []


def _turn_reasons(one: Located) -> list[str]:
    found = orientation.contradicted(one.suggested, one.facts)
    facts, part = one.facts, one.part
    stated = facts.emulsion_side
    against = (stated == "away" and parts.is_emulsion_side(part)) or (
        stated == "toward" and parts.is_base_side(part)
    )
    done = "mirrored" if is_mirrored(part, facts) else "not mirrored"
    if against:
        found.append(
            f"batch.yaml states `emulsion_side: {stated}`, but the part {part!r} says the "
            f"opposite: {done}, as stated. State it for `part: {part}`, or correct the file name."
        )
    turned, mirrored = ORIENTATIONS[one.orientation]
    if mirrored and is_mirrored(part, facts):
        found.append(
            f"mirrored twice, by the TIFF's Orientation {one.orientation} and because the emulsion "
            "lay toward the camera: only one of them may be meant"
        )
    if turned and facts.rotate:
        found.append(
            f"turned twice, by the TIFF's Orientation {one.orientation} and by `rotate: "
            f"{facts.rotate}` of batch.yaml: only one of them may be meant"
        )
    if one.geometry.kind == "print" and facts.kind == "auto" and is_mirrored(part, facts):
        found.append("recognised as a print, but mirrored for the side of its emulsion")
    return found


def _size_reasons(one: Located, frame: Frame) -> list[str]:
    if one.facts.size_mm is None or frame.blank or shows_whole(one.part, one.facts):
        return []
    corners = np.array(frame.corners, float)
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    found = sorted(((sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2))
    stated = sorted(one.facts.size_mm)
    ratio = (found[1] / max(found[0], 1e-6)) / (stated[1] / stated[0])
    if abs(np.log(ratio)) <= np.log1p(PROPORTION):
        return []
    return [
        f"its sides are as {found[1] / max(found[0], 1e-6):.2f} to 1, but `size_mm` of batch.yaml "
        f"says {one.facts.size_mm[0]:g} x {one.facts.size_mm[1]:g} mm"
    ]


def _notes(one: Located) -> list[str]:
    found = film_order.notes(one.geometry, _lay(one))
    found += text_notes.suggestions(one.geometry, _lay(one))
    if one.orientation != 1:
        turned, mirrored = ORIENTATIONS[one.orientation]
        found.append(
            f"The TIFF's Orientation is {one.orientation}: pictures are "
            f"{words(turned, mirrored)} for it, the master is as it was."
        )
    if one.facts.emulsion_side == "auto" and is_mirrored(one.part, one.facts):
        found.append(
            f"Mirrored, as the part {one.part!r} was captured with the emulsion toward the camera."
        )
    if one.facts.encoding and one.has_profile:
        found.append(
            f"`encoding: {one.facts.encoding}` of batch.yaml has no effect: the master has a "
            "colour profile."
        )
    return found


# ------------------------------------------------------------------ the masters of an item


def _between(masters: list[Located]) -> dict[str, list[str]]:
    """Return what speaks against one another in the masters of one item, by path."""
    found: dict[str, list[str]] = {}
    emulsion = [one for one in masters if parts.is_emulsion_side(one.part)]
    base = [one for one in masters if parts.is_base_side(one.part)]
    for one in emulsion:
        for other in base:
            for path, text in _pair(one, other).items():
                found.setdefault(path, [])
                found[path] += [] if text in found[path] else [text]
    return found


def _pair(one: Located, other: Located) -> dict[str, str]:
    """Return what speaks against two sides of one film: mirrored alike, or of two polarities."""
    paths = one.geometry.path, other.geometry.path
    if one.turn[1] == other.turn[1]:
        how = "mirrored" if one.turn[1] else "not mirrored"
        text = (
            f"both sides of the film, {paths[0]} and {paths[1]}, are {how}: one of them must be "
            "wrong. State `emulsion_side` by `part` in batch.yaml."
        )
        return dict.fromkeys(paths, text)
    known = [{frame.polarity for frame in each.geometry.frames} for each in (one, other)]
    if known[0] and known[1] and known[0] != known[1]:
        text = (
            f"one side of the film is taken for a negative, the other for a positive "
            f"({paths[0]}, {paths[1]}). State `polarity` in batch.yaml."
        )
        return dict.fromkeys(paths, text)
    return {}
