"""What verify is given of an item."""

from __future__ import annotations

from typing import Literal

from glassine.base.errors import Finding
from glassine.base.records import Given
from glassine.base.records.given import Master


class IntakeSection(Given, frozen=True, kw_only=True):
    """max_pixels: of a master."""

    max_pixels: int


class VerifySection(Given, frozen=True, kw_only=True):
    """require_manifest: whether a checksum list must name each master."""

    require_manifest: bool


class RawSection(Given, frozen=True, kw_only=True):
    """lossy: what becomes of raw files that were compressed with loss."""

    lossy: Literal["note", "hold"] = "note"


class Settings(Given, frozen=True, kw_only=True):
    intake: IntakeSection
    verify: VerifySection
    raw: RawSection = RawSection()


class VerifyGiven(Given, frozen=True, kw_only=True):
    """findings: what intake found wrong with the item, which holds it."""

    item: str
    masters: tuple[Master, ...]
    settings: Settings
    findings: tuple[Finding, ...] = ()
