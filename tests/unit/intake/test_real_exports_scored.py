"""MODS and Dublin Core of real exports: number, title, date and rights of each record, against a
reading by hand.

The reading here knows MODS 3.8, DCMI Metadata Terms and OAI-PMH 2.0 alone, by plain lxml; it shares
no code with the package. REAL_EXPORTS.md has the figures of all formats.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from makers.step_calls import read_rows

REAL = Path(__file__).resolve().parents[4] / "shared" / "catalogue" / "real"
MODS = "{http://www.loc.gov/mods/v3}"
DC, TERMS = "{http://purl.org/dc/elements/1.1/}", "{http://purl.org/dc/terms/}"
XLINK = "{http://www.w3.org/1999/xlink}href"
LEAST = 0.95
_DATES = {"date", "created", "issued", "temporal", "dateSubmitted", "available", "modified"}

pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the real exports are not there")


@dataclass(frozen=True)
class Expected:
    numbers: list[str]
    title: str
    dates: list[str]
    rights: list[str]


def text_of(element: Any) -> str:
    return "" if element is None else " ".join("".join(element.itertext()).split())


def name_of(element: Any) -> str:
    return etree.QName(element).localname if isinstance(element.tag, str) else ""


def letters(text: str | None) -> str:
    """Return the letters and figures of a text: blanks and stops are not judged."""
    return re.sub(r"[\W_]+", "", unicodedata.normalize("NFC", text or "")).casefold()


def header_of(element: Any) -> str:
    records = (each for each in element.iterancestors() if name_of(each) == "record")
    return next((text_of(each.find("{*}header/{*}identifier")) for each in records), "")


def by_hand(path: Path) -> Iterator[Expected]:
    root = etree.parse(path).getroot()
    records = list(root.iter(f"{MODS}mods"))
    yield from (_mods(each) for each in records)
    for element in root.iter() if not records else []:
        if any(isinstance(part.tag, str) and part.tag.startswith((DC, TERMS)) for part in element):
            yield _dublin_core(element)


def _mods(record: Any) -> Expected:
    title = record.find(f"{MODS}titleInfo")
    parts = [] if title is None else [e for e in title if name_of(e) in ("nonSort", "title")]
    numbers = [header_of(record), *map(text_of, record.findall(f"{MODS}identifier"))]
    numbers += [
        text_of(each) for each in record.findall(f"{MODS}recordInfo/{MODS}recordIdentifier")
    ]
    dates = [
        text_of(each)
        for origin in record.findall(f"{MODS}originInfo")
        for each in origin
        if name_of(each).startswith("date") or name_of(each) == "copyrightDate"
    ]
    conditions = record.findall(f"{MODS}accessCondition")
    rights = [text_of(each) or each.get(XLINK) or "" for each in conditions]
    return Expected(numbers, " ".join(map(text_of, parts)), dates, rights)


def _dublin_core(record: Any) -> Expected:
    def of(*names: str) -> list[str]:
        return [text_of(part) for part in record if name_of(part) in names and text_of(part)]

    numbers = [header_of(record), *of("identifier")]
    return Expected(numbers, (of("title") or [""])[0], of(*_DATES), of("rights", "accessRights"))


def agrees(record: dict[str, Any], expected: Expected) -> bool:
    date = letters(record["date_text"] or record["edtf"])
    of_date = not (date or expected.dates) or any(
        letters(each) and letters(each) in date for each in expected.dates
    )
    stated = record["rights"]
    said = " ".join([stated["uri"], stated["note"], stated["status"], *record["extra"].values()])
    of_rights = all(
        letters(each) in letters(said) or each.rstrip("/").partition("://")[2] in said
        or statement(each) in said
        for each in expected.rights
    )  # fmt: skip
    return letters(record["title"]).startswith(letters(expected.title)[:40]) and (
        of_date and of_rights
    )


def statement(uri: str) -> str:
    """Return the code of a statement of rightsstatements.org, whose pages and URIs differ."""
    found = re.search(r"rightsstatements\.org/(?:page|vocab)/([A-Za-z-]+/1\.0)", uri)
    return found[1] if found else uri


def scored(path: Path) -> tuple[int, int, int]:
    """Return how many records there are, how many are held for a person, how many are right."""
    found = read_rows(path, {"catalogue": {}})
    held = right = 0
    expected = list(by_hand(path))
    for each in expected:
        named = [number for number in each.numbers if number in found.records]
        held += not named and any(number in found.bad_items for number in each.numbers)
        right += any(agrees(found.records[number], each) for number in named)
    return len(expected), held, right


@pytest.mark.parametrize(
    "path",
    [path for part in ("mods/*.xml", "mods_oai/*.xml", "oai_dc/*.xml", "qdc/*.xml")
     for path in sorted(REAL.glob(part)) if path.name != "us_tn.xml"],  # not well-formed
    ids=lambda path: path.name,
)  # fmt: skip
def test_number_title_date_and_rights_are_those_of_a_reading_by_hand(path: Path) -> None:
    count, held, right = scored(path)
    assert count and right >= LEAST * (count - held)
