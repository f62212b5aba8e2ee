"""What there is to read again: masters, results and deliveries, in parts of an item's size.

A part has one record that tells its files and their digests: fixity.json the masters of an item,
package.json its results, the receipt an item of a bag, and what `send` and `fetch` noted an object
in storage.
What no record tells is not read; an item that is not settled is left to the night, which works on
it.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from typing import Literal, get_args

from msgspec import UNSET

from glassine.audit import fetched, stored
from glassine.audit.objects import Storage, Unreachable
from glassine.base import files, hashing, record_files, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.fixity import Fixity, VerifiedMaster
from glassine.base.records.package import Package
from glassine.base.records.receipt import Receipt, ReceiptBag
from glassine.deliver import receipt_files, sent_files
from glassine.deliver.receipt_files import Receipts

Kind = Literal["masters", "results", "delivery", "stored", "stored_masters"]
KINDS: tuple[Kind, ...] = get_args(Kind)
# The name of the part of a bag that is its tag files, and of one that is an archive as a whole; no
# item can have it.
TAG_FILES = "(tag files)"
WHOLE = "(archive)"
_MASTER, _ITEM = "master:", "item:"
# So many names are told of a long list.
_NAMED = 10
_OF_DELIVERIES: tuple[Kind, ...] = ("delivery", "stored")
# What lies in object storage.
REMOTE: tuple[Kind, ...] = ("stored", "stored_masters")


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
    or WHOLE; in object storage the file. bag: name of the bag, of a delivery alone; in object
    storage of the delivery. bytes: 0 where the record does not tell.
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

    @cached_property
    def key(self) -> str:
        """Return what names the part from night to night."""
        return "/".join((self.kind, self.batch, self.bag, self.name))


@dataclass
class Holdings:
    """All parts, and what is wrong with records that should tell of some.

    away: masters of batches whose folder is not here, and bags that were carried away: how many
    parts of them cannot be read. unsettled: items that the night has not finished, which are not
    read. odd: keys of parts that a look shows not to be as recorded, which are read first; gone:
    keys of parts that were known, and are not here in a way that nobody said; unread:
    {batch: (why, names of files)} in object storage that could not be asked for.
    """

    parts: list[Part] = field(default_factory=list)
    unreadable: dict[str, list[Finding]] = field(default_factory=dict)
    away: dict[str, int] = field(default_factory=dict)
    unsettled: dict[str, int] = field(default_factory=dict)
    odd: set[str] = field(default_factory=set)
    gone: set[str] = field(default_factory=set)
    unread: dict[str, tuple[str, list[str]]] = field(default_factory=dict)

    def not_here(self, batch: str, parts: int = 1) -> None:
        self.away[batch] = self.away.get(batch, 0) + parts


def look(
    places: Places,
    batches: list[str],
    known: Mapping[str, Part] | None = None,
    storage: Storage | None = None,
) -> Holdings:
    """Return what there is to read of these batches. Reads records alone, and only those that are
    not as when `known`, parts by their key, were told by them; of `storage`, what is there."""
    holdings = Holdings()
    for batch in batches:
        for look_at in (
            partial(_items, holdings, places, batch, known or {}),
            partial(_delivered, holdings, places, batch, known or {}, storage or Storage()),
            partial(_receipts_gone, holdings, places, batch, known or {}),
            partial(_masters_stored, holdings, places, batch, known or {}, storage or Storage()),
        ):
            try:
                look_at()
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
    return [items / name for name in sorted(os.listdir(items))] if items.is_dir() else []  # noqa: PTH208


def _items(holdings: Holdings, places: Places, batch: str, known: Mapping[str, Part]) -> None:
    masters_here = (places.masters / batch).is_dir()
    for folder in item_folders(places, batch):
        if not os.path.isfile(f"{folder}/done.json"):  # noqa: PTH113 - a third of the time
            holdings.unsettled[batch] = holdings.unsettled.get(batch, 0) + 1
            continue
        try:
            results, masters = _parts_of_item(folder, batch, known)
        except GlassineError as error:
            _unreadable(holdings, batch, *_not_compared(error.findings, folder.name))
            _keep_known(holdings, known, batch, folder.name)
            continue
        except OSError as problem:  # of one item: the others have their turn
            _unreadable(holdings, batch, _not_looked_at(folder, problem))
            continue
        holdings.parts.append(results)
        if masters_here:
            holdings.parts.append(masters)
        else:
            holdings.not_here(batch)


def _not_compared(findings: list[Finding], item: str) -> list[Finding]:
    """Return findings about a record, with what cannot be compared while it is as it is."""
    words = f" Until it is put right, the masters and results of {item} cannot be compared."
    return [replace(finding, what=finding.what + words) for finding in findings]


def _keep_known(holdings: Holdings, known: Mapping[str, Part], batch: str, item: str) -> None:
    """Keep what was known of an item whose records cannot be read, as not read."""
    keys = {f"{kind}/{batch}//{item}" for kind in ("results", "masters")} & {*known}
    holdings.parts += [known[key] for key in sorted(keys)]
    holdings.gone |= keys


def _parts_of_item(folder: Path, batch: str, known: Mapping[str, Part]) -> tuple[Part, Part]:
    """Return the results and the masters of an item. Raises GlassineError, OSError."""
    records = (f"{folder}/fixity.json", f"{folder}/package.json")
    states = [os.stat(path) for path in records]  # noqa: PTH116 - a third of the time
    stamp = " ".join(f"{state.st_mtime_ns}.{state.st_size}" for state in states)
    before = [known.get(f"{kind}/{batch}//{folder.name}") for kind in ("results", "masters")]
    if before[0] and before[1] and before[0].stamp == before[1].stamp == stamp:
        return before[0], before[1]
    fixity = record_files.load(Path(records[0]), "fixity", Fixity)
    package = record_files.load(Path(records[1]), "package", Package)
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


def _delivered(
    holdings: Holdings,
    places: Places,
    batch: str,
    known: Mapping[str, Part],
    storage: Storage,
) -> None:
    receipts = receipt_files.read(places.deliveries, batch)
    if receipts.damaged:
        _unreadable(holdings, batch, *_bags_not_compared(holdings, receipts, batch, known))
    in_storage = _stored(holdings, places, batch, storage)
    for receipt in receipts.sound:
        for bag in receipt.bags:
            parts = list(_parts_of_bag(receipt, bag))
            if (places.deliveries / bag.name).exists():
                holdings.parts += parts
            elif bag.name not in in_storage:
                holdings.not_here(batch, len(parts))


def _bags_not_compared(
    holdings: Holdings, receipts: Receipts, batch: str, known: Mapping[str, Part]
) -> list[Finding]:
    """Keep what was known of bags whose receipt cannot be used, as not read; return why, with what
    cannot be compared."""
    usable = {bag.name for receipt in receipts.sound for bag in receipt.bags}
    lost = [
        part
        for part in known.values()
        if (part.batch, part.kind) == (batch, "delivery") and part.bag not in usable
    ]
    holdings.parts += lost
    holdings.gone |= {part.key for part in lost}
    bags = sorted({part.bag for part in lost})
    words = f" Until it is put right, nothing in {wording.some(bags, _NAMED)} can be compared."
    return [
        replace(finding, what=finding.what + words) if bags else finding
        for finding in receipts.damaged
    ]


def _stored(holdings: Holdings, places: Places, batch: str, storage: Storage) -> set[str]:
    """Take in what was sent to object storage; return the names of what can be read there."""
    sent = sent_files.read(places.deliveries, batch)
    _unreadable(holdings, batch, *sent.damaged)
    if not storage.asked:
        if sent.files:
            holdings.not_here(batch, len(sent.files))
        return set()
    parts = {
        each.name: Part(
            "stored", batch, each.name, each.bytes, each.proved, each.sha256, each.delivery
        )
        for each in sent.files
    }
    holdings.parts += parts.values()
    try:
        odd = stored.odd(sent.files, storage)
    except Unreachable as problem:
        holdings.unread[batch] = (problem.reason, sorted(parts))
    else:
        holdings.odd |= {parts[name].key for name in odd}
    return {*parts}


def _masters_stored(
    holdings: Holdings,
    places: Places,
    batch: str,
    known: Mapping[str, Part],
    storage: Storage,
) -> None:
    """Take in the masters of a batch that came from object storage; those that were known stay
    known where the note of them is not here, or cannot be read."""
    noted = fetched.read(places.deliveries, batch)
    _unreadable(holdings, batch, *noted.damaged)
    before = [
        part for part in known.values() if (part.batch, part.kind) == (batch, "stored_masters")
    ]
    if before and not fetched.path_of(places.deliveries, batch).exists():
        _unreadable(holdings, batch, _note_gone(places, batch, len(before)))
    if not noted.files:
        holdings.parts += before
        holdings.gone |= {part.key for part in before}
        return
    if not storage.asked:
        holdings.not_here(batch, len(noted.files))
        return
    sent = [fetched.as_sent(batch, each) for each in noted.files]
    parts = {
        each.name: Part("stored_masters", batch, each.name, each.bytes, each.proved, each.sha256)
        for each in sent
    }
    holdings.parts += parts.values()
    try:
        holdings.odd |= {parts[name].key for name in stored.odd(sent, storage)}
    except Unreachable as problem:
        why, names = holdings.unread.get(batch, (problem.reason, []))
        holdings.unread[batch] = (why, [*names, *sorted(parts)])


def _note_gone(places: Places, batch: str, count: int) -> Finding:
    return Finding(
        "audit.fetched_gone",
        str(fetched.path_of(places.deliveries, batch)),
        f"{count:,} masters of {batch} in object storage were read again before, and nothing here "
        "tells of them now. They could not be read.",
        "the note that `scripts/nightly fetch` wrote.",
        "See whether the disk of the deliveries is mounted, or bring the file back; "
        "scripts/nightly fetch with the batch writes it anew. Where the masters are not kept there "
        "any more, move results/audit.sqlite away: it is begun again.",
    )


def _receipts_gone(
    holdings: Holdings, places: Places, batch: str, known: Mapping[str, Part]
) -> None:
    """Tell of deliveries that were read before, and of which no receipt, or no note that they were
    sent, is here now: a folder that is not mounted, or a file that was removed. What was known of
    them stays known."""
    before = [
        part for part in known.values() if part.batch == batch and part.kind in _OF_DELIVERIES
    ]
    if receipt_files.exist(places.deliveries, batch):
        noted = {each.name for each in sent_files.read(places.deliveries, batch).files}
        before = [part for part in before if part.kind == "stored" and part.name not in noted]
    holdings.parts += before
    holdings.gone |= {part.key for part in before}
    untold = [part for part in before if not _noted(places, part)]  # else the note is damaged
    if not untold:
        return
    names = sorted({part.name if part.kind == "stored" else part.bag for part in untold})
    _unreadable(
        holdings,
        batch,
        Finding(
            "audit.deliveries_gone",
            str(places.deliveries),
            f"These deliveries were read again before, and nothing here tells of them now: "
            f"{wording.some(names, _NAMED)}. They could not be read.",
            "the folder of deliveries with its receipts and what lies in receipts/sent.",
            "See whether its disk is mounted, and bring back what is missing. Where it was moved "
            "away on purpose, move results/audit.sqlite away too: it is begun again.",
        ),
    )


def _noted(places: Places, part: Part) -> bool:
    return part.kind == "stored" and sent_files.path_of(places.deliveries, part.name).exists()


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
