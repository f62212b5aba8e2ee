"""A run as a whole: how it starts, its lock, its progress, and that its end is told."""

from __future__ import annotations

import atexit
import contextlib
import logging
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glassine.base import exits, sandbox
from glassine.base.errors import GlassineError
from glassine.base.model import BatchId
from glassine.base.visible import visible
from glassine.night import agreement, batches, checks, leading, moves, notice, preflight, warm
from glassine.night import lock as runlock
from glassine.night.ending import Ending
from glassine.night.engine_words import EngineWords, wants_all
from glassine.night.lookup import Lookup
from glassine.night.workplace import MOVES, REPRODUCE, Workplace

if TYPE_CHECKING:
    from glassine.night import progress

EXIT_BY_CODE = {
    "handover.columns": exits.SETTINGS,
    "run.busy": exits.LATER,
    "run.identity": exits.SETTINGS,
    "run.jobs_alive": exits.LATER,
    "run.reproduce": exits.SETTINGS,
    "run.store": exits.SETTINGS,
}


def stop(error: GlassineError, code: int = exits.SETTINGS) -> None:
    """Tell an operator why the run does not start, and end the process."""
    for finding in error.findings:
        step, *lines = finding.next_step.split("\n")  # lines to write into a file stay lines
        sys.stderr.write(f"STOPPED {replace(finding, next_step=step).sentence()}\n")
        sys.stderr.write("".join(f"    {visible(line)}\n" for line in lines if line))
    sys.stderr.flush()
    # Past the engine, which would print a traceback around it.
    os._exit(code)


class Run:
    """One run in one working directory: its workplace, its batches, what the rules look up."""

    def __init__(
        self, config: dict[str, Any], working_dir: Path, arguments: Sequence[str] = ()
    ) -> None:
        self.place = Workplace.of(config, working_dir, arguments)
        self.lock = runlock.RunLock(working_dir)
        self.lookup = Lookup(self.place, self.lock)
        self.ending = Ending(self.lookup, _chosen_batches(self.place))
        self._progress: progress.Teller | None = None
        self._warm: warm.Warm | None = None
        self._engine_failed = False
        self._says_all = wants_all(arguments)
        self._words: EngineWords | None = None

    @property
    def batches(self) -> list[BatchId]:
        return self.ending.names

    def stop_without_store(self, url: str, problem: Exception) -> None:
        """Tell an operator that the storage does not answer, and end the process."""
        self.lock.ended()
        stop(moves.unavailable(url, problem), exits.UNAVAILABLE)

    def tell_progress(self) -> None:
        """Say from now on, once a minute and until the run ends, how far each batch is."""
        if not self.place.works:
            return
        from glassine.night import progress

        zone = self.place.config["report"]["time_zone"]
        self._progress = progress.Teller(self.place.working_dir, self.batches, sys.stderr, zone)
        self._progress.start()

    def begin_jobs(self, here: bool) -> None:
        """Get ready for jobs. here: they are done on this machine, by this run's own processes."""
        self.tell_progress()
        if here and self.place.works:
            self._warm = warm.started()

    def watch(self, log: logging.Logger) -> None:
        """See that the end of a run in which no job is due is told as well: the engine then calls
        no hook, and ends with 0 whatever this run could not do. Errors in its log are its own."""
        if not self.lock.held and not self.ending.over:
            return

        def heed(record: logging.LogRecord) -> bool:
            self._engine_failed = self._engine_failed or record.levelno >= logging.ERROR
            return True

        log.addFilter(heed)
        if self.lock.held and not self._says_all:
            self._words = EngineWords(self.place.working_dir)
            self._words.attach(log)
        atexit.register(self._at_exit, os.getpid())

    def _at_exit(self, pid: int) -> None:
        if os.getpid() != pid:
            return
        if self._words:
            self._words.show()
        if not self.ending.over and not self._progress and not self._engine_failed:
            self.finish(failed=False)
        if self.ending.exit_code:
            logging.shutdown()
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(self.ending.exit_code)

    def finish(self, failed: bool) -> None:
        """End the run; see `Ending.finish`. A run that only compares or moves owes nothing."""
        self.ending.over = True
        if self._warm:
            self._warm.end()
        if self._progress:
            self._progress.end()
        if self._words:
            self._words.show()
        if self.place.moves:
            self.ending.tell_moved(failed)
        elif self.place.works:
            self.ending.finish(failed, self._engine_failed)
        self.lock.ended()


def _chosen_batches(place: Workplace) -> batches.Batches:
    named = place.config["batches"]
    if place.moves and named:  # what is fetched or sent need not have a folder here
        return batches.named_only(named)
    chosen = batches.to_process(place.masters, place.config, place.working_dir)
    return batches.to_send(chosen, place.working_dir) if place.moves else chosen


def start(config: dict[str, Any], working_dir: Path, leads: bool, arguments: list[str]) -> Run:
    """Return the run, holding the lock where this process leads it.

    Ends the process with a plain message where settings are wrong or another run goes on.
    """
    os.environ[leading.LEADER] = leading.mark_of(os.getpid())
    os.environ.pop(warm.PLACE, None)  # of a run that started this one: on a cluster, elsewhere
    try:
        run = Run(config, working_dir, arguments)
        if leads:
            agreement.check(run.place.config, working_dir)
            run.ending.notes += agreement.notes(run.place.config)
    except GlassineError as error:
        if _would_work(leads, arguments):
            _leave_no_summary_of_before(runlock.RunLock(working_dir), error, None)
        stop(error)
        raise
    except OSError as problem:
        stop(preflight.refused(problem), exits.NO_RIGHT)
        raise
    sandbox.Limits(**run.place.config["limits"]).announce()
    if leads:
        try:
            _begin(run, arguments)
        except GlassineError as error:
            if run.place.works:
                _leave_no_summary_of_before(run.lock, error, run.place.config)
            stop(error, EXIT_BY_CODE.get(error.findings[0].code, exits.CANNOT_WRITE))
        except OSError as problem:
            stop(preflight.refused(problem), exits.CANNOT_WRITE)
    return run


def _begin(run: Run, arguments: list[str]) -> None:
    """Check what a run needs and take its lock; a dry run only says what it could not do.

    Raises GlassineError where the run cannot begin.
    """
    place = run.place
    moves.check_store(place)
    if runlock.only_looks(arguments):
        if runlock.is_dry(arguments) and place.works:
            run.ending.tell_only()
        return
    if place.compares:
        checks.delivery_to_compare(place)
    checks.check_identity(place)
    checks.check_handover(place)
    checks.check_text_reader(place)
    checks.check_writable(place)
    run.lock.take()
    if place.moves:
        moves.forget_state(place, run.batches)
    checks.check_room(place, run.batches)
    checks.bring_records_to_now(place, run.batches)
    for name in run.batches if place.works else []:
        run.lookup.drop_damaged_intake(name)
        run.lookup.drop_damaged_films(name)
    for name in run.batches if place.works else []:
        notice.take_away(place.results_dir(name))


def _would_work(leads: bool, arguments: list[str]) -> bool:
    """Return whether a run with these arguments does a night's work."""
    other = {REPRODUCE, *MOVES} & {*arguments}
    return leads and not other and not runlock.only_looks(arguments)


def _leave_no_summary_of_before(
    lock: runlock.RunLock, error: GlassineError, config: dict[str, Any] | None
) -> None:
    """Where a summary of an earlier run lies there, say in its place that this one did not start;
    and tell those who are to be told. Nothing is touched while another run goes on."""
    if not (lock.working_dir / "results" / "summary.json").exists():
        return
    with contextlib.suppress(GlassineError, OSError):
        if not lock.held:
            lock.take()
        summary = notice.not_started(lock.working_dir, error.findings)
        lock.ended()
        if summary and config:
            from glassine.night import notify

            notify.send(config["report"]["notify"], summary)
