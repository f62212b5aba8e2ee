"""Draw the eighty rigs, measure and judge them, and say which were named rightly.

tests/benchmarks/run targets [part of a rig's name]
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from benchmarks.result import Outcome
from benchmarks.targets import rigs
from glassine.targets import demands, description
from makers import target_calls
from makers.targets import draw_target as dt
from makers.targets import layouts


def judged(case: rigs.Case, described: description.Description, folder: Path) -> dict:
    scale = described.size_mm[0] / layouts.BASE[0]
    drawn = dt.draw(described, case.rig, layouts.squares(scale))
    dt.save(folder / "t.tif", drawn)
    flat = dt.draw_flat(case.rig, drawn.codes.shape[1], drawn.codes.shape[0], level=0.9)
    dt.save(folder / "f.tif", flat)
    film = case.kind == "transmissive"
    tables = [rigs.FILM_TABLE, "house_transmissive"] if film else []
    chosen = {"tables": tables, "require": rigs.REQUIRE, "on_failure": "hold"}
    entry = {
        "path": "t.tif",
        "description": "film-example.yaml" if film else "print-example.yaml",
        "flat_field": "f.tif",
        "nominal_ppi": case.rig.nominal_ppi or case.rig.ppi,
    }
    results = target_calls.measured(folder, folder / "out", [entry], chosen=chosen)
    findings = demands.holds(results, target_calls.section(**chosen))
    found = sorted({finding.code.removeprefix("targets.") for finding in findings})
    named = case.breaks in found if case.breaks else not found
    stray = sorted(set(found) - {case.breaks, *case.follows})
    return {
        "name": case.name,
        "breaks": case.breaks,
        "found": found,
        "named": named,
        "stray": stray,
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", nargs="?", default="", help="of a rig's name; else all")
    wanted = parser.parse_args(arguments).part
    folder = layouts.PROJECT / "config" / "targets"
    film = description.read(folder / "film-example.yaml")
    paper = description.read(folder / "print-example.yaml")
    begun = time.monotonic()
    rows = []
    for case in [*rigs.defects(film, paper), *rigs.clean(film, paper)]:
        if wanted in case.name:
            with tempfile.TemporaryDirectory() as temporary:
                described = film if case.kind == "transmissive" else paper
                rows.append(judged(case, described, Path(temporary)))
            print(
                ("ok  " if rows[-1]["named"] and not rows[-1]["stray"] else "BAD "),
                rows[-1],
                flush=True,
            )
    bad = [row for row in rows if row["breaks"]]
    good = [row for row in rows if not row["breaks"]]
    summary = {
        "defects": len(bad),
        "named_rightly": sum(row["named"] for row in bad),
        "with_stray_alarms": sum(bool(row["stray"]) for row in bad),
        "clean": len(good),
        "clean_held": sum(bool(row["found"]) for row in good),
    }
    print(summary, f"{time.monotonic() - begun:.0f} s")
    if not rows:
        raise SystemExit(f"No rig's name has {wanted!r} in it")
    flat = [
        {**row, "found": ", ".join(row["found"]), "stray": ", ".join(row["stray"])} for row in rows
    ]
    return Outcome(flat, summary=summary)
