"""Make the delivery of a batch: bags of packages, read again and validated, with a receipt.

A delivery is built under a name that begins with `.part-` and takes its own name only when every
byte of it was read again; what a killed run left is continued. An earlier delivery is never
written to: a changed batch makes a new one (`<batch>.r2`) that says what it replaces.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
import shutil
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from glassine import __version__
from glassine.base import clock, files, hashing, item_states, naming, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import withdraws_whole
from glassine.deliver import bag, drops, handover, receipt_files, same_ids
from glassine.deliver.serialization import Source, carrier

VERSION = "2"
# The output of rule `deliver` in the results of a batch: see `write_stamp`.
STAMP = "delivered.json"
# States of items whose package is made.
FINISHED = frozenset({"done", "review"})
_STATE = ".part-{batch}.json"
_SUFFIX = {"folder": "", "tar": ".tar", "zip": ".zip"}
GB = 10**9
# How a state of an item is told in the sentence "it is ...".
_STATES = {"waiting": "waiting for the next night", "pending": "not yet run"}
# Room for tag files, folders and what else grows on the disk meanwhile.
SPARE_BYTES = 64 * 2**20


@dataclass(frozen=True)
class Item:
    """One item to deliver and the results it lies in; its list of files is read when needed.

    bytes, files: of its package. digest: over its files' paths and digests. replaces: the
    delivery that has the item in an earlier state.
    """

    name: str
    folder: Path
    bytes: int
    files: int
    digest: str
    profile: str
    replaces: str | None = None

    def package(self) -> dict[str, Any]:
        found: dict[str, Any] = record_files.read(self.folder / "package.json", "package")
        return found

    def master_files(self) -> list[dict[str, Any]]:
        return [entry for entry in self.package()["files"] if entry["use"] == "master"]

    def present(self) -> drops.Present:
        described = handover.describe_item(self.folder, self.package(), "")
        masters = drops.masters_of(described, self.geometry())
        return drops.Present(self.name, self.digest, self.files, masters)

    def geometry(self) -> dict[str, Any]:
        found: dict[str, Any] = files.read_json(self.folder / "geometry.json")
        return found


@dataclass(frozen=True)
class Plan:
    """What a delivery will be, fixed before its first byte.

    name: `<batch>` or `<batch>.rN`; replaces: the delivery that this one stands in for;
    continues: the one that it adds to; time: of bagging, kept through resumptions.
    """

    batch: str
    name: str
    revision: int
    replaces: str | None
    continues: str | None
    content: str
    time: str

    @property
    def date(self) -> str:
        return self.time[:10]


@dataclass(frozen=True)
class _Place:
    """Where masters lie and where bags go."""

    batch_dir: Path
    deliveries_dir: Path


@dataclass(frozen=True)
class _Due:
    """What the next delivery is to hold, and what it tells of the rest.

    lacking: of items that are not done, {"item", "state", "reason", "files": []}; withdrawn:
    entries of the receipt; adds: it holds what changed and continues the deliveries before it.
    """

    items: list[Item]
    lacking: list[dict[str, Any]]
    withdrawn: list[dict[str, Any]]
    adds: bool

    def rows(self) -> list[dict[str, Any]]:
        """Return the rows of the hand-over list that have no file."""
        return [*self.lacking, *(handover.withdrawn_item(entry) for entry in self.withdrawn)]


@dataclass(frozen=True)
class Outcome:
    """What stands after a delivery was due: the last one, and items of the batch that it lacks.

    notes: what a person should know of receipts and bags, for the report.
    """

    delivery: str | None
    lacking: tuple[str, ...] = ()
    withdrawn: tuple[str, ...] = ()
    notes: tuple[Finding, ...] = ()


def write_stamp(path: Path, outcome: Outcome, key: str | None) -> None:
    """Write that the batch's deliveries are as `key` (see `plan.delivery_key`) asks."""
    value = {
        "delivery": outcome.delivery,
        "key": key,
        "lacking": list(outcome.lacking),
        "withdrawn": list(outcome.withdrawn),
        "notes": [finding.as_dict() for finding in outcome.notes],
    }
    files.write_json(path, value)


def is_current(
    results_batch_dir: Path, key: str | None, statuses: list[item_states.ItemStatus]
) -> bool:
    """Return whether the last delivery holds what the batch has now: the stamp says that it is as
    `key` asks, and each item that is not finished is one of which the delivery tells."""
    try:
        stamp = files.read_json(results_batch_dir / STAMP)
        told = {*stamp["lacking"], *stamp["withdrawn"]}
        same = key is not None and stamp["key"] == key
    except (GlassineError, KeyError, TypeError):
        return False
    return same and {each.item for each in statuses if each.state not in FINISHED} <= told


def deliver_batch(
    batch_dir: Path, results_batch_dir: Path, deliveries_dir: Path, given: dict[str, Any]
) -> Outcome:
    """Write the delivery of a batch and its receipt `deliveries/<delivery>.receipt.json`.

    given: {"batch", "items": [ids], "lacking": [{"item", "state", "findings"}], "withdraw":
    entries of corrections.yaml, "settings", "institution"}. Makes nothing where the last delivery
    held the same. Raises GlassineError where nothing may be delivered, an earlier delivery has
    what this one would lack, a file is not what its package says, or the disk has no room.
    """
    batch = naming.check_batch(given["batch"])
    found = standing(results_batch_dir, deliveries_dir, batch)
    own = given["settings"]["delivery"]
    due = _due(results_batch_dir, deliveries_dir, given, found)
    plan = _make(batch_dir, deliveries_dir, given, due, found)
    if plan:
        found = standing(results_batch_dir, deliveries_dir, batch)
    damage = receipt_files.damage(deliveries_dir, found)
    _require([finding for finding in damage if finding.severity == "hold"])
    notes = [*found.notes, *damage, *_untold(due, found, own)]
    return Outcome(
        found.latest["delivery"] if found.latest else None,
        tuple(entry["item"] for entry in due.lacking),
        tuple(entry["item"] for entry in due.withdrawn if withdraws_whole(entry)),
        tuple(notes),
    )


def standing(results_batch_dir: Path, deliveries_dir: Path, batch: str) -> receipt_files.Receipts:
    """Return the receipts of a batch, each written again where one of its copies was lost.

    Raises GlassineError where one cannot be used, or is known and not here any more.
    """
    found = receipt_files.read(deliveries_dir, batch)
    _require([*found.damaged, *receipt_files.lost(results_batch_dir, deliveries_dir, found)])
    receipt_files.restore(found)
    receipt_files.note_names(results_batch_dir, found)
    return found


def receipts(deliveries_dir: Path, batch: str) -> list[dict[str, Any]]:
    """Return the receipts of a batch's deliveries, the first one first.

    Raises GlassineError where a receipt is damaged: what is sent must be what was written.
    """
    found = receipt_files.read(deliveries_dir, batch)
    _require(found.damaged)
    _require([replace(note, severity="hold") for note in found.notes])
    return found.sound


def _require(findings: list[Finding]) -> None:
    if findings:
        raise GlassineError(findings)


def _due(
    results_batch_dir: Path,
    deliveries_dir: Path,
    given: dict[str, Any],
    found: receipt_files.Receipts,
) -> _Due:
    """Return what the next delivery is to hold. Raises GlassineError for all that forbids it."""
    own = given["settings"]["delivery"]
    adds = own.get("later", "whole") == "changed" and found.latest is not None
    withdrawn = [drops.Withdrawal.from_dict(entry) for entry in given.get("withdraw", [])]
    word = {each.item for each in withdrawn if each.whole}
    items = [_item(results_batch_dir, name) for name in sorted({*given["items"]} - word)]
    lacking = [entry for entry in given["lacking"] if entry["item"] not in word]
    earlier = drops.delivered(deliveries_dir, found.sound)
    batch_items = {*given["items"], *(entry["item"] for entry in given["lacking"])}
    _require(
        [
            *_forbidden(given["batch"], items, lacking, own, bool(earlier)),
            *dropped(items, lacking, withdrawn, earlier, own),
            *_twice(results_batch_dir, deliveries_dir, given["batch"], items, own),
        ]
    )
    return _Due(
        items=items,
        lacking=[_lacking(entry, earlier) for entry in lacking],
        withdrawn=[
            {**dataclasses.asdict(each), "delivery": _had(each.item, found)}
            for each in withdrawn
            if each.item in batch_items or _had(each.item, found)
        ],
        adds=adds,
    )


def _twice(
    results_batch_dir: Path,
    deliveries_dir: Path,
    batch: str,
    items: list[Item],
    own: dict[str, Any],
) -> list[Finding]:
    """Return what keeps the delivery back because another batch had its ids before."""
    names = [item.name for item in items]
    held = own.get("same_ids", "held") == "held"
    found = same_ids.findings(results_batch_dir.parent, deliveries_dir, batch, names, held=held)
    return [finding for finding in found if finding.severity == "hold"]


def _had(item: str, found: receipt_files.Receipts) -> str | None:
    """Return the last delivery that has the item, or that told of it as withdrawn."""
    for receipt in reversed(found.sound):
        listed = [*receipt["items"], *receipt.get("withdrawn", [])]
        for entry in listed:
            if entry["item"] == item:
                return str(entry.get("delivery") or receipt["delivery"])
    return None


def _forbidden(
    batch: str,
    items: list[Item],
    lacking: list[dict[str, Any]],
    own: dict[str, Any],
    earlier: bool,
) -> list[Finding]:
    if lacking and own.get("when", "complete") == "complete":
        names = wording.some([entry["item"] for entry in lacking], 10)
        return [
            Finding(
                "delivery.withheld",
                batch,
                f"Not done: {names} ({len(lacking)} in all).",
                "every item done (delivery.when is `complete`).",
                "Do what the report says of them, or set delivery.when to `passed`.",
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
    lacking: list[dict[str, Any]],
    withdrawn: list[drops.Withdrawal],
    earlier: dict[str, drops.Delivered],
    own: dict[str, Any],
) -> list[Finding]:
    """Return what keeps the delivery back because an earlier one has more."""
    waits = own.get("when", "complete") == "complete" or own.get("later", "whole") == "changed"
    states = {entry["item"]: _STATES.get(entry["state"], entry["state"]) for entry in lacking}
    names = {item.name for item in items}
    gone = drops.vanished(earlier, names, states, withdrawn, waits=waits)
    less = {}
    for item in items:
        before = earlier.get(item.name)
        if before and before.digest != item.digest:
            try:
                parts = drops.smaller(before, item.present(), withdrawn)
            except (GlassineError, LookupError, TypeError, AttributeError) as problem:
                parts = [f"what it has now cannot be told, a record is damaged ({problem})"]
            if parts:
                less[item.name] = parts
    new = [item for item in items if item.name not in earlier] if gone else []
    present = {entry["sha256"]: item.name for item in new for entry in item.master_files()}
    parted = {each.item for each in withdrawn if each.master}
    paths = {
        item.name: {entry["source"].partition(":")[2] for entry in item.master_files()}
        for item in items
        if item.name in parted
    }
    return [
        *drops.findings(earlier, gone, less, present),
        *drops.masters_there(withdrawn, paths),
    ]


def _lacking(entry: dict[str, Any], earlier: dict[str, drops.Delivered]) -> dict[str, Any]:
    """Return what is told of an item that the delivery lacks, and which one has it."""
    told = handover.lacking_item(entry)
    had = earlier.get(entry["item"])
    if had:
        told["reason"] = f"It stays as {had.delivery} has it. {told['reason']}".strip()
    return told


def _untold(due: _Due, found: receipt_files.Receipts, own: dict[str, Any]) -> list[Finding]:
    """Return a note for what was withdrawn and no delivery tells of yet."""
    told = {
        (entry["item"], entry["master"], entry["frames"])
        for receipt in found.sound
        for entry in receipt.get("withdrawn", [])
    }
    return [
        Finding(
            "delivery.withdrawn_untold",
            entry["item"],
            "It is withdrawn, but nothing else changed, so that no delivery tells of it yet "
            f"(delivery.later is `{own.get('later', 'whole')}`).",
            "a repository that knows what is withdrawn.",
            "Tell the repository; the next delivery lists it.",
            "note",
        )
        for entry in due.withdrawn
        if (entry["item"], entry["master"], entry["frames"]) not in told
    ]


def _make(
    batch_dir: Path,
    deliveries_dir: Path,
    given: dict[str, Any],
    due: _Due,
    found: receipt_files.Receipts,
) -> Plan | None:
    """Make the delivery; return its plan, or None where the last one holds the same."""
    own = given["settings"]["delivery"]
    content = _content(due, own)
    latest = found.latest
    if latest and latest["content"] == content:
        return None
    earlier = _earlier(found)
    items = due.items
    if due.adds:
        items = [item for item in items if earlier.get(item.name, ("", ""))[1] != item.digest]
    if not items:  # nothing but what it lacks has changed
        return None
    deliveries_dir.mkdir(parents=True, exist_ok=True)
    plan = _plan(deliveries_dir, given["batch"], content, found, due.adds)
    items = [replace(item, replaces=_replaced(item, earlier)) for item in items]
    groups = _groups(items, int(own.get("max_bag_gb", 0) * GB))
    bags = []
    described = []
    for number, group in enumerate(groups, 1):
        name = plan.name if len(groups) == 1 else f"{plan.name}.{number:03d}"
        told = [handover.describe_item(item.folder, item.package(), name) for item in group]
        described += told
        where = _Place(batch_dir, deliveries_dir)
        bags.append(_bag(plan, name, (number, len(groups)), group, told, where, given, due))
    _finish(plan, bags, groups, described, deliveries_dir, given, due)
    return plan


def _item(results_batch_dir: Path, name: str) -> Item:
    folder = results_batch_dir / "items" / naming.check_item(name)
    return item_of(folder, record_files.read(folder / "package.json", "package"))


def item_of(folder: Path, package: dict[str, Any]) -> Item:
    """Return the item of a results folder whose package.json holds `package`."""
    listed = {entry["path"]: entry["sha256"] for entry in package["files"]}
    return Item(
        name=folder.name,
        folder=folder,
        bytes=sum(int(entry["bytes"]) for entry in package["files"]),
        files=len(listed),
        digest=hashing.of_tree(listed),
        profile=package["profile"],
    )


def _content(due: _Due, own: dict[str, Any]) -> str:
    """Return a digest over all that makes two deliveries the same."""
    listed = [[item.name, item.digest] for item in due.items]
    missing = sorted(entry["item"] for entry in due.lacking)
    how = [own.get("form", "folder"), own.get("max_bag_gb", 0)]
    parts: list[Any] = [listed, missing, how]
    if due.withdrawn:  # left out where there are none: as in receipts of earlier versions
        parts.append(
            sorted(files.canonical([e["item"], e["master"], e["frames"]]) for e in due.withdrawn)
        )
    return hashlib.sha256(files.canonical(parts).encode()).hexdigest()


def _earlier(found: receipt_files.Receipts) -> dict[str, tuple[str, str]]:
    """Return {item: (the delivery that has it last, its digest there)}."""
    return {
        entry["item"]: (receipt["delivery"], entry["digest"])
        for receipt in found.sound
        for entry in receipt["items"]
    }


def _replaced(item: Item, earlier: dict[str, tuple[str, str]]) -> str | None:
    delivery, digest = earlier.get(item.name, (None, item.digest))
    return delivery if digest != item.digest else None


def _plan(
    deliveries_dir: Path, batch: str, content: str, found: receipt_files.Receipts, adds: bool
) -> Plan:
    """Return the plan of the delivery under way, or a new one; keep it beside the bags."""
    state = deliveries_dir / _STATE.format(batch=batch)
    if state.exists():
        kept = files.read_json(state)
        if kept["content"] == content and bool(kept["continues"]) == adds:
            return Plan(**kept)
        _discard(deliveries_dir, kept)
    latest = found.latest
    revision = latest["revision"] + 1 if latest else 1
    plan = Plan(
        batch=batch,
        name=batch if revision == 1 else f"{batch}.r{revision}",
        revision=revision,
        replaces=latest["delivery"] if latest and not adds else None,
        continues=latest["delivery"] if latest and adds else None,
        content=content,
        time=clock.now_text(),
    )
    files.write_json(state, plan.__dict__)
    return plan


def _discard(deliveries_dir: Path, kept: dict[str, Any]) -> None:
    """Remove what was begun of a delivery whose content has changed since.

    A bag that has its name already, but no receipt yet, was never delivered; it goes too, if it
    says itself that it is that one.
    """
    name = re.escape(kept["name"]) + r"(?:\.\d{3})?(?:\.tar|\.zip)?"
    for path in sorted(deliveries_dir.iterdir()):
        begun = re.fullmatch(r"\.part-" + name, path.name)
        if begun or (re.fullmatch(name, path.name) and _says(path, kept["content"])):
            if path.is_dir():
                shutil.rmtree(path)
            else:
                path.unlink()


def _says(path: Path, content: str) -> bool:
    statement = _tag_file(path, "delivery/delivery.json")
    return statement is not None and json.loads(statement).get("content") == content


def _groups(items: list[Item], limit: int) -> list[list[Item]]:
    """Return the items in their order, parted into bags of at most `limit` bytes (0: one bag).

    An item is never divided; one larger than the limit has a bag to itself.
    """
    groups: list[list[Item]] = []
    size = 0
    for item in items:
        if not groups or (limit and size + item.bytes > limit):
            groups.append([])
            size = 0
        groups[-1].append(item)
        size += item.bytes
    return groups


def _sources(group: list[Item], batch_dir: Path) -> list[Source]:
    found = []
    for item in group:
        for entry in item.package()["files"]:
            kind, _, relative = entry["source"].partition(":")
            root = batch_dir if kind == "master" else item.folder
            digests = hashing.Digests(entry["bytes"], entry["sha256"], entry["sha512"])
            path = f"{bag.PAYLOAD}{item.name}/{entry['path']}"
            found.append(Source(path, files.inside(root, relative), digests))
    return sorted(found, key=lambda source: source.path)


def _bag(
    plan: Plan,
    name: str,
    number: tuple[int, int],
    group: list[Item],
    told: list[dict[str, Any]],
    where: _Place,
    given: dict[str, Any],
    due: _Due,
) -> dict[str, Any]:
    """Build one bag, read it again, give it its name; return its entry in the receipt."""
    own = given["settings"]["delivery"]
    deliveries_dir = where.deliveries_dir
    form = own.get("form", "folder")
    final = deliveries_dir / (name + _SUFFIX[form])
    part = deliveries_dir / f".part-{name}{_SUFFIX[form]}"
    sources = _sources(group, where.batch_dir)
    tags = _tag_files(plan, number, group, sources, told, given, due)
    if not final.exists():
        _require_room(deliveries_dir, part, sources)
        build = carrier(form, own.get("copy", "copy"))
        build(part, name, plan.time, tags, sources, trusting=True)
        if bag.validate(part):
            # A power cut can leave a file of the right size with the wrong bytes: once more,
            # and this time everything that is there is read before it is believed.
            build(part, name, plan.time, tags, sources, trusting=False)
            _require_valid(part)
        part.rename(final)
        hashing.sync(deliveries_dir)
    else:
        _require_own(final, tags)
    size = {} if final.is_dir() else {"archive_bytes": final.stat().st_size}
    return {
        **size,
        "name": final.name,
        "files": len(sources),
        "bytes": sum(source.digests.bytes for source in sources),
        "manifest_sha256": hashing.of_bytes(tags["manifest-sha256.txt"]).sha256,
        "tagmanifest_sha256": hashing.of_bytes(tags["tagmanifest-sha256.txt"]).sha256,
        "validated": clock.now_text(),
    }


def _require_own(final: Path, tags: dict[str, bytes]) -> None:
    """Go on only where the bag that has the name is the one this delivery finished before."""
    name = "tagmanifest-sha256.txt"
    if _tag_file(final, name) != tags[name] or bag.validate(final):
        raise GlassineError.because(
            "delivery.exists",
            final,
            "Something else has this name, and no receipt tells what it is; it is not touched.",
            "a free name for the bag.",
            "Bring its receipt back into deliveries/receipts, or move it away, and run again.",
        )


def _tag_file(path: Path, name: str) -> bytes | None:
    """Return a tag file of a bag, None where there is no bag or no such file in it."""
    try:
        store = bag.open_store(path)
    except GlassineError:
        return None
    try:
        if store.files.get(name, bag.MAX_TAG_BYTES) >= bag.MAX_TAG_BYTES:
            return None
        with store.open(name) as opened:
            return opened.read()
    finally:
        store.close()


def _require_valid(path: Path) -> None:
    findings = bag.validate(path)
    if findings:
        raise GlassineError(findings)


def _require_room(deliveries_dir: Path, part: Path, sources: list[Source]) -> None:
    there = sum(p.stat().st_size for p in part.rglob("*") if p.is_file()) if part.is_dir() else 0
    there += part.stat().st_size if part.is_file() else 0
    needed = sum(source.digests.bytes for source in sources) - there + SPARE_BYTES
    free = shutil.disk_usage(deliveries_dir).free
    if needed > free:
        raise GlassineError.because(
            "delivery.space",
            deliveries_dir,
            f"The disk has {free / GB:.1f} GB free; this bag needs {needed / GB:.1f} GB.",
            "room for a whole bag.",
            "Make room, or set delivery.max_bag_gb and carry bags away one by one.",
        )


def _size(count: int) -> str:
    for unit, scale in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= scale:
            return f"{count / scale:.1f} {unit}"
    return f"{count} B"


def _info(
    plan: Plan,
    number: tuple[int, int],
    group: list[Item],
    sources: list[Source],
    given: dict[str, Any],
    due: _Due,
) -> str:
    own = given["settings"]["delivery"]
    institution = given["institution"]
    total = sum(source.digests.bytes for source in sources)
    tags = [
        ("Source-Organization", institution.get("name") or "unknown"),
        ("Contact-Email", institution.get("contact") or ""),
        ("External-Identifier", f"{institution.get('id', '')}{plan.batch}"),
        (
            "External-Description",
            f"{len(group)} digitized items of the batch {plan.batch}: "
            "masters, access images and records",
        ),
        ("Bagging-Date", plan.date),
        ("Bag-Software-Agent", f"Glassine {__version__}"),
        ("Bag-Size", _size(total)),
        ("Payload-Oxum", f"{total}.{len(sources)}"),
        ("Bag-Group-Identifier", plan.name),
        ("Bag-Count", f"{number[0]} of {number[1]}" if number[1] > 1 else ""),
        ("BagIt-Profile-Identifier", own.get("profile_identifier") or _profile_identifier()),
        ("Replaces-Delivery", plan.replaces or ""),
        ("Continues-Delivery", plan.continues or ""),
    ]
    tags += [("Replaces-Item", f"{item.name} ({item.replaces})") for item in group if item.replaces]
    tags += [("Lacking-Item", f"{entry['item']} ({entry['state']})") for entry in due.lacking]
    tags += [
        ("Withdrawn-Item", f"{row['item']}: {row['reason']}")
        for row in due.rows()
        if row["state"] == "withdrawn"
    ]
    return bag.info((label, value) for label, value in tags if value)


def _profile_document() -> dict[str, Any]:
    path = Path(__file__).parents[1] / "base" / "schemas" / "bagit-profile.json"
    document: dict[str, Any] = files.read_json(path)
    return document


def _profile_identifier() -> str:
    return str(_profile_document()["BagIt-Profile-Info"]["BagIt-Profile-Identifier"])


def _tag_files(
    plan: Plan,
    number: tuple[int, int],
    group: list[Item],
    sources: list[Source],
    told: list[dict[str, Any]],
    given: dict[str, Any],
    due: _Due,
) -> dict[str, bytes]:
    """Return {path: content} of every tag file, in the order they are written."""
    all_told = told + (due.rows() if number[0] == 1 else [])
    profile = _profile_document()
    identifier = given["settings"]["delivery"].get("profile_identifier")
    keeper = given["institution"].get("name")
    profile["BagIt-Profile-Info"]["Source-Organization"] = keeper or "unknown"
    if identifier:
        profile["BagIt-Profile-Info"]["BagIt-Profile-Identifier"] = identifier
    statement = {
        "delivery": plan.name,
        "batch": plan.batch,
        "revision": plan.revision,
        "replaces": plan.replaces,
        "continues": plan.continues,
        "content": plan.content,
        "items": [
            {
                "item": item.name,
                "files": item.files,
                "digest": item.digest,
                "replaces": item.replaces,
            }
            for item in group
        ],
        "lacking": _shown(due.lacking),
        "withdrawn": due.withdrawn,
        "bag": {"number": number[0], "of": number[1]},
    }
    tags = {
        "bagit.txt": bag.DECLARATION.encode(),
        "bag-info.txt": _info(plan, number, group, sources, given, due).encode(),
        "delivery/bagit-profile.json": files.dump_json(profile).encode(),
        "delivery/delivery.json": files.dump_json(statement).encode(),
        "delivery/handover.csv": handover.as_csv(all_told, plan.name, plan.time),
        "delivery/handover.json": handover.as_json(all_told, plan.name, plan.time),
    }
    for algorithm in bag.ALGORITHMS:
        listed = {source.path: getattr(source.digests, algorithm) for source in sources}
        tags[f"manifest-{algorithm}.txt"] = bag.manifest(listed).encode()
    digests = {path: hashing.of_bytes(content) for path, content in tags.items()}
    for algorithm in bag.ALGORITHMS:
        listed = {path: getattr(found, algorithm) for path, found in digests.items()}
        tags[f"tagmanifest-{algorithm}.txt"] = bag.manifest(listed).encode()
    return tags


def _shown(lacking: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{key: entry[key] for key in ("item", "state", "reason")} for entry in lacking]


def _finish(
    plan: Plan,
    bags: list[dict[str, Any]],
    groups: list[list[Item]],
    described: list[dict[str, Any]],
    deliveries_dir: Path,
    given: dict[str, Any],
    due: _Due,
) -> None:
    """Write the handover files and the receipt; the delivery is done when the receipt stands."""
    told = {entry["item"]: entry for entry in described}
    names = [f"{plan.name}.handover.csv", f"{plan.name}.handover.json"]
    everything = described + due.rows()
    files.write_bytes(deliveries_dir / names[0], handover.as_csv(everything, plan.name, plan.time))
    files.write_bytes(deliveries_dir / names[1], handover.as_json(everything, plan.name, plan.time))
    receipt = {
        "delivery": plan.name,
        "batch": plan.batch,
        "revision": plan.revision,
        "replaces": plan.replaces,
        "continues": plan.continues,
        "time": plan.time,
        "form": given["settings"]["delivery"].get("form", "folder"),
        "profile": groups[0][0].profile,
        "content": plan.content,
        "bags": bags,
        "items": [
            {
                "item": item.name,
                "bag": found["name"],
                "files": item.files,
                "bytes": item.bytes,
                "digest": item.digest,
                "replaces": item.replaces,
                "masters": [
                    master.as_dict()
                    for master in drops.masters_of(told[item.name], item.geometry())
                ],
            }
            for found, group in zip(bags, groups, strict=True)
            for item in group
        ],
        "lacking": _shown(due.lacking),
        "withdrawn": due.withdrawn,
        "handover": names,
        "software": f"Glassine {__version__}",
    }
    receipt_files.write(deliveries_dir, receipt)
    (deliveries_dir / _STATE.format(batch=plan.batch)).unlink(missing_ok=True)
