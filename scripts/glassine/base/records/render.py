"""render.json: the pictures made of an item's frames, and the parameters that repeat them."""

from __future__ import annotations

from typing import Any, Literal

from msgspec import UNSET, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import Event, Positive, Sha256, Text


class Orientation(Record, frozen=True, kw_only=True):
    found: int
    rotate: int
    mirror: bool


class RenderedFile(Record, frozen=True, kw_only=True):
    use: Text
    name: Text
    width: Positive
    height: Positive
    bytes: Positive
    sha256: Sha256


class Tiles(Record, frozen=True, kw_only=True):
    path: str
    width: Positive
    height: Positive
    tile_px: Positive
    count: Positive
    bytes: Positive
    sha256: Sha256


class RenderedFrame(Record, frozen=True, kw_only=True):
    master: str
    part: str | None
    index: Positive
    label: str | None
    iiif_id: str
    width: Positive | None
    height: Positive | None
    ppi: float | None
    skipped: Literal["blank", "excluded"] | None
    orientation: Orientation | UnsetType = UNSET
    files: list[RenderedFile]
    alternates: list[RenderedFile] | UnsetType = UNSET
    tiles: Tiles | None
    tone: dict[str, Any] | None


class Rendering(Record, frozen=True, kw_only=True):
    item: str
    event: Event
    frames: list[RenderedFrame]
