"""An item has one spelling, however its file names, lists, labels and corrections write its number.

Ways to be wrong and look right: a withdrawal under another spelling withdraws nothing; a pull list
makes an item missing under a second id, or twice; a correction under another spelling is lost.
"""

import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import settings
from makers.step_calls import taken_in

ZEROS = {"leading_zeros": True}


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    (folder / "catalogue.csv").write_text(
        "item_id,title,identifiers\nPEH-125,Quay,box:1\nPEH-126,Mole,box:2\n"
    )
    return folder


def put(folder, *names):
    for name in names:
        seed = sum(name.encode())
        tifffile.imwrite(folder / name, np.full((8, 12, 3), seed, np.uint16))


def take(folder, same=ZEROS, **catalogue):
    stated = {
        "intake": {"watch_s": 0, "labels": "never"},
        "naming": {"same_number": same},
        "catalogue": catalogue,
    }
    return taken_in(folder, {"batch": folder.name, "settings": settings.load(stated)})


def decide(folder, **what):
    (folder / "corrections.yaml").write_text(yaml.safe_dump(what))


def missing(result):
    return [(each["item"], each["title"]) for each in result["expected"]["missing"]]


def withdrawal(item):
    return {"item": item, "reason": "asked for", "by": "op-1", "when": "2026-03-18T08:55:00Z"}


def codes(result):
    return {note["code"] for note in result["notes"]} | {
        finding["code"] for item in result["items"] for finding in item["findings"]
    }


def test_a_missing_item_of_a_pull_list_has_the_catalogues_spelling_and_its_title(batch):
    put(batch, "PEH-000125.tif")
    (batch / "pull-list.txt").write_text("PEH-0125\nPEH-0126\nPEH-126\n")
    result = take(batch)
    assert [item["item"] for item in result["items"]] == ["PEH-000125"]
    assert missing(result) == [("PEH-126", "Mole")]
    assert result["expected"]["count"] == 2 and result["expected"]["surplus"] == []
    assert "intake.expected_line" in codes(result), "one item twice, under two spellings"


def test_a_range_of_batch_yaml_has_the_spelling_of_names_where_no_catalogue_is(batch):
    (batch / "catalogue.csv").unlink()
    put(batch, "PEH-0125.tif")
    (batch / "batch.yaml").write_text("expected: [PEH-125..PEH-126]\n")
    result = take(batch, required=False)
    assert [item for item, _ in missing(result)] == ["PEH-126"]
    assert result["expected"]["surplus"] == []


def test_a_withdrawal_under_another_spelling_withdraws_the_item(batch):
    put(batch, "PEH-000125.tif", "PEH-000126.tif")
    decide(batch, withdraw=[withdrawal("PEH-0125")])
    assert [each["item"] for each in take(batch)["withdraw"]] == ["PEH-000125"]


def test_a_correction_under_another_spelling_is_of_the_item(batch):
    put(batch, "PEH-000125.tif", "x 1.tif")
    identity = {"master": "x 1.tif", "item": "PEH-0125", "part": "sleeve"}
    decide(batch, corrections=[{"item": "PEH-0125", "identity": identity}])
    result = take(batch)
    (item,) = result["items"]
    assert item["item"] == "PEH-000125" and len(item["masters"]) == 2
    assert item["corrections"]["identity"]["master"] == "x 1.tif"
    assert result["corrections_without_item"] == []


def test_of_two_entries_of_one_item_the_second_is_told(batch):
    put(batch, "PEH-000125.tif")
    entries = [
        {"item": item, "frames": [{"frame": 1, "rotate": 90}]}
        for item in ("PEH-0125", "PEH-000125")
    ]
    decide(batch, corrections=entries)
    result = take(batch)
    assert result["items"][0]["corrections"] is not None
    assert result["corrections_without_item"] == ["PEH-0125"]
    assert "corrections.no_item" in codes(result)


def test_without_a_rule_two_spellings_are_told_and_never_joined(batch):
    put(batch, "PEH-000125.tif")
    (batch / "pull-list.txt").write_text("PEH-125\n")
    result = take(batch, {})
    told = next(n["what"] for n in result["notes"] if n["code"] == "intake.expected_missing")
    assert "these may be the same: PEH-125 and PEH-000125" in told
    assert result["items"][0]["state"] == "held", "the catalogue has no such row"
