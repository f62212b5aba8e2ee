"""What tone and measures add to rendering.

    tests/benchmarks/run tone-speed

One master of 150 megapixels is drawn, found and rendered; the processor time of each call of
`tone.plan`, `toning.apply` and `quality.measure` is taken in its own thread, and that of all of
render in its process. Wanted: they add no more than 25 % to the rest of render.
"""

from __future__ import annotations

import argparse
import statistics
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchmarks.pixels import bench
from benchmarks.result import Outcome, Row
from glassine import steps as steps_table
from glassine.night import due
from glassine.render import quality, tone, toning


class Clock:
    """Adds up the processor time that wrapped functions take, by name."""

    def __init__(self) -> None:
        self.taken: dict[str, float] = defaultdict(float)
        self._lock = threading.Lock()

    def around(self, module: Any, name: str) -> None:
        function: Callable[..., Any] = getattr(module, name)

        def timed(*given: Any, **named: Any) -> Any:
            started = time.thread_time()
            try:
                return function(*given, **named)
            finally:
                with self._lock:
                    self.taken[name] += time.thread_time() - started

        setattr(module, name, timed)


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--item", default="PEH-0004", help="the sample that is drawn large")
    parser.add_argument("--size", default="14204x10652")
    parser.add_argument("--runs", type=int, default=2)
    options = parser.parse_args(arguments)
    clock = Clock()
    clock.around(tone, "plan")
    clock.around(toning, "apply")
    clock.around(quality, "measure")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        masters = bench.make_batch(work, options.size, 1, options.item)
        made = bench.take_in(masters, work)
        name = made.batches[0]
        item = made.lookup.batch(name).ready()[0]
        item_dir = made.place.results_dir(name) / "items" / item
        item_dir.mkdir(parents=True, exist_ok=True)
        adds = []
        rows: list[Row] = []
        for step in ("verify", "locate", *["render"] * options.runs):
            clock.taken.clear()
            started, wall = time.process_time(), time.perf_counter()
            given = due.given(step, made.lookup.batch(name), item, made.place.config)
            values = steps_table.given(step, given)
            steps_table.function(step)(made.place.batch_dir(name), item_dir, values)
            if step != "render":
                continue
            cpu, wall = time.process_time() - started, time.perf_counter() - wall
            ours = sum(clock.taken.values())
            if set(clock.taken) != {"plan", "apply", "measure"}:
                raise SystemExit(f"render does not call what is timed here: {sorted(clock.taken)}")
            adds.append(100 * ours / (cpu - ours))
            took = {f"{part}_s": round(taken, 2) for part, taken in clock.taken.items()}
            rows.append(
                {
                    "run": f"{options.item}, {len(rows) + 1}",
                    "processor_s": round(cpu, 2),
                    "wall_s": round(wall, 1),
                    **took,
                    "adds_percent": round(adds[-1]),
                }
            )
            parts = ", ".join(f"{part} {taken:.2f} s" for part, taken in clock.taken.items())
            print(f"render {cpu:.2f} s of processor, {wall:.1f} s of wall; {parts}", flush=True)
    print(f"{options.item}, {options.size}: adds {statistics.median(adds):.0f} % (wanted: 25)")
    return Outcome(rows)
