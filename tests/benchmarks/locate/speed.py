"""Processor time and memory of the step `locate` alone, a process for each master.

    tests/benchmarks/run locate-speed                       24 megapixels, three runs
    tests/benchmarks/run locate-speed --size 14204x10652    150 megapixels
    tests/benchmarks/run locate-speed --masters FOLDER      drawn there, for another run too
    tests/benchmarks/run locate-speed --profile             and where it goes, function by function

Masters: one frame of film, a strip of it, a plate, a sleeve page of twenty pictures (a drawn scene
enlarged), each as 16 bits and by what a batch states of them (kind, nominal ppi) and as nothing is
stated. `first` is the first master of a process, which reads the network and makes its tables too;
`again` the same once more. Importing is not counted. The least of the runs is told, as other work
on the machine only ever adds.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.names import PROJECT, environment
from benchmarks.result import Outcome, Row

AGAIN = [sys.executable, "-P", "-m", "benchmarks.locate.speed", "one"]
# Items of `makers.film.samples`, and what a batch states of them.
FILM = {"frame": "PEH-0001", "strip": "PEH-0006", "plate": "PEH-0004"}
KINDS = {"frame": "frame_135", "strip": "strip_135", "plate": "plate", "sleeve": "auto"}
SLEEVE_SEED = 200


def film_master(name: str, size: str, folder: Path) -> Path:
    """Draw a master of film into `folder`, unless it is there."""
    path = folder / f"{name}-{size}.tif"
    if not path.exists():
        with tempfile.TemporaryDirectory(dir=folder) as made:
            command = [sys.executable, str(PROJECT / "tests/makers/make_film.py")]
            command += ["--item", FILM[name], "--size", size, "--out", made]
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
            (Path(made) / f"{FILM[name]}.tif").rename(path)
    return path


def sleeve_master(size: str, folder: Path) -> Path:
    """Draw a sleeve page, enlarged to as many pixels, into `folder`, unless it is there."""
    path = folder / f"sleeve-{size}.tif"
    if path.exists():
        return path
    import cv2
    import tifffile

    from benchmarks.locate.run import scene_of

    scene = scene_of("layouts_other", "sleeve_135", SLEEVE_SEED)
    width, height = (int(side) for side in size.split("x"))
    pixels = scene["pixels"]
    by = (width * height / (pixels.shape[0] * pixels.shape[1])) ** 0.5
    large = cv2.resize(pixels, None, fx=by, fy=by, interpolation=cv2.INTER_CUBIC)
    rng = np.random.default_rng(SLEEVE_SEED)
    for top in range(0, len(large), 256):
        band = large[top : top + 256]
        band += rng.integers(0, 300, band.shape, np.uint16) * (band < 65000)
    ppi = scene["ppi"] * by
    tifffile.imwrite(path, large, photometric="rgb", rowsperstrip=64, resolution=(ppi, ppi))
    return path


def one(path: Path, kind: str, profiled: bool) -> None:
    """Locate the frames of a master in this process, twice; print the figures as JSON."""
    from glassine.base.model import Facts
    from glassine.base.records.given import StatedMaster
    from glassine.locate import step
    from glassine.locate.given import LocateGiven

    master = StatedMaster(path=path.name)
    given = LocateGiven(item="BENCH-0001", masters=(master,), facts=Facts(kind=kind))
    seconds = []
    found: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as item:
        for _ in range(2):
            began = time.process_time()
            step.locate_item(path.parent, Path(item), given)
            seconds.append(time.process_time() - began)
        found = json.loads((Path(item) / "geometry.json").read_text("utf-8"))["masters"][0]
        if profiled:
            profile = cProfile.Profile()
            profile.runcall(step.locate_item, path.parent, Path(item), given)
            pstats.Stats(profile, stream=sys.stderr).sort_stats("cumulative").print_stats(70)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    figures = {"first": seconds[0], "again": seconds[1], "peak_mb": peak}
    print(json.dumps({**figures, "frames": len(found["frames"])}))


def timed(path: Path, kind: str, runs: int, profiled: bool) -> dict[str, Any]:
    """Return the least figures of processes that locate one master."""
    command = [*AGAIN, str(path), kind, *(["--profile"] if profiled else [])]
    told = []
    for _ in range(runs):
        done = subprocess.run(
            command,
            check=True,
            stdout=subprocess.PIPE,
            env={**environment(), "OMP_NUM_THREADS": "1", "VIPS_CONCURRENCY": "1"},
        )
        told.append(json.loads(done.stdout))
    least = {key: min(each[key] for each in told) for key in ("first", "again", "peak_mb")}
    return {**least, "frames": told[0]["frames"]}


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", default="6000x4000", help="of the masters, px")
    parser.add_argument("--runs", type=int, default=3)
    parser.add_argument("--masters", type=Path, help="folder of drawn masters, for another run")
    parser.add_argument("--only", choices=KINDS, action="append", help="these alone")
    parser.add_argument("--profile", action="store_true", help="tell what takes the time")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.masters or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        rows: list[Row] = []
        for name in options.only or KINDS:
            if name in FILM:
                path = film_master(name, options.size, folder)
            else:
                path = sleeve_master(options.size, folder)
            for kind in dict.fromkeys((KINDS[name], "auto")):
                told = timed(path, kind, options.runs, options.profile)
                rows.append(
                    {
                        "master": f"{name}, {'nothing stated' if kind == 'auto' else kind}",
                        "frames": told["frames"],
                        "first_cpu_s": round(told["first"], 2),
                        "again_cpu_s": round(told["again"], 2),
                        "peak_mb": round(told["peak_mb"]),
                    }
                )
                print(rows[-1], flush=True)
    return Outcome(rows)


if __name__ == "__main__" and sys.argv[1:2] == ["one"]:
    one(Path(sys.argv[2]), sys.argv[3], "--profile" in sys.argv)
