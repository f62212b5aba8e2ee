"""Raw captures of targets: what the measuring is handed of one that was developed elsewhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from glassine.base.errors import Finding
from glassine.base.records.given import Master
from glassine.base.records.parts import Capture as CameraFacts
from glassine.base.records.target import DevelopedCapture
from glassine.targets.capture import Sensor


@dataclass(frozen=True)
class Developed:
    """A raw capture as it was developed.

    picture: its TIFF; camera: what the raw file says of the capture. findings: what a person should
    know of the development.
    """

    picture: Path
    camera: CameraFacts
    sensor: Sensor
    record: DevelopedCapture
    findings: list[Finding]


# Develops a capture of the batch folder. Raises GlassineError where it cannot be.
Develop = Callable[[Master], Developed]


def told(record: DevelopedCapture) -> str:
    """Return what the result says of a raw capture."""
    used = [f"{each.role} capture {each.path}" for each in record.calibration]
    colours = f"colours by the profile from {record.target}" if record.target else "its own colours"
    return (
        f"{record.path} is a raw capture, and is measured on the picture developed from it "
        f"({', '.join([f'LibRaw {record.libraw}', record.method, colours, *used])}); clipping and "
        "the bits used are those of the sensor's samples."
    )


def told_of_field(record: DevelopedCapture) -> str:
    """Return what the result says of the bare light, "" where no light capture was used on it."""
    lights = [each.path for each in record.calibration if each.role == "light"]
    if not lights:
        return ""
    return (
        f"How even the light is: what the light capture {lights[0]} leaves of its fall-off, as in "
        "the pictures of the items."
    )
