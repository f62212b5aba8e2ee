"""IIIF Presentation 3.0: a manifest for each item, a collection for each batch.

Section numbers in comments are those of the IIIF Presentation API 3.0
(https://iiif.io/api/presentation/3.0/).
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base import edtf, naming, persistent, rights
from glassine.base.access import Access
from glassine.base.errors import GlassineError
from glassine.base.records.catalogue import CatalogueRow, Creator, Division, Identifier, Place
from glassine.base.records.embedded import Embedded
from glassine.base.records.given import Institution
from glassine.base.records.render import RenderedFrame, Rendering
from glassine.record import iiif
from glassine.record.given import IiifSection, RecordGiven
from glassine.record.iiif import LanguageMap

VERSION = "3"

CONTEXT = "http://iiif.io/api/presentation/3/context.json"

# The order in which the sides of one object are turned over, then any other part by name.
_PARTS = ("emu", "emulsion", "base", "object", "sleeve")
_PART_NAMES = {
    "emu": "emulsion side",
    "emulsion": "emulsion side",
    "base": "base side",
    "object": "whole object",
}

# By the ending of a picture's name; all others are JPEG.
_MEDIA_TYPES = {
    "webp": "image/webp",
    "avif": "image/avif",
    "jp2": "image/jp2",
    "tif": "image/tiff",
}

# Catalogue text carries no language of its own: 4.4.1 keeps the key `none` for that.
_CATALOGUE_LANGUAGE = "none"


def plain_text(text: str) -> str:
    """Return `text` so that no client takes it for HTML.

    4.5: a value that begins with `<` and ends with `>` counts as HTML; one more blank at
    its end says that it is plain text.
    """
    return f"{text} " if text.startswith("<") and text.endswith(">") else text


class _Html(str):
    """A value that is HTML and is to be taken for it."""

    __slots__ = ()


def _words(*texts: str) -> LanguageMap:
    shown = [str(text) if isinstance(text, _Html) else plain_text(text) for text in texts]
    return {_CATALOGUE_LANGUAGE: shown}


def _english(text: str) -> LanguageMap:
    return {"en": [text]}


def rights_uri(uri: str | None) -> str | None:
    """Return the Creative Commons or RightsStatements.org URI with `http:`, or None for others.

    3.2 `rights`: the URI exactly as its keeper defines it, and both keepers define `http:`.

    >>> rights_uri("https://creativecommons.org/publicdomain/mark/1.0/")
    'http://creativecommons.org/publicdomain/mark/1.0/'
    >>> rights_uri("https://archive.port-ellery.example/rights") is None
    True
    """
    statement = rights.statement(uri)
    return statement.uri if statement else None


def _linked(text: str, uri: str) -> str:
    """Return a name as a link where it has an address: 4.5 lets a value be HTML of some elements,
    `a` among them."""
    if not uri.startswith(("http://", "https://")):
        return text
    return _Html(f'<a href="{html.escape(uri)}">{html.escape(text)}</a>')


def _place(place: Place) -> str:
    """Return a place with what it lies in, the narrowest first."""
    levels = msgspec.structs.asdict(place.levels) if place.levels else {}
    wider = [level for level in reversed(levels.values()) if level and level != place.name]
    return ", ".join([place.name, *wider])


def _identifier(identifier: Identifier) -> str:
    if identifier.type in persistent.NAMES:
        return f"{identifier.value} ({persistent.NAMES[identifier.type]})"
    more = f" ({identifier.type})" if identifier.type else ""
    return f"{identifier.value}{more}"


def _creator(creator: Creator) -> str:
    return f"{creator.name} ({creator.role})" if creator.role else creator.name


def _metadata(
    row: CatalogueRow, item: str, item_rights: rights.Rights, access: Access
) -> list[iiif.Pair]:
    """Return label and value of what the catalogue says, empty columns left out."""
    status = "" if item_rights.status == rights.UNKNOWN else item_rights.status
    rows: list[tuple[str, list[str | None]]] = [
        ("Identifier", [item]),
        ("Other identifier", [_identifier(identifier) for identifier in row.identifiers]),
        ("Other title", [row.alternative]),
        ("Date", [row.date_text or row.edtf]),
        ("Creator", [_linked(_creator(creator), creator.uri) for creator in row.creators]),
        ("Subject", [_linked(subject.term, subject.uri) for subject in row.subjects]),
        ("Person", [_linked(person.name, person.uri) for person in row.people or ()]),
        ("Place", [_linked(_place(place), place.uri) for place in row.places]),
        ("Genre", [row.genre]),
        ("Physical description", [row.physical]),
        ("Extent", [row.extent or None]),
        ("Dimensions", [row.dimensions or None]),
        ("Material", [row.material] if row.item else []),
        ("Language", list(row.languages)),
        ("Collection", [row.collection]),
        ("Rights", [item_rights.name or status, item_rights.note]),
        ("Access", [access.sentence_if_restricted()]),
    ]
    filled = [(label, [text for text in texts if text]) for label, texts in rows]
    return [
        iiif.Pair(label=_english(label), value=_words(*texts)) for label, texts in filled if texts
    ]


def _frames_with_picture(render: Rendering) -> list[RenderedFrame]:
    """Return the frames that have a picture, sides in their order, then as on the film, then by
    frame. Where the film itself numbers all frames of a side, each otherwise, that is their order.
    """
    shown = [frame for frame in render.frames if not frame.skipped]
    numbered = _numbered_parts(shown)

    def place(frame: RenderedFrame) -> tuple[object, ...]:
        part = frame.part or ""
        rank = _PARTS.index(part) if part in _PARTS else len(_PARTS)
        number = frame.film_frame if part in numbered else frame.sequence
        order = naming.film_order(number or None)
        return (rank if part else -1, part, order, frame.master, frame.index)

    return sorted(shown, key=place)


def _numbered_parts(frames: list[RenderedFrame]) -> set[str]:
    """Return the parts ("" for none) whose frames all have a number on the film of their own."""
    numbers: dict[str, list[str]] = {}
    for frame in frames:
        numbers.setdefault(frame.part or "", []).append(frame.film_frame or "")
    return {part for part, own in numbers.items() if all(own) and len(set(own)) == len(own)}


def _canvas_labels(frames: list[RenderedFrame]) -> list[str]:
    """Return what each canvas is called: the side where there are several, and the frame."""
    parts = {frame.part for frame in frames}
    masters = [frame.master for frame in frames]
    names: list[str] = []
    for position, frame in enumerate(frames, 1):
        words = []
        if frame.part and len(parts) > 1:
            words.append(_PART_NAMES.get(frame.part, frame.part))
        if masters.count(frame.master) > 1 or not words:
            words.append(f"frame {frame.index}")
        label = frame.label or ", ".join(words)
        names.append(label if label not in names else f"{label} [{position}]")
    return names


# full/max of the Image API 3.0 was full/full in 2.1 (section 4.2).
_WHOLE = {"3": "full/max/0/default.jpg", "2": "full/full/0/default.jpg"}


def _nothing(path: str, what: str) -> GlassineError:
    return GlassineError.because(
        "record.no_picture",
        path,
        what,
        "at least one frame with a picture, since a manifest must have a canvas.",
        "Open the item in the report: mark a frame as not blank, or add a frame.",
    )


@dataclass(frozen=True)
class _Canvases:
    """What the canvases of an item are made from. address: of its folder, as it is served."""

    address: str
    section: IiifSection
    embedded: Embedded

    def files_of(self, frame: RenderedFrame, use: str) -> list[iiif.Image]:
        """Return the image resources of a frame's derivatives of one use."""
        return [
            iiif.Image(id=f"{self.address}/{file.path}", width=file.width, height=file.height)
            for file in self.embedded.files
            if (file.use, file.master, file.index) == (use, frame.master, frame.index)
        ]

    def sets_of(self, frame: RenderedFrame) -> list[iiif.Image]:
        """Return the further pictures of a frame that the settings want to be published."""
        linked = {each.name: each for each in frame.alternates if each.linked is True}
        found = []
        for file in self.embedded.files:
            name = file.path.rpartition("/")[2]
            if file.master == frame.master and file.index == frame.index and name in linked:
                found.append(
                    iiif.Image(
                        id=f"{self.address}/{file.path}",
                        format=_MEDIA_TYPES.get(name.rpartition(".")[2], "image/jpeg"),
                        width=file.width,
                        height=file.height,
                        label=_words(str(linked[name].set)),
                    )
                )
        return found

    def painting(self, frame: RenderedFrame, access: list[iiif.Image]) -> iiif.Image:
        """Return the picture on a canvas: the tile service, or the access image without one."""
        if not frame.tiles:
            return access[0]
        width, height = _size(frame)
        address = f"{self.section.address}/{frame.iiif_id}"
        api = self.section.image_api
        service = (iiif.ImageService2 if api == "2" else iiif.ImageService3)(id=address)
        return iiif.Image(
            id=f"{address}/{_WHOLE[api]}", width=width, height=height, service=[service]
        )

    def canvas(self, number: int, label: str, frame: RenderedFrame) -> iiif.Canvas:
        canvas = f"{self.address}/canvas/{number}"
        access = self.files_of(frame, "access")
        if not frame.tiles and not access:
            raise _nothing(frame.master, f"Frame {frame.index} has neither tiles nor an image.")
        width, height = _size(frame)
        picture = iiif.Annotation(
            id=f"{canvas}/page/picture", target=canvas, body=self.painting(frame, access)
        )
        return iiif.Canvas(
            id=canvas,
            label=_words(label),
            width=width,
            height=height,
            items=[iiif.AnnotationPage(id=f"{canvas}/page", items=[picture])],
            thumbnail=self.files_of(frame, "thumb") or UNSET,
            rendering=[*[_download(file) for file in access], *self.sets_of(frame)] or UNSET,
        )


def _size(frame: RenderedFrame) -> tuple[int, int]:
    """Return width and height of a frame's full picture in px."""
    assert frame.width is not None  # of a frame that was not left out
    assert frame.height is not None
    return frame.width, frame.height


def _download(file: iiif.Image) -> iiif.Image:
    return iiif.Image(
        id=file.id, width=file.width, height=file.height, label=_english("Access image")
    )


def _provider(institution: Institution) -> list[iiif.Agent]:
    name = _words(institution.name)
    page = iiif.Page(id=institution.homepage, label=name)
    homepage = [page] if institution.homepage else UNSET
    return [iiif.Agent(id=institution.id, label=name, homepage=homepage)]


def _statement(item_rights: rights.Rights, institution: Institution) -> iiif.Pair:
    """Return what must be shown: credit line, holder, institution, and the rights statement."""
    texts = [item_rights.credit, item_rights.holder, institution.name, item_rights.name]
    lines = list(dict.fromkeys(text for text in texts if text))
    return iiif.Pair(label=_english("Attribution"), value=_words(*lines))


def manifest(given: RecordGiven, render: Rendering, embedded: Embedded) -> iiif.Manifest:
    """Return the IIIF Presentation 3.0 manifest of an item.

    A canvas has the size of its frame's full picture, which is the size of the tile service.
    Addresses: `<base>/<item>/` holds the item's folder, `<base>/<iiif id>` the tile service.
    Raises GlassineError (record.no_picture) where no frame has a picture.
    """
    row, section = given.row, given.settings.iiif
    address = f"{section.address}/{given.item}"
    item_rights = given.rights
    frames = shown_frames(given.item, render)
    makers = _Canvases(address, section, embedded)
    canvases = [
        makers.canvas(number, label, frame)
        for number, (label, frame) in enumerate(zip(_canvas_labels(frames), frames, strict=True), 1)
    ]
    return iiif.Manifest(
        context=CONTEXT,
        id=f"{address}/manifest.json",
        label=_words(row.title or given.item),
        metadata=_metadata(row, given.item, item_rights, given.access),
        required_statement=_statement(item_rights, given.institution),
        provider=_provider(given.institution),
        behavior=["individuals"],
        see_also=[_mets(address)],
        items=canvases,
        summary=_words(row.description) if row.description else UNSET,
        rights=rights_uri(item_rights.uri) or UNSET,
        nav_date=edtf.nav_date(row.edtf) or UNSET,
        thumbnail=canvases[0].thumbnail,
        structures=_structures(address, row, render, frames, canvases),
    )


def shown_frames(item: str, render: Rendering) -> list[RenderedFrame]:
    """Return the frames that have a picture. Raises GlassineError where none has one."""
    frames = _frames_with_picture(render)
    if frames:
        return frames
    what = "Every frame is blank or excluded."
    raise _nothing(item, what if render.frames else "No frame was found on its masters.")


def _mets(address: str) -> iiif.Dataset:
    return iiif.Dataset(
        id=f"{address}/METS.xml",
        format="application/xml",
        profile="http://www.loc.gov/METS/",
        label=_english("Preservation record (METS)"),
    )


# What a range is called, and its canvases.
_Parts = list[tuple[LanguageMap, list[iiif.Canvas]]]


def _structures(
    address: str,
    row: CatalogueRow,
    render: Rendering,
    frames: list[RenderedFrame],
    canvases: list[iiif.Canvas],
) -> list[iiif.Range] | UnsetType:
    """Return the ranges (5.4): the item's sides, then the catalogue's divisions."""
    parts = [*_sides(frames, canvases), *_divisions(row.structure, render, frames, canvases)]
    return [
        iiif.Range(
            id=f"{address}/range/{number}",
            label=label,
            items=[iiif.CanvasReference(id=canvas.id) for canvas in part_canvases],
        )
        for number, (label, part_canvases) in enumerate(parts, 1)
    ] or UNSET


def _divisions(
    structure: list[Division],
    render: Rendering,
    frames: list[RenderedFrame],
    canvases: list[iiif.Canvas],
) -> _Parts:
    """Return one range for each of the catalogue's divisions (5.4).

    Divisions count all frames through the item, as METS does; one whose frames have no picture
    gives no range, since a range must hold something.
    """
    masters = list(dict.fromkeys(frame.master for frame in render.frames))
    counted = sorted((masters.index(frame.master), frame.index) for frame in render.frames)
    canvas_of = {
        (masters.index(frame.master), frame.index): canvas
        for frame, canvas in zip(frames, canvases, strict=True)
    }
    parts: _Parts = []
    for division in structure:
        places = [counted[number - 1] for number in division.frames if number <= len(counted)]
        if part_canvases := [canvas_of[place] for place in places if place in canvas_of]:
            parts.append((_words(division.label), part_canvases))
    return parts


def _sides(frames: list[RenderedFrame], canvases: list[iiif.Canvas]) -> _Parts:
    """Return one range a side where the item was captured from several (5.4)."""
    parts = list(dict.fromkeys(frame.part for frame in frames))
    if len(parts) < 2:
        return []
    return [
        (
            _words(_PART_NAMES.get(part or "", part or "picture")),
            [canvas for frame, canvas in zip(frames, canvases, strict=True) if frame.part == part],
        )
        for part in parts
    ]


def collection(
    batch: str,
    title: str | None,
    entries: list[dict[str, Any]],
    base_url: str,
    institution: Institution,
    rolls: Mapping[str, tuple[str, str]] | None = None,
) -> iiif.Collection:
    """Return the IIIF Presentation 3.0 collection of a batch.

    entries: the manifests of its items as their files hold them, in the order in which they are
    to be listed; only id, label, thumbnail and navDate of each are taken. base_url: as
    `iiif.base_url` of the settings. rolls: {address of a manifest: (its roll, its place on it)};
    the items of a roll are listed in a collection of their own (5.1), as the film counts.
    """
    address = f"{base_url.rstrip('/')}/collection/{batch}"
    return iiif.Collection(
        context=CONTEXT,
        id=f"{address}.json",
        label=_words(title or batch),
        required_statement=_statement(rights.Rights(), institution),
        provider=_provider(institution),
        items=_by_roll(entries, address, rolls or {}),
    )


def _by_roll(
    entries: list[dict[str, Any]], address: str, rolls: Mapping[str, tuple[str, str]]
) -> list[dict[str, Any]]:
    """Return manifests as a collection lists them, each roll's in one where its first one stood."""
    keys = ("id", "type", "label", "thumbnail", "navDate")
    listed: list[dict[str, Any]] = []
    of_roll: dict[str, list[tuple[Any, dict[str, Any]]]] = {}
    collections: dict[str, dict[str, Any]] = {}
    for entry in entries:
        line = {key: entry[key] for key in keys if key in entry}
        roll, place = rolls.get(str(entry.get("id")), ("", ""))
        if not roll:
            listed.append(line)
            continue
        if roll not in collections:
            own = f"{address}/{quote(roll, safe='')}.json"
            collections[roll] = {"id": own, "type": "Collection", "label": _words(roll)}
            listed.append(collections[roll])
        of_roll.setdefault(roll, []).append((naming.film_order(place or None), line))
    for roll, members in of_roll.items():
        in_order = sorted(members, key=lambda member: member[0])
        collections[roll]["items"] = [line for _, line in in_order]
    return listed
