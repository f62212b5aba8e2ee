"""What failed for a passing reason is done by the next plain run, without anybody's help."""

import json
import shutil

from faults import batches


def held_codes(studio, item):
    path = studio.item(batches.BATCH, item) / "held.json"
    return [each["code"] for each in json.loads(path.read_text())["findings"]]


def assert_all_done(studio, outcome, count=2):
    assert outcome.code == 0, outcome.text[-3000:]
    assert f"{count} items" in outcome.text
    assert (studio.root / "deliveries" / f"{batches.BATCH}.receipt.json").exists()
    assert not list((studio.root / "results").rglob("held.json"))
    assert not list(studio.root.rglob(".part-*"))


def test_an_item_held_for_a_passing_reason_is_done_the_next_night(pair):
    in_the_way = pair.item(batches.BATCH, "PEH-0001") / "previews"
    in_the_way.parent.mkdir(parents=True)
    in_the_way.write_text("in the way")
    first = pair.night()
    assert first.code == 1
    assert "Traceback" not in first.text
    assert held_codes(pair, "PEH-0001") == ["locate.unexpected"]
    assert (pair.item(batches.BATCH, "PEH-0002") / "done.json").exists()
    assert pair.night().code == 1, "what is still held is no success"
    in_the_way.unlink()
    assert_all_done(pair, pair.night())


def test_a_delivery_that_failed_is_made_the_next_night(pair):
    in_the_way = pair.root / "deliveries" / batches.BATCH
    in_the_way.parent.mkdir()
    in_the_way.write_text("in the way")
    first = pair.night()
    assert first.code != 0
    assert "Traceback" not in first.text
    in_the_way.unlink()
    assert_all_done(pair, pair.night())


def test_a_batch_that_cannot_be_taken_in_keeps_no_other_from_its_turn(pair):
    batches.make_batch(pair.masters, 1, "a-broken-one")
    facts = pair.masters / "a-broken-one" / "batch.yaml"
    facts.write_text("title: [unclosed")
    first = pair.night()
    assert first.code == 1
    assert "a-broken-one" in first.text
    assert "Traceback" not in first.text
    assert (pair.root / "deliveries" / f"{batches.BATCH}.receipt.json").exists()
    shutil.rmtree(facts.parent)  # and the fixture sees that the others are as they were


def test_a_record_that_got_lost_and_what_was_left_half_written(four):
    """One record of each item is lost: each is made again from where it stands. What killed jobs
    left is cleared: the run of a killed job ends in order, so its successor sees no broken run."""
    assert four.night().code == 0
    made = four.digests("results")
    for number, lost in enumerate(["done.json", "package.json", "METS.xml", "fixity.json"], 1):
        (four.item(batches.BATCH, f"PEH-000{number}") / lost).unlink()
    results = four.root / "results" / batches.BATCH
    item = four.item(batches.BATCH, "PEH-0001")
    left = [
        item / ".part-999999-manifest.json.json",
        item / "iiif" / ".part-999999-tiles" / "x.jpg",
        results / ".part-999999-intake.json.json",
        results / "report" / ".part-999999-index.html.html",
    ]
    for path in left:
        path.parent.mkdir(exist_ok=True)
        path.write_text("half")
    assert_all_done(four, four.night(), 4)
    assert four.digests("results") == made
