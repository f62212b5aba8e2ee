"""What a handover is given of a batch."""

from __future__ import annotations

from typing import Literal

from glassine.base.model import BatchId
from glassine.base.records import Given

Format = Literal["csv", "xlsx"]
Snippet = Literal["ead", "mods", "lido"]


class Column(Given, frozen=True, kw_only=True):
    """A column of the template: its name in the files, and the value that stands in it."""

    column: str
    value: str


class HandoverSection(Given, frozen=True, kw_only=True):
    """formats: beside the JSON document, which is always made. rows: of the files, one an item
    or one a frame. separator: between values of one cell.
    snippets: of records for the system that they are named after. send: whether
    `report.notify.webhook` gets what is handed over."""

    formats: tuple[Format, ...] = ("csv",)
    rows: Literal["item", "frame"] = "item"
    columns: tuple[str | Column, ...] = ()
    separator: str = " | "
    snippets: tuple[Snippet, ...] = ()
    send: bool = False


class IiifSection(Given, frozen=True, kw_only=True):
    base_url: str = ""


class IdentifiersSection(Given, frozen=True, kw_only=True):
    ark_resolver: str = ""


class Settings(Given, frozen=True, kw_only=True):
    handover: HandoverSection = HandoverSection()
    iiif: IiifSection = IiifSection()
    identifiers: IdentifiersSection = IdentifiersSection()


class HandoverGiven(Given, frozen=True, kw_only=True):
    """deliveries: their folder."""

    batch: BatchId
    settings: Settings
    deliveries: str = ""
