"""Each way that tells a master's item, and two of them that contradict each other."""

import numpy as np
import pytest
import tifffile
import yaml

from glassine import steps
from glassine.base import naming, numbers, settings
from glassine.base.errors import GlassineError
from glassine.night import due
from makers.step_calls import taken_in


@pytest.fixture
def batch(tmp_path):
    folder = tmp_path / "b"
    folder.mkdir()
    return folder


_TONE = iter(range(1, 60000))


def master(path):
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, np.full((8, 12, 3), next(_TONE), np.uint16))


def catalogue(folder, *rows, header="item_id,title,masters"):
    (folder / "catalogue.csv").write_text("\n".join([header, *rows]) + "\n", "utf-8")


def take(folder, naming=None, **changes):
    stated = {"intake": {"watch_s": 0}, "naming": naming or {}, **changes}
    config = settings.load(stated)
    return taken_in(folder, {"batch": "b", "settings": config})


def owners(result):
    return {master["path"]: item["item"] for item in result["items"] for master in item["masters"]}


def states(result):
    return {item["item"]: item["state"] for item in result["items"]}


def words(result, item):
    found = next(each for each in result["items"] if each["item"] == item)
    return " ".join(finding["what"] for finding in found["findings"])


def test_the_first_of_several_patterns_that_fits_tells_the_item(batch):
    for name in ("PEH-0001.tif", "Roll 12 frame 03.tif"):
        master(batch / name)
    catalogue(batch, "PEH-0001,Quay,", "12,Mole,")
    patterns = [
        r"(?P<item>PEH-[0-9]{4})\.tif",
        r"Roll (?P<item>[0-9]+) frame (?P<sequence>[0-9]+)\.tif",
    ]
    result = take(batch, {"pattern": patterns})
    assert owners(result) == {"PEH-0001.tif": "PEH-0001", "Roll 12 frame 03.tif": "12"}
    assert set(states(result).values()) == {"ready"}


def test_folders_of_days_tell_items_apart_where_the_pattern_is_of_the_path(batch):
    for day in ("2026-03-17", "2026-03-18"):
        for number in (1, 2):
            master(batch / day / f"{number:04d}.tif")
    catalogue(batch, *(f"2026-03-{day}-000{n},Quay," for day in (17, 18) for n in (1, 2)))
    ways = {
        "pattern": r"(?P<day>[0-9-]+)/(?P<number>[0-9]{4})\.tif",
        "pattern_of": "path",
        "item": "{day}-{number}",
    }
    result = take(batch, ways)
    assert owners(result)["2026-03-17/0001.tif"] == "2026-03-17-0001"
    assert owners(result)["2026-03-18/0001.tif"] == "2026-03-18-0001"
    assert set(states(result).values()) == {"ready"}


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"item": "{day}"}, "day"),
        ({"item": "no group"}, "no group"),
        ({"item": "{"}, "cannot be read"),
        ({"pattern": ["x", "(?P<item>a)"]}, "no group named"),
    ],
)
def test_a_scheme_that_cannot_tell_an_item_is_refused(changes, said):
    stated = {"pattern": r"(?P<item>a+)\.tif", "item": None} | changes
    with pytest.raises(GlassineError, match=said):
        naming.compile_pattern(stated["pattern"], "name", stated["item"])


RULES = numbers.Numbers(marks="/-", leading_zeros=True, case=True, table={"OLD 12": "PEH-0012"})


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("1987.23/45", "1987.23-0045", True),
        ("1987.23/45", "1987.23-0450", False),
        ("1987.23/45", "1987.2/345", False),
        ("1987.230/45", "1987.23/45", False),
        ("peh-0012", "PEH/12", True),
        ("OLD 12", "PEH-0012", True),
        ("PEH-0", "PEH-000", True),
        ("PEH-10", "PEH-1", False),
    ],
)
def test_spellings_of_one_number_are_the_same_by_declared_rules_alone(one, other, same):
    assert (RULES.key(one) == RULES.key(other)) is same
    assert numbers.EXACT.key(one) != numbers.EXACT.key(other)


SAME = {"same_number": {"marks": "/-", "leading_zeros": True}, "pattern": r"(?P<item>.+)\.tif"}


def test_a_number_of_the_catalogue_is_found_under_the_spelling_of_the_file(batch):
    master(batch / "1987.23-0045.tif")
    catalogue(batch, "1987.23/45,Quay,")
    result = take(batch, SAME)
    (item,) = result["items"]
    assert (item["item"], item["state"]) == ("1987.23-0045", "ready")
    assert item["catalogue"]["title"] == "Quay"
    assert {"type": "local", "value": "1987.23/45"} in item["catalogue"]["identifiers"]


def test_two_rows_of_one_number_hold_its_item(batch):
    master(batch / "1987.23-0045.tif")
    catalogue(batch, "1987.23/45,Quay,", "1987.23-045,Mole,")
    result = take(batch, SAME)
    assert states(result) == {"1987.23-0045": "held"}


def test_two_spellings_in_file_names_are_one_item_by_the_catalogue(batch):
    for name in ("1987.23-45.tif", "1987.23-0045.tif"):
        master(batch / name)
    catalogue(batch, "1987.23/45,Quay,")
    result = take(batch, SAME)
    assert states(result) == {"1987.23-45": "held"}  # two masters of one place
    (batch / "catalogue.csv").unlink()
    result = take(batch, SAME, catalogue={"required": False})
    assert set(states(result).values()) == {"held"}


def test_the_row_that_lists_a_file_tells_its_item(batch):
    for name in ("DSC 0001.tif", "DSC 0002.tif", "DSC_0003.tif", "DSC_0004.tif"):
        master(batch / name)
    catalogue(
        batch,
        "PEH-0001,Quay,DSC 0001.tif|DSC 0002",
        "PEH-0002,Mole,DSC_0003.TIF",
    )
    result = take(batch)
    found = owners(result)
    assert found["DSC 0001.tif"] == found["DSC 0002.tif"] == "PEH-0001"
    assert found["DSC_0003.tif"] == "PEH-0002"
    one = next(item for item in result["items"] if item["item"] == "PEH-0001")
    assert [each["sequence"] for each in one["masters"]] == ["01", "02"]
    assert {each["identified"]["by"] for each in one["masters"]} == {"catalogue"}
    assert one["state"] == states(result)["PEH-0002"] == "ready"
    assert states(result)[found["DSC_0004.tif"]] == "held"


def test_a_name_and_a_row_that_contradict_each_other_hold_both_with_both_shown(batch):
    master(batch / "PEH-0001.tif")
    master(batch / "PEH-0002.tif")
    catalogue(batch, "PEH-0001,Quay,", "PEH-0002,Mole,PEH-0001.tif|PEH-0002.tif")
    result = take(batch)
    assert states(result) == {"PEH-0001": "held", "PEH-0002": "held"}
    for item in ("PEH-0001", "PEH-0002"):
        assert "Its name or label says PEH-0001" in words(result, item)
        assert "lists it with PEH-0002" in words(result, item)


def test_a_name_that_two_files_have_in_two_folders_tells_neither(batch):
    for day in ("a", "b"):
        master(batch / day / "DSC 1.tif")
    catalogue(batch, "PEH-0001,Quay,DSC 1.tif")
    result = take(batch)
    assert "PEH-0001" not in owners(result).values()
    assert set(states(result).values()) == {"held"}


def test_a_person_gives_several_masters_to_one_item(batch):
    for name in ("x 1.tif", "x 2.tif", "x 3.tif"):
        master(batch / name)
    catalogue(batch, "PEH-0001,Quay,")
    decided = [{"master": f"x {number}.tif", "item": "PEH-0001"} for number in (1, 2)]
    decided.append({"master": "x 3.tif", "item": "PEH-0001", "part": "sleeve"})
    text = yaml.safe_dump({"corrections": [{"item": "PEH-0001", "identity": decided}]})
    (batch / "corrections.yaml").write_text(text)
    result = take(batch)
    (item,) = result["items"]
    assert item["state"] == "ready"
    found = [(each["path"], each["part"], each["sequence"]) for each in item["masters"]]
    assert found == [
        ("x 1.tif", None, "01"),
        ("x 2.tif", None, "02"),
        ("x 3.tif", "sleeve", None),
    ]
    assert item["masters"][0]["identified"] == {"by": "correction"}


def test_words_of_a_studio_for_parts_mean_the_parts_that_the_settings_name(batch):
    master(batch / "PEH-0001_verso.tif")
    catalogue(batch, "PEH-0001,Quay,")
    result = take(batch, {"parts": {"verso": "base"}})
    assert result["items"][0]["masters"][0]["part"] == "base"


def test_captures_of_one_item_follow_each_other_as_on_the_film(batch):
    order = ["00", "0", "0A", "1", "2", "12", "12A", "13"]
    for frame in order:
        master(batch / f"PEH-0001_{frame}.tif")
    catalogue(batch, "PEH-0001,Quay,")
    result = take(batch)
    assert [each["sequence"] for each in result["items"][0]["masters"]] == order


def test_every_step_is_given_a_master_with_a_sequence(batch):
    master(batch / "PEH-0001_12A.tif")
    catalogue(batch, "PEH-0001,Quay,")
    known = due.Batch(take(batch))
    config = settings.load({})
    for each in steps.STEPS:
        given = due.given(each.name, known, known.ready()[0], config | {"institution": {}})
        steps.given(each.name, given)
