"""Catalogue rows from XML: what a document holds, and one row after another of it.

MODS, Dublin Core, and whatever a mapping table describes (`config/mappings`: EAD, LIDO, MARC). The
records of an OAI-PMH response that was saved as a file are those within it. What is read stands
under the names of our own fields; what is not read stands under its path, so that it is told like a
column that no field takes. The document is read from its beginning to its end, and a record is
forgotten once its row is made: memory does not grow with the number of records.
"""

from __future__ import annotations

import copy
import functools
import io
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from lxml import etree

from glassine.base.errors import Finding, GlassineError
from glassine.intake.catalogue import dublin_core, helpers, mapped, xml
from glassine.intake.catalogue import mapping as mappings
from glassine.intake.catalogue import mods as catalogue_mods
from glassine.intake.catalogue.extract import PACKED
from glassine.intake.catalogue.mapping import Mapping
from glassine.intake.given import CatalogueSection

# Formats that are known by name and not read: (namespace or "", root's name, what it is).
_KNOWN = (
    ("http://www.w3.org/1999/xhtml", "html", "a web page (XHTML)"),
    ("", "html", "a web page"),
    ("http://www.w3.org/2000/svg", "svg", "a drawing (SVG)"),
    ("http://www.w3.org/2005/Atom", "feed", "a news feed (Atom)"),
    ("", "rss", "a news feed (RSS)"),
    ("http://www.tei-c.org/ns/1.0", "TEI", "a text in TEI"),
    ("urn:isbn:1-931666-33-4", "eac-cpf", "a record of a person or body (EAC-CPF)"),
    ("http://www.loc.gov/mads/v2", "madsCollection", "authority records (MADS)"),
    ("http://www.openarchives.org/OAI/2.0/", "OAI-PMH", "an OAI-PMH response"),
)
_DC_TAGS = (f"{{{xml.DC}}}*", f"{{{xml.DCTERMS}}}*")


@dataclass(frozen=True)
class Form:
    """How the records of a document are read.

    names: of the elements that are records. mapping: None for MODS and Dublin Core.
    """

    what: str
    names: frozenset[str]
    mapping: Mapping | None = None


@dataclass
class Document:
    """A catalogue extract in XML. findings: what is told of it as a whole, complete once `rows`
    has come to its end."""

    path: Path
    content: bytes
    section: CatalogueSection
    findings: list[Finding] = field(default_factory=list)
    inherited: Counter[str] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.form = self._form()
        self._deleted = 0
        self._gathers = False
        # Notes on access and use of each finding aid: they may stand after its components.
        self._notes: list[list[Any]] = []
        self._aid: Any = None
        # Where each field of the record just read stands, where `traced`.
        self.traced = False
        # Whether a record was handed on packed.
        self.has_packed = False
        self.origins: dict[str, list[str]] = {}

    # --- what it is ---

    def _form(self) -> Form:
        name = self.section.mapping
        if name:
            mapping = mappings.load(mappings.find(name))
            if mapping.format == "xml":
                self._check_start()
                return _form_of(mapping)
        return self._recognised()

    def _check_start(self) -> None:
        for _ in self._parsed(("start",), None):
            return

    def _recognised(self) -> Form:
        """Return the form by the first element that tells it. Raises GlassineError for none."""
        ready = mappings.ready()
        root: Any = None
        about = 0
        for event, element in self._parsed(("start", "end"), None):
            name = etree.QName(element)
            if event == "end":
                about -= name.localname == "about" and about > 0
                continue
            root = element if root is None else root
            about += name.localname == "about"
            if about:
                continue
            if name.namespace == xml.MODS and name.localname == "mods":
                return Form("MODS", frozenset({"mods"}))
            for mapping in ready:
                if any(_is(name, each) for each in mapping.recognised):
                    return _form_of(mapping)
            if name.namespace in (xml.DC, xml.DCTERMS):
                return Form("Dublin Core", self._holders())
        raise self._unknown(root)

    def _holders(self) -> frozenset[str]:
        """Return the names of the elements that hold Dublin Core directly."""
        names = set()
        for _, element in self._parsed(("start",), _DC_TAGS):
            holder = element.getparent()
            if holder is not None:
                names.add(etree.QName(holder).localname)
        return frozenset(names)

    def _unknown(self, root: Any) -> GlassineError:
        name = etree.QName(root)
        what = next(
            (
                what
                for namespace, local, what in _KNOWN
                if (namespace, local) == (name.namespace or "", name.localname)
            ),
            f'XML whose outermost element is "{name.localname}"'
            + (f' of the namespace "{name.namespace}"' if name.namespace else " of no namespace"),
        )
        error = root.find(".//{*}error") if name.localname == "OAI-PMH" else None
        said = (
            ""
            if error is None
            else f' that says "{" ".join("".join(error.itertext()).split())[:200]}"'
        )
        deleted = self.content.count(b'status="deleted"')
        said += f" of {deleted} deleted records" if deleted else ""
        return GlassineError.because(
            "catalogue.xml_unknown",
            self.path.name,
            f"This is {what[:300]}{said}, with no records that are read.",
            "EAD, LIDO, MARC, MODS, or Dublin Core, by itself or in an OAI-PMH response; or XML "
            "that "
            "a mapping file (`catalogue.mapping`) describes.",
            "Export in one of these forms, or write a mapping for this one "
            "(config/mappings/README.md).",
        )

    # --- reading ---

    def _parsed(self, events: tuple[str, ...], tags: Any) -> Iterator[tuple[str, Any]]:
        """Yield the events of the document. Raises GlassineError where it is not sound XML."""
        parser = etree.iterparse(
            io.BytesIO(self.content),
            events=events,
            tag=tags,
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            remove_comments=True,
            remove_pis=True,
        )
        self._parser = parser
        first = True
        try:
            for event, element in parser:
                if first:
                    xml.check_type(self.path, self.content, element)
                    first = False
                yield event, element
        except etree.XMLSyntaxError as problem:
            raise xml.bad(self.path, xml.not_well_formed(self.content, problem.msg)) from problem

    def _records(self) -> Iterator[Any]:
        """Yield each record at its end; what is in it is forgotten after."""
        names = self.form.names
        tags = [f"{{*}}{name}" for name in {*names, "record", "resumptionToken"}]
        holds_record: set[Any] = set()
        mapping = self.form.mapping
        nested = mapping is not None and mapping.nested
        whole = mapping.whole if mapping else None
        forgotten: list[Any] = []
        for _, element in self._parsed(("end",), tags):
            self._check_prefixes()
            forgotten = [each for each in forgotten if not _taken_out(each)]
            name = etree.QName(element).localname
            if name == "resumptionToken":
                self._told_part(element)
            elif _is_wrapper(element):
                self._leave(element)
                forgotten.append(element)
            elif name in names and self._counts(element):
                if name == whole and self._gathers:
                    self._notes.append([copy.deepcopy(each) for each in element if _is_note(each)])
                if element not in holds_record or (nested and name != whole):
                    yield element
                outer = next(element.iterancestors(*tags), None)
                if outer is not None:
                    holds_record.add(outer)
                holds_record.discard(element)
                element.clear(keep_tail=False)
                forgotten.append(element)

    def _check_prefixes(self) -> None:
        """Refuse a document with prefixes that nothing declares: the parser only notes them."""
        for entry in self._parser.error_log:
            if entry.level >= etree.ErrorLevels.ERROR:
                problem = f"{entry.message} (line {entry.line})"
                raise xml.bad(self.path, xml.not_well_formed(self.content, problem))

    def _counts(self, element: Any) -> bool:
        if any(etree.QName(each).localname == "about" for each in element.iterancestors()):
            return False
        if self.form.what == "MODS":
            return etree.QName(element).namespace == xml.MODS
        if self.form.mapping is None:
            return any(etree.QName(each).namespace in (xml.DC, xml.DCTERMS) for each in element)
        recognised = [each for each in self.form.mapping.recognised if each.name in self.form.names]
        name = etree.QName(element)
        return not recognised or any(
            each.namespace is None or each.namespace == (name.namespace or "")
            for each in recognised
        )

    def _leave(self, wrapper: Any) -> None:
        """Count the record of a response, and forget it."""
        header = wrapper.find("{*}header")
        if header is not None and header.get("status") == "deleted":
            self._deleted += 1
        wrapper.clear(keep_tail=False)

    def _told_part(self, token: Any) -> None:
        if not (token.text or "").strip():
            return
        self.findings.append(
            Finding(
                "catalogue.part",
                self.path.name,
                "This OAI-PMH response is a part: it ends with a token for the rest of the list.",
                "all parts of the list in one file, or the last one.",
                "Fetch the rest of the list; items of the other parts have no row here.",
                "review",
            )
        )

    # --- rows ---

    def rows(self, at_once: int = 2**31) -> Iterator[tuple[int, xml.Cells]]:
        """Yield line number and cells of each record, cells under the names of our own fields.

        at_once: records that are read whole; of further ones the number alone is, where they can
        be read by themselves, and the record stands under `PACKED` (see `unpacked`).
        """
        numbers = self._numbers()
        self.findings.clear()
        self._deleted = 0
        packs = self._can_be_packed()
        for index, element in enumerate(self._records()):
            line, header = element.sourceline or index + 1, _header(element)
            number = numbers[index] if numbers else None
            if index >= at_once and packs:
                own = self._number(element)
                self.has_packed = True
                item = (own if number is None else number) or header
                record = etree.tostring(element, encoding="utf-8", with_tail=False)
                yield line, {"item_id": item, PACKED: record}
            else:
                yield line, self._cells(element, number, header)
        if self._deleted:
            self.findings.append(_told_deleted(self.path, self._deleted))
        if self.inherited:
            self.findings.append(_told_inherited(self.path, self.inherited))

    def _cells(self, element: Any, number: str | None, header: str) -> xml.Cells:
        """Return the cells of a record. number: that it goes by, None for its own."""
        cells = self._read(element)
        own = str(cells.get("item_id") or "")
        chosen = own if number is None else number
        if chosen != own and own:
            kept = cells.get("identifiers") or []
            cells["identifiers"] = [*kept, {"type": "local", "value": own}]
        cells["item_id"] = chosen or header
        return cells

    def unpacked(self, cells: xml.Cells) -> xml.Cells:
        """Return the cells of a record that was packed by `rows`; others as they are."""
        if PACKED not in cells:
            return cells
        parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
        element = etree.fromstring(cells[PACKED], parser)
        return self._cells(element, str(cells["item_id"]), "")

    def _can_be_packed(self) -> bool:
        """Return whether a record says all of itself: its paths leave it nowhere."""
        mapping = self.form.mapping
        if self.traced or mapping is None:
            return not self.traced
        return mappings.says_all_of_itself(mapping)

    @functools.cached_property
    def _read(self) -> Callable[[Any], xml.Cells]:
        return self._reader()

    def _number(self, element: Any) -> str:
        """Return the own number of a record, without reading the rest of it."""
        mapping = self.form.mapping
        if mapping is None and self.form.what == "MODS":
            return catalogue_mods.number(xml.Reading(element), self.section.item_identifier)
        if mapping is None:
            return dublin_core.number(xml.Reading(element))
        if not mapping.namespaces:
            self._strip.record(element)
        record = mapped.Record(element, frozenset(), mapping)
        if mapping.helper == "marc" and self.section.item_identifier:
            return helpers.marc_number(record, self.section.item_identifier)
        stated = mapping.fields.get("item_id")
        item = mapped.one(record, stated) if stated is not None else ""
        if mapping.helper == "mods":
            return item or catalogue_mods.number(record, self.section.item_identifier)
        if mapping.helper == "dublin core":
            return item or dublin_core.number(record)
        return item

    @functools.cached_property
    def _strip(self) -> _Stripper:
        return _Stripper(self.form.names)

    def _reader(self) -> Callable[[Any], xml.Cells]:
        section, mapping = self.section, self.form.mapping
        if mapping is None:
            read = catalogue_mods.cells if self.form.what == "MODS" else dublin_core.cells

            def known_cells(element: Any) -> xml.Cells:
                record = xml.Reading(element)
                cells = read(record, section)
                self.origins = record.by_value(cells) if self.traced else {}
                return cells

            return known_cells
        names = self.form.names if mapping.nested else frozenset()
        strip = self._strip if not mapping.namespaces else None
        helper = helpers.of(mapping.helper, section, self.inherited)

        def mapped_cells(element: Any) -> xml.Cells:
            self._complete(element)
            if strip:
                strip.record(element)
            record = mapped.Record(element, names, mapping)
            cells = mapped.cells(record, mapping, section)
            by_helper = helper(record, cells)
            if self.traced:
                told = [f"by the helper {mapping.helper!r} of the mapping: "]
                self.origins = record.origins() | {
                    name: [f"{told[0]}{value}"] for name, value in by_helper.items()
                }
            cells |= by_helper
            return cells | record.beside(cells)

        return mapped_cells

    def _complete(self, element: Any) -> None:
        """Put the notes on access and use that stand after the components before them."""
        aid = next((each for each in [element, *element.iterancestors()]
                    if etree.QName(each).localname == "archdesc"), None)  # fmt: skip
        if not self._notes or aid is None or aid is self._aid:
            return
        self._aid, notes = aid, self._notes.pop(0)
        for note in notes[sum(map(_is_note, aid)) :]:
            aid.insert(0, note)

    def _numbers(self) -> list[str]:
        """Return the item number of each record where their own do not tell them apart; nothing
        where they do."""
        mapping = self.form.mapping
        if mapping is not None and mapping.helper == "ead":
            self._gathers = True
            numbers = helpers.component_numbers(self._records(), self.form.names)
            self._gathers = False
            return numbers
        if not any("header".encode(code) in self.content for code in ("ascii", "utf-16-le")):
            return []
        owned = []
        for element in self._records():
            header = _header(element)
            owned.append((self._number(element), header))
        if not any(header for _, header in owned):
            return []
        counted = Counter(own for own, _ in owned)
        return [own if own and counted[own] == 1 else header or own for own, header in owned]


def _form_of(mapping: Mapping) -> Form:
    whole = [mapping.whole] if mapping.whole else []
    return Form(mapping.what, frozenset([*mapping.records, *whole]), mapping)


def _is_note(element: Any) -> bool:
    return isinstance(element.tag, str) and etree.QName(element).localname in (
        "accessrestrict",
        "userestrict",
    )


def _is(name: Any, element: mappings.Element) -> bool:
    fits = element.namespace is None or element.namespace == (name.namespace or "")
    return bool(fits and name.localname == element.name)


def _is_wrapper(element: Any) -> bool:
    """Whether an element is a record of an OAI-PMH response, which holds the record itself."""
    name = etree.QName(element).localname
    return name == "record" and element.find("{*}header") is not None


def _header(element: Any) -> str:
    """Return the identifier that an OAI-PMH response gives a record, "" outside of one."""
    for holder in element.iterancestors("{*}record"):
        identifier = holder.find("{*}header/{*}identifier")
        if identifier is not None:
            return " ".join("".join(identifier.itertext()).split())
    return ""


def _taken_out(element: Any) -> bool:
    """Take a record out of the tree once the parser has gone past it; whether that is done."""
    holder = element.getparent()
    if holder is None:
        return True
    if element.getnext() is None:
        return False
    holder.remove(element)
    return True


class _Stripper:
    """Takes the namespaces off a record and what it stands in, so that paths need none."""

    def __init__(self, names: frozenset[str]) -> None:
        self._names = names
        self._done: dict[Any, int] = {}

    def record(self, element: Any) -> None:
        for holder in reversed(list(element.iterancestors())):
            if self._done.get(holder) != len(holder):
                self._whole(holder, own=False)
                self._done[holder] = len(holder)
        if len(self._done) > 1000:
            self._done = {
                each: self._done[each] for each in element.iterancestors() if each in self._done
            }
        self._whole(element, own=True)

    def _whole(self, element: Any, own: bool) -> None:
        """Strip an element and what is in it; own: of one that has ended."""
        pending = [element]
        while pending:
            each = pending.pop()
            if not isinstance(each.tag, str):
                continue
            if each.tag[0] == "{":
                each.tag = each.tag.rpartition("}")[2]
            for name in [name for name in each.attrib if name[0] == "{"]:
                local = name.rpartition("}")[2]
                if local not in each.attrib:
                    each.attrib[local] = each.attrib.pop(name)
            pending += [
                inner
                for inner in each
                if own
                or not (isinstance(inner.tag, str) and inner.tag.rpartition("}")[2] in self._names)
            ]


def _told_deleted(path: Path, count: int) -> Finding:
    return Finding(
        "catalogue.deleted",
        path.name,
        f"{count} records of this OAI-PMH response are marked as deleted; they have no row.",
        "records of what the catalogue still has.",
        "Nothing, where they were meant to be deleted.",
        "note",
    )


def _told_inherited(path: Path, counted: Counter[str]) -> Finding:
    listed = ", ".join(f"{name} ({count})" for name, count in sorted(counted.items()))
    return Finding(
        "catalogue.inherited",
        path.name,
        f"Taken from a level above, as the component says nothing itself: {listed}; in brackets, "
        "for how many.",
        "what a description of a higher level says holds for its parts.",
        "State it with the component where it is otherwise.",
        "note",
    )
