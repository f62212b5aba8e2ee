"""What intake is given of a batch."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from glassine.base.model import BatchId
from glassine.base.records import Given


class NamingSection(Given, frozen=True, kw_only=True):
    """pattern: of masters' file names, a regular expression."""

    pattern: str


class IntakeSection(Given, frozen=True, kw_only=True):
    """min_age_minutes: since the last change of a master at rest. watch_s: seconds between two
    looks at a file that may grow. max_pixels: of a master."""

    min_age_minutes: float
    watch_s: float
    max_pixels: int
    labels: Literal["when_needed", "never"]
    unlisted: Literal["hold", "review"]


class CatalogueSection(Given, frozen=True, kw_only=True):
    """How the catalogue is read; see `catalogue` in config/README.md.

    separator: between the values of one cell, of all fields or {field: separator}. columns: {field:
    column or columns}. materials: {word of the catalogue: material}. languages:
    of dates beside English, none: any. day_first: in dates of figures alone, None: not known.
    sheet: of a spreadsheet, None: the only one with a header. mapping: a file of
    config/mappings by its name, or a path; None: by columns, and XML by the format that it is.
    """

    path: str | None = None
    required: bool = True
    encoding: str = "auto"
    delimiter: str = "auto"
    separator: str | dict[str, str] = "|"
    columns: dict[str, str | list[str] | None] = msgspec.field(default_factory=dict)
    ignored_columns: list[str] = msgspec.field(default_factory=list)
    materials: dict[str, str] = msgspec.field(default_factory=dict)
    item_identifier: str | None = None
    languages: list[str] = msgspec.field(default_factory=list)
    day_first: bool | None = None
    sheet: str | None = None
    mapping: str | None = None


class CatalogueSettings(Given, frozen=True, kw_only=True):
    """rights: those of items whose rows state none (see `base.rights`)."""

    catalogue: CatalogueSection = CatalogueSection()
    rights: dict[str, str] = msgspec.field(default_factory=dict)


class ToneSection(Given, frozen=True, kw_only=True):
    """film_stocks: films by name; intake looks at the names alone."""

    film_stocks: dict[str, Any] = msgspec.field(default_factory=dict)


class Settings(CatalogueSettings, frozen=True, kw_only=True):
    naming: NamingSection
    intake: IntakeSection
    tone: ToneSection = ToneSection()


class IntakeGiven(Given, frozen=True, kw_only=True):
    batch: BatchId
    settings: Settings
