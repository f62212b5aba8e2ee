"""The figures of a target capture: from what was read of it to measures, steps and curves."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from msgspec import UNSET

from glassine.base.records.target import (
    ChannelFigures,
    ColourPatch,
    Curve,
    Detail,
    GreyStep,
    Measure,
    PlacedValue,
)
from glassine.targets import depth, edges, field, geometry, tone
from glassine.targets.capture import Capture
from glassine.targets.description import Description
from glassine.targets.edges import EdgeReading
from glassine.targets.placement import Placement
from glassine.targets.sampling import Reading, read_patches

# Side of the centre region whose codes tell the true bit depth, px.
DEPTH_PX = 700
# Points of each SFR curve that a result keeps.
CURVE_POINTS = 101
ONE_CHANNEL = "the capture has one channel"


@dataclass(frozen=True)
class Nominal:
    """The resolution that a capture claims, None where none is stated, and who says so."""

    ppi: float | None
    by: str


@dataclass(frozen=True)
class Captures:
    """A target's capture with those of the same set-up; field: of the bare light."""

    target: Capture
    field: Capture | None
    repeats: list[Capture]


@dataclass(frozen=True)
class Figures:
    """What was measured on a target; see `TargetResult`."""

    measures: list[Measure]
    steps: list[GreyStep]
    patches: list[ColourPatch]
    curves: list[Curve]
    notes: list[str]


def measure(
    captures: Captures, placement: Placement, described: Description, nominal: Nominal
) -> Figures:
    """Return the figures of a target that lies as `placement` says."""
    capture = captures.target
    readings, unread = read_patches(capture, placement, described.patches)
    edge_readings, dull = edges.read_edges(capture, placement, described.edges)
    notes = [f"patch {name}: too small in the picture" for name in unread]
    notes += [f"edge {sentence}" for sentence in dull]
    if capture.encoding.describe.assumed is True:
        notes.append("no profile and no stated encoding: sRGB was assumed")
    gain = tone.light_gain(described, readings)
    steps = tone.steps(readings, gain)
    spare = tuple(reading.patch.name for reading in readings if "flat" in reading.patch.roles)
    patches = tone.colour_errors(readings, gain, spare) if capture.bands == 3 else []
    true_bits = _true_bits(capture)
    measures = [
        *_scale(placement, described, nominal),
        *_sharpness(edge_readings),
        *_registration(capture, placement, edge_readings),
        *_response(steps, described.kind),
        *_neutral(steps, capture.bands),
        *_exposure(readings, steps),
        *_differences(patches, capture.bands),
        *_noise(steps, capture, true_bits),
        *_field(captures.field, readings),
        *_depth(capture, true_bits),
        *_repeated(readings, captures.repeats),
    ]
    return Figures(measures, steps, patches, [_curve(one) for one in edge_readings], notes)


def _measure(
    name: str,
    value: float | None,
    unit: str,
    *,
    values: list[PlacedValue] | None = None,
    note: str = "",
    applies: bool = True,
    **detail: Any,
) -> Measure:
    return Measure(
        name=name, value=value, unit=unit, values=values or [], note=note, applies=applies,
        detail=Detail(**detail),
    )  # fmt: skip


def _worst(name: str, values: list[PlacedValue], unit: str) -> Measure:
    largest = max((placed.value for placed in values), default=None)
    return _measure(name, largest, unit, values=values)


def _scale(placement: Placement, described: Description, nominal: Nominal) -> list[Measure]:
    shape = geometry.measure(placement, described)
    error = 100 * abs(shape.ppi / nominal.ppi - 1) if nominal.ppi else None
    few = "" if shape.distortion is not None else "the target has too few marks for it"
    return [
        _measure("sampling_rate", shape.ppi, "ppi", x=shape.ppi_x, y=shape.ppi_y),
        _measure(
            "scale_error", error, "%", nominal_ppi=nominal.ppi, nominal_by=nominal.by,
            note="" if nominal.ppi else "no nominal resolution is stated",
        ),
        _measure("rotation", shape.rotation_deg, "deg", mirrored=shape.mirrored),
        _measure("squareness", shape.squareness, "%"),
        _measure("keystone", shape.keystone, "%"),
        _measure(
            "distortion", None if shape.distortion is None else abs(shape.distortion), "%",
            signed=shape.distortion, k1=shape.k1, note=few,
        ),
    ]  # fmt: skip


def _sharpness(readings: list[EdgeReading]) -> list[Measure]:
    if not readings:
        missing = "no edge could be measured"
        names = (("sfr10", "% of half sampling"), ("sfr50", "% of half sampling"),
                 ("sfr_half_sampling", "modulation"), ("sfr_peak", "modulation"))  # fmt: skip
        return [_measure(name, None, unit, note=missing) for name, unit in names]
    whole = [(reading.edge.name, reading.responses["luminance"]) for reading in readings]

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


def _placed(values: list[tuple[str, float]]) -> list[PlacedValue]:
    return [PlacedValue(where=where, value=value) for where, value in values]


def _registration(
    capture: Capture, placement: Placement, readings: list[EdgeReading]
) -> list[Measure]:
    if capture.bands == 1:
        return [_measure("misregistration", None, "px", note=ONE_CHANNEL, applies=False)]
    values = _placed([(one.edge.name, one.misregistration) for one in readings])
    for number, shifts in enumerate(placement.shift_px):
        apart = max(float(np.hypot(*(a - b))) for a in shifts for b in shifts)
        values.append(PlacedValue(where=f"mark {number + 1}", value=apart))
    return [_worst("misregistration", values, "px")]


def _response(steps: list[GreyStep], kind: str) -> list[Measure]:
    if not steps:
        return []
    name, unit = (
        ("tone_error_lightness", "L*") if kind == "reflective" else ("tone_error_density", "D")
    )
    measures = [_worst(name, tone.tone_error(steps, kind), unit)]
    bright, other = tone.gains(steps)
    for label, values in (("gain_highlights", bright), ("gain_other", other)):
        if values and kind == "reflective":
            farthest = max(values, key=lambda placed: abs(placed.value - 1)).value
            measures.append(_measure(label, farthest, "", values=values))
    measures.append(_measure("brightest_lightness", max(step.lightness for step in steps), "L*"))
    return measures


def _neutral(steps: list[GreyStep], bands: int) -> list[Measure]:
    if bands == 1:
        return [_measure("white_balance", None, "dE(a*b*)", note=ONE_CHANNEL, applies=False)]
    lit = [step for step in steps if step.density_reference <= tone.MAX_NEUTRAL_DENSITY]
    balance = _placed([(step.name, step.chroma_error) for step in lit])
    uneven = _placed([(step.name, step.neutrality) for step in lit])
    return [_worst("white_balance", balance, "dE(a*b*)"), _worst("neutrality", uneven, "%")]


def _exposure(readings: list[Reading], steps: list[GreyStep]) -> list[Measure]:
    lit = [reading for reading in readings if "light" in reading.patch.roles]
    if not lit and steps:
        lit = [reading for reading in readings if reading.patch.name == steps[0].name]
    if not lit:
        return []
    level = float(np.mean([one.luminance / max(one.patch.xyz[1], 1e-6) for one in lit]))
    clipped = 100 * max(reading.clipped for reading in readings)
    return [
        _measure("light_level", 100 * level, "% of full scale"),
        _measure("exposure_error", abs(float(np.log2(max(level, 1e-6)))), "stop"),
        _measure("clipped", clipped, "%"),
    ]


def _differences(patches: list[ColourPatch], bands: int) -> list[Measure]:
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


def _noise(steps: list[GreyStep], capture: Capture, true_bits: float | None) -> list[Measure]:
    if not steps:
        return []
    values = _placed([(step.name, step.noise_lightness) for step in steps])
    middle = tone.middle_step(steps)
    return [
        _worst("noise_lightness", values, "L*"),
        _measure("signal_to_noise", middle.signal_to_noise, "", where=middle.name),
        _range(tone.dynamic_range(steps, _code_noise(steps[-1], capture, true_bits))),
    ]


def _range(span: tone.Range | None) -> Measure:
    if span is None:
        return _measure("dynamic_range", None, "D", note="fewer than four neutral steps")
    note = ""
    if span.beyond_target:
        note = (
            f"the grey scale ends at D {span.darkest_step_d:g}, above the noise: "
            "an estimate from the noise of its darkest step"
        )
    detail = Detail(
        beyond_target=span.beyond_target,
        darkest_step_d=UNSET if span.darkest_step_d is None else span.darkest_step_d,
        darkest_step_snr=UNSET if span.darkest_step_snr is None else span.darkest_step_snr,
    )
    return Measure(name="dynamic_range", value=span.value, unit="D", note=note, detail=detail)


def _code_noise(step: GreyStep, capture: Capture, true_bits: float | None) -> float:
    """Return the noise of rounding to the data's true levels, linear, at the darkest step."""
    top = 65535 if capture.bits == 16 else 255
    spacing = max(1.0, (top + 1) / 2 ** (true_bits or capture.bits))
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


def _field(field_capture: Capture | None, readings: list[Reading]) -> list[Measure]:
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


def _even(even: field.Evenness, by: str) -> list[Measure]:
    place = even.darkest_at
    return [
        _measure("illuminance_nonuniformity", even.nonuniformity, "%", by=by, darkest_at=place,
                 map=even.falloff),
        _measure("illuminance_deviation", even.deviation, "%", by=by),
        _measure("lightness_nonuniformity", even.lightness, "L*", by=by),
        _measure("field_residual", even.residual, "%", by=by),
    ]  # fmt: skip


def _true_bits(capture: Capture) -> float | None:
    """Return the bits that the data use in the picture's middle, None with too few levels."""
    if capture.sensor is not None:  # a developed picture's codes are its arithmetic's
        codes, bits = capture.sensor.middle, capture.sensor.bits
    else:
        middle = np.array([capture.width / 2, capture.height / 2])
        codes, bits = capture.codes(*capture.within(middle, DEPTH_PX, DEPTH_PX)), capture.bits
    by_band = [depth.effective_bits(codes[..., band], bits) for band in range(codes.shape[2])]
    return min((bits for bits in by_band if bits is not None), default=None)


def _depth(capture: Capture, true_bits: float | None) -> list[Measure]:
    """Return the file's bits, and the bits the data use (what counts where they are 8 or fewer)."""
    counted = 8 if true_bits is not None and true_bits <= 8.5 else capture.bits
    few = "too few levels are used in the picture's middle"
    return [
        _measure("bit_depth", float(counted), "bit", file=capture.bits),
        _measure("effective_bits", true_bits, "bit", note="" if true_bits is not None else few),
    ]


def _repeated(readings: list[Reading], repeats: list[Capture]) -> list[Measure]:
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


def _curve(reading: EdgeReading) -> Curve:
    """Return the luminance curve at even steps, and the figures of each channel."""
    response = reading.responses["luminance"]
    frequency = np.linspace(0, 1, CURVE_POINTS)
    modulation = np.interp(frequency, response.frequency, response.modulation)
    return Curve(
        edge=reading.edge.name,
        place=reading.edge.place,
        across=reading.across,
        region=reading.region,
        frequency=[round(float(value), 4) for value in frequency],
        modulation=[round(float(value), 5) for value in modulation],
        angle_deg=response.angle_deg,
        contrast=response.contrast,
        shift_px=reading.shift_px,
        channels={
            name: ChannelFigures(
                sfr50=one.sfr50,
                sfr10=one.sfr10,
                half_sampling=one.half_sampling,
                peak=one.peak,
                rise_px=one.rise_px,
            )
            for name, one in reading.responses.items()
        },
    )
