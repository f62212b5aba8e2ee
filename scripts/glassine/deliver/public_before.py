"""Pictures that an earlier delivery made public, of an item that is restricted now.

What was handed out cannot be called back by a night: a person must, so it is told until no
delivery that is known here has them.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from glassine.base.access import ListedAccess
from glassine.base.errors import Finding
from glassine.base.records.receipt import Receipt
from glassine.deliver import drops, handover, receipt_files
from glassine.deliver.due import Folders, Item

CODE = "delivery.public_before"


def told(folders: Folders, items: list[Item], receipts: receipt_files.Receipts) -> list[Finding]:
    """Return a finding for each restricted item that earlier deliveries show more of, by its
    pictures as they are now."""
    allowed = [(item.name, handover.access_of(item.embedded())) for item in items]
    listed = [
        ListedAccess(item=name, words=access.sentence(), public=access.public)
        for name, access in allowed
    ]
    return told_of(folders.deliveries_dir, listed, receipts.sound)


def told_of(
    deliveries_dir: Path, items: Iterable[ListedAccess], receipts: list[Receipt]
) -> list[Finding]:
    """Return a finding for each restricted item that earlier deliveries show more of, whether or
    not a later delivery could be made."""
    lists = drops.Lists(deliveries_dir)
    holding: dict[str, list[Receipt]] = {}
    for receipt in receipts:
        for entry in receipt.items:
            holding.setdefault(entry.item, []).append(receipt)
    findings = []
    for item in items:
        if not item.is_restricted:
            continue
        shown = [
            receipt.delivery
            for receipt in holding.get(item.item, [])
            if _shows(lists.row(receipt, item.item), item.public == "none")
        ]
        if shown:
            findings.append(_finding(item.item, item.words, shown))
    return findings


def _shows(row: handover.ItemRow | None, any_picture: bool) -> bool:
    """Return whether a delivery shows the item to all; of one without a list nobody knows."""
    if row is None:
        return True
    pictures = [file for file in row.files if file.use != "master"]
    return any(any_picture or file.iiif_image for file in pictures)


def _finding(item: str, access: str, deliveries: list[str]) -> Finding:
    return Finding(
        "delivery.public_before",
        item,
        f"This item is {access} now, and {', '.join(deliveries)} holds public pictures of it.",
        "no public pictures of an item that is restricted.",
        "Take its pictures, tiles and manifest down wherever these deliveries were published, and "
        "tell the repository.",
        "review",
    )
