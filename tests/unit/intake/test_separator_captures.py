"""A sleeve with a code before its captures: each capture has the right item, or is held."""

import numpy as np
import pytest
import yaml

from glassine.base import settings
from makers import session
from makers.step_calls import taken_in

WAYS = {"identify": ["name", "catalogue", "separator"]}


class Studio:
    """A batch folder into which captures come one after another, under a camera's names."""

    def __init__(self, folder, rows=("PEH-0001", "PEH-0002", "PEH-0003", "PEH-0004")):
        self.folder, self.number = folder, 0
        folder.mkdir()
        lines = "".join(f"{row},Quay\n" for row in rows)
        (folder / "catalogue.csv").write_text("item_id,title\n" + lines)

    def put(self, picture, *, timed=True, name=None):
        self.number += 1
        second = 20 * self.number if timed else None
        named = name or f"DSC {self.number:04d}.tif"
        return session.write(self.folder / named, picture, second).name

    def sleeve(self, item, **options):
        return self.put(session.sleeve(item, seed=self.number, **options))

    def film(self, count, **options):
        return [self.put(session.film(self.number), **options) for _ in range(count)]

    def take(self, **changes):
        naming = {**WAYS, **changes.pop("naming", {})}
        config = settings.load({"intake": {"watch_s": 0}, "naming": naming, **changes})
        self.result = taken_in(self.folder, {"batch": "b", "settings": config})
        return self.result

    def owners(self):
        return {
            master["path"]: item["item"]
            for item in self.result["items"]
            for master in item["masters"]
        }

    def held(self):
        return {
            master["path"]
            for item in self.result["items"]
            if item["state"] == "held"
            for master in item["masters"]
        }

    def words(self, path):
        return " ".join(
            finding["what"]
            for item in self.result["items"]
            for finding in item["findings"]
            if finding["path"] == path
        )


@pytest.fixture
def studio(tmp_path):
    return Studio(tmp_path / "b")


def test_captures_belong_to_the_separator_before_them_in_their_order(studio):
    one = studio.sleeve("PEH-0001", form="code39", degrees=33)
    first = studio.film(3)
    two = studio.sleeve("PEH-0002", form="qr", degrees=101)
    second = studio.film(2)
    items = {item["item"]: item for item in studio.take()["items"]}
    assert studio.owners() == {
        one: "PEH-0001",
        **dict.fromkeys(first, "PEH-0001"),
        two: "PEH-0002",
        **dict.fromkeys(second, "PEH-0002"),
    }
    masters = items["PEH-0001"]["masters"]
    assert [master["path"] for master in masters] == [*first, one]
    assert [master.get("part") for master in masters] == [None, None, None, "sleeve"]
    assert [master["sequence"] for master in masters] == ["01", "02", "03", None]
    assert {item["state"] for item in items.values()} == {"ready"}
    assert masters[0]["identified"] == {"by": "separator", "detail": one}
    assert masters[-1]["identified"] == {"by": "label", "detail": "PEH-0001"}


def test_the_captures_of_a_separator_that_cannot_be_read_never_slide_to_the_item_before(studio):
    studio.sleeve("PEH-0001")
    first = studio.film(3)
    unread = studio.sleeve("PEH-0002", readable=False)
    lost = studio.film(3)
    studio.sleeve("PEH-0003")
    last = studio.film(2)
    studio.take()
    owners = studio.owners()
    assert {owners[path] for path in first} == {"PEH-0001"}
    assert {owners[path] for path in last} == {"PEH-0003"}
    assert {unread, *lost} <= studio.held()
    for path in (unread, *lost):
        assert "PEH-0001" in studio.words(path)
        assert "PEH-0003" in studio.words(path)


def test_an_item_of_the_catalogue_that_was_not_seen_between_two_makes_the_first_uncertain(studio):
    studio.sleeve("PEH-0001")
    film = studio.film(4)  # the sleeve of PEH-0002 was never captured
    studio.sleeve("PEH-0003")
    last = studio.film(2)
    studio.take()
    assert set(film) <= studio.held()
    assert "PEH-0002" in studio.words(film[0])
    assert {studio.owners()[path] for path in last} == {"PEH-0003"}


def test_captures_before_the_first_separator_are_held_with_the_next_item_named(studio):
    early = studio.film(2)
    studio.sleeve("PEH-0001")
    studio.film(2)
    studio.take()
    assert set(early) <= studio.held()
    assert "PEH-0001" in studio.words(early[0])


def test_a_code_that_names_no_item_opens_nothing_and_ends_the_item_before(studio):
    studio.sleeve("PEH-0001")
    studio.film(2)
    strange = studio.sleeve("Lamp 7")
    after = studio.film(2)
    studio.take()
    assert {strange, *after} <= studio.held()


def test_names_and_times_that_contradict_each_other_hold_what_they_decide(studio):
    studio.sleeve("PEH-0001")
    studio.film(2)
    studio.sleeve("PEH-0002")
    studio.film(2)
    # By its name it belongs to the first, by its time to the second.
    odd = session.write(studio.folder / "DSC 0002b.tif", session.film(50), 20 * 5 + 5).name
    moved = studio.folder / "DSC 0003.tif"
    session.write(moved, session.film(51), 20 * 6 + 5)
    studio.take()
    assert moved.name in studio.held()
    assert odd in studio.held() or studio.owners()[odd] == "PEH-0002"


def test_a_counter_that_begins_anew_is_no_contradiction(tmp_path):
    studio = Studio(tmp_path / "b")
    for second, (name, picture) in enumerate(
        [
            ("DSC 9998.tif", session.sleeve("PEH-0001", seed=1)),
            ("DSC 9999.tif", session.film(1)),
            ("DSC 0001.tif", session.film(2)),
            ("DSC 0002.tif", session.sleeve("PEH-0002", seed=2)),
            ("DSC 0003.tif", session.film(3)),
        ]
    ):
        session.write(studio.folder / name, picture, 20 * second)
    studio.take()
    owners = studio.owners()
    assert owners["DSC 0001.tif"] == "PEH-0001"
    assert owners["DSC 0003.tif"] == "PEH-0002"


def test_a_named_master_between_the_captures_ends_the_item_before(studio):
    studio.sleeve("PEH-0001")
    studio.film(2)
    studio.put(session.sleeve("Nothing", seed=9), name="PEH-0002_sleeve.tif")
    after = studio.film(2)
    studio.take()
    assert set(after) <= studio.held()


def test_two_folders_are_two_sessions(studio):
    studio.sleeve("PEH-0001")
    studio.film(2)
    other = studio.put(session.film(70), name="day2/DSC 0100.tif")
    studio.take()
    assert f"day2/{other}" in studio.held()


def test_a_person_opens_an_item_with_a_separator_that_cannot_be_read(studio):
    studio.sleeve("PEH-0001")
    studio.film(2)
    unread = studio.sleeve("PEH-0002", readable=False)
    film = studio.film(2)
    decided = {"item": "PEH-0002", "identity": {"master": unread, "item": "PEH-0002"}}
    for part in ({}, {"part": "sleeve"}):
        decided["identity"] |= part
        text = yaml.safe_dump({"corrections": [decided]})
        (studio.folder / "corrections.yaml").write_text(text)
        studio.take()
        owners = studio.owners()
        assert {owners[path] for path in (unread, *film)} == {"PEH-0002"}
        parts = {
            master["path"]: master["part"]
            for item in studio.result["items"]
            for master in item["masters"]
        }
        assert parts[unread] == "sleeve"
        assert not set(film) & studio.held()


def test_the_picture_of_a_separator_is_left_out_where_the_settings_say_so(studio):
    one = studio.sleeve("PEH-0001")
    film = studio.film(2)
    studio.take(naming={"separators": {"picture": "leave_out"}})
    (item,) = studio.result["items"]
    assert [master["path"] for master in item["masters"]] == film
    assert [left["path"] for left in item["left_out"]] == [one]


def test_a_sleeve_is_not_delivered_as_the_picture_of_its_item_where_separators_are_not_known(
    studio,
):
    studio.sleeve("PEH-0001")
    film = studio.film(2)
    studio.take(naming={"identify": ["name", "catalogue", "label"]})
    items = {item["item"]: item for item in studio.result["items"]}
    assert items["PEH-0001"]["state"] == "held"
    assert "separator" in str(items["PEH-0001"]["findings"])
    assert set(film) <= studio.held()


def test_a_sleeve_with_a_second_side_and_film_with_the_code_beside_it_are_told_apart(studio):
    front = studio.sleeve("PEH-0001")
    back = studio.sleeve("PEH-0001")
    film = studio.film(3)
    beside = session.film(5).copy()
    label = session.code("PEH-0001", "qr", 2)
    beside[5 : 5 + label.shape[0], 5 : 5 + label.shape[1]] = label[..., None]
    labelled = studio.put(beside)
    studio.take()
    (item,) = [each for each in studio.result["items"] if each["item"] == "PEH-0001"]
    parts = {master["path"]: master["part"] for master in item["masters"]}
    assert parts[front] == parts[back] == "sleeve"
    assert {parts[path] for path in film} == {None}
    assert parts.get(labelled) is None


def test_an_item_that_goes_on_in_another_folder_is_numbered_on(studio):
    studio.sleeve("PEH-0001")
    first = studio.film(2)
    studio.put(session.sleeve("PEH-0001", seed=77), name="day2/DSC 0100.tif")
    studio.put(session.film(78), name="day2/DSC 0101.tif")
    studio.take()
    (item,) = studio.result["items"]
    numbers = {master["path"]: master["sequence"] for master in item["masters"]}
    assert [numbers[path] for path in first] == ["01", "02"]
    assert numbers["day2/DSC 0101.tif"] == "03"
    assert item["state"] == "ready"
    assert "captured 2 times" in str(item["findings"])


def brown(picture):
    """Return a sleeve of another paper with its label torn off."""
    torn = picture.copy()
    torn[60:-60, 90:-90] = torn[40, 60]
    return (torn * np.array([0.75, 0.6, 0.42])).astype(np.uint8)


def test_two_sleeves_of_another_paper_without_a_label_are_no_captures_of_the_item_before(studio):
    studio.sleeve("PEH-0001")
    studio.film(8)
    unread = studio.put(brown(session.sleeve("PEH-0002", seed=5)))
    lost = studio.film(3)
    studio.sleeve("PEH-0003")
    studio.film(4)
    again = studio.put(brown(session.sleeve("PEH-0004", seed=6)))
    lost += studio.film(3)
    studio.take(catalogue={"required": False})
    assert {unread, again, *lost} <= studio.held()


def test_a_single_sleeve_of_another_paper_among_few_captures_is_told(studio):
    studio.sleeve("PEH-0001")
    film = studio.film(2)
    unread = studio.put(brown(session.sleeve("PEH-0002", seed=5)))
    lost = studio.film(1)
    studio.take()
    assert {unread, *lost} <= studio.held()
    assert {studio.owners()[path] for path in film} == {"PEH-0001"}


@pytest.mark.parametrize("before", [0, 2])
def test_film_with_the_code_of_another_item_is_not_taken_for_its_separator_unasked(studio, before):
    studio.sleeve("PEH-0001")
    studio.film(before)
    beside = session.film(5).copy()
    label = session.code("PEH-0002", "qr", 2)
    beside[5 : 5 + label.shape[0], 5 : 5 + label.shape[1]] = label[..., None]
    labelled = studio.put(beside)
    studio.film(3)
    studio.sleeve("PEH-0003")
    studio.film(3)
    items = {item["item"]: item for item in studio.take()["items"]}
    assert "looks like film" in studio.words(labelled)
    asked = items["PEH-0002"]["findings"]
    assert [each["severity"] for each in asked if each["path"] == labelled] == ["review"]
    for item in ("PEH-0001", "PEH-0003"):
        assert not any("looks like film" in each["what"] for each in items[item]["findings"])
