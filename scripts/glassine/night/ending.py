"""How a run ends: what it still owes is made, what it could not do is told, and the exit code."""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING

from glassine import steps
from glassine.base import clock, disk_room, exits, files, target_results, wording
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.deliver import receipt_files
from glassine.intake import passed_over
from glassine.night import (
    batches,
    due,
    moves,
    notice,
    preflight,
    sending,
    supervision,
    taken_down,
)
from glassine.night.lookup import Lookup

if TYPE_CHECKING:
    from glassine.base import item_states


class Ending:
    """The end of one run.

    names: its batches. notes: what it passed over. problems: what it cannot do, told at its end.
    exit_code: of what could not be done, 0 where there is nothing. over: whether the end was told.
    """

    def __init__(self, lookup: Lookup, chosen: batches.Batches) -> None:
        self.lookup = lookup
        self.place = lookup.place
        self.names, self.notes, self.problems = chosen.names, chosen.notes, chosen.problems
        self.exit_code = 0
        self.over = False
        self._at_start = len(self.problems)

    def tell_only(self) -> None:
        """Say what a run could not do now, where it is only looked at (a dry run)."""
        self.over = True
        self._tell_problems()
        self.exit_code = batches.exit_code(self.problems)

    def tell_moved(self, failed: bool) -> None:
        """Say what a run moved; failed: see `finish`."""
        for name in self.names:
            self._guard(partial(moves.say_moved, self.place, name), name)
        self._tell_problems()
        self.exit_code = 0 if failed else batches.exit_code(self.problems)

    def finish(self, failed: bool, engine_failed: bool) -> None:
        """Make what a run with held items still owes, say where the results are, and tell those
        who are to be told (`results/summary.json`, and `report.notify` in the settings).

        failed: whether the engine ends with an exit code of its own; else it is `exit_code`.
        engine_failed: whether the engine told of an error."""
        for name in self.names:
            if not self.place.intake_path(name).exists():
                self._guard(partial(self._not_taken_in, name), name)
                continue
            if failed:
                self._guard(partial(self._make_owed, name), name)
            self._guard(partial(self._take_down, name), name)
            self._guard(partial(self._say, name, engine_failed), name)
            self._guard(partial(self._hand_over, name), name)
        self._guard(self._audit, "audit")
        self._guard(self._check_items, "--item")
        self._tell_problems()
        self._write_notices()
        self._note_room()
        # A run for one item is judged by that item: what a night tells of other batches stays told.
        counted = self.problems[self._at_start if self.place.config["only"] else 0 :]
        self.exit_code = 0 if failed else batches.exit_code(counted)
        try:
            self._notify()
        except (GlassineError, OSError) as problem:  # the night's work is not affected
            sys.stderr.write(f"summary: {visible(str(problem))}\n")
        except Exception as problem:
            words = preflight.unexpected("summary", problem).sentence()
            sys.stderr.write(f"NOT DONE summary: {visible(words)}\n")
            self.exit_code = self.exit_code or (0 if failed else exits.HELD)

    def _guard(self, action: Callable[[], None], name: str) -> None:
        """Keep what goes wrong at the end of a run for `problems`; the other batches get their
        turn."""
        try:
            action()
        except GlassineError as error:
            findings = error.findings
        except OSError as problem:
            findings = preflight.refused(problem).findings
        except Exception as problem:  # whatever it is: it must not end the run as if all were well
            findings = [preflight.unexpected(name, problem)]
        else:
            return
        self.problems += [exits.Problem(finding, exits.HELD, name) for finding in findings]

    # --- a batch ---

    def _not_taken_in(self, name: str) -> None:
        findings = batches.not_taken_in(name, self.place.results_dir(name))
        self.problems += [exits.Problem(finding, exits.HELD, name) for finding in findings]

    def _make_owed(self, name: str) -> None:
        """Make the delivery and the report that the engine left out as an item failed."""
        try:
            owes = self.place.config["delivery"]["when"] != "complete"
            if owes and self.lookup.delivers(name):
                self._deliver(name)
        finally:
            self._report(name)

    def _deliver(self, name: str) -> None:
        from glassine.deliver import step as delivery
        from glassine.night.delivery_items import with_states

        results = self.place.results_dir(name)
        with supervision.telling_here("deliver", name, results):
            if self.lookup.has_targets(name):
                target_results.check(results)
            values = with_states(self.lookup.delivery_given(name), results)
            given = steps.given("deliver", values)
            outcome = delivery.deliver_batch(
                self.place.batch_dir(name), results, self.place.deliveries, given
            )
            stamp = results / delivery.STAMP
            delivery.write_stamp(stamp, outcome, self.lookup.delivery_key(name))

    def _report(self, name: str) -> None:
        from glassine import report

        given = steps.given("report", self.lookup.report_given(name))
        report.write_report(self.place.results_dir(name), given)

    def _take_down(self, name: str) -> None:
        """See that nothing is published of items that were withdrawn, or closed: a step that failed
        leaves what was."""
        results, batch = self.place.results_dir(name), self.lookup.batch(name)
        withdrawn = passed_over.withdrawn(batch.content)
        gone = taken_down.take_down(results, withdrawn)
        listed = due.listed_access(batch, self.place.config)
        beyond = taken_down.shown_beyond(results, listed)
        closed = taken_down.take_down(results, {*beyond} - withdrawn)
        for words, items in (("withdrawn", gone), ("restricted now", closed)):
            if items:
                self.notes.append(f"{name}: taken down, as {words}: {wording.listed(items)}")
        if kept := taken_down.kept_by_studio(results, gone):
            what = f"{name}: the studio's own pictures stay in its results: {wording.listed(kept)}"
            self.notes.append(what)
        if gone or closed:
            self._report(name)

    def _say(self, name: str, engine_failed: bool) -> None:
        from glassine.base import item_marks, item_states
        from glassine.deliver import step as delivery

        results = self.place.results_dir(name)
        if not (results / "report" / "index.html").exists():
            self._report(name)
        notice.tidy(results)
        states = item_marks.batch_states(results)
        self._check_batch(name, states)
        told = [problem.finding for problem in self.problems if problem.batch == name]
        held = batches.held_delivery(name, results)
        self.problems += [problem for problem in held if problem.finding not in told]
        current = delivery.is_current(results, self.lookup.delivery_key(name), states)
        silent = not engine_failed and all(problem.batch != name for problem in self.problems)
        if silent and not current and self.lookup.delivers(name):
            self.problems.append(batches.not_delivered(name))
        counts = item_states.counts(states)
        words = ", ".join(f"{counts[word]} {word}" for word in item_states.STATES if counts[word])
        lines = [
            f"{name}: {counts['total']} items: {words or 'none'}",
            f"  report    {results / 'report' / 'index.html'}",
            f"  delivery  {receipt_files.words(self.place.deliveries, name, current)}",
            f"  masters   {item_states.last_read_words(states, clock.now_text())}",
        ]
        notes = self.lookup.batch(name).record.notes
        asks = [note for note in notes if note.severity == "review"]
        if asks:
            lines.append(f"  for review, the batch as a whole: {len(asks)} (see the report)")
        sys.stderr.write("\n".join(lines) + "\n")

    def _hand_over(self, name: str) -> None:
        """Hand over what changed of a batch; a run for one item hands over nothing."""
        if self.place.config["handover"]["when"] == "never" or self.place.config["only"]:
            return
        from glassine.handover import step as handover

        results = self.place.results_dir(name)
        given = steps.given("handover", self.lookup.handover_given(name))
        made = handover.hand_over(results, given)
        if made is not None:
            sys.stderr.write(f"  handover  {made.folder} ({made.items} items)\n")
            for note in made.notes:
                sys.stderr.write(f"NOTE {visible(note.sentence())}\n")
        if given.settings.handover.send:
            sending.send(results, self.place.config["report"]["notify"]["webhook"])

    def _check_batch(self, name: str, states: list[item_states.ItemStatus]) -> None:
        """See that nothing is passed over of what the batch holds, or held before."""
        asked_for = self.place.config["only"]
        if asked_for:  # these are looked at by themselves
            unfinished = [
                state.item
                for state in states
                if state.item not in asked_for and state.state in {"held", "pending"}
            ]
            if unfinished:
                self.notes.append(
                    f"{name}: {len(unfinished)} other items are not done; this run was for "
                    f"{wording.listed(map(str, asked_for))} alone, and delivers nothing"
                )
            return
        taken = self.lookup.batch(name)
        without = passed_over.withdrawn(taken.content)
        folder, results = self.place.batch_dir(name), self.place.results_dir(name)
        problems = [
            passed_over.without_items(name, folder, taken.content),
            passed_over.items_gone(name, results, {*taken.items, *without}),
            batches.not_done(name, states, {*without}),
        ]
        self.problems += [problem for problem in problems if problem is not None]

    # --- the run as a whole ---

    def _audit(self) -> None:
        """Read again the night's share of what is kept; a run for one item reads nothing else."""
        from glassine.night import audits

        if self.place.config["only"]:
            return
        before = {name: audits.standing(self.place.results_dir(name)) for name in self.names}
        round_ = audits.of_night(self.place, sys.stderr)
        if round_ is None:
            return
        self.problems += audits.problems(round_, self.names)
        self.notes += [note.sentence() for note in round_.notes]
        sys.stderr.write(f"audit: {audits.sentence(round_)}\n")
        for name in self.names:
            record = round_.batches.get(name)
            if record and audits.changed(before[name], record):
                self._report(name)

    def _check_items(self) -> None:
        """Say how each item stands that the run was asked for."""
        from glassine.base import item_marks

        asked_for = [str(item) for item in self.place.config["only"]]
        states: dict[str, dict[str, str]] = {}
        for name in self.names if asked_for else []:
            if self.place.intake_path(name).exists():
                status = item_marks.batch_states(self.place.results_dir(name))
                states[name] = {state.item: state.state for state in status}
        problems, lines = batches.named_items(asked_for, states)
        self.problems += problems
        sys.stderr.write("".join(f"{line}\n" for line in lines))

    def _tell_problems(self) -> None:
        """Say what this run passed over and what it could not do."""
        for note in self.notes:
            sys.stderr.write(f"NOTE {visible(note)}\n")
        for problem in self.problems:
            # What is wrong with a batch as a whole has its name for its path.
            named = problem.finding.path == problem.batch
            where = f"{problem.batch}: " if problem.batch and not named else ""
            sys.stderr.write(f"NOT DONE {where}{visible(problem.finding.sentence())}\n")

    def _write_notices(self) -> None:
        """Put a notice in the place of each report that this run could not bring up to date."""
        for name in self._without_intake():
            findings = [each.finding for each in self.problems if each.batch == name]
            try:
                notice.write(self.place.results_dir(name), findings)
            except OSError as problem:
                sys.stderr.write(f"{name}: the page was not written: {problem.strerror}\n")

    def _note_room(self) -> None:
        """Note how much room there is, by which the report says how long the disk lasts, and where
        the masters lie, by which no other settings are taken for those of these results."""
        now = disk_room.seconds_of(clock.now_text())
        try:
            self.place.note_masters()
            disk_room.note(self.place.results, self.place.deliveries, now)
        except (GlassineError, OSError) as problem:
            why = visible(str(problem))
            sys.stderr.write(f"results: room and place of the masters were not noted: {why}\n")

    def _with_problems(self) -> set[str]:
        return {problem.batch for problem in self.problems if problem.batch}

    def _without_intake(self) -> list[str]:
        """Return the batches that this run has not taken in, of those that have results."""
        return sorted(
            name
            for name in self._with_problems()
            if (name not in self.names or not self.place.intake_path(name).exists())
            and self.place.results_dir(name).is_dir()
        )

    def _notify(self) -> None:
        """Write the summary of the run for machines, and send it where the settings say so."""
        from glassine.night import notify, progress, reconciled, restricted

        names = [*self.names, *sorted(self._with_problems() - {*self.names})]
        summary = progress.summary(self.place.working_dir, names, self.problems)
        summary = reconciled.added(summary, self.place.results) | {"running": False}
        summary = restricted.added(summary, self.lookup)
        files.write_json(self.place.results / "summary.json", summary)
        notify.send(self.place.config["report"]["notify"], summary)
