"""Two thousand small masters in one night: time, memory, open files, and that the items add up.

python tests/benchmarks/faults/load.py --items 2000
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[3] / "scripts")]

from faults import batches, watch  # noqa: E402
from glassine.base import item_states  # noqa: E402
from makers.studio import Studio  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--items", type=int, default=2000)
    parser.add_argument("--result", type=Path)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="load-") as name:
        studio = Studio(Path(name))
        batches.make_batch(studio.masters, arguments.items)
        before = studio.masters_state()
        results = studio.root / "results" / batches.BATCH
        started = time.monotonic()
        log = (studio.root / "night.log").open("wb")
        run = subprocess.Popen(studio.command(), env=studio.environment(), stdout=log, stderr=log)
        seen = watch.watched(run, results, pause_s=10)
        took = time.monotonic() - started
        counts = item_states.counts(item_states.batch_status(results))
        result = {
            "items": arguments.items,
            "exit": run.returncode,
            "seconds": round(took),
            "counts": counts,
            "masters_unchanged": studio.masters_state() == before,
            **asdict(seen),
        }
        print(json.dumps(result, indent=2))
        if run.returncode:
            print((studio.root / "night.log").read_text()[-3000:])
    if arguments.result:
        arguments.result.write_text(json.dumps(result, indent=2) + "\n")
    good = run.returncode == 0 and not seen.wrong and seen.open_files < 256
    return 0 if good and result["masters_unchanged"] else 1


if __name__ == "__main__":
    sys.exit(main())
