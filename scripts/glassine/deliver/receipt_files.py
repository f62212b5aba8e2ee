"""The receipts of a batch's deliveries, and whether what they tell of is still here.

Each receipt lies twice in the folder of deliveries: beside its bag (`<delivery>.receipt.json`) and
in `receipts/`. One copy that was lost or damaged is written again from the other. The results keep
the names of what was delivered (`delivery-list.json`), so that a folder of deliveries that is not
there (a disk that is not mounted) is not taken for one in which nothing was ever delivered.
"""

from __future__ import annotations

import json
import os
import re
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from glassine.base import files, hashing, record_files, wording
from glassine.base.errors import Finding, GlassineError

FOLDER = "receipts"
SUFFIX = ".receipt.json"
# In `results/<batch>/`: the names of all deliveries of the batch.
LIST = "delivery-list.json"
_SOUND_BAG = "tagmanifest-sha256.txt"
_TAR_BLOCK = 512
_TAR_END = bytes(2 * _TAR_BLOCK)
_KEYS = frozenset(
    [
        "delivery",
        "batch",
        "revision",
        "replaces",
        "continues",
        "time",
        "form",
        "profile",
        "content",
        "bags",
        "items",
        "lacking",
    ]
)
_BAG_KEYS = frozenset(("name", "bytes", "manifest_sha256", "tagmanifest_sha256", "validated"))
_ITEM_KEYS = frozenset(("item", "bag", "files", "digest"))
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

    damaged: no sound copy is left, so nothing may be delivered. restored: paths that are to be
    written again, with the receipt. notes: what was wrong with one copy, for the report.
    """

    sound: list[dict[str, Any]] = field(default_factory=list)
    damaged: list[Finding] = field(default_factory=list)
    restored: list[tuple[Path, dict[str, Any]]] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)

    @property
    def latest(self) -> dict[str, Any] | None:
        return self.sound[-1] if self.sound else None


def beside(deliveries_dir: Path, name: str) -> Path:
    """Return the path of a delivery's receipt beside its bag."""
    return deliveries_dir / f"{name}{SUFFIX}"


def kept(deliveries_dir: Path, name: str) -> Path:
    """Return the path of the second copy of a delivery's receipt."""
    return deliveries_dir / FOLDER / f"{name}.json"


def _names(deliveries_dir: Path, batch: str) -> dict[str, int]:
    """Return {delivery: revision} by the names of receipts of either place, in order."""
    pattern = re.compile(re.escape(batch) + r"(?:\.r(\d{1,6}))?")
    found = {}
    for folder, suffix in ((deliveries_dir, SUFFIX), (deliveries_dir / FOLDER, ".json")):
        for path in folder.glob(f"{batch}*{suffix}"):
            name = path.name.removesuffix(suffix)
            match = pattern.fullmatch(name)
            if match:
                found[name] = int(match[1] or 1)
    return dict(sorted(found.items(), key=lambda each: each[1]))


def _problem(path: Path) -> tuple[dict[str, Any] | None, str]:
    """Return the receipt at `path`, or None and why it cannot be used."""
    try:
        receipt: dict[str, Any] = record_files.read(path, "receipt")
        return receipt, ""
    except GlassineError as error:
        return None, error.findings[0].what if path.exists() else "It is not there."


def read(deliveries_dir: Path, batch: str) -> Receipts:
    """Return the receipts of a batch's deliveries. Nothing is written: see `restore`."""
    found = Receipts()
    for name in _names(deliveries_dir, batch):
        _read_both(found, deliveries_dir, batch, name)
    return found


def _read_both(found: Receipts, deliveries_dir: Path, batch: str, name: str) -> None:
    paths = (beside(deliveries_dir, name), kept(deliveries_dir, name))
    same = _same_bytes(*paths)
    first, why_first = (_as_written(paths[0]), "") if same else (None, "")
    if first is None:
        first, why_first = _problem(paths[0])
    second, why_second = (first, "") if same and first else _problem(paths[1])
    receipt = second or first
    if receipt is None:
        found.damaged.append(_unusable(paths, (why_first, why_second)))
        return
    if receipt["batch"] != batch:
        return  # of a batch whose own name ends as a later delivery's does
    if first is not None and second is not None and first != second:
        found.damaged.append(_differ(paths))
        return
    found.sound.append(receipt)
    for path, there, why in ((paths[0], first, why_first), (paths[1], second, why_second)):
        if there is None:
            found.restored.append((path, receipt))
            if path.exists():
                found.notes.append(_rebuilt(path, why))


def _as_written(path: Path) -> dict[str, Any] | None:
    """Return a receipt whose two copies are the same, without asking the schema again, which takes
    seconds for ten thousand items: it was asked when they were written. None where the file is not
    built as a receipt; the schema then tells why."""
    try:
        receipt: dict[str, Any] = files.read_json(path)
        whole = (
            receipt.keys() >= _KEYS
            and all(entry.keys() >= _BAG_KEYS for entry in receipt["bags"])
            and all(entry.keys() >= _ITEM_KEYS for entry in receipt["items"])
        )
    except (GlassineError, TypeError, AttributeError):
        return None
    return receipt if whole else None


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


def restore(found: Receipts) -> None:
    """Write each lost or damaged copy of a receipt again from the sound one."""
    for path, receipt in found.restored:
        record_files.write(path, "receipt", receipt)


def write(deliveries_dir: Path, receipt: dict[str, Any]) -> None:
    """Write a new receipt in both places; the delivery is done when the first of them stands."""
    name = receipt["delivery"]
    record_files.write(kept(deliveries_dir, name), "receipt", receipt)
    record_files.write(beside(deliveries_dir, name), "receipt", receipt)


def note_names(results_batch_dir: Path, found: Receipts) -> None:
    """Keep the names and times of what was delivered with the results of the batch."""
    listed = {receipt["delivery"]: receipt["time"] for receipt in found.sound}
    path = results_batch_dir / LIST
    if _noted(path) != listed:
        files.write_json(path, {"deliveries": listed})


def _noted(path: Path) -> dict[str, str]:
    try:
        listed = files.read_json(path)["deliveries"]
        return {str(name): str(time) for name, time in listed.items()}
    except (GlassineError, KeyError, TypeError, AttributeError):
        return {}  # lost or damaged: written again from the receipts


def lost(results_batch_dir: Path, deliveries_dir: Path, found: Receipts) -> list[Finding]:
    """Return a finding for each delivery that was made and of which no receipt is here any more."""
    known = {receipt["delivery"] for receipt in found.sound}
    known |= {Path(finding.path).name.removesuffix(SUFFIX) for finding in found.damaged}
    return [
        Finding(
            "delivery.receipt_gone",
            str(beside(deliveries_dir, name)),
            f"{name} was delivered on {time[:10]}, but its receipt is not here any more, neither "
            f"beside the bag nor in {FOLDER}/.",
            "the receipts of all deliveries in the folder of deliveries.",
            "Bring the folder of deliveries back (is its disk mounted?). To have the batch "
            f"delivered as if for the first time, remove {results_batch_dir / LIST}.",
        )
        for name, time in _noted(results_batch_dir / LIST).items()
        if name not in known
    ]


def look(deliveries_dir: Path, receipt: dict[str, Any]) -> list[Bag]:
    """Return what a look at each bag of a delivery shows; `scripts/validate_delivery.py` reads."""
    found = []
    for entry in receipt["bags"]:
        path = deliveries_dir / entry["name"]
        items = [each["item"] for each in receipt["items"] if each["bag"] == entry["name"]]
        found.append(Bag(receipt["delivery"], entry["name"], *_look(path, receipt, entry, items)))
    return found


def _look(
    path: Path, receipt: dict[str, Any], entry: dict[str, Any], items: list[str]
) -> tuple[State, str]:
    try:
        if not path.exists():
            return "gone", ""
        if receipt["form"] == "folder":
            what = _folder_problem(path, entry, items)
        else:
            what = _archive_problem(path, receipt["form"], entry)
    except OSError as problem:
        what = f"It cannot be looked at: {problem.strerror or problem}."
    return ("damaged", what) if what else ("here", "")


def _folder_problem(path: Path, entry: dict[str, Any], items: list[str]) -> str:
    tags = path / _SOUND_BAG
    if not path.is_dir() or not tags.is_file():
        return f"There is no bag in it: {_SOUND_BAG} is missing."
    if hashing.sha256_of(tags) != entry["tagmanifest_sha256"]:
        return f"{_SOUND_BAG} is not the one that the receipt names."
    listed = [line.split(None, 1)[1] for line in tags.read_text("utf-8").splitlines() if line]
    missing = [name for name in listed if not (path / name).is_file()]
    present = {each.name for each in os.scandir(path / "data")} if (path / "data").is_dir() else ()
    missing += [f"data/{item}" for item in items if item not in present]
    if missing:
        return f"{wording.some(missing, _NAMED)}: missing."
    return ""


def _archive_problem(path: Path, form: str, entry: dict[str, Any]) -> str:
    if not path.is_file():
        return "It is no file."
    size = path.stat().st_size
    expected = entry.get("archive_bytes")
    if expected is not None and size != expected:
        return f"It has {size:,} bytes; {expected:,} were delivered."
    if size < entry["bytes"]:
        return f"It has {size:,} bytes, fewer than the {entry['bytes']:,} of its masters and files."
    if form == "zip":
        return "" if zipfile.is_zipfile(path) else "It is cut short: its list of files is missing."
    with path.open("rb") as opened:
        opened.seek(-len(_TAR_END), os.SEEK_END)
        ended = opened.read() == _TAR_END
    return "" if ended and size % _TAR_BLOCK == 0 else "It is cut short: its end is missing."


def damage(deliveries_dir: Path, found: Receipts) -> list[Finding]:
    """Return a finding for each bag that is there but not as delivered.

    What a later delivery replaces is for a person to know; what counts holds the batch.
    """
    replaced = {receipt["replaces"] for receipt in found.sound}
    return [
        Finding(
            "delivery.damaged",
            str(deliveries_dir / bag.name),
            f"This bag was delivered on {receipt['time'][:10]} and is not as it was. {bag.what}",
            "the bag as its receipt tells of it, or nothing where it was carried away.",
            "Compare it with the repository's copy (scripts/validate_delivery.py tells all that is "
            "wrong) and bring a sound copy back, or move what is left of it away. It is not made "
            "again by itself.",
            "note" if receipt["delivery"] in replaced else "hold",
        )
        for receipt in found.sound
        for bag in look(deliveries_dir, receipt)
        if bag.state == "damaged"
    ]


def exist(deliveries_dir: Path, batch: str) -> bool:
    """Return whether there is a receipt of the batch, or a part of one."""
    return bool(_names(deliveries_dir, batch))


def mark(deliveries_dir: Path, batch: str) -> dict[str, Any]:
    """Return what is not as it was delivered, without reading bags; empty where all is well.

    It is asked each night, so receipts are not checked against their schema here; and it is empty
    before the first delivery as after it, so that a delivery alone is no reason to look again.
    """
    found: dict[str, Any] = {}
    for name in _names(deliveries_dir, batch):
        paths = (beside(deliveries_dir, name), kept(deliveries_dir, name))
        try:
            receipt = json.loads(paths[1].read_bytes())
            bags = {bag.name: [bag.state, bag.what] for bag in look(deliveries_dir, receipt)}
            own = receipt["batch"] == batch
        except (OSError, ValueError, RecursionError, LookupError, TypeError, AttributeError):
            found[name] = "damaged"
            continue
        odd: dict[str, Any] = {bag: state for bag, state in bags.items() if state[0] != "here"}
        if not _same_bytes(*paths):
            odd["receipt"] = "one copy"
        if own and odd:
            found[name] = odd
    return found


def words(deliveries_dir: Path, batch: str, current: bool) -> str:
    """Return in a line what stands of the batch's deliveries, for the end of a run.

    current: whether the last delivery holds what the batch has now.
    """
    found = read(deliveries_dir, batch)
    if found.damaged:
        return "a receipt is damaged (see the report)"
    if found.latest is None:
        return "withheld (see the report)"
    receipt = found.latest
    told = str(beside(deliveries_dir, receipt["delivery"]))
    if not current:
        told += f", of {receipt['time'][:10]}: not what the batch has now (see the report)"
    states = {bag.name: bag.state for bag in look(deliveries_dir, receipt)}
    away = [name for name, state in states.items() if state == "gone"]
    bad = [name for name, state in states.items() if state == "damaged"]
    if away:
        told += f"; no longer at {deliveries_dir}: {wording.some(away, _NAMED)}"
    if bad:
        told += f"; damaged: {wording.some(bad, _NAMED)}"
    return told
