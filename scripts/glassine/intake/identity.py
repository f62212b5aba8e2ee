"""What each way of itself tells of a master's item: its name, the catalogue, its picture."""

from __future__ import annotations

from dataclasses import dataclass, field

import msgspec

from glassine.base import door, naming, sandbox
from glassine.base.helper_process import Apart
from glassine.base.model import ItemId
from glassine.base.records.intake import BY_NAME, Identified, Label
from glassine.intake.model import Batch
from glassine.masters import header_size

# Time for looking for a label in one picture; a large master takes seconds.
LABEL_S = 120.0
# Pixels of a raw file whose size stands in no tag that is read here.
_UNTOLD_PX = 150 * 10**6


@dataclass(frozen=True)
class Arrived:
    """A master as it lies in the batch. waits: why it is not at rest yet, None where it is."""

    entry: door.Entry
    waits: str | None

    @property
    def path(self) -> str:
        return self.entry.path


@dataclass(frozen=True)
class Identity:
    """The item of a master and its place in it.

    take, roll, place: as its name says. identified: what told the item. labels: what was seen in
    the picture. left_out: why it is no master of the item, by the settings, None where it is.
    """

    item: ItemId
    part: str | None = None
    sequence: str | None = None
    take: int | None = None
    roll: str | None = None
    place: str | None = None
    identified: Identified = BY_NAME
    labels: list[Label] = field(default_factory=list)
    left_out: str | None = None


@dataclass(frozen=True)
class Seen:
    """What was seen in a master. items: those that its labels name, known ones before all; look: as
    `labels.look_of`, None where the picture could not be looked at."""

    labels: list[Label] = field(default_factory=list)
    items: tuple[ItemId, ...] = ()
    look: tuple[float, ...] | None = None


@dataclass
class Sight:
    """Looks at pictures, at each once, in a process of its own: what crashes it or hangs shows
    nothing, and `verify` tells what is wrong with the file."""

    batch: Batch
    reader: Apart
    known: dict[str, Seen] = field(default_factory=dict)

    def of(self, path: str) -> Seen:
        if path not in self.known:
            self.known[path] = self._look(path)
        return self.known[path]

    def _look(self, path: str) -> Seen:
        batch = self.batch
        pixels = _pixels(batch, path)
        max_pixels = batch.settings.intake.max_pixels
        if pixels is None or pixels > max_pixels:
            return Seen()
        memory_bytes = sandbox.memory_for(16 * (pixels // 10**6))
        full = str(batch.folder / path)
        answer = self.reader.ask(full, str(max_pixels), seconds=LABEL_S, memory_bytes=memory_bytes)
        if not isinstance(answer, dict):
            return Seen()
        labels = msgspec.convert(answer["labels"], list[Label])
        return Seen(labels, items_of(batch, labels), tuple(answer["look"]))


def _pixels(batch: Batch, path: str) -> int | None:
    """Return how many pixels a few bytes of a master declare, None where they do not; where those
    of a raw file do not, the most that one is given memory for (its reader counts them itself)."""
    if naming.is_raw(path):
        size = header_size.raw_size_px(batch.folder / path, batch.folder)
        if size is None:
            return min(_UNTOLD_PX, batch.settings.intake.max_pixels)
    else:
        size = header_size.size_px(batch.folder / path, batch.folder)
    return size[0] * size[1] if size else None


def items_of(batch: Batch, labels: list[Label]) -> tuple[ItemId, ...]:
    """Return the items that labels name: where the catalogue knows some of them, those alone."""
    named: dict[ItemId, None] = {}
    for label in labels:
        text = label.text.strip()
        parsed = _as_name(batch, text)
        spelled = batch.spelled.get(batch.numbers.key(text))
        if spelled is not None:
            named[spelled] = None
        elif parsed is not None:
            named[parsed.item] = None
    known = tuple(item for item in named if batch.has_row(item))
    return known or tuple(named)


def _as_name(batch: Batch, text: str) -> naming.MasterName | None:
    """Return what the text of a label tells where it is as a file is named, without its ending."""
    text = batch.numbers.id_form(text)
    if "/" in text or batch.scheme.of == "path":
        return None
    return batch.named(f"{text}.tif")


def by_name(batch: Batch, path: str) -> Identity | None:
    """Return what the name of a master tells, None where it is off the template or not asked."""
    parsed = batch.named(path) if "name" in batch.settings.naming.identify else None
    if parsed is None:
        return None
    return Identity(
        parsed.item, parsed.part, parsed.sequence, parsed.take, parsed.roll, parsed.place
    )


def by_row(batch: Batch, path: str) -> Identity | None:
    """Return the item whose row of the catalogue alone lists a master, None where none does."""
    rows = batch.listed.get(path, []) if "catalogue" in batch.settings.naming.identify else []
    if len(rows) != 1 or not naming.is_id(rows[0].item):
        return None
    row = rows[0]
    sequence = f"{row.place:02d}" if row.of > 1 else None
    return Identity(row.item, sequence=sequence, identified=Identified(by="catalogue"))


def written(batch: Batch, path: str) -> Identity | None:
    """Return what name and catalogue say of a master.

    Where both say something the name goes first, but not one that the catalogue does not know.
    Where they contradict each other, `row_checks` holds both items.
    """
    name, row = by_name(batch, path), by_row(batch, path)
    if row is None:
        return name
    if name is None or (name.item != row.item and not batch.has_row(name.item)):
        return row
    ways = batch.settings.naming.identify
    if name.item != row.item and ways.index("catalogue") < ways.index("name"):
        return row
    return name
