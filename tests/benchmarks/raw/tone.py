"""What raw development costs the tone of colour negatives: the same film as perfect TIFFs, and raw.

    tests/benchmarks/run raw-tone                                  eight cases, two films each
    tests/benchmarks/run raw-tone --cases "faded" --count 8

The films are those of `tone-judge`, seen by their cameras in the cameras' own colours. Once the
master has all three colours at each pixel and no noise. Once the same light falls on a Bayer sensor
of 14 bits with noise, is written as DNG with the camera's matrix, and developed with a capture of
the bare table. Figures are those of `tone-judge`: mean CIEDE2000 of frames against honest prints;
`apart`: the median of what raw development adds to a frame's error, and the most of it.
"""

from __future__ import annotations

import argparse
import struct
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import tifffile

from benchmarks.result import Outcome, Row, figure
from benchmarks.tone.judge import Judged, judged
from glassine.develop import colours, flat, step, stored
from glassine.masters import raws
from makers import raw_files
from makers.tone_judge import cases, rendered
from makers.tone_judge.cases import CASES, Film, Shot
from makers.tone_judge.spectra import D65_TO_D50, camera_matrix

DEFAULT = (
    "clean", "usual, base", "usual, no base", "-2 EV", "+2 EV", "tungsten", "faded", "film: usual",
)  # fmt: skip
# The fullest that the sensor gets, as a share of its white level.
FULLEST = 0.85
CAMERA = raw_files.Camera(full_well=40_000.0, fall_off=0.25)


def _tagged(shot: Shot) -> tuple[int, int, int, bytes]:
    """Return the tag ColorMatrix1: XYZ (D65) to the camera's colours."""
    matrix = np.linalg.inv(camera_matrix(shot.rig.camera, shot.rig.light)) @ D65_TO_D50
    numbers = np.rint(matrix * 10000).astype(int).ravel()
    return 50721, 10, 9, b"".join(struct.pack("<2i", number, 10000) for number in numbers)


def captured_raw(shot: Shot, folder: Path, seed: int) -> Shot:
    """Return the shot with codes and profile as they are developed from a raw file of it."""
    light = shot.codes / 65535
    high, wide = light.shape[:2]
    # A sensor has even sides; what is added is cut off again.
    light = np.pad(light, ((0, high % 2), (0, wide % 2), (0, 0)), mode="edge")
    size = light.shape[:2]
    lamp = np.array(raw_files.LAMP)
    more = (_tagged(shot),)
    exposed = light * lamp * FULLEST / (light * lamp).max()
    raw_files.write(folder / "a.dng", exposed, CAMERA, raw_files.Shot(more=more), seed=seed)
    bare = np.broadcast_to(lamp * 0.8, (*size, 3))
    raw_files.write(folder / "light.dng", bare, CAMERA, raw_files.Shot(more=more), seed=seed + 1)
    table = raws.read(folder / "light.dng", 10**9)
    field = stored.read(stored.stored(flat.field_of(table)))
    raw = raws.read(folder / "a.dng", 10**9)
    # As bright as the perfect master, so that nothing but the capture itself is compared.
    gain = 0.8 * (light * lamp).max() / FULLEST
    plan = step.Plan("DHT", colours.CAMERA, (gain,) * 3, None, field, flat.dead_pixels(table))
    step.make(raw, plan, folder / "a.tif", "a.dng")
    with tifffile.TiffFile(folder / "a.tif") as made:
        codes = made.pages[0].asarray()[:high, :wide]
        return replace(shot, codes=codes, icc=bytes(made.pages[0].tags[34675].value))


def _errors(case: cases.Case, film: Film) -> list[Judged]:
    pairs = zip(film.shots, rendered.of_film(film), strict=True)
    return [judged(case, shot, answer) for shot, answer in pairs]


def _row(name: str, perfect: list[Judged], raw: list[Judged]) -> Row:
    one, other = (np.array([each.error for each in frames]) for frames in (perfect, raw))
    return {
        "case": name,
        "frames": one.size,
        "median": figure(float(np.median(one)), 2),
        "median, raw": figure(float(np.median(other)), 2),
        "p95": figure(float(np.percentile(one, 95)), 2),
        "p95, raw": figure(float(np.percentile(other, 95)), 2),
        "apart": figure(float(np.median(other - one)), 2),
        "apart at most": figure(float((other - one).max()), 2),
        "asked": sum(each.asked for each in perfect),
        "asked, raw": sum(each.asked for each in raw),
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--cases", nargs="+", default=list(DEFAULT), help="of tone-judge")
    parser.add_argument("--count", type=int, help="films of a case (two; with six frames, one)")
    parser.add_argument("--first", type=int, default=0, help="number of the first film")
    options = parser.parse_args(arguments)
    rows: list[Row] = []
    whole: tuple[list[Judged], list[Judged]] = ([], [])
    for name in options.cases:
        # Drawn as the case is named, so that its films are those of tone-judge.
        case = replace(CASES[name], encoding="camera")
        perfect: list[Judged] = []
        raw: list[Judged] = []
        for number in range(
            options.first, options.first + (options.count or 3 - min(case.frames, 2))
        ):
            film = cases.film(case, number)
            with tempfile.TemporaryDirectory() as folder:
                shots = [
                    captured_raw(shot, Path(folder), 10 * number + 2 * place)
                    for place, shot in enumerate(film.shots)
                ]
            perfect += _errors(case, film)
            raw += _errors(case, replace(film, shots=shots))
        rows.append(_row(name, perfect, raw))
        whole[0].extend(perfect)
        whole[1].extend(raw)
        print("  ".join(f"{key} {value}" for key, value in rows[-1].items()), flush=True)
    rows.append(_row("all", *whole))
    print("  ".join(f"{key} {value}" for key, value in rows[-1].items()))
    return Outcome(rows)
