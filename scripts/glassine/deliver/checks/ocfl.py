"""An OCFL object against the Oxford Common File Layout Specification 1.1 (sections in brackets)."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator
from typing import Any

from glassine.base.errors import Finding
from glassine.deliver.checks.item import DECLARATION, BagItem, Damaged, wrong

_VERSION = re.compile(r"v([1-9]\d*)")
_TYPE = "https://ocfl.io/1.1/spec/#inventory"


def check(item: BagItem) -> Iterator[Finding]:
    """Yield what is wrong with the object that an item is."""
    files = {path.removeprefix(f"{item.root}/") for path in item.below()}
    yield from _declared(item, files)
    yield from _sidecars(item, files)
    inventory = item.inventory
    if not inventory:
        yield _wrong(item, "inventory.json", "It is no inventory.", "an inventory (3.5)")
        return
    yield from _header(item, inventory)
    yield from _versions(item, inventory, files)
    yield from _content(item, inventory, files)


def _wrong(item: BagItem, path: str, what: str, expected: str) -> Finding:
    return wrong("delivered.ocfl", f"{item.root}/{path}", what, f"{expected}.")


def _declared(item: BagItem, files: set[str]) -> Iterator[Finding]:
    try:
        content = item.content(f"{item.root}/{DECLARATION}")
    except Damaged:
        content = b""
    if content != b"ocfl_object_1.1\n":
        expected = "a file of one line, ocfl_object_1.1 (3.3)"
        yield _wrong(item, DECLARATION, "The declaration is missing or not its one line.", expected)
    others = sorted(path for path in files if path.startswith("0=") and path != DECLARATION)
    for path in others:
        yield _wrong(item, path, "It declares another conformance.", "one declaration (3.3)")


def _sidecars(item: BagItem, files: set[str]) -> Iterator[Finding]:
    """Yield inventories whose sidecar does not hold their digest (3.7)."""
    for path in sorted(path for path in files if path.rsplit("/", 1)[-1] == "inventory.json"):
        if path.count("/") > 1:
            continue  # content of that name
        digest = item.reading.digests[f"{item.root}/{path}"].sha512
        try:
            sidecar = item.content(f"{item.root}/{path}.sha512")
        except Damaged:
            sidecar = b""
        match = re.fullmatch(rb"([0-9a-fA-F]{128})[ \t]+inventory\.json\n?", sidecar)
        if match is None or match[1].decode().lower() != digest:
            what = "The sidecar is missing, or holds another digest than the inventory has."
            yield _wrong(item, f"{path}.sha512", what, f"{digest} inventory.json (3.7)")


def _header(item: BagItem, inventory: dict[str, Any]) -> Iterator[Finding]:
    identifier = str(inventory.get("id", ""))
    if not identifier.endswith(item.name):
        what = f"The object's identifier is {identifier!r}."
        yield _wrong(item, "inventory.json", what, f"one that ends with {item.name}")
    for key, expected in (("type", _TYPE), ("digestAlgorithm", "sha512")):
        if inventory.get(key) != expected:
            what = f"Its {key} is {inventory.get(key)!r}."
            yield _wrong(item, "inventory.json", what, f"{expected} (3.5.1)")


def _versions(item: BagItem, inventory: dict[str, Any], files: set[str]) -> Iterator[Finding]:
    """Yield versions not numbered without a gap, or whose inventories part (3.5.3, 3.6)."""
    versions = inventory["versions"]
    names = {f"v{number}" for number in range(1, len(versions) + 1)}
    if set(versions) != names or inventory.get("head") != f"v{len(versions)}":
        what = f"Its head is {inventory.get('head')!r}, its versions {', '.join(sorted(versions))}."
        yield _wrong(item, "inventory.json", what, "versions from v1 on, the last of them the head")
    folders = {path.split("/", 1)[0] for path in files if "/" in path}
    for folder in sorted(folders):
        if folder not in versions and folder not in ("extensions", "logs"):
            what = "This folder is no version of the object."
            yield _wrong(item, folder, what, "a folder for each version (3.1)")
    head = f"{inventory.get('head')}/inventory.json"
    if head in files and _bytes(item, head) != _bytes(item, "inventory.json"):
        what = "It is not the same as inventory.json of the object."
        yield _wrong(item, head, what, "a copy of it in the folder of the head (3.6)")
    for name, version in versions.items():
        for key in ("created", "state"):
            if key not in version:
                yield _wrong(item, "inventory.json", f"{name} has no {key}.", f"{key} (3.5.3)")
        earlier = f"{name}/inventory.json"
        if earlier in files and name != inventory.get("head"):
            yield from _earlier(item, inventory, name, earlier)


def _earlier(item: BagItem, inventory: dict[str, Any], name: str, path: str) -> Iterator[Finding]:
    """Yield where an earlier version's inventory tells other logical states (3.6)."""
    try:
        before = json.loads(_bytes(item, path))
        states = {key: _logical(before, key) for key in before["versions"]}
        now = {key: _logical(inventory, key) for key in states}
    except (ValueError, LookupError, TypeError, AttributeError):
        yield _wrong(item, path, "It is no inventory.", "the inventory of its version (3.6)")
        return
    if states != now or before.get("head") != name:
        what = "It tells an earlier version otherwise than the inventory of the object."
        yield _wrong(item, path, what, "the same files in each version (3.6)")


def _logical(inventory: Any, version: str) -> dict[str, str]:
    state = inventory["versions"][version]["state"]
    return {path: digest.lower() for digest, paths in state.items() for path in paths}


def _bytes(item: BagItem, path: str) -> bytes:
    try:
        return item.content(f"{item.root}/{path}")
    except Damaged:
        return b""


def _content(item: BagItem, inventory: dict[str, Any], files: set[str]) -> Iterator[Finding]:
    """Yield where manifest, states and fixity block do not fit (3.5.2 to 3.5.4)."""
    manifest = {str(digest).lower() for digest in inventory["manifest"]}
    used: set[str] = set()
    for name, version in inventory["versions"].items():
        state = {str(digest).lower() for digest in version["state"]}
        used |= state
        for digest in sorted(state - manifest):
            what = f"{name} names content that the manifest has not: {digest[:16]}..."
            yield _wrong(item, "inventory.json", what, "content in the manifest (3.5.2)")
    for digest in sorted(manifest - used):
        what = f"No version uses the content {digest[:16]}..."
        yield _wrong(item, "inventory.json", what, "content that a version uses (3.5.2)")
    for algorithm, block in inventory.get("fixity", {}).items():
        for digest, paths in block.items():
            for path in paths:
                yield from _fixity(item, algorithm, digest, path, files)


def _fixity(
    item: BagItem, algorithm: str, digest: str, path: str, files: set[str]
) -> Iterator[Finding]:
    earlier = not path.startswith(f"{item.inventory.get('head')}/")
    if path not in files and item.elsewhere and earlier:
        return
    if path not in files:
        yield _wrong(item, path, "The fixity block names it, but it is not there.", "the file")
        return
    found = item.reading.digests[f"{item.root}/{path}"]
    stated = getattr(found, algorithm, None)
    if stated is None and algorithm in hashlib.algorithms_guaranteed:
        return  # an algorithm that was not read with
    if stated is not None and stated != digest.lower():
        yield _wrong(item, path, f"Its {algorithm} is not the one in the fixity block.", digest)
