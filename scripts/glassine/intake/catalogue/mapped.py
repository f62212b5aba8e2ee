"""A record of XML read by a mapping table: cells under the fields' own names."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Any

from lxml import etree

from glassine.base import rights
from glassine.base.vocabulary import MATERIAL_FORMS
from glassine.intake.catalogue import mapping as mappings
from glassine.intake.catalogue.mapping import PARTS, RIGHTS, SEVERAL, Mapping, Source
from glassine.intake.catalogue.mods import one_or_all
from glassine.intake.catalogue.xml import Cells, Reading
from glassine.intake.given import CatalogueSection

_STATUS_WORDS = {"public domain", "copyrighted", "in copyright"}
# Text within a word may be set off by these; all others stand apart.
_INLINE = {"emph", "hi", "sup", "sub", "i", "b", "em", "strong", "abbr", "expan"}
# In place of a field, of what is passed over.
_IGNORED = "(ignored)"
_ISBD = " \t/:;,="


class Record(Reading):
    """A record while it is read. names: of elements that are records of their own and not part
    of this one."""

    def __init__(self, root: Any, names: frozenset[str], mapping: Mapping) -> None:
        super().__init__(root)
        self._names = names
        self._namespaces = tuple(sorted(mapping.namespaces.items()))
        self._of_tags = mapping.tags
        # Where the log stood when a field was begun.
        self.began: dict[str, int] = {}

    def elements(self) -> Any:
        """Yield the elements of the record, without those of records within it."""
        pending = [self.root]
        while pending:
            element = pending.pop()
            yield element
            pending += [
                inner
                for inner in reversed(element)
                if etree.QName(inner).localname not in self._names
            ]

    def at(self, path: str, element: Any = None) -> list[Any]:
        """Return what stands at a path: elements, texts of attributes. Raises GlassineError where
        it cannot be read."""
        place = self.root if element is None else element
        try:
            found = _compiled(path, self._namespaces)(place)
        except etree.XPathError as problem:
            raise mappings.bad(
                path[:200], f"This path cannot be read: {problem}.", "an XPath 1.0."
            ) from problem
        return found if isinstance(found, list) else [found]

    def look(self, hit: Any) -> str:
        """Return the text of what stands at a path, in one line; it does not count as used."""
        if isinstance(hit, bool):
            return "true" if hit else ""
        if isinstance(hit, float):
            return str(int(hit)) if hit.is_integer() else str(hit)
        text = hit if isinstance(hit, str) else plain_text(hit)
        return " ".join(text.split())

    def take(self, hit: Any) -> str:
        """Return the text of what stands at a path; it counts as used."""
        if isinstance(hit, etree._Element):
            self._used.update(hit.iter())
            self.log.append((hit, ""))
        elif hasattr(hit, "getparent"):
            holder = hit.getparent()
            if holder is not None and hit.is_attribute:
                self._used_attributes.add((holder, hit.attrname))
                self.log.append((holder, hit.attrname))
            elif holder is not None:
                self._used.add(holder)
                self.log.append((holder, ""))
        return self.look(hit)

    def take_lines(self, hit: Any) -> str:
        """Return the text of what stands at a path with its lines; it counts as used."""
        text = self.take(hit)
        return (
            "".join(map(str, hit.itertext())).strip() if isinstance(hit, etree._Element) else text
        )

    def origins(self) -> dict[str, list[str]]:
        """Return {field: where its value stands in the record, in words}."""
        ends = [*self.began.values(), len(self.log)][1:]
        return {
            field: [self._in_words(*each) for each in dict.fromkeys(self.log[start:end])]
            for (field, start), end in zip(self.began.items(), ends, strict=True)
        }

    def unread(self) -> Cells:
        """Return {path: texts} of what was not used; a field of MARC is told by its tag."""
        if not self._of_tags:
            return super().unread()
        texts_of: dict[str, list[str]] = {}
        for element in self.root.iter("controlfield", "subfield"):
            text = " ".join((element.text or "").split())
            if element in self._used or not text:
                continue
            holder = element if element.tag == "controlfield" else element.getparent()
            tag = holder.get("tag") or "?"
            name = f"{tag}${element.get('code')}" if element is not holder else tag
            said = self._of_tags.get(tag)
            texts_of.setdefault(f"{name} ({said})" if said else name, []).append(text)
        return {name[:200]: " | ".join(texts) for name, texts in texts_of.items()}

    def pass_over(self, path: str) -> None:
        """Count what stands at a path as used."""
        for hit in self.at(path):
            self.take(hit)
            if isinstance(hit, etree._Element):
                for element in hit.iter():
                    self._used_attributes.update((element, str(name)) for name in element.attrib)


@lru_cache(maxsize=4096)
def _compiled(path: str, namespaces: tuple[tuple[str, str], ...]) -> Any:
    return etree.XPath(path, namespaces=dict(namespaces) or None)


def plain_text(element: Any) -> str:
    """Return the text of an element with a blank where an element within ends a word."""
    if not len(element):
        return element.text or ""
    pieces = [element.text or ""]
    for inner in element:
        apart = "" if etree.QName(inner).localname in _INLINE else " "
        text = plain_text(inner) if isinstance(inner.tag, str) else ""
        pieces += [_gap(pieces[-1], text, apart), text]
        tail = inner.tail or ""
        pieces += [_gap(text, tail, apart), tail]
    return "".join(pieces)


def _gap(before: str, after: str, apart: str) -> str:
    return apart if before and after and not before[-1].isspace() and after[0].isalnum() else ""


def cells(record: Record, mapping: Mapping, section: CatalogueSection) -> Cells:
    """Return the cells of a record by the mapping; parts that it does not read are left to
    `record.unread`."""
    out: Cells = {}
    for field, source in mapping.fields.items():
        record.began[field] = len(record.log)
        if field == RIGHTS:
            out |= _rights(record, source)
        elif field == "material":
            out[field] = _material(record, source, section)
        elif field in SEVERAL:
            out[field] = _several(record, field, source)
        else:
            out[field] = _one(record, source)
    record.began[_IGNORED] = len(record.log)
    for path in mapping.ignored:
        record.pass_over(path)
    return out


def _hits(record: Record, source: Any, element: Any = None) -> list[Any]:
    """Return what a source finds: parts of the record, or texts made of them."""
    if isinstance(source, str):
        return [hit for hit in record.at(source, element) if record.look(hit)]
    if isinstance(source, list):
        return next((found for each in source if (found := _hits(record, each, element))), [])
    if source.constant is not None:
        return [source.constant]
    if source.first is not None:
        return _hits(record, source.first, element)
    if source.join is not None:
        texts = [_one(record, each, element) for each in source.join]
        joined = (" " if source.with_ is None else source.with_).join(filter(None, texts))
        return [reworded(joined, source)] if joined else []
    paths = [source.from_] if isinstance(source.from_, str) else source.from_ or []
    found = [hit for path in paths for hit in record.at(path, element) if record.look(hit)]
    if source.text is not None:
        found = [text for hit in found if (text := _spelled(record, source.text, hit))]
    if source.with_ is not None:
        take = record.take_lines if source.lines == "keep" else record.take
        joined = source.with_.join(filter(None, dict.fromkeys(map(take, found))))
        return [reworded(joined, source)] if joined else []
    if source.tidy or source.words:
        found = _leave_unknown(record, source, found)
    return found


def _leave_unknown(record: Record, source: Source, found: list[Any]) -> list[Any]:
    """Return the parts whose words the source knows, where others are to be left."""
    if source.others == "keep":
        return found
    known = _words(source)
    return [hit for hit in found if record.look(hit).casefold() in known]


def _spelled(record: Record, path: str, hit: Any) -> str:
    """Return what a path makes of an element, all of which counts as used."""
    record.take(hit)
    return " ".join(" ".join(record.look(each) for each in record.at(path, hit)).split())


def one(record: Record, source: Any) -> str:
    """Return the first value of a source, of a field of one text."""
    return _one(record, source)


def _one(record: Record, source: Any, element: Any = None) -> str:
    """Return the first value of a source."""
    if isinstance(source, list):
        return next((text for each in source if (text := _one(record, each, element))), "")
    if isinstance(source, Source) and source.first is not None:
        return _one(record, source.first, element)
    hits = _hits(record, source, element)
    if not hits:
        return ""
    kept = isinstance(source, Source) and source.lines == "keep" and isinstance(hits[0], str)
    text = str(hits[0]) if kept else record.take(hits[0])
    return reworded(text, source) if isinstance(source, Source) else text


def _words(source: Source) -> dict[str, str]:
    return {word.casefold(): to for word, to in source.words.items()}


def reworded(text: str, source: Source) -> str:
    if source.tidy:
        text = tidy(text)
    return _words(source).get(text.casefold(), text) if source.words else text


def tidy(text: str) -> str:
    """Return a part of a description without the punctuation that ISBD puts after it."""
    text = text.rstrip(_ISBD)
    # A full stop ends the area, but belongs to an abbreviation or an initial.
    return text[:-1] if re.search(r"[^\W\d_]{4}\.$", text) else text


def _several(record: Record, field: str, source: Any) -> list[Any]:
    parts = PARTS.get(field)
    if isinstance(source, list):
        return next((found for each in source if (found := _several(record, field, each))), [])
    if not isinstance(source, Source) or parts is None:
        texts = [record.take(hit) for hit in _hits(record, source)]
        if isinstance(source, Source):
            texts = [reworded(text, source) for text in texts]
        texts = [text for text in dict.fromkeys(texts) if text]
        return [{parts[0]: text} for text in texts] if parts else texts
    entries = []
    paths = [source.from_] if isinstance(source.from_, str) else source.from_ or []
    for hit in (hit for path in paths for hit in record.at(path)):
        entry = _parts_of(record, source, parts, hit)
        if entry and entry not in entries:
            entries.append(entry)
    return entries


def _parts_of(record: Record, source: Source, parts: tuple[str, ...], hit: Any) -> dict[str, str]:
    """Return the parts of one value, nothing where the value itself is empty."""
    entry = {}
    for part in parts:
        inner = getattr(source, part)
        if inner is None:
            text = record.take(hit) if part == parts[0] else ""
        else:
            text = _one(record, inner, hit)
        entry[part] = tidy(text) if source.tidy else text
    if not entry[parts[0]]:
        return {}
    entry[parts[0]] = _words(source).get(entry[parts[0]].casefold(), entry[parts[0]])
    return {part: text for part, text in entry.items() if text}


def _material(record: Record, source: Any, section: CatalogueSection) -> str:
    """Return the first material that the vocabulary knows; other words stay unread."""
    words = {word.casefold(): word for word in section.materials}
    words |= {form: material for material, form in MATERIAL_FORMS.items()}
    words |= {material: material for material in MATERIAL_FORMS}
    if isinstance(source, Source):
        words |= _words(source)
    for hit in _hits(record, source):
        known = words.get(record.look(hit).casefold())
        if known:
            record.take(hit)
            return known
    return ""


def _rights(record: Record, source: Any) -> Cells:
    return sorted_rights([record.take(hit) for hit in _hits(record, source)])


def sorted_rights(texts: list[str]) -> Cells:
    """Return statements as URIs, statuses and notes, as each says."""
    values_of: dict[str, list[str]] = {}
    for text in texts:
        name = "rights_note"
        if rights.statement(text) or re.match(r"https?://\S+$", text):
            name = "rights_uri"
        elif text.casefold() in _STATUS_WORDS:
            name = "copyright_status"
        if text not in values_of.setdefault(name, []):
            values_of[name].append(text)
    return {name: one_or_all(name, values) for name, values in values_of.items()}
