"""Make the delivery of a batch: bags of packages, read again and validated, with a receipt.

A delivery is built under a name that begins with `.part-` and takes its own name only when every
byte of it was read again; what a killed run left is continued. An earlier delivery is never
written to: a changed batch makes a new one (`<batch>.r2`) that says what it replaces.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from glassine import __version__, bag, clock, contracts, files, handover, hashing, naming
from glassine.carriers import Source, carrier
from glassine.errors import GlassineError

VERSION = "1"
RECEIPTS = "receipts"
_STATE = ".part-{batch}.json"
_SUFFIX = {"folder": "", "tar": ".tar", "zip": ".zip"}
GB = 10**9
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
        found: dict[str, Any] = contracts.read(self.folder / "package.json", "package")
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


def deliver_batch(
    batch_dir: Path, results_batch_dir: Path, deliveries_dir: Path, given: dict[str, Any]
) -> None:
    """Write the delivery of a batch and its receipt `deliveries/<delivery>.receipt.json`.

    given: {"batch", "items": [ids], "lacking": [{"item", "state", "findings"}], "settings",
    "institution"}. Does nothing where the last delivery held the same. Raises GlassineError where
    nothing may be delivered, a file is not what its package says, or the disk has no room.
    """
    own = given["settings"]["delivery"]
    _require_allowed(given, own)
    items = [_item(results_batch_dir, name) for name in sorted(given["items"])]
    content = _content(items, given["lacking"], own)
    deliveries_dir.mkdir(parents=True, exist_ok=True)
    latest = _latest(deliveries_dir, given["batch"])
    if latest and latest["content"] == content:
        _publish(deliveries_dir, given["batch"])
        return
    earlier = _earlier(deliveries_dir, given["batch"])
    adds = own.get("later", "whole") == "changed" and latest is not None
    if adds:
        items = [item for item in items if earlier.get(item.name, ("", ""))[1] != item.digest]
    if not items:  # nothing but what it lacks has changed
        _publish(deliveries_dir, given["batch"])
        return
    plan = _plan(deliveries_dir, given["batch"], content, latest, adds)
    items = [replace(item, replaces=_replaced(item, earlier)) for item in items]
    groups = _groups(items, int(own.get("max_bag_gb", 0) * GB))
    bags = []
    described = []
    for number, group in enumerate(groups, 1):
        name = plan.name if len(groups) == 1 else f"{plan.name}.{number:03d}"
        told = [handover.describe_item(item.folder, item.package(), name) for item in group]
        described += told
        bags.append(
            _bag(plan, name, (number, len(groups)), group, told, batch_dir, deliveries_dir, given)
        )
    _finish(plan, bags, groups, described, deliveries_dir, given)


def _require_allowed(given: dict[str, Any], own: dict[str, Any]) -> None:
    naming.check_batch(given["batch"])
    lacking = given["lacking"]
    if lacking and own.get("when", "complete") == "complete":
        names = ", ".join(entry["item"] for entry in lacking[:10])
        raise GlassineError.because(
            "delivery.withheld",
            given["batch"],
            f"{len(lacking)} items are not done: {names}.",
            "every item done (delivery.when is `complete`).",
            "Do what the report says of them, or set delivery.when to `passed`.",
        )
    if not given["items"]:
        raise GlassineError.because(
            "delivery.empty",
            given["batch"],
            "No item of this batch is done.",
            "at least one finished item.",
            "Do what the report says of each item, and run again.",
        )


def _item(results_batch_dir: Path, name: str) -> Item:
    folder = results_batch_dir / "items" / naming.check_item(name)
    package = contracts.read(folder / "package.json", "package")
    listed = {entry["path"]: entry["sha256"] for entry in package["files"]}
    return Item(
        name=name,
        folder=folder,
        bytes=sum(int(entry["bytes"]) for entry in package["files"]),
        files=len(listed),
        digest=hashing.of_tree(listed),
        profile=package["profile"],
    )


def _content(items: list[Item], lacking: list[dict[str, Any]], own: dict[str, Any]) -> str:
    """Return a digest over all that makes two deliveries the same."""
    listed = [[item.name, item.digest] for item in items]
    missing = sorted(entry["item"] for entry in lacking)
    how = [own.get("form", "folder"), own.get("max_bag_gb", 0)]
    return hashlib.sha256(files.canonical([listed, missing, how]).encode()).hexdigest()


def _receipts(deliveries_dir: Path, batch: str) -> dict[int, Path]:
    pattern = re.compile(re.escape(batch) + r"(?:\.r(\d+))?\.json")
    found = {}
    for path in sorted((deliveries_dir / RECEIPTS).glob("*.json")):
        match = pattern.fullmatch(path.name)
        if match and contracts.read(path, "receipt")["batch"] == batch:
            found[int(match[1] or 1)] = path
    return found


def receipts(deliveries_dir: Path, batch: str) -> list[dict[str, Any]]:
    """Return the receipts of a batch's deliveries, the first one first."""
    found = _receipts(deliveries_dir, batch)
    return [contracts.read(found[revision], "receipt") for revision in sorted(found)]


def _latest(deliveries_dir: Path, batch: str) -> dict[str, Any] | None:
    found = _receipts(deliveries_dir, batch)
    if not found:
        return None
    receipt: dict[str, Any] = contracts.read(found[max(found)], "receipt")
    return receipt


def _earlier(deliveries_dir: Path, batch: str) -> dict[str, tuple[str, str]]:
    """Return {item: (the delivery that has it last, its digest there)}."""
    found = {}
    for _, path in sorted(_receipts(deliveries_dir, batch).items()):
        receipt = contracts.read(path, "receipt")
        for entry in receipt["items"]:
            found[entry["item"]] = (receipt["delivery"], entry["digest"])
    return found


def _replaced(item: Item, earlier: dict[str, tuple[str, str]]) -> str | None:
    delivery, digest = earlier.get(item.name, (None, item.digest))
    return delivery if digest != item.digest else None


def _publish(deliveries_dir: Path, batch: str) -> None:
    """Write each delivery's receipt beside it.

    The first has the name that the night waits for and removes before it delivers again; that is
    why receipts are kept in a folder of their own as well.
    """
    for path in _receipts(deliveries_dir, batch).values():
        receipt = contracts.read(path, "receipt")
        contracts.write(deliveries_dir / f"{receipt['delivery']}.receipt.json", "receipt", receipt)


def _plan(
    deliveries_dir: Path, batch: str, content: str, latest: dict[str, Any] | None, adds: bool
) -> Plan:
    """Return the plan of the delivery under way, or a new one; keep it beside the bags."""
    state = deliveries_dir / _STATE.format(batch=batch)
    if state.exists():
        kept = files.read_json(state)
        if kept["content"] == content and bool(kept["continues"]) == adds:
            return Plan(**kept)
        _discard(deliveries_dir, kept)
    revision = max(_receipts(deliveries_dir, batch), default=0) + 1
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
    batch_dir: Path,
    deliveries_dir: Path,
    given: dict[str, Any],
) -> dict[str, Any]:
    """Build one bag, read it again, give it its name; return its entry in the receipt."""
    own = given["settings"]["delivery"]
    form = own.get("form", "folder")
    final = deliveries_dir / (name + _SUFFIX[form])
    part = deliveries_dir / f".part-{name}{_SUFFIX[form]}"
    sources = _sources(group, batch_dir)
    tags = _tag_files(plan, number, group, sources, told, given)
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
    return {
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
    tags += [("Lacking-Item", f"{entry['item']} ({entry['state']})") for entry in given["lacking"]]
    return bag.info((label, value) for label, value in tags if value)


def _profile_document() -> dict[str, Any]:
    path = Path(__file__).parent / "schemas" / "bagit-profile.json"
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
) -> dict[str, bytes]:
    """Return {path: content} of every tag file, in the order they are written."""
    lacking = [handover.lacking_item(entry) for entry in given["lacking"]]
    all_told = told + (lacking if number[0] == 1 else [])
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
        "lacking": [{key: entry[key] for key in ("item", "state", "reason")} for entry in lacking],
        "bag": {"number": number[0], "of": number[1]},
    }
    tags = {
        "bagit.txt": bag.DECLARATION.encode(),
        "bag-info.txt": _info(plan, number, group, sources, given).encode(),
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


def _finish(
    plan: Plan,
    bags: list[dict[str, Any]],
    groups: list[list[Item]],
    described: list[dict[str, Any]],
    deliveries_dir: Path,
    given: dict[str, Any],
) -> None:
    """Write the handover files and the receipt; the delivery is done when the receipt stands."""
    lacking = [handover.lacking_item(entry) for entry in given["lacking"]]
    names = [f"{plan.name}.handover.csv", f"{plan.name}.handover.json"]
    everything = described + lacking
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
            }
            for found, group in zip(bags, groups, strict=True)
            for item in group
        ],
        "lacking": [{key: entry[key] for key in ("item", "state", "reason")} for entry in lacking],
        "handover": names,
        "software": f"Glassine {__version__}",
    }
    contracts.write(deliveries_dir / RECEIPTS / f"{plan.name}.json", "receipt", receipt)
    _publish(deliveries_dir, plan.batch)
    (deliveries_dir / _STATE.format(batch=plan.batch)).unlink(missing_ok=True)
