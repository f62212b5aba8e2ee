"""looks.json: what is seen of an item's negatives, in a form that can be pooled."""

from __future__ import annotations

from typing import Annotated

from msgspec import UNSET, Meta, UnsetType

from glassine.base.model import Facts
from glassine.base.records import Record
from glassine.base.records.films import FilmValues
from glassine.base.records.parts import Positive
from glassine.base.tone import Channels, StatedEncoding

# Characters of one array: looks of a frame take 100 kB at most (`look/compact.py`).
Packed = Annotated[str, Meta(max_length=100_000, pattern="^[A-Za-z0-9+/]*=*$")]
# More never come out of `Packed`: a reader makes no larger array of it.
_Length = Annotated[int, Meta(ge=1, le=60_000)]
_Side = Annotated[int, Meta(ge=1, le=1_000)]


class Samples(Record, frozen=True, kw_only=True):
    """Densities of `count` places of a frame, grain taken out, and how many places each is for.

    density: uint16 of (count, bands), in steps of 1/2000 D; places: uint16 of (count,). Both as
    planes of differences, deflated, in base 64.
    """

    count: _Length
    density: Packed
    places: Packed


class ReducedPicture(Record, frozen=True, kw_only=True):
    """Densities of the reduced picture, uint16 in steps of 1/250 D, packed as `Samples`."""

    width: _Side
    height: _Side
    density: Packed


class FrameLook(Record, frozen=True, kw_only=True):
    """What is seen of a frame. process: as locate or a person says it."""

    index: Positive
    process: str
    samples: Samples
    picture: ReducedPicture | None


class MasterLooks(Record, frozen=True, kw_only=True):
    """The negatives of a master that show something, blank and excluded frames left out.

    kind: what lies on the table, as stated or recognised. encoding: how codes became light. base:
    density of each region of clear film base, per band. primaries: of the profile, to linear sRGB,
    3 x 3; None for grey. facts: what is stated of the master.
    edge_stock: product and generation of the film by the codes in its margin, as "115-10"; absent
    where they are not told, or differ.
    alone: the film as these frames alone show it, by process.
    """

    master: str
    kind: str
    bands: Annotated[int, Meta(ge=1, le=3)]
    encoding: StatedEncoding
    base: list[Channels]
    primaries: tuple[Channels, ...] | None
    facts: Facts
    alone: list[FilmValues]
    frames: list[FrameLook]
    edge_stock: Annotated[str, Meta(pattern="^[0-9]{1,3}-[0-9]{1,2}$")] | UnsetType = UNSET


class Looks(Record, frozen=True, kw_only=True):
    """looks.json of an item; masters: those with negatives that show something."""

    item: str
    masters: list[MasterLooks]
