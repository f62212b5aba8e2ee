"""developed.json: how each raw master of an item became the picture that all else is made of."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

from glassine.base.records import Record
from glassine.base.records.parts import Count, Digests, Event, Positive, Text

Role = Literal["light", "dark", "target"]
ROLES: tuple[Role, ...] = ("light", "dark", "target")


class CalibrationFile(Record, frozen=True, kw_only=True):
    """A session's own capture that a raw master was developed with. path: in the batch folder."""

    role: Role
    path: Text
    bytes: Count
    digests: Digests


class StoredField(Record, frozen=True, kw_only=True):
    """Light of the bare table as it was measured, and the pixels that do not work: what development
    needs of the session's captures, so that it can be repeated without them.

    width, height: px of the sensor; block: px of a colour's plane. peak: most light in red, green,
    blue, share of the sensor's range. degree: of the polynomial in x and in y. coefficients: of
    each place of the pattern, Chebyshev, by y then x. grid: rows and columns of blocks. remainder:
    of each place, millionths over 1, 32-bit little-endian whole numbers, deflated, base64.
    """

    width: Positive
    height: Positive
    block: Positive
    peak: tuple[float, float, float]
    least: float
    strange: float
    clipped: float
    degree: Count
    coefficients: list[list[float]]
    grid: tuple[Positive, Positive]
    remainder: list[str]


class DevelopedMaster(Record, frozen=True, kw_only=True):
    """A developed picture.

    path: of the picture, in the folder `developed`; source: of the raw file, in the batch folder.
    method: of LibRaw. gains: of red, green and blue. table: code of the bare table's light over
    65535, at the captures' exposure as the light capture has it; None without one. output: how it
    is written. matrix: balanced camera colours to XYZ (D50); matrix_from: what it rests on. black,
    white: DN. light: number of its field in `fields`, None without. dead: how many pixels were
    filled, lone: how many of them this capture alone told of; dead_pixels: their numbers row by
    row, each less the one before, as `remainder` is packed. over, at_white: share of samples that
    ended above full scale, and that had reached the sensor's white level. target, target_kind:
    where the matrix was fitted on one, its name and what it is made of.
    """

    path: Text
    source: Text
    method: str
    gains: tuple[float, float, float]
    table: float | None
    output: str
    matrix: list[list[float]]
    matrix_from: Literal["file", "target"]
    black: list[float]
    white: float
    light: Count | None
    dead: Count
    lone: Count = 0
    dead_pixels: str
    over: float
    at_white: float
    target: str = ""
    target_kind: Literal["", "transmissive", "reflective"] = ""
    calibration: list[CalibrationFile] = msgspec.field(default_factory=list)


class Developed(Record, frozen=True, kw_only=True):
    """developed.json of an item."""

    item: Text
    event: Event
    masters: Annotated[list[DevelopedMaster], Meta(min_length=1)]
    fields: list[StoredField] = msgspec.field(default_factory=list)
