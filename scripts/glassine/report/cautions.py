"""Cautions for film that can hurt a person, shown wherever such film is in the batch.

The texts say the usual cautions (common practice) and defer to local codes and to people
who are licensed to handle and dispose of such material.
"""

from __future__ import annotations

from dataclasses import dataclass

from glassine.report.shown import Batch


@dataclass(frozen=True)
class Caution:
    """One caution: `heading` and the `short` word of it, all of it in `lines`, whom it concerns."""

    heading: str
    short: str
    lines: tuple[str, ...]
    items: tuple[str, ...]


# From this level on, acetate or nitrate counts as decaying (as the catalogue grades it).
DECAYING_LEVEL = 2

_NITRATE_SHORT = (
    "It burns fiercely and cannot be smothered: no heat, no sparks, little on the table; "
    "follow your local fire code."
)
_NITRATE = (
    "It catches fire easily, burns fiercely without needing air, and cannot be smothered. The "
    "smoke is poisonous: leave, close the door, call the fire service.",
    "Keep it away from heat, sparks and warm light tables; take out only what is on the table; "
    "air the room; store it cold, vented, never sealed, apart from everything else.",
    "Sticky, blistered or powdery film is more dangerous: do not unroll, project or post it.",
    "Storage, transport and disposal follow your local fire code and are for licensed people.",
)
_ACETATE_SHORT = "Irritating vapour: moving air, gloves; keep apart from other film."
_ACETATE = (
    "A smell of vinegar means that it is decaying. The vapour irritates eyes and airways: work "
    "in moving air, wear gloves, take breaks; people with asthma should not handle it.",
    "The vapour speeds the decay of other film: keep such film apart, in vented boxes, cold.",
    "Brittle or buckled film breaks when flattened by force: capture it as it lies.",
    "Follow your local rules on air at the workplace; ask a conservator before treatment.",
)
_GLASS_SHORT = "Broken glass: cut-resistant gloves, a support under every plate."
_GLASS = (
    "Wear cut-resistant gloves, carry plates on a support with both hands, never by one edge.",
    "A cracked plate lies flat on a support that is captured with it; pick up no splinters by "
    "hand. Ask a conservator before cleaning or mending.",
)
_UNKNOWN_SHORT = "Handle it as nitrate until it is known."
_UNKNOWN = (
    "Film that nobody has identified may be nitrate: handle it as nitrate until it is known.",
    "Burning or dissolving a sample is no test for a studio: leave testing to people who are "
    "licensed for it.",
)


def _count(number: int, what: str) -> str:
    return f"{number} item{'' if number == 1 else 's'} {what}"


def cautions_of(rows: list[tuple[str, str, int | None, str]]) -> list[Caution]:
    """Return the cautions that a batch calls for, the gravest first.

    rows: (item, material, decay level or None, kind of its first master).
    """
    nitrate = tuple(item for item, material, _, _ in rows if material == "nitrate")
    unknown = tuple(
        item
        for item, material, _, kind in rows
        if material == "unknown" and kind not in {"print", "plate", "lantern"}
    )
    acetate = tuple(
        item
        for item, material, level, _ in rows
        if material == "acetate" and (level or 0) >= DECAYING_LEVEL
    )
    glass = tuple(
        item
        for item, material, _, kind in rows
        if material == "glass" or kind in {"plate", "lantern"}
    )
    cautions = [
        (nitrate, "on cellulose nitrate", _NITRATE_SHORT, _NITRATE),
        (unknown, "of unknown film base", _UNKNOWN_SHORT, _UNKNOWN),
        (acetate, "on decaying acetate", _ACETATE_SHORT, _ACETATE),
        (glass, "on glass", _GLASS_SHORT, _GLASS),
    ]
    return [
        Caution(_count(len(items), what), short, lines, items)
        for items, what, short, lines in cautions
        if items
    ]


def of_batch(batch: Batch) -> list[Caution]:
    """Return the cautions that a batch calls for, its items without a master too."""
    rows = [
        (item.item, item.material, item.decay_level, item.masters[0].kind or "")
        for item in batch.items
        if item.masters
    ]
    waiting = [(row.item, row.material, row.decay_level, "") for row in batch.without_master]
    return cautions_of(rows + waiting)
