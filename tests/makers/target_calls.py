"""Targets measured as a batch's night does it: with what the step is given as its type."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from glassine.base import settings
from glassine.base.records.target import TargetResult
from glassine.targets import step
from glassine.targets.given import TargetsGiven, TargetsSection


def section(**chosen: Any) -> TargetsSection:
    """Return the settings of the section `targets`, the project's where none is chosen."""
    return msgspec.convert(settings.load({"targets": chosen})["targets"], TargetsSection)


def given(
    entries: list[dict[str, Any]],
    *,
    chosen: dict[str, Any] | None = None,
    facts: dict[str, Any] | None = None,
    batch: str = "b",
) -> TargetsGiven:
    """entries: the targets of batch.yaml as JSON."""
    values = {
        "batch": batch,
        "targets": entries,
        "settings": settings.load({"targets": chosen or {}}),
        "facts": facts or {},
        "version": step.VERSION,
    }
    return msgspec.convert(values, TargetsGiven)


def measured(
    batch_dir: Path, out_dir: Path, entries: list[dict[str, Any]], **more: Any
) -> list[TargetResult]:
    """Return the results of `entries`; more: see `given`."""
    return step.measure_targets(batch_dir, out_dir, given(entries, **more))
