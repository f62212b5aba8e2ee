"""Mutate masters two thousand times; each must be taken or held, quickly and in bounded memory.

    tests/benchmarks/run faults-fuzz --files 2000 --seed 11

Each file goes the way of a master: header, then every pixel decoded, in a process with limits
(memory, time). What is not an answer of ours is counted: a crash, a hang, too much memory, or an
error that is no finding.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

from benchmarks.result import Outcome
from faults.mutate import mutated
from glassine.base.helper_process import Apart
from makers import seed_masters


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--files", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument(
        "--broken",
        type=Path,
        default=Path(tempfile.gettempdir()),
        help="folder for the files that were not handled",
    )
    options = parser.parse_args(arguments)
    random = Random(options.seed)
    counted: Counter[str] = Counter()
    slowest = 0.0
    question = "makers.seed_masters:way_of_a_master"
    with (
        tempfile.TemporaryDirectory() as name,
        Apart(question) as apart,
    ):
        sound = seed_masters.seeds(Path(name))
        path = Path(name) / "PEH-0001.tif"
        for number in range(options.files):
            path.write_bytes(mutated(sound[number % len(sound)], random))
            started = time.monotonic()
            told = apart.ask(str(path), **seed_masters.LIMITS)
            slowest = max(slowest, time.monotonic() - started)
            counted[told or "NOT HANDLED"] += 1
            if told is None:
                kept = options.broken / f"not-handled-{number}.tif"
                kept.write_bytes(path.read_bytes())
                print(f"not handled: {kept}", flush=True)
    handled = options.files - counted["NOT HANDLED"]
    print(f"{handled} of {options.files} handled; slowest {slowest:.2f} s")
    for code, count in counted.most_common():
        print(f"{count:6} {code}")
    summary = {"files": options.files, "seed": options.seed, "handled": handled}
    return Outcome(
        [{"code": code, "files": count} for code, count in counted.most_common()],
        good=handled == options.files,
        summary={**summary, "slowest_s": round(slowest, 2)},
    )
