"""A capture made again of one whose item its name does not tell: of the same item, or held."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import naming, settings
from makers import session
from makers.step_calls import taken_in

SMALL = (220, 330)
SEPARATOR = {"identify": ["name", "catalogue", "separator"]}


@pytest.fixture
def batch(tmp_path: Path) -> Path:
    folder = tmp_path / "b1"
    folder.mkdir()
    rows = "".join(f"PEH-0{number},Quay,\n" for number in (1, 2))
    (folder / "catalogue.csv").write_text(f"item_id,title,files\nPEH-07,A,DSC_0007.tif\n{rows}")
    return folder


def take(batch: Path, identify: list[str], retakes: str = "keep") -> dict[str, Any]:
    more = {
        "intake": {"watch_s": 0, "retakes": retakes},
        "naming": {"identify": identify},
        "catalogue": {"columns": {"masters": "files"}},
    }
    return taken_in(batch, {"batch": "b1", "settings": settings.load(more)})


def places(taken: dict[str, Any]) -> dict[str, Any]:
    """Return {path: (item, part, number, what took its place), or "held"}."""
    return {
        each["path"]: "held"
        if item["state"] == "held"
        else (item["item"], each["part"], each["sequence"], each.get("superseded_by"))
        for item in taken["items"]
        for each in item["masters"]
    }


def codes(taken: dict[str, Any]) -> set[str]:
    return {each["code"] for item in taken["items"] for each in item["findings"]}


def film(batch: Path, name: str, seed: int, second: int) -> None:
    session.write(batch / name, session.film(seed, SMALL), second)


def test_a_sleeve_made_again_as_its_code_could_not_be_read_opens_its_item(batch: Path) -> None:
    sleeve = session.sleeve("PEH-01", form="qr", seed=1, size=SMALL)
    spoilt = sleeve.copy()
    spoilt[77:89, 132:156] = 225  # a corner of paper over the code
    session.write(batch / "DSC_0001.tif", spoilt, 0)
    session.write(batch / "DSC_0001_retake.tif", sleeve, 10)
    film(batch, "DSC_0002.tif", 2, 20)
    taken = take(batch, SEPARATOR["identify"])
    found = places(taken)
    assert found["DSC_0002.tif"] == ("PEH-01", None, "01", None)
    assert found["DSC_0001.tif"][:2] == ("PEH-01", "sleeve")
    assert found["DSC_0001.tif"][3] == "DSC_0001_retake.tif"


def test_the_row_that_lists_the_former_capture_tells_the_item_of_the_later(batch: Path) -> None:
    film(batch, "DSC_0007.tif", 3, 0)
    film(batch, "DSC_0007_v2.tif", 3, 9)
    found = places(take(batch, ["catalogue"]))
    assert found["DSC_0007.tif"] == ("PEH-07", None, None, "DSC_0007_v2.tif")
    assert found["DSC_0007_v2.tif"] == ("PEH-07", None, None, None)


def test_two_pictures_that_do_not_show_the_same_hold_their_item(batch: Path) -> None:
    film(batch, "DSC_0007.tif", 3, 0)
    film(batch, "DSC_0007_v2.tif", 4, 9)
    taken = take(batch, ["catalogue"])
    assert set(places(taken).values()) == {"held"} and "intake.retake_unsure" in codes(taken)


def test_where_retakes_are_not_allowed_both_wait_for_a_person(batch: Path) -> None:
    film(batch, "DSC_0007.tif", 3, 0)
    film(batch, "DSC_0007_v2.tif", 3, 9)
    assert set(places(take(batch, ["catalogue"], "hold")).values()) == {"held"}


def test_a_label_of_its_own_that_says_another_item_holds_it(batch: Path) -> None:
    first = session.sleeve("PEH-01", form="qr", seed=1, size=SMALL)
    session.write(batch / "DSC_0001.tif", first, 0)
    session.write(
        batch / "DSC_0001_v2.tif", session.sleeve("PEH-02", form="qr", seed=1, size=SMALL), 9
    )
    taken = take(batch, ["name", "label"])
    found = places(taken)
    assert found["DSC_0001_v2.tif"] == "held" and "intake.made_again" in codes(taken)
    assert found["DSC_0001.tif"][0] == "PEH-01"


def test_one_made_again_for_a_capture_of_no_known_item_is_held_with_it(batch: Path) -> None:
    film(batch, "x.tif", 1, 0)
    film(batch, "x (2).tif", 1, 9)
    taken = take(batch, ["catalogue"])
    assert set(places(taken).values()) == {"held"} and "intake.made_again" in codes(taken)


@pytest.mark.parametrize(
    ("path", "former"),
    [
        ("a/DSC_1_retake.tif", ("a/DSC_1.tif", 2)),
        ("a/DSC_1 (3).TIF", ("a/DSC_1.TIF", 3)),
        ("DSC_1-take4.tif", ("DSC_1.tif", 4)),
        ("DSC_1.tif", None),
        ("a_v2/DSC_1.tif", None),
        ("_v2.tif", None),
        ("DSC_1_v2", None),
    ],
)
def test_the_mark_is_read_at_the_end_of_the_name_alone(path: str, former: Any) -> None:
    assert naming.without_mark(path) == former
