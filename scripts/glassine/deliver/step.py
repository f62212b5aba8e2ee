"""Make the delivery of a batch: bags of packages, read again and validated, with a receipt.

A delivery is built under a name that begins with `.part-` and takes its own name only when every
byte of it was read again; what a killed run left is continued. An earlier delivery is never
written to: a changed batch makes a new one (`<batch>.r2`) that says what it replaces.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import msgspec
from msgspec import UNSET

from glassine import __version__
from glassine.base import files, item_states, naming
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import BatchId
from glassine.base.records.plan import Plan
from glassine.base.records.receipt import Receipt, ReceiptBag, ReceiptItem
from glassine.deliver import (
    bagging,
    causes,
    drops,
    forms,
    handover,
    ledger,
    objects,
    public_before,
    receipt_files,
)
from glassine.deliver import due as dues
from glassine.deliver import plan as plans
from glassine.deliver.due import Due, Folders, Item
from glassine.deliver.given import DeliverGiven, DeliverySection
from glassine.deliver.tags import Contents

VERSION = "6"
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
    receipt_files.sweep(deliveries_dir, given.batch)
    plans.settle(deliveries_dir, given.batch)
    receipts = standing(results_batch_dir, deliveries_dir, given.batch)
    before = [
        *receipts.notes,
        *ledger.without_receipt(deliveries_dir, given.batch, receipts.sound),
    ]
    due = dues.next_delivery(folders, given, receipts)
    aged = causes.aged(due.items, receipts.sound, given.inputs)
    made = _make(folders, given, _with_kept(due, aged, given.settings.delivery), receipts)
    if made is not None:
        before += made
        if not due.adds:
            unchanged = plans.unchanged_bytes(due, receipts)
            before += dues.much_again(given.batch, unchanged, sum(i.bytes for i in due.items))
        receipts = standing(results_batch_dir, deliveries_dir, given.batch)
    before += _of_software(aged, given, before, along=made is not None and not due.adds)
    damage = receipt_files.damage(deliveries_dir, receipts)
    _require([finding for finding in damage if finding.severity == "hold"])
    before += dues.left_behind(given.batch, due.lacking)
    untold = dues.untold(due, receipts, given.settings.delivery)
    public = public_before.told(folders, due.items, receipts)
    kept = dues.kept_out(due) + dues.withdrawn_again(folders, due, receipts)
    return Outcome(
        receipts.latest.delivery if receipts.latest else None,
        tuple(entry.item for entry in due.lacking),
        tuple(entry.item for entry in due.withdrawn if entry.whole),
        tuple(dict.fromkeys([*before, *receipts.notes, *damage, *untold, *public, *kept])),
    )


def _with_kept(due: Due, aged: causes.Aged, section: DeliverySection) -> Due:
    """Return what is due, with the items that stay as they were delivered, be it until a person
    was asked."""
    if section.on_new_version == "deliver":
        return due
    return replace(due, kept={name: last.item.package_digest for name, last in aged.all().items()})


def _of_software(
    aged: causes.Aged, given: DeliverGiven, notes: list[Finding], *, along: bool
) -> list[Finding]:
    """Return the notes on items that newer software alone made otherwise.

    along: whether they were delivered with the whole batch. Raises GlassineError where a person is
    asked, with the notes there are beside it.
    """
    choice = given.settings.delivery.on_new_version
    if choice == "deliver" or not aged.all():
        return []
    if along:
        return causes.went_along(given.batch, aged.software)
    open_ = aged if choice == "ask" else causes.Aged(unknown=aged.unknown)
    kept = causes.kept(given.batch, aged.software if choice == "keep" else {})
    if asked := causes.asked(given.batch, open_):
        raise GlassineError([*asked, *kept, *notes])
    return kept


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
    if not ledger.path_of(deliveries_dir).exists():
        _require(receipt_files.not_mounted(results_batch_dir, deliveries_dir))
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
) -> list[Finding] | None:
    """Make the delivery and return notes on it; None where the last holds the same."""
    section, deliveries_dir = given.settings.delivery, folders.deliveries_dir
    content = plans.content_of(due, section)
    if receipts.latest and receipts.latest.content == content:
        return None
    if not due.adds:  # all of the batch goes out, as it is now
        due = replace(due, kept={})
        content = plans.content_of(due, section)
    items = plans.to_deliver(due, receipts)
    if not items:  # nothing but what it lacks has changed
        return None
    items, notes = forms.in_form(deliveries_dir, items, receipts, adds=due.adds)
    deliveries_dir.mkdir(parents=True, exist_ok=True)
    plan = plans.begin(deliveries_dir, given.batch, content, receipts, due.adds)
    groups = plans.groups_of(items, section)
    digests: dict[str, str] = {item.name: item.digest for item in items}
    names = bagging.bags_of(plan, groups, section)
    lies = plans.whereabouts(plan, names, digests, due, receipts)
    contents = [
        bagging.contents_of(folders, plan, number, groups, lies)
        for number in range(1, len(groups) + 1)
    ]
    made = bagging.make_bags(deliveries_dir, plan, contents, given, due)
    bags = list(zip(contents, made, strict=True))
    _finish(deliveries_dir, plan, bags, given, due)
    return notes


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
        also_replaces=plan.also_replaces or UNSET,
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
    inventories = [(each.item, each.inventory) for each in receipt.items]
    if any(digest is not UNSET for _, digest in inventories):
        everything = [item for contents, _ in bags for item in contents.items]
        objects.keep(deliveries_dir, plan.name, forms.inventories(everything))
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
        replaces_digest=item.replaces_digest or UNSET,
        inputs=item.inputs or UNSET,
        packed=item.packed or UNSET,
        captured=item.captured(),
        inventory=forms.inventory_digest(item) or UNSET,
        refers=item.refers() or UNSET,
        masters=list(drops.masters_of(row, item.left_out(), item.restricted())),
    )
