"""Layouts of a package: a small class each, found by name.

A module in this folder with a class that derives from `Profile` is a layout; nothing else has
to know it. Every layout starts from the plain one (what `package.pack_item` lists) and says where
each file goes and which files of its own it adds.
"""

from __future__ import annotations

import importlib
import pkgutil
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import ClassVar

from glassine.base import hashing
from glassine.base.errors import GlassineError
from glassine.base.records.given import Institution
from glassine.base.records.package import PackagedFile, Use


@dataclass(frozen=True)
class Context:
    """What a layout may need beside the files: where the item's results are, who delivers.

    time: xs:dateTime of the packing. schema_dir: folder with official XSDs, or None.
    """

    item: str
    item_dir: Path
    institution: Institution
    time: str
    software: str
    schema_dir: Path | None = None


# Files that a layout makes go here, below the item's results.
OWN_FOLDER = "package"


class Profile(ABC):
    """One layout. `name` is what the setting package.profile says."""

    name: ClassVar[str]

    @abstractmethod
    def lay_out(self, plain: list[PackagedFile], context: Context) -> list[PackagedFile]:
        """Return the package's files; write those it adds below `item_dir/package/`."""

    @abstractmethod
    def plain_paths(self, root: Path) -> dict[str, str] | None:
        """Return {plain path: path below `root`} of a finished package; None if it is not ours."""


def written(context: Context, path: str, content: bytes, use: Use) -> PackagedFile:
    """Write a file that a layout adds; return its place (the same path in the package)."""
    target = context.item_dir / OWN_FOLDER / path
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(content)
    digests = hashing.of_bytes(content)
    return PackagedFile(
        path=path,
        source=f"item:{OWN_FOLDER}/{path}",
        bytes=digests.bytes,
        sha256=digests.sha256,
        sha512=digests.sha512,
        use=use,
    )


def tree_paths(root: Path) -> list[str]:
    return sorted(path.relative_to(root).as_posix() for path in root.rglob("*") if path.is_file())


@cache
def all_profiles() -> dict[str, Profile]:
    """Return every layout by its name."""
    for module in pkgutil.iter_modules(__path__):
        importlib.import_module(f"{__name__}.{module.name}")
    return {kind.name: kind() for kind in Profile.__subclasses__()}


def get(name: str) -> Profile:
    """Return the layout called `name`. Raises GlassineError with the names there are."""
    found = all_profiles().get(name)
    if found is None:
        raise GlassineError.because(
            "pack.profile",
            "config/config.yaml",
            f"There is no package layout called {name!r}.",
            f"one of {', '.join(sorted(all_profiles()))}.",
            "Correct package.profile.",
        )
    return found
