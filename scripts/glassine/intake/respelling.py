"""Ids in corrections.yaml, spelled as they are everywhere else in the batch."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec.structs import replace

from glassine.base.model import ItemId
from glassine.base.numbers import Numbers
from glassine.base.records.corrections import Correction, Withdrawal


def decided(
    corrections: Mapping[ItemId, Correction],
    withdrawals: list[Withdrawal],
    numbers: Numbers,
    spelled: Mapping[str, ItemId],
) -> tuple[dict[ItemId, Correction], list[Withdrawal]]:
    """Return what a person decided, by the ids of the batch.

    spelled: {what is the same for all spellings of a number: the id of its item}. Of two entries
    that are of one item the second keeps its own spelling, and is told as of no item.
    """

    def spell(item: ItemId) -> ItemId:
        return spelled.get(numbers.key(item), item)

    # An entry under the item's own spelling goes before one under another.
    ordered = sorted(corrections.items(), key=lambda entry: spell(entry[0]) != entry[0])
    kept: dict[ItemId, Correction] = {}
    for item, each in ordered:
        kept[item if spell(item) in kept else spell(item)] = each
    return kept, [replace(each, item=spell(each.item)) for each in withdrawals]
