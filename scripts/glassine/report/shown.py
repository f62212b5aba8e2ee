"""What the page shows of a batch, as types; the details beside the page hold the same as JSON."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base.access import ListedAccess
from glassine.base.disk_room import Forecast
from glassine.base.errors import Finding
from glassine.base.item_states import ItemStatus
from glassine.base.model import ItemId
from glassine.base.records.audit import BatchAudit
from glassine.base.records.corrections import Correction, Withdrawal
from glassine.report import views
from glassine.report.deliveries import Deliveries
from glassine.report.films import ShownFilms


def address(*parts: str) -> str:
    """Return a relative address of a file, each part percent-encoded (RFC 3986)."""
    return "/".join(quote(piece) for part in parts for piece in part.split("/"))


class PictureFile(msgspec.Struct, frozen=True, kw_only=True):
    """A picture of a frame. src: address relative to the report; w, h: px."""

    src: str
    w: int
    h: int
    bytes: int | None
    sha256: str | None


class Frame(msgspec.Struct, frozen=True, kw_only=True):
    """A frame of a master.

    corners: in pixels of the master as stored. angle: of the skew, degrees; rotate: clockwise,
    degrees. seen: what was measured of it, which a decision about it keeps (`seen` in
    corrections.yaml): {} where a person added it, None where the record does not say. files: its
    pictures by their use. tiles: info.json of its tile set (IIIF Image API 3). film: the one that
    it was rendered with, in words, "" where no other master shares it. film_frame: its number on
    the film, "" where that is not told.
    """

    n: int
    corners: list[list[float]]
    angle: float
    rotate: int
    mirror: bool
    polarity: str
    process: str
    blank: bool
    exclude: bool
    confidence: float
    state: str
    seen: dict[str, Any] | None
    source: str
    reasons: tuple[str, ...]
    files: dict[str, PictureFile]
    tiles: dict[str, Any] | None
    measures: list[views.Measure]
    film: str = ""
    film_frame: str = ""
    sketch: list[list[int]] | None = None


class NearRow(msgspec.Struct, frozen=True, array_like=True):
    """A row of the catalogue that a capture may be of. why: in words; masters: that it has."""

    item: str
    title: str
    date: str
    why: str
    masters: int


class Unnamed(msgspec.Struct, frozen=True, kw_only=True):
    """What is known of a capture whose item a person should say. labels: texts seen in it; near:
    the likeliest row first."""

    labels: list[str]
    near: list[NearRow]


class Master(msgspec.Struct, kw_only=True):
    """A master.

    path: in the batch folder. width, height: px. ppi: pixels per inch in the plane of the film.
    preview: address relative to the report; small, middle: of its copies (see `previews`).
    seen_sha256: of the capture that the frames were found on: verify may have read another since.
    decided: decisions that were not applied to the frame of their number, each {"entry", "on": the
    frame's number, or None}. read: when it was last read whole and compared. taken: when it was
    captured, as it says itself. edges: of the pieces on the table, four corners each, in px of the
    master: sides of a frame snap to them. unnamed: where a person should say which item it is.
    """

    path: str
    part: str | None = None
    sequence: str | None = None
    mtime_ns: int | None = None
    bytes: int = 0
    width: int | None = None
    height: int | None = None
    kind: str | None = None
    ppi: int | float | None = None
    ppi_source: str | None = None
    notes: tuple[str, ...] = ()
    preview: str | None = None
    sha256: str | None = None
    seen_sha256: str | None = None
    decided: list[dict[str, Any]] = msgspec.field(default_factory=list)
    verdict: str | None = None
    read: str | None = None
    taken: str = ""
    frames: list[Frame] = msgspec.field(default_factory=list)
    small: str | None = None
    middle: str | None = None
    edges: list[list[list[float]]] = msgspec.field(default_factory=list)
    unnamed: Unnamed | None = None


@dataclass
class Item:
    """One item as the page shows it.

    catalogue, links: (label, text or address). bytes: of its masters. taken: earliest capture time
    as written in a master, or "".
    """

    status: ItemStatus
    title: str = ""
    date: str = ""
    material: str = ""
    decay_level: int | None = None
    catalogue: list[tuple[str, str]] = field(default_factory=list)
    masters: list[Master] = field(default_factory=list)
    notes: list[Finding] = field(default_factory=list)
    bytes: int = 0
    taken: str = ""
    links: list[tuple[str, str]] = field(default_factory=list)
    correction: Correction | None = None

    @property
    def item(self) -> str:
        return self.status.item

    @property
    def frames(self) -> list[Frame]:
        return [frame for master in self.masters for frame in master.frames]


@dataclass(frozen=True)
class ListedRow:
    """A row of a list by decay. state: in words, of an item that has masters."""

    item: str
    title: str
    material: str
    decay_level: int | None
    state: str = ""


def decay_order(row: ListedRow) -> tuple[int, bool, str]:
    """Sort key: highest level first, nitrate before others of its level, then by id."""
    level = row.decay_level
    return (-(level if level is not None else -1), row.material != "nitrate", row.item)


class Missing(msgspec.Struct, frozen=True, kw_only=True):
    """An expected item without a master, or a frame of one; see the record of intake."""

    item: str
    shelf_mark: str = ""
    title: str = ""
    frame: str | UnsetType = UNSET
    between: str | UnsetType = UNSET
    roll: str | UnsetType = UNSET
    unlisted: bool | UnsetType = UNSET


class Expected(msgspec.Struct, frozen=True, kw_only=True):
    """What the batch should hold against what it holds; see the record of intake.

    captured: how many of the expected items have a master. shelf_marks: {item: where it stands},
    as a pull list says.
    """

    sources: list[str]
    count: int
    captured: int
    missing: list[Missing]
    shelf_marks: dict[str, str]
    surplus: list[str]
    double: list[str]
    unread: list[str]


class Captures(msgspec.Struct, frozen=True, kw_only=True):
    """When, by whom and of what kind the masters were captured.

    by_hour: {hour as YYYY-MM-DDThh: masters}, by the camera's clock, else by the file's time in
    UTC, of which there are by_file_time. by_operators: by role ids. again: captures beyond the
    first of a part and number of an item. an_hour: masters an hour, over hours with some.
    """

    masters: int
    by_hour: dict[str, int]
    by_operators: dict[str, int]
    by_station: dict[str, int]
    by_kind: dict[str, int]
    again: int
    by_file_time: int
    an_hour: float | None


@dataclass(frozen=True)
class Proof:
    """What the target captures say (targets.json). holds: what keeps the batch from delivery."""

    statement: str
    holds: list[Finding]
    targets: list[views.Target]
    course: views.Course


@dataclass
class Batch:
    """Everything the page shows of a batch.

    held_since: when the step that failed for the batch as a whole told so (held.json). standing:
    the corrections that stand, by item. rolls: {item: (its roll, its place there)}. access: items
    that not all may see, or that were opened lately. rows: of the catalogue, by item, where they
    were read. labels: texts seen in the masters of an item. alike: {item: those whose pictures look
    like the same capture as one of its}. room: how the disks stand that a night writes to, none
    where they cannot be asked.
    """

    batch: str
    title: str
    items: list[Item] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    problems: list[Finding] = field(default_factory=list)
    held_since: str = ""
    notes: list[Finding] = field(default_factory=list)
    other_files: list[str] = field(default_factory=list)
    ignored_files: list[str] = field(default_factory=list)
    beside_masters: list[str] = field(default_factory=list)
    rules_unused: list[str] = field(default_factory=list)
    targets: list[str] = field(default_factory=list)
    proof: Proof | None = None
    films: ShownFilms = field(default_factory=ShownFilms)
    expected: Expected | None = None
    captures: Captures | None = None
    rows_read: int = 0
    without_master: list[ListedRow] = field(default_factory=list)
    delivered: Deliveries = field(default_factory=Deliveries)
    audit: BatchAudit | None = None
    withdraw: list[Withdrawal] = field(default_factory=list)
    standing: dict[ItemId, Correction] = field(default_factory=dict)
    rolls: dict[str, tuple[str, str]] = field(default_factory=dict)
    access: list[ListedAccess] = field(default_factory=list)
    rows: dict[str, views.Row] = field(default_factory=dict)
    labels: dict[str, list[str]] = field(default_factory=dict)
    alike: dict[str, list[str]] = field(default_factory=dict)
    room: list[Forecast] = field(default_factory=list)

    @property
    def statuses(self) -> list[ItemStatus]:
        return [item.status for item in self.items]

    @property
    def asks(self) -> list[Finding]:
        """The notes that a person should look at, of the batch as a whole."""
        return [note for note in self.notes if note.severity == "review"]

    def in_state(self, state: str) -> list[Item]:
        return [item for item in self.items if item.status.state == state]
