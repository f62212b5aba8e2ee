"""What is handed over as parts of records, in the forms that collections systems take in.

Each is a whole document, valid by its schema, with one record an item; what a system takes over of
it is the part that leads to the pictures: `dao` of EAD3 (within `did`), `location` of MODS 3.8,
`resourceWrap` of LIDO 1.1. Items without addresses are left out.
"""

from __future__ import annotations

from typing import Any

from lxml import etree

from glassine.base.markup import MODS, XSI, clean
from glassine.handover.facts import FrameFacts, ItemFacts
from glassine.handover.given import Snippet

EAD = "http://ead3.archivists.org/schema/"
LIDO = "http://www.lido-schema.org"
_XML = "http://www.w3.org/XML/1998/namespace"
NAMES: dict[Snippet, str] = {
    "ead": "ead-dao.xml",
    "mods": "mods-location.xml",
    "lido": "lido-resource.xml",
}
Element = Any


def document(kind: Snippet, items: list[ItemFacts], title: str, time: str) -> bytes | None:
    """Return the document of a kind, None where no item has addresses: an empty one is not valid.

    title: of the handover; time: when it is made (ISO 8601)."""
    shown = [item for item in items if item.manifest_url or _pictures(item)]
    if not shown:
        return None
    build = {"ead": _ead, "mods": _mods, "lido": _lido}[kind]
    root = build(shown, title, time)
    etree.indent(root, " ")
    content: bytes = etree.tostring(root, encoding="utf-8", xml_declaration=True)
    return content + b"\n"


def _default(space: str) -> Any:
    """Return the map of a default namespace, which lxml's types do not know."""
    return {None: space}


def _pictures(item: ItemFacts) -> list[FrameFacts]:
    return [frame for frame in item.frames if frame.access_url or frame.image_url]


def _number(item: ItemFacts) -> str:
    """Return the item's number as the catalogue writes it."""
    return item.row.item if item.row and item.row.item else item.item


def _title(item: ItemFacts) -> str:
    return item.row.title if item.row and item.row.title else item.item


def _add(parent: Element, tag: str, text: str | None = None, **attributes: str) -> Element:
    space = etree.QName(parent).namespace
    prefixed = {
        f"{{{space}}}{name[6:]}" if name.startswith("lido__") else name: clean(value)
        for name, value in attributes.items()
        if value
    }
    child = etree.SubElement(parent, f"{{{space}}}{tag}", prefixed)
    child.text = clean(text) if text is not None else None
    return child


# --- EAD3 ---


def _ead(items: list[ItemFacts], title: str, time: str) -> Element:
    root = etree.Element(f"{{{EAD}}}ead", nsmap=_default(EAD))
    control = _add(root, "control")
    _add(control, "recordid", clean(title))
    _add(_add(_add(control, "filedesc"), "titlestmt"), "titleproper", title)
    _add(control, "maintenancestatus", value="new")
    _add(_add(control, "maintenanceagency"), "agencyname", "Glassine")
    event = _add(_add(control, "maintenancehistory"), "maintenanceevent")
    _add(event, "eventtype", value="created")
    _add(event, "eventdatetime", time, standarddatetime=time)
    _add(event, "agenttype", value="machine")
    _add(event, "agent", "Glassine")
    description = _add(root, "archdesc", level="collection")
    did = _add(description, "did")
    _add(did, "unittitle", title)
    components = _add(description, "dsc")
    for item in items:
        inner = _add(_add(components, "c", level="item"), "did")
        _add(inner, "unitid", _number(item))
        _add(inner, "unittitle", _title(item))
        _daos(inner, item)
    return root


def _daos(did: Element, item: ItemFacts) -> None:
    shown = {"show": "new", "actuate": "onrequest"}
    parts: list[dict[str, str]] = []
    if item.manifest_url:
        parts.append({"href": item.manifest_url, "linkrole": "application/ld+json", **shown})
    parts += [
        {
            "href": frame.access_url,
            "linkrole": "image/jpeg",
            "linktitle": frame.label,
            **shown,
        }
        for frame in item.frames
        if frame.access_url
    ]
    holder = _add(did, "daoset", label="pictures") if len(parts) > 1 else did
    for part in parts:
        _add(holder, "dao", daotype="derived", **part)


# --- MODS ---


def _mods(items: list[ItemFacts], title: str, time: str) -> Element:
    root = etree.Element(f"{{{MODS}}}modsCollection", nsmap=_default(MODS))
    for item in items:
        record = _add(root, "mods", version="3.8")
        _add(_add(record, "titleInfo"), "title", _title(item))
        _add(record, "identifier", _number(item), type="local")
        for each in item.persistent:
            _add(record, "identifier", each.value, type=each.scheme)
        location = _add(record, "location")
        if item.manifest_url:
            _add(
                location,
                "url",
                item.manifest_url,
                usage="primary display",
                access="object in context",
                note="IIIF Presentation 3.0 manifest",
            )
        for frame in item.frames:
            label = frame.label if len(item.frames) > 1 else ""
            for access, address in (
                ("raw object", frame.access_url),
                ("preview", frame.thumbnail_url),
            ):
                if address:
                    _add(location, "url", address, access=access, displayLabel=label)
        _add(_add(record, "recordInfo"), "recordIdentifier", item.item)
    return root


# --- LIDO ---


def _lido(items: list[ItemFacts], title: str, time: str) -> Element:
    root = etree.Element(f"{{{LIDO}}}lidoWrap", nsmap={"lido": LIDO, "xsi": XSI})
    for item in items:
        record = _add(root, "lido")
        _add(record, "lidoRecID", item.item, lido__type="local")
        for each in item.persistent:
            address = each.address() or each.value
            _add(record, "objectPublishedID", address, lido__type="URI")
        _lido_description(record, item)
        _lido_administration(record, item)
    return root


def _lido_description(record: Element, item: ItemFacts) -> None:
    holder = _add(record, "descriptiveMetadata")
    holder.set(f"{{{_XML}}}lang", "en")
    types = _add(_add(holder, "objectClassificationWrap"), "objectWorkTypeWrap")
    kind = item.row.genre if item.row and item.row.genre else "photograph"
    _add(_add(types, "objectWorkType"), "term", kind)
    identity = _add(holder, "objectIdentificationWrap")
    titles = _add(_add(identity, "titleWrap"), "titleSet")
    _add(titles, "appellationValue", _title(item))
    repository = _add(_add(identity, "repositoryWrap"), "repositorySet")
    _add(repository, "workID", _number(item), lido__type="inventory number")


def _lido_administration(record: Element, item: ItemFacts) -> None:
    holder = _add(record, "administrativeMetadata")
    holder.set(f"{{{_XML}}}lang", "en")
    about = _add(holder, "recordWrap")
    _add(about, "recordID", item.item, lido__type="local")
    _add(_add(about, "recordType"), "term", "item")
    source = _add(_add(about, "recordSource"), "legalBodyName")
    _add(source, "appellationValue", "Glassine")
    resources = _add(holder, "resourceWrap")
    for frame in item.frames:
        addresses = [("image_overview", frame.access_url), ("image_thumb", frame.thumbnail_url)]
        if not any(address for _, address in addresses):
            continue
        resource = _add(resources, "resourceSet")
        _add(
            resource, "resourceID", f"{item.item}/{frame.master}#{frame.index}", lido__type="local"
        )
        for kind, address in addresses:
            if address:
                picture = _add(resource, "resourceRepresentation", lido__type=kind)
                _add(picture, "linkResource", address, lido__formatResource="image/jpeg")
        _add(resource, "resourceDescription", frame.label)
    if item.manifest_url:
        resource = _add(resources, "resourceSet")
        _add(resource, "resourceID", f"{item.item}/manifest.json", lido__type="local")
        picture = _add(resource, "resourceRepresentation", lido__type="manifest")
        address = item.manifest_url
        _add(picture, "linkResource", address, lido__formatResource="application/ld+json")
