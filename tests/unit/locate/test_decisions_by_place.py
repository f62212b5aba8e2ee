"""A decision of a person falls on the picture that they saw, whatever number it has later.

Each test is some nights over one item: what the finder finds changes from night to night, or the
master is captured again, while corrections.yaml stays as a person wrote it.
"""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import pytest

from glassine.base import corrections, item_states
from glassine.base.errors import GlassineError
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.records.given import StatedMaster
from glassine.locate import stated, step
from glassine.locate.given import LocateGiven

PATH = "PEH-0001.tif"
WIDTH, HEIGHT = 1000, 300
A, B, C, D = 20.0, 260.0, 500.0, 740.0  # left edges of four pictures on a strip
FIRST, SECOND = "a" * 64, "b" * 64  # digests of two captures


def at(left: float, width: float = 220.0) -> list[list[float]]:
    return [[left, 40.0], [left + width, 40.0], [left + width, 260.0], [left, 260.0]]


def frames(*lefts: float, **values: Any) -> tuple[Frame, ...]:
    kept = {"confidence": 0.9, "state": "ok"} | values
    return tuple(
        Frame(n, tuple(map(tuple, at(left))), 0.0, "negative", "monochrome", **kept)
        for n, left in enumerate(lefts, 1)
    )


class Item:
    """One item, night after night."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder = folder
        self.monkeypatch = monkeypatch

    def night(
        self,
        found: tuple[Frame, ...],
        *entries: dict[str, Any],
        sha256: str | None = FIRST,
        size: tuple[int, int] = (WIDTH, HEIGHT),
    ) -> dict[int, dict[str, Any]]:
        """Return {number: frame} of geometry.json after a night that finds `found`."""
        geometry = MasterGeometry(PATH, *size, None, None, found)
        one = stated.Located(None, Facts(), 1, True, geometry)
        located = (one, SimpleNamespace(describe={}))
        self.monkeypatch.setattr(step, "_locate_master", lambda *_: located)
        if sha256:
            fixity = {"masters": [{"path": PATH, "digests": {"sha256": sha256}}]}
            (self.folder / "fixity.json").write_text(json.dumps(fixity))
        said = None
        if entries:
            whole = {"corrections": [{"item": "PEH-0001", "by": "op-07", "frames": list(entries)}]}
            checked = corrections.check(whole, "test").corrections
            said = msgspec.to_builtins(next(iter(checked.values())))
        given = LocateGiven(
            item="PEH-0001",
            masters=(msgspec.convert({"path": PATH}, StatedMaster),),
            facts=Facts(),
            corrections=said,
        )
        step.locate_item(self.folder, self.folder, given)
        return {frame["index"]: frame for frame in self.record()["frames"]}

    def record(self) -> dict[str, Any]:
        read = json.loads((self.folder / "geometry.json").read_text("utf-8"))
        master: dict[str, Any] = read["masters"][0]
        return master


@pytest.fixture
def item(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Item:
    return Item(tmp_path, monkeypatch)


def excluded(found: dict[int, dict[str, Any]]) -> list[int]:
    return [n for n, frame in found.items() if frame["excluded"]]


def words(found: dict[int, dict[str, Any]], number: int) -> str:
    return " ".join(found[number]["reasons"])


OUT = {"frame": 2, "exclude": True}


def test_a_frame_left_out_stays_the_one_left_out_when_frames_are_numbered_anew(item: Item) -> None:
    assert excluded(item.night(frames(B, C), OUT)) == [2]
    for _ in range(3):  # for good, not for one night
        found = item.night(frames(A, B, C), OUT)
        assert excluded(found) == [3]
        assert "frame 2" in " ".join(item.record()["notes"])
    assert found[2]["source"] == "measured"


def test_a_decision_taken_on_last_nights_report_is_about_last_nights_frames(item: Item) -> None:
    item.night(frames(B, C))
    assert excluded(item.night(frames(A, B, C), OUT)) == [3]


def test_what_the_entry_itself_says_was_seen_holds_without_any_record(item: Item) -> None:
    assert excluded(item.night(frames(A, B, C), OUT | {"seen": {"corners": at(C)}})) == [3]


def test_without_a_record_the_number_counts(item: Item) -> None:
    found = item.night(frames(A, B, C), OUT)
    assert excluded(found) == [2]
    assert {frame["state"] for frame in found.values()} == {"ok"}
    assert not item.record()["notes"]


def test_nothing_changes_where_nothing_changed(item: Item) -> None:
    item.night(frames(A, B), OUT, {"frame": 1, "accept": True})
    before = item.record()
    item.night(frames(A, B), OUT, {"frame": 1, "accept": True})
    assert item.record() == before


@pytest.mark.parametrize(
    "entry",
    [
        {"exclude": True},
        {"accept": True},
        {"rotate": 90},
        {"blank": True},
        {"polarity": "positive"},
        {"mirror": True, "process": "colour"},
    ],
)
def test_a_decision_whose_frame_is_gone_is_held_back_in_words(
    item: Item, entry: dict[str, Any]
) -> None:
    entry = {"frame": 2, **entry}
    item.night(frames(A, B), entry)
    for _ in range(2):
        found = item.night(frames(A, C, D), entry)
        assert {frame["source"] for frame in found.values()} == {"measured"}
        for number in found:
            assert found[number]["state"] == "review"
            assert "frame 2" in words(found, number)
            assert next(key for key in entry if key != "frame") in words(found, number)


def test_two_frames_where_one_was_seen_hold_the_decision_back(item: Item) -> None:
    wide = frames(A)
    item.night(wide, {"frame": 1, "accept": True})
    found = item.night(frames(A, A + 30), {"frame": 1, "accept": True})
    assert {frame["state"] for frame in found.values()} == {"review"}


def test_a_decision_taken_anew_counts_again(item: Item) -> None:
    item.night(frames(A, B), OUT)
    item.night(frames(A, C), OUT)
    again = OUT | {"seen": {"corners": at(C), "sha256": FIRST}}
    for _ in range(2):
        found = item.night(frames(A, C), again)
        assert excluded(found) == [2]
        assert {frame["state"] for frame in found.values()} == {"ok"}


def test_an_entry_changed_by_hand_is_about_the_report_as_it_was_then(item: Item) -> None:
    item.night(frames(A, B), OUT)
    item.night(frames(A, C, D), OUT)
    assert excluded(item.night(frames(A, C, D), {"frame": 3, "exclude": True})) == [3]


def test_a_frame_accepted_asks_again_when_it_lies_otherwise(item: Item) -> None:
    accept = {"frame": 1, "accept": True}
    unsure = {"confidence": 0.4, "state": "review"}
    assert item.night(frames(A, B, **unsure), accept)[1]["state"] == "ok"
    found = item.night(frames(A + 1, B, **unsure), accept)
    assert found[1]["state"] == "ok"  # within a hundredth of the diagonal
    found = item.night(frames(A + 40, B, **unsure), accept)
    assert found[1]["state"] == "review"
    assert "other corners" in words(found, 1)


def test_a_frame_accepted_asks_again_when_it_would_be_inverted_otherwise(item: Item) -> None:
    accept = {"frame": 1, "accept": True}
    item.night(frames(A), accept)
    one = frames(A)[0]
    positive = Frame(1, one.corners, 0.0, "positive", "monochrome", confidence=0.9, state="ok")
    found = item.night((positive,), accept)
    assert found[1]["state"] == "review"
    assert "polarity negative, is positive now" in words(found, 1)
    stated_too = accept | {"polarity": "positive", "seen": {"corners": at(A)}}
    assert item.night((positive,), stated_too)[1]["state"] == "ok"


def test_an_acceptance_that_was_held_back_accepts_no_measure(item: Item) -> None:
    """Measures outside their limits, and doubts about the tone, are accepted by number too."""
    accept = {"frame": 1, "accept": True}
    entry = {"corrections": {"frames": [accept]}}

    def accepted() -> list[Any]:
        return item_states.accepted(entry, json.loads((item.folder / "geometry.json").read_text()))

    item.night(frames(B), accept)
    assert [(each["master"], each["frame"]) for each in accepted()] == [(PATH, 1)]
    item.night(frames(A, B), accept)
    assert [(each["master"], each["frame"]) for each in accepted()] == [(PATH, 2)]
    item.night(frames(A), accept)
    assert accepted() == []
    assert item_states.accepted(entry, {}) == [accept]  # a record of an earlier version


@pytest.mark.parametrize(
    "entry", [OUT, {"frame": 2, "accept": True}, {"frame": 2, "corners": at(B + 10)}]
)
def test_no_decision_is_carried_to_another_capture(item: Item, entry: dict[str, Any]) -> None:
    item.night(frames(A, B), entry)
    for _ in range(2):
        found = item.night(frames(A, B), entry, sha256=SECOND)
        assert {frame["source"] for frame in found.values()} == {"measured"}
        assert {frame["state"] for frame in found.values()} == {"review"}
        assert "captured again" in words(found, 2)
    assert item.night(frames(A, B), entry)[2]["source"] == "correction"  # the old one is back


def test_what_the_review_page_saw_is_known_of_another_capture_too(item: Item) -> None:
    seen = {"corners": at(B), "sha256": FIRST}
    found = item.night(frames(A, B), OUT | {"seen": seen}, sha256=SECOND)
    assert excluded(found) == []
    assert "captured again" in words(found, 2)


def test_another_size_is_another_capture_where_no_digest_is_known(item: Item) -> None:
    item.night(frames(A, B), OUT, sha256=None)
    found = item.night(frames(A, B), OUT, sha256=None, size=(WIDTH + 8, HEIGHT))
    assert excluded(found) == []


def test_a_frame_drawn_anew_keeps_its_place_and_takes_no_other_pictures_number(item: Item) -> None:
    drawn = {"frame": 2, "corners": at(C + 8)}
    item.night(frames(B, C), drawn)
    found = item.night(frames(A, B, C), drawn)
    assert [found[n]["corners"][0][0] for n in (1, 2, 3)] == [A, B, C + 8]
    assert found[2]["source"] == "measured"


def test_a_frame_added_where_it_is_found_now_takes_no_other_pictures_number(item: Item) -> None:
    """Three were found and the second was not: its number was 4, which the last has now."""
    drawn = {"frame": 4, "corners": at(B + 5)}
    item.night(frames(A, C, D), drawn)
    found = item.night(frames(A, B, C, D), drawn)
    assert [found[n]["corners"][0][0] for n in (1, 2, 3, 4)] == [A, B + 5, C, D]


def test_a_frame_added_that_is_found_too_now_is_not_there_twice_in_silence(item: Item) -> None:
    drawn = {"frame": 4, "corners": at(B + 5)}
    item.night(frames(A, C, D), drawn)
    found = item.night(frames(A, B, C), drawn)
    assert found[4]["state"] == "review"
    assert "frame 2" in words(found, 4)
    assert item.night(frames(A, B, C), drawn, OUT)[4]["state"] == "ok"


def test_a_frame_added_whose_number_another_picture_has_now_is_kept_beside_it(item: Item) -> None:
    drawn = {"frame": 2, "corners": at(D)}
    item.night(frames(A), drawn)
    for _ in range(2):
        found = item.night(frames(A, C), drawn)
        assert [found[n]["corners"][0][0] for n in (1, 2, 3)] == [A, C, D]
        assert found[3]["state"] == "review"
        assert "number 2" in words(found, 3)


def test_corners_far_from_what_was_found_replace_it_night_after_night(item: Item) -> None:
    drawn = {"frame": 2, "corners": at(D)}
    for _ in range(3):
        found = item.night(frames(A, C), drawn)
        assert [found[n]["corners"][0][0] for n in (1, 2)] == [A, D]
        assert found[2]["state"] == "ok"


def test_two_decisions_never_fall_on_one_frame(item: Item) -> None:
    one = {"frame": 1, "exclude": True, "seen": {"corners": at(B)}}
    found = item.night(frames(A, B), one, {"frame": 2, "accept": True})
    assert {frame["source"] for frame in found.values()} == {"measured"}
    assert {frame["state"] for frame in found.values()} == {"review"}


def test_decisions_on_a_master_on_which_nothing_is_found_now_hold_the_item(item: Item) -> None:
    item.night(frames(A), {"frame": 1, "accept": True})
    with pytest.raises(GlassineError) as caught:
        item.night((), {"frame": 1, "accept": True})
    assert caught.value.findings[0].code == "locate.correction"


def test_crossed_corners_in_what_was_seen_apply_to_nothing_else(item: Item) -> None:
    seen = {"corners": [[0, 0], [9, 9], [9, 0], [0, 9]]}
    found = item.night(frames(A, B), OUT | {"seen": seen})
    assert excluded(found) == []
    assert {frame["state"] for frame in found.values()} == {"review"}


def test_a_record_of_the_version_before_tells_where_frames_lay(item: Item) -> None:
    item.night(frames(B, C), OUT)
    path = item.folder / "geometry.json"
    record = json.loads(path.read_text("utf-8"))
    for key in ("decisions", "digests"):
        del record["event"]["detail"][key]
    path.write_text(json.dumps(record))
    assert excluded(item.night(frames(A, B, C), OUT)) == [3]
