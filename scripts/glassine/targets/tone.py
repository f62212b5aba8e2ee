"""Tone response, white balance, exposure, noise, dynamic range and colour accuracy of patches.

Light of a transmissive target counts against its `light` patch, so that the exposure, which the
studio chooses, is no error of tone; a reflective one counts as captured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from glassine.base.records.target import ColourPatch, GreyStep, PlacedValue
from glassine.targets import colour
from glassine.targets.colour import Array
from glassine.targets.description import Description
from glassine.targets.sampling import Reading

# Density of a mid-grey of 18 %, the reference at which ISO 15739 states the ratio of signal to
# noise (value from memory).
MID_DENSITY = 0.745
# White balance and neutrality are judged on steps lighter than this density: darker ones carry
# more noise than colour.
MAX_NEUTRAL_DENSITY = 2.0
# Steps lighter than this count as highlights for the gain (common practice, no source).
HIGHLIGHT_LIGHTNESS = 80.0
# Neighbouring steps nearer than this in L* give no steady gain.
MIN_STEP_LIGHTNESS = 2.0


@dataclass(frozen=True)
class Range:
    """A dynamic range as a density.

    beyond_target: whether even the darkest step is above its noise, so that the wedge ends before
    the camera does. darkest_step_d: its density; darkest_step_snr: its ratio of signal to noise.
    """

    value: float
    beyond_target: bool
    darkest_step_d: float | None = None
    darkest_step_snr: float | None = None


def light_gain(described: Description, readings: list[Reading]) -> float:
    """Return what luminance must be multiplied by to count from the light reference.

    Transmissive: the `light` patch (else the lightest neutral one) becomes its known value.
    """
    if described.kind == "reflective":
        return 1.0
    named = [reading for reading in readings if "light" in reading.patch.roles]
    neutral = [reading for reading in readings if "neutral" in reading.patch.roles]
    chosen = named or sorted(neutral, key=lambda reading: -reading.patch.xyz[1])[:1]
    ratios = [reading.patch.xyz[1] / max(reading.luminance, 1e-6) for reading in chosen]
    return float(np.mean(ratios)) if ratios else 1.0


def steps(readings: list[Reading], gain: float) -> list[GreyStep]:
    """Return the steps of the grey scale, lightest first."""
    neutral = [reading for reading in readings if "neutral" in reading.patch.roles]
    return [_step(reading, gain) for reading in sorted(neutral, key=lambda one: -one.patch.xyz[1])]


def _step(reading: Reading, gain: float) -> GreyStep:
    seen = np.clip(reading.xyz * gain, 1e-7, None)
    lab, known = colour.lab_from_xyz(seen), reading.patch.lab
    mean = float(reading.light.mean())
    return GreyStep(
        name=reading.patch.name,
        density_reference=reading.patch.density,
        density=float(-np.log10(seen[1])),
        lightness_reference=float(known[0]),
        lightness=float(lab[0]),
        chroma_error=float(np.hypot(*(lab[1:] - known[1:]))),
        neutrality=100 * float(np.ptp(reading.light)) / max(mean, 1e-9),
        noise=reading.noise,
        noise_lightness=_scaled_noise(reading, gain),
        signal_to_noise=reading.luminance / max(reading.noise, 1e-9),
        codes=tuple(reading.codes.tolist()),
        luminance=reading.luminance,
    )


def _scaled_noise(reading: Reading, gain: float) -> float:
    """Return the noise in L* as it is once the light counts from its reference."""
    if gain == 1.0:
        return reading.noise_lightness
    y = max(reading.luminance, 1e-6)
    step = 1e-3 * y
    slope = float(colour.lightness(gain * (y + step)) - colour.lightness(gain * (y - step)))
    return reading.noise * slope / (2 * step)


def tone_error(scale: list[GreyStep], kind: str) -> list[PlacedValue]:
    """Return for each step the error: L* (reflective) or density (transmissive)."""
    if kind == "reflective":
        errors = [abs(step.lightness - step.lightness_reference) for step in scale]
    else:
        errors = [abs(step.density - step.density_reference) for step in scale]
    return [
        PlacedValue(where=step.name, value=error) for step, error in zip(scale, errors, strict=True)
    ]


def gains(scale: list[GreyStep]) -> tuple[list[PlacedValue], list[PlacedValue]]:
    """Return the gain between neighbouring steps (L* captured over L* known): bright and other."""
    bright: list[PlacedValue] = []
    other: list[PlacedValue] = []
    kept = scale[:1]
    for step in scale[1:]:
        wanted = kept[-1].lightness_reference - step.lightness_reference
        if wanted < MIN_STEP_LIGHTNESS:
            continue
        value = (kept[-1].lightness - step.lightness) / wanted
        entry = PlacedValue(where=f"{kept[-1].name}-{step.name}", value=value)
        (bright if step.lightness_reference >= HIGHLIGHT_LIGHTNESS else other).append(entry)
        kept.append(step)
    return bright, other


def dynamic_range(scale: list[GreyStep], code_noise: float) -> Range | None:
    """Return the range in density from full scale down to where signal equals noise.

    ISO 15739 and ISO 21550 define the end of the range by a ratio of incremental signal to noise
    of 1 (from memory). The signal of a step is its known transmittance times the local slope of
    the response, so flare does not count as signal. Where even the darkest step is above its
    noise, that step's noise is taken for the dark (`beyond_target` true): the wedge ends
    before the camera does, and the value is an estimate from its noise alone.

    code_noise: smallest noise that the coding allows, in linear light at the dark end.
    """
    if len(scale) < 4:
        return None
    known = np.array([10**-step.density_reference for step in scale])
    seen = np.array([step.luminance for step in scale])
    noise = np.maximum([step.noise for step in scale], code_noise)
    slope = np.gradient(seen, known)
    signal = np.clip(slope, 1e-12, None) * known
    ratio = np.log10(np.clip(signal / noise, 1e-6, None))
    below = np.nonzero(ratio < 0)[0]
    if not len(below):
        return Range(
            value=float(-np.log10(noise[-1])),
            beyond_target=True,
            darkest_step_d=scale[-1].density_reference,
            darkest_step_snr=float(10 ** ratio[-1]),
        )
    first = int(below[0])
    if first == 0:
        return Range(value=0.0, beyond_target=False)
    share = ratio[first - 1] / (ratio[first - 1] - ratio[first])
    level = np.log10(np.clip(signal, 1e-12, None))
    end = level[first - 1] + share * (level[first] - level[first - 1])
    return Range(value=float(-end), beyond_target=False, darkest_step_d=scale[-1].density_reference)


def middle_step(scale: list[GreyStep]) -> GreyStep:
    """Return the step nearest to mid-grey, whose ratio of signal to noise counts."""
    return min(scale, key=lambda one: abs(one.density_reference - MID_DENSITY))


def colour_errors(
    readings: list[Reading], gain: float, spare: tuple[str, ...]
) -> list[ColourPatch]:
    """Return the errors of patches with the role `colour`, or of all but `spare` where none has.

    Neutral steps count too where the description gives them the role.
    """
    chosen = [reading for reading in readings if "colour" in reading.patch.roles]
    chosen = chosen or [reading for reading in readings if reading.patch.name not in spare]
    errors = []
    for reading in chosen:
        known = reading.patch.lab
        lab = colour.lab_from_xyz(np.clip(reading.xyz * gain, 0, None))
        errors.append(
            ColourPatch(
                name=reading.patch.name,
                lab=_three(lab),
                delta_e_2000=float(colour.delta_e_2000(known, lab)),
                delta_e_2000_sl1=float(colour.delta_e_2000(known, lab, unit_lightness_weight=True)),
                delta_e_76=float(colour.delta_e_76(known, lab)),
            )
        )
    return errors


def _three(values: Array) -> tuple[float, float, float]:
    return (float(values[0]), float(values[1]), float(values[2]))
