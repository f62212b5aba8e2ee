"""Codes in the margin of film that the step finds by itself, in geometry.json and back."""

from __future__ import annotations

import pytest

from glassine.base import record_files
from glassine.base.model import Facts, ItemGeometry, MasterGeometry
from glassine.locate.looks import locate_array
from makers import edge_strips
from makers.edge_strips import Capture, Look, Strip


@pytest.fixture(scope="module")
def capture() -> Capture:
    strip = Strip(frames=3, first=24, off_mm=3.0, step=0.7, product=115, generation=10, seed=4)
    return edge_strips.alone(strip, Look(500, 25, 0.02), 181.0)


def located(capture: Capture, edge_codes: bool) -> MasterGeometry:
    return locate_array(
        capture.reduced,
        capture.reduction,
        capture.region,
        Facts(encoding="linear"),
        None,
        {"edge_codes": edge_codes},
        size=(capture.width, capture.height),
    )


@pytest.fixture(scope="module")
def found(capture: Capture) -> MasterGeometry:
    return located(capture, edge_codes=True)


def test_frames_have_their_numbers_and_the_film_its_kind(found: MasterGeometry) -> None:
    assert [frame.film_frame for frame in found.frames] == ["14", "13", "12"]  # upside down
    (edge,) = found.edges
    assert (edge.stock, edge.emulsion, edge.turn) == ("115-10", "away", 180)


def test_the_record_holds_what_was_read(found: MasterGeometry) -> None:
    item = ItemGeometry("PEH-0001", (found,))
    again = ItemGeometry.from_dict(item.as_dict())
    assert again.masters[0].edges[0].frames == found.edges[0].frames
    assert [frame.film_frame for frame in again.masters[0].frames] == ["14", "13", "12"]


def test_without_the_setting_nothing_is_read_and_frames_are_the_same(
    capture: Capture, found: MasterGeometry
) -> None:
    plain = located(capture, edge_codes=False)
    assert plain.edges == ()
    assert [frame.film_frame for frame in plain.frames] == [None] * 3
    assert [frame.corners for frame in plain.frames] == [frame.corners for frame in found.frames]


def test_records_without_codes_are_as_they_were(found: MasterGeometry) -> None:
    bare = MasterGeometry("a.tif", 9, 9, None, None, found.frames[:0])
    (master,) = ItemGeometry("PEH-0001", (bare,)).as_dict()["masters"]
    assert "edges" not in master
    assert "notches" not in master


def test_the_record_agrees_with_its_schema(found: MasterGeometry, tmp_path) -> None:
    event = {
        "type": "frame location", "time": "2026-03-18T03:10:09Z", "outcome": "success",
        "software": {"glassine": "0.1.0"}, "operator": None, "detail": {},
    }  # fmt: skip
    named = ItemGeometry("PEH-0001", (MasterGeometry(**{**vars(found), "path": "a.tif"}),), event)
    record_files.write(tmp_path / "geometry.json", "geometry", named.as_dict())
