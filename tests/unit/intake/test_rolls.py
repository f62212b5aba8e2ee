"""Rolls captured frame by frame: frames left out or twice, how many there should be, sides alone."""

import numpy as np
import pytest
import tifffile
import yaml

from glassine.base import naming, settings
from glassine.intake import rolls
from makers.step_calls import taken_in


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    return folder


def put(folder, *names):
    for tone, name in enumerate(names, 1 + len(list(folder.iterdir())) * 100):
        tifffile.imwrite(folder / name, np.full((8, 12, 3), tone, np.uint16))


def take(folder, stated=None, **naming):
    if stated:
        (folder / "batch.yaml").write_text(yaml.safe_dump(stated))
    more = {"intake": {"watch_s": 0}, "catalogue": {"required": False}, "naming": naming}
    return taken_in(folder, {"batch": "b", "settings": settings.load(more)})


def told(result):
    return {
        (item["item"], finding["code"]): finding
        for item in result["items"]
        for finding in item["findings"]
    }


# Order of frame numbers on 35 mm film: common practice, no source.
@pytest.mark.parametrize(
    ("frames", "said"),
    [
        (["16", "18"], "17 is missing between 16 and 18"),
        (["1", "2", "6"], "3, 4, 5 are missing between 2 and 6"),
        (["1", "9"], "2 to 8 are missing between 1 and 9"),
        (["00", "0", "2"], "1 is missing between 0 and 2"),
        (["01", "02", "04"], "3 is missing between 2 and 4"),
        (["12A", "14A"], "13 is missing between 12 and 14"),
        (["00", "0", "0A", "1", "12A"], "2 to 11 are missing between 1 and 12"),
        (["5", "6", "7"], ""),
        (["00", "0", "1"], ""),
        (["000", "001", "002"], ""),
        (["1A", "2A", "3A"], ""),
    ],
)
def test_gaps_are_told_in_the_films_own_numbers(frames, said):
    numbers = [naming.film_number(frame) for frame in frames]
    assert rolls.gap_words(number for number, _ in numbers) == said


def test_a_roll_with_a_frame_left_out_is_for_review(batch):
    put(batch, *(f"PEH-0001_{n:02d}.tif" for n in (16, 18, 19)))
    found = told(take(batch))["PEH-0001", "intake.frame_missing"]
    assert "17 is missing between 16 and 18" in found["what"]
    assert found["severity"] == "review"


def test_one_frame_under_two_spellings_of_its_number_holds_the_roll(batch):
    put(batch, "PEH-0001_1.tif", "PEH-0001_01.tif", "PEH-0001_2.tif")
    found = told(take(batch))["PEH-0001", "intake.frame_twice"]
    assert found["severity"] == "hold"
    assert "frame 1" in found["what"]


@pytest.mark.parametrize(("stated", "asked"), [(3, False), (36, True), (2, True)])
def test_another_number_of_captures_than_stated_is_for_review(batch, stated, asked):
    put(batch, *(f"PEH-0001_{n}.tif" for n in (1, 2, 3)), "PEH-0001_sleeve.tif")
    found = told(take(batch, {"items": [{"match": "PEH-*", "captures": stated}]}))
    assert (("PEH-0001", "intake.captures") in found) is asked


def test_frames_that_are_items_of_one_roll_are_counted_as_the_roll(batch):
    put(batch, *(f"R12-{n}.tif" for n in ("01", "02", "04")))
    pattern = r"(?P<item>(?P<roll>R[0-9]+)-(?P<place>[0-9]+A?))\.tif"
    result = take(batch, {"items": [{"match": "R12", "captures": 36}]}, pattern=pattern)
    found = told(result)
    assert "3 is missing between 2 and 4" in found["R12-01", "intake.frame_missing"]["what"]
    assert "3 captures of the roll R12" in found["R12-01", "intake.captures"]["what"]
    assert [(item["roll"], item["place"]) for item in result["items"]] == [
        ("R12", "01"),
        ("R12", "02"),
        ("R12", "04"),
    ]


@pytest.mark.parametrize(
    ("names", "incomplete"),
    [
        (["PEH-0001_sleeve.tif"], True),
        (["PEH-0001_object.tif", "PEH-0001_envelope.tif"], True),
        (["PEH-0001_base.tif", "PEH-0001_sleeve.tif"], True),
        (["PEH-0001_verso.tif"], True),
        (["PEH-0001_print.tif"], False),
        (["PEH-0001_emu.tif"], False),
        (["PEH-0001.tif", "PEH-0001_sleeve.tif"], False),
    ],
)
def test_an_item_without_what_makes_it_one_is_for_review(batch, names, incomplete):
    put(batch, *names, "PEH-0002_emu.tif", "PEH-0002_base.tif")
    found = told(take(batch))
    assert (("PEH-0001", "intake.incomplete") in found) is incomplete
    assert ("PEH-0002", "intake.incomplete") not in found


def test_base_sides_alone_are_a_studios_way_where_no_item_has_more(batch):
    put(batch, "PEH-0001_base.tif", "PEH-0002_base.tif")
    assert not told(take(batch))


@pytest.mark.parametrize(
    ("word", "asked"),
    [("rekto", True), ("tasche", True), ("small", True), ("recto", False), ("neg", False)],
)
def test_a_part_by_a_word_that_says_nothing_is_for_review(batch, word, asked):
    put(batch, "PEH-0001.tif", f"PEH-0001_{word}.tif")
    found = told(take(batch))
    assert (("PEH-0001", "intake.part_unknown") in found) is asked
    if asked:
        assert found["PEH-0001", "intake.part_unknown"]["severity"] == "review"


def test_a_part_that_settings_or_batch_yaml_know_asks_nothing(batch):
    put(batch, "PEH-0001.tif", "PEH-0001_tasche.tif", "PEH-0001_ir.tif")
    stated = {"items": [{"match": "PEH-*", "part": "ir", "process": "monochrome"}]}
    found = told(take(batch, stated, parts={"tasche": "sleeve"}))
    assert ("PEH-0001", "intake.part_unknown") not in found
