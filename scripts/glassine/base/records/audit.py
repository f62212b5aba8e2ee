"""Audit of a batch: what of it is read again, since when all was, and what was found damaged."""

from __future__ import annotations

from glassine.base.records import Record
from glassine.base.records.parts import Count, FindingNote


class AuditedKind(Record, frozen=True, kw_only=True):
    """Masters, results or deliveries of a batch. parts: items, items of bags, or files in object
    storage; oldest: when the one that was read longest ago was read or written (xs:dateTime, UTC),
    None where there is none; damaged: parts."""

    parts: Count
    bytes: Count
    oldest: str | None
    damaged: Count


class BatchAudit(Record, frozen=True, kw_only=True):
    """audit.json of a batch. time: of the round; share: of all bytes that a night reads; away:
    parts that are not here to be read; unsettled: items that are not finished, and not read;
    unread: parts that should have answered and did not, of which nothing is known; stored: what was
    sent to object storage; stored_masters: what came from there; findings: what is wrong, until a
    reading finds it sound."""

    batch: str
    time: str
    share: float
    masters: AuditedKind
    results: AuditedKind
    delivery: AuditedKind
    away: Count
    unsettled: Count = 0
    unread: Count = 0
    stored: AuditedKind = AuditedKind(parts=0, bytes=0, oldest=None, damaged=0)
    stored_masters: AuditedKind = AuditedKind(parts=0, bytes=0, oldest=None, damaged=0)
    findings: list[FindingNote]

    @property
    def kinds(self) -> tuple[AuditedKind, ...]:
        """Return masters, results, deliveries, and deliveries and masters in object storage."""
        return (self.masters, self.results, self.delivery, self.stored, self.stored_masters)
