"""What render works on: a master of the item, and where the item's results go."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path

from glassine.base import naming
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.records.films import MasterFilm
from glassine.base.records.fixity import VerifiedMaster
from glassine.base.records.parts import AlternateUse
from glassine.render.given import Settings

SPACES: tuple[AlternateUse, ...] = ("adobergb", "romm", "ecirgb", "linear")
UNINVERTED: AlternateUse = "uninverted"


@dataclass(frozen=True)
class RecordedMaster:
    """One master of the item, with all that is known of it.

    part, sequence: its place in the item, as its file name says. films: by process, those that
    other masters share. icc: the profile embedded in it, None where it has none or until it is
    open.
    """

    path: Path
    part: str | None
    verified: VerifiedMaster
    geometry: MasterGeometry
    facts: Facts
    films: Mapping[str, MasterFilm] = field(default_factory=dict)
    icc: bytes | None = None
    sequence: str | None = None

    def frame_number(self, frame: Frame) -> int | None:
        """Return the number that names the frame, None where the master has no other."""
        return frame.index if len(self.geometry.frames) > 1 else None


@dataclass(frozen=True)
class Work:
    """Where the item's results go, and how they are made. notes: for the event's detail. caption:
    facts of the item that captions show."""

    item: str
    settings: Settings
    files_dir: Path
    iiif_dir: Path
    pool: Executor
    notes: list[str] = field(default_factory=list)
    caption: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Names:
    """Names of a frame's pictures: of files but for their ending, iiif: of the image service;
    further: by use, of those in further colour spaces and of the negative as captured; sets: by
    the name of the set. shown: facts of the frame that captions show."""

    access: str
    thumb: str
    pyramid: str
    crop: str
    iiif: str
    further: dict[AlternateUse, str]
    sets: dict[str, str] = field(default_factory=dict)
    shown: Mapping[str, str] = field(default_factory=dict)

    def all(self) -> tuple[str, ...]:
        named = (self.access, self.thumb, self.pyramid, self.crop, self.iiif)
        return (*named, *self.further.values(), *self.sets.values())


def names_of(
    master: RecordedMaster, frame: Frame, item: str, template: str, sets: tuple[str, ...] = ()
) -> Names:
    """Return the names of a frame's pictures by the template `naming.derivative`.

    sets: names of the further sets of pictures that are asked for.
    """
    number = master.frame_number(frame)

    def named(use: str) -> str:
        return naming.derivative_name(
            template, item, master.part, number, use, master.sequence, frame.film_frame
        )

    access, thumb, pyramid, crop = (named(use) for use in ("access", "thumb", "pyramid", "crop"))
    further = {use: named(use) for use in (*SPACES, UNINVERTED)}
    of_sets = {name: named(name) for name in sets}
    service = naming.iiif_id(item, master.part, number, master.sequence)
    frame_words = frame.film_frame or (str(number) if number is not None else "")
    shown = {"item": item, "part": master.part or "", "frame": frame_words}
    return Names(access, thumb, pyramid, crop, service, further, of_sets, shown)
