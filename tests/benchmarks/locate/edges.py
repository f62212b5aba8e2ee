"""Whether drawn edges lie where the truth says: measured on scenes without dirt and noise.

    tests/benchmarks/run locate --maker layouts_other --check --count 2

Across each side of each frame, between a fifth and four fifths of its length, light is read along
lines at right angles to it; the edge is where it passes half way from outside to inside. The
median of a side's lines must lie within `LIMIT_PX` of the truth.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from benchmarks.locate import layouts_other
from benchmarks.locate.table_camera import Camera, Place, Table, rectangle
from benchmarks.result import Outcome, Row, figure

LIMIT_PX = 0.3
REACH_PX = 5.0
# A side with less difference than this share of the lighter tone shows no edge to measure.
LEAST_STEP = 0.03

# One picture runs on beneath another, or into fog: that side has no edge of its own.
WITHOUT_EDGE = ("overlapping_first", "fogged_leader")


def offsets(light: npt.NDArray[Any], corners: npt.NDArray[Any]) -> list[float | None]:
    """Return how far each side's edge lies from the truth in px (positive: outwards), or None.

    light: (h, w), linear; corners: (4, 2), in the order top-left to bottom-left.
    """
    found: list[float | None] = []
    centre = corners.mean(axis=0)
    for k in range(4):
        a, b = corners[k], corners[(k + 1) % 4]
        along = (b - a) / np.hypot(*(b - a))
        out = np.array([along[1], -along[0]])
        out *= np.sign(np.dot((a + b) / 2 - centre, out))
        at = a + np.linspace(0.2, 0.8, 60)[:, None] * (b - a)
        far = np.arange(-REACH_PX, REACH_PX + 0.01, 0.1)
        points = (at[:, None, :] + far[None, :, None] * out - 0.5).astype(np.float32)
        read = cv2.remap(light, points[..., 0], points[..., 1], cv2.INTER_LINEAR)
        found.append(_half_way(read, far))
    return found


def _half_way(read: npt.NDArray[Any], far: npt.NDArray[Any]) -> float | None:
    inner, outer = read[:, :11].mean(axis=1), read[:, -11:].mean(axis=1)
    clear = np.abs(outer - inner) > LEAST_STEP * np.maximum(outer, inner)
    # What lies across the edge there (another edge, a hole) leaves no two plain sides.
    plain = (np.ptp(read[:, :11], axis=1) < 0.1 * np.abs(outer - inner)) & (
        np.ptp(read[:, -11:], axis=1) < 0.1 * np.abs(outer - inner)
    )
    places = []
    for line, low, high in zip(
        read[clear & plain], inner[clear & plain], outer[clear & plain], strict=True
    ):
        share = (line - low) / (high - low)
        k = int(np.argmax(share >= 0.5))
        if k:
            step = (0.5 - share[k - 1]) / (share[k] - share[k - 1])
            places.append(far[k - 1] + step * (far[k] - far[k - 1]))
    return float(np.median(places)) if len(places) > 10 else None


def of_a_rectangle() -> float:
    """Return the worst offset of a turned rectangle under keystone, lighter and darker, in px."""
    worst = 0.0
    for turn, lightness in ((0.0, 0.1), (2.7, 0.1), (-1.3, 0.9)):
        table = Table(100, 80, 600, 1, 0.5, keystone=(0.01, -0.007), turn=turn)
        box = (-30.0, -20.0, 31.0, 22.0)
        place = Place(50, 40, 0.4)
        table.over(place, rectangle(box), lightness)
        master = Camera(noise=0, exposure=1).master(table, np.random.default_rng(1))
        sides = offsets(master.astype(np.float32), table.corners(place, box))
        worst = max([worst, *(abs(side) if side is not None else np.inf for side in sides)])
    return worst


def checked(kinds: Iterable[str], seeds: Iterable[int]) -> Outcome:
    """Return a row per kind; good where each side that could be measured is near its truth."""
    alone = of_a_rectangle()
    rows: list[Row] = [
        {"kind": "a rectangle", "sides": 12, "measured": 12, "worst_px": figure(alone, 3)}
    ]
    worst_of = [alone]
    seeds = list(seeds)
    for kind in kinds:
        sides: list[float | None] = []
        for seed in seeds:
            studio, _ = layouts_other.drawn(kind, seed, calm=True)
            light = studio.table.light.mean(axis=2)
            light = cv2.GaussianBlur(light, (0, 0), 0.6)
            for frame in studio.frames:
                if not (frame["optional"] or (frame["also"] and kind in WITHOUT_EDGE)):
                    sides += offsets(light, frame["corners"])
        seen = [abs(side) for side in sides if side is not None]
        worst_of += [max(seen)] if seen else []
        worst = figure(max(seen, default=float("nan")), 3)
        rows.append({"kind": kind, "sides": len(sides), "measured": len(seen), "worst_px": worst})
        print(rows[-1], flush=True)
    return Outcome(rows, good=all(far <= LIMIT_PX for far in worst_of))
