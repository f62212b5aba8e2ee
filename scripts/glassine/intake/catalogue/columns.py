"""Columns of a catalogue extract that no field takes: which of them must not pass in silence.

A column nobody reads may say that a picture is closed to the public, or what its rights are. Its
name and value are judged by common words of catalogues (common practice, no source; English, and
the words that other European languages share or use often); whatever is not plainly harmless
holds the item until a person says what the column is for.
"""

from __future__ import annotations

import re
from collections import Counter
from functools import lru_cache
from typing import Any

from glassine.base import wording
from glassine.base.errors import Finding

# Parts of a name that speak of keeping something back.
_KEEPS_BACK = (
    "embargo", "restrict", "withheld", "withhold", "closed", "closure", "confidential", "sensitiv",
    "suppress", "takedown", "take_down", "do_not", "donot", "dont_", "not_for", "not_to_be",
    "no_pub", "nopub", "unpublish", "not_public", "privat", "sperr", "schutzfrist",
    "gesperrt", "vertraulich", "confidentiel", "riservat", "reservad",
    "vertrouwelijk", "privacy", "redact", "blocked", "data_protection", "datenschutz", "gdpr",
    "available_from", "release_date", "public_from", "publish_after", "publish_from", "not_before",
)  # fmt: skip
# Parts of a name that say whether something may be shown: only a plain "no" there counts.
_LETS_OUT = (
    "publish", "publica", "public", "online", "web", "releas", "visib", "display", "show", "open",
    "availab", "viewable", "shareable", "status",
)  # fmt: skip
_ACCESS = {
    "access", "access_status", "access_level", "access_rights", "accessrights", "access_condition",
    "access_conditions", "accessibility", "availability", "conditions_of_access",
    "conditions_governing_access", "accesscondition",
}  # fmt: skip
# Parts of a name whose yes lets out and whose no keeps back, but that hold words and dates as well:
# all that is not plainly open counts.
_OPEN_OR_NOT = ("communicab", "consultab", "diffusab", "freigab", "freigegeben")
NOTHING = {"", "-", "–", "—", ".", "none", "nil", "null", "n/a", "na", "keine", "kein", "aucun"}
_NO = {"no", "n", "false", "0", "nein", "non", "nee", "nej", "never", "not"}
_OPEN = {
    "open", "public", "free", "unrestricted", "not restricted", "no restriction",
    "no restrictions", "without restriction", "open access", "yes", "y", "true", "1", "ja", "oui",
    "open to the public", "offen", "frei", "libre", "not closed", "not confidential", "published",
    "publish", "no embargo", "not embargoed", "none known",
}  # fmt: skip
_CLOSED = (
    *_NO, "closed", "restricted", "private", "internal", "hidden", "withheld", "embargoed",
    "confidential", "internal use only", "not for publication", "not public", "unpublished",
    "deaccessioned", "withdrawn", "suppressed", "on hold", "destroyed", "not to be published",
)  # fmt: skip
_RIGHTS = (
    "rights", "copyright", "access_condition", "licence", "license", "lizenz", "urheber",
    "droits", "derechos", "diritti", "permission", "terms_of_use", "usage_",
    "use_condition", "conditions_of_use",
)  # fmt: skip
_DATES = re.compile(
    r"(?:^|_)(?:date\d?|dates|dated|dating|year|datum|datierung|jahr|fecha|annee)(?:_|$)"
)
_OTHER_DATES = re.compile(
    "digit|scan|modif|record|catalog|entry|entered|updat|acqui|access|capture|export|import|"
    "edit|birth|death|born|died|changed|delivered|check"
)
# Words in a note on rights that a public copy must not go against unseen.
_HELD_BACK_WORDS = re.compile(
    r"embargo(?:ed)?|do not (?:publish|release|display|show|put)|"
    r"not (?:for|to be) (?:publication|publish|released|shown|displayed|online)|"
    r"closed (?:until|to|for)|withheld|withdr(?:awn|ew)|deaccession|"
    r"\brestricted (?:until|access)|confidential|no publication|reading room only|"
    r"only in the reading room|on[- ]?site (?:only|access)|private, not|"
    r"gesperrt|sperrfrist|schutzfrist|nur im lesesaal|nicht (?:zur ver[öo]ffentlichung|"
    r"ver[öo]ffentlichen)|zur[üu]ckgezogen|non communicable|non publi(?:able|er)|"
    r"ne pas publier|salle de lecture uniquement|retir[ée] par|"
    r"niet openbaar|niet publiceren|ingetrokken|alleen in de (?:lees|studie)zaal|"
    r"non pubblicare|non consultabile|ritirat[oa] d|solo in sala|"
    r"no publicar|no consultable|retirad[oa] por|s[óo]lo en sala",
    re.IGNORECASE,
)
# Words in such a note that are a statement of their own.
_STATED_IN_WORDS = re.compile(
    r"all rights reserved|©|\(c\)|public domain|creative commons|"
    r"(?:in|under) copyright|copyright (?:by|of|held|owner|owned|belongs|remains|holder|\d{4})|"
    r"\bcc[ -](?:by|0)|\bcc0\b|gemeinfrei|urheberrecht|domaine public|dominio p[uú]b",
    re.IGNORECASE,
)
_SHOWN_COLUMNS = 40


@lru_cache(maxsize=4096)
def plain(name: str) -> str:
    """Return a column's name in small letters with single underscores.

    >>> plain("Do NOT publish!")
    'do_not_publish'
    """
    spaced = re.sub("(?<=[a-z])(?=[A-Z])", "_", name)
    return re.sub(r"[\W_]+", "_", spaced.casefold()).strip("_")


def _name(column: str) -> str:
    """Return the name to judge by: a column's or a path's; of an attribute that was left out of
    an element that was read, the attribute's own."""
    element, mark, attribute = column.partition("/@")
    return plain(attribute if mark else element)


# Notes on access that leave everything open, sentence by sentence (common practice, no source).
_OPEN_NOTE = re.compile(
    r"(?:(?:the|this|all) )?(?:(?:entire )?"
    r"(?:collection|materials?|records|papers|series|item|file|"
    r"photographs?|access)s? )?(?:is |are )?(?:hereby )?(?:"
    r"unrestricted(?: access)?|unrestricted for research(?: use)?|"
    r"(?:open|available|accessible)(?: and (?:open|available|unrestricted))?(?: (?:to|for) "
    r"(?:the )?(?:public|research(?:ers)?|readers|use|all|everyone|consultation|study|public)"
    r"(?: (?:use|access|purposes))?)*(?: (?:without|with no) restrictions?)?|"
    r"(?:there are )?no (?:access )?restrictions?(?: (?:on|to) (?:access|use)(?: to .{0,60})?)?|"
    r"without restrictions?|not restricted|free(?:ly)? (?:access|accessible)|"
    r"access (?:is )?(?:open|unrestricted|free))"
)


def leaves_open(text: str) -> bool:
    """Return whether each sentence of a note on access says that nothing is closed.

    >>> leaves_open("Unrestricted access. Open for research.")
    True
    >>> leaves_open("Open for research. Box 3 is closed until 2040.")
    False
    """
    sentences = [
        each.strip(" .;") for each in re.split(r"[.;](?:\s|$)", " ".join(text.split()).casefold())
    ]
    sentences = [each for each in sentences if each]
    return bool(sentences) and all(_OPEN_NOTE.fullmatch(each) for each in sentences)


_CLOSES = re.compile(
    r"clos(?:ed|ure)|restrict|seal(?:ed)|embargo|confidential|not (?:available|open|accessible)|"
    r"permission|until|withheld|gesperrt|sperr|secret|geheim|beperkt|ferm[ée]|riservat|reservad|"
    r"zastrzeż|utajn|hemlig|sekretess|gradert|salai",
    re.IGNORECASE,
)


def closes(text: str) -> bool:
    """Return whether a note on access holds words that close something."""
    return bool(_CLOSES.search(text))


def keeps_back(column: str, value: Any) -> bool:
    """Return whether a cell that nobody reads may say that the picture is not for the public."""
    name, text = _name(column), " ".join(str(value).casefold().split()).rstrip(".!")
    if text in NOTHING or (len(text) <= 500 and leaves_open(text)):
        return False
    if any(part in name for part in _KEEPS_BACK):
        return text not in _NO and text not in _OPEN - {"yes", "y", "true", "1", "ja", "oui"}
    if any(part in name for part in _OPEN_OR_NOT):
        return text not in _OPEN
    if name in _ACCESS or name.startswith("access_condition"):
        return text not in _OPEN
    return any(part in name for part in _LETS_OUT) and text in _CLOSED


def speaks_of_rights(column: str, value: Any) -> bool:
    """Return whether a cell that nobody reads seems to state rights."""
    name, text = _name(column), " ".join(str(value).casefold().split())
    spoken = text not in NOTHING and any(part in name for part in _RIGHTS)
    elsewhere = name in _ACCESS or any(part in name for part in _KEEPS_BACK)
    return spoken and not elsewhere and not _DATES.search(name)


def speaks_of_a_date(column: str) -> bool:
    """Return whether a column that nobody reads seems to hold the date of the photograph."""
    name = plain(column)
    return bool(_DATES.search(name)) and not _OTHER_DATES.search(name)


_QUALIFIERS = re.compile("qualif|precis|zusatz|modif|genau|prefix|certain|circa|approx|about")
_OF_A_DATE = re.compile(
    r"(?:^|_)(?:dat(?:e|es|ed|um|ums|ing|ering|ierung|iert|ation|azione|a)"
    r"|jahr|year|fecha|annee)(?:_|\d|$)"
)


def may_qualify_a_date(column: str) -> bool:
    """Return whether a column that nobody reads may hold a word that belongs to a date."""
    name = plain(column.rpartition("/")[2])
    if _QUALIFIERS.search(name):
        return True
    return bool(_OF_A_DATE.search(name)) and not _OTHER_DATES.search(name)


def held_back_words(text: str) -> str:
    """Return the words of a note on rights that keep the picture from the public, or nothing."""
    match = _HELD_BACK_WORDS.search(text)
    return match[0] if match else ""


# Words that name terms of use, though not by a URI (common practice, no source).
_TERMS = re.compile(
    r"https?://\S{1,400}|(?:cc\b|creative commons|public domain|in copyright|copyright|\(c\)|©"
    r"|all rights reserved|alle rechte vorbehalten|tous droits réservés|no known copyright"
    r"|gemeinfrei)[^\n]{0,200}",
    re.IGNORECASE,
)


def names_terms(text: str) -> bool:
    """Return whether a cell of rights plainly names terms of use, and nothing that keeps back: any
    other words there may say that the picture is closed."""
    folded = text.strip().casefold().replace(" ", "_")
    closed = held_back_words(text) or any(part in folded for part in _KEEPS_BACK)
    return not closed and bool(_TERMS.fullmatch(text.strip()))


def note_contradicts(text: str, status: str) -> str:
    """Return the words of a note on rights that cannot stand beside a status, or nothing."""
    match = None
    if status == "copyrighted":
        match = re.search(r"public domain|\bcc0\b|gemeinfrei|no known copyright", text, re.I)
    elif status == "public domain":
        match = re.search(r"all rights reserved|\bin copyright|under copyright", text, re.I)
    return match[0] if match else ""


def rights_in_words(text: str) -> str:
    """Return the words of a note that state rights by themselves, or nothing."""
    match = _STATED_IN_WORDS.search(text)
    return match[0] if match else ""


def unused(
    path: str, counted: Counter[str], fields: set[str], fields_read: set[str]
) -> list[Finding]:
    """Return what is told once a batch of columns that no field takes.

    counted: cells with a value, by column (or path in XML); fields: the names that fields have;
    fields_read: those that a column of this file holds.
    """
    if not counted:
        return []
    columns = [f"{name} ({count})" for name, count in sorted(counted.items())]
    listed = wording.some(columns, _SHOWN_COLUMNS)
    findings = [
        Finding(
            "catalogue.unused",
            path,
            f"Unused columns: {listed}; in brackets, how many rows have a value there.",
            "columns that `catalogue.columns` names, or that bear a field's own name.",
            "Name those that a record needs under `catalogue.columns` and those that none needs "
            "under `catalogue.ignored_columns`.",
            "note",
        )
    ]
    alike = sorted(name for name in counted if plain(name) in fields - fields_read)
    if alike:
        findings.append(
            Finding(
                "catalogue.column_name",
                path,
                f"These columns are not read, though their names resemble a field's: "
                f"{', '.join(alike)[:500]}.",
                f"the fields' own names: {', '.join(sorted({plain(name) for name in alike}))}.",
                "Set `catalogue.columns`, e.g. "
                + "; ".join(f"{plain(name)}: {name}" for name in alike[:3])
                + ".",
                "review",
            )
        )
    return findings


def joined(path: str, counted: Counter[str], separator: str | dict[str, str]) -> list[Finding]:
    """Return what is told once a batch of cells that may hold several values as one."""
    if not counted:
        return []
    listed = ", ".join(f"{name} ({count})" for name, count in sorted(counted.items()))
    return [
        Finding(
            "catalogue.separator",
            path,
            f"Cells of these columns hold a semicolon or $ and were read as one value: {listed}; "
            "in brackets, in how many rows.",
            f"values that {separator!r} separates (`catalogue.separator`).",
            "Set `catalogue.separator` where one of them separates values, for all fields (`;`) "
            "or for some (`{subjects: ;}`); in XML and "
            "JSON lists, export an element for each value.",
            "review",
        )
    ]
