"""geometry.json: the frames found on an item's masters."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from glassine.base.records import Record
from glassine.base.records.parts import Event, Positive, Text

Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]


class Side(Record, frozen=True, kw_only=True):
    name: str
    found: bool
    residual_px: float
    contrast: float = 0.0


class LocatedFrame(Record, frozen=True, kw_only=True):
    index: Positive
    corners: Quad
    angle_deg: float
    rotate: int
    mirror: bool
    polarity: Literal["negative", "positive"]
    process: Literal["colour", "monochrome"]
    blank: bool
    confidence: float
    state: Literal["ok", "review"]
    reasons: list[str]
    source: Literal["measured", "correction"]
    sides: list[Side] = msgspec.field(default_factory=list)
    keystone_deg: float = 0.0
    excluded: bool = False
    process_stated: bool = False


class LocatedMaster(Record, frozen=True, kw_only=True):
    path: Text
    width: Positive
    height: Positive
    ppi: float | None
    ppi_source: str | None
    kind: str = "auto"
    frames: list[LocatedFrame]
    base_regions: list[Quad] = msgspec.field(default_factory=list)
    object_corners: Quad | None = None
    labels: list[dict[str, Any]] = msgspec.field(default_factory=list)
    notes: list[str] = msgspec.field(default_factory=list)
    orientation: int = 1


class Geometry(Record, frozen=True, kw_only=True):
    item: Text
    masters: list[LocatedMaster]
    event: Event
