"""Several prints or slides on one table, rulers beside them, sleeves: each picture is its own frame."""

import cv2
import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.locate import locate_array
from glassine.locate.chain import peak

MM = 6  # px


def locate(light, ppi=None, kind="auto"):
    r = np.random.default_rng(8)
    soft = cv2.GaussianBlur(light, (0, 0), 0.7) + 0.0008 * r.standard_normal(light.shape)
    pixels = np.round(np.clip(soft, 0, 1) * 65535).astype(np.uint16)
    return locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear", kind=kind),
        ppi,
        {},
    )


def fill(image, x, y, w, h, light):
    """Paint a rectangle given in mm."""
    rows, columns = slice(round(y * MM), round((y + h) * MM)), slice(round(x * MM), None)
    image[rows, columns][:, : round(w * MM)] = light


def picture(image, x, y, w, h, low, high, seed):
    """Lay a soft, uneven picture between two levels of light; mm."""
    r = np.random.default_rng(seed)
    size = round(w * MM), round(h * MM)
    soft = cv2.resize(r.uniform(0, 1, (9, 12)).astype(np.float32), size, None, 0, 0, 1)
    rows, columns = round(y * MM), round(x * MM)
    image[rows : rows + size[1], columns : columns + size[0]] = low + (high - low) * soft[..., None]


def print_on(image, x, y, w, h, seed):
    """Lay a print with a white border of 4 mm."""
    fill(image, x, y, w, h, 0.85)
    picture(image, x + 4, y + 4, w - 8, h - 8, 0.04, 0.6, seed)


def boxes(geometry):
    return sorted(
        [*np.array(f.corners).min(0) / MM, *np.array(f.corners).max(0) / MM]
        for f in geometry.frames
    )


@pytest.mark.parametrize("ground", [0.05, 0.25], ids=["dark board", "grey board"])
def test_three_prints_on_a_board_are_three_positives(ground):
    table = np.full((150 * MM, 210 * MM, 3), ground, np.float32)
    places = [(10, 10), (110, 12), (12, 80)]
    for seed, (x, y) in enumerate(places):
        print_on(table, x, y, 85, 60, seed)
    found = locate(table)
    assert found.kind == "print"
    assert [frame.polarity for frame in found.frames] == ["positive"] * 3
    wanted = sorted([x + 4, y + 4, x + 81, y + 56] for x, y in places)
    for got, true in zip(boxes(found), wanted, strict=True):
        assert got == pytest.approx(true, abs=0.4)


def test_a_ruler_beside_a_print_is_no_part_of_it():
    table = np.full((120 * MM, 150 * MM, 3), 0.2, np.float32)
    print_on(table, 15, 30, 110, 80, 4)
    fill(table, 15, 8, 110, 12, 0.8)
    for x in range(17, 124, 5):
        fill(table, x, 8, 0.4, 5, 0.03)
    found = locate(table)
    assert len(found.frames) == 1
    assert boxes(found)[0] == pytest.approx([19, 34, 121, 106], abs=0.4)


def test_four_mounts_on_a_light_table_are_four_slides():
    """Mounts of 50 x 50 mm with an opening of 34.3 x 22.5 mm (film.py)."""
    table = np.full((120 * MM, 120 * MM, 3), 0.95, np.float32)
    for seed, (x, y) in enumerate([(6, 6), (63, 6), (6, 63), (63, 63)]):
        fill(table, x, y, 50, 50, 0.05)
        picture(table, x + 7.85, y + 13.75, 34.3, 22.5, 0.1, 0.7, seed)
    found = locate(table, 25.4 * MM)
    assert found.kind == "mounted_slide"
    assert [frame.polarity for frame in found.frames] == ["positive"] * 4


def test_an_orange_picture_in_a_small_opening_is_a_negative():
    """Clear base of a masked colour negative: densities 0.25, 0.6, 0.85 (value from memory)."""
    table = np.full((60 * MM, 70 * MM, 3), 0.015, np.float32)
    r = np.random.default_rng(2)
    soft = cv2.resize(r.uniform(0, 1, (9, 12, 3)).astype(np.float32), (40 * MM, 30 * MM))
    density = np.array([0.3, 0.65, 0.9]) + 0.5 * soft
    table[15 * MM : 45 * MM, 15 * MM : 55 * MM] = 10.0**-density
    (frame,) = locate(table).frames
    assert frame.polarity == "negative"


@pytest.mark.parametrize("at", [-40, 40, 10**6])
def test_an_edge_expected_outside_what_is_seen_is_not_seen(at):
    assert peak(np.zeros(12), at, 3) == (float(at), 0.0)
