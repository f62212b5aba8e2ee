"""What the report reads of the records of a batch: no more of them than it shows.

The page is made whatever the records hold: those of an earlier version lack keys, which have
defaults here, and a damaged one costs the part that is damaged, which the page tells (`take`).
"""

from __future__ import annotations

import typing
from typing import Any, TypeVar

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base.access import Access
from glassine.base.records import Given
from glassine.base.records.corrections import Correction
from glassine.base.tone import FilmNote


class View(Given, frozen=True, kw_only=True):
    """A record as the report reads it; each key of it has a default."""


Kind = TypeVar("Kind", bound=View)


def take(value: Any, kind: type[Kind]) -> tuple[Kind, list[str]]:
    """Return the view of a record, what is damaged in it at its default, and the keys of that.

    value: JSON; where it is no mapping, all of the view is at its defaults.
    """
    try:
        return msgspec.convert(value, kind), []
    except msgspec.ValidationError:
        pass
    if not isinstance(value, dict):
        return kind(), ["(the whole)"]
    sound: dict[str, Any] = {}
    damaged: list[str] = []
    for field in msgspec.structs.fields(kind):
        if field.name in value:
            damaged += _take_part(value[field.name], field, sound)
    return kind(**sound), damaged


def _take_part(value: Any, field: msgspec.structs.FieldInfo, sound: dict[str, Any]) -> list[str]:
    """Put what `value` holds of a key into `sound`; return the names of what is damaged in it."""
    try:
        sound[field.name] = msgspec.convert(value, field.type)
        return []
    except msgspec.ValidationError:
        pass
    inner = _view_of(field.type)
    if inner is None or not isinstance(value, dict):
        return [field.name]
    sound[field.name], damaged = take(value, inner)
    return [f"{field.name}.{name}" for name in damaged]


def _view_of(kind: Any) -> type[View] | None:
    """Return the view that a key holds, also where it may be None."""
    for choice in (kind, *typing.get_args(kind)):
        if isinstance(choice, type) and issubclass(choice, View):
            return choice
    return None


# intake.json


class Name(View, frozen=True, kw_only=True):
    name: str | None = None


class Term(View, frozen=True, kw_only=True):
    term: str | None = None


class Identifier(View, frozen=True, kw_only=True):
    type: str | None = None
    value: str | None = None


class RowAccess(View, frozen=True, kw_only=True):
    """until: last day of an embargo (ISO 8601), "" for none."""

    until: str = ""


class Row(View, frozen=True, kw_only=True):
    """A row of the catalogue. date_understood: whether EDTF was made of the words of the date."""

    item: str | None = None
    title: str | None = None
    alternative: str | None = None
    description: str | None = None
    date_text: str | None = None
    edtf: str | None = None
    date_understood: bool | None = None
    creators: list[Name] | None = None
    subjects: list[Term] | None = None
    places: list[Name] | None = None
    physical: str | None = None
    material: str | None = None
    decay_level: int | None = None
    rights: dict[str, str | None] | None = None
    collection: str | None = None
    identifiers: list[Identifier] | None = None
    access: RowAccess | None = None


class StatedFacts(View, frozen=True, kw_only=True):
    kind: str | None = None


class ListedMaster(View, frozen=True, kw_only=True):
    """A master as intake saw it. path: empty where its line does not say it. size_px: width,
    height."""

    path: str = ""
    part: str | None = None
    sequence: str | None = None
    bytes: int | None = None
    mtime_ns: int | None = None
    size_px: tuple[int | None, int | None] | None = None
    facts: StatedFacts | None = None


class Entry(View, frozen=True, kw_only=True):
    """A line of intake.json. masters: each is a `ListedMaster`, taken by itself, so that a damaged
    one costs no other."""

    item: str = ""
    catalogue: Row | None = None
    corrections: Correction | None = None
    masters: list[Any] | None = None
    findings: list[Any] | None = None


class RowsRead(View, frozen=True, kw_only=True):
    """without_master: ids of items; whole rows in records of earlier versions. Each is taken by
    itself."""

    read: int | None = None
    without_master: list[Any] | None = None


class Expected(View, frozen=True, kw_only=True):
    """What the batch should hold; missing: each is taken by itself."""

    sources: list[str] | None = None
    count: int | None = None
    missing: list[Any] | None = None
    shelf_marks: dict[str, str] | None = None
    surplus: list[str] | None = None
    double: list[str] | None = None
    unread: list[str] | None = None


class Session(View, frozen=True, kw_only=True):
    folder: str = ""
    station: str | None = None
    operators: list[str] | None = None


class Operators(View, frozen=True, kw_only=True):
    capture: str | None = None


class BatchFacts(View, frozen=True, kw_only=True):
    operator: Operators | None = None


class TargetPath(View, frozen=True, kw_only=True):
    path: str | None = None


class Intake(View, frozen=True, kw_only=True):
    """intake.json. items, withdraw: each is taken by itself."""

    title: str | None = None
    items: list[Any] | None = None
    notes: list[Any] | None = None
    rows: RowsRead | None = None
    expected: Expected | None = None
    sessions: list[Session] | None = None
    facts: BatchFacts | None = None
    other_files: list[str] | None = None
    ignored_files: list[str] | None = None
    targets: list[str | TargetPath] | None = None
    withdraw: list[Any] | None = None


class Held(View, frozen=True, kw_only=True):
    """held.json of a batch: the step that failed for it as a whole."""

    time: str | None = None
    findings: list[Any] | None = None


# fixity.json


class Capture(View, frozen=True, kw_only=True):
    taken: str | None = None


class Header(View, frozen=True, kw_only=True):
    """width, height: px."""

    width: int | None = None
    height: int | None = None
    capture: Capture | None = None


class Digests(View, frozen=True, kw_only=True):
    sha256: str | None = None


class VerifiedMaster(Given, frozen=True, kw_only=True):
    path: str
    verdict: str | None = None
    digests: Digests | None = None
    header: Header | None = None
    notes: list[Any] | None = None


class Fixity(View, frozen=True, kw_only=True):
    masters: tuple[VerifiedMaster, ...] = ()


# geometry.json


class Measured(Given, frozen=True, kw_only=True):
    """What was measured of a frame before a person decided. corners: in pixels of the master.
    reasons: why it was doubted then."""

    corners: list[tuple[float, float]]
    polarity: str
    process: str
    blank: bool
    reasons: tuple[str, ...] = ()


class LocatedFrame(Given, frozen=True, kw_only=True):
    """corners: in pixels of the master. angle_deg: of the skew; rotate: clockwise, degrees.
    film_frame: its number on the film, "" where that is not told."""

    index: int
    corners: list[tuple[float, float]]
    angle_deg: float
    rotate: int = 0
    mirror: bool | None = None
    polarity: str
    process: str
    blank: bool | None = None
    excluded: bool | None = None
    confidence: float = 0.0
    state: str
    source: str = "measured"
    reasons: tuple[str, ...] = ()
    measured: Measured | UnsetType | None = UNSET
    film_frame: str = ""


class LocatedMaster(Given, frozen=True, kw_only=True):
    """width, height: px. ppi: pixels per inch in the plane of the film. pieces, object_corners: of
    what lies on the table; each is taken by itself."""

    path: str
    width: int | None = None
    height: int | None = None
    kind: str | None = None
    ppi: int | float | None = None
    ppi_source: str | None = None
    notes: tuple[str, ...] = ()
    frames: tuple[LocatedFrame, ...] = ()
    pieces: Any = None
    object_corners: Any = None


class Ruling(Given, frozen=True, kw_only=True):
    """Where a decision about the frame of this number was applied: on, None where it was not."""

    master: str
    frame: int
    on: int | None = None


class AppliedCorrection(View, frozen=True, kw_only=True):
    """frames: entries of corrections.yaml, on their way to the page as they stand."""

    frames: list[dict[str, Any]] | None = None


class LocateDetail(View, frozen=True, kw_only=True):
    """digests: SHA-256 by path of the captures that the frames were found on."""

    decisions: list[Ruling] | None = None
    corrections: AppliedCorrection | None = None
    digests: dict[str, str] | None = None


class LocateEvent(View, frozen=True, kw_only=True):
    detail: LocateDetail | None = None


class Geometry(View, frozen=True, kw_only=True):
    event: LocateEvent | None = None
    masters: tuple[LocatedMaster, ...] = ()

    @property
    def detail(self) -> LocateDetail:
        return (self.event.detail if self.event else None) or LocateDetail()


# render.json, quality.json, embedded.json


class RenderDetail(View, frozen=True, kw_only=True):
    """notes: what could not be done as the settings ask."""

    notes: list[str] | None = None


class RenderEvent(View, frozen=True, kw_only=True):
    detail: RenderDetail | None = None


class Tiles(Given, frozen=True, kw_only=True):
    """path: of their folder, in the item's."""

    path: str


class FrameTone(Given, frozen=True, kw_only=True):
    """film: the film whose values the frame was rendered with, where masters share it."""

    film: FilmNote | None = None


class RenderedFrame(Given, frozen=True, kw_only=True):
    master: str
    index: int
    tiles: Tiles | None = None
    tone: FrameTone | None = None


class Rendering(View, frozen=True, kw_only=True):
    event: RenderEvent | None = None
    frames: tuple[RenderedFrame, ...] = ()


class Measure(Given, frozen=True, kw_only=True):
    """A measure of a frame, its keys in the order of the record's file."""

    limit: str | None = None
    name: str
    source: str | None = None
    unit: str | None = None
    value: bool | int | float | str | None = None
    verdict: str


class BaseLight(Given, frozen=True, kw_only=True):
    """Light of a master's film base; pieces: (x, y, log10 of light), places as shares."""

    width: int
    height: int
    pieces: list[tuple[float, float, float]]


class MeasuredFrame(Given, frozen=True, kw_only=True):
    master: str
    index: int
    measures: list[Measure]
    base_light: BaseLight | None = None


class Quality(View, frozen=True, kw_only=True):
    frames: tuple[MeasuredFrame, ...] = ()


class EmbeddedFile(Given, frozen=True, kw_only=True):
    """width, height: px."""

    use: str
    path: str
    master: str
    index: int
    width: int
    height: int
    bytes: int | None = None
    sha256: str | None = None


class EmbedDetail(View, frozen=True, kw_only=True):
    """shortened: {picture: names of its fields that hold only the beginning of a text}. access: who
    may see the item, where not all may."""

    shortened: dict[str, list[str]] | None = None
    access: Access | None = None


class EmbedEvent(View, frozen=True, kw_only=True):
    detail: EmbedDetail | None = None


class Embedded(View, frozen=True, kw_only=True):
    event: EmbedEvent | None = None
    files: tuple[EmbeddedFile, ...] = ()


# targets.json


class Miss(Given, frozen=True, kw_only=True):
    """by: how much a level's limit was missed by, in the unit of its row."""

    level: str
    by: float


class JudgedRow(Given, frozen=True, kw_only=True):
    """A criterion of a table and its worst value. from_memory: whether its limit is."""

    criterion: str
    value: float
    unit: str = ""
    where: str = ""
    level: str | None = None
    fails: tuple[Miss, ...] = ()
    source: str = ""
    from_memory: bool = False


class NotJudged(Given, frozen=True, kw_only=True):
    criterion: str
    reason: str
    why: str = ""


class TargetVerdict(Given, frozen=True, kw_only=True):
    """What a table says of a target. overall: the level reached, None for none."""

    title: str
    level_word: str = ""
    overall: str | None = None
    complete: bool = False
    rows: tuple[JudgedRow, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()


class Target(Given, frozen=True, kw_only=True):
    """preview, plots: names of files in the folder of the targets; plots: {words: name}."""

    target: str
    title: str | None = None
    path: str
    kind: str = ""
    state: str
    preview: str | None = None
    verdicts: tuple[TargetVerdict, ...] = ()
    plots: dict[str, str] = msgspec.field(default_factory=dict)


class CourseSeries(Given, frozen=True, kw_only=True):
    """A measure of a target over batches. plot: name of its file; None of one point."""

    target: str
    measure: str
    plot: str | None = None


class Course(Given, frozen=True, kw_only=True):
    series: tuple[CourseSeries, ...] = ()


class Targets(Given, frozen=True, kw_only=True):
    holds: list[Any]
    targets: list[Target]
    statement: str = ""
    course: Course = Course()
