"""What developing a raw capture costs, beside LibRaw's own development by the same method.

    OMP_NUM_THREADS=1 tests/benchmarks/run raw-speed
    OMP_NUM_THREADS=1 tests/benchmarks/run raw-speed --megapixels 24 --methods AHD --runs 3

Ours reads the raw file, corrects it by a light capture, and writes the picture with its profile;
LibRaw's decodes the same file and leaves 16-bit linear colours in memory. Each is a process of its
own; figures are seconds of the processor, the least of the runs in turn, and the most memory.
`ratio` is ours over LibRaw's; the demand is 1.3 at most, and 2.5 GB.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from benchmarks.names import environment
from benchmarks.result import Outcome, Row

MOST_TIMES, MOST_MB = 1.3, 2500
SIZES = {24: (4000, 6000), 50: (6192, 8256), 100: (8736, 11648)}


def draw(folder: Path, megapixels: int) -> None:
    """Write a capture and the bare table's: a soft picture with grain, which serves for time."""
    import cv2

    from makers import raw_files

    height, width = SIZES[megapixels]
    random = np.random.default_rng(1)
    camera = raw_files.Camera(full_well=0)
    lamp = np.array(raw_files.LAMP) * 0.8
    fall = raw_files.fall_off(height, width, camera.fall_off).astype(np.float32)
    soft = random.uniform(0.1, 0.9, (height // 40, width // 40, 3)).astype(np.float32)
    mosaics = {name: np.empty((height, width), np.uint16) for name in ("film", "light")}
    for place, colour in enumerate(raw_files.PATTERNS[camera.pattern]):
        down, across = divmod(place, 2)
        site = np.s_[down::2, across::2]
        shape = fall[site].shape
        film = cv2.resize(soft[..., colour], shape[::-1], interpolation=cv2.INTER_CUBIC)
        film = film + random.normal(0, 0.01, shape).astype(np.float32)
        for name, light in (("film", np.clip(film, 0, 1)), ("light", np.float32(1))):
            share = light * fall[site] * np.float32(lamp[colour])
            share += random.normal(0, 0.002, shape).astype(np.float32)
            codes = camera.black + np.clip(share, 0, 1) * (camera.white - camera.black)
            mosaics[name][site] = np.rint(codes).astype(np.uint16)
    for name, samples in mosaics.items():
        shot = raw_files.Shot(taken=f"2026:03:17 {9 + (name == 'film')}:00:00".replace(" 9", " 09"))
        (folder / f"{name}.dng").write_bytes(raw_files.dng(samples, camera, shot))


def libraw(folder: Path, method: str) -> None:
    import rawpy

    with rawpy.imread(str(folder / "film.dng")) as raw:
        raw.postprocess(
            demosaic_algorithm=getattr(rawpy.DemosaicAlgorithm, method),
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            gamma=(1, 1),
            no_auto_bright=True,
            user_flip=0,
        )


def ours(folder: Path, method: str) -> None:
    import msgspec

    from glassine.base.files import read_json
    from glassine.base.records.developed import StoredField
    from glassine.develop import step, stored
    from glassine.masters import raws

    session = read_json(folder / "session.json")
    kept = msgspec.convert(session["field"], StoredField)
    raw = raws.read(folder / "film.dng", 10**9)
    dead = stored.read_pixels(session["dead"], raw.sensor.shape[:2])
    plan = step.Plan(method, "camera", (0.9, 0.9, 0.9), 0.9, stored.read(kept), dead)
    step.make(raw, plan, folder / "film.tif", "film.dng")


def measure_light(folder: Path) -> None:
    import msgspec

    from glassine.base.files import write_json
    from glassine.develop import flat, stored
    from glassine.masters import raws

    raw = raws.read(folder / "light.dng", 10**9)
    field = msgspec.to_builtins(stored.stored(flat.field_of(raw)))
    dead = stored.packed_pixels(flat.dead_pixels(raw))
    write_json(folder / "session.json", {"field": field, "dead": dead})


def one(arguments: list[str]) -> None:
    """Do one thing in this process, and print what it cost."""
    from glassine.base import processor

    what, folder, detail = arguments
    processor.same_everywhere()
    # Not part of what is measured, for either.
    import rawpy  # noqa: F401
    import tifffile  # noqa: F401

    import glassine.develop.step  # noqa: F401

    begun = time.process_time()
    if what == "draw":
        draw(Path(folder), int(detail))
    elif what == "light":
        measure_light(Path(folder))
    else:
        {"libraw": libraw, "ours": ours}[what](Path(folder), detail)
    spent = time.process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"s": spent, "mb": peak}))


def spent(what: str, folder: Path, detail: str) -> dict[str, float]:
    command = [sys.executable, "-P", "-m", "benchmarks.raw.speed", what, str(folder), detail]
    done = subprocess.run(command, env=environment(), capture_output=True, text=True, check=True)
    return dict(json.loads(done.stdout))


def _row(folder: Path, megapixels: int, method: str, runs: int) -> Row:
    taken: dict[str, list[dict[str, float]]] = {"libraw": [], "ours": []}
    for _ in range(runs):  # in turn, so that a busy machine is busy for both
        for what, figures in taken.items():
            figures.append(spent(what, folder, method))
    least = {what: min(each["s"] for each in figures) for what, figures in taken.items()}
    most = {what: max(each["mb"] for each in figures) for what, figures in taken.items()}
    return {
        "what": f"{method}, {megapixels} megapixels",
        "libraw_s": round(least["libraw"], 2),
        "ours_s": round(least["ours"], 2),
        "ratio": round(least["ours"] / least["libraw"], 2),
        "libraw_mb": round(most["libraw"]),
        "ours_mb": round(most["ours"]),
    }


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--megapixels", nargs="+", type=int, choices=SIZES, default=[24, 100])
    parser.add_argument("--methods", nargs="+", default=["AHD", "DHT"])
    parser.add_argument("--runs", type=int, default=2)
    parser.add_argument("--folder", type=Path, help="keeps what is drawn, and uses it again")
    options = parser.parse_args(arguments)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as temporary:
        for megapixels in options.megapixels:
            folder = (options.folder or Path(temporary)) / str(megapixels)
            folder.mkdir(parents=True, exist_ok=True)
            if not (folder / "light.dng").exists():
                spent("draw", folder, str(megapixels))
            light = spent("light", folder, "")
            label = f"light capture, {megapixels} megapixels"
            rows.append(
                {"what": label, "ours_s": round(light["s"], 2), "ours_mb": round(light["mb"])}
            )
            print(rows[-1], flush=True)
            for method in options.methods:
                rows.append(_row(folder, megapixels, method, options.runs))
                print(rows[-1], flush=True)
    compared = [row for row in rows if "ratio" in row]
    good = all(row["ratio"] <= MOST_TIMES and row["ours_mb"] <= MOST_MB for row in compared)
    return Outcome(rows, good)


if __name__ == "__main__":
    one(sys.argv[1:])
