"""Dates: cataloguers' words to EDTF, syntax, bounds."""

from __future__ import annotations

import csv
import json
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base import edtf as dates
from glassine.base.settings import PROJECT
from glassine.intake import date_words

CATALOGUE = PROJECT.parent / "shared" / "catalogue"

# What cataloguers write, and the EDTF value it stands for. The values follow the EDTF
# specification (Library of Congress, 2019); the readings of the words are common practice, no
# source, except: [193-] and [19--] are AACR2 1.4F7 (value from memory), "1954 June 12" is DACS
# 2.4 (value from memory).
UNDERSTOOD = {
    # years and doubts
    "1905": "1905",
    "1905.": "1905",
    "[1905]": "1905",
    "1905?": "1905?",
    "[1905?]": "1905?",
    "1905 (?)": "1905?",
    "?1905": "1905?",
    "probably 1905": "1905?",
    "1905, probably": "1905?",
    "possibly 1905": "1905?",
    "c. 1905": "1905~",
    "c.1905": "1905~",
    "c1905": "1905~",
    "ca. 1905": "1905~",
    "ca 1905": "1905~",
    "Circa 1905": "1905~",
    "[ca. 1905]": "1905~",
    "ca. [1905]": "1905~",
    "about 1905": "1905~",
    "around 1905": "1905~",
    "approximately 1905": "1905~",
    "approx. 1905": "1905~",
    "1905 (approx.)": "1905~",
    "1905 or so": "1905~",
    "c. 1905?": "1905%",
    "perhaps c. 1905": "1905%",
    "probably ca. 1905": "1905%",
    "taken in 1905": "1905",
    "early 1905": "1905",
    "mid-1905": "1905",
    # decades and centuries
    "1930s": "193X",
    "1930's": "193X",
    "the 1930s": "193X",
    "[193-]": "193X",
    "[193-?]": "1930?/1939?",
    "[19--]": "19XX",
    "c. 1930s": "1930~/1939~",
    "1930s?": "1930?/1939?",
    "early 1930s": "1930~/1934~",
    "mid-1930s": "1933~/1937~",
    "late 1930s": "1935~/1939~",
    "early to mid-1930s": "1930~/1937~",
    "1920s-1930s": "1920/1939",
    "1920s–30s": "1920/1939",
    "1920-30s": "1920/1939",
    "late 1930s-early 1940s": "1935~/1944~",
    "1930s or 1940s": "1930/1949",
    "1890s-1900s": "1890/1909",
    "1900s": "19XX",
    "19th century": "18XX",
    "nineteenth century": "18XX",
    "19th c.": "18XX",
    "late 19th century": "1867~/1899~",
    "mid-20th c.": "1934~/1966~",
    "late 19th to early 20th century": "1867~/1933~",
    "late 19th c.-early 20th c.": "1867~/1933~",
    "18th-19th century": "1700/1899",
    "first half of the 20th century": "1900~/1949~",
    "last quarter of 19th century": "1875~/1899~",
    # ranges of years
    "1890-1910": "1890/1910",
    "1890 - 1910": "1890/1910",
    "1890–1910": "1890/1910",
    "1890 to 1910": "1890/1910",
    "from 1890 to 1910": "1890/1910",
    "between 1890 and 1910": "1890/1910",
    "[between 1890 and 1910?]": "1890?/1910?",
    "between c. 1890 and 1910": "1890~/1910~",
    "c. 1890-1910": "1890~/1910~",
    "c. 1890 - c.1910": "1890~/1910~",
    "1890-c. 1910": "1890/1910~",
    "1890-1910?": "1890?/1910?",
    "1890?-1910": "1890?/1910",
    "1890-95": "1890/1895",
    "1890/95": "1890/1895",
    "1906-7": "1906/1907",
    "1906–07": "1906/1907",
    "c. 1959-60": "1959~/1960~",
    "1906 or 1907": "[1906,1907]",
    "c. 1906 or 1907": "[1906~,1907~]",
    "1921 or 22": "[1921,1922]",
    "1906 and 1907": "{1906,1907}",
    "1906, 1907 and 1909": "1906/1909",
    # open ends
    "before 1920": "../1920",
    "pre-1920": "../1920",
    "prior to 1920": "../1920",
    "by 1920": "../1920",
    "no later than 1920": "../1920",
    "1920 or earlier": "../1920",
    "before c. 1920": "../1920~",
    "before June 1920": "../1920-06",
    "in or before 1920": "../1920",
    "after 1896": "1896/..",
    "post-1896": "1896/..",
    "no earlier than 1898": "1898/..",
    "not before 1898": "1898/..",
    "1900 or later": "1900/..",
    "from 1900 onwards": "1900/..",
    "since 1900": "1900/..",
    "probably before 1920": "../1920?",
    "perhaps after 1920": "1920?/..",
    "after 1890 and before 1910": "1890/1910",
    # without a date
    "n.d.": "XXXX",
    "[n.d.]": "XXXX",
    "undated": "XXXX",
    "no date": "XXXX",
    "date unknown": "XXXX",
    "undated [c. 1921]": "1921~",
    # months
    "May 1921": "1921-05",
    "May, 1921": "1921-05",
    "Sept. 1921": "1921-09",
    "September1921": "1921-09",
    "1954 June": "1954-06",
    "5/1921": "1921-05",
    "early May 1921": "1921-05",
    "c. May 1921": "1921-05~",
    "May-June 1921": "1921-05/1921-06",
    "May/June 1921": "1921-05/1921-06",
    "May or June 1921": "[1921-05,1921-06]",
    "Dec. 1920-Jan. 1921": "1920-12/1921-01",
    "May 1921 to June 1923": "1921-05/1923-06",
    "1958-03": "1958-03",
    # days
    "4 May 1921": "1921-05-04",
    "4th of May 1921": "1921-05-04",
    "4. May 1921": "1921-05-04",
    "May 4, 1921": "1921-05-04",
    "May 4th, 1921": "1921-05-04",
    "May 4,1921": "1921-05-04",
    "Wednesday, May 4, 1921": "1921-05-04",
    "1954 June 12": "1954-06-12",
    "1921-05-04": "1921-05-04",
    "1921/05/04": "1921-05-04",
    "1921-05-04 00:00:00": "1921-05-04",
    "1921-05-04T00:00:00": "1921-05-04",
    "1921.0": "1921",
    "05/25/1921": "1921-05-25",
    "25.05.1921": "1921-05-25",
    "5/5/1921": "1921-05-05",
    "May 4, 1921?": "1921-05-04?",
    "on or about May 4, 1921": "1921-05-04~",
    "May 4-6, 1921": "1921-05-04/1921-05-06",
    "4-6 May 1921": "1921-05-04/1921-05-06",
    "May 4 - June 6, 1921": "1921-05-04/1921-06-06",
    "4 May 1921 - 6 June 1922": "1921-05-04/1922-06-06",
    "1954 June 12-14": "1954-06-12/1954-06-14",
    "May 4 or 5, 1921": "[1921-05-04,1921-05-05]",
    "October 3, 4, 1950": "1950-10-03/1950-10-04",
    "June 5, 6, and 7, 1959": "1959-06-05/1959-06-07",
    # seasons
    "summer 1921": "1921-22",
    "Fall, 1921": "1921-23",
    "spring-summer 1921": "1921-21/1921-22",
    "winter 1921-22": "1921/1922",
    # of a later print
    "1912, printed 1977": "1912",
    "c. 1934, printed c. 1990": "1934~",
    "1912 (negative), printed 1977": "1912",
    "1912 (negative); 1977 (print)": "1912",
    "negative 1912, print 1977": "1912",
    "1926 negative, 1960s print": "1926",
    "1926, modern print": "1926",
    "1852-1854, printed c. 1855": "1852/1854",
    # EDTF already
    "1905~": "1905~",
    "193X": "193X",
    "../1920": "../1920",
    "[1906,1907]": "[1906,1907]",
}
# Not understood: two readings, no date, an impossible one, or words that are none of ours.
NOT_UNDERSTOOD = (
    "",
    "?",
    "'21",
    "21",
    "May '21",
    "05/06/21",
    "05/06/1921",
    "5.6.1921",
    "04-05-1921",
    "1905-06",
    "1905-06?",
    "1898-02",
    "c. 1909-10",
    "1910-1890",
    "May 6-4, 1921",
    "31 June 1921",
    "Feb 29, 1921",
    "1921-13-45",
    "Friday, May 4, 1921",  # it was a Wednesday
    "0921",
    "1231",
    "2112",
    "12345",
    "from 1900",
    "1921-",
    "1921-present",
    "1921 BC",
    "198?",
    "Easter 1921",
    "World War II",
    "turn of the century",
    "1921-05-04 10:30",
    "1906 [1907]",
    "1906, not 1907",
    "1906 i.e. 1907",
    "printed 1977",
    "1912 print",  # of an older photograph, perhaps
    "1950, 1970 print",
    "posthumous reprint",
    "published 1921",
    "copyright 1921",
    "1921-22 season",
    "Box 1921",
    "1921\x00",
    "x" * 100_000,
)


@pytest.mark.parametrize(("words", "edtf"), UNDERSTOOD.items())
def test_words_that_are_understood(words, edtf):
    assert date_words.to_edtf(words) == edtf


@pytest.mark.parametrize("words", NOT_UNDERSTOOD, ids=lambda words: words[:30])
def test_words_that_are_not_understood(words):
    assert date_words.to_edtf(words) is None


def test_the_table_has_at_least_120_rows():
    assert len(UNDERSTOOD) >= 120


@pytest.mark.parametrize("edtf", sorted(set(UNDERSTOOD.values())))
def test_every_mapped_value_is_edtf_to_the_library(edtf):
    assert dates.library_judges(edtf)


# Examples of the EDTF specification itself (Library of Congress, 2019), by level.
SPECIFICATION = (
    *("1985-04-12", "1985-04", "1985", "1985-04-12T23:20:30Z", "1985-04-12T23:20:30-04"),
    *("1964/2008", "2004-06/2006-08", "2004-02-01/2005-02-08", "2005/2006-02"),
    *("Y170000002", "Y-170000002", "2001-21", "1984?", "2004-06~", "2004-06-11%"),
    *("201X", "20XX", "2004-XX", "1985-04-XX", "1985-XX-XX"),
    *("1985-04-12/..", "1985/..", "../1985-04", "../1985", "1985/", "/1985", "-1985"),
    *("Y-17E7", "1950S2", "2001-34", "[1667,1668,1670..1672]", "[..1760-12-03]", "[1760-12..]"),
    *("{1667,1668,1670..1672}", "{1960,1961-12}", "{..1984}"),
    *("2004-06-11%", "2004-06~-11", "2004?-06-11", "?2004-06-~11", "2004-%06-11"),
    *("156X-12-25", "15XX-12-25", "XXXX-12-XX", "1XXX-XX", "1XXX-12", "1984-1X"),
    *("2004-06-~01/2004-06-~20", "2004-06-XX/2004-07-03"),
)


@pytest.mark.parametrize("edtf", SPECIFICATION)
def test_examples_of_the_specification_are_valid(edtf):
    assert dates.is_valid(edtf)


@pytest.mark.parametrize(
    "text",
    ("", "1905/", "c. 1905", "1905-13", "1905-02-30", "1905-00", "1905/1904", "05-1905", " 1905"),
)
def test_what_is_no_edtf_is_refused(text):
    assert dates.is_valid(text) is (text == "1905/")  # an unknown end is EDTF level 1


def test_syntax_is_judged_as_the_library_does():
    path = CATALOGUE / "edtf_cases.json"
    if not path.exists():
        pytest.skip(f"{path} is not there")
    cases = json.loads(path.read_text("utf-8"))
    wrong = [
        text
        for kind, texts in cases.items()
        for text in texts
        if dates.is_valid(text) is kind.startswith("invalid")
    ]
    assert wrong == []


def _day(text: str) -> date | None:
    return date.fromisoformat(text) if text else None


def test_real_dates_stay_within_the_bounds_their_cataloguers_gave():
    path = CATALOGUE / "catalogue_sample_200.csv"
    if not path.exists():
        pytest.skip(f"{path} is not there")
    with path.open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    understood = 0
    for row in rows:
        earliest, latest = _day(row["earliest"]), _day(row["latest"])
        edtf = date_words.to_edtf(row["creation_date"], earliest, latest)
        if edtf is None:
            continue
        understood += 1
        first, last = dates.bounds(edtf)
        assert earliest is None or last.year >= earliest.year, row["creation_date"]
        assert latest is None or first.year <= latest.year, row["creation_date"]
    assert understood / len(rows) >= 0.9


def test_a_date_that_contradicts_the_catalogues_bounds_is_not_used():
    assert date_words.to_edtf("June 4-6, 1969", date(1959, 6, 4), date(1959, 6, 6)) is None
    assert date_words.to_edtf("June 4-6, 1959", date(1959, 6, 4), date(1959, 6, 6)) is not None


@pytest.mark.parametrize(
    ("edtf", "first", "last"),
    (
        ("1905", date(1905, 1, 1), date(1905, 12, 31)),
        ("1905~", date(1905, 1, 1), date(1905, 12, 31)),
        ("1904-02", date(1904, 2, 1), date(1904, 2, 29)),
        ("193X", date(1930, 1, 1), date(1939, 12, 31)),
        ("18XX", date(1800, 1, 1), date(1899, 12, 31)),
        ("1890/1895-03", date(1890, 1, 1), date(1895, 3, 31)),
        ("../1920", date.min, date(1920, 12, 31)),
        ("1896/..", date(1896, 1, 1), date.max),
        ("XXXX", date.min, date.max),
        ("[1906,1909]", date(1906, 1, 1), date(1909, 12, 31)),
        ("1921-22", date(1921, 1, 1), date(1921, 12, 31)),
        ("1984-1X", date(1984, 10, 1), date(1984, 12, 31)),
    ),
)
def test_bounds(edtf, first, last):
    assert dates.bounds(edtf) == (first, last)


@pytest.mark.parametrize("text", ("", "c. 1905", "1910/1890", "1905-02-30", "[]", "1905/1906/1907"))
def test_what_has_no_bounds(text):
    assert dates.bounds(text) is None


@pytest.mark.parametrize(
    ("edtf", "moment"),
    (
        ("1906-05-01", "1906-05-01T00:00:00Z"),
        ("1906-05", "1906-05-01T00:00:00Z"),
        ("1906", "1906-01-01T00:00:00Z"),
        ("1906~", None),
        ("1906/1907", None),
        ("193X", None),
        ("1906-21", None),
        ("XXXX", None),
        (None, None),
    ),
)
def test_a_viewers_time_line_gets_exact_dates_only(edtf, moment):
    assert dates.nav_date(edtf) == moment


_PIECES = (
    *("1905", "1890s", "'21", "12", "4", "31", "May", "Feb.", "summer", "19th", "century"),
    *("c. ", "ca. ", "?", "probably ", "before ", "after ", "between ", " and ", " or ", "early "),
    *("-", " - ", "–", "/", ", ", " ", "[", "]", "(", ")", "..", "X", "~", "n.d.", ", printed "),
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.sampled_from(_PIECES), max_size=8).map("".join))
def test_any_text_gives_valid_edtf_or_none(text):
    edtf = date_words.to_edtf(text)
    assert edtf is None or (dates.library_judges(edtf) and dates.bounds(edtf))


@settings(max_examples=200, deadline=None)
@given(st.dates(date(1300, 1, 1), date(2099, 12, 31)), st.sampled_from(("%d %B %Y", "%B %d, %Y")))
def test_a_day_written_out_is_that_day(day, form):
    written = day.strftime(form)
    assert date_words.to_edtf(written) == day.isoformat()


_POINT = st.dates(date(1300, 1, 1), date(2099, 12, 31)).flatmap(
    lambda day: st.sampled_from((day.isoformat(), day.isoformat()[:7], day.isoformat()[:4]))
)


@settings(max_examples=60, deadline=None)
@given(_POINT, _POINT, st.sampled_from(("", "?", "~", "%")))
def test_the_quick_judgement_agrees_with_the_library(left, right, mark):
    for text in (left + mark, f"{left}{mark}/{right}", f"../{left}", f"{left}/.."):
        assert dates.is_valid(text) == dates.library_judges(text)


def test_paths_of_optional_data_stay_outside_the_project():
    assert not CATALOGUE.is_relative_to(Path(PROJECT))
