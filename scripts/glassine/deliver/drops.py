"""What earlier deliveries of a batch have and the next one would lack: held for a person's word.

The word is an entry under `withdraw` in corrections.yaml of the batch: an item, one master of it,
or the number of frames that are left of it. What has no such entry keeps the delivery back.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
from msgspec import UNSET

from glassine.base import files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records import Record, corrections
from glassine.base.records.receipt import DeliveredMaster, Receipt, ReceiptItem
from glassine.deliver.handover import DELIVERED, ItemRow

# So many items are told one by one; the rest as a number.
_AT_LENGTH = 200
_GONE = "not in the batch folder any more"


@dataclass(frozen=True)
class Delivered:
    """An item as the last delivery that has it holds it. digest: of its package; masters: None
    where nothing tells."""

    item: str
    delivery: str
    digest: str
    files: int
    masters: tuple[DeliveredMaster, ...] | None


@dataclass(frozen=True)
class Present:
    """An item as the next delivery would hold it."""

    item: str
    digest: str
    files: int
    masters: tuple[DeliveredMaster, ...]


@dataclass(frozen=True)
class Withdrawal:
    """A person's word that an item, or a part of it, is no longer delivered."""

    item: str
    master: str | None
    frames: int | None
    reason: str
    by: str
    when: str

    @classmethod
    def of(cls, entry: corrections.Withdrawal) -> Withdrawal:
        """Return an entry of `withdraw` in corrections.yaml."""
        return cls(
            item=entry.item,
            master=entry.master or None,
            frames=None if entry.frames is UNSET else entry.frames,
            reason=entry.reason,
            by=entry.by,
            when=entry.when,
        )

    @property
    def whole(self) -> bool:
        return self.master is None and self.frames is None

    def sentence(self) -> str:
        part = f"Master {self.master}: " if self.master else ""
        part = f"{self.frames} frames are left of it: " if self.frames is not None else part
        return f"{part}{self.reason} ({self.by}, {self.when})"


class LocatedFrame(Record, frozen=True, kw_only=True, forbid_unknown_fields=False):
    """What is asked of a frame of geometry.json. source: "correction" where a person decided."""

    excluded: bool = False
    blank: bool = False
    source: str = ""


class LocatedMaster(Record, frozen=True, kw_only=True, forbid_unknown_fields=False):
    path: str
    frames: tuple[LocatedFrame, ...] = ()


class Located(Record, frozen=True, kw_only=True, forbid_unknown_fields=False):
    """What is asked of geometry.json: earlier versions may lack the rest."""

    masters: tuple[LocatedMaster, ...] = ()


def left_out(geometry: Located) -> dict[str, int]:
    """Return {master: the number of its frames that a person left out}."""
    return {
        master.path: sum(_is_left_out(frame) for frame in master.frames)
        for master in geometry.masters
    }


def _is_left_out(frame: LocatedFrame) -> bool:
    return frame.excluded or (frame.blank and frame.source == "correction")


def masters_of(
    described: ItemRow, without: dict[str, int], restricted: dict[str, int] | None = None
) -> tuple[DeliveredMaster, ...]:
    """Return the masters of an item as it is delivered; where a picture developed from a raw file
    is not, the raw file stands for it. without: see `left_out`; restricted: {master: frames whose
    pictures may not be public}, which are no loss."""
    pictures = {row.master for row in described.files if row.use == "master"}
    frames = {(row.master, row.frame) for row in described.files if row.use == "access"}
    count = Counter(master for master, _ in frames)
    return tuple(
        DeliveredMaster(
            path=row.master,
            sha256=row.sha256,
            frames=count[row.master] + (restricted or {}).get(row.master, 0),
            left_out=without.get(row.master, 0),
        )
        for row in described.files
        if row.use == "master" or (row.use == "raw" and row.master not in pictures)
    )


@dataclass
class Lists:
    """The hand-over lists of earlier deliveries, read where a receipt does not tell enough."""

    deliveries_dir: Path
    rows: dict[str, dict[str, ItemRow]] = field(default_factory=dict)

    def row(self, receipt: Receipt, item: str) -> ItemRow | None:
        """Return the row of an item with files, None where no list of the delivery has one."""
        name = receipt.delivery
        if name not in self.rows:
            self.rows[name] = self._rows(receipt)
        return self.rows[name].get(item)

    def masters(self, receipt: Receipt, item: str) -> tuple[DeliveredMaster, ...] | None:
        described = self.row(receipt, item)
        return None if described is None else masters_of(described, {})

    def _rows(self, receipt: Receipt) -> dict[str, ItemRow]:
        places = [self.deliveries_dir / f"{receipt.delivery}.handover.json"]
        places += [
            self.deliveries_dir / bag.name / "delivery" / "handover.json" for bag in receipt.bags
        ]
        rows: dict[str, ItemRow] = {}
        for path in places:
            try:
                listed = files.read_json(path)["items"] if path.is_file() else []
                listed_rows = [msgspec.convert(entry, ItemRow) for entry in listed]
            except (GlassineError, LookupError, TypeError, msgspec.ValidationError):
                continue  # the next place may tell
            rows = {
                row.item: row for row in listed_rows if row.files or row.state == DELIVERED
            } | rows
        return rows


def delivered(deliveries_dir: Path, receipts: list[Receipt]) -> dict[str, Delivered]:
    """Return {item: what the last delivery that has it holds}, without what was withdrawn since.

    receipts: of a batch, the first delivery first. Receipts of earlier versions do not name
    masters; the hand-over list beside them, or in the bag, does.
    """
    lists = Lists(deliveries_dir)
    last: dict[str, tuple[Receipt, ReceiptItem]] = {}
    for receipt in receipts:
        for entry in receipt.withdrawn:
            if entry.whole:
                last.pop(entry.item, None)
        last |= {item.item: (receipt, item) for item in receipt.items}
    return {name: _delivered(lists, receipt, item) for name, (receipt, item) in last.items()}


def _delivered(lists: Lists, receipt: Receipt, item: ReceiptItem) -> Delivered:
    masters = item.masters or ()
    delivered_masters = (
        lists.masters(receipt, item.item) if item.masters is UNSET else tuple(masters)
    )
    digest = item.package_digest
    return Delivered(item.item, receipt.delivery, digest, item.files, delivered_masters)


def vanished(
    earlier: dict[str, Delivered],
    items: set[str],
    lacking: dict[str, str],
    withdrawn: list[Withdrawal],
    *,
    waits: bool = False,
) -> dict[str, str]:
    """Return {item: why the next delivery would lack it} of items that were delivered before.

    items: those it would hold; lacking: {item: state} of those that are not done. waits: these
    are no loss, as the delivery waits for them, or adds to the deliveries before it.
    """
    word = {entry.item for entry in withdrawn if entry.whole}
    return {
        item: lacking.get(item) or _GONE
        for item in sorted(earlier)
        if item not in items and item not in word and not (waits and item in lacking)
    }


def smaller(before: Delivered, now: Present, withdrawn: list[Withdrawal]) -> list[str]:
    """Return what an item that was delivered before would lack in the next delivery.

    A master counts as there where its bytes are, whatever its name; one whose bytes were replaced
    under its name too. A frame that a person left out in the meantime is no loss.
    """
    if before.digest == now.digest:
        return []
    of_item = [entry for entry in withdrawn if entry.item == now.item]
    if before.masters is None:
        accounted = any(not entry.whole for entry in of_item)
        if now.files >= before.files or accounted:
            return []
        return [f"{now.files:,} files in place of {before.files:,}; no list tells which"]
    by_digest = {master.sha256: master for master in now.masters}
    by_path = {master.path: master for master in now.masters}
    withdrawn_masters = {entry.master for entry in of_item if entry.master}
    frame_counts = {entry.frames for entry in of_item if entry.frames is not None}
    losses = []
    for master in before.masters:
        same = by_digest.get(master.sha256) or by_path.get(master.path)
        if same is None:
            losses += [] if master.path in withdrawn_masters else [f"master {master.path}"]
        elif _lost_frames(master, same) > 0 and same.frames not in frame_counts:
            losses.append(f"{same.frames} frames of {same.path} in place of {master.frames}")
    return losses


def _lost_frames(before: DeliveredMaster, now: DeliveredMaster) -> int:
    return before.frames - now.frames - max(0, now.left_out - before.left_out)


def _elsewhere(vanished_item: Delivered, present: dict[str, str]) -> str:
    """Return where the bytes of a vanished item's masters are now, as after a new name."""
    digests = [master.sha256 for master in vanished_item.masters or ()]
    items = {present[digest] for digest in digests if digest in present}
    if not items:
        return ""
    return f" Its masters are in {', '.join(sorted(items))} now."


def findings(
    earlier: dict[str, Delivered],
    vanished_items: dict[str, str],
    less: dict[str, list[str]],
    present: dict[str, str],
) -> list[Finding]:
    """Return what holds a delivery: a finding for each item that it would lack or have less of.

    vanished_items: see `vanished`; less: {item: see `smaller`}; present: {SHA-256 of a master: its
    item}.
    """
    drops = [
        _finding(
            item,
            f"{earlier[item].delivery} has this item; the next delivery would not: it is {why}."
            + _elsewhere(earlier[item], present),
        )
        for item, why in vanished_items.items()
    ]
    drops += [
        _finding(
            item,
            f"{earlier[item].delivery} has more of this item than the next delivery would: "
            f"{'; '.join(parts)}.",
        )
        for item, parts in less.items()
    ]
    if len(drops) > _AT_LENGTH:
        names = [finding.path for finding in drops[_AT_LENGTH:]]
        drops[_AT_LENGTH:] = [_finding(", ".join(names), f"{len(names):,} further items alike.")]
    return drops


def _finding(item: str, what: str) -> Finding:
    return Finding(
        "delivery.drops",
        item,
        what,
        "all that was delivered before, or a person's word that it is withdrawn.",
        "Bring it back, or write why it is withdrawn: scripts/withdraw BATCH ITEM --reason ... "
        "--by ROLE (with --master or --frames for a part of it).",
    )


def masters_there(withdrawn: list[Withdrawal], paths: dict[str, set[str]]) -> list[Finding]:
    """Return a finding for each withdrawn master that would be delivered all the same.

    paths: {item: its masters in the batch folder}.
    """
    return [
        Finding(
            "delivery.withdrawn_master",
            entry.master,
            f"This master of {entry.item} is withdrawn, but it is still in the batch folder and "
            "would be delivered.",
            "a withdrawn master outside the batch folder.",
            "Move it out of the batch folder, or take its entry out of corrections.yaml.",
        )
        for entry in withdrawn
        if entry.master and entry.master in paths.get(entry.item, set())
    ]
