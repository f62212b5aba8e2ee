"""The rows of the catalogue against the items: no row, a bad row, masters named by rows."""

from __future__ import annotations

from pathlib import PurePosixPath

from glassine.base import naming, persistent, wording
from glassine.base.errors import Finding
from glassine.base.model import ItemId
from glassine.base.records.intake import Expected, RowsRead
from glassine.intake import catalogue_place
from glassine.intake.model import Batch, Collector, is_master


def join_catalogue(batch: Batch, collector: Collector) -> RowsRead:
    """Hold items without a sound row; return what the report says of the rows."""
    catalogue, path = batch.catalogue, batch.catalogue_path
    if catalogue is None or path is None:
        return RowsRead(read=0, without_master=[], catalogue=None)
    catalogue.make_records([*collector.items])
    for item in collector.items.values():
        if naming.is_stand_in(item.item):
            continue
        item.findings += catalogue.for_review.get(item.item, [])
        bad = catalogue.bad_items.get(item.item)
        if bad is not None:
            item.findings.append(bad)
        elif item.item not in catalogue.records:
            item.findings.append(_no_row(batch, item.item))
    _check_claims(batch, collector)
    _check_persistent(batch, collector)
    _check_named_masters(batch, collector)
    collector.notes += [*catalogue.findings, *catalogue.unchecked(path)]
    return RowsRead(
        read=catalogue.rows_read,
        without_master=sorted(set(catalogue.records) - set(collector.items)),
        catalogue=path.name,
    )


def _no_row(batch: Batch, item: str) -> Finding:
    rows = batch.rows_like.of(item)
    like = f"; it has {wording.listed(rows)}" if rows else ""
    return Finding(
        "catalogue.no_row",
        item,
        f"The catalogue has no row for this item{like}.",
        f"a row whose item id is {item}.",
        "Add the row to the catalogue extract, or correct the file name.",
        "hold" if batch.settings.catalogue.required else "review",
    )


def _check_claims(batch: Batch, collector: Collector) -> None:
    """Hold items whose rows list a master that is another's, by its name or by another row."""
    owner = {
        master.path: item.item
        for item, master in collector.masters()
        if master.identified.by != "correction"
    }
    for path, listing in sorted(batch.listed.items()):
        listed = sorted({row.item for row in listing})
        own = owner.get(path)
        if own is None:
            continue
        known = [] if naming.is_stand_in(own) else [own]
        rows = sorted({*listed, *known})
        if len(rows) < 2:
            continue
        said = f"The catalogue lists it with {' and with '.join(listed)}"
        if own not in listed:
            said = f"Its name or label says {own}; the catalogue lists it with {listed[0]}"
        for item in rows:
            collector.hold(
                # A row may have a number that is no id of an item.
                naming.item_or_stand_in(item, path),
                "catalogue.master_of_two",
                path,
                f"This master is claimed by {len(rows)} items: {', '.join(rows)}. {said}.",
                "one item for each master.",
                "Correct the `masters` column of the catalogue or the file name, or name its item "
                "under `identity` in corrections.yaml.",
            )


def _check_persistent(batch: Batch, collector: Collector) -> None:
    """Hold items whose rows give them the same persistent identifier."""
    owners: dict[persistent.PersistentId, set[ItemId]] = {}
    for item, record in batch.records.items():
        for each in record.identifiers:
            if each.type in persistent.SCHEMES:
                known = persistent.PersistentId(each.type, each.value)
                owners.setdefault(known, set()).add(item)
    for identifier, items in sorted(owners.items()):
        for item in sorted(items) if len(items) > 1 else []:
            if item not in collector.items:
                continue
            collector.hold(
                item,
                "catalogue.persistent_twice",
                item,
                f"The catalogue gives {identifier.value} to {len(items)} items: "
                f"{wording.some(sorted(items), 5)}.",
                f"{persistent.NAMES[identifier.scheme]}s of which each names one item.",
                "Correct the catalogue and export again.",
            )


def _check_named_masters(batch: Batch, collector: Collector) -> None:
    """Hold items whose rows name masters that are not here: a part of them is missing."""
    here = _words_here(batch)
    here |= {(entry.master or "").casefold() for entry in batch.withdrawals}
    catalogue = batch.catalogue
    own = catalogue_place.is_own(batch.settings.catalogue.path)
    absent = []
    for item in batch.records:
        if item not in collector.items:
            # Those of a catalogue of more than this batch may be captured elsewhere.
            if own and catalogue is not None and not catalogue.records.is_kept(item):
                absent += [f"{name} of {item}" for name in _not_here(batch, item, here)]
            continue
        record = batch.records.get(item)
        for name in dict.fromkeys(record.masters if record else []):
            if name.replace("\\", "/").casefold() not in here:
                collector.hold(
                    item,
                    "catalogue.master_missing",
                    name,
                    "The catalogue row of this item names this master, but it is not in the "
                    "batch folder.",
                    "every master that the row names.",
                    "Copy it from the capture station, or correct the `masters` column of the "
                    "catalogue.",
                )
    _tell_absent(batch, collector, absent)


def check_expected(batch: Batch, collector: Collector, expected: Expected | None) -> None:
    """Name the masters that rows of a catalogue of more than this batch name, of items that are
    expected here and have none."""
    if expected is None or catalogue_place.is_own(batch.settings.catalogue.path):
        return
    here = _words_here(batch)
    _tell_absent(
        batch,
        collector,
        [
            f"{name} of {entry.item}"
            for entry in expected.missing
            for name in ([] if entry.frame else _not_here(batch, ItemId(entry.item), here))
        ],
    )


def _tell_absent(batch: Batch, collector: Collector, absent: list[str]) -> None:
    """Tell masters that are not here, of items of which nothing is. absent: as they are told."""
    if not absent:
        return
    collector.note(
        "catalogue.masters_absent",
        batch.catalogue_path.name if batch.catalogue_path else "",
        f"{len(absent)} masters that rows of the catalogue name are not in the batch folder, "
        f"and their items have none: {wording.some(absent, 20)}.",
        "every master that the rows name.",
        "Copy them from the capture station, or correct the `masters` column of the catalogue.",
        "review",
    )


def _words_here(batch: Batch) -> set[str]:
    """Return what a row may name the files here by, case folded: path and name of each; without
    its ending only a picture, since a side file of that stem is no master."""
    here: set[str] = set()
    for file in batch.listing.files:
        path = PurePosixPath(file.path)
        words = {file.path, file.name}
        if is_master(file.name) or naming.is_raw(file.name):
            words |= {str(path.with_suffix("")), path.stem}
        here |= {word.casefold() for word in words}
    return here


def _not_here(batch: Batch, item: ItemId, here: set[str]) -> list[str]:
    record = batch.records.get(item)
    names = dict.fromkeys(record.masters if record else [])
    return [name for name in names if name.replace("\\", "/").casefold() not in here]
