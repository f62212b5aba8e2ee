"""What the published tree is given: each item of the batches that are here, and how it stands."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from glassine.base.access import Public
from glassine.base.item_states import State
from glassine.base.records.given import Institution


@dataclass(frozen=True)
class Candidate:
    """An item of a batch, as it stands today.

    folder: of its results. state: `pending` also where a step is due. public: which of its pictures
    may be public today; why_closed: in words, where not all may. title, date, place: as the
    catalogue says.
    """

    batch: str
    item: str
    folder: Path
    state: State
    public: Public
    why_closed: str = ""
    title: str = ""
    date: str = ""
    place: str = ""


@dataclass(frozen=True)
class Site:
    """base_url: `iiif.base_url` of the settings, whole. with_review: whether items for review are
    published too. batches: that are here, {name: their IIIF collection as the report made it}."""

    base_url: str
    institution: Institution
    batches: dict[str, dict[str, Any] | None]
    with_review: bool = False

    @property
    def base(self) -> str:
        return self.base_url.rstrip("/")
