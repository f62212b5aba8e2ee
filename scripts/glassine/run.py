"""A run as a whole: what it was told, what it must make, and how it ends."""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from glassine import (
    clock,
    confine,
    files,
    jobs,
    plan,
    preflight,
    receipt_files,
    runlock,
    same_ids,
    settings,
)
from glassine.errors import GlassineError

if TYPE_CHECKING:
    from glassine import progress

# Exit codes of <sysexits.h>: a wrong setting, "try again later", "cannot create the output", "a
# service is unavailable".
EXIT_SETTINGS = 78
EXIT_BUSY = 75
EXIT_CANNOT_WRITE = 73
EXIT_UNAVAILABLE = 69
EXIT_BY_CODE = {
    "run.busy": EXIT_BUSY,
    "run.jobs_alive": EXIT_BUSY,
    "run.reproduce": EXIT_SETTINGS,
    "run.store": EXIT_SETTINGS,
}
# The target that compares a delivery (rules/reproduce.smk).
REPRODUCE = "reproduce"
# The targets that move files from and to object storage (rules/store.smk), and what they move.
MOVES = {"fetch": "masters", "send": "deliveries"}
# Working memory of render, measured: tests/bench_pixels/README.md.
RENDER_BASE_MB = 400
RENDER_BYTES_PER_PIXEL = 8


def stop(error: GlassineError, code: int = EXIT_SETTINGS) -> None:
    """Tell an operator why the run does not start, and end the process."""
    for finding in error.findings:
        sys.stderr.write(f"STOPPED {finding.sentence()}\n")
    sys.stderr.flush()
    # Past the engine, which would print a traceback around it.
    os._exit(code)


class Run:
    """The settings and the batches of one run in one working directory."""

    def __init__(self, config: dict[str, Any], working_dir: Path) -> None:
        self.working_dir = working_dir
        self.config = settings.load(config)
        self.masters = plan.masters_folder(self.config["masters"], working_dir)
        self.batches = plan.batches(self.masters, self.config)
        self.lock = runlock.RunLock(working_dir)
        self._telling: progress.Teller | None = None
        # Whether this run only compares a delivery with what comes out today.
        self.compares = False
        # What this run only moves from and to object storage: keys of MOVES.
        self.moves: list[str] = []
        self._read = functools.lru_cache(maxsize=64)(self._read_batch)
        self._due = functools.lru_cache(maxsize=64)(self._find_due)
        self._standing = functools.lru_cache(maxsize=64)(self._find_standing)
        self._delivery_key = functools.lru_cache(maxsize=64)(self._find_delivery_key)

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
        from glassine import intake

        path = self.results_dir(name) / "intake.json"
        waiting: list[str] = []
        if path.exists():
            try:
                waiting = self.batch(name).waiting()
            except (GlassineError, KeyError, TypeError):
                path.unlink()  # a damaged record of ours: intake makes it anew
        catalogue = intake.catalogue_path(self.batch_dir(name), self.config)
        return {
            "batch": name,
            "settings": {
                key: self.config[key] for key in ("naming", "intake", "catalogue", "rights")
            },
            "listing": intake.fingerprint(self.batch_dir(name), [catalogue] if catalogue else []),
            # Time alone makes a waiting file ready: look again each run while one waits.
            "leader": jobs.leader_mark() if waiting else None,
            "version": intake.VERSION,
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
            named = self.batch(name).intake["targets"]
        except (OSError, GlassineError):
            return None
        return {
            "batch": name,
            "targets": named,
            "settings": {"targets": self.config["targets"]},
            "version": plan.step_version("targets/measure"),
        }

    def report_given(self, name: str) -> dict[str, Any]:
        return {
            "batch": name,
            "settings": {
                key: self.config[key] for key in ("report", "iiif", "catalogue", "delivery")
            },
            "institution": self.config["institution"],
            "deliveries": str(self.deliveries),
            "masters": str(self.batch_dir(name)),
        }

    def deliver(self, name: str) -> None:
        from glassine import delivery, gate

        results = self.results_dir(name)
        with jobs.telling_here("deliver", name, results):
            if self.has_targets(name):
                gate.check(results)
            given = with_states(self.delivery_given(name), results)
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
            f"The storage does not answer as it should: {type(problem).__name__}: {problem}.",
            "a service at `store.endpoint_url` that knows the keys in the environment.",
            "Check the network, the address and the keys, then start again: what has come or gone "
            "is kept.",
        )
        stop(error, EXIT_UNAVAILABLE)

    def tell_progress(self) -> None:
        """Say from now on, once a minute and until the run ends, how far each batch is."""
        if not self.works:
            return
        from glassine import progress

        self._telling = progress.Teller(self.working_dir, self.batches, sys.stderr)
        self._telling.start()

    def finish(self, failed: bool) -> None:
        """Make what a run with held items still owes, say where the results are, and tell those
        who are to be told (`results/summary.json`, and `report.notify` in the settings). A run that
        only compares or moves owes nothing."""
        for name in self.batches if self.moves else []:
            self._guard(lambda name=name: self._say_moved(name), name)  # type: ignore[misc]
        if not self.works:
            self.lock.ended()
            return
        if self._telling:
            self._telling.end()
        for name in self.batches:
            if not (self.results_dir(name) / "intake.json").exists():
                sys.stderr.write(f"{name}: not taken in; see results/{name}/logs/intake.log\n")
                continue
            if failed:
                self._guard(lambda name=name: self._owed(name), name)  # type: ignore[misc]
            self._guard(lambda name=name: self._say(name), name)  # type: ignore[misc]
        self._guard(self._notify, "summary")
        self.lock.ended()

    def _say_moved(self, name: str) -> None:
        from glassine import store
        from glassine.store import masters

        if "fetch" in self.moves:
            masters.tidy(self.batch_dir(name))
        lines = store.told(self.working_dir, name, self.moves)
        sys.stderr.write("\n".join(lines or [f"{name}: not moved; see the lines above"]) + "\n")

    def _notify(self) -> None:
        """Write the summary of the run for machines, and send it where the settings say so."""
        from glassine import notify, progress

        found = progress.summary(self.working_dir, self.batches) | {"running": False}
        files.write_json(self.working_dir / "results" / "summary.json", found)
        notify.send(self.config["report"]["notify"], found)

    def _owed(self, name: str) -> None:
        try:
            if self.config["delivery"]["when"] == "passed" and self.delivers(name):
                self.deliver(name)
        finally:
            self.report(name)

    def _guard(self, action: Callable[[], None], name: str) -> None:
        """Tell what goes wrong at the end of a run; the other batches get their turn."""
        try:
            action()
        except GlassineError as error:
            for finding in error.findings:
                sys.stderr.write(f"{name}: {finding.sentence()}\n")
        except OSError as problem:
            sys.stderr.write(f"{name}: the system refused: {problem}\n")

    def _say(self, name: str) -> None:
        from glassine import delivery, status

        results = self.results_dir(name)
        statuses = status.batch_status(results)
        current = delivery.is_current(results, self.delivery_key(name), statuses)
        counts = status.counts(statuses)
        told = ", ".join(f"{counts[word]} {word}" for word in status.STATES if counts[word])
        lines = [
            f"{name}: {counts['total']} items: {told or 'none'}",
            f"  report    {results / 'report' / 'index.html'}",
            f"  delivery  {receipt_files.words(self.deliveries, name, current)}",
            f"  masters   {status.last_read_words(statuses, clock.now_text())}",
        ]
        sys.stderr.write("\n".join(lines) + "\n")


def with_states(given: dict[str, Any], results_dir: Path) -> dict[str, Any]:
    """Return what a delivery is given, with the items it holds and those it lacks now."""
    from glassine import status

    states = status.batch_status(results_dir)
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
    os.environ[jobs.LEADER] = jobs.leader_mark()
    try:
        run = Run(config, working_dir)
    except GlassineError as error:
        stop(error)
        raise
    confine.Limits(**run.config["limits"]).announce()
    run.compares = REPRODUCE in arguments
    run.moves = [move for move in MOVES if move in arguments]
    if leads:
        try:
            run.check_store()
            if runlock.only_looks(arguments):
                return run
            if run.compares:
                run.to_compare()
            run.check_writable()
            run.lock.take()
            if run.moves:
                run.forget_store()
            run.check_room()
            run.bring_records_to_now()
        except GlassineError as error:
            stop(error, EXIT_BY_CODE.get(error.findings[0].code, EXIT_CANNOT_WRITE))
    return run


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
