"""Dublin Core of an item: the fifteen elements, with a few terms that say more exactly."""

from __future__ import annotations

from glassine.base import rights
from glassine.base.access import OPEN, Access
from glassine.base.markup import Element, add_known, element
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.vocabulary import MATERIAL_FORMS


def build(
    row: CatalogueRow,
    item_rights: rights.Rights,
    item: str,
    keeper: str,
    access: Access = OPEN,
) -> list[Element]:
    """Return the elements in their order; they stand side by side in the METS wrapper.

    item_rights: as resolved; keeper: the institution's name; access: who may see the item.
    """
    holder = element("mets:xmlData")
    status = "" if item_rights.status == rights.UNKNOWN else item_rights.status
    rows: list[tuple[str, str | None]] = [
        ("dc:title", row.title or item),
        ("dcterms:alternative", row.alternative),
        *(("dc:creator", creator.name) for creator in row.creators),
        *(("dc:subject", subject.term) for subject in row.subjects),
        *(("dc:subject", person.name) for person in row.people or ()),
        ("dc:description", row.description),
        ("dc:publisher", keeper),
        ("dc:date", row.date_text),
        ("dcterms:created", row.edtf),
        ("dc:type", "StillImage"),
        ("dc:type", row.genre),
        ("dc:format", row.physical),
        ("dcterms:extent", row.extent or None),
        ("dcterms:extent", row.dimensions or None),
        ("dcterms:medium", MATERIAL_FORMS.get(row.material)),
        ("dc:identifier", item),
        *(("dc:identifier", identifier.value) for identifier in row.identifiers),
        *(("dc:language", language) for language in row.languages),
        ("dcterms:isPartOf", row.collection),
        *(("dcterms:spatial", place.name) for place in row.places),
        ("dc:rights", item_rights.uri or status),
        ("dc:rights", item_rights.note),
        ("dcterms:rightsHolder", item_rights.holder),
        ("dcterms:accessRights", access.sentence_if_restricted()),
    ]
    for tag, text in rows:
        add_known(holder, tag, text)
    return list(holder)
