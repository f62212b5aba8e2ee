"""Benchmark of wrong resolutions: what is found must not depend on a tag that nobody set.

    tests/benchmarks/run locate-scales --count 3 --first 7000

Each scene is looked at with its right resolution, and again with each of `TAGS`, as the file's
tag and (`--nominal`) as `nominal_ppi`. A frame is `same` where it lies where the right resolution
puts it, `marked` where it does not and is for review, `wrong` where it does not and is not, and
`other` where it is of another polarity or process and not for review.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks.locate.run import KINDS, reduced_of, scene_of
from benchmarks.result import Outcome, Row
from glassine.base.model import Facts, MasterGeometry
from glassine.locate import locate_array

# A share of the right resolution, a number of pixels an inch, or no resolution at all.
TAGS: dict[str, Any] = {
    "missing": None,
    "72": 72.0,
    "96": 96.0,
    "150": 150.0,
    "240": 240.0,
    "300": 300.0,
    "600": 600.0,
    "x 10": "10",
    "/ 10": "0.1",
    "x 2": "2",
    "/ 2": "0.5",
}
COLUMNS = ("same", "ok", "marked", "wrong", "other")
# Corners that lie this near (% of the diagonal) are the same.
SAME = 0.1


def tag_of(tag: str, right: float) -> float | None:
    """Return pixels an inch."""
    value = TAGS[tag]
    return right * float(value) if isinstance(value, str) else value


def look(scene: dict[str, Any], ppi: float | None, stated: bool, nominal: bool) -> MasterGeometry:
    pixels = scene["pixels"]
    reduced, reduction = reduced_of(pixels)
    facts = Facts(
        encoding=scene["encoding"],
        kind=scene["kind"] if stated else "auto",
        nominal_ppi=ppi if nominal else None,
    )
    return locate_array(
        reduced,
        reduction,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        facts,
        None if nominal else ppi,
        {},
        size=(pixels.shape[1], pixels.shape[0]),
    )


@dataclass
class Look:
    """Frames of one look beside those of the look by the right resolution."""

    same: int = 0
    marked: int = 0  # elsewhere, or not there, and for review
    wrong: int = 0  # elsewhere, or not there, and not marked
    other: int = 0  # the same, not marked, but of other polarity or process
    ok: int = 0
    remarks: list[str] = field(default_factory=list)


def beside(found: MasterGeometry, right: MasterGeometry) -> Look:
    """Compare, frame by frame."""
    outcome = Look(ok=sum(frame.state == "ok" for frame in found.frames))
    free = list(right.frames)
    for frame in found.frames:
        corners = np.array(frame.corners)
        diagonal = float(np.hypot(*(corners[2] - corners[0])))
        far = [float(np.hypot(*(np.array(o.corners) - corners).T).max()) for o in free]
        if far and min(far) < SAME / 100 * diagonal:
            outcome.same += 1
            twin = free.pop(int(np.argmin(far)))
            differs = (frame.polarity, frame.process) != (twin.polarity, twin.process)
            if differs and frame.state == "ok":
                outcome.other += 1
                outcome.remarks.append(f"{frame.polarity} {frame.process}")
        elif frame.state == "ok":
            outcome.wrong += 1
            near = f"{100 * min(far) / diagonal:.2f} % off" if far else "one too many"
            outcome.remarks.append(near)
        else:
            outcome.marked += 1
    # A frame that is missed is told of by the others of its master, where those are for review.
    if free and outcome.ok == len(found.frames):
        missed = max(0, len(right.frames) - len(found.frames))
        outcome.wrong += missed
        outcome.remarks += ["missed"] * missed
    return outcome


def main(arguments: list[str]) -> Outcome:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maker", default="scenes", choices=["scenes", "scenes_other"])
    parser.add_argument("--kinds", nargs="*", default=KINDS)
    parser.add_argument("--tags", nargs="*", default=list(TAGS))
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--first", type=int, default=7000)
    parser.add_argument("--stated", action="store_true")
    parser.add_argument("--nominal", action="store_true")
    parser.add_argument("--drawn", type=Path, help="folder of drawn scenes, for another run")
    options = parser.parse_args(arguments)
    cv2.setNumThreads(1)
    total: Counter[str] = Counter()
    rows: list[Row] = []
    for kind in options.kinds:
        per: dict[str, Counter[str]] = {tag: Counter() for tag in options.tags}
        right_ok: Counter[bool] = Counter()
        kinds: Counter[str] = Counter()
        for seed in range(options.first, options.first + options.count):
            scene = scene_of(options.maker, kind, seed, options.drawn)
            right = look(scene, scene["ppi"], options.stated, options.nominal)
            right_ok.update(frame.state == "ok" for frame in right.frames)
            for tag in options.tags:
                ppi = tag_of(tag, scene["ppi"])
                found = look(scene, ppi, options.stated, options.nominal)
                outcome = beside(found, right)
                per[tag].update({k: getattr(outcome, k) for k in COLUMNS})
                if outcome.ok and found.kind != right.kind:
                    kinds[f"{right.kind} as {found.kind} ({tag})"] += 1
                if outcome.remarks:
                    print(
                        f"{scene['name']} ({right.kind}, {len(right.frames)} frames, "
                        f"{scene['ppi']:.0f} ppi) with {tag}: {found.kind}, "
                        f"{len(found.frames)} frames, {found.ppi} from {found.ppi_source}; "
                        + ", ".join(outcome.remarks),
                        flush=True,
                    )
        print(f"{kind}: with the right resolution {right_ok[True]} of {right_ok.total()} ok")
        for tag, counts in per.items():
            print(f"  {tag:8} " + ", ".join(f"{counts[k]} {k}" for k in COLUMNS), flush=True)
            total.update(counts)
            rows.append({"look": f"{kind}, {tag}", **{k: counts[k] for k in COLUMNS}})
        for words, number in kinds.items():
            print(f"  kind, not marked: {words}: {number}")
    print(f"all: {dict(total)}")
    return Outcome(rows, summary={k: total[k] for k in COLUMNS})
