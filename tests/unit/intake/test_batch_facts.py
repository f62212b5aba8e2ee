"""Which facts of batch.yaml hold for which master, and what of it is about nothing."""

import time
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.base.records.batch_file import BatchFile
from glassine.intake import batch_facts
from glassine.night import due
from glassine.night.lookup import Lookup
from makers.step_calls import taken_in

STOCK = {"harbour-c": {"slopes": [0.55, 0.6, 0.64]}}


def statements_of(batch):
    return batch_facts.Statements(msgspec.convert(batch, BatchFile))


def stated(batch, part=None, item="PEH-0001"):
    return statements_of(batch).facts_of(item, part).facts


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "b1"
    made.mkdir()
    for name in ("PEH-0001_neg.tif", "PEH-0001_print.tif", "PEH-0001_sleeve.tif", "PEH-0002.tif"):
        tifffile.imwrite(made / name, np.zeros((8, 12, 3), np.uint16))
    return made


def take(folder, batch=None, corrections=None, stocks=None):
    if batch is not None:
        (folder / "batch.yaml").write_text(yaml.safe_dump(batch), "utf-8")
    if corrections is not None:
        text = yaml.safe_dump({"corrections": corrections})
        (folder / "corrections.yaml").write_text(text, "utf-8")
    config = settings.load({"intake": {"watch_s": 0}, "tone": {"film_stocks": stocks or {}}})
    return taken_in(folder, {"batch": folder.name, "settings": config})


def told(result, code):
    return [note for note in result["notes"] if note["code"] == code]


def facts_by_path(result):
    return {
        master["path"]: master["facts"] for item in result["items"] for master in item["masters"]
    }


def test_a_negative_and_its_print_have_facts_of_their_own(folder):
    result = take(
        folder,
        {
            "items": [
                {"match": "PEH-0001", "kind": "sheet", "polarity": "negative"},
                {"match": "PEH-0001", "part": "print", "kind": "print", "polarity": "positive"},
            ]
        },
    )
    found = facts_by_path(result)
    assert (found["PEH-0001_neg.tif"]["kind"], found["PEH-0001_neg.tif"]["polarity"]) == (
        "sheet",
        "negative",
    )
    assert found["PEH-0001_print.tif"]["kind"] == "print"
    assert found["PEH-0001_print.tif"]["polarity"] == "positive"
    assert found["PEH-0002.tif"]["polarity"] == "auto"


@pytest.mark.parametrize("part", ["emu", ["base", "emu"], "e*", ["x", "[a-e]mu"]])
def test_an_entry_with_a_part_is_about_that_part_only(part):
    batch = {"items": [{"match": "PEH-*", "part": part, "emulsion_side": "toward"}]}
    assert stated(batch, "emu").emulsion_side == "toward"
    assert stated(batch, "front").emulsion_side == "auto"
    assert stated(batch, None).emulsion_side == "auto"
    assert stated(batch, "emu", "XYZ-1").emulsion_side == "auto"


def test_later_entries_win_key_by_key_whether_by_part_or_not():
    batch = {
        "defaults": {"rotate": 90, "nominal_ppi": 1200},
        "items": [
            {"match": "*", "part": "emu", "rotate": 180, "polarity": "negative"},
            {"match": "PEH-0001", "rotate": 270},
        ],
    }
    assert stated(batch, "emu").rotate == 270
    assert stated(batch, "emu").for_part == ("polarity",)
    assert stated(batch, "emu", "PEH-0002").rotate == 180
    assert stated(batch, "emu", "PEH-0002").nominal_ppi == 1200


@pytest.mark.parametrize("part", ["sleeve", "envelope", "print"])
def test_what_is_stated_of_the_film_says_nothing_of_its_paper(part):
    film = {
        "kind": "sheet",
        "polarity": "negative",
        "process": "monochrome",
        "emulsion_side": "toward",
        "nominal_ppi": 900,
    }
    for batch in ({"defaults": film}, {"items": [{"match": "*", **film}]}):
        found = statements_of(batch).facts_of("PEH-0001", part)
        assert found.facts.polarity == "auto"
        assert found.facts.emulsion_side == "auto"
        assert found.facts.nominal_ppi == 900
        assert found.left_out == ("emulsion_side", "kind", "polarity", "process")
        assert stated(batch, "emu").polarity == "negative"


def test_a_batch_of_prints_and_what_is_stated_of_the_paper_itself_hold():
    assert stated({"defaults": {"kind": "print", "process": "monochrome"}}, "print").process == (
        "monochrome"
    )
    batch = {
        "defaults": {"polarity": "negative"},
        "items": [{"match": "*", "part": "sleeve", "polarity": "negative"}],
    }
    assert stated(batch, "sleeve").polarity == "negative"


def test_facts_left_out_are_noted_at_their_item(folder):
    result = take(folder, {"defaults": {"polarity": "negative", "slopes": [0.5, 0.6, 0.7]}})
    (item,) = [each for each in result["items"] if each["item"] == "PEH-0001"]
    notes = {note["path"]: note for note in item["findings"] if note["code"] == "facts.no_effect"}
    assert sorted(notes) == ["PEH-0001_print.tif", "PEH-0001_sleeve.tif"]
    assert "`polarity`, `slopes`" in notes["PEH-0001_sleeve.tif"]["what"]
    assert item["state"] != "waiting"


@pytest.mark.parametrize(
    ("facts", "key"),
    [
        ({"polarity": "positive", "slopes": [0.5, 0.6, 0.7]}, "slopes"),
        ({"kind": "print", "film_stock": "harbour-c"}, "film_stock"),
        ({"kind": "print", "emulsion_side": "toward"}, "emulsion_side"),
    ],
)
def test_keys_that_do_not_fit_the_master_are_noted(folder, facts, key):
    result = take(folder, {"items": [{"match": "PEH-0002", **facts}]}, stocks=STOCK)
    (item,) = [each for each in result["items"] if each["item"] == "PEH-0002"]
    assert [key in note["what"] for note in item["findings"] if "facts." in note["code"]] == [True]


def test_an_entry_that_fits_no_item_is_told_with_the_ids_there_are(folder):
    result = take(folder, {"items": [{"match": "PEH-9*", "kind": "plate"}]})
    (note,) = told(result, "facts.no_master")
    assert note["severity"] == "review"
    assert "match: PEH-9*" in note["what"]
    assert "PEH-0001, PEH-0002" in note["expected"]


def test_an_entry_whose_part_fits_nothing_is_told_with_the_parts_there_are(folder):
    result = take(folder, {"items": [{"match": "PEH-0001", "part": "Sleeve", "kind": "print"}]})
    (note,) = told(result, "facts.no_master")
    assert "part: Sleeve" in note["what"]
    assert "neg, print, sleeve" in note["expected"]


def test_entries_that_fit_are_not_told(folder):
    result = take(folder, {"items": [{"match": "*", "part": ["print", "x"], "kind": "print"}]})
    assert not told(result, "facts.no_master")


@pytest.mark.parametrize(("stocks", "severity"), [({}, "note"), (STOCK, "review")])
def test_a_film_stock_that_the_settings_lack_is_told(folder, stocks, severity):
    result = take(folder, {"defaults": {"film_stock": "harbour-d"}}, stocks=stocks)
    (note,) = told(result, "facts.film_stock")
    assert note["severity"] == severity
    assert "'harbour-d'" in note["what"]
    assert not told(take(folder, {"defaults": {}}, stocks=stocks), "facts.film_stock")


def test_a_film_stock_that_the_settings_have_is_not_told(folder):
    result = take(folder, {"defaults": {"film_stock": "harbour-c"}}, stocks=STOCK)
    assert not told(result, "facts.film_stock")


def test_target_captures_that_are_not_there_or_stand_twice_are_told(folder):
    tifffile.imwrite(folder / "t.tif", np.zeros((8, 12, 3), np.uint16))
    once = {"path": "t.tif", "description": "film-example.yaml"}
    result = take(folder, {"targets": [once, {**once, "flat_field": "light.tif"}]})
    assert [note["path"] for note in told(result, "facts.target_missing")] == ["light.tif"]
    assert [note["path"] for note in told(result, "facts.target_twice")] == ["t.tif"]
    result = take(folder, {"targets": [{**once, "flat_field": "t.tif"}]})
    assert "two uses" in told(result, "facts.target_twice")[0]["what"]


def test_corrections_of_items_and_masters_that_are_not_there_are_told(folder):
    frames = [{"frame": 1, "rotate": 90}]
    result = take(
        folder,
        corrections=[
            {"item": "PEH-0001", "note": "seen"},
            {"item": "PEH-0999", "frames": frames},
            {"item": "PEH-0002", "identity": {"master": "gone.tif", "item": "PEH-0002"}},
        ],
    )
    assert ["PEH-0999" in note["what"] for note in told(result, "corrections.no_item")] == [True]
    assert [note["path"] for note in told(result, "corrections.no_master")] == ["gone.tif"]
    assert {note["severity"] for note in result["notes"]} == {"review"}


def test_frames_corrected_under_a_stand_in_do_not_vanish_with_it(folder):
    """Once its identity is named, the stand-in is no item any more."""
    tifffile.imwrite(folder / "scan 1.tif", np.zeros((8, 12, 3), np.uint16))
    stand_in = next(
        item["item"] for item in take(folder)["items"] if item["item"].startswith("unidentified")
    )
    entry = {"item": stand_in, "identity": {"master": "scan 1.tif", "item": "PEH-0003"}}
    assert not told(take(folder, corrections=[entry]), "corrections.no_item")
    entry["frames"] = [{"frame": 1, "rotate": 90}]
    assert told(take(folder, corrections=[entry]), "corrections.no_item")


def test_one_master_cannot_be_given_to_two_items(folder):
    entries = [
        {"item": item, "identity": {"master": "PEH-0002.tif", "item": item}}
        for item in ("PEH-0003", "PEH-0004")
    ]
    with pytest.raises(GlassineError) as caught:
        take(folder, corrections=entries)
    assert caught.value.findings[0].code == "corrections.identity_twice"


def test_a_fact_of_a_master_concerns_the_steps_that_use_facts_alone(folder):
    before = take(folder, {"items": []})
    after = take(folder, {"items": [{"match": "*", "part": "neg", "polarity": "negative"}]})
    config = settings.load({})
    changed = {
        step.name
        for step in due.steps_of(due.Batch(before), "PEH-0001")
        if due.given(step.name, due.Batch(before), "PEH-0001", config)
        != due.given(step.name, due.Batch(after), "PEH-0001", config)
    }
    assert changed == {"locate", "look", "render", "embed", "record"}
    keys = [due.key(due.Batch(each), "PEH-0001", config) for each in (before, after)]
    assert keys[0] != keys[1]
    keys = [due.key(due.Batch(each), "PEH-0002", config) for each in (before, after)]
    assert keys[0] == keys[1]


def test_a_pattern_takes_time_in_proportion_to_its_length():
    batch = {"items": [{"match": "*a" * 99 + "b", "kind": "plate"}]}
    assert stated(batch, None, "a" * 100).kind == "auto"


def test_facts_of_ten_thousand_items_are_found_at_once():
    names = [f"PEH-{number:05d}" for number in range(10_000)]
    batch = {"items": [{"match": name, "part": "emu", "rotate": 90} for name in names]}
    started = time.perf_counter()
    statements = statements_of(batch)
    assert all(statements.facts_of(name, "emu").facts.rotate == 90 for name in names)
    assert len(statements.without_master([(name, "emu") for name in names[1:]])) == 1
    assert len(statements.without_master([])) == 21
    assert "9980 further entries" in statements.without_master([])[-1].what
    assert time.perf_counter() - started < 10  # looked up one by one it takes minutes


def test_whether_kind_and_polarity_are_stated_together_is_known():
    apart = {"defaults": {"polarity": "negative"}, "items": [{"match": "*", "kind": "print"}]}
    assert not stated(apart).polarity_of_kind
    together = {"items": [{"match": "*", "kind": "print", "polarity": "negative"}]}
    assert stated(together).polarity_of_kind
    assert not stated({}).polarity_of_kind


def test_target_captures_are_measured_with_the_defaults_of_the_batch(folder):
    """Among them how samples without a profile are encoded, and who captured."""
    batch = {"operator": {"capture": "op-03"}, "defaults": {"encoding": "linear"}}
    intake_json = take(folder, batch)
    known = SimpleNamespace(
        known=lambda _name: due.Batch(intake_json), config={"targets": {"require": {}}}
    )
    facts = Lookup.targets_given(known, "b1")["facts"]
    assert (facts["encoding"], facts["operator"]) == ("linear", "op-03")
