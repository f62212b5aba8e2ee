"""What the next delivery of a batch is to hold, and what forbids it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, replace
from pathlib import Path

from msgspec import UNSET

from glassine.base import access, hashing, naming, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import BatchId, ItemId
from glassine.base.records.embedded import Embedded
from glassine.base.records.fixity import Fixity
from glassine.base.records.package import Package, PackagedFile
from glassine.base.records.receipt import LackingItem, Receipt, ReceiptItem, WithdrawnPart
from glassine.deliver import drops, handover, receipt_files, same_ids
from glassine.deliver.given import DeliverGiven, DeliverySection, UnfinishedItem
from glassine.deliver.shapes import NextVersion, Placed, Shape

# So many items are named in a finding.
_NAMED = 20
# The state, in a delivery, of an item that the settings keep out of it.
KEPT_BACK = "kept back"
# How a state of an item is told in the sentence "it is ...".
_STATES = {
    "waiting": "waiting for the next night",
    "pending": "pending",
    "review": "for review, and no person has accepted it yet",
}


@dataclass(frozen=True)
class Item:
    """One item to deliver and the results it lies in; its list of files is read when needed.

    bytes, files: of its package. digest: over its files' paths and digests. replaces: the
    delivery that has the item in an earlier state, replaces_digest: over its files there. inputs:
    digest over what its steps were given but for the versions of the software, where it is known.
    shape: the form in which it goes into the bag, where that is not as it lies in the results;
    bytes, files and digest are of that form then, and packed is the digest of its package.
    """

    name: ItemId
    folder: Path
    bytes: int
    files: int
    digest: str
    profile: str
    replaces: str | None = None
    replaces_digest: str | None = None
    inputs: str | None = None
    shape: Shape | None = None
    packed: str | None = None

    def package(self) -> Package:
        return read_package(self.folder)

    def refers(self) -> list[str]:
        """Return the deliveries that have further files of it, the last one first."""
        if not isinstance(self.shape, NextVersion):
            return []
        return list(dict.fromkeys(delivery for delivery, _ in reversed(self.shape.places)))

    def placed(self) -> list[Placed]:
        """Return its files as they go into the bag."""
        packed = self.package().files
        if self.shape is None:
            return [Placed(entry) for entry in packed]
        return self.shape.files(self.folder, packed)

    def shaped(self, shape: Shape) -> Item:
        """Return the item as it goes into the bag in this form."""
        placed = [each.entry for each in shape.files(self.folder, self.package().files)]
        return replace(
            self,
            shape=shape,
            packed=self.digest,
            bytes=sum(entry.bytes for entry in placed),
            files=len(placed),
            digest=hashing.of_tree({entry.path: entry.sha256 for entry in placed}),
        )

    def master_files(self) -> list[PackagedFile]:
        """Return the masters, and raw files, of which the package may hold either."""
        return [entry for entry in self.package().files if entry.use in ("master", "raw")]

    def captured(self) -> str:
        """Return a digest over the files that were captured: masters, and of those that were
        developed here the raw files."""
        return captured_in(self.folder)

    def row(self, bag: str) -> handover.ItemRow:
        """Return the item's row of the hand-over list. bag: the name of the one that has it."""
        package = self.package()
        row = handover.describe_item(self.folder, package, bag)
        if isinstance(self.shape, NextVersion):
            return handover.with_places(row, self.shape.elsewhere(self.folder, package.files))
        return row

    def left_out(self) -> dict[str, int]:
        """Return {master: the number of its frames that a person left out}."""
        path = self.folder / "geometry.json"
        return drops.left_out(record_files.load(path, "geometry", drops.Located))

    def embedded(self) -> Embedded:
        return record_files.load(self.folder / "embedded.json", "embedded", Embedded)

    def access(self) -> access.Access:
        """Return who may see it, as its pictures were made, and what of it is delivered."""
        return handover.access_of(self.embedded())

    def restricted(self) -> dict[str, int]:
        """Return {master: the number of its frames whose pictures may not be public}."""
        return dict(
            Counter(
                file.master
                for file in self.embedded().files
                if file.use == "access" and file.path.startswith(f"{access.RESTRICTED}/")
            )
        )

    def present(self) -> drops.Present:
        masters = drops.masters_of(self.row(""), self.left_out(), self.restricted())
        return drops.Present(self.name, self.digest, self.files, masters)


def captured_in(folder: Path) -> str:
    """Return the digest of `Item.captured` of the item in a folder of results."""
    fixity = record_files.load(folder / "fixity.json", "fixity", Fixity)
    sources = [each if each.source is UNSET else each.source for each in fixity.masters]
    digests = sorted(each.digests.sha256 for each in sources)
    return hashing.of_bytes("\n".join(digests).encode()).sha256


def read_package(folder: Path) -> Package:
    """Return package.json of an item's folder. Raises GlassineError where it is damaged."""
    return record_files.load(folder / "package.json", "package", Package)


def item_of(folder: Path, package: Package) -> Item:
    """Return the item of a results folder whose package.json holds `package`."""
    listed = {entry.path: entry.sha256 for entry in package.files}
    return Item(
        name=ItemId(folder.name),
        folder=folder,
        bytes=sum(entry.bytes for entry in package.files),
        files=len(listed),
        digest=hashing.of_tree(listed),
        profile=package.profile,
    )


@dataclass(frozen=True)
class Due:
    """What the next delivery is to hold, and what it tells of the rest.

    lacking: items that are not done, or kept back by the settings; adds: it holds what changed and
    continues the deliveries before it. kept: {item: digest of its package as it was delivered last}
    of items that stay as they were delivered, though newer software makes them otherwise.
    """

    items: list[Item]
    lacking: list[LackingItem]
    withdrawn: list[WithdrawnPart]
    adds: bool
    kept: dict[str, str] = field(default_factory=dict)

    def rows(self) -> list[handover.ItemRow]:
        """Return the rows of the hand-over list that have no file."""
        return [
            *(handover.lacking_row(entry) for entry in self.lacking),
            *(handover.withdrawn_row(entry) for entry in self.withdrawn),
        ]


@dataclass(frozen=True)
class Folders:
    """Where masters lie, the results of the batch, and the deliveries."""

    batch_dir: Path
    results_batch_dir: Path
    deliveries_dir: Path


def next_delivery(folders: Folders, given: DeliverGiven, receipts: receipt_files.Receipts) -> Due:
    """Return what the next delivery is to hold. Raises GlassineError for all that forbids it."""
    section = given.settings.delivery
    withdrawn = [drops.Withdrawal.of(entry) for entry in given.withdraw]
    withdrawn_items = {entry.item for entry in withdrawn if entry.whole}
    finished = [
        replace(_item(folders, name), inputs=given.inputs.get(name))
        for name in sorted({*given.items} - withdrawn_items)
    ]
    items, kept_back = parted(finished)
    lacking = [entry for entry in given.lacking if entry.item not in withdrawn_items]
    earlier = drops.delivered(folders.deliveries_dir, receipts.sound)
    batch_items = {*given.items, *(entry.item for entry in given.lacking)}
    findings = [
        *_forbidden(given.batch, finished, lacking, section, bool(earlier)),
        *dropped(items, lacking, withdrawn, earlier, section, kept_back),
        *_twice(folders, given.batch, items, section),
    ]
    if findings:
        raise GlassineError(findings)
    return Due(
        items=items,
        lacking=[
            *(_lacking(entry, earlier) for entry in lacking),
            *(_kept_back(name, level, earlier) for name, level in kept_back.items()),
        ],
        withdrawn=[
            _withdrawn(entry, receipts)
            for entry in withdrawn
            if entry.item in batch_items or _last_with(entry.item, receipts)
        ],
        adds=section.later == "changed" and receipts.latest is not None,
    )


def parted(finished: list[Item]) -> tuple[list[Item], dict[str, access.Access]]:
    """Return the items to deliver, and those of which nothing is, by `access.deliver`."""
    levels = {item.name: item.access() for item in finished}
    kept_back: dict[str, access.Access] = {
        name: level for name, level in levels.items() if level.deliver == "nothing"
    }
    return [item for item in finished if item.name not in kept_back], kept_back


# From so many bytes that went out once more, unchanged and more than half of a delivery, it is said
# that they need not (common practice, no source: what a slow line carries in a night).
_MUCH_BYTES = 10 * 10**9


def much_again(batch: BatchId, unchanged: int, whole: int) -> list[Finding]:
    """Return the note that most of a later delivery had been delivered before. unchanged, whole:
    bytes."""
    if unchanged < _MUCH_BYTES or 2 * unchanged < whole:
        return []
    return [
        Finding(
            "delivery.much_again",
            batch,
            f"{unchanged / 1e9:,.0f} of the {whole / 1e9:,.0f} GB of this delivery are as "
            "they were delivered before.",
            "that each delivery holds the whole batch (delivery.later is `whole`).",
            "Where the repository takes deliveries that add to those before, set delivery.later to "
            "`changed`.",
            "note",
        )
    ]


def _kept_back(name: str, level: access.Access, earlier: dict[str, drops.Delivered]) -> LackingItem:
    words = f"It is {level.sentence()}, of which nothing is delivered (`access.deliver`)."
    return LackingItem(item=name, state=KEPT_BACK, reason=_as_before(earlier.get(name), words))


def _item(folders: Folders, name: str) -> Item:
    folder = folders.results_batch_dir / "items" / naming.check_item(name)
    return item_of(folder, read_package(folder))


def _twice(
    folders: Folders, batch: BatchId, items: list[Item], section: DeliverySection
) -> list[Finding]:
    """Return what keeps the delivery back because another batch had its ids before."""
    findings = same_ids.findings(
        folders.results_batch_dir.parent,
        folders.deliveries_dir,
        batch,
        [item.name for item in items],
        held=section.same_ids == "held",
    )
    return [finding for finding in findings if finding.severity == "hold"]


def _last_with(item: str, receipts: receipt_files.Receipts) -> str | None:
    """Return the last delivery that has the item, or that told of it as withdrawn."""
    named = (_named_in(receipt, item) for receipt in reversed(receipts.sound))
    return next((delivery for delivery in named if delivery), None)


def _named_in(receipt: Receipt, item: str) -> str | None:
    if any(entry.item == item for entry in receipt.items):
        return receipt.delivery
    withdrawals = (entry for entry in receipt.withdrawn if entry.item == item)
    return next((entry.delivery or receipt.delivery for entry in withdrawals), None)


def _withdrawn(entry: drops.Withdrawal, receipts: receipt_files.Receipts) -> WithdrawnPart:
    return WithdrawnPart(
        item=entry.item,
        master=entry.master,
        frames=entry.frames,
        reason=entry.reason,
        by=entry.by,
        when=entry.when,
        delivery=_last_with(entry.item, receipts),
    )


def _forbidden(
    batch: BatchId,
    items: list[Item],
    lacking: list[UnfinishedItem],
    section: DeliverySection,
    earlier: bool,
) -> list[Finding]:
    if lacking and section.when == "complete":
        names = wording.some([entry.item for entry in lacking], 10)
        return [
            Finding(
                "delivery.withheld",
                batch,
                f"Not done: {names} ({len(lacking)} in all).",
                "every item done (delivery.when is `complete`).",
                "Do what the report says of them, or set delivery.when to `passed`.",
            )
        ]
    if not items and (unseen := [each.item for each in lacking if each.state == "review"]):
        return [
            Finding(
                "delivery.unseen",
                batch,
                f"Every finished item is for review, and no person has accepted any: "
                f"{wording.some(unseen, 10)} ({len(unseen)} in all).",
                "items that a person has accepted (delivery.when is `reviewed`).",
                "Look at them (scripts/review) and accept what is right, then run again.",
            )
        ]
    if not items:
        return [
            Finding(
                "delivery.empty",
                batch,
                "No item of this batch is done"
                + (", or all are withdrawn; what was delivered before stands." if earlier else "."),
                "at least one finished item.",
                "Do what the report says and run again; tell the repository of withdrawn items."
                if earlier
                else "Do what the report says and run again.",
            )
        ]
    return []


def dropped(
    items: list[Item],
    lacking: list[UnfinishedItem],
    withdrawn: list[drops.Withdrawal],
    earlier: dict[str, drops.Delivered],
    section: DeliverySection,
    kept_back: dict[str, access.Access],
) -> list[Finding]:
    """Return what keeps the delivery back because an earlier one has more.

    kept_back: items of which nothing is delivered, by `access.deliver`; where each delivery adds
    to those before it, that is no loss.
    """
    waits = section.when == "complete" or section.later == "changed"
    states = {entry.item: _STATES.get(entry.state, entry.state) for entry in lacking}
    names: set[str] = {item.name for item in items}
    vanished = drops.vanished(earlier, names, states, withdrawn, waits=waits)
    for name in kept_back:
        if section.later == "changed":
            vanished.pop(name, None)
        elif name in vanished:
            vanished[name] = f"{kept_back[name].in_full()} (`access.deliver`)"
    less: dict[str, list[str]] = {
        item.name: parts for item in items if (parts := _smaller(item, earlier, withdrawn))
    }
    new = [item for item in items if item.name not in earlier] if vanished else []
    present: dict[str, str] = {
        entry.sha256: item.name for item in new for entry in item.master_files()
    }
    parted = {entry.item for entry in withdrawn if entry.master}
    paths: dict[str, set[str]] = {
        item.name: {
            entry.source.partition(":")[2].removeprefix("developed/")
            if entry.source.startswith("item:")
            else entry.source.partition(":")[2]
            for entry in item.master_files()
        }
        for item in items
        if item.name in parted
    }
    return [
        *drops.findings(earlier, vanished, less, present),
        *drops.masters_there(withdrawn, paths),
    ]


def _smaller(
    item: Item, earlier: dict[str, drops.Delivered], withdrawn: list[drops.Withdrawal]
) -> list[str]:
    """Return what the next delivery would have less of an item."""
    before = earlier.get(item.name)
    if before is None or before.digest == item.digest:
        return []
    try:
        less = drops.smaller(before, item.present(), withdrawn)
        if less and item.access().deliver != "masters":
            less.append(f"by `access.deliver`: {item.access().in_full()}")
        return less
    except (GlassineError, LookupError, TypeError, AttributeError) as problem:
        return [f"what it has now cannot be told, a record is damaged ({problem})"]


def _lacking(entry: UnfinishedItem, earlier: dict[str, drops.Delivered]) -> LackingItem:
    """Return what is told of an item that the delivery lacks, and which one has it."""
    reason = _as_before(earlier.get(entry.item), handover.why_lacking(entry))
    return LackingItem(item=entry.item, state=entry.state, reason=reason)


def left_behind(batch: BatchId, lacking: list[LackingItem]) -> list[Finding]:
    """Return a note that names the items that wait for a person before they are delivered."""
    names = [entry.item for entry in lacking if entry.state == "review"]
    if not names:
        return []
    return [
        Finding(
            "delivery.left_behind",
            batch,
            f"{len(names)} items stay behind until a person accepts them: {wording.listed(names)}."
            if len(names) > 1
            else f"{names[0]} stays behind until a person accepts it.",
            "items that a person has accepted (delivery.when is `reviewed`).",
            "Look at them (scripts/review) and accept what is right.",
            "note",
        )
    ]


def _as_before(last_delivered: drops.Delivered | None, reason: str) -> str:
    if last_delivered is None:
        return reason
    return f"It stays as {last_delivered.delivery} has it. {reason}".strip()


def untold(due: Due, receipts: receipt_files.Receipts, section: DeliverySection) -> list[Finding]:
    """Return a note for what was withdrawn and no delivery tells of yet."""
    delivered_keys = {entry.key for receipt in receipts.sound for entry in receipt.withdrawn}
    return [
        Finding(
            "delivery.withdrawn_untold",
            entry.item,
            "It is withdrawn, but nothing else changed, so that no delivery tells of it yet "
            f"(delivery.later is `{section.later}`).",
            "a repository that knows what is withdrawn.",
            "Tell the repository; the next delivery lists it.",
            "note",
        )
        for entry in due.withdrawn
        if entry.key not in delivered_keys
    ]


def withdrawn_again(folders: Folders, due: Due, receipts: receipt_files.Receipts) -> list[Finding]:
    """Return a note for each item that is withdrawn and whose captures are other ones than were
    delivered: it was captured again, and the entry keeps that from being delivered."""
    delivered_items = {item.item: item for receipt in receipts.sound for item in receipt.items}
    names = [
        entry.item
        for entry in due.withdrawn
        if entry.whole
        and entry.item in delivered_items
        and _captured_again(folders, entry.item, delivered_items[entry.item])
    ]
    return [
        Finding(
            "delivery.withdrawn_again",
            wording.some(names, _NAMED),
            "Captured again since it was delivered, but withdrawn: the new captures are not "
            "delivered.",
            "a withdrawn item without new captures, or a new capture that is delivered.",
            "Where it is to be delivered, take its entry out of `withdraw` in corrections.yaml; "
            "else move its masters out of the batch folder.",
            "note",
        )
    ] * bool(names)


def _captured_again(folders: Folders, name: str, before: ReceiptItem) -> bool:
    folder = folders.results_batch_dir / "items" / naming.check_item(name)
    if before.captured is UNSET or not (folder / "fixity.json").exists():
        return False
    return captured_in(folder) != before.captured


def kept_out(due: Due) -> list[Finding]:
    """Return a note of the items that `access.deliver` keeps out of the delivery, whole or their
    masters."""
    whole = [entry.item for entry in due.lacking if entry.state == KEPT_BACK]
    masters: list[str] = [item.name for item in due.items if item.access().deliver == "records"]
    return [
        *_kept_out(whole, "Nothing of them is delivered"),
        *_kept_out(masters, "Their records are delivered, and their masters are not"),
    ]


def _kept_out(names: list[str], what: str) -> list[Finding]:
    if not names:
        return []
    return [
        Finding(
            "delivery.kept_back",
            wording.some(names, _NAMED),
            f"{what}, as `access.deliver` says of what not all may see ({len(names):,} in all).",
            "a repository that knows that the studio keeps these.",
            "Keep their masters safe, as no delivery does, or set `access.deliver` to `masters`.",
            "note",
        )
    ]
