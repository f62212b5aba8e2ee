"""One record of MODS or Dublin Core XML: what was read of it, and what nobody read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.base.errors import GlassineError
from glassine.intake.catalogue.extract import FIELDS

MODS = "http://www.loc.gov/mods/v3"
DC = "http://purl.org/dc/elements/1.1/"
DCTERMS = "http://purl.org/dc/terms/"
XLINK = "http://www.w3.org/1999/xlink"
EDM = "http://www.europeana.eu/schemas/edm/"
NAMESPACES = {"mods": MODS, "dc": DC, "dcterms": DCTERMS, "edm": EDM}
# They say nothing of the item: the record's form, links within the file.
_FORMAL = {
    "version",
    "usage",
    "ID",
    "schemaLocation",
    "lang",
    "{http://www.w3.org/XML/1998/namespace}lang",
    "{http://www.w3.org/2001/XMLSchema-instance}schemaLocation",
    "{http://www.w3.org/2001/XMLSchema-instance}type",
    f"{{{XLINK}}}type",
}
# A path of unread elements is shown up to this length.
_MAX_PATH = 200

Cells = dict[str, Any]


def bad(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "catalogue.xml",
        path.name,
        what,
        "one whole XML document: EAD, LIDO, MARC, MODS, Dublin Core, or an OAI-PMH response.",
        "Export the catalogue again.",
    )


# An entity that XML itself does not declare.
_ENTITY = re.compile(rb"&(?!(?:amp|lt|gt|quot|apos|#)).{0,40}")


def check_type(path: Path, content: bytes, element: Any) -> None:
    """Refuse a document type that declares something: it could hide other text.

    Finding aids name one as a rule; it is never loaded.
    """
    information: Any = element.getroottree().docinfo
    if not information.doctype:
        return
    declared = information.internalDTD
    inner = declared is not None and (
        any(True for _ in declared.iterentities()) or any(True for _ in declared.iterelements())
    )
    entity = _ENTITY.search(content)
    if inner or b"<!ENTITY" in content or entity:
        shown = f' ("{entity[0][:20].decode("latin-1")}")' if entity else ""
        raise bad(
            path,
            "It has a document type declaration with text of its own, or uses letters by names "
            "that "
            f"only such a declaration explains{shown}; they could hide other text.",
        )


_ROOT = re.compile(rb"<(?![?!])(?:[\w.-]{1,80}:)?([\w.-]{1,80})")


def not_well_formed(content: bytes, problem: str) -> str:
    """Return what is wrong with a document, by the name of its outermost element."""
    root = _ROOT.search(content[:100_000])
    name = f'XML that begins with "{root[1].decode("latin-1")}"' if root else "XML"
    return f"This is {name}, and is not well-formed: {problem}."


class Reading:
    """One record while it is read: what was used is remembered, what was not is told."""

    def __init__(self, root: Any) -> None:
        self.root = root
        self._used: set[Any] = set()
        self._used_attributes: set[tuple[Any, str]] = set()
        # What was used, in its order: an element, or one with the name of its attribute.
        self.log: list[tuple[Any, str]] = []

    def all(self, path: str) -> list[Any]:
        """Return the elements at an XPath below the record; looking does not use them."""
        elements: list[Any] = self.root.xpath(path, namespaces=NAMESPACES)
        return elements

    def elements(self) -> Any:
        """Yield the elements of the record."""
        return self.root.iter()

    def is_used(self, element: Any) -> bool:
        return element in self._used

    @staticmethod
    def peek(element: Any) -> str:
        """Return an element's text in one line, unused."""
        return " ".join("".join(element.itertext()).split())

    def text(self, element: Any) -> str:
        """Return an element's text in one line; it counts as used, with all that is in it."""
        self._used.update(element.iter())
        self.log.append((element, ""))
        return self.peek(element)

    def block(self, element: Any) -> str:
        """Return an element's text with its line breaks; it counts as used."""
        self._used.update(element.iter())
        self.log.append((element, ""))
        return "".join(element.itertext()).strip()

    def attribute(self, element: Any, name: str) -> str:
        """Return an attribute, "" where there is none; it counts as used."""
        self._used_attributes.add((element, name))
        self.log.append((element, name))
        value: str = element.get(name) or ""
        return value

    def first(self, path: str) -> str:
        """Return the text of the first element that has any."""
        first_element = next((element for element in self.all(path) if self.peek(element)), None)
        return "" if first_element is None else self.text(first_element)

    def texts(self, path: str) -> list[str]:
        """Return the texts of all elements that have any."""
        return [self.text(element) for element in self.all(path) if self.peek(element)]

    def blocks(self, path: str) -> str:
        """Return the texts of all elements as paragraphs."""
        return "\n".join(text for text in map(self.block, self.all(path)) if text)

    def by_value(self, cells: Cells) -> dict[str, list[str]]:
        """Return {field: where a part of its value stands, in words}, by the texts themselves."""
        used = [(self.shown(*each), self._in_words(*each)) for each in dict.fromkeys(self.log)]
        return {
            name: [words for part, words in used if _is_of(part, [*_texts_in(value)])]
            for name, value in cells.items()
        }

    @classmethod
    def shown(cls, element: Any, name: str) -> str:
        """Return the text of an element or of its attribute, in one line."""
        return element.get(name) or "" if name else cls.peek(element)

    def _in_words(self, element: Any, name: str) -> str:
        path = self._path(element) + (f"/@{etree.QName(name).localname}" if name else "")
        text = self.shown(element, name)
        return f"{path}{_kind(element)}: {text[:200]}"

    def unread(self) -> Cells:
        """Return {path: texts} of the elements and attributes that were not used."""
        texts_of: dict[str, list[str]] = {}

        def note(name: str, text: str) -> None:
            if " ".join(text.split()):
                texts_of.setdefault(name[:_MAX_PATH], []).append(" ".join(text.split()))

        for element in self.elements():
            used = element in self._used or element is self.root
            path = self._path(element)
            if not used:
                note(path + _kind(element), _own_text(element))
            for name, value in element.attrib.items():
                plain = used or not _own_text(element).strip()
                if plain and name not in _FORMAL and (element, name) not in self._used_attributes:
                    note(f"{path}/@{etree.QName(name).localname}", value)
        return {name: " | ".join(texts) for name, texts in texts_of.items()}

    def beside(self, cells: Cells) -> Cells:
        """Return what was not read; a part that bears a field's name is told apart from the
        field, of which it may be a second value."""
        known = {*FIELDS, *cells}
        return {
            f"{name} (unread)" if name in known else name: text
            for name, text in self.unread().items()
        }

    def _path(self, element: Any) -> str:
        names = [etree.QName(element).localname]
        if element is self.root:
            return names[0]
        for holder in element.iterancestors():
            if holder is self.root:
                break
            names.append(etree.QName(holder).localname)
        return "/".join(reversed(names))


# A shorter text stands in longer ones by chance.
_LONG_ENOUGH = 8


def _is_of(part: str, texts: list[str]) -> bool:
    """Return whether a text is one of those of a value, or a piece of one."""
    return bool(part) and any(
        part == text or (len(part) >= _LONG_ENOUGH and part in " ".join(text.split()))
        for text in texts
    )


def _texts_in(value: Any) -> Iterator[str]:
    """Yield the texts of a cell, which may be a list or an object."""
    inner = value.values() if isinstance(value, dict) else value
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict | list):
        for each in inner:
            yield from _texts_in(each)


def _own_text(element: Any) -> str:
    """Return the text that stands in an element itself, not in those within it."""
    return " ".join([element.text or "", *(inner.tail or "" for inner in element)])


def _kind(element: Any) -> str:
    """Return an unread element's attributes: they often say what the text is."""
    attributes = [
        f"{etree.QName(name).localname}={value}"
        for name, value in element.attrib.items()
        if name not in _FORMAL
    ]
    return f" [{', '.join(attributes)}]" if attributes else ""
