"""What embed is given of an item."""

from __future__ import annotations

from typing import Any

import msgspec

from glassine.base import master_rules
from glassine.base.access import OPEN, Access
from glassine.base.master_rules import MasterRule
from glassine.base.model import Facts
from glassine.base.records import Given
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.given import Institution, StatedMaster


class EmbedSection(Given, frozen=True, kw_only=True):
    """iim: whether IPTC-IIM is written too."""

    iim: bool = True


class EmbedGiven(Given, frozen=True, kw_only=True):
    """catalogue, institution, settings: as they stand, since embedded.json keeps them whole.

    facts: of the item, where its masters carry none. software: as the files name it, None for this.
    access: who may see the item.
    """

    item: str
    masters: tuple[StatedMaster, ...]
    settings: dict[str, Any]
    facts: Facts | None = None
    catalogue: dict[str, Any] | None = None
    institution: dict[str, Any] | None = None
    software: str | None = None
    access: Access = OPEN

    def catalogue_row(self) -> CatalogueRow | None:
        """Return the row, None where the catalogue has none. Raises msgspec.ValidationError."""
        return msgspec.convert(self.catalogue, CatalogueRow) if self.catalogue else None

    def institution_details(self) -> Institution:
        """Raises msgspec.ValidationError."""
        return msgspec.convert(self.institution or {}, Institution)

    def rights(self) -> dict[str, Any]:
        """Return the settings `rights`: what holds where the catalogue leaves it open."""
        rights: dict[str, Any] = self.settings.get("rights", {})
        return rights

    def with_iim(self, kind: str, part: str | None) -> bool:
        """Return whether the pictures of a master get IPTC-IIM. Raises msgspec.ValidationError."""
        rules = msgspec.convert(self.settings.get("rules", ()), tuple[MasterRule, ...])
        stated = self.settings.get("embed", {}) | master_rules.keys(rules, "embed", kind, part)
        return msgspec.convert(stated, EmbedSection).iim

    def settings_recorded(self) -> dict[str, Any]:
        """Return the sections that repeat the files."""
        recorded = {name: self.settings.get(name, {}) for name in ("embed", "rights")}
        if self.settings.get("rules"):
            recorded["rules"] = self.settings["rules"]
        return recorded
