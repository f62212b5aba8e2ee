"""Intake: which files belong to which item, and what is known of each before a pixel is read.

Every entry of the batch folder ends in exactly one place of intake.json: a master of an item
(ready, held or waiting), a finding that says why it is none, a picture beside a master, a target
capture, a known companion (catalogue, checksums, facts), `ignored_files` or `other_files`. Nothing
is left out silently, and nothing is opened but by `door`. What makes the whole batch uncertain
holds each of its items.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from msgspec import UNSET

from glassine.base import door, naming
from glassine.base.errors import Finding, GlassineError
from glassine.base.helper_process import Apart
from glassine.base.model import Facts, ItemId
from glassine.base.numbers import Numbers
from glassine.base.records.intake import BatchFacts, Intake, ItemEntry, MasterEntry
from glassine.base.records.parts import FindingNote
from glassine.intake import (
    batch_facts,
    batch_lists,
    expected,
    judging,
    left_out,
    list_checks,
    places,
    respelling,
    retakes,
    rolls,
    row_checks,
    session_files,
    side_files,
)
from glassine.intake.catalogue.reading import Catalogue
from glassine.intake.given import IntakeGiven
from glassine.intake.model import Batch, Collector, Item, Master
from glassine.intake.sorting import sort_files

VERSION = "10"


def take_in(batch_dir: Path, given: IntakeGiven) -> Intake:
    """Return what is known of the batch before a pixel is read.

    Raises GlassineError where the batch as a whole cannot be taken in: batch.yaml,
    corrections.yaml or the catalogue unreadable.
    """
    _check_folder(batch_dir)
    collector = Collector()
    batch = _read_batch(batch_dir, given, collector)
    # Pixels are needed only for names off the template: the reader starts when it is asked.
    with Apart("glassine.masters.labels:see_master") as label_reader:
        others = sort_files(batch, collector, label_reader)
    with Apart("glassine.masters.alike:compare") as comparer:
        retakes.settle(batch, collector, comparer)
    judging.check_parts(batch, collector)
    rolls.check(batch, collector)
    must_be_listed = list_checks.check_lists(batch, collector, others)
    judging.check_twins(batch, collector)
    judging.check_folders(batch, collector)
    judging.check_targets(batch, collector)
    rows = row_checks.join_catalogue(batch, collector)
    sessions = session_files.read(batch.listing, batch.folder, collector)
    expected_items = expected.compare(batch, collector)
    row_checks.check_expected(batch, collector, expected_items)
    facts = judging.state_facts(batch, collector)
    judging.check_statements(batch, collector)
    judging.hold_by_doubts(collector)
    judging.tell_empty(batch, collector)

    masters = {
        master.path: _master_entry(master, facts[master.path], master.path in must_be_listed)
        for _, master in collector.masters()
    }
    return Intake(
        batch=batch.name,
        title=batch.name if batch.facts.title is UNSET else batch.facts.title,
        facts=BatchFacts(operator=batch.facts.operator),
        default_facts=_rounded(batch.statements.default_facts()),
        items=[_item_entry(batch, item, masters) for _, item in sorted(collector.items.items())],
        notes=[FindingNote(**finding.as_dict()) for finding in collector.notes],
        rows=rows,
        expected=expected_items,
        sessions=sessions,
        other_files=others,
        ignored_files=sorted(collector.ignored),
        targets=batch.targets,
        withdraw=batch.withdrawals,
        corrections_without_item=sorted(set(batch.corrections) - set(collector.items)),
        calibration=sorted(collector.calibration, key=lambda each: each.path) or UNSET,
    )


def _check_folder(batch_dir: Path) -> None:
    if batch_dir.is_symlink():
        raise GlassineError.because(
            "intake.link",
            batch_dir,
            "This batch folder is a symbolic link; it was not followed.",
            "the folder itself, or a disk or share mounted there.",
            "Move or mount the folder there, or let `masters` in the settings name the folder in "
            "which it lies.",
        )
    if not batch_dir.is_dir():
        raise GlassineError.because(
            "intake.no_folder",
            batch_dir,
            "There is no such batch folder.",
            "a folder of masters.",
            "Correct `masters` or `batches` in config/config.yaml.",
        )


def _read_batch(batch_dir: Path, given: IntakeGiven, collector: Collector) -> Batch:
    """Return what lies in the batch folder and what its side files state."""
    settings = given.settings
    numbers = settings.naming.same_number.rules()
    whole_listing = _open_listing(batch_dir)
    listing, left_out_paths = left_out.part(whole_listing, batch_dir, settings.intake.ignore)
    collector.ignored += left_out_paths
    collector.notes += left_out.told(left_out_paths)
    lists = batch_lists.read_lists(listing, batch_dir, whole_listing)
    ignored = left_out.Names(settings.intake.ignore)
    unseen = [entry for entry in lists.missing if ignored.leave_out_unseen(entry[1])]
    lists.missing = [entry for entry in lists.missing if entry not in unseen]
    collector.notes += left_out.told_unseen(sorted({path for _, path in unseen}))
    facts = side_files.read_facts(batch_dir, listing, collector)
    statements = batch_facts.Statements(facts)
    corrections, withdrawals = side_files.read_corrections(batch_dir, listing, collector)
    targets = side_files.read_targets(facts, listing, lists)
    catalogue_path = side_files.find_catalogue(batch_dir, listing, settings, collector)
    # It may bear a name that means nothing by itself.
    in_folder = catalogue_path is not None and catalogue_path.parent == batch_dir
    own_catalogue = {catalogue_path.name} if catalogue_path and in_folder else set()
    scheme = settings.naming.scheme()
    catalogue = side_files.read_catalogue(catalogue_path, batch_dir, settings, numbers)
    if catalogue is not None:
        catalogue.respell(_spellings(listing, scheme, numbers, catalogue))
    spelled = _spelled(listing, scheme, numbers, catalogue)
    corrections, withdrawals = respelling.decided(corrections, withdrawals, numbers, spelled)
    return Batch(
        name=given.batch,
        folder=batch_dir,
        settings=settings,
        scheme=scheme,
        numbers=numbers,
        listing=listing,
        lists=lists,
        facts=facts,
        statements=statements,
        corrections=corrections,
        withdrawals=withdrawals,
        targets=targets,
        catalogue_path=catalogue_path,
        catalogue=catalogue,
        companions=side_files.paths(listing, lists, targets) | own_catalogue,
    )


def _spelled(
    listing: door.Listing, scheme: naming.Scheme, numbers: Numbers, catalogue: Catalogue | None
) -> dict[str, ItemId]:
    """Return {what is the same for all spellings of a number: the id of its item}."""
    if numbers.states_nothing:
        return {}
    spelled: dict[str, ItemId] = {}
    for entry in listing.files:
        path = naming.developed_path(entry.path) if naming.is_raw(entry.path) else entry.path
        parsed = naming.parse(path, scheme)
        if parsed is not None:
            meant = numbers.meant(parsed.item)
            spelled.setdefault(numbers.key(meant), ItemId(meant))
    if catalogue is not None:
        spelled |= {numbers.key(item): item for item in [*catalogue.bad_items, *catalogue.records]}
    return spelled


def _spellings(
    listing: door.Listing, scheme: naming.Scheme, numbers: Numbers, catalogue: Catalogue
) -> dict[ItemId, ItemId]:
    """Return {id in the catalogue: id as names in the batch spell it}, where all names agree."""
    if numbers.states_nothing:
        return {}
    in_names: dict[str, set[str]] = {}
    for entry in listing.files:
        path = naming.developed_path(entry.path) if naming.is_raw(entry.path) else entry.path
        parsed = naming.parse(path, scheme)
        if parsed is not None:
            meant = numbers.meant(parsed.item)
            in_names.setdefault(numbers.key(meant), set()).add(meant)
    found = {}
    for item in [*catalogue.records, *catalogue.bad_items]:
        names = in_names.get(numbers.key(item), set())
        # Capitals alone are as the catalogue has them: a name is written in haste.
        if len(names) == 1 and {name.casefold() for name in names} != {item.casefold()}:
            found[item] = ItemId(next(iter(names)))
    return found


def _open_listing(batch_dir: Path) -> door.Listing:
    """Return all that lies in the batch folder. Raises GlassineError where a part of it is closed:
    any item may have a master there."""
    listing = door.listing(batch_dir)
    if listing.closed:
        raise GlassineError(
            [
                Finding(
                    "intake.closed",
                    str(batch_dir if folder == "." else batch_dir / folder),
                    f"This folder cannot be listed: {why}. The batch is held, since masters may "
                    "lie in it.",
                    "a folder that the night's user may list and enter.",
                    "Give the night's user the right to it, see that the disk or share is sound, "
                    "or move the folder out of the batch folder.",
                )
                for folder, why in sorted(listing.closed.items())
            ]
        )
    return listing


def _master_entry(master: Master, facts: Facts, must_be_listed: bool) -> MasterEntry:
    """Return a master as intake.json has it.

    facts: those that batch.yaml states of it. must_be_listed: no list names it, and `verify` is to
    hold it for that.
    """
    return MasterEntry(
        path=master.path,
        part=master.part,
        sequence=master.sequence,
        bytes=master.size_bytes,
        mtime_ns=master.mtime_ns,
        expected=master.expected,
        size_px=master.size_px,
        identified=master.identified,
        superseded_by=master.superseded_by or UNSET,
        must_be_listed=True if must_be_listed else UNSET,
        facts=_rounded(facts),
    )


def _rounded(facts: Facts) -> Facts:
    """Return facts with their numbers as a record has them."""
    return Facts.from_dict(facts.as_dict())


def _item_entry(batch: Batch, item: Item, masters: dict[str, MasterEntry]) -> ItemEntry:
    """Return an item as intake.json has it; masters: {path: entry}."""
    held = any(finding.severity == "hold" for finding in item.findings)
    return ItemEntry(
        item=item.item,
        state="held" if held else "waiting" if item.waiting else "ready",
        masters=[masters[master.path] for master in sorted(item.masters, key=places.order)],
        catalogue=batch.records.get(item.item),
        corrections=batch.corrections.get(item.item),
        labels=item.labels,
        companions=sorted(item.companions, key=lambda companion: companion.path),
        roll=item.roll or UNSET,
        place=item.place or UNSET,
        left_out=item.left_out or UNSET,
        findings=[FindingNote(**finding.as_dict()) for finding in item.findings],
    )


def fingerprint(batch_dir: Path, extra: list[Path]) -> str:
    """Return a digest of names, sizes, times and rights below the batch folder and in `extra`.

    It changes when anything intake depends on may have changed, without reading contents.
    """
    digest = hashlib.sha256(repr(batch_dir.is_symlink()).encode())
    for mark in door.listing(batch_dir).marks():
        digest.update(mark.encode())
    for path in extra:
        digest.update(repr((str(path), _state(path))).encode())
    return digest.hexdigest()


def _state(path: Path) -> tuple[int, int, int] | str:
    try:
        status = path.stat()
    except OSError as problem:
        return str(problem.strerror)
    return status.st_size, status.st_mtime_ns, status.st_mode
