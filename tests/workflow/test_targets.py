"""Target captures in the nightly run: measured, judged, shown, and a gate before delivery."""

import json

import pytest
import yaml

from glassine.targets import description
from makers.film import samples
from makers.film.samples import Sample
from makers.studio import Studio
from makers.targets import draw_target, layouts

BATCH = "proved"
GOOD = draw_target.Rig(ppi=1003.0, nominal_ppi=1000.0, rotate_deg=0.4, exposure=0.9, noise=0.0003)


def draw(folder, rig):
    described = description.read(layouts.PROJECT / "config" / "targets" / "film-example.yaml")
    drawn = draw_target.draw(described, rig, layouts.squares(described.size_mm[0] / 24))
    drawn = draw_target.Drawn(drawn.codes, drawn.profile, 1000.0)
    draw_target.save(folder / "target.tif", drawn, compression="deflate")


@pytest.fixture(scope="module")
def nights(tmp_path_factory):
    """A night with a rig out of focus, then one after it was put right."""
    studio = Studio(tmp_path_factory.mktemp("studio"))
    folder = studio.masters / BATCH
    folder.mkdir()
    item = Sample("PEH-0301", "frame_135", 0.0, 401, {}, time="13:05:00")
    item.write(folder, item.plan(600))
    (folder / "manifest-sha256.txt").write_text(samples.manifest_text(folder, [item.name]), "utf-8")
    (folder / "catalogue.csv").write_text("item_id,title\nPEH-0301,Quay\n", "utf-8")
    target = {"path": "target.tif", "description": "film-example.yaml", "nominal_ppi": 1000}
    (folder / "batch.yaml").write_text(yaml.safe_dump({"targets": [target]}), "utf-8")
    draw(folder, draw_target.Rig(ppi=1003.0, nominal_ppi=1000.0, sigma_px=(2.5, 2.5, 2.5)))
    blurred = studio.night()
    page = (studio.root / "results" / BATCH / "report" / "index.html").read_text("utf-8")
    delivered = any((studio.root / "deliveries").glob("*"))
    draw(folder, GOOD)
    return studio, blurred, page, delivered, studio.night()


def test_a_rig_out_of_focus_holds_the_delivery_and_says_by_how_much(nights):
    studio, blurred, page, delivered, _ = nights
    assert blurred.code == 1
    assert not delivered
    assert (studio.item(BATCH, "PEH-0301") / "done.json").exists()
    assert "misses star" in blurred.text
    assert "Capture targets" in page


def test_the_target_is_no_item(nights):
    studio, *_ = nights
    intake = json.loads((studio.root / "results" / BATCH / "intake.json").read_text())
    assert [entry["item"] for entry in intake["items"]] == ["PEH-0301"]


def test_a_sound_capture_lets_the_batch_go(nights):
    studio, _, _, _, sound = nights
    assert sound.code == 0, sound.text[-3000:]
    assert ("targets", BATCH) in sound.jobs
    # Its record tells of the new capture; the pixels stay.
    assert ("item", "PEH-0301") in sound.jobs
    assert (studio.root / "deliveries" / f"{BATCH}.receipt.json").exists()
    assert (studio.root / "results" / "targets.sqlite").exists()


def test_the_record_tells_of_the_target_and_travels_with_its_measures(nights):
    """MIX 2.0: TargetData with performanceData; PREMIS 3.0: an event of the review."""
    studio, *_ = nights
    text = (studio.item(BATCH, "PEH-0301") / "METS.xml").read_text("utf-8")
    assert "<mix:performanceData>metadata/targets.json</mix:performanceData>" in text
    assert "PEH-0301#target-" in text
    package = studio.root / "deliveries" / BATCH / "data" / "PEH-0301"
    proof = json.loads((package / "metadata" / "targets.json").read_text())
    assert proof["targets"][0]["verdicts"]
