"""render.json: the pictures made of an item's frames, and the parameters that repeat them."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import AlternateUse, Event, Positive, Sha256
from glassine.base.tone import AnyTone

Name = Annotated[str, Meta(pattern="^[A-Za-z0-9][A-Za-z0-9._-]*$")]


class Orientation(Record, frozen=True, kw_only=True):
    """Orientation of the TIFF as found, and how the picture was turned, which includes it.

    rotate: clockwise, degrees; mirror: left and right exchanged, after that.
    """

    found: Annotated[int, Meta(ge=1, le=8)]
    rotate: Annotated[int, Meta(ge=0, le=270, multiple_of=90)]
    mirror: bool


class WrittenFile(Record, frozen=True, kw_only=True):
    """A file in render/; width, height: px."""

    name: Name
    width: Positive
    height: Positive
    bytes: Positive
    sha256: Sha256


class Picture(WrittenFile, frozen=True, kw_only=True):
    """An access image or a thumbnail."""

    use: Literal["access", "thumb"]


class Caption(Record, frozen=True, kw_only=True):
    """A text on a picture. rows: of the strip that it stands on, px; place: below the picture, or
    over its lowest rows; cut: whether it did not fit, and ends with an ellipsis."""

    text: str
    rows: Positive
    place: Literal["below", "over"]
    cut: bool


class Alternate(WrittenFile, frozen=True, kw_only=True):
    """A further picture, made by option. set: which of `render.sets` it is; of_width: of the
    full-size picture that it was reduced from, px, where that is not the frame's. linked: whether
    the manifest names it; absent where it does not. delivered: False where it stays with the
    studio; absent elsewhere. tone, space: of a set, where it is not inverted or not in sRGB, and
    `use` does not say so. caption: on it, absent where it has none."""

    use: AlternateUse
    set: Name | UnsetType = UNSET
    of_width: Positive | UnsetType = UNSET
    linked: Literal[True] | UnsetType = UNSET
    delivered: Literal[False] | UnsetType = UNSET
    tone: Literal["uninverted"] | UnsetType = UNSET
    space: Literal["grey", "adobergb", "romm", "ecirgb"] | UnsetType = UNSET
    caption: Caption | UnsetType = UNSET


class Tiles(Record, frozen=True, kw_only=True):
    """The static tiles of a frame.

    path: of their folder, in the item's. count, bytes: of all files there; sha256: of their
    digests and paths (see `hashing.of_tree`).
    """

    path: str
    width: Positive
    height: Positive
    tile_px: Positive
    count: Positive
    bytes: Positive
    sha256: Sha256


class RenderedFrame(Record, frozen=True, kw_only=True):
    """A frame of a master, and what was made of it.

    master: its path, relative to the batch folder. sequence: of the master in its item, absent
    where it has none. film_frame: its number on the film, absent where it is not known. label:
    part, sequence and numbers in words, None where there is nothing to tell apart. width, height:
    of the full-size picture, px; None, as are tiles and tone, where it was skipped. ppi: of the
    full-size picture, in the plane of the object.
    orientation, alternates: absent in records of earlier versions.
    """

    master: str
    part: str | None
    sequence: str | UnsetType = UNSET
    index: Positive
    film_frame: Annotated[str, Meta(pattern="^[0-9]{1,2}A?$")] | UnsetType = UNSET
    label: str | None
    iiif_id: Name
    width: Positive | None
    height: Positive | None
    ppi: Annotated[int, Meta(gt=0)] | Annotated[float, Meta(gt=0)] | None
    skipped: Literal["blank", "excluded"] | None
    orientation: Orientation | UnsetType = UNSET
    files: list[Picture]
    alternates: list[Alternate] = msgspec.field(default_factory=list)
    tiles: Tiles | None
    tone: AnyTone | None


class Rendering(Record, frozen=True, kw_only=True):
    """render.json of an item."""

    item: str
    event: Event
    frames: list[RenderedFrame]
