"""The layout of an OCFL 1.1 object: the plain package as version 1 of an object.

Oxford Common File Layout Specification 1.1, sections 3.2 (declaration), 3.5 (inventory),
3.7 (sidecar). A package is a first version; a delivery of changes alone makes of it the next one
of the object that was delivered before (`deliver/shapes.py`).
"""

from __future__ import annotations

from pathlib import Path
from typing import ClassVar

import msgspec

from glassine.base import files, hashing
from glassine.base.records.package import PackagedFile
from glassine.pack.layouts import Context, Layout, tree_paths, written

_CONTENT = "v1/content/"


class OcflObject(Layout):
    """0=ocfl_object_1.1, inventory.json with its sidecar, v1/content/ with the plain package."""

    name: ClassVar[str] = "ocfl"

    def lay_out(self, plain: list[PackagedFile], context: Context) -> list[PackagedFile]:
        content = [entry.at(_CONTENT + entry.path) for entry in plain]
        inventory = files.dump_json(msgspec.to_builtins(_inventory(plain, context))).encode()
        sidecar = f"{hashing.of_bytes(inventory).sha512} inventory.json\n".encode()
        added = [written(context, "0=ocfl_object_1.1", b"ocfl_object_1.1\n", "metadata")]
        for folder in ("", "v1/"):
            added.append(written(context, f"{folder}inventory.json", inventory, "metadata"))
            added.append(written(context, f"{folder}inventory.json.sha512", sidecar, "metadata"))
        return content + added

    def plain_paths(self, root: Path) -> dict[str, str] | None:
        if not (root / "0=ocfl_object_1.1").is_file():
            return None
        inventory = files.read_json(root / "inventory.json")
        if inventory["head"] == "v1":
            return {path: _CONTENT + path for path in tree_paths(root / _CONTENT)}
        present = set(tree_paths(root))
        return {
            logical: path
            for digest, paths in inventory["versions"][inventory["head"]]["state"].items()
            for logical in paths
            for path in inventory["manifest"][digest][:1]
            if path in present  # files that a version refers to are where it was delivered
        }


class User(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Who made a version. address: a URI."""

    name: str
    address: str | None = None


class Version(msgspec.Struct, frozen=True, kw_only=True):
    """A version of an object. state: {SHA-512: logical paths}."""

    created: str
    message: str
    state: dict[str, list[str]]
    user: User


class Inventory(msgspec.Struct, frozen=True, kw_only=True):
    """inventory.json (section 3.5). manifest: {SHA-512: content paths}; fixity: of others."""

    id: str
    type: str = "https://ocfl.io/1.1/spec/#inventory"
    algorithm: str = msgspec.field(name="digestAlgorithm", default="sha512")
    head: str = "v1"
    manifest: dict[str, list[str]]
    fixity: dict[str, dict[str, list[str]]]
    versions: dict[str, Version]


def _inventory(plain: list[PackagedFile], context: Context) -> Inventory:
    manifest: dict[str, list[str]] = {}
    state: dict[str, list[str]] = {}
    fixity: dict[str, list[str]] = {}
    for entry in sorted(plain, key=lambda entry: entry.path):
        path = _CONTENT + entry.path
        manifest.setdefault(entry.sha512, []).append(path)
        state.setdefault(entry.sha512, []).append(entry.path)
        fixity.setdefault(entry.sha256, []).append(path)
    keeper = context.institution
    address = f"mailto:{keeper.contact}" if keeper.contact else keeper.id or None
    version = Version(
        created=context.time,
        message=f"Digitized and packed by {context.software}",
        state=state,
        user=User(name=keeper.name or "unknown", address=address),
    )
    return Inventory(
        id=f"{keeper.id or 'urn:item:'}{context.item}",
        manifest=manifest,
        fixity={"sha256": fixity},
        versions={"v1": version},
    )
