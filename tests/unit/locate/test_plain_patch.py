"""What is of one tone all over is no picture, however plain its edges are."""

import cv2
import numpy as np
import pytest

from makers.light_table import locate


@pytest.mark.parametrize(("range_of_tones", "plain"), [(0.015, True), (0.15, False)])
def test_a_plain_patch_on_a_board_is_for_review(range_of_tones, plain):
    r = np.random.default_rng(8)
    table = np.full((300, 420, 3), 10**-1.9, np.float32)
    tones = cv2.resize(r.uniform(0, range_of_tones, (6, 8)).astype(np.float32), (280, 180))
    table[60:240, 70:350] = 10 ** -(tones[..., None] + np.array([0.5, 0.9, 1.0], np.float32))
    table *= 1 + 0.004 * r.standard_normal(table.shape).astype(np.float32)
    (frame,) = locate(table).frames
    assert any("one tone" in reason for reason in frame.reasons) == plain
    assert frame.state == "review" or not plain


@pytest.mark.parametrize("grain", [0.002, 0.008, 0.02])
@pytest.mark.parametrize("drawn", [False, True])
def test_light_that_falls_off_makes_no_picture_of_a_bare_patch(grain, drawn):
    """A patch that varies as much as a thin picture, by the lamp alone; and such a thin picture."""
    r = np.random.default_rng(5)
    table = np.full((300, 420, 3), 10**-1.9, np.float32)
    y, x = np.mgrid[-1:1:180j, -1:1:280j]
    density = 0.5 + 0.035 * x + 0.03 * y + 0.02 * (x * x + y * y)
    if drawn:
        density += cv2.resize(r.uniform(0, 0.12, (6, 8)), (280, 180))
    table[60:240, 70:350] = 10 ** -density[..., None]
    table *= 1 + grain * r.standard_normal(table.shape).astype(np.float32)
    (frame,) = locate(table).frames
    assert any("one tone" in reason for reason in frame.reasons) != drawn
    assert frame.state == "review" or drawn
