"""What develop is given of an item."""

from __future__ import annotations

from typing import Literal

import msgspec

from glassine.base.model import Facts
from glassine.base.records import Given
from glassine.base.records.developed import Role

Demosaic = Literal["auto", "dht", "aahd", "ahd", "dcb"]


class Calibration(Given, frozen=True, kw_only=True):
    """A session's capture that is no item. path: in the batch folder; bytes, mtime_ns: as intake
    saw it; expected: {algorithm: hex digest} of the checksum lists."""

    role: Role
    path: str
    bytes: int
    mtime_ns: int
    expected: dict[str, str] = msgspec.field(default_factory=dict)


Row = tuple[float, float, float]


class CameraProfile(Given, frozen=True, kw_only=True):
    """A camera's colours as they were fitted on a target. serial, lens: "" for any. lamp: red and
    blue of the bare table over its green, as the camera saw it then. matrix: balanced camera
    colours to XYZ of D50, by rows. target: its name; kind: what it is made of."""

    model: str
    serial: str = ""
    lens: str = ""
    lamp: tuple[float, float]
    matrix: tuple[Row, Row, Row]
    target: str
    kind: Literal["transmissive", "reflective"]


class RawSection(Given, frozen=True, kw_only=True):
    """The section `raw` of the settings. light_hours: age of a light capture. unstated: what comes
    of one where headers do not say whether it holds. profiles: of the studio's cameras."""

    output: str = "camera"
    demosaic: Demosaic = "auto"
    light: Literal["review", "require"] = "review"
    light_hours: float = 24.0
    unstated: Literal["review", "note"] = "review"
    profiles: tuple[CameraProfile, ...] = ()


class IntakeSection(Given, frozen=True, kw_only=True):
    """max_pixels: of a master."""

    max_pixels: int


class Settings(Given, frozen=True, kw_only=True):
    raw: RawSection
    intake: IntakeSection


class Master(Given, frozen=True, kw_only=True):
    """superseded_by: path of the capture that counts in its place."""

    path: str
    superseded_by: str | None = None
    facts: Facts | None = None


class DevelopGiven(Given, frozen=True, kw_only=True):
    item: str
    masters: tuple[Master, ...]
    calibration: tuple[Calibration, ...] = ()
    facts: Facts | None = None
    settings: Settings
