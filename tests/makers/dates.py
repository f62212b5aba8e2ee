"""Dates of photographs as cataloguers of twelve languages write them, with their bounds.

Written from knowledge of the trade alone, apart from the tables that read dates: an opinion of
its own. Each language is a small grammar: kinds of dates, each with its usual wordings. Source of
wordings and forms: from memory, common practice, no source.

Line of a grammar: `kind: wording | wording`; a mark behind the kind says about (~), uncertain (?)
or both (%). Bounds of vague wordings: early, middle and late decade are its years 0-4, 3-7 and 5-9;
early century 00-34, middle 34-66, late 66-99; a bare decade is of the twentieth century.
"""

from __future__ import annotations

import calendar
import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

TEXTS = 600
SHARE_REFUSED = 0.05


@dataclass(frozen=True)
class Wording:
    """One date as written.

    earliest, latest: first and last day (ISO); None for an open end, both None for undated.
    slack_years: how far a fair reader may differ from them. about, uncertain: what the text says.
    day_first: it needs the setting that figures begin with the day. refused: no reader may
    understand it.
    """

    text: str
    kind: str
    earliest: str | None = None
    latest: str | None = None
    slack_years: int = 1
    about: bool = False
    uncertain: bool = False
    day_first: bool = False
    refused: bool = False


@dataclass(frozen=True)
class Grammar:
    """Words of one language. months: in a day; month: alone; month_in: with "in" (inflected).

    Forms are parted by blanks, equal ones by "/", a blank inside one is "_".
    """

    months: str
    short: str
    weekdays: str
    seasons: str
    decades: str
    centuries: str
    wordings: str
    month: str = ""
    month_in: str = ""
    seasons_in: str = ""
    first: str = "1"


@dataclass(frozen=True)
class Drawn:
    """Figures of one date: a day, a later one, a decade and a century."""

    day: date
    day2: date  # later in the same month
    year2: int  # later in the same century
    month2: int  # later in the same year
    decade: int  # first year
    century: int  # 20: the twentieth
    print_year: int


Bounds = tuple[date | None, date | None, int]


def _years(first: int, last: int, slack: int = 1) -> Bounds:
    return date(first, 1, 1), date(last, 12, 31), slack


def _month_end(year: int, month: int) -> date:
    return date(year, month, calendar.monthrange(year, month)[1])


def _months(year: int, month: int, year2: int, month2: int) -> Bounds:
    return date(year, month, 1), _month_end(year2, month2), 1


def _of_century(first: int, last: int, slack: int) -> Callable[[Drawn], Bounds]:
    return lambda drawn: _years(
        (drawn.century - 1) * 100 + first, (drawn.century - 1) * 100 + last, slack
    )


def _of_decade(first: int, last: int) -> Callable[[Drawn], Bounds]:
    return lambda drawn: _years(drawn.decade + first, drawn.decade + last)


# How many of a hundred dates are of the kind, roughly, and its bounds.
KINDS: dict[str, tuple[int, Callable[[Drawn], Bounds]]] = {
    "year": (16, lambda d: _years(d.day.year, d.day.year)),
    "day": (16, lambda d: (d.day, d.day, 0)),
    "figures": (4, lambda d: (d.day, d.day, 0)),
    "month": (8, lambda d: _months(d.day.year, d.day.month, d.day.year, d.day.month)),
    "season": (4, lambda d: _years(d.day.year, d.day.year)),
    "winter": (1, lambda d: _years(d.day.year, d.day.year + 1)),
    "part": (2, lambda d: _years(d.day.year, d.day.year)),
    "print": (2, lambda d: _years(d.day.year, d.day.year)),
    "before": (3, lambda d: (None, date(d.day.year - 1, 12, 31), 1)),
    "after": (3, lambda d: (date(d.day.year + 1, 1, 1), None, 1)),
    "not_after": (3, lambda d: (None, date(d.day.year, 12, 31), 1)),
    "not_before": (3, lambda d: (date(d.day.year, 1, 1), None, 1)),
    "before_day": (1, lambda d: (None, d.day, 0)),
    "after_day": (1, lambda d: (d.day, None, 0)),
    "range": (10, lambda d: _years(d.day.year, d.year2)),
    "days": (3, lambda d: (d.day, d.day2, 0)),
    "months": (2, lambda d: _months(d.day.year, d.day.month, d.day.year, d.month2)),
    "months_of_years": (1, lambda d: _months(d.day.year, d.day.month, d.year2, d.month2)),
    "or": (3, lambda d: _years(d.day.year, d.day.year + 1)),
    "decade": (8, _of_decade(0, 9)),
    "decades": (2, _of_decade(0, 19)),
    "decade_early": (3, _of_decade(0, 4)),
    "decade_middle": (2, _of_decade(3, 7)),
    "decade_late": (3, _of_decade(5, 9)),
    "century": (3, _of_century(0, 99, 1)),
    "century_early": (4, _of_century(0, 34, 15)),
    "century_middle": (2, _of_century(34, 66, 15)),
    "century_late": (3, _of_century(66, 99, 15)),
    "half_1": (2, _of_century(0, 50, 1)),
    "half_2": (2, _of_century(50, 99, 1)),
    "quarter_1": (1, _of_century(0, 25, 1)),
    "quarter_2": (1, _of_century(25, 50, 1)),
    "quarter_3": (1, _of_century(50, 75, 1)),
    "quarter_4": (1, _of_century(75, 99, 1)),
    "third_1": (1, _of_century(0, 34, 1)),
    "third_2": (1, _of_century(33, 67, 1)),
    "third_3": (1, _of_century(66, 99, 1)),
    "turn": (2, lambda d: _years(1890, 1910, 25)),  # late (66-99) and early (00-34) century
    "undated": (4, lambda d: (None, None, 0)),
    "refused": (0, lambda d: (None, None, 0)),
}
ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")
CENTURY_ROMAN = {19: "XIX", 20: "XX"}
_OF_TWENTIETH = re.compile(r"\{(?:decade_words|ds)\}")
_NAMES_CENTURY = re.compile(r"\{c\}|\{cr\}|\{cw\}")


def wordings(code: str) -> tuple[Wording, ...]:
    """Return at least `TEXTS` different dates of the language; every wording occurs."""
    return _wordings(code)


@lru_cache(maxsize=16)
def _wordings(code: str) -> tuple[Wording, ...]:
    grammar, chance = GRAMMARS[code], random.Random(f"dates {code}")
    rules = list(_rules(grammar.wordings))
    found: dict[str, Wording] = {}
    for kind, mark, template in rules:
        _add(found, _write(grammar, kind, mark, template, chance))
    for month in range(1, 13):  # every month in words, long and short
        for kind in ("day", "month"):
            template = chance.choice(_month_templates(rules, kind))
            _add(found, _write(grammar, kind, "", template, chance, month))
    wanted = [rule for rule in rules if rule[0] != "refused"]
    counts = {key: sum(1 for rule in wanted if rule[:2] == key) for key in _keys(wanted)}
    weights = [_weight(kind, mark) / counts[kind, mark] for kind, mark, _ in wanted]
    while len(found) < TEXTS * (1 - SHARE_REFUSED):
        kind, mark, template = chance.choices(wanted, weights)[0]
        _add(found, _write(grammar, kind, mark, template, chance))
    refused = [rule for rule in rules if rule[0] == "refused"]
    while sum(each.refused for each in found.values()) < SHARE_REFUSED * len(found):
        kind, mark, template = chance.choice(refused)
        _add(found, _write(grammar, kind, mark, template, chance))
    while len(found) < TEXTS:
        kind, mark, template = chance.choices(wanted, weights)[0]
        _add(found, _write(grammar, kind, mark, template, chance))
    return tuple(found.values())


def _keys(rules: list[tuple[str, str, str]]) -> set[tuple[str, str]]:
    return {(kind, mark) for kind, mark, _ in rules}


def _weight(kind: str, mark: str) -> float:
    if kind == "year" and mark:
        return 14 if mark == "~" else 5
    return KINDS[kind][0] * (0.3 if mark else 1)


def _add(found: dict[str, Wording], wording: Wording) -> None:
    found.setdefault(wording.text, wording)


def _rules(text: str) -> Iterator[tuple[str, str, str]]:
    """Yield kind, mark and wording of every rule."""
    for line in text.strip().splitlines():
        match = re.fullmatch(r"\s*([a-z_0-9]+)([~?%]?): (.*)", line)
        if not match:
            raise ValueError(f"no rule: {line!r}")
        for template in match[3].split(" | "):
            yield match[1], match[2], template.strip()


def _month_templates(rules: list[tuple[str, str, str]], kind: str) -> list[str]:
    return [
        template
        for rule_kind, mark, template in rules
        if rule_kind == kind and not mark and re.search(r"\{(?:m|mo|min|ma)\}", template)
    ]


def _write(
    grammar: Grammar, kind: str, mark: str, template: str, chance: random.Random, month: int = 0
) -> Wording:
    drawn = _draw(template, chance, month)
    if kind == "refused" and "{dd}" in template:
        # Ambiguous only where both figures may be a month, and they differ.
        drawn = _ambiguous(drawn, chance)
    text = template.format(**_fields(grammar, drawn, chance))
    if kind != "refused":
        text = _dressed(text, mark, chance)
    earliest, latest, slack = KINDS[kind][1](drawn)
    return Wording(
        text,
        kind + mark,
        earliest.isoformat() if earliest else None,
        latest.isoformat() if latest else None,
        slack,
        about=mark in ("~", "%"),
        uncertain=mark in ("?", "%"),
        day_first=kind == "figures",
        refused=kind == "refused",
    )


def _draw(template: str, chance: random.Random, month: int) -> Drawn:
    month = month or chance.randint(1, 12)
    year = chance.choice(
        (chance.randint(1845, 1880), chance.randint(1881, 1945), chance.randint(1946, 1985))
    )
    if "{ys}" in template or "{y2}" in template or "{yn" in template or "{mo2}" in template:
        # Short end years above 12: no month.
        year = min(year, 1985) if year % 100 < 85 else year - 20
        year = year + 15 if year % 100 < 12 else year
    last = 26 if "{d2}" in template or "{dn2}" in template else calendar.monthrange(year, month)[1]
    day = chance.randint(1, last)
    if "{month2}" in template or re.search(r"\{(?:m|mo|ma|mn)2\}", template):
        month = min(month, 11)
        day = min(day, 26)
    if _OF_TWENTIETH.search(template):
        of_century = 1800 if _NAMES_CENTURY.search(template) and chance.random() < 0.5 else 1900
        decade = of_century + 10 * chance.randint(2, 7)
    else:
        decade = 10 * chance.choice((*range(185, 190), *range(191, 198)))
    of_decade = re.search(r"\{(?:decade_words|ds|dec)\}", template)
    start = date(year, month, day)
    return Drawn(
        start,
        date(year, month, min(day + chance.randint(1, 5), calendar.monthrange(year, month)[1])),
        year + chance.randint(2, 12),
        chance.randint(min(month + 1, 12), 12),
        decade,
        decade // 100 + 1 if of_decade else chance.choice((19, 20)),
        max(year + 20, 1950) + chance.randint(1, 30),
    )


def _ambiguous(drawn: Drawn, chance: random.Random) -> Drawn:
    month, day = chance.sample(range(1, 13), 2)
    start = date(drawn.day.year, month, day)
    return Drawn(start, start, drawn.year2, 12, drawn.decade, drawn.century, drawn.print_year)


def _forms(text: str, index: int, chance: random.Random) -> str:
    """Return the form at `index`; of equal ones the first mostly."""
    forms = text.split()[index].split("/")
    chosen = forms[0] if chance.random() < 0.7 else chance.choice(forms)
    return chosen.replace("_", " ")


def _fields(grammar: Grammar, drawn: Drawn, chance: random.Random) -> dict[str, object]:
    day, month = drawn.day, drawn.day.month
    alone, inside = grammar.month or grammar.months, grammar.month_in or grammar.months
    season = chance.randint(0, 3)
    return {
        "y": day.year,
        "y2": drawn.year2,
        "ys": f"{drawn.year2 % 100:02}",
        "yn": day.year + 1,
        "yns": f"{(day.year + 1) % 100:02}",
        "p": drawn.print_year,
        "d": _forms(grammar.first, 0, chance) if day.day == 1 else day.day,
        "d2": drawn.day2.day,
        "dn": day.day,
        "dn2": drawn.day2.day,
        "dd": f"{day.day:02}",
        "mn": month,
        "mn2": drawn.month2,
        "mm": f"{month:02}",
        "mr": ROMAN[month - 1],
        "m": _forms(grammar.months, month - 1, chance),
        "m2": _forms(grammar.months, drawn.month2 - 1, chance),
        "mo": _forms(alone, month - 1, chance),
        "mo2": _forms(alone, drawn.month2 - 1, chance),
        "min": _forms(inside, month - 1, chance),
        "ma": _forms(grammar.short, month - 1, chance),
        "wd": _forms(grammar.weekdays, day.weekday(), chance),
        "s": _forms(grammar.seasons, season, chance),
        "sin": _forms(grammar.seasons_in or grammar.seasons, season, chance),
        "dec": drawn.decade,
        "decn": drawn.decade + 10,
        "dece": drawn.decade + 9,
        "ds": drawn.decade % 100,
        "dsn": drawn.decade % 100 + 10,
        "decade_words": _forms(
            grammar.decades,
            max(drawn.decade % 100 // 10 - 2, 0) if drawn.decade % 100 < 80 else 5,
            chance,
        ),
        "c": drawn.century,
        "cr": CENTURY_ROMAN[drawn.century],
        "cw": _forms(grammar.centuries, drawn.century - 19, chance),
        "h": (drawn.century - 1) * 100,
    }


def _dressed(text: str, mark: str, chance: random.Random) -> str:
    """Return it with a capital, in brackets or with a full stop, as some write."""
    roll = chance.random()
    if roll < 0.3:
        text = text[0].upper() + text[1:]
    roll = chance.random()
    if "[" not in text and "(" not in text:
        if roll < 0.04:
            return f"[{text}]"
        if roll < 0.05:
            return f"({text})"
    if roll > 0.97 and text[-1].isalnum():
        return text + "."
    return text


GERMAN = Grammar(
    months="Januar/Jänner Februar/Feber März April Mai Juni Juli August September Oktober November Dezember",
    short="Jan. Febr./Feb. März Apr. Mai Juni/Jun. Juli/Jul. Aug. Sept./Sep. Okt. Nov. Dez.",
    weekdays="Montag Dienstag Mittwoch Donnerstag Freitag Samstag/Sonnabend Sonntag",
    seasons="Frühjahr/Frühling Sommer Herbst Winter",
    decades="zwanziger/Zwanziger dreißiger/Dreißiger vierziger/Vierziger fünfziger/Fünfziger sechziger/Sechziger siebziger/Siebziger",
    centuries="neunzehnten zwanzigsten",
    wordings="""
    year: {y} | {y} | {y} | im Jahr {y} | im Jahre {y} | Jahr {y} | aufgenommen {y} | datiert {y} | dat. {y} | Aufnahme {y} | Aufnahmedatum: {y} | Aufnahme von {y} | aus dem Jahr {y} | Aufnahmejahr {y} | fotografiert {y} | aus dem Jahre {y}
    year~: um {y} | um {y} | ca. {y} | ca. {y} | ca {y} | circa {y} | zirka {y} | etwa {y} | {y} ca. | ungefähr {y} | ungef. {y} | gegen {y} | [um {y}] | {y} (ca.) | um das Jahr {y} | c. {y} | {y} (circa) | rund {y} | schätzungsweise {y} | geschätzt {y}
    year?: {y}? | {y} (?) | vermutlich {y} | wahrscheinlich {y} | wohl {y} | verm. {y} | möglicherweise {y} | vielleicht {y} | evtl. {y} | [{y}?] | wahrsch. {y} | mutmaßlich {y} | {y} (vermutlich) | {y} (unsicher)
    year%: vermutlich um {y} | wohl um {y} | um {y} (?) | wahrscheinlich um {y} | um {y}?
    day: {d}. {m} {y} | {d}. {m} {y} | {d}. {m} {y} | {d}. {ma} {y} | {wd}, {d}. {m} {y} | {wd}, den {d}. {m} {y} | am {d}. {m} {y} | {dd}. {m} {y} | {y} {m} {d} | {dn}.{mn}.{y} | {dd}.{mm}.{y} | {dn}. {mn}. {y} | {dn}.{mr}.{y} | {dn}. {mr}. {y} | {y}-{mm}-{dd} | aufgenommen am {d}. {m} {y} | datiert {dd}.{mm}.{y} | {y}, {m} {d} | {y}, {d}. {m} | Aufnahmedatum: {dd}.{mm}.{y} | vom {d}. {m} {y}
    day?: {d}. {m} {y} (?) | {dd}.{mm}.{y}? | vermutlich {d}. {m} {y}
    day~: um den {d}. {m} {y}
    figures: {dd}/{mm}/{y} | {dn}/{mn}/{y}
    month: {m} {y} | {m} {y} | {ma} {y} | im {m} {y} | {y}, {m} | {y} {m} | {mm}/{y} | {mm}.{y} | aufgenommen im {m} {y} | Anfang {m} {y} | Mitte {m} {y} | Ende {m} {y}
    month~: um {m} {y} | ca. {m} {y} | etwa {m} {y}
    month?: {m} {y} (?) | vermutlich {m} {y} | wohl im {m} {y}
    season: {s} {y} | im {s} {y} | {y}, {s} | {s} des Jahres {y} | Frühsommer {y} | Spätsommer {y} | Spätherbst {y}
    season?: vermutlich {s} {y} | {s} {y} (?)
    winter: Winter {y}/{yns} | im Winter {y}/{yn} | Winter {y}-{yn}
    part: Anfang {y} | Mitte {y} | Ende {y} | erste Hälfte {y} | 2. Hälfte {y}
    print: {y}, Abzug {p} | {y}, Abzug von {p} | {y}, späterer Abzug | {y} (Abzug {p}) | {y}, Neuabzug {p} | {y} (späterer Abzug) | {y}, Abzug um {p} | {y} (Abzug: {p}) | {y}, Abzug später
    print~: um {y}, Abzug {p} | um {y}, späterer Abzug
    before: vor {y} | vor {y} | vor dem Jahr {y} | früher als {y}
    after: nach {y} | nach {y} | nach dem Jahr {y} | später als {y}
    not_after: bis {y} | spätestens {y} | nicht nach {y} | nicht später als {y} | {y} oder früher | vor oder um {y} | bis spätestens {y} | in oder vor {y} | vor/um {y}
    not_before: ab {y} | seit {y} | frühestens {y} | nicht vor {y} | nicht früher als {y} | {y} oder später | von {y} an | um oder nach {y} | nach/um {y} | frühestens ab {y}
    before_day: vor dem {d}. {m} {y} | bis {d}. {m} {y} | bis zum {d}. {m} {y} | vor dem {dd}.{mm}.{y}
    after_day: nach dem {d}. {m} {y} | seit dem {d}. {m} {y} | ab {dd}.{mm}.{y} | ab dem {d}. {m} {y}
    before~: vor ca. {y} | vor etwa {y}
    after?: vermutlich nach {y} | wohl nach {y}
    before?: wohl vor {y} | vermutlich vor {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}/{ys} | {y}-{ys} | {y}–{ys} | {y} bis {y2} | zwischen {y} und {y2} | von {y} bis {y2} | zw. {y} und {y2} | {y}—{y2} | in den Jahren {y} bis {y2} | zwischen {y} u. {y2} | {y}/{y2} | aufgenommen zwischen {y} und {y2}
    range~: um {y}-{y2} | ca. {y}-{y2} | ca. {y}–{y2} | um {y}/{ys} | ca. {y} bis {y2} | etwa {y} bis {y2} | um {y} bis um {y2} | ca. {y} - ca. {y2}
    range?: {y}-{y2} (?) | vermutlich zwischen {y} und {y2} | wohl {y}–{y2}
    days: {dn}.-{dn2}. {m} {y} | {dn}.–{dn2}. {m} {y} | {dn}. bis {dn2}. {m} {y} | vom {dn}. bis {dn2}. {m} {y} | {dn}.-{dn2}.{mn}.{y} | {dn}. - {dn2}. {m} {y} | {dn}./{dn2}. {m} {y} | {dd}.{mm}.-{dn2:02}.{mm}.{y}
    months: {m}-{m2} {y} | {m} bis {m2} {y} | {m}/{m2} {y} | {m} – {m2} {y} | zwischen {m} und {m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y} bis {m2} {y2} | von {m} {y} bis {m2} {y2}
    or: {y} oder {yn} | {y} oder {yn} | {y} bzw. {yn} | entweder {y} oder {yn} | {y} od. {yn}
    decade: {dec}er Jahre | {dec}er Jahre | {dec}er-Jahre | {ds}er Jahre | {ds}er-Jahre | {decade_words} Jahre | {dec}er | in den {dec}er Jahren | in den {decade_words} Jahren | die {ds}er Jahre | {ds}er Jahre des {c}. Jahrhunderts | {decade_words} Jahre des {c}. Jahrhunderts | in den {ds}er Jahren | {dec}-{dece} | aus den {dec}er Jahren | {ds}er Jahre d. {c}. Jh.
    decade~: um die {dec}er Jahre | etwa {dec}er Jahre | ca. {dec}er Jahre | ca. {ds}er Jahre
    decade?: {dec}er Jahre (?) | {ds}er Jahre? | vermutlich {dec}er Jahre | wohl {ds}er Jahre
    decades: {dec}er/{decn}er Jahre | {dec}er bis {decn}er Jahre | {dec}er-{decn}er Jahre | {ds}er/{dsn}er Jahre | {ds}er und {dsn}er Jahre
    decade_early: Anfang der {dec}er Jahre | frühe {dec}er Jahre | Anfang der {ds}er Jahre | Anf. der {ds}er Jahre | zu Beginn der {decade_words} Jahre | Beginn der {dec}er Jahre | frühe {ds}er Jahre | 1. Hälfte der {dec}er Jahre | erste Hälfte der {ds}er Jahre
    decade_middle: Mitte der {dec}er Jahre | Mitte der {ds}er Jahre | Mitte der {decade_words} Jahre | mittlere {dec}er Jahre
    decade_late: Ende der {dec}er Jahre | späte {dec}er Jahre | Ende der {ds}er Jahre | späte {ds}er Jahre | gegen Ende der {dec}er Jahre | 2. Hälfte der {dec}er Jahre | zweite Hälfte der {ds}er Jahre | Ende der {decade_words} Jahre
    century: {c}. Jahrhundert | {c}. Jh. | {c}. Jhd. | {c}. Jhdt. | {cw} Jahrhundert | im {c}. Jahrhundert
    century?: vermutlich {c}. Jahrhundert | {c}. Jh. (?) | wohl {c}. Jh.
    century_early: Anfang {c}. Jh. | Anfang des {c}. Jahrhunderts | frühes {c}. Jahrhundert | Beginn des {c}. Jahrhunderts | Anf. {c}. Jh. | zu Beginn des {c}. Jhs. | Anfang {c}. Jahrhundert | Anfang des {cw} Jahrhunderts
    century_middle: Mitte {c}. Jh. | Mitte des {c}. Jahrhunderts | um die Mitte des {c}. Jahrhunderts | M. {c}. Jh.
    century_late: Ende {c}. Jh. | Ende des {c}. Jahrhunderts | spätes {c}. Jahrhundert | Ende {c}. Jahrhundert | gegen Ende des {c}. Jahrhunderts | E. {c}. Jh. | ausgehendes {c}. Jahrhundert
    half_1: 1. Hälfte {c}. Jh. | erste Hälfte des {c}. Jahrhunderts | 1. Hälfte des {c}. Jahrhunderts | 1. H. {c}. Jh. | 1. Hälfte {c}. Jahrhundert | in der ersten Hälfte des {c}. Jahrhunderts
    half_2: 2. Hälfte {c}. Jh. | zweite Hälfte des {c}. Jahrhunderts | 2. Hälfte des {c}. Jahrhunderts | 2. H. {c}. Jh. | 2. Hälfte {c}. Jahrhundert
    quarter_1: 1. Viertel {c}. Jh. | erstes Viertel des {c}. Jahrhunderts | 1. Viertel des {c}. Jahrhunderts
    quarter_2: 2. Viertel {c}. Jh. | zweites Viertel des {c}. Jahrhunderts
    quarter_3: 3. Viertel {c}. Jh. | drittes Viertel des {c}. Jahrhunderts
    quarter_4: 4. Viertel {c}. Jh. | letztes Viertel des {c}. Jahrhunderts | letztes Viertel {c}. Jh.
    third_1: 1. Drittel {c}. Jh. | erstes Drittel des {c}. Jahrhunderts
    third_2: 2. Drittel {c}. Jh. | zweites Drittel des {c}. Jahrhunderts | mittleres Drittel des {c}. Jahrhunderts
    third_3: letztes Drittel {c}. Jh. | letztes Drittel des {c}. Jahrhunderts | 3. Drittel {c}. Jh.
    turn: Jahrhundertwende | um die Jahrhundertwende | um die Wende vom 19. zum 20. Jahrhundert | Wende 19./20. Jh. | Ende 19./Anfang 20. Jh. | Jahrhundertwende (um 1900)
    undated: o. D. | o.D. | o. J. | o.J. | ohne Datum | undatiert | ohne Jahr | ohne Datierung | s. d. | s.d. | unbekannt | Datum unbekannt | nicht datiert | undat. | ohne Jahresangabe | Datierung unbekannt | nicht ermittelt | [o. J.]
    refused: erworben {y} | Wintersemester {y}/{yns} | WS {y}/{yns} | Ostern {y} | Pfingsten {y} | Weihnachten {y} | Schenkung {y} | Ankauf {y} | Zugang {y} | im dritten Regierungsjahr Wilhelms | {dd}/{mm}/{y} | geboren {y} | Inv.-Nr. {y} | Sommersemester {y} | Reproduktion von {p} | Modelljahr {y} | Raum {y} | gestorben {y}
    """,
)

FRENCH = Grammar(
    months="janvier février mars avril mai juin juillet août septembre octobre novembre décembre",
    short="janv. févr./fév. mars avr. mai juin juil. août sept. oct. nov. déc.",
    weekdays="lundi mardi mercredi jeudi vendredi samedi dimanche",
    seasons="printemps été automne hiver",
    seasons_in="au_printemps en_été/à_l'été à_l'automne/en_automne en_hiver",
    decades="vingt trente quarante cinquante soixante soixante-dix",
    centuries="dix-neuvième vingtième",
    first="1er",
    wordings="""
    year: {y} | {y} | {y} | en {y} | année {y} | daté {y} | datée de {y} | prise en {y} | prise de vue : {y} | photographie prise en {y} | prise de vue {y} | pris en {y} | daté de {y} | l'année {y}
    year~: vers {y} | vers {y} | vers {y} | v. {y} | ca {y} | ca. {y} | circa {y} | environ {y} | [vers {y}] | {y} environ | {y} circa | {y} ca | aux environs de {y} | autour de {y} | c. {y} | env. {y} | approximativement {y} | aux alentours de {y} | vers l'année {y} | {y} (vers)
    year?: {y} ? | {y}? | {y} (?) | [{y} ?] | [{y}?] | probablement {y} | sans doute {y} | peut-être {y} | vraisemblablement {y} | prob. {y} | probablement en {y} | présumé {y} | {y} (probable) | {y} (date incertaine)
    year%: probablement vers {y} | vers {y} ? | vers {y} (?) | sans doute vers {y}
    day: {d} {m} {y} | {d} {m} {y} | {d} {m} {y} | {d} {ma} {y} | le {d} {m} {y} | {wd} {d} {m} {y} | le {wd} {d} {m} {y} | {wd}, {d} {m} {y} | {y}, {d} {m} | {y}-{mm}-{dd} | prise le {d} {m} {y} | daté du {d} {m} {y} | {y} {m} {d} | {dn} {mr} {y} | du {d} {m} {y}
    day?: {d} {m} {y} (?) | probablement le {d} {m} {y} | {d} {m} {y} ?
    day~: vers le {d} {m} {y}
    figures: {dd}/{mm}/{y} | {dn}/{mn}/{y} | {dd}.{mm}.{y} | {dd}-{mm}-{y} | le {dd}/{mm}/{y} | {dn}.{mn}.{y}
    month: {m} {y} | {m} {y} | en {m} {y} | {ma} {y} | {y}, {m} | {mm}/{y} | {y} {m} | début {m} {y} | mi-{m} {y} | fin {m} {y} | prise en {m} {y} | courant {m} {y}
    month~: vers {m} {y} | environ {m} {y}
    month?: {m} {y} (?) | probablement {m} {y} | {m} {y} ?
    season: {s} {y} | {sin} {y} | {y}, {s} | {s} de {y} | l'été {y} | fin de l'été {y}
    season?: probablement {s} {y} | {s} {y} (?)
    winter: hiver {y}-{yn} | hiver {y}/{yn} | hiver {y}-{yns} | pendant l'hiver {y}-{yn}
    part: début {y} | fin {y} | milieu {y} | au début de {y} | mi-{y} | fin de l'année {y}
    print: {y}, tirage {p} | {y}, tirage de {p} | {y}, tirage postérieur | {y} (tirage de {p}) | {y}, tirage moderne | {y} (tirage postérieur) | {y}, tirage vers {p} | {y}, retirage {p} | {y}, tirage ultérieur | {y} (tirage {p})
    print~: vers {y}, tirage {p} | vers {y}, tirage moderne
    before: avant {y} | avant {y} | antérieur à {y} | antérieure à {y} | av. {y} | antérieurement à {y} | avant l'année {y}
    after: après {y} | après {y} | postérieur à {y} | postérieure à {y} | apr. {y} | après l'année {y}
    not_after: jusqu'en {y} | au plus tard en {y} | au plus tard {y} | pas après {y} | jusqu'à {y} | {y} ou avant | en {y} ou avant | avant ou en {y}
    not_before: depuis {y} | à partir de {y} | pas avant {y} | au plus tôt en {y} | dès {y} | {y} ou après | au plus tôt {y} | en {y} ou après
    before_day: avant le {d} {m} {y} | jusqu'au {d} {m} {y}
    after_day: après le {d} {m} {y} | depuis le {d} {m} {y} | à partir du {d} {m} {y}
    before~: avant {y} environ | avant {y} env.
    after?: probablement après {y} | sans doute après {y}
    before?: probablement avant {y} | avant {y} ?
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | {y} à {y2} | entre {y} et {y2} | de {y} à {y2} | [entre {y} et {y2}] | {y}/{y2} | {y}—{y2} | {y}–{ys} | comprise entre {y} et {y2} | prise entre {y} et {y2}
    range~: vers {y}-{y2} | ca {y}-{y2} | vers {y}-{ys} | vers {y} - vers {y2} | entre {y} et {y2} environ | entre {y} environ et {y2} | ca. {y}–{y2} | de {y} à {y2} environ
    range?: {y}-{y2} (?) | probablement entre {y} et {y2} | entre {y} et {y2} ?
    days: {dn}-{dn2} {m} {y} | {dn}–{dn2} {m} {y} | du {d} au {d2} {m} {y} | {dn} et {dn2} {m} {y} | du {dn} au {dn2} {m} {y} | les {dn} et {dn2} {m} {y} | entre le {d} et le {d2} {m} {y}
    months: {m}-{m2} {y} | de {m} à {m2} {y} | {m}–{m2} {y} | {m} à {m2} {y} | entre {m} et {m2} {y} | {m}/{m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y}-{m2} {y2} | de {m} {y} à {m2} {y2}
    or: {y} ou {yn} | {y} ou {yn} | [{y} ou {yn}] | soit {y}, soit {yn} | en {y} ou {yn}
    decade: années {dec} | années {dec} | les années {dec} | années {ds} | années {decade_words} | dans les années {dec} | décennie {dec} | les années {decade_words} | dans les années {ds} | {dec}-{dece} | la décennie {dec} | années {ds} du {cr}e siècle
    decade~: vers les années {dec} | vers {dec}-{dece} | autour des années {dec} | environ années {dec}
    decade?: années {dec} ? | années {dec} (?) | probablement années {dec} | probablement dans les années {dec} | années {ds} ?
    decades: années {dec}-{decn} | années {dec} et {decn} | années {ds}-{dsn} | années {dec} à {decn} | années {dec}/{decn}
    decade_early: début des années {dec} | début des années {ds} | au début des années {dec} | début années {dec} | début des années {decade_words} | première moitié des années {dec} | déb. années {dec}
    decade_middle: milieu des années {dec} | milieu des années {ds} | au milieu des années {dec} | mi-années {dec} | milieu années {dec}
    decade_late: fin des années {dec} | fin des années {ds} | à la fin des années {dec} | fin années {dec} | seconde moitié des années {dec} | fin des années {decade_words} | deuxième moitié des années {dec}
    century: {cr}e siècle | {c}e siècle | {cr}e s. | {cw} siècle | {cr}ème siècle | {c}ème siècle | {cr}ᵉ siècle | au {cr}e siècle
    century?: {cr}e siècle ? | probablement {cr}e siècle | {cr}e siècle (?)
    century_early: début du {cr}e siècle | début {cr}e siècle | déb. {cr}e s. | début {cr}e | début du {c}e siècle | au début du {cr}e siècle | début {cr}e s.
    century_middle: milieu du {cr}e siècle | milieu {cr}e siècle | milieu du {c}e siècle | mil. {cr}e s. | vers le milieu du {cr}e siècle
    century_late: fin du {cr}e siècle | fin {cr}e siècle | fin du {c}e siècle | fin {cr}e s. | à la fin du {cr}e siècle | fin {cr}e
    half_1: première moitié du {cr}e siècle | 1ère moitié du {cr}e siècle | 1re moitié du {cr}e siècle | 1ère moitié {cr}e s. | 1re moitié {cr}e siècle | première moitié du {c}e siècle
    half_2: seconde moitié du {cr}e siècle | 2e moitié du {cr}e siècle | deuxième moitié du {cr}e siècle | 2e moitié {cr}e s. | 2nde moitié du {cr}e siècle | 2ème moitié {cr}e siècle
    quarter_1: premier quart du {cr}e siècle | 1er quart du {cr}e siècle | 1er quart {cr}e siècle | 1er quart {cr}e s.
    quarter_2: deuxième quart du {cr}e siècle | 2e quart {cr}e siècle | second quart du {cr}e siècle
    quarter_3: troisième quart du {cr}e siècle | 3e quart {cr}e siècle
    quarter_4: dernier quart du {cr}e siècle | 4e quart {cr}e siècle | quatrième quart du {cr}e siècle
    third_1: premier tiers du {cr}e siècle | 1er tiers {cr}e siècle
    third_2: deuxième tiers du {cr}e siècle | 2e tiers {cr}e siècle
    third_3: dernier tiers du {cr}e siècle | dernier tiers {cr}e s.
    turn: tournant du siècle | fin XIXe-début XXe siècle | fin XIXe - début XXe | au tournant du siècle | fin du XIXe siècle-début du XXe siècle | tournant du XXe siècle
    undated: s.d. | s. d. | sans date | [s.d.] | non daté | non datée | n.d. | date inconnue | date indéterminée | inconnue | [s. d.] | sd | s.d.n.l. | non dat.
    refused: acquis en {y} | don {y} | Pâques {y} | Noël {y} | achat {y} | entré en {y} | rentrée {y} | semestre d'hiver {y}-{yn} | an VII de la République | {dd}/{mm}/{y} | né en {y} | sous le règne de Louis-Philippe | inv. {y} | dépôt de {y} | exposition {y} | acquisition {y} | mort en {y}
    """,
)

DUTCH = Grammar(
    months="januari februari maart april mei juni juli augustus september oktober november december",
    short="jan. feb./febr. mrt. apr. mei juni/jun. juli/jul. aug. sept./sep. okt. nov. dec.",
    weekdays="maandag dinsdag woensdag donderdag vrijdag zaterdag zondag",
    seasons="voorjaar/lente zomer najaar/herfst winter",
    decades="twintig dertig veertig vijftig zestig zeventig",
    centuries="negentiende twintigste",
    wordings="""
    year: {y} | {y} | {y} | in {y} | jaar {y} | gedateerd {y} | opname {y} | gemaakt in {y} | het jaar {y} | opnamejaar {y} | genomen in {y} | in het jaar {y} | uit {y} | foto uit {y} | gefotografeerd in {y} | anno {y}
    year~: ca. {y} | ca. {y} | circa {y} | omstreeks {y} | rond {y} | ± {y} | omstr. {y} | ca {y} | {y} ca. | [ca. {y}] | c. {y} | ongeveer {y} | rondom {y} | ongev. {y} | {y} (ca.) | +/- {y} | tegen {y} | {y} (circa) | naar schatting {y} | plm. {y}
    year?: {y}? | {y} (?) | waarschijnlijk {y} | vermoedelijk {y} | mogelijk {y} | wellicht {y} | [{y}?] | misschien {y} | verm. {y} | waarsch. {y} | vermoedelijk in {y} | {y} (vermoedelijk) | {y} (onzeker)
    year%: vermoedelijk ca. {y} | waarschijnlijk rond {y} | ca. {y}? | ca. {y} (?) | mogelijk omstreeks {y}
    day: {d} {m} {y} | {d} {m} {y} | {d} {m} {y} | {d} {ma} {y} | {wd} {d} {m} {y} | {wd}, {d} {m} {y} | op {d} {m} {y} | {y}, {d} {m} | {y}-{mm}-{dd} | {y} {m} {d} | genomen op {d} {m} {y} | opname {d} {m} {y} | gedateerd {d} {m} {y} | op {wd} {d} {m} {y} | d.d. {d} {m} {y}
    day?: {d} {m} {y} (?) | vermoedelijk {d} {m} {y}
    day~: omstreeks {d} {m} {y} | rond {d} {m} {y}
    figures: {dd}-{mm}-{y} | {dn}-{mn}-{y} | {dd}/{mm}/{y} | {dn}/{mn}/{y} | {dd}.{mm}.{y}
    month: {m} {y} | {m} {y} | {ma} {y} | in {m} {y} | {y}, {m} | {y} {m} | {mm}/{y} | begin {m} {y} | eind {m} {y} | half {m} {y} | medio {m} {y} | gemaakt in {m} {y} | {mm}-{y}
    month~: ca. {m} {y} | omstreeks {m} {y} | rond {m} {y}
    month?: {m} {y} (?) | vermoedelijk {m} {y} | {m} {y}?
    season: {s} {y} | {y}, {s} | {s} van {y} | in de zomer van {y} | in het voorjaar van {y} | nazomer {y} | zomer van {y}
    season?: vermoedelijk {s} {y} | {s} {y}?
    winter: winter {y}-{yn} | winter {y}/{yn} | winter van {y}-{yn} | winter {y}/{yns}
    part: begin {y} | eind {y} | medio {y} | midden {y} | eerste helft {y} | 2e helft {y} | einde {y} | half {y}
    print: {y}, afdruk {p} | {y}, afdruk uit {p} | {y}, latere afdruk | {y} (afdruk {p}) | {y}, afgedrukt in {p} | {y} (latere afdruk) | {y}, afdruk van {p} | {y}, herdruk {p} | {y}; latere afdruk
    print~: ca. {y}, afdruk {p} | ca. {y}, latere afdruk
    before: voor {y} | vóór {y} | vóór {y} | eerder dan {y} | van voor {y} | van vóór {y} | vroeger dan {y}
    after: na {y} | na {y} | later dan {y} | van na {y} | ná {y}
    not_after: tot {y} | tot en met {y} | uiterlijk {y} | niet na {y} | niet later dan {y} | {y} of eerder | in of voor {y} | t/m {y} | op zijn laatst {y}
    not_before: vanaf {y} | sinds {y} | niet voor {y} | niet vóór {y} | op zijn vroegst {y} | niet eerder dan {y} | {y} of later | in of na {y} | {y} en later
    before_day: vóór {d} {m} {y} | voor {d} {m} {y} | tot {d} {m} {y} | uiterlijk {d} {m} {y}
    after_day: na {d} {m} {y} | vanaf {d} {m} {y} | sinds {d} {m} {y}
    before~: voor ca. {y} | vóór circa {y}
    after?: vermoedelijk na {y} | waarschijnlijk na {y}
    before?: vermoedelijk voor {y} | waarschijnlijk vóór {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | {y} tot {y2} | tussen {y} en {y2} | van {y} tot {y2} | {y} t/m {y2} | {y} tot en met {y2} | periode {y}-{y2} | in de periode {y}-{y2} | {y}/{y2} | {y}—{y2} | jaren {y}-{y2} | tussen {y} en {ys}
    range~: ca. {y}-{y2} | circa {y}-{y2} | omstreeks {y}-{y2} | ca. {y} - ca. {y2} | ca. {y}–{y2} | tussen ca. {y} en {y2} | ca. {y}-{ys}
    range?: {y}-{y2}? | {y}-{y2} (?) | vermoedelijk tussen {y} en {y2} | waarschijnlijk {y}-{y2}
    days: {dn}-{dn2} {m} {y} | {dn}–{dn2} {m} {y} | {dn} tot {dn2} {m} {y} | van {dn} tot en met {dn2} {m} {y} | {dn} t/m {dn2} {m} {y} | {dn} en {dn2} {m} {y} | {dn} - {dn2} {m} {y}
    months: {m}-{m2} {y} | {m} tot {m2} {y} | {m}/{m2} {y} | {m} – {m2} {y} | tussen {m} en {m2} {y} | {m} t/m {m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y}-{m2} {y2} | van {m} {y} tot {m2} {y2} | {m} {y} t/m {m2} {y2}
    or: {y} of {yn} | {y} of {yn} | {y} dan wel {yn} | in {y} of {yn} | {y} of in {yn}
    decade: jaren {dec} | jaren {ds} | jaren '{ds} | jaren ’{ds} | jaren {decade_words} | de jaren {ds} | in de jaren {decade_words} | de jaren {dec} | jaren {ds} van de {c}e eeuw | jaren {decade_words} van de {cw} eeuw | in de jaren '{ds} | {dec}-{dece} | {dec}er jaren | decennium {dec}-{dece} | uit de jaren {decade_words}
    decade~: omstreeks jaren {dec} | ca. jaren {ds} | rond de jaren {ds} | ca. jaren '{ds}
    decade?: jaren '{ds} (?) | vermoedelijk jaren {decade_words} | jaren {ds}? | waarschijnlijk jaren '{ds}
    decades: jaren {dec}-{decn} | jaren {ds}-{dsn} | jaren '{ds}-'{dsn} | jaren '{ds}/'{dsn} | jaren {dec} en {decn} | jaren {ds} en {dsn}
    decade_early: begin jaren {ds} | begin jaren '{ds} | begin jaren {decade_words} | begin van de jaren {ds} | vroege jaren {ds} | begin jaren {dec} | eerste helft jaren '{ds} | eerste helft van de jaren {decade_words} | 1e helft jaren {ds}
    decade_middle: midden jaren {ds} | midden jaren '{ds} | medio jaren {ds} | midden van de jaren {decade_words} | halverwege de jaren {ds} | midden jaren {dec}
    decade_late: eind jaren {ds} | eind jaren '{ds} | eind jaren {decade_words} | einde jaren {ds} | late jaren {ds} | eind jaren {dec} | tweede helft jaren '{ds} | 2e helft jaren {ds} | eind van de jaren {decade_words}
    century: {c}e eeuw | {c}de eeuw | {cw} eeuw | {c}ste eeuw | de {c}e eeuw
    century?: vermoedelijk {c}e eeuw | {c}e eeuw (?)
    century_early: begin {c}e eeuw | begin {c}de eeuw | begin van de {c}e eeuw | vroeg {c}e eeuw | begin {cw} eeuw | aanvang {c}e eeuw | begin van de {cw} eeuw
    century_middle: midden {c}e eeuw | midden van de {c}e eeuw | medio {c}e eeuw | midden {cw} eeuw | half {c}e eeuw
    century_late: eind {c}e eeuw | einde {c}e eeuw | eind van de {c}e eeuw | laat {c}e eeuw | eind {cw} eeuw | late {c}e eeuw
    half_1: 1e helft {c}e eeuw | eerste helft {c}e eeuw | eerste helft van de {c}e eeuw | 1ste helft {c}de eeuw | eerste helft van de {cw} eeuw
    half_2: 2e helft {c}e eeuw | tweede helft {c}e eeuw | tweede helft van de {c}e eeuw | 2de helft {c}de eeuw | tweede helft van de {cw} eeuw
    quarter_1: eerste kwart {c}e eeuw | 1e kwart {c}e eeuw | eerste kwart van de {cw} eeuw
    quarter_2: tweede kwart {c}e eeuw | 2e kwart {c}e eeuw
    quarter_3: derde kwart {c}e eeuw | 3e kwart {c}e eeuw
    quarter_4: laatste kwart {c}e eeuw | laatste kwart van de {c}e eeuw | 4e kwart {c}e eeuw
    third_1: eerste derde van de {c}e eeuw | eerste derde {c}e eeuw
    third_2: tweede derde van de {c}e eeuw
    third_3: laatste derde van de {c}e eeuw
    turn: eeuwwisseling | rond de eeuwwisseling | eind 19e, begin 20e eeuw | eind 19e/begin 20e eeuw | omstreeks de eeuwwisseling | eind 19e - begin 20e eeuw
    undated: z.d. | z. d. | z.j. | zonder datum | ongedateerd | niet gedateerd | s.d. | datum onbekend | onbekend | zonder jaar | z.d | [z.d.] | geen datum | ongedat. | zj
    refused: verworven {y} | wintersemester {y}/{yns} | Pasen {y} | Kerstmis {y} | schenking {y} | aankoop {y} | bouwjaar {y} | geboren {y} | {dd}/{mm}/{y} | inv.nr. {y} | in het derde regeringsjaar van Willem | legaat {y} | Pinksteren {y} | schooljaar {y}-{yn} | tentoonstelling {y} | aanwinst {y} | Sinterklaas {y}
    """,
)

ITALIAN = Grammar(
    months="gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre dicembre",
    short="gen./genn. feb./febb. mar. apr. mag./magg. giu. lug. ago. set./sett. ott. nov. dic.",
    weekdays="lunedì martedì mercoledì giovedì venerdì sabato domenica",
    seasons="primavera estate autunno inverno",
    decades="venti/Venti trenta/Trenta quaranta/Quaranta cinquanta/Cinquanta sessanta/Sessanta settanta/Settanta",
    centuries="Ottocento Novecento",
    first="1/1°/1º",
    wordings="""
    year: {y} | {y} | {y} | nel {y} | anno {y} | datata {y} | datato {y} | l'anno {y} | ripresa del {y} | scattata nel {y} | fotografia del {y} | ripresa {y} | data: {y} | nell'anno {y} | del {y} | eseguita nel {y}
    year~: {y} ca. | {y} ca. | ca. {y} | circa {y} | {y} circa | {y} ca | intorno al {y} | verso il {y} | attorno al {y} | c. {y} | [{y} ca.] | {y} (ca.) | approssimativamente {y} | {y} c. | verso l'anno {y} | {y} (circa) | ca {y} | all'incirca {y}
    year?: {y}? | {y} (?) | [{y}?] | probabilmente {y} | forse {y} | presumibilmente {y} | [{y}] (?) | possibilmente {y} | probabilmente nel {y} | {y} (probabile) | {y} (presunto) | prob. {y} | {y} (data incerta)
    year%: probabilmente {y} ca. | {y} ca. (?) | forse {y} circa | probabilmente intorno al {y} | {y} ca.?
    day: {d} {m} {y} | {d} {m} {y} | {d} {m} {y} | {d} {ma} {y} | {wd} {d} {m} {y} | {wd}, {d} {m} {y} | {y} {m} {dn} | {y}, {m} {dn} | {y}-{mm}-{dd} | il {dn} {m} {y} | {y}/{mm}/{dd} | datata {d} {m} {y} | {dn} {mr} {y} | scattata il {dn} {m} {y} | {dn} {m} del {y} | del {dn} {m} {y}
    day?: {d} {m} {y} (?) | probabilmente {d} {m} {y} | {d} {m} {y}?
    day~: {d} {m} {y} ca. | intorno al {dn} {m} {y}
    figures: {dd}/{mm}/{y} | {dn}/{mn}/{y} | {dd}.{mm}.{y} | {dd}-{mm}-{y} | {dn}.{mn}.{y}
    month: {m} {y} | {m} {y} | {ma} {y} | nel {m} {y} | {y} {m} | {y}, {m} | {mm}/{y} | {y}/{mm} | inizio {m} {y} | fine {m} {y} | metà {m} {y} | inizi di {m} {y} | {m} del {y} | nel mese di {m} {y}
    month~: {m} {y} ca. | circa {m} {y} | ca. {m} {y}
    month?: {m} {y} (?) | probabilmente {m} {y} | {m} {y}?
    season: {s} {y} | {s} del {y} | {y}, {s} | {y} {s} | nell'estate del {y} | nella primavera del {y} | estate {y} | tarda estate {y}
    season?: probabilmente {s} {y} | {s} {y} (?)
    winter: inverno {y}-{yn} | inverno {y}/{yn} | inverno {y}-{yns} | nell'inverno {y}-{yn}
    part: inizio {y} | fine {y} | metà {y} | inizi del {y} | prima metà del {y} | alla fine del {y} | primi mesi del {y}
    print: {y}, stampa {p} | {y}, stampa del {p} | {y}, stampa successiva | {y} (stampa {p}) | {y}, stampa posteriore | {y} (stampa del {p}) | {y}, stampa moderna | {y}, ristampa {p} | {y} (stampa successiva) | {y}, tiratura {p}
    print~: {y} ca., stampa {p} | {y} ca., stampa successiva
    before: prima del {y} | prima del {y} | ante {y} | {y} ante | anteriore al {y} | precedente al {y} | avanti il {y}
    after: dopo il {y} | dopo il {y} | post {y} | {y} post | posteriore al {y} | successiva al {y} | successivo al {y}
    not_after: fino al {y} | entro il {y} | non oltre il {y} | non dopo il {y} | non posteriore al {y} | {y} o prima | entro e non oltre il {y} | al più tardi {y} | sino al {y}
    not_before: dal {y} | a partire dal {y} | non prima del {y} | non anteriore al {y} | {y} o dopo | dal {y} in poi | al più presto {y} | {y} o successivo
    before_day: prima del {dn} {m} {y} | ante {dn} {m} {y} | entro il {dn} {m} {y} | fino al {dn} {m} {y}
    after_day: dopo il {dn} {m} {y} | post {dn} {m} {y} | dal {dn} {m} {y} | a partire dal {dn} {m} {y}
    before~: ante {y} ca. | prima del {y} circa
    after?: probabilmente dopo il {y} | post {y} (?)
    before?: probabilmente prima del {y} | ante {y}?
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | {y}/{y2} | tra il {y} e il {y2} | fra il {y} e il {y2} | dal {y} al {y2} | {y}—{y2} | anni {y}-{y2} | negli anni {y}-{y2} | tra {y} e {y2} | da {y} a {y2} | post {y} - ante {y2} | {y} al {y2} | {y}-'{ys}
    range~: {y}-{y2} ca. | {y} ca.-{y2} ca. | ca. {y}-{y2} | {y}-{y2} circa | {y} ca. - {y2} ca. | circa {y}-{y2} | tra il {y} e il {y2} circa | {y} ca.-{y2}
    range?: {y}-{y2} (?) | probabilmente tra il {y} e il {y2} | {y}-{y2}?
    days: {dn}-{dn2} {m} {y} | {dn}–{dn2} {m} {y} | dal {dn} al {dn2} {m} {y} | tra il {dn} e il {dn2} {m} {y} | {dn} - {dn2} {m} {y} | {dn} e {dn2} {m} {y} | {dn}/{dn2} {m} {y}
    months: {m}-{m2} {y} | da {m} a {m2} {y} | tra {m} e {m2} {y} | {m} - {m2} {y} | {m}/{m2} {y} | {m}–{m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y}-{m2} {y2} | da {m} {y} a {m2} {y2} | dal {m} {y} al {m2} {y2}
    or: {y} o {yn} | {y} o {yn} | {y} oppure {yn} | nel {y} o nel {yn} | {y} ovvero {yn}
    decade: anni {decade_words} | anni '{ds} | anni ’{ds} | anni {dec} | anni {ds} | gli anni {decade_words} | negli anni {decade_words} | anni {decade_words} del {cr} secolo | anni {decade_words} del {cw} | decennio {dec}-{dece} | {dec}-{dece} | anni '{ds} del {cw} | anni {decade_words} sec. {cr} | degli anni {decade_words} | decennio {dec}
    decade~: anni {decade_words} ca. | anni '{ds} circa | circa anni {decade_words} | intorno agli anni {decade_words}
    decade?: anni {decade_words} (?) | probabilmente anni {decade_words} | anni '{ds}? | forse anni {decade_words}
    decades: anni {dec}-{decn} | anni '{ds}-'{dsn} | anni '{ds} e '{dsn} | anni '{ds}/'{dsn}
    decade_early: inizio anni {decade_words} | inizi anni {decade_words} | primi anni {decade_words} | inizio anni '{ds} | inizio degli anni {decade_words} | nei primi anni {decade_words} | prima metà degli anni {decade_words} | primi anni '{ds} | inizi degli anni {decade_words}
    decade_middle: metà anni {decade_words} | metà degli anni {decade_words} | metà anni '{ds} | alla metà degli anni {decade_words} | a metà degli anni '{ds}
    decade_late: fine anni {decade_words} | fine anni '{ds} | fine degli anni {decade_words} | ultimi anni {decade_words} | seconda metà degli anni {decade_words} | tardi anni {decade_words} | alla fine degli anni '{ds} | seconda metà anni '{ds}
    century: {cr} secolo | sec. {cr} | secolo {cr} | {cw} | {cr} sec. | s. {cr} | del {cr} secolo
    century?: {cr} secolo (?) | probabilmente {cr} secolo | sec. {cr}?
    century_early: inizio {cr} secolo | inizi del {cr} secolo | sec. {cr} inizio | sec. {cr}, inizio | inizio {cw} | primi del {cw} | inizi {cw} | inizio sec. {cr} | primi anni del {cr} secolo | inizi del {cw} | sec. {cr} inizi
    century_middle: metà {cr} secolo | metà del {cr} secolo | sec. {cr} metà | metà {cw} | metà sec. {cr} | metà del {cw} | sec. {cr}, metà
    century_late: fine {cr} secolo | fine del {cr} secolo | sec. {cr} fine | sec. {cr}, fine | fine {cw} | fine sec. {cr} | tardo {cw} | fine del {cw} | ultimi anni del {cr} secolo
    half_1: prima metà {cr} secolo | prima metà del {cr} secolo | sec. {cr} prima metà | sec. {cr}, prima metà | prima metà del {cw} | 1a metà sec. {cr} | sec. {cr} (prima metà) | I metà sec. {cr} | prima metà {cw}
    half_2: seconda metà {cr} secolo | seconda metà del {cr} secolo | sec. {cr} seconda metà | sec. {cr}, seconda metà | seconda metà del {cw} | 2a metà sec. {cr} | II metà sec. {cr} | sec. {cr} (seconda metà)
    quarter_1: primo quarto del {cr} secolo | sec. {cr} primo quarto | sec. {cr}, primo quarto | primo quarto sec. {cr}
    quarter_2: secondo quarto del {cr} secolo | sec. {cr} secondo quarto
    quarter_3: terzo quarto del {cr} secolo | sec. {cr} terzo quarto
    quarter_4: ultimo quarto del {cr} secolo | sec. {cr} ultimo quarto | ultimo quarto sec. {cr} | ultimo quarto del {cw}
    third_1: primo terzo del {cr} secolo
    third_2: secondo terzo del {cr} secolo
    third_3: ultimo terzo del {cr} secolo
    turn: fine XIX-inizio XX secolo | fine Ottocento-inizio Novecento | sec. XIX fine-sec. XX inizio | fine XIX - inizi XX sec. | a cavallo tra XIX e XX secolo | fine Ottocento - primi Novecento
    undated: s.d. | s. d. | senza data | non datata | non datato | [s.d.] | data sconosciuta | data ignota | non identificata | n.d. | sd | senza indicazione di data | s.a. | data non rilevata
    refused: acquisto {y} | dono {y} | acquisita nel {y} | Pasqua {y} | Natale {y} | semestre invernale {y}/{yns} | anno accademico {y}/{yns} | anno VII dell'era fascista | {dd}/{mm}/{y} | nato nel {y} | inv. {y} | donazione {y} | Ferragosto {y} | deposito {y} | sotto il regno di Vittorio Emanuele | mostra del {y} | morto nel {y}
    """,
)

SPANISH = Grammar(
    months="enero febrero marzo abril mayo junio julio agosto septiembre/setiembre octubre noviembre diciembre",
    short="ene./en. feb. mar. abr. may./mayo jun. jul. ago. sept./sep. oct. nov. dic.",
    weekdays="lunes martes miércoles jueves viernes sábado domingo",
    seasons="primavera verano otoño invierno",
    decades="veinte treinta cuarenta cincuenta sesenta setenta",
    centuries="diecinueve veinte",
    first="1/1º/1",
    wordings="""
    year: {y} | {y} | {y} | en {y} | año {y} | año de {y} | fechada en {y} | tomada en {y} | datada en {y} | realizada en {y} | fotografía de {y} | fechado en {y} | toma de {y} | del año {y} | de {y}
    year~: hacia {y} | hacia {y} | ca. {y} | ca. {y} | c. {y} | circa {y} | h. {y} | alrededor de {y} | [ca. {y}] | aprox. {y} | aproximadamente {y} | {y} ca. | {y} aprox. | en torno a {y} | {y} (ca.) | cerca de {y} | [hacia {y}] | {y} (aprox.) | hacia el año {y} | sobre {y} | alrededor del año {y} | {y} aproximadamente | ca {y}
    year?: {y}? | ¿{y}? | {y} (?) | [{y}?] | probablemente {y} | posiblemente {y} | quizá {y} | quizás {y} | tal vez {y} | [¿{y}?] | probablemente en {y} | {y} (probable) | prob. {y} | presumiblemente {y}
    year%: probablemente hacia {y} | ¿hacia {y}? | hacia {y} (?) | posiblemente hacia {y} | ca. {y}?
    day: {dn} de {m} de {y} | {dn} de {m} de {y} | {dn} de {m} de {y} | {dn} {m} {y} | {dn} {ma} {y} | {wd}, {dn} de {m} de {y} | {wd} {dn} de {m} de {y} | el {dn} de {m} de {y} | {d} de {m} de {y} | {y}, {m}, {dn} | {y}, {m} {dn} | {y}-{mm}-{dd} | {dn}-{mr}-{y} | {y} {m} {dn} | fechada el {dn} de {m} de {y} | tomada el {dn} de {m} de {y} | {dn} de {m} del {y} | {dn} de {m}, {y} | {dn} {mr} {y}
    day?: {dn} de {m} de {y} (?) | probablemente el {dn} de {m} de {y} | ¿{dn} de {m} de {y}?
    day~: hacia el {dn} de {m} de {y}
    figures: {dd}/{mm}/{y} | {dn}/{mn}/{y} | {dd}-{mm}-{y} | {dn}-{mn}-{y} | {dd}.{mm}.{y}
    month: {m} de {y} | {m} de {y} | {m} {y} | {ma} {y} | en {m} de {y} | {y}, {m} | {y} {m} | {mm}/{y} | principios de {m} de {y} | finales de {m} de {y} | mediados de {m} de {y} | {m} del {y} | mes de {m} de {y} | a finales de {m} de {y}
    month~: hacia {m} de {y} | ca. {m} de {y}
    month?: {m} de {y} (?) | probablemente {m} de {y} | ¿{m} de {y}?
    season: {s} de {y} | {s} {y} | {y}, {s} | en el verano de {y} | {s} del {y} | en la primavera de {y} | finales del verano de {y}
    season?: probablemente {s} de {y} | {s} de {y} (?)
    winter: invierno de {y}-{yn} | invierno {y}-{yn} | invierno {y}/{yn} | invierno de {y}/{yns}
    part: principios de {y} | finales de {y} | mediados de {y} | a finales de {y} | comienzos de {y} | fines de {y} | primera mitad de {y}
    print: {y}, copia de {p} | {y}, copia posterior | {y} (copia de {p}) | {y} (copia posterior) | {y}, tiraje {p} | {y}, copia moderna | {y}, positivado en {p} | {y}, copia {p} | {y}, tiraje de {p} | {y}; copia posterior
    print~: hacia {y}, copia de {p} | ca. {y}, copia posterior
    before: antes de {y} | antes de {y} | anterior a {y} | ante {y} | con anterioridad a {y} | anteriores a {y}
    after: después de {y} | después de {y} | posterior a {y} | post {y} | tras {y} | con posterioridad a {y} | posteriores a {y}
    not_after: hasta {y} | no después de {y} | no posterior a {y} | como máximo {y} | {y} o antes | a más tardar en {y} | {y} o anterior | no más tarde de {y}
    not_before: desde {y} | a partir de {y} | no antes de {y} | no anterior a {y} | {y} o después | {y} o posterior | desde {y} en adelante | de {y} en adelante
    before_day: antes del {dn} de {m} de {y} | anterior al {dn} de {m} de {y} | hasta el {dn} de {m} de {y}
    after_day: después del {dn} de {m} de {y} | a partir del {dn} de {m} de {y} | posterior al {dn} de {m} de {y} | desde el {dn} de {m} de {y}
    before~: antes de ca. {y} | antes de {y} aprox.
    after?: probablemente después de {y} | posterior a {y} (?)
    before?: probablemente antes de {y} | anterior a {y} (?)
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | entre {y} y {y2} | de {y} a {y2} | desde {y} hasta {y2} | {y}/{y2} | {y} a {y2} | {y}—{y2} | años {y}-{y2} | [entre {y} y {y2}] | {y} al {y2} | del {y} al {y2} | tomada entre {y} y {y2}
    range~: ca. {y}-{y2} | hacia {y}-{y2} | h. {y}-{y2} | c. {y}-{y2} | {y}-{y2} aprox. | ca. {y} - ca. {y2} | entre {y} y {y2} aprox. | ca. {y}–{y2} | entre {y} y {y2} aproximadamente | [ca. {y}-{y2}]
    range?: {y}-{y2} (?) | probablemente entre {y} y {y2} | ¿{y}-{y2}? | {y}-{y2}?
    days: {dn}-{dn2} de {m} de {y} | {dn}–{dn2} de {m} de {y} | del {dn} al {dn2} de {m} de {y} | {dn} y {dn2} de {m} de {y} | entre el {dn} y el {dn2} de {m} de {y} | {dn} al {dn2} de {m} de {y} | {dn} a {dn2} de {m} de {y}
    months: {m}-{m2} de {y} | de {m} a {m2} de {y} | entre {m} y {m2} de {y} | {m} a {m2} de {y} | {m}-{m2} {y} | {m}/{m2} de {y}
    months_of_years: {m} de {y} - {m2} de {y2} | de {m} de {y} a {m2} de {y2} | {m} {y}-{m2} {y2} | entre {m} de {y} y {m2} de {y2}
    or: {y} o {yn} | {y} o {yn} | {y} ó {yn} | en {y} o {yn} | [{y} o {yn}] | {y} o bien {yn}
    decade: década de {dec} | década de {dec} | años {ds} | años {decade_words} | los años {ds} | los años {decade_words} | en los años {decade_words} | década de los {decade_words} | años {decade_words} del siglo {cr} | decenio de {dec} | década de los {ds} | {dec}-{dece} | década de los años {decade_words} | década {dec} | años {dec} | en la década de {dec} | década de {dec}-{dece} | los {decade_words} | los años '{ds} | [década de {dec}]
    decade~: hacia la década de {dec} | ca. década de {dec} | hacia los años {decade_words} | ca. años {ds}
    decade?: década de {dec} (?) | ¿década de {dec}? | probablemente década de {dec} | probablemente años {decade_words}
    decades: décadas de {dec} y {decn} | décadas de {dec}-{decn} | años {ds} y {dsn} | años {ds}-{dsn}
    decade_early: principios de la década de {dec} | comienzos de la década de {dec} | principios de los años {ds} | principios de los años {decade_words} | primera mitad de la década de {dec} | inicios de los años {decade_words} | a principios de los {decade_words} | inicios de la década de {dec} | primeros años de la década de {dec}
    decade_middle: mediados de la década de {dec} | mediados de los años {ds} | mediados de los años {decade_words} | a mediados de los {decade_words} | mediados de los {ds}
    decade_late: finales de la década de {dec} | fines de la década de {dec} | finales de los años {ds} | finales de los años {decade_words} | segunda mitad de la década de {dec} | a finales de los {decade_words} | fines de los años {ds} | últimos años de la década de {dec}
    century: siglo {cr} | s. {cr} | S. {cr} | siglo {c} | siglo {cw} | en el siglo {cr}
    century?: siglo {cr} (?) | probablemente siglo {cr} | ¿siglo {cr}?
    century_early: principios del siglo {cr} | comienzos del siglo {cr} | principios s. {cr} | inicios del siglo {cr} | ppios. s. {cr} | a principios del siglo {cr} | ppios. del s. {cr} | primeros años del siglo {cr} | comienzos del s. {cr}
    century_middle: mediados del siglo {cr} | mediados s. {cr} | a mediados del siglo {cr} | med. s. {cr} | mediados del s. {cr}
    century_late: finales del siglo {cr} | fines del siglo {cr} | finales s. {cr} | fin del siglo {cr} | a finales del siglo {cr} | últimos años del siglo {cr} | fines s. {cr} | finales del s. {cr}
    half_1: primera mitad del siglo {cr} | 1ª mitad del siglo {cr} | 1ª mitad s. {cr} | primera mitad s. {cr} | primera mitad del s. {cr} | 1.ª mitad del siglo {cr}
    half_2: segunda mitad del siglo {cr} | 2ª mitad del siglo {cr} | 2ª mitad s. {cr} | segunda mitad s. {cr} | 2.ª mitad del s. {cr}
    quarter_1: primer cuarto del siglo {cr} | 1er cuarto s. {cr} | primer cuarto del s. {cr}
    quarter_2: segundo cuarto del siglo {cr} | 2º cuarto del siglo {cr}
    quarter_3: tercer cuarto del siglo {cr} | 3er cuarto del siglo {cr}
    quarter_4: último cuarto del siglo {cr} | cuarto cuarto del siglo {cr} | último cuarto s. {cr}
    third_1: primer tercio del siglo {cr} | 1er tercio s. {cr} | primer tercio s. {cr}
    third_2: segundo tercio del siglo {cr} | 2º tercio del siglo {cr}
    third_3: último tercio del siglo {cr} | último tercio s. {cr} | tercer tercio del siglo {cr}
    turn: cambio de siglo | finales del siglo XIX-principios del siglo XX | finales del siglo XIX o principios del XX | fines s. XIX - ppios. s. XX | finales s. XIX-principios s. XX
    undated: s.f. | s/f | sin fecha | [s.f.] | s. f. | sin datar | sin año | s.a. | fecha desconocida | no fechada | s.d. | desconocida | fecha no determinada | [s.a.] | no consta | sin fechar | s/d
    refused: adquirida en {y} | donación {y} | Semana Santa de {y} | Navidad de {y} | compra {y} | ingreso {y} | semestre de invierno {y}/{yns} | curso {y}-{yn} | bajo el reinado de Alfonso XII | {dd}/{mm}/{y} | nacido en {y} | n.º inv. {y} | Corpus {y} | exposición de {y} | Pascua de {y} | legado de {y} | fallecido en {y}
    """,
)

POLISH = Grammar(
    months="stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października listopada grudnia",
    month="styczeń luty marzec kwiecień maj czerwiec lipiec sierpień wrzesień październik listopad grudzień",
    month_in="styczniu lutym marcu kwietniu maju czerwcu lipcu sierpniu wrześniu październiku listopadzie grudniu",
    short="stycz./sty. lut. mar. kwiec./kwi. maja czerw./cze. lip. sierp./sie. wrzes./wrz. paźdz./paź. listop./lis. grudz./gru.",
    weekdays="poniedziałek wtorek środa czwartek piątek sobota niedziela",
    seasons="wiosna lato jesień zima",
    seasons_in="wiosną latem jesienią zimą",
    decades="dwudzieste trzydzieste czterdzieste pięćdziesiąte sześćdziesiąte siedemdziesiąte",
    centuries="dziewiętnasty dwudziesty",
    wordings="""
    year: {y} | {y} | {y} r. | {y} r. | {y} rok | w {y} roku | w {y} r. | rok {y} | datowane {y} | zdjęcie z {y} r. | wykonano w {y} r. | z {y} roku | z {y} r. | fot. {y} | datowana na {y} r. | wykonane w {y} roku | {y}r.
    year~: około {y} | ok. {y} | ok. {y} | ok. {y} r. | około {y} r. | ca {y} | ca. {y} | circa {y} | około {y} roku | ok {y} | c. {y} | {y} ok. | {y} (ok.) | w przybliżeniu {y} | {y} ca | [ok. {y}] | mniej więcej {y} | ok. roku {y} | około roku {y}
    year?: {y}? | {y} (?) | {y} r. (?) | prawdopodobnie {y} | zapewne {y} | przypuszczalnie {y} | może {y} | [{y}?] | być może {y} | prawdop. {y} | prawdopodobnie {y} r. | zapewne {y} r. | możliwe {y} | {y} r.?
    year%: prawdopodobnie ok. {y} | zapewne około {y} r. | ok. {y}? | ok. {y} (?) | prawdopodobnie około {y} roku
    day: {d} {m} {y} | {d} {m} {y} | {d} {m} {y} r. | {d} {m} {y} roku | {dn} {mr} {y} | {dn} {mr} {y} r. | {dn}.{mr}.{y} | {dd}.{mm}.{y} | {dn}.{mm}.{y} | {dd}.{mm}.{y} r. | {d} {ma} {y} | {wd}, {d} {m} {y} | {wd} {d} {m} {y} r. | {y}, {d} {m} | {y}-{mm}-{dd} | {y} {m} {d} | dnia {d} {m} {y} r. | w dniu {d} {m} {y} r. | datowane {d} {m} {y} | {y}.{mm}.{dd} | {dn}.{mn}.{y} | {y} {mr} {dn} | wykonano {d} {m} {y} r. | z {d} {m} {y} r. | {dd}. {mm}. {y}
    day?: {d} {m} {y} (?) | prawdopodobnie {d} {m} {y} | {d} {m} {y} r. (?)
    day~: około {d} {m} {y} | ok. {d} {m} {y} r.
    figures: {dd}/{mm}/{y} | {dd}-{mm}-{y} | {dn}/{mn}/{y}
    month: {mo} {y} | {mo} {y} | {mo} {y} r. | w {min} {y} | w {min} {y} r. | {y}, {mo} | {y} {mo} | {mr} {y} | {mm}.{y} | początek {m} {y} | koniec {m} {y} | połowa {m} {y} | {mo} {y} roku | w {min} {y} roku | {mr} {y} r. | na początku {m} {y} r. | {ma} {y}
    month~: około {m} {y} | ok. {m} {y} r.
    month?: {mo} {y} (?) | prawdopodobnie {mo} {y} | zapewne w {min} {y} r.
    season: {s} {y} | {sin} {y} | {s} {y} r. | {sin} {y} r. | {y}, {s} | {s} {y} roku | późne lato {y} | {sin} {y} roku
    season?: prawdopodobnie {s} {y} | {s} {y} (?) | prawdopodobnie {sin} {y} r.
    winter: zima {y}/{yn} | zima {y}/{yns} | zimą {y}/{yn} | zima {y}-{yn}
    part: początek {y} | koniec {y} r. | połowa {y} | początek {y} r. | pod koniec {y} r. | pierwsza połowa {y} r. | na początku {y} roku
    print: {y}, odbitka {p} | {y}, odbitka z {p} r. | {y}, późniejsza odbitka | {y} (odbitka {p}) | {y}, odbitka późniejsza | {y} r., odbitka z {p} r. | {y} (odbitka współczesna) | {y} (późniejsza odbitka) | {y}, odbitka współczesna | {y}, odbitka z {p} roku
    print~: ok. {y}, odbitka {p} | ok. {y} r., odbitka z {p} r.
    before: przed {y} | przed {y} | przed {y} r. | przed {y} rokiem | przed rokiem {y} | wcześniej niż {y} | sprzed {y} r. | sprzed {y} roku
    after: po {y} | po {y} | po {y} r. | po {y} roku | po roku {y} | później niż {y}
    not_after: do {y} | do {y} r. | nie później niż {y} | nie po {y} | najpóźniej {y} | do roku {y} | do {y} roku | {y} lub wcześniej | nie później niż w {y} r. | najpóźniej w {y} r.
    not_before: od {y} | od {y} r. | nie wcześniej niż {y} | nie przed {y} | najwcześniej {y} | od roku {y} | od {y} roku | {y} lub później | nie wcześniej niż w {y} r. | począwszy od {y}
    before_day: przed {dn} {m} {y} | do {dn} {m} {y} r. | przed {dd}.{mm}.{y}
    after_day: po {dn} {m} {y} | od {dn} {m} {y} r. | po {dd}.{mm}.{y}
    before~: przed ok. {y} | przed około {y} r.
    after?: prawdopodobnie po {y} | zapewne po {y} r.
    before?: prawdopodobnie przed {y} | zapewne przed {y} r.
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{y2} r. | lata {y}-{y2} | w latach {y}-{y2} | {y}/{y2} | od {y} do {y2} | między {y} a {y2} | między {y} a {y2} r. | pomiędzy {y} a {y2} | {y}—{y2} | {y}-{ys} | lata {y}–{y2} | między {y} i {y2} | {y} do {y2} | w latach {y}–{y2} | od {y} do {y2} r. | z lat {y}-{y2} | między rokiem {y} a {y2}
    range~: ok. {y}-{y2} | około {y}-{y2} | ok. {y}–{y2} | ca {y}-{y2} | ok. {y} - ok. {y2} | ok. {y}-{y2} r. | ok. lat {y}-{y2} | między ok. {y} a {y2}
    range?: {y}-{y2} (?) | prawdopodobnie {y}-{y2} | zapewne lata {y}-{y2} | prawdopodobnie między {y} a {y2}
    days: {dn}-{dn2} {m} {y} | {dn}–{dn2} {m} {y} | {dn}-{dn2} {m} {y} r. | od {dn} do {dn2} {m} {y} | {dn}-{dn2}.{mm}.{y} | {dn}-{dn2} {mr} {y} | {dn} - {dn2} {m} {y} | w dniach {dn}-{dn2} {m} {y} r. | między {dn} a {dn2} {m} {y}
    months: {mo}-{mo2} {y} | {mo}–{mo2} {y} r. | od {m} do {m2} {y} | {mo}/{mo2} {y} | {mo} - {mo2} {y} | od {m} do {m2} {y} r.
    months_of_years: {mo} {y} - {mo2} {y2} | {mo} {y}–{mo2} {y2} | od {m} {y} do {m2} {y2} | {mo} {y} r. - {mo2} {y2} r.
    or: {y} lub {yn} | {y} lub {yn} r. | {y} albo {yn} | w {y} lub {yn} r. | {y} względnie {yn} | {y} bądź {yn}
    decade: lata {ds}. | lata {ds}. | lata {decade_words} | lata {ds}. {cr} w. | lata {ds}. {cr} wieku | lata {decade_words} {cr} wieku | lata {decade_words} {cr} w. | l. {ds}. | l. {ds}. {cr} w. | {dec}-{dece} | lata {dec}-{dece} | lata {ds}-te | lata {ds}-te {cr} wieku | w latach {dec}-{dece} | lata {ds}
    decade~: ok. lata {ds}. | około lat {ds}. {cr} w.
    decade?: lata {ds}. (?) | prawdopodobnie lata {ds}. | zapewne lata {decade_words} | lata {ds}. {cr} w. (?) | lata {ds}.?
    decades: lata {ds}.-{dsn}. | lata {ds}./{dsn}. | lata {ds}. i {dsn}. | lata {ds}.–{dsn}. {cr} w. | lata {ds}-{dsn}. {cr} w.
    decade_early: początek lat {ds}. | pocz. lat {ds}. | początek lat {ds}. {cr} w. | wczesne lata {decade_words} | na początku lat {ds}. | pocz. l. {ds}. | 1. połowa lat {ds}. | pierwsza połowa lat {ds}. {cr} w. | I poł. lat {ds}.
    decade_middle: połowa lat {ds}. | poł. lat {ds}. | w połowie lat {ds}. | połowa lat {ds}. {cr} w. | poł. l. {ds}.
    decade_late: koniec lat {ds}. | kon. lat {ds}. | późne lata {decade_words} | koniec lat {ds}. {cr} w. | pod koniec lat {ds}. | 2. połowa lat {ds}. | II poł. lat {ds}. | druga połowa lat {ds}.
    century: {cr} w. | {cr} wiek | {c}. wiek | w {cr} w. | w {cr} wieku | {cw} wiek | wiek {cr} | w. {cr}
    century?: {cr} w. (?) | prawdopodobnie {cr} w. | zapewne {cr} wiek
    century_early: początek {cr} w. | pocz. {cr} w. | początek {cr} wieku | pocz. {cr} wieku | na początku {cr} w. | początki {cr} w. | wczesny {cr} wiek
    century_middle: połowa {cr} w. | poł. {cr} w. | połowa {cr} wieku | w połowie {cr} w. | ok. poł. {cr} w. | środek {cr} w.
    century_late: koniec {cr} w. | kon. {cr} w. | koniec {cr} wieku | schyłek {cr} w. | pod koniec {cr} w. | k. {cr} w. | schyłek {cr} wieku
    half_1: 1. połowa {cr} w. | I połowa {cr} w. | I poł. {cr} w. | 1. poł. {cr} w. | pierwsza połowa {cr} wieku | 1 poł. {cr} w. | pierwsza poł. {cr} w. | 1 połowa {cr} wieku | w pierwszej połowie {cr} w.
    half_2: 2. połowa {cr} w. | II połowa {cr} w. | II poł. {cr} w. | 2. poł. {cr} w. | druga połowa {cr} wieku | 2 poł. {cr} w. | druga poł. {cr} w.
    quarter_1: 1. ćwierć {cr} w. | I ćw. {cr} w. | 1. ćw. {cr} w. | pierwsza ćwierć {cr} wieku | I ćwierć {cr} w. | 1 ćw. {cr} w.
    quarter_2: 2. ćwierć {cr} w. | II ćw. {cr} w. | druga ćwierć {cr} wieku
    quarter_3: 3. ćwierć {cr} w. | III ćw. {cr} w. | trzecia ćwierć {cr} wieku
    quarter_4: 4. ćwierć {cr} w. | IV ćw. {cr} w. | ostatnia ćwierć {cr} wieku | ost. ćw. {cr} w.
    third_1: 1. tercja {cr} w. | pierwsza tercja {cr} wieku
    third_2: 2. tercja {cr} w.
    third_3: ostatnia tercja {cr} w. | 3. tercja {cr} wieku
    turn: przełom XIX i XX w. | przełom XIX i XX wieku | przełom XIX/XX w. | przełom wieków | koniec XIX-pocz. XX w. | na przełomie XIX i XX w. | kon. XIX/pocz. XX w. | koniec XIX - początek XX wieku
    undated: b.d. | b. d. | bez daty | brak daty | niedatowane | niedatowana | b.r. | bez roku | data nieznana | nieznana | [b.d.] | s.d. | nie datowane | bd | data nieustalona | [b.r.] | brak datowania
    refused: zakup {y} | dar {y} | nabyto w {y} r. | Wielkanoc {y} | Boże Narodzenie {y} | semestr zimowy {y}/{yns} | rok akademicki {y}/{yns} | za panowania Augusta | {dd}/{mm}/{y} | ur. {y} | nr inw. {y} | wystawa {y} r. | depozyt {y} | Boże Ciało {y} | zm. {y} | przekazano w {y} r. | rok szkolny {y}/{yn}
    """,
)

CZECH = Grammar(
    months="ledna února března dubna května června července srpna září října listopadu prosince",
    month="leden únor březen duben květen červen červenec srpen září říjen listopad prosinec",
    month_in="lednu únoru březnu dubnu květnu červnu červenci srpnu září říjnu listopadu prosinci",
    short="led. úno./ún. bře./břez. dub. kvě./květ. čvn./červ. čvc. srp. zář./září říj. lis./list. pro./pros.",
    weekdays="pondělí úterý středa čtvrtek pátek sobota neděle",
    seasons="jaro léto podzim zima",
    seasons_in="na_jaře v_létě na_podzim v_zimě",
    decades="dvacátá třicátá čtyřicátá padesátá šedesátá sedmdesátá",
    centuries="devatenácté dvacáté",
    wordings="""
    year: {y} | {y} | {y} | rok {y} | v roce {y} | r. {y} | datováno {y} | z roku {y} | snímek z roku {y} | foto {y} | dat. {y} | fotografováno {y} | roku {y} | pořízeno v roce {y} | datace {y} | v r. {y} | pořízeno {y}
    year~: kolem roku {y} | kolem {y} | okolo roku {y} | asi {y} | cca {y} | cca {y} | kolem r. {y} | ca {y} | ca. {y} | přibližně {y} | okolo {y} | circa {y} | kol. r. {y} | [kolem {y}] | {y} (cca) | zhruba {y} | asi z roku {y} | c. {y} | kol. {y} | {y} (asi) | cca r. {y} | cirka {y} | asi rok {y}
    year?: {y}? | {y} (?) | patrně {y} | pravděpodobně {y} | snad {y} | zřejmě {y} | možná {y} | [{y}?] | pravd. {y} | pravděpodobně z roku {y} | nejspíše {y} | patrně rok {y} | snad z roku {y}
    year%: patrně kolem roku {y} | pravděpodobně kolem {y} | snad kolem r. {y} | cca {y}? | kolem {y} (?)
    day: {d}. {m} {y} | {d}. {m} {y} | {d}. {m} {y} | {dn}. {mn}. {y} | {dn}. {mn}. {y} | {dn}.{mn}.{y} | {dd}.{mm}.{y} | {dn}. {mr}. {y} | {dn}.{mr}.{y} | {d}. {ma} {y} | {wd} {d}. {m} {y} | {wd}, {d}. {m} {y} | dne {d}. {m} {y} | {y}, {d}. {m} | {y}-{mm}-{dd} | {y} {m} {d} | datováno {d}. {m} {y} | dne {dn}. {mn}. {y} | pořízeno {dn}. {mn}. {y} | {dd}. {mm}. {y} | ze dne {d}. {m} {y} | {dn}/{mr} {y}
    day?: {d}. {m} {y} (?) | patrně {d}. {m} {y} | {dn}. {mn}. {y} (?)
    day~: kolem {d}. {m} {y} | okolo {d}. {m} {y}
    figures: {dd}/{mm}/{y} | {dn}/{mn}/{y} | {dd}-{mm}-{y}
    month: {mo} {y} | {mo} {y} | v {min} {y} | {y}, {mo} | {y} {mo} | {mn}/{y} | {mm}/{y} | {mr}/{y} | začátek {m} {y} | konec {m} {y} | polovina {m} {y} | {mr}. {y} | počátek {m} {y} | koncem {m} {y} | {ma} {y} | počátkem {m} {y}
    month~: kolem {m} {y} | cca {mo} {y} | asi {mo} {y} | asi v {min} {y}
    month?: {mo} {y} (?) | patrně {mo} {y} | pravděpodobně v {min} {y}
    season: {s} {y} | {sin} {y} | {y}, {s} | {s} roku {y} | {sin} roku {y} | pozdní léto {y} | {s} r. {y}
    season?: patrně {s} {y} | {s} {y} (?) | pravděpodobně {sin} {y}
    winter: zima {y}/{yn} | zima {y}-{yn} | zima {y}/{yns} | v zimě {y}/{yn} | zima {y}–{yn}
    part: začátek roku {y} | konec roku {y} | polovina roku {y} | počátek {y} | koncem roku {y} | první polovina roku {y} | začátkem roku {y}
    print: {y}, zvětšenina {p} | {y}, pozdější zvětšenina | {y}, kopie {p} | {y}, novodobá zvětšenina | {y} (zvětšenina {p}) | {y}, kopie z roku {p} | {y} (pozdější kopie) | {y}, pozdější tisk | {y}, tisk {p} | {y} (pozdější zvětšenina) | {y}, zvětšenina z roku {p} | {y}, pozdější kopie
    print~: kolem {y}, zvětšenina {p} | kolem roku {y}, kopie {p}
    before: před rokem {y} | před {y} | před r. {y} | před rokem {y} | dříve než {y}
    after: po roce {y} | po {y} | po r. {y} | po roce {y} | později než {y}
    not_after: do roku {y} | do {y} | do r. {y} | nejpozději {y} | ne později než {y} | nejpozději v roce {y} | {y} nebo dříve | nejpozději roku {y} | ne po roce {y}
    not_before: od roku {y} | od {y} | od r. {y} | nejdříve {y} | ne dříve než {y} | nejdříve v roce {y} | {y} nebo později | počínaje rokem {y} | ne před rokem {y}
    before_day: před {dn}. {mn}. {y} | do {dn}. {m} {y} | nejpozději {dn}. {m} {y}
    after_day: po {dn}. {mn}. {y} | od {dn}. {m} {y} | po {dn}. {m} {y}
    before~: před cca {y} | asi před rokem {y}
    after?: patrně po roce {y} | pravděpodobně po {y} | zřejmě po roce {y}
    before?: patrně před rokem {y} | pravděpodobně před {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | léta {y}-{y2} | v letech {y}–{y2} | v letech {y}-{y2} | mezi lety {y} a {y2} | mezi {y} a {y2} | {y} až {y2} | od {y} do {y2} | od roku {y} do roku {y2} | {y}/{y2} | {y}—{y2} | {y}-{ys} | {y}–{ys} | mezi roky {y} a {y2} | mezi lety {y}–{y2} | v rozmezí let {y}-{y2} | z let {y}-{y2} | z let {y}–{y2} | roky {y}-{y2}
    range~: cca {y}-{y2} | asi {y}-{y2} | kolem {y}–{y2} | cca {y}–{y2} | kolem let {y}-{y2} | cca {y} až {y2} | ca {y}-{y2} | asi mezi lety {y} a {y2} | asi v letech {y}–{y2}
    range?: {y}-{y2} (?) | patrně {y}–{y2} | pravděpodobně mezi lety {y} a {y2} | {y}-{y2}?
    days: {dn}.-{dn2}. {m} {y} | {dn}.–{dn2}. {m} {y} | {dn}.–{dn2}. {mn}. {y} | {dn}.-{dn2}.{mn}.{y} | od {dn}. do {dn2}. {m} {y} | {dn}. až {dn2}. {m} {y} | {dn}. - {dn2}. {m} {y} | {dn}. a {dn2}. {m} {y} | {dn}. – {dn2}. {mn}. {y}
    months: {mo}-{mo2} {y} | {mo}–{mo2} {y} | od {m} do {m2} {y} | {mo} až {mo2} {y} | {mo}/{mo2} {y} | {mo} - {mo2} {y}
    months_of_years: {mo} {y} - {mo2} {y2} | {mo} {y} – {mo2} {y2} | od {m} {y} do {m2} {y2} | {mo} {y} až {mo2} {y2}
    or: {y} nebo {yn} | {y} nebo {yn} | {y} či {yn} | {y} anebo {yn} | v roce {y} nebo {yn} | {y}, nebo {yn} | buď {y}, nebo {yn}
    decade: {ds}. léta | {ds}. léta {c}. století | {decade_words} léta | {decade_words} léta {c}. století | {ds}. léta {c}. stol. | {ds}. l. {c}. stol. | {dec}-{dece} | léta {dec}–{dece} | {ds}. léta {c}. st.
    decade~: kolem {ds}. let {c}. století | asi {ds}. léta | cca {ds}. léta | asi {ds}. léta {c}. století
    decade?: {ds}. léta (?) | patrně {ds}. léta | pravděpodobně {decade_words} léta | {ds}. léta {c}. století (?) | {ds}. léta? | snad {ds}. léta {c}. stol.
    decades: {ds}.-{dsn}. léta | {ds}.–{dsn}. léta {c}. století | {ds}. a {dsn}. léta {c}. století | {ds}. až {dsn}. léta | {ds}.-{dsn}. léta {c}. stol. | {ds}./{dsn}. léta
    decade_early: počátek {ds}. let | začátek {ds}. let | poč. {ds}. let | počátek {ds}. let {c}. století | začátkem {ds}. let | první polovina {ds}. let | 1. polovina {ds}. let {c}. století | 1. pol. {ds}. let | počátkem {ds}. let
    decade_middle: polovina {ds}. let | pol. {ds}. let | v polovině {ds}. let | polovina {ds}. let {c}. století | střed {ds}. let
    decade_late: konec {ds}. let | kon. {ds}. let | koncem {ds}. let | konec {ds}. let {c}. století | druhá polovina {ds}. let | 2. pol. {ds}. let | závěr {ds}. let | 2. polovina {ds}. let {c}. století
    century: {c}. století | {c}. stol. | {c}. st. | {cw} století | v {c}. století | {cr}. století | {c}.stol.
    century?: {c}. století (?) | patrně {c}. století | pravděpodobně {c}. stol.
    century_early: počátek {c}. století | začátek {c}. století | poč. {c}. stol. | poč. {c}. století | zač. {c}. stol. | počátkem {c}. století | na počátku {c}. století | začátkem {c}. stol.
    century_middle: polovina {c}. století | pol. {c}. stol. | v polovině {c}. století | střed {c}. století | kolem poloviny {c}. století | pol. {c}. století
    century_late: konec {c}. století | kon. {c}. stol. | konec {c}. stol. | koncem {c}. století | závěr {c}. století | sklonek {c}. století | na konci {c}. století
    half_1: 1. polovina {c}. století | 1. pol. {c}. stol. | první polovina {c}. století | 1. pol. {c}. století | v 1. polovině {c}. století | I. pol. {c}. stol. | 1. pol. {c}. st.
    half_2: 2. polovina {c}. století | 2. pol. {c}. stol. | druhá polovina {c}. století | 2. pol. {c}. století | ve 2. polovině {c}. století | II. pol. {c}. stol.
    quarter_1: 1. čtvrtina {c}. století | první čtvrtina {c}. století | 1. čtvrt. {c}. stol. | 1. čtvrtina {c}. stol.
    quarter_2: 2. čtvrtina {c}. století | druhá čtvrtina {c}. století
    quarter_3: 3. čtvrtina {c}. století | třetí čtvrtina {c}. století
    quarter_4: 4. čtvrtina {c}. století | poslední čtvrtina {c}. století | posl. čtvrtina {c}. stol.
    third_1: 1. třetina {c}. století | první třetina {c}. století | 1. třetina {c}. stol.
    third_2: 2. třetina {c}. století | druhá třetina {c}. století
    third_3: poslední třetina {c}. století | 3. třetina {c}. století | posl. třetina {c}. stol.
    turn: přelom 19. a 20. století | přelom 19. a 20. stol. | přelom 19./20. století | přelom století | na přelomu 19. a 20. století | konec 19. - začátek 20. století | kon. 19./poč. 20. stol.
    undated: b.d. | bez data | bez datace | nedatováno | s.d. | b. d. | nedat. | datum neznámé | neznámé datum | [b.d.] | nezjištěno | nedatovaná | datace neznámá | b. r. | bez roku | neuvedeno | neznámo
    refused: zakoupeno {y} | dar {y} | získáno v roce {y} | Velikonoce {y} | Vánoce {y} | zimní semestr {y}/{yns} | školní rok {y}/{yn} | za vlády Františka Josefa | {dd}/{mm}/{y} | nar. {y} | inv. č. {y} | výstava {y} | převod {y} | Boží Tělo {y} | přír. č. {y} | koupě {y} | zemřel {y}
    """,
)

PORTUGUESE = Grammar(
    months="janeiro/Janeiro fevereiro/Fevereiro março/Março abril/Abril maio/Maio junho/Junho julho/Julho agosto/Agosto setembro/Setembro outubro/Outubro novembro/Novembro dezembro/Dezembro",
    short="jan. fev. mar. abr. mai./maio jun. jul. ago. set. out. nov. dez.",
    weekdays="segunda-feira terça-feira quarta-feira quinta-feira sexta-feira sábado domingo",
    seasons="primavera/Primavera verão/Verão outono/Outono inverno/Inverno",
    decades="vinte trinta quarenta cinquenta sessenta setenta",
    centuries="dezanove/dezenove vinte",
    first="1/1.º/1º",
    wordings="""
    year: {y} | {y} | {y} | em {y} | ano de {y} | datada de {y} | tirada em {y} | ano {y} | datado de {y} | fotografia de {y} | realizada em {y} | no ano de {y} | de {y} | captada em {y}
    year~: cerca de {y} | c. {y} | c. {y} | ca. {y} | ca. {y} | circa {y} | por volta de {y} | [ca. {y}] | aproximadamente {y} | aprox. {y} | {y} ca. | {y} (ca.) | à volta de {y} | [c. {y}] | em torno de {y} | {y} aprox. | ca {y} | cerca do ano de {y} | {y} (circa) | {y} aproximadamente | cca. {y}
    year?: {y}? | {y} (?) | [{y}?] | provavelmente {y} | possivelmente {y} | talvez {y} | prov. {y} | provavelmente em {y} | {y} (provável) | [{y} ?] | presumivelmente {y} | {y} (data provável)
    year%: provavelmente cerca de {y} | provavelmente c. {y} | ca. {y}? | c. {y} (?) | possivelmente por volta de {y}
    day: {dn} de {m} de {y} | {dn} de {m} de {y} | {dn} de {m} de {y} | {d} de {m} de {y} | {dn} {ma} {y} | {dn} {m} {y} | {wd}, {dn} de {m} de {y} | em {dn} de {m} de {y} | {y}, {m}, {dn} | {y}, {m} {dn} | {y}-{mm}-{dd} | {y} {m} {dn} | datada de {dn} de {m} de {y} | tirada a {dn} de {m} de {y} | a {dn} de {m} de {y} | {dn} de {ma} {y} | {dn} de {ma} de {y} | {y}/{mm}/{dd} | no dia {dn} de {m} de {y}
    day?: {dn} de {m} de {y} (?) | provavelmente {dn} de {m} de {y} | {dn} de {m} de {y}?
    day~: cerca de {dn} de {m} de {y} | por volta de {dn} de {m} de {y}
    figures: {dd}/{mm}/{y} | {dn}/{mn}/{y} | {dd}-{mm}-{y} | {dn}-{mn}-{y} | {dd}.{mm}.{y}
    month: {m} de {y} | {m} de {y} | {m} {y} | {ma} {y} | em {m} de {y} | {y}, {m} | {y} {m} | {mm}/{y} | início de {m} de {y} | final de {m} de {y} | meados de {m} de {y} | {ma} de {y} | fins de {m} de {y} | no mês de {m} de {y}
    month~: cerca de {m} de {y} | ca. {m} de {y} | por volta de {m} de {y}
    month?: {m} de {y} (?) | provavelmente {m} de {y} | {m} de {y}?
    season: {s} de {y} | {s} {y} | {y}, {s} | no verão de {y} | na primavera de {y} | no outono de {y} | fim do verão de {y}
    season?: provavelmente {s} de {y} | {s} de {y} (?)
    winter: inverno de {y}-{yn} | inverno {y}/{yn} | inverno de {y}/{yns} | inverno {y}-{yn}
    part: início de {y} | final de {y} | meados de {y} | fins de {y} | princípios de {y} | no final de {y} | inícios de {y} | finais de {y}
    print: {y}, cópia de {p} | {y}, cópia posterior | {y} (cópia de {p}) | {y}, impressão de {p} | {y}, ampliação de {p} | {y}, tiragem de {p} | {y} (impressão posterior) | {y} (cópia posterior) | {y}, cópia {p} | {y}, impressão posterior | {y}, ampliação posterior
    print~: c. {y}, cópia de {p} | cerca de {y}, cópia posterior
    before: antes de {y} | antes de {y} | anterior a {y} | ante {y} | anteriormente a {y} | anteriores a {y} | [antes de {y}]
    after: depois de {y} | após {y} | posterior a {y} | post. {y} | depois de {y} | posteriores a {y} | pós {y} | pós-{y}
    not_after: até {y} | não depois de {y} | não posterior a {y} | o mais tardar em {y} | {y} ou antes | até ao ano de {y} | {y} ou anterior | no máximo até {y}
    not_before: desde {y} | a partir de {y} | não antes de {y} | não anterior a {y} | {y} ou depois | {y} em diante | {y} ou posterior | de {y} em diante
    before_day: antes de {dn} de {m} de {y} | até {dn} de {m} de {y} | anterior a {dn} de {m} de {y}
    after_day: depois de {dn} de {m} de {y} | após {dn} de {m} de {y} | a partir de {dn} de {m} de {y} | desde {dn} de {m} de {y}
    before~: antes de c. {y} | antes de cerca de {y}
    after?: provavelmente depois de {y} | provavelmente após {y} | posterior a {y} (?)
    before?: provavelmente antes de {y} | anterior a {y} (?)
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | entre {y} e {y2} | de {y} a {y2} | desde {y} até {y2} | {y}/{y2} | {y} a {y2} | {y}—{y2} | anos {y}-{y2} | [entre {y} e {y2}] | {y} até {y2} | no período de {y} a {y2} | tirada entre {y} e {y2}
    range~: c. {y}-{y2} | ca. {y}-{y2} | cerca de {y}-{y2} | entre c. {y} e {y2} | ca. {y}–{y2} | c. {y} - c. {y2} | circa {y}-{y2} | entre {y} e {y2} aprox. | por volta de {y}-{y2} | entre cerca de {y} e {y2}
    range?: {y}-{y2} (?) | provavelmente entre {y} e {y2} | {y}-{y2}? | possivelmente entre {y} e {y2}
    days: {dn}-{dn2} de {m} de {y} | {dn}–{dn2} de {m} de {y} | de {dn} a {dn2} de {m} de {y} | {dn} e {dn2} de {m} de {y} | entre {dn} e {dn2} de {m} de {y} | {dn} a {dn2} de {m} de {y}
    months: {m}-{m2} de {y} | de {m} a {m2} de {y} | entre {m} e {m2} de {y} | {m} a {m2} de {y} | {m}/{m2} de {y} | {m}-{m2} {y}
    months_of_years: {m} de {y} - {m2} de {y2} | de {m} de {y} a {m2} de {y2} | {m} {y}-{m2} {y2} | entre {m} de {y} e {m2} de {y2}
    or: {y} ou {yn} | {y} ou {yn} | em {y} ou {yn} | [{y} ou {yn}]
    decade: década de {dec} | década de {dec} | anos {ds} | anos {decade_words} | anos {dec} | os anos {ds} | nos anos {ds} | década de {ds} do século {cr} | anos {ds} do séc. {cr} | {dec}-{dece} | anos {ds} do século {cr} | decénio de {dec} | na década de {dec} | década {dec} | década de {decade_words} | nos anos {decade_words} | déc. {dec} | déc. de {dec} | década de {ds} | anos de {dec}-{dece} | [década de {dec}]
    decade~: c. década de {dec} | cerca da década de {dec} | c. anos {ds} | ca. década de {dec} | por volta dos anos {ds} | por volta da década de {dec}
    decade?: década de {dec} (?) | provavelmente década de {dec} | provavelmente anos {ds} | anos {ds} (?) | década de {dec}?
    decades: décadas de {dec} e {decn} | décadas de {dec}-{decn} | anos {ds}-{dsn} | décadas de {dec}/{decn} | anos {ds} e {dsn} | décadas de {dec} a {decn} | anos {ds}/{dsn}
    decade_early: início da década de {dec} | inícios da década de {dec} | início dos anos {ds} | princípios dos anos {ds} | começo dos anos {ds} | primeira metade da década de {dec} | inícios dos anos {ds} | princípio da década de {dec} | primeira metade dos anos {ds} | início dos anos {decade_words}
    decade_middle: meados da década de {dec} | meados dos anos {ds} | em meados dos anos {ds} | meados dos anos {decade_words} | meados da déc. de {dec}
    decade_late: final da década de {dec} | fim da década de {dec} | finais dos anos {ds} | fins da década de {dec} | final dos anos {ds} | segunda metade da década de {dec} | finais da década de {dec} | fim dos anos {decade_words} | segunda metade dos anos {ds}
    century: século {cr} | séc. {cr} | sec. {cr} | século {c} | s. {cr} | no século {cr} | Século {cr}
    century?: século {cr} (?) | provavelmente século {cr} | séc. {cr} (?)
    century_early: início do século {cr} | inícios do século {cr} | princípios do século {cr} | início séc. {cr} | inícios do séc. {cr} | começo do século {cr} | princípio do século {cr} | início do séc. {cr} | primeiros anos do século {cr}
    century_middle: meados do século {cr} | meados do séc. {cr} | meados séc. {cr} | em meados do século {cr} | metade do século {cr}
    century_late: final do século {cr} | fim do século {cr} | finais do século {cr} | fins do século {cr} | finais do séc. {cr} | fim séc. {cr} | últimos anos do século {cr} | final do séc. {cr}
    half_1: primeira metade do século {cr} | 1.ª metade do século {cr} | 1ª metade do séc. {cr} | primeira metade do séc. {cr} | 1.ª metade séc. {cr} | 1ª metade do século {cr}
    half_2: segunda metade do século {cr} | 2.ª metade do século {cr} | 2ª metade do séc. {cr} | segunda metade do séc. {cr} | 2.ª metade séc. {cr}
    quarter_1: primeiro quartel do século {cr} | 1.º quartel do séc. {cr} | primeiro quarto do século {cr} | 1º quartel do século {cr}
    quarter_2: segundo quartel do século {cr} | 2.º quartel do século {cr}
    quarter_3: terceiro quartel do século {cr} | 3.º quartel do séc. {cr}
    quarter_4: último quartel do século {cr} | 4.º quartel do século {cr} | último quartel do séc. {cr} | último quarto do século {cr}
    third_1: primeiro terço do século {cr} | 1.º terço do séc. {cr}
    third_2: segundo terço do século {cr}
    third_3: último terço do século {cr} | último terço do séc. {cr}
    turn: viragem do século | viragem do século XIX para o XX | virada do século | final do século XIX, início do século XX | finais do séc. XIX - inícios do séc. XX | passagem do século XIX para o século XX | fim do século XIX/início do século XX
    undated: s.d. | s/d | sem data | [s.d.] | s. d. | não datada | não datado | n.d. | data desconhecida | desconhecida | sem indicação de data | [s/d] | sd | s/data | data não identificada | não identificada | sem ano
    refused: adquirida em {y} | doação {y} | Páscoa de {y} | Natal de {y} | compra {y} | semestre de inverno {y}/{yns} | ano letivo {y}/{yn} | no reinado de D. Carlos | {dd}/{mm}/{y} | nascido em {y} | n.º inv. {y} | exposição de {y} | incorporação {y} | Carnaval de {y} | depósito de {y} | falecido em {y} | legado {y}
    """,
)

SWEDISH = Grammar(
    months="januari februari mars april maj juni juli augusti september oktober november december",
    short="jan./jan feb./febr. mars/mar. april/apr. maj juni/jun. juli/jul. aug. sept./sep. okt. nov. dec.",
    weekdays="måndag/måndagen tisdag/tisdagen onsdag/onsdagen torsdag/torsdagen fredag/fredagen lördag/lördagen söndag/söndagen",
    seasons="vår sommar höst vinter",
    seasons_in="våren sommaren hösten vintern",
    decades="tjugo trettio fyrtio femtio sextio sjuttio",
    centuries="nittonde tjugonde",
    wordings="""
    year: {y} | {y} | {y} | år {y} | året {y} | daterad {y} | fotograferad {y} | taget {y} | tagen {y} | fotoår {y} | daterat {y} | foto {y} | fotograferat år {y}
    year~: ca {y} | ca {y} | ca. {y} | cirka {y} | omkring {y} | omkr. {y} | c:a {y} | runt {y} | kring {y} | c. {y} | ungefär {y} | {y} ca | [ca {y}] | {y} (ca) | uppskattningsvis {y} | circa {y} | vid {y} års tid | omkr {y} | kring år {y} | omkring år {y} | cirka år {y} | ung. {y}
    year?: {y}? | {y} (?) | troligen {y} | sannolikt {y} | möjligen {y} | kanske {y} | förmodligen {y} | [{y}?] | trol. {y} | troligtvis {y} | antagligen {y} | {y} (osäkert) | {y} (troligen) | ev. {y} | eventuellt {y}
    year%: troligen ca {y} | troligen omkring {y} | ca {y}? | ca {y} (?) | sannolikt omkring {y}
    day: {d} {m} {y} | {d} {m} {y} | {d} {m} {y} | den {d} {m} {y} | {d} {ma} {y} | {y}-{mm}-{dd} | {y}-{mm}-{dd} | {wd} {d} {m} {y} | {wd} den {d} {m} {y} | {d}:e {m} {y} | den {d}:e {m} {y} | {y}, {d} {m} | {dn}.{mn}.{y} | {dd}.{mm}.{y} | {y} {m} {d} | tagen den {d} {m} {y} | daterad {d} {m} {y} | {y} {d} {m} | fotograferad den {d} {m} {y}
    day?: {d} {m} {y} (?) | troligen {d} {m} {y} | troligen den {d} {m} {y} | {y}-{mm}-{dd} (?)
    day~: omkring {d} {m} {y} | omkring den {d} {m} {y} | ca {d} {m} {y}
    figures: {dn}/{mn} {y} | {dn}/{mn}/{y} | {dn}/{mn}-{y} | {dd}/{mm}/{y} | den {dn}/{mn} {y}
    month: {m} {y} | {m} {y} | {ma} {y} | i {m} {y} | {y}, {m} | {y} {m} | {y}-{mm} | början av {m} {y} | slutet av {m} {y} | mitten av {m} {y} | {m} månad {y} | i {m} månad {y} | i början av {m} {y} | {m} år {y}
    month~: ca {m} {y} | omkring {m} {y}
    month?: {m} {y} (?) | troligen {m} {y} | troligen i {m} {y}
    season: {sin} {y} | {sin} {y} | {s} {y} | {y}, {s} | sensommaren {y} | på {sin} {y} | {y}, {sin} | försommaren {y} | senhösten {y}
    season?: troligen {sin} {y} | {sin} {y} (?) | sannolikt {sin} {y}
    winter: vintern {y}-{yn} | vintern {y}/{yn} | vintern {y}–{yns} | vintern {y}/{yns} | vinter {y}-{yn}
    part: början av {y} | slutet av {y} | mitten av {y} | i slutet av {y} | första halvåret {y} | i början av år {y}
    print: {y}, kopia {p} | {y}, kopia från {p} | {y}, senare kopia | {y} (kopia {p}) | {y}, kopierad {p} | {y} (senare kopia) | {y}, kopierad senare | {y}, nykopia {p} | {y}, kopia av senare datum | {y} (kopia från {p})
    print~: ca {y}, kopia {p} | omkring {y}, senare kopia | ca {y}, kopia från {p}
    before: före {y} | före {y} | innan {y} | före år {y} | tidigare än {y} | från tiden före {y} | ante {y}
    after: efter {y} | efter {y} | efter år {y} | senare än {y} | från tiden efter {y} | post {y}
    not_after: senast {y} | till {y} | till och med {y} | t.o.m. {y} | fram till {y} | ej efter {y} | inte efter {y} | {y} eller tidigare | inte senare än {y} | t o m {y} | ej senare än {y} | intill {y}
    not_before: tidigast {y} | från {y} | från och med {y} | fr.o.m. {y} | sedan {y} | ej före {y} | inte före {y} | {y} eller senare | inte tidigare än {y} | fr o m {y} | {y} och framåt | från {y} och framåt | ej tidigare än {y}
    before_day: före {d} {m} {y} | före den {d} {m} {y} | senast {d} {m} {y} | senast den {d} {m} {y}
    after_day: efter {d} {m} {y} | efter den {d} {m} {y} | från {d} {m} {y} | sedan den {d} {m} {y}
    before~: före ca {y} | före cirka {y}
    after?: troligen efter {y} | sannolikt efter {y} | förmodligen efter {y}
    before?: troligen före {y} | sannolikt före {y} | antagligen före {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | {y}–{ys} | mellan {y} och {y2} | från {y} till {y2} | {y} till {y2} | åren {y}-{y2} | {y}/{y2} | {y}—{y2} | mellan åren {y} och {y2} | {y} t.o.m. {y2} | perioden {y}-{y2} | under åren {y}–{y2} | mellan {y}-{y2} | åren {y}–{y2} | under perioden {y}–{y2} | tagen mellan {y} och {y2}
    range~: ca {y}-{y2} | omkring {y}-{y2} | ca {y}–{y2} | cirka {y}-{y2} | ca {y} - ca {y2} | ca {y} till {y2} | omkr. {y}-{y2} | mellan ca {y} och {y2} | ca. {y}-{y2} | ca {y}-{ys} | c:a {y}-{y2}
    range?: {y}-{y2} (?) | troligen mellan {y} och {y2} | troligen {y}-{y2} | {y}–{y2}? | sannolikt {y}–{y2}
    days: {dn}-{dn2} {m} {y} | {dn}–{dn2} {m} {y} | den {dn}-{dn2} {m} {y} | {dn} till {dn2} {m} {y} | från {dn} till {dn2} {m} {y} | {dn} - {dn2} {m} {y} | mellan den {dn} och {dn2} {m} {y} | den {dn}–{dn2} {m} {y} | {dn} och {dn2} {m} {y}
    months: {m}-{m2} {y} | {m}–{m2} {y} | {m} till {m2} {y} | från {m} till {m2} {y} | mellan {m} och {m2} {y} | {m}/{m2} {y} | {m} - {m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y}–{m2} {y2} | från {m} {y} till {m2} {y2} | {m} {y} till {m2} {y2} | mellan {m} {y} och {m2} {y2}
    or: {y} eller {yn} | {y} eller {yn} | {y} el. {yn} | år {y} eller {yn} | antingen {y} eller {yn}
    decade: {dec}-talet | {dec}-talet | {dec}-tal | {ds}-talet | {ds}-tal | {decade_words}talet | på {dec}-talet | på {ds}-talet | {dec}-{dece} | {dec} talet | från {dec}-talet | under {dec}-talet | på {decade_words}talet | {dec}–{dece}
    decade~: ca {dec}-talet | ca {dec}-tal | omkring {dec}-talet | cirka {dec}-tal | ca {ds}-tal
    decade?: {dec}-talet? | troligen {dec}-talet | {dec}-tal (?) | sannolikt {dec}-talet | troligen {ds}-tal | förmodligen {dec}-tal | möjligen {dec}-talet
    decades: {dec}-{decn}-talet | {dec}-{decn}-tal | {dec}- och {decn}-talet | {dec}/{decn}-talet | {ds}-{dsn}-tal | {dec}–{decn}-talet | {dec}- eller {decn}-talet | {dec}-talet eller {decn}-talet | {dec}-talet-{decn}-talet
    decade_early: början av {dec}-talet | tidigt {dec}-tal | {dec}-talets början | början på {dec}-talet | tidiga {dec}-talet | i början av {ds}-talet | tidigt {ds}-tal | första hälften av {dec}-talet | det tidiga {dec}-talet | början {dec}-talet
    decade_middle: mitten av {dec}-talet | {dec}-talets mitt | mitten av {ds}-talet | i mitten av {dec}-talet | mitten på {dec}-talet | medio {dec}-talet
    decade_late: slutet av {dec}-talet | sent {dec}-tal | {dec}-talets slut | slutet på {dec}-talet | sena {dec}-talet | i slutet av {ds}-talet | andra hälften av {dec}-talet | senare delen av {dec}-talet | senare hälften av {dec}-talet | slutet {dec}-talet
    century: {h}-talet | {h}-tal | på {h}-talet | {c}:e århundradet | {h} talet | under {h}-talet
    century?: troligen {h}-talet | {h}-tal (?) | {h}-talet?
    century_early: början av {h}-talet | {h}-talets början | tidigt {h}-tal | början på {h}-talet | tidiga {h}-talet | i början av {h}-talet | det tidiga {h}-talet | {h}-talets första decennier
    century_middle: mitten av {h}-talet | {h}-talets mitt | i mitten av {h}-talet | mitten på {h}-talet
    century_late: slutet av {h}-talet | {h}-talets slut | sent {h}-tal | slutet på {h}-talet | sena {h}-talet | i slutet av {h}-talet | senare delen av {h}-talet | det sena {h}-talet
    half_1: första hälften av {h}-talet | {h}-talets första hälft | 1:a hälften av {h}-talet | under första hälften av {h}-talet | förra hälften av {h}-talet
    half_2: andra hälften av {h}-talet | {h}-talets andra hälft | senare hälften av {h}-talet | {h}-talets senare hälft | 2:a hälften av {h}-talet
    quarter_1: första fjärdedelen av {h}-talet | {h}-talets första fjärdedel
    quarter_2: andra fjärdedelen av {h}-talet | {h}-talets andra fjärdedel
    quarter_3: tredje fjärdedelen av {h}-talet | {h}-talets tredje fjärdedel
    quarter_4: sista fjärdedelen av {h}-talet | {h}-talets sista fjärdedel | fjärde fjärdedelen av {h}-talet
    third_1: första tredjedelen av {h}-talet | {h}-talets första tredjedel
    third_2: andra tredjedelen av {h}-talet
    third_3: sista tredjedelen av {h}-talet | {h}-talets sista tredjedel
    turn: sekelskiftet | sekelskiftet 1900 | omkring sekelskiftet | kring sekelskiftet 1900 | sekelskiftet 1800-1900 | slutet av 1800-talet/början av 1900-talet | slutet av 1800-talet eller början av 1900-talet | sent 1800-tal-tidigt 1900-tal | vid sekelskiftet
    undated: odaterad | odat. | utan år | u.å. | u å | odaterat | okänt datum | okänt | datering okänd | u.d. | datum saknas | s.d. | okänt år | [u.å.] | s.a. | utan datum | ej daterad | årtal okänt | okänd datering | uppgift saknas
    refused: förvärvad {y} | gåva {y} | påsken {y} | julen {y} | midsommar {y} | inköpt {y} | höstterminen {y} | läsåret {y}/{yns} | {dd}/{mm}/{y} | född {y} | inv.nr {y} | under Oscar II:s regering | utställning {y} | pingsten {y} | accession {y} | deponerad {y} | vårterminen {y} | död {y}
    """,
)

DANISH = Grammar(
    months="januar februar marts april maj juni juli august september oktober november december",
    short="jan. feb./febr. mar./marts apr. maj jun./juni jul./juli aug. sep./sept. okt. nov. dec.",
    weekdays="mandag tirsdag onsdag torsdag fredag lørdag søndag",
    seasons="forår sommer efterår vinter",
    seasons_in="foråret sommeren efteråret vinteren",
    decades="tyverne trediverne fyrrerne halvtredserne tresserne halvfjerdserne",
    centuries="nittende tyvende",
    wordings="""
    year: {y} | {y} | {y} | år {y} | i {y} | året {y} | dateret {y} | fotograferet {y} | taget {y} | optaget {y} | fotografi fra {y} | taget i {y} | optaget i {y} | foto {y} | anno {y} | optagelsesår {y}
    year~: ca. {y} | ca. {y} | ca {y} | cirka {y} | omkring {y} | omkr. {y} | o. {y} | c. {y} | rundt om {y} | {y} ca. | [ca. {y}] | ca.{y} | omtrent {y} | omkring år {y} | circa {y} | {y} (ca.) | {y} cirka | skønsmæssigt {y} | anslået {y} | omkring året {y}
    year?: {y}? | {y} (?) | formentlig {y} | sandsynligvis {y} | muligvis {y} | måske {y} | antagelig {y} | [{y}?] | formodentlig {y} | antageligt {y} | sandsynligvis i {y} | {y} (usikkert) | {y} (formodet) | formentligt {y} | nok {y} | muligvis fra {y}
    year%: formentlig ca. {y} | sandsynligvis omkring {y} | ca. {y}? | ca. {y} (?) | måske ca. {y}
    day: {d}. {m} {y} | {d}. {m} {y} | {d}. {m} {y} | den {d}. {m} {y} | d. {d}. {m} {y} | {d}. {ma} {y} | {dn}.{mn}.{y} | {dd}.{mm}.{y} | {dn}. {mn}. {y} | {wd} d. {d}. {m} {y} | {wd} den {d}. {m} {y} | {wd}, {d}. {m} {y} | {y}, {d}. {m} | {y}-{mm}-{dd} | {y} {m} {d} | taget d. {d}. {m} {y} | dateret {d}. {m} {y} | {y} {d}. {m} | {d} {m} {y} | taget den {d}. {m} {y}
    day?: {d}. {m} {y} (?) | formentlig {d}. {m} {y} | sandsynligvis den {d}. {m} {y}
    day~: omkring {d}. {m} {y} | ca. {d}. {m} {y} | omkring den {d}. {m} {y}
    figures: {dn}/{mn} {y} | {dn}/{mn}-{y} | {dd}-{mm}-{y} | {dd}/{mm}/{y} | {dn}-{mn}-{y} | d. {dn}/{mn} {y}
    month: {m} {y} | {m} {y} | {ma} {y} | i {m} {y} | {y}, {m} | {y} {m} | {y}-{mm} | begyndelsen af {m} {y} | slutningen af {m} {y} | midten af {m} {y} | {mm}.{y} | primo {m} {y} | medio {m} {y} | ultimo {m} {y} | {m} måned {y}
    month~: ca. {m} {y} | omkring {m} {y}
    month?: {m} {y} (?) | formentlig {m} {y} | sandsynligvis {m} {y}
    season: {sin} {y} | {sin} {y} | {s} {y} | {y}, {s} | sensommeren {y} | {y}, {sin} | om {sin} {y} | forsommeren {y} | i {sin} {y}
    season?: formentlig {sin} {y} | {sin} {y} (?)
    winter: vinteren {y}-{yn} | vinteren {y}/{yn} | vinteren {y}-{yns} | vinteren {y}/{yns} | vinter {y}-{yn}
    part: begyndelsen af {y} | slutningen af {y} | midten af {y} | primo {y} | medio {y} | ultimo {y} | første halvdel af {y} | i slutningen af {y} | starten af {y}
    print: {y}, kopi {p} | {y}, kopi fra {p} | {y}, senere kopi | {y} (kopi {p}) | {y}, aftryk {p} | {y} (senere aftryk) | {y}, senere aftryk | {y}, aftryk fra {p} | {y}, nyere kopi | {y} (kopi fra {p}) | {y}, kopieret {p}
    print~: ca. {y}, kopi {p} | ca. {y}, senere aftryk | ca. {y}, kopi fra {p}
    before: før {y} | før {y} | inden {y} | før år {y} | tidligere end {y} | fra før {y} | ante {y}
    after: efter {y} | efter {y} | efter år {y} | senere end {y} | fra efter {y} | post {y}
    not_after: senest {y} | til {y} | til og med {y} | indtil {y} | ikke efter {y} | {y} eller tidligere | ikke senere end {y} | frem til {y} | indtil år {y} | t.o.m. {y} | {y} eller før | op til {y}
    not_before: tidligst {y} | fra {y} | fra og med {y} | siden {y} | ikke før {y} | {y} eller senere | ikke tidligere end {y} | {y} og senere | fra {y} og fremefter | {y} og frem | fra {y} og frem
    before_day: før {d}. {m} {y} | før den {d}. {m} {y} | senest {d}. {m} {y} | inden {d}. {m} {y}
    after_day: efter {d}. {m} {y} | efter den {d}. {m} {y} | fra {d}. {m} {y} | siden {d}. {m} {y}
    before~: før ca. {y} | før omkring {y}
    after?: formentlig efter {y} | sandsynligvis efter {y} | antagelig efter {y}
    before?: formentlig før {y} | sandsynligvis før {y} | nok før {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | {y}–{ys} | mellem {y} og {y2} | fra {y} til {y2} | {y} til {y2} | årene {y}-{y2} | {y}/{y2} | {y}—{y2} | i årene {y}-{y2} | perioden {y}-{y2} | i perioden {y}-{y2} | mellem årene {y} og {y2} | {y} til og med {y2} | taget mellem {y} og {y2} | ml. {y} og {y2} | tidsrummet {y}-{y2}
    range~: ca. {y}-{y2} | omkring {y}-{y2} | ca. {y}–{y2} | cirka {y}-{y2} | ca. {y} - ca. {y2} | ca. {y} til {y2} | mellem ca. {y} og {y2} | ca. {y}-{ys} | o. {y}-{y2} | ca. {y} - {y2} | omkr. {y}-{y2}
    range?: {y}-{y2} (?) | formentlig mellem {y} og {y2} | sandsynligvis {y}-{y2} | {y}-{y2}?
    days: {dn}.-{dn2}. {m} {y} | {dn}.–{dn2}. {m} {y} | {dn}. til {dn2}. {m} {y} | fra {dn}. til {dn2}. {m} {y} | d. {dn}.-{dn2}. {m} {y} | {dn}. - {dn2}. {m} {y} | den {dn}.-{dn2}. {m} {y} | {dn}.-{dn2}.{mn}.{y} | {dn}. og {dn2}. {m} {y} | mellem den {dn}. og {dn2}. {m} {y} | {dn}-{dn2} {m} {y}
    months: {m}-{m2} {y} | {m}–{m2} {y} | {m} til {m2} {y} | fra {m} til {m2} {y} | mellem {m} og {m2} {y} | {m}/{m2} {y} | {m} - {m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y}-{m2} {y2} | fra {m} {y} til {m2} {y2} | {m} {y} til {m2} {y2}
    or: {y} eller {yn} | {y} eller {yn} | {y} el. {yn} | i {y} eller {yn} | enten {y} eller {yn}
    decade: {dec}'erne | {dec}'erne | {dec}erne | {dec}-erne | {ds}'erne | {ds}erne | {decade_words} | i {dec}'erne | i {decade_words} | {dec}’erne | {dec}-{dece} | i {ds}'erne | fra {dec}'erne | {ds}’erne | {dec}-årene | {ds}-erne | {dec}ʼerne | årtiet {dec}-{dece}
    decade~: ca. {dec}'erne | omkring {dec}'erne | ca. {dec}erne | cirka {ds}'erne | omkring {dec}erne
    decade?: {dec}'erne? | formentlig {dec}'erne | {dec}'erne (?) | sandsynligvis {dec}erne | måske {ds}'erne | formentlig {ds}'erne
    decades: {dec}'erne-{decn}'erne | {dec}-{decn}'erne | {dec}'erne og {decn}'erne | {dec}'erne/{decn}'erne | {dec}erne-{decn}erne | {dec}'erne eller {decn}'erne | {ds}'erne-{dsn}'erne | {dec}'erne til {decn}'erne
    decade_early: begyndelsen af {dec}'erne | starten af {dec}'erne | tidlige {dec}'ere | de tidlige {dec}'ere | i begyndelsen af {ds}'erne | begyndelsen af {decade_words} | første halvdel af {dec}'erne | tidligt i {dec}'erne | beg. af {dec}'erne | primo {dec}'erne | begyndelsen af {dec}erne
    decade_middle: midten af {dec}'erne | midt i {dec}'erne | midten af {ds}'erne | i midten af {dec}'erne | midten af {decade_words} | medio {dec}'erne | midten af {dec}erne | midt-{dec}'erne
    decade_late: slutningen af {dec}'erne | sene {dec}'ere | de sene {dec}'ere | i slutningen af {ds}'erne | slutningen af {decade_words} | anden halvdel af {dec}'erne | sidst i {dec}'erne | sidste halvdel af {dec}'erne | slut. af {dec}'erne | ultimo {dec}'erne | slutningen af {dec}erne
    century: {h}-tallet | {h}-tallet | {c}. århundrede | {c}. årh. | i {h}-tallet | det {c}. århundrede | det {cw} århundrede | {h}tallet
    century?: formentlig {h}-tallet | {h}-tallet? | {h}-tallet (?) | sandsynligvis {c}. århundrede
    century_early: begyndelsen af {h}-tallet | starten af {h}-tallet | tidligt {h}-tal | beg. af {h}-tallet | i begyndelsen af {h}-tallet | {h}-tallets begyndelse | begyndelsen af det {c}. århundrede | tidligt i {h}-tallet | det tidlige {h}-tal | begyndelsen af {c}. århundrede
    century_middle: midten af {h}-tallet | midt i {h}-tallet | {h}-tallets midte | i midten af {h}-tallet | midten af det {c}. århundrede | midten af {c}. årh.
    century_late: slutningen af {h}-tallet | sent {h}-tal | slut. af {h}-tallet | i slutningen af {h}-tallet | {h}-tallets slutning | slutningen af det {c}. århundrede | sidst i {h}-tallet | det sene {h}-tal | sidste del af {h}-tallet
    half_1: første halvdel af {h}-tallet | 1. halvdel af {h}-tallet | {h}-tallets første halvdel | første halvdel af det {c}. århundrede | 1. halvdel af {c}. århundrede | 1. halvdel {h}-tallet
    half_2: anden halvdel af {h}-tallet | 2. halvdel af {h}-tallet | sidste halvdel af {h}-tallet | anden halvdel af det {c}. århundrede | {h}-tallets anden halvdel | 2. halvdel {h}-tallet
    quarter_1: første fjerdedel af {h}-tallet | 1. fjerdedel af {h}-tallet
    quarter_2: anden fjerdedel af {h}-tallet | 2. fjerdedel af {h}-tallet
    quarter_3: tredje fjerdedel af {h}-tallet | 3. fjerdedel af {h}-tallet
    quarter_4: sidste fjerdedel af {h}-tallet | 4. fjerdedel af {h}-tallet | fjerde fjerdedel af {h}-tallet
    third_1: første tredjedel af {h}-tallet | 1. tredjedel af {h}-tallet
    third_2: anden tredjedel af {h}-tallet | 2. tredjedel af {h}-tallet
    third_3: sidste tredjedel af {h}-tallet | 3. tredjedel af {h}-tallet
    turn: århundredskiftet | omkring århundredskiftet | århundredeskiftet | ca. århundredskiftet | slutningen af 1800-tallet/begyndelsen af 1900-tallet | århundredskiftet 1900 | omkr. århundredskiftet | slutningen af 1800-tallet eller begyndelsen af 1900-tallet | ved århundredskiftet
    undated: udateret | uden år | u.å. | u.d. | ukendt | ukendt dato | dato ukendt | uden dato | ikke dateret | s.d. | s.a. | datering ukendt | [u.å.] | årstal ukendt | ukendt år | u. å. | udat. | u.dat. | intet årstal | år ukendt
    refused: erhvervet {y} | gave {y} | vintersemestret {y}/{yns} | påsken {y} | julen {y} | pinsen {y} | købt {y} | skoleåret {y}/{yns} | under Christian IX | {dd}/{mm}/{y} | født {y} | inv.nr. {y} | udstilling {y} | skænket {y} | sankthans {y} | deponeret {y} | accession {y} | død {y} | efterårssemestret {y}
    """,
)

NORWEGIAN = Grammar(
    months="januar februar mars april mai juni juli august september oktober november desember",
    short="jan. feb./febr. mars/mar. apr. mai juni/jun. juli/jul. aug. sept./sep. okt. nov. des.",
    weekdays="mandag tirsdag onsdag torsdag fredag lørdag søndag",
    seasons="vår sommer høst vinter",
    seasons_in="våren sommeren høsten vinteren",
    decades="tjue/tyve tretti førti/førr femti seksti sytti",
    centuries="nittende tyvende",
    wordings="""
    year: {y} | {y} | {y} | år {y} | i {y} | året {y} | datert {y} | fotografert {y} | tatt {y} | tatt i {y} | foto fra {y} | fotografert i {y} | datering {y} | opptaksår {y} | foto {y} | årstall {y} | datering: {y}
    year~: ca. {y} | ca. {y} | ca {y} | cirka {y} | omkring {y} | rundt {y} | omkr. {y} | c. {y} | omtrent {y} | {y} ca. | [ca. {y}] | {y} (ca.) | ca.{y} | rundt år {y} | circa {y} | omkring år {y} | anslått {y} | omtr. {y} | anslagsvis {y} | {y} (cirka)
    year?: {y}? | {y} (?) | trolig {y} | antagelig {y} | sannsynligvis {y} | muligens {y} | kanskje {y} | [{y}?] | antakelig {y} | formodentlig {y} | trolig i {y} | {y} (usikkert) | {y} (trolig) | antatt {y} | mulig {y} | trolig fra {y}
    year%: trolig ca. {y} | antagelig omkring {y} | ca. {y}? | ca. {y} (?) | sannsynligvis rundt {y}
    day: {d}. {m} {y} | {d}. {m} {y} | {d}. {m} {y} | den {d}. {m} {y} | {d}. {ma} {y} | {dn}.{mn}.{y} | {dd}.{mm}.{y} | {dn}. {mn}. {y} | {wd} {d}. {m} {y} | {wd} den {d}. {m} {y} | {wd}, {d}. {m} {y} | {y}, {d}. {m} | {y}-{mm}-{dd} | {y} {m} {d} | tatt {d}. {m} {y} | datert {d}. {m} {y} | {d} {m} {y} | fotografert den {d}. {m} {y} | {y}.{mm}.{dd} | datert {dd}.{mm}.{y}
    day?: {d}. {m} {y} (?) | trolig {d}. {m} {y} | antagelig {d}. {m} {y}
    day~: omkring {d}. {m} {y} | ca. {d}. {m} {y} | rundt {d}. {m} {y}
    figures: {dn}/{mn} {y} | {dn}/{mn}-{y} | {dd}/{mm}/{y} | {dd}-{mm}-{y} | {dn}/{mn}/{y}
    month: {m} {y} | {m} {y} | {ma} {y} | i {m} {y} | {y}, {m} | {y} {m} | {y}-{mm} | begynnelsen av {m} {y} | slutten av {m} {y} | midten av {m} {y} | {mm}.{y} | tatt i {m} {y} | {m} måned {y} | i slutten av {m} {y}
    month~: ca. {m} {y} | omkring {m} {y} | rundt {m} {y}
    month?: {m} {y} (?) | trolig {m} {y} | antagelig {m} {y}
    season: {sin} {y} | {sin} {y} | {s} {y} | {y}, {s} | sensommeren {y} | {y}, {sin} | på {sin} {y} | om {sin} {y} | forsommeren {y}
    season?: trolig {sin} {y} | {sin} {y} (?) | antagelig {sin} {y}
    winter: vinteren {y}-{yn} | vinteren {y}/{yn} | vinteren {y}-{yns} | vinteren {y}/{yns} | vinter {y}-{yn}
    part: begynnelsen av {y} | slutten av {y} | midten av {y} | tidlig {y} | tidlig i {y} | sent i {y} | første halvdel av {y} | i slutten av {y} | første halvår {y}
    print: {y}, kopi {p} | {y}, kopi fra {p} | {y}, senere kopi | {y} (kopi {p}) | {y}, kopiert {p} | {y} (senere kopi) | {y}, nyere kopi | {y}, avtrykk fra {p} | {y}, senere avtrykk | {y} (kopi fra {p}) | {y}, avtrykk {p}
    print~: ca. {y}, kopi {p} | ca. {y}, senere kopi | ca. {y}, avtrykk fra {p}
    before: før {y} | før {y} | før år {y} | tidligere enn {y} | fra før {y}
    after: etter {y} | etter {y} | etter år {y} | senere enn {y} | fra etter {y} | seinere enn {y}
    not_after: senest {y} | til {y} | til og med {y} | frem til {y} | ikke etter {y} | {y} eller tidligere | ikke senere enn {y} | inntil {y} | fram til {y} | t.o.m. {y} | seinest {y} | {y} eller før | innen {y}
    not_before: tidligst {y} | fra {y} | fra og med {y} | siden {y} | ikke før {y} | {y} eller senere | ikke tidligere enn {y} | {y} og senere | f.o.m. {y} | fra {y} og fremover | fra {y} og utover | {y} eller seinere
    before_day: før {d}. {m} {y} | før den {d}. {m} {y} | senest {d}. {m} {y} | frem til {d}. {m} {y}
    after_day: etter {d}. {m} {y} | etter den {d}. {m} {y} | fra {d}. {m} {y} | siden {d}. {m} {y}
    before~: før ca. {y} | før omkring {y}
    after?: trolig etter {y} | antagelig etter {y} | sannsynligvis etter {y}
    before?: trolig før {y} | antagelig før {y} | sannsynligvis før {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | {y}-{ys} | {y}–{ys} | mellom {y} og {y2} | fra {y} til {y2} | {y} til {y2} | årene {y}-{y2} | {y}/{y2} | {y}—{y2} | i årene {y}-{y2} | perioden {y}-{y2} | i perioden {y}-{y2} | mellom årene {y} og {y2} | {y} til og med {y2} | i tidsrommet {y}-{y2} | tatt mellom {y} og {y2} | i perioden {y} til {y2}
    range~: ca. {y}-{y2} | omkring {y}-{y2} | ca. {y}–{y2} | cirka {y}-{y2} | ca. {y} - ca. {y2} | ca. {y} til {y2} | mellom ca. {y} og {y2} | ca. {y}-{ys} | rundt {y}-{y2} | ca. {y} - {y2} | ca {y}-{y2}
    range?: {y}-{y2} (?) | trolig mellom {y} og {y2} | antagelig {y}-{y2} | {y}-{y2}? | trolig {y}–{y2}
    days: {dn}.-{dn2}. {m} {y} | {dn}.–{dn2}. {m} {y} | {dn}. til {dn2}. {m} {y} | fra {dn}. til {dn2}. {m} {y} | {dn}. - {dn2}. {m} {y} | {dn}.-{dn2}.{mn}.{y} | {dn}. og {dn2}. {m} {y} | mellom {dn}. og {dn2}. {m} {y} | {dn}-{dn2}. {m} {y} | den {dn}.–{dn2}. {m} {y}
    months: {m}-{m2} {y} | {m}–{m2} {y} | {m} til {m2} {y} | fra {m} til {m2} {y} | mellom {m} og {m2} {y} | {m}/{m2} {y} | {m} - {m2} {y}
    months_of_years: {m} {y} - {m2} {y2} | {m} {y}-{m2} {y2} | fra {m} {y} til {m2} {y2} | {m} {y} til {m2} {y2}
    or: {y} eller {yn} | {y} eller {yn} | {y} el. {yn} | i {y} eller {yn} | enten {y} eller {yn}
    decade: {dec}-årene | {dec}-årene | {dec}-tallet | {dec}-åra | {ds}-årene | {ds}-tallet | {decade_words}årene | i {dec}-årene | på {dec}-tallet | {dec}-{dece} | {dec}årene | i {decade_words}årene | {ds}-åra | fra {dec}-årene | {dec} årene | på {ds}-tallet
    decade~: ca. {dec}-årene | omkring {dec}-årene | rundt {dec}-tallet | ca. {dec}-tallet | ca. {ds}-årene
    decade?: {dec}-årene? | trolig {dec}-årene | {dec}-tallet (?) | antagelig {dec}-årene | trolig {ds}-årene | sannsynligvis {dec}-tallet | trolig {dec}-tallet
    decades: {dec}-{decn}-årene | {dec}-{decn}-tallet | {dec}- og {decn}-årene | {dec}/{decn}-årene | {dec}-årene - {decn}-årene | {dec}- eller {decn}-årene | {ds}-{dsn}-årene | {dec}- og {decn}-tallet | {dec}–{decn}-årene
    decade_early: begynnelsen av {dec}-årene | tidlig {dec}-tall | tidlig på {dec}-tallet | tidlig i {dec}-årene | i begynnelsen av {ds}-årene | begynnelsen av {decade_words}årene | første halvdel av {dec}-årene | starten av {dec}-årene | tidlig på {ds}-tallet | begynnelsen av {dec}-tallet | starten av {dec}-tallet
    decade_middle: midten av {dec}-årene | midt i {dec}-årene | midten av {ds}-årene | midt på {dec}-tallet | midten av {dec}-tallet | midten av {decade_words}årene | i midten av {dec}-årene
    decade_late: slutten av {dec}-årene | sent {dec}-tall | sent på {dec}-tallet | sent i {dec}-årene | i slutten av {ds}-årene | slutten av {decade_words}årene | andre halvdel av {dec}-årene | siste halvdel av {dec}-årene | slutten av {dec}-tallet | siste del av {dec}-årene
    century: {h}-tallet | {h}-tallet | {c}. århundre | på {h}-tallet | det {c}. århundre | {c}. årh. | det {cw} århundre | {h}-tall
    century?: trolig {h}-tallet | {h}-tallet? | {h}-tallet (?) | antagelig {h}-tallet
    century_early: begynnelsen av {h}-tallet | tidlig {h}-tall | tidlig på {h}-tallet | starten av {h}-tallet | i begynnelsen av {h}-tallet | begynnelsen av det {c}. århundre | beg. av {h}-tallet | begynnelsen av {c}. århundre
    century_middle: midten av {h}-tallet | midt på {h}-tallet | i midten av {h}-tallet | midten av det {c}. århundre | ved midten av {h}-tallet
    century_late: slutten av {h}-tallet | sent {h}-tall | sent på {h}-tallet | i slutten av {h}-tallet | slutten av det {c}. århundre | mot slutten av {h}-tallet | siste del av {h}-tallet
    half_1: første halvdel av {h}-tallet | 1. halvdel av {h}-tallet | første halvdel av det {c}. århundre | 1. halvdel av {c}. århundre | første halvpart av {h}-tallet | 1. halvdel {h}-tallet
    half_2: andre halvdel av {h}-tallet | annen halvdel av {h}-tallet | 2. halvdel av {h}-tallet | siste halvdel av {h}-tallet | andre halvdel av det {c}. århundre | siste halvpart av {h}-tallet
    quarter_1: første fjerdedel av {h}-tallet | 1. fjerdedel av {h}-tallet
    quarter_2: andre fjerdedel av {h}-tallet | 2. fjerdedel av {h}-tallet
    quarter_3: tredje fjerdedel av {h}-tallet | 3. fjerdedel av {h}-tallet
    quarter_4: siste fjerdedel av {h}-tallet | 4. fjerdedel av {h}-tallet
    third_1: første tredjedel av {h}-tallet | 1. tredjedel av {h}-tallet
    third_2: andre tredjedel av {h}-tallet | 2. tredjedel av {h}-tallet
    third_3: siste tredjedel av {h}-tallet | 3. tredjedel av {h}-tallet
    turn: århundreskiftet | omkring århundreskiftet | rundt århundreskiftet | århundreskiftet 1900 | slutten av 1800-tallet/begynnelsen av 1900-tallet | ca. århundreskiftet | ved århundreskiftet | slutten av 1800-tallet eller begynnelsen av 1900-tallet
    undated: udatert | uten år | u.å. | u.d. | ukjent | ukjent dato | dato ukjent | uten dato | ikke datert | s.d. | s.a. | datering ukjent | [u.å.] | ukjent år | udat. | årstall ukjent | u. å. | ukjent datering | ikke tidfestet | mangler dato
    refused: ervervet {y} | gave {y} | vintersemesteret {y}/{yns} | påsken {y} | julen {y} | pinsen {y} | kjøpt {y} | skoleåret {y}/{yns} | under kong Oscar II | {dd}/{mm}/{y} | født {y} | inv.nr. {y} | utstilling {y} | innkommet {y} | sankthans {y} | deponert {y} | tilvekst {y} | død {y} | høstsemesteret {y} | innkjøpt {y}
    """,
)

FINNISH = Grammar(
    months="tammikuuta helmikuuta maaliskuuta huhtikuuta toukokuuta kesäkuuta heinäkuuta elokuuta syyskuuta lokakuuta marraskuuta joulukuuta",
    month="tammikuu helmikuu maaliskuu huhtikuu toukokuu kesäkuu heinäkuu elokuu syyskuu lokakuu marraskuu joulukuu",
    month_in="tammikuussa helmikuussa maaliskuussa huhtikuussa toukokuussa kesäkuussa heinäkuussa elokuussa syyskuussa lokakuussa marraskuussa joulukuussa",
    short="tammik. helmik. maalisk. huhtik. toukok. kesäk. heinäk. elok. syysk. lokak. marrask. jouluk.",
    weekdays="maanantai/maanantaina tiistai/tiistaina keskiviikko/keskiviikkona torstai/torstaina perjantai/perjantaina lauantai/lauantaina sunnuntai/sunnuntaina",
    seasons="kevät kesä syksy talvi",
    seasons_in="keväällä kesällä syksyllä talvella",
    decades="kaksikymmentä kolmekymmentä neljäkymmentä viisikymmentä kuusikymmentä seitsemänkymmentä",
    centuries="yhdeksästoista kahdeskymmenes",
    wordings="""
    year: {y} | {y} | {y} | vuosi {y} | vuonna {y} | v. {y} | kuvattu {y} | kuvausvuosi {y} | päivätty {y} | vuodelta {y} | kuvattu vuonna {y} | otettu {y} | kuvausaika {y} | kuvausaika: {y} | kuva vuodelta {y} | ajoitus {y} | ajoitettu {y} | otettu vuonna {y} | kuvattu v. {y}
    year~: noin {y} | noin {y} | n. {y} | n. {y} | noin vuonna {y} | noin vuosi {y} | ca. {y} | ca {y} | vuoden {y} tienoilla | {y} (noin) | vuoden {y} paikkeilla | suunnilleen {y} | arviolta {y} | c. {y} | [n. {y}] | n. vuonna {y} | {y} noin | vuoden {y} vaiheilla | n. v. {y} | {y} n. | {y} tienoilla | {y} paikkeilla | arviolta vuonna {y}
    year?: {y}? | {y} (?) | luultavasti {y} | todennäköisesti {y} | mahdollisesti {y} | ehkä {y} | [{y}?] | todennäköisesti vuonna {y} | kenties {y} | tod.näk. {y} | oletettavasti {y} | {y} (epävarma) | luultavasti vuonna {y} | mahd. {y} | ilmeisesti {y} | {y} (todennäköisesti) | todennäk. {y}
    year%: todennäköisesti noin {y} | luultavasti n. {y} | n. {y}? | noin {y} (?) | mahdollisesti noin {y}
    day: {d}. {m} {y} | {d}. {m} {y} | {d}.{mn}.{y} | {d}.{mn}.{y} | {dn}.{mn}.{y} | {dd}.{mm}.{y} | {dn}. {mn}. {y} | {d}. {ma} {y} | {wd} {d}. {m} {y} | {wd} {dn}.{mn}.{y} | {y}, {d}. {m} | {y}-{mm}-{dd} | kuvattu {dn}.{mn}.{y} | päivätty {dn}.{mn}.{y} | {y} {m} {d} | {d}. päivänä {m} {y} | {d}. {m} vuonna {y} | {y}.{mm}.{dd} | kuvausaika {dn}.{mn}.{y} | otettu {d}. {m} {y}
    day?: {dn}.{mn}.{y} (?) | todennäköisesti {d}. {m} {y} | {dn}.{mn}.{y}? | luultavasti {dn}.{mn}.{y}
    day~: noin {d}. {m} {y} | n. {dn}.{mn}.{y}
    figures: {dn}/{mn}/{y} | {dd}/{mm}/{y} | {dn}/{mn} {y}
    month: {mo} {y} | {mo} {y} | {min} {y} | {min} vuonna {y} | {y}, {mo} | {y} {mo} | {mn}/{y} | {mm}/{y} | {mo} vuonna {y} | {mm}.{y} | {ma} {y} | {y}-{mm} | kuvattu {min} {y} | {mo}n alku {y} | {mo}n lopussa {y} | {mo}n puolivälissä {y} | {mo}n alussa {y} | {mo}n loppu {y}
    month~: noin {mo} {y} | n. {mo} {y} | noin {min} {y}
    month?: {mo} {y} (?) | todennäköisesti {min} {y} | luultavasti {mo} {y}
    season: {s} {y} | {sin} {y} | {sin} {y} | {y}, {s} | loppukesä {y} | alkukesä {y} | {sin} vuonna {y} | loppukesällä {y} | vuoden {y} {s} | kuvattu {sin} {y}
    season?: todennäköisesti {sin} {y} | {s} {y} (?) | luultavasti {sin} {y} | todennäköisesti {s} {y}
    winter: talvi {y}-{yn} | talvella {y}-{yn} | talvi {y}/{yn} | talvi {y}–{yn} | talvella {y}–{yn} | talvi {y}-{yns}
    part: alkuvuosi {y} | loppuvuosi {y} | vuoden {y} alku | vuoden {y} loppu | vuoden {y} alussa | loppuvuodesta {y} | alkuvuodesta {y} | vuoden {y} lopussa | vuoden {y} lopulla
    print: {y}, vedos {p} | {y}, vedos vuodelta {p} | {y}, myöhempi vedos | {y} (vedos {p}) | {y}, vedostettu {p} | {y} (myöhempi vedos) | {y}, uusi vedos | {y}, vedostettu vuonna {p} | {y}, vedostettu myöhemmin | {y} (vedos vuodelta {p}) | {y}, kopio {p} | {y}, uusintavedos {p}
    print~: n. {y}, vedos {p} | noin {y}, myöhempi vedos | noin {y}, vedostettu {p}
    before: ennen vuotta {y} | ennen {y} | ennen vuotta {y} | ennen v. {y} | aiemmin kuin {y} | aikaisemmin kuin {y} | aikaisemmin kuin vuonna {y}
    after: vuoden {y} jälkeen | {y} jälkeen | jälkeen vuoden {y} | v. {y} jälkeen | jälkeen {y} | myöhemmin kuin {y} | {y}:n jälkeen
    not_after: viimeistään {y} | viimeistään vuonna {y} | vuoteen {y} asti | vuoteen {y} saakka | vuoteen {y} | {y} tai aikaisemmin | {y} tai aiemmin | {y} asti | ei vuoden {y} jälkeen | {y} tai ennen | {y} saakka | vuoteen {y} mennessä | {y} mennessä
    not_before: aikaisintaan {y} | aikaisintaan vuonna {y} | vuodesta {y} | vuodesta {y} alkaen | vuodesta {y} lähtien | {y} tai myöhemmin | {y} alkaen | {y} lähtien | ei ennen vuotta {y} | v. {y} alkaen | vuodesta {y} eteenpäin | ei ennen {y}
    before_day: ennen {dn}.{mn}.{y} | ennen {d}. {m} {y} | viimeistään {dn}.{mn}.{y} | viimeistään {d}. {m} {y}
    after_day: {dn}.{mn}.{y} jälkeen | {d}. {m} {y} jälkeen | jälkeen {dn}.{mn}.{y} | {dn}.{mn}.{y} alkaen | {d}. {m} {y} alkaen
    before~: ennen noin vuotta {y} | ennen n. {y}
    after?: todennäköisesti vuoden {y} jälkeen | luultavasti {y} jälkeen | luultavasti vuoden {y} jälkeen
    before?: todennäköisesti ennen vuotta {y} | luultavasti ennen {y} | luultavasti ennen vuotta {y}
    range: {y}-{y2} | {y}–{y2} | {y} - {y2} | {y} – {y2} | vuosina {y}–{y2} | vuosina {y}-{y2} | vuosien {y} ja {y2} välillä | vuodet {y}-{y2} | {y}/{y2} | {y}—{y2} | {y}-{ys} | {y}–{ys} | vuosien {y}-{y2} välillä | {y} ja {y2} välillä | vv. {y}-{y2} | vuodesta {y} vuoteen {y2} | välillä {y}-{y2} | vuosilta {y}–{y2} | vuosien {y}–{y2} välillä | vuodet {y}–{y2} | v. {y}-{y2} | kuvattu vuosina {y}–{y2}
    range~: noin {y}-{y2} | n. {y}-{y2} | noin {y}–{y2} | noin vuosina {y}-{y2} | n. {y} - n. {y2} | n. {y}–{y2} | noin vuosina {y}–{y2} | arviolta {y}-{y2} | n. {y}-{ys} | noin vuosien {y} ja {y2} välillä | n. vuosina {y}–{y2} | arviolta vuosina {y}–{y2}
    range?: {y}-{y2} (?) | todennäköisesti {y}-{y2} | luultavasti vuosina {y}–{y2} | {y}-{y2}? | todennäköisesti vuosina {y}–{y2}
    days: {dn}.-{dn2}. {m} {y} | {dn}.–{dn2}. {m} {y} | {dn}.-{dn2}.{mn}.{y} | {dn}.–{dn2}.{mn}.{y} | {dn}. - {dn2}. {m} {y} | {dn}.–{dn2}.{mn}. {y} | {dn}. ja {dn2}. {m} {y} | {dn}.{mn}.–{dn2}.{mn}.{y} | {dn}.{mn}.-{dn2}.{mn}.{y} | {dn}.-{dn2}. {ma} {y}
    months: {mo}-{mo2} {y} | {mo}–{mo2} {y} | {mo} - {mo2} {y} | {mo}/{mo2} {y} | {mo}–{mo2} vuonna {y} | {mo}n ja {mo2}n välillä {y}
    months_of_years: {mo} {y} - {mo2} {y2} | {mo} {y}–{mo2} {y2} | {mo} {y} – {mo2} {y2} | {mo} {y}-{mo2} {y2}
    or: {y} tai {yn} | {y} tai {yn} | vuonna {y} tai {yn} | joko {y} tai {yn} | {y} taikka {yn} | vuosi {y} tai {yn}
    decade: {dec}-luku | {dec}-luku | {dec}-luvulla | {dec}-luvulta | {ds}-luku | {ds}-luvulla | {decade_words}luku | {dec}-{dece} | {dec}luku | {dec} luku | {decade_words}luvulla | kuvattu {dec}-luvulla | {ds}-luvulta | {dec}–{dece} | {dec} -luku | {dec}-l.
    decade~: noin {dec}-luku | n. {dec}-luku | noin {dec}-luvulla | arviolta {dec}-luku | arviolta {dec}-luvulla
    decade?: {dec}-luku? | todennäköisesti {dec}-luku | {dec}-luku (?) | luultavasti {dec}-luvulla | todennäköisesti {dec}-luvulla | luultavasti {ds}-luku | ehkä {dec}-luku | mahdollisesti {dec}-luku
    decades: {dec}-{decn}-luku | {dec}–{decn}-luku | {dec}- ja {decn}-luku | {dec}/{decn}-luku | {dec}-{decn}-luvulla | {dec}- tai {decn}-luku | {dec}–{decn}-luvuilla | {dec}- ja {decn}-luvuilla | {dec}–{decn}-luvulla | {dec}- tai {decn}-luvulla
    decade_early: {dec}-luvun alku | {dec}-luvun alussa | {dec}-luvun alkupuoli | {ds}-luvun alku | {dec}-luvun alkupuolella | {dec}-luvun alkuvuodet | {dec}-luvun alusta | {ds}-luvun alussa | {dec}-luvun ensimmäinen puolisko | {dec}-luvun alkupuolelta | {decade_words}luvun alku | {dec}-l. alku
    decade_middle: {dec}-luvun puoliväli | {dec}-luvun puolivälissä | {ds}-luvun puoliväli | {dec}-luvun keskivaihe | {dec}-luvun puolivälistä | {dec}-luvun keskivaiheilla | {dec}-luvun puolivälin tienoilla
    decade_late: {dec}-luvun loppu | {dec}-luvun lopussa | {dec}-luvun loppupuoli | {ds}-luvun loppu | {dec}-luvun lopulla | {dec}-luvun loppupuolella | {dec}-luvun lopulta | {ds}-luvun lopulla | {dec}-luvun jälkipuolisko | {dec}-luvun loppuvuodet | {decade_words}luvun loppu | {dec}-luvun loppupuolelta
    century: {h}-luku | {h}-luvulla | {c}. vuosisata | {h}-luvulta | {h} luku | {cw} vuosisata
    century?: todennäköisesti {h}-luku | {h}-luku (?) | luultavasti {h}-luku | {h}-luku?
    century_early: {h}-luvun alku | {h}-luvun alkupuolella | {h}-luvun alkupuoli | {h}-luvun alussa | {c}. vuosisadan alku | {h}-luvun alusta | {h}-luvun alkuvuodet | {h}-luvun alkuvuosikymmenet
    century_middle: {h}-luvun puoliväli | {h}-luvun puolivälissä | {c}. vuosisadan puoliväli | {h}-luvun keskivaihe | {h}-luvun puolivälistä | {h}-luvun keskivaiheilla
    century_late: {h}-luvun loppu | {h}-luvun lopussa | {h}-luvun lopulla | {c}. vuosisadan loppu | {h}-luvun lopulta
    half_1: {h}-luvun ensimmäinen puolisko | {h}-luvun ensimmäisellä puoliskolla | {h}-luvun alkupuolisko | {h}-luvun 1. puolisko | {c}. vuosisadan ensimmäinen puolisko
    half_2: {h}-luvun toinen puolisko | {h}-luvun loppupuolella | {h}-luvun loppupuoli | {h}-luvun jälkipuolisko | {h}-luvun jälkimmäinen puolisko | {h}-luvun toisella puoliskolla | {h}-luvun 2. puolisko | {c}. vuosisadan jälkipuolisko
    quarter_1: {h}-luvun ensimmäinen neljännes | {h}-luvun 1. neljännes | {h}-luvun ensimmäisellä neljänneksellä
    quarter_2: {h}-luvun toinen neljännes | {h}-luvun 2. neljännes
    quarter_3: {h}-luvun kolmas neljännes | {h}-luvun 3. neljännes
    quarter_4: {h}-luvun viimeinen neljännes | {h}-luvun neljäs neljännes | {h}-luvun viimeisellä neljänneksellä
    third_1: {h}-luvun ensimmäinen kolmannes | {h}-luvun 1. kolmannes
    third_2: {h}-luvun toinen kolmannes | {h}-luvun keskimmäinen kolmannes
    third_3: {h}-luvun viimeinen kolmannes | {h}-luvun 3. kolmannes
    turn: vuosisadan vaihde | vuosisadanvaihde | 1800- ja 1900-luvun vaihde | 1900-luvun vaihde | vuosisadan vaihteessa | 1800-1900-luvun vaihde | 1800-luvun loppu - 1900-luvun alku | 1800-luvun loppu tai 1900-luvun alku | 1800–1900-lukujen vaihde | 1800- ja 1900-lukujen vaihteessa
    undated: ajoittamaton | päiväämätön | ei päiväystä | ei vuotta | s.a. | s.d. | ei tiedossa | tuntematon | päivämäärä tuntematon | ajoitus tuntematon | vuosi tuntematon | [s.a.] | ei ajoitusta | ajankohta tuntematon | ei päivätty | kuvausaika tuntematon | ei päivämäärää | kuvausaika ei tiedossa | ei ajoitettu | ajoitus puuttuu
    refused: hankittu {y} | lahjoitus {y} | talvilukukausi {y}-{yns} | pääsiäinen {y} | joulu {y} | juhannus {y} | ostettu {y} | lukuvuosi {y}–{yn} | Aleksanteri II:n aikana | {dd}/{mm}/{y} | syntynyt {y} | inv.nro {y} | näyttely {y} | saatu {y} | vappu {y} | talletus {y} | kevätlukukausi {y} | kuollut {y} | helluntai {y}
    """,
)

GRAMMARS = {
    "de": GERMAN,
    "fr": FRENCH,
    "nl": DUTCH,
    "it": ITALIAN,
    "es": SPANISH,
    "pl": POLISH,
    "cs": CZECH,
    "pt": PORTUGUESE,
    "sv": SWEDISH,
    "da": DANISH,
    "no": NORWEGIAN,
    "fi": FINNISH,
}
