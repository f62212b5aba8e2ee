"""Which file stands where in the published tree: what a manifest names, below its base address."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import unquote

from glassine.base import files

# Folders and files of the tree that are no item's.
RESERVED = frozenset({"collection", "activity", "index.html", "view.html", "catalogue.json"})
# What an address leads to that a browser fetches; canvases and annotations are names alone
# (IIIF Presentation API 3.0, section 3.1: ids of canvases need not be dereferenced).
_FETCHED = frozenset({"Image", "Sound", "Video", "Text", "Dataset", "Model"})


class Unpublishable(ValueError):
    """An item whose manifest names what cannot be laid out; the text says what, for a person."""


def named_below(manifest: dict[str, Any], base: str) -> Iterator[tuple[str, str]]:
    """Yield ("file" or "service", path below the base address) of all that a manifest has fetched
    from there."""
    pending: list[Any] = [manifest]
    while pending:
        value = pending.pop()
        if isinstance(value, list):
            pending += value
        if not isinstance(value, dict):
            continue
        pending += value.values()
        address, kind = value.get("id", value.get("@id")), value.get("type", value.get("@type"))
        if not isinstance(address, str) or not address.startswith(f"{base}/"):
            continue
        path = unquote(address.removeprefix(f"{base}/"), errors="strict")
        if isinstance(kind, str) and kind.startswith("ImageService"):
            yield "service", path
        elif kind in _FETCHED:
            yield "file", path


def of_item(item: str, folder: Path, manifest: dict[str, Any], base: str) -> dict[str, Path]:
    """Return {path in the tree: file of the results} of an item. folder: of its results.

    Raises Unpublishable where a name is not there, or leads out of the item's folder.
    """
    found = {f"{item}/manifest.json": folder / "manifest.json"}
    named = sorted(named_below(manifest, base))
    services = [path for kind, path in named if kind == "service"]
    for path in services:
        tiles = _inside(folder / "iiif", path)
        if "/" in path or not (tiles / "info.json").is_file():
            raise Unpublishable(f"its manifest names the image {path}, which has no info.json here")
        for file in sorted(tiles.rglob("*")):
            if file.is_file():
                found[f"{path}/{file.relative_to(tiles).as_posix()}"] = file
    for kind, path in named:
        if kind == "file" and path not in found:
            own = path.removeprefix(f"{item}/")
            file = _inside(folder, own)
            if own == path or not file.is_file():
                raise Unpublishable(f"its manifest names {path}, which is not here")
            found[path] = file
    return found


def _inside(root: Path, path: str) -> Path:
    try:
        return files.inside(root, path)
    except ValueError as problem:
        raise Unpublishable(f"its manifest names {path!r}: {problem}") from problem


def tops(paths: Iterator[str] | list[str]) -> list[str]:
    """Return the folders right below the tree's root that hold these paths, sorted."""
    return sorted({path.partition("/")[0] for path in paths})


def lay(root: Path, paths: dict[str, Path]) -> None:
    """Put the files of an item into the tree, each of its folders at once, the one with the
    manifest last. A file is a second name of that of the results, or its copy on another disk."""
    folders = sorted(tops([*paths]), key=lambda top: f"{top}/manifest.json" in paths)
    for top in folders:
        with files.replacing_folder(root / top) as folder:
            for path, source in paths.items():
                if path.startswith(f"{top}/"):
                    target = folder / path.removeprefix(f"{top}/")
                    target.parent.mkdir(parents=True, exist_ok=True)
                    _link(source, target)


def _link(source: Path, target: Path) -> None:
    try:
        os.link(source, target)
    except OSError:  # another disk, or one without second names
        shutil.copyfile(source, target)


def take_away(root: Path, tops_gone: list[str]) -> None:
    """Remove folders of the tree; the first one, which holds the manifest, first."""
    for top in tops_gone:
        folder = root / top
        if folder.is_dir() and not folder.is_symlink():
            files.remove_tree(folder)
