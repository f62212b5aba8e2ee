"""What a run's summary says of the items that were expected: missing, surplus, captured twice."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from glassine.base import intake_file
from glassine.base.errors import GlassineError

KINDS = ("missing", "surplus", "double")


def added(summary: dict[str, Any], results: Path) -> dict[str, Any]:
    """Return the summary with `expected` for each batch of which something says what it should
    hold, and the counts over all. results: the folder with one folder a batch.

    `expected` is {"count", "sources", "unread", "missing", "surplus", "double"}: ids of items, and
    the lists that could not be read, of which nobody can tell what is missing. Frames that are
    missing of an item stand as `R017 (frame 3)`.
    """
    batches = []
    counts = dict.fromkeys(KINDS, 0)
    for entry in summary["batches"]:
        told = _of_batch(results / str(entry["batch"]) / "intake.json")
        batches.append(entry if told is None else {**entry, "expected": told})
        for kind in KINDS:
            counts[kind] += len(told[kind]) if told else 0
    return {**summary, "batches": batches, **counts}


def _of_batch(path: Path) -> dict[str, Any] | None:
    try:
        expected = intake_file.read(path).value.get("expected")
    except (OSError, GlassineError, AttributeError):
        return None  # told by the report
    if not isinstance(expected, dict):
        return None
    listed = {
        name: value if isinstance(value := expected.get(name), list) else []
        for name in (*KINDS, "sources", "unread")
    }
    missing = [_named(each) for each in listed["missing"] if isinstance(each, dict)]
    return {**listed, "missing": missing, "count": expected.get("count", 0)}


def _named(missing: dict[str, Any]) -> Any:
    frame = missing.get("frame")
    return (
        f"{missing.get('item')} (frame {frame})"
        if frame and missing.get("unlisted")
        else missing.get("item")
    )
