"""Rules for a kind or part reach every section that a picture can have for itself."""

import msgspec
import pytest

from glassine.base import settings
from glassine.embed.given import EmbedGiven
from glassine.night import due, rules
from glassine.pack.given import Settings as PackSettings
from glassine.render.given import Settings as RenderSettings


def config(*stated):
    complete = settings.load({"rules": list(stated)})
    return rules.resolved(complete, range(len(stated)))


def of_step(resolved, *sections):
    chosen = {name: resolved[name] for name in sections}
    stated = rules.of_step(resolved, sections)
    return chosen | ({"rules": stated} if stated else {})


PRINT = {"for": {"kind": "print"}, "set": {"iiif": {"quality": 70, "tile_px": 256}}}
SLEEVE = {"for": {"part": "sleeve"}, "set": {"embed": {"iim": False}}}
NO_TILES = {"for": {"part": "sleeve"}, "set": {"package": {"include_tiles": False}}}


def test_tiles_of_a_kind_are_made_as_its_rule_says():
    given = of_step(config(PRINT), "render", "tone", "quality", "iiif", "naming")
    chosen = msgspec.convert(given, RenderSettings)
    assert chosen.of_master("print", None).iiif.quality == 70
    assert chosen.of_master("print", None).iiif.tile_px == 256
    assert chosen.of_master("sheet", None).iiif.quality == settings.load({})["iiif"]["quality"]


def test_texts_of_a_part_are_embedded_as_its_rule_says():
    given = EmbedGiven(item="A", masters=(), settings=of_step(config(SLEEVE), "embed", "rights"))
    assert not given.with_iim("sheet", "sleeve")
    assert given.with_iim("sheet", None)
    assert given.settings_recorded()["rules"]


def test_tiles_of_a_part_stay_out_of_the_package_as_its_rule_says():
    given = msgspec.convert(of_step(config(NO_TILES), "package", "records"), PackSettings)
    assert not given.of_master("print", "sleeve").include_tiles
    assert given.of_master("print", None).include_tiles


def test_a_later_rule_for_an_item_wins_over_an_earlier_one_for_its_part():
    item = {"for": {"item": "A"}, "set": {"embed": {"iim": True}}}
    given = EmbedGiven(item="A", masters=(), settings=of_step(config(SLEEVE, item), "embed"))
    assert given.with_iim("sheet", "sleeve")


@pytest.mark.parametrize(
    ("sections", "count"),
    [
        (("render", "iiif"), 1),
        (("embed", "rights"), 1),
        (("package",), 1),
        (("records", "iiif"), 0),
    ],
)
def test_a_step_is_given_only_the_rules_of_its_own_sections(sections, count):
    assert len(rules.of_step(config(PRINT, SLEEVE, NO_TILES), sections)) == count


def test_a_pyramid_by_a_rule_is_known_to_the_step_that_writes_its_texts():
    rule = {"for": {"kind": "plate"}, "set": {"iiif": {"form": "pyramid"}}}
    assert due.makes_alternates(config(rule))
    assert not due.makes_alternates(config(PRINT))


def test_the_dry_look_says_what_a_rule_of_a_part_sets_and_why():
    told = rules.Told("b", "A", None)
    masters = [
        rules.MasterTold("A_sleeve.tif", "sleeve", None),
        rules.MasterTold("A.tif", None, None),
    ]
    lines = rules.explained(settings.load({"rules": [SLEEVE]}), told, masters)
    assert lines == [
        "Rule 1 (part sleeve) holds for A_sleeve.tif: embed.iim: False.",
        "Rule 1 (part sleeve) does not hold for A.tif: embed.iim: False.",
    ]
