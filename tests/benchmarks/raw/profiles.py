"""How near a camera's profile comes to known colours: a matrix, and a root polynomial of degree 2.

    tests/benchmarks/run raw-profiles

Patches are drawn spectra of film dyes and of paints, seen by an invented camera on an invented lamp
(`makers/camera_spectra.py`). Mean CIEDE2000 of each patch by a fit to the others, of 400 other
film dyes, and their 95th percentile; the mean of three sets of patches.
"""

from __future__ import annotations

import argparse

import numpy as np

from benchmarks.result import Outcome, Row
from glassine.develop import profile
from glassine.develop.profile import Terms
from glassine.night.camera_profile import differences
from makers import camera_spectra

KINDS: tuple[Terms, ...] = ("matrix", "roots")


def _off(patches: tuple[profile.Floats, profile.Floats], kind: Terms) -> tuple[float, float, float]:
    camera, xyz = patches
    others, wanted = camera_spectra.seen(camera_spectra.dyes(400, 77))
    matrix = profile.fit(camera, xyz, kind)
    left_out = differences(profile.left_out(camera, xyz, kind), xyz)
    film = differences(profile.terms(others, kind) @ matrix.T, wanted)
    return float(left_out.mean()), float(film.mean()), float(np.percentile(film, 95))


def main(arguments: list[str]) -> Outcome:
    argparse.ArgumentParser(description=__doc__.split("\n")[0]).parse_args(arguments)
    rows: list[Row] = []
    for name, draw, count in (
        ("film dyes", camera_spectra.dyes, 24),
        ("film dyes", camera_spectra.dyes, 48),
        ("film dyes", camera_spectra.dyes, 96),
        ("paints", camera_spectra.paints, 24),
    ):
        row: Row = {"patches": f"{count} {name}"}
        for kind in KINDS:
            sets = [_off(camera_spectra.seen(draw(count, seed)), kind) for seed in (1, 2, 3)]
            left_out, film, worst = np.mean(sets, axis=0)
            row |= {
                f"{kind}, left out": round(float(left_out), 2),
                f"{kind}, other film": round(float(film), 2),
                f"{kind}, other film p95": round(float(worst), 2),
            }
        rows.append(row)
        print("  ".join(f"{key} {value}" for key, value in row.items()), flush=True)
    return Outcome(rows)
