"""Binary MARC records (ISO 2709) as elements of MARCXML, so that one mapping reads both."""

from __future__ import annotations

import contextlib
import io
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.base.errors import GlassineError
from glassine.intake.catalogue import helpers, mapped
from glassine.intake.catalogue import mapping as mappings
from glassine.intake.catalogue.extract import PACKED
from glassine.intake.catalogue.xml import Cells
from glassine.intake.given import CatalogueSection

_END = 0x1D
# Letters of MARC-8 are 0xA1 to 0xFE; of the controls below only the joiners are in use.
_NO_MARC8 = re.compile(rb"[\x80-\x87\x8a-\x8c\x8f-\xa0\xff]")
_CONTROLS = re.compile("[\x00-\x08\x0b-\x1f]")


class Document:
    """A file of records."""

    def __init__(self, path: Path, content: bytes, section: CatalogueSection) -> None:
        self.path, self.content, self.section = path, content, section
        self.mapping = mappings.load(mappings.find(section.mapping or "marc"))
        self.complete = helpers.of(self.mapping.helper, section, Counter())

    def rows(self, at_once: int) -> Iterator[tuple[int, Cells]]:
        """Yield number and cells of each record.

        at_once: records that are read whole; of further ones the number alone is, where they can
        be read by themselves, and the record stands under `PACKED` (see `unpacked`). Raises
        GlassineError where one cannot be read.
        """
        packs = mappings.says_all_of_itself(self.mapping)
        for number, chunk in enumerate(_chunks(self.path, self.content), start=1):
            element = _element(self.path, number, chunk, self.section.encoding)
            if number > at_once and packs:
                yield number, {"item_id": self._number(element), PACKED: chunk}
            else:
                yield number, self._cells(element)

    def unpacked(self, cells: Cells) -> Cells:
        """Return the cells of a record that was packed by `rows`; others as they are."""
        if PACKED not in cells:
            return cells
        return self._cells(_element(self.path, 0, cells[PACKED], self.section.encoding))

    def _cells(self, element: Any) -> Cells:
        record = mapped.Record(element, frozenset(), self.mapping)
        cells = mapped.cells(record, self.mapping, self.section)
        return cells | self.complete(record, cells) | record.beside(cells)

    def _number(self, element: Any) -> str:
        """Return the number of a record, without reading the rest of it."""
        record = mapped.Record(element, frozenset(), self.mapping)
        if self.mapping.helper == "marc" and self.section.item_identifier:
            return helpers.marc_number(record, self.section.item_identifier)
        stated = self.mapping.fields.get("item_id")
        return mapped.one(record, stated) if stated is not None else ""


def _chunks(path: Path, content: bytes) -> Iterator[bytes]:
    """Yield the records; white space may stand between them."""
    at, number = 0, 1
    while content[at:].strip(b"\r\n\t \x1a\0") if len(content) - at < 100 else True:
        while content[at : at + 1] in (b"\r", b"\n", b" ", b"\t"):
            at += 1
        length = content[at : at + 5]
        end = at + (int(length) if length.isdigit() else 0)
        if end < at + 24 or end > len(content) or content[end - 1] != _END:
            raise _bad(path, number, "it is cut off, or its length is not what it says")
        yield content[at:end]
        at, number = end, number + 1


def _bad(path: Path, number: int, what: str, step: str = "") -> GlassineError:
    return GlassineError.because(
        "catalogue.marc",
        path.name,
        f"This is a file of MARC records (ISO 2709); record {number} cannot be read: {what}.",
        "whole MARC 21 records in UTF-8 or MARC-8, as the leader of each says.",
        step or "Export again, as MARCXML if need be; the file may have been cut off.",
    )


def _element(path: Path, number: int, chunk: bytes, declared: str) -> Any:
    """Return a record as an element of MARCXML, without a namespace."""
    import pymarc

    try:
        raw = pymarc.Record(chunk, to_unicode=False)
    except (pymarc.exceptions.PymarcException, ValueError, IndexError, AttributeError) as problem:
        raise _bad(path, number, f"{type(problem).__name__} ({str(problem)[:100]})") from problem
    utf8 = chunk[9:10] == b"a"
    record = etree.Element("record")
    etree.SubElement(record, "leader").text = _xml(str(raw.leader))
    for field in raw.fields:
        tag = _xml(field.tag)
        if field.data is not None and not field.subfields:
            element = etree.SubElement(record, "controlfield", tag=tag)
            element.text = _text(path, number, tag, field.data, utf8, declared)
            continue
        first, second = field.indicators or (" ", " ")
        element = etree.SubElement(
            record, "datafield", tag=tag, ind1=_xml(first), ind2=_xml(second)
        )
        for part in field.subfields:
            inner = etree.SubElement(element, "subfield", code=_xml(part.code))
            inner.text = _text(path, number, tag, part.value, utf8, declared)
    return record


def _xml(text: str) -> str:
    return _CONTROLS.sub(" ", text)


def _text(path: Path, number: int, tag: str, data: Any, utf8: bool, declared: str) -> str:
    """Return the text of a field. Raises GlassineError where it is not what the leader says."""
    raw = data if isinstance(data, bytes) else str(data).encode("utf-8", "surrogateescape")
    if raw.isascii() and b"\x1b" not in raw:
        return _xml(raw.decode("ascii"))
    codec = "utf-8" if utf8 else declared
    try:
        text = raw.decode(codec) if codec != "auto" else _marc8(raw)
    except (UnicodeDecodeError, ValueError) as problem:
        said = "UTF-8" if utf8 else "MARC-8" if codec == "auto" else codec
        # Some write UTF-8 and leave the leader as it was: the bytes themselves tell it.
        if not utf8 and _is_utf8(raw):
            return _xml(raw.decode("utf-8"))
        shown = raw.decode("cp1252", "replace")[:60]
        raise _bad(
            path,
            number,
            f"the leader says {said}, but field {tag} holds letters of another code page "
            f"({_xml(shown)!r} if it were Windows-1252)",
            "Export in UTF-8 or as MARCXML; or set `catalogue.encoding` to the code page in which "
            "its words read right.",
        ) from problem
    return _xml(unicodedata.normalize("NFC", text))


def _is_utf8(raw: bytes) -> bool:
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def _marc8(raw: bytes) -> str:
    """Return text of MARC-8. Raises ValueError for what cannot be that: the library leaves letters
    out that it does not know, and marks that no letter follows."""
    from pymarc.marc8 import MARC8ToUnicode

    if b"\x1b" not in raw:
        if _NO_MARC8.search(raw) or _is_utf8(raw):
            raise ValueError("no MARC-8")
        # A mark stands before its letter (MARC-8, combining characters E0 to FE).
        if re.search(rb"[\xe0-\xfe]{3}|[\xe0-\xfe](?![\xe0-\xfeA-Za-z\xa1-\xbc])", raw):
            raise ValueError("a mark without a letter")
    told = io.StringIO()
    with contextlib.redirect_stderr(told):
        text = MARC8ToUnicode().translate(raw)  # type: ignore[no-untyped-call]
    if told.getvalue():
        raise ValueError("a letter that MARC-8 does not have")
    return str(text)
