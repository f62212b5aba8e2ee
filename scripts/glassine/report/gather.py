"""What the report shows, gathered from the files of a batch; bad records never raise here."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import Any

import msgspec
from msgspec import UNSET

from glassine.base import corrections, files, identity, record_files, target_results, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.item_states import counts, finding
from glassine.base.model import ItemId
from glassine.base.records.audit import BatchAudit
from glassine.base.records.corrections import Correction, Withdrawal
from glassine.intake import passed_over
from glassine.report import captures, deliveries, films, items, unnamed, views
from glassine.report.given import ReportGiven
from glassine.report.shown import (
    Batch,
    Expected,
    Item,
    ListedRow,
    Missing,
    Proof,
    decay_order,
)


def _findings(notes: list[Any] | None, where: str) -> list[Finding]:
    return [finding(note, where) for note in notes or []]


def damaged(path: Path, what: str) -> Finding:
    """Return the finding of a record of the batch. what: the keys that cannot be read."""
    return Finding(
        "report.record",
        str(path),
        f"This record is damaged: it cannot be read at {what}.",
        "a record as a step of the night wrote it.",
        files.advice_on(path),
    )


def read(path: Path, batch: Batch) -> Any:
    """Return a record of the batch; a damaged one is a problem that the page shows."""
    try:
        return files.read_json(path)
    except GlassineError as problem:
        batch.problems += problem.findings
        return {}


def _take(content: Any, kind: type[views.Kind], path: Path, batch: Batch) -> views.Kind:
    """Return the view of a record of the batch; what is damaged in it is a problem as well."""
    view, keys = views.take(content, kind)
    if keys:
        batch.problems.append(damaged(path, wording.listed(keys)))
    return view


def _proof(results: Path, batch: Batch) -> Proof | None:
    """Return what the target captures say (targets.json), or None where there is nothing yet."""
    path = results / target_results.RECORD
    if not path.exists():
        return None
    try:
        record = msgspec.convert(files.read_json(path), views.Targets)
    except (GlassineError, msgspec.ValidationError):
        batch.problems += _findings([{"what": f"{path.name} is damaged."}], str(path))
        return None
    return Proof(
        statement=record.statement,
        holds=_findings(record.holds, batch.batch),
        targets=record.targets,
        course=record.course,
    )


def _gather_deliveries(batch: Batch, results: Path, given: ReportGiven) -> None:
    """Put in what is to be said of the deliveries; what cannot be told is a problem."""
    folder = Path(given.deliveries)
    try:
        batch.delivered = deliveries.gather(
            results,
            folder,
            batch.batch,
            batch.statuses,
            batch.withdraw,
            given.settings.delivery,
            given.access,
        )
        batch.delivered.keep(given.kept)
    except GlassineError as problem:
        batch.problems += problem.findings
    except (OSError, *items.BROKEN) as problem:
        batch.problems.append(
            Finding(
                "report.deliveries",
                str(folder),
                f"It cannot be found out what was delivered: {wording.why(problem)}.",
                "receipts, packages and records as the night wrote them.",
                "Check the disk of the deliveries and the receipts; do not delete any.",
            )
        )
    if batch.delivered.dropped:  # the same items, told with what was delivered of them
        batch.problems = [problem for problem in batch.problems if problem.code != "run.items_gone"]
    batch.problems += batch.delivered.problems
    batch.notes += batch.delivered.notes


def _gather_audit(batch: Batch, results: Path) -> None:
    """Put in what the last round of the audit showed (audit.json); none was made yet where there
    is no such record."""
    path = results / "audit.json"
    if not path.exists():
        return
    try:
        batch.audit = record_files.load(path, "audit", BatchAudit)
    except GlassineError as problem:
        batch.problems += problem.findings
        return
    found = _findings(msgspec.to_builtins(batch.audit.findings), batch.batch)
    batch.problems += [each for each in found if each.severity == "hold"]
    batch.notes += [each for each in found if each.severity != "hold"]


def _standing(batch_dir: Path | None, listed: list[Item]) -> dict[ItemId, Correction]:
    """Return the corrections that stand, of items of other batches' names too."""
    if batch_dir is not None:
        path = batch_dir / corrections.FILE_NAME
        try:
            return dict(corrections.read(path).corrections) if path.exists() else {}
        except GlassineError:
            pass  # intake tells it as a problem of the batch; what it last read serves here
    return {ItemId(item.item): item.correction for item in listed if item.correction}


def _uncaptured(rows: views.RowsRead, batch: Batch, given: ReportGiven, path: Path) -> None:
    """Put in the catalogue rows that have no master yet, most decayed first.

    path: of intake.json; a row that cannot be read is a problem of the batch.
    """
    listed = rows.without_master or []
    wanted = [entry for entry in listed if isinstance(entry, str)]
    unnamed_here = any(unnamed.offered(item) for item in batch.items)
    if unnamed_here or wanted:
        batch.rows = _catalogue_rows(given, wanted, batch, more=unnamed.LISTED * unnamed_here)
    shown = []
    for number, entry in enumerate(listed, 1):
        if isinstance(entry, str):
            row = batch.rows.get(entry, views.Row(item=entry))
        else:
            row, keys = views.take(entry, views.Row)
            keys = keys if keys or row.item else ["item"]
            where = [f"rows.without_master.{number}.{key}" for key in keys]
            batch.problems += [damaged(path, wording.listed(where))] if where else []
        shown.append(
            ListedRow(row.item or "", row.title or "", row.material or "", row.decay_level)
        )
    batch.without_master = sorted(shown, key=decay_order)


# Rows of a catalogue that are looked at in one night, some 0.1 ms each.
_MOST_ROWS = 50_000


def _catalogue_rows(
    given: ReportGiven, wanted: list[str], batch: Batch, more: int
) -> dict[str, views.Row]:
    """Return rows of the catalogue by item, in its order: those of the items wanted, and `more`
    others. What cannot be read, or is too much for a night, the batch is told."""
    if not given.masters:
        return {}
    from glassine.intake import catalogue_place, side_files
    from glassine.intake.catalogue import reading as catalogue

    batch_dir = Path(given.masters)
    try:
        path = side_files.catalogue_path(batch_dir, given.settings)
        root = catalogue_place.root(batch_dir, given.settings.catalogue.path)
        numbers = given.settings.naming.same_number.rules()
        read = catalogue.read_catalogue(path, given.settings, root, numbers) if path else None
        if read is None:
            return {}
        asked = {*wanted[:_MOST_ROWS], *itertools.islice(read.records, more)}
        records = {item: read.records.get(item) for item in [*read.records] if item in asked}
        sound = {item: record for item, record in records.items() if record is not None}
        batch.notes += _left(wanted)
        return msgspec.convert(msgspec.to_builtins(sound), dict[str, views.Row])
    except (GlassineError, OSError):
        return {}  # told by intake; the list then shows ids alone
    except items.BROKEN as problem:
        batch.problems.append(damaged(batch_dir, f"its catalogue ({wording.why(problem)})"))
        return {}


def _left(wanted: list[str]) -> list[Finding]:
    """Return what is told of rows without a master that were not looked at."""
    if len(wanted) <= _MOST_ROWS:
        return []
    return [
        Finding(
            "report.rows_left",
            "catalogue",
            f"Of {len(wanted):,} rows without a capture {_MOST_ROWS:,} were looked at: the others "
            "stand in the list by their ids alone, and not by their decay.",
            "a catalogue of what is to be captured soon.",
            "Give the batch a catalogue of its own, or none of what is captured elsewhere.",
            "note",
        )
    ]


def _placeholders(given: ReportGiven) -> list[Finding]:
    """Return what is told where film of one's own has the names of the worked example."""
    if not given.masters:
        return []
    config = {
        **msgspec.to_builtins(given.settings),
        "institution": msgspec.to_builtins(given.institution),
    }
    placeholder = identity.placeholders(config, Path(given.masters))
    return [placeholder] if placeholder else []


def _passed_over(results: Path, record: views.Intake, given: ReportGiven) -> list[Finding]:
    """Return what a run tells of a batch without items, and of items that are gone."""
    intake = msgspec.structs.asdict(record)  # of a damaged record, what is sound of it
    items_known = {str(line.get("item")) for line in record.items or [] if isinstance(line, dict)}
    items_known |= passed_over.withdrawn(intake)
    problems = (
        passed_over.without_items(results.name, Path(given.masters or results.name), intake),
        passed_over.items_gone(results.name, results, items_known),
    )
    return [problem.finding for problem in problems if problem is not None]


def _held(results: Path, batch: Batch, given: ReportGiven) -> None:
    """Put in what the step told that failed for the batch as a whole, where one did."""
    path = results / "held.json"
    if not path.exists():
        return
    held = _take(read(path, batch), views.Held, path, batch)
    batch.problems += [
        finding
        for finding in _findings(held.findings, batch.batch)
        if not (given.deliveries and deliveries.is_over(finding))
    ]
    batch.held_since = held.time or ""


def _withdrawn(entries: list[Any] | None, path: Path, batch: Batch) -> list[Withdrawal]:
    """Return what was withdrawn from delivery; an entry that cannot be read is a problem."""
    withdrawn = []
    for number, entry in enumerate(entries or [], 1):
        try:
            withdrawn.append(msgspec.convert(entry, Withdrawal))
        except msgspec.ValidationError:
            batch.problems.append(damaged(path, f"withdraw.{number}"))
    return withdrawn


def _expected(view: views.Expected) -> Expected:
    missing = [
        Missing(
            item=str(each.get("item") or ""),
            shelf_mark=str(each.get("shelf_mark") or ""),
            title=str(each.get("title") or ""),
            frame=str(each.get("frame") or "") or UNSET,
            between=str(each.get("between") or "") or UNSET,
            roll=str(each.get("roll") or "") or UNSET,
            unlisted=each.get("unlisted") is True or UNSET,
        )
        for each in view.missing or []
        if isinstance(each, dict)
    ]
    count = view.count or 0
    return Expected(
        sources=view.sources or [],
        count=count,
        captured=count - sum(not each.unlisted for each in missing),
        missing=missing,
        shelf_marks=view.shelf_marks or {},
        surplus=view.surplus or [],
        double=view.double or [],
        unread=view.unread or [],
    )


def _beside_masters(lines: list[Any]) -> list[str]:
    """Return previews and raw files beside masters. lines: items of intake.json."""
    entries = [line.get("companions") for line in lines if isinstance(line, dict)]
    beside = [each for entry in entries if isinstance(entry, list) for each in entry]
    return [
        f"{each.get('path')}{' (delivered)' if each.get('delivered') is True else ''}"
        for each in beside
        if isinstance(each, dict)
    ]


def _labels(lines: list[Any]) -> dict[str, list[str]]:
    """Return {item: texts of the labels seen in its masters}. lines: items of intake.json."""
    return {
        str(line.get("item")): [
            str(label["text"])
            for label in line["labels"]
            if isinstance(label, dict) and isinstance(label.get("text"), str)
        ]
        for line in lines
        if isinstance(line, dict) and isinstance(line.get("labels"), list)
    }


def _rolls(lines: list[Any]) -> dict[str, tuple[str, str]]:
    """Return {item: (the roll that it is a part of, its place there)}. lines: of intake.json."""
    return {
        str(line.get("item")): (line["roll"], str(line.get("place") or ""))
        for line in lines
        if isinstance(line, dict) and isinstance(line.get("roll"), str)
    }


def gather(results: Path, given: ReportGiven) -> Batch:
    """Return everything the page shows of a batch. results: `results/<batch>/`."""
    batch = Batch(given.batch, given.batch)
    path = results / "intake.json"
    intake = _take(read(path, batch), views.Intake, path, batch)
    _held(results, batch, given)
    batch.title = intake.title or batch.batch
    if intake.items is not None:
        batch.problems += _passed_over(results, intake, given)
    lines = enumerate(intake.items or [], 1)
    batch.items = [items.gather_item(results, line, number) for number, line in lines]
    batch.counts = counts(batch.statuses)
    batch.rolls = _rolls(intake.items or [])
    batch.labels = _labels(intake.items or [])
    batch.notes = _findings(intake.notes, batch.batch) + _placeholders(given)
    batch.other_files = intake.other_files or []
    batch.rules_unused = [*given.rules_unused]
    batch.access = [*given.access]
    batch.ignored_files = intake.ignored_files or []
    batch.beside_masters = _beside_masters(intake.items or [])
    batch.targets = [
        target if isinstance(target, str) else target.path or "" for target in intake.targets or []
    ]
    batch.proof = _proof(results, batch) if batch.targets else None
    batch.films = films.shown(results)
    batch.problems += batch.films.problems
    batch.expected = _expected(intake.expected) if intake.expected else None
    batch.captures = captures.of_batch(batch.items, intake)
    rows = intake.rows or views.RowsRead()
    batch.rows_read = rows.read or 0
    _uncaptured(rows, batch, given, path)
    batch.withdraw = _withdrawn(intake.withdraw, path, batch)
    if given.deliveries:
        _gather_deliveries(batch, results, given)
    _gather_audit(batch, results)
    batch.standing = _standing(Path(given.masters) if given.masters else None, batch.items)
    return batch
