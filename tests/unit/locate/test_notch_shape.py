"""The shape of a sheet's code notch: the depths of its parts, however the sheet lies."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from glassine.base.model import FilmEdge, MasterGeometry
from glassine.locate import orientation
from glassine.record import mods

W, H, MARGIN, PX_PER_MM = 800, 1000, 60, 8.0  # 100 x 125 mm


def sheet(*parts: tuple[float, float]) -> tuple[np.ndarray, np.ndarray]:
    """Return a sheet with half discs of table cut out of its upper side, and its corners.

    parts: (mm from the right corner, depth in mm).
    """
    image = np.full((H + 2 * MARGIN, W + 2 * MARGIN), 250, np.float32)
    cv2.rectangle(image, (MARGIN, MARGIN), (MARGIN + W - 1, MARGIN + H - 1), 150.0, -1)
    for place, depth in parts:
        middle = round(MARGIN + W - place * PX_PER_MM), MARGIN
        cv2.ellipse(image, middle, (9, round(depth * PX_PER_MM)), 0, 0, 360, 250.0, -1)
    image += np.random.default_rng(1).normal(0, 3, image.shape).astype(np.float32)
    return image, np.array([[0, 0], [W, 0], [W, H], [0, H]], float) + MARGIN


def shape(image: np.ndarray, corners: np.ndarray, quarter: int, mirrored: bool) -> str | None:
    height, width = image.shape
    for _ in range(quarter):
        image = np.rot90(image, -1)
        corners = np.stack([height - corners[:, 1], corners[:, 0]], 1)
        height, width = width, height
    if mirrored:
        image = image[:, ::-1]
        corners = np.stack([width - corners[:, 0], corners[:, 1]], 1)
    turn = np.arctan2(*(corners - corners.mean(0)).T[::-1])
    return orientation.notch_code(np.ascontiguousarray(image), corners[np.argsort(turn)], PX_PER_MM)


@pytest.mark.parametrize("quarter", [0, 1, 2, 3])
@pytest.mark.parametrize("mirrored", [False, True])
def test_the_shape_is_the_same_however_the_sheet_lies(quarter: int, mirrored: bool) -> None:
    assert shape(*sheet((9, 1.5), (13, 1.0), (17, 2.0)), quarter, mirrored) == "3-2-4"


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        (((10, 1.0),), "2"),
        (((9, 2.0), (13, 2.0)), "4-4"),
        ((), None),
        (((50, 1.5),), None),  # in the middle of the side: damage as likely
        (((10, 1.5), (90, 1.5)), None),  # at both ends
    ],
)
def test_shapes(parts: tuple[tuple[float, float], ...], expected: str | None) -> None:
    assert shape(*sheet(*parts), 0, False) == expected


def note(code: str, names: dict[str, str]) -> str:
    master = MasterGeometry("a.tif", 9, 9, None, None, (), "sheet", notches=code)
    ((kind, text),) = mods.seen_of([master], {}, names)
    assert kind == "film"
    return text


def test_a_studio_names_sheets_by_their_notches() -> None:
    names = {"3-2-4": "harbour sheet", "6-2": "other sheet"}
    words = "code notch 3-2-4 (depths in half millimetres, from the corner on)"
    assert note("3-2-4", names) == f"harbour sheet ({words})"
    assert note("3-3-4", names).startswith("harbour sheet (code notch 3-3-4")


@pytest.mark.parametrize("code", ["3-2", "3-2-6", "3-2-4-1"])
def test_another_shape_has_no_name(code: str) -> None:
    assert note(code, {"3-2-4": "harbour sheet"}).startswith("code notch")


def test_a_shape_near_to_two_names_has_neither_and_an_exact_one_its_own() -> None:
    names = {"3-2": "one", "3-4": "other"}
    assert note("3-3", names).startswith("code notch 3-3")
    assert note("3-2", {**names, "3-3": "third"}).startswith("one")


def test_film_without_codes_or_notches_has_no_note() -> None:
    edge = FilmEdge((1,), None, None, None, (), "")
    master = MasterGeometry("a.tif", 9, 9, None, None, (), edges=(edge,))
    assert mods.seen_of([master], {"10-3": "x"}, {}) == []
