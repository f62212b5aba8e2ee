"""Measure the target captures of a batch, judge them, and write what was found.

For each target: `<stem>.json` (schemas/target.schema.json), plots as SVG, and a picture of the
capture with what was found on it, or what was seen where the target was not found.
"""

from __future__ import annotations

import os
import re
from dataclasses import asdict
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from glassine.base import premis_event as events
from glassine.base import record_files
from glassine.base.errors import Finding, GlassineError
from glassine.base.files import inside
from glassine.base.model import Facts, plain
from glassine.targets import depth, description, edges, field, geometry, judge, plots, tone
from glassine.targets.capture import Capture, open_capture
from glassine.targets.description import Description
from glassine.targets.edges import EdgeReading
from glassine.targets.find import NotFound, Placement, find
from glassine.targets.sampling import Reading, read_patches

VERSION = "2"

# Side of the centre region whose codes tell the true bit depth, px.
DEPTH_PX = 700
# Points of each SFR curve that a result keeps.
CURVE_POINTS = 101
ONE_CHANNEL = "the capture has one channel"
PACKAGES = ("numpy", "scipy", "opencv-python-headless", "pyvips")


def measure_target(batch_dir: Path, out_dir: Path, given: dict[str, Any]) -> dict[str, Any]:
    """Measure every target capture of a batch and return their results.

    batch_dir: the batch folder (read-only). out_dir: where results go, say
    results/<batch>/targets. given: {"batch", "targets": [{"path" (in the batch folder),
    "description" (YAML, in the batch folder, else in config/targets/), "flat_field": path of a
    capture of the bare light, or None, "repeats": further captures of the same set-up, "taken",
    "nominal_ppi"}], "settings": {"targets": {...}}, "facts": Facts as dict, "version"}.

    A target that cannot be opened, described or found does not stop the others: its result has
    the state "unreadable" or "not found" and says why. Nothing is raised for them; `holds` makes
    findings of the results.
    """
    results: list[dict[str, Any]] = []
    for target in given.get("targets", []):
        stem = _free_stem(stem_of(target["path"]), {result["file"] for result in results})
        results.append(_one(batch_dir, out_dir, given, target, stem))
    return {"batch": given["batch"], "version": given.get("version", VERSION), "targets": results}


def stem_of(path: str) -> str:
    """Return the file name stem under which a target's results are written."""
    kept = re.sub(r"[^A-Za-z0-9._-]+", "-", Path(path).with_suffix("").as_posix())
    return kept.strip("-.")[:100] or "target"


def _free_stem(stem: str, taken: set[str]) -> str:
    """Return `stem`, numbered where an earlier target of the batch has it."""
    number, found = 1, stem
    while f"{found}.json" in taken:
        number += 1
        found = f"{stem}-{number}"
    return found


def _one(
    batch_dir: Path, out_dir: Path, given: dict[str, Any], target: dict[str, Any], stem: str
) -> dict[str, Any]:
    facts = Facts.from_dict(given.get("facts") or {})
    chosen = (given.get("settings") or {}).get("targets") or {}
    result = _empty(given["batch"], target) | {"file": f"{stem}.json"}
    try:
        described = description.read(_description_path(batch_dir, target))
        result |= {"target": described.id, "kind": described.kind, "title": described.title}
        result["described_by"] = {
            "path": target["description"], "sha256": described.sha256, **described.about
        }  # fmt: skip
        _check_kind(target, described)
        _measured(batch_dir, out_dir, result, target, described, facts, chosen)
    except GlassineError as error:
        result["state"] = "unreadable" if result["state"] == "measured" else result["state"]
        result["findings"] = [finding.as_dict() for finding in error.findings]
    result["event"] = _event(result, given)
    finished: dict[str, Any] = plain(_native(result))
    record_files.write(out_dir / finished["file"], "target", finished)
    return finished


def _empty(batch: str, target: dict[str, Any]) -> dict[str, Any]:
    return {
        "batch": batch, "path": target["path"], "target": Path(target["path"]).stem, "title": "",
        "kind": target.get("kind", "transmissive"), "state": "measured", "described_by": {},
        "taken": target.get("taken") or "", "found": None, "measures": [], "judgements": [],
        "steps": [], "patches": [], "curves": [], "plots": {}, "preview": None, "notes": [],
        "findings": [], "statement": judge.STATEMENT,
    }  # fmt: skip


def _check_kind(target: dict[str, Any], described: Description) -> None:
    stated = target.get("kind")
    if stated and stated != described.kind:
        raise GlassineError.because(
            "targets.kind",
            target["path"],
            f"batch.yaml calls this target {stated}, its description calls it {described.kind}.",
            "one and the same kind.",
            "Correct `kind` in batch.yaml, or name the right description.",
        )


def _description_path(batch_dir: Path, target: dict[str, Any]) -> Path:
    name = target.get("description")
    if not name:
        raise GlassineError.because(
            "targets.description",
            target["path"],
            "batch.yaml names no description for this target capture.",
            "`description: <file>.yaml` next to its `path`.",
            "Add the description (config/targets/README.md shows how).",
        )
    for folder in (batch_dir, description.SCHEMA_PATH.parent):
        try:
            path = inside(folder, name)
        except ValueError as problem:
            raise GlassineError.because(
                "targets.description", name, f"The description cannot be used: {problem}.",
                "a file inside the batch folder.",
                "Correct `description` in batch.yaml.",
            ) from problem  # fmt: skip
        # A pipe or a link of that name is for the reader to refuse, not to be passed over.
        if os.path.lexists(path):
            return path
    raise GlassineError.because(
        "targets.description",
        name,
        "This description of a target is neither in the batch folder nor in config/targets.",
        "a YAML file.",
        "Put it there, or correct its name in batch.yaml.",
    )


def _capture(batch_dir: Path, name: str, facts: Facts) -> Capture:
    try:
        path = inside(batch_dir, name)
    except ValueError as problem:
        raise GlassineError.because(
            "targets.path", name, f"The capture cannot be used: {problem}.",
            "a file inside the batch folder.",
            "Correct the target's path in batch.yaml.",
        ) from problem  # fmt: skip
    return open_capture(path, facts.encoding)


def _measured(
    batch_dir: Path,
    out_dir: Path,
    result: dict[str, Any],
    target: dict[str, Any],
    described: Description,
    facts: Facts,
    chosen: dict[str, Any],
) -> None:
    """Fill `result` in place: find the target, measure, judge, plot."""
    capture = _capture(batch_dir, target["path"], facts)
    stem = Path(result["file"]).stem
    result["taken"] = result["taken"] or capture.header.capture.taken or ""
    result["encoding"] = msgspec.to_builtins(capture.encoding.describe)
    try:
        placement = find(capture, described)
    except NotFound as problem:
        result["state"] = "not found"
        result["preview"] = f"{stem}.seen.jpg"
        plots.draw_seen(out_dir / result["preview"], capture, problem.seen)
        raise GlassineError.because(
            "targets.not_found",
            target["path"],
            f"The target {described.id} was not found: {problem}.",
            f"a capture of {described.title} as its description says.",
            f"Look at {result['preview']}; capture the target again, or correct its description.",
        ) from problem
    result["preview"] = f"{stem}.found.jpg"
    plots.draw_found(out_dir / result["preview"], capture, placement, described)
    result["found"] = _found(placement, described)
    field_capture = None
    if target.get("flat_field"):
        field_capture = _capture(batch_dir, target["flat_field"], facts)
    repeats = [_capture(batch_dir, name, facts) for name in target.get("repeats") or []]
    _fill(
        result,
        capture,
        placement,
        described,
        field_capture,
        repeats,
        _nominal(target, facts, capture),
    )
    tables = judge.tables_for(described.kind, facts, chosen.get("tables") or [])
    result["judgements"] = [judge.judge(result["measures"], name) for name in tables]
    result["plots"] = plots.write_all(out_dir, stem, result)


def _found(placement: Placement, described: Description) -> dict[str, Any]:
    scale = float(np.sqrt(abs(np.linalg.det(placement.scale(np.array(described.size_mm) / 2)))))
    return {
        "by": described.locate_by,
        "seen": placement.seen,
        "wanted": placement.wanted,
        "residual_px": list(placement.residual_px),
        "residual_mm": [value / scale for value in placement.residual_px],
        "homography": placement.homography.tolist(),
        "k1": placement.k1,
        "tone_agreement": placement.tone_agreement,
        "mirrored": placement.mirrored,
    }


def _nominal(target: dict[str, Any], facts: Facts, capture: Capture) -> tuple[float | None, str]:
    """Return the ppi that the capture claims, and who says so."""
    if target.get("nominal_ppi"):
        return float(target["nominal_ppi"]), "batch.yaml, target"
    if facts.nominal_ppi:
        return facts.nominal_ppi, "batch.yaml"
    tagged = capture.header.resolution
    if tagged and tagged.unit in ("in", "cm"):
        factor = 2.54 if tagged.unit == "cm" else 1.0
        return tagged.x * factor, "resolution tag"
    return None, ""


def _measure(
    name: str,
    value: float | None,
    unit: str,
    *,
    values: list[dict[str, Any]] | None = None,
    note: str = "",
    applies: bool = True,
    **detail: Any,
) -> dict[str, Any]:
    return {
        "name": name, "value": value, "unit": unit, "values": values or [], "note": note,
        "applies": applies, "detail": detail,
    }  # fmt: skip


def _worst(name: str, values: list[dict[str, Any]], unit: str, **detail: Any) -> dict[str, Any]:
    largest = max((entry["value"] for entry in values), default=None)
    return _measure(name, largest, unit, values=values, **detail)


def _fill(
    result: dict[str, Any],
    capture: Capture,
    placement: Placement,
    described: Description,
    field_capture: Capture | None,
    repeats: list[Capture],
    nominal: tuple[float | None, str],
) -> None:
    readings, unread = read_patches(capture, placement, described.patches)
    edge_readings, dull = edges.read_edges(capture, placement, described.edges)
    result["notes"] += [f"patch {name}: too small in the picture" for name in unread]
    result["notes"] += [f"edge {sentence}" for sentence in dull]
    if capture.encoding.describe.assumed is True:
        result["notes"].append("no profile and no stated encoding: sRGB was assumed")
    bits = _depth(capture)
    result["measures"] = [
        *_scale(placement, described, nominal),
        *_sharpness(edge_readings),
        *_registration(capture, placement, edge_readings),
        *_tones(result, capture, readings, described, bits),
        *_field(field_capture, readings),
        *bits,
        *_repeated(readings, repeats),
    ]
    result["curves"] = [_curve(reading) for reading in edge_readings]


def _scale(
    placement: Placement, described: Description, nominal: tuple[float | None, str]
) -> list[dict[str, Any]]:
    shape = geometry.measure(placement, described)
    error = 100 * abs(shape.ppi / nominal[0] - 1) if nominal[0] else None
    few = "" if shape.distortion is not None else "the target has too few marks for it"
    return [
        _measure("sampling_rate", shape.ppi, "ppi", x=shape.ppi_x, y=shape.ppi_y),
        _measure(
            "scale_error", error, "%", nominal_ppi=nominal[0], nominal_by=nominal[1],
            note="" if nominal[0] else "no nominal resolution is stated",
        ),
        _measure("rotation", shape.rotation_deg, "deg", mirrored=shape.mirrored),
        _measure("squareness", shape.squareness, "%"),
        _measure("keystone", shape.keystone, "%"),
        _measure(
            "distortion", None if shape.distortion is None else abs(shape.distortion), "%",
            signed=shape.distortion, k1=shape.k1, note=few,
        ),
    ]  # fmt: skip


def _sharpness(found: list[EdgeReading]) -> list[dict[str, Any]]:
    if not found:
        missing = "no edge could be measured"
        names = (("sfr10", "% of half sampling"), ("sfr50", "% of half sampling"),
                 ("sfr_half_sampling", "modulation"), ("sfr_peak", "modulation"))  # fmt: skip
        return [_measure(name, None, unit, note=missing) for name, unit in names]
    whole = [(reading.edge.name, reading.responses["luminance"]) for reading in found]

    def share(frequency: float | None) -> float:
        # Not below the level up to twice half sampling: that is what is known.
        return 200 * frequency if frequency is not None else 200.0

    ten = [(name, share(one.sfr10)) for name, one in whole]
    fifty = [(name, share(one.sfr50)) for name, one in whole]
    half = [(name, one.half_sampling) for name, one in whole]
    peak = [(name, one.peak) for name, one in whole]
    return [
        _measure("sfr10", min(v for _, v in ten), "% of half sampling", values=_placed(ten)),
        _measure("sfr50", min(v for _, v in fifty), "% of half sampling", values=_placed(fifty)),
        _worst("sfr_half_sampling", _placed(half), "modulation"),
        _worst("sfr_peak", _placed(peak), "modulation"),
    ]


def _placed(values: list[tuple[str, float]]) -> list[dict[str, Any]]:
    return [{"where": where, "value": value} for where, value in values]


def _registration(
    capture: Capture, placement: Placement, found: list[EdgeReading]
) -> list[dict[str, Any]]:
    if capture.bands == 1:
        return [_measure("misregistration", None, "px", note=ONE_CHANNEL, applies=False)]
    values = [{"where": one.edge.name, "value": one.misregistration} for one in found]
    for number, shifts in enumerate(placement.shift_px):
        apart = max(float(np.hypot(*(a - b))) for a in shifts for b in shifts)
        values.append({"where": f"mark {number + 1}", "value": apart})
    return [_worst("misregistration", values, "px")]


def _tones(
    result: dict[str, Any],
    capture: Capture,
    readings: list[Reading],
    described: Description,
    bits: list[dict[str, Any]],
) -> list[dict[str, Any]]:
    gain = tone.light_gain(described, readings)
    steps = tone.steps(readings, gain)
    spare = tuple(reading.patch.name for reading in readings if "flat" in reading.patch.roles)
    patches = tone.colour_errors(readings, gain, spare) if capture.bands == 3 else []
    result["steps"] = [asdict(step) for step in steps]
    result["patches"] = [asdict(patch) for patch in patches]
    return [
        *_response(steps, described.kind),
        *_neutral(steps, capture.bands),
        *_exposure(readings, steps, described),
        *_differences(patches, capture.bands),
        *_noise(steps, capture, bits),
    ]


def _response(steps: list[tone.Step], kind: str) -> list[dict[str, Any]]:
    if not steps:
        return []
    name, unit = (
        ("tone_error_lightness", "L*") if kind == "reflective" else ("tone_error_density", "D")
    )
    found = [_worst(name, tone.tone_error(steps, kind), unit)]
    bright, other = tone.gains(steps)
    for label, values in (("gain_highlights", bright), ("gain_other", other)):
        if values and kind == "reflective":
            farthest = max(values, key=lambda entry: abs(entry["value"] - 1))["value"]
            found.append(_measure(label, farthest, "", values=values))
    found.append(_measure("brightest_lightness", max(step.lightness for step in steps), "L*"))
    return found


def _neutral(steps: list[tone.Step], bands: int) -> list[dict[str, Any]]:
    if bands == 1:
        return [_measure("white_balance", None, "dE(a*b*)", note=ONE_CHANNEL, applies=False)]
    lit = [step for step in steps if step.density_reference <= tone.MAX_NEUTRAL_DENSITY]
    balance = [{"where": step.name, "value": step.chroma_error} for step in lit]
    uneven = [{"where": step.name, "value": step.neutrality} for step in lit]
    return [_worst("white_balance", balance, "dE(a*b*)"), _worst("neutrality", uneven, "%")]


def _exposure(
    readings: list[Reading], steps: list[tone.Step], described: Description
) -> list[dict[str, Any]]:
    lit = [reading for reading in readings if "light" in reading.patch.roles]
    if not lit and steps:
        lit = [reading for reading in readings if reading.patch.name == steps[0].name]
    if not lit:
        return []
    level = float(np.mean([one.luminance / max(one.patch.xyz[1], 1e-6) for one in lit]))
    clipped = 100 * max(reading.clipped for reading in readings)
    del described
    return [
        _measure("light_level", 100 * level, "% of full scale"),
        _measure("exposure_error", abs(float(np.log2(max(level, 1e-6)))), "stop"),
        _measure("clipped", clipped, "%"),
    ]


def _differences(patches: list[tone.ColourError], bands: int) -> list[dict[str, Any]]:
    names = (
        "de2000_mean", "de2000_max", "de2000_p90", "de2000_sl1_mean", "de2000_sl1_max",
        "de76_mean", "de76_max",
    )  # fmt: skip
    if not patches:
        why = ONE_CHANNEL if bands == 1 else "no colour patch could be read"
        return [_measure(name, None, "dE", note=why, applies=bands > 1) for name in names]
    new = np.array([patch.delta_e_2000 for patch in patches])
    unit = np.array([patch.delta_e_2000_sl1 for patch in patches])
    old = np.array([patch.delta_e_76 for patch in patches])
    worst = patches[int(new.argmax())].name
    return [
        _measure("de2000_mean", float(new.mean()), "dE2000"),
        _measure("de2000_max", float(new.max()), "dE2000", patch=worst),
        _measure("de2000_p90", float(np.percentile(new, 90)), "dE2000"),
        _measure("de2000_sl1_mean", float(unit.mean()), "dE2000, SL = 1"),
        _measure("de2000_sl1_max", float(unit.max()), "dE2000, SL = 1"),
        _measure("de76_mean", float(old.mean()), "dE76"),
        _measure("de76_max", float(old.max()), "dE76"),
    ]


def _noise(
    steps: list[tone.Step], capture: Capture, bits: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    if not steps:
        return []
    values = [{"where": step.name, "value": step.noise_lightness} for step in steps]
    found = [_worst("noise_lightness", values, "L*")]
    ratio = tone.signal_to_noise(steps)
    if ratio:
        found.append(_measure("signal_to_noise", ratio["value"], "", where=ratio["where"]))
    span = tone.dynamic_range(steps, _code_noise(steps[-1], capture, bits))
    if span is None:
        found.append(_measure("dynamic_range", None, "D", note="fewer than four neutral steps"))
    else:
        value = span.pop("value")
        told = ""
        if span["beyond_target"]:
            told = (
                f"the grey scale ends at D {span['darkest_step_d']:g}, above the noise: "
                "an estimate from the noise of its darkest step"
            )
        found.append(_measure("dynamic_range", value, "D", note=told, **span))
    return found


def _code_noise(step: tone.Step, capture: Capture, bits: list[dict[str, Any]]) -> float:
    """Return the noise of rounding to the data's true levels, linear, at the darkest step."""
    true = next((one["value"] for one in bits if one["name"] == "effective_bits"), None)
    top = 65535 if capture.bits == 16 else 255
    spacing = max(1.0, (top + 1) / 2 ** (true or capture.bits))
    band = min(1, capture.bands - 1)
    code = round(min(max(step.codes[band], spacing), top - spacing))
    pair = np.array([code - spacing / 2, code + spacing / 2])
    kind = np.uint16 if capture.bits == 16 else np.uint8
    low = max(0, int(np.floor(pair[0])))
    high = min(top, int(np.ceil(pair[1])))
    sample = np.array([[[low] * capture.bands], [[high] * capture.bands]], dtype=kind)
    light = capture.encoding.linear(sample).astype(float) @ capture.weights
    width = max(1, high - low)
    return float(abs(light[1, 0] - light[0, 0]) * spacing / width / np.sqrt(12))


FIELD_MEASURES = (
    ("illuminance_nonuniformity", "%"),
    ("illuminance_deviation", "%"),
    ("lightness_nonuniformity", "L*"),
    ("banding", "%"),
)


def _field(field_capture: Capture | None, readings: list[Reading]) -> list[dict[str, Any]]:
    """Return how even the light is: from a capture of the bare light, else from flat patches."""
    if field_capture is None:
        even = field.evenness_of_patches(readings)
        no_field = "no capture of the bare light was named"
        if even is None:
            why = f"{no_field}, and the target has no flat patches"
            return [_measure(name, None, unit, note=why) for name, unit in FIELD_MEASURES]
        return [
            *_even(even, "flat patches of the target"),
            _measure("banding", None, "%", note=no_field),
        ]
    seen = field.evenness(field_capture)
    if isinstance(seen, float):
        why = f"the capture of the bare light is clipped ({100 * seen:.1f} % of it)"
        return [_measure(name, None, unit, note=why) for name, unit in FIELD_MEASURES]
    return [
        *_even(seen, field_capture.path.name),
        _worst("banding", field.banding(field_capture), "%"),
    ]


def _even(even: field.Evenness, by: str) -> list[dict[str, Any]]:
    place = list(even.darkest_at)
    return [
        _measure("illuminance_nonuniformity", even.nonuniformity, "%", by=by, darkest_at=place,
                 map=even.falloff),
        _measure("illuminance_deviation", even.deviation, "%", by=by),
        _measure("lightness_nonuniformity", even.lightness, "L*", by=by),
        _measure("field_residual", even.residual, "%", by=by),
    ]  # fmt: skip


def _depth(capture: Capture) -> list[dict[str, Any]]:
    """Return the file's bits, and the bits the data use (what counts where they are 8 or fewer)."""
    region = capture.within(np.array([capture.width / 2, capture.height / 2]), DEPTH_PX, DEPTH_PX)
    codes = capture.codes(*region)
    each = [depth.effective_bits(codes[..., band], capture.bits) for band in range(capture.bands)]
    known = [value for value in each if value is not None]
    true = min(known) if known else None
    counted = capture.bits
    if true is not None and true <= 8.5:
        counted = 8
    return [
        _measure("bit_depth", float(counted), "bit", file=capture.bits),
        _measure("effective_bits", true, "bit",
                 note="" if known else "too few levels are used in the picture's middle"),
    ]  # fmt: skip


def _repeated(readings: list[Reading], repeats: list[Capture]) -> list[dict[str, Any]]:
    """Return noise split by ISO 15739's terms, from further captures of the same set-up.

    Temporal noise changes from capture to capture, fixed-pattern noise does not.
    """
    neutral = [reading for reading in readings if "neutral" in reading.patch.roles]
    if not repeats or not neutral:
        return []
    step = min(neutral, key=lambda one: abs(one.patch.density - tone.MID_DENSITY))
    stack = np.stack(
        [one.light(*step.region).astype(float) @ one.weights for one in repeats]
    )  # fmt: skip
    if len(stack) < 2:
        return []
    temporal = float(np.sqrt(stack.var(axis=0, ddof=1).mean()))
    average = stack.mean(axis=0)
    total_of_mean = float(np.var(average - average.mean()))
    fixed = float(np.sqrt(max(0.0, total_of_mean - temporal**2 / len(stack))))
    mean = float(average.mean())
    return [
        _measure("temporal_noise", 100 * temporal / mean, "% of signal", captures=len(stack)),
        _measure("fixed_pattern_noise", 100 * fixed / mean, "% of signal", captures=len(stack)),
    ]


def _curve(reading: EdgeReading) -> dict[str, Any]:
    """Return the luminance curve at even steps, and the figures of each channel."""
    response = reading.responses["luminance"]
    frequency = np.linspace(0, 1, CURVE_POINTS)
    modulation = np.interp(frequency, response.frequency, response.modulation)
    return {
        "edge": reading.edge.name,
        "place": reading.edge.place,
        "across": reading.across,
        "region": list(reading.region),
        "frequency": [round(float(value), 4) for value in frequency],
        "modulation": [round(float(value), 5) for value in modulation],
        "angle_deg": response.angle_deg,
        "contrast": response.contrast,
        "shift_px": list(reading.shift_px),
        "channels": {
            name: {"sfr50": one.sfr50, "sfr10": one.sfr10, "half_sampling": one.half_sampling,
                   "peak": one.peak, "rise_px": one.rise_px}
            for name, one in reading.responses.items()
        },
    }  # fmt: skip


def _native(value: Any) -> Any:
    """Return `value` with numpy's numbers as Python's, ready for JSON."""
    if isinstance(value, dict):
        return {key: _native(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_native(part) for part in value]
    if isinstance(value, np.generic):
        return value.item()
    return value


def _event(result: dict[str, Any], given: dict[str, Any]) -> dict[str, Any]:
    reached = {verdict["table"]: verdict["overall"] or "none" for verdict in result["judgements"]}
    outcome = "success" if result["state"] == "measured" else "failure"
    return events.event(
        "quality review",
        {
            "what": "capture target measured against tables of limits",
            "target": result["target"],
            "capture": result["path"],
            "description": result["described_by"],
            "levels_reached": reached,
            "state": result["state"],
            "step_version": given.get("version", VERSION),
            "statement": judge.STATEMENT,
        },
        packages=PACKAGES,
        outcome=outcome,
        operator=(given.get("facts") or {}).get("operator"),
    )


def holds(results: dict[str, Any], settings: dict[str, Any]) -> list[Finding]:
    """Return what keeps the batch from delivery, by the settings of the section `targets`.

    results: what `measure_target` returned, or one result of it. A target that was not found
    holds; so does a table in `require` whose level was not reached, one finding for each
    criterion that fails, with by how much. `on_failure` gives their severity ("hold", "review"
    or "note").
    """
    chosen = settings.get("targets", settings)
    severity = chosen.get("on_failure", "hold")
    required = chosen.get("require", {})
    each = results.get("targets", [results])
    found: list[Finding] = []
    if not each and chosen.get("required"):
        found.append(
            Finding(
                "targets.missing",
                "batch.yaml",
                "The batch names no target capture.",
                "at least one, since `targets.required` is set.",
                "Capture a target on this rig and name it under `targets` in batch.yaml.",
                severity,
            )
        )
    for result in each:
        if result["state"] != "measured":
            found += [Finding(**finding) for finding in result["findings"]]
            continue
        for verdict in result["judgements"]:
            wanted = required.get(verdict["table"], required.get(verdict["family"]))
            if wanted is not None:
                found += _missed(result, verdict, str(wanted), severity)
    return found


def _missed(
    result: dict[str, Any], verdict: dict[str, Any], wanted: str, severity: str
) -> list[Finding]:
    if wanted not in verdict["levels"]:
        return [
            Finding(
                "targets.require", "config/config.yaml",
                f"{verdict['title']} has no level {wanted!r}.",
                f"one of {', '.join(verdict['levels'])}.", "Correct `targets.require`.", "hold",
            )
        ]  # fmt: skip
    index = verdict["levels"].index(wanted)
    found = []
    for criterion in verdict["criteria"]:
        if criterion["level_index"] >= index:
            continue
        miss = next(
            (
                entry
                for entry in criterion["fails"]
                if verdict["levels"].index(entry["level"]) <= index
            ),
            criterion["fails"][0],
        )
        at = f" at {criterion['where']}" if criterion["where"] else ""
        found.append(
            Finding(
                f"targets.{criterion['criterion']}",
                result["path"],
                f"{criterion['measure'].replace('_', ' ')}{at} is "
                f"{criterion['value']:.4g} {criterion['unit']}".rstrip()
                + f": misses {verdict['level_word']} {miss['level']} of {verdict['title']} "
                f"by {miss['by']:.3g}.",
                f"{miss['limit']} ({criterion['source']}).",
                _ADVICE.get(
                    criterion["criterion"], "Check the rig, then capture the target again."
                ),
                severity,
            )
        )
    missing = [entry for entry in verdict["not_judged"] if entry["reason"] == "not measured"]
    if missing and verdict["criteria"]:
        told = "; ".join(
            f"{entry['criterion'].replace('_', ' ')} ({entry['why']})" for entry in missing
        )
        found.append(
            Finding(
                "targets.not_measured", result["path"],
                f"{verdict['title']} also limits what could not be measured: {told}.",
                "a target with what the table asks for, and a capture of the bare light.",
                "Name `flat_field` in batch.yaml, or use a target that holds what is missing.",
                "note" if severity == "note" else "review",
            )
        )  # fmt: skip
    if not verdict["criteria"]:
        found.append(
            Finding(
                "targets.nothing_judged", result["path"],
                f"{verdict['title']} is required, but nothing could be judged by it.",
                "a table with limits, and a target with what they ask for.",
                "Fill the table in config/target_limits.yaml or drop it from `targets.require`.",
                severity,
            )
        )  # fmt: skip
    return found


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


def report_section(results: dict[str, Any]) -> dict[str, Any]:
    """Return plain data for the report page: one entry a target, lines and file names to show.

    File names are relative to the batch's folder of target results. The course over batches is
    `trend.section`.
    """
    return {
        "batch": results["batch"],
        "statement": judge.STATEMENT,
        "targets": [_shown(result) for result in results["targets"]],
    }


def _shown(result: dict[str, Any]) -> dict[str, Any]:
    return {
        "target": result["target"],
        "title": result["title"],
        "path": result["path"],
        "kind": result["kind"],
        "state": result["state"],
        "taken": result["taken"],
        "preview": result["preview"],
        "plots": result["plots"],
        "notes": result["notes"],
        "findings": result["findings"],
        "measures": [
            {key: measure[key] for key in ("name", "value", "unit", "note")}
            for measure in result["measures"]
        ],
        "verdicts": [
            {
                "title": verdict["title"],
                "level_word": verdict["level_word"],
                "overall": verdict["overall"],
                "complete": verdict["complete"],
                "silent_on": verdict["silent_on"],
                "print_notes": verdict["print_notes"],
                "rows": verdict["criteria"],
                "not_judged": verdict["not_judged"],
            }
            for verdict in result["judgements"]
        ],
    }


def mix_target_data(result: dict[str, Any]) -> dict[str, Any]:
    """Return what MIX's TargetData holds (MIX 2.0: targetType, TargetID, performanceData).

    performance_data: the result's JSON file, relative to the batch's folder of target results.
    """
    about = result["described_by"]
    return {
        "target_type": "external",
        "target_id": {
            "manufacturer": about.get("maker", ""),
            "name": result["title"] or result["target"],
            "number": about.get("number", result["target"]),
            "media": about.get("media", ""),
        },
        "external_target": result["path"],
        "performance_data": result["file"],
    }


def premis_event(result: dict[str, Any]) -> dict[str, Any]:
    """Return the event of measuring one target, in the shape of `glassine.events.event`."""
    event: dict[str, Any] = result["event"]
    return event
