"""The words of the workflow as types: what intake knows of an item, and what locate found.

Coordinates are master pixels as stored: origin at the outer corner of the top-left
pixel, x right, y down; the centre of a pixel is at +0.5. Corners come in the order
top-left, top-right, bottom-right, bottom-left as seen in the master.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal, NewType, Self

import msgspec

from glassine.base.records import Record
from glassine.base.records.parts import Number

ItemId = NewType("ItemId", str)
BatchId = NewType("BatchId", str)

Point = tuple[float, float]
Corners = tuple[Point, Point, Point, Point]
Polarity = Literal["negative", "positive"]
Process = Literal["colour", "monochrome"]
# What a resolution rests on; the first two are said, the others measured (see locate.scale).
PpiSource = Literal[
    "tag",
    "batch",
    "perforations",
    "film width",
    "mount",
    "picture size",
    "stated kind",
    "catalogue",
]

# What lies on the light table; `auto` leaves it to locate.
KINDS = (
    "auto",
    "frame_135",  # one 35 mm frame behind an opaque mask
    "mounted_slide",  # a 35 mm slide in its mount
    "sheet",  # sheet film, any size
    "plate",  # glass plate
    "lantern",  # lantern slide with a paper mask
    "strip_135",  # 35 mm roll-film strip with perforations
    "strip_120",  # 120 roll-film strip
    "cut_frames",  # hand-cut pieces on a glass carrier
    "print",  # reflective print
)
# Kinds that are positives as a rule. Paper negatives and mounted ones exist: they are stated so.
POSITIVE_KINDS = ("print", "lantern", "mounted_slide")


class Facts(Record, frozen=True):
    """What batch.yaml states of a master; `auto` and None mean: not stated.

    rotate: clockwise quarter turns in degrees (0, 90, 180, 270) that bring the picture upright.
    crop: "picture" (the image area), "object" (the whole piece plus a margin) or "whole" (all of
    the master).
    nominal_ppi: pixels per inch in the plane of the film, as the studio set it.
    required_ppi: what was agreed to be enough for the batch, in place of the table of limits.
    size_mm: (width, height) of the picture in mm where the studio states it.
    frames: how many pictures the master shows, where the studio states it.
    film: what the negatives of one roll, pack or sleeve have in common, by its name; film_from: who
    names it.
    slopes: the film's density slope per channel (R, G, B), where the studio states it.
    encoding: of masters without an ICC profile: "srgb", "linear", "gamma-2.2", "gamma-1.8".
    restore: "none" or "faded", in place of the setting `tone.restore`.
    for_part: names of the facts that batch.yaml states of the master's part, not of its item.
    polarity_of_kind: whether one entry states kind and polarity together.
    """

    kind: str = "auto"
    polarity: str = "auto"
    process: str = "auto"
    emulsion_side: str = "auto"
    rotate: int = 0
    crop: str = "picture"
    nominal_ppi: Number | None = None
    required_ppi: Number | None = None
    size_mm: tuple[float, float] | None = None
    frames: int | None = None
    film_stock: str | None = None
    film: str | None = None
    film_from: Literal["batch.yaml", "catalogue"] | None = None
    slopes: tuple[float, float, float] | None = None
    encoding: str | None = None
    restore: str | None = None
    operator: str | None = None
    for_part: tuple[str, ...] = ()
    polarity_of_kind: bool = False

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        known = dict(values)
        known["for_part"] = tuple(values.get("for_part", ()))
        for name in ("size_mm", "slopes"):
            if known.get(name) is not None:
                known[name] = tuple(float(value) for value in known[name])
        return cls(**known)

    def as_dict(self) -> dict[str, Any]:
        known: dict[str, Any] = plain(msgspec.structs.asdict(self))
        return known


@dataclass(frozen=True)
class Side:
    """How well one side of a frame was found.

    name: left, top, right or bottom as seen in the master; found: whether an edge was
    measured (else it was taken from the other sides and the known size);
    residual_px: robust spread of the edge points about the fitted line, in master px.
    """

    name: str
    found: bool
    residual_px: float
    contrast: float = 0.0


@dataclass(frozen=True)
class Measured:
    """What locate measured of a frame before a person decided about it; words as in `Frame`."""

    corners: Corners
    polarity: Polarity
    process: Process
    blank: bool
    confidence: float
    state: Literal["ok", "review"]
    reasons: tuple[str, ...] = ()

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        known = dict(values)
        known["corners"] = tuple((float(x), float(y)) for x, y in values["corners"])
        known["reasons"] = tuple(values.get("reasons", ()))
        return cls(**known)


@dataclass(frozen=True)
class Frame:
    """One picture on a master; see the module's note on coordinates.

    angle_deg: clockwise rotation of the frame's top edge from the x axis, in degrees.
    rotate: clockwise quarter turns (degrees) and mirror: left-right, applied after deskew.
    keystone_deg: largest difference between opposite sides' directions, in degrees.
    process_stated: whether batch.yaml or a person says the process, else it was recognised.
    measured: of a frame that a person decided about (source "correction"): what locate had
    measured, None where the person added the frame. film_frame: its number on the film ("12",
    "12A") by the codes in the film's margin, None where it is not told.
    """

    index: int
    corners: Corners
    angle_deg: float
    polarity: Polarity
    process: Process
    rotate: int = 0
    mirror: bool = False
    blank: bool = False
    confidence: float = 0.0
    state: Literal["ok", "review"] = "review"
    reasons: tuple[str, ...] = ()
    source: Literal["measured", "correction"] = "measured"
    sides: tuple[Side, ...] = ()
    keystone_deg: float = 0.0
    excluded: bool = False
    process_stated: bool = False
    measured: Measured | None = None
    film_frame: str | None = None

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        known = dict(values)
        known["corners"] = tuple((float(x), float(y)) for x, y in values["corners"])
        known["reasons"] = tuple(values.get("reasons", ()))
        known["sides"] = tuple(Side(**side) for side in values.get("sides", ()))
        measured = values.get("measured")
        known["measured"] = Measured.from_dict(measured) if measured else None
        return cls(**known)


# What a piece on the table was taken for: one picture's film or paper, roll film, a mount with a
# picture in it; what lies beside them, or over them; or none of these.
TAKEN_FOR = ("frame", "strip", "mount", "label", "ruler", "target", "mask", "unexplained")


@dataclass(frozen=True)
class MasterPiece:
    """Something on the table, or an area of it like a picture that no frame covers.

    corners: its outline, master px; taken_for: one of TAKEN_FOR.
    """

    corners: Corners
    taken_for: str

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        corners: Any = tuple((float(x), float(y)) for x, y in values["corners"])
        return cls(corners, values["taken_for"])


@dataclass(frozen=True)
class EdgeCode:
    """A bar code in the margin of film. at: its centre, master px. counts: whether others agree."""

    text: str
    at: Point
    counts: bool


@dataclass(frozen=True)
class FilmEdge:
    """What codes in the margin of a piece of 35 mm film say. frames: those on it, along the film.
    stock: product and generation of the film, as "115-10". emulsion: how it lay, seen from the
    camera, by the pixels as stored; turn: clockwise quarter turns (degrees) that bring the writing
    in the margin upright. Each None where it is not told. against: in words, why numbers are not.
    """

    frames: tuple[int, ...]
    stock: str | None
    emulsion: Literal["toward", "away"] | None
    turn: int | None
    codes: tuple[EdgeCode, ...]
    against: str = ""

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        known = dict(values)
        known["frames"] = tuple(values["frames"])
        known["codes"] = tuple(
            EdgeCode(code["text"], (float(code["at"][0]), float(code["at"][1])), code["counts"])
            for code in values["codes"]
        )
        return cls(**known)


@dataclass(frozen=True)
class SeenText:
    """Writing that a library read on a master: a suggestion, never a value.

    place: master px, clockwise from where the writing begins, or would if it were not mirrored.
    confidence: the library's own, 0 to 1. turned_degrees: of its baseline, clockwise from the x
    axis; mirrored: whether it reads only left-right mirrored; both None where that is not told. on:
    the margin of 35 mm film, or what the piece was taken for that bears it, or the table.
    """

    text: str
    place: Corners
    confidence: float
    turned_degrees: int | None
    mirrored: bool | None
    on: str

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        known = dict(values)
        known["place"] = tuple((float(x), float(y)) for x, y in values["place"])
        return cls(**known)


@dataclass(frozen=True)
class MasterGeometry:
    """What locate found on one master.

    path: relative to the batch folder. kind: as stated or recognised.
    base_regions: quadrilaterals (master px) of clear film base, for D-min.
    object_corners: outline of the whole piece (sheet, plate, mount), where seen.
    labels: machine-readable labels seen, each {"text", "format", "corners"}.
    orientation: the TIFF's Orientation (1 to 8) as found; `rotate` and `mirror` of its frames
    include it, all coordinates are of the pixels as stored.
    pieces: all that lies on the table, and what it was taken for; older records have none.
    edges: pieces of 35 mm film whose margins show bar codes. notches: shape of a sheet's code
    notch, the depth of each of its parts in half millimetres from the corner on, as "3-2-3".
    seen_text: writing beside the pictures, where the settings ask for it.
    """

    path: str
    width: int
    height: int
    ppi: float | None
    ppi_source: PpiSource | None
    frames: tuple[Frame, ...]
    kind: str = "auto"
    base_regions: tuple[Corners, ...] = ()
    object_corners: Corners | None = None
    labels: tuple[dict[str, Any], ...] = ()
    notes: tuple[str, ...] = ()
    orientation: int = 1
    pieces: tuple[MasterPiece, ...] = ()
    edges: tuple[FilmEdge, ...] = ()
    notches: str | None = None
    seen_text: tuple[SeenText, ...] = ()

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        known = dict(values)
        known["edges"] = tuple(FilmEdge.from_dict(edge) for edge in values.get("edges", ()))
        known["seen_text"] = tuple(SeenText.from_dict(each) for each in values.get("seen_text", ()))
        known["frames"] = tuple(Frame.from_dict(frame) for frame in values["frames"])
        known["base_regions"] = tuple(
            tuple((float(x), float(y)) for x, y in quad) for quad in values.get("base_regions", ())
        )
        outline = values.get("object_corners")
        known["object_corners"] = (
            tuple((float(x), float(y)) for x, y in outline) if outline else None
        )
        known["labels"] = tuple(values.get("labels", ()))
        known["pieces"] = tuple(MasterPiece.from_dict(piece) for piece in values.get("pieces", ()))
        known["notes"] = tuple(values.get("notes", ()))
        return cls(**known)


@dataclass(frozen=True)
class ItemGeometry:
    """geometry.json of an item."""

    item: str
    masters: tuple[MasterGeometry, ...]
    event: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> Self:
        return cls(
            item=values["item"],
            masters=tuple(MasterGeometry.from_dict(master) for master in values["masters"]),
            event=values.get("event", {}),
        )

    def as_dict(self) -> dict[str, Any]:
        known: dict[str, Any] = plain(asdict(self))
        known["masters"] = [_recorded(master) for master in known["masters"]]
        for master in known["masters"]:
            if not master["edges"]:
                del master["edges"]
            if master["notches"] is None:
                del master["notches"]
            if not master["seen_text"]:
                del master["seen_text"]
            for frame in master["frames"]:
                if frame["film_frame"] is None:
                    del frame["film_frame"]
                if frame["source"] == "measured":
                    del frame["measured"]
        return known


# Digits after the point of what geometry.json says, far finer than anything is measured: pictures
# are made from the record, so nothing that it does not hold decides about them.
_DIGITS = {
    "corners": 3,  # px
    "at": 1,
    "place": 1,
    "base_regions": 3,
    "object_corners": 3,
    "residual_px": 3,
    "ppi": 3,
    "angle_deg": 4,
    "keystone_deg": 4,
    "contrast": 4,
    "confidence": 4,
}


def _recorded(value: Any, digits: int = 6) -> Any:
    """Return a part of a master's geometry, its floats rounded to what the record holds."""
    if isinstance(value, dict):
        return {key: _recorded(part, _DIGITS.get(key, digits)) for key, part in value.items()}
    if isinstance(value, list):
        return [_recorded(part, digits) for part in value]
    return round(value, digits) if isinstance(value, float) else value


def plain(value: Any) -> Any:
    """Return `value` with tuples as lists and floats rounded to 1e-6, ready for JSON."""
    if isinstance(value, dict):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if isinstance(value, float):
        return round(value, 6)
    return value


def withdraws_whole(entry: Mapping[str, Any]) -> bool:
    """Return whether an entry of `withdraw` (corrections.yaml, intake.json, a receipt) names its
    item as a whole: no single master of it, and no number of frames that are left."""
    return entry.get("master") is None and entry.get("frames") is None
