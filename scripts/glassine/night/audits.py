"""The audit of a night, and by hand: masters, results and deliveries are read again."""

from __future__ import annotations

import argparse
import sqlite3
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TextIO

from glassine.audit import fetched, premis, readings, rounds
from glassine.audit.holdings import KINDS, REMOTE, Places
from glassine.audit.objects import Objects, Storage
from glassine.audit.stored import UNREAD
from glassine.base import clock, exits, record_files, settings, wording
from glassine.base.errors import Finding, GlassineError
from glassine.base.records.audit import BatchAudit
from glassine.base.visible import visible
from glassine.deliver import receipt_files
from glassine.night import batches
from glassine.night import lock as runlock
from glassine.night.workplace import Workplace

_TELL_EVERY_S = 60.0
_NAMES = {
    "masters": "masters",
    "results": "results",
    "delivery": "deliveries",
    "stored": "deliveries in object storage",
    "stored_masters": "masters in object storage",
}
# Codes of what could not be read, of which it is not known whether it is damaged.
_NOT_READ = (
    UNREAD,
    "audit.unreadable",
    "audit.records",
    "audit.deliveries_gone",
    "audit.fetched_gone",
)
# So many damaged parts are told one by one on a terminal; the report and audit.json tell all.
_TOLD = 20


def places_of(place: Workplace) -> Places:
    return Places(place.masters, place.results, place.deliveries)


def batches_known(place: Workplace) -> list[str]:
    """Return the batches that have results or receipts."""
    names = {path.parent.name for path in place.results.glob("*/intake.json")}
    names |= receipt_files.batches(place.deliveries) | fetched.batches(place.deliveries)
    names |= readings.batches(place.results)  # one whose deliveries are not here any more
    return sorted(names)


def storage_of(place: Workplace) -> Storage:
    """Return the object storage of the settings, as the audit uses it; nothing is asked yet."""
    section = place.config["store"]
    if not section["deliveries"] and not section["masters"]:
        return Storage()

    def connect() -> Objects:
        from glassine.store.objects import S3Objects

        return S3Objects(section["endpoint_url"])

    return Storage(connect, place.config["audit"]["storage"])


def of_night(place: Workplace, out: TextIO) -> rounds.Round | None:
    """Read the share of a night; None where the settings ask for none. Raises GlassineError."""
    section = place.config["audit"]
    if section["share"] <= 0:
        return None
    limits = rounds.Limits(float(section["share"]), float(section["hours"]))
    return _go(place, batches_known(place), limits, out)


def _go(place: Workplace, names: list[str], limits: rounds.Limits, out: TextIO) -> rounds.Round:
    try:
        storage = storage_of(place)
        return rounds.go(places_of(place), names, limits, clock.now_text, _teller(out), storage)
    except sqlite3.Error as problem:
        raise GlassineError.because(
            "audit.not_kept",
            place.results / readings.NAME,
            f"What was read cannot be kept: {problem}.",
            "a disk with room, and a file that the night's user may write.",
            "Check the disk and the rights, then run again.",
        ) from problem


def _teller(out: TextIO) -> Callable[[int, int], None]:
    last = time.monotonic()

    def tell(done: int, due: int) -> None:
        nonlocal last
        if time.monotonic() - last >= _TELL_EVERY_S:
            last = time.monotonic()
            out.write(f"{clock.now_text()} audit: {done:,} of {due:,} parts read\n")
            out.flush()

    return tell


def problems(round_: rounds.Round, names: Sequence[str]) -> list[exits.Problem]:
    """Return what was found damaged. names: the batches of the run; others are told without."""
    return [
        exits.Problem(finding, _exit_code(finding), batch if batch in names else None)
        for batch, finding in round_.findings
    ]


def _exit_code(finding: Finding) -> int:
    return exits.UNAVAILABLE if finding.code == UNREAD else exits.HELD


def sentence(round_: rounds.Round) -> str:
    """Return in a sentence what was read and how the whole stands."""
    records = list(round_.batches.values())
    oldest = min((each for record in records for each in _oldest_of(record)), default=None)
    damaged = sum(1 for _, finding in round_.findings if finding.code not in _NOT_READ)
    failed = len(round_.findings) - damaged
    unread = sum(record.unread for record in records)
    words = [
        f"{_parts(round_.parts)} read again ({_size(round_.bytes)})",
        _since(oldest, all_read=not failed),
        f"{damaged} not as recorded" if damaged else "nothing damaged" + " in it" * bool(failed),
    ]
    words += [f"COULD NOT BE READ: {_parts(unread)}"] if unread else []
    away = sum(record.away for record in records)
    words += [f"{_parts(away)} not here to be read"] if away else []
    unsettled = sum(record.unsettled for record in records)
    words += [f"unfinished items not read: {unsettled:,}"] if unsettled else []
    words += [f"{_parts(round_.left)} left for the next round"] if round_.left else []
    return ", ".join(words)


def _since(oldest: str | None, *, all_read: bool) -> str:
    if oldest is None:
        return "nothing to read yet"
    if all_read:
        return f"all read or written since {oldest[:10]}"
    return f"not all could be read, the oldest reading is of {oldest[:10]}"


def _parts(count: int) -> str:
    return f"{count:,} {'part' if count == 1 else 'parts'}"


def _oldest_of(record: BatchAudit) -> list[str]:
    return [kind.oldest for kind in record.kinds if kind.oldest]


def _size(count: int) -> str:
    return f"{count / 1e9:,.1f} GB" if count >= 1e8 else f"{count / 1e6:,.1f} MB"


def changed(before: BatchAudit | None, after: BatchAudit) -> bool:
    """Return whether the findings of a batch are others than those that its report shows."""
    return (before.findings if before else []) != after.findings


def standing(results: Path) -> BatchAudit | None:
    """Return the last record of a batch, None where there is none that can be read."""
    try:
        return record_files.load(results / rounds.RECORD, "audit", BatchAudit)
    except GlassineError:
        return None


def _chosen(place: Workplace, named: list[str]) -> list[str]:
    known = batches_known(place)
    for name in named:
        if name not in known:
            raise GlassineError.because(
                "audit.batch",
                name,
                f"No batch of this name has results or receipts here.{wording.near(name, known)}",
                f"one of {wording.listed(known) or 'none yet'}.",
                "Correct the name, or the folder after --directory.",
            )
    return named or known


def _tell(round_: rounds.Round, out: TextIO) -> None:
    for name, record in round_.batches.items():
        for word, kind in zip(KINDS, record.kinds, strict=True):
            if word in REMOTE and not kind.parts:
                continue
            since = f"oldest reading {kind.oldest}" if kind.oldest else "nothing to read"
            out.write(f"{name}: {_NAMES[word]}: {kind.parts:,} parts, {since}\n")
    told = round_.findings
    for _, finding in told[:_TOLD]:
        how = "NOT READ" if finding.code in _NOT_READ else "DAMAGED"
        out.write(f"{how} {finding.sentence()}\n")
    if len(told) > _TOLD:
        out.write(f"and {len(told) - _TOLD:,} more: see audit.json of each batch\n")
    for note in round_.notes:
        out.write(f"NOTE {note.sentence()}\n")
    out.write(f"audit: {sentence(round_)}\n")


def _run(options: argparse.Namespace) -> int:
    config = settings.stated(options.configfile)
    place = Workplace.of(config, Path(options.directory).resolve())
    if options.premis:
        with readings.Readings.open(place.results, clock.now_text()) as kept:
            premis.write(Path(options.premis), kept.lines())
        print(f"{options.premis} is written.")
        return 0
    names = _chosen(place, options.batch)
    lock = runlock.RunLock(place.working_dir)
    lock.take()  # what a run is about to write is not to be read half-way
    section = place.config["audit"]
    if options.all:
        limits = rounds.Limits(1.0, 0.0, everything=True)
    else:
        limits = rounds.Limits(float(section["share"]), float(section["hours"]))
    try:
        round_ = _go(place, names, limits, sys.stderr)
    finally:
        lock.ended()
    _tell(round_, sys.stdout)
    return batches.exit_code(problems(round_, names))


def main(arguments: list[str] | None = None) -> int:
    """Read again what is due; return the exit code: 0 where all that was to be read is as recorded,
    69 where nothing was found damaged and an object storage did not answer."""
    parser = argparse.ArgumentParser(
        prog="scripts/audit",
        description="Read masters, results and deliveries again and compare them with their "
        "records: what was read longest ago, as much as `audit` in the settings says.",
    )
    parser.add_argument("batch", nargs="*", help="names of batches; else all")
    parser.add_argument(
        "--all", action="store_true", help="read everything; one broken off goes on where it was"
    )
    parser.add_argument("--premis", metavar="FILE", help="write all readings so far as PREMIS 3.0")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    try:
        return _run(options)
    except GlassineError as error:
        sys.stderr.write("".join(f"{visible(each.sentence())}\n" for each in error.findings))
        busy = {each.code for each in error.findings} & {"run.busy", "run.jobs_alive"}
        return exits.LATER if busy else exits.USAGE
    except KeyboardInterrupt:
        return 130


if __name__ == "__main__":
    sys.exit(main())
