"""A row whose number is no item's id, and that names a master of another row's item."""

import json

import msgspec

from glassine.base import record_files, settings
from glassine.base.records.intake import Intake
from makers.step_calls import taken_in


def test_the_batch_is_taken_in_and_both_are_held(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    (folder / "PEH-0001.tif").write_bytes(b"II*\0")
    (folder / "catalogue.csv").write_text(
        "item_id,title,masters\nPEH-0001,Quay,PEH-0001.tif\nNo 1,Mole,PEH-0001.tif\n", "utf-8"
    )
    config = settings.load({"intake": {"watch_s": 0}})
    taken = taken_in(folder, {"batch": "b1", "settings": config})
    held = {
        item["item"]: [each["what"] for each in item["findings"] if each["severity"] == "hold"]
        for item in taken["items"]
    }
    assert len(held) == 2
    assert all("claimed by 2 items: No 1, PEH-0001." in words[0] for words in held.values())
    path = tmp_path / "intake.json"
    record_files.save(path, "intake", msgspec.convert(taken, Intake))
    assert json.loads(path.read_text("utf-8")) == taken
