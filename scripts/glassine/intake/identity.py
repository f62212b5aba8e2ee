"""Which item a master belongs to: as a person decided, as its name says, or as a label in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import msgspec

from glassine.base import door, naming, sandbox
from glassine.base.helper_process import Apart
from glassine.base.model import ItemId
from glassine.base.records.intake import Label
from glassine.intake.model import Batch, Collector
from glassine.masters import header_size

# Time for looking for a label in one picture; a large master takes seconds.
LABEL_S = 120.0


@dataclass(frozen=True)
class Identity:
    """The item of a master and its place in it; labels: what was seen in the picture."""

    item: ItemId
    part: str | None = None
    sequence: str | None = None
    labels: list[Label] = field(default_factory=list)


def find(
    batch: Batch, collector: Collector, entry: door.Entry, *, waits: bool, reader: Apart
) -> Identity:
    """Return the item of a master, a stand-in where nothing tells it; then it is held.

    waits: the master is not at rest, so its pixels are not read. reader: as in `_read_label`.
    """
    forced = _forced(batch, entry.path)
    if forced:
        return Identity(forced)
    parsed = naming.parse(entry.name, batch.pattern)
    if parsed is not None:
        return Identity(parsed.item, parsed.part, parsed.sequence)
    labels: list[Label] = []
    if batch.settings.intake.labels == "when_needed" and not waits:
        item, labels = _read_label(batch, entry, reader)
        if item is not None:
            collector.note(
                "intake.label_identity",
                entry.path,
                f"Its name is off the template; the label in the picture says {item}.",
                batch.name_words,
                "Please confirm; rename the file when convenient.",
                "review",
            )
            return Identity(item, labels=labels)
    _hold_unknown(batch, collector, entry, len(labels))
    return Identity(naming.stand_in(entry.path), labels=labels)


def _forced(batch: Batch, path: str) -> ItemId | None:
    for correction in batch.corrections.values():
        if correction.identity and correction.identity.master == path:
            return correction.identity.item
    return None


def _read_label(
    batch: Batch, entry: door.Entry, reader: Apart
) -> tuple[ItemId | None, list[Label]]:
    """Return the item that a label in the picture names, and the labels seen.

    reader: decodes the picture in a process of its own: what crashes it or hangs shows no label,
    and `verify` tells what is wrong with the file.
    """
    path = batch.folder / entry.path
    max_pixels = batch.settings.intake.max_pixels
    size = header_size.size_px(path, batch.folder)
    if size is None or size[0] * size[1] > max_pixels:
        return None, []
    memory_bytes = sandbox.memory_for(16 * (size[0] * size[1] // 10**6))
    answer = reader.ask(str(path), str(max_pixels), seconds=LABEL_S, memory_bytes=memory_bytes)
    labels = msgspec.convert(answer or [], list[Label])
    items = set()
    for label in labels:
        text = label.text.strip()
        parsed = naming.parse(f"{text}.tif", batch.pattern)
        if parsed is not None:
            items.add(parsed.item)
    return (items.pop() if len(items) == 1 else None), labels


def _hold_unknown(batch: Batch, collector: Collector, entry: door.Entry, labels: int) -> None:
    near = naming.nearest(entry.name, batch.pattern)
    more = ""
    if labels:
        more = f", and the labels seen ({labels}) name no single item"
    if near:
        more += f"; it differs only by blanks, marks or case from {near}"
    rename = f"Rename the file to {near}" if near else "Rename the file"
    collector.hold(
        naming.stand_in(entry.path),
        "naming.off_template",
        entry.path,
        f"Its name does not tell the item{more}.",
        batch.name_words,
        f"{rename}, or name its item under `identity` in corrections.yaml.",
    )
