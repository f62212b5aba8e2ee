"""Words that records share with others: vocabularies of the Library of Congress, PREMIS, MIX.

A term has the vocabulary's URI only where its code is known for certain; every other term is
marked as a local one.
"""

from __future__ import annotations

from glassine.base.markup import Element, add

EVENT_TYPES = "http://id.loc.gov/vocabulary/preservation/eventType"
# Codes as the Library of Congress publishes them and other data models repeat them.
_EVENT_CODES = {
    "capture": "cap",
    "compression": "com",
    "creation": "cre",
    "deletion": "del",
    "fixity check": "fix",
    "ingestion": "ing",
    "message digest calculation": "mes",
    "migration": "mig",
    "normalization": "nor",
    "replication": "rep",
    "validation": "val",
    "virus check": "vir",
}
# What the steps call their events, where the vocabulary has a word for it.
_SAME_AS = {"derivation": "creation"}
LOCAL = "local"

# PREMIS 3.0 names relationships so (Data Dictionary 3.0, 1.13.1 and 1.13.2).
STRUCTURAL, DERIVATION = "structural", "derivation"

PRONOM = "PRONOM"
_PRONOM_URI = "http://www.nationalarchives.gov.uk/PRONOM/"

# MIX 2.0 orientation by the value of the TIFF tag Orientation (TIFF 6.0, page 36). The first has
# an asterisk in the schema.
ORIENTATIONS = {
    1: "normal*",
    2: "normal, image flipped",
    3: "normal, rotated 180°",
    4: "normal, image flipped, rotated 180°",
    5: "normal, image flipped, rotated cw 90°",
    6: "normal, rotated ccw 90°",
    7: "normal, image flipped, rotated ccw 90°",
    8: "normal, rotated cw 90°",
}
DIGEST_NAMES = {"sha256": "SHA-256", "sha512": "SHA-512", "md5": "MD5", "sha1": "SHA-1"}

# What lies on the light table, for MIX sourceType and MODS form.
MATERIAL_FORMS = {
    "nitrate": "cellulose nitrate film",
    "acetate": "cellulose acetate film",
    "polyester": "polyester film",
    "glass": "glass",
    "paper": "paper",
}


def event_type(parent: Element, kind: str) -> None:
    """Add premis:eventType with its URI, or marked as a local term."""
    known = _SAME_AS.get(kind, kind)
    code = _EVENT_CODES.get(known)
    if code is None:
        add(parent, "premis:eventType", known, authority=LOCAL)
        return
    add(
        parent,
        "premis:eventType",
        known,
        authority="eventType",
        authorityURI=EVENT_TYPES,
        valueURI=f"{EVENT_TYPES}/{code}",
    )


ACTIONS = "http://id.loc.gov/vocabulary/preservation/actionsGranted"
# Of the vocabulary "actions granted" of the Library of Congress (value from memory).
_ACTION_CODES = {"disseminate": "dis"}


def action(parent: Element, name: str) -> None:
    """Add premis:act with its URI."""
    uri = f"{ACTIONS}/{_ACTION_CODES[name]}"
    add(parent, "premis:act", name, authority="actionsGranted", authorityURI=ACTIONS, valueURI=uri)


def format_registry(parent: Element, puid: str | None) -> None:
    """Add premis:formatRegistry with the PRONOM identifier, where there is one."""
    if not puid:
        return
    registry = add(parent, "premis:formatRegistry")
    add(registry, "premis:formatRegistryName", PRONOM)
    add(registry, "premis:formatRegistryKey", puid, valueURI=_PRONOM_URI + puid)
    add(registry, "premis:formatRegistryRole", "specification")


# What stands before an access condition that is no statement and no note; the reader of catalogue
# extracts knows them again (`catalogue_mods`).
RIGHTS_LABELS = {"status": "Copyright status", "holder": "Rights holder", "credit": "Credit line"}
# How MODS calls a condition that says who may see an item.
RESTRICTION = "restriction on access"
