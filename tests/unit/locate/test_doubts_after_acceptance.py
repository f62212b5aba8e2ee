"""What locate doubts of an accepted frame later: it stays accepted where it is as it was seen, and
the record says what came up."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, item_states
from unit.locate.test_decisions_by_place import A, B, Item, at, frames

DOUBT, OTHER = "Its left side is weak at 3 px.", "Its right side was not seen."
KEY = item_states.Reason(DOUBT).key


@pytest.fixture
def item(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Item:
    return Item(tmp_path, monkeypatch)


def accepted(told: list[str] | None) -> dict[str, Any]:
    known = {} if told is None else {"reasons": told}
    looks = {"polarity": "negative", "process": "monochrome", "blank": False}
    return {"frame": 1, "accept": True, "seen": {"corners": at(A), **looks, **known}}


def doubted(left: float, *reasons: str) -> Any:
    return frames(left, state="review", reasons=reasons)


def notes(item: Item) -> str:
    return " ".join(files.read_json(item.folder / "geometry.json")["masters"][0]["notes"])


def test_a_doubt_that_came_later_is_said_and_asks_nothing(item: Item) -> None:
    frame = item.night(doubted(A, DOUBT, OTHER), accepted([KEY]))[1]
    assert frame["state"] == "ok"
    assert OTHER in notes(item)
    assert DOUBT not in notes(item)
    assert frame["measured"]["reasons"] == [DOUBT, OTHER]


@pytest.mark.parametrize("told", [None, [KEY]])
def test_one_they_were_told_or_may_have_been_is_not_said_again(
    told: list[str] | None, item: Item
) -> None:
    later = DOUBT.replace("3", "4")
    assert item.night(doubted(A, later), accepted(told))[1]["state"] == "ok"
    assert later not in notes(item)


def test_another_outline_asks_again(item: Item) -> None:
    frame = item.night(doubted(A + 30, OTHER), accepted([KEY]))[1]
    assert frame["state"] == "review"
    assert "other corners" in " ".join(frame["reasons"])


def test_another_polarity_asks_again(item: Item) -> None:
    seen = accepted([KEY])
    seen["seen"]["polarity"] = "positive"
    assert item.night(doubted(A, OTHER), seen)[1]["state"] == "review"


def test_another_frame_of_the_master_keeps_its_own_doubts(item: Item) -> None:
    found = frames(A, B, state="review", reasons=(OTHER,))
    by_number = item.night(found, accepted([KEY]))
    assert (by_number[1]["state"], by_number[2]["state"]) == ("ok", "review")
