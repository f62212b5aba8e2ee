"""The target captures of a batch, measured: the record that its delivery waits for."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from glassine.base import files, processor, target_results
from glassine.base.records.given import Master
from glassine.masters import fixity

FOLDER = "targets"
# One file for all batches of a results folder: focus, colour and light are followed over batches.
TREND = "targets.sqlite"


def measure(batch_dir: Path, results_dir: Path, given: dict[str, Any]) -> None:
    """Write targets.json of a batch: each target's result, and what follows for the delivery.

    Raises GlassineError where a capture is not what the checksum list says.

    A missed level fails nothing here; `check` holds the delivery where the settings say so.
    """
    from glassine import targets

    processor.same_everywhere()
    for target in given["targets"]:
        for capture in target["captures"]:
            path = files.inside(batch_dir, capture["path"])
            known = msgspec.convert(capture, Master)
            fixity.verify_master(path, known, require_manifest=False)
    results = targets.measure_target(batch_dir, results_dir / FOLDER, given)
    database = results_dir.parent / TREND
    targets.trend.record(database, results)
    held = targets.holds(results, given["settings"])
    section = targets.report_section(results)
    for shown, result in zip(section["targets"], results["targets"], strict=True):
        shown["event"] = targets.premis_event(result)
        shown["identity"] = targets.mix_target_data(result)["target_id"]
    files.write_json(
        results_dir / target_results.RECORD,
        {
            **section,
            "course": targets.trend.section(database, results_dir / FOLDER, given["batch"]),
            "holds": [finding.as_dict() for finding in held],
        },
    )
