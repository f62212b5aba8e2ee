"""The tag files of a bag: what it says of itself, of the delivery and to the collections system."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from glassine import __version__
from glassine.base import files, hashing
from glassine.base.records.plan import Plan
from glassine.base.records.receipt import LackingItem, WithdrawnPart
from glassine.deliver import bag, handover, pages, signing
from glassine.deliver.due import Due, Item
from glassine.deliver.given import DeliverGiven
from glassine.deliver.plan import Whereabouts
from glassine.deliver.serialization import Sources

# The program that checks a bag with nothing but Python, by setting.
VALIDATOR = "delivery/check_bag.py"
MANIFESTS = tuple(f"manifest-{algorithm}.txt" for algorithm in bag.ALGORITHMS)


@dataclass(frozen=True)
class Contents:
    """What a bag holds.

    name: of the bag. number: of it in the delivery, from 1; count: bags of the delivery. rows: of
    its items, for the hand-over list. whereabouts: where each item of the batch lies, in the first
    bag of a delivery.
    """

    name: str
    number: int
    count: int
    items: list[Item]
    rows: list[handover.ItemRow]
    sources: Sources
    whereabouts: list[Whereabouts] = field(default_factory=list)

    @property
    def bytes(self) -> int:
        return sum(item.bytes for item in self.items)

    @property
    def files(self) -> int:
        return sum(item.files for item in self.items)


class StatedItem(msgspec.Struct, frozen=True, kw_only=True):
    """refers: deliveries that have further files of the object, over which it is to be laid."""

    item: str
    files: int
    digest: str
    replaces: str | None
    replaces_digest: str | None = None
    refers: list[str] | msgspec.UnsetType = msgspec.UNSET


class Statement(msgspec.Struct, frozen=True, kw_only=True):
    """delivery/delivery.json: what a receiver compares the bag with; as in the receipt. lies: in
    the first bag of a delivery, where every item of the batch lies now."""

    delivery: str
    batch: str
    revision: int
    replaces: str | None
    also_replaces: list[str]
    continues: str | None
    content: str
    items: list[StatedItem]
    lacking: list[LackingItem]
    withdrawn: list[WithdrawnPart]
    bag: dict[str, int]
    lies: list[Whereabouts]


def tag_files(plan: Plan, contents: Contents, given: DeliverGiven, due: Due) -> dict[str, bytes]:
    """Return {path: content} of every tag file, in the order they are written.

    Raises GlassineError where deliveries are to be signed and the key cannot be used.
    """
    rows = contents.rows + (due.rows() if contents.number == 1 else [])
    signer = signing.signer(given.settings.delivery.sign)
    tags = {
        "bagit.txt": bag.DECLARATION.encode(),
        "bag-info.txt": _info(plan, contents, given, due, signer).encode(),
        "delivery/bagit-profile.json": files.dump_json(_profile(given)).encode(),
        "delivery/delivery.json": _statement(plan, contents, due),
        "delivery/handover.csv": handover.as_csv(rows, plan.name, plan.time),
        "delivery/handover.json": handover.as_json(rows, plan.name, plan.time),
    }
    tags |= pages.texts(_about(plan, contents, given, signed=signer is not None), rows)
    if given.settings.delivery.validator:
        tags[VALIDATOR] = Path(__file__).with_name("check_bag.py").read_bytes()
    tags |= manifests(contents)
    digests = {path: hashing.of_bytes(content) for path, content in tags.items()}
    for algorithm in bag.ALGORITHMS:
        listed = {path: getattr(digest, algorithm) for path, digest in digests.items()}
        tags[f"tagmanifest-{algorithm}.txt"] = bag.manifest(listed).encode()
    if signer is not None:
        tags[bag.SIGNATURE] = signer.sign(tags[bag.SIGNED])
    return tags


def manifests(contents: Contents) -> dict[str, bytes]:
    """Return the payload manifests, written a line at a time: there may be a million."""
    made = {algorithm: io.BytesIO() for algorithm in bag.ALGORITHMS}
    for source in contents.sources:
        for algorithm, manifest in made.items():
            line = bag.manifest_line(source.path, getattr(source.digests, algorithm))
            manifest.write(line.encode())
    return {f"manifest-{algorithm}.txt": each.getvalue() for algorithm, each in made.items()}


def _about(plan: Plan, contents: Contents, given: DeliverGiven, *, signed: bool) -> pages.About:
    return pages.About(
        delivery=plan.name,
        batch=plan.batch,
        keeper=given.institution.name,
        contact=given.institution.contact,
        time=plan.time,
        part=f"{contents.number} of {contents.count}" if contents.count > 1 else "",
        validator=given.settings.delivery.validator,
        signed=signed,
    )


def _statement(plan: Plan, contents: Contents, due: Due) -> bytes:
    statement = Statement(
        delivery=plan.name,
        batch=plan.batch,
        revision=plan.revision,
        replaces=plan.replaces,
        also_replaces=plan.also_replaces,
        continues=plan.continues,
        content=plan.content,
        items=[
            StatedItem(
                item=item.name,
                files=item.files,
                digest=item.digest,
                replaces=item.replaces,
                replaces_digest=item.replaces_digest,
                refers=item.refers() or msgspec.UNSET,
            )
            for item in contents.items
        ],
        lacking=due.lacking,
        withdrawn=due.withdrawn,
        bag={"number": contents.number, "of": contents.count},
        lies=contents.whereabouts,
    )
    return files.dump_json(msgspec.to_builtins(statement)).encode()


def _size(count: int) -> str:
    for unit, scale in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if count >= scale:
            return f"{count / scale:.1f} {unit}"
    return f"{count} B"


def _info(
    plan: Plan,
    contents: Contents,
    given: DeliverGiven,
    due: Due,
    signer: signing.Signer | None,
) -> str:
    """Return bag-info.txt (RFC 8493, section 2.2.2)."""
    keeper = given.institution
    items, number, count = contents.items, contents.number, contents.count
    identifier = given.settings.delivery.profile_identifier or _profile_identifier()
    tags = [
        ("Source-Organization", keeper.name or "unknown"),
        ("Contact-Email", keeper.contact),
        ("External-Identifier", f"{keeper.id}{plan.batch}"),
        (
            "External-Description",
            f"{len(items)} digitized items of the batch {plan.batch}: "
            "masters, access images and records",
        ),
        ("Bagging-Date", plan.date),
        ("Bag-Software-Agent", f"Glassine {__version__}"),
        ("Bag-Size", _size(contents.bytes)),
        ("Payload-Oxum", f"{contents.bytes}.{contents.files}"),
        ("Bag-Group-Identifier", plan.name),
        ("Bag-Count", f"{number} of {count}" if count > 1 else ""),
        ("BagIt-Profile-Identifier", identifier),
        *(("Replaces-Delivery", name) for name in (plan.replaces or "", *plan.also_replaces)),
        ("Continues-Delivery", plan.continues or ""),
        (signing.LABEL, signer.fingerprint if signer else ""),
    ]
    tags += [
        ("Adds-To-Item", f"{item.name} ({', '.join(item.refers())})")
        for item in items
        if item.refers()
    ]
    tags += [
        ("Replaces-Item", f"{item.name} ({item.replaces})")
        for item in items
        if item.replaces and not item.refers()
    ]
    tags += [("Lacking-Item", f"{entry.item} ({entry.state})") for entry in due.lacking]
    tags += [
        ("Withdrawn-Item", f"{row.item}: {row.reason}")
        for row in map(handover.withdrawn_row, due.withdrawn)
    ]
    return bag.info((label, value) for label, value in tags if value)


def _profile_document() -> dict[str, Any]:
    """Return the project's BagIt profile (BagIt Profiles 1.4), as its file holds it."""
    path = Path(__file__).parents[1] / "base" / "schemas" / "bagit-profile.json"
    document: dict[str, Any] = files.read_json(path)
    return document


def _profile_identifier() -> str:
    return str(_profile_document()["BagIt-Profile-Info"]["BagIt-Profile-Identifier"])


def _profile(given: DeliverGiven) -> dict[str, Any]:
    """Return the BagIt profile that goes into a bag, with who delivers."""
    document = _profile_document()
    document["BagIt-Profile-Info"]["Source-Organization"] = given.institution.name or "unknown"
    identifier = given.settings.delivery.profile_identifier
    if identifier:
        document["BagIt-Profile-Info"]["BagIt-Profile-Identifier"] = identifier
    return document
