"""Persistent identifiers: ARK, DOI, Handle, URN; their forms, their check characters, addresses.

Sources: draft-kunze-ark-38 (ARK, sections 2 and 2.7 on forms that are the same); the check
character of `noid` (NOID Check Digit Algorithm); DOI Handbook, section 2 (DOI); RFC 3650 and 3651
(Handle); RFC 8141 (URN), RFC 8458 (urn:nbn), RFC 3187 and ISO 2108 (urn:isbn), RFC 3044 and ISO
3297 (urn:issn); the check figure of urn:nbn:de as the German National Library publishes it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args
from urllib.parse import quote, unquote

Scheme = Literal["ark", "doi", "hdl", "urn"]
SCHEMES: tuple[Scheme, ...] = get_args(Scheme)
# What the last character of an ARK is made of: authority and name, as `noid` does it, or the name.
ArkCheck = Literal["whole", "name"]
NOT_CHECKED: Mapping[str, ArkCheck] = {}
# What the kinds are called, in MODS (identifier types of the Library of Congress) as here.
NAMES: dict[Scheme, str] = {"ark": "ARK", "doi": "DOI", "hdl": "Handle", "urn": "URN"}
_EXAMPLES: dict[Scheme, str] = {
    "ark": "an ARK such as ark:12345/b4x00k",
    "doi": "a DOI such as 10.12345/harbour-7",
    "hdl": "a Handle such as 20.500.12345/77",
    "urn": "a URN such as urn:nbn:fi-fe202101011234",
}
# Words that name a kind, case folded.
_WORDS: dict[str, Scheme] = {
    "ark": "ark", "doi": "doi", "hdl": "hdl", "handle": "hdl", "urn": "urn",
}  # fmt: skip
MAX_LENGTH = 500
# Digits and letters without vowels and l: the alphabet of `noid`.
BETANUMERIC = "0123456789bcdfghjkmnpqrstvwxz"
# Hyphens that mean nothing in an ARK; a line break or a typesetter may have put them there.
_HYPHENS = dict.fromkeys(map(ord, "-\u00ad\u2010\u2011\u2012\u2013\u2014\u2015"))
_HOST = re.compile(r"https?://[^\s/?#]{1,253}/", re.IGNORECASE)
_DOI_HOST = re.compile(r"https?://(?:dx\.|www\.)?doi\.org/", re.IGNORECASE)
_HANDLE_HOST = re.compile(r"https?://(?:www\.)?hdl\.handle\.net/(?:api/handles/)?", re.IGNORECASE)
_ARK = re.compile(r"ark:/?([0-9a-z]{5,16})/([0-9A-Za-z=~*+@_$%./]{1,400})")
_ARK_HOST = re.compile(r"https?://[^\s/?#]{1,253}/(?=ark:)", re.IGNORECASE)
_DOI = re.compile(r"10\.[0-9]{4,9}(?:\.[0-9]{1,9}){0,4}/[^\s\x00-\x1f]{1,400}")
_HANDLE = re.compile(r"[0-9A-Za-z]{1,60}(?:\.[0-9A-Za-z-]{1,60}){0,8}/[^\s\x00-\x1f]{1,400}")
_URN = re.compile(
    r"urn:([0-9A-Za-z][0-9A-Za-z-]{0,30}[0-9A-Za-z]):"
    r"([0-9A-Za-z\-._~!$&'()*+,;=:@%][0-9A-Za-z\-._~!$&'()*+,;=:@%/]{0,400})",
    re.IGNORECASE,
)
_ESCAPE = re.compile("%(?:[0-9A-Fa-f]{2})?")


class NotPersistent(ValueError):
    """A text is no identifier of its kind. expected: what would be one."""

    def __init__(self, what: str, expected: str) -> None:
        super().__init__(what)
        self.what = what
        self.expected = expected


@dataclass(frozen=True, order=True)
class PersistentId:
    """value: in the normal form of its kind, without an address before it."""

    scheme: Scheme
    value: str

    def address(self, ark_resolver: str = "") -> str:
        """Return where it leads, a whole URL; empty where nobody is known to resolve it.

        ark_resolver: address that an ARK is put behind.

        >>> PersistentId("doi", "10.12345/a<b").address()
        'https://doi.org/10.12345/a%3Cb'
        """
        # RFC 3986, 3.3: characters of a path stand as they are; the rest, and %, are escaped.
        safe = "/:@!$&'()*+,;=~"
        if self.scheme == "doi":
            return f"https://doi.org/{quote(self.value, safe)}"
        if self.scheme == "hdl":
            return f"https://hdl.handle.net/{quote(self.value, safe)}"
        if self.scheme == "ark" and ark_resolver:
            return f"{ark_resolver.rstrip('/')}/{self.value}"
        return ""


def scheme_of(word: str) -> Scheme | None:
    """Return the kind that a word or a column's name names.

    >>> scheme_of("Handle"), scheme_of("box")
    ('hdl', None)
    """
    return _WORDS.get(word.strip().casefold())


def stated_in(text: str) -> Scheme | None:
    """Return the kind that a text states by its form: a label or a resolver's address before it.

    >>> stated_in("https://doi.org/10.12345/7"), stated_in("10.12345/7")
    ('doi', None)
    """
    text = text.strip()[: MAX_LENGTH + 1]
    if _DOI_HOST.match(text):
        return "doi"
    if _HANDLE_HOST.match(text):
        return "hdl"
    rest = _ARK_HOST.sub("", text, count=1).casefold()
    if re.match(r"ark:/?[0-9a-z]{5,16}/", rest):
        return "ark"
    labels: tuple[tuple[str, Scheme], ...] = (
        ("doi:", "doi"), ("info:doi/", "doi"), ("hdl:", "hdl"), ("info:hdl/", "hdl"),
        ("urn:", "urn"),
    )  # fmt: skip
    return next((scheme for label, scheme in labels if rest.startswith(label)), None)


def read(
    scheme: Scheme, text: str, ark_checked: Mapping[str, ArkCheck] = NOT_CHECKED
) -> PersistentId:
    """Return the identifier that a text is, in its normal form.

    ark_checked: {number of a name assigning authority (NAAN) whose ARKs end in a check character:
    what that is made of}.
    Raises NotPersistent, with what would do, for what is none of its kind, or mistyped where the
    kind has a check character.
    """
    text = text.strip()
    if not text or len(text) > MAX_LENGTH:
        raise NotPersistent("It is empty or too long", f"{_EXAMPLES[scheme]}.")
    stated = stated_in(text)
    if stated is not None and stated != scheme and {stated, scheme} != {"doi", "hdl"}:
        raise NotPersistent(
            f"It is a {NAMES[stated]} and no {NAMES[scheme]}", f"{_EXAMPLES[scheme]}."
        )
    value = {"ark": _ark, "doi": _doi, "hdl": _handle, "urn": _urn}[scheme](text)
    if scheme == "ark":
        _check_ark(value, ark_checked)
    return PersistentId(scheme, value)


def _wrong(scheme: Scheme, what: str = "") -> NotPersistent:
    return NotPersistent(what or f"It is no {NAMES[scheme]}", f"{_EXAMPLES[scheme]}.")


def _upper_escapes(scheme: Scheme, text: str) -> str:
    """Return a text with the hex digits of its escapes in capitals (RFC 3986, 6.2.2.1)."""
    if any(len(escape) != 3 for escape in _ESCAPE.findall(text)):
        raise _wrong(scheme, "A % stands in it without two hex digits")
    return _ESCAPE.sub(lambda match: match[0].upper(), text)


# --- ARK ---


def _ark(text: str) -> str:
    """Return `ark:NAAN/Name`: hyphens, an address before it and `/` or `.` at its end mean
    nothing, the label and the NAAN are in small letters; the name keeps its letters' case."""
    bare = _ARK_HOST.sub("", text, count=1)
    if "?" in bare or "#" in bare:
        raise _wrong("ark", "It has an inflection or a fragment (after ? or #)")
    bare = bare.translate(_HYPHENS)
    if ":" not in bare and re.match(r"/?[0-9]{5}/", bare):
        bare = f"ark:{bare}"
    label, colon, rest = bare.partition(":")
    naan, slash, name = rest.removeprefix("/").partition("/")
    found = _ARK.fullmatch(f"{label.lower()}{colon}{naan.lower()}{slash}{name.rstrip('/.')}")
    if found is None or found[2].startswith(("/", ".")):
        raise _wrong("ark")
    return f"ark:{found[1]}/{_upper_escapes('ark', found[2])}"


def _check_ark(value: str, checked: Mapping[str, ArkCheck]) -> None:
    naan, _, name = value.removeprefix("ark:").partition("/")
    if naan not in checked:
        return
    base = re.split("[/.]", name, maxsplit=1)[0]  # qualifiers have no part in it
    before = "" if checked[naan] == "name" else f"{naan}/"
    if len(base) < 2 or check_character(f"{before}{base[:-1]}") != base[-1]:
        raise NotPersistent(
            "Its check character is wrong: it was mistyped somewhere",
            f"an ARK of {naan} whose last character agrees with the others.",
        )


def check_character(text: str) -> str:
    """Return the check character of `NAAN/name` by the NOID Check Digit Algorithm: the sum of each
    character's number times its place from 1, modulo 29; what is no digit or letter of the
    alphabet counts as 0.

    >>> check_character("13030/xf93gt2")  # the example of noid's own manual
    'q'
    """
    total = sum(
        place * max(BETANUMERIC.find(character), 0) for place, character in enumerate(text, 1)
    )
    return BETANUMERIC[total % len(BETANUMERIC)]


# --- DOI and Handle ---


def _without_address(text: str, host: re.Pattern[str], labels: tuple[str, ...]) -> str:
    match = host.match(text)
    if match:
        return unquote(text[match.end() :].partition("?")[0].partition("#")[0])
    for label in labels:
        if text.casefold().startswith(label):
            return text[len(label) :].lstrip()
    return text


def _doi(text: str) -> str:
    """Return a DOI; letters A to Z make no difference in it (DOI Handbook, 2.4), so they are
    small here."""
    bare = _without_address(text, _DOI_HOST, ("info:doi/", "doi:"))
    if bare == text:
        bare = _without_address(text, _HANDLE_HOST, ("info:hdl/", "hdl:"))
    if not _DOI.fullmatch(bare):
        raise _wrong("doi")
    return "".join(letter.lower() if letter.isascii() else letter for letter in bare)


def _handle(text: str) -> str:
    bare = _without_address(text, _HANDLE_HOST, ("info:hdl/", "hdl:"))
    if bare == text:
        bare = _without_address(text, _DOI_HOST, ("info:doi/", "doi:"))
    if not _HANDLE.fullmatch(bare):
        raise _wrong("hdl")
    return bare


# --- URN ---


def _urn(text: str) -> str:
    """Return a URN; its label and namespace are in small letters (RFC 8141, 3.1)."""
    bare = _HOST.sub("", text, count=1) if _HOST.match(text) else text
    if any(mark in bare for mark in ("?+", "?=", "#", "?")):
        raise _wrong("urn", "It has a part after ? or #, which names nothing by itself")
    found = _URN.fullmatch(bare)
    if found is None:
        raise _wrong("urn")
    namespace, name = found[1].lower(), _upper_escapes("urn", found[2])
    if namespace in ("isbn", "issn"):
        name = name.upper()
    _check_urn(namespace, name)
    if namespace == "nbn":
        name = re.sub("^[A-Za-z]{2}(?=[:-])", lambda country: country[0].lower(), name)
    return f"urn:{namespace}:{name}"


def _check_urn(namespace: str, name: str) -> None:
    sound = True
    if namespace == "nbn" and name.lower().startswith("de:"):
        sound = nbn_check_figure(f"urn:nbn:{name[:-1]}") == name[-1]
    elif namespace == "isbn":
        sound = _is_isbn(name.replace("-", ""))
    elif namespace == "issn":
        sound = _is_issn(name.replace("-", ""))
    if not sound:
        raise NotPersistent(
            "Its check figure is wrong: it was mistyped somewhere",
            f"a urn:{namespace} whose last figure agrees with the others.",
        )


# Numbers of the characters of a URN for its check figure.
_NBN = dict(zip("0123456789", (1, 2, 3, 4, 5, 6, 7, 8, 9, 41), strict=True)) | {
    "a": 18, "b": 14, "c": 19, "d": 15, "e": 16, "f": 21, "g": 22, "h": 23, "i": 24, "j": 25,
    "k": 42, "l": 26, "m": 27, "n": 13, "o": 28, "p": 29, "q": 31, "r": 12, "s": 32, "t": 33,
    "u": 11, "v": 34, "w": 35, "x": 36, "y": 37, "z": 38, "-": 39, ":": 17, "_": 43, "/": 45,
    ".": 47, "+": 49,
}  # fmt: skip


def nbn_check_figure(text: str) -> str:
    """Return the check figure of a urn:nbn:de without its last figure, or nothing where a
    character of it has no number: each figure of the characters' numbers times its place, the
    sum divided by the last figure, without the rest, modulo 10.

    >>> nbn_check_figure("urn:nbn:de:0074-1000-")
    '9'
    """
    numbers = [_NBN.get(character) for character in text.lower()]
    if not numbers or None in numbers:
        return ""
    figures = [int(figure) for number in numbers for figure in str(number)]
    total = sum(place * figure for place, figure in enumerate(figures, 1))
    return str(total // figures[-1] % 10)


def _is_isbn(text: str) -> bool:
    """Return whether a text is an ISBN of 10 or 13 figures (ISO 2108, annex on the check digit)."""
    if re.fullmatch("[0-9]{13}", text):
        return sum(int(figure) * (1, 3)[i % 2] for i, figure in enumerate(text)) % 10 == 0
    return bool(re.fullmatch("[0-9]{9}[0-9X]", text)) and _modulo_11(text)


def _is_issn(text: str) -> bool:
    """Return whether a text is an ISSN (ISO 3297, annex on the check digit)."""
    return bool(re.fullmatch("[0-9]{7}[0-9X]", text)) and _modulo_11(text)


def _modulo_11(text: str) -> bool:
    figures = [10 if figure == "X" else int(figure) for figure in text]
    return sum((len(text) - i) * figure for i, figure in enumerate(figures)) % 11 == 0


# --- new ones ---


def minted(count: int, naan: str, shoulder: str, width: int) -> PersistentId:
    """Return the ARK of a count from 0: shoulder, the count in the alphabet of `noid` (at least
    `width` of its characters), check character over `NAAN/name`.

    >>> minted(0, "99999", "fk4", 4).value[:-1]
    'ark:99999/fk40000'
    """
    figures = ""
    rest = count
    while rest:
        rest, figure = divmod(rest, len(BETANUMERIC))
        figures = BETANUMERIC[figure] + figures
    name = shoulder + figures.rjust(width, BETANUMERIC[0])
    return PersistentId("ark", f"ark:{naan}/{name}{check_character(f'{naan}/{name}')}")
