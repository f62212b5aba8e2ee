"""A developed picture made again from its raw file and developed.json, and nothing else."""

from __future__ import annotations

from pathlib import Path

import msgspec

from glassine.base import processor
from glassine.base.records.developed import DevelopedMaster, StoredField
from glassine.develop import stored
from glassine.develop.given import CameraProfile
from glassine.develop.step import Plan, make
from glassine.masters import opening, raws


def _profile(recorded: DevelopedMaster) -> CameraProfile | None:
    if recorded.matrix_from != "target":
        return None
    rows = tuple(tuple(row) for row in recorded.matrix)
    kind = recorded.target_kind or "transmissive"
    known = {"model": "", "lamp": (1.0, 1.0), "target": recorded.target, "kind": kind}
    return msgspec.convert({**known, "matrix": rows}, CameraProfile)


def make_again(
    raw_path: Path, recorded: DevelopedMaster, fields: list[StoredField], target: Path
) -> DevelopedMaster:
    """Write the picture and return how it was made now.

    raw_path: the raw file, only read. Raises GlassineError where the record is damaged or the file
    cannot be developed, OSError, LookupError where the record names a field that it lacks.
    """
    processor.same_everywhere()
    raw = raws.read(raw_path, opening.MAX_PIXELS * 4)
    field = stored.read(fields[recorded.light]) if recorded.light is not None else None
    height, width = raw.sensor.shape[:2]
    plan = Plan(
        recorded.method if raw.pattern is not None else "DHT",
        recorded.output,
        recorded.gains,
        recorded.table,
        field,
        stored.read_pixels(recorded.dead_pixels, (height, width)),
        _profile(recorded),
    )
    return make(raw, plan, target, recorded.source)
