"""The catalogue's size tells the scale where nothing else does, and is laid over nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from glassine import steps
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.locate import catalogue_size, locate_array
from makers.film import make_scene

PLATE_MM = (90.0, 120.0)


def corners(width: float, height: float) -> tuple[tuple[float, float], ...]:
    return ((10, 10), (10 + width, 10), (10 + width, 10 + height), (10, 10 + height))


def geometry(**more: Any) -> MasterGeometry:
    frame = Frame(1, corners(100, 75), 0.0, "negative", "monochrome")  # type: ignore[arg-type]
    values: dict[str, Any] = {
        "path": "a.tif", "width": 1300, "height": 1000, "ppi": None, "ppi_source": None,
        "frames": (frame,), "object_corners": corners(1200, 900),
    }  # fmt: skip
    return MasterGeometry(**values | more)


def test_the_scale_is_that_of_the_outline_and_is_said_to_rest_on_the_catalogue() -> None:
    found = catalogue_size.hinted(geometry(), PLATE_MM)
    # 1200 px for 120 mm.
    assert found.ppi == pytest.approx(254) and found.ppi_source == "catalogue"
    assert "that the catalogue states: nothing on the master confirms it" in found.notes[-1]
    upright = geometry(object_corners=corners(900, 1200))
    assert catalogue_size.hinted(upright, PLATE_MM).ppi == pytest.approx(254)


@pytest.mark.parametrize(
    ("more", "size"),
    [
        ({"ppi": 300.0, "ppi_source": "tag"}, PLATE_MM),  # said already
        ({"ppi": 300.0, "ppi_source": "mount"}, PLATE_MM),  # seen
        ({}, None),
        ({}, (60.0, 90.0)),  # of another shape
        ({"object_corners": None}, PLATE_MM),  # no outline
        ({"frames": ()}, PLATE_MM),
        ({"frames": geometry().frames * 2}, PLATE_MM),  # several pieces: of which is the size?
        ({}, (9.0, 12.0)),  # mm for cm: the master would be 13 mm long
    ],
)
def test_where_it_cannot_be_meant_nothing_changes(more: dict[str, Any], size: Any) -> None:
    before = geometry(**more)
    assert catalogue_size.hinted(before, size) == before


def test_a_drawn_plate_without_a_resolution_is_measured_by_its_row() -> None:
    image, truth = make_scene("plate", seed=21, width=420, gamma=1.0)
    pixels, right = image.squeeze(), truth["ppi"]
    facts = Facts(encoding="linear", kind="plate")

    def region(left: int, top: int, width: int, height: int) -> Any:
        return pixels[top : top + height, left : left + width]

    found = locate_array(pixels, 1, region, facts, None, {})
    assert found.ppi is None and found.object_corners is not None
    outline = np.array(found.object_corners)
    sides = sorted(float(np.hypot(*(outline[k] - outline[0]))) / right * 25.4 for k in (1, 3))
    hinted = catalogue_size.hinted(found, (round(sides[0]), round(sides[1])))
    assert hinted.ppi == pytest.approx(right, rel=0.02)
    assert hinted.frames == found.frames


def test_locate_takes_the_size_and_needs_none() -> None:
    values: dict[str, Any] = {"item": "A", "masters": []}
    assert steps.given("locate", values).size_mm is None
    assert steps.given("locate", {**values, "size_mm": [90.0, 120.0]}).size_mm == PLATE_MM
