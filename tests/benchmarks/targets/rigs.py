"""Forty rigs with one known defect each, at 1.5 times the limit, and forty clean ones.

A defect is stated by the criterion it breaks; `follows` lists criteria that it breaks by the
laws of optics and counting (a blurred edge loses SFR10 and SFR50 together; noise ends the
dynamic range). What fails outside of these counts as a false alarm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from glassine.targets import colour
from glassine.targets.description import Description
from makers.targets import draw_target as dt

FILM_TABLE = "fadgi_2016_transparencies_over_4x5"
REQUIRE = {"fadgi_2016": "2", "iso_19264_1": "A", "house": "kept"}
FILM = dt.Rig(ppi=1000.0, exposure=0.9)
PRINT = dt.Rig(ppi=300.0, exposure=1.0, surround=0.1)
# Share of a channel's noise that luminance has (root of the summed squares of its weights).
LUMINANCE_NOISE = float(np.linalg.norm(dt.WIDE_TO_XYZ[1]))


@dataclass(frozen=True)
class Case:
    """name; kind of target; the rig; the criterion it breaks (None: clean) and what follows."""

    name: str
    kind: str
    rig: dt.Rig
    breaks: str | None
    follows: tuple[str, ...] = ()


def sigma_for(share_of_half_sampling: float, level: float) -> float:
    """Return the Gaussian sigma (px) whose SFR falls to `level` at that share (%) of 0.5/px."""
    frequency = share_of_half_sampling / 200
    return float(np.sqrt(-np.log(level) / 2) / (np.pi * frequency))


def halo_for(peak: float, sigma: float) -> float:
    """Return the strength of sharpening that lifts the SFR's maximum to `peak`."""
    f = np.linspace(0, 0.5, 2001)
    blur = np.exp(-2 * np.pi**2 * sigma**2 * f**2)
    high = 1 - np.exp(-2 * np.pi**2 * 1.5**2 * f**2)
    return float(brentq(lambda k: (blur * (1 + k * high)).max() - peak, 0, 20))


def gain_for(error: float, channel: int, described: Description, normalised: bool) -> tuple:
    """Return channel gains that give the lit neutral steps a largest error of a*b*."""
    steps = [patch for patch in dt.neutrals(described) if patch.density <= 2.0]
    light = next((patch for patch in described.patches if "light" in patch.roles), None)
    to_rgb = np.linalg.inv(dt.WIDE_TO_XYZ)

    def largest(gain: float) -> float:
        factors = np.ones(3)
        factors[channel] = gain
        scale = 1.0
        if normalised and light is not None:
            seen = dt.WIDE_TO_XYZ @ (factors * (to_rgb @ np.array(light.xyz)))
            scale = light.xyz[1] / seen[1]
        errors = []
        for patch in steps:
            seen = dt.WIDE_TO_XYZ @ (factors * (to_rgb @ np.array(patch.xyz)))
            lab = colour.lab_from_xyz(seen * scale)
            errors.append(float(np.hypot(*(lab[1:] - patch.lab[1:]))))
        return max(errors)

    found = brentq(lambda gain: largest(gain) - error, 0.5, 1.0)
    return tuple(found if band == channel else 1.0 for band in range(3))


def shift_for(described: Description, names: list[str], error: float) -> dict:
    """Return shifts of Lab, along lightness and hue, that give each patch that CIEDE2000 error."""
    found = {}
    for patch in described.patches:
        if patch.name in names:
            way = np.array([-0.5, 0.6, 0.6])
            size = brentq(
                lambda k, p=patch, w=way: float(colour.delta_e_2000(p.lab, p.lab + k * w)) - error,
                0, 80,
            )  # fmt: skip
            found[patch.name] = tuple((way * size).tolist())
    return found


def noise_for(error: float, steps: list[float], exposure: float, normalised: bool) -> float:
    """Return the shot noise that gives a largest noise of `error` in L* over the steps (Y)."""

    def largest(noise: float) -> float:
        found = []
        for y in steps:
            level = y * exposure
            scale = 1 / exposure if normalised else 1.0
            sigma = noise * np.sqrt(level) * LUMINANCE_NOISE
            slope = (
                colour.lightness((level + 1e-6) * scale) - colour.lightness((level - 1e-6) * scale)
            ) / 2e-6
            found.append(float(sigma * slope))
        return max(found)

    return float(brentq(lambda noise: largest(noise) - error, 1e-5, 1.0))


def k1_for(percent: float, described: Description, rig: dt.Rig) -> float:
    """Return k1 that moves the farthest mark by that share of its distance from the centre."""
    middle = np.array(described.size_mm) / 2
    reach = np.linalg.norm(np.array(described.marks) - middle, axis=1).max()
    extent = np.array(described.size_mm) + 2 * rig.margin_mm
    return percent / 100 / (reach / (np.linalg.norm(extent) / 2)) ** 2


def tone_power(error: float, described: Description) -> float:
    """Return the exponent that puts the darkest film step off by that density."""
    span = dt.neutrals(described)[-1].density - dt.neutrals(described)[0].density
    return 1 + error / span


def defects(film: Description, paper: Description) -> list[Case]:
    """Return the forty defective rigs."""
    return [*_film(film), *_print(paper)]


def _film(d: Description) -> list[Case]:
    def case(name: str, breaks: str, follows: tuple[str, ...] = (), **values) -> Case:
        return Case(f"film {name}", "transmissive", replace(FILM, **values), breaks, follows)

    colours = [patch.name for patch in d.patches if "colour" in patch.roles]
    dark = 10 ** -dt.neutrals(d)[-1].density
    sharp = sigma_for(100, 0.6)
    steps = [patch.xyz[1] for patch in dt.neutrals(d)]
    corner = 7.3 / np.hypot(*(np.array(d.size_mm) / 2 + FILM.margin_mm))
    corner *= np.hypot(8.4, 5.4) / 7.3
    soft = sigma_for(40, 0.1)
    blurred = ("sfr50", "sfr10")
    return [
        case("light falls off", "illuminance_nonuniformity", falloff=0.075),
        case("light falls off, turned", "illuminance_nonuniformity", falloff=0.075,
             rotate_deg=180.5),
        case("red shifted", "misregistration", blurred,
             shift_px=((1.2, 0), (0, 0), (0, 0))),
        case("blue shifted down", "misregistration", blurred,
             shift_px=((0, 0), (0, 0), (0, 1.2))),
        case("out of focus", "sfr10", ("sfr50",), sigma_px=(soft,) * 3),
        case("out of focus, sideways", "sfr10", ("sfr50",), sigma_px=(soft,) * 3, rotate_deg=89.5),
        case("corners out of focus", "sfr10", ("sfr50",),
             corner_sigma_px=float(np.sqrt(soft**2 - 0.65**2) / corner)),
        case("aliasing", "sfr_half_sampling", ("sfr50",), sigma_px=(sharp,) * 3),
        case("sharpened", "sfr_peak", ("sfr_half_sampling", "sfr50"), sigma_px=(0.8,) * 3,
             halo=halo_for(1.3, 0.8)),
        case("scale too small", "scale_error", nominal_ppi=1000 / 0.955),
        case("scale too large", "scale_error", nominal_ppi=1000 / 1.045),
        case("resolution too low", "sampling_rate", ppi=1000 / 1.5),
        case("dark noise", "dynamic_range", ("noise", "tone_error", "effective_bits"),
             noise_read=10 ** (-3.8 / 1.5) / LUMINANCE_NOISE),
        case("noise", "noise", ("dynamic_range", "tone_error"),
             noise=noise_for(2.4, steps, 0.9, True)),
        case("contrast too high", "tone_error", tone_power=tone_power(0.15, d)),
        case("stray light", "tone_error", flare=0.9 * dark * (10**0.15 - 1)),
        case("lamp yellow", "white_balance", ("colour_mean",),
             gain=gain_for(6.0, 2, d, True)),
        case("lamp blue", "white_balance", ("colour_mean",), gain=gain_for(6.0, 0, d, True)),
        case("colours off", "colour_mean", lab_shift=shift_for(d, colours, 6.0)),
        case("one colour off", "colour_max", lab_shift=shift_for(d, ["C06"], 15.0)),
        case("underexposed", "exposure", exposure=2**-0.75),
        case("lamp flickers", "banding", banding=(0.00375, 12.0)),
        case("barrel", "distortion", k1=-k1_for(1.5, d, FILM)),
        case("pincushion", "distortion", k1=k1_for(1.5, d, FILM)),
        case("eight bits", "effective_bits",
             ("dynamic_range", "tone_error", "noise"), bits=8),
    ]  # fmt: skip


def _print(d: Description) -> list[Case]:
    def case(name: str, breaks: str, follows: tuple[str, ...] = (), **values) -> Case:
        return Case(f"print {name}", "reflective", replace(PRINT, **values), breaks, follows)

    colours = [patch.name for patch in d.patches if "colour" in patch.roles]
    steps = [patch.xyz[1] for patch in dt.neutrals(d)]
    names = [patch.name for patch in dt.neutrals(d)]
    gap = dt.neutrals(d)[0].lab[0] - dt.neutrals(d)[1].lab[0]
    return [
        case("greys too light", "tone_error",
             lab_shift={name: (3.0 * n / 19, 0, 0) for n, name in enumerate(names)}),
        case("highlights stretched", "gain_highlights",
             lab_shift=dict.fromkeys(names[1:], (-0.15 * gap, 0, 0))),
        case("one step stretched", "gain_other", ("tone_error",),
             lab_shift=dict.fromkeys(names[10:], (-0.45 * gap, 0, 0))),
        case("lamp yellow", "white_balance", ("colour_mean",),
             gain=gain_for(4.5, 2, d, False)),
        case("colours off", "colour_mean", lab_shift=shift_for(d, colours, 6.0)),
        case("one colour off", "colour_max", lab_shift=shift_for(d, ["C04"], 15.0)),
        case("noise", "noise", ("sfr_peak",), noise=noise_for(2.4, steps, 1.0, False)),
        case("out of focus", "sfr10", sigma_px=(sigma_for(85 / 1.5, 0.1),) * 3),
        case("scale too large", "scale_error", nominal_ppi=300 / 1.03),
        case("light falls off", "illuminance_nonuniformity", ("tone_error", "colour_mean"),
             falloff=0.075),
        case("red shifted", "misregistration", shift_px=((0.75, 0), (0, 0), (0, 0))),
        case("blue shifted down", "misregistration", shift_px=((0, 0), (0, 0), (0, 0.75))),
        case("sharpened", "sfr_peak", halo=halo_for(1.15, 0.65)),
        case("underexposed", "exposure", ("tone_error", "colour_mean", "gain_highlights"),
             exposure=2**-0.495),
        case("lamp flickers", "banding", banding=(0.00375, 9.0)),
    ]  # fmt: skip


def clean(film: Description, paper: Description) -> list[Case]:
    """Return forty rigs within the limits, each different in place, size and small faults."""
    rng = np.random.default_rng(20260325)
    found = []
    for number in range(40):
        kind, base = ("transmissive", FILM) if number % 2 == 0 else ("reflective", PRINT)
        described = film if number % 2 == 0 else paper
        shift = rng.uniform(-0.15, 0.15, (3, 2))
        rig = replace(
            base,
            rotate_deg=float(rng.choice([0, 90, 180, 270]) + rng.uniform(-1.2, 1.2)),
            mirror=bool(rng.random() < 0.25),
            tilt=tuple(rng.uniform(-2e-4, 2e-4, 2) * 24 / described.size_mm[0]),
            ppi=float(base.ppi * rng.uniform(0.995, 1.02)),
            nominal_ppi=base.ppi,
            offset_px=tuple(rng.uniform(-8, 8, 2)),
            k1=float(rng.uniform(-0.5, 0.5) * k1_for(1.0, described, base)),
            sigma_px=(float(rng.uniform(0.58, 0.72)),) * 3,
            shift_px=tuple(map(tuple, shift)),
            falloff=float(rng.uniform(0, 0.02)),
            exposure=float(base.exposure * rng.uniform(0.97, 1.0)),
            noise=float(rng.uniform(0.001, 0.004)),
            gain=tuple(rng.uniform(0.995, 1.005, 3)),
            banding=(float(rng.uniform(0, 0.001)), 12.0),
            seed=int(rng.integers(1, 10**6)),
        )
        found.append(Case(f"clean {number + 1:02d}", kind, rig, None))
    return found
