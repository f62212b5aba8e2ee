"""What happens to a batch after its delivery: nothing is dropped, lost or made again in silence."""

import json
import shutil

import pytest

from faults import batches
from makers.studio import Studio

BATCH = batches.BATCH


@pytest.fixture(scope="module")
def delivered(tmp_path_factory):
    studio = Studio(tmp_path_factory.mktemp("delivered"))
    batches.make_batch(studio.masters, 2)
    (studio.masters / BATCH / "manifest-sha256.txt").unlink()
    assert studio.night().code == 0
    return studio


@pytest.fixture
def studio(delivered, tmp_path):
    shutil.copytree(delivered.root, tmp_path / "studio", symlinks=True)
    copied = Studio.__new__(Studio)
    copied.root, copied.masters = tmp_path / "studio", tmp_path / "studio" / "masters"
    return copied


def receipts(studio):
    return {
        str(path.relative_to(studio.root)): path.read_bytes()
        for path in sorted((studio.root / "deliveries").rglob("*.json"))
        if path.parent.name == "receipts" or path.name.endswith(".receipt.json")
    }


def page(studio):
    return (studio.root / "results" / BATCH / "report" / "index.html").read_text("utf-8")


def retitled(studio):
    path = studio.masters / BATCH / "catalogue.csv"
    path.write_text(path.read_text("utf-8").replace("Slipway PEH-0001", "Quay"), "utf-8")


def test_a_vanished_master_is_held_until_it_is_withdrawn(studio):
    before = receipts(studio)
    (studio.masters / BATCH / "PEH-0002.tif").unlink()
    for _ in range(2):
        outcome = studio.night()
        assert outcome.code != 0
        assert "[delivery.drops]" in outcome.text
        assert "PEH-0002" in page(studio)
        assert "would be dropped" in page(studio)
        assert receipts(studio) == before
        assert not (studio.root / "deliveries" / f"{BATCH}.r2").exists()
    corrections = studio.masters / BATCH / "corrections.yaml"
    corrections.write_text(
        'withdraw:\n- {item: PEH-0002, reason: lent, by: op-07, when: "2026-03-18T08:55:00Z"}\n'
    )
    outcome = studio.night()
    assert outcome.code == 0, outcome.text[-3000:]
    receipt = json.loads((studio.root / "deliveries" / f"{BATCH}.r2.receipt.json").read_text())
    assert [entry["item"] for entry in receipt["withdrawn"]] == ["PEH-0002"]
    assert "Withdrawn" in page(studio)
    assert studio.night().jobs == set()


def test_an_emptied_batch_folder_is_held(studio):
    before = receipts(studio)
    for path in (studio.masters / BATCH).iterdir():
        path.unlink()
    outcome = studio.night()
    assert outcome.code != 0
    assert "PEH-0001, PEH-0002" in outcome.text
    assert "[run.items_gone]" in outcome.text
    assert page(studio).count("delivery.drops") == 2
    assert receipts(studio) == before


def test_a_failed_redelivery_leaves_receipts_and_says_what_stands(studio):
    before = receipts(studio)
    retitled(studio)
    in_the_way = studio.root / "deliveries" / f"{BATCH}.r2"
    in_the_way.write_text("in the way")
    for _ in range(2):
        outcome = studio.night()
        assert outcome.code != 0
        assert receipts(studio) == before
        assert "has been delivered yet" not in page(studio)
        assert "delivered in an earlier state" in page(studio)
        assert "not what the batch has now" in outcome.text
    in_the_way.unlink()
    assert studio.night().code == 0
    assert len(receipts(studio)) == 4


def test_a_killed_redelivery_leaves_receipts(studio):
    before = receipts(studio)
    retitled(studio)
    (studio.root / "deliveries" / f".part-{BATCH}.r2").write_text("half")  # in the way of a folder
    assert studio.night().code != 0
    assert receipts(studio) == before


def test_results_of_earlier_versions_are_not_delivered_again(studio):
    """They have a receipt beside the bag and in receipts/, but no stamp and no list of names."""
    before = receipts(studio)
    for name in ("delivered.json", "delivery-list.json"):
        (studio.root / "results" / BATCH / name).unlink()
    assert studio.night().code == 0
    assert receipts(studio) == before
    assert studio.night().jobs == set()


def test_a_bag_that_was_carried_away_is_told_each_night(studio):
    bag = studio.root / "deliveries" / BATCH
    shutil.move(bag, studio.root / "tape")
    for _ in range(2):
        outcome = studio.night()
        assert outcome.code == 0, outcome.text[-2000:]
        assert "no longer here" in page(studio)
        assert not bag.exists()
        assert "no longer at" in outcome.text or not outcome.jobs
    assert outcome.jobs == set()
    shutil.move(studio.root / "tape", bag)
    assert "no longer at" not in studio.night().text
    assert "no longer here" not in page(studio)


def test_a_bag_that_is_only_partly_there_is_held_each_night(studio):
    bag = studio.root / "deliveries" / BATCH
    shutil.rmtree(bag / "data" / "PEH-0002")
    for _ in range(2):
        outcome = studio.night()
        assert outcome.code != 0
        assert "[delivery.damaged]" in outcome.text
    assert "delivery.damaged" in page(studio)


def test_a_damaged_receipt_is_written_again_and_told(studio):
    before = receipts(studio)
    (studio.root / "deliveries" / f"{BATCH}.receipt.json").write_text("{")
    outcome = studio.night()
    assert outcome.code == 0, outcome.text[-2000:]
    assert receipts(studio) == before
    assert "delivery.receipt_rebuilt" in page(studio)


def test_a_night_says_how_old_the_last_read_is(studio):
    (studio.root / "results" / BATCH / "report" / "index.html").unlink()
    outcome = studio.night()
    assert "last read and compared 2026-03-17" in outcome.text


def test_a_held_item_keeps_its_place_where_what_is_done_is_delivered_alone(studio):
    before = receipts(studio)
    batches.write_master(studio.masters / BATCH / "PEH-0003.tif", 3)
    batches.write_lists(studio.masters / BATCH, ["PEH-0001", "PEH-0002", "PEH-0003"])
    path = studio.masters / BATCH / "PEH-0002.tif"
    path.write_bytes(path.read_bytes()[:-3000])
    outcome = studio.night("--config", 'delivery={"when": "passed"}')
    assert outcome.code != 0
    assert receipts(studio) == before
    assert "[delivery.drops]" in outcome.text
    assert "delivery.drops" in page(studio)
