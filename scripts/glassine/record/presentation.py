"""IIIF Presentation 3.0: a manifest for each item, a collection for each batch.

Section numbers in comments are those of the IIIF Presentation API 3.0
(https://iiif.io/api/presentation/3.0/).
"""

from __future__ import annotations

from typing import Any

from glassine.base import edtf, rights
from glassine.base.errors import GlassineError

VERSION = "2"

CONTEXT = "http://iiif.io/api/presentation/3/context.json"

# The order in which the sides of one object are turned over, then any other part by name.
_PARTS = ("emu", "base", "object", "sleeve")
_PART_NAMES = {"emu": "emulsion side", "base": "base side", "object": "whole object"}

LanguageMap = dict[str, list[str]]
# Catalogue text carries no language of its own: 4.4.1 keeps the key `none` for that.
_CATALOGUE_LANGUAGE = "none"


def plain_text(text: str) -> str:
    """Return `text` so that no client takes it for HTML.

    4.5: a value that begins with `<` and ends with `>` counts as HTML; one more blank at
    its end says that it is plain text.
    """
    return f"{text} " if text.startswith("<") and text.endswith(">") else text


def _words(*texts: str) -> LanguageMap:
    return {_CATALOGUE_LANGUAGE: [plain_text(text) for text in texts]}


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
    known = rights.statement(uri)
    return known.uri if known else None


def _named(entry: dict[str, Any], name: str, *extra: str) -> str:
    more = ", ".join(str(entry[key]) for key in extra if entry.get(key))
    return f"{entry.get(name, '')} ({more})" if more else str(entry.get(name, ""))


def _rights(record: dict[str, Any], settings: dict[str, Any]) -> rights.Rights:
    return rights.resolved(record["rights"], settings.get("rights"))


def _metadata(
    record: dict[str, Any], item: str, stated: rights.Rights
) -> list[dict[str, LanguageMap]]:
    """Return label and value of what the catalogue says, empty columns left out."""
    status = "" if stated.status == rights.UNKNOWN else stated.status
    rows: list[tuple[str, list[str]]] = [
        ("Identifier", [item]),
        ("Other identifier", [_named(each, "value", "type") for each in record["identifiers"]]),
        ("Other title", [record["alternative"]]),
        ("Date", [record["date_text"] or record["edtf"]]),
        ("Creator", [_named(each, "name", "role") for each in record["creators"]]),
        ("Subject", [each["term"] for each in record["subjects"]]),
        ("Place", [each["name"] for each in record["places"]]),
        ("Genre", [record["genre"]]),
        ("Physical description", [record["physical"]]),
        ("Material", [record["material"]]),
        ("Language", list(record["languages"])),
        ("Collection", [record["collection"]]),
        ("Rights", [stated.name or status, stated.note]),
    ]
    filled = [(label, [text for text in texts if text]) for label, texts in rows]
    return [{"label": _english(label), "value": _words(*texts)} for label, texts in filled if texts]


_EMPTY_RECORD: dict[str, Any] = {
    "title": None, "alternative": None, "description": None, "date_text": None, "edtf": None,
    "creators": [], "subjects": [], "places": [], "identifiers": [], "languages": [],
    "genre": None, "physical": None, "material": None, "rights": {}, "collection": None,
}  # fmt: skip


def _record(given: dict[str, Any]) -> dict[str, Any]:
    known = {key: value for key, value in (given.get("catalogue") or {}).items() if value}
    return {**_EMPTY_RECORD, **known}


def _shown(render: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the frames that have a picture, sides in their order, then by frame."""

    def place(frame: dict[str, Any]) -> tuple[int, str, str, int]:
        part = frame.get("part") or ""
        rank = _PARTS.index(part) if part in _PARTS else len(_PARTS)
        return (rank if part else -1, part, frame["master"], frame["index"])

    return sorted((frame for frame in render["frames"] if not frame.get("skipped")), key=place)


def _canvas_labels(frames: list[dict[str, Any]]) -> list[str]:
    """Return what each canvas is called: the side where there are several, and the frame."""
    parts = {frame.get("part") for frame in frames}
    masters = [frame["master"] for frame in frames]
    names = []
    for position, frame in enumerate(frames, 1):
        words = []
        if frame.get("part") and len(parts) > 1:
            words.append(_PART_NAMES.get(frame["part"], frame["part"]))
        if masters.count(frame["master"]) > 1 or not words:
            words.append(f"frame {frame['index']}")
        label = frame.get("label") or ", ".join(words)
        names.append(label if label not in names else f"{label} [{position}]")
    return names


def _files_of(
    frame: dict[str, Any], embedded: dict[str, Any], use: str, address: str
) -> list[dict[str, Any]]:
    """Return the image resources of a frame's derivatives of one use."""
    return [
        {
            "id": f"{address}/{file['path']}",
            "type": "Image",
            "format": "image/jpeg",
            "width": file["width"],
            "height": file["height"],
        }
        for file in embedded["files"]
        if file["use"] == use
        and file["master"] == frame["master"]
        and file["index"] == frame["index"]
    ]


# full/max of the Image API 3.0 was full/full in 2.1 (section 4.2); its service is told with the
# keys that it has itself (Presentation API 3.0, section 3.2, `service`).
_WHOLE = {"3": "full/max/0/default.jpg", "2": "full/full/0/default.jpg"}


def _service(address: str, image_api: str) -> dict[str, str]:
    if image_api == "2":
        profile = "http://iiif.io/api/image/2/level0.json"
        return {"@id": address, "@type": "ImageService2", "profile": profile}
    return {"id": address, "type": "ImageService3", "profile": "level0"}


def _painting(
    frame: dict[str, Any], access: list[dict[str, Any]], settings: dict[str, Any]
) -> dict[str, Any]:
    """Return the picture on a canvas: the tile service, or the access image where none is made."""
    if not frame.get("tiles"):
        return dict(access[0])
    address = f"{base_url(settings)}/{frame['iiif_id']}"
    image_api = settings["iiif"].get("image_api", "3")
    return {
        "id": f"{address}/{_WHOLE[image_api]}",
        "type": "Image",
        "format": "image/jpeg",
        "width": frame["width"],
        "height": frame["height"],
        "service": [_service(address, image_api)],
    }


def _canvas(
    number: int,
    label: str,
    frame: dict[str, Any],
    embedded: dict[str, Any],
    address: str,
    settings: dict[str, Any],
) -> dict[str, Any]:
    canvas = f"{address}/canvas/{number}"
    access = _files_of(frame, embedded, "access", address)
    thumbs = _files_of(frame, embedded, "thumb", address)
    if not frame.get("tiles") and not access:
        raise _nothing(frame["master"], f"Frame {frame['index']} has neither tiles nor an image.")
    built: dict[str, Any] = {
        "id": canvas,
        "type": "Canvas",
        "label": _words(label),
        "width": frame["width"],
        "height": frame["height"],
        "items": [
            {
                "id": f"{canvas}/page",
                "type": "AnnotationPage",
                "items": [
                    {
                        "id": f"{canvas}/page/picture",
                        "type": "Annotation",
                        "motivation": "painting",
                        "target": canvas,
                        "body": _painting(frame, access, settings),
                    }
                ],
            }
        ],
    }
    if thumbs:
        built["thumbnail"] = thumbs
    if access:
        built["rendering"] = [{**file, "label": _english("Access image")} for file in access]
    return built


def _nothing(path: str, what: str) -> GlassineError:
    return GlassineError.because(
        "record.no_picture",
        path,
        what,
        "at least one frame with a picture, since a manifest must have a canvas.",
        "Open the item in the report: mark a frame as not blank, or add a frame.",
    )


def _provider(institution: dict[str, Any]) -> list[dict[str, Any]]:
    name = _words(institution["name"])
    agent: dict[str, Any] = {"id": institution["id"], "type": "Agent", "label": name}
    if institution.get("homepage"):
        agent["homepage"] = [
            {"id": institution["homepage"], "type": "Text", "format": "text/html", "label": name}
        ]
    return [agent]


def _statement(stated: rights.Rights, institution: dict[str, Any]) -> dict[str, LanguageMap]:
    """Return what must be shown: credit line, holder, institution, and the rights statement."""
    texts = [stated.credit, stated.holder, institution["name"], stated.name]
    kept = list(dict.fromkeys(text for text in texts if text))
    return {"label": _english("Attribution"), "value": _words(*kept)}


def base_url(settings: dict[str, Any]) -> str:
    """Return the address below which tiles, manifests and item folders are served."""
    return str(settings["iiif"]["base_url"]).rstrip("/")


def manifest(
    given: dict[str, Any],
    render: dict[str, Any],
    embedded: dict[str, Any],
    geometry: dict[str, Any],
) -> dict[str, Any]:
    """Return the IIIF Presentation 3.0 manifest of an item, ready for JSON.

    given: the item as steps get it (catalogue record, settings with `iiif`, institution);
    render, embedded, geometry: what render.json, embedded.json and geometry.json hold.
    A canvas has the size of its frame's full picture, which is the size of the tile service.
    Addresses: `<base>/<item>/` holds the item's folder, `<base>/<iiif id>` the tile service.
    Raises GlassineError (record.no_picture) where no frame has a picture.
    """
    item = given["item"]
    address = f"{base_url(given['settings'])}/{item}"
    record, institution = _record(given), given["institution"]
    stated = _rights(record, given["settings"])
    frames = _shown(render)
    if not frames:
        raise _nothing(
            item,
            "Every frame is blank or excluded."
            if render["frames"]
            else "No frame was found on its masters.",
        )
    labels = _canvas_labels(frames)
    canvases = [
        _canvas(number, label, frame, embedded, address, given["settings"])
        for number, (label, frame) in enumerate(zip(labels, frames, strict=True), 1)
    ]
    built: dict[str, Any] = {
        "@context": CONTEXT,
        "id": f"{address}/manifest.json",
        "type": "Manifest",
        "label": _words(record["title"] or item),
        "metadata": _metadata(record, item, stated),
        "requiredStatement": _statement(stated, institution),
        "provider": _provider(institution),
        "behavior": ["individuals"],
        "seeAlso": [
            {
                "id": f"{address}/METS.xml",
                "type": "Dataset",
                "format": "application/xml",
                "profile": "http://www.loc.gov/METS/",
                "label": _english("Preservation record (METS)"),
            }
        ],
        "items": canvases,
    }
    if record["description"]:
        built["summary"] = _words(record["description"])
    if stated_uri := rights_uri(stated.uri):
        built["rights"] = stated_uri
    if dated := edtf.nav_date(record["edtf"]):
        built["navDate"] = dated
    if "thumbnail" in canvases[0]:
        built["thumbnail"] = canvases[0]["thumbnail"]
    divisions = _divisions(record.get("structure") or [], render, frames, canvases)
    if ranges := [*_sides(frames, canvases), *divisions]:
        numbered = [{"id": f"{address}/range/{n}", **each} for n, each in enumerate(ranges, 1)]
        built["structures"] = numbered
    return built


def _range(label: LanguageMap, canvases: list[dict[str, Any]]) -> dict[str, Any]:
    items = [{"id": canvas["id"], "type": "Canvas"} for canvas in canvases]
    return {"type": "Range", "label": label, "items": items}


def _divisions(
    structure: list[dict[str, Any]],
    render: dict[str, Any],
    frames: list[dict[str, Any]],
    canvases: list[dict[str, Any]],
) -> list[dict[str, Any]]:
    """Return one range for each of the catalogue's divisions (5.4).

    Divisions count all frames through the item, as METS does; one whose frames have no picture
    gives no range, since a range must hold something.
    """
    masters = list(dict.fromkeys(frame["master"] for frame in render["frames"]))
    counted = sorted((masters.index(frame["master"]), frame["index"]) for frame in render["frames"])
    shown = {
        (masters.index(frame["master"]), frame["index"]): canvas
        for frame, canvas in zip(frames, canvases, strict=True)
    }
    found = []
    for division in structure:
        there = [counted[number - 1] for number in division["frames"] if number <= len(counted)]
        if kept := [shown[place] for place in there if place in shown]:
            found.append(_range(_words(division["label"]), kept))
    return found


def _sides(frames: list[dict[str, Any]], canvases: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return one range a side where the item was captured from several (5.4)."""
    parts = list(dict.fromkeys(frame.get("part") for frame in frames))
    if len(parts) < 2:
        return []
    return [
        _range(
            _words(_PART_NAMES.get(part or "", part or "picture")),
            [
                canvas
                for frame, canvas in zip(frames, canvases, strict=True)
                if frame.get("part") == part
            ],
        )
        for part in parts
    ]


def collection(
    batch: str,
    title: str | None,
    entries: list[dict[str, Any]],
    settings: dict[str, Any],
    institution: dict[str, Any],
) -> dict[str, Any]:
    """Return the IIIF Presentation 3.0 collection of a batch.

    entries: the manifests of its items, in the order in which they are to be listed; only
    id, label, thumbnail and navDate of each are taken.
    """
    kept = ("id", "type", "label", "thumbnail", "navDate")
    return {
        "@context": CONTEXT,
        "id": f"{base_url(settings)}/collection/{batch}.json",
        "type": "Collection",
        "label": _words(title or batch),
        "requiredStatement": _statement(rights.Rights(), institution),
        "provider": _provider(institution),
        "items": [{key: entry[key] for key in kept if key in entry} for entry in entries],
    }
