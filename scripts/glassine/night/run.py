"""A run as a whole: what it was told, what it must make, and how it ends."""

from __future__ import annotations

import atexit
import contextlib
import functools
import logging
import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glassine import steps
from glassine.base import (
    clock,
    exits,
    files,
    folders,
    identity,
    sandbox,
    settings,
    target_results,
    wording,
)
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.deliver import receipt_files, same_ids
from glassine.intake import passed_over
from glassine.night import agreement, batches, notice, preflight, supervision
from glassine.night import due as plan
from glassine.night import lock as runlock

if TYPE_CHECKING:
    from glassine.base import item_states
    from glassine.night import progress

EXIT_BY_CODE = {
    "run.busy": exits.LATER,
    "run.identity": exits.SETTINGS,
    "run.jobs_alive": exits.LATER,
    "run.reproduce": exits.SETTINGS,
    "run.store": exits.SETTINGS,
}
# The target that compares a delivery (rules/reproduce.smk).
REPRODUCE = "reproduce"
# The targets that move files from and to object storage (rules/store.smk), and what they move.
MOVES = {"fetch": "masters", "send": "deliveries"}
# Working memory of render, measured: tests/benchmarks/pixels/README.md.
RENDER_BASE_MB = 400
RENDER_BYTES_PER_PIXEL = 8


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
    """The settings and the batches of one run in one working directory."""

    def __init__(
        self, config: dict[str, Any], working_dir: Path, arguments: Sequence[str] = ()
    ) -> None:
        self.working_dir = working_dir
        self.config = settings.load(config)
        # Whether this run only compares a delivery with what comes out today.
        self.compares = REPRODUCE in arguments
        # What this run only moves from and to object storage: keys of MOVES.
        self.moves = [move for move in MOVES if move in arguments]
        self.masters = folders.masters_place(self.config["masters"], working_dir)
        found = self._find_batches()
        self.batches, self.notes = found.names, found.notes
        # What this run cannot do, told at its end.
        self.problems = found.problems
        self._at_start = len(self.problems)
        self.exit_code = 0
        self.lock = runlock.RunLock(working_dir)
        self._telling: progress.Teller | None = None
        self._ended = False
        self._engine_failed = False
        self._read = functools.lru_cache(maxsize=64)(self._read_batch)
        self._due = functools.lru_cache(maxsize=64)(self._find_due)
        self._standing = functools.lru_cache(maxsize=64)(self._find_standing)
        self._delivery_key = functools.lru_cache(maxsize=64)(self._find_delivery_key)

    def _find_batches(self) -> batches.Batches:
        named = self.config["batches"]
        if self.moves and named:  # what is fetched or sent need not have a folder here
            return batches.named_only(named)
        found = batches.to_process(self.masters, self.config, self.working_dir)
        return batches.to_send(found, self.working_dir) if self.moves else found

    def batch_dir(self, batch: str) -> Path:
        return self.masters / batch

    def results_dir(self, batch: str) -> Path:
        return self.working_dir / "results" / batch

    @property
    def deliveries(self) -> Path:
        return self.working_dir / "deliveries"

    def _read_batch(self, path: str, mtime_ns: int) -> plan.Batch:
        return plan.read_batch(Path(path))

    def batch(self, name: str) -> plan.Batch:
        """Return intake.json of a batch as it is on disk now."""
        path = self.results_dir(name) / "intake.json"
        return self._read(str(path), path.stat().st_mtime_ns)

    def intake_given(self, name: str) -> dict[str, Any]:
        """Return what intake is given; `listing` changes when the folder does."""
        from glassine.intake import side_files
        from glassine.intake import step as intake

        path = self.results_dir(name) / "intake.json"
        waiting: list[str] = []
        if path.exists():
            try:
                waiting = self.batch(name).waiting()
            except (GlassineError, KeyError, TypeError):
                path.unlink()  # a damaged record of ours: intake makes it anew
        catalogue = side_files.catalogue_path(self.batch_dir(name), self.config)
        return {
            "batch": name,
            "settings": {
                **{key: self.config[key] for key in ("naming", "intake", "catalogue", "rights")},
                "tone": {"film_stocks": self.config["tone"]["film_stocks"]},
            },
            "listing": intake.fingerprint(self.batch_dir(name), [catalogue] if catalogue else []),
            # Time alone makes a waiting file ready: look again each run while one waits.
            "leader": supervision.leader_mark() if waiting else None,
            "version": [intake.VERSION, steps.version_of("intake/catalogue/reading")],
        }

    def steps_given(self, batch: str, item: str) -> list[dict[str, Any]] | None:
        """Return what each step is given, or None while intake has not told of the item yet."""
        try:
            known = self.batch(batch)
        except (OSError, GlassineError):
            return None
        return plan.steps_given(known, item, self.config) if item in known.items else None

    def item_key(self, batch: str, item: str) -> str | None:
        try:
            known = self.batch(batch)
        except (OSError, GlassineError):
            return None
        return plan.key(known, item, self.config) if item in known.items else None

    def check_writable(self) -> None:
        """Raise GlassineError where results or deliveries cannot be written."""
        for name in ("results", "deliveries"):
            preflight.check_writable(self.working_dir / name)

    def bring_records_to_now(self) -> None:
        """See that no record that the engine compares by time comes from the future."""
        for name in self.batches:
            folder = self.results_dir(name)
            for pattern in (
                "*.json",
                "report/index.html",
                "targets/**/*.json",
                "items/*/done.json",
            ):
                preflight.bring_to_now(folder.glob(pattern))

    def check_identity(self) -> None:
        """Raise GlassineError where the settings do not say who keeps the film; warn where they
        still hold the worked example's names. A run that makes no records is not asked."""
        if not self.works:
            return
        identity.check_identity(self.config)
        finding = identity.placeholders(self.config, self.masters)
        if finding:
            sys.stderr.write(f"WARNING {finding.sentence()}\n")

    def drop_damaged_intake(self) -> None:
        """Remove each intake.json that cannot be used, before the engine has seen it: intake makes
        it anew."""
        for name in self.batches:
            path = self.results_dir(name) / "intake.json"
            try:
                if path.exists():
                    self.batch(name).waiting()
            except (GlassineError, KeyError, TypeError, AttributeError):
                path.unlink()

    def check_room(self) -> None:
        """Raise GlassineError where the disk is full; warn where it may become so on the way."""
        due = sum(
            preflight.masters_bytes(self.batch_dir(name))
            for name in self.batches
            if not (self.working_dir / "deliveries" / f"{name}.receipt.json").exists()
        )
        reserve_mb = self.config["limits"]["free_mb"]
        crops = self.config["render"]["crop_tiff"] != "none"
        results = self.working_dir / "results"
        warning = preflight.check_room(results, due, reserve_mb, crops=crops)
        if warning:
            sys.stderr.write(f"WARNING {warning}\n")

    def unsettled(self, name: str) -> list[str]:
        """Return the items that are due tonight. The stamp of one that is not as it should be is
        taken away by the run that works: to the engine it would say that all is well.

        Several rules ask; for an intake.json as it is now it is looked up once a run."""
        return self._due(self.batch(name))

    def _find_due(self, batch: plan.Batch) -> list[str]:
        items_dir = self.results_dir(batch.name) / "items"
        due = plan.unsettled(batch, items_dir, self.config)
        if self.lock.held:
            for item in due:
                (items_dir / item / plan.STAMP).unlink(missing_ok=True)
        return due

    def delivers(self, name: str) -> bool:
        """Return whether the batch may be delivered once all that is due tonight is done."""
        batch = self.batch(name)
        # One of which nothing is left was delivered all the same: that is to be told.
        begun = batch.ready() or receipt_files.exist(self.deliveries, name)
        if self.config["only"] or not begun:
            return False
        return self.config["delivery"]["when"] == "passed" or not batch.waiting()

    def standing(self, name: str) -> dict[str, Any]:
        """Return what of the batch's deliveries is not as it was (see receipt_files.mark), and
        which other batches have its ids."""
        try:
            return self._standing(name, self.batch(name))
        except (OSError, GlassineError, KeyError, TypeError):
            return self._standing(name, None)

    def _find_standing(self, name: str, batch: plan.Batch | None) -> dict[str, Any]:
        found = receipt_files.mark(self.deliveries, name)
        results = self.working_dir / "results"
        twice = same_ids.mark(results, self.deliveries, name, batch.items if batch else ())
        return {**found, **({"same_ids": twice} if twice else {})}

    def delivery_given(self, name: str) -> dict[str, Any]:
        """Return what a delivery is given; which items it holds is looked up when it starts."""
        return {
            "batch": name,
            "settings": {"delivery": self.config["delivery"], "package": self.config["package"]},
            "institution": self.config["institution"],
        }

    def delivery_key(self, name: str) -> str | None:
        """Return a digest of all that a delivery and a report of the batch depend on."""
        try:
            return self._delivery_key(self.batch(name))
        except (OSError, GlassineError):
            return None

    def _find_delivery_key(self, batch: plan.Batch) -> str:
        return plan.delivery_key(batch, self.config)

    def render_mb(self, name: str, item: str) -> int:
        """Return the memory in MB that rendering the item's largest master may take."""
        try:
            masters = self.batch(name).items[item]["masters"]
        except (OSError, GlassineError, KeyError):
            return RENDER_BASE_MB
        pixels = [size[0] * size[1] for size in (master["size_px"] for master in masters) if size]
        return RENDER_BASE_MB + int(max(pixels, default=0) * RENDER_BYTES_PER_PIXEL / 2**20)

    def has_targets(self, name: str) -> bool:
        """Return whether there are target captures to measure, or the settings demand some."""
        return bool(self.batch(name).intake["targets"]) or self.config["targets"]["required"]

    def targets_given(self, name: str) -> dict[str, Any] | None:
        """Return what the measuring of targets is given; it changes when a capture does."""
        try:
            known = self.batch(name).intake
        except (OSError, GlassineError):
            return None
        return {
            "batch": name,
            "targets": known["targets"],
            "facts": known.get("default_facts", {}),
            "settings": {"targets": self.config["targets"]},
            "version": steps.version_of("targets/measure"),
        }

    def report_given(self, name: str) -> dict[str, Any]:
        return {
            "batch": name,
            "settings": {
                key: self.config[key]
                for key in ("report", "iiif", "catalogue", "rights", "delivery")
            },
            "institution": self.config["institution"],
            "deliveries": str(self.deliveries),
            "masters": str(self.batch_dir(name)),
        }

    def deliver(self, name: str) -> None:
        from glassine.deliver import step as delivery

        results = self.results_dir(name)
        with supervision.telling_here("deliver", name, results):
            if self.has_targets(name):
                target_results.check(results)
            given = steps.given("deliver", with_states(self.delivery_given(name), results))
            outcome = delivery.deliver_batch(self.batch_dir(name), results, self.deliveries, given)
            delivery.write_stamp(results / delivery.STAMP, outcome, self.delivery_key(name))

    def report(self, name: str) -> Path:
        from glassine import report

        return report.write_report(self.results_dir(name), self.report_given(name))

    def to_compare(self) -> Path:
        """Return the delivery that is to be made again. Raises GlassineError where none is."""
        named = self.config["reproduce"]
        path = self.working_dir / (named or "")
        if not named or not path.exists():
            raise GlassineError.because(
                "run.reproduce",
                named or "reproduce",
                "There is no such delivery." if named else "It is not said which delivery.",
                "a bag, or its .tar or .zip.",
                "Name it: snakemake reproduce --config reproduce=deliveries/<batch>",
            )
        return path

    @property
    def works(self) -> bool:
        """Whether this run does a night's work, and does not only compare or move."""
        return not self.compares and not self.moves

    def check_store(self) -> None:
        """Raise GlassineError where it is not said what to fetch or where to send."""
        for move in self.moves:
            key = f"store.{MOVES[move]}"
            if not self.config["store"][MOVES[move]]:
                raise GlassineError.because(
                    "run.store",
                    move,
                    f"The setting {key} is empty.",
                    "the address of a bucket, or of a folder in one.",
                    f"Set {key} in config/config.yaml, as in s3://studio-{MOVES[move]}.",
                )
        if "fetch" in self.moves and not self.config["batches"]:
            raise GlassineError.because(
                "run.store",
                "fetch",
                "The setting batches is empty: it is not said which batches to fetch.",
                "the names of the batches.",
                "Name them: scripts/nightly fetch --config batches=[harbour-2026-03]",
            )

    def forget_store(self) -> None:
        from glassine import store

        store.begin(self.working_dir, self.batches)

    def stop_without_store(self, url: str, problem: Exception) -> None:
        """Tell an operator that the storage does not answer, and end the process."""
        self.lock.ended()
        error = GlassineError.because(
            "run.store_unavailable",
            url,
            f"The storage does not answer as it should: {wording.why(problem)}.",
            "a service at `store.endpoint_url` that knows the keys in the environment.",
            "Check the network, the address and the keys, then start again: what has come or gone "
            "is kept.",
        )
        stop(error, exits.UNAVAILABLE)

    def tell_progress(self) -> None:
        """Say from now on, once a minute and until the run ends, how far each batch is."""
        if not self.works:
            return
        from glassine.night import progress

        self._telling = progress.Teller(self.working_dir, self.batches, sys.stderr)
        self._telling.start()

    def watch(self, log: logging.Logger) -> None:
        """See that the end of a run in which no job is due is told as well: the engine then calls
        no hook, and ends with 0 whatever this run could not do. Errors in its log are its own."""
        if not self.lock.held and not self._ended:
            return

        def heed(record: logging.LogRecord) -> bool:
            self._engine_failed = self._engine_failed or record.levelno >= logging.ERROR
            return True

        log.addFilter(heed)
        atexit.register(self._at_exit, os.getpid())

    def _at_exit(self, pid: int) -> None:
        if os.getpid() != pid:
            return
        if not self._ended and not self._telling and not self._engine_failed:
            self.finish(failed=False)
        if self.exit_code:
            logging.shutdown()
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(self.exit_code)

    def tell_only(self) -> None:
        """Say what a run could not do now, where it is only looked at (a dry run)."""
        self._ended = True
        self._tell_problems()
        self.exit_code = batches.exit_code(self.problems)

    def finish(self, failed: bool) -> None:
        """Make what a run with held items still owes, say where the results are, and tell those
        who are to be told (`results/summary.json`, and `report.notify` in the settings). A run that
        only compares or moves owes nothing.

        failed: whether the engine ends with an exit code of its own; else it is `exit_code`."""
        self._ended = True
        if self.moves:
            for name in self.batches:
                self._guard(lambda name=name: self._say_moved(name), name)  # type: ignore[misc]
            self._tell_problems()
            self.exit_code = 0 if failed else batches.exit_code(self.problems)
        if not self.works:
            self.lock.ended()
            return
        if self._telling:
            self._telling.end()
        for name in self.batches:
            if not (self.results_dir(name) / "intake.json").exists():
                self._guard(lambda name=name: self._not_taken_in(name), name)  # type: ignore[misc]
                continue
            if failed:
                self._guard(lambda name=name: self._owed(name), name)  # type: ignore[misc]
            self._guard(lambda name=name: self._say(name), name)  # type: ignore[misc]
        self._guard(self._check_items, "--item")
        self._tell_problems()
        self._write_notices()
        # A run for one item is judged by that item: what a night tells of other batches stays told.
        counted = self.problems[self._at_start if self.config["only"] else 0 :]
        self.exit_code = 0 if failed else batches.exit_code(counted)
        try:
            self._notify()
        except (GlassineError, OSError) as problem:  # the night's work is not affected
            sys.stderr.write(f"summary: {visible(str(problem))}\n")
        except Exception as problem:
            told = preflight.unexpected("summary", problem).sentence()
            sys.stderr.write(f"NOT DONE summary: {visible(told)}\n")
            self.exit_code = self.exit_code or (0 if failed else exits.HELD)
        self.lock.ended()

    def _not_taken_in(self, name: str) -> None:
        found = batches.not_taken_in(name, self.results_dir(name))
        self.problems += [exits.Problem(finding, exits.HELD, name) for finding in found]

    def _check_items(self) -> None:
        """Say how each item stands that the run was asked for."""
        from glassine.base import item_states

        wanted = [str(item) for item in self.config["only"]]
        states = {}
        for name in self.batches if wanted else []:
            results = self.results_dir(name)
            if (results / "intake.json").exists():
                states[name] = {each.item: each.state for each in item_states.batch_status(results)}
        problems, lines = batches.named_items(wanted, states)
        self.problems += problems
        sys.stderr.write("".join(f"{line}\n" for line in lines))

    def _tell_problems(self) -> None:
        """Say what this run passed over and what it could not do."""
        for note in self.notes:
            sys.stderr.write(f"NOTE {visible(note)}\n")
        for problem in self.problems:
            where = f"{problem.batch}: " if problem.batch else ""
            sys.stderr.write(f"NOT DONE {where}{visible(problem.finding.sentence())}\n")

    def _write_notices(self) -> None:
        """Put a notice in the place of each report that this run could not bring up to date."""
        for name in self.batches_without_intake():
            found = [each.finding for each in self.problems if each.batch == name]
            try:
                notice.write(self.results_dir(name), found)
            except OSError as problem:
                sys.stderr.write(f"{name}: the page was not written: {problem.strerror}\n")

    def batches_without_intake(self) -> list[str]:
        """Return the batches that this run has not taken in, of those that have results."""
        named = {problem.batch for problem in self.problems if problem.batch}
        return sorted(
            name
            for name in named
            if (name not in self.batches or not (self.results_dir(name) / "intake.json").exists())
            and self.results_dir(name).is_dir()
        )

    def _say_moved(self, name: str) -> None:
        from glassine import store
        from glassine.store import masters

        if "fetch" in self.moves:
            masters.tidy(self.batch_dir(name))
        lines = store.told(self.working_dir, name, self.moves)
        sys.stderr.write("\n".join(lines or [f"{name}: not moved; see the lines above"]) + "\n")

    def _notify(self) -> None:
        """Write the summary of the run for machines, and send it where the settings say so."""
        from glassine.night import notify, progress

        told = {problem.batch for problem in self.problems if problem.batch}
        names = [*self.batches, *sorted(told - {*self.batches})]
        found = progress.summary(self.working_dir, names, self.problems) | {"running": False}
        files.write_json(self.working_dir / "results" / "summary.json", found)
        notify.send(self.config["report"]["notify"], found)

    def _owed(self, name: str) -> None:
        try:
            if self.config["delivery"]["when"] == "passed" and self.delivers(name):
                self.deliver(name)
        finally:
            self.report(name)

    def _guard(self, action: Callable[[], None], name: str) -> None:
        """Keep what goes wrong at the end of a run for `problems`; the other batches get their
        turn."""
        try:
            action()
        except GlassineError as error:
            found = error.findings
        except OSError as problem:
            found = preflight.refused(problem).findings
        except Exception as problem:  # whatever it is: it must not end the run as if all were well
            found = [preflight.unexpected(name, problem)]
        else:
            return
        self.problems += [exits.Problem(finding, exits.HELD, name) for finding in found]

    def _say(self, name: str) -> None:
        from glassine.base import item_states
        from glassine.deliver import step as delivery

        results = self.results_dir(name)
        if not (results / "report" / "index.html").exists():
            self.report(name)
        notice.tidy(results)
        states = item_states.batch_status(results)
        self._check_batch(name, states)
        current = delivery.is_current(results, self.delivery_key(name), states)
        silent = not self._engine_failed and all(each.batch != name for each in self.problems)
        if silent and not current and self.delivers(name):
            self.problems.append(batches.not_delivered(name))
        counts = item_states.counts(states)
        told = ", ".join(f"{counts[word]} {word}" for word in item_states.STATES if counts[word])
        lines = [
            f"{name}: {counts['total']} items: {told or 'none'}",
            f"  report    {results / 'report' / 'index.html'}",
            f"  delivery  {receipt_files.words(self.deliveries, name, current)}",
            f"  masters   {item_states.last_read_words(states, clock.now_text())}",
        ]
        asks = [note for note in self.batch(name).intake["notes"] if note["severity"] == "review"]
        if asks:
            lines.append(f"  to look at in the batch as a whole: {len(asks)} (see the report)")
        sys.stderr.write("\n".join(lines) + "\n")

    def _check_batch(self, name: str, states: list[item_states.ItemStatus]) -> None:
        """See that nothing is passed over of what the batch holds, or held before."""
        wanted = self.config["only"]
        if wanted:  # these are looked at by themselves
            left = [
                each.item
                for each in states
                if each.item not in wanted and each.state in {"held", "pending"}
            ]
            if left:
                self.notes.append(
                    f"{name}: {len(left)} other items are not done; this run was for "
                    f"{wording.listed(map(str, wanted))} alone, and delivers nothing"
                )
            return
        taken = self.batch(name)
        without = passed_over.withdrawn(taken.intake)
        found = [
            passed_over.without_items(name, self.batch_dir(name), taken.intake),
            passed_over.items_gone(name, self.results_dir(name), {*taken.items, *without}),
            batches.not_done(name, states, without),
        ]
        self.problems += [problem for problem in found if problem is not None]


def with_states(given: dict[str, Any], results_dir: Path) -> dict[str, Any]:
    """Return what a delivery is given, with the items it holds and those it lacks now."""
    from glassine.base import item_states

    states = item_states.batch_status(results_dir)
    intake = files.read_json(results_dir / "intake.json")
    finished = {"done", "review"}
    return {
        **given,
        "withdraw": intake.get("withdraw", []),
        "items": [state.item for state in states if state.state in finished],
        "lacking": [
            {
                "item": state.item,
                "state": state.state,
                "findings": [finding.as_dict() for finding in state.findings],
            }
            for state in states
            if state.state not in finished
        ],
    }


def start(config: dict[str, Any], working_dir: Path, leads: bool, arguments: list[str]) -> Run:
    """Return the run, holding the lock where this process leads it.

    Ends the process with a plain message where settings are wrong or another run goes on.
    """
    os.environ[supervision.LEADER] = supervision.leader_mark()
    try:
        run = Run(config, working_dir, arguments)
        if leads:
            agreement.check(run.config, working_dir)
            run.notes += agreement.notes(run.config)
    except GlassineError as error:
        if _would_work(leads, arguments):
            _leave_no_summary_of_before(runlock.RunLock(working_dir), error, None)
        stop(error)
        raise
    except OSError as problem:
        stop(preflight.refused(problem), exits.NO_RIGHT)
        raise
    sandbox.Limits(**run.config["limits"]).announce()
    if leads:
        try:
            run.check_store()
            if runlock.only_looks(arguments):
                if runlock.is_dry(arguments) and run.works:
                    run.tell_only()
                return run
            if run.compares:
                run.to_compare()
            run.check_identity()
            run.check_writable()
            run.lock.take()
            if run.moves:
                run.forget_store()
            run.check_room()
            run.bring_records_to_now()
            if run.works:
                run.drop_damaged_intake()
            for name in run.batches if run.works else []:
                notice.take_away(run.results_dir(name))
        except GlassineError as error:
            if run.works:
                _leave_no_summary_of_before(run.lock, error, run.config)
            stop(error, EXIT_BY_CODE.get(error.findings[0].code, exits.CANNOT_WRITE))
        except OSError as problem:
            stop(preflight.refused(problem), exits.CANNOT_WRITE)
    return run


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
        told = notice.not_started(lock.working_dir, error.findings)
        lock.ended()
        if told and config:
            from glassine.night import notify

            notify.send(config["report"]["notify"], told)


def clear_vanished(items_dir: Path, known: set[str]) -> None:
    """Remove folders of items that are no more and hold nothing but why they were held."""
    if not items_dir.is_dir():
        return
    for folder in items_dir.iterdir():
        if folder.name in known or not folder.is_dir():
            continue
        names = {path.name for path in folder.iterdir()}
        if names <= {"held.json", "logs", "timings"} and "held.json" in names:
            files.remove_tree(folder)
