"""Make the delivery of a batch: bags of packages, read again and validated, with a receipt.

A delivery is built under a name that begins with `.part-` and takes its own name only when every
byte of it was read again; what a killed run left is continued. An earlier delivery is never
written to: a changed batch makes a new one (`<batch>.r2`) that says what it replaces.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import msgspec

from glassine import __version__
from glassine.base import files, item_states, naming
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import BatchId
from glassine.base.records.plan import Plan
from glassine.base.records.receipt import Receipt, ReceiptBag, ReceiptItem
from glassine.deliver import bagging, drops, handover, ledger, public_before, receipt_files
from glassine.deliver import due as dues
from glassine.deliver import plan as plans
from glassine.deliver.due import Due, Folders, Item
from glassine.deliver.given import DeliverGiven
from glassine.deliver.tags import Contents

VERSION = "3"
# The output of rule `deliver` in the results of a batch: see `write_stamp`.
STAMP = "delivered.json"
# States of items whose package is made.
FINISHED = frozenset({"done", "review"})


@dataclass(frozen=True)
class Outcome:
    """What stands after a delivery was due: the last one, and items of the batch that it lacks.

    notes: what a person should know of receipts and bags, for the report.
    """

    delivery: str | None
    lacking: tuple[str, ...] = ()
    withdrawn: tuple[str, ...] = ()
    notes: tuple[Finding, ...] = ()


class Stamp(msgspec.Struct, frozen=True, kw_only=True):
    """delivered.json. key: see `plan.delivery_key` of the night; the rest as in `Outcome`."""

    delivery: str | None = None
    key: str | None
    lacking: list[str]
    withdrawn: list[str]
    notes: list[dict[str, str]] = msgspec.field(default_factory=list)


def write_stamp(path: Path, outcome: Outcome, key: str | None) -> None:
    """Write that the batch's deliveries are as `key` (see `plan.delivery_key`) asks."""
    stamp = Stamp(
        delivery=outcome.delivery,
        key=key,
        lacking=list(outcome.lacking),
        withdrawn=list(outcome.withdrawn),
        notes=[finding.as_dict() for finding in outcome.notes],
    )
    files.write_json(path, msgspec.to_builtins(stamp))


def is_current(
    results_batch_dir: Path, key: str | None, statuses: list[item_states.ItemStatus]
) -> bool:
    """Return whether the last delivery holds what the batch has now: the stamp says that it is as
    `key` asks, and each item that is not finished is one of which the delivery tells."""
    try:
        stamp = msgspec.convert(files.read_json(results_batch_dir / STAMP), Stamp)
    except (GlassineError, msgspec.ValidationError):
        return False
    same = key is not None and stamp.key == key
    unfinished = {status.item for status in statuses if status.state not in FINISHED}
    return same and unfinished <= {*stamp.lacking, *stamp.withdrawn}


def deliver_batch(
    batch_dir: Path, results_batch_dir: Path, deliveries_dir: Path, given: DeliverGiven
) -> Outcome:
    """Write the delivery of a batch and its receipt `deliveries/<delivery>.receipt.json`.

    Makes nothing where the last delivery held the same. Raises GlassineError where nothing may be
    delivered, an earlier delivery has what this one would lack, a file is not what its package
    says, or the disk has no room.
    """
    naming.check_batch(given.batch)
    folders = Folders(batch_dir, results_batch_dir, deliveries_dir)
    receipts = standing(results_batch_dir, deliveries_dir, given.batch)
    before = [
        *receipts.notes,
        *ledger.without_receipt(deliveries_dir, given.batch, receipts.sound),
    ]
    due = dues.next_delivery(folders, given, receipts)
    if _make(folders, given, due, receipts):
        receipts = standing(results_batch_dir, deliveries_dir, given.batch)
    damage = receipt_files.damage(deliveries_dir, receipts)
    _require([finding for finding in damage if finding.severity == "hold"])
    untold = dues.untold(due, receipts, given.settings.delivery)
    public = public_before.told(folders, due.items, receipts)
    kept = dues.kept_out(due)
    return Outcome(
        receipts.latest.delivery if receipts.latest else None,
        tuple(entry.item for entry in due.lacking),
        tuple(entry.item for entry in due.withdrawn if entry.whole),
        tuple(dict.fromkeys([*before, *receipts.notes, *damage, *untold, *public, *kept])),
    )


def standing(
    results_batch_dir: Path, deliveries_dir: Path, batch: BatchId
) -> receipt_files.Receipts:
    """Return the receipts of a batch, each written again where one of its copies was lost.

    Raises GlassineError where one cannot be used, or is known and not here any more.
    """
    receipts = receipt_files.read(deliveries_dir, batch)
    notes = _from_ledger(results_batch_dir, deliveries_dir, receipts)
    if notes:
        receipts = receipt_files.read(deliveries_dir, batch)
        receipts.notes += notes
    _require([*receipts.damaged, *receipt_files.lost(results_batch_dir, deliveries_dir, receipts)])
    _require(ledger.contradictions(deliveries_dir, receipts.sound))
    receipts.notes += ledger.take_in(deliveries_dir, receipts.sound)
    receipt_files.restore(receipts)
    receipt_files.note_names(results_batch_dir, receipts)
    return receipts


def _from_ledger(
    results_batch_dir: Path, deliveries_dir: Path, receipts: receipt_files.Receipts
) -> list[Finding]:
    """Write again each receipt of which no copy can be used and that the ledger has."""
    lacking = receipt_files.unusable(results_batch_dir, receipts)
    known = ledger.read(deliveries_dir) if lacking else ledger.Ledger()
    notes = []
    for name in lacking:
        receipt = known.receipt_of(name)
        if receipt is not None:
            receipt_files.write(deliveries_dir, receipt)
            notes.append(
                ledger.receipt_made_again(receipt_files.receipt_path(deliveries_dir, name))
            )
    return notes


def sound_receipts(deliveries_dir: Path, batch: str) -> list[Receipt]:
    """Return the receipts of a batch's deliveries, the first one first.

    Raises GlassineError where a receipt is damaged: what is sent must be what was written.
    """
    receipts = receipt_files.read(deliveries_dir, batch)
    _require(receipts.damaged)
    _require([replace(note, severity="hold") for note in receipts.notes])
    return receipts.sound


def _require(findings: list[Finding]) -> None:
    if findings:
        raise GlassineError(findings)


def _make(
    folders: Folders, given: DeliverGiven, due: Due, receipts: receipt_files.Receipts
) -> bool:
    """Make the delivery; return whether there was one to make: the last may hold the same."""
    section, deliveries_dir = given.settings.delivery, folders.deliveries_dir
    content = plans.content_of(due, section)
    if receipts.latest and receipts.latest.content == content:
        return False
    items = plans.to_deliver(due, receipts)
    if not items:  # nothing but what it lacks has changed
        return False
    deliveries_dir.mkdir(parents=True, exist_ok=True)
    plan = plans.begin(deliveries_dir, given.batch, content, receipts, due.adds)
    groups = plans.groups_of(items, section)
    bags = []
    for number in range(1, len(groups) + 1):
        contents = bagging.contents_of(folders, plan, number, groups)
        bags.append((contents, bagging.make_bag(deliveries_dir, plan, contents, given, due)))
    _finish(deliveries_dir, plan, bags, given, due)
    return True


def _finish(
    deliveries_dir: Path,
    plan: Plan,
    bags: list[tuple[Contents, ReceiptBag]],
    given: DeliverGiven,
    due: Due,
) -> None:
    """Write the handover files and the receipt; the delivery is done when the receipt stands."""
    rows = [row for contents, _ in bags for row in contents.rows] + due.rows()
    names = [f"{plan.name}.handover.csv", f"{plan.name}.handover.json"]
    files.write_bytes(deliveries_dir / names[0], handover.as_csv(rows, plan.name, plan.time))
    files.write_bytes(deliveries_dir / names[1], handover.as_json(rows, plan.name, plan.time))
    receipt = Receipt(
        delivery=plan.name,
        batch=plan.batch,
        revision=plan.revision,
        replaces=plan.replaces,
        continues=plan.continues,
        time=plan.time,
        form=given.settings.delivery.form,
        profile=bags[0][0].items[0].profile,
        content=plan.content,
        bags=[bag for _, bag in bags],
        items=[
            _receipt_item(item, row, bag)
            for contents, bag in bags
            for item, row in zip(contents.items, contents.rows, strict=True)
        ],
        lacking=due.lacking,
        withdrawn=due.withdrawn,
        handover=names,
        software=f"Glassine {__version__}",
    )
    ledger.add(deliveries_dir, [receipt])
    receipt_files.write(deliveries_dir, receipt)
    plans.end(deliveries_dir, plan)


def _receipt_item(item: Item, row: handover.ItemRow, bag: ReceiptBag) -> ReceiptItem:
    return ReceiptItem(
        item=item.name,
        bag=bag.name,
        files=item.files,
        bytes=item.bytes,
        digest=item.digest,
        replaces=item.replaces,
        masters=list(drops.masters_of(row, item.left_out(), item.restricted())),
    )
