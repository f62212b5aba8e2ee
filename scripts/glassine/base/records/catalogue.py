"""One record of the catalogue, as a row of the extract must give it.

The descriptions are what an operator reads as expected where a cell is refused
(`intake/catalogue/rows.py`).
"""

from __future__ import annotations

from typing import Annotated, Literal, get_args

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record

MAX_TEXT = 20_000
Words = Annotated[str, Meta(max_length=MAX_TEXT)]
SomeWords = Annotated[str, Meta(max_length=MAX_TEXT, min_length=1)]
Uri = Annotated[
    str,
    Meta(
        pattern=r"^([A-Za-z][A-Za-z0-9+.-]*:[^\s<>\"{}|\\^`]+)?$",
        description="a URI such as https://...",
    ),
]
Material = Literal["nitrate", "acetate", "polyester", "glass", "paper", "unknown"]
Status = Literal["copyrighted", "public domain", "unknown"]
# Who may see an item: see `base.access`.
Level = Literal["open", "reading_room", "no_publication", "closed"]


class Creator(Record, frozen=True, kw_only=True):
    """authority: code of the list of names that `uri` is of, as MODS names it."""

    name: SomeWords
    role: Words = ""
    uri: Uri = ""
    authority: Words | UnsetType = UNSET


class Subject(Record, frozen=True, kw_only=True):
    """authority: code of a vocabulary as MODS names it, where it is known."""

    term: SomeWords
    authority: Words = ""
    uri: Uri = ""


PersonKind = Literal["", "personal", "corporate", "family"]


class Person(Record, frozen=True, kw_only=True):
    """A person, a body or a family that the photograph is about. kind: in the words of MODS."""

    name: SomeWords
    uri: Uri = ""
    authority: Words = ""
    kind: Annotated[
        PersonKind, Meta(description="one of personal, corporate, family, or nothing")
    ] = ""


class Levels(Record, frozen=True, kw_only=True):
    """Where a place lies, from the widest to the narrowest, named as MODS names them."""

    country: Words = ""
    state: Words = ""
    county: Words = ""
    city: Words = ""
    section: Words = ""


class Place(Record, frozen=True, kw_only=True):
    """authority: as of a creator. levels: absent where the catalogue has none."""

    name: SomeWords
    uri: Uri = ""
    authority: Words | UnsetType = UNSET
    levels: Levels | UnsetType = UNSET


class Identifier(Record, frozen=True, kw_only=True):
    type: Words = "local"
    value: SomeWords


class RowRights(Record, frozen=True, kw_only=True):
    """The rights of an item; what its row leaves open comes from the settings."""

    uri: Annotated[
        str,
        Meta(
            pattern=(
                r"^https?://(rightsstatements\.org/(vocab|page)/[A-Za-z0-9-]+/[0-9.]+/?(\?.*)?"
                r"|creativecommons\.org/(licenses|publicdomain)/[a-z0-9-]+/[0-9.]+/?([a-z-]+/?)?)$"
                r"|^$"
            ),
            description="a URI of rightsstatements.org or creativecommons.org",
        ),
    ] = ""
    status: Annotated[Status, Meta(description="one of copyrighted, public domain, unknown")] = (
        "unknown"
    )
    holder: Words = ""
    note: Words = ""
    credit: Words = ""


class RowAccess(Record, frozen=True, kw_only=True):
    """What a row says of who may see the item.

    level: "" where it says nothing. until: last day of an embargo (ISO 8601), "" for none. words:
    of its cells, as they stand. doubt: words elsewhere in the row that may keep the item from the
    public.
    """

    level: Level | Literal[""] = ""
    until: Annotated[str, Meta(pattern=r"^(\d{4}-\d{2}-\d{2})?$")] = ""
    words: Words = ""
    doubt: Words = ""


class Division(Record, frozen=True, kw_only=True):
    """A part of an item by its frames, which are counted in the item from 1."""

    label: SomeWords
    type: Words | UnsetType = UNSET
    frames: Annotated[list[Annotated[int, Meta(ge=1, le=10_000)]], Meta(max_length=10_000)]


class CatalogueRow(Record, frozen=True, kw_only=True):
    """What the catalogue says of an item.

    item: its number as the catalogue writes it, which may be an address; no name of a file or
    folder is made of it. row: its number, as a spreadsheet shows it. edtf: the date (ISO
    8601-2, EDTF), None where `date_text` was not understood. people: whom it is about. dimensions:
    of the film, with their unit. extent: how many of what. decay_level: of acetate or nitrate,
    0 to 6. access: who may see it, unset where the row says nothing of it. masters: names that the
    row gives. extra: {column: cell} of the columns that no field takes, and of cells that theirs
    could not take.
    """

    item: Annotated[
        str,
        Meta(
            max_length=500,
            pattern=r"^\S(.*\S)?$",
            description="an item number of 1 to 500 characters in one line",
        ),
    ]
    row: int
    title: Annotated[
        str,
        Meta(max_length=MAX_TEXT, min_length=1, description="a title of the photograph"),
    ]
    alternative: Words = ""
    description: Words = ""
    date_text: Annotated[
        str, Meta(max_length=500, description="a date of at most 500 characters")
    ] = ""
    edtf: str | None = None
    date_understood: bool = False
    creators: list[Creator] = msgspec.field(default_factory=list)
    subjects: list[Subject] = msgspec.field(default_factory=list)
    places: list[Place] = msgspec.field(default_factory=list)
    people: list[Person] | UnsetType = UNSET
    identifiers: list[Identifier] = msgspec.field(default_factory=list)
    languages: list[
        Annotated[
            str,
            Meta(
                pattern="^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$",
                description="a language code such as eng (ISO 639-2) or en-GB (RFC 5646)",
            ),
        ]
    ] = msgspec.field(default_factory=list)
    genre: Words = ""
    physical: Words = ""
    dimensions: Words | UnsetType = UNSET
    extent: Words | UnsetType = UNSET
    material: Annotated[Material, Meta(description=f"one of {', '.join(get_args(Material))}")] = (
        "unknown"
    )
    decay_level: Annotated[
        Annotated[int, Meta(ge=0, le=6)] | None,
        Meta(description="a whole number from 0 to 6, or nothing"),
    ] = None
    rights: RowRights
    access: RowAccess | UnsetType = UNSET
    collection: Words = ""
    masters: list[SomeWords] = msgspec.field(default_factory=list)
    structure: list[Division] = msgspec.field(default_factory=list)
    extra: dict[str, str] = msgspec.field(default_factory=dict)


# What stands for the row of an item that the catalogue does not have.
NO_ROW = CatalogueRow(item="", row=0, title="", rights=RowRights())
