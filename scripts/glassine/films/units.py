"""Units of a pool: the negatives of one process on one master, which share a film for certain."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import msgspec
import numpy as np

from glassine.base import files, record_files
from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.base.records.films import FilmValues, Without
from glassine.base.records.looks import Looks, MasterLooks
from glassine.base.tone import Channels, StatedEncoding
from glassine.look import compact
from glassine.look.step import RECORD
from glassine.render.looks import Look

# Digest of what each step of an item was last given (night/item_job.py): a step under way, or one
# that failed, is not in it.
_STEPS_DONE = "steps.json"


@dataclass(frozen=True)
class Unit:
    """The negatives of one process on one master.

    base: density of clear film base per used channel, None where none is seen. primaries: of the
    master's profile, None for grey. edge_stock: kind of film by the codes in its margin. alone:
    the film as these frames alone show it. digest: of all that is kept of the master. looks: where
    that is.
    """

    item: str
    master: str
    process: str
    kind: str
    encoding: StatedEncoding
    facts: Facts
    base: Channels | None
    primaries: tuple[Channels, ...] | None
    alone: FilmValues
    frames: tuple[int, ...]
    digest: str
    edge_stock: str | None = None
    looks: Path = field(repr=False, default=Path())

    @property
    def channels(self) -> tuple[int, ...]:
        return self.alone.channels


def read(items_dir: Path, items: tuple[str, ...]) -> tuple[list[Unit], list[Without]]:
    """Return the units of these items in their order, and the items that cannot be looked at.

    A record that is damaged is removed: the next run makes it again."""
    units: list[Unit] = []
    without: list[Without] = []
    for item in items:
        path = items_dir / item / RECORD
        why = _not_current(items_dir / item)
        if why is None:
            try:
                found = record_files.load(path, "looks", Looks)
                units += [unit for master in found.masters for unit in _units(item, master, path)]
            except GlassineError:
                # Without it the item is looked at again; as it stands nothing would see that.
                path.unlink(missing_ok=True)
                why = "What was kept of its frames is damaged; the next run looks at them again."
        if why is not None:
            without.append(Without(item=item, why=why))
    return units, without


def _not_current(item_dir: Path) -> str | None:
    """Return why the looks in an item's folder are not of its masters as they are now."""
    try:
        done = files.read_json(item_dir / _STEPS_DONE)
    except GlassineError:
        done = {}
    if isinstance(done, dict) and "look" in done:
        return None
    held = (item_dir / "held.json").exists()
    return "It is held before its frames were looked at." if held else "It was not looked at yet."


def _units(item: str, master: MasterLooks, path: Path) -> Iterator[Unit]:
    digest = hashlib.sha256(msgspec.json.encode(master)).hexdigest()
    for alone in master.alone:
        base = None
        if master.base:
            median = np.median(np.array(master.base), axis=0)[[*alone.channels]]
            base = tuple(median.tolist())
        frames = tuple(frame.index for frame in master.frames if frame.process == alone.process)
        yield Unit(
            item=item,
            master=master.master,
            process=alone.process,
            kind=master.kind,
            encoding=master.encoding,
            facts=master.facts,
            base=base,
            primaries=master.primaries,
            alone=alone,
            frames=frames,
            digest=digest,
            edge_stock=master.edge_stock or None,
            looks=path,
        )


def looks_of(unit: Unit, indices: tuple[int, ...]) -> list[Look]:
    """Return the looks of some frames of a unit. Raises GlassineError where they are damaged."""
    record = record_files.load(unit.looks, "looks", Looks)
    for master in record.masters:
        if master.master == unit.master:
            chosen = [frame for frame in master.frames if frame.index in indices]
            try:
                return [compact.read(frame, master.bands) for frame in chosen]
            except ValueError as problem:
                raise GlassineError.because(
                    "films.looks",
                    unit.looks,
                    f"What is kept of this item's frames is damaged: {problem}.",
                    "the record as the step look wrote it.",
                    f"Delete {unit.looks.name} there; the next run makes it again.",
                ) from problem
    return []
