"""What there is to read again: masters, results and deliveries, in parts of an item's size.

A part has one record that tells its files and their digests: fixity.json the masters of an item,
package.json its results, the receipt an item of a bag. What no record tells is not read; an item
that is not settled is left to the night, which works on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal, get_args

from msgspec import UNSET

from glassine.base import files, hashing, record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.package import Package
from glassine.base.records.receipt import Receipt, ReceiptBag
from glassine.deliver import receipt_files

Kind = Literal["masters", "results", "delivery"]
KINDS: tuple[Kind, ...] = get_args(Kind)
# The name of the part of a bag that is its tag files, and of one that is an archive as a whole; no
# item can have it.
TAG_FILES = "(tag files)"
WHOLE = "(archive)"
_MASTER, _ITEM = "master:", "item:"


@dataclass(frozen=True)
class Places:
    """Where a working directory keeps things. masters: the folder of batch folders."""

    masters: Path
    results: Path
    deliveries: Path


@dataclass(frozen=True)
class Part:
    """What is read and compared at one time.

    batch: of the masters and results, or of the delivery. name: the item; in a bag also TAG_FILES
    or WHOLE. bag: name of the bag, of a delivery alone. bytes: 0 where the record does not tell.
    read: when it was last read or written as far as its record tells (xs:dateTime, UTC).
    expected: digest over the paths and digests of its files, so that a part made anew is another.
    stamp: size and time of the records that tell of it; while they stand, it is told without them.
    """

    kind: Kind
    batch: str
    name: str
    bytes: int
    read: str
    expected: str
    bag: str = ""
    stamp: str = ""

    @property
    def key(self) -> str:
        """Return what names the part from night to night."""
        return "/".join((self.kind, self.batch, self.bag, self.name))


@dataclass
class Holdings:
    """All parts, and what is wrong with records that should tell of some.

    away: masters of batches whose folder is not here, and bags that were carried away: how many
    parts of them cannot be read. unsettled: items that the night has not finished, which are not
    read.
    """

    parts: list[Part] = field(default_factory=list)
    unreadable: dict[str, list[Finding]] = field(default_factory=dict)
    away: dict[str, int] = field(default_factory=dict)
    unsettled: dict[str, int] = field(default_factory=dict)

    def not_here(self, batch: str, parts: int = 1) -> None:
        self.away[batch] = self.away.get(batch, 0) + parts


def look(places: Places, batches: list[str], known: Mapping[str, Part] | None = None) -> Holdings:
    """Return what there is to read of these batches. Reads records alone, and only those that are
    not as when `known`, parts by their key, were told by them."""
    holdings = Holdings()
    for batch in batches:
        try:
            _items(holdings, places, batch, known or {})
            _delivered(holdings, places, batch)
        except OSError as problem:
            _unreadable(holdings, batch, _not_looked_at(places.results / batch, problem))
    return holdings


def _unreadable(holdings: Holdings, batch: str, *findings: Finding) -> None:
    holdings.unreadable.setdefault(batch, []).extend(findings)


def _not_looked_at(path: Path, problem: OSError) -> Finding:
    return Finding(
        "audit.records",
        str(path),
        f"It cannot be seen what there is to read: {problem.strerror or problem}.",
        "records that can be read.",
        "Check the disk and its rights, then run again.",
    )


def item_folders(places: Places, batch: str) -> list[Path]:
    """Return the folder of each item of the batch that has results."""
    items = places.results / batch / "items"
    return sorted(items.iterdir()) if items.is_dir() else []


def _items(holdings: Holdings, places: Places, batch: str, known: Mapping[str, Part]) -> None:
    masters_here = (places.masters / batch).is_dir()
    for folder in item_folders(places, batch):
        if not (folder / "done.json").is_file():
            holdings.unsettled[batch] = holdings.unsettled.get(batch, 0) + 1
            continue
        try:
            results, masters = _parts_of_item(folder, batch, known)
        except GlassineError as error:
            _unreadable(holdings, batch, *error.findings)
            continue
        holdings.parts.append(results)
        if masters_here:
            holdings.parts.append(masters)
        else:
            holdings.not_here(batch)


def _parts_of_item(folder: Path, batch: str, known: Mapping[str, Part]) -> tuple[Part, Part]:
    """Return the results and the masters of an item. Raises GlassineError, OSError."""
    records = (folder / "fixity.json", folder / "package.json")
    states = [path.stat() for path in records]
    stamp = " ".join(f"{state.st_mtime_ns}.{state.st_size}" for state in states)
    before = [known.get(f"{kind}/{batch}//{folder.name}") for kind in ("results", "masters")]
    if before[0] and before[1] and before[0].stamp == before[1].stamp == stamp:
        return before[0], before[1]
    fixity = record_files.load(records[0], "fixity", Fixity)
    package = record_files.load(records[1], "package", Package)
    results = digests_of(package, _ITEM)
    masters = masters_of(fixity, package)
    return (
        _part("results", batch, folder.name, package.event.time, results, stamp),
        _part("masters", batch, folder.name, fixity.event.time, masters, stamp),
    )


def digests_of(package: Package, place: str) -> dict[str, tuple[str, int]]:
    """Return {path at its source: (SHA-256, bytes)} of the files of a package. place: `item:` or
    `master:`."""
    return {
        each.source.removeprefix(place): (each.sha256, each.bytes)
        for each in package.files
        if each.source.startswith(place)
    }


def captured(master: VerifiedMaster) -> VerifiedMaster:
    """Return what lies in the batch folder of a master: of one that was developed, its raw file."""
    return master if master.source is UNSET else master.source


def masters_of(fixity: Fixity, package: Package) -> dict[str, tuple[str, int]]:
    """Return {path: (SHA-256, bytes)} of an item's masters and of what is delivered with them."""
    verified = {
        each.path: (each.digests.sha256, each.bytes) for each in map(captured, fixity.masters)
    }
    return digests_of(package, _MASTER) | verified


def tree_of(digests: Mapping[str, tuple[str, int]]) -> str:
    """Return the digest over the paths and SHA-256 of these files."""
    return hashing.of_tree({path: digest for path, (digest, _) in digests.items()})


def _part(
    kind: Kind,
    batch: str,
    name: str,
    read: str,
    digests: dict[str, tuple[str, int]],
    stamp: str,
) -> Part:
    size = sum(size for _, size in digests.values())
    return Part(kind, batch, name, size, read, tree_of(digests), stamp=stamp)


def _delivered(holdings: Holdings, places: Places, batch: str) -> None:
    receipts = receipt_files.read(places.deliveries, batch)
    if receipts.damaged:
        _unreadable(holdings, batch, *receipts.damaged)
    for receipt in receipts.sound:
        for bag in receipt.bags:
            parts = list(_parts_of_bag(receipt, bag))
            if (places.deliveries / bag.name).exists():
                holdings.parts += parts
            else:
                holdings.not_here(batch, len(parts))


def _parts_of_bag(receipt: Receipt, bag: ReceiptBag) -> Iterator[Part]:
    batch, read = receipt.batch, bag.validated
    if receipt.form != "folder":
        size = bag.archive_bytes if isinstance(bag.archive_bytes, int) else bag.bytes
        yield Part("delivery", batch, WHOLE, size, read, bag.tagmanifest_sha256, bag.name)
        return
    yield Part("delivery", batch, TAG_FILES, 0, read, bag.tagmanifest_sha256, bag.name)
    for item in receipt.items:
        if item.bag == bag.name:
            yield Part("delivery", batch, item.item, item.bytes, read, item.digest, bag.name)


def package_of(places: Places, batch: str, item: str) -> Package | None:
    """Return the package of an item as its record tells, None where none can be read."""
    path = files.inside(places.results / batch, f"items/{item}/package.json")
    try:
        return record_files.load(path, "package", Package)
    except GlassineError:
        return None
