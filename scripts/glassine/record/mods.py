"""MODS 3.8 of an item, from its catalogue record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from glassine.base import rights
from glassine.base.access import OPEN, Access
from glassine.base.film_format import format_of
from glassine.base.markup import Element, add, add_known, element
from glassine.base.model import MasterGeometry
from glassine.base.records.catalogue import CatalogueRow, Creator, Levels
from glassine.base.vocabulary import MATERIAL_FORMS, RESTRICTION, RIGHTS_LABELS

VERSION = "3.8"
# A note on the object itself: type and text.
Note = tuple[str, str]


def build(
    row: CatalogueRow,
    item_rights: rights.Rights,
    item: str,
    keeper: str,
    roll: str | None = None,
    place: str | None = None,
    access: Access = OPEN,
    seen: Sequence[Note] = (),
) -> Element:
    """Return mods:mods. item_rights: as resolved; keeper: the institution's name; access: who may
    see the item; seen: what was measured of the object itself."""
    root = element("mods:mods", version=VERSION)
    _titles(root, row, item)
    for creator in row.creators:
        _name(root, creator)
    add(root, "mods:typeOfResource", "still image")
    add_known(root, "mods:genre", row.genre)
    _dates(root, row)
    for language in row.languages:
        authority = "iso639-2b" if len(language) == 3 else "rfc5646"
        holder = add(root, "mods:language")
        add(holder, "mods:languageTerm", language, type="code", authority=authority)
    _physical(root, row, seen)
    add_known(root, "mods:abstract", row.description)
    _subjects(root, row)
    if row.collection:
        host = add(root, "mods:relatedItem", type="host")
        add(add(host, "mods:titleInfo"), "mods:title", row.collection)
    if roll:
        _roll(root, roll, place)
    add(root, "mods:identifier", item, type="local")
    for identifier in row.identifiers:
        add(root, "mods:identifier", identifier.value, type=identifier.type)
    if keeper:
        add(add(root, "mods:location"), "mods:physicalLocation", keeper)
    _access(root, item_rights)
    add_known(root, "mods:accessCondition", access.sentence_if_restricted(), type=RESTRICTION)
    _origin(root, row, item)
    return root


def _titles(root: Element, row: CatalogueRow, item: str) -> None:
    add(add(root, "mods:titleInfo"), "mods:title", row.title or item)
    if row.alternative:
        other = add(root, "mods:titleInfo", type="alternative")
        add(other, "mods:title", row.alternative)


def _name(root: Element, creator: Creator) -> None:
    name = add(root, "mods:name", authority=creator.authority or None, valueURI=creator.uri)
    add(name, "mods:namePart", creator.name)
    role = creator.role
    if role:
        # MARC relator codes have three letters ("pht"); no word for a role has.
        is_code = len(role) == 3 and role.isascii() and role.islower() and role.isalpha()
        kind, authority = ("code", "marcrelator") if is_code else ("text", None)
        add(add(name, "mods:role"), "mods:roleTerm", role, type=kind, authority=authority)


def _dates(root: Element, row: CatalogueRow) -> None:
    if not row.date_text and not row.edtf:
        return
    origin = add(root, "mods:originInfo")
    add_known(origin, "mods:dateCreated", row.date_text)
    if row.edtf:
        add(origin, "mods:dateCreated", row.edtf, encoding="edtf", keyDate="yes")


def seen_of(
    masters: Sequence[MasterGeometry],
    film_names: Mapping[str, str],
    notch_names: Mapping[str, str],
) -> list[Note]:
    """Return what masters show of the object: the size of sheet, plate or slide by name, the kinds
    of film by the codes in its margin, and by the shape of its notches; each once.

    film_names: the studio's, by number; notch_names: the same by shape.
    """
    formats = [format_of(geometry) for geometry in masters]
    sizes = dict.fromkeys(each.name for each in formats if each is not None)
    stocks = dict.fromkeys(edge.stock for each in masters for edge in each.edges if edge.stock)
    shapes = dict.fromkeys(each.notches for each in masters if each.notches)
    named = {each.name: each.words() for each in reversed(formats) if each is not None}
    return [
        *(("format", named[name]) for name in sizes),
        *(("film", _film(stock, film_names.get(stock))) for stock in stocks),
        *(("film", _notched(shape, notch_names)) for shape in shapes),
    ]


def _film(stock: str, name: str | None) -> str:
    code = f"film {stock}, by the code in its margin"
    return f"{name} ({code})" if name else code


def _notched(shape: str, names: Mapping[str, str]) -> str:
    """Return a notch in words. Of shapes that a studio named, one whose every depth differs by half
    a millimetre at the most is meant, where it is the only one."""
    words = f"code notch {shape} (depths in half millimetres, from the corner on)"
    own = [int(depth) for depth in shape.split("-")]
    near = []
    for known, name in names.items():
        depths = [int(depth) for depth in known.split("-")]
        if len(depths) == len(own) and all(
            abs(a - b) <= 1 for a, b in zip(depths, own, strict=True)
        ):
            near.append((known != shape, name))
    exact = [name for other, name in near if not other]
    meant = exact or [name for _, name in near]
    return f"{meant[0]} ({words})" if len(meant) == 1 else words


def _physical(root: Element, row: CatalogueRow, seen: Sequence[Note]) -> None:
    holder = add(root, "mods:physicalDescription")
    add_known(holder, "mods:form", MATERIAL_FORMS.get(row.material), type="material")
    add(holder, "mods:digitalOrigin", "digitized other analog")
    add_known(holder, "mods:extent", row.physical)
    for name in ("extent", "dimensions"):
        add_known(holder, "mods:note", getattr(row, name) or None, type=name)
    if row.decay_level is not None:
        add(holder, "mods:note", f"decay level {row.decay_level} of 6", type="condition")
    for kind, text in seen:
        add(holder, "mods:note", text, type=kind)


def _subjects(root: Element, row: CatalogueRow) -> None:
    for subject in row.subjects:
        holder = add(root, "mods:subject", authority=subject.authority, valueURI=subject.uri)
        add(holder, "mods:topic", subject.term)
    for person in row.people or ():
        holder = add(root, "mods:subject")
        name = add(
            holder,
            "mods:name",
            type=person.kind,
            authority=person.authority,
            valueURI=person.uri,
        )
        add(name, "mods:namePart", person.name)
    for place in row.places:
        holder = add(root, "mods:subject")
        code = place.authority or None
        add(holder, "mods:geographic", place.name, authority=code, valueURI=place.uri)
        if place.levels:
            _levels(holder, place.levels)


# Parts of a place from the widest to the narrowest (MODS 3.8, hierarchicalGeographic).
LEVELS = {
    "country": "country",
    "state": "state",
    "county": "county",
    "city": "city",
    "section": "citySection",
}


def _levels(subject: Element, levels: Levels) -> None:
    holder = add(subject, "mods:hierarchicalGeographic")
    for level, tag in LEVELS.items():
        add_known(holder, f"mods:{tag}", getattr(levels, level))


def _access(root: Element, item_rights: rights.Rights) -> None:
    """Say what may be done: the statement; without one, the status in words."""
    kind = "use and reproduction"
    if item_rights.uri:
        text = item_rights.name or item_rights.uri
        add(root, "mods:accessCondition", text, type=kind, xlink__href=item_rights.uri)
    elif item_rights.status != rights.UNKNOWN:
        label = RIGHTS_LABELS["status"]
        add(root, "mods:accessCondition", item_rights.status, type=kind, displayLabel=label)
    add_known(root, "mods:accessCondition", item_rights.note, type=kind)
    for name in ("holder", "credit"):
        text = getattr(item_rights, name)
        add_known(root, "mods:accessCondition", text, type=kind, displayLabel=RIGHTS_LABELS[name])


def _roll(root: Element, roll: str, place: str | None) -> None:
    """Add the roll that the item is a frame of. place: the frame's number on it."""
    host = add(root, "mods:relatedItem", type="host", displayLabel="roll")
    add(host, "mods:identifier", roll, type="local")
    if place:
        frame = add(add(host, "mods:part"), "mods:detail", type="frame")
        add(frame, "mods:number", place)


def _origin(root: Element, row: CatalogueRow, item: str) -> None:
    info = add(root, "mods:recordInfo")
    add(info, "mods:recordIdentifier", item)
    words = "mapped from the catalogue extract"
    if not row.item:
        words = "no catalogue row was found"
    elif not row.date_understood:
        words += "; the date as written was not understood"
    add(info, "mods:recordOrigin", words)
