"""What is made at once, or once for all, is what it was one by one."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from glassine.base import processor
from glassine.locate import learned
from glassine.locate.encoding import linear_table
from glassine.locate.profiles import crossings_in
from glassine.locate.refine import Sampler, crossing_in
from glassine.locate.view import look, surface, survey


def page(height: int = 500, width: int = 700) -> np.ndarray:
    """Return a bright table with a turned, grainy picture on it, 16 bits."""
    rng = np.random.default_rng(3)
    pixels = np.full((height, width, 3), 52_000.0)
    box = cv2.boxPoints(((width / 2, height / 2), (0.7 * width, 0.6 * height), 1.2))
    cv2.fillPoly(pixels, [box.astype(np.int32)], (9_000.0, 12_000.0, 8_000.0))
    soft = cv2.GaussianBlur(pixels, (0, 0), 1.0) + rng.normal(0, 300, pixels.shape)
    return np.clip(soft, 0, 65535).astype(np.uint16)


class Reads:
    """Regions of a master, and how many rows of it were asked for."""

    def __init__(self, pixels: np.ndarray) -> None:
        self.pixels, self.rows = pixels, 0

    def __call__(self, left: int, top: int, width: int, height: int) -> np.ndarray:
        self.rows += height
        return self.pixels[top : top + height, left : left + width]

    def sampler(self) -> Sampler:
        height, width = self.pixels.shape[:2]
        return Sampler(self, width, height, linear_table("linear"), 0.8)


@pytest.mark.parametrize("along", [(1.0, 0.0), (0.0, 1.0), (np.cos(0.4), np.sin(0.4))])
def test_cuts_along_a_side_are_those_made_one_by_one(along: tuple[float, float]) -> None:
    one, many = Reads(page()), Reads(page())
    u = np.array(along)
    v = np.array([-u[1], u[0]])
    # The first and the last lie across the master's edge and outside of it.
    origins = np.array([350.0, 250.0]) + np.linspace(-420, 900, 40)[:, None] * u
    together = many.sampler().cuts(origins, u, v, 12, 20)
    sampler = one.sampler()
    apart = [sampler.cut(each, u, v, 12, 20) for each in origins]
    assert [cut is None for cut in together] == [cut is None for cut in apart]
    assert any(cut is None for cut in apart)
    for a, b in zip(together, apart, strict=True):
        assert a is None or b is None or np.array_equal(a, b)


def test_a_side_is_read_once_for_both_passes() -> None:
    reads = Reads(page())
    sampler, u, v = reads.sampler(), np.array([1.0, 0.0]), np.array([0.0, 1.0])
    origins = np.array([[x, 250.0] for x in np.linspace(50, 650, 48)])
    sampler.cuts(origins, u, v, 12, 30)
    first = reads.rows
    sampler.cuts(origins + np.array([0, 2]), u, v, 12, 20)
    assert reads.rows == first <= 70


@pytest.mark.parametrize("sign", [-1, 0, 1])
def test_edges_of_all_places_are_those_of_each(sign: int) -> None:
    rng = np.random.default_rng(4)
    places = rng.uniform(8, 42, 60)
    ways = rng.choice([-1, 1], 60)[:, None]
    steps = 0.5 + 0.3 * ways * np.tanh((np.arange(50) - places[:, None]) / 1.5)
    profiles = (steps[..., None] + rng.normal(0, 0.01, (60, 50, 3))).astype(np.float32)
    together = crossings_in(profiles, 25, 10, sign)
    assert together == [crossing_in(each, 25, 10, sign) for each in profiles]
    assert sum(each is not None for each in together) > 15


def test_the_network_says_the_same_by_the_fastest_instructions() -> None:
    tones = learned.tones_of(look(page(), linear_table("linear"), 1))
    before = cv2.useOptimized()
    try:
        cv2.setUseOptimized(False)
        fast = learned.scores_of(tones)
        assert not cv2.useOptimized()  # and then all is as it was
        net = cv2.dnn.readNetFromONNX(str(learned.FILE))
        h, w = tones.shape[:2]
        padded = cv2.copyMakeBorder(tones, 0, -h % 16, 0, -w % 16, cv2.BORDER_REPLICATE)
        net.setInput(np.ascontiguousarray(padded.transpose(2, 0, 1)[None], dtype=np.float32))
        plain = net.forward()[0, :, :h, :w] / np.float32(learned.UNIT)
    finally:
        cv2.setUseOptimized(before)
    assert np.array_equal(fast, plain)


def test_choices_of_instructions_come_back_after_a_failure() -> None:
    before = cv2.useOptimized()
    cv2.setUseOptimized(False)
    try:
        with pytest.raises(ValueError, match="x"), processor.whole_numbers():
            raise ValueError("x")
        assert not cv2.useOptimized()
    finally:
        cv2.setUseOptimized(before)


def test_a_ground_seen_in_too_few_places_is_the_usual_tone() -> None:
    v = np.full((200, 300, 3), 0.5, np.float32)
    chosen = np.zeros((200, 300), bool)
    chosen[:4, :4] = True
    assert np.array_equal(surface(v, chosen, 1), v)


def test_what_hardly_differs_from_a_dark_ground_is_looked_for_only_when_asked() -> None:
    dark = (65535 - page().astype(int)) // 2
    layout = survey(look(dark.astype(np.uint16), linear_table("linear"), 1))
    assert layout.ground == "dark"
    assert "faint" not in vars(layout)
    asked = layout.faint
    assert layout.faint is asked
