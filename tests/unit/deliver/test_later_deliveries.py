"""What later deliveries of a batch say of those before them, and where each item lies now."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files
from glassine.deliver import bag, receipt_files, step, validation
from makers import deliveries, redelivered
from makers.step_calls import do_delivery

WITHDRAWN = {
    "item": "PEH-0002",
    "reason": "given back to the lender",
    "by": "op-07",
    "when": "2026-03-18T08:55:00Z",
}


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def statement_of(root: Path, name: str) -> dict[str, Any]:
    return dict(json.loads((root / "deliveries" / name / "delivery/delivery.json").read_text()))


def lies(root: Path, name: str) -> dict[str, tuple[str, str]]:
    listed = statement_of(root, name)["lies"]
    return {entry["item"]: (entry["delivery"], entry["bag"]) for entry in listed}


def receipt_of(root: Path, name: str) -> dict[str, Any]:
    return dict(files.read_json(root / "deliveries" / f"{name}.receipt.json"))


def test_a_delivery_of_changes_tells_where_each_item_lies(tmp_path: Path) -> None:
    given = redelivered.make_batch(tmp_path, 3, later="changed", form="tar")
    do_delivery(tmp_path, given)
    redelivered.changed_title(tmp_path, "PEH-0002", "The other quay")
    given["settings"]["delivery"]["form"] = "folder"
    do_delivery(tmp_path, given)
    assert lies(tmp_path, "b1.r2") == {
        "PEH-0001": ("b1", "b1.tar"),
        "PEH-0002": ("b1.r2", "b1.r2"),
        "PEH-0003": ("b1", "b1.tar"),
    }
    (item,) = receipt_of(tmp_path, "b1.r2")["items"]
    before = {each["item"]: each for each in receipt_of(tmp_path, "b1")["items"]}["PEH-0002"]
    assert (item["replaces"], item["replaces_digest"]) == ("b1", before["digest"])
    (stated,) = statement_of(tmp_path, "b1.r2")["items"]
    assert (stated["replaces"], stated["replaces_digest"]) == ("b1", before["digest"])


def test_a_whole_delivery_after_changes_replaces_all_that_held_the_batch(tmp_path: Path) -> None:
    given = redelivered.make_batch(tmp_path, 3, later="changed")
    do_delivery(tmp_path, given)
    for number, title in ((2, "The other quay"), (3, "The third quay")):
        redelivered.changed_title(tmp_path, f"PEH-000{number}", title)
        do_delivery(tmp_path, given)
    given["settings"]["delivery"]["later"] = "whole"
    redelivered.changed_title(tmp_path, "PEH-0001", "The first quay")
    do_delivery(tmp_path, given)
    receipt = receipt_of(tmp_path, "b1.r4")
    assert (receipt["replaces"], receipt["also_replaces"]) == ("b1.r3", ["b1.r2", "b1"])
    assert statement_of(tmp_path, "b1.r4")["also_replaces"] == ["b1.r2", "b1"]
    info = bag.parsed_info((tmp_path / "deliveries/b1.r4/bag-info.txt").read_text("utf-8"))
    named = [value for label, value in info if label == "Replaces-Delivery"]
    assert named == ["b1.r3", "b1.r2", "b1"]
    assert validation.check(tmp_path / "deliveries" / "b1.r4") == []
    assert {place for place, _ in lies(tmp_path, "b1.r4").values()} == {"b1.r4"}
    # A whole one after a whole one replaces that alone.
    redelivered.changed_title(tmp_path, "PEH-0001", "The last quay")
    do_delivery(tmp_path, given)
    receipt = receipt_of(tmp_path, "b1.r5")
    assert (receipt["replaces"], "also_replaces" in receipt) == ("b1.r4", False)


def test_damage_of_a_delivery_that_was_replaced_with_those_added_to_it_is_a_note(
    tmp_path: Path,
) -> None:
    given = redelivered.make_batch(tmp_path, 2, later="changed")
    do_delivery(tmp_path, given)
    redelivered.changed_title(tmp_path, "PEH-0002", "The other quay")
    do_delivery(tmp_path, given)
    given["settings"]["delivery"]["later"] = "whole"
    redelivered.changed_title(tmp_path, "PEH-0001", "The first quay")
    do_delivery(tmp_path, given)
    (tmp_path / "deliveries" / "b1" / "bag-info.txt").unlink()
    receipts = receipt_files.read(tmp_path / "deliveries", "b1")
    (told,) = receipt_files.damage(tmp_path / "deliveries", receipts)
    assert (told.code, told.severity) == ("delivery.damaged", "note")


def test_an_item_that_was_withdrawn_and_is_meant_again_comes_again(tmp_path: Path) -> None:
    """Its bytes are those of its first delivery; but the repository was told to take it away."""
    given = redelivered.make_batch(tmp_path, 3, later="changed")
    do_delivery(tmp_path, given)
    redelivered.changed_title(tmp_path, "PEH-0003", "The other quay")
    do_delivery(tmp_path, given | {"withdraw": [WITHDRAWN]})
    assert "PEH-0002" not in lies(tmp_path, "b1.r2")
    outcome: step.Outcome = do_delivery(tmp_path, given)
    assert outcome.delivery == "b1.r3"
    (item,) = receipt_of(tmp_path, "b1.r3")["items"]
    assert item["item"] == "PEH-0002"
    assert lies(tmp_path, "b1.r3")["PEH-0002"] == ("b1.r3", "b1.r3")
