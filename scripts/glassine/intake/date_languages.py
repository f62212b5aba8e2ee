"""Dates in words of other languages, put into the English ones that `date_words` reads.

One table a language (`languages/<code>.yaml`): its words for each English one. Nothing is guessed:
a word that no table knows stays as it is, so that the English reader does not understand it. A
bare decade ("años 30") is that of the twentieth century, about; the turn of a century without
a number is about 1900 (both common practice, no source).
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from functools import cached_property, lru_cache
from pathlib import Path

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
_FIRSTS = ("first", "second", "third", "fourth", "last")
_PARTS = {"half": "HALF", "quarter": "QUARTER", "third_part": "THIRD"}
# What each list of a table stands for; of two that know the same word the former is taken.
_WORDS = {
    "until": "UNTIL",
    "not_after": "NOT AFTER",
    "not_before": "NOT BEFORE",
    "or_earlier": "OR EARLIER",
    "or_later": "OR LATER",
    "between": "BETWEEN",
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
_PART_WORD = r"(?:EARLY|MID|LATE|(?:FIRST|SECOND|THIRD|FOURTH|LAST) (?:HALF|QUARTER|THIRD))"
_LIMIT_WORD = r"(?:NOT AFTER|NOT BEFORE|BEFORE|AFTER|CIRCA|PROBABLY)"
# Centuries of photographs and of what they reproduce; others are no centuries but typing errors.
_FIRST_CENTURY, _LAST_CENTURY = 14, 21
_MONTH_WORD = "(?:" + "|".join(_MONTHS) + ")"


class Language(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, dict=True):
    """The words of one language for dates, in lower case.

    months: twelve lists; month_endings: that may follow each of them. decade_before, decade_after:
    beside the figures of a decade. tens: {word: 30}, tens_after: words that may follow. hundreds:
    {word for a century: its number}. acquired: a date after which nothing was made. turn, turn_of:
    of a century, of two. ordinals: marks behind figures. drop: words that say nothing of a date.
    dots: 1.2.1934 is the first of February. day_slash: so is 1/2 1934. bare_roman_century: "XIX"
    alone is a century.
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
    bare_roman_century: bool = False

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
            rf"(?:{ordinals}|(?<![\w.])(?P<figure>[1-4]){self.ordinal})\s*(?:{parts})"
        )

    @cached_property
    def decades(self) -> tuple[re.Pattern[str], ...]:
        """Patterns of a decade by its figures (d) or its word (t), with its century (n) if any."""
        figures = r"'?(?P<d>\d{3}0|[1-9]0)(?!\d)"
        word = f"(?P<t>{_either(self.tens)})" if self.tens else "(?P<t>(?!))"
        gap = rf"(?:\s+(?:{_either(self.drop)}))*\s*"
        hundred = f"|(?P<h>{_either(self.hundreds)})" if self.hundreds else ""
        century = (
            rf"(?:{gap}(?:(?P<n>{_NUMBER}){self.ordinal}\s*{_either(self.century)}"
            rf"|{_either(self.century)}\s*(?P<m>{_NUMBER})(?!\w){hundred}))?"
        )
        out = []
        if self.decade_before:
            before = _either(self.decade_before)
            out.append(rf"{before}\s*(?:{figures}(?:\.(?=\s|$))?|{word}){century}")
        if self.decade_after:
            after = "(?:" + "|".join(map(re.escape, _longest_first(self.decade_after))) + ")"
            out.append(rf"(?<![\w']){figures}\s?{after}(?![^\W\d_]){century}")
        following = f"(?:{gap}{_either(self.tens_after)})?" if self.tens_after else ""
        out.append(rf"{word}{following}{century}")
        return tuple(re.compile(pattern) for pattern in out)

    @cached_property
    def centuries(self) -> tuple[re.Pattern[str], ...]:
        """Patterns of one century (n), or of two (n, m) that share the word."""
        word = _either(self.century)
        joint = rf"\s*(?:[-–/]|{_either(self.and_)}|{_either(self.or_)})\s*"
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


def _longest_first(phrases: Iterable[str]) -> list[str]:
    return sorted(phrases, key=len, reverse=True)


def _either(phrases: Iterable[str]) -> str:
    """Return a pattern of any of these, each by itself: no letter before or after it."""
    inner = "|".join(re.escape(phrase).replace(r"\ ", r"\s+") for phrase in _longest_first(phrases))
    return rf"(?<![^\W\d_])(?:{inner})(?![^\W\d_])" if inner else "(?!)"


@lru_cache(maxsize=len(CODES))
def table(code: str) -> Language:
    """Return the words of a language by its code (ISO 639-1)."""
    return msgspec.yaml.decode((TABLES / f"{code}.yaml").read_bytes(), type=Language)


def in_english(text: str, code: str) -> str | None:
    """Return the text in the English words of dates, or None where it has too many characters."""
    if len(text) > MAX_CHARS:
        return None
    language = table(code)
    plain = _tidy(text)
    bare = plain.strip(" .,;:[]()")
    if bare in {each.strip(" .") for each in language.undated}:
        return "undated"
    plain = _roman_months(plain, language)
    plain = language.ordinal_parts.sub(_ordinal_part, plain)
    plain = _turns(plain, language)
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
    plain = unicodedata.normalize("NFC", text).replace("\u00a0", " ").lower()
    plain = re.sub("[’‘`´ʼ]", "'", plain)
    plain = re.sub(r"[\u2012-\u2015]|(?<=\d)--(?=\d)", "–", plain).replace("\u2010", "-")
    plain = re.sub(r"(?<=\d)\s*([-–/])\s*'(?=\d\d(?!\d))", r"\1", plain)
    return " ".join(plain.split())


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
        return f" {_FIRSTS[int(found['figure']) - 1].upper()} {part} "
    return f" {next(name for name in _FIRSTS if found[name]).upper()} {part} "


def _turns(plain: str, language: Language) -> str:
    """Write the turn of a century as about its first year, or as the years about it."""
    if language.turn_of:
        joint = rf"\s*(?:[-–/]|{_either((*language.and_, *language.until))})\s*"
        word, drop = _either(language.century), rf"(?:\s*{_either(language.drop)}\s*)*"
        pattern = (
            rf"{_either(language.turn_of)}\s*{drop}(?:{word}\s*)?(?P<n>{_NUMBER}){language.ordinal}"
            rf"{joint}{drop}(?P<m>{_NUMBER}){language.ordinal}\s*(?:{word})?"
        )
        plain = re.sub(pattern, _turn_of, plain)
    if language.turn:
        circa = f"(?:{_either((*language.circa, *language.drop))}\\s*)*"
        pattern = rf"{circa}{_either(language.turn)}(?:\s*\(?(?P<y>1[5-9]00|2000)\)?)?"
        plain = re.sub(pattern, lambda match: f"CIRCA {match['y'] or 1900}", plain)
    return plain


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
    number = found.get("n") or found.get("m")
    hundred = found.get("h")
    if len(figures) == 4:
        return f" {figures}S " if not (number or hundred) else match[0]
    if number is None and hundred is None:
        return f" CIRCA 19{figures}S "
    century = _ordinal_number(number) if number else language.hundreds[hundred or ""]
    return f" {century - 1}{figures}S " if _century_text(century) else match[0]


def _in_order(plain: str, language: Language) -> str:
    """Return the words in the order that English has them."""
    plain = _tidied(plain)
    plain = re.sub(
        rf"({_PART_WORD})\s+(xv|xvi|xvii|xviii|xix|xx|xxi)(?!\w)",
        lambda match: f"{match[1]} {_century_text(_ROMAN[match[2]])}",
        plain,
    )
    if language.bare_roman_century:
        plain = re.sub(
            r"^\[?(xv|xvi|xvii|xviii|xix|xx|xxi)\]?(?=$|\s*[,(])",
            lambda match: str(_century_text(_ROMAN[match[1]])),
            plain,
        )
    plain = _with_days(plain, language)
    for pattern, english in _ORDER:
        plain = pattern.sub(english, plain)
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
    plain = re.sub(rf"(?<!\d)(\d\d?){mark}\s*(?=[-–]\s*\d\d?{mark}?\s*{_MONTH_WORD})", r"\1", plain)
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


# In turn: what stands behind in other languages, or is said by two words, as English has it.
_ORDER = tuple(
    (re.compile(pattern), english)
    for pattern, english in (
        (r"^(\d{4}) BETWEEN\s*,\s*(\d{4}) AND$", r"BETWEEN \1 AND \2"),
        (r"^(?!BETWEEN)(.+?)(?: AND |\s*[-–]\s*)(.+) BETWEEN$", r"BETWEEN \1 AND \2"),
        (r"^(?:BETWEEN|FROM|SINCE) (.+?) UNTIL (.+)$", r"\1 to \2"),
        (r"^(?:FROM|SINCE) (\S+?)(\s*[-–]\s*)(\S+)$", r"\1\2\3"),
        (r"^(?:FROM )?(.+?) SINCE$", r"NOT BEFORE \1"),
        (r"^SINCE (.+)$", r"NOT BEFORE \1"),
        (r"^(?:UNTIL )?(.+?) (?:UNTIL|NOT AFTER)$", r"NOT AFTER \1"),
        (r"^(?!(?:CIRCA |PROBABLY )?UNTIL)(.+?) UNTIL (.+)$", r"\1 to \2"),
        (r"^((?:CIRCA |PROBABLY )?)UNTIL (.+)$", r"\1NOT AFTER \2"),
        (rf"^(?!.*{_PART_WORD}.*\d)(.*\d.*?),?\s*\(?({_PART_WORD})\)?$", r"\2 \1"),
        (rf"^(?!{_LIMIT_WORD})(.*\d\S*),?\s*\(?({_LIMIT_WORD})\)?$", r"\2 \1"),
        (r"^([^A-Z]*\d{4}[^A-Z;]*?)\s*;\s*[\d/]+ ACQUIRED$", r"\1"),
        (r"^([\d/]+) ACQUIRED$|^ACQUIRED ([\d/]+)$", r"NOT AFTER \1\2"),
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
