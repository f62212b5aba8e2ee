"""The tone of a frame, as render plans it and render.json keeps it.

What is in common of all is `Tone`, what negatives and positives have of their own `Negative` and
`Positive`; a record tells by `rendering` which it is. How the numbers become a picture is told in
`glassine.render.tone`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Literal

import msgspec
from msgspec import UNSET, UnsetType

from glassine.base.records import Record
from glassine.base.records.parts import Number, Sha256

Channels = tuple[float, ...]
# Who says that frames are of one film; the last where it was found.
Whence = Literal["batch.yaml", "catalogue", "base colour"]


class StatedEncoding(Record, frozen=True, kw_only=True):
    """How codes of the master were taken to become linear light.

    name: of the profile, or of the encoding as batch.yaml writes it. kind, sha256: of the profile,
    absent without one. assumed: whether nothing said how, absent with a profile.
    """

    by: Literal["profile", "batch.yaml", "assumption"]
    name: str
    kind: str | UnsetType = UNSET
    sha256: Sha256 | UnsetType = UNSET
    assumed: bool | UnsetType = UNSET

    def __post_init__(self) -> None:
        profiled = self.by == "profile"
        known = (self.kind is not UNSET, self.sha256 is not UNSET, self.assumed is UNSET)
        if known != (profiled,) * 3:
            raise ValueError(
                "an encoding by its profile has its kind and sha256, any other says assumed"
            )

    @property
    def stated(self) -> str | None:
        """The encoding by its name, None where a profile says it."""
        return None if self.by == "profile" else self.name


class Shoulder(Record, frozen=True):
    """Highlights rolled off: linear light (white = 1) from `start`, and `top`, shown as white."""

    start: Number
    top: Number


class Clipped(Record, frozen=True):
    """Shares (%) of samples at the ends of their range, in the master and as rendered."""

    master_high: float
    master_low: float
    rendered_high: float
    rendered_low: float


# Of a tone under way. No record can be written of it: JSON has no such number.
NOT_MEASURED = Clipped(math.nan, math.nan, math.nan, math.nan)


class Tone(Record, frozen=True, kw_only=True, tag_field="rendering"):
    """All that decides a frame's pixels once it is cut out, and what was seen on the way.

    version: of the planning. bits, master_bands: samples of the master; encoding: their meaning.
    channels: the master's bands that are used, from 0; bands: those of the picture (1 or 3).
    matrix: (bands x channels) from the master's linear light, after inversion or conversion, to
    linear sRGB; None where the channels are shown as they are. review: why a person should look
    (empty as a rule).

    What a later version adds needs a default for records without it: those of settled items are
    read for as long as their batch is reported.
    """

    version: str
    process: str
    bits: int
    master_bands: int
    bands: int
    channels: tuple[int, ...]
    encoding: StatedEncoding
    matrix: tuple[Channels, ...] | None
    shoulder: Shoulder | None
    review: tuple[str, ...]
    clipped_percent: Clipped


class FilmNote(Record, frozen=True, kw_only=True):
    """The film whose values a frame was rendered with, where it is shared by several masters.

    name: as batch.yaml or the catalogue names it, else by its first item. whence: who said that
    they are one film. frames, masters: how many its values rest on. version: of the values, a
    digest of them.
    """

    name: str
    whence: Whence
    frames: int
    masters: int
    version: str


class NetworkNote(Record, frozen=True, kw_only=True):
    """What the trained network says of a frame, which was weighed with what its film shows.

    balance: log10 of exposure per channel, with the exposure in it, for the network's own slopes
    and matrix; exposure, cast: how far their mean, and each against it, may be off, one standard
    deviation; error: mean CIEDE2000 that it expects of its own picture; differ: how far its
    exposures are from those found without it, log10.
    """

    balance: Channels
    exposure: float
    cast: float
    error: float
    differ: float


class Negative(Tone, frozen=True, kw_only=True, omit_defaults=True):
    """How a negative becomes a picture; values per channel that is used.

    dmin: density of the film base; slopes: density per log10 of exposure, of the straight line;
    dmin_source, slopes_source: where they come from, in words. balance, exposure: log10 of
    exposure, of each channel and of all. toe: share (0 to 1) of the exposure at dmin that is shown
    as black. film: absent where the values rest on this master alone. density_matrix: 3 x 3, rows
    sum to 1, which tells the layers apart: it is applied to (D - dmin) / slopes; None where each
    channel stands for its layer. expected_error: mean CIEDE2000 (of grey pictures mean difference
    of L*) that the picture is likely to be off by, None in records of versions that did not say.
    network: what the trained network says, absent where it was not asked.
    """

    dmin: Channels
    dmin_source: str
    slopes: Channels
    slopes_source: str
    balance: Channels
    exposure: float
    toe: Number
    density_matrix: tuple[Channels, ...] | None = None
    expected_error: float | None = None
    film: FilmNote | UnsetType = UNSET
    network: NetworkNote | UnsetType = UNSET


class ColourNegative(Negative, frozen=True, kw_only=True, tag="negative, colour"):
    pass


class MonochromeNegative(Negative, frozen=True, kw_only=True, tag="negative, monochrome"):
    pass


class Restoration(Record, frozen=True, kw_only=True):
    """How faded dyes are made up for, per layer cyan, magenta, yellow.

    strength: by what the density of each is multiplied (1: left as it is); stain: density that is
    taken off each before.
    """

    strength: Channels
    stain: Channels

    @property
    def changes(self) -> bool:
        return any(value != 1.0 for value in self.strength) or any(self.stain)


class Positive(Tone, frozen=True, kw_only=True):
    """How a positive becomes a picture: through its profile. black: linear light shown as black.

    restored: absent where nobody asked for it (`tone.restore`).
    """

    black: Number
    intent: str
    black_point_compensation: bool
    restored: Restoration | UnsetType = UNSET

    @property
    def restoration(self) -> Restoration | None:
        """What is made up for; None where nothing is."""
        if isinstance(self.restored, Restoration) and self.restored.changes:
            return self.restored
        return None


class PositiveAsIs(Positive, frozen=True, kw_only=True, tag="positive"):
    """Shown with the colours or the tint that it has."""


class PositiveInGrey(Positive, frozen=True, kw_only=True, tag="positive, grey"):
    """Shown by its luminance alone."""


AnyTone = ColourNegative | MonochromeNegative | PositiveAsIs | PositiveInGrey


def of_frame(frame: Mapping[str, Any]) -> AnyTone | None:
    """Return the tone in a frame's entry of render.json, None where it was skipped.

    Raises msgspec.ValidationError for what is no tone, or lacks or has more than one.
    """
    record = frame.get("tone")
    return None if record is None else msgspec.convert(record, AnyTone)
