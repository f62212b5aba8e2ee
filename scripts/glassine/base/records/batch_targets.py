"""targets.json: what the target captures of a batch say, and what that means for its delivery."""

from __future__ import annotations

from typing import Literal

from glassine.base.model import BatchId
from glassine.base.records import Record
from glassine.base.records.parts import Event, FindingNote
from glassine.base.records.target import Criterion, NotJudged, TargetKind, TargetState


class ShownMeasure(Record, frozen=True, kw_only=True):
    """A measure without its places."""

    name: str
    value: float | None
    unit: str
    note: str


class Verdict(Record, frozen=True, kw_only=True):
    """What one table says of a target; see `target.Judgement`."""

    title: str
    level_word: str
    overall: str | None
    complete: bool
    silent_on: list[str]
    print_notes: list[str]
    rows: list[Criterion]
    not_judged: list[NotJudged]


class Identity(Record, frozen=True, kw_only=True):
    """What MIX 2.0 calls TargetID; empty where the description says nothing."""

    manufacturer: str
    name: str
    number: str
    media: str


class ShownTarget(Record, frozen=True, kw_only=True):
    """One target capture, for the report and the items' records; see `target.TargetResult`."""

    target: str
    title: str
    path: str
    kind: TargetKind
    state: TargetState
    taken: str
    preview: str | None
    plots: dict[str, str]
    notes: list[str]
    findings: list[FindingNote]
    measures: list[ShownMeasure]
    verdicts: list[Verdict]
    event: Event
    identity: Identity


class Point(Record, frozen=True, kw_only=True):
    """A measure in one capture of a target."""

    batch: str
    taken: str
    value: float
    unit: str


class Series(Record, frozen=True, kw_only=True):
    """A measure over batches, in order of capture. plot: None for a series of one point."""

    target: str
    measure: str
    unit: str
    points: list[Point]
    plot: str | None


class Drift(Record, frozen=True, kw_only=True):
    """Where a measure left its usual course.

    since: batch in which it began; taken: when that was captured. baseline and scatter: the usual
    value and its usual standard deviation. latest: last value.
    """

    target: str
    measure: str
    unit: str
    since: str
    taken: str
    direction: Literal["rising", "falling"]
    baseline: float
    scatter: float
    latest: float


class Course(Record, frozen=True, kw_only=True):
    """The measures of the results folder's targets over its batches."""

    series: list[Series]
    drifts: list[Drift]
    findings: list[FindingNote]


class BatchTargets(Record, frozen=True, kw_only=True):
    """targets.json of a batch. holds: what keeps the batch from delivery, or asks for review."""

    batch: BatchId
    statement: str
    targets: list[ShownTarget]
    course: Course
    holds: list[FindingNote]
