"""Kill forty runs at random moments; after each, one plain run must give the same bytes.

tests/benchmarks/run faults-kills --kills 40 --seed 7
"""

from __future__ import annotations

import argparse
import shutil
import tempfile
from pathlib import Path
from random import Random

from benchmarks.result import Outcome
from faults import batches, kills
from makers.studio import Studio


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=40)
    parser.add_argument("--first", type=int, default=1, help="go on with this one of the kills")
    parser.add_argument("--items", type=int, default=12)
    parser.add_argument("--seed", type=int, default=7)
    options = parser.parse_args(arguments)
    root = Path(tempfile.mkdtemp(prefix="kills-"))
    studio = Studio(root / "undisturbed")
    batches.make_batch(studio.masters, options.items)
    reference = kills.undisturbed(studio)
    print(f"undisturbed: {reference.files} files", flush=True)
    random = Random(options.seed)
    rows, again = [], 0
    planned = [*enumerate(kills.plan_kills(options.kills, options.seed), 1)]
    for place, kill in planned[options.first - 1 :]:
        while True:
            folder = root / f"kill-{place}-{again}"
            found = kills.problems_after(reference, folder, kill, random)
            if not found or found == ["not struck"]:
                shutil.rmtree(folder)
            if found != ["not struck"]:
                break
            again += 1
            kill = kills.Kill(kill.target, kill.signal, kill.share * 0.8)
        rows.append({"kill": f"{place}: {kill}", "problems": "; ".join(found)})
        print(f"{place:2} {kill}: {'; '.join(found) or 'recovered'}", flush=True)
    recovered = sum(not row["problems"] for row in rows)
    print(f"{recovered} of {len(rows)} recovered byte-identical")
    if recovered == len(rows):
        shutil.rmtree(root)
    else:
        print(f"kept for a look: {root}")
    return Outcome(
        rows,
        good=recovered == len(rows),
        summary={
            "kills": len(rows),
            "items": options.items,
            "seed": options.seed,
            "recovered": recovered,
        },
    )
