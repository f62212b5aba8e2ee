"""XMP: the same bytes for the same facts, nothing shortened, hostile text as text."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from glassine.embed import jpeg, xmp
from glassine.embed.facts import Technical, Words, fraction

TECHNICAL = Technical(
    width=900,
    height=600,
    ppi=2000.0,
    colour_space=1,
    software="Glassine 0.1.0",
    document_id="e4bc0942-a126-5ccc-bbcc-9ce8409e2d8f",
    master_id="11111111-a126-5ccc-bbcc-9ce8409e2d8f",
    master_name="PEH-0001.tif",
    master_sha256="ab" * 32,
    pixels_sha256="cd" * 32,
    digital_source="negativeFilm",
    make="Ellery Optical",
    model="Table Camera 1",
    exposure_s=0.008,
    f_number=5.6,
    iso=64,
    taken="2026-03-17T10:00:00",
    offset="+00:00",
)
WORDS = Words(
    title="Łódź, 港",
    description="The quay",
    creators=("Åse Østergård",),
    subjects=("Häfen", "quays"),
    places=(("Port Ellery", "https://places.port-ellery.example/1"),),
    identifier="PEH-0001",
    date_iso="1906-05",
    date_text="May 1906",
    copyright_notice="© Archive",
    usage_terms="Ask first.",
    web_statement="http://rightsstatements.org/vocab/InC/1.0/",
    marked=True,
    credit="Archive",
    source="Archive",
    contact_url="https://archive.port-ellery.example/",
)


def parsed(packet: bytes) -> Any:
    start = packet.index(b"<x:xmpmeta")
    root = etree.fromstring(packet[start : packet.index(b"</x:xmpmeta>") + 12])
    (description,) = root.iter(xmp.name("rdf:Description"))
    return description


def text(packet: bytes, name: str) -> str:
    found = parsed(packet).find(xmp.name(name))
    line = found.find(".//" + xmp.name("rdf:li"))
    return str((found if line is None else line).text)


def test_packet_says_what_it_was_given() -> None:
    packet, extended = xmp.packet(WORDS, TECHNICAL)
    assert extended is None
    assert text(packet, "dc:title") == "Łódź, 港"
    assert text(packet, "dc:creator") == "Åse Østergård"
    assert text(packet, "photoshop:DateCreated") == "1906-05"
    assert text(packet, "xmpRights:Marked") == "True"
    assert text(packet, "xmpRights:WebStatement").startswith("http://rightsstatements.org/")
    assert text(packet, "exif:ExposureTime") == "1/125"
    assert text(packet, "xmp:CreateDate") == "2026-03-17T10:00:00+00:00"
    assert text(packet, "tiff:XResolution") == "2000/1"
    origin = parsed(packet).find(xmp.name("xmpMM:DerivedFrom"))
    assert origin.find(xmp.name("stRef:instanceID")).text == "sha256:" + "ab" * 32
    assert text(packet, "Iptc4xmpExt:DigitalSourceType") == (
        "http://cv.iptc.org/newscodes/digitalsourcetype/negativeFilm"
    )


@pytest.mark.parametrize(
    ("name", "array"),
    [  # XMP part 1, section 8.3 and the IPTC Photo Metadata Standard: kinds of arrays
        ("dc:title", "Alt"),
        ("dc:description", "Alt"),
        ("dc:rights", "Alt"),
        ("dc:creator", "Seq"),
        ("dc:subject", "Bag"),
        ("exif:ISOSpeedRatings", "Seq"),
        ("xmpRights:UsageTerms", "Alt"),
        ("Iptc4xmpExt:LocationShown", "Bag"),
        ("Iptc4xmpExt:ArtworkOrObject", "Bag"),
    ],
)
def test_kinds_of_arrays(name: str, array: str) -> None:
    (holder,) = parsed(xmp.packet(WORDS, TECHNICAL)[0]).find(xmp.name(name))
    assert holder.tag == xmp.name(f"rdf:{array}")


def test_inexact_date_is_told_as_written_and_never_as_a_date() -> None:
    words = replace(WORDS, date_iso="", date_text="c. 1905")
    description = parsed(xmp.packet(words, TECHNICAL)[0])
    assert description.find(xmp.name("photoshop:DateCreated")) is None
    circa = description.find(".//" + xmp.name("Iptc4xmpExt:AOCircaDateCreated"))
    assert circa.text == "c. 1905"


def test_same_facts_same_bytes() -> None:
    assert xmp.packet(WORDS, TECHNICAL) == xmp.packet(replace(WORDS), replace(TECHNICAL))


def test_without_a_record_only_technical_facts() -> None:
    packet, _ = xmp.packet(Words(identifier="PEH-0001"), TECHNICAL)
    names = {etree.QName(child).localname for child in parsed(packet)}
    assert "identifier" in names
    assert not names & {"title", "description", "creator", "rights", "Marked", "ArtworkOrObject"}


@pytest.mark.parametrize(
    "hostile",
    [
        "</dc:title><x>&boom;",
        "<!DOCTYPE a [<!ENTITY b 'c'>]>&b;",
        "]]><script>alert(1)</script>",
        '<?xpacket end="w"?>',
        "\"'><rdf:li>",
    ],
)
def test_hostile_text_comes_back_as_text(hostile: str) -> None:
    packet, _ = xmp.packet(replace(WORDS, title=hostile), TECHNICAL)
    assert text(packet, "dc:title") == hostile
    # a reader that scans for the packet's end finds the real one
    assert packet.count(b"<?xpacket end=") == 1


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=200))
def test_any_text_comes_back(title: str) -> None:
    words = replace(WORDS, title=title.replace("\ufffe", "").replace("\uffff", "") or "t")
    assert text(xmp.packet(words, TECHNICAL)[0], "dc:title") == words.title


@pytest.mark.parametrize("size", [60_000, 66_000, 300_000])
def test_long_description_goes_whole_into_the_extended_packet(size: int) -> None:
    words = replace(WORDS, description="ø" * (size // 2))
    packet, extended = xmp.packet(words, TECHNICAL)
    assert len(packet) <= jpeg.MAX_XMP
    if extended is None:
        assert text(packet, "dc:description") == words.description
        return
    assert parsed(packet).find(xmp.name("dc:description")) is None
    assert text(packet, "xmpNote:HasExtendedXMP") == jpeg.extended_guid(extended)
    assert text(extended, "dc:description") == words.description
    assert text(packet, "dc:title") == words.title


def test_several_long_texts() -> None:
    long = "ø" * 40_000
    packet, extended = xmp.packet(replace(WORDS, title=long, description=long), TECHNICAL)
    assert extended is not None
    assert len(packet) <= jpeg.MAX_XMP
    assert text(extended, "dc:title") == text(extended, "dc:description") == long


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.008, (1, 125)), (1 / 60, (1, 60)), (5.6, (56, 10)), (2.0, (2, 1)), (0.3, (3, 10))],
)
def test_fractions(value: float, expected: tuple[int, int]) -> None:
    assert fraction(value) == expected


@given(st.floats(1e-4, 40000))
def test_fractions_are_near(value: float) -> None:
    top, bottom = fraction(value)
    assert abs(top / bottom - value) <= 1e-3 * value
    assert 0 < top < 2**32
    assert 0 < bottom < 2**32
