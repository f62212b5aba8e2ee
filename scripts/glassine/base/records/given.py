"""What several steps are given of an item."""

from __future__ import annotations

import msgspec

from glassine.base.model import Facts
from glassine.base.records import Given


class Master(Given, frozen=True, kw_only=True):
    """A master as intake saw it.

    path: relative to the batch folder. bytes, mtime_ns: of the file then. size_px: as a few bytes
    of it say. expected: digests by algorithm, from the checksum lists. must_be_listed: whether
    these name other masters of its kind, and this one should be among them.
    """

    path: str
    part: str | None = None
    sequence: str | None = None
    bytes: int
    mtime_ns: int
    size_px: tuple[int, int] | None = None
    expected: dict[str, str] = msgspec.field(default_factory=dict)
    must_be_listed: bool = False


class Institution(Given, frozen=True, kw_only=True):
    """Who keeps the items: the section `institution` of the settings. id: a URI."""

    name: str = ""
    id: str = ""
    homepage: str = ""
    contact: str = ""


class RightsSection(Given, frozen=True, kw_only=True):
    """The section `rights` of the settings: what the catalogue leaves open (`rights.resolved`)."""

    uri: str = ""
    status: str = ""
    jurisdiction: str = ""
    holder: str = ""
    note: str = ""
    credit: str = ""

    def as_row(self) -> dict[str, str]:
        return msgspec.structs.asdict(self)


class StatedMaster(Given, frozen=True, kw_only=True):
    """A master and what batch.yaml states of it.

    path: relative to the batch folder. size_px: width and height, as intake saw it.
    superseded_by: path of the capture that counts in its place, None where it counts itself. facts:
    None in what was recorded when they went by item. raw: path of the raw file that it was
    developed from, None where it was not.
    """

    path: str
    part: str | None = None
    sequence: str | None = None
    superseded_by: str | None = None
    size_px: tuple[int, int] | None = None
    facts: Facts | None = None
    raw: str | None = None

    def facts_or(self, of_item: Facts | None) -> Facts:
        """Return its facts, or those of the item. Raises ValueError where there are neither."""
        facts = self.facts or of_item
        if facts is None:
            raise ValueError(f"no facts are given of {self.path}")
        return facts
