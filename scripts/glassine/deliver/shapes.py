"""The form in which a package goes into a bag, where an earlier delivery has the item already.

As a rule a package goes as it lies in the results. Two layouts tell of what was before:

- an E-ARK package says in `RECORDSTATUS` that it replaces one (REPLACEMENT of the SIP vocabulary
  for the record's status: "fully replaces a previous submission");
- an OCFL object, in a delivery of changes alone, is the next version of the object: its inventory
  has all versions, and its content is what is new. Laid over the object that was delivered before
  it is a valid object (OCFL 1.1, sections 3.5.3 and 3.6); by itself it is not whole.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, hashing, record_files
from glassine.base.errors import GlassineError
from glassine.base.records.package import Package, PackagedFile

_NEW = re.compile(rb'(<(?:[A-Za-z_][\w.-]{0,40}:)?metsHdr\b[^<>]{0,4000}\bRECORDSTATUS=")NEW(")')
_DECLARATION = "0=ocfl_object_1.1"
_INVENTORY = "inventory.json"
_SIDECAR = "inventory.json.sha512"
_PACKED = "v1/content/"

Content = Callable[[], bytes]


@dataclass(frozen=True)
class Placed:
    """A file of a bag. content: what makes its bytes, where it does not lie in the results."""

    entry: PackagedFile
    content: Content | None = None


@dataclass(frozen=True)
class Elsewhere:
    """Where a file lies that a later version of an object refers to: path in the object."""

    path: str
    delivery: str
    bag: str


def _stored(folder: Path, entry: PackagedFile) -> bytes:
    """Return a file of a package. Raises GlassineError where it is not what package.json says."""
    path = files.inside(folder, entry.source.partition(":")[2])
    content = path.read_bytes()
    if hashing.of_bytes(content).sha256 != entry.sha256:
        raise GlassineError.because(
            "delivery.changed_record",
            path,
            "The file is no longer what package.json says.",
            f"SHA-256 {entry.sha256}.",
            "Look at the disk; delete the results of this item, which are made again.",
        )
    return content


def _made(path: str, make: Content, like: PackagedFile) -> Placed:
    digests = hashing.of_bytes(make())
    entry = msgspec.structs.replace(
        like,
        path=path,
        bytes=digests.bytes,
        sha256=digests.sha256,
        sha512=digests.sha512,
    )
    return Placed(entry, make)


@dataclass(frozen=True)
class Replacement:
    """An E-ARK package that replaces one."""

    def files(self, folder: Path, packed: list[PackagedFile]) -> list[Placed]:
        placed = []
        for entry in packed:
            if entry.path == "METS.xml" and _NEW.search(_stored(folder, entry)):
                placed.append(_made(entry.path, _ReplacingMets(folder, entry), entry))
            else:
                placed.append(Placed(entry))
        return placed


@dataclass(frozen=True)
class _ReplacingMets:
    folder: Path
    entry: PackagedFile

    def __call__(self) -> bytes:
        return _NEW.sub(rb"\1REPLACEMENT\2", _stored(self.folder, self.entry), count=1)


@dataclass(frozen=True)
class NextVersion:
    """The next version of an OCFL object.

    before: gives the inventory.json that was delivered last; places: (delivery, bag) that has each
    of its versions, the first version first.
    """

    before: Content
    places: tuple[tuple[str, str], ...]

    @property
    def head(self) -> str:
        return f"v{len(self.places) + 1}"

    def inventory(self, folder: Path, packed: list[PackagedFile]) -> dict[str, Any]:
        """Return the inventory with the version that the package is."""
        by_path = {entry.path: entry for entry in packed}
        now = json.loads(_stored(folder, by_path[_INVENTORY]))
        inventory: dict[str, Any] = json.loads(self.before())
        version = now["versions"]["v1"]
        known = inventory["manifest"]
        fixity = inventory.setdefault("fixity", {}).setdefault("sha256", {})
        for digest, logical in sorted(version["state"].items()):
            if digest in known:
                continue
            path = f"{self.head}/content/{min(logical)}"
            known[digest] = [path]
            sha256 = by_path[_PACKED + min(logical)].sha256
            fixity.setdefault(sha256, []).append(path)
        inventory["versions"][self.head] = version
        return {**inventory, "head": self.head}

    def files(self, folder: Path, packed: list[PackagedFile]) -> list[Placed]:
        by_path = {entry.path: entry for entry in packed}
        inventory = self.inventory(folder, packed)
        placed = [Placed(by_path[_DECLARATION])]
        make = _Inventory(self, folder)
        like = by_path[_INVENTORY]
        for where in ("", f"{self.head}/"):
            placed.append(_made(f"{where}{_INVENTORY}", make, like))
            sidecar = _Sidecar(placed[-1].entry.sha512)
            placed.append(_made(f"{where}{_SIDECAR}", sidecar, like))
        begins = f"{self.head}/content/"
        for paths in inventory["manifest"].values():
            for path in paths:
                if path.startswith(begins):
                    entry = by_path[_PACKED + path.removeprefix(begins)]
                    placed.append(Placed(entry.at(path)))
        return sorted(placed, key=lambda each: each.entry.path)

    def elsewhere(self, folder: Path, packed: list[PackagedFile]) -> dict[str, Elsewhere]:
        """Return {path in the package: where it lies}; in this very delivery `delivery` is ""."""
        inventory = self.inventory(folder, packed)
        found = {}
        for entry in packed:
            if not entry.path.startswith(_PACKED):
                continue
            path = inventory["manifest"][entry.sha512][0]
            number = int(path.partition("/")[0].removeprefix("v"))
            here = number > len(self.places)
            delivery, bag = ("", "") if here else self.places[number - 1]
            found[entry.path] = Elsewhere(path, delivery, bag)
        return found


@dataclass(frozen=True)
class _Inventory:
    version: NextVersion
    folder: Path

    def __call__(self) -> bytes:
        package = record_files.load(self.folder / "package.json", "package", Package)
        inventory = self.version.inventory(self.folder, package.files)
        return files.dump_json(inventory).encode()


@dataclass(frozen=True)
class _Sidecar:
    sha512: str

    def __call__(self) -> bytes:
        return f"{self.sha512} {_INVENTORY}\n".encode()


Shape = Replacement | NextVersion


def versions_in(inventory: bytes) -> int:
    """Return how many versions an inventory.json has."""
    return len(json.loads(inventory)["versions"])


def is_same_object(folder: Path, packed: list[PackagedFile], before: bytes) -> bool:
    """Return whether a packed object is of the id, and of the kind, that was delivered before."""
    entry = next((each for each in packed if each.path == _INVENTORY), None)
    if entry is None:
        return False
    now, then = json.loads(_stored(folder, entry)), json.loads(before)
    keys = ("id", "type", "digestAlgorithm")
    return all(now.get(key) == then.get(key) for key in keys)
