"""The command that hands over a batch at any time; a night does the same at its end."""

from __future__ import annotations

import argparse
import sys

from glassine import steps
from glassine.base import exits, naming
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.handover import step as handover
from glassine.night import by_hand, sending
from glassine.night.lookup import Lookup
from glassine.night.workplace import Workplace


def _batch(name: str, place: Workplace) -> str:
    try:
        checked = naming.check_batch(name)
    except ValueError as problem:
        raise _no_batch(name, f"This cannot be the name of a batch: {problem}.") from problem
    if not place.intake_path(checked).is_file():
        raise _no_batch(name, f"There are no results of it in {place.results}.")
    return checked


def _no_batch(name: str, what: str) -> GlassineError:
    return GlassineError.because(
        "handover.batch",
        name,
        what,
        "the name of a batch that a night has taken in.",
        "Correct the name, or name the folder that holds `results` by --directory.",
    )


def hand_over(place: Workplace, lookup: Lookup, name: str, everything: bool, send: bool) -> None:
    """Hand over one batch and say what was made. Raises GlassineError where it cannot be."""
    results = place.results_dir(_batch(name, place))
    given = steps.given("handover", lookup.handover_given(name))
    made = handover.hand_over(results, given, everything)
    if made is None:
        print(f"{name}: nothing changed since the last handover (--all hands over everything)")
    else:
        print(f"{name}: {made.items} items, {made.folder}")
        for note in made.notes:
            print(f"NOTE {visible(note.sentence())}")
    if send:
        sending.send(results, place.config["report"]["notify"]["webhook"])


def main(arguments: list[str] | None = None) -> int:
    """Hand over the batches named; return the exit code: 0, 1 where one could not be handed over,
    75 while a run goes on, 78 where the settings cannot be used."""
    parser = argparse.ArgumentParser(
        prog="scripts/handover",
        description="Write what changed of a batch since the last handover, by the template of "
        "`handover` in the settings, into results/<batch>/handover.",
    )
    parser.add_argument("batch", nargs="+", help="name of a batch")
    parser.add_argument("--all", action="store_true", help="hand over every item, changed or not")
    parser.add_argument("--send", action="store_true", help="send what was not sent yet as well")
    parser.add_argument("--directory", default=".", help="the folder that holds `results`")
    parser.add_argument("--configfile", action="append", default=[], help="as scripts/nightly has")
    options = parser.parse_args(arguments)
    begun = by_hand.begun(options.directory, options.configfile)
    if isinstance(begun, int):
        return begun
    place, lock = begun
    lookup, code = Lookup(place, lock), 0
    for name in options.batch:
        try:
            hand_over(place, lookup, name, options.all, options.send)
        except GlassineError as error:
            code = by_hand.refused(error, exits.HELD)
    lock.ended()
    return code


if __name__ == "__main__":
    sys.exit(main())
