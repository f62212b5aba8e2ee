"""What each step of an item costs in the fork of a warm process, as a night does it, step by step.

  tests/benchmarks/run pixels-steps                             three masters of 6 megapixels
  tests/benchmarks/run pixels-steps --size 6000x4000 --peers    of 24, beside commands
  tests/benchmarks/run pixels-steps --masters DIR               one batch that was made before

Processor time alone, medians over the items: a machine that does other things too disturbs that
less than the clock, but some. Each item is done by two forks, as where negatives may share a film;
the second decodes a compressed master anew. A digest of all results of each item is printed, by which
two versions of the code are compared (of the same files, with SOURCE_DATE_EPOCH set).
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import statistics
import tempfile
import time
from functools import partial
from pathlib import Path
from typing import Any

from benchmarks.pixels import bench, peers
from benchmarks.result import Outcome, Row

HALVES = (("verify", "locate", "look"), ("render", "embed", "record", "pack"))


def _forked(work: Any) -> os.struct_rusage:
    """Return what a fork used that does `work`, which must not fail."""
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            work()
            code = 0
        finally:
            os._exit(code)
    _, status, used = os.wait4(pid, 0)
    if status:
        raise SystemExit("a step failed, or the batch is no batch that can be taken in")
    return used


def _do(run: Any, item: str, names: tuple[str, ...], told: Path) -> None:
    from glassine import steps
    from glassine.night import due

    name = run.batches[0]
    item_dir = run.place.results_dir(name) / "items" / item
    item_dir.mkdir(parents=True, exist_ok=True)
    figures = {}
    for step in names:
        given = due.given(step, run.lookup.batch(name), item, run.place.config)
        started = time.process_time()
        values = steps.given(step, given | {"masters_read": True})
        steps.function(step)(run.place.batch_dir(name), item_dir, values)
        figures[step] = (time.process_time() - started) * 1000
    told.write_text(json.dumps(figures))


def _digest(folder: Path) -> str:
    whole = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        whole.update(f"{path.relative_to(folder)}\0".encode() + path.read_bytes())
    return whole.hexdigest()[:16]


def _row(what: str, figures: list[float]) -> Row:
    return {"what": what, "cpu_ms": round(statistics.median(figures))}


def measured(masters: Path, work: Path, with_peers: bool) -> list[Row]:
    """Return a row for each step, each fork, and each peer; print a digest of each item."""
    from glassine.base import threads
    from glassine.night import run as runs
    from glassine.night import warm

    os.environ.update(warm.ONE_THREAD)
    warm._load()
    threads.announce(1)
    _forked(lambda: bench.take_in(masters, work))
    run = runs.Run({"masters": str(masters)}, work)
    name = run.batches[0]
    by_step: dict[str, list[float]] = {}
    forks: list[list[os.struct_rusage]] = [[], []]
    count = 0
    told = work / "told.json"
    for item in run.lookup.batch(name).ready():
        for number, half in enumerate(HALVES):
            forks[number].append(_forked(partial(_do, run, item, half, told)))
            for step, figure in json.loads(told.read_text()).items():
                by_step.setdefault(step, []).append(figure)
        count += 1
        found = _digest(run.place.results_dir(name) / "items" / item)
        print(f"results of {item}: {found}", flush=True)
    rows = [_row(step, figures) for step, figures in by_step.items()]
    whole = [0.0] * count
    for half, used in zip(("first fork", "second fork"), forks, strict=True):
        figures = [(each.ru_utime + each.ru_stime) * 1000 for each in used]
        peak = max(each.ru_maxrss for each in used) / 1024
        rows.append(_row(half, figures) | {"peak_mb": round(peak)})
        whole = [before + more for before, more in zip(whole, figures, strict=True)]
    rows.append(_row("an item, both forks", whole))
    return rows + (_of_peers(run, work / "peer") if with_peers else [])


def _of_peers(run: Any, out: Path) -> list[Row]:
    jobs = bench._peer_jobs(run, out)
    commands = [peers.by_commands(*job, bench.timed)["cpu_s"] * 1000 for job in jobs]
    at_once = bench.peer_one_process(run, out)["cpu_s"] * 1000 / len(jobs)
    return [_row("separate commands", commands), _row(bench.ONE_PROCESS, [at_once])]


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--size", default="3000x2000")
    parser.add_argument("--copies", type=int, default=3)
    parser.add_argument("--item", default="PEH-0001", help="the sample that is drawn")
    parser.add_argument("--masters", type=Path, help="folder with one batch, made before")
    parser.add_argument("--peers", action="store_true", help="commands, and one process, too")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        masters = options.masters or bench.make_batch(
            Path(scratch), options.size, options.copies, options.item
        )
        work = Path(scratch) / "work"
        work.mkdir()
        rows = measured(masters.resolve(), work, options.peers)
    for row in rows:
        print("  ".join(str(value) for value in row.values()))
    return Outcome(rows)
