"""How surely faults of masters are found.

    tests/benchmarks/run tone-quality --first 400

20 masters with each fault and 40 clean ones (makers/tone/captures.py). A fault is found when its
measure does not pass; a clean master is a false alarm when any of these measures does not.
"""

from __future__ import annotations

import argparse
import time

from benchmarks.result import Outcome, Row
from makers.tone import captures
from makers.tone.measures import MEASURE_OF, measured


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faulty", type=int, default=20)
    parser.add_argument("--clean", type=int, default=40)
    parser.add_argument("--first", type=int, default=0, help="number of the first master")
    parser.add_argument("--show", action="store_true")
    options = parser.parse_args(arguments)
    started = time.perf_counter()
    rows: list[Row] = []
    for fault, name in MEASURE_OF.items():
        values = [
            measured(captures.capture(number, fault), number % 4 == 0)[name]
            for number in range(options.first, options.first + options.faulty)
        ]
        found = sum(value.verdict != "pass" for value in values)
        rows.append({"fault": fault, "masters": options.faulty, "found": found, "by": name})
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
    alarmed = len({number for number, _ in alarms})
    rows.append({"fault": "none (false alarms)", "masters": options.clean, "found": alarmed})
    print(f"clean: {alarmed} of {options.clean} give a false alarm")
    print("   ", *alarms)
    if options.show:
        for name, found_values in seen.items():
            print("   ", name, *(f"{value:.2f}" for value in found_values))
    print(f"{time.perf_counter() - started:.0f} s")
    return Outcome(rows)
