"""Whether a master has come to rest, or may still be on its way from the capture station."""

from __future__ import annotations

import time

from glassine.base import door
from glassine.intake.model import Batch
from glassine.masters import holes

# A file changed within this time may still be on its way from the capture station.
RECENT_S = 600


def growing(batch: Batch) -> set[str]:
    """Return the recently changed files that change while being watched, `intake.watch_s` long."""
    now = time.time()
    entries = [entry for entry in batch.listing.files if entry.problem is None]
    recent = [entry for entry in entries if now - entry.mtime_ns / 1e9 < RECENT_S]
    watch_s = batch.settings.intake.watch_s
    if not recent or watch_s <= 0:
        return set()
    time.sleep(watch_s)
    changed = set()
    for entry in recent:
        try:
            status = (batch.folder / entry.path).lstat()
        except OSError:
            changed.add(entry.path)
            continue
        if (status.st_size, status.st_mtime_ns) != (entry.size, entry.mtime_ns):
            changed.add(entry.path)
    return changed


def why_not(batch: Batch, entry: door.Entry, changing: set[str]) -> str | None:
    """Return why a master is not at rest yet, as a sentence, or None.

    changing: the files that `growing` saw change.
    """
    if entry.path in changing:
        return "It is still being written."
    min_age_minutes = batch.settings.intake.min_age_minutes
    age_min = (time.time() - entry.mtime_ns / 1e9) / 60
    # A time in the future (a wrong clock) says nothing about age.
    if 0 <= age_min < min_age_minutes:
        return f"It was changed {age_min:.0f} minutes ago, less than {min_age_minutes:g}."
    listed = bool(batch.lists.expected.get(entry.path))
    return holes.arriving(batch.folder / entry.path, listed)
