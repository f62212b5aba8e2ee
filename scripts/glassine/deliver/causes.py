"""Why an item is not as it was delivered: something about it changed, or newer software alone
makes other bytes of the same.

An item counts as changed by software alone only where that is proved: its masters have the bytes
that were delivered, and all that its steps were given is the same but for the versions of the
steps. Of deliveries that do not tell what an item was made of, that is not known.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from msgspec import UNSET

from glassine.base import wording
from glassine.base.errors import Finding
from glassine.base.records.receipt import Receipt, ReceiptItem
from glassine.deliver.due import Item

Cause = Literal["same", "new", "changed", "software", "unknown"]
# So many items are named in a finding.
_NAMED = 10


@dataclass(frozen=True)
class Last:
    """The last delivery that has an item, and what its receipt says of it."""

    delivery: str
    item: ReceiptItem


def last_of(receipts: list[Receipt]) -> dict[str, Last]:
    """Return {item: the last delivery that has it} without what was withdrawn as a whole since.

    receipts: of a batch, the first delivery first.
    """
    last: dict[str, Last] = {}
    for receipt in receipts:
        for entry in receipt.withdrawn:
            if entry.whole:
                last.pop(entry.item, None)
        last |= {item.item: Last(receipt.delivery, item) for item in receipt.items}
    return last


def cause_of(item: Item, last: Last | None, inputs: str | None) -> Cause:
    """Return why the next delivery would hold an item otherwise than the last that has it.

    inputs: digest over what its steps were given, None where it is not known.
    """
    if last is None:
        return "new"
    before = last.item
    if before.package_digest == item.digest:
        return "same"
    if _captured_anew(item, before):
        return "changed"
    if before.inputs is UNSET or inputs is None:
        return "unknown"
    return "software" if before.inputs == inputs else "changed"


def _captured_anew(item: Item, before: ReceiptItem) -> bool:
    """Return whether other files were captured of an item, by what the receipt tells of them. A
    picture that is developed otherwise of the same raw file is no other capture."""
    if before.captured is not UNSET:
        return before.captured != item.captured()
    files = item.master_files()
    if before.masters is UNSET or any(entry.use == "raw" for entry in files):
        return False
    delivered = sorted(master.sha256 for master in before.masters)
    return delivered != sorted(entry.sha256 for entry in files)


@dataclass(frozen=True)
class Aged:
    """Items that newer software alone makes otherwise, and those of which it may be so.

    Each: {item: what the last delivery that has it says}.
    """

    software: dict[str, Last] = field(default_factory=dict)
    unknown: dict[str, Last] = field(default_factory=dict)

    def all(self) -> dict[str, Last]:
        return self.software | self.unknown


def aged(items: list[Item], receipts: list[Receipt], inputs: dict[str, str]) -> Aged:
    """Return which of the items are, or may be, otherwise than delivered by software alone."""
    last = last_of(receipts)
    found = Aged()
    for item in items:
        cause = cause_of(item, last.get(item.name), inputs.get(item.name))
        if cause in ("software", "unknown"):
            into = found.software if cause == "software" else found.unknown
            into[item.name] = last[item.name]
    return found


def _count(items: dict[str, Last]) -> str:
    return "1 item comes out" if len(items) == 1 else f"{len(items):,} items come out"


def _names(items: dict[str, Last]) -> str:
    return wording.some(sorted(items), _NAMED)


def asked(batch: str, items: Aged) -> list[Finding]:
    """Return what holds a delivery until a person says whether these items go out again."""
    if not items.all():
        return []
    return [
        Finding(
            "delivery.new_version",
            batch,
            f"{_count(items.all())} otherwise than delivered, of the same masters: "
            f"{_names(items.all())}. Newer software alone is the reason with "
            f"{len(items.software):,}; with {len(items.unknown):,} it is not known what else they "
            "were made of then.",
            "a person's word whether the repository gets them again (delivery.on_new_version).",
            "To deliver them: scripts/nightly --config 'delivery={on_new_version: deliver}'. To "
            "leave the repository with what it has: set delivery.on_new_version to `keep`; of what "
            "is not known a person is asked all the same.",
        )
    ]


def kept(batch: str, items: dict[str, Last]) -> list[Finding]:
    """Return a note of items that the repository keeps as they were delivered."""
    if not items:
        return []
    return [
        Finding(
            "delivery.kept",
            batch,
            f"{_count(items)} otherwise with newer software alone; the repository keeps what was "
            f"delivered (delivery.on_new_version is `keep`): {_names(items)}.",
            "deliveries of what changed.",
            "Nothing; set delivery.on_new_version to `deliver` for one night to deliver them.",
            "note",
        )
    ]


def went_along(batch: str, items: dict[str, Last]) -> list[Finding]:
    """Return a note of items that went out again as a delivery holds the whole batch."""
    if not items:
        return []
    return [
        Finding(
            "delivery.went_along",
            batch,
            "Something else of the batch changed, so all of it was delivered. "
            f"{_count(items)} otherwise by newer software alone: {_names(items)}.",
            "deliveries that tell why they are made.",
            "Nothing; with delivery.later `changed` a delivery holds what changed alone.",
            "note",
        )
    ]
