"""A column that no row of the catalogue has is told, as its name may be mistyped."""

from __future__ import annotations

import msgspec

from glassine import steps
from glassine.base.records.catalogue import CatalogueRow
from glassine.handover import columns, step
from glassine.handover.facts import ItemFacts


def told(names: list[str], extra: dict[str, str] | None) -> list[str]:
    given = steps.given(
        "handover",
        {
            "batch": "b1",
            "settings": {"handover": {"columns": ["item", *names]}, "iiif": {"base_url": ""}},
            "deliveries": "",
        },
    )
    row = {"item": "PEH-0001", "row": 2, "title": "Quay", "rights": {}, "extra": extra or {}}
    known = msgspec.convert(row, CatalogueRow) if extra is not None else None
    template = columns.template(given.settings.handover)
    item = step._Item(ItemFacts("b1", "PEH-0001", "done", row=known), [], "")
    return [finding.what for finding in step._unheld(given, template, [item])]


def test_a_mistyped_field_is_told_and_not_an_empty_column() -> None:
    (what,) = told(["catalogue.titel", "catalogue.Regal", "state"], {"Regal": "7"})
    assert "'titel'" in what and "Regal" not in what


def test_fields_and_columns_that_are_there_say_nothing() -> None:
    names = ["catalogue.title", "catalogue.date", "catalogue.rights_uri", "catalogue.Regal"]
    assert told(names, {"Regal": ""}) == []
    assert told(["catalogue.titel"], None) == []  # no catalogue: nobody knows
