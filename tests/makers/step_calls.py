"""A step done as the item's job does it: with what it is given as its type."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from glassine import steps


def do_step(name: str, batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
    """Do the step of this name. given: as JSON; Raises GlassineError where it holds the item."""
    steps.function(name)(batch_dir, item_dir, steps.given(name, given))
