"""Time, work and memory of a delivery, with one process and with several, beside `cp` and digests.

tests/benchmarks/run deliver-speed --items 40 --megabytes 24 --tiles 150
tests/benchmarks/run deliver-speed --items 2000 --megabytes 0 --tiles 100 --processes 2

Wall times of a machine that does other things say little; `work` is what each needs of a processor:
`by_work` is how much sooner several processes are done that share what one does, where each has a
core: the work of one process, by the work that is not shared and the busiest share of the rest.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from benchmarks.deliver import batches
from benchmarks.names import environment
from benchmarks.result import Outcome, Row, Value

# A process that delivers the batch in argv[1] and prints what it took.
_DELIVER = """
import json, resource, sys, time
from pathlib import Path
from makers.step_calls import do_delivery
given = json.loads((Path(sys.argv[1]) / "given.json").read_text())
begin = time.monotonic()
before = resource.getrusage(resource.RUSAGE_SELF)
do_delivery(Path(sys.argv[1]), given)
took = time.monotonic() - begin
own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
print(json.dumps({
    "wall_s": took,
    "own_s": own.ru_utime + own.ru_stime - before.ru_utime - before.ru_stime,
    "shared_s": others.ru_utime + others.ru_stime,
    "peak_mb": own.ru_maxrss / 1024,
    "largest_other_mb": others.ru_maxrss / 1024,
}))
"""


def _delivered(root: Path, processes: int) -> dict[str, float]:
    shutil.rmtree(root / "deliveries", ignore_errors=True)
    for name in ("delivery-list.json", "delivered.json"):
        (root / "results/b1" / name).unlink(missing_ok=True)
    (root / "results" / "ids.json").unlink(missing_ok=True)
    done = subprocess.run(
        [sys.executable, "-c", _DELIVER, str(root)],
        env={**environment(), "GLASSINE_THREADS": str(processes)},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return dict(json.loads(done.stdout))


def _copied(root: Path) -> dict[str, float]:
    """Copy all that the delivery has, sync, and make both digests of the copies."""
    target = root / "copied"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begin = time.monotonic()
    subprocess.run(["cp", "-r", root / "deliveries/b1/data", target], check=True)
    subprocess.run(["sync", "-f", target], check=True)
    for command in ("sha256sum", "sha512sum"):
        subprocess.run(
            f"find {target} -type f -print0 | xargs -0 {command} > {root}/{command}.txt",
            shell=True,
            check=True,
        )
    took = time.monotonic() - begin
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    shutil.rmtree(target)
    work = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return {"wall_s": took, "own_s": work}


def _row(name: str, figures: dict[str, float], gigabytes: float) -> Row:
    work = figures["own_s"] + figures.get("shared_s", 0.0)
    row: dict[str, Value] = {"what": name, "wall_s": round(figures["wall_s"], 1)}
    row |= {"work_s": round(work, 1), "gb_a_core_second": round(gigabytes / work, 3)}
    for key in ("own_s", "shared_s", "peak_mb", "largest_other_mb"):
        row[key] = round(figures[key], 1) if key in figures else None
    return row


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--items", type=int, default=40)
    parser.add_argument("--megabytes", type=float, default=24, help="of a master")
    parser.add_argument("--tiles", type=int, default=150)
    parser.add_argument("--tile-bytes", type=int, default=12_000)
    parser.add_argument("--processes", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--form", default="folder")
    parser.add_argument("--at", help="a folder to work in, on the disk to be measured")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="deliver-", dir=options.at) as name:
        root = Path(name)
        size = max(1, int(options.megabytes * 1e6))  # a master of no bytes is none
        given: dict[str, Any] = batches.make(
            root, options.items, size, options.tiles, options.tile_bytes
        )
        given["settings"]["delivery"]["form"] = options.form
        (root / "given.json").write_text(json.dumps(given))
        figures = {count: _delivered(root, count) for count in options.processes}
        held = [path.stat().st_size for path in (root / "deliveries").rglob("*") if path.is_file()]
        gigabytes = sum(held) / 1e9
        rows = [
            _row(f"delivery, {count} processes", each, gigabytes) for count, each in figures.items()
        ]
        plain = _copied(root) if options.form == "folder" else None
        if plain:
            rows.append(_row("cp, sha256sum, sha512sum", plain, gigabytes))
    summary: Row = {
        "files": len(held),
        "gigabytes": round(gigabytes, 2),
        "load": os.getloadavg()[0],
    }
    one, several = figures.get(1), max(options.processes)
    if one and several > 1:
        alone = one["own_s"] + one["shared_s"]
        other = figures[several]
        busiest = other["own_s"] + other["shared_s"] / several
        summary |= {
            "by_wall": round(one["wall_s"] / other["wall_s"], 2),
            "by_work": round(alone / busiest, 2),
        }
    if plain:
        last = figures[several]
        summary["wall_beside_cp"] = round(last["wall_s"] / plain["wall_s"], 2)
    for row in rows:
        print(row)
    print(summary)
    return Outcome(rows, summary=None if len(rows) > 1 else summary)
