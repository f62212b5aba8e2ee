"""quality.json: the measures of an item's frames."""

from __future__ import annotations

from typing import Literal

from glassine.base.records import Record
from glassine.base.records.parts import Event, Positive, Text

Verdict = Literal["pass", "review", "fail"]


class Measure(Record, frozen=True, kw_only=True):
    name: str
    value: float | int | str | bool | None
    unit: str
    limit: str | None
    verdict: Verdict
    source: str


class MeasuredFrame(Record, frozen=True, kw_only=True):
    master: Text
    index: Positive
    measures: list[Measure]
    verdict: Verdict


class Quality(Record, frozen=True, kw_only=True):
    item: Text
    event: Event
    frames: list[MeasuredFrame]
