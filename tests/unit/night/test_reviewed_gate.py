"""`delivery.when: reviewed`: items for review leave only when a person has accepted them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, item_states
from glassine.base.errors import GlassineError
from glassine.night import delivery_items
from makers import deliveries, redelivered
from makers.step_calls import do_delivery

MASTER = "PEH-0001.tif"
FAIL = {"name": "sampling_used", "value": 0.4, "unit": "", "limit": ">= 0.9", "verdict": "fail"}


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def frame(index: int, state: str = "ok") -> dict[str, Any]:
    return {"index": index, "state": state, "reasons": [], "corners": []}


def item(
    results: Path,
    name: str = "PEH-0001",
    *,
    frames: list[dict[str, Any]],
    accepted: list[int] = (),
    as_seen: bool = True,
    note: str = "",
    measures: dict[int, dict[str, Any]] | None = None,
) -> dict[str, Any]:
    """Write the records of a finished item; return its entry of intake.json.

    accepted: frames that a person accepted. note: of its master, for review. measures: {frame: one
    that did not pass}.
    """
    folder = results / "items" / name
    decisions = [
        {"frame": each, "master": MASTER, "on": each, "as_seen": as_seen} for each in accepted
    ]
    files.write_json(
        folder / "geometry.json",
        {
            "event": {"detail": {"decisions": decisions}},
            "masters": [{"path": MASTER, "frames": frames}],
        },
    )
    notes = [{"severity": "review", "what": note}] if note else []
    files.write_json(
        folder / "fixity.json", {"masters": [{"path": MASTER, "notes": notes, "header": {}}]}
    )
    listed = [
        {"master": MASTER, "index": index, "verdict": each["verdict"], "measures": [each]}
        for index, each in (measures or {}).items()
    ]
    files.write_json(folder / "quality.json", {"frames": listed})
    files.write_json(folder / "package.json", {})
    decided = [{"frame": each, "master": MASTER, "accept": True} for each in accepted]
    return {"item": name, "state": "ready", "corrections": {"frames": decided}}


def split(results: Path, *entries: dict[str, Any], **section: str) -> tuple[list[str], list[str]]:
    """Return the items that are delivered, and those that stay behind."""
    files.write_json(results / "intake.json", {"items": list(entries)})
    given = {"settings": {"delivery": {"when": "reviewed", **section}}}
    states = delivery_items.with_states(given, results)
    return states["items"], [each["item"] for each in states["lacking"]]


def test_what_asks_for_no_look_leaves(tmp_path: Path) -> None:
    assert split(tmp_path, item(tmp_path, frames=[frame(1)])) == (["PEH-0001"], [])


def test_a_frame_for_review_keeps_its_item_back_and_by_no_other_setting(tmp_path: Path) -> None:
    entry = item(tmp_path, frames=[frame(1), frame(2, "review")])
    assert split(tmp_path, entry) == ([], ["PEH-0001"])
    assert split(tmp_path, entry, when="passed") == (["PEH-0001"], [])
    assert split(tmp_path, entry, when="complete") == (["PEH-0001"], [])


@pytest.mark.parametrize(
    ("accepted", "as_seen", "leaves"),
    [([1, 2], True, True), ([1], True, False), ([1, 2], False, False), ([], True, False)],
)
def test_what_is_said_of_a_master_is_accepted_with_all_of_its_frames(
    accepted: list[int], as_seen: bool, leaves: bool, tmp_path: Path
) -> None:
    entry = item(
        tmp_path,
        frames=[frame(1), frame(2), {**frame(3), "excluded": True}],
        accepted=accepted,
        as_seen=as_seen,
        note="Its header has a copyright notice.",
    )
    assert (split(tmp_path, entry)[0] == ["PEH-0001"]) is leaves


def test_a_master_without_frames_is_accepted_by_nobody(tmp_path: Path) -> None:
    assert split(tmp_path, item(tmp_path, frames=[])) == ([], ["PEH-0001"])


def test_failed_quality_waits_for_a_person_unless_set_otherwise(tmp_path: Path) -> None:
    failed = item(tmp_path, frames=[frame(1)], measures={1: FAIL})
    assert split(tmp_path, failed) == ([], ["PEH-0001"])
    assert split(tmp_path, failed, quality_fail="deliver") == (["PEH-0001"], [])
    # Another reason beside it still waits.
    poor = {**FAIL, "verdict": "review"}
    for entry in (
        item(tmp_path, frames=[frame(1)], measures={1: poor}),
        item(tmp_path, frames=[frame(1, "review")], measures={1: FAIL}),
    ):
        assert split(tmp_path, entry, quality_fail="deliver") == ([], ["PEH-0001"])
    seen = item(tmp_path, frames=[frame(1)], measures={1: FAIL}, accepted=[1])
    assert split(tmp_path, seen) == (["PEH-0001"], [])


def test_a_damaged_record_shows_nobody_s_acceptance(tmp_path: Path) -> None:
    entry = item(tmp_path, frames=[frame(1)], accepted=[1], note="Look at it.")
    path = tmp_path / "items/PEH-0001/geometry.json"
    files.write_json(path, {"event": {"detail": {"decisions": "none"}}, "masters": []})
    status = item_states.item_status(entry, tmp_path / "items/PEH-0001")
    assert status.state in ("review", "held")
    assert split(tmp_path, entry)[0] == []


BEHIND = {
    "item": "PEH-0002",
    "state": "review",
    "findings": [
        {
            "code": "delivery.unreviewed",
            "path": "PEH-0002",
            "what": "No person has accepted it yet. The left edge was not seen.",
            "expected": "an item that a person has accepted.",
            "next_step": "Look at it.",
            "severity": "review",
        }
    ],
}


def test_what_stays_behind_is_named_with_its_reason_and_follows_once_accepted(
    tmp_path: Path,
) -> None:
    given = redelivered.make_batch(tmp_path, 2, when="reviewed")
    outcome = do_delivery(tmp_path, given | {"items": ["PEH-0001"], "lacking": [BEHIND]})
    assert outcome.lacking == ("PEH-0002",)
    (note,) = outcome.notes
    assert (note.code, "PEH-0002" in note.what) == ("delivery.left_behind", True)
    made = tmp_path / "deliveries/b1"
    assert not (made / "data/PEH-0002").exists()
    (lacking,) = files.read_json(made / "delivery/delivery.json")["lacking"]
    assert (lacking["item"], lacking["state"]) == ("PEH-0002", "review")
    assert "The left edge was not seen." in lacking["reason"]
    outcome = do_delivery(tmp_path, given)
    assert (outcome.delivery, outcome.lacking, outcome.notes) == ("b1.r2", (), ())


def test_where_nobody_has_accepted_anything_that_is_said(tmp_path: Path) -> None:
    given = deliveries.given_of(["PEH-0001"], when="reviewed")
    with pytest.raises(GlassineError) as caught:
        do_delivery(tmp_path, given | {"items": [], "lacking": [BEHIND]})
    (finding,) = caught.value.findings
    assert (finding.code, "PEH-0002" in finding.what) == ("delivery.unseen", True)


def test_a_delivered_item_that_is_for_review_now_is_not_dropped(tmp_path: Path) -> None:
    given = redelivered.make_batch(tmp_path, 2, when="reviewed")
    do_delivery(tmp_path, given)
    with pytest.raises(GlassineError) as caught:
        do_delivery(tmp_path, given | {"items": ["PEH-0001"], "lacking": [BEHIND]})
    (finding,) = caught.value.findings
    assert (finding.code, "for review" in finding.what) == ("delivery.drops", True)
    given["settings"]["delivery"]["later"] = "changed"
    outcome = do_delivery(tmp_path, given | {"items": ["PEH-0001"], "lacking": [BEHIND]})
    assert (outcome.delivery, outcome.lacking) == ("b1", ("PEH-0002",))
