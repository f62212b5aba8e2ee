"""What pack is given of an item."""

from __future__ import annotations

import msgspec

from glassine.base import master_rules
from glassine.base.access import OPEN, Access
from glassine.base.master_rules import MasterRule
from glassine.base.model import ItemId
from glassine.base.raw_keep import BOTH, Keep
from glassine.base.records import Given


class Master(Given, frozen=True, kw_only=True):
    """path: relative to the batch folder. bytes, mtime_ns: of the file as intake saw it. raw: path
    of the raw file that it was developed from, None where it was not: the file then is that."""

    path: str
    bytes: int
    mtime_ns: int
    raw: str | None = None


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
    rules: tuple[MasterRule, ...] = ()
    records: RecordsSection = msgspec.field(default_factory=RecordsSection)

    def of_master(self, kind: str, part: str | None) -> PackageSection:
        """Return the section as the rules make it for a master. Raises msgspec.ValidationError."""
        stated = msgspec.to_builtins(self.package)
        keys = master_rules.keys(self.rules, "package", kind, part)
        return msgspec.convert(stated | keys, PackageSection)


class PackGiven(Given, frozen=True, kw_only=True):
    """access: who may see it, and what of it is delivered. masters_read: whether this process has
    just read the masters whole and compared them. keep: what the package holds of raw captures."""

    item: ItemId
    masters: tuple[Master, ...]
    companions: tuple[Companion, ...] = ()
    access: Access = OPEN
    keep: Keep = BOTH
    settings: Settings
    masters_read: bool = False
