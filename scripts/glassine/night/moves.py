"""A run that only moves masters and deliveries from and to object storage."""

from __future__ import annotations

import sys
from collections.abc import Sequence

from glassine.base import clock, wording
from glassine.base.errors import GlassineError
from glassine.night.workplace import MOVES, Workplace


def check_store(place: Workplace) -> None:
    """Raise GlassineError where it is not said what to fetch or where to send."""
    for move in place.moves:
        key = f"store.{MOVES[move]}"
        if not place.config["store"][MOVES[move]]:
            raise GlassineError.because(
                "run.store",
                move,
                f"The setting {key} is empty.",
                "the address of a bucket, or of a folder in one.",
                f"Set {key} in config/config.yaml, as in s3://studio-{MOVES[move]}.",
            )
    if "fetch" in place.moves and not place.config["batches"]:
        raise GlassineError.because(
            "run.store",
            "fetch",
            "The setting batches is empty: it is not said which batches to fetch.",
            "the names of the batches.",
            "Name them: scripts/nightly fetch --config batches=[harbour-2026-03]",
        )


def forget_state(place: Workplace, batches: Sequence[str]) -> None:
    """Forget what an earlier run saw in the storage: everything is asked anew."""
    from glassine import store

    store.begin(place.working_dir, list(batches))


def unavailable(url: str, problem: Exception) -> GlassineError:
    """Return the error of a storage that does not answer."""
    return GlassineError.because(
        "run.store_unavailable",
        url,
        f"The storage does not answer as it should: {wording.why(problem)}.",
        "a service at `store.endpoint_url` that knows the keys in the environment.",
        "Check the network, the address and the keys, then start again: what has come or gone "
        "is kept.",
    )


def say_moved(place: Workplace, name: str) -> None:
    """Say what came or went of a batch."""
    from glassine import store
    from glassine.store import masters

    if "fetch" in place.moves:
        batch_dir, state = place.batch_dir(name), store.state_dir(place.working_dir, name)
        masters.tidy(batch_dir)
        address = store.url(place.config["store"]["masters"], name)
        masters.note_there(batch_dir, state, place.deliveries, address, clock.now_text())
    lines = store.told(place.working_dir, name, list(place.moves))
    sys.stderr.write("\n".join(lines or [f"{name}: not moved; see the lines above"]) + "\n")
