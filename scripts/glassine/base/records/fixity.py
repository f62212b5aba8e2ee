"""fixity.json: digests and header facts of an item's masters."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import Digests, Event, FindingNote, Header, Positive, Text


class VerifiedMaster(Record, frozen=True, kw_only=True):
    """A master that was read whole.

    path: relative to the batch folder. mtime: ISO 8601, UTC. expected: digests of the checksum
    lists by algorithm, empty where none names it. source: of a picture that was developed here, the
    raw file as it was verified; path is then that of the picture in the folder `developed`.
    """

    path: Text
    part: str | None
    bytes: Positive
    mtime: str
    digests: Digests
    expected: dict[str, str]
    verdict: Literal["match", "unlisted"]
    header: Header
    notes: list[FindingNote] = msgspec.field(default_factory=list)
    source: VerifiedMaster | UnsetType = UNSET


class Fixity(Record, frozen=True, kw_only=True):
    """fixity.json of an item."""

    item: Text
    masters: Annotated[list[VerifiedMaster], Meta(min_length=1)]
    event: Event
