"""One item of a bag: its files by their names in the plain layout, whatever the layout is."""

from __future__ import annotations

import json
import posixpath
import tarfile
import zipfile
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from glassine.base.errors import Finding
from glassine.base.hashing import Digests
from glassine.deliver import bag
from glassine.deliver.bag import Reading

EARK_RECORD = "metadata/other/item-record.xml"
DECLARATION = "0=ocfl_object_1.1"
NEXT = "Have the delivery sent again; do not take in this one."
# A record of 1,000 frames has 20 MB.
MAX_RECORD_BYTES = 64 * 2**20


def wrong(code: str, path: str, what: str, expected: str) -> Finding:
    """Return a finding of a delivered file. path: below the bag."""
    return Finding(code, path, what, expected, NEXT)


class Damaged(Exception):
    """A file that cannot be read as what it is, of which a finding was made elsewhere."""


@dataclass
class BagItem:
    """An item of a bag that was read.

    root: its folder in the bag. layout: mets, ocfl or eark. plain: {path in the plain layout: path
    in the bag}. inventory: of an OCFL object, {} of others. elsewhere: {plain path: (SHA-256 or "",
    SHA-512)} of files of an object that earlier deliveries have, by its inventory. paths: of all
    its files, below its folder.
    """

    name: str
    root: str
    reading: Reading
    layout: str
    plain: dict[str, str]
    inventory: dict[str, Any] = field(default_factory=dict)
    elsewhere: dict[str, tuple[str, str]] = field(default_factory=dict)
    paths: list[str] = field(default_factory=list)

    @property
    def record(self) -> str:
        """Return the path in the bag of the record of the whole item."""
        return self.plain.get("METS.xml", f"{self.root}/METS.xml")

    def path(self, plain: str) -> str:
        return self.plain.get(plain, f"{self.root}/{plain}")

    def digests(self, plain: str) -> Digests | None:
        """Return the digests of a file as it was read, None where there is none."""
        return self.reading.digests.get(self.plain.get(plain, ""))

    def has(self, plain: str) -> bool:
        return plain in self.plain

    def below(self) -> list[str]:
        """Return the paths in the bag of all its files that were read."""
        paths = [f"{self.root}/{path}" for path in self.paths]
        return [path for path in paths if path in self.reading.digests]

    def content(self, path: str, limit: int = MAX_RECORD_BYTES) -> bytes:
        """Return a file of the bag. Raises Damaged where it is not there or too large."""
        files = self.reading.store.files
        if path not in files or files[path] > limit:
            raise Damaged(path)
        try:
            with self.reading.store.open(path) as opened:
                return opened.read()
        except (OSError, zipfile.BadZipFile, tarfile.TarError, EOFError) as problem:
            raise Damaged(path) from problem

    def json(self, plain: str) -> Any:
        """Return a JSON file by its plain path. Raises Damaged where it is none, ValueError where
        it is no JSON."""
        if plain not in self.plain:
            raise Damaged(plain)
        try:
            return json.loads(self.content(self.plain[plain]))
        except RecursionError as problem:
            raise ValueError("it is nested too deep") from problem

    def open(self, plain: str) -> Any:
        """Return a context that gives a file, open for reading (see `bag.Store`)."""
        return self.reading.store.open(self.plain[plain])


def items_of(reading: Reading) -> list[BagItem]:
    """Return the items of a bag in the order of their names."""
    below: dict[str, list[str]] = {}
    for path in sorted(reading.store.files):
        parts = path.split("/", 2)
        if parts[0] == "data" and len(parts) == 3:
            below.setdefault(parts[1], []).append(parts[2])
    referring = _referring(reading)
    return [_item(name, paths, reading, name in referring) for name, paths in sorted(below.items())]


def _referring(reading: Reading) -> set[str]:
    """Return the items that delivery.json calls later versions of what earlier deliveries have."""
    try:
        with reading.store.open("delivery/delivery.json") as opened:
            stated = json.loads(opened.read(bag.MAX_TAG_BYTES))
        return {str(entry["item"]) for entry in stated["items"] if entry.get("refers")}
    except (LookupError, OSError, ValueError, TypeError, AttributeError, RecursionError):
        return set()  # told by the check of delivery.json
    except (zipfile.BadZipFile, tarfile.TarError, EOFError):
        return set()


def _item(name: str, paths: list[str], reading: Reading, refers: bool) -> BagItem:
    root = f"{bag.PAYLOAD}{name}"
    if "inventory.json" in paths or DECLARATION in paths:
        item = BagItem(name, root, reading, "ocfl", {}, paths=paths)
        item.inventory = _inventory(item)
        there = reading.store.files  # an inventory may name anything, also outside the bag
        logical = _logical(item, paths)
        item.plain = {plain: path for plain, path in logical.items() if path in there}
        if refers:
            head = f"{root}/{item.inventory.get('head')}/"
            absent = {
                plain: path.removeprefix(f"{root}/")
                for plain, path in logical.items()
                if path not in there and not path.startswith(head)
            }
            item.elsewhere = _digests_of(item.inventory, absent)
        return item
    if EARK_RECORD in paths:
        plain = {of_eark(path): f"{root}/{path}" for path in paths if of_eark(path)}
        return BagItem(name, root, reading, "eark", plain, paths=paths)
    plain = {path: f"{root}/{path}" for path in paths}
    return BagItem(name, root, reading, "mets", plain, paths=paths)


def _digests_of(inventory: dict[str, Any], paths: dict[str, str]) -> dict[str, tuple[str, str]]:
    """Return {plain path: (SHA-256 or "", SHA-512)} of content, as an inventory has them."""
    try:
        sha512 = {path: key.lower() for key, all_ in inventory["manifest"].items() for path in all_}
        block = inventory.get("fixity", {}).get("sha256", {})
        sha256 = {path: key.lower() for key, all_ in block.items() for path in all_}
    except (LookupError, TypeError, AttributeError):
        return {}
    return {plain: (sha256.get(path, ""), sha512[path]) for plain, path in paths.items()}


def _inventory(item: BagItem) -> dict[str, Any]:
    try:
        read = json.loads(item.content(f"{item.root}/inventory.json"))
    except (Damaged, ValueError, RecursionError):
        return {}
    return read if isinstance(read, dict) else {}


def _logical(item: BagItem, paths: list[str]) -> dict[str, str]:
    """Return {logical path: path in the bag} of the head of an OCFL object (OCFL 1.1, 3.5.3); by
    the names below v1/content where the inventory does not tell."""
    try:
        inventory = item.inventory
        manifest = {
            str(digest).lower(): places[0] for digest, places in inventory["manifest"].items()
        }
        state = inventory["versions"][inventory["head"]]["state"]
        return {
            str(path): posixpath.join(item.root, manifest[str(digest).lower()])
            for digest, logical in state.items()
            for path in logical
        }
    except (LookupError, TypeError, AttributeError):
        start = "v1/content/"
        return {
            path.removeprefix(start): f"{item.root}/{path}"
            for path in paths
            if path.startswith(start)
        }


def of_eark(path: str) -> str:
    """Return the plain path of a file of an E-ARK package, "" of one that it alone has."""
    if path == EARK_RECORD:
        return "METS.xml"
    for theirs, ours in (
        ("representations/masters/data/", "masters/"),
        ("representations/raw/data/", "raw/"),
        ("representations/access/data/", ""),
        ("metadata/other/", "metadata/"),
    ):
        if path.startswith(theirs):
            return ours + path.removeprefix(theirs)
    return ""


def read_some(stream: BinaryIO, at: int, count: int) -> bytes:
    """Return `count` bytes from a place of a stream, fewer at its end."""
    stream.seek(at)
    return stream.read(count)
