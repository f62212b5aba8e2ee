"""Openings in dark masks, ovals, pieces that touch, thin borders: drawn here, truth known."""

import cv2
import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.locate import locate_array
from glassine.locate.encoding import linear_table
from glassine.locate.opening import differing, opening
from glassine.locate.refine import Box, Sampler, crossing_in, oval
from glassine.locate.sides import Line
from glassine.locate.view import Patch, look, off_from, survey

RIM = [Line(4.0, 0.0, n / 2, 0.9, 0.0, 0.1) for n in (400, 500, 400, 500)]


def patch_of(tone):
    v = np.repeat(tone.astype(np.float32)[..., None], 3, 2)
    return Patch(v, lambda: 10**-v, np.eye(2, 3))


def masked(step, noise=0.03, seed=4):
    """Return a mask of density 2.1, its opening at 90..410, 70..330 lighter by `step`."""
    r = np.random.default_rng(seed)
    tone = np.full((400, 500), 2.1)
    tone[70:330, 90:410] -= step
    return patch_of(tone + noise * r.standard_normal(tone.shape))


@pytest.mark.parametrize("step", [0.05, -0.05, 0.4])
def test_an_opening_hardly_unlike_its_mask_is_found(step):
    patch = masked(step)
    found = opening(patch, differing(patch, RIM, 4, 8), RIM)
    assert [line.at for line in found] == pytest.approx([90, 70, 90, 70], abs=1.5)


def test_a_mask_without_an_opening_has_none():
    patch = masked(0.0)
    assert opening(patch, differing(patch, RIM, 4, 8), RIM) is None


def test_dust_and_scratches_in_a_mask_are_no_picture():
    patch = masked(0.0)
    cv2.line(patch.v, (30, 200), (80, 380), (0.4, 0.4, 0.4), 1)
    cv2.circle(patch.v, (300, 30), 4, (0.2, 0.2, 0.2), -1)
    assert not differing(patch, RIM, 4, 8).any()


def test_light_that_falls_off_is_no_picture():
    y, x = np.mgrid[-1:1:400j, -1:1:500j]
    tone = 2.0 + 0.1 * x * x + 0.05 * y
    v = patch_of(tone + 0.02 * np.random.default_rng(1).standard_normal(tone.shape)).v
    rim = np.ones((400, 500), bool)
    rim[8:-8, 8:-8] = False
    assert not off_from(v, rim, np.ones((400, 500), bool)).any()


def sampler_of(light):
    pixels = np.round(np.clip(light, 0, 1) * 65535).astype(np.uint16)[..., None]

    def region(left, top, width, height):
        return pixels[top : top + height, left : left + width]

    return Sampler(region, light.shape[1], light.shape[0], linear_table("linear"), 1.0)


def test_an_oval_is_fitted_to_a_fraction_of_a_pixel():
    true = Box(402.3, 298.7, 520.0, 400.0, 1.3)
    y, x = np.mgrid[0:600, 0:800] + 0.5
    u, v = true.axes()
    p = np.stack([x - true.x, y - true.y], -1)
    inside = (np.hypot(p @ u / (true.width / 2), p @ v / (true.height / 2)) < 1).astype(np.float32)
    light = cv2.GaussianBlur(0.01 + 0.5 * inside, (0, 0), 1.0)
    near = Box(404.0, 297.0, 523.0, 398.0, 0.6)
    found = oval(sampler_of(light), near, 9)
    assert found.share > 0.95
    assert found.box.angle_deg == pytest.approx(1.3, abs=0.05)
    assert np.hypot(*(found.box.corners() - true.corners()).T).max() < 0.6


def test_nothing_is_no_oval():
    even = sampler_of(np.full((400, 500), 0.3, np.float32))
    assert oval(even, Box(250, 200, 300, 220, 0.0), 9) is None


@pytest.mark.parametrize("border", [6, 8, 12])
def test_a_thin_black_border_does_not_draw_the_edge_to_the_films_end(border):
    light = np.full(80, 0.9)
    light[30 : 30 + border] = 0.003
    light[30 + border :] = 0.05
    profile = cv2.GaussianBlur(light[None].astype(np.float32), (0, 0), 1.2)[0][:, None]
    place, step = crossing_in(profile, 30 + border, 5, -1)
    assert place == pytest.approx(30 + border, abs=0.7)
    assert step < 1.6


def view_of(light):
    pixels = np.round(light * 65535).astype(np.uint16)
    return look(np.repeat(pixels[..., None], 3, 2), linear_table("linear"), 1.0)


def test_film_that_touches_a_ruler_comes_apart_from_it():
    light = np.full((600, 900), 0.95)
    light[100:400, 100:400] = 0.4
    light[396:440, 380:870] = 0.2
    found = survey(view_of(light)).pieces
    assert len(found) == 2
    assert (found[0].width, found[0].height) == pytest.approx((300, 300), abs=8)


@pytest.mark.parametrize("paper", [0.9, 0.4])
def test_paper_is_found_on_a_light_board_lighter_or_darker(paper):
    r = np.random.default_rng(5)
    light = np.full((600, 900), 0.6)
    light[90:500, 120:760] = paper
    light += 0.002 * r.standard_normal(light.shape)
    pixels = np.repeat(np.round(light * 65535).astype(np.uint16)[..., None], 3, 2)
    geometry = locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear"),
        300.0,
        {},
    )
    assert len(geometry.frames) == 1
    corners = np.array(geometry.frames[0].corners)
    assert np.abs(corners - [[120, 90], [760, 90], [760, 500], [120, 500]]).max() < 2
