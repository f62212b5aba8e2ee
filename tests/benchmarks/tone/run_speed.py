"""What tone and measures add to rendering: `python tests/benchmarks/tone/run_speed.py`.

One master of 150 megapixels is drawn, found and rendered; the processor time of each call of
`tone.plan`, `tone.apply` and `quality.measure` is taken in its own thread, and that of all of
render in its process. Wanted: they add no more than 25 % to the rest of render.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
import threading
import time
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[3]
sys.path[:0] = [str(PROJECT / "scripts"), str(PROJECT / "tests")]

from benchmarks.pixels import bench  # noqa: E402
from glassine import steps as steps_table  # noqa: E402
from glassine.night import due  # noqa: E402
from glassine.render import quality, tone  # noqa: E402


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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--item", default="PEH-0004", help="the sample that is drawn large")
    parser.add_argument("--size", default="14204x10652")
    parser.add_argument("--runs", type=int, default=2)
    options = parser.parse_args()
    clock = Clock()
    clock.around(tone, "plan")
    clock.around(tone, "apply")
    clock.around(quality, "measure")
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder)
        masters = bench.make_batch(work, options.size, 1, options.item)
        made = bench.take_in(masters, work)
        name = made.batches[0]
        item = made.batch(name).ready()[0]
        item_dir = made.results_dir(name) / "items" / item
        item_dir.mkdir(parents=True, exist_ok=True)
        adds = []
        for step in ("verify", "locate", *["render"] * options.runs):
            clock.taken.clear()
            started, wall = time.process_time(), time.perf_counter()
            given = due.given(step, made.batch(name), item, made.config)
            steps_table.function(step)(made.batch_dir(name), item_dir, given)
            if step != "render":
                continue
            cpu, wall = time.process_time() - started, time.perf_counter() - wall
            ours = sum(clock.taken.values())
            adds.append(100 * ours / (cpu - ours))
            parts = ", ".join(f"{part} {taken:.2f} s" for part, taken in clock.taken.items())
            print(f"render {cpu:.2f} s of processor, {wall:.1f} s of wall; {parts}", flush=True)
    print(f"{options.item}, {options.size}: adds {statistics.median(adds):.0f} % (wanted: 25)")


if __name__ == "__main__":
    main()
