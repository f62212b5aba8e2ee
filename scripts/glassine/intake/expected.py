"""What a batch should hold against what it holds: items missing, surplus, captured twice.

What is expected, batch.yaml says (`expected`: items and ranges) and the pull list that lies in the
batch folder; where neither is there, the batch folder's own catalogue. A catalogue that the
settings name may be that of the whole archive, so it expects nothing. A list that cannot be read
is told, and then nothing counts as complete.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

import msgspec
from msgspec import UNSET

from glassine.base import door, naming, wording
from glassine.base.errors import Finding
from glassine.base.model import ItemId
from glassine.base.records.intake import Expected, ExpectedItem
from glassine.intake import catalogue_place, companions, name_rules, rolls
from glassine.intake.catalogue import columns as catalogue_columns
from glassine.intake.model import Batch, Collector

_MOST_BYTES = 16 * 2**20
# Items of one range, and of all of a batch.
_MOST_ITEMS = 100_000
_RANGE = re.compile(r"(?P<head>.{0,99}?)(?P<number>[0-9]{1,9})")
_SHELF_MARKS = ("shelf_mark", "shelfmark", "shelf", "call_number", "location", "box", "signatur")
_ID_COLUMNS = ("item_id", "item", "id", "number", "accession_number", "inventory_number")
# Findings that say that something was captured twice.
_DOUBLE = {
    "intake.two_masters",
    "intake.same_bytes",
    "intake.names_collide",
    "intake.frame_twice",
    "intake.retake_unsure",
}
_MOST_TOLD = 20


@dataclass
class _Wanted:
    """What is expected, as far as it was read. items: {id: what is known of it}; unread: why a
    part of it is not known."""

    sources: list[str] = field(default_factory=list)
    items: dict[str, ExpectedItem] = field(default_factory=dict)
    unread: list[str] = field(default_factory=list)

    def add(self, item: str, shelf_mark: str = "") -> None:
        known = self.items.setdefault(item, ExpectedItem(item=item, shelf_mark=shelf_mark))
        if shelf_mark and not known.shelf_mark:
            self.items[item] = ExpectedItem(item=item, shelf_mark=shelf_mark)


def compare(batch: Batch, collector: Collector) -> Expected | None:
    """Return what is missing, surplus and double, None where nothing says what is expected."""
    wanted = _wanted(batch, collector)
    frames = rolls.missing_frames(collector)
    if wanted is None:
        return _of_frames_alone(frames, collector)
    key = batch.numbers.key
    captured = {
        key(item.item): item.item
        for item in collector.items.values()
        if item.masters and not naming.is_stand_in(item.item)
    }
    withdrawn = {
        key(each.item)
        for each in batch.withdrawals
        if each.master is UNSET and each.frames is UNSET
    }
    missing = [
        entry if _is_unmade(batch, wanted, item) else _known_of(batch, entry)
        for item, entry in sorted(wanted.items.items())
        if key(item) not in withdrawn and key(item) not in captured
    ]
    known = {key(item) for item in wanted.items}
    surplus = sorted(item for number, item in captured.items() if number not in known)
    result = Expected(
        sources=wanted.sources,
        count=len(wanted.items),
        missing=_with_frames(batch, missing, frames),
        surplus=list(surplus),
        double=_double(collector),
        unread=wanted.unread,
        shelf_marks={
            captured[key(item)]: entry.shelf_mark
            for item, entry in sorted(wanted.items.items())
            if entry.shelf_mark and key(item) in captured
        },
    )
    if wanted.sources != [_CATALOGUE]:
        _tell(result, [entry.item for entry in missing], collector)
        _ask_of_surplus(result, collector)
    return result


_CATALOGUE = "catalogue"


def _of_frames_alone(frames: list[ExpectedItem], collector: Collector) -> Expected | None:
    double = _double(collector)
    if not frames and not double:
        return None
    return Expected(sources=[], count=0, missing=frames, surplus=[], double=double)


def _with_frames(
    batch: Batch, missing: list[ExpectedItem], frames: list[ExpectedItem]
) -> list[ExpectedItem]:
    """Return missing items and frames; one that is both once, with its place on the roll."""
    key = batch.numbers.key
    of_items = {key(frame.item): frame for frame in frames if frame.roll}
    told = set()
    result = []
    for entry in missing:
        frame = of_items.get(key(entry.item))
        if frame is not None:
            told.add(frame.item)
            entry = msgspec.structs.replace(
                entry, frame=frame.frame, between=frame.between, roll=frame.roll
            )
        result.append(entry)
    return result + [frame for frame in frames if frame.item not in told or not frame.roll]


def _is_unmade(batch: Batch, wanted: _Wanted, item: str) -> bool:
    """Return whether an expected item is one of very many rows of a catalogue, of which nothing is
    known but the number."""
    if wanted.sources != [_CATALOGUE] or batch.catalogue is None:
        return False
    return batch.catalogue.records.is_kept(ItemId(item))


def _double(collector: Collector) -> list[str]:
    return sorted(
        item.item
        for item in collector.items.values()
        if item.masters and any(finding.code in _DOUBLE for finding in item.findings)
    )


def _known_of(batch: Batch, entry: ExpectedItem) -> ExpectedItem:
    """Return an expected item with what the catalogue says of it."""
    row = batch.records.get(ItemId(entry.item))
    if row is None:
        return entry
    marks = [f"{each.type}: {each.value}" for each in row.identifiers]
    return ExpectedItem(
        item=entry.item,
        shelf_mark=entry.shelf_mark or "; ".join(marks),
        title=row.title or "",
    )


# --- what is expected --------------------------------------------------------------------


def _wanted(batch: Batch, collector: Collector) -> _Wanted | None:
    wanted = _Wanted()
    spell = _spelling(batch, collector)
    if batch.facts.expected:
        wanted.sources.append(companions.FACTS_NAME)
        for text in batch.facts.expected:
            _add_stated(wanted, text, spell, collector)
    chosen = companions.pull_lists(batch.listing)
    if chosen:
        _add_pull_lists(wanted, batch, chosen, spell, collector)
    if wanted.sources:
        return wanted
    own = batch.catalogue is not None and catalogue_place.is_own(batch.settings.catalogue.path)
    if not own or batch.catalogue is None:
        return None
    wanted.sources.append(_CATALOGUE)
    for item in [*batch.catalogue.records, *batch.catalogue.bad_items]:
        wanted.add(item)
    return wanted


def _spelling(batch: Batch, collector: Collector) -> Callable[[str], str]:
    """Return what gives an expected item the id that it has everywhere else: as the catalogue
    spells it, else as the names of its masters do."""
    key = batch.numbers.key
    captured = {key(item): item for item in collector.items if not naming.is_stand_in(item)}

    def spell(item: str) -> str:
        number = key(item)
        return batch.spelled.get(number) or captured.get(number) or batch.spell(item)

    return spell


def _add_stated(
    wanted: _Wanted, text: str, spell: Callable[[str], str], collector: Collector
) -> None:
    first, dots, last = (part.strip() for part in text.partition(".."))
    items = list(items_of(first, last)) if dots else [first] if first else []
    if items and len(wanted.items) + len(items) <= _MOST_ITEMS:
        for item in items:
            wanted.add(spell(item))
        return
    wanted.unread.append(text)
    collector.note(
        "intake.expected_range",
        companions.FACTS_NAME,
        f"`expected` holds {text[:100]!r}, of which nobody can tell the items.",
        "an item, or the first and last of a range that differ in their last number alone, as in "
        f"PEH-0001..PEH-0040; {_MOST_ITEMS:,} items at most.",
        "Correct the entry; until then nothing of it counts as missing.",
        "review",
    )


def items_of(first: str, last: str) -> Iterator[str]:
    """Yield the items of a range, none where it is none.

    >>> list(items_of("PEH-08", "PEH-10"))
    ['PEH-08', 'PEH-09', 'PEH-10']
    """
    begins, ends = _RANGE.fullmatch(first), _RANGE.fullmatch(last)
    if not begins or not ends or begins["head"] != ends["head"]:
        return
    low, high = int(begins["number"]), int(ends["number"])
    filled = len(begins["number"]) == len(ends["number"])
    if low > high or high - low >= _MOST_ITEMS:
        return
    if not filled and (begins["number"][0] == "0" or ends["number"][0] == "0"):
        return
    width = len(begins["number"]) if filled else 0
    for number in range(low, high + 1):
        yield f"{begins['head']}{number:0{width}d}"


def _add_pull_lists(
    wanted: _Wanted,
    batch: Batch,
    chosen: list[door.Entry],
    spell: Callable[[str], str],
    collector: Collector,
) -> None:
    wanted.sources += [entry.path for entry in chosen]
    for entry in chosen:
        try:
            content = door.read_file(batch.folder / entry.path, batch.folder, _MOST_BYTES)
            rows = list(_rows(content.decode("utf-8-sig")))
            listed = _listed(rows, _id_columns(batch))
            found = [(spell(item) if item else "", mark) for item, mark in listed]
        except (OSError, ValueError, csv.Error) as problem:
            found, why = [], wording.why(problem)
        else:
            why = "it lists nothing"
        if not found:
            _tell_unread(entry.path, why, wanted, collector)
        _add_listed(wanted, entry.path, found, collector)


def _id_columns(batch: Batch) -> list[str]:
    stated = batch.settings.catalogue.columns.get("item_id") or "item_id"
    return [stated] if isinstance(stated, str) else list(stated)


def _rows(text: str) -> Iterator[list[str]]:
    """Yield the cells of each line that has some."""
    lines = text.splitlines()
    first = lines[0] if lines else ""
    delimiter = max((",", ";", "\t"), key=first.count)
    for row in csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True):
        if any(cell.strip() for cell in row):
            yield [cell.strip() for cell in row]


def _listed(rows: list[list[str]], id_columns: Iterable[str]) -> Iterator[tuple[str, str]]:
    """Yield (item, shelf mark) of each line; where a header names no column, of the first cells."""
    if not rows:
        return
    names = [catalogue_columns.plain(name) for name in rows[0]]
    wanted = [*(catalogue_columns.plain(name) for name in id_columns), *_ID_COLUMNS]
    place = next((names.index(name) for name in wanted if name in names), None)
    mark = next((names.index(name) for name in _SHELF_MARKS if name in names), None)
    for row in rows[1:] if place is not None else rows:
        at = place or 0
        item = row[at] if at < len(row) else ""
        shelf_mark = row[mark] if place is not None and mark is not None and mark < len(row) else ""
        yield item, shelf_mark


def _add_listed(
    wanted: _Wanted, path: str, found: list[tuple[str, str]], collector: Collector
) -> None:
    seen: set[str] = set()
    twice: list[str] = []
    bad: list[str] = []
    for item, shelf_mark in found[:_MOST_ITEMS]:
        if not item:
            bad.append("(an empty cell)")
        elif item in seen:
            twice.append(item)
        else:
            seen.add(item)
            wanted.add(item, shelf_mark)
    if len(found) > _MOST_ITEMS:
        bad.append(f"({len(found) - _MOST_ITEMS} lines beyond {_MOST_ITEMS:,})")
    for words, items in (("holds lines without an item", bad), ("names items twice", twice)):
        if items:
            collector.note(
                "intake.expected_line",
                path,
                f"This list {words}: {wording.some(items, _MOST_TOLD)}.",
                "one item a line, each once.",
                "Correct the list.",
                "review",
            )


def _tell_unread(path: str, why: str, wanted: _Wanted, collector: Collector) -> None:
    wanted.unread.append(path)
    collector.note(
        "intake.expected_unread",
        path,
        f"This list of expected items was not read: {why}. Nobody can tell what is missing.",
        "a table or text in UTF-8, an item a line.",
        "Export the list again.",
        "review",
    )


# --- words -------------------------------------------------------------------------------


def _tell(result: Expected, missing: list[str], collector: Collector) -> None:
    """Tell what is missing and surplus. missing: items, without frames of others."""
    sources = " and ".join(result.sources)
    unknown = sum(
        len(item.masters) for item in collector.items.values() if naming.is_stand_in(item.item)
    )
    among = f"; {unknown} masters tell no item, and may be among these" if unknown else ""
    alike = _alike(result)
    if missing:
        names = wording.some(missing, _MOST_TOLD)
        collector.note(
            "intake.expected_missing",
            sources,
            f"{len(missing)} of {result.count} expected items have no master: {names}"
            f"{among}{alike}.",
            "a master of each expected item.",
            "Capture them: report/recapture.html lists them for the table. Or correct the list.",
            "review",
        )
    if result.surplus:
        names = wording.some(result.surplus, _MOST_TOLD)
        collector.note(
            "intake.expected_surplus",
            sources,
            f"{len(result.surplus)} items were captured that are not expected: {names}{alike}.",
            "only the items that are listed.",
            "See whether they belong to this batch; correct the list, or the file names.",
            "review",
        )


def _ask_of_surplus(result: Expected, collector: Collector) -> None:
    """Ask about each item that nobody asked for: it may have another's number."""
    sources = " and ".join(result.sources)
    for surplus in result.surplus:
        item = collector.item(ItemId(surplus))
        item.findings.append(
            Finding(
                "intake.not_expected",
                item.masters[0].path,
                f"{surplus} is not among the items that are expected ({sources}).",
                "only the items that are listed.",
                "See whether it belongs to this batch; correct the list, or the file names.",
                "review",
            )
        )


def _alike(result: Expected) -> str:
    """Return in words which missing and surplus items differ in spelling alone."""
    marks = {mark for each in result.surplus for mark in each if not mark.isalnum()}
    marks |= {mark for each in result.missing for mark in each.item if not mark.isalnum()}
    rules = name_rules.SameNumber("".join(sorted(marks)), leading_zeros=True, case=True)
    surplus = {rules.key(item): item for item in result.surplus}
    pairs = [
        f"{entry.item} and {surplus[rules.key(entry.item)]}"
        for entry in result.missing
        if rules.key(entry.item) in surplus
    ]
    return f"; these may be the same: {wording.some(pairs, 5)}" if pairs else ""
