"""corrections.yaml: what a person decided about the frames of a batch.

Numbers of corners stay as they were written, whole ones too: `Coordinate` is both.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.model import ItemId
from glassine.base.naming import ID_PATTERN
from glassine.base.records import Record
from glassine.base.records.parts import number

_ROLE = "Role id of who decided, not a name: letters, digits, '.', '_', '-'."
_TIME = (
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,9})?"
    r"(?:Z|[+-][0-9]{2}:[0-9]{2})$"
)
_ROLE_PATTERN = "^[A-Za-z0-9._-]{1,40}$"
_MOST_ENTRIES = 50_000

Item = Annotated[
    ItemId,
    Meta(
        pattern=f"^{ID_PATTERN}$",
        description="The id of an item, in quotes where it is all digits.",
        examples=["PEH-0006"],
    ),
]
MasterPath = Annotated[
    str,
    Meta(
        min_length=1,
        max_length=1000,
        description=(
            "The path of a master in the batch folder; for a frame needed where its item has "
            "several."
        ),
        examples=["roll 3/PEH-0412.tif"],
    ),
]
Role = Annotated[
    Annotated[str, Meta(pattern=_ROLE_PATTERN)] | None,
    Meta(description=_ROLE, examples=["op-07"]),
]
Moment = Annotated[
    Annotated[str, Meta(pattern=_TIME)] | None,
    Meta(
        description="Time of the decision with its zone, in quotes.",
        examples=["2026-03-18T08:55:00Z"],
    ),
]
Note = Annotated[
    Annotated[str, Meta(max_length=2000)] | None,
    Meta(
        description="Why, for the record: plain text of at most 2,000 characters.",
        examples=["left edge moved to the rebate"],
    ),
]
Coordinate = Annotated[int | float, number(-100_000, 1_000_000)]
Corner = Annotated[list[Coordinate], Meta(min_length=2, max_length=2)]


class Withdrawal(Record, frozen=True, kw_only=True):
    """What is no longer delivered though it was: an item, or a master or frames of it."""

    item: Item
    master: MasterPath | UnsetType = UNSET
    frames: (
        Annotated[
            int,
            Meta(
                ge=0,
                le=999,
                description="The number of frames that are left of a master of the item.",
                examples=[2],
            ),
        ]
        | UnsetType
    ) = UNSET
    reason: Annotated[
        str,
        Meta(
            min_length=1,
            max_length=2000,
            description="Why, in plain text of at most 2,000 characters.",
            examples=["The donor asked for it."],
        ),
    ]
    by: Annotated[str, Meta(pattern=_ROLE_PATTERN, description=_ROLE, examples=["op-07"])]
    when: Annotated[
        str,
        Meta(
            pattern=_TIME,
            description='Time with its zone, in quotes, as in "2026-03-18T08:55:00Z".',
            examples=["2026-03-18T08:55:00Z"],
        ),
    ]


_Place = Annotated[str, Meta(pattern="^[A-Za-z0-9-]{1,40}$")]


class Identity(Record, frozen=True, kw_only=True):
    """The item that a master belongs to, whatever its file name says."""

    master: MasterPath
    item: Item
    part: (
        Annotated[
            _Place,
            Meta(
                description=(
                    "The part of the item that it shows, such as sleeve. A separator whose code "
                    "cannot be read is the sleeve of its item: the captures after it belong to it."
                ),
                examples=["sleeve"],
            ),
        ]
        | UnsetType
    ) = UNSET
    sequence: (
        Annotated[
            _Place,
            Meta(
                description="What tells captures of one part apart, such as a frame's number.",
                examples=["12A"],
            ),
        ]
        | UnsetType
    ) = UNSET


class SeenFrame(Record, frozen=True, kw_only=True):
    """What a person saw of a frame when they decided about it."""

    corners: (
        Annotated[
            list[Corner],
            Meta(
                min_length=4,
                max_length=4,
                description=(
                    "Where the frame lay as it was found, in pixels of the master; left out where "
                    "no frame of that number had been found."
                ),
                examples=[[[412.0, 310.5], [2290.0, 318.0], [2284.5, 1570.0], [406.5, 1562.0]]],
            ),
        ]
        | UnsetType
    ) = UNSET
    polarity: (
        Annotated[
            Literal["negative", "positive"],
            Meta(description="What was found of it then.", examples=["negative"]),
        ]
        | UnsetType
    ) = UNSET
    process: (
        Annotated[
            Literal["colour", "monochrome"],
            Meta(description="What was found of it then.", examples=["colour"]),
        ]
        | UnsetType
    ) = UNSET
    blank: (
        Annotated[bool, Meta(description="What was found of it then.", examples=[False])]
        | UnsetType
    ) = UNSET
    sha256: (
        Annotated[
            str,
            Meta(
                pattern="^[0-9a-f]{64}$",
                description="The SHA-256 of the master that was seen.",
                examples=["5b8f0f0e7d3c8f8f4a5d2f5f4a1c0d9e8b7a6c5d4e3f2a1b0c9d8e7f6a5b4c3d"],
            ),
        ]
        | UnsetType
    ) = UNSET
    reasons: (
        Annotated[
            list[Annotated[str, Meta(pattern="^r[0-9a-f]{12}$")]],
            Meta(
                max_length=100,
                description=(
                    "What the person was told of the frame, its master and the item, each by the "
                    "beginning of a digest over its words. Where the frame was accepted, anything "
                    "else asks again."
                ),
                examples=[["r5b8f0f0e7d3c"]],
            ),
        ]
        | UnsetType
    ) = UNSET


class CorrectedFrame(Record, frozen=True, kw_only=True):
    """What a person decided of a frame; what is absent stays as it was found.

    corners: in pixels of the master as stored, from its top left.
    """

    master: MasterPath | UnsetType = UNSET
    frame: Annotated[
        int,
        Meta(
            ge=1,
            le=999,
            description=(
                "The number of a frame, as the report shows it; a new number with `corners` adds "
                "a frame."
            ),
            examples=[2],
        ),
    ]
    corners: (
        Annotated[
            list[Corner],
            Meta(
                min_length=4,
                max_length=4,
                description=(
                    "Four corners [x, y] in pixels of the master: top left, top right, bottom "
                    "right, bottom left."
                ),
                examples=[[[412.0, 310.5], [2290.0, 318.0], [2284.5, 1570.0], [406.5, 1562.0]]],
            ),
        ]
        | UnsetType
    ) = UNSET
    rotate: (
        Annotated[
            Literal[0, 90, 180, 270],
            Meta(
                description=(
                    "Clockwise quarter turns in degrees that bring the stored pixels upright: 0, "
                    "90, 180 or 270. In place of `rotate` in batch.yaml and of the TIFF's "
                    "orientation."
                ),
                examples=[90],
            ),
        ]
        | UnsetType
    ) = UNSET
    mirror: (
        Annotated[
            bool,
            Meta(
                description=(
                    "true or false: whether left and right are exchanged once the picture is "
                    "upright. In place of the emulsion side and of the TIFF's orientation."
                ),
                examples=[True],
            ),
        ]
        | UnsetType
    ) = UNSET
    polarity: (
        Annotated[
            Literal["negative", "positive"],
            Meta(
                description="negative or positive: whether the frame is inverted.",
                examples=["positive"],
            ),
        ]
        | UnsetType
    ) = UNSET
    process: (
        Annotated[
            Literal["colour", "monochrome"],
            Meta(
                description=("colour or monochrome: a monochrome frame becomes a grey picture."),
                examples=["monochrome"],
            ),
        ]
        | UnsetType
    ) = UNSET
    exclude: (
        Annotated[
            bool,
            Meta(
                description="true or false: whether the frame is left out of the pictures.",
                examples=[True],
            ),
        ]
        | UnsetType
    ) = UNSET
    blank: (
        Annotated[
            bool,
            Meta(
                description="true or false: whether there is no picture on the frame.",
                examples=[True],
            ),
        ]
        | UnsetType
    ) = UNSET
    accept: (
        Annotated[
            bool,
            Meta(
                description=(
                    "true: a person has seen what asks for a look at the frame, and accepts it."
                ),
                examples=[True],
            ),
        ]
        | UnsetType
    ) = UNSET
    seen: (
        Annotated[
            SeenFrame,
            Meta(
                description=(
                    "What the person saw; the review page writes it. Where frames are numbered "
                    "otherwise later, or the master is captured again, the decision then never "
                    "falls on another picture."
                ),
                examples=[
                    {"corners": [[412, 310], [2290, 318], [2284, 1570], [406, 1562]]},
                ],
            ),
        ]
        | UnsetType
    ) = UNSET


def listed(identity: Identity | list[Identity] | UnsetType | None) -> list[Identity]:
    """Return what an entry says of masters' items as a list."""
    if isinstance(identity, Identity):
        return [identity]
    return list(identity or [])


class Correction(Record, frozen=True, kw_only=True):
    """What a person decided of an item, as intake.json and the review page have it.

    by: role id; when: ISO 8601 with zone.
    """

    by: Role = None
    when: Moment = None
    note: Note = None
    identity: Identity | list[Identity] | None = None
    frames: list[CorrectedFrame] = msgspec.field(default_factory=list)

    @property
    def identities(self) -> list[Identity]:
        return listed(self.identity)

    @property
    def says_nothing(self) -> bool:
        return not (self.frames or self.note or self.identity)


class Entry(Record, frozen=True, kw_only=True):
    """An item's entry in corrections.yaml."""

    item: Item
    by: Role | UnsetType = UNSET
    when: Moment | UnsetType = UNSET
    note: Note | UnsetType = UNSET
    identity: (
        Annotated[
            Identity | list[Identity] | None,
            Meta(
                description=(
                    "The master that belongs to the item, whatever its file name says; or a list "
                    "of masters."
                )
            ),
        ]
        | UnsetType
    ) = UNSET
    frames: (
        Annotated[
            list[CorrectedFrame],
            Meta(max_length=200, description="A list of at most 200 frames."),
        ]
        | UnsetType
    ) = UNSET

    def correction(self) -> Correction:
        return Correction(
            by=self.by or None,
            when=self.when or None,
            note=None if self.note is UNSET else self.note,
            identity=self.identity or None,
            frames=self.frames or [],
        )


class CorrectionsFile(Record, frozen=True, kw_only=True):
    """corrections.yaml of a batch."""

    withdraw: Annotated[
        list[Withdrawal],
        Meta(
            max_length=_MOST_ENTRIES,
            description=(
                "What is no longer delivered though it was: a list of items, masters or frames."
            ),
        ),
    ] = msgspec.field(default_factory=list)
    corrections: Annotated[
        list[Entry],
        Meta(
            max_length=_MOST_ENTRIES,
            description=(
                "A list, one entry an item. An entry of an item or master that the batch does "
                "not have is told in the report."
            ),
        ),
    ] = msgspec.field(default_factory=list)
