"""A gap between frames and a frame captured twice stand where missing and double items stand."""

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.base.item_states import ItemStatus
from glassine.night import reconciled
from glassine.report import gather, recapture, views
from glassine.report.shown import Batch, Item
from makers.step_calls import taken_in

FRAMES = r"(?P<item>R[0-9]{3})_(?P<sequence>[0-9]+A?)\.tif"
ROLLS = {"pattern": r"film_(?P<roll>[0-9]{3})_(?P<place>[0-9]+A?)\.tif", "item": "F{roll}-{place}"}


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    return folder


def take(folder, names, rows=(), **naming):
    for tone, name in enumerate(names, 1):
        tifffile.imwrite(folder / name, np.full((8, 12, 3), tone, np.uint16))
    if rows:
        text = "".join(f"{row},Quay\n" for row in rows)
        (folder / "catalogue.csv").write_text("item_id,title\n" + text)
    more = {"intake": {"watch_s": 0}, "catalogue": {"required": False}, "naming": naming}
    return taken_in(folder, {"batch": "b", "settings": settings.load(more)})["expected"]


def missing(expected):
    return [(each["item"], each.get("frame"), each.get("between")) for each in expected["missing"]]


def listed(expected):
    """The rows of the list for the table."""
    shown = gather._expected(views.msgspec.convert(expected, views.Expected))
    batch = Batch("b", "B", items=[Item(ItemStatus("R017", state="review"))], expected=shown)
    return [(row.item, *row.reasons) for row in recapture.rows(batch)]


def test_a_gap_of_an_item_that_is_a_roll_is_missing_without_any_list(batch):
    expected = take(batch, [f"R017_{n}.tif" for n in (14, 15, 16, 18, 22)], pattern=FRAMES)
    assert missing(expected) == [("R017", "17", "16 and 18"), ("R017", "19 to 21", "18 and 22")]
    assert (expected["sources"], expected["count"]) == ([], 0)
    assert listed(expected) == [
        ("R017", "Frame 17 is missing between 16 and 18."),
        ("R017", "Frames 19 to 21 are missing between 18 and 22."),
    ]


def test_a_gap_beside_a_catalogue_is_no_missing_item_of_its_count(batch):
    names = [f"R017_{n}.tif" for n in (1, 3)]
    expected = take(batch, names, ["R017", "R018"], pattern=FRAMES)
    assert missing(expected) == [("R018", None, None), ("R017", "2", "1 and 3")]
    shown = gather._expected(views.msgspec.convert(expected, views.Expected))
    assert (shown.count, shown.captured) == (2, 1)


def test_a_frame_of_a_roll_of_items_is_missing_by_the_id_that_it_would_have(batch):
    names = [f"film_031_{n}.tif" for n in ("08", "09", "11")]
    expected = take(batch, names, **ROLLS)
    assert missing(expected) == [("F031-10", "10", "9 and 11")]
    assert listed(expected) == [
        ("F031-10", "Frame 10 is missing of the roll 031 between 9 and 11.")
    ]


def test_one_that_the_catalogue_expects_too_stands_there_once(batch):
    names = [f"film_031_{n}.tif" for n in (1, 3)]
    expected = take(batch, names, [f"F031-{n}" for n in (1, 2, 3)], **ROLLS)
    assert missing(expected) == [("F031-2", "2", "1 and 3")]
    assert "unlisted" not in expected["missing"][0] or not expected["missing"][0]["unlisted"]


def test_a_frame_captured_twice_makes_its_item_double(batch):
    expected = take(batch, [f"R022_{n}.tif" for n in ("02", "03", "3", "04")], pattern=FRAMES)
    assert expected["double"] == ["R022"] and expected["missing"] == []


def test_a_whole_roll_says_nothing(batch):
    assert take(batch, [f"R017_{n}.tif" for n in ("0", "0A", "1", "2")], pattern=FRAMES) is None


def test_the_summary_of_a_run_names_frames_with_their_item(batch, tmp_path):
    expected = take(batch, [f"R017_{n}.tif" for n in (1, 3)], pattern=FRAMES)
    (tmp_path / "r" / "b").mkdir(parents=True)
    from glassine.base import files

    files.write_json(tmp_path / "r" / "b" / "intake.json", {"expected": expected})
    summary = reconciled.added({"batches": [{"batch": "b"}]}, tmp_path / "r")
    assert summary["batches"][0]["expected"]["missing"] == ["R017 (frame 2)"]
    assert summary["missing"] == 1
