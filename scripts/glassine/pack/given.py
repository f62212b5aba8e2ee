"""What pack is given of an item."""

from __future__ import annotations

import msgspec

from glassine.base.access import ALL_PUBLIC, PublicPictures
from glassine.base.model import ItemId
from glassine.base.records import Given


class Master(Given, frozen=True, kw_only=True):
    """path: relative to the batch folder. bytes, mtime_ns: of the file as intake saw it."""

    path: str
    bytes: int
    mtime_ns: int


class Companion(Master, frozen=True, kw_only=True):
    """A picture beside a master. expected: {algorithm: hex digest} of the checksum lists."""

    expected: dict[str, str] = msgspec.field(default_factory=dict)


class PackageSection(Given, frozen=True, kw_only=True):
    """profile: name of the layout. include_tiles: whether tiles go into the package."""

    profile: str = "mets"
    include_tiles: bool = True


class RecordsSection(Given, frozen=True, kw_only=True):
    """schema_dir: folder with official XSDs, which a layout may carry."""

    schema_dir: str | None = None


class Settings(Given, frozen=True, kw_only=True):
    package: PackageSection
    records: RecordsSection = msgspec.field(default_factory=RecordsSection)


class PackGiven(Given, frozen=True, kw_only=True):
    """public: which of its pictures may be public. masters_read: whether this process has just
    read the masters whole and compared them."""

    item: ItemId
    masters: tuple[Master, ...]
    companions: tuple[Companion, ...] = ()
    public: PublicPictures = ALL_PUBLIC
    settings: Settings
    masters_read: bool = False
