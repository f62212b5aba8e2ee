"""The target captures of a batch, measured: the record that its delivery waits for."""

from __future__ import annotations

from pathlib import Path

from glassine.base import files, processor, record_files, target_results
from glassine.base.records.batch_targets import BatchTargets
from glassine.base.records.parts import FindingNote
from glassine.masters import fixity
from glassine.targets import demands, judge, shown, step, trend
from glassine.targets.given import TargetsGiven
from glassine.targets.raw_captures import Develop

FOLDER = "targets"
# One file for all batches of a results folder: focus, colour and light are followed over batches.
TREND = "targets.sqlite"


def measure(
    batch_dir: Path, results_dir: Path, given: TargetsGiven, develop: Develop | None = None
) -> None:
    """Write targets.json of a batch: each target's result, and what follows for the delivery.

    develop: see `step.measure_targets`.

    Raises GlassineError where a capture is not what the checksum list says.

    A missed level fails nothing here; `target_results.check` holds the delivery where the settings
    say so.
    """
    processor.same_everywhere()
    for target in given.targets:
        for capture in target.captures:
            path = files.inside(batch_dir, capture.path)
            fixity.verify_master(path, capture, require_manifest=False)
    results = step.measure_targets(batch_dir, results_dir / FOLDER, given, develop)
    database = results_dir.parent / TREND
    trend.record(database, given.batch, results)
    findings = demands.holds(results, given.settings.targets)
    record = BatchTargets(
        batch=given.batch,
        statement=judge.STATEMENT,
        targets=[shown.shown(result) for result in results],
        course=trend.section(database, results_dir / FOLDER, given.batch),
        holds=[FindingNote(**finding.as_dict()) for finding in findings],
    )
    record_files.save(results_dir / target_results.RECORD, "targets", record)
