"""Dublin Core of an item: the fifteen elements, with a few terms that say more exactly."""

from __future__ import annotations

from typing import Any

from glassine.base import rights
from glassine.base.markup import Element, add_known, element
from glassine.base.vocabulary import MATERIAL_FORMS


def build(record: dict[str, Any], item: str, institution: dict[str, Any]) -> list[Element]:
    """Return the elements in their order; they stand side by side in the METS wrapper."""
    holder = element("mets:xmlData")
    stated = rights.resolved(record.get("rights"), None)
    status = "" if stated.status == rights.UNKNOWN else stated.status
    rows: list[tuple[str, Any]] = [
        ("dc:title", record.get("title") or item),
        ("dcterms:alternative", record.get("alternative")),
        *(("dc:creator", creator["name"]) for creator in record.get("creators") or ()),
        *(("dc:subject", subject["term"]) for subject in record.get("subjects") or ()),
        ("dc:description", record.get("description")),
        ("dc:publisher", institution.get("name")),
        ("dc:date", record.get("date_text")),
        ("dcterms:created", record.get("edtf")),
        ("dc:type", "StillImage"),
        ("dc:type", record.get("genre")),
        ("dc:format", record.get("physical")),
        ("dcterms:medium", MATERIAL_FORMS.get(record.get("material") or "")),
        ("dc:identifier", item),
        *(("dc:identifier", entry["value"]) for entry in record.get("identifiers") or ()),
        *(("dc:language", language) for language in record.get("languages") or ()),
        ("dcterms:isPartOf", record.get("collection")),
        *(("dcterms:spatial", place["name"]) for place in record.get("places") or ()),
        ("dc:rights", stated.uri or status),
        ("dc:rights", stated.note),
        ("dcterms:rightsHolder", stated.holder),
    ]
    for tag, text in rows:
        add_known(holder, tag, text)
    return list(holder)
