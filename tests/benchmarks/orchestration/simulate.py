"""A night on 1 to 16 cores, as a discrete simulation from unit costs: nothing is run or measured.

    tests/benchmarks/run simulated-night --items 500 --cpu 1.6 --megabytes 36 --written 4

Items wait for a core and for the engine, which starts one job at a time; each then reads its master
from the one disk, works, and writes. The disk serves whole items in the order in which they ask.
Then the delivery: a part that one process does, the rest shared by the cores, and its bytes read
and written by the same disk. Costs: processor time as `pixels --night` tells it, on a quiet machine;
what cores take from one another (memory's bandwidth, clock) is left out, so that true nights are
slower, the more cores the more.
"""

from __future__ import annotations

import argparse
import heapq
from dataclasses import dataclass

from benchmarks.result import Outcome, Row

CORES = (1, 2, 4, 8, 16)


@dataclass(frozen=True)
class Costs:
    """What a night is made of, seconds and megabytes.

    start: until the first job; engine: of starting a job, one after the other; cpu: of an item;
    read, written: megabytes of an item; deliver: processor time an item, of which `serial` is a share
    that one process does; disk: megabytes a second.
    """

    start: float
    engine: float
    cpu: float
    read: float
    written: float
    deliver: float
    serial: float
    disk: float


def items_end(count: int, cores: int, costs: Costs) -> float:
    """Return when the last of `count` items is done."""
    engine = costs.start
    disk = 0.0
    # (when, what comes then: 0 a core is free, 1 the pixels are made)
    events = [(costs.start, 0)] * cores
    left, done, end = count, 0, costs.start
    while done < count:
        now, kind = heapq.heappop(events)
        if kind == 0:
            if not left:
                continue
            left -= 1
            engine = max(engine, now) + costs.engine
            disk = max(disk, engine) + costs.read / costs.disk
            heapq.heappush(events, (disk + costs.cpu, 1))
            continue
        disk = max(disk, now) + costs.written / costs.disk
        done += 1
        end = max(end, disk)
        heapq.heappush(events, (disk, 0))
    return end


def delivery_takes(count: int, cores: int, costs: Costs) -> float:
    work = count * costs.deliver
    shared = work * costs.serial + work * (1 - costs.serial) / cores
    return max(shared, count * (costs.read + 2 * costs.written) / costs.disk)


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--items", type=int, default=500)
    parser.add_argument("--cpu", type=float, required=True, help="seconds of an item, all steps")
    parser.add_argument("--megabytes", type=float, required=True, help="of a master")
    parser.add_argument("--written", type=float, required=True, help="megabytes of its results")
    parser.add_argument("--start", type=float, default=3.0, help="seconds until the first job")
    parser.add_argument("--engine", type=float, default=0.04, help="seconds of starting a job")
    parser.add_argument("--deliver", type=float, default=0.2, help="seconds of an item's delivery")
    parser.add_argument("--serial", type=float, default=0.07, help="share of it that is not shared")
    parser.add_argument("--disk", type=float, default=500.0, help="megabytes a second")
    given = parser.parse_args(arguments)
    costs = Costs(
        given.start,
        given.engine,
        given.cpu,
        given.megabytes,
        given.written,
        given.deliver,
        given.serial,
        given.disk,
    )
    rows: list[Row] = []
    for cores in CORES:
        items = items_end(given.items, cores, costs)
        delivery = delivery_takes(given.items, cores, costs)
        row: Row = {
            "cores": cores,
            "items_s": round(items, 1),
            "delivery_s": round(delivery, 1),
            "night_s": round(items + delivery, 1),
        }
        rows.append(row)
        print(row, flush=True)
    return Outcome(rows)
