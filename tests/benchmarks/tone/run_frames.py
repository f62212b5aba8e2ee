"""How surely weak and strong faults are found on photographs and hard drawn subjects.

    tests/benchmarks/run tone-frames --first 20

20 masters with each fault, weak and strong, and 60 clean ones (makers/tone/frame_faults.py). A
fault is found when a measure that tells it asks for a look; a clean master is a false alarm when
any of these measures does. Limits were chosen on the numbers 0 to 9 (clean: 0 to 43).
"""

from __future__ import annotations

import argparse
import time

from benchmarks.result import Outcome, Row
from glassine.base import processor
from makers.tone import frame_faults
from makers.tone.frame_measures import ALL, alarms, of_master


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faulty", type=int, default=20)
    parser.add_argument("--clean", type=int, default=60)
    parser.add_argument("--first", type=int, default=20, help="number of the first faulty master")
    parser.add_argument("--first-clean", type=int, default=44)
    parser.add_argument("--fault", choices=frame_faults.FAULTS, help="this one alone")
    parser.add_argument("--show", action="store_true")
    options = parser.parse_args(arguments)
    processor.same_everywhere()
    started = time.perf_counter()
    rows: list[Row] = []
    numbers = range(options.first, options.first + options.faulty)
    for fault in [options.fault] if options.fault else frame_faults.FAULTS:
        names = frame_faults.MEASURES_OF[fault]
        for strength in frame_faults.STRENGTHS:
            seen = [of_master(number, fault, strength) for number in numbers]
            found = sum(bool(alarms(values, names)) for values in seen)
            unseen = sum(all(values[n].value is None for n in names) for values in seen)
            rows.append(
                {
                    "fault": f"{fault}, {strength}",
                    "masters": len(seen),
                    "found": found,
                    "not_measured": unseen,
                }
            )
            print(f"{fault:16} {strength:7} found {found} of {len(seen)}", flush=True)
            if options.show:
                print("   ", *(values[names[0]].value for values in seen))
    wrong = {}
    clean = range(options.first_clean, options.first_clean + options.clean)
    for number in clean:
        names_wrong = alarms(of_master(number, None), ALL)
        if names_wrong:
            wrong[number] = names_wrong
    rows.append({"fault": "none (false alarms)", "masters": len(clean), "found": len(wrong)})
    print(f"clean: {len(wrong)} of {len(clean)} give a false alarm", wrong)
    print(f"{time.perf_counter() - started:.0f} s")
    return Outcome(rows)
