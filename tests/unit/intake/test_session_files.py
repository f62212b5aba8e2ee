"""session.yaml informs: read where it lies, told where it is wrong, never in a capture's way."""

import numpy as np
import pytest
import tifffile

from glassine.base import settings
from makers.step_calls import taken_in


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    (folder / "day 2").mkdir(parents=True)
    for number, place in ((1, ""), (2, "day 2")):
        path = folder / place / f"PEH-{number:04d}.tif"
        tifffile.imwrite(path, np.full((8, 12, 3), number, np.uint16))
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0001,a\nPEH-0002,b\n")
    return folder


def take(folder):
    config = settings.load({"intake": {"watch_s": 0, "labels": "never"}})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def test_each_folder_may_have_its_session(batch):
    (batch / "session.yaml").write_text("station: table-1\noperators: [op-03, op-07]\n")
    (batch / "day 2" / "Session.yml").write_text("station: table-2\nlamp: panel 2, 5000 K\n")
    result = take(batch)
    assert [(each["folder"], each["station"]) for each in result["sessions"]] == [
        ("", "table-1"),
        ("day 2", "table-2"),
    ]
    assert (result["notes"], result["other_files"]) == ([], [])


@pytest.mark.parametrize(
    "text",
    ["operators: [Anna Holm]\n", "operator: op-03\n", "- x\n", "station: [\n", "station: 2\n"],
)
def test_a_wrong_one_is_told_and_holds_nothing(batch, text):
    (batch / "session.yaml").write_text("station: table-1\n")
    (batch / "day 2" / "session.yaml").write_text(text)
    result = take(batch)
    assert {note["code"] for note in result["notes"]} == {"intake.session"}
    assert {item["state"] for item in result["items"]} == {"ready"}
    assert result["sessions"][1]["station"] is None, "another folder's session must not stand in"


def test_two_in_one_folder_are_told_and_neither_counts(batch):
    (batch / "session.yaml").write_text("station: table-1\n")
    (batch / "session.yml").write_text("station: table-2\n")
    result = take(batch)
    assert [note["code"] for note in result["notes"]] == ["intake.session"]
    assert result["sessions"][0]["station"] is None
