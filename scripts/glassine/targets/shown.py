"""What targets.json says of each target: for the report page and the items' records.

File names are relative to the batch's folder of target results.
"""

from __future__ import annotations

from glassine.base.records.batch_targets import Identity, ShownMeasure, ShownTarget, Verdict
from glassine.base.records.target import Judgement, TargetResult


def shown(result: TargetResult) -> ShownTarget:
    """Return what is shown of one result: its measures without their places, no curves."""
    return ShownTarget(
        target=result.target,
        title=result.title,
        path=result.path,
        kind=result.kind,
        state=result.state,
        taken=result.taken,
        preview=result.preview,
        plots=result.plots,
        notes=result.notes,
        findings=result.findings,
        measures=[
            ShownMeasure(name=one.name, value=one.value, unit=one.unit, note=one.note)
            for one in result.measures
        ],
        verdicts=[_verdict(judgement) for judgement in result.judgements],
        event=result.event,
        identity=identity(result),
    )


def _verdict(judgement: Judgement) -> Verdict:
    return Verdict(
        title=judgement.title,
        level_word=judgement.level_word,
        overall=judgement.overall,
        complete=judgement.complete,
        silent_on=judgement.silent_on,
        print_notes=judgement.print_notes,
        rows=judgement.criteria,
        not_judged=judgement.not_judged,
    )


def identity(result: TargetResult) -> Identity:
    """Return what MIX's TargetID holds (MIX 2.0)."""
    about = result.described_by
    return Identity(
        manufacturer=about.get("maker", ""),
        name=result.title or result.target,
        number=about.get("number", result.target),
        media=about.get("media", ""),
    )
