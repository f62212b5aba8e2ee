"""One date in words: a day, month, season, year, decade, century, or a part of one (`date_words`).

`point` knows a small table of wordings and answers None ("not understood") for every other one.
"""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date

# Years outside are typing errors in a catalogue of photographs and what they reproduce; four
# figures below 1300 may be a month and a day.
FIRST_YEAR, LAST_YEAR = 1300, 2099
MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "january jan",
            "february feb febr",
            "march mar",
            "april apr",
            "may",
            "june jun",
            "july jul",
            "august aug",
            "september sept sep",
            "october oct",
            "november nov",
            "december dec",
        ),
        start=1,
    )
    for name in names.split()
}
# EDTF level 1, "Seasons": 21 spring, 22 summer, 23 autumn, 24 winter.
_SEASONS = {"spring": 21, "summer": 22, "autumn": 23, "fall": 23, "winter": 24}
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_ORDINAL_WORDS = {
    "fifteenth": 15,
    "sixteenth": 16,
    "seventeenth": 17,
    "eighteenth": 18,
    "nineteenth": 19,
    "twentieth": 20,
    "twenty-first": 21,
}
# "early", "middle" and "late" as parts of ten and of a hundred years, first and last year.
# Thirds of a century and halves of a decade with an overlapping middle: common practice, no source.
_DECADE_PARTS = {"early": (0, 4), "mid": (3, 7), "late": (5, 9)}
_CENTURY_PARTS = {"early": (0, 33), "mid": (34, 66), "late": (67, 99)}
_NTH_PARTS = {
    "first half": (0, 49),
    "second half": (50, 99),
    "first quarter": (0, 24),
    "second quarter": (25, 49),
    "third quarter": (50, 74),
    "last quarter": (75, 99),
    "fourth quarter": (75, 99),
    "first third": (0, 33),
    "second third": (34, 66),
    "middle third": (34, 66),
    "third third": (67, 99),
    "last third": (67, 99),
    "last half": (50, 99),
}
_DECADE_HALVES = {"first half": (0, 4), "second half": (5, 9), "last half": (5, 9)}
_NTH = r"(?:first|second|third|fourth|last|latter|middle|1st|2nd|3rd|4th) (?:half|quarter|third)"
MONTH_NAME = "(?P<m>" + "|".join(sorted(MONTHS, key=len, reverse=True)) + r")\.?"
DAY = r"(?P<d>0?[1-9]|[12]\d|3[01])(?:st|nd|rd|th|\.(?=\s))?"
YEAR = r"(?P<y>\d{4})"
_SEASON = "|".join(_SEASONS)
_GAP = r"\s*,?\s*(?:of\s+)?"  # between day, month and year
PART = (
    r"(?P<part>early|mid(?:dle)?|late|beginning|start|end)(?:\s*-\s*|\s+)"
    r"(?:(?:in\s+|of\s+)(?:the\s+)?)?"
)
_PART_NAMES = {"middle": "mid", "beginning": "early", "start": "early", "end": "late"}


@dataclass(frozen=True)
class Span:
    """First and last EDTF date of a statement; `single` where one EDTF value says both."""

    start: str
    end: str
    single: str | None = None
    approximate: bool = False
    uncertain: bool = False

    @property
    def mark(self) -> str:
        if self.approximate:
            return "%" if self.uncertain else "~"
        return "?" if self.uncertain else ""

    def text(self) -> str:
        """Return EDTF. Level 1 has no `193X~`: such a decade becomes an interval."""
        if self.single and not (self.mark and "X" in self.single):
            return self.single + self.mark
        return f"{self.start}{self.mark}/{self.end}{self.mark}"


def point(plain: str) -> Span | None:
    plain = re.sub(r"^\[([^\[\]]+)\]$", r"\1", plain.strip(" ,"))
    plain = re.sub(r"^the\s+", "", plain)
    for reader in (day_of, _numeric, _month, _season, year_of, decade_of, _century, _part):
        span = reader(plain)
        if span:
            return span
    return None


def iso(year: str | int, month: int | None = None, day: int | None = None) -> str | None:
    number = int(year)
    if not FIRST_YEAR <= number <= LAST_YEAR:
        return None
    if month is None:
        return f"{number:04d}"
    if day is None:
        return f"{number:04d}-{month:02d}"
    if day > calendar.monthrange(number, month)[1]:
        return None
    return f"{number:04d}-{month:02d}-{day:02d}"


def _single(value: str | None) -> Span | None:
    return Span(value, value, value) if value else None


def interval(start: str | None, end: str | None) -> Span | None:
    if start is None or end is None or start[: len(end)] >= end[: len(start)]:
        return None
    return Span(start, end)


_DAY_FORMS = tuple(
    re.compile(
        r"(?:(?P<w>mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?\.?,?\s+)?" + form
    )
    for form in (
        rf"{MONTH_NAME}\s*{DAY}\s*,?\s*{YEAR}",
        rf"{DAY}\s*,?\s*(?:day\s+)?(?:of\s+)?{MONTH_NAME}\s*,?\s*{YEAR}",
        rf"{YEAR}\s*,?\s+{MONTH_NAME}\s+{DAY}",
        rf"{DAY}-{MONTH_NAME}-{YEAR}",
    )
)


def day_of(plain: str) -> Span | None:
    for form in _DAY_FORMS:
        match = form.fullmatch(plain)
        if not match:
            continue
        value = iso(match["y"], MONTHS[match["m"]], int(match["d"]))
        if value and match["w"]:
            weekday = _WEEKDAYS[date.fromisoformat(value).weekday()]
            # A weekday that does not fit shows that one of the two is wrong.
            return _single(value) if match["w"].startswith(weekday) else None
        return _single(value)
    return None


def _numeric(plain: str) -> Span | None:
    """Return the date of figures alone where day and month cannot be mistaken."""
    with_weekday = re.fullmatch(r"(?P<w>[a-z]{3})[a-z]*day,?\s+(?P<day>\d{4}-\d\d-\d\d)", plain)
    if with_weekday:
        span = _numeric(with_weekday["day"])
        if span is None or with_weekday["w"] not in _WEEKDAYS:
            return None
        fits = _WEEKDAYS[date.fromisoformat(span.start).weekday()] == with_weekday["w"]
        return span if fits else None
    match = re.fullmatch(r"(\d{4})([-/.])(\d\d?)\2(\d\d?)", plain)
    if match:
        month = int(match[3])
        return _single(iso(match[1], month, int(match[4]))) if 1 <= month <= 12 else None
    match = re.fullmatch(r"(\d\d?)([-/.])\s?(\d\d?)\2\s?(\d{4})", plain)
    if match:
        return _day_or_month_first(int(match[1]), int(match[3]), match[4])
    match = re.fullmatch(r"(\d\d?)[/.](\d{4})", plain)
    if match:
        return _single(iso(match[2], int(match[1]))) if 1 <= int(match[1]) <= 12 else None
    match = re.fullmatch(r"(\d{4})-(\d\d)", plain)
    return month_or_range(int(match[1]), int(match[2])) if match else None


def _day_or_month_first(first: int, second: int, year: str) -> Span | None:
    if first == second and 1 <= first <= 12:
        return _single(iso(year, first, second))
    if 1 <= first <= 12 < second <= 31:
        return _single(iso(year, first, second))
    if 1 <= second <= 12 < first <= 31:
        return _single(iso(year, second, first))
    return None


def month_or_range(year: int, figure: int) -> Span | None:
    """Return March 1958 for "1958-03", 1890 to 1895 for "1890-95", None for "1905-06".

    A figure from 01 to 12 is a month only where a range of years is out of the question:
    not later in the same century, and not within 20 years into the next.
    """
    within = year % 100
    if figure > 12:
        return interval(iso(year), iso(year - within + figure)) if figure > within else None
    is_range = figure > within or 100 + figure - within <= 20
    return None if is_range or figure == 0 else _single(iso(year, figure))


def _month(plain: str) -> Span | None:
    for form in (
        rf"(?:(?P<part>early|mid(?:dle)?|late|end of|beginning of)(?:\s*-\s*|\s+)(?:of\s+)?)?"
        rf"{MONTH_NAME}{_GAP}{YEAR}",
        rf"{YEAR}\s*,?\s+{MONTH_NAME}",
    ):
        match = re.fullmatch(form, plain)
        if match:
            return _single(iso(match["y"], MONTHS[match["m"]]))
    return None


def _season(plain: str) -> Span | None:
    match = re.fullmatch(
        rf"(?:(?:early|mid|late)(?:\s*-\s*|\s+))?(?P<s>{_SEASON})(?:\s*,\s*|\s+)(?:of\s+)?{YEAR}"
        rf"(?:\s*[-–/]\s*(?P<y2>\d\d|\d{{4}}))?",
        plain,
    )
    if not match:
        return None
    year = iso(match["y"])
    if not year:
        return None
    if not match["y2"]:
        return _single(f"{year}-{_SEASONS[match['s']]}")
    # "winter 1955-56" crosses the year; which months those are depends on the hemisphere.
    following = f"{int(year) + 1}"
    same = match["s"] == "winter" and following.endswith(match["y2"])
    return interval(year, following) if same else None


def year_of(plain: str) -> Span | None:
    match = re.fullmatch(
        r"(?:(?:early|mid|late|end of|beginning of|start of)(?:\s*-\s*|\s+)(?:in\s+)?|"
        rf"{_NTH}\s+(?:of\s+)?)?"
        r"(?:the\s+)?(?:year\s+)?(\d{4})(?:\s*(?:a\.?d\.?|c\.?e\.?))?",
        plain,
    )
    return _single(iso(match[1])) if match else None


def decade_of(plain: str) -> Span | None:
    """Return "1930s", and "193-" or "19--" as library rules write decades and centuries."""
    dashes = re.fullmatch(r"(\d\d)(?:(\d)-|--)", plain)
    if dashes and iso(f"{dashes[1]}00"):
        digits = f"{dashes[1]}{dashes[2] or ''}"
        return Span(digits.ljust(4, "0"), digits.ljust(4, "9"), digits.ljust(4, "X"))
    match = re.fullmatch(r"(\d{3})0'?s", plain)
    if not match or not iso(f"{match[1]}0"):
        return None
    if match[1].endswith("0"):  # "1900s" names a decade or a century: the wider one is true
        century = match[1][:2]
        return Span(f"{century}00", f"{century}99", f"{century}XX")
    return Span(f"{match[1]}0", f"{match[1]}9", f"{match[1]}X")


def _hundred(plain: str) -> int | None:
    """Return the first year of "19th century", "nineteenth century" or None."""
    match = re.fullmatch(r"(\S+?)(st|nd|rd|th)?(?:\s+|-)?\s*(?:century|centuries)", plain)
    if not match:
        return None
    word = f"{match[1]}{match[2] or ''}"
    if word in _ORDINAL_WORDS:
        number = _ORDINAL_WORDS[word]
    elif match[2] and re.fullmatch(r"1[1-9]|2[01]", match[1]):
        number = int(match[1])
    else:
        return None
    return (number - 1) * 100


def _century(plain: str) -> Span | None:
    first = _hundred(plain)
    return None if first is None else Span(f"{first}", f"{first + 99}", f"{first // 100}XX")


def _part(plain: str) -> Span | None:
    """Return part of a decade or century, marked approximate: its limits are convention."""
    match = re.fullmatch(r"(?!middle third\b)" + PART + r"(?P<rest>.+)", plain)
    if match:
        name = _PART_NAMES.get(match["part"], match["part"])
        parts, rest = (_DECADE_PARTS, _CENTURY_PARTS), match["rest"]
    else:
        match = re.fullmatch(
            rf"(?P<part>{_NTH})\s+(?:of\s+)?(?:the\s+)?(?P<rest>.+)",
            plain,
        )
        if not match:
            return None
        name = match["part"]
        for short, word in (
            ("1st", "first"),
            ("2nd", "second"),
            ("3rd", "third"),
            ("4th", "fourth"),
            ("latter half", "second half"),
        ):
            name = name.replace(short, word)
        parts, rest = (_DECADE_HALVES, _NTH_PARTS), match["rest"]
    whole = decade_of(rest) or _century(rest)
    if whole is None or whole.single is None:
        return None
    limits = parts[1 if whole.single.endswith("XX") else 0].get(name)
    if limits is None:
        return None
    first = int(whole.start)
    return Span(str(first + limits[0]), str(first + limits[1]), approximate=True)
