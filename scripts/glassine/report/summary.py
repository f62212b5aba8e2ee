"""summary.json: the figures of the page for machines; the states add up to the total."""

from __future__ import annotations

from typing import Any

import msgspec

from glassine.base import clock, item_states
from glassine.base.access import ListedAccess
from glassine.base.errors import Finding
from glassine.report.shown import Batch, Captures, Expected, Item
from glassine.report.timing import Throughput


class FindingLine(msgspec.Struct, frozen=True):
    """A finding as `errors.Finding` has it."""

    code: str
    path: str
    what: str
    expected: str
    next_step: str
    severity: str

    @classmethod
    def of(cls, finding: Finding) -> FindingLine:
        return cls(**finding.as_dict())


class ItemLine(msgspec.Struct, frozen=True, kw_only=True):
    """An item. last_read: when its masters were; delivery: how it stands to the deliveries, in
    words."""

    state: item_states.State
    step: str | None
    findings: list[FindingLine]
    reasons: list[str]
    last_read: str | None
    delivery: str | None


class Run(msgspec.Struct, frozen=True, kw_only=True):
    """The latest run. started: seconds since 1970; stages: seconds by step."""

    started: float | None
    span_s: float | None
    masters: int
    bytes: int
    masters_an_hour: float | None
    stages: dict[str, float]


class BagLine(msgspec.Struct, frozen=True, kw_only=True):
    """A bag of a delivery. state: as a look at it shows."""

    delivery: str
    state: str


class LastRead(msgspec.Struct, frozen=True, kw_only=True):
    """When masters were last read and compared; bags: when each was read and validated."""

    oldest: str | None
    newest: str | None
    items_unread: int
    bags: dict[str, str]


class Summary(msgspec.Struct, frozen=True, kw_only=True):
    """summary.json. deliveries: names of receipts, the last one first. access: the items that not
    all may see, or that were opened lately."""

    batch: str
    made: str
    counts: dict[str, int]
    items: dict[str, ItemLine]
    problems: list[FindingLine]
    asks: list[FindingLine]
    masters: int
    bytes: int
    throughput: Run
    deliveries: list[str]
    bags: dict[str, BagLine]
    dropped: list[FindingLine]
    last_read: LastRead
    expected: Expected | None = None
    captures: Captures | None = None
    access: list[ListedAccess] = []

    def as_json(self) -> dict[str, Any]:
        value: dict[str, Any] = msgspec.to_builtins(self)
        return value


class Unmade(msgspec.Struct, frozen=True, kw_only=True):
    """summary.json where the page could not be made. problem: why."""

    batch: str
    counts: dict[str, int]
    problem: str


def of_batch(batch: Batch, throughput: Throughput) -> Summary:
    deliveries = batch.delivered.shown
    return Summary(
        batch=batch.batch,
        made=clock.now_text(),
        counts=batch.counts,
        items={item.item: _item(batch, item) for item in batch.items},
        problems=_lines(batch.problems),
        asks=_lines(batch.asks),
        masters=sum(len(item.masters) for item in batch.items),
        bytes=sum(item.bytes for item in batch.items),
        throughput=_run(throughput),
        deliveries=[delivery.file for delivery in deliveries],
        bags={
            bag.name: BagLine(delivery=bag.delivery, state=bag.state)
            for delivery in deliveries
            for bag in delivery.bags
        },
        dropped=_lines(batch.delivered.dropped),
        last_read=_last_read(batch),
        expected=batch.expected,
        captures=batch.captures,
        access=batch.access,
    )


def _lines(findings: list[Finding]) -> list[FindingLine]:
    return [FindingLine.of(finding) for finding in findings]


def _item(batch: Batch, item: Item) -> ItemLine:
    return ItemLine(
        state=item.status.state,
        step=item.status.step,
        findings=_lines(item.status.findings),
        reasons=[reason.text for reason in item.status.reasons],
        last_read=item.status.last_read,
        delivery=batch.delivered.words_of(item.item),
    )


def _run(throughput: Throughput) -> Run:
    return Run(
        started=throughput.started,
        span_s=throughput.span_s,
        masters=throughput.masters,
        bytes=throughput.bytes,
        masters_an_hour=throughput.masters_an_hour,
        stages={stage.step: round(stage.total_s, 3) for stage in throughput.stages},
    )


def _last_read(batch: Batch) -> LastRead:
    span = item_states.read_span(batch.statuses)
    return LastRead(
        oldest=span[0] if span else None,
        newest=span[1] if span else None,
        items_unread=sum(1 for state in batch.statuses if not state.last_read),
        bags={
            bag.name: bag.validated
            for delivery in batch.delivered.shown
            for bag in delivery.receipt.bags
        },
    )
