"""Batches to deliver again and again, without drawing them anew for each test."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from glassine.base import files, hashing
from glassine.night import due
from makers import deliveries, made_items

_HELD = tempfile.TemporaryDirectory(prefix="redelivered-")


@cache
def _drawn(count: int) -> tuple[Path, dict[str, Any]]:
    root = Path(_HELD.name) / str(count)
    return root, deliveries.make_batch(root, count)


def make_batch(root: Path, count: int = 2, **settings: Any) -> dict[str, Any]:
    """Bring a finished batch below `root`; return what its delivery is given."""
    drawn, given = _drawn(count)
    for folder in ("masters", "results"):
        shutil.copytree(drawn / folder, root / folder)
    return deliveries.given_of(given["items"], **settings)


def _write(root: Path, item: str, source: str, content: bytes) -> None:
    """Give a file of a package other bytes, as a step that was done again would."""
    kind, _, relative = source.partition(":")
    item_dir = made_items.item_dir_of(root, item)
    (root / "masters/b1" if kind == "master" else item_dir).joinpath(relative).write_bytes(content)
    package = files.read_json(item_dir / "package.json")
    digests = hashing.of_bytes(content)
    for entry in package["files"]:
        if entry["source"] == source:
            entry |= {"bytes": digests.bytes, "sha256": digests.sha256, "sha512": digests.sha512}
    files.write_json(item_dir / "package.json", package)


def changed_title(root: Path, item: str, title: str) -> None:
    """Let an item have another title: its manifest has other bytes, as has what it is made of."""
    newer_software(root, item, title)
    stamp = made_items.item_dir_of(root, item) / due.STAMP
    files.write_json(stamp, {"inputs": hashing.of_bytes(title.encode()).sha256})


def newer_software(root: Path, item: str, words: str = "As a later version writes it") -> None:
    """Make an item anew of the same, as newer software does: its manifest has other bytes."""
    path = made_items.item_dir_of(root, item) / "manifest.json"
    manifest = {**files.read_json(path), "summary": words}
    _write(root, item, "item:manifest.json", files.dump_json(manifest).encode())


def another_master(root: Path, item: str) -> None:
    """Capture an item again: its master has other bytes, and all that is stated is the same."""
    item_dir = made_items.item_dir_of(root, item)
    fixity = files.read_json(item_dir / "fixity.json")
    (master,) = fixity["masters"]
    content = bytearray((root / "masters/b1" / master["path"]).read_bytes())
    content[-1] ^= 1
    _write(root, item, f"master:{master['path']}", bytes(content))
    digests = hashing.of_bytes(bytes(content))
    master["digests"] |= {"sha256": digests.sha256, "sha512": digests.sha512}
    _write(root, item, "item:fixity.json", files.dump_json(fixity).encode())
