"""Date words, EDTF and bounds of a row brought together; nothing beyond the bounds."""

from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from glassine.base import edtf as dates
from glassine.intake.catalogue import dates as catalogue_dates
from glassine.intake.catalogue.dates import Stated
from makers.step_calls import read_rows


def row(tmp_path, **cells: str):
    path = tmp_path / "catalogue.csv"
    names = ["item_id", "title", *cells]
    values = ["PEH-1", "Quay", *cells.values()]
    path.write_text(",".join(names) + "\n" + ",".join(f'"{value}"' for value in values) + "\n")
    return read_rows(path, {"catalogue": {}})


@pytest.mark.parametrize(
    ("earliest", "latest", "edtf"),
    [  # EDTF specification of the Library of Congress, level 0 and 1: intervals, open ends
        ("1890", "1910", "1890/1910"),
        ("1890-05", "1910", "1890-05/1910"),
        ("1890", "1910-02", "1890/1910-02"),
        ("1890-05-01", "1890-05-03", "1890-05-01/1890-05-03"),
        ("1890-05-01T00:00:00", "1890-05-03 00:00:00", "1890-05-01/1890-05-03"),
        ("1890-05", "1890", "1890-05-01/1890-12-31"),
        ("1890", "1890", "1890"),
        ("1890-05-01", "1890-05-01", "1890-05-01"),
        ("1890", "", "1890/.."),
        ("", "1910-02", "../1910-02"),
        ("", "", None),
    ],
)
@pytest.mark.parametrize("words", ["", "n.d.", "05/06/21"])
def test_bounds_stand_in_for_words_that_say_nothing(tmp_path, earliest, latest, edtf, words):
    found = row(tmp_path, date=words, date_earliest=earliest, date_latest=latest)
    record = found.records["PEH-1"]
    assert record["date_text"] == words
    assert record["edtf"] == (edtf or ("XXXX" if words == "n.d." else None))
    if words == "05/06/21":
        assert [each.code for each in found.findings] == ["catalogue.date"]
        assert record["date_understood"] is False
    else:
        assert found.findings == [] and record["date_understood"] is True


@pytest.mark.parametrize("words", ["", "c. 1905"])
def test_an_earliest_date_after_the_latest_is_told(tmp_path, words):
    found = row(tmp_path, date=words, date_earliest="1910", date_latest="1890-12")
    assert found.records["PEH-1"]["edtf"] == ("1905~" if words else None)
    (told,) = found.findings
    assert (told.code, told.severity) == ("catalogue.bounds", "review")
    assert "'1910'" in told.what and "'1890-12'" in told.what


@pytest.mark.parametrize(
    "bound", ["c. 1905", "1905-13", "1905-02-30", "05", "9999", "0000", "1/2/05"]
)
def test_a_bound_that_is_none_is_told_and_not_used(tmp_path, bound):
    found = row(tmp_path, date_earliest="1900", date_latest=bound)
    assert found.records["PEH-1"]["edtf"] == "1900/.."
    (told,) = found.findings
    assert told.code == "catalogue.bounds" and "'date_latest'" in told.what


def test_month_bounds_are_held_against_the_words(tmp_path):
    found = row(tmp_path, date="June 1969", date_earliest="1959-01", date_latest="1959-12")
    assert found.records["PEH-1"]["edtf"] is None
    assert [each.code for each in found.findings] == ["catalogue.date"]


@pytest.mark.parametrize(
    "cells",
    [
        {"date": "c. 1905", "date_edtf": "1950"},
        {"date_edtf": "1950", "date_earliest": "1890", "date_latest": "1910"},
        {"date_edtf": "1950", "date_latest": "1910"},
    ],
)
def test_two_dates_that_contradict_each_other_are_told(tmp_path, cells):
    found = row(tmp_path, **cells)
    assert [each.code for each in found.findings] == ["catalogue.date_contradicts"]
    assert found.records["PEH-1"]["edtf"] == "1950"


def test_two_dates_that_agree_are_not_told(tmp_path):
    assert row(tmp_path, date="c. 1905", date_edtf="1905~", date_earliest="1900").findings == []


_BOUNDS = st.one_of(
    st.dates(min_value=datetime.date(1300, 1, 1), max_value=datetime.date(2099, 12, 31)).flatmap(
        lambda day: st.sampled_from([day.isoformat()[:4], day.isoformat()[:7], day.isoformat()])
    ),
    st.just(""),
)


@hypothesis_settings(max_examples=300, deadline=None)
@given(_BOUNDS, _BOUNDS, st.sampled_from(["", "n.d.", "some time ago"]))
def test_the_interval_reaches_exactly_as_far_as_the_bounds(earliest, latest, words):
    found = catalogue_dates.dated(Stated(words, "", earliest, latest))
    codes = [problem.code for problem in found.problems]
    if "bounds" in codes:
        assert dates.bounds(earliest)[0] > dates.bounds(latest)[1]
        return
    if not earliest and not latest:
        assert found.edtf in (None, "XXXX")
        return
    assert dates.library_judges(found.edtf)
    first, last = dates.bounds(found.edtf)
    if earliest:
        assert first == dates.bounds(earliest)[0]
    if latest:
        assert last == dates.bounds(latest)[1]
    assert ("date" in codes) is (words == "some time ago")
