"""Build the bags of a delivery, read each again, and give it its name."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from msgspec import UNSET

from glassine.base import clock, files, hashing, threads, workers
from glassine.base.errors import GlassineError
from glassine.base.records.plan import Plan
from glassine.base.records.receipt import ReceiptBag
from glassine.deliver import bag, signing
from glassine.deliver.due import Due, Folders, Item
from glassine.deliver.given import DeliverGiven, DeliverySection
from glassine.deliver.plan import GB, Whereabouts
from glassine.deliver.serialization import Source, carrier
from glassine.deliver.tags import MANIFESTS, Contents, manifests, tag_files

_SUFFIX = {"folder": "", "tar": ".tar", "zip": ".zip"}
# Room for tag files, folders and what else grows on the disk meanwhile.
SPARE_BYTES = 64 * 2**20


# Tag files whose digests stand in the receipt.
_IN_RECEIPT = ("manifest-sha256.txt", "tagmanifest-sha256.txt")


def name_of(plan: Plan, number: int, count: int) -> str:
    """Return the name of a bag without its suffix. number: of it, from 1; count: of all bags."""
    return plan.name if count == 1 else f"{plan.name}.{number:03d}"


def bags_of(plan: Plan, groups: list[list[Item]], section: DeliverySection) -> dict[str, str]:
    """Return {item: the name of the bag that it goes into}, as the receipt has it."""
    count, suffix = len(groups), _SUFFIX[section.form]
    return {
        item.name: name_of(plan, number, count) + suffix
        for number, items in enumerate(groups, 1)
        for item in items
    }


def contents_of(
    folders: Folders,
    plan: Plan,
    number: int,
    groups: list[list[Item]],
    whereabouts: list[Whereabouts],
) -> Contents:
    """Return what a bag of the delivery is to hold. number: of the bag, from 1; the first tells
    where each item of the batch lies."""
    items = groups[number - 1]
    name = name_of(plan, number, len(groups))
    return Contents(
        name=name,
        number=number,
        count=len(groups),
        items=items,
        rows=[item.row(name) for item in items],
        sources=_Payload(tuple(items), folders.batch_dir),
        whereabouts=whereabouts if number == 1 else [],
    )


@dataclass(frozen=True)
class _Payload:
    """See `serialization.Sources`: what is listed of one item is read when its turn comes, and let
    go after it."""

    items: tuple[Item, ...]
    batch_dir: Path

    def __iter__(self) -> Iterator[Source]:
        # All paths of an item begin alike, so that items in order are paths in order.
        for item in sorted(self.items, key=lambda item: f"{item.name}/"):
            yield from _sources_of(item, self.batch_dir)


def _sources_of(item: Item, batch_dir: Path) -> list[Source]:
    sources = []
    folders: dict[tuple[Path, str], Path] = {}
    for placed in item.placed():
        entry = placed.entry
        kind, _, relative = entry.source.partition(":")
        root = batch_dir if kind == "master" else item.folder
        digests = hashing.Digests(entry.bytes, entry.sha256, entry.sha512)
        path = f"{bag.PAYLOAD}{item.name}/{entry.path}"
        place = _place(folders, root, relative)
        sources.append(Source(path, place, digests, placed.content))
    return sorted(sources, key=lambda source: source.path)


def _place(folders: dict[tuple[Path, str], Path], root: Path, relative: str) -> str:
    """Return `root / relative`; ValueError where it or a folder on the way leads out of `root`.

    folders: those that were found inside; to resolve a path costs more than to copy a small file.
    """
    folder, _, name = relative.rpartition("/")
    if (root, folder) not in folders:
        folders[root, folder] = files.inside(root, folder) if folder else root
    place = f"{folders[root, folder]}/{name}"
    if name in ("", ".", "..") or "\\" in name or "\0" in name or os.path.islink(place):  # noqa: PTH114
        return str(files.inside(root, relative))
    return place


def make_bag(
    deliveries_dir: Path, plan: Plan, contents: Contents, given: DeliverGiven, due: Due
) -> ReceiptBag:
    """Build one bag, read it again, give it its name; return its entry in the receipt."""
    section = given.settings.delivery
    suffix = _SUFFIX[section.form]
    final = deliveries_dir / (contents.name + suffix)
    tags = tag_files(plan, contents, given, due)
    digests = {name: hashing.of_bytes(tags[name]).sha256 for name in _IN_RECEIPT}
    if final.exists():
        _require_own(final, tags)
    else:
        part = deliveries_dir / f".part-{contents.name}{suffix}"
        _build(part, plan, contents, tags, section)
        part.rename(final)
        hashing.sync(deliveries_dir)
    return ReceiptBag(
        name=final.name,
        files=contents.files,
        bytes=contents.bytes,
        archive_bytes=UNSET if final.is_dir() else final.stat().st_size,
        manifest_sha256=digests["manifest-sha256.txt"],
        tagmanifest_sha256=digests["tagmanifest-sha256.txt"],
        signed_by=signing.stated_in(tags["bag-info.txt"]) or UNSET,
        validated=clock.now_text(),
    )


def make_bags(
    deliveries_dir: Path, plan: Plan, bags: list[Contents], given: DeliverGiven, due: Due
) -> list[ReceiptBag]:
    """Make the bags of a delivery; those that are one file each beside one another, where the job
    has the processes for it, as the files of a folder are then worked on."""
    one = partial(make_bag, deliveries_dir, plan, given=given, due=due)
    if given.settings.delivery.form == "folder" or len(bags) == 1:
        return [one(contents) for contents in bags]
    _require_room_for_all(deliveries_dir, bags, given.settings.delivery)
    return workers.each(one, bags, lambda contents: contents.bytes, apart=True)


def _require_room_for_all(
    deliveries_dir: Path, bags: list[Contents], section: DeliverySection
) -> None:
    """Raise GlassineError where the disk has no room for the bags that are made at one time."""
    suffix = _SUFFIX[section.form]
    open_ = [each for each in bags if not (deliveries_dir / (each.name + suffix)).exists()]
    together = sorted((each.bytes for each in open_), reverse=True)[: threads.allowed()]
    _require_free(deliveries_dir, sum(together) - _begun(deliveries_dir, open_, suffix))


def _begun(deliveries_dir: Path, bags: list[Contents], suffix: str) -> int:
    parts = (deliveries_dir / f".part-{each.name}{suffix}" for each in bags)
    return sum(part.stat().st_size for part in parts if part.is_file())


def _build(
    part: Path, plan: Plan, contents: Contents, tags: dict[str, bytes], section: DeliverySection
) -> None:
    """Build a bag under the name `part` and read it again. Raises GlassineError where it is not
    whole, or the disk has no room.

    The payload manifests are taken out of `tags` meanwhile: of a million files they are 300 MB."""
    names = list(tags)
    _require_room(part, contents)
    build = carrier(section.form, section.copy)
    build(part, contents.name, plan.time, tags, contents.sources, trusting=True)
    for name in MANIFESTS:
        del tags[name]
    from_disk = section.read_back == "disk"
    if not bag.validate(part, forget=from_disk):
        return
    # A power cut can leave a file of the right size with the wrong bytes: once more,
    # and this time everything that is there is read before it is believed.
    tags |= manifests(contents)
    in_order = {name: tags[name] for name in names}
    build(part, contents.name, plan.time, in_order, contents.sources, trusting=False)
    findings = bag.validate(part, forget=from_disk)
    if findings:
        raise GlassineError(findings)


def _require_own(final: Path, tags: dict[str, bytes]) -> None:
    """Go on only where the bag that has the name is the one this delivery finished before."""
    name = "tagmanifest-sha256.txt"
    if bag.tag_file(final, name) != tags[name] or bag.validate(final):
        raise GlassineError.because(
            "delivery.exists",
            final,
            "Something else has this name, and no receipt tells what it is; it is not touched.",
            "a free name for the bag.",
            "Bring its receipt back into deliveries/receipts, or move it away, and run again.",
        )


def _require_room(part: Path, contents: Contents) -> None:
    there = sum(p.stat().st_size for p in part.rglob("*") if p.is_file()) if part.is_dir() else 0
    there += part.stat().st_size if part.is_file() else 0
    _require_free(part.parent, contents.bytes - there)


def _require_free(folder: Path, missing: int) -> None:
    """Raise GlassineError where the disk has no room for so many bytes, and some to spare."""
    needed = missing + SPARE_BYTES
    free = shutil.disk_usage(folder).free
    if needed > free:
        raise GlassineError.because(
            "delivery.space",
            folder,
            f"The disk has {free / GB:.1f} GB free; this bag needs {needed / GB:.1f} GB.",
            "room for a whole bag.",
            "Make room, or set delivery.max_bag_gb and carry bags away one by one.",
        )
