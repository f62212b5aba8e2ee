"""What lies in a published tree by our hand; all else in its folder is left alone."""

from __future__ import annotations

from pathlib import Path

import msgspec

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.publish.changes import Change

NAME = ".published.json"


class Published(msgspec.Struct, frozen=True, kw_only=True):
    """An item of the tree. digest: of what was laid out; folders: of the tree that are its own.
    thumbnail: address, "" for none."""

    batch: str
    manifest: str
    digest: str
    folders: list[str]
    title: str = ""
    date: str = ""
    place: str = ""
    thumbnail: str = ""


class Tree(msgspec.Struct, frozen=True, kw_only=True):
    """base: the address that the tree is served at; changes: earliest first."""

    base: str = ""
    items: dict[str, Published] = msgspec.field(default_factory=dict)
    changes: list[Change] = msgspec.field(default_factory=list)


def read(root: Path) -> Tree:
    """Return what lies in a tree. Raises GlassineError for a folder that holds files and is no
    tree of ours, or whose record is damaged."""
    path = root / NAME
    if path.is_file():
        try:
            return msgspec.convert(files.read_json(path), Tree)
        except (msgspec.ValidationError, GlassineError) as problem:
            raise _refused(path, f"What is published there cannot be read: {problem}.") from problem
    if root.is_dir() and any(root.iterdir()):
        raise _refused(root, "It holds files, and none that tells that this command wrote them.")
    return Tree()


def _refused(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "publish.folder",
        path,
        what,
        "an empty folder, or one that this command made.",
        "Name another folder; what lies in this one is left as it is.",
    )


def write(root: Path, tree: Tree) -> None:
    files.write_json(root / NAME, msgspec.to_builtins(tree))
