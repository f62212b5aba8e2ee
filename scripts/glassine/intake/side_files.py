"""The side files of a batch: batch.yaml, corrections.yaml and the catalogue, found and read.

Which names mean them: `companions`. What is doubtful (two of a kind, a link, a name that only may
be meant) is never passed over: it is noted, or holds the batch.
"""

from __future__ import annotations

import posixpath
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from glassine.base import corrections, door, wording
from glassine.base.model import ItemId
from glassine.base.numbers import EXACT, Numbers
from glassine.base.records.batch_file import BatchFile, StatedTarget
from glassine.base.records.corrections import Correction, Withdrawal
from glassine.base.records.intake import TargetEntry, TargetFile
from glassine.intake import batch_facts, batch_lists, catalogue_place, companions, session_files
from glassine.intake.given import CatalogueSettings
from glassine.intake.model import Collector, target_files

if TYPE_CHECKING:
    from glassine.intake.catalogue.reading import Catalogue


def paths(
    listing: door.Listing, lists: batch_lists.Lists, targets: list[TargetEntry]
) -> frozenset[str]:
    """Return the entries of which some say something of the batch: they are no other files."""
    kinds = (companions.facts, companions.corrections, companions.catalogue)
    chosen = [entry.path for choose in kinds for entry in choose(listing).entries]
    chosen += [entry.path for entry in companions.pull_lists(listing)]
    chosen += [entry.path for entry in session_files.entries(listing)]
    described = [posixpath.normpath(target.description) for target in targets]
    return frozenset([*lists.names, *chosen, *described])


# --- batch.yaml --------------------------------------------------------------------------


def read_facts(folder: Path, listing: door.Listing, collector: Collector) -> BatchFile:
    """Return batch.yaml, empty where there is none. Raises GlassineError where it is unsound."""
    chosen = companions.facts(listing)
    entry = _only_file(
        chosen, companions.FACTS_NAME, "what the studio states of the film", collector
    )
    if entry is None:
        return BatchFile()
    if entry.path != companions.FACTS_NAME:
        _note_name(entry.path, companions.FACTS_NAME, collector)
    if entry.size == 0:
        collector.note(
            "intake.empty",
            entry.path,
            "This file is empty and states nothing.",
            "the facts of the batch, or no such file.",
            "Check that it was copied whole.",
            "review",
        )
    return batch_facts.read_batch_facts(folder / entry.path)


def read_targets(
    facts: BatchFile, listing: door.Listing, lists: batch_lists.Lists
) -> list[TargetEntry]:
    """Return the targets of batch.yaml with what is known of each of their captures."""
    return [_with_captures(target, listing, lists) for target in facts.targets]


def _with_captures(
    target: StatedTarget, listing: door.Listing, lists: batch_lists.Lists
) -> TargetEntry:
    paths_named = target_files([target])
    captures = [
        TargetFile(
            path=entry.path,
            bytes=entry.size,
            mtime_ns=entry.mtime_ns,
            expected=lists.expected.get(entry.path, {}),
        )
        for entry in listing.files
        if entry.path in paths_named and entry.problem is None
    ]
    return TargetEntry(**msgspec.structs.asdict(target), captures=captures)


# --- corrections.yaml --------------------------------------------------------------------


def read_corrections(
    folder: Path, listing: door.Listing, collector: Collector
) -> tuple[dict[ItemId, Correction], list[Withdrawal]]:
    """Return what corrections.yaml corrects, and what it withdraws.

    Raises GlassineError where it is unsound.
    """
    path = _corrections_path(folder, listing, collector)
    if path is None:
        return {}, []
    decided = corrections.read(path)
    return decided.corrections, decided.withdraw


def _corrections_path(folder: Path, listing: door.Listing, collector: Collector) -> Path | None:
    """Return corrections.yaml, or None where there is none that may be read."""
    chosen = companions.corrections(listing)
    name, says = companions.CORRECTIONS_NAME, "what a person decided"
    entry = _only_file(chosen, name, says, collector)
    if entry is not None and entry.path != name:
        _doubt_look_alike([entry.path], name, says, collector)
        return None
    return folder / entry.path if entry else None


# --- catalogue ---------------------------------------------------------------------------


def catalogue_path(batch_dir: Path, settings: CatalogueSettings) -> Path | None:
    """Return the catalogue of a batch: as configured, else the batch folder's own, else None."""
    return catalogue_place.path_of(batch_dir, settings.catalogue.path)


def find_catalogue(
    folder: Path, listing: door.Listing, settings: CatalogueSettings, collector: Collector
) -> Path | None:
    """Return the catalogue as `catalogue_path` does, and say what is doubtful of it."""
    chosen = companions.catalogue(listing)
    configured = settings.catalogue.path
    if configured:
        stated = catalogue_place.path_of(folder, configured)
        for entry in chosen.entries:
            if stated == folder / entry.path:
                continue
            collector.note(
                "catalogue.not_used",
                entry.path,
                "This catalogue is not read: the settings name another.",
                f"{configured}, as `catalogue.path` says.",
                "Nothing, where that is so; else set `catalogue.path` to null.",
            )
        if stated is None:
            _tell_not_one(folder, configured, settings, collector)
        return stated
    if not _has_catalogue(chosen, settings, collector):
        return None
    path = chosen.entries[0].path
    if path not in companions.CATALOGUE_NAMES:
        _note_name(path, f"one of {', '.join(companions.CATALOGUE_NAMES)}", collector)
    return folder / path


def read_catalogue(
    path: Path | None, folder: Path, settings: CatalogueSettings, numbers: Numbers = EXACT
) -> Catalogue | None:
    """Return what the catalogue holds, or None where there is none.

    path: as `find_catalogue` tells. Raises GlassineError where it cannot be trusted as a whole.
    """
    if path is None:
        return None
    from glassine.intake.catalogue import reading

    root = catalogue_place.root(folder, settings.catalogue.path)
    return reading.read_catalogue(path, settings, root, numbers)


def _tell_not_one(
    folder: Path, stated: str, settings: CatalogueSettings, collector: Collector
) -> None:
    """Say that no file, or no one file, is where the settings say that the catalogue is."""
    paths = catalogue_place.fitting(folder, stated)
    if len(paths) > 1:
        collector.doubt(
            "catalogue.two",
            wording.some([path.name for path in paths], 5),
            f"{len(paths)} files fit `catalogue.path` ({stated}) for the batch {folder.name}.",
            "one catalogue for each batch.",
            "Move the others away, or state a narrower name in `catalogue.path`.",
        )
        return
    missing = str(paths[0]) if paths else stated
    words = (
        "catalogue.none",
        missing,
        f"There is no catalogue of the batch {folder.name} where `catalogue.path` ({stated}) "
        "says that it is.",
        "one catalogue for each batch.",
        "Export the catalogue of this batch under that name, or correct `catalogue.path`; where a "
        "batch needs none, set `catalogue.required` to false.",
    )
    if settings.catalogue.required:
        collector.doubt(*words)
    else:
        collector.note(*words, "review")


def _has_catalogue(
    chosen: companions.Chosen, settings: CatalogueSettings, collector: Collector
) -> bool:
    """Return whether the batch folder has one catalogue; else say what follows."""
    names = ", ".join(entry.path for entry in chosen.entries)
    entry = chosen.only
    if len(chosen.entries) > 1:
        collector.doubt(
            "catalogue.two",
            names,
            f"There are {len(chosen.entries)} catalogues, and nothing says which one holds.",
            "one catalogue in the batch folder.",
            "Move the others out of the batch folder, or name the right one in `catalogue.path`.",
        )
    elif entry is not None and entry.kind:
        collector.doubt(
            "catalogue.not_a_file",
            entry.path,
            f"The catalogue is no file: it is {entry.kind}. It was not opened.",
            "a regular file.",
            "Put the catalogue itself into the batch folder.",
        )
    elif entry is None:
        _tell_no_catalogue(chosen.alike, settings, collector)
    return entry is not None and not entry.kind


def _tell_no_catalogue(
    alike: tuple[str, ...], settings: CatalogueSettings, collector: Collector
) -> None:
    names = wording.some(alike, 5)
    near = f" These may be meant, and were not read: {names}." if alike else ""
    words = (
        "catalogue.none",
        alike[0] if alike else "catalogue.csv",
        f"The batch folder has no catalogue.{near}",
        f"one of {', '.join(companions.CATALOGUE_NAMES)} in the batch folder itself.",
        "Export the catalogue as CSV under that name, or set `catalogue.path`; where a batch "
        "needs none, set `catalogue.required` to false.",
    )
    if settings.catalogue.required:
        collector.doubt(*words)
    else:
        collector.note(*words, "review" if alike else "note")


# --- names -------------------------------------------------------------------------------


def _only_file(
    chosen: companions.Chosen, name: str, says: str, collector: Collector
) -> door.Entry | None:
    """Return the regular file that is meant by `name`, or None; what is doubtful is told."""
    entry = chosen.only
    if len(chosen.entries) > 1:
        collector.doubt(
            "intake.side_file_twice",
            ", ".join(candidate.path for candidate in chosen.entries),
            f"Several files may be {name}, and nothing says which one holds.",
            f"one {name}.",
            "Move the others out of the batch folder.",
        )
        return None
    if entry is None:
        if chosen.alike:
            _doubt_look_alike(list(chosen.alike), name, says, collector)
        return None
    for path in chosen.alike:
        collector.note(
            "intake.look_alike",
            path,
            f"This file was not read: {entry.path} is there.",
            f"{says} in {name} alone.",
            "See that nothing is in it that should hold, then move it out of the batch folder.",
            "review",
        )
    if entry.kind:
        collector.doubt(
            "intake.side_file",
            entry.path,
            f"This is no file: it is {entry.kind}. It was not opened.",
            f"a regular file that tells {says}.",
            "Put the file itself into the batch folder.",
        )
        return None
    return entry


def _doubt_look_alike(paths: list[str], name: str, says: str, collector: Collector) -> None:
    collector.doubt(
        "intake.look_alike",
        wording.some(paths, 5),
        f"There is no {name}, but this may be meant for it, and was not read.",
        f"{says} in a file named {name}.",
        f"Rename it to {name}, or move it out of the batch folder.",
    )


def _note_name(path: str, expected: str, collector: Collector) -> None:
    collector.note(
        "intake.side_name",
        path,
        "This file was read, though its name is not quite as expected.",
        f"{expected}.",
        "Rename it when convenient.",
    )
