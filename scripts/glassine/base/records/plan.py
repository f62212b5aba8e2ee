"""Plan of a delivery, fixed before its first byte and kept beside its bags while it is made."""

from __future__ import annotations

import msgspec

from glassine.base.model import BatchId
from glassine.base.records import Record
from glassine.base.records.parts import Positive, Sha256, Text


class Plan(Record, frozen=True, kw_only=True):
    """What a delivery will be.

    name: `<batch>` or `<batch>.rN`; replaces: the delivery that this one stands in for, and
    also_replaces those that it had been added to; continues: the one that it adds to; content:
    digest over what is delivered; time: of bagging, kept through resumptions (ISO 8601, UTC).
    """

    batch: BatchId
    name: Text
    revision: Positive
    replaces: str | None
    continues: str | None
    content: Sha256
    time: Text
    also_replaces: list[str] = msgspec.field(default_factory=list)

    @property
    def date(self) -> str:
        return self.time[:10]
