"""How surely faults of masters are found: `python tests/benchmarks/tone/run_quality.py`.

20 masters with each fault and 40 clean ones (see captures.py). A fault is found when its
measure does not pass; a clean master is a false alarm when any of these measures does not.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

PROJECT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(PROJECT / "scripts"), str(PROJECT / "tests")]

from benchmarks.tone import captures, run  # noqa: E402
from glassine.base import settings  # noqa: E402
from glassine.base.model import Facts, Frame, MasterGeometry, Measure  # noqa: E402
from glassine.render import quality, tone  # noqa: E402
from glassine.render.settings import RenderSettings  # noqa: E402

MEASURE_OF = {
    "clipped": "clipped_base",
    "upsampled": "sampling_used",
    "eight_bits": "bits_used",
    "defocused": "edge_blur",
    "uneven": "light_falloff",
    "rings": "newton_rings",
}


def geometry(source: run.ArraySource, monochrome: bool) -> MasterGeometry:
    e, w, h = captures.EDGE, source.width, source.height
    frame = Frame(
        1,
        ((e, e), (w - e, e), (w - e, h - e), (e, h - e)),
        0.0,
        "negative",
        "monochrome" if monochrome else "colour",
    )
    m = e - 6
    base = (
        ((4, 4), (w - 4, 4), (w - 4, m), (4, m)),
        ((4, h - m), (w - 4, h - m), (w - 4, h - 4), (4, h - 4)),
        ((4, m), (m, m), (m, h - m), (4, h - m)),
        ((w - m, m), (w - 4, m), (w - 4, h - m), (w - m, h - m)),
    )
    return MasterGeometry("a.tif", w, h, 4000.0, "tag", (frame,), base_regions=base)


def measured(codes: np.ndarray, monochrome: bool) -> dict[str, Measure]:
    """Return the measures of a master by name."""
    source, icc = run.ArraySource(codes), run.linear_profile()
    loaded = RenderSettings.of(settings.load({}))
    found = geometry(source, monochrome)
    plan = tone.plan(source, found, Facts(), icc, loaded.tone)[0]
    e = captures.EDGE
    rendered = tone.apply(np.ascontiguousarray(codes[e:-e, e:-e]), plan, icc)
    values = quality.measure(source, found, 1, plan, Facts(), {}, rendered, loaded.quality, icc)
    return {value.name: value for value in values}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faulty", type=int, default=20)
    parser.add_argument("--clean", type=int, default=40)
    parser.add_argument("--first", type=int, default=0, help="number of the first master")
    parser.add_argument("--show", action="store_true")
    options = parser.parse_args()
    started = time.perf_counter()
    for fault, name in MEASURE_OF.items():
        values = [
            measured(captures.capture(number, fault), number % 4 == 0)[name]
            for number in range(options.first, options.first + options.faulty)
        ]
        found = sum(value.verdict != "pass" for value in values)
        print(f"{fault:12} found {found} of {options.faulty} by {name}", flush=True)
        if options.show:
            print("   ", *(f"{value.value or 0:.2f}" for value in values), values[0].limit)
    alarms = []
    seen: dict[str, list[float]] = {name: [] for name in MEASURE_OF.values()}
    for number in range(options.first, options.first + options.clean):
        values_by_name = measured(captures.capture(number, None), number % 4 == 0)
        for name in seen:
            seen[name].append(float(values_by_name[name].value or 0))
        wrong = [name for name in seen if values_by_name[name].verdict != "pass"]
        alarms += [(number, name) for name in wrong]
    print(f"clean: {len({number for number, _ in alarms})} of {options.clean} give a false alarm")
    print("   ", *alarms)
    if options.show:
        for name, found_values in seen.items():
            print("   ", name, *(f"{value:.2f}" for value in found_values))
    print(f"{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
