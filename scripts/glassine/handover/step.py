"""Hand over what changed of a batch since it was handed over last."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec

from glassine.base import clock, files, item_marks
from glassine.base.errors import Finding, GlassineError
from glassine.deliver import step as deliver
from glassine.handover import columns, facts, ledger, snippets, tables, workbook
from glassine.handover.columns import Template, Value
from glassine.handover.facts import ItemFacts
from glassine.handover.given import HandoverGiven
from glassine.handover.ledger import Handed, Ledger

VERSION = "1"
DOCUMENT = "handover.json"
# The marks of items whose rows are as the ledger has them.
SAME = "same.json"
# A whole address: scheme and host (RFC 3986), no blanks or marks that end one in a text.
_ADDRESS = re.compile(r"https?://[^\s/?#\"<>]{1,255}(?:[/?#][^\s\"<>]{0,2000})?")


@dataclass(frozen=True)
class Outcome:
    """A handover that was made. number: of it; folder: where it lies; items: how many it tells of;
    notes: what a person should know."""

    number: int
    folder: Path
    items: int
    notes: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class _Item:
    facts: ItemFacts
    rows: list[dict[str, Value]]
    digest: str


def hand_over(
    results_batch_dir: Path, given: HandoverGiven, everything: bool = False
) -> Outcome | None:
    """Write the handover of a batch; None where nothing changed since the last.

    everything: whether items that did not change are in it too. Raises GlassineError for a
    template that cannot be used, addresses that are no whole URLs, a damaged ledger.
    """
    section = given.settings.handover
    template = columns.template(section)
    _require_addresses(given, template)
    before = ledger.read(results_batch_dir)
    receipts = deliver.sound_receipts(Path(given.deliveries), given.batch)
    earlier = {item: tuple(handed.persistent) for item, handed in before.items.items()}
    resolver = given.settings.identifiers.ark_resolver
    same = _Same.of(results_batch_dir, given, before, everything)
    found = [
        _described(each, template, resolver)
        for each in facts.of_batch(results_batch_dir, tuple(receipts), earlier, same.is_same)
    ]
    changed = [each for each in found if everything or _is_new(each, before)]
    if not changed:
        _keep(results_batch_dir, before)
        same.keep(found)
        return None
    made = Ledger(number=before.number + 1, items=dict(_handed(changed, before.number + 1)))
    notes = _write(results_batch_dir, given, template, changed, made)
    _keep(
        results_batch_dir,
        Ledger(number=made.number, sent=before.sent, items=before.items | made.items),
    )
    same.keep(found)
    folder = results_batch_dir / ledger.FOLDER / ledger.name_of(made.number)
    return Outcome(made.number, folder, len(changed), tuple(notes))


@dataclass
class _Same:
    """Which items are as they were when their rows were made last, so that nothing of them is read.

    handed: {item: digest of its rows} of the ledger. marks: of the items looked at so far."""

    path: Path
    before: item_marks.Kept
    handed: dict[str, str]
    everything: bool
    marks: dict[str, str] = field(default_factory=dict)
    kept: dict[str, tuple[str, list[str]]] = field(default_factory=dict)

    @classmethod
    def of(cls, results: Path, given: HandoverGiven, known: Ledger, everything: bool) -> _Same:
        code = item_marks.code_of("base", "deliver", "handover")
        text = files.canonical([code, given.batch, msgspec.to_builtins(given.settings)])
        path = results / ledger.FOLDER / SAME
        before = item_marks.read(path, hashlib.sha256(text.encode()).hexdigest())
        handed = {item: each.digest for item, each in known.items.items()}
        return cls(path, before, handed, everything)

    def is_same(self, entry: dict[str, Any], item_dir: Path, known: list[Any]) -> bool:
        item = str(entry["item"])
        self.marks[item] = item_marks.mark(entry, item_dir, known)
        wanted = (self.marks[item], [self.handed.get(item, "")])
        if self.everything or self.before.items.get(item) != wanted:
            return False
        self.kept[item] = wanted
        return True

    def keep(self, found: list[_Item]) -> None:
        """Keep the marks of finished items, once the ledger tells of their rows."""
        for each in found:
            if each.facts.state in ("done", "review") and each.facts.item in self.marks:
                self.kept[each.facts.item] = (self.marks[each.facts.item], [each.digest])
        now = item_marks.Kept(code=self.before.code, items=self.kept)
        item_marks.write(self.path, self.before, now)


def unsent(results_batch_dir: Path) -> Iterator[tuple[int, dict[str, Any]]]:
    """Yield number and document of each handover that was not sent yet, the first one first."""
    known = ledger.read(results_batch_dir)
    for number in range(known.sent + 1, known.number + 1):
        path = results_batch_dir / ledger.FOLDER / ledger.name_of(number) / DOCUMENT
        if path.is_file():
            yield number, files.read_json(path)


def note_sent(results_batch_dir: Path, number: int) -> None:
    """Write that a handover was sent."""
    known = ledger.read(results_batch_dir)
    ledger.write(results_batch_dir, msgspec.structs.replace(known, sent=max(known.sent, number)))


def _keep(results_batch_dir: Path, known: Ledger) -> None:
    path = results_batch_dir / ledger.FOLDER / ledger.LEDGER
    if known.number and (not path.exists() or files.read_json(path) != msgspec.to_builtins(known)):
        ledger.write(results_batch_dir, known)


def _require_addresses(given: HandoverGiven, template: Template) -> None:
    """See that addresses that the template asks for, or a snippet holds, are whole ones."""
    section = given.settings.handover
    asked = [*template.asks_addresses, *section.snippets]
    base = given.settings.iiif.base_url
    if not asked or _ADDRESS.fullmatch(base):
        return
    raise GlassineError.because(
        "handover.address",
        given.batch,
        f"The handover is to hold addresses ({', '.join(asked[:3])}), and `iiif.base_url` "
        + (f"is {base!r}, which is no whole one." if base else "is not set."),
        "a whole address such as https://images.your-institution.org/iiif.",
        "Set `iiif.base_url`, or leave these out of `handover.columns` and `handover.snippets`.",
    )


def _described(item: ItemFacts, template: Template, resolver: str) -> _Item:
    rows = columns.rows(item, template, resolver)
    _require_whole(item)
    text = files.canonical([template.columns, template.by_frame, rows])
    return _Item(item, rows, hashlib.sha256(text.encode()).hexdigest())


def _require_whole(item: ItemFacts) -> None:
    """See that each address is a whole one: a manifest of another base may still lie there."""
    addresses = [item.manifest_url] + [
        address
        for frame in item.frames
        for address in (frame.access_url, frame.thumbnail_url, frame.image_url)
    ]
    for address in addresses:
        if address and not _ADDRESS.fullmatch(address):
            raise GlassineError.because(
                "handover.address",
                item.item,
                f"Its manifest names {address[:200]!r}, which is no whole address.",
                "addresses that begin with https:// and a host.",
                "Correct `iiif.base_url` and run again.",
            )


def _is_new(item: _Item, before: Ledger) -> bool:
    """Return whether an item is not as it was handed over last."""
    handed = before.items.get(item.facts.item)
    return handed is None or handed.digest != item.digest


def _handed(items: list[_Item], number: int) -> Iterator[tuple[str, Handed]]:
    for each in items:
        written = [f"{one.scheme} {one.value}" for one in each.facts.persistent]
        yield (
            each.facts.item,
            Handed(digest=each.digest, number=number, state=each.facts.state, persistent=written),
        )


def _write(
    results_batch_dir: Path,
    given: HandoverGiven,
    template: Template,
    items: list[_Item],
    made: Ledger,
) -> list[Finding]:
    """Write the folder of a handover; return what a person should know of it."""
    section, time = given.settings.handover, clock.now_text()
    rows = [row for each in items for row in each.rows]
    name = f"{given.batch}-{ledger.name_of(made.number)}"
    notes = _told(given, template, rows) + _unheld(given, template, items)
    target = results_batch_dir / ledger.FOLDER / ledger.name_of(made.number)
    head = {
        "batch": given.batch,
        "handover": made.number,
        "made": time,
        "columns": template.names,
        "withdrawn": [each.facts.item for each in items if each.facts.state == facts.WITHDRAWN],
        "gone": [each.facts.item for each in items if each.facts.state == facts.GONE],
    }
    with files.replacing_folder(target) as folder:
        # The document is always made: it is what is sent, and what a list of lost ARKs is told by.
        files.write_bytes(folder / DOCUMENT, tables.as_json(head, rows))
        if "csv" in section.formats:
            files.write_bytes(folder / f"{name}.csv", tables.as_csv(rows, template))
        if "xlsx" in section.formats:
            content, cut = _workbook(given, template, rows)
            files.write_bytes(folder / f"{name}.xlsx", content)
            notes += [_cut(name, cut)] if cut else []
        for kind in section.snippets:
            told = [each.facts for each in items]
            document = snippets.document(kind, told, f"{given.batch}, {made.number}", time)
            if document is not None:
                files.write_bytes(folder / snippets.NAMES[kind], document)
        files.write_json(folder / ledger.RECORD, msgspec.to_builtins(made))
    return notes


def _workbook(
    given: HandoverGiven, template: Template, rows: list[dict[str, Value]]
) -> tuple[bytes, int]:
    cells = [
        [columns.cell(row[name], template.separator) for name in template.names] for row in rows
    ]
    try:
        return workbook.written(template.names, cells)
    except ValueError as problem:
        raise GlassineError.because(
            "handover.room",
            given.batch,
            f"The handover does not fit a workbook: {problem}.",
            "a table that fits one sheet.",
            "Take `xlsx` out of `handover.formats`, or set `handover.rows` to `item`.",
        ) from problem


def _cut(name: str, count: int) -> Finding:
    return Finding(
        "handover.cut",
        f"{name}.xlsx",
        f"{count} texts are longer than a cell of a workbook can hold, and end there with a mark.",
        f"texts of at most {workbook.MAX_TEXT:,} characters.",
        "Take these from the CSV or JSON file.",
        "note",
    )


def _unheld(given: HandoverGiven, template: Template, items: list[_Item]) -> list[Finding]:
    """Return what is told of columns that stand empty as no row of the catalogue has them: a name
    may be mistyped."""
    rows = [each.facts.row for each in items if each.facts.row is not None]
    known = {name for row in rows for name in row.extra}
    unknown = [name for name in columns.of_no_field(template) if name not in known]
    if not rows or not unknown:
        return []
    return [
        Finding(
            "handover.column",
            given.batch,
            f"{', '.join(map(repr, unknown[:5]))} is empty in each row: no item of this handover "
            "has such a column in its catalogue, and no field is called so.",
            f"a column of the catalogue that no field takes, or a field: "
            f"{', '.join(columns.FIELDS)}, date, rights_uri and so on.",
            "Correct `handover.columns` where the name is mistyped.",
            "note",
        )
    ]


def _told(given: HandoverGiven, template: Template, rows: list[dict[str, Value]]) -> list[Finding]:
    doubled = [
        name
        for name in template.names
        if columns.ambiguous([row[name] for row in rows], template.separator)
    ]
    if not doubled:
        return []
    return [
        Finding(
            "handover.separator",
            given.batch,
            f"Values of {', '.join(doubled[:5])} hold {template.separator!r} themselves, which "
            "stands between the values of a cell.",
            "a separator that no value holds.",
            "Read these from the JSON file, or set `handover.separator`.",
            "note",
        )
    ]
