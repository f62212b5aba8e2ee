"""MODS 3.8 of an item, from its catalogue record."""

from __future__ import annotations

from typing import Any

from glassine.base import rights
from glassine.base.markup import Element, add, add_known, element
from glassine.base.vocabulary import MATERIAL_FORMS, RIGHTS_LABELS

VERSION = "3.8"


def build(record: dict[str, Any], item: str, institution: dict[str, Any]) -> Element:
    """Return mods:mods. record: as schemas/catalogue.schema.json describes; rights always."""
    root = element("mods:mods", version=VERSION)
    _titles(root, record, item)
    for creator in record.get("creators") or ():
        _name(root, creator)
    add(root, "mods:typeOfResource", "still image")
    add_known(root, "mods:genre", record.get("genre"))
    _dates(root, record)
    for language in record.get("languages") or ():
        authority = "iso639-2b" if len(language) == 3 else "rfc5646"
        holder = add(root, "mods:language")
        add(holder, "mods:languageTerm", language, type="code", authority=authority)
    _physical(root, record)
    add_known(root, "mods:abstract", record.get("description"))
    _subjects(root, record)
    if record.get("collection"):
        host = add(root, "mods:relatedItem", type="host")
        add(add(host, "mods:titleInfo"), "mods:title", record["collection"])
    add(root, "mods:identifier", item, type="local")
    for identifier in record.get("identifiers") or ():
        add(root, "mods:identifier", identifier["value"], type=identifier["type"])
    if institution.get("name"):
        add(add(root, "mods:location"), "mods:physicalLocation", institution["name"])
    _access(root, rights.resolved(record.get("rights"), None))
    _origin(root, record, item)
    return root


def _titles(root: Element, record: dict[str, Any], item: str) -> None:
    add(add(root, "mods:titleInfo"), "mods:title", record.get("title") or item)
    if record.get("alternative"):
        other = add(root, "mods:titleInfo", type="alternative")
        add(other, "mods:title", record["alternative"])


def _name(root: Element, creator: dict[str, str]) -> None:
    name = add(root, "mods:name", valueURI=creator.get("uri"))
    add(name, "mods:namePart", creator["name"])
    role = creator.get("role")
    if role:
        # MARC relator codes have three letters ("pht"); no word for a role has.
        is_code = len(role) == 3 and role.isascii() and role.islower() and role.isalpha()
        kind, authority = ("code", "marcrelator") if is_code else ("text", None)
        add(add(name, "mods:role"), "mods:roleTerm", role, type=kind, authority=authority)


def _dates(root: Element, record: dict[str, Any]) -> None:
    if not record.get("date_text") and not record.get("edtf"):
        return
    origin = add(root, "mods:originInfo")
    add_known(origin, "mods:dateCreated", record.get("date_text"))
    if record.get("edtf"):
        add(origin, "mods:dateCreated", record["edtf"], encoding="edtf", keyDate="yes")


def _physical(root: Element, record: dict[str, Any]) -> None:
    holder = add(root, "mods:physicalDescription")
    add_known(
        holder, "mods:form", MATERIAL_FORMS.get(record.get("material") or ""), type="material"
    )
    add(holder, "mods:digitalOrigin", "digitized other analog")
    add_known(holder, "mods:extent", record.get("physical"))
    if record.get("decay_level") is not None:
        add(holder, "mods:note", f"decay level {record['decay_level']} of 6", type="condition")


def _subjects(root: Element, record: dict[str, Any]) -> None:
    for subject in record.get("subjects") or ():
        holder = add(
            root,
            "mods:subject",
            authority=subject.get("authority"),
            valueURI=subject.get("uri"),
        )
        add(holder, "mods:topic", subject["term"])
    for place in record.get("places") or ():
        holder = add(root, "mods:subject")
        add(holder, "mods:geographic", place["name"], valueURI=place.get("uri"))


def _access(root: Element, stated: rights.Rights) -> None:
    """Say what may be done: the statement; without one, the status in words."""
    kind = "use and reproduction"
    if stated.uri:
        text = stated.name or stated.uri
        add(root, "mods:accessCondition", text, type=kind, xlink__href=stated.uri)
    elif stated.status != rights.UNKNOWN:
        label = RIGHTS_LABELS["status"]
        add(root, "mods:accessCondition", stated.status, type=kind, displayLabel=label)
    add_known(root, "mods:accessCondition", stated.note, type=kind)
    for name in ("holder", "credit"):
        text = getattr(stated, name)
        add_known(root, "mods:accessCondition", text, type=kind, displayLabel=RIGHTS_LABELS[name])


def _origin(root: Element, record: dict[str, Any], item: str) -> None:
    info = add(root, "mods:recordInfo")
    add(info, "mods:recordIdentifier", item)
    told = "mapped from the catalogue extract"
    if not record.get("item"):
        told = "no catalogue row was found"
    elif not record.get("date_understood", True):
        told += "; the date as written was not understood"
    add(info, "mods:recordOrigin", told)
