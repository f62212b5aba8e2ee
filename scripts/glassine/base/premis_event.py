"""What each step did, as the record will tell it (PREMIS 3.0 event)."""

from __future__ import annotations

import importlib.metadata
import platform
from functools import cache
from typing import Any

from glassine import __version__
from glassine.base import clock


@cache
def software(*packages: str) -> dict[str, str]:
    """Return the versions of Glassine, Python and the given packages (PyPI names)."""
    found = {"glassine": __version__, "python": platform.python_version()}
    for package in packages:
        found[package] = importlib.metadata.version(package)
    return found


def event(
    kind: str,
    detail: dict[str, Any],
    *,
    packages: tuple[str, ...] = (),
    outcome: str = "success",
    operator: str | None = None,
) -> dict[str, Any]:
    """Return one event.

    kind: the label of the Library of Congress event type, e.g. "fixity check".
    detail: the parameters that repeat the step. operator: role id of a person, if one decided.
    The processor's architecture is noted, since it alone may change the last bit of a result
    (see `processor`).
    """
    return {
        "type": kind,
        "time": clock.now_text(),
        "outcome": outcome,
        "software": software(*packages),
        "processor": platform.machine() or None,
        "operator": operator,
        "detail": detail,
    }
