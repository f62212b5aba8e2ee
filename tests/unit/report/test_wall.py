"""The page for the wall: bounded, whatever the night was; what does not fit is counted."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from glassine import report
from glassine.base import files
from glassine.base.errors import Finding
from glassine.night import notice
from glassine.report import queue, wall
from makers import make_results, step_calls
from makers.large_batch import batch_of


def test_it_is_bounded_however_much_is_held() -> None:
    few, many = (wall.render(batch_of(count, frames=1), None) for count in (300, 600))
    assert abs(len(many) - len(few)) < 50
    assert many.count("<tr>") == wall.HELD_LINES + wall.REVIEW_LINES


def test_what_does_not_fit_is_counted() -> None:
    batch = batch_of(300, frames=1)
    text = wall.render(batch, None)
    assert f"and {60 - wall.HELD_LINES} more held" in text
    assert f"and {len(queue.groups(batch)) - wall.REVIEW_LINES} more reasons" in text


def test_what_can_hurt_a_person_stands_on_it() -> None:
    batch = batch_of(5, frames=1)
    batch.without_master = []
    for item in batch.items:
        item.material = "polyester"
    assert "Caution" not in wall.render(batch, None)
    batch.items[2].material = "nitrate"
    assert "Caution, 1 item on cellulose nitrate." in (text := wall.render(batch, None))
    assert "local fire code" in text


def test_all_counts_stand_on_it() -> None:
    text = wall.render(batch_of(300, frames=1), None)
    told = re.findall(r"<li><b>(\d+)</b> ([a-z ]+)</li>", text)
    assert told == [
        ("180", "done"), ("60", "review"), ("60", "held"), ("0", "waiting"), ("0", "pending"),
        ("300", "in all"),
    ]  # fmt: skip


def test_a_long_or_hostile_text_is_cut_and_escaped() -> None:
    batch = batch_of(5, frames=1)
    batch.title = "<script>" + "x" * 5000
    batch.problems = [Finding("x.y", "night", "w" * 5000, "a list.", "Correct it." * 500)]
    text = wall.render(batch, None)
    assert "<script>" not in text
    assert len(text) < 6000


def test_a_held_item_of_several_findings_says_so() -> None:
    batch = batch_of(5, frames=1)
    batch.items[4].status.findings.append(Finding("x.y", "p", "More.", "None.", "Look."))
    assert wall.held_lines(batch).lines[0][1].endswith("(and 1 more)")


def test_a_night_that_could_not_be_taken_in_leaves_no_earlier_page_for_the_wall(
    tmp_path: Path,
) -> None:
    found = Finding("catalogue.none", "b1", "There is no catalogue.", "one.", "Add it.")
    for page in ("index.html", "wall.html"):
        files.write_text(tmp_path / "report" / page, "<p>12 done</p>")
    notice.write(tmp_path, [found])
    text = (tmp_path / "report" / "wall.html").read_text("utf-8")
    assert "There is no catalogue." in text and "12 done" not in text


def test_a_report_that_cannot_be_made_leaves_no_earlier_page_for_the_wall(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = make_results.write_batch(tmp_path, 5, pictures=False)
    earlier = tmp_path / "results" / make_results.BATCH / "report" / "wall.html"
    files.write_text(earlier, "<p>12 done</p>")
    monkeypatch.delattr(report.page, "render")
    page = step_calls.write_report(earlier.parents[1], given)
    assert "could not be made" in page.read_text("utf-8")
    assert not earlier.exists()
