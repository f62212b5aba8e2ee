"""A sound batch: what is made, what runs again and what does not, and a run that is killed."""

import json
import os
import signal
import subprocess
import time

import bagit
import pytest
import yaml

from makers.film import samples
from makers.film.samples import Sample
from makers.studio import Studio

BATCH = "good"
ITEMS = {"PEH-0201": "frame_135", "PEH-0202": "strip_120"}


def make_batch(folder):
    folder.mkdir(parents=True)
    names = []
    for number, (item, kind) in enumerate(ITEMS.items()):
        sample = Sample(item, kind, 0.0, 300 + number, {}, time="13:05:00")
        sample.write(folder, sample.plan(900))
        names.append(sample.name)
    (folder / "manifest-sha256.txt").write_text(samples.manifest_text(folder, names), "utf-8")
    rows = [f"{item},Quay {item},Hafen Ævø,c. 1905" for item in ITEMS]
    header = "item_id,title,description,date"
    (folder / "catalogue.csv").write_text("\n".join([header, *rows]) + "\n", "utf-8")
    facts = {"items": [{"match": item, "kind": kind} for item, kind in ITEMS.items()]}
    (folder / "batch.yaml").write_text(yaml.safe_dump(facts), "utf-8")


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    studio = Studio(tmp_path_factory.mktemp("studio"))
    make_batch(studio.masters / BATCH)
    before = studio.masters_state()
    return studio, studio.night(), before


def test_one_command_makes_every_file_of_the_contract(finished):
    studio, outcome, before = finished
    assert outcome.code == 0, outcome.text[-3000:]
    for item in ITEMS:
        folder = studio.item(BATCH, item)
        for name in ("fixity.json", "geometry.json", "quality.json", "METS.xml", "manifest.json"):
            assert (folder / name).stat().st_size > 0
        for name in ("access", "thumbs", "iiif"):
            assert any((folder / name).iterdir())
    assert (studio.root / "results" / BATCH / "report" / "index.html").exists()
    assert studio.masters_state() == before


def test_the_run_leaves_a_summary_for_machines(finished):
    studio, _, _ = finished
    told = json.loads((studio.root / "results" / "summary.json").read_text("utf-8"))
    assert (told["finished"], told["held"], told["left"], told["running"]) == (2, 0, 0, False)
    assert [each["batch"] for each in told["batches"]] == [BATCH]
    (night,) = json.loads((studio.root / "results" / "room.json").read_text("utf-8"))["nights"]
    assert all(room["free"] > 0 for room in night["room"].values())


def test_the_bag_is_accepted_by_an_independent_reader(finished):
    studio, _, _ = finished
    bag = bagit.Bag(str(studio.root / "deliveries" / BATCH))
    assert bag.validate()
    assert bag.version_info == (1, 0)


@pytest.mark.parametrize("step", ["embed", "record", "pack"])
def test_a_step_without_pixels_takes_less_than_a_fifth_of_a_second(finished, step):
    """Of processor time, which other work on the machine does not lengthen (measured: 0.06)."""
    studio, _, _ = finished
    for item in ITEMS:
        timing = json.loads((studio.item(BATCH, item) / "timings" / f"{step}.json").read_text())
        assert 0 < timing["cpu_s"] < 0.2


def test_a_second_night_finds_nothing_to_do(finished):
    studio, _, _ = finished
    before = studio.digests("results")
    outcome = studio.night()
    assert outcome.code == 0
    assert outcome.jobs == set()
    assert studio.digests("results") == before


def steps_run(studio, night):
    """Return (outcome of the night, (step, item) of each step that ran in it)."""
    before = {item: studio.steps_told(BATCH, item) for item in ITEMS}
    outcome = night()
    after = {item: studio.steps_told(BATCH, item) for item in ITEMS}
    return outcome, {
        (step, item)
        for item in ITEMS
        for step, when in after[item].items()
        if before[item].get(step) != when
    }


def test_a_corrected_title_leaves_the_pixels_alone(finished):
    studio, _, _ = finished
    path = studio.masters / BATCH / "catalogue.csv"
    path.write_text(path.read_text("utf-8").replace("Quay PEH-0201", "Quay east side"), "utf-8")
    outcome, steps = steps_run(studio, studio.night)
    assert outcome.code == 0, outcome.text[-3000:]
    assert steps == {(step, "PEH-0201") for step in ("embed", "record", "pack")}
    assert "Quay east side" in (studio.item(BATCH, "PEH-0201") / "METS.xml").read_text("utf-8")


def test_a_correction_redoes_that_item_and_says_who_decided(finished):
    studio, _, _ = finished
    corrections = {
        "corrections": [
            {
                "item": "PEH-0202",
                "by": "op-07",
                "when": "2026-03-18T08:55:00Z",
                "note": "second frame lies on its side",
                "frames": [{"frame": 2, "rotate": 90}, {"frame": 3, "exclude": True}],
            }
        ]
    }
    (studio.masters / BATCH / "corrections.yaml").write_text(yaml.safe_dump(corrections), "utf-8")
    outcome, steps = steps_run(studio, studio.night)
    assert outcome.code == 0, outcome.text[-3000:]
    expected = ("locate", "look", "render", "embed", "record", "pack")
    assert steps == {(step, "PEH-0202") for step in expected}
    folder = studio.item(BATCH, "PEH-0202")
    frames = json.loads((folder / "geometry.json").read_text())["masters"][0]["frames"]
    second = next(frame for frame in frames if frame["index"] == 2)
    assert (second["rotate"], second["source"]) == (90, "correction")
    assert "op-07" in (folder / "METS.xml").read_text("utf-8")
    assert not list((folder / "access").glob("*_03_*"))


def test_a_killed_run_is_continued_by_the_next(finished, tmp_path):
    """The same batch, killed twice on its way, ends with the same bytes."""
    studio = Studio(tmp_path)
    make_batch(studio.masters / BATCH)
    undisturbed = Studio(tmp_path / "undisturbed")
    make_batch(undisturbed.masters / BATCH)
    for path in (undisturbed.masters / BATCH).iterdir():
        times = (studio.masters / BATCH / path.name).stat()
        os.utime(path, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert undisturbed.night().code == 0
    for wait_for in ("fixity.json", "render/render.json"):
        run = subprocess.Popen(
            studio.command(),
            env=studio.environment(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )
        awaited = studio.item(BATCH, "PEH-0201") / wait_for
        deadline = time.monotonic() + 120
        while not awaited.exists() and time.monotonic() < deadline and run.poll() is None:
            time.sleep(0.02)
        assert awaited.exists()
        assert run.poll() is None, "the run had ended before it could be killed"
        os.kill(run.pid, signal.SIGKILL)
        assert run.wait() == -signal.SIGKILL
        assert not (studio.root / "deliveries" / BATCH).exists()
    last = studio.night()
    assert last.code == 0, last.text[-3000:]
    assert studio.digests("results") == undisturbed.digests("results")
    assert not list(studio.root.rglob(".part-*"))
