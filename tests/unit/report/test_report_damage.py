"""A damaged part of a record costs that part alone, and the page tells which it is."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from glassine.base import files
from glassine.report import views
from makers import make_results, step_calls


class Morning:
    """A batch written below `root`, one record of it damaged, and its report."""

    def __init__(self, root: Path) -> None:
        self.given = make_results.write_batch(root, pictures=False)
        self.results = root / "results" / make_results.BATCH

    def damage(self, name: str, keys: tuple[str | int, ...], value: Any) -> None:
        path = self.results / name
        record = json.loads(path.read_text("utf-8"))
        part = record
        for key in keys[:-1]:
            part = part[key]
        part[keys[-1]] = value
        files.write_json(path, record)

    def report(self) -> dict[str, Any]:
        """Return the summary; the page itself was made, not the plain text in its place."""
        step_calls.write_report(self.results, self.given)
        assert not (self.results / "report" / "report.txt").exists()
        summary: dict[str, Any] = files.read_json(self.results / "report" / "summary.json")
        return summary


@pytest.fixture
def morning(tmp_path: Path) -> Morning:
    return Morning(tmp_path)


@pytest.mark.parametrize(
    ("keys", "part"),
    [
        (("notes",), "notes"),
        (("other_files",), "other_files"),
        (("targets",), "targets"),
        (("rows", "read"), "rows.read"),
        (("withdraw",), "withdraw"),
        (("title",), "title"),
    ],
)
def test_a_damaged_part_of_intake_is_a_problem_of_the_batch(
    morning: Morning, keys: tuple[str, ...], part: str
) -> None:
    morning.damage("intake.json", keys, 7.5)
    summary = morning.report()
    (problem,) = summary["problems"]
    assert problem["code"] == "report.record"
    assert f"cannot be read at {part}." in problem["what"]
    assert summary["counts"]["total"] == 12


def test_items_that_cannot_be_listed_are_told(morning: Morning) -> None:
    morning.damage("intake.json", ("items",), {"a": 1})
    assert "cannot be read at items." in morning.report()["problems"][0]["what"]


def test_a_damaged_withdrawal_is_told_and_a_sound_one_counts(morning: Morning) -> None:
    sound = {"item": "PEH-0001", "reason": "x", "by": "op-1", "when": "2026-03-18T08:55:00Z"}
    morning.damage("intake.json", ("withdraw",), [{"item": "PEH-0002"}, sound])
    summary = morning.report()
    assert any("withdraw.1" in problem["what"] for problem in summary["problems"])
    assert summary["items"]["PEH-0001"]["delivery"].startswith("withdrawn: x")


def test_a_damaged_title_does_not_hide_that_film_is_nitrate(morning: Morning) -> None:
    """PEH-0003 is nitrate (see the makers); its caution must stand whatever else is damaged."""
    morning.damage("intake.json", ("items", 2, "catalogue", "title"), ["odd"])
    summary = morning.report()
    (finding,) = summary["items"]["PEH-0003"]["findings"]
    assert "intake.json at catalogue.title" in finding["what"]
    page = (morning.results / "report" / "index.html").read_text("utf-8")
    cautions = page[page.index('aria-label="Cautions"') : page.index('id="held"')]
    assert "PEH-0003" in cautions


def test_a_damaged_row_leaves_the_others_to_be_captured(morning: Morning) -> None:
    morning.damage("intake.json", ("rows", "without_master", 0, "title"), 5)
    summary = morning.report()
    assert "cannot be read at rows.without_master.1.title." in summary["problems"][0]["what"]
    page = (morning.results / "report" / "index.html").read_text("utf-8")
    listed = page[page.index('id="next"') : page.index('id="notes"')]
    assert "PEH-9001" in listed and "PEH-9002" in listed


def test_a_row_that_does_not_say_its_item_is_told(morning: Morning) -> None:
    morning.damage("intake.json", ("rows", "without_master", 1), {"title": "Ferry"})
    assert "rows.without_master.2.item." in morning.report()["problems"][0]["what"]


@pytest.mark.parametrize(
    ("record", "keys", "part"),
    [
        ("quality.json", ("frames", 0, "measures", 0, "limit"), "quality.json at frames"),
        ("embedded.json", ("files", 0, "width"), "embedded.json at files"),
        ("embedded.json", ("event",), "embedded.json at event"),
        ("fixity.json", ("masters", 0, "digests"), "fixity.json at masters"),
        ("geometry.json", ("masters", 0, "kind"), "geometry.json at masters"),
        ("render/render.json", ("event",), "render.json at event"),
    ],
)
def test_a_damaged_record_holds_its_item_alone(
    morning: Morning, record: str, keys: tuple[str | int, ...], part: str
) -> None:
    morning.damage(f"items/PEH-0001/{record}", keys, ["odd"])
    summary = morning.report()
    assert summary["items"]["PEH-0001"]["state"] == "held"
    (finding,) = summary["items"]["PEH-0001"]["findings"]
    assert part in finding["what"]
    assert summary["items"]["PEH-0002"]["state"] == "done"


def test_a_damaged_manifest_is_told_and_the_others_are_listed(morning: Morning) -> None:
    for item, text in (("PEH-0001", "{"), ("PEH-0002", "[1]"), ("PEH-0003", '{"id": "x"}')):
        (morning.results / "items" / item / "manifest.json").write_text(text, "utf-8")
    problems = [problem["path"] for problem in morning.report()["problems"]]
    assert sum(path.endswith("PEH-0001/manifest.json") for path in problems) == 1
    assert sum(path.endswith("PEH-0002/manifest.json") for path in problems) == 1
    collection = files.read_json(morning.results / "collection.json")
    assert [entry["id"] for entry in collection["items"]] == ["x"]


def test_a_damaged_record_of_targets_is_told(morning: Morning) -> None:
    morning.damage("intake.json", ("targets",), [{"path": "t.tif"}])
    files.write_json(morning.results / "targets.json", {"holds": [], "targets": [{"target": 1}]})
    assert "targets.json is damaged." in [each["what"] for each in morning.report()["problems"]]


def test_a_view_keeps_what_is_sound_at_every_depth() -> None:
    content = {"item": "a", "catalogue": {"title": 1, "material": "nitrate"}, "masters": 3}
    entry, damaged = views.take(content, views.Entry)
    assert damaged == ["catalogue.title", "masters"]
    assert entry.catalogue is not None
    assert (entry.item, entry.catalogue.material, entry.masters) == ("a", "nitrate", None)
    assert views.take(7, views.Entry) == (views.Entry(), ["(the whole)"])
