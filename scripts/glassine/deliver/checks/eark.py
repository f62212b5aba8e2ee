"""An E-ARK package against CSIP and SIP 2.2.0, and its pieces against the record of the item."""

from __future__ import annotations

import posixpath
from collections.abc import Iterator
from typing import Any
from urllib.parse import unquote

from lxml import etree

from glassine.base import markup
from glassine.base.errors import Finding
from glassine.deliver.checks.item import EARK_RECORD, BagItem, Damaged, of_eark, wrong
from glassine.record.parsed import ParsedRecord

_NS = {
    "mets": markup.METS,
    "xlink": markup.XLINK,
    "csip": "https://DILCIS.eu/XML/METS/CSIPExtensionMETS",
}
# Requirement, XPath that must hold. The numbers are those of the METS profiles of CSIP and SIP.
_REQUIRED = (
    ("CSIP1", "@OBJID != ''"),
    ("CSIP2", "@TYPE != ''"),
    ("SIP2", "@PROFILE = 'https://earksip.dilcis.eu/profile/E-ARK-SIP-v2-2-0.xml'"),
    ("CSIP7", "mets:metsHdr/@CREATEDATE != ''"),
    ("SIP4", "mets:metsHdr/@csip:OAISPACKAGETYPE = 'SIP'"),
    (
        "CSIP10",
        "mets:metsHdr/mets:agent[@ROLE='CREATOR' and @TYPE='OTHER' and @OTHERTYPE='SOFTWARE']"
        "/mets:note[@csip:NOTETYPE='SOFTWARE VERSION']",
    ),
    ("CSIP59", "count(mets:fileSec) = 1 and mets:fileSec/@ID != ''"),
    ("CSIP64", "not(mets:fileSec/mets:fileGrp[not(@USE) or not(@ID)])"),
    (
        "CSIP68",
        "not(//mets:file[not(@ID) or not(@MIMETYPE) or not(@SIZE) or not(@CREATED) or "
        "not(@CHECKSUM) or not(@CHECKSUMTYPE)])",
    ),
    (
        "CSIP77",
        "not(//mets:FLocat[not(@LOCTYPE='URL') or not(@xlink:type='simple') or not(@xlink:href)])",
    ),
    (
        "CSIP40",
        "not(//mets:mdRef[not(@LOCTYPE='URL') or not(@xlink:type='simple') or not(@xlink:href) or "
        "not(@MDTYPE) or not(@MIMETYPE) or not(@SIZE) or not(@CREATED) or not(@CHECKSUM) or "
        "not(@CHECKSUMTYPE)])",
    ),
    ("CSIP80", "count(mets:structMap[@TYPE='PHYSICAL' and @LABEL='CSIP' and @ID]) = 1"),
    ("CSIP84", "count(mets:structMap[@LABEL='CSIP']/mets:div[@ID]) = 1"),
    ("CSIP88", "count(mets:structMap[@LABEL='CSIP']/mets:div/mets:div[@LABEL='Metadata']) = 1"),
)
_OF_PACKAGE = (
    ("CSIP60", "mets:fileSec/mets:fileGrp[@USE='Documentation']/mets:file"),
    ("CSIP113", "mets:fileSec/mets:fileGrp[@USE='Schemas']/mets:file"),
    ("CSIP114", "mets:fileSec/mets:fileGrp[starts-with(@USE, 'Representations')]/mets:file"),
)


def plain_href(place: Any) -> str:
    """Return where an FLocat of the item's record leads, as a plain path."""
    href = unquote(place.get(f"{{{markup.XLINK}}}href") or "")
    path = posixpath.normpath(posixpath.join(posixpath.dirname(EARK_RECORD), href))
    return of_eark(path) or path


def check(item: BagItem, record: ParsedRecord | None) -> Iterator[Finding]:
    """Yield what is wrong with the package that an item is. record: that of the item."""
    files = {path.removeprefix(f"{item.root}/") for path in item.below()}
    listed: set[str] = set()
    for path in sorted(path for path in files if path.rsplit("/", 1)[-1] == "METS.xml"):
        listed.add(path)
        root = _xml(item, path)
        if root is None:
            continue  # told by the check of every METS
        yield from _requirements(item, path, root)
        listed |= _references(path, root)
    for path in sorted(files - listed):
        yield wrong(
            "delivered.eark_unlisted",
            f"{item.root}/{path}",
            "No METS of the package lists it.",
            "only files that a METS lists (CSIP58).",
        )
    if record is not None:
        yield from _pieces(item, record, files)


def _xml(item: BagItem, path: str) -> Any:
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        return etree.fromstring(item.content(f"{item.root}/{path}"), parser)
    except (etree.XMLSyntaxError, Damaged):
        return None


def _requirements(item: BagItem, path: str, root: Any) -> Iterator[Finding]:
    rules = _REQUIRED + (_OF_PACKAGE if path == "METS.xml" else ())
    if not any(each.startswith(f"{item.root}/representations/") for each in item.below()):
        # Its masters are kept back, and none of its pictures is public: there is none to point to.
        rules = tuple(rule for rule in rules if rule[0] != "CSIP114")
    for code, expression in rules:
        if not root.xpath(f"boolean({expression})", namespaces=_NS):
            yield wrong(
                "delivered.eark",
                f"{item.root}/{path}",
                f"It does not keep the requirement {code} of E-ARK 2.2.0.",
                f"{expression}.",
            )
    if path == "METS.xml" and root.get("OBJID") != item.name:
        yield wrong(
            "delivered.eark_item",
            f"{item.root}/{path}",
            f"It is the package of {root.get('OBJID')!r}.",
            f"{item.name}.",
        )


def _references(path: str, root: Any) -> set[str]:
    places = root.xpath("//mets:FLocat | //mets:mdRef | //mets:mptr", namespaces=_NS)
    hrefs = [unquote(place.get(f"{{{markup.XLINK}}}href") or "") for place in places]
    return {posixpath.normpath(posixpath.join(posixpath.dirname(path), href)) for href in hrefs}


def _pieces(item: BagItem, record: ParsedRecord, files: set[str]) -> Iterator[Finding]:
    """Yield pieces of the record that do not say what the record itself says."""
    expected: dict[str, list[Any]] = {}
    for name, expression in (
        ("metadata/descriptive/mods.xml", "//mods:mods"),
        ("metadata/descriptive/dc.xml", "//mets:mdWrap[@MDTYPE='DC']/mets:xmlData/*"),
        (
            "metadata/preservation/premis.xml",
            "//premis:object | //premis:event | //premis:agent",
        ),
        ("metadata/preservation/rights.xml", "//premis:rightsStatement"),
    ):
        expected[name] = record.find(expression)
    for path, file in record.files.items():
        mix = record.wrapped(file, "NISOIMG")
        where = item.plain.get(path, "").removeprefix(f"{item.root}/")
        if mix is not None and "/data/" in where:
            folder, _, inner = where.partition("/data/")
            expected[f"{folder}/metadata/other/{inner}.mix.xml"] = [mix]
    for name, nodes in sorted(expected.items()):
        root = _xml(item, name) if name in files else None
        if root is None and not nodes:
            continue
        if root is None or not _same(root, nodes):
            yield wrong(
                "delivered.eark_piece",
                f"{item.root}/{name}",
                "It does not say what the record of the item says.",
                f"the same as in {EARK_RECORD}.",
            )


def _same(root: Any, nodes: list[Any]) -> bool:
    """Return whether each of the record's nodes stands in a piece, and no other of its kind."""
    tags = {node.tag for node in nodes}
    found = list(root.iter(*tags)) if tags else []
    if root.tag.endswith("qualifieddc"):
        found = list(root)
    return sorted(map(_canonical, found)) == sorted(map(_canonical, nodes))


def _canonical(node: Any) -> bytes:
    """Return a node without the blanks between elements, its prefixes as they are declared."""
    parts = []
    above = sum(1 for _ in node.iterancestors())
    for each in node.iter("*"):
        text = (each.text or "").strip()
        attributes = sorted(each.attrib.items())
        depth = sum(1 for _ in each.iterancestors()) - above
        parts.append(repr((depth, each.tag, attributes, text)))
    return "\n".join(parts).encode()
