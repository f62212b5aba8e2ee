"""Numbers, side and turn that codes in the margin of drawn 35 mm strips tell.

    tests/benchmarks/run edge-codes                      1,000 strips at 2,400 ppi, 500 turned ones
    tests/benchmarks/run edge-codes --count 100 --ppi 1600 --turned 0
    tests/benchmarks/run edge-codes --count 20 --located    frames as locate finds them

Strips are those of `makers.edge_strips.any_strip`: numbers 0 to 36A, density 0.1 to 1.5 above the
base, blur, grain, fog, specks, cut ends, tilt up to 3 degrees in four turns, mirrored, reversal
film.
Frames are where they were drawn, off by 0.05 mm each, or with `--located` where the step finds
them. A strip is right where every frame has its number; not told where some have none and no other
is wrong. Seconds are processor time of the reading alone, drawing of what it asks for included.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field

import numpy as np

from benchmarks.result import Outcome, Row
from glassine.base.model import Facts
from glassine.locate import film_edges
from glassine.locate.looks import locate_array
from makers import edge_pieces, edge_strips
from makers.edge_strips import Look, Strip


@dataclass
class Count:
    """What became of strips. seconds: of each."""

    right: int = 0
    part: int = 0
    wrong: int = 0
    side_wrong: int = 0
    seconds: list[float] = field(default_factory=list)

    def add(self, found: dict[int, str], truth: dict[int, str]) -> None:
        wrong = any(truth.get(frame) != number for frame, number in found.items())
        self.wrong += wrong
        self.right += found == truth
        self.part += not wrong and found != truth


def strips(first: int, count: int, ppi: float) -> Row:
    """Read strips where they were drawn."""
    counted = Count()
    for seed in range(first, first + count):
        capture, laid = edge_strips.any_strip(seed, ppi)
        master = edge_pieces.master_of(capture)
        piece = edge_pieces.piece_of(capture, 0, 0.05, seed)
        begun = time.process_time()
        told = edge_pieces.told(master, piece, laid.strip.clear)
        counted.seconds.append(time.process_time() - begun)
        truth = dict(enumerate(capture.numbers[0], start=1))
        counted.add(told.numbers if told else {}, truth)
        if told is not None and told.forward is laid.mirrored:
            counted.side_wrong += 1
    return row("strips", ppi, count, counted)


def located(first: int, count: int, ppi: float) -> Row:
    """Read strips as the step does; frames are put to those drawn by their centres."""
    counted = Count()
    for seed in range(first, first + count):
        capture, laid = edge_strips.any_strip(seed, ppi)
        sizes = capture.width, capture.height
        facts = Facts(encoding="linear")
        reduced = capture.reduced
        found = locate_array(reduced, capture.reduction, capture.region, facts, None, size=sizes)
        centres = np.array([frame.mean(0) for frame in capture.frames[0]])
        numbers: dict[int, str] = {}
        for frame in found.frames:
            apart = np.hypot(*(centres - np.mean(frame.corners, axis=0)).T)
            if frame.film_frame is not None and apart.min() < 4 * capture.mm:
                numbers[int(apart.argmin()) + 1] = frame.film_frame
            elif frame.film_frame is not None:
                numbers[-frame.index] = frame.film_frame  # a number where no frame was drawn
        counted.add(numbers, dict(enumerate(capture.numbers[0], start=1)))
        sides = {edge.emulsion for edge in found.edges}
        counted.side_wrong += ("away" if laid.mirrored else "toward") in sides
    return row("strips, frames located", ppi, count, counted)


def turned(count: int, ppi: float = 600.0) -> Row:
    """Tell how strips lie in four turns and on two sides."""
    right = wrong = 0
    for seed in range(count):
        rng = np.random.default_rng([seed, 9])
        strip = Strip(
            frames=int(rng.integers(1, 4)),
            first=int(rng.integers(0, 70)),
            off_mm=float(rng.uniform(-7, 7)),
            step=float(np.exp(rng.uniform(np.log(0.15), np.log(1.5)))),
            lead_mm=(float(rng.uniform(1, 9)), float(rng.uniform(1, 9))),
            specks=int(rng.choice([0, 20])),
            seed=seed,
        )
        quarter, mirrored = 90 * (seed % 4), bool(seed // 4 % 2)
        tilt = float(rng.uniform(-3, 3))
        capture = edge_strips.alone(strip, Look(ppi, seed=seed), quarter + tilt, mirrored)
        master = edge_pieces.master_of(capture)
        told = edge_pieces.told(master, edge_pieces.piece_of(capture), False)
        edge = film_edges.recorded([told])[0] if told else None
        if edge is None or edge.turn is None:
            continue
        # The turn that undoes a clockwise one, before what is mirrored is mirrored back.
        truth = -quarter % 360, "toward" if mirrored else "away"
        right += (edge.turn, edge.emulsion) == truth
        wrong += (edge.turn, edge.emulsion) != truth
    return {
        "what": "turn and side",
        "ppi": ppi,
        "count": count,
        "right": right,
        "not told": count - right - wrong,
        "wrong": wrong,
    }


def row(what: str, ppi: float, count: int, counted: Count) -> Row:
    found: Row = {
        "what": what,
        "ppi": ppi,
        "count": count,
        "right": counted.right,
        "not told": counted.part,
        "wrong": counted.wrong,
        "side wrong": counted.side_wrong,
    }
    if counted.seconds:
        found["s a strip"] = round(float(np.mean(counted.seconds)), 3)
        found["s at most"] = round(max(counted.seconds), 3)
    return found


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1000, help="strips (default 1000)")
    parser.add_argument("--first", type=int, default=0, help="seed of the first one")
    parser.add_argument("--ppi", type=float, default=2400.0)
    parser.add_argument("--turned", type=int, default=500, help="captures of turns and sides")
    parser.add_argument("--located", action="store_true", help="find the frames, too")
    options = parser.parse_args(arguments)
    rows: list[Row] = []
    if options.count:
        read = located if options.located else strips
        rows.append(read(options.first, options.count, options.ppi))
    if options.turned and not options.located:
        rows.append(turned(options.turned))
    for each in rows:
        print(", ".join(f"{name} {value}" for name, value in each.items()))
    return Outcome(rows, good=all(not each["wrong"] for each in rows))
