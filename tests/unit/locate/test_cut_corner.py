"""The corner that is cut off a sheet: told where it is plain, and only suggested."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from glassine.base.model import Facts, MasterGeometry
from glassine.locate import cut_corner, stated
from glassine.locate.stated import Located
from glassine.locate.view import Floats

W, H, MARGIN = 800, 1000, 60  # 100 x 125 mm at 8 px per mm
OUTLINE = np.array([[0, 0], [W, 0], [W, H], [0, H]], float) + MARGIN


def sheet(
    cuts: dict[int, tuple[float, float]], table: float = 250.0, film: float = 150.0
) -> Floats:
    """Return a sheet with corners cut. cuts: {corner: px along the next and the last side}."""
    image = np.full((H + 2 * MARGIN, W + 2 * MARGIN), table, np.float32)
    cv2.rectangle(image, (MARGIN, MARGIN), (MARGIN + W - 1, MARGIN + H - 1), film, -1)
    cv2.rectangle(image, (120, 120), (W, H), 90.0, -1)
    for corner, (following, last) in cuts.items():
        here = OUTLINE[corner]
        ahead, behind = OUTLINE[(corner + 1) % 4] - here, OUTLINE[corner - 1] - here
        ends = [
            here + ahead / np.hypot(*ahead) * following,
            here + behind / np.hypot(*behind) * last,
        ]
        cv2.fillPoly(image, [np.array([here, *ends]).round().astype(np.int32)], table)
    noise = np.random.default_rng(3).normal(0, 4, image.shape)
    return np.asarray(cv2.GaussianBlur(image, (0, 0), 0.8) + noise, np.float32)


@pytest.mark.parametrize("corner", [0, 1, 2, 3])
@pytest.mark.parametrize("table", [250.0, 20.0])
def test_the_corner_is_told_on_light_and_dark_ground(corner: int, table: float) -> None:
    assert cut_corner.cut_corner(sheet({corner: (40, 40)}, table), OUTLINE) == corner


@pytest.mark.parametrize("off", [-1.5, 1.5])
def test_an_outline_that_is_off_by_a_little_does_not_matter(off: float) -> None:
    assert cut_corner.cut_corner(sheet({1: (48, 36)}), OUTLINE + off) == 1


@pytest.mark.parametrize(
    "cuts",
    [
        {},
        {0: (40, 40), 2: (40, 40)},
        dict.fromkeys(range(4), (20, 20)),
        {1: (60, 20)},  # a chip
        {1: (200, 200)},
        {1: (5, 5)},
    ],
)
def test_whole_sheets_several_cuts_and_damage_say_nothing(
    cuts: dict[int, tuple[float, float]],
) -> None:
    assert cut_corner.cut_corner(sheet(cuts), OUTLINE) is None


def test_film_with_round_corners_has_no_cut_one() -> None:
    image = sheet({})
    for x, y in OUTLINE.astype(int):
        right, low = x > MARGIN, y > MARGIN
        cv2.rectangle(
            image,
            (x - 60 * right, y - 60 * low),
            (x + 60 * (not right), y + 60 * (not low)),
            250.0,
            -1,
        )
        middle = x + (-60 if right else 60), y + (-60 if low else 60)
        cv2.circle(image, middle, 60, 150.0, -1)
    assert cut_corner.cut_corner(image, OUTLINE) is None


def test_ground_like_the_film_tells_nothing() -> None:
    assert cut_corner.cut_corner(sheet({1: (40, 40)}, table=155.0), OUTLINE) is None


def test_captures_of_an_item_are_put_beside_one_another() -> None:
    same = cut_corner.note("top left", ["top left"])
    assert "other captures" not in same
    assert "top right in other captures" in cut_corner.note("top left", ["top right", "top left"])


def test_masters_of_an_item_say_where_theirs_lie_as_they_are_shown() -> None:
    def located(path: str, corner: int | None, facts: Facts) -> Located:
        return Located(None, facts, 1, True, MasterGeometry(path, 9, 9, None, None, ()), (), corner)

    masters = [
        located("a.tif", 0, Facts()),
        located("b.tif", 3, Facts(rotate=90)),
        located("c.tif", 1, Facts()),
        located("d.tif", None, Facts()),
    ]
    first, second, third, fourth = stated.judged(masters)
    assert "cut off, top left" in first.notes[-1]
    assert "cut off, top left" in second.notes[-1]
    assert "cut off, top right" in third.notes[-1]
    assert "top left in other captures" in third.notes[-1]
    assert fourth.notes == ()
