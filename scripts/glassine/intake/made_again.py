"""Captures made again of one whose item its name does not tell: `DSC_0203_retake`, `IMG_7 (2)`.

Where the name tells the item, `base.naming` reads the mark. Here the name is a camera's, and what
tells the item of the former capture (its row, its label, the separator before it, a person) tells
that of the later one: it takes the same place, and `retakes` says which of both counts, by their
pictures.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from glassine.base import naming
from glassine.intake.identity import Arrived, Identity, Seen, Sight
from glassine.intake.model import Collector


@dataclass(frozen=True)
class Again:
    """former: path of the capture that was made again. take: which capture of the same it is."""

    former: str
    take: int


def found(arrived: Iterable[Arrived], open_paths: set[str]) -> dict[str, Again]:
    """Return {path: of what it was made again} of captures that no name tells the item of.

    The former one lies in the same folder, with the same name but for the mark.
    """
    there = {each.path for each in arrived}
    by_folded = {path.casefold(): path for path in sorted(there, reverse=True)}
    again = {}
    for path in sorted(open_paths):
        marked = naming.without_mark(path)
        if marked is None:
            continue
        former = marked[0] if marked[0] in there else by_folded.get(marked[0].casefold())
        if former is not None and former != path:
            again[path] = Again(former, marked[1])
    return {path: each for path, each in again.items() if each.former not in again}


def seen_of(former: str, again: Mapping[str, Again], sight: Sight) -> Seen:
    """Return what was seen in a capture; where no code could be read in it, what was seen in the
    one that was made again for it."""
    seen = sight.of(former)
    if seen.labels:
        return seen
    for path, each in again.items():
        later = sight.of(path) if each.former == former else None
        if later is not None and later.items:
            return replace(later, look=seen.look)
    return seen


def settle(
    collector: Collector,
    identities: Mapping[str, Identity],
    again: Mapping[str, Again],
    sight: Sight | None,
) -> dict[str, Identity]:
    """Return the items of captures made again: those of the former ones, at the same place.

    identities: of all others. sight: None where labels tell no item. One whose own label says
    another item is held, and so is one of which the former capture has no item.
    """
    told: dict[str, Identity] = {}
    for path, each in again.items():
        former = identities[each.former]
        seen = sight.of(path) if sight is not None else Seen()
        own = seen.items[0] if len(seen.items) == 1 else None
        if naming.is_stand_in(former.item):
            why = f"of {each.former} no item is known"
        elif own is not None and own != former.item:
            why = f"{each.former} is of {former.item}, and the label in this one says {own}"
        else:
            told[path] = replace(former, take=each.take, labels=seen.labels)
            continue
        told[path] = Identity(naming.stand_in(path), labels=seen.labels)
        collector.hold(
            naming.stand_in(path),
            "intake.made_again",
            path,
            f"By its name it was captured again for {each.former}, and which item it belongs to is "
            f"not certain: {why}.",
            "a capture of the same item as the one that it was made for.",
            "Name the item of both under `identity` in corrections.yaml, or rename this one.",
        )
    return told
