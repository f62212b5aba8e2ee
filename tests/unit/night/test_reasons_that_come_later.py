"""A reason that came up after a person accepted the frames asks again; one they were told does not."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, item_states
from glassine.base.item_states import ItemStatus

MASTER = "PEH-0001.tif"
NOTICE = "Its header has a copyright notice."
TWICE = item_states.Reason("Its number came twice.").key
KEY = item_states.Reason(NOTICE).key
SOFT = {"name": "sampling_used", "unit": "", "limit": ">= 0.9", "verdict": "review"}
BANDED = {"name": "banding", "value": 3.0, "unit": "", "limit": "<= 1", "verdict": "fail"}


def status(
    root: Path,
    told: list[str] | None,
    *,
    notes: list[str] = (),  # type: ignore[assignment]
    measures: list[dict[str, Any]] = (),  # type: ignore[assignment]
    found: str = "",
) -> ItemStatus:
    """Return how an item stands whose two frames were accepted. told: what the person was told,
    None where nothing says it; notes: of the master; measures: of frame 1; found: by intake."""
    frames = [{"index": number, "state": "ok", "reasons": [], "corners": []} for number in (1, 2)]
    decisions = [{"frame": each, "master": MASTER, "on": each, "as_seen": True} for each in (1, 2)]
    located = {"path": MASTER, "frames": frames}
    detail = {"decisions": decisions}
    files.write_json(root / "geometry.json", {"event": {"detail": detail}, "masters": [located]})
    listed = [{"severity": "review", "what": text} for text in notes]
    verified = {"path": MASTER, "notes": listed, "header": {}}
    files.write_json(root / "fixity.json", {"masters": [verified]})
    measured = {"master": MASTER, "index": 1, "verdict": "pass", "measures": [*measures]}
    files.write_json(root / "quality.json", {"frames": [measured]})
    files.write_json(root / "package.json", {})
    seen = {} if told is None else {"seen": {"reasons": told}}
    decided = [{"frame": each, "master": MASTER, "accept": True, **seen} for each in (1, 2)]
    asked = [{"severity": "review", "what": found}] if found else []
    entry = {"item": "PEH-0001", "corrections": {"frames": decided}, "findings": asked}
    return item_states.item_status(entry, root)


def open_reasons(state: ItemStatus) -> list[str]:
    return [reason.text for reason in state.awaits_person(failed_too=True)]


def test_what_a_person_was_told_of_a_master_asks_no_more(tmp_path: Path) -> None:
    assert open_reasons(status(tmp_path, [KEY], notes=[NOTICE])) == []


def test_what_is_said_of_a_master_since_asks_again(tmp_path: Path) -> None:
    state = status(tmp_path, [KEY], notes=[NOTICE, "It ends in black."])
    assert open_reasons(state) == ["It ends in black."]


def test_what_is_said_of_the_item_since_asks_again(tmp_path: Path) -> None:
    assert open_reasons(status(tmp_path, [KEY], found="Its number came twice.")) == [
        "Its number came twice."
    ]


def test_a_measure_that_asks_since_asks_again(tmp_path: Path) -> None:
    """The frame was accepted for another reason: it is for review, not done."""
    state = status(tmp_path, [KEY], measures=[BANDED])
    assert state.state == "review"
    assert len(open_reasons(state)) == 1


def test_other_figures_are_no_other_reason(tmp_path: Path) -> None:
    before = status(tmp_path, None, measures=[{**SOFT, "value": 0.58}])
    told = before.told_with(MASTER, 1)
    assert len(told) == 1
    after = status(tmp_path, told, measures=[{**SOFT, "value": 0.5712}])
    assert (after.state, open_reasons(after)) == ("done", [])


def test_a_decision_that_does_not_say_what_was_told_holds_for_all(tmp_path: Path) -> None:
    """As one by hand, or of an earlier version."""
    state = status(tmp_path, None, notes=[NOTICE], measures=[BANDED])
    assert open_reasons(state) == []


@pytest.mark.parametrize("frame", [1, 2])
def test_a_person_is_told_what_is_the_frames_own_its_masters_or_the_items(
    frame: int, tmp_path: Path
) -> None:
    """Of what they accepted before too: who decides anew does not open it again."""
    state = status(
        tmp_path, None, notes=[NOTICE], measures=[BANDED], found="Its number came twice."
    )
    told = state.told_with(MASTER, frame)
    assert {KEY, TWICE} <= {*told}
    assert len(told) == (3 if frame == 1 else 2)
    assert state.told_with("another.tif", 1) == [TWICE]
