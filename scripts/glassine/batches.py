"""Which batches a run processes, and what is wrong where one cannot be.

Nothing that a person may have meant as a batch is passed over: a folder whose name cannot be
used, pictures beside the batch folders, a batch of earlier nights whose folder is gone. Each
has a finding and an exit code of its own, and keeps no other batch from its turn.
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glassine import exits, files, intake, naming, wording
from glassine.errors import Finding, GlassineError
from glassine.visible import visible

if TYPE_CHECKING:
    from glassine.status import ItemStatus

# File endings of camera raw formats: pictures, but nothing that is developed here.
RAW_SUFFIXES = {
    ".3fr", ".arw", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".fff", ".iiq", ".kdc", ".mef",
    ".mos", ".nef", ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".sr2", ".srf", ".srw", ".x3f",
}  # fmt: skip
_PICTURE_SUFFIXES = intake.MASTER_SUFFIXES | intake.OTHER_PICTURE_SUFFIXES | RAW_SUFFIXES
# What a run itself writes beside the folders of the batches in `results`.
_OWN_NAMES = {"summary.json", "targets.sqlite", "reproduce.log"}
# Findings of batches that a run did not go into at all.
NOT_LOOKED_AT = {"run.batch_gone", "run.no_batch", "run.batch_unreadable", "plan.batch_name"}
# Entries looked at in a folder that is no batch, to see whether pictures lie there.
_MAX_LOOKED_AT = 10_000
# Names told in one message.
_MAX_NAMED = 5


@dataclass(frozen=True)
class Problem:
    """Something that a run could not do: the finding, the exit code, the batch it is about."""

    finding: Finding
    exit_code: int
    batch: str | None = None


@dataclass
class Batches:
    """names: the batches to process, in order; problems: what is not processed, and why;
    notes: what is passed over and needs nobody."""

    names: list[str] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def exit_code(problems: Iterable[Problem]) -> int:
    """Return the code that a run with these problems ends with; 0 where there is none."""
    codes = {problem.exit_code for problem in problems}
    return next((code for code in exits.ORDER if code in codes), 0)


def listed(names: Iterable[str]) -> str:
    """Return names for a sentence, the first few of many."""
    return wording.some(sorted(visible(name) for name in names), _MAX_NAMED)


def near(wanted: str, names: Iterable[str]) -> str:
    """Return what to add to a message about an unknown name: names like it, or nothing."""
    close = difflib.get_close_matches(wanted, list(names), n=3)
    return f" Did you mean {' or '.join(close)}?" if close else ""


def known_before(working_dir: Path) -> list[str]:
    """Return the batches in which earlier runs in this working directory found items."""
    found = [path.parent for path in (working_dir / "results").glob("*/intake.json")]
    return sorted(results.name for results in found if _had_items(results))


def _had_items(results_dir: Path) -> bool:
    if any((results_dir / "items").glob("*/*")):
        return True
    try:
        return bool(files.read_json(results_dir / "intake.json")["items"])
    except (GlassineError, KeyError, TypeError):
        return True


def to_process(masters: Path, config: dict[str, Any], working_dir: Path) -> Batches:
    """Return the batches in the folder of masters, or those that the settings name."""
    found = Batches()
    try:
        entries = sorted(os.scandir(masters), key=lambda entry: entry.name)
    except OSError as problem:
        found.problems.append(_no_masters(masters, problem))
        entries = []
    if config["batches"]:
        _take_named(found, masters, config["batches"], working_dir)
    else:
        _take_all(found, masters, entries)
        known = set(found.names) | {problem.batch for problem in found.problems}
        gone = [name for name in known_before(working_dir) if name not in known]
        found.problems += [_gone(masters, name) for name in gone]
        if not found.names and not found.problems:
            found.problems.append(_no_batches(masters))
    return found


def named_only(names: list[str]) -> Batches:
    """Return the batches of these names, wherever their folders are."""
    found = Batches()
    for name in dict.fromkeys(names):
        wrong = _name_problem(name)
        if wrong is None:
            found.names.append(name)
        else:
            finding = _bad_name(Path("batches"), name, wrong)
            found.problems.append(Problem(finding, exits.SETTINGS))
    return found


def to_send(found: Batches, working_dir: Path) -> Batches:
    """Return the batches whose deliveries may go out: also those whose masters are gone."""
    receipts = (working_dir / "deliveries").glob("*.receipt.json")
    delivered = [path.name.removesuffix(".receipt.json") for path in receipts]
    names = {name for name in delivered if _name_problem(name) is None}
    return Batches(sorted({*found.names} | names))


def _take_all(found: Batches, masters: Path, entries: list[os.DirEntry[str]]) -> None:
    loose = []
    for entry in entries:
        if not _is_folder(entry):
            loose.append(entry.name)
        elif entry.name.startswith(".") or entry.name == "lost+found":
            _pass_over(found, masters / entry.name)
        else:
            _take(found, masters, entry.name, exits.DATA)
    _tell_loose(found, masters, loose)


def _take_named(found: Batches, masters: Path, names: list[str], working_dir: Path) -> None:
    there = [path.name for path in masters.iterdir()] if os.access(masters, os.R_OK) else []
    for name in dict.fromkeys(names):
        if _name_problem(name) is None and not os.path.isdir(masters / name):  # noqa: PTH112
            before = name in known_before(working_dir)
            found.problems.append(_gone(masters, name) if before else _none(masters, name, there))
        else:
            _take(found, masters, name, exits.SETTINGS)


def _take(found: Batches, masters: Path, name: str, code: int) -> None:
    """Add the batch, or what is wrong with its folder."""
    wrong = _name_problem(name)
    if wrong is not None:
        found.problems.append(Problem(_bad_name(masters, name, wrong), code))
        return
    try:
        with os.scandir(masters / name):
            found.names.append(name)
    except OSError as problem:
        finding = Finding(
            "run.batch_unreadable",
            str(masters / name),
            f"This batch folder cannot be listed: {problem.strerror}.",
            "a folder that the night's user may read.",
            "Check the disk, the share and the rights of the folder, then run again.",
        )
        found.problems.append(Problem(finding, exits.NO_RIGHT, name))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False


def _name_problem(name: str) -> str | None:
    if name in _OWN_NAMES:
        return "a run writes a file of this name beside the results"
    try:
        naming.check_batch(name)
    except ValueError:
        return "only letters, digits, '.', '_' and '-' may stand in it, 100 at most"
    return None


def _bad_name(masters: Path, name: str, why: str) -> Finding:
    return Finding(
        "plan.batch_name",
        visible(f"{masters}/{name}"),
        f"The name of this batch folder cannot be used ({why}). Nothing in it was processed.",
        "a name as in harbour-2026-03, that begins and ends with a letter or digit.",
        "Rename the folder; or, where it is no batch, move it out of the folder of masters.",
    )


def _pass_over(found: Batches, folder: Path) -> None:
    """Note a folder that systems keep for themselves; where pictures lie in it, tell of it."""
    try:
        pictures = _has_pictures(folder)
    except OSError as problem:
        found.notes.append(visible(f"{folder}: not looked at ({problem.strerror})"))
        return
    if pictures:
        why = "it begins with '.'" if folder.name.startswith(".") else "systems keep this name"
        finding = _bad_name(folder.parent, folder.name, f"{why}, and pictures lie in it")
        found.problems.append(Problem(finding, exits.DATA))
    else:
        found.notes.append(f"{folder}: passed over, no pictures lie in it")


def _has_pictures(folder: Path) -> bool:
    """Return whether pictures lie below; of very many entries, whether in the first of them."""
    for number, name in enumerate(_names_below(folder)):
        if Path(name).suffix.lower() in _PICTURE_SUFFIXES or number > _MAX_LOOKED_AT:
            return True
    return False


def _names_below(folder: Path) -> Iterator[str]:
    def refuse(problem: OSError) -> None:
        raise problem

    for _, _, names in os.walk(folder, onerror=refuse):
        yield from names


def _tell_loose(found: Batches, masters: Path, names: list[str]) -> None:
    pictures = [name for name in names if Path(name).suffix.lower() in _PICTURE_SUFFIXES]
    others = [name for name in names if name not in pictures and not name.startswith(".")]
    if pictures:
        finding = Finding(
            "run.loose_files",
            str(masters),
            f"{len(pictures)} pictures lie beside the batch folders and were not processed: "
            f"{listed(pictures)}.",
            "each picture in the folder of its batch.",
            "Move them into the folder of their batch.",
        )
        found.problems.append(Problem(finding, exits.DATA))
    if others:
        found.notes.append(f"{masters}: passed over, in no batch folder: {listed(others)}")


def _no_masters(masters: Path, problem: OSError) -> Problem:
    missing = isinstance(problem, FileNotFoundError | NotADirectoryError)
    finding = Finding(
        "plan.masters",
        str(masters),
        "The folder of masters does not exist."
        if missing
        else f"The folder of masters cannot be listed: {problem.strerror}.",
        "a folder of batch folders that the night's user may read.",
        "See that the disk or share is mounted, and correct `masters` in the settings where the "
        "folder is another one.",
    )
    return Problem(finding, exits.NO_INPUT if missing else exits.NO_RIGHT)


def _no_batches(masters: Path) -> Problem:
    finding = Finding(
        "run.no_batches",
        str(masters),
        "The folder of masters holds no batch folder.",
        "a folder for each batch.",
        "See that the disk or share is mounted, and that `masters` in the settings names it.",
    )
    return Problem(finding, exits.NO_INPUT)


def _none(masters: Path, name: str, there: list[str]) -> Problem:
    finding = Finding(
        "run.no_batch",
        visible(str(masters / name)),
        f"The setting `batches` names {name}, and there is no such folder.{near(name, there)}",
        "the names of folders in the folder of masters.",
        "Correct `batches` in the settings, or bring the folder.",
    )
    return Problem(finding, exits.SETTINGS, name)


def _gone(masters: Path, name: str) -> Problem:
    finding = Finding(
        "run.batch_gone",
        str(masters / name),
        "An earlier run took this batch in, and now its folder is not there. Nothing of it was "
        "processed or checked.",
        "the folder of masters as it was, until the batch is closed.",
        "See that the disk or share is mounted, or put the folder back. Where the batch is closed, "
        f"keep its deliveries and receipts, and move results/{name} to where closed batches are "
        "kept.",
    )
    return Problem(finding, exits.NO_INPUT, name)


def without_items(name: str, batch_dir: Path, taken: dict[str, Any]) -> Problem | None:
    """Return what is told of a batch in which no item was found, None where there is one.

    taken: intake.json of the batch. A batch of target captures alone is complete as it is.
    """
    if taken["items"] or taken.get("targets"):
        return None
    others = [str(path) for path in taken.get("other_files") or []]
    raws = [path for path in others if Path(path).suffix.lower() in RAW_SUFFIXES]
    if raws:
        what = f"This batch holds {len(raws)} camera raw files and no TIFF: {listed(raws)}."
        step = "Raw files are not developed here: export them as TIFF masters, then run again."
    elif others:
        what = f"This batch holds no master. {len(others)} other files lie in it: {listed(others)}."
        step = "Bring the TIFF masters, or move the folder out of the folder of masters."
    else:
        what = "This batch folder holds no master."
        step = (
            "See that the disk or share is mounted and that the copy was made; or remove the "
            "empty folder."
        )
    finding = Finding("run.no_masters", str(batch_dir), what, "TIFF masters (.tif, .tiff).", step)
    return Problem(finding, exits.DATA if others else exits.NO_INPUT, name)


def withdrawn(intake: Mapping[str, Any]) -> set[str]:
    """Return the items that a person withdrew as a whole, by intake.json of their batch."""
    listed_ = intake.get("withdraw")
    entries = [each for each in listed_ if isinstance(each, dict)] if listed_ else []
    return {
        str(each.get("item")) for each in entries if not (each.get("master") or each.get("frames"))
    }


def items_gone(name: str, results_dir: Path, known: set[str]) -> Problem | None:
    """Return what is told of finished items of earlier nights that the batch has no more.

    known: the items that intake found now, and those that a person withdrew.
    """
    folder = results_dir / "items"
    if not folder.is_dir():
        return None
    gone = [
        path.parent.name for path in folder.glob("*/package.json") if path.parent.name not in known
    ]
    if not gone:
        return None
    finding = Finding(
        "run.items_gone",
        str(folder),
        f"{len(gone)} items that earlier runs finished have no master in the batch folder now: "
        f"{listed(gone)}.",
        "the masters of every item until its batch is closed.",
        "Put the masters back. Where an item that was delivered is to be no more, withdraw it "
        "(scripts/withdraw); where it never was delivered, remove its folder here.",
    )
    return Problem(finding, exits.NO_INPUT, name)


def not_delivered(name: str) -> Problem:
    """Return what is told where a run ends, all of a batch is done, and no delivery holds it."""
    finding = Finding(
        "run.not_delivered",
        name,
        "All that was due is done, but no delivery holds it as it is now.",
        "a delivery of the batch.",
        "Run again without limits on what is made; the report says where a delivery is withheld.",
    )
    return Problem(finding, exits.HELD, name)


def not_done(name: str, states: Sequence[ItemStatus], without: set[str]) -> Problem | None:
    """Return what is told where a run ends and items that were due are neither done nor waiting.

    without: items that a person withdrew.
    """
    open_ = [
        each.item
        for each in states
        if each.state in {"held", "pending"} and each.item not in without
    ]
    if not open_:
        return None
    finding = Finding(
        "run.not_done",
        name,
        f"{len(open_)} items are not done: {listed(open_)}.",
        "every item done, to look at or waiting.",
        "The report says of each held item what to do; run again for the others.",
    )
    return Problem(finding, exits.HELD, name)


def named_items(
    wanted: list[str], states: Mapping[str, Mapping[str, str]]
) -> tuple[list[Problem], list[str]]:
    """Return what is wrong with the items that a run was asked for, and a line on each other.

    states: of every batch that was taken in, {item: its state}.
    """
    problems, lines = [], []
    every = sorted({item for items in states.values() for item in items})
    for item in dict.fromkeys(wanted):
        having = {name: items[item] for name, items in states.items() if item in items}
        if not having:
            problems.append(Problem(_no_item(item, every, sorted(states)), exits.USAGE))
        for name, state in having.items():
            if state == "waiting":
                problems.append(Problem(_waits(item, name), exits.LATER, name))
        if having:
            told = ", ".join(f"{state} in {name}" for name, state in having.items())
            lines.append(f"{item}: {told}")
    return problems, lines


def _no_item(item: str, every: list[str], names: list[str]) -> Finding:
    return Finding(
        "run.no_item",
        item,
        f"No batch has this item; nothing was done for it.{near(item, every)}",
        f"the id of an item of {listed(names) or 'a batch that was taken in'}.",
        "Correct the id after --item (or under `only`); the report lists all items.",
    )


def _waits(item: str, name: str) -> Finding:
    return Finding(
        "run.item_waits",
        f"{name}, {item}",
        "The masters of this item are not at rest yet; nothing was done for it.",
        "masters that are written to the end and older than `intake.min_age_minutes`.",
        "Run again later; the report says what it waits for.",
    )


def findings_of(results_dir: Path) -> list[Finding]:
    """Return why a batch was not taken in, as its intake told it in held.json."""
    from glassine import status

    try:
        told = files.read_json(results_dir / "held.json")["findings"]
        return [status.finding(each, results_dir.name) for each in told]
    except (GlassineError, KeyError, TypeError):
        return []


def not_taken_in(name: str, results_dir: Path) -> list[Finding]:
    """Return what is told of a batch that intake could not take in."""
    return findings_of(results_dir) or [
        Finding(
            "run.not_taken_in",
            name,
            "This batch was not taken in, and nothing told why.",
            "a batch that intake has gone through.",
            f"See results/{name}/logs/intake.log, then run again.",
        )
    ]
