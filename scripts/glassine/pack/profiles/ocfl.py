"""The layout of an OCFL 1.1 object: the plain package as version 1 of an object.

Oxford Common File Layout Specification 1.1, sections 3.2 (declaration), 3.5 (inventory),
3.7 (sidecar). Each delivery holds the object as a first version; a repository that has an earlier
one adds the content as its next version.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

from glassine.base import files, hashing
from glassine.pack.profiles import Context, Placed, Profile, tree_paths, written

_CONTENT = "v1/content/"


class OcflObject(Profile):
    """0=ocfl_object_1.1, inventory.json with its sidecar, v1/content/ with the plain package."""

    name: ClassVar[str] = "ocfl"

    def lay_out(self, plain: list[Placed], context: Context) -> list[Placed]:
        content = [entry.at(_CONTENT + entry.path) for entry in plain]
        inventory = files.dump_json(_inventory(plain, context)).encode()
        sidecar = f"{hashing.of_bytes(inventory).sha512} inventory.json\n".encode()
        added = [written(context, "0=ocfl_object_1.1", b"ocfl_object_1.1\n", "metadata")]
        for folder in ("", "v1/"):
            added.append(written(context, f"{folder}inventory.json", inventory, "metadata"))
            added.append(written(context, f"{folder}inventory.json.sha512", sidecar, "metadata"))
        return content + added

    def plain_paths(self, root: Path) -> dict[str, str] | None:
        if not (root / "0=ocfl_object_1.1").is_file():
            return None
        return {path: _CONTENT + path for path in tree_paths(root / _CONTENT)}


def _inventory(plain: list[Placed], context: Context) -> dict[str, Any]:
    manifest: dict[str, list[str]] = {}
    state: dict[str, list[str]] = {}
    fixity: dict[str, list[str]] = {}
    for entry in sorted(plain, key=lambda entry: entry.path):
        path = _CONTENT + entry.path
        manifest.setdefault(entry.sha512, []).append(path)
        state.setdefault(entry.sha512, []).append(entry.path)
        fixity.setdefault(entry.sha256, []).append(path)
    institution = context.institution
    user = {"name": institution.get("name") or "unknown"}
    address = f"mailto:{institution['contact']}" if institution.get("contact") else None
    if address or institution.get("id"):
        user["address"] = address or institution["id"]
    version = {
        "created": context.time,
        "message": f"Digitized and packed by {context.software}",
        "state": state,
        "user": user,
    }
    return {
        "id": f"{institution.get('id') or 'urn:item:'}{context.item}",
        "type": "https://ocfl.io/1.1/spec/#inventory",
        "digestAlgorithm": "sha512",
        "head": "v1",
        "manifest": manifest,
        "fixity": {"sha256": fixity},
        "versions": {"v1": version},
    }
