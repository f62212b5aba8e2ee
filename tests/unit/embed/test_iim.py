"""IPTC-IIM: lengths of IIM 4.2, UTF-8 announced, read back."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from glassine.embed import iim
from glassine.embed.facts import Words, shortened


def decoded(words: Words) -> list[tuple[tuple[int, int], str]]:
    datasets = iim.decode(iim.block(iim.encode(words)[0]))
    return [(number, value.decode()) for number, value in datasets if number[0] == 2][1:]


def test_datasets_by_the_standard() -> None:
    # IIM 4.2 section 1.5: tag marker 1C, record, dataset, 16-bit length, value
    assert iim.dataset((2, 5), b"Quay") == b"\x1c\x02\x05\x00\x04Quay"
    # 1:90 with ESC % G is UTF-8 (ISO 2022); 2:00 is the version, 4
    assert iim.encode(Words())[0] == b"\x1c\x01\x5a\x00\x03\x1b%G\x1c\x02\x00\x00\x02\x00\x04"


def test_texts_come_back() -> None:
    words = Words(
        title="Łódź, 港",
        description="The quay",
        creators=("Åse Østergård", "J. Quay"),
        subjects=("Häfen", "quays"),
        places=(("Port Ellery", ""),),
        identifier="PEH-0001",
        date_iso="1906-05-01",
        copyright_notice="© Archive",
        credit="Archive",
        source="Archive",
    )
    assert decoded(words) == [
        (iim.TITLE, "Łódź, 港"),
        (iim.KEYWORD, "Häfen"),
        (iim.KEYWORD, "quays"),
        (iim.DATE, "19060501"),
        (iim.CREATOR, "Åse Østergård"),
        (iim.CREATOR, "J. Quay"),
        (iim.PLACE, "Port Ellery"),
        (iim.REFERENCE, "PEH-0001"),
        (iim.CREDIT, "Archive"),
        (iim.SOURCE, "Archive"),
        (iim.COPYRIGHT, "© Archive"),
        (iim.CAPTION, "The quay"),
    ]
    assert iim.encode(words)[1] == []


@pytest.mark.parametrize("date", ["1906", "1906-05", ""])
def test_only_whole_dates_are_written(date: str) -> None:
    # IIM 4.2, 2:55: CCYYMMDD
    assert iim.DATE not in {number for number, _ in decoded(Words(title="t", date_iso=date))}


# Maximum octets by IIM 4.2 section 6 (2:05, 2:25, 2:80, 2:92, 2:103, 2:110, 2:115, 2:116, 2:120)
MAXIMA = {
    "title": (5, 64),
    "subjects": (25, 64),
    "creators": (80, 32),
    "identifier": (103, 32),
    "credit": (110, 32),
    "source": (115, 32),
    "copyright_notice": (116, 128),
    "description": (120, 2000),
}


@pytest.mark.parametrize("name", MAXIMA)
@pytest.mark.parametrize("letters", ["wort ", "ünïcødé ", "港湾", "🛥"])
def test_long_texts_are_cut_to_the_standard_and_told(name: str, letters: str) -> None:
    number, maximum = MAXIMA[name]
    text = letters * 3000
    value: object = (text,) if name in ("subjects", "creators") else text
    datasets, cut = iim.encode(Words(**{name: value}))  # type: ignore[arg-type]
    (found,) = [v for n, v in iim.decode(iim.block(datasets)) if n == (2, number)]
    assert maximum // 2 - 4 <= len(found) <= maximum
    assert found.decode().endswith("…")
    assert text.startswith(found.decode()[:-1])
    assert cut == [f"iim:{name.replace('_', ' ').removesuffix('s')}"]


@given(st.text(st.characters(exclude_categories=["Cs"])), st.integers(4, 80))
def test_shortened_never_breaks_a_character(text: str, limit: int) -> None:
    short = shortened(text, limit)
    assert len(short.encode()) <= limit
    assert short == text or short.endswith("…")


def test_block_holds_the_digest_of_the_datasets() -> None:
    datasets, _ = iim.encode(Words(title="Quay"))
    payload = iim.block(datasets)
    # image resource 0x0425: MD5 of resource 0x0404
    mark = b"8BIM\x04\x25\0\0\0\0\0\x10"
    start = payload.index(mark) + len(mark)
    assert payload[start:] == hashlib.md5(datasets).digest()


@given(st.binary(max_size=200))
def test_any_block_is_read_or_refused(noise: bytes) -> None:
    for payload in (noise, iim.IRB_HEAD + noise, iim.block(noise)):
        try:
            iim.decode(payload)
        except ValueError:
            continue
