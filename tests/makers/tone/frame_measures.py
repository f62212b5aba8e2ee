"""What the measures say of the masters that frame_faults.py makes."""

from __future__ import annotations

from collections.abc import Iterable

from glassine.base.records.quality import Measure
from makers.tone import frame_faults
from makers.tone.measures import measured

ALL = tuple(dict.fromkeys(n for names in frame_faults.MEASURES_OF.values() for n in names))


def of_master(number: int, fault: str | None, strength: str = "weak") -> dict[str, Measure]:
    codes, monochrome = frame_faults.master(number, fault, strength)
    height, width = codes.shape[:2]
    return measured(codes, monochrome, frame_faults.geometry(width, height, monochrome))


def alarms(values: dict[str, Measure], names: Iterable[str]) -> list[str]:
    """Return which of these measures ask for a look."""
    return [n for n in names if n in values and values[n].verdict in {"review", "fail"}]
