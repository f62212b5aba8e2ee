"""Benchmark of wrong resolutions: what is found must not depend on a tag that nobody set.

    PYTHONPATH=scripts:tests .venv/bin/python -m bench_locate.scales --count 3 --first 7000

Each scene is looked at with its right resolution, and again with each of `TAGS`, as the file's
tag and (`--nominal`) as `nominal_ppi`. A frame is `same` where it lies where the right resolution
puts it, `review` where it does not and is marked, and `wrong` where it does not and is not.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from bench_locate.run import KINDS, reduced_of, scene_of
from glassine.locate import locate_array
from glassine.model import Facts, MasterGeometry

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


def wrong_frames(found: MasterGeometry, right: MasterGeometry) -> tuple[int, int]:
    """Return how many frames lie elsewhere (or are missing) and are not marked, and are."""
    unmarked = marked = 0
    free = list(right.frames)
    for frame in found.frames:
        corners = np.array(frame.corners)
        diagonal = float(np.hypot(*(corners[2] - corners[0])))
        same = [
            other
            for other in free
            if np.hypot(*(np.array(other.corners) - corners).T).max() < SAME / 100 * diagonal
        ]
        if same:
            free.remove(same[0])
        elif frame.state == "ok":
            unmarked += 1
        else:
            marked += 1
    # A frame that is missed is told of by the others of its master, where those are for review.
    silent = bool(free) and all(frame.state == "ok" for frame in found.frames)
    if silent and not unmarked:
        unmarked += len(free)
    return unmarked, marked


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--maker", default="scenes", choices=["scenes", "scenes_other"])
    parser.add_argument("--kinds", nargs="*", default=KINDS)
    parser.add_argument("--tags", nargs="*", default=list(TAGS))
    parser.add_argument("--count", type=int, default=3)
    parser.add_argument("--first", type=int, default=7000)
    parser.add_argument("--stated", action="store_true")
    parser.add_argument("--nominal", action="store_true")
    parser.add_argument("--kept", type=Path)
    arguments = parser.parse_args()
    cv2.setNumThreads(1)
    total: Counter[str] = Counter()
    for kind in arguments.kinds:
        per: dict[str, Counter[str]] = {tag: Counter() for tag in arguments.tags}
        right_ok: Counter[bool] = Counter()
        for seed in range(arguments.first, arguments.first + arguments.count):
            scene = scene_of(arguments.maker, kind, seed, arguments.kept)
            right = look(scene, scene["ppi"], arguments.stated, arguments.nominal)
            right_ok.update(frame.state == "ok" for frame in right.frames)
            for tag in arguments.tags:
                ppi = tag_of(tag, scene["ppi"])
                found = look(scene, ppi, arguments.stated, arguments.nominal)
                unmarked, marked = wrong_frames(found, right)
                per[tag]["wrong"] += unmarked
                per[tag]["elsewhere, marked"] += marked
                same = len(found.frames) - unmarked - marked
                ok = sum(frame.state == "ok" for frame in found.frames)
                per[tag]["same"] += max(0, same)
                per[tag]["ok"] += ok
                if unmarked:
                    print(
                        f"{scene['name']} ({right.kind}, {len(right.frames)} frames, "
                        f"{scene['ppi']:.0f} ppi) with {tag}: {unmarked} wrong; {found.kind}, "
                        f"{len(found.frames)} frames, {found.ppi} from {found.ppi_source}",
                        flush=True,
                    )
        print(f"{kind}: with the right resolution {right_ok[True]} of {right_ok.total()} ok")
        for tag, counts in per.items():
            print(
                f"  {tag:8} "
                + ", ".join(
                    f"{counts[k]} {k}" for k in ("same", "ok", "elsewhere, marked", "wrong")
                ),
                flush=True,
            )
            total.update(counts)
    print(f"all: {dict(total)}")


if __name__ == "__main__":
    main()
