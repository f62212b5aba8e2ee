"""Which batches a run processes, and what is wrong where one cannot be.

Nothing that a person may have meant as a batch is passed over: a folder whose name cannot be
used, pictures beside the batch folders, a batch of earlier nights whose folder is gone. Each
has a finding and an exit code of its own, and keeps no other batch from its turn.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glassine.base import exits, files, naming, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import BatchId
from glassine.base.visible import visible
from glassine.intake import left_out, passed_over
from glassine.intake.model import OTHER_PICTURE_SUFFIXES

if TYPE_CHECKING:
    from glassine.base.item_states import ItemStatus

_PICTURE_SUFFIXES = naming.MASTER_SUFFIXES | OTHER_PICTURE_SUFFIXES | passed_over.RAW_SUFFIXES
# What a run itself writes beside the folders of the batches in `results`.
_OWN_NAMES = {
    *("summary.json", "room.json", "masters.json", "ids.json", "film-stocks.json"),
    *("targets.sqlite", "audit.sqlite", "reproduce.log"),
}
# Findings of batches that a run did not go into at all.
NOT_LOOKED_AT = {"run.batch_gone", "run.no_batch", "run.batch_unreadable", "plan.batch_name"}
# Entries looked at in a folder that is no batch, to see whether pictures lie there.
_MAX_LOOKED_AT = 10_000


@dataclass
class Batches:
    """names: the batches to process, in order; problems: what is not processed, and why;
    notes: what is passed over and needs nobody."""

    names: list[BatchId] = field(default_factory=list)
    problems: list[exits.Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def exit_code(problems: Iterable[exits.Problem]) -> int:
    """Return the code that a run with these problems ends with; 0 where there is none."""
    codes = {problem.exit_code for problem in problems}
    return next((code for code in exits.ORDER if code in codes), 0)


def known_before(working_dir: Path) -> list[str]:
    """Return the batches in which earlier runs in this working directory found items."""
    taken_in = [path.parent for path in (working_dir / "results").glob("*/intake.json")]
    return sorted(results.name for results in taken_in if _had_items(results))


def _had_items(results_dir: Path) -> bool:
    if any((results_dir / "items").glob("*/*")):
        return True
    try:
        return bool(files.read_json(results_dir / "intake.json")["items"])
    except (GlassineError, KeyError, TypeError):
        return True


def to_process(masters: Path, config: dict[str, Any], working_dir: Path) -> Batches:
    """Return the batches in the folder of masters, or those that the settings name."""
    batches = Batches()
    try:
        entries = sorted(os.scandir(masters), key=lambda entry: entry.name)
    except OSError as problem:
        batches.problems.append(_no_masters(masters, problem))
        entries = []
    if config["batches"]:
        _take_named(batches, masters, config["batches"], working_dir)
    else:
        names = left_out.Names(config.get("intake", {}).get("ignore", []))
        _take_all(batches, masters, entries, lambda file: left_out.is_left_out(file, names))
        known = {*batches.names, *(problem.batch for problem in batches.problems)}
        gone = [name for name in known_before(working_dir) if name not in known]
        batches.problems += [_gone(masters, name) for name in gone]
        if not batches.names and not batches.problems:
            batches.problems.append(_no_batches(masters))
    return batches


def named_only(names: list[str]) -> Batches:
    """Return the batches of these names, wherever their folders are."""
    batches = Batches()
    for name in dict.fromkeys(names):
        wrong = _name_problem(name)
        if wrong is None:
            batches.names.append(BatchId(name))
        else:
            finding = _bad_name(Path("batches"), name, wrong)
            batches.problems.append(exits.Problem(finding, exits.SETTINGS))
    return batches


def to_send(batches: Batches, working_dir: Path) -> Batches:
    """Return the batches whose deliveries may go out: also those whose masters are gone."""
    receipts = (working_dir / "deliveries").glob("*.receipt.json")
    delivered = [path.name.removesuffix(".receipt.json") for path in receipts]
    names = {BatchId(name) for name in delivered if _name_problem(name) is None}
    return Batches(sorted({*batches.names} | names))


def _take_all(
    batches: Batches,
    masters: Path,
    entries: list[os.DirEntry[str]],
    is_left_out: Callable[[Path], bool],
) -> None:
    loose = []
    for entry in entries:
        if not _is_folder(entry):
            loose.append(entry.name)
        elif entry.name.startswith(".") or entry.name == "lost+found":
            _pass_over(batches, masters / entry.name, is_left_out)
        else:
            _take(batches, masters, entry.name, exits.DATA)
    _tell_loose(batches, masters, [name for name in loose if not is_left_out(masters / name)])


def _take_named(batches: Batches, masters: Path, names: list[str], working_dir: Path) -> None:
    there = [path.name for path in masters.iterdir()] if os.access(masters, os.R_OK) else []
    for name in dict.fromkeys(names):
        if _name_problem(name) is None and not os.path.isdir(masters / name):  # noqa: PTH112
            before = name in known_before(working_dir)
            batches.problems.append(_gone(masters, name) if before else _none(masters, name, there))
        else:
            _take(batches, masters, name, exits.SETTINGS)


def _take(batches: Batches, masters: Path, name: str, code: int) -> None:
    """Add the batch, or what is wrong with its folder."""
    wrong = _name_problem(name)
    if wrong is not None:
        batches.problems.append(exits.Problem(_bad_name(masters, name, wrong), code))
        return
    try:
        with os.scandir(masters / name):
            batches.names.append(BatchId(name))
    except OSError as problem:
        finding = Finding(
            "run.batch_unreadable",
            str(masters / name),
            f"This batch folder cannot be listed: {problem.strerror}.",
            "a folder that the night's user may read.",
            "Check the disk, the share and the rights of the folder, then run again.",
        )
        batches.problems.append(exits.Problem(finding, exits.NO_RIGHT, name))


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


def _pass_over(batches: Batches, folder: Path, is_left_out: Callable[[Path], bool]) -> None:
    """Note a folder that systems keep for themselves; where pictures lie in it, tell of it."""
    try:
        pictures = _has_pictures(folder, is_left_out)
    except OSError as problem:
        batches.notes.append(visible(f"{folder}: not looked at ({problem.strerror})"))
        return
    if pictures:
        why = "it begins with '.'" if folder.name.startswith(".") else "systems keep this name"
        finding = _bad_name(folder.parent, folder.name, f"{why}, and pictures lie in it")
        batches.problems.append(exits.Problem(finding, exits.DATA))
    else:
        batches.notes.append(f"{folder}: passed over, no pictures lie in it")


def _has_pictures(folder: Path, is_left_out: Callable[[Path], bool]) -> bool:
    """Return whether pictures lie below; of very many entries, whether in the first of them."""
    for number, path in enumerate(_files_below(folder)):
        picture = path.suffix.lower() in _PICTURE_SUFFIXES
        if number > _MAX_LOOKED_AT or (picture and not is_left_out(path)):
            return True
    return False


def _files_below(folder: Path) -> Iterator[Path]:
    def refuse(problem: OSError) -> None:
        raise problem

    for above, _, names in os.walk(folder, onerror=refuse):
        yield from (Path(above, name) for name in names)


def _tell_loose(batches: Batches, masters: Path, names: list[str]) -> None:
    pictures = [name for name in names if Path(name).suffix.lower() in _PICTURE_SUFFIXES]
    others = [name for name in names if name not in pictures and not name.startswith(".")]
    if pictures:
        finding = Finding(
            "run.loose_files",
            str(masters),
            f"{len(pictures)} pictures lie beside the batch folders and were not processed: "
            f"{wording.listed(pictures)}.",
            "each picture in the folder of its batch.",
            "Move them into the folder of their batch.",
        )
        batches.problems.append(exits.Problem(finding, exits.DATA))
    if others:
        batches.notes.append(
            f"{masters}: passed over, in no batch folder: {wording.listed(others)}"
        )


def _no_masters(masters: Path, problem: OSError) -> exits.Problem:
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
    return exits.Problem(finding, exits.NO_INPUT if missing else exits.NO_RIGHT)


def _no_batches(masters: Path) -> exits.Problem:
    finding = Finding(
        "run.no_batches",
        str(masters),
        "The folder of masters holds no batch folder.",
        "a folder for each batch.",
        "See that the disk or share is mounted, and that `masters` in the settings names it.",
    )
    return exits.Problem(finding, exits.NO_INPUT)


def _none(masters: Path, name: str, there: list[str]) -> exits.Problem:
    finding = Finding(
        "run.no_batch",
        visible(str(masters / name)),
        f"The setting `batches` names {name}, and there is no such folder."
        f"{wording.near(name, there)}",
        "the names of folders in the folder of masters.",
        "Correct `batches` in the settings, or bring the folder.",
    )
    return exits.Problem(finding, exits.SETTINGS, name)


def _gone(masters: Path, name: str) -> exits.Problem:
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
    return exits.Problem(finding, exits.NO_INPUT, name)


def not_delivered(name: str) -> exits.Problem:
    """Return what is told where a run ends, all of a batch is done, and no delivery holds it."""
    finding = Finding(
        "run.not_delivered",
        name,
        "All that was due is done, but no delivery holds it as it is now.",
        "a delivery of the batch.",
        "Run again without limits on what is made; the report says where a delivery is withheld.",
    )
    return exits.Problem(finding, exits.HELD, name)


def held_delivery(name: str, results_dir: Path) -> list[exits.Problem]:
    """Return what keeps the delivery of a batch back, as its step told it in held.json."""
    from glassine.base import item_states

    try:
        held = files.read_json(results_dir / "held.json")
        listed = held["findings"] if held["step"] == "deliver" else []
        findings = [item_states.finding(each, results_dir.name) for each in listed]
    except (GlassineError, KeyError, TypeError):
        return []  # there is none, or the report tells that it is damaged
    return [
        exits.Problem(finding, exits.HELD, name)
        for finding in findings
        if finding.severity == "hold"
    ]


def not_done(name: str, states: Sequence[ItemStatus], without: set[str]) -> exits.Problem | None:
    """Return what is told where a run ends and items that were due are neither done nor waiting.

    without: items that a person withdrew.
    """
    open_ = [
        state.item
        for state in states
        if state.state in {"held", "pending"} and state.item not in without
    ]
    if not open_:
        return None
    finding = Finding(
        "run.not_done",
        name,
        f"{len(open_)} items are not done: {wording.listed(open_)}.",
        "every item done, for review or waiting.",
        "The report says of each held item what to do; run again for the others.",
    )
    return exits.Problem(finding, exits.HELD, name)


def named_items(
    wanted: list[str], states: Mapping[str, Mapping[str, str]]
) -> tuple[list[exits.Problem], list[str]]:
    """Return what is wrong with the items that a run was asked for, and a line on each other.

    states: of every batch that was taken in, {item: its state}.
    """
    problems, lines = [], []
    every = sorted({item for items in states.values() for item in items})
    for item in dict.fromkeys(wanted):
        having = {name: items[item] for name, items in states.items() if item in items}
        if not having:
            problems.append(exits.Problem(_no_item(item, every, sorted(states)), exits.USAGE))
        for name, state in having.items():
            if state == "waiting":
                problems.append(exits.Problem(_waits(item, name), exits.LATER, name))
        if having:
            standing = ", ".join(f"{state} in {name}" for name, state in having.items())
            lines.append(f"{item}: {standing}")
    return problems, lines


def _no_item(item: str, every: list[str], names: list[str]) -> Finding:
    return Finding(
        "run.no_item",
        item,
        f"No batch has this item; nothing was done for it.{wording.near(item, every)}",
        f"the id of an item of {wording.listed(names) or 'a batch that was taken in'}.",
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
    from glassine.base import item_states

    try:
        findings = files.read_json(results_dir / "held.json")["findings"]
        return [item_states.finding(finding, results_dir.name) for finding in findings]
    except (GlassineError, KeyError, TypeError):
        return []


def not_taken_in(name: str, results_dir: Path) -> list[Finding]:
    """Return what is told of a batch that intake could not take in."""
    return findings_of(results_dir) or [
        Finding(
            "run.not_taken_in",
            name,
            "This batch was not taken in, and nothing says why.",
            "a batch that intake has gone through.",
            f"See results/{name}/logs/intake.log, then run again.",
        )
    ]
