"""The published tree in object storage: what changed goes up, what may not be public comes down.

Before anything is added, what is no longer in the tree is removed, manifests first; then pictures
and tiles go up, then manifests, then the lists and pages that name them. What was put there stands
in a record beside the tree, written before the storage is asked: a run that is killed is taken up
by the next. What others put below the same address is left alone.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import msgspec

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.publish import ledger
from glassine.publish.tree import RESERVED

RECORD = "uploaded.json"
# What a browser is told that a file is (IIIF Presentation API 3.0, 6.1, for manifests).
_LD = 'application/ld+json;profile="http://iiif.io/api/presentation/3/context.json"'
_TYPES = {
    ".json": "application/json",
    ".html": "text/html; charset=utf-8",
    ".jpg": "image/jpeg",
    ".tif": "image/tiff",
    ".css": "text/css; charset=utf-8",
}
# After so many files the record is written again.
_STEP = 500


class Objects(Protocol):
    """What is asked of a storage; see `objects.S3Objects`. Raises Unreachable."""

    def below(self, folder: str) -> dict[str, int]:
        """Return {key below the address: bytes} of all objects there."""

    def put(self, address: str, content: bytes, kind: str) -> None: ...

    def remove(self, address: str) -> None: ...


class Sent(msgspec.Struct, array_like=True):
    """A file as it was put there: bytes and time of the file, SHA-256; all empty while that is
    under way."""

    bytes: int = 0
    mtime_ns: int = 0
    sha256: str = ""


class Record(msgspec.Struct, kw_only=True):
    """address: s3://...; sent: {path in the tree: as it was put there}."""

    address: str
    sent: dict[str, Sent] = msgspec.field(default_factory=dict)


@dataclass
class Uploaded:
    put: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    same: int = 0


def read(path: Path, address: str) -> Record | None:
    """Return what was put at an address, None where nothing was. Raises GlassineError for a
    damaged record."""
    if not path.is_file():
        return None
    try:
        record = msgspec.convert(files.read_json(path), Record)
    except msgspec.ValidationError as problem:
        raise _damaged(path, str(problem)) from problem
    if record.address != address:
        raise _damaged(path, f"it is of {record.address}")
    return record


def _damaged(path: Path, why: str) -> GlassineError:
    return GlassineError.because(
        "publish.uploaded",
        path,
        f"The record of what was published in the storage cannot be used: {why}.",
        "the record that this command wrote.",
        "Put it back from a backup, or empty the place in the storage and remove this file.",
    )


def upload(root: Path, objects: Objects, address: str, path: Path) -> Uploaded:
    """Bring the storage at `address` (s3://bucket/prefix) to what lies in the tree `root`.

    path: of the record. Raises GlassineError where others have objects there and this command has
    none, Unreachable where the storage does not answer.
    """
    record, there = read(path, address), objects.below(address)
    if record is None:
        if there:
            raise GlassineError.because(
                "publish.storage",
                address,
                f"It holds {len(there):,} objects, and none that this command put there.",
                "an empty place in the storage, or one that this command filled from here.",
                "Name another one; what lies in this one is left as it is.",
            )
        record = Record(address=address)
    work = _Work(root, objects, record, path, there)
    here = dict(_files(root))
    work.remove([name for name in {*record.sent} if name not in here])
    for group in _in_order([*here]):
        work.put([name for name in group if not work.is_there(name, here[name])], here)
    work.save()
    work.done.same = len(here) - len(work.done.put)
    return work.done


def _files(root: Path) -> Iterable[tuple[str, Sent]]:
    for file in root.rglob("*"):
        name = file.relative_to(root).as_posix()
        parts = name.split("/")
        if name == ledger.NAME or any(part.startswith(files.TEMPORARY_PREFIX) for part in parts):
            continue
        if file.is_file():
            status = file.stat()
            yield name, Sent(status.st_size, status.st_mtime_ns)


def _in_order(names: list[str]) -> list[list[str]]:
    """Return files in groups: pictures and tiles, manifests, what tells of the whole."""
    lists = [name for name in names if name.partition("/")[0] in RESERVED]
    manifests = [name for name in names if name.endswith("/manifest.json") and name not in lists]
    told = {*lists, *manifests}
    return [sorted(name for name in names if name not in told), sorted(manifests), sorted(lists)]


@dataclass
class _Work:
    root: Path
    objects: Objects
    record: Record
    path: Path
    there: dict[str, int]
    done: Uploaded = field(default_factory=Uploaded)

    def save(self) -> None:
        files.write_text(self.path, files.canonical(msgspec.to_builtins(self.record)) + "\n")

    def is_there(self, name: str, now: Sent) -> bool:
        """Return whether an object is the file as it is now; one of another time alone is read."""
        sent = self.record.sent.get(name)
        if sent is None or not sent.sha256 or self.there.get(name) != now.bytes:
            return False
        if (sent.bytes, sent.mtime_ns) == (now.bytes, now.mtime_ns):
            return True
        if sent.sha256 != _sha256((self.root / name).read_bytes()):
            return False
        self.record.sent[name] = Sent(now.bytes, now.mtime_ns, sent.sha256)
        return True

    def remove(self, names: list[str]) -> None:
        ordered = sorted(names, key=lambda name: (not name.endswith("manifest.json"), name))
        self._each(ordered, self._remove)

    def _remove(self, name: str) -> None:
        if name in self.there:
            self.objects.remove(self._address(name))
            self.done.removed.append(name)
        del self.record.sent[name]

    def put(self, names: list[str], here: dict[str, Sent]) -> None:
        for name in names:  # should this end in between, the next run knows what may be there
            self.record.sent[name] = Sent()
        if names:
            self.save()

        def put(name: str) -> None:
            content = (self.root / name).read_bytes()
            kind = _TYPES.get(Path(name).suffix.lower(), "application/octet-stream")
            if name.endswith("/manifest.json") or name.startswith("collection/"):
                kind = _LD
            self.objects.put(self._address(name), content, kind)
            self.record.sent[name] = Sent(len(content), here[name].mtime_ns, _sha256(content))
            self.done.put.append(name)

        self._each(names, put)

    def _each(self, names: list[str], action: Callable[[str], None]) -> None:
        """Do something to each file; whatever ends it, what was done is on record."""
        try:
            for number, name in enumerate(names, 1):
                action(name)
                if number % _STEP == 0:
                    self.save()
        finally:
            if names:
                self.save()

    def _address(self, name: str) -> str:
        return f"{self.record.address}/{name}"


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
