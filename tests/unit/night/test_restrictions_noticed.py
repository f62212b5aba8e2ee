"""A night tells who may see what: embargoes that end, and what is public beyond what may be."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import msgspec
import pytest

from glassine.base import access, files, item_states, settings
from glassine.base.access import ListedAccess
from glassine.base.records.catalogue import CatalogueRow
from glassine.base.records.receipt import Receipt
from glassine.deliver import public_before
from glassine.night import due, restricted, taken_down
from glassine.report import morning
from glassine.report.shown import Batch
from makers import make_results
from makers.step_calls import write_report
from unit.night.test_plan import INTAKE

TODAY = date(2026, 3, 18)


def listed(
    until: str = "", level: str = "", today: date = TODAY, default: str = "open"
) -> ListedAccess | None:
    stated = {"level": level, "until": until}
    row = msgspec.convert(
        {"item": "PEH-0001", "row": 2, "title": "Quay", "rights": {}, "access": stated},
        CatalogueRow,
    )
    section = access.AccessSection(default=default)  # type: ignore[arg-type]
    return access.listed("PEH-0001", row, access.of_row(row, section, today), today)


@pytest.mark.parametrize(
    ("until", "level", "told"),
    [
        ("", "", None),
        ("", "open", None),
        ("2025-12-31", "", None),  # ended long ago
        ("2026-03-17", "", ("open", "all", "2026-03-17", False)),  # ended yesterday
        ("2026-02-15", "", ("open", "all", "2026-02-15", False)),  # 31 days ago
        ("2026-02-14", "", None),
        ("2026-03-18", "", ("closed until 2026-03-18, then open", "none", "", True)),
        ("2026-04-17", "", ("closed until 2026-04-17, then open", "none", "", True)),
        ("2026-04-18", "", ("closed until 2026-04-18, then open", "none", "", False)),
        ("2026-03-17", "closed", ("closed", "none", "2026-03-17", False)),  # ended, opens nothing
        ("2026-04-01", "closed", ("closed until 2026-04-01, then closed", "none", "", False)),
        ("", "reading_room", ("reading room only", "none", "", False)),
    ],
)
def test_an_embargo_is_told_a_month_before_and_after_its_end(
    until: str, level: str, told: tuple[str, str, str, bool] | None
) -> None:
    found = listed(until, level)
    made = found and (found.words, found.public, found.ended, found.soon)
    assert made == told


def batch(**row: Any) -> due.Batch:
    (first, *others) = INTAKE["items"]
    entry = {**first, "catalogue": {**(first["catalogue"] or {}), **row}}
    return due.Batch({**INTAKE, "items": [entry, *others]}, today=TODAY)


def test_a_night_lists_the_restricted_and_the_withdrawn_alone() -> None:
    config = settings.load({})
    closed = batch(access={"level": "closed"})
    item = next(iter(closed.items))
    assert [each.item for each in due.listed_access(closed, config)] == [item]
    assert due.listed_access(batch(), config) == []
    entry = {"item": "PEH-GONE", "reason": "lent", "by": "op-07", "when": "2026-03-18T08:55:00Z"}
    gone = due.Batch({**INTAKE, "withdraw": [entry]}, today=TODAY)
    (told,) = due.listed_access(gone, config)
    assert (told.item, told.public) == ("PEH-GONE", "none")


class _Known:
    """What stands in for the lookup of a run."""

    def __init__(self, *told: ListedAccess) -> None:
        self.told = [msgspec.to_builtins(each) for each in told]

    def listed_access(self, name: str) -> list[dict[str, Any]]:
        return self.told if name == "b1" else []


def test_the_summary_of_a_run_names_what_ended_and_what_opens() -> None:
    known = _Known(
        ListedAccess(item="A", words="closed", public="none", opens="2026-04-01", soon=True),
        ListedAccess(item="B", words="open", ended="2026-03-17"),
        ListedAccess(item="C", words="reading room only", public="small"),
    )
    before = {"batches": [{"batch": "b1"}, {"batch": "b2"}]}
    first, second = restricted.added(before, known)["batches"]  # type: ignore[arg-type]
    assert first["access"] == {"restricted": 2, "ended": ["B"], "soon": {"A": "2026-04-01"}}
    assert second == {"batch": "b2"}


# What is public in the results


@pytest.mark.parametrize(
    ("made", "allowed", "beyond"),
    [
        (None, "none", True),  # no record: nobody knows
        ("all", "none", True),
        ("all", "small", True),
        ("small", "none", True),
        ("small", "small", False),
        ("none", "none", False),
        ("none", "small", False),
        ("all", "all", False),
    ],
)
def test_an_item_closed_since_its_pictures_were_made_is_found_though_its_steps_failed(
    tmp_path: Path, made: str | None, allowed: access.Public, beyond: bool
) -> None:
    folder = tmp_path / "items" / "PEH-0001"
    folder.mkdir(parents=True)
    if made:
        detail = {} if made == "all" else {"access": {"public": made, "level": "closed"}}
        files.write_json(folder / "embedded.json", embedded(detail))
    told = ListedAccess(item="PEH-0001", words="closed", public=allowed)
    assert taken_down.shown_beyond(tmp_path, [told]) == (["PEH-0001"] if beyond else [])


def embedded(detail: dict[str, Any]) -> dict[str, Any]:
    event = {
        "type": "metadata modification",
        "time": "2026-03-18T08:55:00Z",
        "outcome": "success",
        "detail": detail,
        "software": {},
        "operator": None,
    }
    return {"item": "PEH-0001", "event": event, "files": []}


# What the report of a batch tells


@pytest.fixture(scope="module")
def given(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    root = tmp_path_factory.mktemp("told")
    return root, make_results.write_batch(root, pictures=False)


def test_the_report_and_its_summary_tell_of_each_restricted_item(
    given: tuple[Path, dict[str, Any]],
) -> None:
    root, values = given
    results = root / "results" / values["batch"]
    told = [
        {"item": "PEH-0001", "words": "closed until 2026-04-01, then open", "public": "none",
         "opens": "2026-04-02", "soon": True},
        {"item": "PEH-0002", "words": "open", "ended": "2026-03-10"},
    ]  # fmt: skip
    page = write_report(results, {**values, "access": told}).read_text()
    (section,) = page.split('<section id="access">')[1:]
    section = section.split("</section>")[0]
    assert "closed until 2026-04-01, then open" in section and "2026-04-02, soon" in section
    assert "open; embargo ended with 2026-03-10" in section
    assert "1 item restricted; embargo ended: PEH-0002 (2026-03-10)" in page
    summary = files.read_json(results / "report" / "summary.json")
    assert [each["item"] for each in summary["access"]] == ["PEH-0001", "PEH-0002"]
    before = morning.read_before(results / "report")
    assert before is None or before.restricted == {"PEH-0001"}


def test_what_was_restricted_at_the_last_report_and_is_open_now_is_told() -> None:
    before = morning.Before("2026-03-17T06:00:00Z", {"PEH-0001": "done"}, frozenset({"PEH-0001"}))
    now = Batch("b1", "b1", items=[_Item("PEH-0001")])  # type: ignore[list-item]
    (fact,) = [each for each in morning.of_batch(now, before).facts if each.anchor == "all"]
    assert "restricted before, open now: 1 (PEH-0001)" in fact.text
    now.access = [ListedAccess(item="PEH-0001", words="closed", public="none")]
    (fact,) = [each for each in morning.of_batch(now, before).facts if each.anchor == "all"]
    assert "restricted" not in fact.text


class _Item:
    """An item of which the first screen asks its name and state alone."""

    def __init__(self, item: str) -> None:
        self.item = item
        self.status = item_states.ItemStatus(item=item, state="done")  # type: ignore[call-arg]
        self.masters: list[object] = []


# What an earlier delivery has


class _Entry:
    def __init__(self, item: str) -> None:
        self.item = item


class _Receipt:
    """A receipt of which no list of files is left: then nobody knows what was public."""

    delivery = "b1-r1"
    items = (_Entry("PEH-0001"), _Entry("PEH-0002"))
    handover: tuple[str, ...] = ()
    bags = ()


@pytest.mark.parametrize("public", ["none", "small"])
def test_an_item_closed_now_is_told_with_the_delivery_that_has_it_though_none_follows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, public: access.Public
) -> None:
    monkeypatch.setattr(public_before.drops.Lists, "row", lambda *_: None)
    told = [
        ListedAccess(item="PEH-0001", words="closed", public=public),
        ListedAccess(item="PEH-0002", words="open", ended="2026-03-10"),
        ListedAccess(item="PEH-0003", words="closed", public="none"),
    ]
    receipts: list[Receipt] = [_Receipt()]  # type: ignore[list-item]
    (finding,) = public_before.told_of(tmp_path, told, receipts)
    assert (finding.path, finding.severity) == ("PEH-0001", "review")
    assert "b1-r1" in finding.what
