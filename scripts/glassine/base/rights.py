"""What a rights URI says, so that every record says the same: the one table of statements.

Statements: the twelve of rightsstatements.org, version 1.0; Creative Commons licences 1.0 to 4.0
with their ported versions; CC0 and the Public Domain Mark. Names and meanings: the vocabulary of
rightsstatements.org and the deeds of creativecommons.org (values from memory).

status: copyrightStatus in the words of the vocabulary that PREMIS 3.0 (Data Dictionary, 4.1.3.1)
points to. marked: xmpRights:Marked (XMP specification, part 2): True for a rights-managed
resource, False for one in the public domain, absent where it is not known. Four statements say
"no copyright" with a restriction by contract, by another law or to one country; XMP has no word
for that, and False alone would tell a reader that anything goes, so that it is absent there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

COPYRIGHTED, PUBLIC_DOMAIN, UNKNOWN = "copyrighted", "public domain", "unknown"
STATUSES = (COPYRIGHTED, PUBLIC_DOMAIN, UNKNOWN)
# Far above any such URI.
_MAX_URI = 300


@dataclass(frozen=True)
class Statement:
    """One statement. uri: as its keeper defines it; country: whose law alone it speaks of."""

    uri: str
    name: str
    status: str
    marked: bool | None
    grants: bool = False  # whether it grants a use by itself, as a licence does
    country: str = ""


_RS = "http://rightsstatements.org/vocab/"
_RIGHTS_STATEMENTS = {
    code.lower(): Statement(f"{_RS}{code}/1.0/", name, status, marked, country=country)
    for code, name, status, marked, country in (
        ("InC", "In Copyright", COPYRIGHTED, True, ""),
        ("InC-OW-EU", "In Copyright - EU Orphan Work", COPYRIGHTED, True, ""),
        ("InC-EDU", "In Copyright - Educational Use Permitted", COPYRIGHTED, True, ""),
        ("InC-NC", "In Copyright - Non-Commercial Use Permitted", COPYRIGHTED, True, ""),
        (
            "InC-RUU",
            "In Copyright - Rights-holder(s) Unlocatable or Unidentifiable",
            COPYRIGHTED,
            True,
            "",
        ),
        ("NoC-CR", "No Copyright - Contractual Restrictions", PUBLIC_DOMAIN, None, ""),
        ("NoC-NC", "No Copyright - Non-Commercial Use Only", PUBLIC_DOMAIN, None, ""),
        ("NoC-OKLR", "No Copyright - Other Known Legal Restrictions", PUBLIC_DOMAIN, None, ""),
        ("NoC-US", "No Copyright - United States", PUBLIC_DOMAIN, None, "us"),
        ("CNE", "Copyright Not Evaluated", UNKNOWN, None, ""),
        ("UND", "Copyright Undetermined", UNKNOWN, None, ""),
        ("NKC", "No Known Copyright", UNKNOWN, None, ""),
    )
}
# Licences by version; those that are not among the six were given up after the version named.
_SIX = ("by", "by-sa", "by-nd", "by-nc", "by-nc-sa", "by-nc-nd")
_LICENCES = {
    "1.0": (*_SIX, "by-nd-nc", "nc", "nc-sa", "nd", "nd-nc", "sa"),
    "2.0": _SIX,
    "2.1": _SIX,
    "2.5": _SIX,
    "3.0": _SIX,
    "4.0": _SIX,
}
_TOOLS = {
    "zero": ("CC0 1.0 Universal, public domain dedication", True),
    "mark": ("Public domain", False),
}
_HOST = r"https?://(?:www\.)?"
_RS_FORM = re.compile(
    _HOST + r"rightsstatements\.org/(?:vocab|page)/(?P<code>[a-z-]{1,20})/1\.0/?"
    r"(?:(?<=/)[a-z]{2}(?:-[a-z]{2,4})?/?)?"
    r"(?:\?(?:language|lang)=[a-z-]{2,10})?",
    re.IGNORECASE,
)
# A deed or legal code names its language by an ending; a ported licence has the country's code.
_CC_FORM = re.compile(
    _HOST + r"creativecommons\.org/(?P<kind>licenses|publicdomain)/(?P<code>[a-z-]{1,20})/"
    r"(?P<version>\d\.\d)(?:/(?P<port>[a-z]{2}|igo|scotland))?"
    r"(?:/(?:(?:deed|legalcode)(?:\.[a-z]{2,3}(?:[-_][a-z]{2,10})?)?)?)?",
    re.IGNORECASE,
)


@lru_cache(maxsize=1024)
def statement(uri: str | None) -> Statement | None:
    """Return what a rights URI says, or None where it is no URI of the table.

    >>> statement("https://rightsstatements.org/page/NoC-US/1.0/?language=en").name
    'No Copyright - United States'
    >>> statement("CC BY") is None
    True
    """
    text = (uri or "").strip()
    if len(text) > _MAX_URI:
        return None
    found = _RS_FORM.fullmatch(text)
    if found:
        return _RIGHTS_STATEMENTS.get(found["code"].lower())
    found = _CC_FORM.fullmatch(text)
    return _creative_commons(found) if found else None


def _creative_commons(found: re.Match[str]) -> Statement | None:
    kind, code, version = found["kind"].lower(), found["code"].lower(), found["version"]
    port = (found["port"] or "").lower()
    uri = f"http://creativecommons.org/{kind}/{code}/{version}/" + (f"{port}/" if port else "")
    if kind == "publicdomain":
        if code not in _TOOLS or version != "1.0" or port:
            return None
        name, grants = _TOOLS[code]
        return Statement(uri, name, PUBLIC_DOMAIN, False, grants=grants)
    if code not in _LICENCES.get(version, ()) or (version == "4.0" and port):
        return None
    name = f"CC {code.upper()} {version}" + (f" {port.upper()}" if port else "")
    return Statement(uri, name, COPYRIGHTED, True, grants=True)


@dataclass(frozen=True)
class Rights:
    """The rights of an item, as each of its records tells them.

    uri: as its keeper defines it, or as given where it is of no such keeper; name: of the
    statement; status, marked: see the module; country: whose law was looked at (ISO 3166-1).
    """

    uri: str = ""
    name: str = ""
    status: str = UNKNOWN
    marked: bool | None = None
    holder: str = ""
    note: str = ""
    credit: str = ""
    country: str = ""
    grants: bool = False

    def as_row(self) -> dict[str, str]:
        """Return what a catalogue row says in such words; `resolved` of it is the same again."""
        parts = ("uri", "status", "holder", "note", "credit")
        return {name: getattr(self, name) for name in parts}

    @property
    def notice(self) -> str:
        """Return the copyright notice: who holds the right, else what is known of it."""
        if self.status == COPYRIGHTED and self.holder:
            return f"© {self.holder}"
        if self.status == COPYRIGHTED and self.grants:
            return f"In copyright, {self.name}"
        known = self.name or {COPYRIGHTED: "In copyright", PUBLIC_DOMAIN: "Public domain"}.get(
            self.status, ""
        )
        if self.status == UNKNOWN and self.holder:
            return "; ".join(text for text in (f"Rights holder: {self.holder}", known) if text)
        return known

    @property
    def terms(self) -> str:
        """Return what a reader is told of use: the statement's name, then the note."""
        return ". ".join(text for text in (self.name, self.note) if text)


def resolved(stated: dict[str, Any] | None, defaults: dict[str, Any] | None) -> Rights:
    """Return the rights of an item from its catalogue row and the settings `rights`.

    Where the row states a URI or a status, neither comes from the settings: the two belong
    together. The URI decides on the status. The settings' note goes with the settings' statement
    alone, their holder with every item but those in the public domain.
    """
    row = {name: str(value) for name, value in (stated or {}).items() if value}
    house = {name: str(value) for name, value in (defaults or {}).items() if value}
    uri, status = row.get("uri", ""), row.get("status", "")
    kept = statement(house.get("uri"))
    # "unknown" and the house's "not evaluated" say the same; any other status stands alone.
    own = bool(uri or (status and not (status == UNKNOWN and kept and kept.status == UNKNOWN)))
    if not own:
        uri, status = house.get("uri", ""), house.get("status", "") or status
    known = statement(uri)
    if known:
        uri, status = known.uri, known.status
    else:
        status = status if status in STATUSES else UNKNOWN
    same = not own or (uri == kept.uri if kept else status == house.get("status"))
    marked = {COPYRIGHTED: True, PUBLIC_DOMAIN: False}.get(status)
    return Rights(
        uri=uri,
        name=known.name if known else "",
        status=status,
        marked=known.marked if known else marked,
        holder=row.get("holder") or ("" if status == PUBLIC_DOMAIN else house.get("holder", "")),
        note=row.get("note") or (house.get("note", "") if same else ""),
        credit=row.get("credit") or house.get("credit", ""),
        country=(known.country if known else "") or house.get("jurisdiction", ""),
        grants=known.grants if known else False,
    )


def contradiction(uri: str, status: str) -> str:
    """Return "hold" or "review" where a status says other than its URI, else nothing.

    "copyrighted" beside a public-domain mark, or the reverse, cannot both be; a certain word
    beside an uncertain statement, or the reverse, is for a person to look at.
    """
    known = statement(uri)
    if known is None or not status or status == known.status:
        return ""
    return "review" if UNKNOWN in (status, known.status) else "hold"
