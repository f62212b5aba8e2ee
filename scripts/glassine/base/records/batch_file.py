"""batch.yaml: what the studio states of a batch.

The facts of `model.Facts` in the words of an operator: which values, what they mean. Numbers stay
as they were written, whole ones too.
"""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base import parts
from glassine.base.model import KINDS
from glassine.base.records import Record
from glassine.base.records.parts import choice, number

_PAPER = ", ".join(sorted(parts.PAPER))
_EMULSION = ", ".join(sorted(parts.EMULSION))
_ROLE_PATTERN = "^[A-Za-z0-9._-]{1,40}$"
_PPI = number(10, 50_000)

Path = Annotated[str, Meta(min_length=1, max_length=500)]
_Part = Annotated[str, Meta(min_length=1, max_length=100)]
_SideMm = Annotated[
    int | float, Meta(extra_json_schema={"type": "number", "exclusiveMinimum": 0, "maximum": 2000})
]


class StatedFacts(Record, frozen=True, kw_only=True):
    """Facts of masters; what is absent is not stated."""

    kind: (
        Annotated[
            str,
            choice(*KINDS),
            Meta(
                description="What lies on the light table; `auto` leaves it to recognition.",
                examples=["strip_135"],
            ),
        ]
        | UnsetType
    ) = UNSET
    polarity: (
        Annotated[
            Literal["auto", "negative", "positive"],
            Meta(
                description=(
                    "Whether the picture is inverted. Without `part` it says nothing of paper "
                    f"(parts {_PAPER}), which is not inverted unless an entry with `part` says so."
                ),
                examples=["negative"],
            ),
        ]
        | UnsetType
    ) = UNSET
    process: (
        Annotated[
            Literal["auto", "colour", "monochrome"],
            Meta(
                description=(
                    "Whether the picture has colours. What is stated to be monochrome becomes a "
                    "grey picture of one band; one that shows colours all the same is marked for "
                    "review."
                ),
                examples=["monochrome"],
            ),
        ]
        | UnsetType
    ) = UNSET
    emulsion_side: (
        Annotated[
            Literal["auto", "away", "toward"],
            Meta(
                description=(
                    "How the film lay, seen from the camera: with the emulsion `toward` it the "
                    f"picture is mirrored. Not stated: toward for the parts {_EMULSION}, else "
                    "away. Of no effect on prints."
                ),
                examples=["toward"],
            ),
        ]
        | UnsetType
    ) = UNSET
    rotate: (
        Annotated[
            Literal[0, 90, 180, 270],
            Meta(
                description=(
                    "Clockwise quarter turns in degrees that bring the picture upright, after "
                    "what the TIFF says of its orientation."
                ),
                examples=[90],
            ),
        ]
        | UnsetType
    ) = UNSET
    crop: (
        Annotated[
            str,
            choice("picture", "object", "whole"),
            Meta(
                description=(
                    "What the access image shows: the picture, the whole piece around it, or all "
                    "of the master. Sleeves, other paper and parts `object` are shown whole unless "
                    "an entry with `part` says otherwise."
                ),
                examples=["object"],
            ),
        ]
        | UnsetType
    ) = UNSET
    nominal_ppi: (
        Annotated[
            int | float,
            _PPI,
            Meta(
                description=(
                    "Pixels an inch in the plane of the film, as the studio set it; goes before "
                    "what the TIFF says. In `defaults` it holds for target captures too."
                ),
                examples=[2400],
            ),
        ]
        | UnsetType
    ) = UNSET
    required_ppi: (
        Annotated[
            int | float,
            _PPI,
            Meta(
                description=(
                    "Pixels an inch that were agreed to be enough, in place of the table of limits."
                ),
                examples=[2000],
            ),
        ]
        | UnsetType
    ) = UNSET
    size_mm: (
        Annotated[
            list[_SideMm],
            Meta(
                min_length=2,
                max_length=2,
                description=(
                    "Two sides of the picture in mm, in either order. Used for the pixels an inch "
                    "that are judged and for the column of limits; a frame of another size or of "
                    "other proportions is marked for review. It does not decide where the frame "
                    "is found."
                ),
                examples=[[36, 24]],
            ),
        ]
        | UnsetType
    ) = UNSET
    frames: (
        Annotated[
            int,
            Meta(
                ge=1,
                le=1000,
                description=(
                    "How many pictures each master shows. Where as many are found, nobody is "
                    "asked whether one of them is two; where not, all of them are marked for "
                    "review."
                ),
                examples=[3],
            ),
        ]
        | UnsetType
    ) = UNSET
    film_stock: (
        Annotated[
            str,
            Meta(
                max_length=100,
                description=(
                    "Name of a film in the setting `tone.film_stocks`, whose values a negative is "
                    "then inverted with, or in the stock library (`tone.stock_library`). A name "
                    "that is in neither has no effect, and the report says so."
                ),
                examples=["harbour-c"],
            ),
        ]
        | UnsetType
    ) = UNSET
    film: (
        Annotated[
            str,
            Meta(
                min_length=1,
                max_length=100,
                description=(
                    "Name of the one film that these negatives were taken on (a roll, a pack of "
                    "one emulsion, a sleeve): D-min, slopes and balance are then estimated of all "
                    "its frames together. Goes before the catalogue's. Frames that plainly are of "
                    "another film are rendered by what they show themselves, and are for review."
                ),
                examples=["roll 7"],
            ),
        ]
        | UnsetType
    ) = UNSET
    slopes: (
        Annotated[
            list[Annotated[int | float, number(0.1, 4)]],
            Meta(
                min_length=3,
                max_length=3,
                description=(
                    "Density slope of a negative's straight line for red, green, blue; goes "
                    "before those of its film stock. Of no effect on positives."
                ),
                examples=[[0.55, 0.60, 0.64]],
            ),
        ]
        | UnsetType
    ) = UNSET
    encoding: (
        Annotated[
            str,
            choice("srgb", "linear", "gamma-2.2", "gamma-1.8"),
            Meta(
                description=(
                    "How the samples of masters without a colour profile are encoded; a profile "
                    "in the file goes before it. In `defaults` it holds for target captures too."
                ),
                examples=["linear"],
            ),
        ]
        | UnsetType
    ) = UNSET
    restore: (
        Annotated[
            str,
            choice("none", "faded"),
            Meta(
                description=(
                    "Whether dyes that a slide or colour print has lost are made up for in what "
                    "is shown of it, in place of the setting `tone.restore`. Of no effect on "
                    "negatives and on monochrome pictures."
                ),
                examples=["faded"],
            ),
        ]
        | UnsetType
    ) = UNSET


class StatedEntry(StatedFacts, frozen=True, kw_only=True):
    """Facts of some masters: those whose item and part fit.

    captures: how many masters an item, or a roll, has of the part.
    """

    match: Annotated[
        str,
        Meta(
            min_length=1,
            max_length=200,
            description="Id of an item, or a pattern of ids with `*`, `?` and `[...]`, in quotes.",
            examples=["PEH-00*"],
        ),
    ]
    part: (
        Annotated[
            str | list[_Part],
            Meta(
                description=(
                    "Part of the item that the entry is about, as the file name says it, or a "
                    "list of parts; `*`, `?` and `[...]` as in `match`. Without it the entry is "
                    "about all masters of the item."
                ),
                examples=["sleeve", ["emu", "base"]],
                extra_json_schema={
                    "type": ["string", "array"],
                    "minLength": 1,
                    "maxLength": 100,
                    "minItems": 1,
                    "maxItems": 50,
                    "items": {"type": "string", "minLength": 1, "maxLength": 100},
                },
            ),
        ]
        | UnsetType
    ) = UNSET
    captures: (
        Annotated[
            int,
            Meta(
                ge=1,
                le=10_000,
                description=(
                    "How many captures each item that fits has, of `part` where it is stated; for "
                    "a roll whose frames are items, `match` is the roll. Another number is for "
                    "review."
                ),
                examples=[36],
            ),
        ]
        | UnsetType
    ) = UNSET


class Operators(Record, frozen=True, kw_only=True):
    capture: (
        Annotated[
            str,
            Meta(
                pattern=_ROLE_PATTERN,
                description="Role id of who captured; stands in the records.",
                examples=["op-03"],
            ),
        ]
        | UnsetType
    ) = UNSET
    check: (
        Annotated[
            str,
            Meta(
                pattern=_ROLE_PATTERN,
                description="Role id of who checked; kept with the batch, in no record.",
                examples=["op-07"],
            ),
        ]
        | UnsetType
    ) = UNSET


class StatedTarget(Record, frozen=True, kw_only=True):
    """A capture of a target with those that go with it; paths below the batch folder."""

    path: Annotated[
        Path,
        Meta(
            description="The capture of the target, below the batch folder.",
            examples=["targets/film-target.tif"],
        ),
    ]
    description: Annotated[
        Path,
        Meta(
            description="Description of the target, in the batch folder or in `config/targets`.",
            examples=["film-example.yaml"],
        ),
    ]
    flat_field: (
        Annotated[
            Path,
            Meta(
                description="A capture of the bare light on the same rig.",
                examples=["targets/film-light.tif"],
            ),
        ]
        | UnsetType
    ) = UNSET
    repeats: (
        Annotated[
            list[Path],
            Meta(
                max_length=50,
                description="Further captures of the same target, for repeatability.",
                examples=[["targets/film-target-2.tif"]],
            ),
        ]
        | UnsetType
    ) = UNSET
    kind: (
        Annotated[
            str,
            choice("transmissive", "reflective"),
            Meta(
                description="What the target is; a description that says otherwise is refused.",
                examples=["transmissive"],
            ),
        ]
        | UnsetType
    ) = UNSET
    nominal_ppi: (
        Annotated[
            int | float,
            _PPI,
            Meta(
                description="Pixels an inch of this capture; goes before `defaults`.",
                examples=[2400],
            ),
        ]
        | UnsetType
    ) = UNSET
    taken: (
        Annotated[
            str,
            Meta(
                max_length=40,
                description="When it was captured, for the course over batches.",
                examples=["2026-03-17"],
            ),
        ]
        | UnsetType
    ) = UNSET

    @property
    def others(self) -> list[str]:
        """The captures that go with it: its repeats, then the bare light."""
        return [*(self.repeats or []), *([self.flat_field] if self.flat_field else [])]


class BatchFile(Record, frozen=True, kw_only=True):
    """batch.yaml of a batch; one that is missing or empty states nothing."""

    title: (
        Annotated[
            str,
            Meta(
                max_length=500,
                description="What the batch is called in the report and in the IIIF collection.",
                examples=["Harbour works, first capture session"],
            ),
        ]
        | UnsetType
    ) = UNSET
    operator: (
        Annotated[
            Operators,
            Meta(description="Role ids (letters, digits, `.`, `_`, `-`) of people, no names."),
        ]
        | UnsetType
    ) = UNSET
    defaults: Annotated[StatedFacts, Meta(description="Facts of every master of the batch.")] = (
        StatedFacts()
    )
    items: Annotated[
        list[StatedEntry],
        Meta(
            description=(
                "Facts of some masters; takes every key of `defaults` beside these. Later entries "
                "win, key by key."
            )
        ),
    ] = msgspec.field(default_factory=list)
    expected: Annotated[
        list[Annotated[str, Meta(max_length=250)]],
        Meta(
            description=(
                "Items that the batch should hold, each by its id or as a range of ids that differ "
                "in their last number. What is missing, surplus or captured twice is told. Without "
                "it, a pull list (`pull-list.csv` or `.txt`) in the batch folder, else the "
                "catalogue there says what is expected."
            ),
            examples=[["PEH-0001..PEH-0040", "PEH-0051"]],
        ),
    ] = msgspec.field(default_factory=list)
    targets: Annotated[
        list[StatedTarget],
        Meta(description="Target captures: no items, but proof of the capture's quality."),
    ] = msgspec.field(default_factory=list)
