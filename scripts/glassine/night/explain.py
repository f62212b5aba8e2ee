"""`scripts/nightly --explain FOLDER`: what a night would make of a folder, told to a person.

A dry look: nothing is written, neither in the folder nor in results. The settings are those of the
night, a file's fate is what intake itself says.
"""

from __future__ import annotations

import re
import sys
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TextIO

import yaml

from glassine.base import exits, identity, naming, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import BatchId
from glassine.base.visible import visible
from glassine.night import agreement, batches
from glassine.night.explained import Explained, Fate, explain, rules_of
from glassine.night.fields_explained import fields_of
from glassine.night.workplace import Workplace

# Lines of one kind that are told one by one.
_MOST = 40
_NO_ID = re.compile(r"[^A-Za-z0-9._-]+")


def run(
    named: str,
    config: dict[str, Any],
    working_dir: Path,
    out: TextIO | None = None,
    *,
    items: Sequence[str] = (),
) -> int:
    """Tell of a batch folder, or of each batch in the folder of masters; return the exit code.

    named: the folder, or the name of a batch in the folder of masters. config: the settings as
    stated. items: of which alone it is told which settings hold. The code is 0 where nothing would
    be held, 1 where something would, 64 where there is no such folder or item, 78 where a setting
    is wrong.
    """
    out = out or sys.stdout
    try:
        place = Workplace.of(config, working_dir)
        agreement.check(place.config, working_dir)
    except GlassineError as error:
        return _stopped(error.findings, exits.SETTINGS)
    folder = _folder(named, place)
    if isinstance(folder, Finding):
        return _stopped([folder], exits.USAGE)
    if items:
        return _tell_items(folder, place, items, out)
    ended = _tell_settings(place, out)
    if folder.resolve() == place.masters.resolve():
        return max(ended, _tell_all(place, out))
    return max(ended, _tell_batch(folder, place, out))


def _stopped(findings: list[Finding], code: int) -> int:
    for finding in findings:
        sys.stderr.write(f"STOPPED {finding.sentence()}\n")
    return code


def _folder(named: str, place: Workplace) -> Path | Finding:
    """Return the folder that is meant, or why there is none."""
    for path in (place.working_dir / named, place.masters / named, settings.PROJECT / named):
        try:
            if path.is_dir():
                return path
        except (OSError, ValueError):
            continue
    there: list[str] = []
    if place.masters.is_dir():
        there = [path.name for path in place.masters.iterdir() if path.is_dir()]
    what = (
        "This is no folder." if (place.working_dir / named).exists() else "There is no such folder."
    )
    return Finding(
        "run.no_such_folder",
        named,
        f"{what}{wording.near(named, there)}",
        f"a folder of masters, or the name of a batch in {place.masters}.",
        "Correct the name after --explain.",
    )


def _tell_settings(place: Workplace, out: TextIO) -> int:
    """Say what of the settings keeps a night from starting; return 1 where something does."""
    try:
        identity.check_identity(place.config)
    except GlassineError as error:
        _line(out, "A night does not start with these settings yet:")
        for finding in error.findings:
            first, *lines = finding.next_step.split("\n")
            _line(out, f"  {finding.what} {first}")
            for line in lines:
                _line(out, f"      {line}")
        _line(out)
        return exits.HELD
    return 0


def _tell_items(folder: Path, place: Workplace, items: Sequence[str], out: TextIO) -> int:
    """Say which rules of the settings hold for some items of a batch, or of all batches."""
    folders = [folder]
    if folder.resolve() == place.masters.resolve():
        chosen = batches.to_process(place.masters, place.config, place.working_dir)
        folders = [place.batch_dir(name) for name in chosen.names]
    known: dict[str, str] = {}
    for each in folders:
        name, _ = _batch_name(each)
        try:
            told = rules_of(each, name, place.config)
        except GlassineError as error:
            return _stopped(error.findings, exits.HELD)
        known |= dict.fromkeys(told, name)
        for item in items:
            if item in told:
                _line(out, f"{item} of {name}:")
                for line in [*told[item], *fields_of(each, item, place.config)]:
                    _line(out, f"  {line}")
    absent = [
        Finding(
            "run.no_such_item",
            item,
            f"No batch that was looked at has this item.{wording.near(item, known)}",
            "an item that intake finds there.",
            "Correct the id after --item.",
        )
        for item in items
        if item not in known
    ]
    return _stopped(absent, exits.USAGE) if absent else 0


def _tell_all(place: Workplace, out: TextIO) -> int:
    chosen = batches.to_process(place.masters, place.config, place.working_dir)
    for problem in chosen.problems:
        _line(out, f"NOT PROCESSED {problem.finding.sentence()}")
    for note in chosen.notes:
        _line(out, note)
    ended = exits.HELD if chosen.problems else 0
    for name in chosen.names:
        ended = max(ended, _tell_batch(place.batch_dir(name), place, out))
    return ended


def _tell_batch(folder: Path, place: Workplace, out: TextIO) -> int:
    folder = folder.resolve() if folder.name in ("", "..") else folder
    name, problem = _batch_name(folder)
    explained = explain(folder, name, place.config)
    _line(out, f"{folder.name}: {len(explained.fates)} files, {explained.masters} masters")
    if problem:
        _line(out, f"  NOT PROCESSED {problem}")
    if folder.parent.resolve() != place.masters.resolve():
        _line(
            out, f"  The night looks in {place.masters}; for this folder: masters: {folder.parent}"
        )
    for finding in explained.stopped:
        _line(out, f"  NOT TAKEN IN {finding.sentence()}")
    _tell_fates(explained, out)
    _tell_unused(explained, out)
    _tell_proposal(explained, out)
    _tell_sum(explained, out)
    held = bool(problem or explained.stopped or explained.count("held"))
    return exits.HELD if held or not explained.masters else 0


def _batch_name(folder: Path) -> tuple[BatchId, str]:
    """Return the batch's name, and in words why the folder's own cannot be one."""
    try:
        return naming.check_batch(folder.name), ""
    except ValueError:
        plain = unicodedata.normalize("NFKD", folder.name).encode("ascii", "ignore").decode()
        usable = _NO_ID.sub("-", plain).strip("-._")[:100] or "batch"
        return BatchId(usable), (
            "The name of this folder cannot be that of a batch: only letters, digits, '.', '_' and "
            f"'-' may stand in it, 100 at most. Next step: rename it, say to {usable}."
        )


def _tell_fates(explained: Explained, out: TextIO) -> None:
    for fate in explained.fates:
        state = fate.state.upper() if fate.state == "held" else fate.state
        _line(out, f"  {fate.path}: {fate.what}{f'; {state}' if state else ''}")
        for why in fate.why:
            _line(out, f"      {why}")


def _tell_unused(explained: Explained, out: TextIO) -> None:
    for finding in explained.notes[:_MOST]:
        _line(out, f"  {finding.path}: {finding.what} {finding.next_step} [{finding.code}]")
    if len(explained.notes) > _MOST:
        _line(out, f"  and {len(explained.notes) - _MOST} notes more")
    if explained.rows_unused:
        rows = wording.some(explained.rows_unused, 10)
        _line(out, f"  Rows of the catalogue without a master: {rows}")


def _tell_proposal(explained: Explained, out: TextIO) -> None:
    proposal = explained.proposal
    if not (proposal.settings or proposal.by_hand or proposal.hints):
        return
    _line(out)
    for hint in proposal.hints:
        _line(out, f"  {hint}")
    for step in proposal.by_hand:
        _line(out, f"  To do: {step}")
    for words in proposal.words:
        _line(out, f"  {words}")
    if proposal.settings:
        _line(out, "  To write into config/config.yaml:")
        for line in lines_of(proposal.settings):
            _line(out, f"    {line}")
    if explained.with_it:
        now, then = explained.going_on, explained.with_it
        _line(out, f"  With that {then} of {explained.of} masters would go on, now {now}.")


def lines_of(values: dict[str, Any]) -> list[str]:
    """Return settings as lines of YAML that can be pasted."""
    text: str = yaml.safe_dump(values, sort_keys=False, allow_unicode=True, width=1000)
    return text.splitlines()


def _tell_sum(explained: Explained, out: TextIO) -> None:
    counts = {
        "go on": explained.count("goes on"),
        "go on and are for review": explained.count("for review"),
        "are held": explained.count("held"),
        "wait": explained.count("waits"),
    }
    told = ", ".join(f"{count} {words}" for words, count in counts.items() if count)
    _line(out)
    _line(
        out, f"  Files: {told or 'none would be taken in'}. Pixels and digests were not looked at."
    )
    _line(out)


def _line(out: TextIO, text: str = "") -> None:
    out.write(f"{visible(text)}\n")


__all__ = ["Explained", "Fate", "explain", "lines_of", "run"]
