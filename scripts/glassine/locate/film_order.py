"""How film lay, and whether all of it is there, by the codes in its margin.

The margin's writing reads right where the base faces the camera. What speaks against a statement is
for review; where nothing is stated it is a note, as pictures are not turned or mirrored for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from glassine.base import naming, parts, wording
from glassine.base.model import Facts, FilmEdge, Frame, MasterGeometry
from glassine.locate.turn import ORIENTATIONS

# Frames of a film that lie so far apart in number are of two pieces whose middle was cut away for
# good reason as likely as not: only what is missing between near ones is told.
_NEAR_FRAMES = 12


def edge_of(geometry: MasterGeometry, frame: int) -> FilmEdge | None:
    """Return what the margin of a frame's film says, None where it says nothing."""
    return next((edge for edge in geometry.edges if frame in edge.frames), None)


def lay_toward(edge: FilmEdge, orientation: int) -> bool | None:
    """Return whether the emulsion lay toward the camera, None where that is not told.

    orientation: the TIFF's, which may say that the file is mirrored itself.
    """
    if edge.emulsion is None:
        return None
    return (edge.emulsion == "toward") != ORIENTATIONS[orientation][1]


@dataclass(frozen=True)
class Lay:
    """How a master is taken to lie. orientation: the TIFF's; mirrored: whether its pictures are
    mirrored for the side of the emulsion; turn: how they are turned in all."""

    part: str | None
    facts: Facts
    orientation: int
    mirrored: bool
    turn: tuple[int, bool]


def against_side(geometry: MasterGeometry, frame: Frame, lay: Lay) -> list[str]:
    """Return why a person is to look at a frame for the side that its film shows."""
    edge = edge_of(geometry, frame.index)
    toward = None if edge is None else lay_toward(edge, lay.orientation)
    if toward is None or toward == lay.mirrored:
        return []
    facts, part = lay.facts, lay.part
    says = f"the code in the margin of its film reads {'mirrored' if toward else 'right'}"
    side = f"the emulsion lay {'toward the camera' if toward else 'away from it'}"
    if facts.emulsion_side != "auto":
        done = f"batch.yaml states `emulsion_side: {facts.emulsion_side}`"
    elif parts.is_emulsion_side(part) or parts.is_base_side(part):
        done = f"it is the part {part!r}"
    elif _differ(geometry):
        done = "other film in this capture lay the other way round"
    else:
        return []
    return [f"{says}, so {side}, but {done}: see whether writing in the picture reads right"]


def notes(geometry: MasterGeometry, lay: Lay) -> list[str]:
    """Return what the margins of a master's film suggest of how it lay, and why they tell less
    than they might."""
    facts, turn = lay.facts, lay.turn
    stocks = dict.fromkeys(edge.stock for edge in geometry.edges if edge.stock)
    shown = [frame for frame in geometry.frames if frame.film_frame]
    numbers = [f"{frame.index} is {frame.film_frame}" for frame in shown]
    found = []
    if numbers:
        kind = f" (film {', '.join(stocks)})" if stocks else ""
        words = ", ".join(numbers)
        found.append(f"By the codes in the film's margin the numbers of frames are{kind}: {words}.")
    found += [
        f"Codes in the margin of the film beside frames {_listed(edge)} do not tell their numbers: "
        f"{edge.against}."
        for edge in geometry.edges
        if edge.against
    ]
    found += [
        f"One code alone was read in the margin of the film beside frames {_listed(edge)}: "
        f"{edge.codes[0].text}. Frames are not numbered by it."
        for edge in geometry.edges
        if len(edge.codes) == 1 and not edge.codes[0].counts
    ]
    mirrored_file = ORIENTATIONS[lay.orientation][1]
    sides = {lay_toward(edge, lay.orientation) for edge in geometry.edges}
    if facts.emulsion_side == "auto" and sides == {True} and not lay.mirrored:
        found.append(
            "The code in the margin of the film reads mirrored: the emulsion lay toward the "
            "camera, so pictures are seen mirrored. State `emulsion_side: toward` in batch.yaml."
        )
    turns = {edge.turn for edge in geometry.edges}
    told = [each for each in turns if each is not None]
    if len(told) > 1:
        found.append(
            "Strips of this capture lie turned against one another, as the codes in their margins "
            "say: see whether all pictures stand upright."
        )
    elif told and len(turns) == 1 and not facts.rotate and not mirrored_file:
        more = (told[0] - turn[0]) % 360
        if more:
            found.append(
                "The writing in the margin of the film does not stand upright. Where the pictures "
                f"do not either, state `rotate: {(facts.rotate + more) % 360}` in batch.yaml."
            )
    return found


def _differ(geometry: MasterGeometry) -> bool:
    return len({edge.emulsion for edge in geometry.edges if edge.emulsion is not None}) > 1


def _listed(edge: FilmEdge) -> str:
    return ", ".join(str(frame) for frame in edge.frames)


# ------------------------------------------------------------------ the frames of an item


Place = tuple[str, int]


def doubles(masters: Sequence[tuple[str | None, MasterGeometry]]) -> dict[Place, list[str]]:
    """Return {(path, frame): reasons} of frames of an item with one number on one kind of film.

    masters: each with its part; sides of one film show the same frames.
    """
    seen: dict[tuple[str | None, str | None, str], list[Place]] = {}
    for part, geometry in masters:
        for frame in geometry.frames:
            if frame.film_frame is None or frame.excluded:
                continue
            edge = edge_of(geometry, frame.index)
            key = part, edge.stock if edge else None, frame.film_frame
            seen.setdefault(key, []).append((geometry.path, frame.index))
    found: dict[Place, list[str]] = {}
    for (_, _, number), places in seen.items():
        for place in places if len(places) > 1 else []:
            others = [f"frame {k} of {path}" for path, k in places if (path, k) != place]
            found[place] = [
                f"the film's margin numbers it {number}, and {wording.listed(others)} too: one "
                "picture was captured twice, or there are two films"
            ]
    return found


def missing(masters: Sequence[tuple[str | None, MasterGeometry]]) -> str:
    """Return in words which frames are missing between those of an item, empty for none."""
    stocks = {edge.stock for _, geometry in masters for edge in geometry.edges if edge.stock}
    numbers = {
        naming.film_number(frame.film_frame)
        for _, geometry in masters
        for frame in geometry.frames
        if frame.film_frame is not None
    }
    halves = sorted(2 * each[0] + bool(each[1]) for each in numbers if each is not None)
    if len(stocks) > 1 or len(halves) < 2:
        return ""
    apart = [after - before for before, after in pairwise(halves)]
    # Frames lie two half frames apart, as a rule; those of cameras for half frames lie one apart.
    step = 1 if 2 * apart.count(1) > len(apart) else 2
    words = []
    for before, after in pairwise(halves):
        between = [before + step * k for k in range(1, (after - before) // step)]
        if 0 < len(between) <= _NEAR_FRAMES:
            words += [_written(half) for half in between]
    return ", ".join(words)


def _written(half: int) -> str:
    return f"{half // 2}{'A' if half % 2 else ''}"
