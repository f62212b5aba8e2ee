"""The list to print for the table, and the figures of what was expected in summary.json."""

import json
import re

import pytest

from makers import make_results
from makers.step_calls import write_report

HOSTILE = "<script>alert(1)</script>\u202e{{ 7919 * 7919 }}"


@pytest.fixture
def night(tmp_path):
    given = make_results.write_batch(tmp_path, 12, pictures=False)
    return tmp_path, given


def results_of(root):
    return next((root / "results").iterdir())


def report(night, **expected):
    root, given = night
    results = results_of(root)
    path = results / "intake.json"
    intake = json.loads(path.read_text())
    if expected:
        intake["expected"] = {
            "sources": ["pull-list.csv"], "count": 14, "missing": [], "surplus": [], "double": [],
            "unread": [], "shelf_marks": {}, **expected,
        }  # fmt: skip
    path.write_text(json.dumps(intake))
    write_report(results, given)
    summary = json.loads((results / "report" / "summary.json").read_text())
    return (results / "report" / "recapture.html").read_text(), summary


def test_missing_items_come_first_then_those_held_for_their_capture(night):
    missing = [{"item": "PEH-0801", "shelf_mark": "Box 7", "title": "Mole"}]
    page, summary = report(night, missing=missing, shelf_marks={"PEH-0009": "Box 3"})
    rows = re.findall(r'<tr><th scope="row">(.*?)</th><td>(.*?)</td>', page)
    assert rows[0] == ("PEH-0801", "Box 7")
    assert ("PEH-0009", "Box 3") in rows
    assert "Its SHA-256 is not the listed one." in page
    assert summary["expected"]["missing"] == missing
    assert (summary["expected"]["count"], summary["expected"]["captured"]) == (14, 13)


def test_what_was_not_read_is_told_so_that_nothing_passes_for_complete(night):
    page, _ = report(night, unread=["pull-list.csv"])
    assert "more may be missing: pull-list.csv" in page


def test_without_any_list_the_page_says_that_nothing_is_expected(night):
    page, summary = report(night)
    assert "Nothing says which items are expected" in page
    assert summary["expected"] is None


def test_text_from_outside_stays_text(night):
    missing = [{"item": HOSTILE, "shelf_mark": HOSTILE, "title": HOSTILE}]
    page, _ = report(night, missing=missing, surplus=[HOSTILE], double=[HOSTILE])
    assert "<script>" not in page
    assert "\u202e" not in page
    assert str(7919 * 7919) not in page
