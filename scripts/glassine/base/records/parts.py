"""What several records hold: digests, events, header facts of a master, findings."""

from __future__ import annotations

from typing import Annotated, Any, Literal

import msgspec
from msgspec import UNSET, Meta, UnsetType

from glassine.base.records import Record

Sha256 = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]
Sha512 = Annotated[str, Meta(pattern="^[0-9a-f]{128}$")]
Text = Annotated[str, Meta(min_length=1)]
Count = Annotated[int, Meta(ge=0)]
Positive = Annotated[int, Meta(ge=1)]
# Pictures beside the access image and the thumbnail that a frame may have, by what they are.
AlternateUse = Literal[
    "webp",
    "avif",
    "jp2",
    "jpeg",
    "tiff",
    "pyramid",
    "crop",
    "adobergb",
    "romm",
    "ecirgb",
    "linear",
    "uninverted",
]
DerivativeUse = Literal["access", "thumb", AlternateUse]
# As it was written: a whole number stays one, so that a record repeats a setting as it stands.
Number = int | float


def number(least: float, most: float) -> Meta:
    """Return the limits of a number that stays whole where it was written whole: of a type
    `int | float`. They stand in the schema alone, which checks what people write."""
    return Meta(extra_json_schema={"type": "number", "minimum": least, "maximum": most})


def choice(*values: str) -> Meta:
    """Return the values of a `str` in their own order: those of a `Literal` are sorted. They stand
    in the schema alone, which checks what people write."""
    return Meta(extra_json_schema={"enum": list(values)})


class Digests(Record, frozen=True, kw_only=True):
    """Of one file, lower-case hexadecimal; MD5 and SHA-1 where a checksum list has them."""

    md5: Annotated[str, Meta(pattern="^[0-9a-f]{32}$")] | UnsetType = UNSET
    sha1: Annotated[str, Meta(pattern="^[0-9a-f]{40}$")] | UnsetType = UNSET
    sha256: Sha256
    sha512: Sha512


class Event(Record, frozen=True, kw_only=True):
    """What a step did (PREMIS 3.0 event).

    type: label of the Library of Congress event type. time: ISO 8601. detail: the parameters that
    repeat the step. operator: role id of a person, if one decided. processor: its architecture.
    """

    type: Text
    time: str
    outcome: str
    detail: dict[str, Any]
    software: dict[str, str]
    operator: str | None
    processor: str | None = None


class FindingNote(Record, frozen=True, kw_only=True):
    """A finding of a thing that went on all the same (see `errors.Finding`)."""

    code: Text
    path: str
    what: str
    expected: str
    next_step: str
    severity: Literal["hold", "review", "note"]


class Resolution(Record, frozen=True, kw_only=True):
    """As tagged (TIFF 6.0, ResolutionUnit)."""

    x: float
    y: float
    unit: Literal["none", "in", "cm"]


class Capture(Record, frozen=True, kw_only=True):
    """What camera and studio wrote into a header (EXIF 2.32, XMP); None where absent.

    exposure_s: seconds; focal_mm: mm; taken: as "YYYY-MM-DDThh:mm:ss" without its offset.
    """

    make: str | None
    model: str | None
    serial: str | None
    lens: str | None
    exposure_s: float | None
    f_number: float | None
    iso: float | None
    focal_mm: float | None
    taken: str | None
    offset: str | None
    artist: str | None = None
    copyright: str | None = None
    rights_uris: list[str] = msgspec.field(default_factory=list)
    description: str | None = None
    exif_version: str | None = None


class RawPicture(Record, frozen=True, kw_only=True):
    """What a camera raw file says of its sensor's samples.

    pattern: colours of the 2 x 2 pattern from its top left, row by row, as "RGGB"; None where each
    pixel has all three. black: DN by place in the pattern; white: DN. lossy: whether they were
    compressed with loss, None where the file does not say. opcodes: DNG tags of corrections that
    the camera left to do. masked: DN by which sites that no light reaches lie above the black
    level, None where none are seen.
    """

    pattern: str | None
    black: list[float]
    white: float
    lossy: bool | None
    opcodes: list[int] = msgspec.field(default_factory=list)
    masked: float | None = None


class Header(Record, frozen=True, kw_only=True):
    """Header facts of a master, as verify reads them (see `masters.opening.read_header`).

    width, height: px as stored. bits: one a sample. contiguous_from: the byte where uncompressed
    rows begin where they lie one behind the other. in_order: whether strips or tiles lie in the
    file in the order of the picture. orientation: TIFF tag, 1 to 8; orientation_tag: one that means
    nothing, as it stands there. raw: of a camera raw file alone.
    """

    width: Positive
    height: Positive
    bits: list[Positive]
    samples: Positive
    colour: Literal["rgb", "grey", "raw"]
    sample_format: str
    compression: str
    byte_order: str
    format_name: str
    format_version: str | None
    puid: str | None
    icc_name: str | None
    icc_sha256: Sha256 | None
    resolution: Resolution | None
    orientation: Annotated[int, Meta(ge=1, le=8)]
    orientation_tag: int | UnsetType = UNSET
    software: str | None
    capture: Capture
    contiguous_from: Count | None = None
    in_order: bool = True
    raw: RawPicture | UnsetType = UNSET
