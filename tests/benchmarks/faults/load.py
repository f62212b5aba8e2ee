"""Two thousand small masters in one night: time, memory, open files, and that the items add up.

tests/benchmarks/run faults-load --items 2000
"""

from __future__ import annotations

import argparse
import json
import subprocess
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

from benchmarks.result import Outcome
from faults import batches, watch
from glassine.base import item_states
from makers.studio import Studio


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--items", type=int, default=2000)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="load-") as name:
        studio = Studio(Path(name))
        batches.make_batch(studio.masters, options.items)
        before = studio.masters_state()
        results = studio.root / "results" / batches.BATCH
        started = time.monotonic()
        log = (studio.root / "night.log").open("wb")
        run = subprocess.Popen(studio.command(), env=studio.environment(), stdout=log, stderr=log)
        seen = watch.watched(run, results, pause_s=10)
        took = time.monotonic() - started
        counts = item_states.counts(item_states.batch_status(results))
        result = {
            "items": options.items,
            "exit": run.returncode,
            "seconds": round(took),
            "counts": counts,
            "masters_unchanged": studio.masters_state() == before,
            **asdict(seen),
        }
        print(json.dumps(result, indent=2))
        if run.returncode:
            print((studio.root / "night.log").read_text()[-3000:])
    good = run.returncode == 0 and not seen.wrong and seen.open_files < 256
    flat = {
        key: str(value) if isinstance(value, list | dict) else value
        for key, value in result.items()
    }
    return Outcome([flat], good=good and bool(result["masters_unchanged"]))
