"""Dates in words of other languages, put into the English ones that `date_words` reads.

One table a language (`languages/<code>.yaml`): its words for each English one. Nothing is guessed:
a word that no table knows stays as it is, so that the English reader does not understand it. A
bare decade ("años 30") is that of the twentieth century, about; the turn of a century without
a number is about 1900 (both common practice, no source). Two decades that share a word ("années
1890-1900") reach to the end of the second, which is true of the years too. A word with two meanings
is read only where what stands beside it leaves one of them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Literal

import msgspec

from glassine.base.edtf import MAX_CHARS

TABLES = Path(__file__).parent / "languages"
CODES = ("cs", "da", "de", "es", "fi", "fr", "it", "nl", "no", "pl", "pt", "sv")

_MONTHS = (
    "JANUARY", "FEBRUARY", "MARCH", "APRIL", "MAY", "JUNE",
    "JULY", "AUGUST", "SEPTEMBER", "OCTOBER", "NOVEMBER", "DECEMBER",
)  # fmt: skip
_SEASONS = ("SPRING", "SUMMER", "AUTUMN", "WINTER")
_WEEKDAYS = ("MONDAY", "TUESDAY", "WEDNESDAY", "THURSDAY", "FRIDAY", "SATURDAY", "SUNDAY")
_FIRSTS = ("first", "second", "third", "fourth", "last", "middle")
_PARTS = {"half": "HALF", "quarter": "QUARTER", "third_part": "THIRD"}
# What each list of a table stands for; of two that know the same word the former is taken.
_WORDS = {
    "until": "UNTIL",
    "to": "TO",
    "not_after": "NOT AFTER",
    "not_before": "NOT BEFORE",
    "or_earlier": "OR EARLIER",
    "or_later": "OR LATER",
    "between": "BETWEEN",
    "from_or_of": "FROM_OF",
    "since": "SINCE",
    "from_": "FROM",
    "before": "BEFORE",
    "after": "AFTER",
    "circa": "CIRCA",
    "probably": "PROBABLY",
    "printed": "PRINTED",
    "acquired": "ACQUIRED",
    "first_half": "FIRST HALF",
    "second_half": "SECOND HALF",
    "early": "EARLY",
    "mid": "MID",
    "late": "LATE",
    "or_": "OR",
    "and_": "AND",
}
_ROMANS = "i ii iii iv v vi vii viii ix x xi xii xiii xiv xv xvi xvii xviii xix xx xxi"
_ROMAN = {word: number for number, word in enumerate(_ROMANS.split(), 1)}
_LONGEST_FIRST = "|".join(sorted(_ROMAN, key=len, reverse=True))
_NUMBER = rf"(?:{_LONGEST_FIRST}|\d\d?)"
_PART_WORD = r"(?:EARLY|MID|LATE|(?:FIRST|SECOND|THIRD|FOURTH|LAST|MIDDLE) (?:HALF|QUARTER|THIRD))"
_SEASON_WORD = "(?:" + "|".join(_SEASONS) + ")"
# The same in every language.
_ABOUT = ("ca.", "ca", "circa", "cca", "cca.", "±", "+/-")
_NO_DATE = ("s.d", "s. d", "sd", "s.a", "s. a", "n.d", "n. d", "s.l.n.d", "s.d.n.l", "s.l.s.d")
_LIMIT_WORD = r"(?:NOT AFTER|NOT BEFORE|BEFORE|AFTER|CIRCA|PROBABLY)"
# Centuries of photographs and of what they reproduce; others are no centuries but typing errors.
_FIRST_CENTURY, _LAST_CENTURY = 14, 21
_MONTH_WORD = "(?:" + "|".join(_MONTHS) + ")"
_MONTH_PARTS = re.compile(f"({_MONTH_WORD})(?= )")


class Language(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, dict=True):
    """The words of one language for dates, in lower case.

    months: twelve lists; month_endings: that may follow each of them. decade_before, decade_after:
    beside the figures of a decade; decade_endings: on them. tens: {word: 30}, tens_after: words
    that may follow. hundreds: {word for a century: its number}; century_ordinals: {nineteenth: 19};
    before_century: {letter that means a part of the century behind it: that part}. acquired: a date
    after which nothing was made. turn, turn_of, turn_to, turn_behind: of a century, of two, of that
    which begins, behind two. ordinals: marks behind figures. drop: words that say nothing of a
    date; before_day: only before a day. to: words that lead to the last of two dates; at_before:
    before what they mean "at" or "in". decade_article: before a short decade that ends the text.
    unread: what must not be read by its parts. from_or_of: words for "from" that mean "of" too.
    dots: 1.2.1934 is the first of February. day_slash: so is 1/2 1934. roman_months: so is
    1.II.1934; roman_month_alone: II 1934 is that month. bare_roman_century: "XIX" alone is a
    century. years_named: "years 1950-1960" are no decades.
    """

    name: str
    months: list[list[str]]
    seasons: list[list[str]]
    weekdays: list[list[str]]
    circa: list[str]
    probably: list[str]
    before: list[str]
    after: list[str]
    not_after: list[str]
    not_before: list[str]
    since: list[str]
    from_: list[str] = msgspec.field(name="from")
    until: list[str]
    between: list[str]
    and_: list[str] = msgspec.field(name="and")
    or_: list[str] = msgspec.field(name="or")
    or_earlier: list[str]
    or_later: list[str]
    early: list[str]
    mid: list[str]
    late: list[str]
    first: list[str]
    second: list[str]
    third: list[str]
    fourth: list[str]
    last: list[str]
    half: list[str]
    quarter: list[str]
    third_part: list[str]
    century: list[str]
    undated: list[str]
    printed: list[str]
    drop: list[str]
    turn: list[str]
    turn_of: list[str]
    tens: dict[str, int]
    at_before: list[Literal["day", "season", "century"]] = []
    before_day: list[str] = []
    unread: list[str] = []
    decade_article: list[str] = []
    from_or_of: list[str] = []
    to: list[str] = []
    middle: list[str] = []
    century_ordinals: dict[str, int] = {}
    before_century: dict[str, str] = {}
    turn_to: list[str] = []
    turn_behind: list[str] = []
    decade_endings: list[str] = []
    acquired: list[str] = []
    month_endings: list[str] = []
    first_half: list[str] = []
    second_half: list[str] = []
    tens_after: list[str] = []
    decade_before: list[str] = []
    decade_after: list[str] = []
    hundreds: dict[str, int] = {}
    ordinals: list[str] = []
    dots: bool = False
    day_slash: bool = False
    roman_months: bool = False
    roman_month_alone: bool = False
    bare_roman_century: bool = False
    years_named: bool = False

    @cached_property
    def ordinal(self) -> str:
        """Pattern of what may stand behind a figure that counts."""
        marks = sorted({*self.ordinals, "."}, key=len, reverse=True)
        return "(?:" + "|".join(re.escape(mark) for mark in marks) + ")?"

    @cached_property
    def words(self) -> dict[str, str]:
        """Each word or phrase with what it stands for."""
        out: dict[str, str] = {}
        for spellings, english in (
            *zip(self.months, _MONTHS, strict=True),
            *zip(self.seasons, _SEASONS, strict=True),
            *zip(self.weekdays, _WEEKDAYS, strict=True),
        ):
            for spelling in spellings:
                out[spelling] = english
        for month, english in zip(self.months, _MONTHS, strict=True):
            out |= {month[0] + ending: english for ending in self.month_endings}
        for name, english in _WORDS.items():
            for phrase in getattr(self, name):
                out.setdefault(phrase, english)
        for phrase in self.unread:
            out[phrase] = "UNREAD"
        for phrase in _ABOUT:
            out.setdefault(phrase, "CIRCA")
        for phrase in self.drop:
            out.setdefault(phrase, "")
        return out

    @cached_property
    def phrases(self) -> re.Pattern[str]:
        return re.compile(_either(self.words))

    @cached_property
    def ordinal_parts(self) -> re.Pattern[str]:
        """Pattern of "first half", with the ordinal in words or figures."""
        ordinals = "|".join(f"(?P<{name}>{_either(getattr(self, name))})" for name in _FIRSTS)
        parts = "|".join(f"(?P<{name}>{_either(getattr(self, name))})" for name in _PARTS)
        return re.compile(
            rf"(?:{ordinals}|(?<![\w.])(?P<figure>[1-4]|iv|i{{1,3}})"
            rf"{self.ordinal})\s*(?:{parts})"
        )

    @cached_property
    def decades(self) -> tuple[re.Pattern[str], ...]:
        """Patterns of a decade by its figures (d) or its word (t), with its century (n) if any."""
        figures = rf"'?(?P<d>\d{{3}}0|[1-9]0)(?!\d){self.decade_mark}"
        word = f"(?P<t>{_either(self.tens)})"
        century = self.decade_century
        out = []
        if self.decade_before:
            out.append(rf"{_either(self.decade_before)}\s*(?:{figures}|{word}){century}")
        if self.decade_after:
            figures = r"'?(?P<d>\d{3}0|[1-9]0)(?!\d)"
            out.append(rf"(?<![\w']){figures}\s?{self.after_figures}(?![^\W\d_]){century}")
        if self.decade_article:
            out.append(rf"{_either(self.decade_article)}\s*'?(?P<d>[2-9]0)(?=[\s.?()\]]*$)")
        following = f"(?:{self.gap}{_either(self.tens_after)})?" if self.tens_after else ""
        out.append(rf"{word}{following}{century}")
        return tuple(re.compile(pattern) for pattern in out)

    @cached_property
    def gap(self) -> str:
        """Pattern of a blank with words that say nothing."""
        return rf"(?:\s+(?:{_either(self.drop)})){{0,3}}\s*"

    @cached_property
    def decade_mark(self) -> str:
        """Pattern of what may stand behind the figures of a decade."""
        endings = "|".join(map(re.escape, _longest_first(self.decade_endings))) or "(?!)"
        return rf"(?:(?:{endings})(?![^\W\d_])|\.(?=[\s?/)\]–-]|$))?"

    @cached_property
    def after_figures(self) -> str:
        return "(?:" + "|".join(map(re.escape, _longest_first(self.decade_after))) + ")"

    @cached_property
    def decade_century(self) -> str:
        """Pattern of the century behind a decade (n, m or h), if any."""
        hundred = f"|(?P<h>{_either(self.hundreds)})" if self.hundreds else ""
        return (
            rf"(?:{self.gap}(?:(?P<n>{_NUMBER}){self.ordinal}\s*{_either(self.century)}"
            rf"|{_either(self.century)}\s*(?P<m>{_NUMBER})(?!\w){hundred}))?"
        )

    @cached_property
    def joints(self) -> str:
        """Pattern of the words between two of a kind."""
        return _either((*self.and_, *self.or_, *self.until, *self.to))

    @cached_property
    def decade_pairs(self) -> tuple[re.Pattern[str], ...]:
        """Patterns of two decades (d or t, d2 or t2) that share what says so."""
        joint = rf"\s*(?:[-–/]|{self.joints})\s*"
        first, second = r"'?(?P<d>\d{3}0|[1-9]0)(?!\d)", r"'?(?P<d2>\d{3}0|[1-9]0)(?!\d)"
        words = [f"(?P<{name}>{_either(self.tens)})" for name in ("t", "t2")]
        out = []
        if self.decade_before:
            before, mark = _either(self.decade_before), self.decade_mark
            no_day = rf"(?!{self.gap}{_either(name for each in self.months for name in each)})"
            out.append(
                rf"{before}\s*(?:{first}{mark}|{words[0]}){joint}(?:{before}\s*)?{self.gap}"
                rf"(?:{second}{mark}|{words[1]}){no_day}{self.decade_century}"
            )
        if self.decade_after:
            after = self.after_figures
            out.append(
                rf"(?<![\w']){first}(?:\.?\s*[-–/]|(?:\s?{after}|-|\.){joint}){self.gap}"
                rf"{second}\s?{after}(?![^\W\d_]){self.decade_century}"
            )
        if self.tens:
            following = f"(?:{self.gap}{_either(self.tens_after)})?" if self.tens_after else ""
            out.append(rf"{words[0]}{joint}{words[1]}{following}{self.decade_century}")
        return tuple(re.compile(pattern) for pattern in out)

    @cached_property
    def centuries(self) -> tuple[re.Pattern[str], ...]:
        """Patterns of one century (n), or of two (n, m) that share the word."""
        word = _either(self.century)
        joint = rf"\s*(?:[-–/]|{self.joints}){self.gap}"
        first, second = (rf"(?P<{each}>{_NUMBER})\s?{self.ordinal}" for each in "nm")
        return tuple(
            re.compile(pattern)
            for pattern in (
                rf"(?<!\w){first}(?P<joint>{joint}){second}\s*{word}",
                rf"{word}\s*{first}(?P<joint>{joint}){second}(?![\w])",
                rf"(?<!\w){first}\s*{word}",
                rf"{word}\s*{first}(?!\w)",
            )
        )


_NO_LETTER = r"(?![^\W\d_])"


def _longest_first(phrases: Iterable[str]) -> list[str]:
    return sorted(phrases, key=len, reverse=True)


def _either(phrases: Iterable[str]) -> str:
    """Return a pattern of any of these, each by itself: no letter before or after it."""
    inner = "|".join(
        re.escape(phrase).replace(r"\ ", r"\s+") + ("" if phrase[-1] in "-'" else _NO_LETTER)
        for phrase in _longest_first(phrases)
    )
    return rf"(?<![^\W\d_])(?:{inner})" if inner else "(?!)"


@lru_cache(maxsize=len(CODES))
def table(code: str) -> Language:
    """Return the words of a language by its code (ISO 639-1)."""
    return msgspec.yaml.decode((TABLES / f"{code}.yaml").read_bytes(), type=Language)


def in_english(text: str, code: str) -> str | None:
    """Return the text in the English words of dates, or None where it has too many characters."""
    if len(text) > MAX_CHARS:
        return None
    language = table(code)
    plain = _tidy(_roman_month_alone(text, language))
    bare = plain.strip(" .,;:[]()")
    if bare in _NO_DATE or bare in {each.strip(" .") for each in language.undated}:
        return "undated"
    plain = _roman_months(plain, language)
    if language.before_day:
        plain = re.sub(rf"{_either(language.before_day)}\s*(?=\d\d?(?!\d))", "", plain)
    plain = _days_in_figures(plain, language)
    plain = _century_words(plain, language)
    plain = language.ordinal_parts.sub(_ordinal_part, plain)
    plain = _turns(plain, language)
    for pattern in language.decade_pairs:
        plain = pattern.sub(lambda match: _decade_pair(match, language), plain)
    for pattern in language.decades:
        plain = pattern.sub(lambda match: _decade(match, language), plain)
    for pattern in language.centuries:
        plain = pattern.sub(_century, plain)
    if language.hundreds:
        plain = re.sub(
            _either(language.hundreds), lambda m: f" {language.hundreds[m[0]]}TH CENTURY ", plain
        )
    plain = language.phrases.sub(lambda match: f" {language.words[_one(match[0])]} ", plain)
    return _in_order(plain, language).lower()


def _one(phrase: str) -> str:
    return " ".join(phrase.split())


def _tidy(text: str) -> str:
    """Return lower case in composed form, with one kind of blank, quote and dash."""
    plain = unicodedata.normalize("NFC", text).replace("\u00a0", " ")
    # What is in capitals by now is English.
    plain = "".join(part if part in _MONTHS else part.lower() for part in _MONTH_PARTS.split(plain))
    plain = plain.replace("ᵉ", "e").replace("ʳ", "r").replace("¿", "")
    plain = re.sub("[’‘`´ʼ]", "'", plain)
    plain = re.sub(r"[\u2012-\u2015]|(?<=\d)--(?=\d)", "–", plain).replace("\u2010", "-")
    plain = re.sub(r"(?<=\d)\s*([-–/])\s*'(?=\d\d(?!\d))", r"\1", plain)
    plain = re.sub(r"(?<=[^\W\d_])\s?:(?=\s)", "", " ".join(plain.split()))
    bracketed = re.fullmatch(r"\[([^\[\]]+)\]\.?|\(([^()]+)\)\.?", plain)
    return (bracketed[1] or bracketed[2]).strip() if bracketed else plain


def _roman_month_alone(text: str, language: Language) -> str:
    """Write the month of "IX 1874", "IX/1874" and "1874 IX 9" in words: capitals alone count."""
    if not language.roman_month_alone:
        return text

    def month(match: re.Match[str]) -> str:
        number = _ROMAN[match["month"].lower()]
        return f"{_MONTHS[number - 1]} " if number <= 12 else match[0]

    # "V 1874" may be "in 1874" in Czech.
    mark = r"(?P<month>[IVX]{1,4})" + (
        r"(?:[./]\s?|\s)" if "v" not in language.drop else r"[./]\s?"
    )
    text = re.sub(rf"(?<![\w.])(?<!\d\s){mark}(?=\d{{4}}(?!\d))", month, text)
    return re.sub(r"(?<=\b\d{4}\s)(?P<month>[IVX]{1,4})\s(?=\d\d?(?!\d))", month, text)


def _days_in_figures(plain: str, language: Language) -> str:
    """Write "9.-11.8.1880" and "30.8.-1.9.1880" with the months in words."""
    if not language.dots:
        return plain

    def days(match: re.Match[str]) -> str:
        first, last = int(match["m"] or match["m2"]), int(match["m2"])
        if not (1 <= first <= 12 and 1 <= last <= 12):
            return match[0]
        if first == last:
            return f"{match['d']}–{match['d2']} {_MONTHS[last - 1]} {match['y']}"
        return f"{match['d']} {_MONTHS[first - 1]} – {match['d2']} {_MONTHS[last - 1]} {match['y']}"

    return re.sub(
        r"(?<![\d./])(?P<d>\d\d?)\.?(?:\s?(?P<m>\d\d?)\.)?\s*[-–/]\s*"
        r"(?P<d2>\d\d?)\.\s?(?P<m2>\d\d?)\.\s?(?P<y>\d{4})(?!\d)",
        days,
        plain,
    )


def _century_words(plain: str, language: Language) -> str:
    """Write the figures of a century in words, and what a letter before them means."""
    word, ordinals = _either(language.century), language.century_ordinals
    if ordinals:
        before = _either(name for name in ordinals if name not in language.tens)
        for pattern in (
            rf"(?P<w>{before})(?=\s+{word})",
            rf"(?P<c>{word}\s+)(?P<w>{_either(ordinals)})",
        ):
            plain = re.sub(
                pattern,
                lambda match: f"{match.groupdict().get('c') or ''}{ordinals[_one(match['w'])]}",
                plain,
            )
    if language.before_century:
        letters = _either(language.before_century)
        plain = re.sub(
            rf"({letters})(?=\s*{_NUMBER}{language.ordinal}\s*{word})",
            lambda match: f"{language.before_century[match[0]]} ",
            plain,
        )
    return plain


def _roman_months(plain: str, language: Language) -> str:
    """Write the month of "12.V.1937" and "12 V 1937" in words."""
    if not language.roman_months:
        return plain

    def month(match: re.Match[str]) -> str:
        number = _ROMAN[match[2]]
        return f"{match[1]} {_MONTHS[number - 1]} {match[3]}" if number <= 12 else match[0]

    return re.sub(
        rf"(?<!\d)(\d\d?)\.?[\s/-]?({_LONGEST_FIRST})[.\s/-]\s?(\d{{4}})(?!\d)", month, plain
    )


def _ordinal_part(match: re.Match[str]) -> str:
    found = match.groupdict()
    part = next(english for name, english in _PARTS.items() if found[name])
    if found["figure"]:
        return f" {_FIRSTS[_ordinal_number(found['figure']) - 1].upper()} {part} "
    return f" {next(name for name in _FIRSTS if found[name]).upper()} {part} "


def _turns(plain: str, language: Language) -> str:
    """Write the turn of a century as about its first year, or as the years about it."""
    joint = rf"\s*(?:[-–/]|{language.joints})\s*"
    word, drop = _either(language.century), rf"(?:\s*{_either(language.drop)}\s*){{0,3}}"
    hundreds = rf"(?:(?P<h>1[4-9]00)(?:\s?{language.after_figures}|-)?{joint})?(?P<y>1[5-9]00|2000)"
    if language.turn_of:
        pattern = (
            rf"{_either(language.turn_of)}\s*{drop}(?:{word}\s*)?(?P<n>{_NUMBER}){language.ordinal}"
            rf"(?:\s*{word})?{joint}{drop}(?:{word}\s*)?(?P<m>{_NUMBER}){language.ordinal}(?!\d)\s*(?:{word})?"
        )
        plain = re.sub(pattern, _turn_of, plain)
        if language.decade_after:
            pattern = (
                rf"{_either(language.turn_of)}\s*{drop}{hundreds}(?:\s?{language.after_figures})?"
            )
            plain = re.sub(pattern, _turn_of_hundreds, plain)
    if language.turn_to:
        pattern = (
            rf"{_either(language.turn_to)}\s*(?P<n>{_NUMBER}){language.ordinal}\s*{word}(?!{joint})"
        )
        plain = re.sub(pattern, _turn_to, plain)
    if language.turn_behind:
        pattern = rf"(?<!\d){hundreds}\s?{language.after_figures}\s*{_either(language.turn_behind)}"
        plain = re.sub(pattern, _turn_of_hundreds, plain)
    if language.turn:
        about = _either((*language.circa, *_ABOUT))
        circa = f"(?:{_either((*language.circa, *language.drop, *_ABOUT))}\\s*){{0,4}}"
        year = rf"(?:\s*\(?(?:{about}\s*)?(?:(?P<h>1[4-9]00)\s*[-–/]\s*)?(?P<y>1[5-9]00|2000)\)?)?"
        plain = re.sub(rf"{circa}{_either(language.turn)}{year}(?!\d)", _turn_of_hundreds, plain)
    return plain


def _turn_of_hundreds(match: re.Match[str]) -> str:
    """Return the years about 1900 for "1800-1900", "1900" and without years."""
    first, second = match["h"], match["y"] or "1900"
    return f"CIRCA {second}" if not first or int(first) + 100 == int(second) else match[0]


def _turn_to(match: re.Match[str]) -> str:
    number = _ordinal_number(match["n"])
    return f"CIRCA {number - 1}00" if _century_text(number) else match[0]


def _turn_of(match: re.Match[str]) -> str:
    first, second = _ordinal_number(match["n"]), _ordinal_number(match["m"])
    if second != first + 1 or not _FIRST_CENTURY <= first < _LAST_CENTURY:
        return match[0]
    return f"CIRCA {first * 100 - 10}–{first * 100 + 10}"


def _ordinal_number(text: str) -> int:
    return int(text) if text.isdigit() else _ROMAN[text]


def _century_text(number: int) -> str | None:
    ordinal = f"{number}{'st' if number == 21 else 'th'}"
    return f"{ordinal.upper()} CENTURY" if _FIRST_CENTURY <= number <= _LAST_CENTURY else None


def _century(match: re.Match[str]) -> str:
    found = match.groupdict()
    first = _century_text(_ordinal_number(found["n"]))
    if not found.get("m"):
        return f" {first} " if first else match[0]
    second = _century_text(_ordinal_number(found["m"]))
    return f" {first} – {second} " if first and second else match[0]


def _decade(match: re.Match[str], language: Language) -> str:
    found = match.groupdict()
    figures = found.get("d") or str(language.tens[_one(found["t"])])
    century = _century_of_decade(found, language)
    if len(figures) == 4:
        return f" {figures}S " if century is None else match[0]
    if century is None:
        return f" CIRCA 19{figures}S "
    return f" {century - 1}{figures}S " if _century_text(century) else match[0]


def _century_of_decade(found: dict[str, str | None], language: Language) -> int | None:
    number = found.get("n") or found.get("m")
    if number:
        return _ordinal_number(number)
    hundred = found.get("h")
    return language.hundreds[hundred] if hundred else None


def _decade_pair(match: re.Match[str], language: Language) -> str:
    """Return two decades, to the end of the second."""
    found = match.groupdict()
    first, second = (
        found.get(f"d{each}") or str(language.tens[_one(found[f"t{each}"])]) for each in ("", "2")
    )
    century = _century_of_decade(found, language)
    if len(first) == len(second) == 4 and language.years_named:
        return match[0]
    if len(first) == 4 and len(second) == 2:
        second = first[:2] + second
    about = ""
    if len(first) == 2 and len(second) == 2:
        if century is not None and not _century_text(century):
            return match[0]
        about = "" if century else "CIRCA "
        hundred = century - 1 if century else 19
        first, second = f"{hundred}{first}", f"{hundred}{second}"
    elif century is not None:
        return match[0]
    if len(first) != 4 or int(first) >= int(second):
        return match[0]
    return f" {about}{first}S – {second}S "


_AFTER_AT = {
    "day": rf"\d\d? {_MONTH_WORD}",
    "season": _SEASON_WORD,
    "century": r"\d\d[A-Z]{2} CENTURY",
}


def _without_at(plain: str, language: Language) -> str:
    """Write the words that mean "to" between two dates and "at" or "in" before a single one.

    Where both are possible they stay, and the text is not understood.
    """
    at = re.match(rf"((?:(?!{_MONTH_WORD}|{_SEASON_WORD}|BETWEEN)\D)*?)(?<![A-Z])TO (.+)$", plain)
    if at:
        means_at = "|".join((_PART_WORD, *(_AFTER_AT[each] for each in language.at_before)))
        return at[1] + at[2] if re.match(means_at, at[2]) else plain
    return re.sub(r"(?<![A-Z])TO(?= )", "UNTIL", plain)


def _without_of(plain: str) -> str:
    """Write the words that mean "from" and "of": before a year alone the wider is true."""
    whole = rf"(?:CIRCA |{_PART_WORD} )*(?:\d{{4}}S|\d\d[A-Z]{{2}} CENTURY)"
    plain = re.sub(rf"^((?:PROBABLY |CIRCA )*)FROM_OF (?={whole}(?! UNTIL))", r"\1", plain)
    plain = re.sub(r"^((?:PROBABLY |CIRCA )+)FROM_OF (?=\d{4}$)", r"\1", plain)
    plain = re.sub(r"FROM_OF (?=BEFORE|AFTER)", "", plain)
    return plain.replace("FROM_OF", "SINCE")


def _parts_of_centuries(plain: str, language: Language) -> str:
    """Write the centuries of "end XIX" and "end 19th - beginning 20th century"."""

    def part(match: re.Match[str]) -> str:
        century = _century_text(_ordinal_number(match["n"]))
        return f"{match['part']} {century}" if century else match[0]

    roman = "xv|xvi|xvii|xviii|xix|xx|xxi"
    plain = re.sub(rf"(?P<part>{_PART_WORD})\s+(?P<n>{roman}){language.ordinal}(?!\w)", part, plain)
    figures = rf"(?P<part>{_PART_WORD})\s+(?P<n>1[5-9]|2[01])(?!\d){language.ordinal}"
    joint = r"\s*(?:[-–/,]|AND|OR|UNTIL)"
    plain = re.sub(rf"{figures}(?={joint}\D*\d\d[A-Z]{{2}} CENTURY)", part, plain)
    if "CENTURY" in plain:
        plain = re.sub(rf"{figures}(?=$|\s*\()", part, plain)
    plain = re.sub(rf"(CENTURY)\s*[-–/,]\s*(?={_PART_WORD} \d)", r"\1 – ", plain)
    whole = r"(\d\d[A-Z]{2} CENTURY|\d{4}S)"
    return re.sub(
        rf"^{whole},?\s+({_PART_WORD})\s*(?:[-–/]|OR|AND)\s*{whole},?\s+({_PART_WORD})$",
        r"\2 \1 – \4 \3",
        plain,
    )


def _in_order(plain: str, language: Language) -> str:
    """Return the words in the order that English has them."""
    plain = _tidied(plain)
    plain = _without_at(_without_of(plain), language)
    plain = _parts_of_centuries(plain, language)
    if language.bare_roman_century:
        plain = re.sub(
            r"^\[?(xv|xvi|xvii|xviii|xix|xx|xxi)\]?(?=$|\s*[,(])",
            lambda match: str(_century_text(_ROMAN[match[1]])),
            plain,
        )
    plain = _with_days(plain, language)
    for pattern, english in _ORDER:
        plain = pattern.sub(english, plain)
    if _LIMIT_OF_A_RANGE.match(plain):
        return "not understood"
    # A bare decade that is a part of something, or one side of a range.
    if re.search(r"(?<!^)CIRCA 19\d0S", plain):
        plain = "CIRCA " + plain.replace("CIRCA ", "")
    return _tidied(plain)


def _tidied(plain: str) -> str:
    plain = re.sub(r"\s+([,;)\]])", r"\1", " ".join(plain.split()))
    return re.sub(r"([(\[])\s+", r"\1", plain).strip(" ,;")


def _with_days(plain: str, language: Language) -> str:
    """Write days and their months as English has them."""
    mark = rf"(?:{language.ordinal[:-1]}|:[ae]|er|º|°|ª)"
    plain = re.sub(
        rf"(?<!\d)(\d\d?){mark}?\s*[-–/]\s*(?=\d\d?{mark}?\s*{_MONTH_WORD})", r"\1–", plain
    )
    plain = re.sub(
        rf"(?<!\d)(\d\d?){mark}\s*(?=(?:AND|OR|UNTIL) \d\d?{mark}?\s*{_MONTH_WORD})",
        r"\1 ",
        plain,
    )
    plain = re.sub(rf"(?<!\d)(\d\d?){mark}\s*(?={_MONTH_WORD})", r"\1 ", plain)
    plain = re.sub(rf"({_MONTH_WORD})\s*\.(?=\s|$|[-–/])", r"\1", plain)
    plain = re.sub(rf"({_MONTH_WORD})-({_MONTH_WORD})", r"\1 - \2", plain)
    if language.day_slash:
        plain = re.sub(
            r"(?<![\d/])(0?[1-9]|[12]\d|3[01])/(0?[1-9]|1[0-2])\s*[-\s]\s*(\d{4})(?!\d)",
            lambda match: f"{match[3]}-{int(match[2]):02d}-{int(match[1]):02d}",
            plain,
        )
    return plain


_DOUBTS = "((?:PROBABLY |CIRCA )*)"
# A limit is one date: the other end of a range would be lost.
_LIMIT_OF_A_RANGE = re.compile(
    r"^(?:PROBABLY |CIRCA )*(?:SINCE|NOT BEFORE|NOT AFTER|BEFORE|AFTER)\b(?!.* AND )"
    r".*(?: UNTIL | to | – |\d{4}S?\s*[-–]\s*(?:CIRCA )?\d{4})"
)
# In turn: what stands behind in other languages, or is said by two words, as English has it.
_ORDER = tuple(
    (re.compile(pattern), english)
    for pattern, english in (
        (
            rf"(?<![\d./-])(?<![A-Z] )(?<![A-Z], )(\d{{4}})\s*,?\s+(\d\d?(?:–\d\d?)?) "
            rf"({_MONTH_WORD})(?!\s*,?\s*[\d–-])",
            r"\2 \3 \1",
        ),
        (rf"(?<!\d)(\d{{4}})\s*,\s*({_MONTH_WORD})\s*,\s*(\d\d?)(?!\d)", r"\3 \2 \1"),
        (
            rf"^((?:{_LIMIT_WORD} )*)(\d{{4}}(?:[-/–]\d\d(?:\d\d)?)?)\s*,?\s+({_SEASON_WORD})"
            r"(?=$|\s*[(?])",
            r"\1\3 \2",
        ),
        (rf"({_MONTH_WORD}) (EARLY|MID|LATE) (\d{{4}})", r"\2 \1 \3"),
        (rf"({_SEASON_WORD}) (?:FROM|SINCE) (\d{{4}})", r"\1 \2"),
        (rf"^(.*\d\S*) ({_PART_WORD}) CIRCA$", r"CIRCA \2 \1"),
        (r"(\d{4}S) (?:OR|AND|UNTIL) (?=(?:CIRCA )?\d{4}S)", r"\1 – "),
        (r"^(\d\d?)-(\d{4})$", r"\1/\2"),
        (rf"^FROM (\d\d? {_MONTH_WORD} \d{{4}})$", r"\1"),
        (r"^((?:PROBABLY |CIRCA )*)(?:SINCE|FROM) (.+) OR LATER$", r"\1\2 OR LATER"),
        (rf"^({_MONTH_WORD}) AND ({_MONTH_WORD}) BETWEEN (\d{{4}})$", r"BETWEEN \1 AND \2 \3"),
        (r"^ei (\d.*) AFTER$", r"NOT AFTER \1"),
        (r"^(\d{4}) BETWEEN\s*,\s*(\d{4}) AND$", r"BETWEEN \1 AND \2"),
        (r"^(?!BETWEEN)(.+?)(?: AND |\s*[-–]\s*)(.+) BETWEEN$", r"BETWEEN \1 AND \2"),
        (rf"^{_DOUBTS}(?:BETWEEN|FROM|SINCE) (.+?) UNTIL (.+)$", r"\1\2 to \3"),
        (rf"^{_DOUBTS}(?:FROM|SINCE) (\S+?)(\s*[-–]\s*)(\S+)$", r"\1\2\3\4"),
        (rf"^{_DOUBTS}(?:FROM|SINCE) ([^–]+ – [^–]+)$", r"\1\2"),
        (r"^(?:FROM |SINCE )?(.+?) SINCE$", r"NOT BEFORE \1"),
        (r"^SINCE (.+)$", r"NOT BEFORE \1"),
        (r"^(?:UNTIL )?(.+?) (?:UNTIL|NOT AFTER)$", r"NOT AFTER \1"),
        (r"^(?!(?:CIRCA |PROBABLY )?UNTIL)(.+?) UNTIL (.+)$", r"\1 to \2"),
        (r"^((?:CIRCA |PROBABLY )?)UNTIL (.+)$", r"\1NOT AFTER \2"),
        (rf"^(?!.*{_PART_WORD}.*\d)(.*\d.*?),?\s*\(?({_PART_WORD})\)?$", r"\2 \1"),
        (
            rf"^((?:PROBABLY |CIRCA )*)(?!{_LIMIT_WORD})(.*\d\S*),?\s*\(?({_LIMIT_WORD})\)?$",
            r"\1\3 \2",
        ),
        (r"^([^A-Z]*\d{4}[^A-Z;]*?)\s*;\s*[\d/]+ ACQUIRED$", r"\1"),
        (r"^([\d/]+) ACQUIRED$", r"NOT AFTER \1"),
        (r"^AFTER (.+?)\s*[-–]\s*BEFORE (.+)$", r"AFTER \1 AND BEFORE \2"),
        (r"^(?:AUTUMN|SPRING|SUMMER|WINTER) OF ", r""),
    )
)


def readings(text: str, codes: Iterable[str]) -> Iterator[str]:
    """Yield the text in English words, once for each language."""
    for code in codes:
        english = in_english(text, code)
        if english is not None:
            yield english
