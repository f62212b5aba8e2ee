"""How far the night is: told from the files alone, on a terminal, in plain lines or as JSON."""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import shutil
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Literal, TextIO

from glassine import steps
from glassine.base import clock, exits, files, intake_file, record_files, settings, wording, zones
from glassine.base.errors import Finding, GlassineError
from glassine.base.model import ItemId
from glassine.base.records import Given
from glassine.base.records.intake import ItemState
from glassine.base.visible import visible
from glassine.night import batches, leading, monitoring, notice, notify

# The rate is taken over this time: long enough for a mean, short enough to follow a slow stretch.
_STEPS = tuple(step.name for step in steps.STEPS)
_WINDOW_S = 15 * 60.0
# Plain lines (in a log, in a mail) come this far apart; a terminal is kept up to date.
_LINE_EVERY_S = 60.0
_LIVE_EVERY_S = 5.0


@dataclass(frozen=True)
class Progress:
    """One batch at one moment.

    left: items that are to be done yet; stages: of these, how many are at which step;
    an_hour: items finished an hour lately, or None before the first; left_s: seconds to go.
    """

    batch: str
    total: int
    finished: int
    held: int
    waiting: int
    left: int
    stages: dict[str, int]
    an_hour: float | None
    left_s: float | None

    def line(self) -> str:
        """Return the moment in one line of plain text."""
        parts = [f"{self.finished:,} of {self.total:,} finished"]
        parts += [
            f"{count:,} {word}"
            for count, word in (
                (self.held, "held"),
                (self.waiting, "waiting"),
                (self.left, "left"),
            )
            if count
        ]
        if self.stages:
            parts.append(" ".join(f"{step} {count}" for step, count in self.stages.items()))
        if self.left and self.an_hour:
            parts.append(f"{self.an_hour:,.0f} an hour")
        if self.left_s:
            parts.append(f"about {wording.span_words(self.left_s)} to go")
        return visible(f"{self.batch}: {', '.join(parts)}")


def _stage(item_dir: Path) -> str | None:
    """Return the step an item is at, None where it has not begun."""
    done = {path.stem for path in (item_dir / "timings").glob("*.json")}
    if not done:
        return None
    # Few items are developed: of one that is, locate stands for both.
    left = (step for step in _STEPS if step not in done and step != steps.DEVELOP)
    return next(left, _STEPS[-1])


def _rate(moments: list[float], now: float) -> float | None:
    """Return items an hour over the last quarter of an hour, or None where none was finished."""
    recent = [moment for moment in moments if now - _WINDOW_S <= moment <= now]
    if not recent:
        return None
    # A window that begins with the first of few would count one item too many.
    since = min(recent) if len(recent) > 1 else now - _WINDOW_S
    counted = len(recent) - (len(recent) > 1)
    return counted * 3600 / max(now - since, 1.0)


class ItemNow(Given, frozen=True, kw_only=True):
    """What of an item in intake.json tells its progress."""

    item: ItemId
    state: ItemState


class ItemStates(Given, frozen=True, kw_only=True):
    """What of intake.json tells the progress of a batch, whatever else it holds."""

    items: list[ItemNow]


@dataclass(frozen=True)
class _Standing:
    """Where an item stands; stage: the step it is at, finished_s: when it was done, since 1970."""

    state: Literal["held", "waiting", "finished", "left"]
    stage: str | None = None
    finished_s: float | None = None


def _standing(folder: str, state: ItemState) -> _Standing:
    """Return where an item stands. folder: of the item; state: as intake saw it."""
    # os.path and os.stat: of 10,000 items a third of the time.
    if state == "held" or os.path.exists(f"{folder}/held.json"):  # noqa: PTH110
        return _Standing("held")
    if state == "waiting":
        return _Standing("waiting")
    with contextlib.suppress(FileNotFoundError, NotADirectoryError):
        status = os.stat(f"{folder}/package.json")  # noqa: PTH116
        return _Standing("finished", finished_s=status.st_mtime)
    return _Standing("left", stage=_stage(Path(folder)))


def progress_of(results: Path, now: float) -> Progress:
    """Return how far a batch is.

    results: `results/<batch>/`; now: seconds since 1970.
    Raises GlassineError where the batch has not been taken in yet.
    """
    path = results / "intake.json"
    entries = record_files.take(path, "intake", ItemStates, intake_file.read(path).value).items
    items = f"{results}/items"
    standings = [_standing(f"{items}/{entry.item}", entry.state) for entry in entries]
    states = Counter(standing.state for standing in standings)
    stages = Counter(standing.stage for standing in standings if standing.stage)
    rate = _rate(
        [standing.finished_s for standing in standings if standing.finished_s is not None], now
    )
    left = states["left"]
    return Progress(
        batch=results.name,
        total=len(entries),
        finished=states["finished"],
        held=states["held"],
        waiting=states["waiting"],
        left=left,
        stages={step: stages[step] for step in _STEPS if stages[step]},
        an_hour=rate,
        left_s=left * 3600 / rate if rate and left else None,
    )


def is_running(working_dir: Path) -> bool:
    """Return whether a run is going on in this working directory, on this machine."""
    try:
        run = json.loads((working_dir / "results" / ".run.lock").read_text("utf-8"))
        return leading.process_start(int(run["pid"])) is not None
    except (OSError, ValueError, KeyError, TypeError):
        return False


def look(working_dir: Path, names: list[str], now: float) -> list[Progress]:
    """Return how far each batch is (all that have been taken in, where none is named)."""
    results = working_dir / "results"
    batches = names or sorted(path.parent.name for path in results.glob("*/intake.json"))
    progress = []
    for name in batches:
        try:
            progress.append(progress_of(results / name, now))
        except (GlassineError, KeyError, TypeError):
            if name in names:
                raise
    return progress


def _names(working_dir: Path) -> list[str]:
    """Return the batches that were taken in, or could not be."""
    results = working_dir / "results"
    records = [*results.glob("*/intake.json"), *results.glob("*/held.json")]
    return sorted({path.parent.name for path in records})


def _check_names(working_dir: Path, names: list[str]) -> None:
    """Raise GlassineError where a batch is named that no run knows."""
    names_known = _names(working_dir)
    for name in names:
        if name not in names_known:
            raise GlassineError.because(
                "progress.batch",
                working_dir / "results" / name,
                f"No run has taken in a batch of this name.{wording.near(name, names_known)}",
                f"one of {wording.listed(names_known) or 'none yet'}.",
                "Correct the name, or the folder after --directory.",
            )


def _not_taken_in(name: str, findings: list[Finding]) -> dict[str, Any]:
    """Return what the summary says of a batch of which nothing is known tonight."""
    counts = dict.fromkeys(("total", "finished", "held", "waiting", "left"), 0)
    listed = [finding.as_dict() for finding in findings]
    return {"batch": name, "state": notice.STATE, **counts, "findings": listed}


def summary(
    working_dir: Path, names: list[str], problems: list[exits.Problem] | None = None
) -> dict[str, Any]:
    """Return the state of the night for machines; the states of each batch add up to total.

    names: the batches, all that are known where none is named. problems: what the run that ends
    could not do; where there is no such run, a batch that was not taken in is told by its files.
    """
    now = time.time()
    problems = problems or []
    progress, entries = [], []
    for name in names or _names(working_dir):
        findings_of_batch = [problem.finding for problem in problems if problem.batch == name]
        results = working_dir / "results" / name
        try:
            if any(finding.code in batches.NOT_LOOKED_AT for finding in findings_of_batch):
                raise LookupError(name)
            progress.append(progress_of(results, now))
            listed = [finding.as_dict() for finding in findings_of_batch]
            entries.append({**asdict(progress[-1]), "state": "taken in", "findings": listed})
        except (GlassineError, KeyError, TypeError, LookupError):
            findings = findings_of_batch or batches.not_taken_in(name, results)
            entries.append(_not_taken_in(name, findings))
    general = [problem.finding.as_dict() for problem in problems if problem.batch is None]
    told_of = [finding for entry in entries for finding in entry["findings"]]
    return {
        "time": clock.now_text(),
        "running": is_running(working_dir),
        "finished": sum(each.finished for each in progress),
        "held": sum(each.held for each in progress),
        "waiting": sum(each.waiting for each in progress),
        "left": sum(each.left for each in progress),
        "not_taken_in": sum(entry["state"] == notice.STATE for entry in entries),
        "problems": len(told_of) + len(general),
        "findings": general,
        "batches": entries,
    }


def _now(zone: str | None) -> str:
    """Return the present as a plain line begins with it."""
    return zones.beside(clock.now_text(), zone) if zone else clock.now_text()


def _zone_of(configfiles: Sequence[str]) -> str | None:
    """Return the studio's time zone as the settings name it; UTC alone where these cannot be read:
    what is wrong with them a night tells."""
    try:
        config = settings.load(settings.stated(configfiles))
    except (GlassineError, OSError):
        return None
    zone: str | None = config["report"]["time_zone"]
    return zone


def follow(
    working_dir: Path,
    names: list[str],
    out: TextIO,
    every_s: float,
    sleep: Callable[[float], None] = time.sleep,
    zone: str | None = None,
) -> None:
    """Show the progress until the run ends: in place on a terminal, else in plain lines.

    zone: of the studio, beside UTC; see `zones.beside`.
    """
    live = out.isatty()
    shown: list[str] = []
    last_told = -_LINE_EVERY_S
    while True:
        running = is_running(working_dir)
        lines = [progress.line() for progress in look(working_dir, names, time.time())]
        lines = lines or ["nothing has been taken in yet"]
        if live:
            # Up to the first line of before, then each line anew (ECMA-48: CUU, EL).
            up = f"\x1b[{len(shown)}A" if shown else ""
            out.write(up + "".join(f"\x1b[2K{line}\n" for line in lines))
        elif lines != shown and (not running or time.monotonic() - last_told >= _LINE_EVERY_S):
            now = _now(zone)
            out.write("".join(f"{now} {line}\n" for line in lines))
            last_told = time.monotonic()
        out.flush()
        shown = lines
        if not running:
            return
        sleep(every_s)


class Teller(threading.Thread):
    """Writes how far each batch is, in plain lines, while a run goes on in this process."""

    def __init__(
        self, working_dir: Path, names: Sequence[str], out: TextIO, zone: str | None = None
    ) -> None:
        super().__init__(name="progress", daemon=True)
        self._working_dir, self._names, self._out = working_dir, names, out
        self._zone = zone
        self._over = threading.Event()

    def run(self) -> None:
        live = self._out.isatty()
        while not self._over.wait(_LIVE_EVERY_S if live else _LINE_EVERY_S):
            lines = []
            for name in self._names:
                # One not taken in yet, or whose record is being written, is told of later.
                with contextlib.suppress(GlassineError, KeyError, TypeError, OSError):
                    lines += look(self._working_dir, [name], time.time())
            if live:
                # One line, written over by the next (ECMA-48: EL).
                words = " | ".join(each.line() for each in lines)
                width = shutil.get_terminal_size().columns - 1
                self._out.write(f"\r\x1b[2K{words[:width]}")
            else:
                now = _now(self._zone)
                self._out.write("".join(f"{now} {each.line()}\n" for each in lines))
            self._out.flush()
        if live:
            self._out.write("\r\x1b[2K")
            self._out.flush()

    def end(self) -> None:
        """Say no more."""
        self._over.set()
        self.join()


def main(arguments: list[str] | None = None) -> int:
    """Show how far the night is; return the exit code (1 where anything is held)."""
    parser = argparse.ArgumentParser(
        prog="scripts/progress", description="Show how far the night is, until it ends."
    )
    parser.add_argument("batch", nargs="*", help="names of batches; else all")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--every", type=float, default=2.0, help="seconds between two looks")
    parser.add_argument("--json", action="store_true", help="print one look as JSON and end")
    parser.add_argument(
        "--notify", action="store_true", help="send the summary where `report.notify` says"
    )
    parser.add_argument(
        "--check",
        action="store_true",
        help="print a line for monitoring and end with 0 OK, 1 warning, 2 critical, 3 unknown",
    )
    parser.add_argument(
        "--within",
        type=float,
        default=26.0,
        metavar="HOURS",
        help="with --check: a night must have ended in the last so many hours (26)",
    )
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    working_dir = Path(options.directory).resolve()
    if options.check:
        running = is_running(working_dir)
        found = monitoring.judged(working_dir, running, options.within, time.time())
        print(found.line())
        return found.code
    try:
        if not (options.json or options.notify):
            every_s, zone = max(options.every, 0.2), _zone_of(options.configfile)
            follow(working_dir, options.batch, sys.stdout, every_s, zone=zone)
        _check_names(working_dir, options.batch)
        state = summary(working_dir, options.batch)
        if options.json:
            print(files.dump_json(state), end="")
        if options.notify:
            config = settings.load(settings.stated(options.configfile))
            notify.send(config["report"]["notify"], state)
    except GlassineError as error:
        sys.stderr.write("".join(f"{visible(each.sentence())}\n" for each in error.findings))
        return 2
    except KeyboardInterrupt:
        return 130
    return 1 if state["held"] or state["not_taken_in"] else 0


if __name__ == "__main__":
    sys.exit(main())
