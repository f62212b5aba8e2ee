"""What the target captures of a batch say of its delivery, as their record has it.

Apart from the measuring: records and packages read this, and need none of its libraries.
"""

from __future__ import annotations

from pathlib import Path

from glassine.base import files
from glassine.base.errors import Finding, GlassineError

RECORD = "targets.json"


def share(results_dir: Path, item_dir: Path, *, named: bool) -> None:
    """Put what the targets say of the batch beside an item's records: it travels with the package.

    named: whether batch.yaml names any; where it does not, nothing lies there. The course over
    batches is left out: it is no fact of this item.
    """
    path = item_dir / RECORD
    if not named:
        path.unlink(missing_ok=True)
        return
    known = files.read_json(results_dir / RECORD)
    files.write_json(path, {key: known[key] for key in ("batch", "statement", "targets")})


def check(results_dir: Path) -> None:
    """Raise GlassineError where the batch's targets keep it from delivery, or were not measured."""
    findings = [Finding(**finding) for finding in files.read_json(results_dir / RECORD)["holds"]]
    holding = [finding for finding in findings if finding.severity == "hold"]
    if holding:
        raise GlassineError(holding)
