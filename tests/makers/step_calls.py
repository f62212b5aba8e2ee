"""A step done as the night's jobs do it: with what it is given as its type."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from glassine import report, steps
from glassine.deliver import step as delivery
from glassine.intake import step as intake
from glassine.intake.catalogue import reading
from glassine.intake.given import CatalogueSettings, IntakeGiven
from glassine.night import due


def do_step(name: str, batch_dir: Path, item_dir: Path, given: dict[str, Any]) -> None:
    """Do the step of this name. given: as JSON; Raises GlassineError where it holds the item."""
    steps.function(name)(batch_dir, item_dir, steps.given(name, given))


def do_delivery(root: Path, given: dict[str, Any], batch: str = "b1") -> delivery.Outcome:
    """Deliver the batch from `root`. given: as JSON; Raises GlassineError where it is held."""
    results = root / "results" / batch
    inputs = due.delivered_inputs(results / "items", given["items"], {})
    return delivery.deliver_batch(
        root / "masters" / batch,
        results,
        root / "deliveries",
        steps.given("deliver", {"inputs": inputs} | given),
    )


def write_report(results: Path, given: dict[str, Any]) -> Path:
    """Write the report of a batch; return the page. given: as JSON; results: `results/<batch>/`."""
    return report.write_report(results, steps.given("report", given))


def taken_in(batch_dir: Path, given: dict[str, Any]) -> dict[str, Any]:
    """Return intake.json of a batch as JSON. given: {"batch", "settings"} as JSON."""
    taken = intake.take_in(batch_dir, msgspec.convert(given, IntakeGiven))
    record: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(taken))
    return record


def read_rows(path: Path, settings: dict[str, Any]) -> Any:
    """Return a catalogue with its records as JSON. settings: {"catalogue", "rights"}."""
    found: Any = reading.read_catalogue(path, msgspec.convert(settings, CatalogueSettings))
    found.records = msgspec.to_builtins(dict(found.records))
    return found
