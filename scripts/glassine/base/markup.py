"""XML of records: namespaces, elements with clean text, identifiers that stay the same."""

from __future__ import annotations

import hashlib
import re
from typing import Any

from lxml import etree

METS = "http://www.loc.gov/METS/"
MODS = "http://www.loc.gov/mods/v3"
DC = "http://purl.org/dc/elements/1.1/"
DCTERMS = "http://purl.org/dc/terms/"
PREMIS = "http://www.loc.gov/premis/v3"
MIX = "http://www.loc.gov/mix/v20"
XLINK = "http://www.w3.org/1999/xlink"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
NAMESPACES = {
    "mets": METS,
    "mods": MODS,
    "dc": DC,
    "dcterms": DCTERMS,
    "premis": PREMIS,
    "mix": MIX,
    "xlink": XLINK,
    "xsi": XSI,
}

Element = Any  # lxml-stubs has no public name that serves for both reading and building

# What XML 1.0, section 2.2, does not let stand in a document.
_NO_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def clean(value: object) -> str:
    """Return the value as text that XML can hold; forbidden characters become U+FFFD."""
    text = str(value).replace("\r\n", "\n").replace("\r", "\n")
    return _NO_XML.sub("\ufffd", text)


def cleaned(value: Any) -> Any:
    """Return a value as JSON gives it with every text in it clean."""
    if isinstance(value, dict):
        return {key: cleaned(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [cleaned(part) for part in value]
    return clean(value) if isinstance(value, str) else value


def _name(tag: str) -> str:
    prefix, _, local = tag.rpartition(":")
    return f"{{{NAMESPACES[prefix]}}}{local}" if prefix else local


def element(tag: str, **attributes: object) -> Element:
    """Return an element; tag and attributes as "prefix:name" (in a keyword: prefix__name)."""
    return etree.Element(_name(tag), _attributes(attributes), nsmap=NAMESPACES)


def add(parent: Element, tag: str, text: object = None, **attributes: object) -> Element:
    """Return a new last child of `parent`; attributes that are None or "" are left out."""
    child = etree.SubElement(parent, _name(tag), _attributes(attributes))
    if text is not None:
        child.text = clean(text)
    return child


def add_known(parent: Element, tag: str, text: object, **attributes: object) -> None:
    """Add a child unless there is nothing to say."""
    if text is not None and text != "":
        add(parent, tag, text, **attributes)


def _attributes(given: dict[str, object]) -> dict[str, str]:
    return {
        _name(name.replace("__", ":")): clean(value)
        for name, value in given.items()
        if value is not None and value != ""
    }


def xml_id(kind: str, name: str) -> str:
    """Return an xs:ID made of a kind and a name, the same whenever both are the same.

    A digest is appended where letters had to be replaced, so that two names never meet.
    """
    plain = re.sub(r"[^A-Za-z0-9_.-]", "_", name)
    if plain != name:
        plain += "-" + hashlib.sha256(name.encode("utf-8", "surrogatepass")).hexdigest()[:8]
    return f"{kind}-{plain}"


def write(root: Element) -> bytes:
    """Return the document as UTF-8 bytes, indented, the same for the same tree."""
    etree.indent(root, space=" ")
    text: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8")
    return text + b"\n"
