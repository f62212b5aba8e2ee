"""What the look is given of an item."""

from __future__ import annotations

from glassine.base.model import Facts
from glassine.base.records import Given
from glassine.base.records.given import StatedMaster
from glassine.render.given import ToneSection


class Settings(Given, frozen=True, kw_only=True):
    tone: ToneSection


class LookGiven(Given, frozen=True, kw_only=True):
    """facts: of the item, where its masters carry none. pools: whether its negatives may share a
    film with other masters, which may come later; else there is nothing to keep."""

    item: str
    masters: tuple[StatedMaster, ...]
    settings: Settings
    facts: Facts | None = None
    pools: bool = False
