"""Pictures that an earlier delivery made public, of an item that is restricted now.

What was handed out cannot be called back by a night: a person must, so it is told until no
delivery that is known here has them.
"""

from __future__ import annotations

from glassine.base.errors import Finding
from glassine.deliver import drops, handover, receipt_files
from glassine.deliver.due import Folders, Item


def told(folders: Folders, items: list[Item], receipts: receipt_files.Receipts) -> list[Finding]:
    """Return a finding for each restricted item that earlier deliveries show more of."""
    lists = drops.Lists(folders.deliveries_dir)
    findings = []
    for item in items:
        allowed = handover.access_of(item.embedded())
        if allowed.public == "all":
            continue
        shown = [
            receipt.delivery
            for receipt in receipts.sound
            if any(entry.item == item.name for entry in receipt.items)
            and _shows(lists.row(receipt, item.name), allowed.public == "none")
        ]
        if shown:
            findings.append(_finding(item.name, allowed.sentence(), shown))
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
