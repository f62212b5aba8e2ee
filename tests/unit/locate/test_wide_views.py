"""Strips of roll film drawn to the millimetre: wide views, exposures that overlap, neighbours.

Film 34.976 mm wide with perforations every 4.75 mm, 2.01 mm from its edge (ISO 491, `film.py`);
120 film 61.5 mm wide, wide views of 24 x 65 mm and 56 x 112 and 168 mm: values from memory.
"""

import cv2
import numpy as np
import pytest

from makers.light_table import locate

MM = 8  # px
PPI = 25.4 * MM
BASE = np.array([0.62, 0.4, 0.25], np.float32)


def table(width_mm, height_mm):
    return np.full((round(height_mm * MM), round(width_mm * MM), 3), 0.95, np.float32)


def part(x, y, w, h):
    return slice(round(y * MM), round((y + h) * MM)), slice(round(x * MM), round((x + w) * MM))


def film_135(light, x, y, length):
    light[part(x, y, length, 34.976)] = 0.95 * BASE
    for k in range(int((length - 3) / 4.75)):
        for at in (2.01, 34.976 - 2.01 - 2.794):
            light[part(x + 1 + 4.75 * k, y + at, 1.981, 2.794)] = 0.95


def film_120(light, x, y, length):
    light[part(x, y, length, 61.5)] = 0.95 * BASE


def exposed(light, x, y, w, h, seed):
    """Expose a picture of soft, uneven tone: what was there lets through so much less."""
    r = np.random.default_rng(seed)
    where = part(x, y, w, h)
    rows, columns = light[where].shape[:2]
    soft = cv2.resize(r.uniform(0, 1, (7, 11)).astype(np.float32), (columns, rows), None, 0, 0, 1)
    light[where] *= (0.06 + 0.5 * soft)[..., None]


def boxes_mm(frames):
    """Return left, top, right, bottom of each frame, mm."""
    corners = [np.array(frame.corners) / MM for frame in frames]
    return [[*c.min(0), *c.max(0)] for c in corners]


@pytest.mark.parametrize("ppi", [PPI, None])
@pytest.mark.parametrize("long", [58.0, 65.0])
def test_wide_views_on_35_mm_film_are_found_whole(long, ppi):
    light = table(2 * long + 24, 50)
    film_135(light, 6, 7, 2 * long + 12)
    places = [9.0, 9.0 + long + 2.5]
    for k, x in enumerate(places):
        exposed(light, x, 12.488, long, 24, k)
    frames = locate(light, ppi).frames
    wanted = [[x, 12.488, x + long, 36.488] for x in places]
    assert len(frames) == 2
    np.testing.assert_allclose(boxes_mm(frames), wanted, atol=0.2)
    assert [frame.state for frame in frames] == ["ok", "ok"]


def test_frames_that_follow_one_another_with_a_gap_are_no_wide_view():
    """Eight perforations, 38 mm, from one to the next (film.py)."""
    light = table(130, 50)
    film_135(light, 6, 7, 118)
    places = [8.0, 46.0, 84.0]
    for k, x in enumerate(places):
        exposed(light, x, 12.488, 36, 24, k)
    boxes = boxes_mm(locate(light).frames)
    np.testing.assert_allclose([box[0] for box in boxes], places, atol=0.2)
    np.testing.assert_allclose([box[2] - box[0] for box in boxes], [36] * 3, atol=0.3)


@pytest.mark.parametrize("shared", [7.0, 12.0])
def test_two_exposures_that_overlap_are_two_frames_and_no_wide_view(shared):
    """36 + 36 - 7 mm are as long as a wide view of 65 mm."""
    light = table(124, 50)
    film_135(light, 6, 7, 112)
    places = [8.0, 44.0 - shared, 82.0 - shared]
    for k, x in enumerate(places):
        exposed(light, x, 12.488, 36, 24, k + 3)
    frames = locate(light).frames
    boxes = boxes_mm(frames)
    assert len(boxes) == 3
    np.testing.assert_allclose([box[0] for box in boxes], places, atol=0.5)


@pytest.mark.parametrize("long", [112.0, 168.0])
def test_a_wide_view_on_120_film_is_found_whole(long):
    light = table(long + 30, 78)
    film_120(light, 6, 8, long + 14)
    exposed(light, 13, 10.75, long, 56, 1)
    frames = locate(light, PPI).frames
    np.testing.assert_allclose(boxes_mm(frames), [[13, 10.75, 13 + long, 66.75]], atol=0.3)


def test_two_wide_views_on_120_film_are_two():
    light = table(262, 78)
    film_120(light, 6, 8, 246)
    for k, x in enumerate((10.0, 131.0)):
        exposed(light, x, 10.75, 116, 56, k)
    boxes = boxes_mm(locate(light, PPI).frames)
    wanted = [[10, 10.75, 126, 66.75], [131, 10.75, 247, 66.75]]
    np.testing.assert_allclose(boxes, wanted, atol=0.3)


@pytest.mark.parametrize("gap", [1.5, 3.0])
def test_a_strip_close_beside_another_is_found(gap):
    """The ground left around a piece while it is looked at reaches to its neighbour."""
    light = table(196, 138)
    tops = [6.0, 6 + 61.5 + gap]
    for k, top in enumerate(tops):
        film_120(light, 6, top, 178 - 6 * k)
        for n in range(3):
            exposed(light, 9 + 58.5 * n, top + 2.75, 55, 56, 3 * k + n)
    frames = locate(light, PPI).frames
    assert len(frames) == 6
    tops_seen = sorted(box[1] for box in boxes_mm(frames))
    np.testing.assert_allclose(tops_seen, sorted(tops * 3) + np.float64(2.75), atol=0.3)


def test_a_strip_with_a_seam_along_it_is_found():
    """A sleeve's seam that lies against 120 film makes its piece 2 mm and more wider."""
    light = table(196, 80)
    film_120(light, 6, 9, 178)
    light[part(2, 70.5, 190, 2.6)] *= 0.5
    for n in range(3):
        exposed(light, 9 + 58.5 * n, 11.75, 55, 56, n)
    frames = locate(light, PPI).frames
    wanted = [[9 + 58.5 * n, 11.75, 64 + 58.5 * n, 67.75] for n in range(3)]
    assert len(frames) == 3
    np.testing.assert_allclose(boxes_mm(frames), wanted, atol=0.3)
    # The seam makes no other scale of it than the file says.
    assert locate(light, PPI).ppi == PPI
