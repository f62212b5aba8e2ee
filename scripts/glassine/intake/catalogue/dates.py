"""The date of a catalogue row: its words, its EDTF and its bounds, brought together.

Words that are understood give the date. Where there are none, or they are not understood, the
catalogue's own bounds give an interval, which reaches exactly as far as they do.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass, field, replace
from datetime import date

from glassine.base import edtf as dates
from glassine.intake import date_words

# A bound: year, month or day (ISO 8601); a database's time of day after it says nothing more.
_BOUND = re.compile(
    r"(?P<day>\d{4}(?:-\d\d(?:-\d\d)?)?)(?:[T ]00:00(?::00(?:\.0{1,6})?)?(?:Z|[+-]00:?00)?)?"
)

# Others stand for "unknown" or "open" in a database, or are typing errors (as in `date_words`).
_FIRST_YEAR, _LAST_YEAR = 1300, 2099


@dataclass(frozen=True)
class Stated:
    """What a row says of its date: in words, as EDTF, and its earliest and latest day.

    reading: how the words are read.
    """

    words: str
    edtf: str = ""
    earliest: str = ""
    latest: str = ""
    reading: date_words.Reading = date_words.AS_ANY


@dataclass(frozen=True)
class Problem:
    """Something to tell a person. fields: of the catalogue, by their own names."""

    code: str
    fields: tuple[str, ...]
    expected: str
    severity: str = "review"


@dataclass
class Dated:
    """edtf: None where no date can be said; understood: whether the words were."""

    edtf: str | None
    understood: bool
    problems: list[Problem] = field(default_factory=list)


@dataclass(frozen=True)
class _Bounds:
    """Bounds that were read, as written (ISO 8601 without time), and the days they reach."""

    start: str = ""
    end: str = ""

    @property
    def earliest(self) -> date | None:
        return _limits(self.start)[0] if self.start else None

    @property
    def latest(self) -> date | None:
        return _limits(self.end)[1] if self.end else None

    def interval(self) -> str | None:
        """Return the bounds as EDTF, None where there are none."""
        if not (self.start and self.end):
            if not (self.start or self.end):
                return None
            return f"{self.start}/.." if self.start else f"../{self.end}"
        if self.start == self.end:
            return self.start
        interval = f"{self.start}/{self.end}"
        if dates.is_valid(interval):
            return interval
        # "1890-05" to "1890": the coarser end begins before the finer start.
        return f"{_limits(self.start)[0].isoformat()}/{_limits(self.end)[1].isoformat()}"


def _limits(bound: str) -> tuple[date, date]:
    limits = dates.bounds(bound)
    assert limits is not None  # `_bound` looked
    return limits


def _bound(text: str) -> str | None:
    """Return a bound as an ISO year, month or day, or None where it is none."""
    match = _BOUND.fullmatch(text)
    if match is None:
        return None
    year, *rest = (int(part) for part in match["day"].split("-"))
    if not _FIRST_YEAR <= year <= _LAST_YEAR or (rest and not 1 <= rest[0] <= 12):
        return None
    if len(rest) == 2 and not 1 <= rest[1] <= calendar.monthrange(year, rest[0])[1]:
        return None
    return match["day"]


def _without_stop(words: str, reading: date_words.Reading) -> str:
    """Return words without the full stop of a sentence, where they are understood without it."""
    bare = words.rstrip(" .")
    if bare == words or date_words.read(words, reading) or not date_words.read(bare, reading):
        return words
    return bare


def dated(stated: Stated) -> Dated:
    """Return the date of a row and what a person is told of it. Never raises."""
    stated = replace(stated, words=_without_stop(stated.words, stated.reading))
    bounds, problems = _bounds(stated)
    result = _from_edtf(stated, bounds) if stated.edtf else _from_words(stated, bounds)
    return Dated(result.edtf, result.understood, [*problems, *result.problems])


def _bounds(stated: Stated) -> tuple[_Bounds, list[Problem]]:
    problems = []
    iso_bounds = {"date_earliest": "", "date_latest": ""}
    for name, text in (("date_earliest", stated.earliest), ("date_latest", stated.latest)):
        bound = _bound(text)
        if text and bound is None:
            expected = (
                "a year, month or day of the years 1300 to 2099, such as 1905, 1905-06 or "
                "1905-06-30; it was not used."
            )
            problems.append(Problem("bounds", (name,), expected))
        iso_bounds[name] = bound or ""
    bounds = _Bounds(iso_bounds["date_earliest"], iso_bounds["date_latest"])
    if bounds.earliest and bounds.latest and bounds.earliest > bounds.latest:
        expected = "an earliest date that is not after the latest; neither was used."
        problems.append(Problem("bounds", ("date_earliest", "date_latest"), expected))
        return _Bounds(), problems
    return bounds, problems


def _from_edtf(stated: Stated, bounds: _Bounds) -> Dated:
    """Return the EDTF that the catalogue states; words and bounds that contradict it are told."""
    if not dates.is_valid(stated.edtf):
        expected = "a valid EDTF date; the record has what the words and bounds of the row say."
        other = _from_words(stated, bounds)
        problem = Problem("edtf", ("date_edtf",), expected)
        return Dated(other.edtf, other.understood, [problem, *other.problems])
    problems = []
    in_words = date_words.read(stated.words, stated.reading) if stated.words else None
    expected = "dates in both that agree; the record has the EDTF date beside the words."
    if in_words and apart(in_words, stated.edtf):
        problems.append(Problem("date_contradicts", ("date", "date_edtf"), expected))
    interval = bounds.interval()
    if interval and apart(interval, stated.edtf):
        names = tuple(
            name
            for name, bound in (("date_earliest", bounds.start), ("date_latest", bounds.end))
            if bound
        )
        expected = "an EDTF date within the catalogue's own bounds; the record has the EDTF date."
        problems.append(Problem("date_contradicts", ("date_edtf", *names), expected))
    return Dated(stated.edtf, True, problems)


def apart(one: str, other: str) -> bool:
    """Return whether two EDTF dates have no year in common."""
    first, second = dates.bounds(one), dates.bounds(other)
    if first is None or second is None:
        return False
    return first[1].year < second[0].year or second[1].year < first[0].year


def _from_words(stated: Stated, bounds: _Bounds) -> Dated:
    interval = bounds.interval()
    if not stated.words:
        return Dated(interval, True)
    edtf_of_words = date_words.to_edtf(stated.words, bounds.earliest, bounds.latest, stated.reading)
    if edtf_of_words and not (edtf_of_words == dates.UNDATED and interval):
        return Dated(edtf_of_words, True)
    if edtf_of_words:
        return Dated(interval, True)  # "n.d." beside bounds: they say what is known
    # Words that are understood without the bounds: a slip of the pen in one of the two.
    edtf = None if date_words.read(stated.words, stated.reading) else interval
    outcome = (
        f"the record keeps the words, and {edtf} by the catalogue's own bounds."
        if edtf
        else "the record keeps the words and has no machine-readable date."
    )
    expected = (
        "a date in words that are understood and agree with the catalogue's own "
        f'bounds, e.g. "c. 1905", "June 1958", "1890-1910"; {outcome}'
    )
    return Dated(edtf, False, [Problem("date", ("date",), expected)])
