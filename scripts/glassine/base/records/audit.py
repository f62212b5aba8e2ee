"""Audit of a batch: what of it is read again, since when all was, and what was found damaged."""

from __future__ import annotations

from glassine.base.records import Record
from glassine.base.records.parts import Count, FindingNote


class AuditedKind(Record, frozen=True, kw_only=True):
    """Masters, results or deliveries of a batch. parts: items, or items of bags; oldest: when the
    one that was read longest ago was read or written (xs:dateTime, UTC), None where there is none;
    damaged: parts."""

    parts: Count
    bytes: Count
    oldest: str | None
    damaged: Count


class BatchAudit(Record, frozen=True, kw_only=True):
    """audit.json of a batch. time: of the round; share: of all bytes that a night reads; away:
    parts that are not here to be read; unsettled: items that are not finished, and not read;
    findings: what is wrong, until a reading finds it sound."""

    batch: str
    time: str
    share: float
    masters: AuditedKind
    results: AuditedKind
    delivery: AuditedKind
    away: Count
    unsettled: Count = 0
    findings: list[FindingNote]
