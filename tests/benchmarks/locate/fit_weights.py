"""Fit the weights of what speaks against a frame (`glassine.locate.weights`) on drawn scenes.

    PYTHONPATH=scripts:tests python -m benchmarks.locate.fit_weights --count 8 --write

Scenes come from `scenes` and `layouts`, which the finder was made on; `scenes_other` and other
makers are left to judge it. A frame counts as right where its corners lie within 1 % of its
diagonal and its master has no picture that no frame covers. Each weight is drawn from the one set by
hand (its prior) as far as scenes speak for another, and never below nothing: evidence against a
frame does not make it surer. The table goes to scripts/glassine/locate/fitted.py.
"""

from __future__ import annotations

import argparse
import json
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.optimize import minimize

from benchmarks.locate import score
from benchmarks.locate.run import kinds_of, reduced_of, scene_of
from glassine.base.model import Facts
from glassine.locate import weights
from glassine.locate.encoding import linear_table
from glassine.locate.looks import explained
from glassine.locate.scene import Master, Scene, Settings

MAKERS = ("scenes", "layouts")
# How far (bits, standard deviation) a weight may stray from the one set by hand.
PRIOR_BITS = 1.5
# What says nothing of where a frame lies is not fitted, nor what a person is always asked: drawn
# scenes have as many pictures that were missed as their maker left out.
NOT_FITTED = (
    "picture outside",
    "piece unexplained",
    "step without a frame",
    "polarity unclear",
    "process unclear",
    "process other than stated",
    "polarity other than stated",
    "not the stated size",
    "another number than stated",
)
TABLE = Path(__file__).resolve().parents[3] / "scripts/glassine/locate/fitted.py"


@dataclass(frozen=True)
class Case:
    """One frame: what speaks against it (amounts by feature), and whether it is right."""

    scene: str
    against: dict[str, float]
    right: bool


def cases_of(scene: dict[str, Any]) -> list[Case]:
    """Return the frames found on a scene."""
    pixels = scene["pixels"]
    reduced, reduction = reduced_of(pixels)
    master = Master(
        reduced,
        reduction,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        pixels.shape[1],
        pixels.shape[0],
        linear_table(scene["encoding"]),
    )
    look, _, _ = explained(
        Scene.of(master, Facts(encoding=scene["encoding"]), Settings()), scene["ppi"]
    )
    found = look.frames
    true = [np.asarray(frame["corners"], float) for frame in scene["frames"]]
    blank = [bool(frame["blank"]) for frame in scene["frames"]]
    # A picture that a wrong frame covers is that frame's fault, one that none covers every frame's.
    whole = all(
        empty or any(_covers(c.corners, t) for c in found)
        for t, empty in zip(true, blank, strict=True)
    )
    out = []
    for c in found:
        near = [(score.polygon_iou(t, c.corners), t, e) for t, e in zip(true, blank, strict=True)]
        iou, t, empty = max(near, key=lambda each: each[0], default=(0.0, None, False))
        if c.blank or (empty and iou > 0.5):
            continue  # there is no picture edge to be right or wrong about
        right = whole and iou >= 0.5 and _error(c.corners, t) <= 1.0
        amounts: Counter[str] = Counter()
        for each in c.evidence:
            amounts[each.feature] += each.amount
        out.append(Case(scene["name"], dict(amounts), right))
    return out


def _covers(corners: np.ndarray, true: np.ndarray) -> bool:
    area, _ = cv2.intersectConvexConvex(corners.astype(np.float32), true.astype(np.float32))
    return bool(area >= 0.5 * cv2.contourArea(true.astype(np.float32)))


def _error(corners: np.ndarray, true: np.ndarray) -> float:
    """Return the farthest corner's distance from its truth, % of the diagonal."""
    offs = [np.hypot(*(np.roll(corners, k, 0) - true).T).max() for k in range(4)]
    return float(100 * min(offs) / np.hypot(*(true[2] - true[0])))


def drawn(count: int, first: int, kept: Path | None, minutes: float) -> Iterator[dict[str, Any]]:
    begun = time.monotonic()
    for seed in range(first, first + count):
        for maker in MAKERS:
            for kind in kinds_of(maker):
                if time.monotonic() - begun > 60 * minutes:
                    print(f"stopped by the clock before seed {seed} of {kind}")
                    return
                yield scene_of(maker, kind, seed, kept)


def fit(cases: list[Case]) -> dict[str, float]:
    """Return bits per unit of each feature: most likely by the cases and the prior."""
    names = [name for name in weights.WEIGHTS if name not in NOT_FITTED]
    prior = np.array([weights.BY_HAND[name].bits for name in names])
    fixed = np.array(
        [
            sum(weights.BY_HAND[n].bits * case.against.get(n, 0.0) for n in NOT_FITTED)
            for case in cases
        ]
    )
    amounts = np.array([[case.against.get(name, 0.0) for name in names] for case in cases])
    right = np.array([case.right for case in cases], float)
    known = fixed == 0  # what costs for another reason teaches nothing here

    def loss(bits: np.ndarray) -> tuple[float, np.ndarray]:
        odds = np.log(2) * (weights.START_BITS - amounts[known] @ bits)
        p = 1 / (1 + np.exp(-odds))
        y = right[known]
        value = -np.sum(y * np.log(p + 1e-12) + (1 - y) * np.log(1 - p + 1e-12))
        slope = np.log(2) * amounts[known].T @ (y - p)
        off = (bits - prior) / PRIOR_BITS
        return float(value + 0.5 * off @ off), slope + off / PRIOR_BITS

    best = minimize(loss, prior, jac=True, method="L-BFGS-B", bounds=[(0.0, None)] * len(names))
    return dict(zip(names, (float(each) for each in best.x), strict=True))


def reliability(cases: list[Case], bits: dict[str, float]) -> str:
    """Return a table of confidence against the share that is right."""
    table = {**{name: each.bits for name, each in weights.BY_HAND.items()}, **bits}
    p = np.array(
        [
            weights.chance(sum(table[name] * amount for name, amount in case.against.items()))
            for case in cases
        ]
    )
    right = np.array([case.right for case in cases])
    lines = []
    for low, high in ((0, 0.05), (0.05, 0.3), (0.3, 0.8), (0.8, 0.95), (0.95, 1.01)):
        chosen = (p >= low) & (p < high)
        if chosen.any():
            share = 100 * right[chosen].mean()
            lines.append(
                f"{low:.2f} to {min(high, 1):.2f}: mean {p[chosen].mean():.3f}, "
                f"{chosen.sum()} frames, {share:.1f} % right"
            )
    return "\n".join(lines)


def table_of(cases: list[Case], bits: dict[str, float]) -> str:
    """Return the module that holds the fitted weights."""
    lines = [
        '"""Bits per unit of each feature, made by tests/benchmarks/locate/fit_weights.py.',
        "",
        f"Fitted on {len(cases)} frames of drawn scenes ({', '.join(MAKERS)}). Beside each: on how many",
        "frames it was seen, and how many of those were right.",
        '"""',
        "",
        "FITTED: dict[str, tuple[float, int, int]] = {",
    ]
    for name, value in bits.items():
        seen = [case for case in cases if case.against.get(name, 0.0) > 0]
        if seen:
            right = sum(case.right for case in seen)
            lines.append(f'    "{name}": ({value:.2f}, {len(seen)}, {right}),')
    return "\n".join([*lines, "}", ""])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=8, help="seeds")
    parser.add_argument("--first", type=int, default=101, help="the first seed")
    parser.add_argument("--minutes", type=float, default=60.0, help="draw no further after these")
    parser.add_argument("--drawn", type=Path, help="folder of drawn scenes, for another run")
    parser.add_argument(
        "--cases", type=Path, help="file of measured frames: written, or read again"
    )
    parser.add_argument("--write", action="store_true", help="write the table")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.cases and options.cases.exists():
        cases = [Case(**each) for each in json.loads(options.cases.read_text())]
    else:
        scenes = drawn(options.count, options.first, options.drawn, options.minutes)
        cases = [case for scene in scenes for case in cases_of(scene)]
        if options.cases:
            options.cases.write_text(json.dumps([vars(case) for case in cases]))
    bits = fit(cases)
    print(table_of(cases, bits))
    print("by hand\n" + reliability(cases, {}))
    print("fitted\n" + reliability(cases, bits))
    if options.write:
        TABLE.write_text(table_of(cases, bits), encoding="utf-8")


if __name__ == "__main__":
    main()
