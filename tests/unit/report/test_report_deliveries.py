"""What the report and the run's end say of deliveries and of masters: nothing that was not seen."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files, item_states
from glassine.base.errors import Finding, GlassineError
from glassine.deliver import receipt_files
from glassine.deliver import step as delivery
from glassine.report import shown, words
from makers import deliveries, made_items, make_results, step_calls
from makers.step_calls import do_delivery

WHEN = "2026-03-18T08:55:00Z"


@pytest.fixture(autouse=True)
def no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    deliveries.without_records(monkeypatch)


def finished_batch(root: Path, count: int, **own: Any) -> dict[str, Any]:
    """Make a batch as `deliveries.make_batch` does, with records as the report reads them."""
    make = made_items.make_item

    def whole(*given: Any, **more: Any) -> dict[str, Any]:
        made = make(*given, **more)
        folder = made_items.item_dir_of(root, made["item"])
        fixity = files.read_json(folder / "fixity.json")
        fixity["masters"][0]["verdict"] = "match"
        files.write_json(folder / "fixity.json", fixity)
        geometry = files.read_json(folder / "geometry.json")
        geometry["masters"][0] |= {"width": 200, "height": 140}
        corners = [[9.0, 9.0], [190.0, 9.0], [190.0, 130.0], [9.0, 130.0]]
        geometry["masters"][0]["frames"] = [make_results.frame_record(1, corners, True)]
        files.write_json(folder / "geometry.json", geometry)
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(made_items, "make_item", whole)
        return deliveries.make_batch(root, count, **own)


class Morning:
    """A batch of packed items, delivered or not, and its report."""

    def __init__(self, root: Path, count: int = 3, **own: Any) -> None:
        self.root = root
        self.given = finished_batch(root, count, **own)
        self.items = list(self.given["items"])
        self.results = root / "results" / "b1"
        self.withdraw: list[dict[str, Any]] = []
        self.held: dict[str, str] = {}
        self.write_intake()

    def write_intake(self) -> None:
        entries = [make_results.entry(item, 1) for item in self.items]
        made = {
            "batch": "b1",
            "title": "Harbour works",
            "items": entries,
            "notes": [],
            "rows": {},
            "other_files": [],
            "targets": [],
            "withdraw": self.withdraw,
        }
        files.write_json(self.results / "intake.json", made)

    def hold(self, item: str, code: str = "verify.digest") -> None:
        told = Finding(code, f"{item}.tif", "It differs.", "the listed digest.", "Copy it again.")
        path = self.results / "items" / item / "held.json"
        files.write_json(path, {"item": item, "step": "verify", "findings": [told.as_dict()]})

    def deliver(self) -> delivery.Outcome:
        given = self.given | {"items": self.items, "withdraw": self.withdraw}
        return do_delivery(self.root, given)

    def report(self, **more: Any) -> str:
        self.write_intake()
        given = {
            "batch": "b1",
            "settings": {
                "iiif": {"base_url": "https://images.port-ellery.example/iiif"},
                "report": {"viewer": None},
                "delivery": self.given["settings"]["delivery"],
            },
            "institution": made_items.INSTITUTION,
            "deliveries": str(self.root / "deliveries"),
            **more,
        }
        path = step_calls.write_report(self.results, given)
        assert not (self.results / "report" / "report.txt").exists()
        return path.read_text("utf-8")

    @property
    def summary(self) -> dict[str, Any]:
        found: dict[str, Any] = files.read_json(self.results / "report" / "summary.json")
        return found


@pytest.fixture
def morning(tmp_path: Path) -> Morning:
    return Morning(tmp_path)


def head(page: str) -> str:
    return page[page.index("<header") : page.index("</header>")]


def test_nothing_delivered_is_said(morning: Morning) -> None:
    page = morning.report()
    assert "Nothing of this batch has been delivered yet." in head(page)
    assert {each["delivery"] for each in morning.summary["items"].values()} == {"not yet"}


def test_what_is_delivered_as_it_is_is_said_with_its_date(morning: Morning) -> None:
    morning.deliver()
    page = morning.report()
    assert "The last delivery is b1, made on 2026-03-18. Of 3 items: 3 as delivered." in head(page)
    assert "it was read and validated when it was made, not since" in page
    assert {each["delivery"] for each in morning.summary["items"].values()} == {"in b1"}
    assert morning.summary["last_read"]["bags"] == {"b1": "2026-03-18T02:13:20Z"}


def test_what_stays_though_newer_software_is_there_is_said(morning: Morning) -> None:
    morning.deliver()
    assert "newer software" not in head(morning.report())
    page = head(morning.report(kept=[morning.items[0], "PEH-9999"]))
    assert "1 item stays as it was delivered, though newer software would make it" in page
    assert f"(delivery.on_new_version is keep): {morning.items[0]}." in page
    items = morning.summary["items"]
    assert "stays so, though newer software" in items[morning.items[0]]["delivery"]
    assert "newer software" not in items[morning.items[1]]["delivery"]


def test_an_item_that_vanished_after_its_delivery_is_missed(morning: Morning) -> None:
    morning.deliver()
    morning.items = morning.items[:2]
    page = morning.report()
    assert (
        "All 2 items are done; 1 item of earlier deliveries would be dropped (see below)."
        in head(page)
    )
    assert "is missing, not done, or would have less in it than was delivered: PEH-0003." in head(
        page
    )
    assert "delivery.drops" in page
    assert [each["path"] for each in morning.summary["dropped"]] == ["PEH-0003"]
    assert [each["code"] for each in morning.summary["problems"]] == ["delivery.drops"]


def test_an_emptied_batch_is_missed_item_by_item(morning: Morning) -> None:
    morning.deliver()
    morning.items = []
    page = morning.report()
    assert (
        "No items were taken in; 3 items of earlier deliveries would be dropped (see below)."
        in head(page)
    )


def test_a_finding_of_the_night_and_of_the_report_is_shown_once(morning: Morning) -> None:
    morning.deliver()
    morning.items = morning.items[:2]
    with pytest.raises(GlassineError) as caught:
        morning.deliver()
    told = [each.as_dict() for each in caught.value.findings]
    held = {"batch": "b1", "step": "deliver", "time": WHEN, "findings": told}
    files.write_json(morning.results / "held.json", held)
    assert morning.report().count("delivery.drops") == 1


def test_what_was_held_yesterday_is_not_claimed_today(morning: Morning) -> None:
    morning.deliver()
    old = Finding("delivery.drops", "PEH-0003", "b1 has this item.", "all.", "Bring it back.")
    held = {"batch": "b1", "step": "deliver", "time": WHEN, "findings": [old.as_dict()]}
    files.write_json(morning.results / "held.json", held)
    page = morning.report()
    assert "delivery.drops" not in page
    assert morning.summary["problems"] == []


def test_what_else_held_the_batch_is_told_with_its_time(morning: Morning) -> None:
    old = Finding("delivery.space", "deliveries", "The disk is full.", "room.", "Make room.")
    held = {"batch": "b1", "step": "deliver", "time": WHEN, "findings": [old.as_dict()]}
    files.write_json(morning.results / "held.json", held)
    page = morning.report()
    assert "All 3 items are done; but the batch as a whole is held (see below)." in head(page)
    assert "held on 2026-03-18 08:55:00 UTC" in page


def test_an_item_that_changed_or_is_held_since_is_not_said_to_be_delivered(
    morning: Morning,
) -> None:
    morning.deliver()
    deliveries.changed_title(morning.root, "PEH-0001", "The other quay")
    morning.hold("PEH-0002")
    page = morning.report()
    assert "Of 3 items: 2 delivered in an earlier state, 1 as delivered." in head(page)
    assert "A new delivery waits until PEH-0002 is done." in head(page)
    words = {item: each["delivery"] for item, each in morning.summary["items"].items()}
    assert words == {
        "PEH-0001": "an earlier state of it in b1",
        "PEH-0002": "as it was before in b1",
        "PEH-0003": "in b1",
    }


def test_a_withdrawn_item_is_said_with_reason_and_role(morning: Morning) -> None:
    morning.deliver()
    morning.withdraw = [
        {"item": "PEH-0003", "reason": "<b>given</b> back", "by": "op-07", "when": WHEN}
    ]
    morning.items = morning.items[:2]
    morning.deliver()
    page = morning.report()
    assert "Withdrawn, and not in the batch folder any more: PEH-0003." in head(page)
    assert "All 2 items are done." in head(page)
    assert "&lt;b&gt;given&lt;/b&gt; back (op-07" in page
    assert morning.summary["dropped"] == []
    data = page[page.index('id="page-data">') + 15 :]
    assert json.loads(data[: data.index("</script>")])["withdraw"] == morning.withdraw


def test_a_bag_that_is_gone_is_not_said_to_be_there(morning: Morning) -> None:
    morning.deliver()
    shutil.rmtree(morning.root / "deliveries" / "b1")
    page = morning.report()
    assert "Delivered, but no longer here: b1" in head(page)
    assert "no longer here." in page[page.index('id="deliveries"') :]
    assert morning.summary["bags"] == {"b1": {"delivery": "b1", "state": "gone"}}
    assert morning.summary["problems"] == []


def test_a_damaged_bag_and_a_damaged_receipt_are_problems(morning: Morning) -> None:
    morning.deliver()
    (morning.root / "deliveries/b1/tagmanifest-sha256.txt").write_bytes(b"")
    morning.report()
    assert [each["code"] for each in morning.summary["problems"]] == ["delivery.damaged"]
    for path in (receipt_files.receipt_path(morning.root / "deliveries", "b1"),
                 receipt_files.second_copy_path(morning.root / "deliveries", "b1")):  # fmt: skip
        path.write_bytes(b"{")
    page = morning.report()
    (problem,) = morning.summary["problems"]
    assert problem["code"] == "delivery.receipt"
    assert problem["next_step"].startswith("Do not delete it")
    assert "has been delivered yet" not in page


def test_a_damaged_package_is_not_a_vanished_item(morning: Morning) -> None:
    morning.deliver()
    path = morning.results / "items" / "PEH-0002" / "package.json"
    path.write_text('{"item": "PEH-0002"}', "utf-8")
    morning.report()
    assert morning.summary["dropped"] == []
    told = morning.summary["items"]["PEH-0002"]["delivery"]
    assert told == "cannot be told: its package.json is damaged"


# ---- masters: when they were last read ----


def last_read(morning: Morning, **times: str) -> None:
    for item, time in times.items():
        path = morning.results / "items" / item.replace("_", "-") / "fixity.json"
        record = files.read_json(path)
        files.write_json(path, record | {"event": {**record["event"], "time": time}})


def test_agreement_is_dated_and_not_claimed_for_today(morning: Morning) -> None:
    last_read(morning, PEH_0001="2026-03-18T02:00:00Z", PEH_0002="2026-04-02T02:00:00Z",
              PEH_0003="2026-03-20T02:00:00Z")  # fmt: skip
    page = morning.report()
    assert (
        "3 masters agreed with the checksum list when last read (between 2026-03-18 and "
        "2026-04-02)." in head(page)
    )
    assert "agrees" not in page
    found = morning.summary["last_read"]
    assert (found["oldest"], found["newest"]) == ("2026-03-18T02:00:00Z", "2026-04-02T02:00:00Z")
    assert found["items_unread"] == 0
    assert morning.summary["items"]["PEH-0003"]["last_read"] == "2026-03-20T02:00:00Z"


def test_a_master_that_does_not_agree_now_is_not_counted_by_its_old_record(
    morning: Morning,
) -> None:
    morning.hold("PEH-0002")
    page = morning.report()
    assert "2 masters agreed" in head(page)
    assert "1 item does not agree with the checksum list: PEH-0002." in head(page)
    assert morning.summary["items"]["PEH-0002"]["last_read"] is None


def test_masters_that_could_not_be_read_are_not_said_to_agree(morning: Morning) -> None:
    morning.hold("PEH-0002", "verify.unreadable")
    page = morning.report()
    assert "2 masters agreed" in head(page)
    assert "1 not verified, or not with success" in head(page)


def test_the_night_says_how_old_the_oldest_read_is(morning: Morning) -> None:
    last_read(morning, PEH_0001="2026-03-18T02:00:00Z", PEH_0002="2026-04-02T02:00:00Z")
    morning.hold("PEH-0003")
    statuses = item_states.batch_status(morning.results)
    told = item_states.last_read_words(statuses, "2026-11-28T05:00:00Z")
    assert told == (
        "last read and compared 2026-03-18 to 2026-04-02 (the oldest 255 days ago); of 1 items "
        "not yet, or without agreement"
    )


@pytest.mark.parametrize("event", [None, [], {}, {"time": 3}, {"time": "yesterday"}])
def test_a_record_without_a_time_says_nothing_of_when(morning: Morning, event: Any) -> None:
    path = morning.results / "items" / "PEH-0001" / "fixity.json"
    files.write_json(path, files.read_json(path) | {"event": event})
    morning.report()
    assert morning.summary["items"]["PEH-0001"]["last_read"] is None
    assert morning.summary["last_read"]["items_unread"] == 1


def test_a_finding_of_intake_is_told_once_and_as_intakes(tmp_path: Path) -> None:
    told = Finding("catalogue.no_row", "PEH-0001", "No row.", "a row.", "Add it.").as_dict()
    entry = make_results.entry("PEH-0001", 1, "held", findings=[told])
    files.write_json(
        tmp_path / "held.json", {"item": "PEH-0001", "step": "verify", "findings": [told]}
    )
    found = item_states.item_status(entry, tmp_path)
    assert [each.code for each in found.findings] == ["catalogue.no_row"]
    assert found.step == "intake"


@pytest.mark.parametrize(
    ("states", "missing", "troubled", "said"),
    [
        ({"done": 2}, 0, False, "All 2 items are done."),
        ({"done": 1}, 0, True, "The one item is done; but the batch as a whole is held"),
        ({"done": 1, "held": 1}, 0, False, "2 items: 1 done, 1 held."),
        (
            {"done": 2},
            2,
            True,
            "All 2 items are done; 2 items of earlier deliveries would be dropped",
        ),
        ({}, 0, True, "No items were taken in; but the batch as a whole is held"),
    ],
)
def test_the_verdict(states: dict[str, int], missing: int, troubled: bool, said: str) -> None:
    counts = dict.fromkeys(item_states.STATES, 0) | states
    counts["total"] = sum(states.values())
    assert words.verdict(counts, missing, troubled).startswith(said)


def test_safety_says_nothing_of_an_empty_batch() -> None:
    assert words.safety(shown.Batch("b", "b")) == ""
