"""A roll captured frame by frame, night after night: what is shared, what runs again, what not."""

import json
import shutil

import pytest
import yaml

from makers import rolls
from makers.studio import Studio

BATCH = "roll"
STOCK = rolls.film(1)
SHOWN = rolls.pictures(8)
ROLL = ["PEH-0001", "PEH-0002", "PEH-0003"]
HELD, PRINT = "PEH-0004", "PEH-0005"


def film_of(studio, item):
    """Return what render.json says of the film that an item's frame was rendered with."""
    path = studio.item(BATCH, item) / "render" / "render.json"
    return json.loads(path.read_text())["frames"][0]["tone"].get("film")


def films(studio):
    path = studio.root / "results" / BATCH / "films.json"
    return json.loads(path.read_text())["films"]


def rendered(before, after):
    """Return the items whose render step ran between two looks at their logs."""
    return {item for item in after if after[item].get("render") != before[item].get("render")}


def logs(studio):
    return {item: studio.steps_told(BATCH, item) for item in [*ROLL, HELD, PRINT]}


def make(folder):
    rolls.roll(folder, STOCK, SHOWN[:4])
    rolls.write(folder / f"{PRINT}.tif", rolls.capture(rolls.film(2), SHOWN[4], 5))
    positive = {"match": PRINT, "polarity": "positive"}
    rolls.state(folder, [{"match": "PEH-000[1-4]", "film": "roll 7"}, positive])
    # One of the roll is not what its checksum list says.
    listed = folder / "manifest-sha256.txt"
    lines = [
        "0" * 64 + line[64:] if HELD in line else line for line in listed.read_text().splitlines()
    ]
    listed.write_text("\n".join(lines) + "\n")


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    studio = Studio(tmp_path_factory.mktemp("studio"))
    make(studio.masters / BATCH)
    return studio, studio.night("--cores", "1"), logs(studio)


def test_a_held_frame_holds_none_of_its_film_and_a_print_takes_one_job(first):
    studio, outcome, _ = first
    assert outcome.code == 1
    assert f"{len(ROLL) + 1} done" in outcome.text or "review" in outcome.text
    both = {("look", item) for item in [*ROLL, HELD]} | {("item", item) for item in [*ROLL, HELD]}
    assert outcome.jobs >= both | {("films", BATCH), ("item", PRINT)}
    assert ("look", PRINT) not in outcome.jobs
    found = [film_of(studio, item) for item in ROLL]
    assert found[0] == {
        "name": "roll 7",
        "whence": "batch.yaml",
        "frames": 3,
        "masters": 3,
        "version": films(studio)[0]["used"]["note"]["version"],
    }
    assert found == [found[0]] * 3
    assert film_of(studio, PRINT) is None
    held = json.loads((studio.item(BATCH, HELD) / "held.json").read_text())
    assert held["step"] == "verify"
    assert not (studio.item(BATCH, HELD) / "done.json").exists()


def test_the_nights_after(first):
    """In their order: each goes on where the one before ended."""
    studio, _, _ = first
    folder = studio.masters / BATCH
    # The held item alone, by its own target.
    before = logs(studio)
    rolls.state(
        folder,
        [{"match": "PEH-000[1-4]", "film": "roll 7"}, {"match": PRINT, "polarity": "positive"}],
    )
    alone = studio.night("--config", f'only=["{HELD}"]')
    assert alone.code == 0, alone.text[-3000:]
    assert rendered(before, logs(studio)) == {HELD}
    assert film_of(studio, HELD)["name"] == "roll 7"

    # Its film is not moved by it far enough for the others to be made anew.
    night = studio.night("--cores", "2")
    assert night.code == 0, night.text[-3000:]
    assert rendered(before, logs(studio)) == {HELD}
    (film,) = films(studio)
    assert film["now"]["note"]["frames"] == 4
    assert film["used"]["note"]["frames"] == 3
    assert {film_of(studio, item)["version"] for item in [*ROLL, HELD]} == {
        film["used"]["note"]["version"]
    }

    # Nothing due.
    assert studio.night().jobs == set()

    # A frame that a person cuts otherwise concerns itself alone while the film does not move.
    before = logs(studio)
    corners = [[100, 90], [382, 90], [382, 302], [100, 302]]
    decided = {"item": "PEH-0002", "by": "op-07", "frames": [{"frame": 1, "corners": corners}]}
    (folder / "corrections.yaml").write_text(yaml.safe_dump({"corrections": [decided]}))
    night = studio.night()
    assert night.code == 0, night.text[-3000:]
    assert night.jobs >= {("look", "PEH-0002"), ("films", BATCH), ("item", "PEH-0002")}
    assert rendered(before, logs(studio)) == {"PEH-0002"}
    assert films(studio)[0]["moved"] > 0

    # A master of another film in place of one of its frames: told, and for review.
    before = logs(studio)
    rolls.write(folder / "PEH-0003.tif", rolls.capture(rolls.film(4), SHOWN[2], 9))
    rolls.state(
        folder,
        [{"match": "PEH-000[1-4]", "film": "roll 7"}, {"match": PRINT, "polarity": "positive"}],
    )
    night = studio.night()
    assert "PEH-0003" in rendered(before, logs(studio))
    assert film_of(studio, "PEH-0003") is None
    tone = json.loads((studio.item(BATCH, "PEH-0003") / "render/render.json").read_text())
    assert "roll 7" in " ".join(tone["frames"][0]["tone"]["review"])
    assert studio.night().jobs == set()

    # A run that ended between the films and a frame's rendering is taken up there.
    shutil.rmtree(studio.item(BATCH, "PEH-0001") / "render")
    assert studio.night().jobs >= {("item", "PEH-0001")}
    assert studio.night().jobs == set()

    # A film that moves: its frames are made anew in the same night, those of no film are not.
    before = logs(studio)
    used = films(studio)[0]["used"]
    assert films(studio)[0]["now"] != used
    exact = 'tone={"pool_step": 0}'
    night = studio.night("--config", exact)
    assert night.code == 0, night.text[-3000:]
    assert films(studio)[0]["used"] == films(studio)[0]["now"] != used
    assert rendered(before, logs(studio)) == {"PEH-0001", "PEH-0002", HELD}
    assert {film_of(studio, item)["version"] for item in ("PEH-0001", "PEH-0002", HELD)} == {
        films(studio)[0]["used"]["note"]["version"]
    }
    assert studio.night("--config", exact).jobs == set()

    # What was delivered comes out again by its record alone.
    bag = sorted(studio.root.glob("deliveries/roll*/bagit.txt"))[-1].parent
    mets = (bag / "data" / "PEH-0002" / "METS.xml").read_text()
    assert "with the values of the film roll 7, pooled from" in mets
    assert not list(bag.rglob("looks.json"))
    shutil.rmtree(studio.root / "results" / BATCH / "items")
    again = studio.night("reproduce", "--config", f"reproduce={bag.relative_to(studio.root)}")
    assert again.code == 0, again.text[-3000:]


def test_two_cores_and_a_fresh_place_give_the_same_bytes(first, tmp_path):
    """As after the first night; a lost record of films is made anew to the same bytes."""
    studio = Studio(tmp_path)
    make(studio.masters / BATCH)
    studio.night("--cores", "2")
    assert films(studio)[0]["used"]["note"]["frames"] == 3
    fresh = studio.digests("results")
    (studio.root / "results" / BATCH / "films.json").unlink()
    outcome = studio.night("--cores", "2")
    assert ("films", BATCH) in outcome.jobs
    assert studio.digests("results") == fresh
