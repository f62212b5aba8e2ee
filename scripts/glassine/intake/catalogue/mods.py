"""One MODS 3 record as cells of a catalogue row."""

from __future__ import annotations

import re
from typing import Any

from glassine.base import edtf as dates
from glassine.base import rights
from glassine.base.vocabulary import MATERIAL_FORMS, RIGHTS_LABELS
from glassine.intake import date_words
from glassine.intake.catalogue.xml import XLINK, Cells, Reading
from glassine.intake.given import CatalogueSection

_FIELD_OF_LABEL = {
    RIGHTS_LABELS["status"]: "copyright_status",
    RIGHTS_LABELS["holder"]: "rights_holder",
    RIGHTS_LABELS["credit"]: "credit",
}
_DECAY = re.compile(r"decay level ([0-6]) of 6")
# MODS 3.8, dateDefinition: qualifier. How a date in words says the same, and as EDTF's mark.
_QUALIFIERS = {"approximate": ("approximately {}", "~"), "questionable": ("{}?", "?"),
               "inferred": ("[{}]", "")}  # fmt: skip
_W3CDTF = re.compile(r"(\d{4}(?:-\d\d(?:-\d\d)?)?)(?:T[0-9:.]{2,20}(?:Z|[+-]\d\d:\d\d)?)?")
_BASIC_DAY = re.compile(r"(\d{4})(\d\d)(\d\d)")
_MARC_YEAR = re.compile(r"[\du]{4}")
_STATUS_WORDS = {"public domain", "copyrighted", "in copyright"}


def cells(record: Reading, section: CatalogueSection) -> Cells:
    """Return the cells of a MODS record, unread parts under their paths.

    section: the settings `catalogue`; see `xml_rows.rows`.
    """
    item = number(record, section.item_identifier)
    titles = "mods:titleInfo[not(@type)][1]/mods:"
    cell_values: Cells = {
        "item_id": item,
        "title": _title(record, titles),
        "alternative": record.first("mods:titleInfo[@type='alternative']/mods:title"),
        "description": record.blocks("mods:abstract"),
        **_dated(record),
        "creator": [_name(record, name) for name in record.all("mods:name")],
        **_subjects(record),
        "languages": record.texts("mods:language/mods:languageTerm[@type='code']"),
        "genre": record.first("mods:genre"),
        **_physical(record, section),
        **_access(record),
        "identifiers": _identifiers(record),
        "collection": record.first("mods:relatedItem[@type='host']/mods:titleInfo/mods:title"),
    }
    _known_attributes(record)
    return cell_values | record.beside(cell_values)


def by_helper(record: Reading, section: CatalogueSection, item: str) -> Cells:
    """Return what paths of a mapping table cannot say: the item number where the mapping does not
    (item: as it does) with the other identifiers, dates, material and rights."""
    own = item or number(record, section.item_identifier)
    return {
        "item_id": own,
        "identifiers": _identifiers(record),
        **_dated(record),
        **_physical(record, section),
        **_access(record),
    }


def _known_attributes(record: Reading) -> None:
    """Mark what the paths above have looked at, and what the reader's own words replace."""
    for path, names in (
        ("mods:titleInfo[@type='alternative']", ("type",)),
        ("mods:relatedItem[@type='host']", ("type",)),
        ("mods:language/mods:languageTerm[@type='code']", ("type", "authority")),
    ):
        for element in record.all(path):
            for name in names:
                record.attribute(element, name)
    for path, words in (
        ("mods:typeOfResource", "still image"),
        ("mods:physicalDescription/mods:digitalOrigin", "digitized other analog"),
    ):
        for element in record.all(path):
            if record.peek(element) == words:
                record.text(element)


def number(record: Reading, item_type: str | None) -> str:
    """Return the item number: the identifier of the type wanted (else the first), else the
    record's own."""
    named = [identifier for identifier in record.all("mods:identifier") if record.peek(identifier)]
    chosen = [
        identifier for identifier in named if not item_type or identifier.get("type") == item_type
    ]
    record_numbers = record.all("mods:recordInfo/mods:recordIdentifier")
    for element in [*chosen, *record_numbers][:1]:
        item = record.text(element)
        record.attribute(element, "type")
        for other in record_numbers:
            if record.peek(other) == item:
                record.text(other)
        return item
    return ""


def _identifiers(record: Reading) -> list[dict[str, str]]:
    entries = []
    for element in record.all("mods:identifier"):
        if record.is_used(element) or not record.peek(element):
            continue
        kind = record.attribute(element, "type") or "local"
        entries.append({"type": kind, "value": record.text(element)})
    return entries


def _title(record: Reading, start: str) -> str:
    title = " ".join(record.texts(start + "nonSort") + record.texts(start + "title"))
    for part, mark in (("subTitle", ": "), ("partNumber", ". "), ("partName", ". ")):
        title = mark.join([title, *record.texts(start + part)])
    return title


def _name(record: Reading, name: Any) -> dict[str, str]:
    def inner(path: str) -> list[Any]:
        elements: list[Any] = name.xpath(path, namespaces={"mods": name.nsmap[name.prefix]})
        return elements

    terms = inner("mods:role/mods:roleTerm[@type='text']") or inner("mods:role/mods:roleTerm")
    for term in terms[:1]:
        record.attribute(term, "type")
        record.attribute(term, "authority")
    parts = inner("mods:namePart[not(@type='date')]")
    for part in parts:
        record.attribute(part, "type")
    return {
        "name": ", ".join(record.text(part) for part in parts if record.peek(part)),
        "role": record.text(terms[0]) if terms else "",
        "uri": record.attribute(name, "valueURI"),
        "authority": record.attribute(name, "authority"),
    }


def _subjects(record: Reading) -> Cells:
    topics = []
    for topic in record.all("mods:subject/mods:topic"):
        holder = topic.getparent()
        topics.append(
            {
                "term": record.text(topic),
                "uri": record.attribute(topic, "valueURI") or record.attribute(holder, "valueURI"),
                "authority": record.attribute(topic, "authority")
                or record.attribute(holder, "authority"),
            }
        )
    return {
        "subjects": topics,
        "places": [_place(record, place) for place in record.all("mods:subject/mods:geographic")]
        + _unnamed_places(record),
        "people": [_person(record, name) for name in record.all("mods:subject/mods:name")],
    }


def _person(record: Reading, name: Any) -> dict[str, str]:
    parts = [each for each in name if record.peek(each) and each.get("type") != "date"]
    parts = [each for each in parts if each.tag == f"{{{name.nsmap[name.prefix]}}}namePart"]
    for part in parts:
        record.attribute(part, "type")
    holder = name.getparent()
    return {
        "name": ", ".join(record.text(part) for part in parts),
        "uri": record.attribute(name, "valueURI") or record.attribute(holder, "valueURI"),
        "authority": record.attribute(name, "authority") or record.attribute(holder, "authority"),
        "kind": record.attribute(name, "type"),
    }


# Where a place lies, by the elements of hierarchicalGeographic that a record has a place for.
_LEVELS = {
    "country": "country",
    "state": "state",
    "province": "state",
    "county": "county",
    "city": "city",
    "citySection": "section",
}


def _place(record: Reading, place: Any) -> dict[str, str]:
    holder = place.getparent()
    return {
        "name": record.text(place),
        "uri": record.attribute(place, "valueURI") or record.attribute(holder, "valueURI"),
        "authority": record.attribute(place, "authority") or record.attribute(holder, "authority"),
        **_levels_in(record, holder),
    }


def _levels_in(record: Reading, subject: Any) -> dict[str, str]:
    """Return the parts of a place that a subject names; a second one of a level stays unread."""
    space = subject.nsmap[subject.prefix]
    found: dict[str, str] = {}
    for element in subject.iterfind(f"{{{space}}}hierarchicalGeographic/*"):
        name = element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""
        level = _LEVELS.get(name)
        if level and level not in found and record.peek(element):
            found[level] = record.text(element)
    return found


def _unnamed_places(record: Reading) -> list[dict[str, str]]:
    """Return the places that are named by their parts alone."""
    places = []
    for subject in record.all("mods:subject[mods:hierarchicalGeographic][not(mods:geographic)]"):
        levels = _levels_in(record, subject)
        order = [level for level in dict.fromkeys(_LEVELS.values()) if level in levels]
        if order:
            uri, authority = (record.attribute(subject, key) for key in ("valueURI", "authority"))
            name = levels[order[-1]]
            places.append({"name": name, "uri": uri, "authority": authority, **levels})
    return places


def _physical(record: Reading, section: CatalogueSection) -> Cells:
    words = {word.casefold(): word for word in section.materials}
    words |= {form: material for material, form in MATERIAL_FORMS.items()}
    words |= {material: material for material in MATERIAL_FORMS}
    material, decay = "", ""
    for form in record.all("mods:physicalDescription/mods:form"):
        stated_material = words.get(record.peek(form).casefold())
        if stated_material and not material:
            material = stated_material
            record.text(form)
            record.attribute(form, "type")
    for note in record.all("mods:physicalDescription/mods:note[@type='condition']"):
        level = _DECAY.fullmatch(record.peek(note))
        if level and not decay:
            decay = level[1]
            record.text(note)
            record.attribute(note, "type")
    extent = record.first("mods:physicalDescription/mods:extent")
    found = {"physical": extent, "material": material, "decay_level": decay}
    for name in ("extent", "dimensions"):
        for note in record.all(f"mods:physicalDescription/mods:note[@type='{name}']")[:1]:
            record.attribute(note, "type")
            found[name] = record.text(note)
    return found


# --- dates ---


def _dated(record: Reading) -> Cells:
    """Return the date in words and as EDTF. Dates other than dateCreated stay unread: when a
    photograph was issued, copied or protected is not when it was taken."""
    listed = [
        element
        for element in record.all("mods:originInfo/mods:dateCreated")
        if record.peek(element)
    ]
    plain = [element for element in listed if not element.get("point")]
    words_in = next((element for element in plain if not element.get("encoding")), None)
    coded_in = next((element for element in plain if element.get("encoding") == "edtf"), None)
    coded_in = (
        coded_in
        if coded_in is not None
        else next((element for element in plain if element.get("encoding")), None)
    )
    ends = [next((e for e in listed if e.get("point") == end), None) for end in ("start", "end")]
    words = "" if words_in is None else _words(record, words_in)
    if coded_in is not None and _coded(record, coded_in):
        edtf = _take(record, coded_in)
    elif any(element is not None for element in ends):
        edtf, spelled = _range(record, ends[0], ends[1])
        words = words or spelled
    else:
        edtf = ""
    return {"date": words, "date_edtf": _with_doubts(edtf, words) if edtf else ""}


def _words(record: Reading, element: Any) -> str:
    """Return the words of a date with what its qualifier says of them."""
    text = record.text(element)
    form, mark = _QUALIFIERS.get(element.get("qualifier"), ("{}", ""))
    if element.get("qualifier") in _QUALIFIERS:
        record.attribute(element, "qualifier")
    record.attribute(element, "keyDate")
    already_marked = mark in (date_words.to_edtf(text) or "") if mark else text.startswith("[")
    return text if already_marked else form.format(text)


def _coded(record: Reading, element: Any) -> str:
    """Return a date of figures as EDTF with its qualifier's mark, or nothing; uses nothing."""
    encoding = element.get("encoding") or ""
    edtf = _figures(record.peek(element), encoding)
    if not edtf or (not dates.is_valid(edtf) and encoding != "edtf"):
        return ""
    mark = _QUALIFIERS.get(element.get("qualifier"), ("", ""))[1]
    return edtf if mark in edtf or "/" in edtf else edtf + mark


def _figures(text: str, encoding: str) -> str:
    """Return a date of figures as EDTF as its encoding reads them, or nothing."""
    if encoding not in ("", "edtf", "w3cdtf", "iso8601", "marc"):
        return ""
    if encoding == "edtf":
        return text
    if match := _W3CDTF.fullmatch(text):
        return match[1]
    if encoding == "iso8601" and (match := _BASIC_DAY.fullmatch(text)):
        return "-".join(match.groups())
    if encoding == "marc" and _MARC_YEAR.fullmatch(text):
        return text.replace("u", "X")
    return "" if encoding else date_words.to_edtf(text) or ""


def _take(record: Reading, element: Any) -> str:
    edtf = _coded(record, element)
    record.text(element)
    for name in ("encoding", "point", "keyDate"):
        record.attribute(element, name)
    if element.get("qualifier") in _QUALIFIERS:
        record.attribute(element, "qualifier")
    return edtf


def _range(record: Reading, start: Any, end: Any) -> tuple[str, str]:
    """Return the EDTF of a start and an end (either may lack), or the words of both where one
    of them is no date of figures."""
    sides = [side for side in (start, end) if side is not None]
    coded = [_coded(record, side) for side in sides]
    unclear = [side for side in coded if not side or "/" in side or side[0] in "[{"]
    written = " - ".join(record.peek(side) for side in sides)
    for side in sides:
        _take(record, side)
    if unclear:
        return "", written
    first = coded[0] if start is not None else ".."
    last = coded[-1] if end is not None else ".."
    if first.strip("~?") == last.strip("~?"):
        return first, ""
    # MARC's 9999 is an end that is not known yet (MARC 21, 008/11-14).
    return f"{first}/{'..' if last == '9999' else last}", ""


def _with_doubts(edtf: str, words: str) -> str:
    """Return the date with the doubts that its words have and its figures cannot."""
    in_words = date_words.to_edtf(words) if words else None
    same = in_words and re.sub("[~?%]", "", in_words) == edtf
    return in_words if same and in_words else edtf


# --- rights ---


def _access(record: Reading) -> Cells:
    """Return the rights. Conditions of another kind, restrictions first of all, stay unread:
    they are told, and hold the item."""
    values_of: dict[str, list[str]] = {}
    for condition in record.all("mods:accessCondition"):
        kind = re.sub(r"[\W_]+", "", condition.get("type") or "").casefold()
        label = condition.get("displayLabel") or ""
        field = _FIELD_OF_LABEL.get(label)
        if kind not in ("", "useandreproduction"):
            continue
        record.attribute(condition, "type")
        if field:
            record.attribute(condition, "displayLabel")
            values_of.setdefault(field, []).append(record.text(condition))
            continue
        uri, text = record.attribute(condition, f"{{{XLINK}}}href"), record.block(condition)
        statement = rights.statement(uri or text)
        if not uri and (statement or re.match("https?://", text)):
            uri, text = text, ""
        if text in (uri, statement.name if statement else uri):
            text = ""
        if " ".join(text.casefold().split()) in _STATUS_WORDS:
            values_of.setdefault("copyright_status", []).append(text)
            text = ""
        for name, value in (("rights_uri", uri), ("rights_note", text)):
            if value:
                values_of.setdefault(name, []).append(value)
    return {name: one_or_all(name, values) for name, values in values_of.items()}


def one_or_all(name: str, values: list[str]) -> str:
    """Return values of one field: notes as paragraphs; of the rest those that differ, side by
    side, which no check lets pass as one."""
    if name == "rights_note":
        return "\n".join(values)
    if name == "rights_uri":
        statements = {rights.statement(value) for value in values}
        values = values[:1] if len(statements) == 1 and None not in statements else values
    return " | ".join(dict.fromkeys(values))
