"""What an earlier delivery has and the next would lack: held, until a person's word is there."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.records.receipt import Receipt
from glassine.deliver import bag, ledger, receipt_files, validation
from makers import deliveries, made_items
from makers.step_calls import do_delivery

WHEN = "2026-03-18T08:55:00Z"


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def word(item: str, **more: Any) -> dict[str, Any]:
    return {"item": item, "reason": "given back", "by": "op-07", "when": WHEN, **more}


def lacking(item: str, state: str = "held") -> dict[str, Any]:
    return {"item": item, "state": state, "findings": []}


def held_by(root: Path, given: dict[str, Any]) -> dict[str, str]:
    """Return {file or item: what} of the findings that keep a delivery back."""
    before = {path.name for path in (root / "deliveries").iterdir()} | {ledger.NAME}
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(root, given)
    assert {path.name for path in (root / "deliveries").iterdir()} == before
    assert all(finding.next_step for finding in caught.value.findings)
    drops = [each for each in caught.value.findings if each.code == "delivery.drops"]
    return {finding.path: finding.what for finding in drops}


@pytest.fixture
def batch(tmp_path: Path) -> tuple[Path, dict[str, Any]]:
    """A batch of three items, delivered."""
    given = deliveries.make_batch(tmp_path, 3)
    deliveries.deliver(tmp_path, given)
    return tmp_path, given


Batch = tuple[Path, dict[str, Any]]


def test_an_item_that_is_gone_holds_the_delivery(batch: Batch) -> None:
    root, given = batch
    told = held_by(root, given | {"items": ["PEH-0001", "PEH-0003"]})
    assert list(told) == ["PEH-0002"]
    assert "b1 has this item" in told["PEH-0002"]
    assert "not in the batch folder any more" in told["PEH-0002"]


def test_it_is_told_each_night_and_with_other_changes_too(batch: Batch) -> None:
    root, given = batch
    deliveries.changed_title(root, "PEH-0001", "The other quay")
    less = given | {"items": ["PEH-0001"]}
    for _ in range(2):
        assert list(held_by(root, less)) == ["PEH-0002", "PEH-0003"]


def test_a_batch_of_which_nothing_is_left_is_told(batch: Batch) -> None:
    root, given = batch
    assert len(held_by(root, given | {"items": []})) == 3


@pytest.mark.parametrize("state", ["held", "waiting", "pending"])
def test_an_item_that_is_not_done_any_more_is_not_left_out(batch: Batch, state: str) -> None:
    root, given = batch
    given["settings"]["delivery"]["when"] = "passed"
    less = given | {"items": ["PEH-0001", "PEH-0003"], "lacking": [lacking("PEH-0002", state)]}
    assert list(held_by(root, less)) == ["PEH-0002"]


def test_where_all_must_be_done_the_delivery_waits_and_nothing_is_called_dropped(
    batch: Batch,
) -> None:
    root, given = batch
    less = given | {"items": ["PEH-0001", "PEH-0003"], "lacking": [lacking("PEH-0002")]}
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(root, less)
    assert [each.code for each in caught.value.findings] == ["delivery.withheld"]


def test_what_was_never_delivered_may_be_lacking(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 2, when="passed")
    first = given | {"items": ["PEH-0001"], "lacking": [lacking("PEH-0002")]}
    deliveries.deliver(tmp_path, first)
    assert deliveries.deliver(tmp_path, first)["revision"] == 1
    assert deliveries.deliver(tmp_path, given)["revision"] == 2


def test_a_delivery_of_changes_alone_leaves_a_held_item_as_it_was_delivered(
    tmp_path: Path,
) -> None:
    given = deliveries.make_batch(tmp_path, 3, when="passed", later="changed")
    deliveries.deliver(tmp_path, given)
    deliveries.changed_title(tmp_path, "PEH-0001", "The other quay")
    less = given | {"items": ["PEH-0001", "PEH-0003"], "lacking": [lacking("PEH-0002")]}
    receipt = deliveries.deliver(tmp_path, less)
    assert (receipt["continues"], receipt["replaces"]) == ("b1", None)
    (entry,) = receipt["lacking"]
    assert entry["item"] == "PEH-0002"
    assert "It stays as b1 has it." in entry["reason"]
    assert list(held_by(tmp_path, given | {"items": ["PEH-0001", "PEH-0003"]})) == ["PEH-0002"]


def test_what_an_older_revision_dropped_in_silence_is_told_now(batch: Batch) -> None:
    root, given = batch
    receipt = files.read_json(root / "deliveries" / "receipts" / "b1.json")
    receipt |= {"delivery": "b1.r2", "revision": 2, "replaces": "b1"}
    receipt["items"] = receipt["items"][:2]
    receipt_files.write(root / "deliveries", msgspec.convert(receipt, Receipt))
    told = held_by(root, given | {"items": ["PEH-0001", "PEH-0002"]})
    assert "b1 has this item" in told["PEH-0003"]


def test_a_word_lets_it_go_and_the_delivery_says_so_everywhere(batch: Batch) -> None:
    root, given = batch
    less = given | {"items": ["PEH-0001", "PEH-0003"], "withdraw": [word("PEH-0002")]}
    receipt = deliveries.deliver(root, less)
    assert (receipt["delivery"], receipt["replaces"]) == ("b1.r2", "b1")
    (entry,) = receipt["withdrawn"]
    assert entry == word("PEH-0002") | {"master": None, "frames": None, "delivery": "b1"}
    made = root / "deliveries" / "b1.r2"
    assert validation.check(made) == []
    info = bag.parsed_info((made / "bag-info.txt").read_text("utf-8"))
    (told,) = [value for label, value in info if label == "Withdrawn-Item"]
    assert "PEH-0002" in told
    assert "given back (op-07, 2026-03-18T08:55:00Z). Was in b1." in told
    statement = json.loads((made / "delivery/delivery.json").read_text("utf-8"))
    assert statement["withdrawn"] == receipt["withdrawn"]
    rows = list(csv.DictReader(io.StringIO((made / "delivery/handover.csv").read_text("utf-8"))))
    assert [row["state"] for row in rows if row["item"] == "PEH-0002"] == ["withdrawn"]
    # told once; the same again is no new delivery, and another wording of the reason neither
    assert deliveries.deliver(root, less)["revision"] == 2
    other = less | {"withdraw": [{**word("PEH-0002"), "reason": "given back to its lender"}]}
    assert deliveries.deliver(root, other)["revision"] == 2


def test_a_withdrawn_item_is_left_out_though_its_masters_are_there(batch: Batch) -> None:
    root, given = batch
    receipt = deliveries.deliver(root, given | {"withdraw": [word("PEH-0002")]})
    assert [entry["item"] for entry in receipt["items"]] == ["PEH-0001", "PEH-0003"]
    # and held or not, it keeps no other back
    less = given | {"items": ["PEH-0001", "PEH-0003"], "lacking": [lacking("PEH-0002")]}
    assert deliveries.deliver(root, less | {"withdraw": [word("PEH-0002")]})["revision"] == 2


def test_an_item_that_comes_back_is_delivered_and_guarded_again(batch: Batch) -> None:
    root, given = batch
    less = given | {"items": ["PEH-0001", "PEH-0003"]}
    deliveries.deliver(root, less | {"withdraw": [word("PEH-0002")]})
    assert len(deliveries.deliver(root, given)["items"]) == 3
    assert list(held_by(root, less)) == ["PEH-0002"]


def test_a_word_for_another_item_lets_nothing_go(batch: Batch) -> None:
    root, given = batch
    less = given | {"items": ["PEH-0001", "PEH-0003"]}
    assert list(held_by(root, less | {"withdraw": [word("PEH-0020")]})) == ["PEH-0002"]
    parted = word("PEH-0002", master="PEH-0002.tif")
    assert list(held_by(root, less | {"withdraw": [parted]})) == ["PEH-0002"]


def test_an_item_under_a_new_name_is_told_with_where_its_masters_are(batch: Batch) -> None:
    root, given = batch
    made = made_items.make_item(root, "PEH-0012", 2)
    deliveries.finish(root, made)
    old = files.read_json(root / "results/b1/items/PEH-0002/package.json")
    new = files.read_json(root / "results/b1/items/PEH-0012/package.json")
    digests = [
        [entry["sha256"] for entry in each["files"] if entry["use"] == "master"]
        for each in (old, new)
    ]
    assert digests[0] == digests[1]
    told = held_by(root, given | {"items": ["PEH-0001", "PEH-0003", "PEH-0012"]})
    assert "Its masters are in PEH-0012 now." in told["PEH-0002"]


# ---- items that are there, with less in them ----


def changed_masters(root: Path, item: str, masters: list[dict[str, Any]]) -> None:
    """Let the last receipt of b1 say that the item was delivered with these masters."""
    without_ledger(root)
    for path in (receipt_files.receipt_path(root / "deliveries", "b1"),
                 receipt_files.second_copy_path(root / "deliveries", "b1")):  # fmt: skip
        receipt = files.read_json(path)
        (entry,) = [each for each in receipt["items"] if each["item"] == item]
        entry["masters"], entry["digest"] = masters, "0" * 64
        receipt["content"] = "1" * 64
        files.write_json(path, receipt)


def masters_in(root: Path, item: str) -> list[dict[str, Any]]:
    receipt = files.read_json(root / "deliveries" / "receipts" / "b1.json")
    (entry,) = [each for each in receipt["items"] if each["item"] == item]
    return list(entry["masters"])


OTHER = {"path": "PEH-0002_b.tif", "sha256": "ab" * 32, "frames": 1, "left_out": 0}


def test_the_receipt_names_masters_with_their_frames(batch: Batch) -> None:
    root, _ = batch
    (master,) = masters_in(root, "PEH-0002")
    content = (root / "masters/b1/PEH-0002.tif").read_bytes()
    assert master["sha256"] == made_items._digests(content)["sha256"]
    assert (master["path"], master["frames"], master["left_out"]) == ("PEH-0002.tif", 1, 0)


def test_a_master_that_is_gone_holds_the_delivery(batch: Batch) -> None:
    root, given = batch
    changed_masters(root, "PEH-0002", [*masters_in(root, "PEH-0002"), OTHER])
    told = held_by(root, given)
    assert "master PEH-0002_b.tif" in told["PEH-0002"]
    # a word for the master lets it go
    part = word("PEH-0002", master="PEH-0002_b.tif")
    receipt = deliveries.deliver(root, given | {"withdraw": [part]})
    assert receipt["withdrawn"][0]["master"] == "PEH-0002_b.tif"
    assert [entry["item"] for entry in receipt["items"]] == given["items"]
    assert deliveries.deliver(root, given | {"withdraw": [part]})["revision"] == 2


def test_a_master_with_a_new_name_or_new_bytes_is_no_loss(batch: Batch) -> None:
    root, given = batch
    (master,) = masters_in(root, "PEH-0002")
    changed_masters(root, "PEH-0002", [master | {"path": "old name.tif"}])
    assert deliveries.deliver(root, given)["revision"] == 2
    changed_masters(root, "PEH-0003", [masters_in(root, "PEH-0003")[0] | {"sha256": "cd" * 32}])
    assert deliveries.deliver(root, given)["revision"] == 2


def test_fewer_frames_than_before_hold_the_delivery(batch: Batch) -> None:
    root, given = batch
    (master,) = masters_in(root, "PEH-0002")
    changed_masters(root, "PEH-0002", [master | {"frames": 3}])
    told = held_by(root, given)
    assert "1 frames of PEH-0002.tif in place of 3" in told["PEH-0002"]
    wrong = given | {"withdraw": [word("PEH-0002", frames=2)]}
    assert list(held_by(root, wrong)) == ["PEH-0002"]
    right = given | {"withdraw": [word("PEH-0002", frames=1)]}
    assert deliveries.deliver(root, right)["withdrawn"][0]["frames"] == 1


@pytest.mark.parametrize(("before", "held"), [(0, False), (1, True)])
def test_a_frame_that_a_person_left_out_since_is_no_loss(
    batch: Batch, before: int, held: bool
) -> None:
    root, given = batch
    path = root / "results/b1/items/PEH-0002/geometry.json"
    geometry = files.read_json(path)
    frame = {**geometry["masters"][0]["frames"][0], "index": 2, "excluded": True}
    geometry["masters"][0]["frames"].append({**frame, "source": "correction"})
    files.write_json(path, geometry)
    deliveries.changed_title(root, "PEH-0002", "as it is")
    (master,) = masters_in(root, "PEH-0002")
    changed_masters(root, "PEH-0002", [master | {"frames": 2, "left_out": before}])
    if held:
        assert list(held_by(root, given)) == ["PEH-0002"]
    else:
        assert deliveries.deliver(root, given)["revision"] == 2


def test_a_withdrawn_master_that_is_still_there_holds_the_delivery(batch: Batch) -> None:
    root, given = batch
    part = word("PEH-0002", master="PEH-0002.tif")
    with pytest.raises(GlassineError) as caught:
        deliveries.deliver(root, given | {"withdraw": [part]})
    assert {each.code for each in caught.value.findings} == {"delivery.withdrawn_master"}


def without_ledger(root: Path) -> None:
    """As earlier versions left deliveries: what these tests write into receipts stands alone."""
    ledger.path_of(root / "deliveries").unlink(missing_ok=True)


def older_receipt(root: Path, *, files_more: int = 0) -> None:
    """Let the receipt be as earlier versions wrote it, of items with other bytes."""
    without_ledger(root)
    for path in (receipt_files.receipt_path(root / "deliveries", "b1"),
                 receipt_files.second_copy_path(root / "deliveries", "b1")):  # fmt: skip
        receipt = files.read_json(path)
        for entry in receipt["items"]:
            del entry["masters"]
            entry["digest"] = "0" * 64
            entry["files"] += files_more
        del receipt["withdrawn"]
        receipt["content"] = "1" * 64
        files.write_json(path, receipt)


@pytest.mark.parametrize("place", ["beside", "in the bag"])
def test_masters_of_older_deliveries_are_told_by_their_hand_over_list(
    batch: Batch, place: str
) -> None:
    root, given = batch
    older_receipt(root)
    beside = root / "deliveries" / "b1.handover.json"
    listed = files.read_json(beside)
    (item,) = [each for each in listed["items"] if each["item"] == "PEH-0002"]
    (master,) = [each for each in item["files"] if each["use"] == "master"]
    item["files"].append({**master, "master": "PEH-0002_b.tif", "sha256": "ab" * 32})
    files.write_json(beside, listed)
    if place == "in the bag":
        shutil.move(beside, root / "deliveries/b1/delivery/handover.json")
    assert "master PEH-0002_b.tif" in held_by(root, given)["PEH-0002"]


@pytest.mark.parametrize("more", [0, 1])
def test_where_no_list_is_left_fewer_files_hold(batch: Batch, more: int) -> None:
    root, given = batch
    older_receipt(root, files_more=more)
    (root / "deliveries" / "b1.handover.json").unlink()
    shutil.rmtree(root / "deliveries" / "b1")
    if more:
        assert "no list tells which" in held_by(root, given)["PEH-0001"]
    else:
        assert deliveries.deliver(root, given)["revision"] == 2


def test_receipts_of_earlier_versions_are_not_delivered_again(batch: Batch) -> None:
    root, given = batch
    without_ledger(root)
    for path in (receipt_files.receipt_path(root / "deliveries", "b1"),
                 receipt_files.second_copy_path(root / "deliveries", "b1")):  # fmt: skip
        receipt = files.read_json(path)
        del receipt["withdrawn"]
        for entry in receipt["items"]:
            del entry["masters"]
        files.write_json(path, receipt)
    (root / "results/b1/delivery-list.json").unlink()
    assert deliveries.deliver(root, given)["revision"] == 1


def test_a_withdrawal_that_no_delivery_can_tell_yet_is_a_note(tmp_path: Path) -> None:
    given = deliveries.make_batch(tmp_path, 3, later="changed")
    deliveries.deliver(tmp_path, given)
    less = given | {"items": ["PEH-0001", "PEH-0003"], "withdraw": [word("PEH-0002")]}
    outcome = do_delivery(tmp_path, less)
    assert outcome.delivery == "b1"
    assert [note.code for note in outcome.notes] == ["delivery.withdrawn_untold"]
    deliveries.changed_title(tmp_path, "PEH-0001", "The other quay")
    assert deliveries.deliver(tmp_path, less)["withdrawn"][0]["item"] == "PEH-0002"
