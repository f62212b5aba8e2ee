"""Dates in twelve languages as another author writes them, who did not see the tables.

Wordings and bounds: makers.dates (from memory, common practice, no source).
"""

from __future__ import annotations

import datetime
from functools import lru_cache

import pytest

from glassine.base import edtf
from glassine.intake.date_words import Reading, to_edtf
from makers import dates
from makers.dates import Wording

UNDERSTOOD = 0.9
CODES = sorted(dates.GRAMMARS)


def read(code: str, wording: Wording) -> str | None:
    return to_edtf(wording.text, reading=Reading((code,), wording.day_first or None))


@lru_cache(maxsize=16)
def values(code: str) -> list[tuple[Wording, str | None]]:
    return [(each, read(code, each)) for each in dates.wordings(code)]


def readings(code: str) -> list[tuple[Wording, str]]:
    """Return the dates to be understood that were, with their values."""
    return [
        (wording, value)
        for wording, value in values(code)
        if value is not None and not wording.refused
    ]


def missed(code: str) -> list[Wording]:
    return [wording for wording, value in values(code) if value is None and not wording.refused]


def day(text: str | None, otherwise: datetime.date) -> datetime.date:
    return datetime.date.fromisoformat(text) if text else otherwise


def outside(wording: Wording, value: str) -> bool:
    """Return whether the value has no day in common with what was written."""
    limits = edtf.bounds(value)
    assert limits is not None
    first = day(wording.earliest, datetime.date.min)
    last = day(wording.latest, datetime.date.max)
    return limits[1] < first or limits[0] > last


def differs(wording: Wording, value: str) -> bool:
    """Return whether an end of the value lies further from the written one than is fair."""
    limits = edtf.bounds(value)
    assert limits is not None
    ends = (
        (wording.earliest, limits[0], datetime.date.min),
        (wording.latest, limits[1], datetime.date.max),
    )
    return any(_end_differs(*end, wording.slack_years) for end in ends)


def _end_differs(
    written: str | None, found: datetime.date, open_end: datetime.date, slack_years: int
) -> bool:
    if written is None or found == open_end:
        return not (written is None and found == open_end)
    expected = datetime.date.fromisoformat(written)
    if slack_years == 0:  # "before the 5th" may count that day or not
        return abs((found - expected).days) > 1
    return abs(found.year - expected.year) > slack_years


def without_mark(wording: Wording, value: str) -> bool:
    about, uncertain = wording.about, wording.uncertain
    return (about and not set("~%") & set(value)) or (uncertain and not set("?%") & set(value))


def listed(pairs: list[tuple[Wording, str | None]]) -> list[str]:
    return [
        f"{wording.text!r} ({wording.kind}, {wording.earliest}..{wording.latest}) -> {value}"
        for wording, value in pairs
    ]


@pytest.mark.parametrize("code", CODES)
def test_there_are_enough_texts_of_every_kind(code):
    found = dates.wordings(code)
    assert len({each.text for each in found}) >= 300
    assert {each.kind.rstrip("~?%") for each in found} == set(dates.KINDS)
    refused = sum(each.refused for each in found) / len(found)
    assert 0.04 <= refused <= 0.08


@pytest.mark.parametrize("code", CODES)
def test_most_dates_are_understood(code):
    not_understood = missed(code)
    wanted = [each for each in dates.wordings(code) if not each.refused]
    share = 1 - len(not_understood) / len(wanted)
    assert share >= UNDERSTOOD, (share, [each.text for each in not_understood])


@pytest.mark.parametrize("code", CODES)
def test_no_date_is_read_as_another(code):
    wrong = [pair for pair in readings(code) if outside(*pair)]
    assert not wrong, listed(wrong)


@pytest.mark.parametrize("code", CODES)
def test_no_date_is_read_as_much_shorter_or_longer(code):
    wrong = [pair for pair in readings(code) if not outside(*pair) and differs(*pair)]
    assert not wrong, listed(wrong)


@pytest.mark.parametrize("code", CODES)
def test_words_of_doubt_are_kept(code):
    wrong = [pair for pair in readings(code) if without_mark(*pair)]
    assert not wrong, listed(wrong)


@pytest.mark.parametrize("code", CODES)
def test_what_is_no_date_of_the_picture_is_refused(code):
    wrong = [pair for pair in values(code) if pair[0].refused and pair[1] is not None]
    assert not wrong, listed(wrong)
