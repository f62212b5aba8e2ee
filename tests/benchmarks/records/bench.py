"""How long the record and the package of a one-frame item take, beside reading its bytes.

    tests/benchmarks/run records [--repetitions 20]

Prints milliseconds of processor time (all threads of the process) and of wall time: the best and
the median of the repetitions in a warm process, and once in a process of its own, imports included.
The item's pictures have a few bytes, so that hashing them costs next to nothing.
"""

from __future__ import annotations

import argparse
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.names import environment
from benchmarks.result import Outcome, Row


def item(root: Path):
    # Imported here, as in steps: a new process shows what each of them costs.
    from makers.item_records import Made

    made = Made(root).master("PEH-0001.tif").write()
    status = (made.batch_dir / "PEH-0001.tif").stat()
    made.given["masters"][0] |= {"mtime_ns": status.st_mtime_ns}
    made.given["settings"]["package"] = {"profile": "mets", "include_tiles": True}
    return made


def steps(made):
    """Return the two steps as functions without arguments."""
    from makers.step_calls import do_step

    places = (made.batch_dir, made.item_dir, made.given)
    return {
        "record": lambda: do_step("record", *places),
        "pack": lambda: do_step("pack", *places),
    }


def timed(step) -> tuple[float, float]:
    cpu, wall = time.process_time(), time.perf_counter()
    step()
    return (time.process_time() - cpu) * 1e3, (time.perf_counter() - wall) * 1e3


def once() -> None:
    """Run both steps once: what a process of its own costs, the imports with it."""
    with tempfile.TemporaryDirectory() as folder:
        for step in steps(item(Path(folder))).values():
            step()


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repetitions", type=int, default=20)
    repetitions = parser.parse_args(arguments).repetitions
    rows: list[Row] = []
    total = 0.0
    with tempfile.TemporaryDirectory() as folder:
        for name, step in steps(item(Path(folder))).items():
            step()
            found = [timed(step) for _ in range(repetitions)]
            for what, values in (("processor", 0), ("wall", 1)):
                figures = [each[values] for each in found]
                rows.append(
                    {
                        "what": f"{name}, {what}",
                        "best_ms": round(min(figures), 1),
                        "median_ms": round(statistics.median(figures), 1),
                    }
                )
                print(
                    f"{name:7} {what:9} best {min(figures):6.1f} ms  "
                    f"median {statistics.median(figures):6.1f} ms"
                )
            total += min(each[0] for each in found)
    print(f"record and pack together, processor time: {total:.1f} ms")
    started = time.perf_counter()
    command = [sys.executable, "-P", "-m", "benchmarks.records.bench"]
    subprocess.run(command, env=environment(), check=True)
    new = (time.perf_counter() - started) * 1e3
    print(f"both in one new process, wall time: {new:.0f} ms")
    rows.append({"what": "both, processor", "best_ms": round(total, 1)})
    rows.append({"what": "both in one new process, wall", "best_ms": round(new)})
    return Outcome(rows)


if __name__ == "__main__":
    once()
