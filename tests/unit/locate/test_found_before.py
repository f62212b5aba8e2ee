"""What was found stands beside what a person decided, so that both can be compared afterwards."""

from __future__ import annotations

from typing import Any

import pytest

from glassine.base import record_files
from glassine.base.model import Facts, Frame, ItemGeometry, MasterGeometry
from glassine.locate.step import corrected

FOUND = ((10.0, 10.0), (90.0, 12.0), (89.0, 60.0), (9.0, 58.0))
DRAWN = [[12.0, 11.0], [88.0, 12.0], [88.0, 59.0], [11.0, 58.0]]


def geometry() -> MasterGeometry:
    frame = Frame(
        1,
        FOUND,
        1.4,
        "negative",
        "monochrome",
        confidence=0.62,
        state="review",
        reasons=("left edge not found",),
    )
    return MasterGeometry("PEH-0001.tif", 100, 70, None, None, (frame,))


def after(*frames: dict[str, Any]) -> tuple[Frame, ...]:
    said = {"by": "op-07", "when": None, "note": None, "frames": list(frames)}
    return corrected(geometry(), said, Facts(), single=True).frames


def written(tmp_path: Any, frames: tuple[Frame, ...]) -> list[dict[str, Any]]:
    """Return the frames as geometry.json holds them, which its schema has passed."""
    master = MasterGeometry("PEH-0001.tif", 100, 70, None, None, frames)
    path = tmp_path / "geometry.json"
    record_files.write(path, "geometry", ItemGeometry("PEH-0001", (master,)).as_dict())
    found: list[dict[str, Any]] = record_files.read(path, "geometry")["masters"][0]["frames"]
    return found


@pytest.mark.parametrize(
    "entry",
    [
        {"frame": 1, "corners": DRAWN},
        {"frame": 1, "polarity": "positive", "blank": True},
        {"frame": 1, "accept": True},
        {"frame": 1, "exclude": True},
    ],
)
def test_a_decided_frame_keeps_what_was_found(tmp_path: Any, entry: dict[str, Any]) -> None:
    (frame,) = written(tmp_path, after(entry))
    assert frame["source"] == "correction"
    assert frame["measured"] == {
        "corners": [list(point) for point in FOUND],
        "polarity": "negative",
        "process": "monochrome",
        "blank": False,
        "confidence": 0.62,
        "state": "review",
        "reasons": ["left edge not found"],
    }


def test_an_added_frame_says_that_nothing_was_found(tmp_path: Any) -> None:
    one, two = written(tmp_path, after({"frame": 2, "corners": DRAWN}))
    assert "measured" not in one  # nobody decided about it
    assert two["measured"] is None


def test_a_record_with_decisions_is_read_back_as_it_was_written(tmp_path: Any) -> None:
    frames = after({"frame": 1, "corners": DRAWN}, {"frame": 2, "corners": DRAWN})
    written(tmp_path, frames)
    again = ItemGeometry.from_dict(record_files.read(tmp_path / "geometry.json", "geometry"))
    assert [f.measured for f in again.masters[0].frames] == [f.measured for f in frames]
    assert frames[0].measured is not None
    assert frames[1].measured is None


def test_records_of_earlier_versions_are_still_read() -> None:
    master = MasterGeometry(
        "PEH-0001.tif", 100, 70, None, None, after({"frame": 1, "accept": True})
    )
    record = ItemGeometry("PEH-0001", (master,)).as_dict()
    del record["masters"][0]["frames"][0]["measured"]
    assert ItemGeometry.from_dict(record).masters[0].frames[0].source == "correction"
