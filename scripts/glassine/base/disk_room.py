"""How long a disk lasts at the rate at which the last nights took room of it.

Each night notes at its end how much is free where it writes (`results/room.json`). The rate is what
the disk lost from note to note, whatever took it; a span in which room was made counts for neither
side, and so does one in which the disk became another.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.records import Record

NOTES = "room.json"
_DAY_S = 86400.0
# Two runs in one night are one night: a note sooner than this after the last is left out.
_APART_S = 6 * 3600.0
_MOST = 60
# So far back, days, and from so many nights on a rate is told.
LOOKED_BACK = 30.0
LEAST_NIGHTS = 4
# A disk that lasts no longer than this, days, is a matter of the morning (common practice, no
# source).
SHORT_DAYS = 14.0
_FOREVER_DAYS = 3650.0


class Room(Record, frozen=True):
    """Room of a disk, bytes. size: of the whole disk, by which another one is told apart."""

    free: int
    size: int


class Note(Record, frozen=True):
    """What a night noted at its end. time: seconds since 1970; room: by the folder's use."""

    time: int
    room: dict[str, Room]


@dataclass(frozen=True)
class Forecast:
    """How a disk stands. where: folders on it, in words; free: bytes; nights: by which the rate was
    told; rate: bytes a day, None where that cannot be told yet; freed: spans that were left out, as
    room was made in them."""

    where: str
    free: int
    nights: int
    rate: float | None
    freed: int = 0

    @property
    def days(self) -> float | None:
        """Return for how many days the room lasts; None where that cannot be told, or there is no
        growth."""
        return self.free / self.rate if self.rate else None

    @property
    def is_short(self) -> bool:
        return self.days is not None and self.days < SHORT_DAYS

    def sentence(self) -> str:
        """Return it in words."""
        free = f"{in_words(self.free)} free for {self.where}"
        left_out = ""
        if self.freed:
            left_out = f"; left out, as room was made or the disk is another: {self.freed:,}"
        if self.rate is None:
            return (
                f"{free}; how long that lasts is said after {LEAST_NIGHTS} nights "
                f"(of the last {LOOKED_BACK:g} days {self.nights:,} can be used{left_out})"
            )
        if not self.rate:
            return f"{free}; the last {self.nights:,} nights took none of it{left_out}"
        days = self.days or 0.0
        lasts = f"{days:,.0f} days" if days < _FOREVER_DAYS else "more than ten years"
        lasts = "less than a day" if days < 1 else lasts
        return (
            f"{free}: about {lasts} at the rate of the last {self.nights:,} nights "
            f"({in_words(self.rate)} a day{left_out})"
        )


def in_words(count: float) -> str:
    """Return bytes in words, in powers of ten."""
    for unit in ("bytes", "kB", "MB", "GB"):
        if count < 1000:
            return f"{count:,.0f} {unit}" if unit == "bytes" else f"{count:,.1f} {unit}"
        count /= 1000
    return f"{count:,.1f} TB"


def seconds_of(text: str) -> float:
    """Return seconds since 1970 of an xs:dateTime with its zone."""
    return datetime.fromisoformat(text).timestamp()


def room_of(folder: Path) -> Room:
    """Return the room that a folder's disk has for this user. Raises OSError."""
    status = os.statvfs(folder)
    return Room(free=status.f_bavail * status.f_frsize, size=status.f_blocks * status.f_frsize)


def _folders(results: Path, deliveries: Path) -> dict[str, Path]:
    """Return the folders that are there, by their use; one of several on one disk."""
    found: dict[int, str] = {}
    there = {"results": results, "deliveries": deliveries}
    for use, folder in there.items():
        if folder.is_dir():
            device = folder.stat().st_dev
            found[device] = f"{found[device]} and {use}" if device in found else use
    return {use: there[use.split(" ")[0]] for use in found.values()}


def read(results: Path) -> list[Note]:
    """Return the notes of earlier nights, the first one first; none where they cannot be read."""
    try:
        value: Any = files.read_json(results / NOTES)["nights"]
        notes = msgspec.convert(value, list[Note])
    except (GlassineError, OSError, LookupError, TypeError, ValueError):
        return []
    return sorted(notes, key=lambda note: note.time)


def note(results: Path, deliveries: Path, now: float) -> None:
    """Note how much room there is at the end of a night. now: seconds since 1970. Raises OSError.

    Notes from later than now, of a clock that was set back, are dropped.
    """
    notes = [each for each in read(results) if each.time <= now]
    if notes and now - notes[-1].time < _APART_S:
        return
    room = {use: room_of(folder) for use, folder in _folders(results, deliveries).items()}
    kept = [*notes, Note(time=int(now), room=room)][-_MOST:]
    files.write_json(results / NOTES, {"nights": msgspec.to_builtins(kept)})


def forecast(results: Path, deliveries: Path, now: float) -> list[Forecast]:
    """Return how each disk that a night writes to stands, the one that is full first first.

    now: seconds since 1970. Raises OSError where a disk cannot be asked.
    """
    since = now - LOOKED_BACK * _DAY_S
    notes = [each for each in read(results) if since <= each.time <= now]
    told = [
        _of_disk(use, room_of(folder), notes)
        for use, folder in _folders(results, deliveries).items()
    ]
    return sorted(told, key=lambda each: (each.days is None, each.days or 0.0, each.free))


def _is_one_disk(*sizes: int) -> bool:
    """Return whether sizes can be of one disk: that of a volume of a pool moves by itself."""
    return max(sizes) <= 1.1 * min(sizes)


def _of_disk(use: str, room: Room, notes: Iterable[Note]) -> Forecast:
    mine = [(each.time, each.room[use]) for each in notes if use in each.room]
    spans = [
        ((later - time) / _DAY_S, before.free - after.free)
        for (time, before), (later, after) in pairwise(mine)
        if _is_one_disk(before.size, after.size, room.size)
    ]
    grown = [(days, taken) for days, taken in spans if taken >= 0]
    nights, days = len(grown) + 1 if grown else min(1, len(mine)), sum(each for each, _ in grown)
    enough = nights >= LEAST_NIGHTS and days > 0
    rate = sum(taken for _, taken in grown) / days if enough else None
    return Forecast(use, room.free, nights, rate, len(spans) - len(grown))
