"""A round of the audit: what was read longest ago is read again, as much as the settings say.

What was found damaged is read in each round, so that a file that was brought back is told as sound
the next night. A round keeps each reading as it is made; one that is broken off loses none.
"""

from __future__ import annotations

import time as clocks
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import msgspec

from glassine.audit import holdings, reading, stored, unlisted
from glassine.audit.holdings import Holdings, Part, Places
from glassine.audit.objects import Storage
from glassine.audit.readings import Readings, Standing
from glassine.base import item_states, record_files
from glassine.base.errors import Finding
from glassine.base.records.audit import AuditedKind, BatchAudit
from glassine.base.records.parts import FindingNote

RECORD = "audit.json"
# Since when `--all` reads, until all parts are read.
ALL_SINCE = "all since"
# When a part was last read that nothing tells it of: before all others.
_UNKNOWN = "1970-01-01T00:00:00Z"


@dataclass(frozen=True)
class Limits:
    """How much a round reads. share: of the bytes of all parts, at least one part where it is above
    0; hours: no part is begun after these; 0 is without end. everything: all that was not read
    since the round began that was to read all."""

    share: float
    hours: float
    everything: bool = False


@dataclass
class Round:
    """What a round did. batches: {batch: its record}; left: parts that are still to be read of a
    round that reads everything; unread: {batch: {why: names}} of files in object storage that
    could not be read."""

    parts: int = 0
    bytes: int = 0
    left: int = 0
    unread: dict[str, dict[str, list[str]]] = field(default_factory=dict)
    batches: dict[str, BatchAudit] = field(default_factory=dict)
    notes: list[Finding] = field(default_factory=list)

    def not_read(self, batch: str, why: str, names: list[str]) -> None:
        self.unread.setdefault(batch, {}).setdefault(why, []).extend(names)

    @property
    def findings(self) -> list[tuple[str, Finding]]:
        """Return (batch, what is wrong)."""
        return [
            (batch, item_states.finding(msgspec.to_builtins(note), batch))
            for batch, record in self.batches.items()
            for note in record.findings
        ]


def go(
    places: Places,
    batches: list[str],
    limits: Limits,
    now: Callable[[], str],
    tell: Callable[[int, int], None] = lambda done, due: None,
    storage: Storage | None = None,
) -> Round:
    """Read what is due and write `results/<batch>/audit.json` of each batch.

    now: the time as xs:dateTime, UTC. tell: is told parts read and due. storage: object storage,
    where deliveries were sent to one. Raises sqlite3.Error, OSError where the readings cannot be
    kept."""
    storage = storage or Storage()
    with Readings.open(places.results, now()) as readings:
        known = readings.known()
        seen = holdings.look(
            places, batches, {key: each.part for key, each in known.items()}, storage
        )
        for batch in batches:
            found = unlisted.of_batch(readings, places, batch)
            seen.unreadable.setdefault(batch, []).extend(_not_told_yet(found, seen, batch))
        today = now()
        parts = [_as_known(part, known, today) for part in seen.parts]
        readings.see(parts, _of(batches, known))
        wrong = {key for key, each in known.items() if each.findings} | seen.odd
        due = _due(_to_read(parts, seen, limits, storage, wrong), wrong, limits, readings, now)
        round_ = _read(due, places, limits, readings, now, tell, storage)
        for batch, (why, names) in seen.unread.items():
            round_.not_read(batch, why, names)
        if limits.everything and not round_.left and not round_.unread and not seen.gone:
            readings.note_fact(ALL_SINCE, None)
        round_.notes = readings.notes
        standing = readings.known()
    for batch in batches:
        unread = round_.unread.get(batch, {})
        round_.batches[batch] = _record(batch, seen, standing, limits, now(), unread)
        _write(places.results / batch, round_.batches[batch])
    return round_


def _not_told_yet(found: list[Finding], seen: Holdings, batch: str) -> list[Finding]:
    told = {finding.path for finding in seen.unreadable.get(batch, [])}
    return [finding for finding in found if finding.path not in told]


def _of(batches: list[str], known: dict[str, Standing]) -> dict[str, Standing]:
    return {key: each for key, each in known.items() if each.part.batch in batches}


def _as_known(part: Part, known: dict[str, Standing], now: str) -> Part:
    """Return the part with the time that it was last read; what was made anew is as its record
    tells. A time that is yet to come, as of a clock that ran ahead, says nothing: else the part
    would have its turn only then."""
    before = known.get(part.key)
    times = [part.read]
    if before is not None and before.part.expected == part.expected:
        times.append(before.part.read)
    read = max((each for each in times if each <= now), default=_UNKNOWN)
    return part if read == part.read else replace(part, read=read)


def _to_read(
    parts: list[Part], seen: Holdings, limits: Limits, storage: Storage, wrong: set[str]
) -> list[Part]:
    """Return the parts that can be read in this round, and are to be: of object storage that is
    only looked at, what is odd there, unless everything is read."""
    looks = storage.mode == "look" and not limits.everything
    return [
        part
        for part in parts
        if part.key not in seen.gone
        and (
            part.kind not in holdings.REMOTE
            or (part.batch not in seen.unread and (part.key in wrong or not looks))
        )
    ]


def _due(
    parts: list[Part],
    wrong: set[str],
    limits: Limits,
    readings: Readings,
    now: Callable[[], str],
) -> list[Part]:
    """Return what this round reads: what was found damaged, then what was read longest ago."""
    order = sorted(parts, key=lambda part: (part.key not in wrong, part.read, part.key))
    if limits.everything:
        since = readings.fact(ALL_SINCE)
        if since is None:
            since = now()
            readings.note_fact(ALL_SINCE, since)
        return [part for part in order if part.read < since or part.key in wrong]
    wanted = limits.share * sum(part.bytes for part in parts)
    due: list[Part] = []
    taken = 0
    for part in order:
        if part.key not in wrong:
            if limits.share <= 0 or (due and taken >= wanted):
                break
            taken += part.bytes
        due.append(part)
    return due


def _read(
    due: list[Part],
    places: Places,
    limits: Limits,
    readings: Readings,
    now: Callable[[], str],
    tell: Callable[[int, int], None],
    storage: Storage,
) -> Round:
    round_ = Round()
    end = clocks.monotonic() + limits.hours * 3600 if limits.hours > 0 else float("inf")
    for number, part in enumerate(due):
        if clocks.monotonic() >= end:
            round_.left = len(due) - number
            break
        shown = reading.read(part, places, storage)
        if shown.unread:
            round_.not_read(part.batch, shown.unread, [part.name])
        else:
            shown.findings += unlisted.of_part(readings, places, part)
            readings.keep(part, now(), shown.bytes, shown.files, shown.findings)
            round_.parts += 1
        round_.bytes += shown.bytes
        tell(number + 1, len(due))
    return round_


def _record(
    batch: str,
    seen: Holdings,
    standing: dict[str, Standing],
    limits: Limits,
    now: str,
    unread: dict[str, list[str]],
) -> BatchAudit:
    """Return the record of a batch. unread: {why: names} of what in object storage could not be
    read in this round."""
    of_batch = [each for each in standing.values() if each.part.batch == batch]
    kinds = {
        kind: _kind([each for each in of_batch if each.part.kind == kind])
        for kind in holdings.KINDS
    }
    gone = sum(1 for each in of_batch if each.part.key in seen.gone)
    found = [
        *seen.unreadable.get(batch, []),
        *(stored.unread(batch, why, names) for why, names in sorted(unread.items())),
        *_findings(of_batch),
    ]
    return BatchAudit(
        batch=batch,
        time=now,
        share=limits.share,
        **kinds,
        away=seen.away.get(batch, 0),
        unsettled=seen.unsettled.get(batch, 0),
        unread=sum(map(len, unread.values())) + gone,
        findings=[FindingNote(**finding.as_dict()) for finding in found],
    )


def _kind(parts: list[Standing]) -> AuditedKind:
    return AuditedKind(
        parts=len(parts),
        bytes=sum(each.part.bytes for each in parts),
        oldest=min((each.part.read for each in parts), default=None),
        damaged=sum(1 for each in parts if each.findings),
    )


def _findings(parts: Iterable[Standing]) -> list[Finding]:
    return [
        finding
        for each in sorted(parts, key=lambda each: each.part.key)
        for finding in each.findings
    ]


def _write(results: Path, record: BatchAudit) -> None:
    if results.is_dir():
        record_files.save(results / RECORD, "audit", record)
