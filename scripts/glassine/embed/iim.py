"""IPTC-IIM version 4 (IPTC/NAA Information Interchange Model) in UTF-8, as APP13 holds it."""

from __future__ import annotations

import hashlib
import re
import struct

from glassine.embed.facts import Words, shortened
from glassine.embed.jpeg import IRB_HEAD

# Record 1, dataset 90: ISO 2022 designation of UTF-8.
UTF8 = b"\x1b%G"
TITLE, KEYWORD, DATE, CREATOR, PLACE = (2, 5), (2, 25), (2, 55), (2, 80), (2, 92)
REFERENCE, CREDIT, SOURCE, COPYRIGHT, CAPTION = (2, 103), (2, 110), (2, 115), (2, 116), (2, 120)
# Greatest lengths in octets (IIM 4.2, section 6); UTF-8 characters can take several.
LIMITS = {
    TITLE: 64,
    KEYWORD: 64,
    DATE: 8,
    CREATOR: 32,
    PLACE: 32,
    REFERENCE: 32,
    CREDIT: 32,
    SOURCE: 32,
    COPYRIGHT: 128,
    CAPTION: 2000,
}


def dataset(number: tuple[int, int], value: bytes) -> bytes:
    """Return one standard dataset (IIM 4.2, section 1.5). Raises ValueError beyond 32 KB."""
    if len(value) > 32767:
        raise ValueError("a standard dataset holds 32,767 octets")
    return struct.pack(">BBBH", 0x1C, number[0], number[1], len(value)) + value


def texts(words: Words) -> list[tuple[tuple[int, int], str, str]]:
    """Return (dataset, whole text, name of the field) in the order they are written."""
    day = (
        words.date_iso.replace("-", "") if re.fullmatch(r"\d{4}-\d\d-\d\d", words.date_iso) else ""
    )
    datasets = [(TITLE, words.title, "title")]
    datasets += [(KEYWORD, subject, "subject") for subject in words.subjects]
    datasets += [(DATE, day, "date")]
    datasets += [(CREATOR, creator, "creator") for creator in words.creators]
    datasets += [(PLACE, name, "place") for name, _ in words.places[:1]]
    datasets += [
        (REFERENCE, words.identifier, "identifier"),
        (CREDIT, words.credit, "credit"),
        (SOURCE, words.source, "source"),
        (COPYRIGHT, words.copyright_notice, "copyright notice"),
        (CAPTION, words.description, "description"),
    ]
    return [entry for entry in datasets if entry[1]]


def encode(words: Words) -> tuple[bytes, list[str]]:
    """Return the datasets of `words`, and the names of the fields that had to be shortened.

    XMP and EXIF hold those whole; a reader compares them up to the ellipsis.
    """
    written = [dataset((1, 90), UTF8), dataset((2, 0), struct.pack(">H", 4))]
    cut = []
    for number, text, name in texts(words):
        value = shortened(text, LIMITS[number])
        if value != text:
            cut.append(f"iim:{name}")
        written.append(dataset(number, value.encode()))
    return b"".join(written), sorted(set(cut))


def _resource(kind: int, value: bytes) -> bytes:
    padded = value + b"\0" * (len(value) % 2)
    return b"8BIM" + struct.pack(">HHI", kind, 0, len(value)) + padded


def block(datasets: bytes) -> bytes:
    """Return the payload of APP13: the datasets (0x0404) and their MD5 (0x0425), which tells
    readers that XMP was written together with them."""
    digest = hashlib.md5(datasets, usedforsecurity=False).digest()
    return IRB_HEAD + _resource(0x0404, datasets) + _resource(0x0425, digest)


def decode(payload: bytes) -> list[tuple[tuple[int, int], bytes]]:
    """Return the datasets of an APP13 payload. Raises ValueError where it is malformed."""
    at = len(IRB_HEAD)
    datasets: list[tuple[tuple[int, int], bytes]] = []
    while at + 12 <= len(payload):
        signature, kind, name, size = struct.unpack_from(">4sHHI", payload, at)
        if signature != b"8BIM" or name != 0 or at + 12 + size > len(payload):
            raise ValueError("a damaged image resource block")
        if kind == 0x0404:
            datasets += _datasets(payload[at + 12 : at + 12 + size])
        at += 12 + size + size % 2
    return datasets


def _datasets(data: bytes) -> list[tuple[tuple[int, int], bytes]]:
    datasets = []
    at = 0
    while at < len(data):
        if at + 5 > len(data) or data[at] != 0x1C:
            raise ValueError(f"no dataset at octet {at}")
        record, number, size = struct.unpack_from(">BBH", data, at + 1)
        if size > 32767 or at + 5 + size > len(data):
            raise ValueError(f"the dataset at octet {at} is longer than its block")
        datasets.append(((record, number), data[at + 5 : at + 5 + size]))
        at += 5 + size
    return datasets
