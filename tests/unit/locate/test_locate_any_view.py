"""No view makes the search for frames fail: whatever lies on a table, it says what it found."""

import cv2
import numpy as np
import pytest

from glassine.base.errors import GlassineError
from glassine.base.model import Facts
from glassine.locate import locate_array

KINDS = ("auto", "strip_135", "strip_120", "cut_frames", "sheet", "mounted_slide", "print")
LEVELS = (0.0, 0.02, 0.3, 0.6, 0.95)


def odd_view(r):
    """Return a view of any size with film, cards and noise at any place, cut off anywhere."""
    height, width = (int(n) for n in r.integers(1, r.choice([12, 60, 200, 500]), 2))
    if r.random() < 0.3:  # a long, narrow master, lying or upright
        height, width = int(r.integers(20, 120)), int(r.integers(300, 900))
    if r.random() < 0.5:
        height, width = width, height
    view = np.full((height, width, 3), r.choice(LEVELS), np.float32)
    for _ in range(r.integers(0, 8)):
        top, left = int(r.integers(-height, height)), int(r.integers(-width, width))
        below, beside = top + int(r.integers(1, height + 1)), left + int(r.integers(1, width + 1))
        view[max(top, 0) : max(below, 0), max(left, 0) : max(beside, 0)] = r.choice(LEVELS)
    if r.random() < 0.6:
        perforate(view, r)
    if r.random() < 0.5:
        view = cv2.rotate(view, cv2.ROTATE_90_CLOCKWISE)
    noisy = view + r.choice([0.0, 0.002, 0.05]) * r.standard_normal(view.shape)
    codes = np.round(np.clip(noisy, 0, 1) * 65535).astype(np.uint16)
    return codes if r.random() < 0.7 else np.ascontiguousarray(codes[..., 0])


def perforate(view, r):
    """Lay 35 mm film across, its upper edge anywhere, even out of the view."""
    mm = r.uniform(0.8, 8)
    top = int(r.uniform(-30 * mm, view.shape[0]))
    view[max(top, 0) : max(top + round(35 * mm), 0)] = r.choice([0.02, 0.5, 0.7])
    for x in np.arange(r.uniform(-40, 40), view.shape[1], 4.75 * mm):
        for y in (top + 2 * mm, top + 30.2 * mm):
            rows = slice(max(round(y), 0), max(round(y + 2.8 * mm), 0))
            view[rows, max(round(x), 0) : max(round(x + 2 * mm), 0)] = 0.95


@pytest.mark.parametrize("seed", range(60))
def test_no_view_makes_it_fail(seed):
    r = np.random.default_rng([seed, 17])
    pixels = odd_view(r)
    facts = Facts(encoding="linear", kind=str(r.choice(KINDS)))
    ppi = r.choice([None, 72.0, 300.0, 2400.0])
    try:
        geometry = locate_array(
            pixels,
            1,
            lambda left, top, w, h: pixels[top : top + h, left : left + w],
            facts,
            ppi,
            {},
        )
    except GlassineError:
        return
    for frame in geometry.frames:
        assert np.isfinite(np.array(frame.corners)).all()


def film_strip(width, height, top, mm):
    """Return a strip of 35 mm film with three frames, its upper edge at `top` px."""
    view = np.full((height, width, 3), 0.95, np.float32)
    view[max(top, 0) : max(top + round(35 * mm), 0)] = 0.6
    for x in np.arange(6, width, 4.75 * mm):
        for y in (top + 2 * mm, top + 30.2 * mm):
            rows = slice(max(round(y), 0), max(round(y + 2.8 * mm), 0))
            view[rows, round(x) : round(x + 2 * mm)] = 0.95
    for k in range(8):
        left = round((1 + 38 * k) * mm)
        rows = slice(max(round(top + 5.5 * mm), 0), max(round(top + 29.5 * mm), 0))
        view[rows, left : round(left + 36 * mm)] = 0.1 + 0.05 * (k % 3)
    return view


@pytest.mark.parametrize("top_mm", [-34, -30, -24, -12])
def test_a_neighbouring_strip_cut_off_by_the_masters_edge_is_no_failure(top_mm):
    mm = 6
    view = film_strip(900, 420, 130, mm)
    neighbour = film_strip(900, 420, round(top_mm * mm), mm)
    view = np.minimum(view, neighbour)
    pixels = np.round(view * 65535).astype(np.uint16)
    for kind in ("strip_135", "auto"):
        locate_array(
            pixels,
            1,
            lambda left, top, w, h: pixels[top : top + h, left : left + w],
            Facts(encoding="linear", kind=kind),
            25.4 * mm,
            {},
        )
