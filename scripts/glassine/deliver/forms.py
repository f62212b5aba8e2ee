"""Which form each item of a delivery gets: see `shapes`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path

from msgspec import UNSET

from glassine.base import files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.receipt import Receipt, ReceiptItem
from glassine.deliver import causes, objects, shapes
from glassine.deliver.due import Item
from glassine.deliver.receipt_files import Receipts

_EARK = "eark"
_INVENTORY = "inventory.json"


def in_form(
    deliveries_dir: Path, items: list[Item], receipts: Receipts, *, adds: bool
) -> tuple[list[Item], list[Finding]]:
    """Return the items in the form in which they go into the bags, and notes on them.

    adds: whether the delivery is added to those before it.
    """
    earlier = causes.last_of(receipts.sound)
    ever = {entry.item for receipt in receipts.sound for entry in receipt.items}
    by_name = {receipt.delivery: receipt for receipt in receipts.sound}
    bags = _bags_of(receipts)
    shaped, notes = [], []
    for item in items:
        if item.profile == _EARK and item.name in ever:
            item = item.shaped(shapes.Replacement())
        elif item.profile == objects.PROFILE and adds and item.name in earlier:
            last = earlier[item.name]
            version = _next_version(deliveries_dir, item, by_name[last.delivery], last.item)
            if version is None:
                notes.append(_whole(item.name, last.delivery))
            else:
                item = item.shaped(_with_bags(version, item.name, bags))
        shaped.append(item)
    return shaped, notes


def _next_version(
    deliveries_dir: Path, item: Item, receipt: Receipt, before: ReceiptItem
) -> shapes.NextVersion | None:
    """Return the next version of an object, None where what was delivered of it is not known."""
    if receipt.profile != objects.PROFILE:
        return None
    content = objects.inventory_of(deliveries_dir, receipt, before)
    if content is None or not shapes.is_same_object(item.folder, item.package().files, content):
        return None
    places = _places(receipt, before)
    if len(places) != shapes.versions_in(content):
        return None
    give = partial(_inventory, deliveries_dir, receipt, before)
    return shapes.NextVersion(give, places)


def _places(receipt: Receipt, before: ReceiptItem) -> tuple[tuple[str, str], ...]:
    """Return (delivery, bag) of each version of an object, the first version first."""
    earlier = [] if before.refers is UNSET else list(reversed(before.refers))
    return (*((name, "") for name in earlier), (receipt.delivery, before.bag))


def _inventory(deliveries_dir: Path, receipt: Receipt, before: ReceiptItem) -> bytes:
    content = objects.inventory_of(deliveries_dir, receipt, before)
    if content is None:  # it was there when the delivery began
        raise GlassineError.because(
            "delivery.inventory_gone",
            objects.path_of(deliveries_dir, receipt.delivery),
            f"The inventory of {before.item} as it was delivered cannot be read any more.",
            "the inventory of the object's last version.",
            "Look at the disk that holds the deliveries, then run again.",
        )
    return content


def _whole(item: str, delivery: str) -> Finding:
    return Finding(
        "delivery.object_whole",
        item,
        f"{delivery} has this item, and its inventory there is not known any more, or it is of "
        "another object: it was delivered as a first version, with all its files.",
        "the inventory of each object as it was delivered, in the bag or beside the receipt.",
        "Tell the repository to take it in as the next version of the object.",
        "note",
    )


def inventory_digest(item: Item) -> str | None:
    """Return the SHA-256 of the inventory.json of an OCFL object as it goes into the bag."""
    if item.profile != objects.PROFILE:
        return None
    paths = {each.entry.path: each.entry.sha256 for each in item.placed()}
    return paths.get(_INVENTORY)


def inventories(items: list[Item]) -> Iterator[tuple[str, bytes]]:
    """Yield (item, inventory.json) of OCFL objects as they go into the bag."""
    for item in items:
        for placed in item.placed() if item.profile == objects.PROFILE else ():
            if placed.entry.path != _INVENTORY:
                continue
            source = placed.entry.source.partition(":")[2]
            make = placed.content or files.inside(item.folder, source).read_bytes
            yield item.name, make()


def _bags_of(receipts: Receipts) -> dict[tuple[str, str], str]:
    """Return {(delivery, item): bag}."""
    return {
        (receipt.delivery, entry.item): entry.bag
        for receipt in receipts.sound
        for entry in receipt.items
    }


def _with_bags(
    version: shapes.NextVersion, item: str, bags: dict[tuple[str, str], str]
) -> shapes.NextVersion:
    """Return a version whose places all name the bag."""
    places = tuple((name, bag or bags.get((name, item), "")) for name, bag in version.places)
    return replace(version, places=places)
