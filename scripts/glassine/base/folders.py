"""Where the masters lie."""

from __future__ import annotations

import os
from pathlib import Path

from glassine.base.errors import GlassineError


def masters_place(configured: str, working_dir: Path) -> Path:
    """Return where the masters' folder is: from the working directory, else from the project's
    folder; it need not be there."""
    from glassine.base import settings  # brings the schema checker; an item's job does without

    here = working_dir / configured
    for folder in (here, settings.PROJECT / configured):
        if os.path.isdir(folder):  # noqa: PTH112 - says no where there is no right to look
            return folder.resolve()
    return here


def masters_folder(configured: str, working_dir: Path) -> Path:
    """Return the masters' folder. Raises GlassineError where there is none."""
    folder = masters_place(configured, working_dir)
    if os.path.isdir(folder):  # noqa: PTH112
        return folder
    raise GlassineError.because(
        "plan.masters",
        folder,
        "The folder of masters does not exist.",
        "a folder of batch folders.",
        "See that the disk or share is mounted, and correct `masters` in the settings where the "
        "folder is another one.",
    )
