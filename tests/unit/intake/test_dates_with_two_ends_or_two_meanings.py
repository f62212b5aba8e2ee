"""Dates of twelve languages where an end could be lost in silence, or a word means two things.

What the words mean: common practice, no source.
"""

from __future__ import annotations

from itertools import islice, product

import pytest

from glassine.base import edtf
from glassine.intake import date_languages
from glassine.intake.date_words import Reading, read, statement

CODES = date_languages.CODES


def bounds(code: str, text: str) -> tuple[int, int] | None:
    value = read(text, Reading((code,)))
    limits = edtf.bounds(value) if value else None
    return (limits[0].year, limits[1].year) if limits else None


def doubts(code: str) -> list[str]:
    table = date_languages.table(code)
    return ["", *table.probably, *table.circa]


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("every", [5, pytest.param(1, marks=pytest.mark.long)])
def test_a_range_behind_a_word_of_doubt_keeps_its_end(code, every):
    """every: of so many combinations one is tried."""
    table = date_languages.table(code)
    starts = ["", *table.since, *table.from_, *table.from_or_of]
    joints = ["-", "–", *table.until, *table.to]
    lost = []
    for doubt, start, joint in islice(product(doubts(code), starts, joints), None, None, every):
        text = f"{doubt} {start} 1905 {joint} 1910".strip()
        found = bounds(code, text)
        if found not in (None, (1905, 1910)):
            lost.append((text, found))
    assert not lost


@pytest.mark.parametrize("code", CODES)
def test_a_limit_before_a_range_is_for_a_person(code):
    table = date_languages.table(code)
    limits = [*table.before, *table.after, *table.not_after, *table.not_before]
    joints = ["-", "–", *(each for each in table.until if each not in table.not_after)]
    for limit, joint in product(limits, joints):
        text = f"{limit} 1905 {joint} 1910"
        if statement(text) is None:  # "ante" and "post" are English too
            assert bounds(code, text) in (None, (1905, 1910)), limit


@pytest.mark.parametrize("code", CODES)
def test_the_date_of_a_print_alone_is_none_of_the_photograph(code):
    for word in date_languages.table(code).printed:
        assert read(f"{word} 1950", Reading((code,))) is None
        assert read(f"1905, {word} 1950", Reading((code,))) == "1905", word


@pytest.mark.parametrize("code", CODES)
def test_every_word_of_a_limit_or_a_doubt_means_what_its_list_says(code):
    table = date_languages.table(code)
    expected = {
        "before": "../1905",
        "not_after": "../1905",
        "or_earlier": "../1905",
        "after": "1905/..",
        "not_before": "1905/..",
        "or_later": "1905/..",
        "since": "1905/..",
        "circa": "1905~",
        "probably": "1905?",
    }
    wrong = []
    for name, value in expected.items():
        for word in getattr(table, name):
            ways = {read(text, Reading((code,))) for text in (f"{word} 1905", f"1905 {word}")}
            if word != "apr." and (value not in ways or ways - {value, None}):
                wrong.append((name, word, ways))
    assert not wrong


@pytest.mark.parametrize(
    ("code", "text", "expected"),
    [
        ("fr", "années 1890 et 1900", "1890/1909"),
        ("pt", "décadas de 1950-1960", "1950/1969"),
        ("it", "anni '50-'60", "1950~/1969~"),
        ("de", "50er und 60er Jahre", "1950~/1969~"),
        ("sv", "1890- och 1900-talet", "1890/1909"),
        ("da", "1890'erne eller 1900'erne", "1890/1909"),
        ("cs", "50. a 60. léta 19. století", "1850/1869"),
        ("pl", "od lat 50. do 60.", "1950~/1969~"),
        ("it", "dal XIX al XX secolo", "1800/1999"),
        ("it", "I metà sec. XX", "1900~/1949~"),
        ("sv", "sekelskiftet 1800-1900", "1900~"),
        ("fi", "1800- ja 1900-luvun vaihde", "1900~"),
        ("fr", "fin XIXe - début XXe", "1867~/1933~"),
        ("cs", "[od 18. do 21. května 1925]", "1925-05-18/1925-05-21"),
        ("de", "30.8.-1.9.1880", "1880-08-30/1880-09-01"),
        ("de", "2. Hälfte der 1950er Jahre", "1955~/1959~"),
        ("de", "mittleres Drittel des 19. Jahrhunderts", "1834~/1866~"),
        ("fi", "torstai 6.9.1973", "1973-09-06"),
    ],
)
def test_both_ends_are_read(code, text, expected):
    assert read(text, Reading((code,))) == expected


@pytest.mark.parametrize(
    ("code", "text", "why"),
    [
        ("fr", "apr. 1902", "after in French, April in English"),
        ("fr", "à 1950", "until or in"),
        ("it", "al 5 marzo 1950", "until or on"),
        ("it", "al 1945", "until or in"),
        ("fr", "d'après 1900", "after, or copied from"),
        ("fr", "acquis en 1905", "when it came to the collection"),
        ("fi", "joulu 1960", "Christmas"),
        ("da", "d. 1905", "died"),
        ("no", "f. 1905", "born"),
        ("cs", "30 let", "thirty years"),
        ("cs", "červ. 1915", "June or July"),
        ("de", "mittleres Viertel des 19. Jahrhunderts", "the second or the third"),
        ("es", "mediados de los 20 y 30", "decades or days"),
        ("fi", "maanantai 6.9.1973", "it was a Thursday"),
        ("de", "Wende vom 18. zum 20. Jahrhundert", "no turn"),
    ],
)
def test_what_may_mean_two_things_is_for_a_person(code, text, why):
    assert read(text, Reading((code,))) is None, why


@pytest.mark.parametrize(
    ("code", "text", "expected"),
    [
        ("fr", "au XIXe siècle", "18XX"),
        ("fr", "au printemps 1954", "1954-21"),
        ("it", "alla metà degli anni trenta", "1933~/1937~"),
        ("pt", "a 5 de Março de 1889", "1889-03-05"),
        ("no", "trolig fra 1982", "1982?"),
        ("sv", "från 1960-talet", "196X"),
        ("sv", "från 1960", "1960/.."),
    ],
)
def test_words_for_to_and_from_before_a_single_date_say_when(code, text, expected):
    assert read(text, Reading((code,))) == expected
