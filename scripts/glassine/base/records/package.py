"""package.json: every file of an item's package, where it comes from, its digests."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from glassine.base.records import Record
from glassine.base.records.parts import Count, DerivativeUse, Event, Sha256, Sha512, Text

Use = Literal[
    "master",
    "raw",
    "companion",
    DerivativeUse,
    "tile",
    "record",
    "metadata",
    "documentation",
    "schema",
]


class PackagedFile(Record, frozen=True, kw_only=True):
    """A file of a package.

    path: in the package. source: `item:<path in the item's results>` or `master:<path in the
    batch folder>`.
    """

    path: Annotated[str, Meta(pattern="^[^/]")]
    source: Annotated[str, Meta(pattern="^(item|master):[^/]")]
    bytes: Count
    sha256: Sha256
    sha512: Sha512
    use: Use

    def at(self, path: str) -> PackagedFile:
        """Return the file with another path in the package."""
        return msgspec.structs.replace(self, path=path)


class Package(Record, frozen=True, kw_only=True):
    """package.json of an item. profile: name of the layout."""

    item: Text
    profile: Text
    event: Event
    files: Annotated[list[PackagedFile], Meta(min_length=1)]
