"""Who may see the item of a row, and until when it is under embargo.

What cannot be read holds the item: neither an unknown word nor an unreadable day opens it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from glassine.base import edtf
from glassine.base.access import LEVELS, AccessSection
from glassine.base.errors import Finding
from glassine.base.records.catalogue import Level, RowAccess
from glassine.intake import date_words
from glassine.intake.catalogue.extract import Cell, Extract, Row, short

# Words of catalogues that need no table (common practice, no source).
_WORDS: dict[str, Level] = {
    "public": "open",
    "open access": "open",
    "unrestricted": "open",
    "no restrictions": "open",
    "reading room": "reading_room",
    "reading room only": "reading_room",
    "on site only": "reading_room",
    "onsite only": "reading_room",
    "not for publication": "no_publication",
    "no publication": "no_publication",
    "do not publish": "no_publication",
    "closed": "closed",
    "withdrawn": "closed",
    "embargoed": "closed",
    "under embargo": "closed",
    "confidential": "closed",
}
_NOTHING = {"", "-", "–", "—", "none", "n/a", "no", "no embargo", "keine", "kein", "aucun", "geen"}
# Years beyond are slips of the pen: an embargo of 1031 would have lapsed.
_FIRST_YEAR, _LAST_YEAR = 1900, 2300
_MIDNIGHT = re.compile(r"(\d{4}-\d{2}-\d{2})[T ]00:00(?::00(?:\.0{1,6})?)?Z?")
_DAY = r"\d{4}(?:-\d{2}(?:-\d{2})?)?"
_LAST_DAY = re.compile(rf"(?:(?:{_DAY}|\.\.)/)?(?P<last>{_DAY})")
# Words of doubt that a stated end of the embargo answers.
_OF_AN_EMBARGO = re.compile(r"embargo(?:ed)?|closed until|restricted until|sperrfrist|schutzfrist",
                            re.IGNORECASE)  # fmt: skip


def words_of(section: AccessSection) -> dict[str, Level]:
    """Return {word, case folded: level} of the levels' names, common words and the settings'."""
    named: dict[str, Level] = {level: level for level in LEVELS}
    own = {_plain(word): level for word, level in section.words.items()}
    return named | {_plain(word): level for word, level in _WORDS.items()} | own


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").split()).rstrip(".")


def level_of(text: str, words: Mapping[str, Level]) -> Level | None:
    """Return the level that a cell states, None for words that are not known."""
    plain = _plain(text)
    return words.get(plain) or words.get(plain.replace(" ", "_"))


def stated(extract: Extract, row: Row, doubts: list[str], findings: list[Finding]) -> RowAccess:
    """Return who may see the item. doubts: words elsewhere in the row that may keep it back."""
    word = extract.one(row, "rights_access").strip()
    end = extract.one(row, "rights_embargo").strip()
    level = _level(extract, row, word, findings)
    until = _until(extract, row, end, findings)
    left = [each for each in doubts if not (until and _OF_AN_EMBARGO.fullmatch(each))]
    return RowAccess(
        level=level or "",
        until=until,
        words="; ".join(text for text in (word, end) if text),
        doubt="" if level else short("; ".join(dict.fromkeys(left))),
    )


def _level(extract: Extract, row: Row, word: str, findings: list[Finding]) -> Level | None:
    level = level_of(word, extract.access) if word else None
    if word and level is None:
        cell = Cell(row.number, extract.first_column("rights_access"), word)
        findings.append(
            extract.finding(
                "access",
                cell,
                f"one of {', '.join(LEVELS)}, or a word that `access.words` in the settings names.",
                next_step="Name the word under `access.words` with what it means, or correct the "
                "cell.",
            )
        )
    return level


def _until(extract: Extract, row: Row, text: str, findings: list[Finding]) -> str:
    if _plain(text) in _NOTHING:
        return ""
    last = last_day(text, extract.dates)
    if last is None:
        cell = Cell(row.number, extract.first_column("rights_embargo"), text)
        findings.append(
            extract.finding(
                "embargo",
                cell,
                "the last day, month or year of the embargo, such as 2031-12-31 or 2031; without "
                "one nobody knows when it may be opened.",
                next_step="Correct the cell in the catalogue and export again; of an embargo "
                "without an end state `closed` in `rights_access`.",
            )
        )
    return last or ""


def last_day(text: str, reading: date_words.Reading) -> str | None:
    """Return the last day of an embargo (ISO 8601), None where the text does not say it for
    certain. A month or year counts to its last day.

    >>> last_day("until 2031", date_words.AS_ANY)
    '2031-12-31'
    >>> last_day("about 2031", date_words.AS_ANY) is None
    True
    """
    midnight = _MIDNIGHT.fullmatch(text)
    value = midnight[1] if midnight else date_words.read(text, reading)
    match = _LAST_DAY.fullmatch(value or "")
    limits = edtf.bounds(match["last"]) if match else None
    if limits is None or not _FIRST_YEAR <= limits[1].year <= _LAST_YEAR:
        return None
    return limits[1].isoformat()
