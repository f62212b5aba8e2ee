"""What a delivery will be, fixed before its first byte and kept while it is under way."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

from glassine.base import clock, files, record_files
from glassine.base.model import BatchId
from glassine.base.records.plan import Plan
from glassine.deliver import bag
from glassine.deliver.due import Due, Item
from glassine.deliver.given import DeliverySection
from glassine.deliver.receipt_files import Receipts

GB = 10**9
# Beside the bags while a delivery is under way.
_STATE = ".part-{batch}.json"


def content_of(due: Due, section: DeliverySection) -> str:
    """Return a digest over all that makes two deliveries the same."""
    listed = [[item.name, item.digest] for item in due.items]
    missing = sorted(entry.item for entry in due.lacking)
    parts: list[Any] = [listed, missing, [section.form, section.max_bag_gb]]
    if due.withdrawn:  # left out where there are none: as in receipts of earlier versions
        parts.append(sorted(files.canonical(entry.key) for entry in due.withdrawn))
    return hashlib.sha256(files.canonical(parts).encode()).hexdigest()


def _earlier(receipts: Receipts) -> dict[str, tuple[str, str]]:
    """Return {item: (the delivery that has it last, its digest there)}."""
    return {
        item.item: (receipt.delivery, item.digest)
        for receipt in receipts.sound
        for item in receipt.items
    }


def to_deliver(due: Due, receipts: Receipts) -> list[Item]:
    """Return the items of the next delivery, with the delivery that each is in as it was before.

    Where it adds to those before it, these are the items that changed.
    """
    earlier = _earlier(receipts)
    items = due.items
    if due.adds:
        items = [item for item in items if earlier.get(item.name, ("", ""))[1] != item.digest]
    return [replace(item, replaces=_replaced(item, earlier)) for item in items]


def _replaced(item: Item, earlier: dict[str, tuple[str, str]]) -> str | None:
    delivery, digest = earlier.get(item.name, (None, item.digest))
    return delivery if digest != item.digest else None


def begin(
    deliveries_dir: Path, batch: BatchId, content: str, receipts: Receipts, adds: bool
) -> Plan:
    """Return the plan of the delivery under way, or a new one; keep it beside the bags."""
    state = deliveries_dir / _STATE.format(batch=batch)
    if state.exists():
        kept = record_files.load(state, "plan", Plan)
        if kept.content == content and bool(kept.continues) == adds:
            return kept
        _discard(deliveries_dir, kept)
    latest = receipts.latest
    revision = latest.revision + 1 if latest else 1
    plan = Plan(
        batch=batch,
        name=batch if revision == 1 else f"{batch}.r{revision}",
        revision=revision,
        replaces=latest.delivery if latest and not adds else None,
        continues=latest.delivery if latest and adds else None,
        content=content,
        time=clock.now_text(),
    )
    record_files.save(state, "plan", plan)
    return plan


def end(deliveries_dir: Path, plan: Plan) -> None:
    """Forget the plan of a delivery that is done."""
    (deliveries_dir / _STATE.format(batch=plan.batch)).unlink(missing_ok=True)


def _discard(deliveries_dir: Path, kept: Plan) -> None:
    """Remove what was begun of a delivery whose content has changed since.

    A bag that has its name already, but no receipt yet, was never delivered; it goes too, if it
    says itself that it is that one.
    """
    name = re.escape(kept.name) + r"(?:\.\d{3})?(?:\.tar|\.zip)?"
    for path in sorted(deliveries_dir.iterdir()):
        begun = re.fullmatch(r"\.part-" + name, path.name)
        if begun or (re.fullmatch(name, path.name) and _says(path, kept.content)):
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()


def _says(path: Path, content: str) -> bool:
    statement = bag.tag_file(path, "delivery/delivery.json")
    return statement is not None and json.loads(statement).get("content") == content


def groups_of(items: list[Item], section: DeliverySection) -> list[list[Item]]:
    """Return the items in their order, parted into bags of at most `max_bag_gb` (0: one bag).

    An item is never divided; one larger than the limit has a bag to itself.
    """
    limit_bytes = round(section.max_bag_gb * GB)  # cut off, 15 bytes said in GB would be 14
    groups: list[list[Item]] = []
    size = 0
    for item in items:
        if not groups or (limit_bytes and size + item.bytes > limit_bytes):
            groups.append([])
            size = 0
        groups[-1].append(item)
        size += item.bytes
    return groups
