"""Catalogue rows from MODS and Dublin Core XML.

MODS: `modsCollection` or one `mods`. Dublin Core: any document whose records are elements that
hold `dc:` elements directly, as the wrappers `dc`, `record` and `rdf:Description` do.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.errors import GlassineError

MODS = "http://www.loc.gov/mods/v3"
DC = "http://purl.org/dc/elements/1.1/"
DCTERMS = "http://purl.org/dc/terms/"
_NS = {"mods": MODS, "dc": DC, "dcterms": DCTERMS}

Cells = dict[str, Any]


def rows(path: Path, content: bytes, section: dict[str, Any]) -> Iterator[tuple[int, Cells]]:
    """Yield line number and cells of each record, cells under the names of our own fields.

    section: the settings `catalogue`; `item_identifier` is the type of the MODS identifier that
    is the item number. Raises GlassineError for what is no such XML.
    """
    root = _parse(path, content)
    mods = root.xpath("descendant-or-self::mods:mods", namespaces=_NS)
    if mods:
        for record in mods:
            yield record.sourceline, _from_mods(record, section.get("item_identifier"))
        return
    holders = root.xpath("descendant-or-self::*[dc:*]", namespaces=_NS)
    if not holders:
        raise _bad(path, "It holds neither MODS 3 nor Dublin Core records.")
    for record in holders:
        yield record.sourceline, _from_dublin_core(record)


def _bad(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "catalogue.xml",
        path.name,
        what,
        "a modsCollection of MODS 3, or records of Dublin Core elements, without DOCTYPE.",
        "Export the catalogue again.",
    )


def _parse(path: Path, content: bytes) -> Any:
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_comments=True
    )
    try:
        root = etree.fromstring(content, parser)
    except etree.XMLSyntaxError as problem:
        raise _bad(path, f"It is not well-formed XML: {problem.msg}.") from problem
    information: Any = root.getroottree().docinfo
    if information.doctype:
        raise _bad(path, "It has a document type declaration, which could hide other text.")
    return root


def _texts(node: Any, path: str) -> list[str]:
    found = ["".join(each.itertext()) for each in node.xpath(path, namespaces=_NS)]
    return [" ".join(text.split()) for text in found if text.strip()]


def _first(node: Any, path: str) -> str:
    return next(iter(_texts(node, path)), "")


def _block(node: Any, path: str) -> str:
    """Return the text of the elements as paragraphs, their line breaks kept."""
    found = ["".join(each.itertext()).strip() for each in node.xpath(path, namespaces=_NS)]
    return "\n".join(text for text in found if text)


def _from_mods(record: Any, item_type: str | None) -> Cells:
    chosen = f"[@type='{item_type}']" if item_type and "'" not in item_type else ""
    identifiers = [
        {"type": each.get("type") or "local", "value": " ".join("".join(each.itertext()).split())}
        for each in record.xpath("mods:identifier", namespaces=_NS)
    ]
    item = _first(record, f"mods:identifier{chosen}") or _first(
        record, "mods:recordInfo/mods:recordIdentifier"
    )
    dated = "mods:originInfo/mods:dateCreated"
    return {
        "item_id": item,
        "title": " ".join(
            _texts(record, "mods:titleInfo[not(@type)][1]/mods:nonSort")
            + _texts(record, "mods:titleInfo[not(@type)][1]/mods:title")
        ),
        "alternative": _first(record, "mods:titleInfo[@type='alternative']/mods:title"),
        "description": _block(record, "mods:abstract"),
        "date": _first(record, f"{dated}[not(@encoding)]"),
        "date_edtf": _first(record, f"{dated}[@encoding='edtf']"),
        "creator": [_mods_name(name) for name in record.xpath("mods:name", namespaces=_NS)],
        "subjects": [
            {
                "term": _first(topic, "."),
                "uri": topic.get("valueURI") or topic.getparent().get("valueURI") or "",
                "authority": topic.get("authority") or topic.getparent().get("authority") or "",
            }
            for topic in record.xpath("mods:subject/mods:topic", namespaces=_NS)
        ],
        "places": [
            {"name": _first(place, "."), "uri": place.get("valueURI") or ""}
            for place in record.xpath("mods:subject/mods:geographic", namespaces=_NS)
        ],
        "languages": _texts(record, "mods:language/mods:languageTerm[@type='code']"),
        "genre": _first(record, "mods:genre"),
        "physical": _first(record, "mods:physicalDescription/mods:extent"),
        "rights_uri": next(
            iter(record.xpath("mods:accessCondition/@*[local-name()='href']", namespaces=_NS)), ""
        ),
        "rights_note": _first(record, "mods:accessCondition[not(@*[local-name()='href'])]"),
        "identifiers": [each for each in identifiers if each["value"] != item],
        "collection": _first(record, "mods:relatedItem[@type='host']/mods:titleInfo/mods:title"),
    }


def _mods_name(name: Any) -> dict[str, str]:
    roles = _texts(name, "mods:role/mods:roleTerm[@type='text']") or _texts(
        name, "mods:role/mods:roleTerm"
    )
    return {
        "name": ", ".join(_texts(name, "mods:namePart[not(@type='date')]")),
        "role": roles[0] if roles else "",
        "uri": name.get("valueURI") or "",
    }


def _from_dublin_core(record: Any) -> Cells:
    identifiers = _texts(record, "dc:identifier")
    rights = _texts(record, "dc:rights")
    return {
        "item_id": identifiers[0] if identifiers else "",
        "title": _first(record, "dc:title"),
        "alternative": _first(record, "dcterms:alternative"),
        "description": _block(record, "dc:description"),
        "date": _first(record, "dc:date"),
        "date_edtf": "",
        "creator": [{"name": name} for name in _texts(record, "dc:creator")],
        "subjects": [{"term": term} for term in _texts(record, "dc:subject")],
        "places": [{"name": name} for name in _texts(record, "dcterms:spatial | dc:coverage")],
        "languages": _texts(record, "dc:language"),
        "genre": next((t for t in _texts(record, "dc:type") if t != "StillImage"), ""),
        "physical": _first(record, "dc:format"),
        "rights_uri": next((text for text in rights if text.startswith("http")), ""),
        "rights_note": next((text for text in rights if not text.startswith("http")), ""),
        "rights_holder": _first(record, "dcterms:rightsHolder"),
        "identifiers": [{"type": "local", "value": value} for value in identifiers[1:]],
        "collection": _first(record, "dcterms:isPartOf"),
    }
