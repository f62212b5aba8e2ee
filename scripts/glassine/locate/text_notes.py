"""What writing on film suggests: which side faced the camera, and numbers of frames.

Never more than a suggestion: nothing is named, numbered, turned or mirrored for it. What speaks
against a statement is for review.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from glassine.base import naming
from glassine.base.model import MasterGeometry, SeenText
from glassine.locate.edge_codes import HALF_MM, MOST_HALVES, written
from glassine.locate.edge_numbers import Told
from glassine.locate.film_order import Lay
from glassine.locate.seen_text import Margins
from glassine.locate.shapes import Doubles
from glassine.locate.turn import ORIENTATIONS

# What bears writing that was printed on the film itself.
_ON_FILM = ("margin", "strip")
# So many characters on film tell its side, at the least.
_LEAST_CHARACTERS = 3
# Texts and characters of a text in a note.
_MOST_TEXTS, _MOST_SHOWN = 12, 40
_NUMBER = re.compile(r"([0-9]{1,2}) ?(A?)")
# Numbers of one sequence, by half frames: they are printed beside the codes, or half way between.
_IN_SEQUENCE, _AS_CODES = 0.7, 1.2


def of_texts(texts: Sequence[SeenText]) -> tuple[str, ...]:
    """Return a note of what was read, so that the report shows it; none where nothing was."""
    if not texts:
        return ()
    # Words first: of numbers a margin has many, and they are summed up by themselves.
    surest = sorted(texts, key=lambda each: (bool(_NUMBER.fullmatch(each.text)), -each.confidence))
    surest = surest[:_MOST_TEXTS]
    shown = ", ".join(f"{each.text[:_MOST_SHOWN]!r} ({each.confidence:.0%})" for each in surest)
    more = f" and {len(texts) - len(surest)} more" if len(texts) > len(surest) else ""
    return (f"Writing was read, as a suggestion that may be wrong: {shown}{more}.",)


# ------------------------------------------------------------------ the side of the film


def toward(geometry: MasterGeometry, orientation: int) -> bool | None:
    """Return whether writing on film says that its emulsion lay toward the camera, None where it
    does not say so plainly, or codes beside it tell the side already."""
    if any(edge.emulsion is not None for edge in geometry.edges):
        return None
    known = [each for each in geometry.seen_text if each.mirrored is not None]
    on_film = [each for each in known if each.on in _ON_FILM]
    if len({each.mirrored for each in on_film}) != 1:
        return None
    if sum(len(each.text) for each in on_film) < _LEAST_CHARACTERS:
        return None
    return bool(on_film[0].mirrored) != ORIENTATIONS[orientation][1]


def suggestions(geometry: MasterGeometry, lay: Lay) -> list[str]:
    """Return notes on what writing on the film speaks for."""
    is_open = lay.facts.emulsion_side == "auto" and not lay.mirrored
    if is_open and toward(geometry, lay.orientation):
        return [
            "Writing on the film reads only mirrored: the emulsion seems to have lain toward "
            "the camera. Where it did, state `emulsion_side: toward` in batch.yaml."
        ]
    return []


def against_side(geometry: MasterGeometry, lay: Lay) -> list[str]:
    """Return why a person is to look at a master for the side that writing on its film shows."""
    stated, said = lay.facts.emulsion_side, toward(geometry, lay.orientation)
    if said is None or stated not in ("toward", "away") or said == (stated == "toward"):
        return []
    return [
        f"batch.yaml states `emulsion_side: {stated}`, but writing on the film reads "
        f"{'only mirrored' if said else 'right as it lies'}: see whether writing in the picture "
        "reads right"
    ]


# ------------------------------------------------------------------ numbers that are printed


def of_numbers(margins: Margins, told: Told | None) -> list[str]:
    """Return what numbers printed beside a piece suggest, put beside those of its codes."""
    sequence = _sequence(margins)
    if sequence is None or margins.way is None:
        return []
    start, count = sequence
    direction = _direction(margins)
    beside = [
        f"{frame} is {written(half)}"
        for frame, place in sorted(zip(margins.piece.frames, margins.piece.places, strict=True))
        if 0 <= (half := 2 * round((start + direction * place / HALF_MM) / 2)) < MOST_HALVES
    ]
    by_codes = _by_codes(margins, told)
    if by_codes is None:
        return [
            f"{count} numbers printed in the film's margin follow on one another; by them, within "
            f"half a frame, of frames {', '.join(beside)}. Frames are not numbered by it."
        ]
    if abs(by_codes - start) <= _AS_CODES:
        return [f"{count} numbers printed in the film's margin agree with its codes."]
    return [
        f"{count} numbers printed in the film's margin do not agree with its codes (of frames "
        f"{', '.join(beside)}): see which of them holds."
    ]


def _direction(margins: Margins) -> int:
    """Return 1 where numbers grow along the piece, -1 where they fall; they grow as one reads."""
    turn, mirrored = margins.way or (0, False)
    return (1 if turn == 0 else -1) * (-1 if mirrored else 1)


def _sequence(margins: Margins) -> tuple[float, int] | None:
    """Return the half frame at the piece's middle by the numbers that fit one another best, and how
    many they are; None for less than two."""
    found = []
    for each in margins.texts:
        number = _NUMBER.fullmatch(each.text.upper())
        if number is not None and each.turned_degrees is not None:
            half = 2 * int(number[1]) + bool(number[2])
            found.append((half, half - _direction(margins) * _along(margins, each) / HALF_MM))
    groups = [[other for other in found if abs(other[1] - one[1]) <= _IN_SEQUENCE] for one in found]
    best = max(groups, key=lambda group: len({half for half, _ in group}), default=[])
    count = len({half for half, _ in best})
    if count < 2 or 2 * len(best) <= len(found):
        return None
    return sum(start for _, start in best) / len(best), count


def _along(margins: Margins, text: SeenText) -> float:
    piece = margins.piece
    x = sum(corner[0] for corner in text.place) / 4 - piece.middle[0]
    y = sum(corner[1] for corner in text.place) / 4 - piece.middle[1]
    along: Doubles = piece.along
    return float(x * along[0] + y * along[1]) / piece.mm


def _by_codes(margins: Margins, told: Told | None) -> float | None:
    """Return the half frame at the piece's middle by its codes, None where they say no number."""
    for frame, number in (told.numbers if told is not None else {}).items():
        counted = naming.film_number(number)
        if counted is not None:
            place = margins.piece.places[margins.piece.frames.index(frame)]
            half = 2 * counted[0] + bool(counted[1])
            return half - _direction(margins) * place / HALF_MM
    return None
