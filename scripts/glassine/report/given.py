"""What the report is given of a batch."""

from __future__ import annotations

import msgspec

from glassine.base.access import ListedAccess
from glassine.base.model import BatchId, ItemId
from glassine.base.records import Given
from glassine.base.records.given import Institution
from glassine.deliver.given import DeliverySection
from glassine.intake.given import CatalogueSettings, SameNumber


class ReportSection(Given, frozen=True, kw_only=True):
    """viewer: the zoom viewer's script, relative to the project; None for the place where npm
    installs it. time_zone: of the studio, by its IANA name; None for UTC alone."""

    viewer: str | None = None
    time_zone: str | None = None


class IiifSection(Given, frozen=True, kw_only=True):
    """base_url: of the collection."""

    base_url: str = ""


class NamingSection(Given, frozen=True, kw_only=True):
    """same_number: how numbers of the catalogue and of names are the same."""

    same_number: SameNumber = SameNumber()


class Settings(CatalogueSettings, frozen=True, kw_only=True):
    naming: NamingSection = NamingSection()
    report: ReportSection = ReportSection()
    iiif: IiifSection = IiifSection()
    delivery: DeliverySection = DeliverySection()


class ReportGiven(Given, frozen=True, kw_only=True):
    """deliveries: their folder, empty for a report that says nothing of them. masters: the
    batch folder, for the catalogue and the corrections that stand; None for what intake read of
    them. rules_unused: rules of the settings that hold for none of its items, in words. access:
    the items that not all may see, or that were opened lately. kept: items that stay as they
    were delivered though newer software would make them otherwise (`delivery.on_new_version`)."""

    batch: BatchId
    settings: Settings
    institution: Institution = msgspec.field(default_factory=Institution)
    deliveries: str = ""
    masters: str | None = None
    rules_unused: tuple[str, ...] = ()
    access: tuple[ListedAccess, ...] = ()
    kept: tuple[ItemId, ...] = ()
