"""Rules derived from names and catalogue numbers: what they say of the names they came from."""

import re

import pytest

from glassine.intake import name_rules
from glassine.intake.name_rules import SameNumber

SCHEMES = {
    "plain": (["PEH-0001.tif", "PEH-0002.tif"], ["PEH-0001", "PEH-0002"]),
    "part behind": (
        ["PEH-0001_emu.tif", "PEH-0001_base.tif", "PEH-0002_emu.tif"],
        ["PEH-0001", "PEH-0002"],
    ),
    "date before": (["20260314_PEH0001.tif", "20260315_PEH0002.tif"], ["PEH0001", "PEH0002"]),
    "fixed words": (["peh_neg_0001_master.tif", "peh_neg_0002_master.tif"], ["0001", "0002"]),
    "frame": (["R012_01.tif", "R012_02.tif", "R013_01.tif"], ["R012", "R013"]),
    "dots": (["1987.23.45.tif", "1987.23.46.tif"], ["1987.23.45", "1987.23.46"]),
    "endings": (["PEH 1.TIF", "PEH 2.tif"], ["1", "2"]),
    "brackets": (["box12[PEH-7].tif", "box13[PEH-8].tif"], ["PEH-7", "PEH-8"]),
}


@pytest.mark.parametrize("scheme", sorted(SCHEMES))
def test_the_rule_finds_each_item_of_the_catalogue(scheme):
    names, numbers = SCHEMES[scheme]
    noise = {"title": ["Quay", "Mole"], "box": ["12", "13"], "number": numbers}
    found = name_rules.rules(names, noise)
    assert {rule.column for rule in found} == {"number"}
    patterns = [re.compile(pattern) for pattern in name_rules.joined(found)]
    items = {
        match["item"] for name in names for each in patterns if (match := each.fullmatch(name))
    }
    assert items == set(numbers)


def test_numbers_written_otherwise_are_found_with_the_fewest_rules():
    (rule,) = name_rules.rules(
        ["PEH_1987-0023_0045.tif", "PEH_1987-0023_0046.tif"],
        {"inventory": ["1987.23/45", "1987.23/46"], "title": ["a", "b"]},
    )
    assert rule.pattern == r"PEH_(?P<item>[0-9]{4}\-[0-9]{4}_[0-9]{4})\.tif"
    assert rule.same_number == SameNumber(marks="-./_", leading_zeros=True)
    (rule,) = name_rules.rules(["peh-1.tif", "peh-2.tif"], {"id": ["PEH-1", "PEH-2"]})
    assert rule.same_number == SameNumber(case=True)


def test_names_with_and_without_a_part_have_one_pattern():
    names = ["PEH-0001.tif", "PEH-0002_emu.tif", "PEH-0002_base_2.tif"]
    found = name_rules.rules(names, {"id": ["PEH-0001", "PEH-0002"]})
    (pattern,) = name_rules.joined(found)
    told = {name: re.fullmatch(pattern, name).groupdict() for name in names}
    assert told["PEH-0001.tif"] == {"item": "PEH-0001", "part": None, "sequence": None}
    assert told["PEH-0002_base_2.tif"] == {"item": "PEH-0002", "part": "base", "sequence": "2"}


def test_day_folders_tell_the_item_where_paths_are_given():
    (rule,) = name_rules.rules(
        ["2026-03-14/0001.tif", "2026-03-15/0001.tif"],
        {"id": ["2026-03-14/0001", "2026-03-15/0001"]},
    )
    assert rule.item == "{n1}-{n2}"
    match = re.fullmatch(rule.pattern, "2026-03-14/0001.tif")
    assert (match["n1"], match["n2"]) == ("2026-03-14", "0001")


def test_names_that_no_column_knows_get_no_rule():
    assert name_rules.rules(["scan one.tif", "DSC_4711.tif"], {"id": ["PEH-0001"]}) == []


def test_without_a_catalogue_all_before_the_words_for_parts_is_the_item():
    found = name_rules.rules(["PEH 12 emu.tif", "PEH 13 base.tif"], {})
    assert re.fullmatch(found[0].pattern, "PEH 12 emu.tif").groupdict() == {
        "item": "PEH 12",
        "part": "emu",
    }


def test_a_mark_of_a_capture_made_again_becomes_no_part():
    names = ["HN-3.tif", "HN-4.tif", "HN-3-r2.tif", "HN-4_V3.tif"]
    patterns = name_rules.joined(name_rules.rules(names, {"id": ["HN-3", "HN-4"]}))
    fits = [name for name in names for each in patterns if re.fullmatch(each, name)]
    assert fits == ["HN-3.tif", "HN-4.tif"]
