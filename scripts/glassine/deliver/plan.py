"""What a delivery will be, fixed before its first byte and kept while it is under way."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import clock, files, record_files
from glassine.base.model import BatchId
from glassine.base.records.plan import Plan
from glassine.deliver import bag, causes, ledger, receipt_files
from glassine.deliver.due import Due, Item
from glassine.deliver.given import DeliverySection
from glassine.deliver.receipt_files import Receipts

GB = 10**9


class Whereabouts(msgspec.Struct, frozen=True):
    """Where an item of the batch lies. digest: over its files there, as the receipt has it."""

    item: str
    delivery: str
    bag: str
    digest: str


# Beside the bags while a delivery is under way.
_STATE = ".part-{batch}.json"


def content_of(due: Due, section: DeliverySection) -> str:
    """Return a digest over all that makes two deliveries the same."""
    listed = [[item.name, due.kept.get(item.name, item.digest)] for item in due.items]
    missing = sorted(entry.item for entry in due.lacking)
    parts: list[Any] = [listed, missing, [section.form, section.max_bag_gb]]
    if due.withdrawn:  # left out where there are none: as in receipts of earlier versions
        parts.append(sorted(files.canonical(entry.key) for entry in due.withdrawn))
    return hashlib.sha256(files.canonical(parts).encode()).hexdigest()


def to_deliver(due: Due, receipts: Receipts) -> list[Item]:
    """Return the items of the next delivery, with the delivery that each is in as it was before.

    Where it adds to those before it, these are the items that changed. What was withdrawn, and is
    there again, comes again.
    """
    earlier = causes.last_of(receipts.sound)
    items = due.items
    if due.adds:
        items = [item for item in items if item.name not in due.kept and _is_other(item, earlier)]
    return [_replacing(item, earlier) if _is_other(item, earlier) else item for item in items]


def unchanged_bytes(due: Due, receipts: Receipts) -> int:
    """Return the size of the items that are as an earlier delivery has them."""
    earlier = causes.last_of(receipts.sound)
    return sum(item.bytes for item in due.items if not _is_other(item, earlier))


def _is_other(item: Item, earlier: dict[str, causes.Last]) -> bool:
    last = earlier.get(item.name)
    return last is None or last.item.package_digest != item.digest


def _replacing(item: Item, earlier: dict[str, causes.Last]) -> Item:
    last = earlier.get(item.name)
    if last is None:
        return item
    return replace(item, replaces=last.delivery, replaces_digest=last.item.digest)


def _stood_for(receipts: Receipts) -> list[str]:
    """Return the deliveries that together hold the batch as it was delivered, the last one first:
    the last, those that it was added to, and so on."""
    by_name = {receipt.delivery: receipt for receipt in receipts.sound}
    names: list[str] = []
    receipt = receipts.latest
    while receipt is not None and receipt.delivery not in names:
        names.append(receipt.delivery)
        receipt = by_name.get(receipt.continues or "")
    return names


def whereabouts(
    plan: Plan, bags: dict[str, str], digests: dict[str, str], due: Due, receipts: Receipts
) -> list[Whereabouts]:
    """Return in which delivery and bag each item of the batch lies once this delivery is made.

    bags: {item: the bag of this delivery that has it}; digests: {item: over its files in it}. What
    is withdrawn lies nowhere; what the delivery lacks lies where it was, if it was delivered.
    """
    earlier = causes.last_of(receipts.sound)
    names = {item.name for item in due.items} | {entry.item for entry in due.lacking}
    listed = []
    for name in sorted(names):
        last = earlier.get(name)
        if name in bags:
            listed.append(Whereabouts(name, plan.name, bags[name], digests[name]))
        elif last is not None:
            place = (last.delivery, last.item.bag, last.item.digest)
            listed.append(Whereabouts(name, *place))
    return listed


def begin(
    deliveries_dir: Path, batch: BatchId, content: str, receipts: Receipts, adds: bool
) -> Plan:
    """Return the plan of the delivery under way, or a new one; keep it beside the bags."""
    state = deliveries_dir / _STATE.format(batch=batch)
    if state.exists():
        begun_plan = record_files.load(state, "plan", Plan)
        if begun_plan.content == content and bool(begun_plan.continues) == adds:
            return begun_plan
        _discard(deliveries_dir, begun_plan)
    latest = receipts.latest
    revision = latest.revision + 1 if latest else 1
    replaced = _stood_for(receipts) if not adds else []
    plan = Plan(
        batch=batch,
        name=batch if revision == 1 else f"{batch}.r{revision}",
        revision=revision,
        replaces=replaced[0] if replaced else None,
        also_replaces=replaced[1:],
        continues=latest.delivery if latest and adds else None,
        content=content,
        time=clock.now_text(),
    )
    record_files.save(state, "plan", plan)
    return plan


def settle(deliveries_dir: Path, batch: BatchId) -> None:
    """Finish what a killed run left of a delivery that the ledger has already: its bags have their
    names, so what lacks is its receipt, which is written of the ledger, and its plan goes.

    Else the plan would count as that of a delivery under way, whose bags go where the batch has
    changed since. Raises GlassineError where the plan cannot be read, OSError."""
    state = deliveries_dir / _STATE.format(batch=batch)
    if not state.exists():
        return
    plan = record_files.load(state, "plan", Plan)
    receipt = ledger.read(deliveries_dir).receipt_of(plan.name)
    if receipt is None or receipt.content != plan.content:
        return
    places = (receipt_files.receipt_path, receipt_files.second_copy_path)
    if not any(path(deliveries_dir, plan.name).exists() for path in places):
        receipt_files.write(deliveries_dir, receipt)
    end(deliveries_dir, plan)


def end(deliveries_dir: Path, plan: Plan) -> None:
    """Forget the plan of a delivery that is done."""
    (deliveries_dir / _STATE.format(batch=plan.batch)).unlink(missing_ok=True)


def _discard(deliveries_dir: Path, begun_plan: Plan) -> None:
    """Remove what was begun of a delivery whose content has changed since.

    A bag that has its name already, but no receipt yet, was never delivered; it goes too, if it
    says itself that it is that one.
    """
    name = re.escape(begun_plan.name) + r"(?:\.\d{3})?(?:\.tar|\.zip)?"
    for path in sorted(deliveries_dir.iterdir()):
        begun = re.fullmatch(r"\.part-" + name, path.name)
        if begun or (re.fullmatch(name, path.name) and _says(path, begun_plan.content)):
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
