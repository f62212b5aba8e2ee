"""The list for the table, to print: what is missing, and what must be captured again, and why."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import jinja2

from glassine.base import wording
from glassine.base.visible import visible
from glassine.report.shown import Batch, Item, Missing

_TEMPLATE = Path(__file__).with_name("recapture.html.j2")
# Findings that another capture, or another copy of it, can put right; by the part before the dot,
# or whole.
_CAPTURE_STEPS = ("masters", "verify")
_CAPTURE_CODES = {
    "intake.master_missing",
    "intake.not_a_master",
    "intake.two_masters",
    "intake.same_bytes",
    "intake.frame_twice",
    "intake.retake_unsure",
    "catalogue.master_missing",
}

_MOST_NAMED = 10


@dataclass(frozen=True)
class Row:
    """A line of the list. picture: address relative to the report, or empty."""

    item: str
    shelf_mark: str
    title: str
    reasons: tuple[str, ...]
    picture: str = ""


def rows(batch: Batch) -> list[Row]:
    """Return what is to be captured: first what is missing, then what is held for its
    capture, or looks like another item's."""
    missing = [_of_missing(each, batch) for each in _missing(batch)]
    again = [row for item in batch.items if (row := _of_item(item, batch))]
    known = {row.item for row in again}
    frames = {each.item for each in _missing(batch) if each.frame}
    return [*(row for row in missing if row.item not in known or row.item in frames), *again]


def _missing(batch: Batch) -> list[Missing]:
    return batch.expected.missing if batch.expected else []


def _of_missing(missing: Missing, batch: Batch) -> Row:
    shelf_marks = batch.expected.shelf_marks if batch.expected else {}
    mark = missing.shelf_mark or shelf_marks.get(missing.item, "")
    if not missing.frame:
        return Row(missing.item, mark, missing.title, ("It has no master.",))
    several = " to " in missing.frame
    words = f"Frame{'s' * several} {missing.frame} {'are' if several else 'is'} missing"
    of_roll = f" of the roll {missing.roll}" if missing.roll else ""
    reason = f"{words}{of_roll} between {missing.between}."
    return Row(missing.item, mark, missing.title, (reason,))


def _of_item(item: Item, batch: Batch) -> Row | None:
    reasons = [
        f"{finding.path}: {finding.what}"
        for finding in item.status.findings
        if finding.severity == "hold"
        and (finding.code in _CAPTURE_CODES or finding.code.partition(".")[0] in _CAPTURE_STEPS)
    ]
    reasons = reasons if item.status.state == "held" else []
    if others := batch.alike.get(item.item):
        names = wording.some(list(dict.fromkeys(others)), _MOST_NAMED)
        reasons.append(f"It looks like the same capture as {names}: compare both with the film.")
    if not reasons:
        return None
    listed = batch.expected.shelf_marks if batch.expected else {}
    marks = [text for label, text in item.catalogue if label == "Further identifiers"]
    shelf_mark = listed.get(item.item) or "; ".join(marks)
    pictures = [master.small or master.preview for master in item.masters]
    picture = next((each for each in pictures if each), "")
    return Row(item.item, shelf_mark, item.title, tuple(dict.fromkeys(reasons)), picture)


def render(batch: Batch) -> str:
    """Return the page."""
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined)
    environment.filters["visible"] = visible
    template = environment.from_string(_TEMPLATE.read_text("utf-8"))
    return template.render(batch=batch, rows=rows(batch))
