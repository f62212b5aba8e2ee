"""Dates in Extended Date/Time Format (EDTF, ISO 8601-2:2019): checked, and bounded.

Syntax: Library of Congress, EDTF specification, levels 0 to 2. Judged by edtf-validate (2021): the
better kept edtf 5.0.2 is wrong where it matters. Of the 180 texts of tests/unit/base/test_dates it
accepts intervals that run backwards ("1905/1904") and refuses "1984-1X"; it prints to the terminal
and takes 18 ms a text, twice as long.
"""

from __future__ import annotations

import calendar
import re
import warnings
from datetime import date
from functools import lru_cache

# Longer texts are descriptions, not dates.
MAX_CHARS = 120
# An unknown date: four unspecified digits.
UNDATED = "XXXX"


# Plain dates, their intervals with one open end at most, single seasons, decades and centuries.
_DATE = r"[1-9]\d{3}(?:-(?:0[1-9]|1[0-2])(?:-(?:0[1-9]|[12]\d|3[01]))?)?[~?%]?"
_PLAIN = re.compile(
    rf"{_DATE}(?:/{_DATE}|/\.\.)?|\.\./{_DATE}|[1-9]\d{{3}}-2[1-4][~?%]?|[1-9]\d{{2}}X|[1-9]\dXX|XXXX"
)


@lru_cache(maxsize=4096)
def is_valid(edtf: str) -> bool:
    """Return whether `edtf` is EDTF (levels 0 to 2), as the library edtf-validate judges it.

    Plain dates and intervals of them, nearly all that occur, are judged here: loading the
    library takes most of a second.
    """
    if len(edtf) > MAX_CHARS:
        return False
    if _PLAIN.fullmatch(edtf):
        return bounds(edtf) is not None
    return library_judges(edtf)


def library_judges(edtf: str) -> bool:
    """Return what edtf-validate says of the syntax; slow to load."""
    with warnings.catch_warnings():
        # Its grammar is written for an older pyparsing and warns at every turn.
        warnings.simplefilter("ignore", DeprecationWarning)
        from edtf_validate import valid_edtf

        try:
            return bool(valid_edtf.is_valid(edtf))
        except (ValueError, IndexError, KeyError, TypeError, AttributeError):
            return False  # it raises on some malformed texts instead of refusing them


def bounds(edtf: str) -> tuple[date, date] | None:
    """Return the first and last day that the EDTF value covers, or None where it cannot be read.

    Open and unknown ends reach to date.min and date.max; a season covers its whole year (its
    months depend on the hemisphere); marks of doubt do not widen. The order of the ends is
    checked. Years outside 1 to 9999 are not read.
    """
    try:
        if edtf[:1] in "[{":
            inner = edtf[1:-1]
            parts = [part for item in inner.split(",") for part in _set_member(item)]
            return min(part[0] for part in parts), max(part[1] for part in parts)
        ends = edtf.split("/")
        if len(ends) == 1:
            return _limits(edtf)
        start, end = ends
        first = _limits(start)[0] if start not in ("", "..") else date.min
        last = _limits(end)[1] if end not in ("", "..") else date.max
        if start not in ("", "..") and end not in ("", "..") and _limits(end)[0] < first:
            return None
    except (ValueError, IndexError):
        return None
    return (first, last) if first <= last else None


def _set_member(item: str) -> list[tuple[date, date]]:
    if ".." not in item:
        return [_limits(item)]
    start, end = item.split("..")
    return [
        (
            _limits(start)[0] if start else date.min,
            _limits(end)[1] if end else date.max,
        )
    ]


def _limits(point: str) -> tuple[date, date]:
    """Return the first and last day of one EDTF date; ValueError where it is none."""
    plain = re.sub(r"[~?%]", "", point)
    found = re.fullmatch(r"([\dX]{4})(?:-([\dX]{2})(?:-([\dX]{2}))?)?", plain)
    if not found:
        raise ValueError(f"{point!r} is no date")
    if found[1] == UNDATED and not found[2]:
        return date.min, date.max
    first = max(int(found[1].replace("X", "0")), 1)
    last = int(found[1].replace("X", "9"))
    if found[2] in ("21", "22", "23", "24"):
        if found[3]:
            raise ValueError("a season has no days")
        return date(first, 1, 1), date(last, 12, 31)
    months = _figures(found[2], 12)
    days = _figures(found[3], 31)
    if found[3] and "X" not in found[3]:
        return date(first, months[0], days[0]), date(last, months[1], days[1])
    end = min(days[1], calendar.monthrange(last, months[1])[1])
    return date(first, months[0], days[0]), date(last, months[1], end)


def _figures(text: str | None, highest: int) -> tuple[int, int]:
    if text is None:
        return 1, highest
    low, high = int(text.replace("X", "0")), int(text.replace("X", "9"))
    if "X" not in text and not 1 <= low <= highest:
        raise ValueError(f"{text} is no day or month")
    return max(low, 1), min(high, highest)


def nav_date(edtf: str | None) -> str | None:
    """Return the moment at which a viewer's time line shows the picture, or None.

    IIIF Presentation 3.0, navDate: an xsd:dateTime with time zone. Given for one plain day,
    month or year without a mark of doubt; anything wider would pretend to know more.
    """
    if not edtf or not re.fullmatch(r"\d{4}(?:-\d\d(?:-\d\d)?)?", edtf) or "-2" in edtf[4:6]:
        return None
    limits = bounds(edtf)
    return f"{limits[0].isoformat()}T00:00:00Z" if limits else None
