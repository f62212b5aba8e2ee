"""What intake is given of a batch."""

from __future__ import annotations

from typing import Any, Literal

import msgspec

from glassine.base import naming
from glassine.base.access import AccessSection
from glassine.base.model import BatchId
from glassine.base.numbers import Numbers
from glassine.base.persistent import ArkCheck
from glassine.base.records import Given

Way = Literal["name", "catalogue", "label", "separator"]


class SameNumber(Given, frozen=True, kw_only=True):
    """What makes no difference between two spellings of a number; see `base.numbers.Numbers`."""

    marks: str = ""
    leading_zeros: bool = False
    case: bool = False
    table: dict[str, str] = msgspec.field(default_factory=dict)

    def rules(self) -> Numbers:
        return Numbers(self.marks, self.leading_zeros, self.case, self.table)


class SeparatorSection(Given, frozen=True, kw_only=True):
    """picture: whether a separator's own picture is kept as a part of its item."""

    picture: Literal["keep", "leave_out"] = "keep"


class NamingSection(Given, frozen=True, kw_only=True):
    """pattern: of masters' names, regular expressions; see `naming.Scheme` for it, `pattern_of`,
    `item` and `parts`. identify: the ways that tell an item, the first that does holds."""

    pattern: str | tuple[str, ...]
    pattern_of: Literal["name", "path"] = "name"
    item: str | None = None
    parts: dict[str, str] = msgspec.field(default_factory=dict)
    same_number: SameNumber = SameNumber()
    identify: tuple[Way, ...] = ("name", "catalogue", "label")
    separators: SeparatorSection = SeparatorSection()

    def scheme(self) -> naming.Scheme:
        """Return how names tell items. Raises GlassineError where a pattern cannot be used."""
        return naming.compile_pattern(self.pattern, self.pattern_of, self.item, self.parts)


# What becomes of a picture of a master's name that is none.
Beside = Literal["hold", "note", "ignore", "deliver"]


class IntakeSection(Given, frozen=True, kw_only=True):
    """min_age_minutes: since the last change of a master at rest. watch_s: seconds between two
    looks at a file that may grow. max_pixels: of a master. ignore: globs over names and paths of
    files that are left out. previews, raws: beside a master, see `beside`. retakes: what becomes
    of a capture that was made again."""

    min_age_minutes: float
    watch_s: float
    max_pixels: int
    ignore: tuple[str, ...] = ()
    previews: Beside = "note"
    raws: Beside = "note"
    labels: Literal["when_needed", "never"]
    unlisted: Literal["hold", "review"]
    retakes: Literal["hold", "keep", "leave_out"] = "hold"


class RawSection(Given, frozen=True, kw_only=True):
    """light_names, dark_names: globs over stems of raw captures of the bare table and the dark.
    with_tiff: what a raw file with a TIFF of its stem is."""

    with_tiff: Literal["companion", "master"] = "companion"
    light_names: tuple[str, ...] = ()
    dark_names: tuple[str, ...] = ()


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
    film_column: str | None = None
    mapping: str | None = None


class IdentifiersSection(Given, frozen=True, kw_only=True):
    """ark_checked: see `base.persistent.read`."""

    ark_checked: dict[str, ArkCheck] = msgspec.field(default_factory=dict)


class CatalogueSettings(Given, frozen=True, kw_only=True):
    """rights: those of items whose rows state none (see `base.rights`)."""

    catalogue: CatalogueSection = CatalogueSection()
    identifiers: IdentifiersSection = IdentifiersSection()
    access: AccessSection = AccessSection()
    rights: dict[str, str] = msgspec.field(default_factory=dict)


class ToneSection(Given, frozen=True, kw_only=True):
    """film_stocks: films by name; intake looks at the names alone. stock_library: see `films`."""

    film_stocks: dict[str, Any] = msgspec.field(default_factory=dict)
    stock_library: str = "none"


class Settings(CatalogueSettings, frozen=True, kw_only=True):
    naming: NamingSection
    intake: IntakeSection
    tone: ToneSection = ToneSection()
    raw: RawSection = RawSection()


class IntakeGiven(Given, frozen=True, kw_only=True):
    batch: BatchId
    settings: Settings
