"""Kill forty runs at random moments; after each, one plain run must give the same bytes.

python tests/benchmarks/faults/kills.py --kills 40 --seed 7
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
from pathlib import Path
from random import Random

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[3] / "scripts")]

from faults import batches, kills  # noqa: E402
from makers.studio import Studio  # noqa: E402


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=40)
    parser.add_argument("--first", type=int, default=1, help="go on with this one of the kills")
    parser.add_argument("--items", type=int, default=12)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--result", type=Path, help="also write the result here, as JSON")
    arguments = parser.parse_args()
    root = Path(tempfile.mkdtemp(prefix="kills-"))
    studio = Studio(root / "undisturbed")
    batches.make_batch(studio.masters, arguments.items)
    reference = kills.undisturbed(studio)
    print(f"undisturbed: {reference.seconds:.1f} s", flush=True)
    random = Random(arguments.seed)
    rows, again = [], 0
    planned = [*enumerate(kills.plan_kills(arguments.kills, arguments.seed), 1)]
    for place, kill in planned[arguments.first - 1 :]:
        while True:
            folder = root / f"kill-{place}-{again}"
            found = kills.problems_after(reference, folder, kill, random)
            if not found or found == ["not struck"]:
                shutil.rmtree(folder)
            if found != ["not struck"]:
                break
            again += 1
            kill = kills.Kill(kill.target, kill.signal, kill.share * 0.8)
        rows.append({"kill": str(kill), "problems": found})
        print(f"{place:2} {kill}: {'; '.join(found) or 'recovered'}", flush=True)
    recovered = sum(not row["problems"] for row in rows)
    print(f"{recovered} of {len(rows)} recovered byte-identical")
    if arguments.result:
        result = {"seed": arguments.seed, "items": arguments.items, "recovered": recovered}
        arguments.result.write_text(json.dumps({**result, "kills": rows}, indent=2) + "\n")
    if recovered == len(rows):
        shutil.rmtree(root)
    else:
        print(f"kept for a look: {root}")
    return 0 if recovered == len(rows) else 1


if __name__ == "__main__":
    sys.exit(main())
