"""intake.json: what is known of a batch before a pixel is read."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.model import BatchId, Facts, ItemId
from glassine.base.naming import ID_PATTERN
from glassine.base.records import Given, Record
from glassine.base.records.batch_file import Operators, StatedTarget
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.corrections import Correction, Withdrawal
from glassine.base.records.developed import Role
from glassine.base.records.parts import Count, FindingNote
from glassine.base.records.session_file import Session

ItemState = Literal["ready", "held", "waiting"]


class Label(Record, frozen=True, kw_only=True):
    """A machine-readable label seen in a master; corners: px of its reduced copy."""

    text: str
    format: str
    corners: list[list[float]]


IdentifiedBy = Literal["correction", "name", "catalogue", "label", "separator"]


class Identified(Record, frozen=True, kw_only=True):
    """What told the item of a master.

    by: a person's correction, its name, a row of the catalogue that lists it, a label in its
    picture, or the separator captured before it. detail: the label's text, or the separator's path.
    """

    by: IdentifiedBy
    detail: str | UnsetType = UNSET


BY_NAME = Identified(by="name")


class LeftOut(Record, frozen=True, kw_only=True):
    """A file that belongs to an item and is no master of it, by the settings. why: in words."""

    path: str
    bytes: Count
    mtime_ns: int
    expected: dict[str, str]
    why: str


class MasterEntry(Record, frozen=True, kw_only=True):
    """A master of an item.

    path: in the batch folder. part, sequence: its place in the item, as its name says. bytes,
    mtime_ns: of the file as listed. expected: {algorithm: hex digest} of the checksum lists.
    size_px: [width, height], None where a few bytes of it do not say. identified: what told the
    item; absent in records of earlier versions. superseded_by: path of the capture that was made
    of the same thing again, and counts in its place. must_be_listed: no list names
    it, and verify holds it for that. facts: what batch.yaml states of it; absent in records of
    versions that kept facts by item.
    """

    path: str
    part: str | None
    sequence: str | None
    bytes: Count
    mtime_ns: int
    expected: dict[str, str]
    size_px: list[int] | None = None
    must_be_listed: bool | UnsetType = UNSET
    identified: Identified | UnsetType = UNSET
    superseded_by: str | UnsetType = UNSET
    facts: Facts | UnsetType = UNSET


class CalibrationEntry(Record, frozen=True, kw_only=True):
    """A session's own raw capture that is no item. path: in the batch folder; bytes, mtime_ns,
    expected: as of a master."""

    role: Role
    path: str
    bytes: Count
    mtime_ns: int
    expected: dict[str, str]


CompanionKind = Literal["preview", "raw", "tiff"]


class Companion(Record, frozen=True, kw_only=True):
    """A picture beside a master, of its name. path, master: in the batch folder; bytes, mtime_ns,
    expected: as of a master. delivered: whether it goes into the item's package."""

    path: str
    kind: CompanionKind
    master: str
    bytes: Count
    mtime_ns: int
    expected: dict[str, str]
    delivered: bool


class ItemEntry(Record, frozen=True, kw_only=True):
    """An item, or the stand-in of a file that tells none.

    roll, place: the roll or other parent that it is a part of, and where on it. left_out: files of
    it that are no masters of it, by the settings; absent where there are none.
    facts: of all its masters, in records of versions that kept facts by item; written no more.
    """

    item: Annotated[ItemId, Meta(pattern=f"^{ID_PATTERN}$")]
    state: ItemState
    masters: list[MasterEntry]
    catalogue: CatalogueRow | None
    corrections: Correction | None
    labels: list[Label] = msgspec.field(default_factory=list)
    companions: list[Companion] = msgspec.field(default_factory=list)
    roll: str | UnsetType = UNSET
    place: str | UnsetType = UNSET
    left_out: list[LeftOut] | UnsetType = UNSET
    findings: list[FindingNote]
    facts: Facts | UnsetType = UNSET


class TargetFile(Record, frozen=True, kw_only=True):
    """A capture of a target as listed; part: always None, as a master has one."""

    path: str
    part: None = None
    bytes: Count
    mtime_ns: int
    expected: dict[str, str]


class TargetEntry(StatedTarget, frozen=True, kw_only=True):
    """A target of batch.yaml with those of its captures that are there."""

    captures: list[TargetFile]


class RowsRead(Record, frozen=True, kw_only=True):
    """What the report says of the rows: their number, items without a master, name of the file."""

    read: Count
    without_master: list[str]
    catalogue: str | None


class ExpectedItem(Record, frozen=True, kw_only=True):
    """An item that should be captured, or a frame of one. shelf_mark: where it stands, as a list or
    the catalogue says. frame: its number, or the first and last of several, where an item or roll
    has the frames about it; between: these, as "16 and 18"; roll: that it is of, where the frames
    of a roll are items. unlisted: no list expects it, but the frames beside it do."""

    item: str
    shelf_mark: str = ""
    title: str = ""
    frame: str | UnsetType = UNSET
    between: str | UnsetType = UNSET
    roll: str | UnsetType = UNSET
    unlisted: bool | UnsetType = UNSET


class Expected(Record, frozen=True, kw_only=True):
    """What a batch should hold against what it holds.

    sources: what says so, none where numbers of frames alone do. count: of expected items. missing:
    without a master, and frames that are missing between others; surplus: captured, not expected;
    double: captured twice, or with a frame captured twice. unread: lists and entries that could not
    be read. shelf_marks: {item: where it stands} of captured ones, as a pull list says.
    """

    sources: list[str]
    count: Count
    missing: list[ExpectedItem]
    surplus: list[str]
    double: list[str]
    unread: list[str] = msgspec.field(default_factory=list)
    shelf_marks: dict[str, str] = msgspec.field(default_factory=dict)


class BatchFacts(Record, frozen=True, kw_only=True):
    """What holds for the whole batch."""

    operator: Operators | UnsetType = UNSET


class Intake(Record, frozen=True, kw_only=True):
    """intake.json of a batch.

    default_facts: what batch.yaml states of all captures, those of targets too. notes: what
    concerns no item. ignored_files: those that the settings leave out. withdraw: what a person
    withdrew from delivery (corrections.yaml). calibration: absent where a batch has none.
    """

    batch: BatchId
    title: str
    facts: BatchFacts = BatchFacts()
    default_facts: Facts | UnsetType = UNSET
    items: list[ItemEntry]
    notes: list[FindingNote]
    rows: RowsRead
    expected: Expected | None = None
    sessions: list[Session] = msgspec.field(default_factory=list)
    other_files: list[str]
    ignored_files: list[str] = msgspec.field(default_factory=list)
    targets: list[TargetEntry]
    withdraw: list[Withdrawal] = msgspec.field(default_factory=list)
    corrections_without_item: list[str] = msgspec.field(default_factory=list)
    calibration: list[CalibrationEntry] | UnsetType = UNSET


class ItemName(Given, frozen=True, kw_only=True):
    item: ItemId


class Items(Given, frozen=True, kw_only=True):
    """Which items intake.json has, whatever else it holds."""

    items: list[ItemName]
