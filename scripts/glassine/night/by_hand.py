"""How commands begin that a person runs between nights: the place, and the run's lock."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from glassine.base import exits, settings
from glassine.base.errors import GlassineError
from glassine.base.visible import visible
from glassine.night.lock import RunLock
from glassine.night.workplace import Workplace


def begun(directory: str, configfiles: Sequence[str]) -> tuple[Workplace, RunLock] | int:
    """Return the place and its lock, taken; or the exit code, where the settings cannot be used or
    a run goes on there, which is said."""
    working_dir = Path(directory).resolve()
    try:
        place = Workplace.of(settings.stated(configfiles), working_dir)
    except GlassineError as error:
        return refused(error, exits.SETTINGS)
    lock = RunLock(working_dir)
    try:
        lock.take()
    except GlassineError as error:
        return refused(error, exits.LATER)
    return place, lock


def refused(error: GlassineError, code: int) -> int:
    """Say why something cannot be done; return the exit code."""
    sys.stderr.write("".join(f"{visible(finding.sentence())}\n" for finding in error.findings))
    return code
