"""Sides, sleeves and whole objects: never mirrored or inverted wrongly in silence."""

from dataclasses import replace

import msgspec
import pytest

from glassine import steps
from glassine.base.errors import GlassineError
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.records.given import StatedMaster
from glassine.locate import stated, step
from glassine.record import mix
from glassine.record.item_records import ItemRecords

BOX = ((10.0, 10.0), (310.0, 10.0), (310.0, 210.0), (10.0, 210.0))
PLAIN = Frame(1, BOX, 0.0, "negative", "monochrome", state="ok")


def master(
    part, *, path=None, polarity="negative", orientation=1, kind="sheet", facts=None, **more
):
    frame = replace(PLAIN, polarity=polarity)
    geometry = MasterGeometry(path or f"{part}.tif", 320, 220, None, None, (frame,), kind=kind)
    return stated.Located(part, facts or Facts(**more), orientation, False, geometry)


def frames(*masters):
    return [geometry.frames[0] for geometry in stated.judged(list(masters))]


def reasons(*masters):
    return [" ".join(frame.reasons) for frame in frames(*masters)]


@pytest.mark.parametrize("part", ["emu", "emulsion", "EMU"])
def test_an_emulsion_side_is_seen_mirrored_unless_stated_otherwise(part):
    (geometry,) = stated.judged([master(part)])
    assert geometry.frames[0].mirror
    assert geometry.frames[0].state == "ok"
    assert any("emulsion toward the camera" in note for note in geometry.notes)
    assert not frames(master("base"))[0].mirror
    assert not frames(master(None))[0].mirror


@pytest.mark.parametrize(
    ("part", "side"), [("emu", "away"), ("emulsion", "away"), ("base", "toward")]
)
def test_a_side_that_contradicts_its_part_is_followed_and_for_review(part, side):
    (frame,) = frames(master(part, emulsion_side=side))
    assert frame.mirror == (side == "toward")
    assert frame.state == "review"
    assert f"emulsion_side: {side}" in frame.reasons[0]


@pytest.mark.parametrize("side", ["away", "toward"])
def test_two_sides_are_never_mirrored_alike_in_silence(side):
    pair = frames(master("emu", emulsion_side=side), master("base", emulsion_side=side))
    assert {frame.mirror for frame in pair} == {side == "toward"}
    assert {frame.state for frame in pair} == {"review"}


def test_a_tiff_that_mirrors_one_side_makes_both_doubtful():
    assert {frame.state for frame in frames(master("emu", orientation=2), master("base"))} == {
        "review"
    }


def test_two_sides_as_their_parts_say_are_fine():
    for pair in (
        [master("emu"), master("base")],
        [master("emu", emulsion_side="toward"), master("base", emulsion_side="away")],
    ):
        assert [frame.mirror for frame in frames(*pair)] == [True, False]
        assert {frame.state for frame in frames(*pair)} == {"ok"}


def test_sides_of_one_film_with_two_polarities_are_for_review():
    found = reasons(master("emu"), master("base", polarity="positive"))
    assert found
    assert all("one side of the film" in text for text in found)


@pytest.mark.parametrize("part", ["sleeve", "print", "Envelope"])
def test_paper_is_not_inverted_where_nothing_is_stated_of_it(part):
    (frame,) = frames(master(part))
    assert (frame.polarity, frame.state) == ("positive", "review")
    assert "not inverted" in frame.reasons[0]
    assert frames(master(part, polarity="positive"))[0].state == "ok"


def stated_as(part, stated_polarity, for_part=()):
    one = master(part)
    facts = Facts(polarity=stated_polarity, for_part=for_part)
    return stated.Located(part, facts, 1, False, one.geometry)


def test_paper_and_whole_objects_follow_what_is_stated_of_their_part():
    assert frames(stated_as("sleeve", "negative", ("polarity",)))[0].polarity == "negative"
    assert frames(stated_as("sleeve", "negative", ("polarity",)))[0].state == "ok"
    assert frames(stated_as("object", "negative", ("polarity",)))[0].state == "ok"


@pytest.mark.parametrize("polarity", ["auto", "negative"])
def test_a_whole_object_is_inverted_only_where_its_part_is_stated_to_be_negative(polarity):
    (frame,) = frames(stated_as("object", polarity))
    assert (frame.polarity, frame.state) == ("positive", "ok")
    found = master("object").geometry
    whole = stated.whole(StatedMaster(path="a.tif", part="object"), Facts(polarity=polarity), found)
    assert [each.polarity for each in whole.frames] == ["positive"]
    assert "not inverted" in whole.notes[-1]


def test_a_print_is_not_mirrored_and_a_recognised_one_is_doubtful():
    one = master(None, emulsion_side="toward")
    as_print = replace(one, facts=msgspec.structs.replace(one.facts, kind="print"))
    assert not frames(as_print)[0].mirror
    recognised = replace(one, geometry=replace(one.geometry, kind="print"))
    assert "recognised as a print" in reasons(recognised)[0]


@pytest.mark.parametrize(
    ("size", "state"),
    [((36, 24), "ok"), ((24, 36), "ok"), ((45, 60), "review"), ((1, 1), "review")],
)
def test_a_frame_of_other_proportions_than_stated_is_for_review(size, state):
    assert frames(master(None, size_mm=size))[0].state == state


def test_an_encoding_that_a_profile_overrides_is_noted():
    one = replace(master(None, encoding="linear"), has_profile=True)
    assert any("no effect" in note for note in stated.judged([one])[0].notes)


def test_a_record_calls_paper_what_its_part_says():
    """Kind, material and polarity of the film are not those of the sleeve it came in."""
    row = {"item": "PEH-1", "row": 2, "title": "Quay", "material": "nitrate", "rights": {}}
    given = steps.given("record", {
        "batch": "b1", "item": "PEH-1", "masters": [], "catalogue": row, "institution": {},
        "settings": {"iiif": {}},
    })  # fmt: skip
    records = ItemRecords(given, *(None,) * 5)
    located = master("emu", polarity="positive").geometry
    assert mix._source_type(records, located, "sleeve") == "sleeve"
    assert mix._source_type(records, located, "print") == "photographic print"
    of_film = "sheet film, cellulose nitrate film, positive"
    assert mix._source_type(records, located, "emu") == of_film


def test_one_frame_corrected_with_and_without_its_master_is_refused():
    corrections = {"frames": [{"frame": 1, "rotate": 90}, {"master": "a.tif", "frame": 1}]}
    with pytest.raises(GlassineError, match="stands twice"):
        step._check_corrections(corrections, ["a.tif"], ["a.tif"], "PEH-1")
    step._check_corrections({"frames": corrections["frames"][:1]}, ["a.tif"], ["a.tif"], "PEH-1")


@pytest.mark.parametrize("kind", ["print", "lantern", "mounted_slide"])
@pytest.mark.parametrize(("together", "state"), [(False, "review"), (True, "ok")])
def test_a_print_under_a_default_of_negative_is_not_inverted_in_silence(kind, together, state):
    (frame,) = frames(
        master(None, kind=kind, facts=Facts(kind, "negative", polarity_of_kind=together))
    )
    assert (frame.polarity, frame.state) == ("negative", state)


@pytest.mark.parametrize(
    ("texts", "asks"),
    [
        (["PEH-0002"], True),
        (["PEH-0001"], False),
        (["PEH-0001", "PEH-0002"], False),
        (["Lamp 7"], False),
        ([], False),
    ],
)
def test_a_label_in_the_picture_that_says_another_item_asks_for_a_look(texts, asks):
    found = stated.another_item("PEH-0001", [{"text": text} for text in texts])
    assert bool(found) is asks
    assert not asks or ("PEH-0001" in found[0] and "PEH-0002" in found[0])
