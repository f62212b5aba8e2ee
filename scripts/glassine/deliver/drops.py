"""What earlier deliveries of a batch have and the next one would lack: held for a person's word.

The word is an entry under `withdraw` in corrections.yaml of the batch: an item, one master of it,
or the number of frames that are left of it. What has no such entry keeps the delivery back.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from glassine.base import files
from glassine.base.errors import Finding, GlassineError

# So many items are told one by one; the rest as a number.
_AT_LENGTH = 200
_GONE = "not in the batch folder any more"


@dataclass(frozen=True)
class Master:
    """A delivered master: its digest, the frames delivered of it, and those a person left out."""

    path: str
    sha256: str
    frames: int
    left_out: int = 0

    def as_dict(self) -> dict[str, Any]:
        return {
            "path": self.path,
            "sha256": self.sha256,
            "frames": self.frames,
            "left_out": self.left_out,
        }


@dataclass(frozen=True)
class Delivered:
    """An item as the last delivery that has it holds it; masters: None where nothing tells."""

    item: str
    delivery: str
    digest: str
    files: int
    masters: tuple[Master, ...] | None


@dataclass(frozen=True)
class Present:
    """An item as the next delivery would hold it."""

    item: str
    digest: str
    files: int
    masters: tuple[Master, ...]


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
    def from_dict(cls, entry: dict[str, Any]) -> Withdrawal:
        return cls(
            item=entry["item"],
            master=entry.get("master"),
            frames=entry.get("frames"),
            reason=entry["reason"],
            by=entry["by"],
            when=entry["when"],
        )

    @property
    def whole(self) -> bool:
        return self.master is None and self.frames is None

    def sentence(self) -> str:
        part = f"Master {self.master}: " if self.master else ""
        part = f"{self.frames} frames are left of it: " if self.frames is not None else part
        return f"{part}{self.reason} ({self.by}, {self.when})"


def masters_of(described: dict[str, Any], geometry: dict[str, Any]) -> tuple[Master, ...]:
    """Return the masters of an item as it is delivered.

    described: see `handover.describe_item`; geometry: the item's geometry.json.
    """
    frames = Counter(
        (str(entry["master"]), int(entry["frame"]))
        for entry in described["files"]
        if entry["use"] == "access"
    )
    count = Counter(master for master, _ in frames)
    left_out = {
        master["path"]: sum(
            1
            for frame in master.get("frames", [])
            if frame.get("excluded") or (frame.get("blank") and frame.get("source") == "correction")
        )
        for master in geometry.get("masters", [])
    }
    listed = [entry for entry in described["files"] if entry["use"] == "master"]
    return tuple(
        Master(path, entry["sha256"], count[path], left_out.get(path, 0))
        for entry in listed
        for path in (str(entry["master"]),)
    )


@dataclass
class _Lists:
    """The hand-over lists of earlier deliveries, read where a receipt does not tell enough."""

    deliveries_dir: Path
    read: dict[str, dict[str, Any]] = field(default_factory=dict)

    def masters(self, receipt: dict[str, Any], item: str) -> tuple[Master, ...] | None:
        name = receipt["delivery"]
        if name not in self.read:
            self.read[name] = self._items(receipt)
        described = self.read[name].get(item)
        return None if described is None else masters_of(described, {})

    def _items(self, receipt: dict[str, Any]) -> dict[str, Any]:
        places = [self.deliveries_dir / f"{receipt['delivery']}.handover.json"]
        places += [
            self.deliveries_dir / entry["name"] / "delivery" / "handover.json"
            for entry in receipt["bags"]
        ]
        found: dict[str, Any] = {}
        for path in places:
            try:
                listed = files.read_json(path)["items"] if path.is_file() else []
                found = {entry["item"]: entry for entry in listed if entry["files"]} | found
            except (GlassineError, LookupError, TypeError):
                continue  # the next place may tell
        return found


def delivered(deliveries_dir: Path, receipts: list[dict[str, Any]]) -> dict[str, Delivered]:
    """Return {item: what the last delivery that has it holds}, without what was withdrawn since.

    receipts: of a batch, the first delivery first. Receipts of earlier versions do not name
    masters; the hand-over list beside them, or in the bag, does.
    """
    lists = _Lists(deliveries_dir)
    found: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {}
    for receipt in receipts:
        for entry in receipt.get("withdrawn", []):
            if entry["master"] is None and entry["frames"] is None:
                found.pop(entry["item"], None)
        found |= {entry["item"]: (receipt, entry) for entry in receipt["items"]}
    return {item: _delivered(lists, *each) for item, each in found.items()}


def _delivered(lists: _Lists, receipt: dict[str, Any], entry: dict[str, Any]) -> Delivered:
    if "masters" in entry:
        masters: tuple[Master, ...] | None = tuple(Master(**each) for each in entry["masters"])
    else:
        masters = lists.masters(receipt, entry["item"])
    return Delivered(entry["item"], receipt["delivery"], entry["digest"], entry["files"], masters)


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
    word = {each.item for each in withdrawn if each.whole}
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
    own = [each for each in withdrawn if each.item == now.item]
    if before.masters is None:
        accounted = any(not each.whole for each in own)
        if now.files >= before.files or accounted:
            return []
        return [f"{now.files:,} files in place of {before.files:,}; no list tells which"]
    there = {master.sha256: master for master in now.masters}
    by_path = {master.path: master for master in now.masters}
    word = {each.master for each in own if each.master}
    left = {each.frames for each in own if each.frames is not None}
    said = []
    for master in before.masters:
        same = there.get(master.sha256) or by_path.get(master.path)
        if same is None:
            said += [] if master.path in word else [f"master {master.path}"]
        elif _lost_frames(master, same) > 0 and same.frames not in left:
            said.append(f"{same.frames} frames of {same.path} in place of {master.frames}")
    return said


def _lost_frames(before: Master, now: Master) -> int:
    return before.frames - now.frames - max(0, now.left_out - before.left_out)


def _elsewhere(lost: Delivered, present: dict[str, str]) -> str:
    """Return where the bytes of a vanished item's masters are now, as after a new name."""
    items = {present[each.sha256] for each in lost.masters or () if each.sha256 in present}
    if not items:
        return ""
    return f" Its masters are in {', '.join(sorted(items))} now."


def findings(
    earlier: dict[str, Delivered],
    gone: dict[str, str],
    less: dict[str, list[str]],
    present: dict[str, str],
) -> list[Finding]:
    """Return what holds a delivery: a finding for each item that it would lack or have less of.

    gone: see `vanished`; less: {item: see `smaller`}; present: {SHA-256 of a master: its item}.
    """
    told = [
        _finding(
            item,
            f"{earlier[item].delivery} has this item; the next delivery would not: it is {why}."
            + _elsewhere(earlier[item], present),
        )
        for item, why in gone.items()
    ]
    told += [
        _finding(
            item,
            f"{earlier[item].delivery} has more of this item than the next delivery would: "
            f"{'; '.join(parts)}.",
        )
        for item, parts in less.items()
    ]
    if len(told) > _AT_LENGTH:
        names = [finding.path for finding in told[_AT_LENGTH:]]
        told[_AT_LENGTH:] = [_finding(", ".join(names), f"{len(names):,} further items alike.")]
    return told


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
            each.master,
            f"This master of {each.item} is withdrawn, but it is still in the batch folder and "
            "would be delivered.",
            "a withdrawn master outside the batch folder.",
            "Move it out of the batch folder, or take its entry out of corrections.yaml.",
        )
        for each in withdrawn
        if each.master and each.master in paths.get(each.item, set())
    ]
