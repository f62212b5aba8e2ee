"""Time a target of more than 100 megapixels on one core.

    VIPS_CONCURRENCY=1 taskset -c 0 tests/benchmarks/run targets-speed

The picture is a drawing of 25 megapixels with every pixel doubled both ways: it serves for time
alone. Prints seconds on the clock and of the processor.
"""

from __future__ import annotations

import argparse
import resource
import tempfile
import time
from pathlib import Path

import cv2
import pyvips

from benchmarks.result import Outcome
from glassine.targets import description, step
from makers import target_calls
from makers.targets import draw_target as dt
from makers.targets import layouts


def doubled(path: Path, drawn: dt.Drawn) -> int:
    small = path.with_suffix(".small.tif")
    dt.save(small, drawn)
    image = pyvips.Image.new_from_file(str(small)).zoom(2, 2)
    image.tiffsave(str(path))
    small.unlink()
    return int(image.width * image.height)


def main(arguments: list[str]) -> Outcome:
    argparse.ArgumentParser(description=__doc__).parse_args(arguments)
    cv2.setNumThreads(1)
    film = description.read(layouts.PROJECT / "config" / "targets" / "film-example.yaml")
    rig = dt.Rig(ppi=5400.0)
    rows = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        drawn = dt.draw(film, rig, layouts.squares(1.0))
        pixels = doubled(folder / "t.tif", drawn)
        doubled(
            folder / "f.tif", dt.draw_flat(rig, drawn.codes.shape[1], drawn.codes.shape[0], 0.9)
        )
        del drawn
        for name, flat in (("target", None), ("target and flat field", "f.tif")):
            entry = {"path": "t.tif", "description": "film-example.yaml", "flat_field": flat,
                     "nominal_ppi": 10800.0}  # fmt: skip
            given = target_calls.given([entry])
            clock, cpu = time.monotonic(), time.process_time()
            (result,) = step.measure_targets(folder, folder / "out", given)
            rows.append(
                {
                    "what": name,
                    "megapixels": round(pixels / 1e6, 1),
                    "state": result.state,
                    "clock_s": round(time.monotonic() - clock, 2),
                    "processor_s": round(time.process_time() - cpu, 2),
                }
            )
            print(rows[-1], flush=True)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    print(f"peak memory with drawing {peak} MB")
    return Outcome(rows)
