"""Whether a picture as high as those on 120 film is several of them side by side, or one."""

from __future__ import annotations

import numpy as np

from glassine.locate.chain import OVERLAP, STEP_MM, Doubles, local_max
from glassine.locate.shapes import box_of
from glassine.locate.strips import LENGTHS_120, jumps
from glassine.locate.view import View, upright

# What has no source was set on the scenes that `tests/benchmarks/locate` draws.
# Heights (mm) of pictures on 120 film: 56 nominal (ISO 732), many cameras give less (value from
# memory). Were it film, one of these would be its height, which tells the length the better.
HEIGHTS_MM = (54.0, 54.5, 55.0, 55.5, 56.0, 56.5)
# Film between pictures is no wider than this, mm: more of it would show as a band.
WIDEST_MM = 8.0
# Steps of tone (density, or times the noise) count that run down this share of the picture in all
# the places where shorter ones would begin and end (0.01 to 0.11 in wide views, 0.53 to 0.95 where
# pictures touch); ends of the picture's height that are left out, share of it; how near (mm).
STEP, STEP_NOISE, MEETING, ENDS, NEAR_MM = 0.035, 6.0, 0.35, 0.03, 0.5


def is_one_view(view: View, corners: Doubles, mm: float) -> bool:
    """Whether a picture is of no length that several pictures on 120 film make, or is as long as a
    wide view and shows nothing of shorter ones in it.

    corners: view px; mm: view px per millimetre.
    """
    box = box_of(corners)
    long, short = max(box.width, box.height), min(box.width, box.height)
    lengths = [long / short * high for high in HEIGHTS_MM]
    made_of = [each for length in lengths for each in _several(length)]
    if not made_of:
        return True
    if not any(low < length < high for length in lengths for low, high in LENGTHS_120.long):
        return False
    turn = box.angle_deg + (0.0 if box.width >= box.height else 90.0)
    patch = upright(view, (box.x, box.y), turn, long, short)
    ends = round(ENDS * patch.v.shape[0])
    area = patch.v[ends : patch.v.shape[0] - ends]
    seen = jumps(area, max(STEP, STEP_NOISE * view.noise))
    near = local_max(seen, max(1, round(NEAR_MM * mm)))
    return _meeting(near, made_of) < MEETING


def _several(long_mm: float) -> list[tuple[int, float, float]]:
    """Return what several pictures make a length: their number, and as shares of that length the
    length of each and the film between two.
    """
    out = []
    for low, high in LENGTHS_120.usual:
        for short in np.arange(low, high + 0.01, STEP_MM):
            for number in range(2, int(long_mm / short / (1 - OVERLAP)) + 2):
                gap = (long_mm - number * short) / (number - 1)
                if -OVERLAP * short < gap < WIDEST_MM:
                    out.append((number, float(short) / long_mm, gap / long_mm))
    return out


def _meeting(step: Doubles, made_of: list[tuple[int, float, float]]) -> float:
    """Return how plainly (share of rows) steps run down all the places where several would meet."""
    n = len(step) - 1
    most = 0.0
    for number, short, gap in made_of:
        begins = [k * (short + gap) * n for k in range(1, number)]
        at = [round(place - part) for place in begins for part in (0.0, gap * n)]
        most = max(most, float(step[np.clip(at, 0, n)].min()))
    return most
