"""Settings for some items alone: which hold, in which order, and that no other item is touched.

Ways to be wrong and look right: a rule with a slip of the pen that holds for nothing; a kind that
is only recognised later and escapes its rule; an earlier rule that wins; a rule that makes every
other item be done anew; an item for which two rules part and nobody can tell why.
"""

import copy

import pytest

from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.night import agreement, due, explain, explained, rules
from glassine.render.given import RenderGiven
from makers.step_calls import do_step, taken_in

STATED = {
    "institution": {
        "name": "Port Ellery Harbour Archive",
        "id": "https://peh.port-ellery.example/",
    },
    "iiif": {"base_url": "https://images.port-ellery.example/iiif"},
    "rights": {"jurisdiction": "gb"},
    "intake": {"watch_s": 0, "labels": "never"},
}
SAMPLE = settings.PROJECT / "sample_masters" / "harbour-2026-03"


def config(*entries):
    return settings.load({**STATED, "rules": list(entries)})


def rule(sets, **conditions):
    return {"for": conditions, "set": sets}


@pytest.fixture(scope="module")
def taken():
    return taken_in(SAMPLE, {"batch": "harbour-2026-03", "settings": config()})


@pytest.fixture
def batch(taken):
    return due.Batch(copy.deepcopy(taken))


def quality_of(batch, item, complete):
    return due.given("render", batch, item, complete)["settings"]["iiif"]["quality"]


def test_without_rules_a_step_is_given_what_it_always_was(batch):
    complete = config()
    without = {name: value for name, value in complete.items() if name != "rules"}
    assert due.key(batch, "PEH-0001", complete) == due.key(batch, "PEH-0001", without)
    assert due.given("render", batch, "PEH-0001", complete) == due.given(
        "render", batch, "PEH-0001", without
    )


@pytest.mark.parametrize(
    "conditions",
    [
        {"item": "PEH-0001"},
        {"item": ["PEH-0009", "peh-000[12]"]},
        {"batch": "harbour-*", "item": "PEH-0001"},
    ],
)
def test_a_rule_holds_for_what_all_its_conditions_fit_and_for_nothing_else(batch, conditions):
    complete = config(rule({"iiif": {"quality": 33}}, **conditions))
    assert quality_of(batch, "PEH-0001", complete) == 33
    assert quality_of(batch, "PEH-0003", complete) == 85


def test_collection_and_right_are_those_of_the_catalogue(batch):
    row = batch.items["PEH-0001"].catalogue
    by_collection = config(rule({"iiif": {"quality": 34}}, collection=row.collection.upper()))
    assert quality_of(batch, "PEH-0001", by_collection) == 34
    known = rules.Told("b", "PEH-0001", row).values("right", by_collection["rights"])
    for value in filter(None, known):
        by_right = config(rule({"iiif": {"quality": 35}}, right=value))
        assert quality_of(batch, "PEH-0001", by_right) == 35


def test_an_item_without_a_row_fits_no_collection(batch):
    told = rules.Told("b", "PEH-0099", None)
    assert rules.missed(rule({}, collection="Harbour*"), told, {})
    assert not rules.missed(rule({}, right="unknown"), told, {})


def test_later_rules_win_key_by_key(batch):
    complete = config(
        rule({"iiif": {"quality": 10, "tile_px": 256}}, item="PEH-*"),
        rule({"iiif": {"quality": 20}}, item="PEH-0001"),
    )
    given = due.given("render", batch, "PEH-0001", complete)["settings"]["iiif"]
    assert (given["quality"], given["tile_px"]) == (20, 256)


def test_a_rule_for_one_item_makes_no_other_be_done_anew(batch):
    plain, ruled = config(), config(rule({"embed": {"iim": False}}, item="PEH-0001"))
    keys = {item: due.key(batch, item, plain) for item in batch.items}
    changed = [item for item in batch.items if due.key(batch, item, ruled) != keys[item]]
    assert changed == ["PEH-0001"]
    steps = zip(
        due.steps_given(batch, "PEH-0001", plain), due.steps_given(batch, "PEH-0001", ruled),
        strict=True,
    )  # fmt: skip
    assert [one["step"] for one, other in steps if one != other] == ["embed"]


def chosen(batch, complete, kind, part=None):
    values = due.given("render", batch, "PEH-0001", complete)
    settings_of = {"item": "PEH-0001", "masters": (), "settings": values["settings"]}
    return RenderGiven(**settings_of).chosen().of_master(kind, part).render


def test_kind_and_part_are_asked_for_each_master_and_later_rules_win(batch):
    complete = config(
        rule({"render": {"access_long_edge": 100}}, kind="print"),
        rule({"render": {"access_long_edge": 200, "sharpen": 0.5}}, part=["sleeve", "obj*"]),
        rule({"render": {"thumb_quality": 11}}, item="PEH-0001"),
        rule({"render": {"sharpen": 0.1}}, kind="print", part="object"),
    )
    assert chosen(batch, complete, "sheet").access_long_edge == 3000
    assert chosen(batch, complete, "print").access_long_edge == 100
    both = chosen(batch, complete, "print", "object")
    assert (both.access_long_edge, both.sharpen, both.thumb_quality) == (200, 0.1, 11)


def test_a_later_rule_for_an_item_wins_over_an_earlier_one_for_its_kind(batch):
    kind = rule({"render": {"access_long_edge": 100}}, kind="print")
    item = rule({"render": {"access_long_edge": 900}}, item="PEH-0001")
    assert chosen(batch, config(kind, item), "print").access_long_edge == 900
    assert chosen(batch, config(item, kind), "print").access_long_edge == 100


def test_further_pictures_by_a_rule_for_a_kind_are_known_to_the_step_that_writes_their_texts(batch):
    complete = config(rule({"render": {"alternates": ["webp"]}}, kind="print"))
    assert "alternates" in due.given("embed", batch, "PEH-0001", complete)
    assert "alternates" not in due.given("embed", batch, "PEH-0001", config())


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (rule({"render": {"acces_long_edge": 1}}, item="x"), "Did you mean access_long_edge?"),
        (rule({"render": {"sharpen": 7}}, item="x"), "render.sharpen"),
        (rule({"iiif": {"quality": "good"}}, item="x"), "iiif.quality"),
        (rule({"render": {"sharpen": 1}}, kind="prnt"), "Did you mean print?"),
        (rule({"render": {"sharpen": 1}}, kind="auto"), "no kind 'auto'"),
        (rule({"iiif": {"image_api": "2"}}, kind="print"), "one picture can have"),
        (rule({"package": {"profile": "eark"}}, item="x"), "package.profile"),
        (rule({"render": {"sharpen": 1}}), "every item"),
        (rule({"render": {"sharpen": 1}}, item=[]), "every item"),
        (rule({}, item="x"), "states nothing"),
        (rule({"render": {}}, item="x"), "states nothing"),
    ],
)
def test_a_rule_that_would_do_nothing_or_something_else_is_refused_before_a_night(
    tmp_path, entry, words
):
    with pytest.raises(GlassineError) as refused:
        agreement.check(config(entry), tmp_path)
    (finding,) = refused.value.findings
    assert finding.what.startswith("rules, entry 1: ")
    assert words in finding.sentence()


@pytest.mark.parametrize(
    "entry", [{"for": {"items": "x"}, "set": {}}, {"set": {}}, "x", {"for": {}}]
)
def test_an_entry_of_another_form_is_refused_by_the_schema(entry):
    with pytest.raises(GlassineError):
        config(entry)


def test_what_holds_for_an_item_and_why_is_told():
    complete = config(
        rule({"iiif": {"quality": 10}}, item="PEH-*"),
        rule({"iiif": {"quality": 20}}, batch="other"),
        rule({"render": {"access_long_edge": 120}}, part="sleeve"),
        rule({"render": {"sharpen": 0.2}}, kind="plate"),
    )
    lines = explained.rules_of(SAMPLE, "harbour-2026-03", complete)["PEH-0010"]
    assert lines[0] == "Rule 1 (item PEH-*) holds: iiif.quality: 10."
    assert lines[1] == (
        "Rule 2 (batch other) does not hold: its batch is harbour-2026-03, not other."
    )
    assert "Rule 3 (part sleeve) does not hold for PEH-0010_emu.tif: " in lines[2]
    assert "Rule 3 (part sleeve) holds for PEH-0010_sleeve.tif: " in lines[3]
    assert lines[-1] == "iiif.quality is 10, by rule 1."


def test_a_rule_that_holds_for_no_item_is_named(batch):
    complete = config(
        rule({"iiif": {"quality": 1}}, item="PEH-*"),
        rule({"iiif": {"quality": 2}}, collection="Harbor*"),
    )
    told = [rules.Told(batch.name, each.item, each.catalogue) for each in batch.items.values()]
    assert rules.unused(complete, told) == ["rule 2 (collection Harbor*)"]


def test_the_command_tells_of_an_item_and_refuses_one_that_is_not_there(tmp_path, capsys):
    entry = rule({"iiif": {"quality": 10}}, item="PEH-0001")
    stated = {**STATED, "masters": str(SAMPLE.parent), "rules": [entry]}
    assert explain.run("harbour-2026-03", stated, tmp_path, items=["PEH-0001"]) == 0
    assert "iiif.quality is 10, by rule 1." in capsys.readouterr().out
    assert explain.run("harbour-2026-03", stated, tmp_path, items=["PEH-001"]) == 64
    assert "Did you mean PEH-00" in capsys.readouterr().err


def test_a_part_gets_its_own_pictures_and_the_record_says_by_which_rules(tmp_path, taken):
    complete = config(rule({"render": {"access_long_edge": 120}}, part="sleeve"))
    batch = due.Batch(taken)
    for step in ("verify", "locate", "render"):
        do_step(step, SAMPLE, tmp_path, due.given(step, batch, "PEH-0010", complete))
    record = files.read_json(tmp_path / "render" / "render.json")
    edges = {
        (frame["part"], max(each["width"], each["height"]))
        for frame in record["frames"]
        for each in frame["files"]
        if each["use"] == "access"
    }
    assert ("sleeve", 120) in edges
    assert all(edge > 120 for part, edge in edges if part == "emu")
    assert record["event"]["detail"]["settings"]["rules"] == [
        {"part": ["sleeve"], "render": {"access_long_edge": 120}}
    ]
