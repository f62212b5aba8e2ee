"""What a part in a master's file name says of what was captured, in the trade's own words."""

from __future__ import annotations

# Common practice, no source: what a film comes in, what is written about it, what was made of it.
PAPER = frozenset(
    {"sleeve", "envelope", "jacket", "wrapper", "folder", "box", "card", "label", "print"}
)
EMULSION = frozenset({"emu", "emulsion"})
BASE = frozenset({"base"})
OBJECT = frozenset({"object"})
# Other words of the trade for a side or a state of the film (common practice, no source). They
# change nothing of how it is processed.
SIDES = frozenset(
    (
        "recto", "verso", "front", "back", "obverse", "reverse", "obv", "rev", "vorderseite",
        "rueckseite", "mount", "neg", "negative", "r", "v", "a", "b", "f", "s",
    )
)  # fmt: skip
BACKS = frozenset({"base", "verso", "back", "reverse", "rueckseite"})
# A print is a picture of its own; all else of paper is shown as it lies.
WHOLE = (PAPER - {"print"}) | OBJECT


def _is(part: str | None, words: frozenset[str]) -> bool:
    return part is not None and part.casefold() in words


def is_paper(part: str | None) -> bool:
    """Whether the part is no film: it is never inverted or mirrored for what the film is."""
    return _is(part, PAPER)


def is_emulsion_side(part: str | None) -> bool:
    """Whether the part was captured with the emulsion toward the camera: seen mirrored."""
    return _is(part, EMULSION)


def is_base_side(part: str | None) -> bool:
    return _is(part, BASE)


def is_back(part: str | None) -> bool:
    """Whether the part is the side of which no picture is made, by any word of the trade."""
    return _is(part, BACKS)


def is_known(part: str | None) -> bool:
    """Whether the part is none, or a word that says what was captured."""
    return part is None or _is(part, PAPER | EMULSION | BASE | OBJECT | SIDES)


def is_object(part: str | None) -> bool:
    """Whether the part shows the whole object, by whatever light."""
    return _is(part, OBJECT)


def is_shown_whole(part: str | None) -> bool:
    """Whether the part is a record of an object, of which all is shown: neither cropped nor
    inverted unless an entry of batch.yaml with its `part` says so."""
    return _is(part, WHOLE)


def is_film(part: str | None) -> bool:
    """Whether the part shows the film's picture."""
    return not is_paper(part) and not is_object(part)
