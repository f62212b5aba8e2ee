"""What the sorted items say of each other: parts, ids that collide, twins, folders, targets, and
statements without effect."""

from __future__ import annotations

from pathlib import PurePosixPath

import msgspec

from glassine.base import corrections, naming, parts, wording
from glassine.base.errors import Finding
from glassine.base.model import Facts, ItemId
from glassine.intake import batch_facts, companions, twins
from glassine.intake.model import Batch, Collector, Item

# Folders in which captures of targets lie (common practice, no source).
_TARGET_FOLDERS = {"target", "targets", "chart", "charts", "calibration"}


def check_parts(batch: Batch, collector: Collector) -> None:
    """Hold items whose masters contradict each other, and items whose ids collide."""
    for item in collector.items.values():
        if not naming.is_stand_in(item.item):
            _check_places(item, collector)
    alike = naming.collisions(list(collector.items))
    for group in naming.collisions(list(collector.items), batch.numbers.key):
        if group not in alike:
            _hold_spellings(group, collector)
    for group in alike:
        for item_id in group:
            collector.hold(
                item_id,
                "intake.names_collide",
                item_id,
                f"These items differ only in case: {', '.join(group)}.",
                "ids that stay apart on every file system.",
                "Rename the masters of one of them.",
            )


def _hold_spellings(group: list[ItemId], collector: Collector) -> None:
    for item_id in group:
        collector.hold(
            item_id,
            "intake.same_number",
            item_id,
            "These items are one number by `naming.same_number`, and no row of the catalogue says "
            f"how it is written: {', '.join(group)}.",
            "one spelling of each number.",
            "Rename the masters of one of them, or add the row to the catalogue.",
        )


def _check_places(item: Item, collector: Collector) -> None:
    places: dict[tuple[str | None, str | None], list[str]] = {}
    settled = {finding.path for finding in item.findings if finding.code == "intake.retake_unsure"}
    for master in item.masters:
        if master.superseded_by is None:
            places.setdefault((master.part, master.sequence), []).append(master.path)
    for paths in places.values():
        if len(paths) > 1 and not settled & set(paths):
            collector.hold(
                item.item,
                "intake.two_masters",
                paths[0],
                f"{len(paths)} masters claim the same place: {', '.join(paths)}.",
                "one master per part and sequence of an item.",
                f"Move the wrong one out of the batch folder{_and_its_line(item, paths)}, or give "
                "it a part name or a number; where captures are made again, set `intake.retakes` "
                "in config/config.yaml.",
            )


def _and_its_line(item: Item, paths: list[str]) -> str:
    """Return what else is to be done where a checksum list names a master that is moved out: the
    list would miss it."""
    listed = any(master.expected for master in item.masters if master.path in paths)
    return " and its line out of the checksum list" if listed else ""


def check_twins(batch: Batch, collector: Collector) -> None:
    """Hold items whose masters are the same file, or the same bytes, as another master."""
    owners, masters = {}, []
    for item in collector.items.values():
        for master in item.masters if not item.waiting else []:
            owners[master.path] = item.item
            masters.append(
                twins.Master(master.path, master.size_bytes, master.place, master.expected)
            )
    for same in twins.find(batch.folder, masters):
        names = wording.some(same.paths, 5)
        kind = "one file under several names (hard links)" if same.linked else "the same bytes"
        for item_id in sorted({owners[path] for path in same.paths}):
            collector.hold(
                item_id,
                "intake.same_bytes",
                next(path for path in same.paths if owners[path] == item_id),
                f"These masters are {kind}: {names}.",
                "a capture of its own for each master.",
                "Find out which name is right, and move the others out of the batch folder.",
            )


def check_folders(batch: Batch, collector: Collector) -> None:
    """Say of folders below the batch that look like batches or like folders of targets."""
    for folder, names in companions.nested(batch.listing).items():
        _check_nested(folder, names, collector)
    for item, master in collector.masters():
        folders = {part.casefold() for part in PurePosixPath(master.path).parts[:-1]}
        if folders & _TARGET_FOLDERS:
            item.findings.append(
                Finding(
                    "intake.in_targets",
                    master.path,
                    "It lies among target captures, but batch.yaml names it under no target: it "
                    "is taken for a master.",
                    "masters and targets in folders of their own.",
                    "Name it under `targets` in batch.yaml, or confirm that it is a master by "
                    "moving it.",
                    "review",
                )
            )


def _check_nested(folder: str, names: list[str], collector: Collector) -> None:
    words = (
        f"{folder} looks like a batch of its own; {', '.join(names)} was not read.",
        "side files in the batch folder itself.",
        "Move that folder beside the batch folder, or its side files out of it.",
    )
    inside = [
        (item, master.path)
        for item, master in collector.masters()
        if master.path.startswith(f"{folder}/")
    ]
    for item, path in inside:
        item.findings.append(Finding("intake.nested_batch", path, *words))
    if not inside:
        collector.note("intake.nested_batch", names[0], *words, "review")


def check_targets(batch: Batch, collector: Collector) -> None:
    """Hold items of the catalogue whose master batch.yaml takes for a target."""
    for path in sorted(batch.target_paths):
        parsed = batch.named(path)
        if parsed is not None and parsed.item in batch.records:
            collector.hold(
                parsed.item,
                "intake.target_is_item",
                path,
                "batch.yaml calls this file a target capture, the catalogue an item.",
                "a file that is one or the other.",
                "Correct `targets` in batch.yaml, or the catalogue.",
            )


def state_facts(batch: Batch, collector: Collector) -> dict[str, Facts]:
    """Return {path of a master: the facts that batch.yaml states of it}; say what had no effect."""
    facts = {}
    for item, master in collector.masters():
        stated = batch.statements.facts_of(item.item, master.part)
        facts[master.path] = _with_film(stated.facts, master.part, batch, item)
        item.findings += batch_facts.of_no_effect(master.path, master.part, stated)
    return facts


def _with_film(facts: Facts, part: str | None, batch: Batch, item: Item) -> Facts:
    """Return the facts with the film that the catalogue names, where batch.yaml names none and
    they are of a negative."""
    column, row = batch.settings.catalogue.film_column, batch.records.get(item.item)
    if not column or row is None or facts.film:
        return facts
    if facts.polarity == "positive" or facts.kind == "print" or parts.is_paper(part):
        return facts
    film = " ".join(row.extra.get(column, "").split())[: batch_facts.MAX_FILM]
    return msgspec.structs.replace(facts, film=film, film_from="catalogue") if film else facts


def _check_film_column(batch: Batch, collector: Collector) -> None:
    column = batch.settings.catalogue.film_column
    if column and batch.catalogue and batch.records and not batch.catalogue.has_film(column):
        collector.note(
            "catalogue.film_column",
            batch.catalogue_path.name if batch.catalogue_path else batch.name,
            f"No row has a value in the column {column!r}, which is said to name the films, or a "
            "field takes that column.",
            "a column of this catalogue that no field takes.",
            "Correct `catalogue.film_column`, or set it to null.",
            "review",
        )


def check_statements(batch: Batch, collector: Collector) -> None:
    """Say what batch.yaml and corrections.yaml state of something that is not here."""
    masters: list[tuple[str, str | None]] = [
        (item.item, master.part)
        for item, master in collector.masters()
        if not naming.is_stand_in(item.item)
    ]
    masters += [(item.roll, None) for item in collector.items.values() if item.roll]
    paths = {master.path for _, master in collector.masters()}
    present = {entry.path for entry in batch.listing.files if entry.problem is None}
    _check_film_column(batch, collector)
    tone = batch.settings.tone
    collector.notes += batch.statements.without_master(masters)
    collector.notes += batch_facts.unknown_stocks(
        batch.facts, tone.film_stocks, tone.stock_library != "none"
    )
    collector.notes += batch_facts.target_findings(batch.facts.targets, present)
    collector.notes += corrections.about_nothing(batch.corrections, set(collector.items), paths)


def hold_by_doubts(collector: Collector) -> None:
    """Hold each item that has a master for what makes the whole batch uncertain."""
    for finding in collector.doubts:
        owners = [item for item in collector.items.values() if item.masters]
        for item in owners or [collector.item(naming.stand_in(finding.path))]:
            item.findings.append(finding)


def tell_empty(batch: Batch, collector: Collector) -> None:
    """Say of a batch in which no item was found that it holds no master."""
    if collector.items:
        return
    collector.note(
        "intake.no_masters",
        batch.name,
        "This batch folder holds no master.",
        "TIFF masters (.tif, .tiff).",
        "Check that the disk or share is there, and that the capture station has written.",
        "review",
    )
