"""One record of Dublin Core elements and terms as cells of a catalogue row."""

from __future__ import annotations

import re

from glassine.base import edtf, rights
from glassine.base.vocabulary import MATERIAL_FORMS
from glassine.intake.catalogue.mods import one_or_all
from glassine.intake.catalogue.xml import Cells, Reading
from glassine.intake.given import CatalogueSection

_RESOURCE = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}resource"
_STATUS_WORDS = {"public domain", "copyrighted", "in copyright"}


def cells(record: Reading, section: CatalogueSection) -> Cells:
    """Return the cells of a Dublin Core record, unread parts under their paths.

    The fifteen elements count in either namespace (DCMI Metadata Terms, section 1). dc:date and
    dcterms:created are when the photograph was taken; issued, copyrighted and the like stay unread.
    """
    identifiers = _identifiers(record)
    cell_values: Cells = {
        "item_id": identifiers[0] if identifiers else "",
        "title": record.first(_both("title")),
        "alternative": record.first("dcterms:alternative"),
        "description": record.blocks(f"{_both('description')} | dcterms:abstract"),
        **_dated(record),
        "creator": [{"name": name} for name in record.texts(_both("creator"))],
        "subjects": [{"term": term} for term in record.texts(_both("subject"))],
        "places": [
            {"name": name} for name in record.texts(f"dcterms:spatial | {_both('coverage')}")
        ],
        "languages": record.texts(_both("language")),
        "genre": _genre(record),
        "physical": record.first(f"{_both('format')} | dcterms:extent"),
        "material": _material(record, section),
        **_rights(record),
        "rights_holder": record.first("dcterms:rightsHolder"),
        "identifiers": [{"type": "local", "value": value} for value in identifiers[1:]],
        "collection": record.first("dcterms:isPartOf"),
    }
    return cell_values | record.beside(cell_values)


def by_helper(record: Reading, section: CatalogueSection, item: str) -> Cells:
    """Return what paths of a mapping table cannot say: the item number where the mapping does not
    (item: as it does) with the other identifiers, dates, genre, material and rights."""
    identifiers = _identifiers(record)
    own = item or next(iter(identifiers), "")
    return {
        "item_id": own,
        "identifiers": [{"type": "local", "value": each} for each in identifiers if each != own],
        **_dated(record),
        "genre": _genre(record),
        "material": _material(record, section),
        **_rights(record),
    }


def number(record: Reading) -> str:
    """Return the item number: the first identifier."""
    return next(iter(_identifiers(record)), "")


def _identifiers(record: Reading) -> list[str]:
    return record.texts(_both("identifier"))


def _both(name: str) -> str:
    return f"dc:{name} | dcterms:{name}"


def _genre(record: Reading) -> str:
    for element in record.all(_both("type")):
        if record.peek(element) == "StillImage":
            record.text(element)
    listed = [element for element in record.all(_both("type")) if not record.is_used(element)]
    return record.text(listed[0]) if listed else ""


def _material(record: Reading, section: CatalogueSection) -> str:
    words = {word.casefold(): word for word in section.materials}
    words |= {form: material for material, form in MATERIAL_FORMS.items()}
    words |= {material: material for material in MATERIAL_FORMS}
    for medium in record.all("dcterms:medium"):
        stated_material = words.get(record.peek(medium).casefold())
        if stated_material:
            record.text(medium)
            return str(stated_material)
    return ""


def _dated(record: Reading) -> Cells:
    """Return words and EDTF: of dcterms:created where that is one, of dc:date where it is not."""
    words = record.first("dc:date")
    created = [element for element in record.all("dcterms:created") if record.peek(element)]
    for element in created[:1]:
        if edtf.is_valid(record.peek(element)):
            return {"date": words, "date_edtf": record.text(element)}
        if not words:
            return {"date": record.text(element), "date_edtf": ""}
    return {"date": words or record.first("dcterms:date"), "date_edtf": ""}


def _rights(record: Reading) -> Cells:
    values_of: dict[str, list[str]] = {}
    for element in record.all(f"{_both('rights')} | dcterms:license | edm:rights"):
        text = record.block(element) or record.attribute(element, _RESOURCE)
        if not text:
            continue
        name = "rights_note"
        if rights.statement(text) or re.match("https?://", text):
            name = "rights_uri"
        elif " ".join(text.casefold().split()) in _STATUS_WORDS:
            name = "copyright_status"
        values_of.setdefault(name, []).append(text)
    return {name: one_or_all(name, values) for name, values in values_of.items()}
