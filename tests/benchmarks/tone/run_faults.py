"""How surely weak and strong faults made from physics are found, and what clean frames raise.

    tests/benchmarks/run tone-faults                                  ten to fifteen minutes
    tests/benchmarks/run tone-faults --first 900 --pictures FOLDER    other photographs
    tests/benchmarks/run tone-faults --fault motion --clean 0 --show

20 masters with each fault, weak and strong, and 100 clean ones (makers/frame_judge.py). found: a
measure that tells the fault asks for a look; not_measured: none of them could tell, and says so;
silent: they were measured, and passed. A clean master is a false alarm when any of these measures
asks for a look; `clean` rows tell which. Demanded: 19 of 20 strong, 14 of 20 weak, 3 % of the
clean. Nothing was chosen on the numbers from 600 on.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from benchmarks.result import Outcome, Row
from glassine.base import processor
from glassine.base.records.quality import Measure
from makers import frame_judge
from makers.tone import judged_measures

# Share of the faulty masters that must be found, and of the clean that may raise an alarm.
DEMANDED = {"weak": 14 / 20, "strong": 19 / 20}
FALSE_ALARMS = 0.03

Values = dict[str, Measure]


def _measured(number: int, fault: str | None, strength: str) -> Values:
    drawn = frame_judge.master(number, fault, strength)
    return judged_measures.of_sight(judged_measures.sight_of(drawn))


def told(values: Values, names: tuple[str, ...]) -> str:
    """Return what measures of these names say of a master: found, silent or not_measured."""
    verdicts = {values[name].verdict for name in names if name in values}
    if verdicts & {"review", "fail"}:
        return "found"
    return "silent" if "pass" in verdicts else "not_measured"


def of_fault(fault: str, strength: str, measured: list[Values]) -> tuple[Row, bool]:
    """Return the row of a fault, and whether as many masters are found as is demanded."""
    names = judged_measures.MEASURES_OF[fault]
    counts = Counter(told(values, names) for values in measured)
    row: Row = {
        "fault": f"{fault}, {strength}",
        "masters": len(measured),
        "found": counts["found"],
        "silent": counts["silent"],
        "not_measured": counts["not_measured"],
    }
    return row, counts["found"] >= DEMANDED[strength] * len(measured)


def of_clean(measured: dict[int, Values]) -> tuple[list[Row], bool]:
    """Return the rows of clean masters: of all, and of each measure that raises an alarm."""
    wrong = {number: judged_measures.alarms(values) for number, values in measured.items()}
    count = sum(bool(names) for names in wrong.values())
    each = Counter(name for names in wrong.values() for name in names)
    rows: list[Row] = [{"fault": "none (false alarms)", "masters": len(measured), "found": count}]
    rows += [
        {"fault": f"none: {name}", "masters": len(measured), "found": each[name]}
        for name in sorted(each)
    ]
    return rows, count <= FALSE_ALARMS * len(measured)


def _of_all(options: argparse.Namespace, measured: Callable[..., Values]) -> tuple[list[Row], bool]:
    rows, good = [], True
    numbers = range(options.first, options.first + options.faulty)
    for fault in options.fault or frame_judge.FAULTS:
        for strength in frame_judge.STRENGTHS:
            seen = [measured(number, fault, strength) for number in numbers]
            row, kept = of_fault(fault, strength, seen)
            rows.append(row)
            good = good and kept
            print(*row.values(), flush=True)
            if options.show:
                names = judged_measures.MEASURES_OF[fault]
                for number, values in zip(numbers, seen, strict=True):
                    print("  ", number, *(values[n].value for n in names if n in values))
    return rows, good


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--faulty", type=int, default=20)
    parser.add_argument("--clean", type=int, default=100)
    parser.add_argument("--first", type=int, default=600, help="number of the first of each kind")
    parser.add_argument("--fault", nargs="+", choices=frame_judge.FAULTS, help="these alone")
    parser.add_argument("--pictures", type=Path, help="a folder of photographs in place of ours")
    parser.add_argument("--show", action="store_true")
    options = parser.parse_args(arguments)
    processor.same_everywhere()
    if options.pictures:
        frame_judge.use_photographs(options.pictures)
    rows, good = _of_all(options, _measured)
    numbers = range(options.first, options.first + options.clean)
    clean_rows, kept = of_clean({number: _measured(number, None, "weak") for number in numbers})
    for row in clean_rows:
        print(*row.values())
    return Outcome(rows + clean_rows, good and kept)
