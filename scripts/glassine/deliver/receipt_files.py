"""The receipts of a batch's deliveries, and whether what they tell of is still here.

Each receipt lies twice in the folder of deliveries: beside its bag (`<delivery>.receipt.json`) and
in `receipts/`. One copy that was lost or damaged is written again from the other. The results keep
the names of what was delivered (`delivery-list.json`), so that a folder of deliveries that is not
there (a disk that is not mounted) is not taken for one in which nothing was ever delivered.
"""

from __future__ import annotations

import os
import re
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

import msgspec
from msgspec import UNSET

from glassine.base import files, hashing, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records import Record
from glassine.base.records.receipt import (
    DeliveredMaster,
    Form,
    LackingItem,
    Receipt,
    ReceiptBag,
    ReceiptItem,
    WithdrawnPart,
)

FOLDER = "receipts"
SUFFIX = ".receipt.json"
# In `results/<batch>/`: the names of all deliveries of the batch.
LIST = "delivery-list.json"
_SOUND_BAG = "tagmanifest-sha256.txt"
_TAR_BLOCK = 512
_TAR_END = bytes(2 * _TAR_BLOCK)
# What the lists of a receipt hold.
_PARTS: dict[str, type[Record]] = {
    "bags": ReceiptBag,
    "items": ReceiptItem,
    "lacking": LackingItem,
    "withdrawn": WithdrawnPart,
}
# So many names are told of a long list.
_NAMED = 10

State = Literal["here", "gone", "damaged"]


@dataclass(frozen=True)
class Bag:
    """What a look at a bag shows: nothing of it is read but its ends and its list of tag files.

    state: "here"; "gone", nothing has its name; "damaged", it is there but not as delivered.
    """

    delivery: str
    name: str
    state: State
    what: str = ""


@dataclass
class Receipts:
    """The receipts of a batch: sound ones with the first delivery first, and what is wrong.

    damaged: no sound copy is left, so nothing may be delivered; unreadable: the deliveries of which
    no copy can be read. restored: paths that are to be
    written again, with that of the sound copy. notes: what was wrong with one copy, for the report.
    """

    sound: list[Receipt] = field(default_factory=list)
    damaged: list[Finding] = field(default_factory=list)
    unreadable: list[str] = field(default_factory=list)
    restored: list[tuple[Path, Path]] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    @property
    def latest(self) -> Receipt | None:
        return self.sound[-1] if self.sound else None


def receipt_path(deliveries_dir: Path, name: str) -> Path:
    """Return the path of a delivery's receipt beside its bag."""
    return deliveries_dir / f"{name}{SUFFIX}"


def second_copy_path(deliveries_dir: Path, name: str) -> Path:
    """Return the path of the second copy of a delivery's receipt."""
    return deliveries_dir / FOLDER / f"{name}.json"


def sweep(deliveries_dir: Path, batch: str) -> None:
    """Remove what killed runs had begun to write of a batch's receipts and lists, and nothing else:
    a bag, and the plan of a delivery that is under way, have other names."""
    name = re.escape(batch) + r"(?:\.r\d{1,6})?"
    for folder, kinds in (
        (
            deliveries_dir,
            rf"{name}\.(?:receipt\.json\.json|handover\.json\.json|handover\.csv\.csv)"
            rf"|{re.escape(files.TEMPORARY_PREFIX + batch)}\.json\.json",
        ),
        (deliveries_dir / FOLDER, rf"{name}\.(?:json\.json|objects\.zip\.zip)"),
    ):
        begun = re.compile(rf"{re.escape(files.TEMPORARY_PREFIX)}(\d+)-(?:{kinds})")
        for path in folder.glob(f"{files.TEMPORARY_PREFIX}*"):
            match = begun.fullmatch(path.name)
            if match and path.is_file() and not Path(f"/proc/{match[1]}").exists():
                path.unlink(missing_ok=True)


def batches(deliveries_dir: Path) -> set[str]:
    """Return the batches that have a receipt that can be read, in either place."""
    paths = [*deliveries_dir.glob(f"*{SUFFIX}"), *deliveries_dir.glob(f"{FOLDER}/*.json")]
    receipts = (_as_written(path) for path in paths)
    return {receipt.batch for receipt in receipts if receipt is not None}


def names(deliveries_dir: Path, batch: str) -> dict[str, int]:
    """Return {delivery: revision} by the names of receipts of either place, in order."""
    pattern = re.compile(re.escape(batch) + r"(?:\.r(\d{1,6}))?")
    revisions = {}
    for folder, suffix in ((deliveries_dir, SUFFIX), (deliveries_dir / FOLDER, ".json")):
        for path in folder.glob(f"{batch}*{suffix}"):
            name = path.name.removesuffix(suffix)
            match = pattern.fullmatch(name)
            if match:
                revisions[name] = int(match[1] or 1)
    return dict(sorted(revisions.items(), key=lambda entry: entry[1]))


def _problem(path: Path) -> tuple[Receipt | None, str]:
    """Return the receipt at `path`, or None and why it cannot be used."""
    try:
        return record_files.load(path, "receipt", Receipt), ""
    except GlassineError as error:
        return None, error.findings[0].what if path.exists() else "It is not there."


def read(deliveries_dir: Path, batch: str) -> Receipts:
    """Return the receipts of a batch's deliveries. Nothing is written: see `restore`."""
    receipts = Receipts()
    for name in names(deliveries_dir, batch):
        _read_both(receipts, deliveries_dir, batch, name)
    return receipts


def _read_both(receipts: Receipts, deliveries_dir: Path, batch: str, name: str) -> None:
    paths = (receipt_path(deliveries_dir, name), second_copy_path(deliveries_dir, name))
    same = _same_bytes(*paths)
    first, why_first = (_as_written(paths[0]), "") if same else (None, "")
    if first is None:
        first, why_first = _problem(paths[0])
    second, why_second = (first, "") if same and first else _problem(paths[1])
    receipt = second or first
    if receipt is None:
        receipts.damaged.append(_unusable(paths, (why_first, why_second)))
        receipts.unreadable.append(name)
        return
    if receipt.batch != batch:
        return  # of a batch whose own name ends as a later delivery's does
    if first is not None and second is not None and first != second:
        receipts.damaged.append(_differ(paths))
        return
    receipts.sound.append(receipt)
    for path, copy, other, why in (
        (paths[0], first, paths[1], why_first),
        (paths[1], second, paths[0], why_second),
    ):
        if copy is None:
            receipts.restored.append((path, other))
            if path.exists():
                receipts.notes.append(_rebuilt(path, why))


def _as_written(path: Path) -> Receipt | None:
    """Return a receipt whose two copies are the same: what another version wrote beside what is
    known here is passed over, as no damage made it. None where the file is not built as a receipt;
    `_problem` then tells why."""
    try:
        return taken(files.read_json(path))
    except (GlassineError, TypeError, AttributeError, msgspec.ValidationError):
        return None


def taken(receipt: Any) -> Receipt:
    """Return the receipt of its JSON, whatever another version wrote beside what is known here.

    Raises TypeError, AttributeError, msgspec.ValidationError (a ValueError) where it is none."""
    return msgspec.convert(_without_unknown_keys(receipt), Receipt)


def _without_unknown_keys(receipt: Any) -> dict[str, Any]:
    """Return the JSON of a receipt without keys that its types do not know."""
    fields = _known_keys(receipt, Receipt)
    for name, kind in _PARTS.items():
        if name in fields:
            fields[name] = [_known_keys(part, kind) for part in fields[name]]
    for item in fields.get("items", []):
        if "masters" in item:
            item["masters"] = [_known_keys(master, DeliveredMaster) for master in item["masters"]]
    return fields


def _known_keys(value: dict[str, Any], kind: type[Record]) -> dict[str, Any]:
    return {name: part for name, part in value.items() if name in kind.__struct_fields__}


def _same_bytes(one: Path, other: Path) -> bool:
    try:
        return one.read_bytes() == other.read_bytes()
    except OSError:
        return False


def _unusable(paths: tuple[Path, Path], why: tuple[str, str]) -> Finding:
    return Finding(
        "delivery.receipt",
        str(paths[0]),
        f"No copy of this receipt can be used. {why[0]} In {FOLDER}/: {why[1]}",
        "a receipt as it was written, here or in deliveries/receipts/.",
        "Do not delete it: bring back a sound copy (from a backup, or from where the delivery was "
        "sent), then run again. Until then nothing more of this batch is delivered.",
    )


def _differ(paths: tuple[Path, Path]) -> Finding:
    return Finding(
        "delivery.receipt",
        str(paths[0]),
        f"The two copies of this receipt do not say the same (the other is {paths[1]}).",
        "the same receipt in both places.",
        "Find out which one tells of the bag (scripts/validate_delivery.py compares them), and "
        "copy it over the other one.",
    )


def _rebuilt(path: Path, why: str) -> Finding:
    return Finding(
        "delivery.receipt_rebuilt",
        str(path),
        f"This receipt was damaged: {why} It was written again from its second copy.",
        "a disk that keeps what was written.",
        "Look at the disk that holds the deliveries.",
        "note",
    )


def restore(receipts: Receipts) -> None:
    """Write each lost or damaged copy of a receipt again from the sound one, byte by byte."""
    for path, sound in receipts.restored:
        files.write_bytes(path, sound.read_bytes())


def write(deliveries_dir: Path, receipt: Receipt) -> None:
    """Write a new receipt in both places; the delivery is done when the first of them stands."""
    name = receipt.delivery
    record_files.save(second_copy_path(deliveries_dir, name), "receipt", receipt)
    record_files.save(receipt_path(deliveries_dir, name), "receipt", receipt)


def note_names(results_batch_dir: Path, receipts: Receipts) -> None:
    """Keep the names and times of what was delivered with the results of the batch."""
    listed = {receipt.delivery: receipt.time for receipt in receipts.sound}
    path = results_batch_dir / LIST
    if _listed_deliveries(path) != listed:
        files.write_json(path, {"deliveries": listed})


def _listed_deliveries(path: Path) -> dict[str, str]:
    try:
        listed = files.read_json(path)["deliveries"]
        return {str(name): str(time) for name, time in listed.items()}
    except (GlassineError, KeyError, TypeError, AttributeError):
        return {}  # lost or damaged: written again from the receipts


def unusable(results_batch_dir: Path, receipts: Receipts) -> list[str]:
    """Return the deliveries that were made and of which no copy of the receipt can be read, or is
    here; not those of which two copies differ."""
    with_receipt = {receipt.delivery for receipt in receipts.sound}
    with_receipt |= {Path(finding.path).name.removesuffix(SUFFIX) for finding in receipts.damaged}
    gone = [
        name for name in _listed_deliveries(results_batch_dir / LIST) if name not in with_receipt
    ]
    return [*receipts.unreadable, *gone]


def lost(results_batch_dir: Path, deliveries_dir: Path, receipts: Receipts) -> list[Finding]:
    """Return a finding for each delivery that was made and of which no receipt is here any more."""
    with_receipt = {receipt.delivery for receipt in receipts.sound}
    with_receipt |= {Path(finding.path).name.removesuffix(SUFFIX) for finding in receipts.damaged}
    return [
        Finding(
            "delivery.receipt_gone",
            str(receipt_path(deliveries_dir, name)),
            f"{name} was delivered on {time[:10]}, but its receipt is not here any more, neither "
            f"beside the bag nor in {FOLDER}/.",
            "the receipts of all deliveries in the folder of deliveries.",
            "Bring the folder of deliveries back (is its disk mounted?). To have the batch "
            f"delivered as if for the first time, remove {results_batch_dir / LIST}.",
        )
        for name, time in _listed_deliveries(results_batch_dir / LIST).items()
        if name not in with_receipt
    ]


def not_mounted(results_batch_dir: Path, deliveries_dir: Path) -> list[Finding]:
    """Return a finding where other batches were delivered, and the folder of deliveries holds
    nothing that tells of any delivery: it is another folder than it was."""
    folder = deliveries_dir / FOLDER
    if any(deliveries_dir.glob(f"*{SUFFIX}")) or any(folder.glob("*.json")):
        return []
    listed = [
        name
        for path in sorted(results_batch_dir.parent.glob(f"*/{LIST}"))
        for name in _listed_deliveries(path)
    ]
    if not listed:
        return []
    return [
        Finding(
            "delivery.not_mounted",
            str(deliveries_dir),
            f"This folder has no ledger and no receipt, but deliveries were made before: "
            f"{wording.some(listed, _NAMED)}.",
            "the folder that holds the ledger and the receipts of all deliveries.",
            "Bring the folder of deliveries back (is its disk mounted?). Where it is to be a new "
            "one, copy ledger.jsonl and receipts/ of the old one into it.",
        )
    ]


def look(deliveries_dir: Path, receipt: Receipt) -> list[Bag]:
    """Return what a look at each bag of a delivery shows; `scripts/validate_delivery.py` reads."""
    bags = []
    for entry in receipt.bags:
        items = [item.item for item in receipt.items if item.bag == entry.name]
        state, what = _look(deliveries_dir / entry.name, receipt.form, entry, items)
        bags.append(Bag(receipt.delivery, entry.name, state, what))
    return bags


def _look(path: Path, form: Form, entry: ReceiptBag, items: list[str]) -> tuple[State, str]:
    try:
        if not path.exists():
            return "gone", ""
        if form == "folder":
            what = _folder_problem(path, entry, items)
        else:
            what = _archive_problem(path, form, entry)
    except OSError as problem:
        what = f"It cannot be looked at: {problem.strerror or problem}."
    return ("damaged", what) if what else ("here", "")


def _folder_problem(path: Path, entry: ReceiptBag, items: list[str]) -> str:
    tags = path / _SOUND_BAG
    if not path.is_dir() or not tags.is_file():
        return f"There is no bag in it: {_SOUND_BAG} is missing."
    if hashing.sha256_of(tags) != entry.tagmanifest_sha256:
        return f"{_SOUND_BAG} is not the one that the receipt names."
    listed = [line.split(None, 1)[1] for line in tags.read_text("utf-8").splitlines() if line]
    missing = [name for name in listed if not (path / name).is_file()]
    data = path / "data"
    present = {folder.name for folder in os.scandir(data)} if data.is_dir() else ()
    missing += [f"data/{item}" for item in items if item not in present]
    if missing:
        return f"{wording.some(missing, _NAMED)}: missing."
    return ""


def _archive_problem(path: Path, form: Form, entry: ReceiptBag) -> str:
    if not path.is_file():
        return "It is no file."
    size = path.stat().st_size
    expected = entry.archive_bytes
    if expected is not UNSET and size != expected:
        return f"It has {size:,} bytes; {expected:,} were delivered."
    if size < entry.bytes:
        return f"It has {size:,} bytes, fewer than the {entry.bytes:,} of its masters and files."
    if form == "zip":
        return "" if zipfile.is_zipfile(path) else "It is cut short: its list of files is missing."
    with path.open("rb") as opened:
        opened.seek(-len(_TAR_END), os.SEEK_END)
        ended = opened.read() == _TAR_END
    return "" if ended and size % _TAR_BLOCK == 0 else "It is cut short: its end is missing."


def damage(deliveries_dir: Path, receipts: Receipts) -> list[Finding]:
    """Return a finding for each bag that is there but not as delivered.

    What a later delivery replaces is for a person to know; what counts holds the batch.
    """
    replaced = {name for receipt in receipts.sound for name in receipt.all_replaced}
    return [
        Finding(
            "delivery.damaged",
            str(deliveries_dir / bag.name),
            f"This bag was delivered on {receipt.time[:10]} and is not as it was. {bag.what}",
            "the bag as its receipt tells of it, or nothing where it was carried away.",
            "Compare it with the repository's copy (scripts/validate_delivery.py tells all that is "
            "wrong) and bring a sound copy back, or move what is left of it away. It is not made "
            "again by itself.",
            "note" if receipt.delivery in replaced else "hold",
        )
        for receipt in receipts.sound
        for bag in look(deliveries_dir, receipt)
        if bag.state == "damaged"
    ]


def exist(deliveries_dir: Path, batch: str) -> bool:
    """Return whether there is a receipt of the batch, or a part of one."""
    return bool(names(deliveries_dir, batch))


def mark(deliveries_dir: Path, batch: str) -> dict[str, Any]:
    """Return what is not as it was delivered, without reading bags; empty where all is well.

    It is asked each night; and it is empty before the first delivery as after it, so that a
    delivery alone is no reason to look again.
    """
    odd: dict[str, Any] = {}
    for name in names(deliveries_dir, batch):
        paths = (receipt_path(deliveries_dir, name), second_copy_path(deliveries_dir, name))
        receipt = _as_written(paths[1])
        if receipt is None:
            odd[name] = "damaged"
            continue
        changes: dict[str, Any] = {
            bag.name: [bag.state, bag.what]
            for bag in look(deliveries_dir, receipt)
            if bag.state != "here"
        }
        if not _same_bytes(*paths):
            changes["receipt"] = "one copy"
        if receipt.batch == batch and changes:
            odd[name] = changes
    return odd


def words(deliveries_dir: Path, batch: str, current: bool) -> str:
    """Return in a line what stands of the batch's deliveries, for the end of a run.

    current: whether the last delivery holds what the batch has now.
    """
    receipts = read(deliveries_dir, batch)
    if receipts.damaged:
        return "a receipt is damaged (see the report)"
    if receipts.latest is None:
        return "withheld (see the report)"
    receipt = receipts.latest
    line = str(receipt_path(deliveries_dir, receipt.delivery))
    if not current:
        line += f", of {receipt.time[:10]}: not what the batch has now (see the report)"
    states = {bag.name: bag.state for bag in look(deliveries_dir, receipt)}
    away = [name for name, state in states.items() if state == "gone"]
    bad = [name for name, state in states.items() if state == "damaged"]
    if away:
        line += f"; no longer at {deliveries_dir}: {wording.some(away, _NAMED)}"
    if bad:
        line += f"; damaged: {wording.some(bad, _NAMED)}"
    return line
