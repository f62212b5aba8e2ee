"""Whether each file of a studio's day has, after a night by the engine, the fate that a person wrote.

    tests/benchmarks/run identity-nights [NAME ...] [--work FOLDER]

Each day of `makers/studio_days.py` is a night of its own with its own settings. A file's fate is
told by intake.json, the items' records, and what lies in the delivered bag. `wrong`: another item,
or delivered where it should not be, or dropped without a word. `held`: a file that should go on is
held. `other`: any other difference, as for review where nothing should be asked.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import yaml

from benchmarks.result import Outcome, Row, figure
from makers import day_nights, studio_days
from makers.studio import Studio


def one_night(root: Path, name: str) -> tuple[Row, list[str]]:
    """Return the row of a day, and its differences in words."""
    studio = Studio(root / name)
    day = studio_days.make(name, studio.masters / name)
    settings = studio.root / "settings.yaml"
    settings.write_text(yaml.safe_dump(day_nights.stated(day)), "utf-8")
    start = time.perf_counter()
    outcome = studio.night("--cores", "2", "--configfile", str(settings))
    spent = time.perf_counter() - start
    row: Row = {"what": name, "files": len(day.fates), "right": 0, "wrong": 0, "held": 0}
    row |= {"other": 0, "exit": outcome.code, "seconds": figure(spent, 1)}
    if not (studio.root / "results" / name / "intake.json").exists():
        return row | {"wrong": len(day.fates)}, [outcome.text[-2000:]]
    found = day_nights.read(studio.root, name)
    made = day_nights.fates(day, found)
    words = []
    for path, meant in (day.fates | day.by_night).items():
        kind = _kind(meant, made[path])
        row[kind] = int(row[kind] or 0) + 1
        words += [] if kind == "right" else [f"{path}: {made[path]}, meant {meant}"]
    missing, surplus = day_nights.reconciled(found)
    for stated, told in ((day.missing, missing), (day.surplus, surplus)):
        if stated and sorted(stated) != told:
            row["wrong"] = int(row["wrong"] or 0) + 1
            words.append(f"missing or surplus: {told}, meant {stated}")
    return row, words


def _kind(meant: str, made: str) -> str:
    if meant == made:
        return "right"
    if made == "held":
        return "held"
    return "other" if meant.rstrip("?") == made.rstrip("?") else "wrong"


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("names", nargs="*", help="days; all where none is named")
    parser.add_argument("--work", type=Path, help="folder to keep results in (default: none)")
    options = parser.parse_args(arguments)
    rows: list[Row] = []
    with tempfile.TemporaryDirectory() as temporary:
        root = options.work or Path(temporary)
        for name in options.names or studio_days.DAYS:
            row, words = one_night(root, name)
            print("\n".join([name, *(f"  {each}" for each in words)]), flush=True)
            rows.append(row)
    whole: Row = {"what": "all days"}
    whole |= {
        key: sum(int(row[key] or 0) for row in rows)
        for key in ("files", "right", "wrong", "held", "other")
    }
    return Outcome([*rows, whole], not whole["wrong"])
