"""The journal of decisions: who decided what of an item, when, and how long it took.

corrections.yaml holds what stands now; the journal holds each decision, in lines of JSON in
`results/<batch>/decisions.jsonl`. A line is written before the file is, so that a decision that
stands was noted; what a killed server noted and did not write is noted once all the same, when it
is decided again with the same words.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from glassine.base.records.corrections import Correction

FILE_NAME = "decisions.jsonl"
# Below `results/<batch>/report/`: small pictures of frames as they were when they were decided.
BEFORE = "before"
# A person who was away from the desk looked at nothing meanwhile.
MAX_SECONDS = 600.0
# A line longer than this was not written here.
_MAX_LINE_BYTES = 1_000_000


@dataclass(frozen=True, order=True)
class Part:
    """What a decision is about. name: `frame`, `note` or `identity`; master: the path of a
    frame's master where it is stated, else empty; frame: its number, else 0."""

    name: str
    master: str = ""
    frame: int = 0


@dataclass(frozen=True)
class Decision:
    """One decision about a part of an item. was, now: the part's plain value before and after,
    None where nothing was decided; seconds: how long the person looked, None: not known."""

    item: str
    part: Part
    by: str | None
    when: str | None
    was: Any
    now: Any
    seconds: float | None = None


def parts(correction: Any) -> dict[Part, Any]:
    """Return what a correction (plain data, of an outside page too) says, part by part."""
    if not isinstance(correction, dict):
        return {}
    frames = correction.get("frames")
    said: dict[Part, Any] = {}
    for frame in frames if isinstance(frames, list) else []:
        if isinstance(frame, dict) and isinstance(frame.get("frame"), int):
            said[Part("frame", str(frame.get("master") or ""), frame["frame"])] = frame
    for name in ("note", "identity"):
        if correction.get(name):
            said[Part(name)] = correction[name]
    return said


def picture_name(item: str, part: Part) -> str:
    """Return the name of the picture of a frame before a decision, below `BEFORE`."""
    place = hashlib.sha256(f"{part.master}\0{part.frame}".encode("utf-8", "replace")).hexdigest()
    return f"{item}/{place[:16]}.jpg"


def between(
    item: str, before: Correction | None, after: Correction | None, asked: Correction, seconds: Any
) -> list[Decision]:
    """Return what a save decides of an item. asked: who and when; seconds: as the page says."""
    was, now = parts(msgspec.to_builtins(before)), parts(msgspec.to_builtins(after))
    changed = [part for part in sorted({*was, *now}) if was.get(part) != now.get(part)]
    took = _plausible(seconds)
    each = None if took is None or not changed else round(took / len(changed), 1)
    return [
        Decision(item, part, asked.by, asked.when, was.get(part), now.get(part), each)
        for part in changed
    ]


def _plausible(value: Any) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return None
    return float(value) if 0 <= value <= MAX_SECONDS else None


def _decision(line: bytes) -> Decision | None:
    try:
        return msgspec.convert(json.loads(line), Decision)
    except (ValueError, RecursionError, msgspec.ValidationError):
        return None


def read(path: Path) -> Iterator[Decision]:
    """Yield the decisions of a journal in their order; a line that was broken off is left out."""
    if not path.is_file():
        return
    with path.open("rb") as lines:
        for line in lines:
            decision = _decision(line) if len(line) <= _MAX_LINE_BYTES else None
            if decision is not None:
                yield decision


class Journal:
    """The journal at `path`, for a process that holds the right to write (`Session.changing`)."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._last: dict[tuple[str, Part], tuple[str | None, Any]] = {}
        self._size = 0

    def add(self, made: list[Decision]) -> None:
        """Note decisions, each once, and see that the disk has them."""
        self._catch_up()
        new = [
            each for each in made if self._last.get((each.item, each.part)) != (each.by, each.now)
        ]
        if not new:
            return
        self._append(b"".join(msgspec.json.encode(each) + b"\n" for each in new))
        self._last |= {(each.item, each.part): (each.by, each.now) for each in new}

    def _catch_up(self) -> None:
        """Read what other processes noted since the last look."""
        size = self.path.stat().st_size if self.path.is_file() else 0
        if size != self._size:
            self._last = {(each.item, each.part): (each.by, each.now) for each in read(self.path)}
            self._size = size

    def _append(self, content: bytes) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_APPEND | os.O_CLOEXEC, 0o644)
        try:
            size = os.fstat(handle).st_size
            broken_off = size > 0 and os.pread(handle, 1, size - 1) != b"\n"
            os.write(handle, b"\n" + content if broken_off else content)
            os.fsync(handle)
            self._size = os.fstat(handle).st_size
        finally:
            os.close(handle)
