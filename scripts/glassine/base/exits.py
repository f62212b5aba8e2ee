"""What the exit code of a run says; from 64 on the meanings are those of <sysexits.h>."""

from __future__ import annotations

from dataclasses import dataclass

from glassine.base.errors import Finding

HELD = 1  # something is held, or a step failed
USAGE = 64  # the command line is not usable, or names an item that no batch has
DATA = 65  # something in the folder of masters cannot be processed as it is
NO_INPUT = 66  # masters that should be there are not
UNAVAILABLE = 69  # a service does not answer
CANNOT_WRITE = 73  # results cannot be written
LATER = 75  # another run goes on, or an item that was asked for still waits
NO_RIGHT = 77  # a folder may not be read
SETTINGS = 78  # a setting is wrong

# Which code a run ends with where several things are wrong: the first of these.
ORDER = (SETTINGS, USAGE, NO_INPUT, NO_RIGHT, DATA, LATER, HELD, UNAVAILABLE)


@dataclass(frozen=True)
class Problem:
    """Something that a run could not do: the finding, the exit code, the batch it is about."""

    finding: Finding
    exit_code: int
    batch: str | None = None
