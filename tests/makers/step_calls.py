"""A step done as the night's jobs do it: with what it is given as its type."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from glassine import steps
from glassine.deliver import step as delivery


def do_step(name: str, batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
    """Do the step of this name. given: as JSON; Raises GlassineError where it holds the item."""
    steps.function(name)(batch_dir, item_dir, steps.given(name, given))


def do_delivery(root: Path, given: dict[str, Any], batch: str = "b1") -> delivery.Outcome:
    """Deliver the batch from `root`. given: as JSON; Raises GlassineError where it is held."""
    return delivery.deliver_batch(
        root / "masters" / batch,
        root / "results" / batch,
        root / "deliveries",
        steps.given("deliver", given),
    )
