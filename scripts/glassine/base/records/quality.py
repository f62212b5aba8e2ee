"""quality.json: the measures of an item's frames."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import Event, Positive, Text

Verdict = Literal["pass", "not measured", "review", "fail"]


class Measure(Record, frozen=True):
    """One quality measure of a frame.

    limit: as text with its unit ("<= 0.5"), or None where nothing is demanded.
    source: the standard or document (with section) that the limit comes from. verdict: "not
    measured" where there is a limit and the frame did not show what it is about (value None).
    """

    name: Annotated[str, Meta(pattern="^[a-z][a-z0-9_]*$")]
    value: float | int | str | bool | None
    unit: str
    limit: str | None
    verdict: Verdict
    source: str


class BaseLight(Record, frozen=True):
    """Light that comes through pieces of a master's film base. width, height: of the master, px;
    pieces: (x, y, level), places as shares of them, level as log10 of the light."""

    width: Positive
    height: Positive
    pieces: list[tuple[float, float, float]]


class MeasuredFrame(Record, frozen=True, kw_only=True):
    """A frame of a master; verdict: the worst of its measures ("not measured" is worse than
    "pass" alone). base_light: of its master, with the first frame of it that is measured."""

    master: Text
    index: Positive
    measures: list[Measure]
    verdict: Verdict
    base_light: BaseLight | UnsetType = UNSET


class Quality(Record, frozen=True, kw_only=True):
    """quality.json of an item."""

    item: Text
    event: Event
    frames: list[MeasuredFrame]
