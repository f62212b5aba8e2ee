"""A negative, its print, its sleeve and both its sides under one item, from intake to pictures."""

import numpy as np
import pytest
import yaml
from PIL import Image

from glassine.base import settings
from glassine.base.files import read_json
from glassine.night import due
from makers.film.samples import Sample
from makers.made_items import CATALOGUE
from makers.step_calls import do_step, taken_in

WIDTH = 700
ITEM = "PEH-0301"


def draw(folder, part, kind, **options):
    sample = Sample(ITEM, kind, 0.0, 41, {"skew_deg": 0.4, **options}, part=part)
    sample.write(folder, sample.plan(WIDTH))


class Desk:
    """One item on its way: `located` and `rendered` return what the steps wrote, by part."""

    def __init__(self, root):
        self.root, self.batch, self.dir = root, root / "b", root / "i"
        self.batch.mkdir()
        self.dir.mkdir()

    def take(self, batch=None, corrections=None):
        for name, content in (("batch.yaml", batch), ("corrections.yaml", corrections)):
            if content is not None:
                (self.batch / name).write_text(yaml.safe_dump(content), "utf-8")
        more = {"intake": {"watch_s": 0}, "catalogue": {"required": False}}
        self.config = settings.load(more)
        given = {"batch": "b", "settings": self.config}
        self.known = due.Batch(taken_in(self.batch, given))
        self.parts = {master.path: master.part for master in self.known.items[ITEM].masters}

    def step(self, name):
        given = due.given(name, self.known, ITEM, self.config)
        do_step(name, self.batch, self.dir, given)

    def located(self):
        self.step("locate")
        masters = read_json(self.dir / "geometry.json")["masters"]
        return {self.parts[master["path"]]: master["frames"][0] for master in masters}

    def rendered(self):
        self.step("verify")
        self.step("render")
        frames = read_json(self.dir / "render" / "render.json")["frames"]
        return {frame["part"]: frame for frame in frames}

    def picture(self, frame):
        with Image.open(self.dir / "render" / frame["files"][0]["name"]) as image:
            return np.asarray(image.convert("L").resize((60, 60)), float)


@pytest.fixture
def desk(tmp_path):
    return Desk(tmp_path)


def alike(one, other):
    return float(np.corrcoef(one.ravel(), other.ravel())[0, 1])


def test_a_negative_is_inverted_and_its_print_is_not(desk):
    draw(desk.batch, "neg", "sheet", views=("cranes",), process="monochrome")
    draw(desk.batch, "print", "print", views=("cranes",))
    desk.take(
        {
            "defaults": {"polarity": "negative", "process": "monochrome"},
            "items": [
                {"match": ITEM, "kind": "sheet"},
                {"match": "*", "part": "print", "kind": "print", "process": "colour"},
            ],
        }
    )
    found = desk.located()
    assert {part: frame["polarity"] for part, frame in found.items()} == {
        "neg": "negative",
        "print": "positive",
    }
    made = desk.rendered()
    assert {part: frame["tone"]["bands"] for part, frame in made.items()} == {"neg": 1, "print": 3}
    assert made["print"]["tone"]["rendering"] == "positive"
    assert alike(desk.picture(made["neg"]), desk.picture(made["print"])) > 0.5  # one subject


def test_a_sleeve_is_not_inverted_though_all_of_the_item_is_stated_to_be_negative(desk):
    draw(desk.batch, "emu", "sheet", views=("cranes",), mirror=True)
    draw(desk.batch, "sleeve", "sleeve")
    desk.take({"items": [{"match": ITEM, "kind": "sheet", "polarity": "negative"}]})
    found = desk.located()
    assert found["emu"]["polarity"] == "negative"
    assert found["sleeve"]["polarity"] == "positive"
    assert not found["sleeve"]["mirror"]


def test_both_sides_of_a_film_come_out_alike(desk):
    draw(desk.batch, "emu", "sheet", views=("cranes",), mirror=True)
    draw(desk.batch, "base", "sheet", views=("cranes",))
    desk.take({"defaults": {"polarity": "negative", "kind": "sheet"}})
    found = desk.located()
    assert {part: frame["mirror"] for part, frame in found.items()} == {"emu": True, "base": False}
    made = desk.rendered()
    assert alike(desk.picture(made["emu"]), desk.picture(made["base"])) > 0.95


@pytest.mark.parametrize("side", ["away", "toward"])
def test_a_side_stated_for_both_asks_for_a_look(desk, side):
    draw(desk.batch, "emu", "sheet", views=("cranes",))
    draw(desk.batch, "base", "sheet", views=("cranes",))
    desk.take({"defaults": {"kind": "sheet", "emulsion_side": side}})
    assert {frame["state"] for frame in desk.located().values()} == {"review"}


def test_a_person_settles_a_doubtful_side(desk):
    draw(desk.batch, "emu", "sheet", views=("cranes",))
    master = f"{ITEM}_emu.tif"
    entry = {"item": ITEM, "by": "op-07", "frames": [{"frame": 1, "accept": True}]}
    desk.take({"defaults": {"kind": "sheet", "emulsion_side": "away"}}, {"corrections": [entry]})
    frame = desk.located()["emu"]
    assert (frame["state"], frame["mirror"], frame["source"]) == ("ok", False, "correction")
    assert [each["path"] for each in read_json(desk.dir / "geometry.json")["masters"]] == [master]


def test_a_person_who_says_monochrome_gets_a_grey_picture(desk):
    draw(desk.batch, "print", "print", views=("cranes",))
    entry = {"item": ITEM, "by": "op-07", "frames": [{"frame": 1, "process": "monochrome"}]}
    desk.take({"defaults": {"kind": "print"}}, {"corrections": [entry]})
    desk.located()
    made = desk.rendered()["print"]
    assert made["tone"]["bands"] == 1
    assert "shows colours" in made["tone"]["review"][0]  # a colour print, greyed by mistake


@pytest.mark.parametrize(("process", "told"), [("colour", True), ("monochrome", False)])
def test_a_colour_negative_stated_to_be_monochrome_is_for_review(desk, process, told):
    draw(desk.batch, "emu", "sheet", views=("cranes",), process=process, mirror=True)
    desk.take({"defaults": {"kind": "sheet", "polarity": "negative", "process": "monochrome"}})
    reasons = " ".join(desk.located()["emu"]["reasons"])
    assert ("stated to be monochrome" in reasons) == told


def test_the_records_hold_the_facts_of_each_master(desk):
    draw(desk.batch, "neg", "sheet", views=("cranes",))
    draw(desk.batch, "print", "print", views=("cranes",))
    desk.take({"items": [{"match": "*", "part": "print", "kind": "print", "rotate": 180}]})
    desk.located()
    desk.rendered()
    given = due.given("embed", desk.known, ITEM, desk.config)
    do_step("embed", desk.batch, desk.dir, {**given, "catalogue": CATALOGUE | {"item": ITEM}})
    for name in ("geometry", "embedded"):
        facts = read_json(desk.dir / f"{name}.json")["event"]["detail"]["facts"]
        assert facts[f"{ITEM}_print.tif"]["rotate"] == 180
        assert facts[f"{ITEM}_neg.tif"]["rotate"] == 0
