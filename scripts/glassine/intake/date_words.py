"""The wordings of dates that are understood; `to_edtf` is the way in.

`statement` knows a small table of wordings and answers None ("not understood") for every
other one: a date that was guessed wrongly is worse than one that a person still has to read.
Where a wording has two usual readings (05/06/1921; 1905-06; '21) it is not understood either,
unless one EDTF value is true under both.

Syntax of the result: Library of Congress, EDTF specification, levels 0 and 1, and of level 2
the sets `[1906,1907]` (one of) and `{1956,1957}` (all of).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from itertools import pairwise

from glassine.base import edtf
from glassine.base.edtf import MAX_CHARS, UNDATED
from glassine.intake import date_languages
from glassine.intake.date_points import (
    DAY,
    MONTH_NAME,
    MONTHS,
    PART,
    YEAR,
    Span,
    day_of,
    decade_of,
    interval,
    iso,
    month_or_range,
    point,
    year_of,
)

_MONTH = "(?:" + "|".join(sorted(MONTHS, key=len, reverse=True)) + r")\b\.?"
_M2 = MONTH_NAME.replace("<m>", "<m2>")
_D2 = DAY.replace("<d>", "<d2>")
_DASH = r"\s*(?:-|–|\bto\b|\bthrough\b|\bthru\b|\buntil\b|\btill\b)\s*"
_UNDATED = re.compile(
    r"(?:n\.\s?d\.?|nd|s\.\s?d\.?|no date(?: given| recorded)?|not dated|undated|"
    r"date (?:is )?(?:unknown|not known|unrecorded|not recorded)|unknown(?: date)?|"
    r"without date|sine dato)"
)
# A later print of the photograph: ", printed 1977", "; modern print", "/ reprint 1950".
_PRINTED = re.compile(
    r"(?P<rest>.*\d.*?)(?:\s+(?:re)?printed|\s*[,;/(]+\s*"
    r"(?:(?:a|this|later|modern|posthumous|recent|vintage|new)\s+)*(?:re)?print(?:ed|ing|s)?)"
    r"(?:\b|(?=\d)).*"
)
_NEGATIVE = (
    re.compile(r"(?P<rest>.*\d.*?)\s*\(?\bnegative\)?(?:\s*[,;/]\s*.*\bprint\)?)?"),
    re.compile(r"neg(?:ative)?\.?:?\s+(?P<rest>.*?\d.*?)(?:\s*[,;/]\s*print\b.*)?"),
)
_APPROXIMATE = re.compile(
    r"(?:c\.\s?a\.|c(?:irc)?a?\.|circa\b\.?|(?:in|on) or about\b|ca\b|cca\b\.?|c(?=\s?\d)|about\b|"
    r"abt\b\.?|around\b|"
    r"week of\b|approximately\b|approx\b\.?|roughly\b|estimated\b|est\.|c\b)\s*"
)
_UNCERTAIN = re.compile(
    r"(?:\?|probably|prob\.|possibly|poss\.|perhaps|maybe|likely|presumably|supposedly)\s*"
)
_AFTERTHOUGHT = re.compile(
    r"\s*[,;]?\s*[(\[]?\s*(?P<word>\?|c(?:irc)?a\.?|c\.|approx(?:imate(?:ly)?|\.)?|estimated?|"
    r"probabl[ye]|possibl[ye]|uncertain|or so|or thereabouts)\s*[)\]]?"
)
_BEFORE = re.compile(r"(?:before|prior to|earlier than|ante|pre)(?:\s*-\s*|\s+|(?=\d))")
_NOT_AFTER = re.compile(
    r"(?:no later than|not later than|not after|on or before|in or before|before or in|by|until|"
    r"up to|till)\s+"
)
_AFTER = re.compile(r"(?:after|later than|post)(?:\s*-\s*|\s+|(?=\d))")
_NOT_BEFORE = re.compile(
    r"(?:no earlier than|not earlier than|not before|on or after|in or after|after or in|since|"
    r"from)\s+"
)
_OR_EARLIER = re.compile(r"(?P<rest>.+?),?\s+(?:or|and)\s+(?:earlier|before)")
_OR_LATER = re.compile(r"(?P<rest>.+?),?\s+(?:(?:or|and)\s+(?:later|after)|onwards?|and on|on)")
# What is EDTF already, beyond the plain dates that people write as well.
_EDTF_POINT = r"(?:\d{4}(?:-\d\d(?:-\d\d)?)?[~?%]?|\d{3}X|\d\dXX)"
_EDTF = re.compile(
    rf"{_EDTF_POINT}|(?:{_EDTF_POINT}|\.\.)/(?:{_EDTF_POINT}|\.\.)"
    rf"|[\[{{](?:\.\.)?{_EDTF_POINT}(?:(?:,|\.\.){_EDTF_POINT})+(?:\.\.)?[\]}}]"
    rf"|[\[{{]\.\.{_EDTF_POINT}[\]}}]|[\[{{]{_EDTF_POINT}\.\.[\]}}]"
)


@dataclass(frozen=True)
class Reading:
    """How dates are read: in which languages beside English (codes; none: in all that are known),
    and whether the day comes first in figures alone (None: not known)."""

    languages: tuple[str, ...] = ()
    day_first: bool | None = None


AS_ANY = Reading()


def to_edtf(
    text: str,
    earliest: date | None = None,
    latest: date | None = None,
    reading: Reading = AS_ANY,
) -> str | None:
    """Return the EDTF value of a date as a cataloguer wrote it, or None: not understood.

    "c. 1905" gives "1905~", "1890-95" gives "1890/1895", "1930s" gives "193X", "before 1920"
    gives "../1920", "n.d." gives "XXXX". Of "1912, printed 1977" the first date is taken, that
    of the photograph. `earliest` and `latest`: the catalogue's own bounds, where it has such
    columns; a wording that contradicts their years (a slip of the pen in one of them) is not
    understood. Never raises; the result is valid EDTF with bounds in the right order.
    """
    edtf_text = read(text, reading)
    limits = edtf.bounds(edtf_text) if edtf_text else None
    if edtf_text is None or limits is None:
        return None
    too_late = latest is not None and limits[0].year > latest.year
    too_early = earliest is not None and limits[1].year < earliest.year
    return None if too_late or too_early else edtf_text


@lru_cache(maxsize=4096)
def read(text: str, reading: Reading = AS_ANY) -> str | None:
    """Return the EDTF value of a date in English, else in the languages of `reading`.

    Where two languages understand it in different ways, it is not understood; nor where a language
    that is named does so in another way than English ("apr." is "after" in French).
    """
    if len(text) > MAX_CHARS:
        return None
    in_english = statement(_by_figures(text, reading.day_first))
    if in_english is not None and not reading.languages:
        return in_english
    values = {in_english}
    for code in reading.languages or date_languages.CODES:
        # Figures with dots begin with the day wherever one of these languages is written.
        dots = bool(reading.languages) and date_languages.table(code).dots
        for way in _with_and_without_stop(text):
            translated = date_languages.in_english(way, code)
            value = (
                statement(_by_figures(translated, reading.day_first, dots)) if translated else None
            )
            if value is not None:
                values.add(value)
                break
    values.discard(None)
    return values.pop() if len(values) == 1 else None


def _with_and_without_stop(text: str) -> tuple[str, ...]:
    """Return the text, and without a full stop that may end it rather than a short form."""
    written = text.strip()
    return (written, written[:-1]) if written.endswith(".") else (written,)


_FIGURES = re.compile(r"(?<![\d./])(\d\d?)([./-])\s?(\d\d?)\2\s?(\d{4})(?![\d/])")


def _by_figures(text: str, day_first: bool | None, dots: bool = False) -> str:
    """Write dates in figures alone as ISO 8601 does, where it is known what comes first.

    dots: the day comes first between dots.
    """

    def iso_date(match: re.Match[str]) -> str:
        first_is_day = True if dots and match[2] == "." and day_first is None else day_first
        if first_is_day is None:
            return match[0]
        day, month = (match[1], match[3]) if first_is_day else (match[3], match[1])
        return (
            iso(match[4], int(month), int(day)) or match[0] if 1 <= int(month) <= 12 else match[0]
        )

    return _FIGURES.sub(iso_date, text)


def statement(text: str) -> str | None:
    """Return the EDTF value of a date as a cataloguer wrote it in English, or None."""
    if len(text) > MAX_CHARS:
        return None
    written = text.strip()
    # "1905-06" and "1905-06?" may be ranges of years, in the words of a cataloguer.
    if _EDTF.fullmatch(written) and not re.fullmatch(r"\d{4}(?:-\d\d)?\??", written):
        return written if edtf.is_valid(written) else None
    plain = _tidy(text)
    if not plain:
        return None
    if _UNDATED.fullmatch(plain):
        return UNDATED
    plain = _of_the_negative(plain)
    return _alternatives(plain) or _whole(plain)


def _tidy(text: str) -> str:
    """Return the text in lower case, with one kind of dash and blank, without outer brackets."""
    plain = text.replace("\u00a0", " ").replace("’", "'").lower()
    plain = re.sub(r"[\u2012\u2013\u2014\u2015]", "–", plain).replace("\u2010", "-")
    plain = " ".join(plain.replace("-to-", " to ").split()).strip(" ,;:")
    # What spreadsheets make of days and of years: a midnight, a fraction.
    plain = re.sub(r"(?<=\d)(?:[ t]00:00(?::00)?(?:\.0+)?z?|(?<=^\d{4})\.0)$", "", plain)
    bracketed = re.fullmatch(r"\[([^\[\]]+)\]\.?|\(([^()]+)\)\.?", plain)
    if bracketed:
        plain = (bracketed[1] or bracketed[2]).strip()
    if re.search(r"\d\.$", plain):
        plain = plain[:-1]
    both = plain.partition(" - ")
    plain = both[0] if both[0] == both[2] else plain  # "1992-06-01 - 1992-06-01": one day
    plain = re.sub(
        r"^(?:(?:dated?|taken|photographed|made|created|sometime|in|on)\b(?! or\b):?\s+)+",
        "",
        plain,
    )
    supplied = re.fullmatch(
        r"(?:n\.\s?d\.|undated|no date)[,;:]?\s*[\[(]?([^\[\]()]+)[\])]?", plain
    )
    plain = supplied[1] if supplied else plain
    plain = re.sub(r"(?<=\d(?:st|nd|rd|th))[\s-]+(?:c|cent)\b\.?", " century", plain)
    return re.sub(r"\bthe\s+(?=\d|early|mid|late|first|second|third|last)", "", plain)


def _of_the_negative(plain: str) -> str:
    """Return the date of the photograph, without that of a later print."""
    for pattern in (*_NEGATIVE, _PRINTED, _NEGATIVE[0]):
        match = pattern.fullmatch(plain)
        if match:
            plain = match["rest"].strip(" ,;(/")
    return plain


def _alternatives(plain: str) -> str | None:
    """Return the set for "1906 or 1907" and "1956 and 1957", the interval for two limits."""
    limits = re.fullmatch(r"(?P<a>.+?)\s*(?:,|;|\band\b|\bbut\b)+\s*(?P<b>.+)", plain)
    if limits:
        first, second = _limit(limits["a"]), _limit(limits["b"])
        if first and second and first.endswith("/..") and second.startswith("../"):
            return _ordered(f"{first[:-3]}/{second[3:]}")
    between = re.fullmatch(
        rf"(?:(?P<about>.*?)\b)?between\s+(?P<a>.+?)(?:\s+and\s+|\s*&\s*|{_DASH})(?P<b>.+)", plain
    )
    if between:
        about = (between["about"] or "") + " "
        return _whole(f"{about}{between['a']} – {between['b']}".strip())
    return _choice(plain) or _list(plain)


def _choice(plain: str) -> str | None:
    """Return one of two dates for "or", both for "and"; wide ones become one interval."""
    plain, approximate, uncertain = _without_doubts(plain)
    match = re.fullmatch(r"(?P<a>.+?)\s+(?P<word>or|and|&)\s+(?P<b>.+)", plain)
    if not match:
        return None
    pair = _pair(match["a"], match["b"])
    if pair[0] is None or pair[1] is None:
        return None
    first, second = (_doubted(span, approximate, uncertain) for span in pair if span)
    if first.end >= second.start:
        return None
    inner = f"{first.text()},{second.text()}"
    both = match["word"] != "or"
    if re.search(r"[X/]|-2[1-4]\b", inner) or (both and (first.mark or second.mark)):
        return f"{first.start}{first.mark}/{second.end}{second.mark}"
    return f"{{{inner}}}" if both else f"[{inner}]"


def _list(plain: str) -> str | None:
    """Return first to last of "1906, 1907 and 1909" or "October 3, 4, 1950", in order of time."""
    pieces = re.split(r"\s*(?:[,;]\s*(?:and|&)?|\band\b|&)\s*", plain)
    if re.fullmatch(r"\d{4}(?:'?s)?", pieces[0]) and len(pieces) > 1:
        spans = [year_of(piece) or decade_of(piece) for piece in pieces]
    else:
        match = re.fullmatch(rf"({_MONTH})\s*(\d\d?)", pieces[0])
        if not match or len(pieces) < 3 or not re.fullmatch(r"\d{4}", pieces[-1]):
            return None
        days = [match[2], *pieces[1:-1]]
        spans = [day_of(f"{match[1]} {day}, {pieces[-1]}") for day in days]
    known_spans = [span for span in spans if span]
    in_order = all(a.end < b.start for a, b in pairwise(known_spans))
    return (
        f"{known_spans[0].start}/{known_spans[-1].end}"
        if in_order and len(known_spans) == len(spans)
        else None
    )


def _whole(plain: str) -> str | None:
    rest, approximate, uncertain = _without_doubts(plain)
    limit = _limit(plain) or _limit(rest, approximate, uncertain)
    if limit:
        return limit
    span = _span(plain)
    return _ordered(span.text()) if span else None


def _ordered(text: str) -> str | None:
    return text if edtf.bounds(text) else None


def _limit(plain: str, approximate: bool = False, uncertain: bool = False) -> str | None:
    """Return the half-open interval for "before ...", "... or later" and the like.

    Both limits include the date named: cataloguers use "after 1896" for "1896 or later" too,
    and the wider reading is true under both.
    """
    for pattern, form in (
        (_NOT_AFTER, "end"),
        (_BEFORE, "before"),
        (_NOT_BEFORE, "start"),
        (_AFTER, "after"),
    ):
        match = pattern.match(plain)
        if not match:
            continue
        rest = plain[match.end() :]
        if pattern is _NOT_BEFORE and match[0].startswith("from"):
            return _from(rest)
        return _open(_span(rest), form, approximate, uncertain)
    for pattern, form in ((_OR_EARLIER, "end"), (_OR_LATER, "start")):
        match = pattern.fullmatch(plain)
        if match:
            rest = re.sub(r"^from\s+", "", match["rest"])
            return _open(_span(rest), form, approximate, uncertain)
    return None


def _from(rest: str) -> str | None:
    """Return the value of "from 1920 to 1925" or "from 1920 on"; "from 1920" is no date."""
    onwards = _OR_LATER.fullmatch(rest)
    if onwards:
        return _open(_span(onwards["rest"]), "start")
    span = _span(rest) if re.search(_DASH, rest) else None
    return span.text() if span else None


def _open(
    span: Span | None, form: str, approximate: bool = False, uncertain: bool = False
) -> str | None:
    if span is None:
        return None
    span = _doubted(span, approximate, uncertain)
    if form in ("end", "before"):
        return f"../{span.start if form == 'before' else span.end}{span.mark}"
    return f"{span.start if form == 'start' else span.end}{span.mark}/.."


def _span(plain: str, sides: bool = True) -> Span | None:
    """Return the span of a date or a range, with the doubts that apply to all of it.

    sides: whether it may be a range of two dates that are each read on their own.
    """
    plain, approximate, uncertain = _without_doubts(plain)
    span = point(plain) or _range(plain, sides)
    return _doubted(span, approximate, uncertain) if span else None


def _doubted(span: Span, approximate: bool, uncertain: bool) -> Span:
    return replace(
        span,
        approximate=span.approximate or approximate,
        uncertain=span.uncertain or uncertain,
    )


def _without_doubts(plain: str) -> tuple[str, bool, bool]:
    """Return the text without what stands before or after it, whether that says approximate,
    and whether it says uncertain.
    """
    approximate = uncertain = False
    while True:
        plain = plain.strip(" ,")
        about, doubt = _APPROXIMATE.match(plain), _UNCERTAIN.match(plain)
        tail = re.search(_AFTERTHOUGHT.pattern + "$", plain)
        if about and about.end() < len(plain):
            approximate, plain = True, plain[about.end() :]
        elif doubt and doubt.end() < len(plain):
            uncertain, plain = True, plain[doubt.end() :]
        elif tail and tail.start() > 0:
            is_doubt = tail["word"][0] in "?u" or tail["word"].startswith(("prob", "poss"))
            uncertain, approximate = uncertain or is_doubt, approximate or not is_doubt
            plain = plain[: tail.start()]
        else:
            break
    return plain, approximate, uncertain


_RANGES = tuple(
    re.compile(form)
    for form in (
        rf"{MONTH_NAME}\s*{DAY}{_DASH}{_D2}\s*,?\s*{YEAR}",
        rf"{DAY}{_DASH}{_D2}\s*,?\s*(?:of\s+)?{MONTH_NAME}\s*,?\s*{YEAR}",
        rf"{MONTH_NAME}\s*{DAY}{_DASH}{_M2}\s*{_D2}\s*,?\s*{YEAR}",
        rf"{DAY}\s+{MONTH_NAME}{_DASH}{_D2}\s+{_M2}\s*,?\s*{YEAR}",
        rf"{MONTH_NAME}(?:{_DASH}|\s*/\s*){_M2}\s*,?\s*(?:of\s+)?{YEAR}",
        rf"{YEAR}\s*,?\s+{MONTH_NAME}\s+{DAY}{_DASH}{_D2}",
        rf"{YEAR}\s*,?\s+{MONTH_NAME}\s+{DAY}{_DASH}{_M2}\s+{_D2}",
        rf"{YEAR}\s*,?\s+{MONTH_NAME}{_DASH}{_M2}",
    )
)


def _range(plain: str, sides: bool) -> Span | None:
    for form in _RANGES:
        match = form.fullmatch(plain)
        if match:
            part = match.groupdict()
            month = MONTHS[part["m"]]
            last = MONTHS[part["m2"]] if part.get("m2") else month
            first_day = int(part["d"]) if part.get("d") else None
            last_day = int(part["d2"]) if part.get("d2") else None
            return interval(iso(part["y"], month, first_day), iso(part["y"], last, last_day))
    short = re.fullmatch(r"(\d{4})\s*(?:(-)|[–/]|to|\s-\s)\s*(\d\d?)", plain)
    if short:
        return _short_range(short)
    for split in re.finditer(_DASH + r"|\s*/\s*", plain) if sides else ():
        left, right = _pair(plain[: split.start()], plain[split.end() :])
        if left and right:
            if (
                re.fullmatch(r"\d{3}X", left.single or "")
                and right.single == f"{right.start[:2]}XX"
            ):
                right = replace(right, end=f"{right.start[:3]}9")  # "1890s-1900s": a decade too
            joined = interval(left.start, right.end)
            return _JoinedSpan(joined.start, joined.end, left=left, right=right) if joined else None
    return None


def _short_range(match: re.Match[str]) -> Span | None:
    """Return 1909 to 1910 for "1909–10" and "1906-7"; plain "1909-10" may be a month."""
    year, figure = match[1], match[3]
    if len(figure) == 2 and (match[0] == f"{year}-{figure}" or "/" in match[0]):
        return None if int(figure) <= 12 else month_or_range(int(year), int(figure))
    end = year[: -len(figure)] + figure
    return interval(iso(year), iso(end))


_NOTHING = Span("", "")


@dataclass(frozen=True)
class _JoinedSpan(Span):
    """A range whose two sides keep the doubts of their own."""

    left: Span = _NOTHING
    right: Span = _NOTHING

    def text(self) -> str:
        sides = [
            replace(
                side,
                approximate=side.approximate or self.approximate,
                uncertain=side.uncertain or self.uncertain,
            ).mark
            for side in (self.left, self.right)
        ]
        return f"{self.start}{sides[0]}/{self.end}{sides[1]}"


def _pair(left: str, right: str) -> tuple[Span | None, Span | None]:
    """Return both sides of a range or choice, each completed from the other where it is short.

    "December" + "January 1938" borrows the year, "18th" + "19th century" the word, "early" +
    "mid-1930s" the decade, "1920s" + "30s" the century, "July 4" + "5, 1950" the month.
    """
    left, right = left.strip(" ,"), right.strip(" ,")
    bare_left = re.sub(rf"^(?:{_APPROXIMATE.pattern})", "", left)
    if re.fullmatch(r"\d0'?s", right) and re.fullmatch(r"\d{4}'?s?", bare_left):
        right = bare_left[:2] + right
    if re.fullmatch(r"\d\d", right) and re.fullmatch(r"\d{4}", bare_left):
        right = bare_left[:2] + right  # "1921 or 22"
    end = _atom(right)
    candidates = [left]
    year = re.search(r"(\d{4})$", right)
    if year:
        candidates.append(f"{left}, {year[1]}" if re.search(r"\d$", left) else f"{left} {year[1]}")
    if re.search(r"centur(?:y|ies)", right) and re.search(r"(?:st|nd|rd|th)$", left):
        candidates.append(f"{left} century")
    rest = re.fullmatch(PART + r"(?P<rest>.+)", right)
    if rest and re.fullmatch(r"(?:early|mid(?:dle)?|late)-?", left):
        candidates.append(f"{left} {rest['rest']}")
    month = re.match(rf"({_MONTH})\s*\d\d?(?:st|nd|rd|th)?$", left)
    day = re.fullmatch(r"(\d\d?(?:st|nd|rd|th)?)\s*,?\s*(\d{4})", right)
    if month and day:
        return _atom(f"{left}, {day[2]}"), _atom(f"{month[1]} {day[1]}, {day[2]}")
    own_month = re.fullmatch(rf"\d\d?(?:st|nd|rd|th)?\s+(?P<rest>{_MONTH}\s*,?\s*\d{{4}})", right)
    if own_month and re.fullmatch(r"\d\d?(?:st|nd|rd|th)?", left):
        return _atom(f"{left} {own_month['rest']}"), end
    if end is None or re.fullmatch(r"\d\d?", left):
        return None, None
    return next((span for span in map(_atom, candidates) if span), None), end


def _atom(plain: str) -> Span | None:
    """Return one date with its own doubts, never a range: that would nest, and thirty dashes in a
    row would take longer than anybody waits."""
    ranges = re.search(r"\d\s*(?:–|-\s)|\bto\b", plain)
    return None if ranges else _span(plain, sides=False)
