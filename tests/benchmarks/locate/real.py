"""Benchmark of finding frames on real glass plates with three exposures each.

    tests/benchmarks/run locate-real

Each plate as published (a positive) and inverted (as on a light table); neither kind nor
resolution is stated. The frames were marked by hand: see tests/makers/real_plates/README.md.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from benchmarks.locate import score
from benchmarks.locate.run import found_by_glassine
from benchmarks.result import Outcome, Row, figure
from makers import real_plates


@dataclass
class Seen:
    """What came of one plate; whole: several exposures passed as one frame, not for review;
    silent: something is wrong, and nothing of the plate is for review."""

    result: score.Result
    review: int
    whole: int
    silent: bool


def scene_of(plate: real_plates.Plate, inverted: bool) -> dict[str, Any]:
    polarity = "negative" if inverted else "positive"
    return {
        "kind": "plate",
        "name": f"{plate.name} {polarity}",
        "pixels": plate.negative if inverted else plate.pixels,
        "encoding": "srgb",
        "ppi": None,
        "frames": [
            {"corners": c.tolist(), "polarity": polarity, "process": "monochrome", "blank": False}
            for c in plate.frames
        ],
    }


def holds(outer: np.ndarray, inner: np.ndarray) -> float:
    """Return the share of `inner` that lies within `outer` (corners of both, convex)."""
    outer, inner = np.float32(outer), np.float32(inner)
    return float(cv2.intersectConvexConvex(outer, inner)[0] / cv2.contourArea(inner))


def look(scene: dict[str, Any]) -> Seen:
    frames, _ = found_by_glassine(scene, stated=False)
    result = score.compare("plate", scene["name"], scene["frames"], frames)
    true = [np.array(frame["corners"]) for frame in scene["frames"]]
    passed = [np.array(frame["corners"]) for frame in frames if frame["state"] == "ok"]
    whole = sum(sum(holds(corners, one) > 0.5 for one in true) > 1 for corners in passed)
    wrong = result.matched < result.true or result.found > result.matched
    # A plate without any frame is held by later steps, so it is not silent.
    silent = wrong and bool(frames) and len(passed) == len(frames)
    return Seen(result, len(frames) - len(passed), whole, silent)


def row_of(name: str, seen: list[Seen]) -> Row:
    corner = [error for each in seen for error in each.result.corner]
    return {
        "plate": name,
        "frames": sum(each.result.true for each in seen),
        "found": sum(each.result.found for each in seen),
        "iou_0.9": sum(each.result.matched for each in seen),
        "corner_percent_median": figure(np.median(corner), 2) if corner else None,
        "corner_percent_worst": figure(np.max(corner), 2) if corner else None,
        "wrong_unmarked": sum(each.result.wrong_unmarked for each in seen),
        "for_review": sum(each.review for each in seen),
        "several_as_one_ok": sum(each.whole for each in seen),
        "silent_plates": sum(each.silent for each in seen),
    }


def table(rows: list[Row]) -> str:
    columns = list(rows[0])
    lines = [columns, ["---"] * len(columns)]
    lines += [["-" if row[key] is None else str(row[key]) for key in columns] for row in rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def main(arguments: list[str]) -> Outcome:
    argparse.ArgumentParser(description=__doc__).parse_args(arguments)
    cv2.setNumThreads(1)
    rows: list[Row] = []
    every: list[Seen] = []
    for inverted in (False, True):
        seen = []
        for plate in real_plates.plates():
            one = look(scene_of(plate, inverted))
            for remark in one.result.remarks:
                print(f"{one.result.name}: {remark}")
            rows.append(row_of(one.result.name, [one]))
            seen.append(one)
        rows.append(row_of("all as negatives" if inverted else "all as positives", seen))
        every += seen
    rows.append(row_of("all", every))
    print(table(rows))
    return Outcome(rows)
