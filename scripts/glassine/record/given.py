"""What record is given of an item."""

from __future__ import annotations

from typing import Literal

import msgspec

from glassine.base import rights
from glassine.base.access import OPEN, Access
from glassine.base.model import BatchId, ItemId
from glassine.base.persistent import Scheme
from glassine.base.raw_keep import BOTH, Keep
from glassine.base.records import Given
from glassine.base.records.catalogue import NO_ROW, CatalogueRow
from glassine.base.records.corrections import Correction
from glassine.base.records.given import Institution, RightsSection
from glassine.base.records.intake import Identified, LeftOut


class MasterFacts(Given, frozen=True, kw_only=True):
    """operator: role id of who captured the master, where batch.yaml states it."""

    operator: str | None = None


class Master(Given, frozen=True, kw_only=True):
    """path: relative to the batch folder. sequence: of the master in its item. identified: what
    told the item. superseded_by: path of the capture that counts in its place. raw: path of the raw
    file that it was developed from, None where it was not."""

    path: str
    sequence: str | None = None
    identified: Identified | None = None
    superseded_by: str | None = None
    raw: str | None = None
    facts: MasterFacts = msgspec.field(default_factory=MasterFacts)


class NamedTarget(Given, frozen=True, kw_only=True):
    """A capture of a target that batch.yaml names."""


class BatchFacts(Given, frozen=True, kw_only=True):
    targets: tuple[NamedTarget, ...] = ()


class RecordsSection(Given, frozen=True, kw_only=True):
    """schema_dir: folder with the official XSDs. camera_sensor: a word of MIX 2.0. objid: what
    names the item in its METS, its number or an identifier of a kind. film_names: what the studio
    calls kinds of film, by the numbers in their margins; notch_names: of sheets, by the shapes of
    their notches."""

    schema_dir: str | None = None
    camera_sensor: str = "undefined"
    objid: Literal["item"] | Scheme = "item"
    film_names: dict[str, str] = msgspec.field(default_factory=dict)
    notch_names: dict[str, str] = msgspec.field(default_factory=dict)


class IiifSection(Given, frozen=True, kw_only=True):
    """base_url: where tiles, manifests and item folders are served. image_api: of the tiles."""

    base_url: str = ""
    image_api: Literal["3", "2"] = "3"

    @property
    def address(self) -> str:
        return self.base_url.rstrip("/")


class Settings(Given, frozen=True, kw_only=True):
    records: RecordsSection = msgspec.field(default_factory=RecordsSection)
    rights: RightsSection = msgspec.field(default_factory=RightsSection)
    iiif: IiifSection


class RecordGiven(Given, frozen=True, kw_only=True):
    """catalogue: None where no row was found. corrections: None where nobody decided anything.
    roll, place: the roll that the item is a part of, and where on it. left_out: files of the item
    that are no masters of it, by the settings. access: who may see the item. keep: what the package
    holds of raw captures."""

    batch: BatchId
    item: ItemId
    masters: tuple[Master, ...]
    batch_facts: BatchFacts = msgspec.field(default_factory=BatchFacts)
    catalogue: CatalogueRow | None = None
    corrections: Correction | None = None
    roll: str | None = None
    place: str | None = None
    left_out: tuple[LeftOut, ...] | None = None
    access: Access = OPEN
    keep: Keep = BOTH
    institution: Institution
    settings: Settings

    @property
    def row(self) -> CatalogueRow:
        """Return the catalogue's row; an empty one, of no item, where none was found."""
        return self.catalogue or NO_ROW

    @property
    def rights(self) -> rights.Rights:
        """Return the item's rights; what the catalogue leaves open comes from the settings."""
        row_rights = msgspec.structs.asdict(self.catalogue.rights) if self.catalogue else None
        return rights.resolved(row_rights, self.settings.rights.as_row())
