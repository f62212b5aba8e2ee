"""Film that runs out of its master: what the master's edge cuts off is no whole frame.

Dimensions of the film: see test_locate_strips.py.
"""

import cv2
import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.locate import locate_array

MM = 8  # px
# How a capture is turned so that its left end comes to lie at each side.
TURNS = {
    "left": lambda a: a,
    "right": lambda a: a[:, ::-1],
    "top": lambda a: a.transpose(1, 0, 2),
    "bottom": lambda a: a[:, ::-1].transpose(1, 0, 2),
}


def film(frames, seen_mm):
    """Return linear light of 35 mm film whose first picture is seen along its last `seen_mm`."""
    length = round((12 + 38 * frames + 10) * MM)
    image = np.full((50 * MM, length, 3), 0.95, np.float32)

    def part(x, y, w, h):
        low, high = (max(0, round(v * MM)) for v in (x, x + w))
        return image[round(y * MM) : round((y + h) * MM), low:high]

    part(0, 7, 12 + 38 * frames, 34.976)[:] = 0.5
    for k in range(int((10 + 38 * frames) / 4.75)):
        for y in (9.01, 37.172):
            part(0.7 + 4.75 * k, y, 1.981, 2.794)[:] = 0.95
    for k in range(frames):
        soft = np.random.default_rng(k).uniform(0.02, 0.3, (8, 12)).astype(np.float32)
        soft = cv2.resize(soft, (36 * MM, 24 * MM), None, 0, 0, 1)
        part(10 + 38 * k, 12.488, 36, 24)[:] = soft[..., None]
    return image[:, round((46 - seen_mm) * MM) :]


def located(frames, seen_mm, side):
    """Return the frames, and of each its begin and end (mm) from the side that cuts the film off."""
    image = np.ascontiguousarray(TURNS[side](film(frames, seen_mm)))
    image = cv2.GaussianBlur(image, (0, 0), 0.8)
    image += 0.0006 * np.random.default_rng(3).standard_normal(image.shape).astype(np.float32)
    pixels = np.round(np.clip(image, 0, 1) * 65535).astype(np.uint16)
    facts = Facts(encoding="linear")
    found = locate_array(
        pixels, 1, lambda x, y, w, h: pixels[y : y + h, x : x + w], facts, None, {}
    ).frames
    axis = 0 if side in ("left", "right") else 1
    whole = pixels.shape[1 - axis] / MM
    spans = []
    for frame in found:
        low, high = (float(v) / MM for v in np.sort(np.array(frame.corners)[:, axis])[[0, -1]])
        spans.append((low, high) if side in ("left", "top") else (whole - high, whole - low))
    order = sorted(range(len(found)), key=lambda k: spans[k][0])
    return [found[k] for k in order], [spans[k] for k in order]


def doubts(frame):
    return " ".join(frame.reasons)


@pytest.mark.parametrize("side", TURNS)
def test_a_frame_that_is_cut_off_a_little_is_outlined_to_the_master_s_edge_at_the_least(side):
    frames, spans = located(2, 34.9, side)
    assert -1.3 < spans[0][0] < 0.3
    assert spans[0][1] == pytest.approx(34.9, abs=0.2)
    assert spans[1] == pytest.approx((36.9, 72.9), abs=0.1)
    assert frames[0].state == "review" and "master's edge" in doubts(frames[0])
    assert frames[1].state == "ok"


@pytest.mark.parametrize("side", TURNS)
def test_a_lone_frame_that_is_cut_off_lies_by_the_end_that_is_seen(side):
    (frame,), (span,) = located(1, 24, side)
    assert span == pytest.approx((-12, 24), abs=0.3)
    assert frame.state == "review" and "master's edge" in doubts(frame)


@pytest.mark.parametrize("side", ["left", "bottom"])
def test_a_part_of_a_picture_that_runs_on_to_the_master_s_edge_is_cut_off(side):
    """Too little film for its perforations to be told: taken for a piece with a border, whose
    picture has a line of its own near the master's edge."""
    (frame,), (span,) = located(1, 14, side)
    assert span[0] > 0.5
    assert "cut off by the master's edge" in frame.reasons


def test_a_whole_frame_near_the_master_s_edge_is_not_cut_off():
    (frame,), (span,) = located(1, 37, "left")
    assert span == pytest.approx((1, 37), abs=0.1)
    assert frame.state == "ok"
