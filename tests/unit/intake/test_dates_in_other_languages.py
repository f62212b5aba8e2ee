"""Dates in words of twelve languages, and what of them stays for a person."""

from __future__ import annotations

import csv
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.base import edtf
from glassine.intake import date_languages
from glassine.intake.date_words import AS_ANY, Reading, read, to_edtf

# Real and made dates with bounds, beside a checkout.
SAMPLES = Path(__file__).parents[4] / "shared" / "catalogue" / "dates"

# Written from the grammar of each language; what they mean: common practice, no source.
KNOWN = [
    ("de", "um 1937", "1937~"),
    ("de", "12. Mai 1937", "1937-05-12"),
    ("de", "12.V.1937", "1937-05-12"),
    ("de", "vor 1910", "../1910"),
    ("de", "zwischen 1890 und 1910", "1890/1910"),
    ("de", "1. Hälfte 20. Jh.", "1900~/1949~"),
    ("de", "o. J.", "XXXX"),
    ("de", "bis 1910", "../1910"),
    ("de", "1890 bis 1910", "1890/1910"),
    ("fr", "vers 1925", "1925~"),
    ("fr", "1er mai 1906", "1906-05-01"),
    ("fr", "4e quart du 19e siècle", "1875~/1899~"),
    ("fr", "1780 entre,1800 et", "1780/1800"),
    ("fr", "1992 acquis", "../1992"),
    ("nl", "tussen 1890 en 1910", "1890/1910"),
    ("nl", "19e eeuw", "18XX"),
    ("it", "dal 1920 al 1930", "1920/1930"),
    ("it", "dal 1920", "1920/.."),
    ("it", "XX secolo, prima metà", "1900~/1949~"),
    ("it", "anni '20 del Novecento", "192X"),
    ("es", "10-12 de junio de 1927", "1927-06-10/1927-06-12"),
    ("es", "siglo XIX", "18XX"),
    ("pt", "até 1920", "../1920"),
    ("pt", "anos vinte do século XX", "192X"),
    ("sv", "1800-talet", "18XX"),
    ("sv", "12/5 1937", "1937-05-12"),
    ("da", "1890'erne", "189X"),
    ("no", "1890-årene", "189X"),
    ("fi", "toukokuun 1945 jälkeen", "1945-05/.."),
    ("fi", "vuoteen 1933 asti", "../1933"),
    ("pl", "przed 1939", "../1939"),
    ("pl", "przełom XIX i XX w.", "1890~/1910~"),
    ("pl", "do 1910", "../1910"),
    ("cs", "od roku 1905 do roku 1910", "1905/1910"),
    ("cs", "počátek 30. let 20. století", "1930~/1934~"),
]


@pytest.mark.parametrize(("code", "words", "expected"), KNOWN)
def test_words_of_a_language_are_understood(code, words, expected):
    assert read(words, Reading((code,))) == expected


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("de", "Neujahr 1912"),
        ("de", "nach einer Vorlage von 1850"),
        ("de", "1912 (Nachdruck des Plans von 1850)"),
        ("fr", "1861 acquis, avant (?)"),
        ("fr", "25 mai 1852 - 26 avril 1852"),
        ("it", "XXX"),
        ("pl", "lata XIX"),
        ("sv", "1785 delvis"),
        ("es", "año del cometa"),
    ],
)
def test_what_is_not_understood_whole_stays_for_a_person(code, words):
    assert read(words, Reading((code,))) is None


def test_figures_that_leave_day_and_month_open_are_read_as_the_settings_say():
    assert read("11/4/2005") is None
    assert read("11/4/2005", Reading(day_first=True)) == "2005-04-11"
    assert read("11/4/2005", Reading(day_first=False)) == "2005-11-04"


def test_dots_mean_that_the_day_comes_first_in_a_language_that_is_named():
    assert read("5.6.1921") is None
    assert read("5.6.1921", Reading(("de",))) == "1921-06-05"
    assert read("5.6.1921", Reading(("fr",))) is None


def test_a_month_above_twelve_is_no_date():
    assert read("12/13/1921", Reading(day_first=True)) == "1921-12-13"  # open to one reading only
    assert read("32/13/1921", Reading(day_first=True)) is None


def test_two_languages_that_read_a_date_in_different_ways_leave_it_for_a_person():
    # "na 1945" is after 1945 in Dutch, until 1945 in no other; "po 1945" is after it in two.
    assert read("po 1945") == "1945/.."
    ways = {read("i. 1937", Reading((code,))) for code in date_languages.CODES} - {None}
    assert read("i. 1937") == (ways.pop() if len(ways) == 1 else None)


@pytest.mark.parametrize("code", date_languages.CODES)
def test_real_dates_are_understood_within_their_bounds(code):
    path = SAMPLES / f"{code}.tsv"
    if not path.exists():
        pytest.skip("the folder of real dates is not there")
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))
    understood, outside = 0, []
    for row in rows:
        made = row["source"].startswith("made")
        day_first = True if made and "day_first" in row["source"] else None
        value = to_edtf(row["text"], reading=Reading((code,), day_first))
        if value is None:
            continue
        understood += 1
        first, last = edtf.bounds(value)
        earliest = date.fromisoformat(row["earliest"]) if row["earliest"] else date.min
        latest = date.fromisoformat(row["latest"]) if row["latest"] else date.max
        if first > latest or last < earliest:
            outside.append((row["text"], value))
    assert outside == []
    assert understood / len(rows) >= 0.9


@pytest.mark.parametrize("code", date_languages.CODES)
def test_the_months_of_a_language_are_those_of_the_common_locale_data(code):
    """Unicode CLDR, month names in the forms of a date and alone, by the library Babel."""
    dates = pytest.importorskip("babel.dates")
    for context in ("format", "stand-alone"):
        for number, name in dates.get_month_names("wide", context, locale=code).items():
            day = f"12 {name} 1937" if context == "format" else f"{name} 1937"
            expected = f"1937-{number:02d}" + ("-12" if context == "format" else "")
            assert read(day, Reading((code,))) == expected, day


@given(st.sampled_from(date_languages.CODES), st.text(max_size=60))
def test_any_text_gives_valid_edtf_or_none(code, text):
    value = read(text, Reading((code,)))
    assert value is None or edtf.is_valid(value)


@given(
    st.sampled_from(date_languages.CODES),
    st.lists(
        st.sampled_from(
            sorted(
                {w for c in date_languages.CODES for w in date_languages.table(c).words}
                | {"1905", "12", "1890", "-", "XIX", "30"}
            )
        ),
        max_size=5,
    ),
)
def test_any_words_of_the_tables_give_valid_edtf_or_none(code, words):
    value = read(" ".join(words), Reading((code,)))
    assert value is None or (edtf.is_valid(value) and edtf.bounds(value) is not None)


def test_english_comes_first():
    assert read("mar 1905") == "1905-03"
    assert AS_ANY.languages == ()
