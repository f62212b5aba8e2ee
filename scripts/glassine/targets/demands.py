"""What the target captures of a batch demand: what keeps it from delivery, with what to do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from glassine.base.errors import Finding
from glassine.base.records.target import Criterion, Judgement, Miss, NotJudged, TargetResult
from glassine.targets.given import TargetsSection


def holds(results: Sequence[TargetResult], section: TargetsSection) -> list[Finding]:
    """Return what keeps the batch from delivery, by the settings of the section `targets`.

    A target that was not found holds; what was found on the way to one that was measured (of its
    development from a raw file) is told. So does a table in `require` whose level was not reached,
    one finding for each criterion that fails, with by how much. `on_failure` gives their severity.
    """
    if not results and section.required:
        return [
            Finding(
                "targets.missing",
                "batch.yaml",
                "The batch names no target capture.",
                "at least one, since `targets.required` is set.",
                "Capture a target on this rig and name it under `targets` in batch.yaml.",
                section.on_failure,
            )
        ]
    return [finding for result in results for finding in _of_result(result, section)]


def _of_result(result: TargetResult, section: TargetsSection) -> Iterable[Finding]:
    for known in result.findings:
        yield Finding(**msgspec.structs.asdict(known))
    if result.state != "measured":
        return
    for verdict in result.judgements:
        level = section.require.get(verdict.table, section.require.get(verdict.family))
        if level is not None:
            yield from _of_verdict(result.path, verdict, level, section.on_failure)


def _of_verdict(path: str, verdict: Judgement, level: str, severity: str) -> Iterable[Finding]:
    """Return what one table says where this level of it is required."""
    if level not in verdict.levels:
        yield Finding(
            "targets.require", "config/config.yaml",
            f"{verdict.title} has no level {level!r}.",
            f"one of {', '.join(verdict.levels)}.", "Correct `targets.require`.", "hold",
        )  # fmt: skip
        return
    index = verdict.levels.index(level)
    for criterion in verdict.criteria:
        if criterion.level_index < index:
            yield _missed(
                path, verdict, criterion, _first_miss(verdict, criterion, index), severity
            )
    unmeasured = [entry for entry in verdict.not_judged if entry.reason == "not measured"]
    if not verdict.criteria:
        yield _nothing_judged(path, verdict, severity)
    elif unmeasured:
        yield _not_measured(path, verdict, unmeasured, severity)


def _first_miss(verdict: Judgement, criterion: Criterion, index: int) -> Miss:
    """Return the lowest missed level up to the required one."""
    within = (miss for miss in criterion.fails if verdict.levels.index(miss.level) <= index)
    return next(within, criterion.fails[0])


def _missed(
    path: str, verdict: Judgement, criterion: Criterion, miss: Miss, severity: str
) -> Finding:
    at = f" at {criterion.where}" if criterion.where else ""
    return Finding(
        f"targets.{criterion.criterion}",
        path,
        f"{criterion.measure.replace('_', ' ')}{at} is "
        f"{criterion.value:.4g} {criterion.unit}".rstrip()
        + f": misses {verdict.level_word} {miss.level} of {verdict.title} "
        f"by {miss.by:.3g}.",
        f"{miss.limit} ({criterion.source}).",
        _ADVICE.get(criterion.criterion, "Check the rig, then capture the target again."),
        severity,
    )


def _not_measured(
    path: str, verdict: Judgement, unmeasured: list[NotJudged], severity: str
) -> Finding:
    listed = "; ".join(f"{entry.criterion.replace('_', ' ')} ({entry.why})" for entry in unmeasured)
    return Finding(
        "targets.not_measured", path,
        f"{verdict.title} also limits what could not be measured: {listed}.",
        "a target with what the table asks for, and a capture of the bare light.",
        "Name `flat_field` in batch.yaml, or use a target that holds what is missing.",
        "note" if severity == "note" else "review",
    )  # fmt: skip


def _nothing_judged(path: str, verdict: Judgement, severity: str) -> Finding:
    return Finding(
        "targets.nothing_judged", path,
        f"{verdict.title} is required, but nothing could be judged by it.",
        "a table with limits, and a target with what they ask for.",
        "Fill the table in config/target_limits.yaml or drop it from `targets.require`.",
        severity,
    )  # fmt: skip


_SHARP = "Focus again, check that stand and film lie still and flat, then capture the target again."
_LIGHT = (
    "Check lamps, diffuser and lens hood, take a new flat field, then capture the target again."
)
_COLOUR = "Check the age of the lamp and the profile in use, then capture the target again."
_ADVICE = {
    "sfr10": _SHARP,
    "sfr50": _SHARP,
    "sfr_half_sampling": "Check that nothing sharpens the captures, then capture the target again.",
    "sfr_peak": "Switch sharpening off in the capture software, then capture the target again.",
    "illuminance_nonuniformity": _LIGHT,
    "illumination": _LIGHT,
    "banding": "Check the lamps' driver and the shutter time, then capture the target again.",
    "misregistration": "Check focus and lens, and that nothing moved, then capture again.",
    "white_balance": _COLOUR,
    "colour_mean": _COLOUR,
    "colour_max": _COLOUR,
    "tone_error": "Check exposure, stray light and the tone curve in use, then capture again.",
    "exposure": "Set the exposure by the bare light table, then capture the target again.",
    "clipping": "Lower the exposure, then capture the target again.",
    "noise": "Lower the sensitivity (ISO) or expose longer, then capture the target again.",
    "dynamic_range": "Check stray light and sensitivity (ISO), then capture the target again.",
    "scale_error": "Set the camera's height anew, or correct the stated resolution.",
    "sampling_rate": "Set the camera nearer, or choose the table for what is captured.",
    "distortion": "Check the lens and its distance, then capture the target again.",
    "bit_depth": "Export 16-bit captures that were never 8-bit.",
    "effective_bits": "Find the step of the export that drops bits.",
}
