"""Real exports of collections systems, each field against a reading of its own.

The reading here knows the standards alone (EAD 2002 and EAD3 tag libraries, LIDO 1.0, MARC 21, Dublin
Core, OAI-PMH 2.0), by plain lxml and pymarc; it shares no code with the package. At least 95 % of
the records have to agree in number, title, date and rights.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from glassine.base.errors import GlassineError
from makers.step_calls import read_rows

REAL = Path(__file__).resolve().parents[4] / "shared" / "catalogue" / "real"
MARC = "{http://www.loc.gov/MARC21/slim}"
LIDO = "{http://www.lido-schema.org}"
DC = "{http://purl.org/dc/elements/1.1/}"
LEAST = 0.95

pytestmark = pytest.mark.skipif(not REAL.is_dir(), reason="the real exports are not there")


def files(*patterns: str) -> list[Path]:
    return sorted(
        path for pattern in patterns for path in REAL.glob(pattern) if path.suffix != ".md"
    )


def line(text: str | None) -> str:
    return " ".join((text or "").split())


def letters(text: str | None) -> str:
    """Return the letters and figures of a text: blanks and stops at ends are not judged."""
    return re.sub(r"[\W_]+", "", unicodedata.normalize("NFC", text or "")).casefold()


def text_of(element: Any) -> str:
    return "" if element is None else line("".join(element.itertext()))


def name_of(element: Any) -> str:
    return etree.QName(element).localname if isinstance(element.tag, str) else ""


def read(path: Path) -> Any:
    return read_rows(path, {"catalogue": {}})


def titles_of(found: Any) -> dict[str, str]:
    return {item: record["title"] for item, record in found.records.items()}


def told(found: Any) -> set[str]:
    return {finding.code for finding in found.bad_items.values()}


# --- finding aids ---


def components(path: Path) -> list[dict[str, str]]:
    """Return title, date, number and rights of each component by the tag libraries."""
    root = etree.parse(path).getroot()
    out = []
    for element in root.iter():
        if not re.fullmatch(r"c(0[1-9]|1[0-2])?", name_of(element)):
            continue
        line_of = [element, *element.iterancestors()]
        out.append(
            {
                "number": first(element, "unitid") or element.get("id") or "",
                "title": next((t for each in line_of if (t := first(each, "unittitle"))), ""),
                "date": next((t for each in line_of if (t := first(each, "unitdate"))), ""),
                "rights": next((t for each in line_of if (t := notes(each, "userestrict"))), ""),
            }
        )
    return out


def first(element: Any, name: str) -> str:
    for did in element:
        if name_of(did) != "did":
            continue
        for inner in did.iter():
            if name_of(inner) == name and text_of(inner):
                return text_of(inner)
    return ""


def notes(element: Any, name: str) -> str:
    return " ".join(
        text_of(part)
        for each in element
        if name_of(each) == name
        for part in each
        if name_of(part) != "head"
    )


@pytest.mark.parametrize("path", files("ead2002/*.xml", "ead3/*.xml"), ids=lambda path: path.name)
def test_each_component_of_a_finding_aid_is_a_row(path):
    found, expected = read(path), components(path)
    assert found.rows_read == max(len(expected), 1)
    # What is held is held for a restriction that somebody must read, or has no title anywhere.
    assert told(found) <= {"catalogue.restriction", "catalogue.value"}
    if not expected:
        return
    ours = Counter(
        (letters(record["title"]), letters(record["date_text"]), letters(record["rights"]["note"]))
        for record in found.records.values()
    )
    theirs = Counter(
        (letters(each["title"]), letters(each["date"]), letters(each["rights"]))
        for each in expected
    )
    right = sum((ours & theirs).values())
    assert right >= LEAST * len(found.records)
    assert len(found.records) + len(found.bad_items) == len(expected)
    for each in expected:  # a number that is stated and unique is the item's
        if each["number"] and sum(e["number"] == each["number"] for e in expected) == 1:
            assert each["number"] in {**found.records, **found.bad_items}


# --- museum objects ---


@pytest.mark.parametrize(
    "path", files("lido10/*.xml", "lido_oai/*.xml"), ids=lambda path: path.name
)
def test_each_object_of_lido_is_a_row(path):
    found = read(path)
    objects = list(etree.parse(path).getroot().iter(f"{LIDO}lido"))
    assert found.rows_read == len(objects)
    agreeing = 0
    for element in objects:
        number = text_of(element.find(f".//{LIDO}repositorySet/{LIDO}workID"))
        record = found.records.get(number)
        made = next(
            (
                event
                for event in element.iter(f"{LIDO}event")
                if "roduction" in text_of(event.find(f"{LIDO}eventType"))
                or "lido00007" in text_of(event.find(f"{LIDO}eventType"))
            ),
            None,
        )
        date = "" if made is None else text_of(made.find(f"{LIDO}eventDate/{LIDO}displayDate"))
        listed = {text_of(each) for each in element.iter(f"{LIDO}appellationValue")
                  if name_of(each.getparent()) == "titleSet"}  # fmt: skip
        uris = {
            text_of(each)
            for each in element.iter()
            if "creativecommons.org" in text_of(each) or "europeana.eu/rights" in text_of(each)
        }
        agreeing += bool(
            record
            and record["title"] in listed
            and record["date_text"] == date
            and (
                record["rights"]["uri"] in uris
                or record["extra"].get("rights_uri (not read)") in uris
                or not uris
                or record["rights"]["note"]
            )
        )
    assert agreeing >= LEAST * len(objects)


# --- library records ---


def by_hand(path: Path) -> list[tuple[str, str, str]]:
    """Return number, title ($a $b) and date (260, 264 $c) of each record."""
    out = []
    for record in etree.parse(path).getroot().iter(f"{MARC}record"):
        fields = {}
        for field in record.iter(f"{MARC}datafield"):
            parts = [(part.get("code"), part.text or "") for part in field]
            fields.setdefault(field.get("tag"), []).append(parts)
        number = next(
            each.text for each in record.iter(f"{MARC}controlfield") if each.get("tag") == "001"
        )
        title = " ".join(text for code, text in fields["245"][0] if code in "ab")
        dates = [text for tag, of_date in (("264", "c"), ("260", "c"), ("245", "f"))
                 for field in fields.get(tag, []) for code, text in field if code == of_date]  # fmt: skip
        out.append((number.strip(), title, dates[0] if dates else ""))
    return out


@pytest.mark.parametrize("path", files("marcxml/*.xml"), ids=lambda path: path.name)
def test_each_record_of_marcxml_is_a_row(path):
    found, expected = read(path), by_hand(path)
    assert found.rows_read == len(expected)
    assert found.bad_items == {}
    right = 0
    for number, title, date in expected:
        record = found.records[number]
        right += letters(record["title"]).startswith(letters(title)[:30]) and letters(
            record["date_text"]
        ) == letters(date)
    assert right >= LEAST * len(expected)


@pytest.mark.parametrize("path", files("marc/*.mrc"), ids=lambda path: path.name)
def test_each_binary_record_is_a_row_as_pymarc_reads_it(path):
    import pymarc

    with path.open("rb") as stream:
        expected = [record for record in pymarc.MARCReader(stream) if record is not None]
    found = read(path)
    assert found.rows_read == len(expected) and found.bad_items == {}
    for record in expected:
        row = found.records[record["001"].data.strip()]
        assert letters(row["title"]) == letters(record.title)
        assert letters(row["date_text"]) == letters(record.pubyear)


# --- Dublin Core and MODS in saved responses ---


@pytest.mark.parametrize("path", files("oai_dc/*.xml", "qdc/*.xml"), ids=lambda path: path.name)
def test_each_record_of_dublin_core_is_a_row(path):
    found = read(path)
    holders = {each.getparent() for each in etree.parse(path).getroot().iter(f"{DC}title")}
    assert found.rows_read == len(holders)
    ours = {letters(title) for title in titles_of(found).values()}
    right = sum(letters(holder.findtext(f"{DC}title")) in ours for holder in holders)
    assert right >= LEAST * len(found.records)


@pytest.mark.parametrize("path", files("mods/*.xml", "mods_oai/*.xml"), ids=lambda path: path.name)
def test_each_record_of_mods_is_a_row_or_the_file_is_refused_by_name(path):
    try:
        tree = etree.parse(path)
    except etree.XMLSyntaxError:
        with pytest.raises(GlassineError, match="not well-formed"):
            read(path)
        return
    mods = list(tree.getroot().iter("{http://www.loc.gov/mods/v3}mods"))
    holders = mods or list({each.getparent() for each in tree.getroot().iter("{*}title")})
    found = read(path)
    assert found.rows_read == len(holders)
    numbers = {**found.records, **found.bad_items}
    assert len(numbers) == len(holders)
    assert "[digital only]" not in numbers or len(holders) == 1
