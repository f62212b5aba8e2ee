"""What locate is given of an item."""

from __future__ import annotations

from typing import Any

import msgspec

from glassine.base.model import Facts
from glassine.base.records import Given
from glassine.base.records.given import StatedMaster


class Settings(Given, frozen=True, kw_only=True):
    """locate: the section as it stands, since geometry.json keeps it whole."""

    locate: dict[str, Any] = msgspec.field(default_factory=dict)


class LocateGiven(Given, frozen=True, kw_only=True):
    """facts: of the item, where its masters carry none. corrections: the item's entry of
    corrections.yaml. size_mm: shorter and longer side of the film as the catalogue states it, a
    hint. version: of the step."""

    item: str
    masters: tuple[StatedMaster, ...]
    settings: Settings = Settings()
    facts: Facts | None = None
    corrections: dict[str, Any] | None = None
    size_mm: tuple[float, float] | None = None
    version: str = ""
