"""The facts that EXIF, XMP and IPTC-IIM share, so that the three never disagree."""

from __future__ import annotations

import re
from dataclasses import dataclass

# What XML 1.0 (section 2.2, production Char) cannot hold, and NUL, which ends an EXIF text.
_NOT_TEXT = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class Words:
    """What the catalogue and the institution say of the picture; empty where nothing is known.

    date_iso: year, year-month or day the photograph was made (ISO 8601), only where the
    catalogue's date is exactly that; date_text: the date as catalogued.
    marked: True in copyright, False in the public domain, None undetermined.
    """

    title: str = ""
    description: str = ""
    creators: tuple[str, ...] = ()
    subjects: tuple[str, ...] = ()
    creator_uris: tuple[str, ...] = ()  # of each creator, or ""
    about: tuple[tuple[str, str], ...] = ()  # (term, URI) of subjects that have one
    places: tuple[tuple[str, str], ...] = ()  # (name, URI or "")
    place_levels: tuple[tuple[str, ...], ...] = ()  # of each place: country, state, city, section
    identifier: str = ""
    date_iso: str = ""
    date_text: str = ""
    copyright_notice: str = ""
    usage_terms: str = ""
    web_statement: str = ""
    marked: bool | None = None
    credit: str = ""
    source: str = ""
    contact_url: str = ""
    contact_email: str = ""


@dataclass(frozen=True)
class Technical:
    """What the capture and the rendering say of the picture.

    ppi: pixels per inch in the plane of the object, of this file. colour_space: EXIF's
    1 (sRGB) or 65535 (uncalibrated). components: 3 (YCbCr) or 1 (grey). taken: local
    date and time `YYYY-MM-DDTHH:MM:SS`; offset: `+HH:MM`. document_id, master_id: UUIDs made
    from digests, never from the clock.
    """

    width: int
    height: int
    ppi: float | None
    colour_space: int
    software: str
    document_id: str
    master_id: str
    master_name: str
    master_sha256: str
    pixels_sha256: str
    components: int = 3
    digital_source: str = ""  # term of the IPTC vocabulary, e.g. "negativeFilm"
    make: str = ""
    model: str = ""
    serial: str = ""
    lens: str = ""
    exposure_s: float | None = None
    f_number: float | None = None
    iso: float | None = None
    focal_mm: float | None = None
    taken: str = ""
    offset: str = ""


def unusable(text: str) -> list[str]:
    """Return the characters of `text` that no embedded metadata can hold, as U+XXXX."""
    return [f"U+{ord(character):04X}" for character in _NOT_TEXT.findall(text)]


def shortened(text: str, limit_bytes: int) -> str:
    """Return `text` cut to at most `limit_bytes` of UTF-8, at a word, with an ellipsis.

    >>> shortened("Harbour wall", 10)
    'Harbour…'
    """
    if len(text.encode()) <= limit_bytes:
        return text
    head = text.encode()[: limit_bytes - len("…".encode())].decode("utf-8", "ignore")
    space = head.rfind(" ")
    return (head[:space] if space > len(head) // 2 else head).rstrip() + "…"


def fraction(value: float) -> tuple[int, int]:
    """Return a positive `value` as (numerator, denominator) within 32 bits, 1/125 as (1, 125)."""
    if 0 < value < 1 and abs(round(1 / value) - 1 / value) < 5e-4 / value:
        return 1, round(1 / value)
    for denominator in (1, 10, 100, 1000, 10000):
        if abs(round(value * denominator) - value * denominator) < 1e-6 * denominator:
            return round(value * denominator), denominator
    denominator = 1_000_000 if value < 1000 else 10_000
    return round(value * denominator), denominator
