"""LIDO, MARC and saved responses in. LIDO 1.0 and 1.1 schemas; MARC 21 format for bibliographic data
(008/06-14, 245, 260 $c, 264, 506, 540); OAI-PMH 2.0, section 2.5 (deleted records, tokens)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pymarc
import pytest

from glassine.base.errors import GlassineError
from makers.step_calls import read_rows

MARC = '<collection xmlns="http://www.loc.gov/MARC21/slim">{}</collection>'
OAI = (
    '<OAI-PMH xmlns="http://www.openarchives.org/OAI/2.0/"><ListRecords>{}</ListRecords></OAI-PMH>'
)
DC = ('<oai_dc:dc xmlns:oai_dc="http://www.openarchives.org/OAI/2.0/oai_dc/" '
      'xmlns:dc="http://purl.org/dc/elements/1.1/">{}</oai_dc:dc>')  # fmt: skip


def read(folder: Path, text: str | bytes, name: str = "catalogue.xml", **section: Any) -> Any:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_rows(path, {"catalogue": section})


def codes(found: Any) -> set[str]:
    return {each.code for each in found.findings}


# --- MARC ---


def field(tag: str, indicators: str = "  ", **parts: str) -> str:
    inner = "".join(f'<subfield code="{code}">{text}</subfield>' for code, text in parts.items())
    return (
        f'<datafield tag="{tag}" ind1="{indicators[0]}" ind2="{indicators[1]}">{inner}</datafield>'
    )


def marc(dates: str, *fields: str, number: str = "77") -> str:
    control = f'<controlfield tag="008">700330{dates}xx            000 0 eng  </controlfield>'
    title = field("245", a="Quay :", b="low water /", c="I. Orne.")
    inner = f'<controlfield tag="001">{number}</controlfield>{control}{title}{"".join(fields)}'
    return MARC.format(f"<record>{inner}</record>")


@pytest.mark.parametrize(
    ("dates", "words", "edtf"),
    [
        ("s1968    ", "1968.", "1968"),
        ("s1967    ", "c1967", "1967"),  # a year of copyright, not "about 1967"
        ("s1967    ", "(c)1967", "1967"),
        ("s1967    ", "\N{COPYRIGHT SIGN}1967", "1967"),
        ("r20032002", "2003, c2002.", "2003"),
        ("n        ", "c1967", None),  # nothing says when it was made
        ("s1960    ", "1960]", "1960"),
        ("q19501959", "in the dry years", "1950/1959"),
        ("s19uu    ", "in the dry years", "1900/1999"),
        ("m19859999", "", "1985/.."),
    ],
)
def test_a_year_of_copyright_is_no_date_and_008_gives_bounds(tmp_path, dates, words, edtf):
    found = read(tmp_path, marc(dates, field("260", c=words)))
    assert found.records["77"]["edtf"] == edtf
    assert found.records["77"]["title"] == "Quay : low water"


def test_names_subjects_and_places_keep_roles_and_addresses(tmp_path):
    found = read(
        tmp_path,
        marc(
            "s1905    ",
            field("100", a="Orne, Ida,", d="1870-1931,", e="photographer."),
            field("650", " 0", a="Harbours", z="Port Ellery.", **{"0": "http://x.example/h"}),
            field("651", " 7", a="Port Ellery.", **{"1": "http://x.example/p"}),
        ),
    )
    row = found.records["77"]
    assert row["creators"] == [{"name": "Orne, Ida, 1870-1931", "role": "photographer", "uri": ""}]
    assert row["subjects"] == [
        {"term": "Harbours -- Port Ellery", "authority": "lcsh", "uri": "http://x.example/h"}
    ]
    assert row["places"] == [{"name": "Port Ellery", "uri": "http://x.example/p"}]


def test_a_restriction_in_marc_holds_and_another_number_may_be_named(tmp_path):
    found = read(tmp_path, marc("s1905    ", field("506", a="Closed until 2040.")))
    assert found.bad_items["77"].code == "catalogue.restriction"
    assert "506$a" in found.bad_items["77"].what
    text = marc("s1905    ", field("035", a="PEH-7"))
    assert list(read(tmp_path, text, item_identifier="035$a").records) == ["PEH-7"]


def binary(title: bytes, leader9: str = " ") -> bytes:
    record = pymarc.Record(leader=f"00000nkm {leader9}2200000 a 4500")
    record.add_field(pymarc.Field("001", data="77"))
    record.add_field(pymarc.Field("245", indicators=pymarc.Indicators("0", "0"),
                     subfields=[pymarc.Subfield("a", "T" * len(title))]))  # fmt: skip
    raw = bytearray(record.as_marc().replace(b"T" * len(title), title))
    raw[9:10] = leader9.encode()
    return bytes(raw)


def test_binary_records_in_utf8_and_marc8(tmp_path):
    # MARC-8: 0xE8 is an umlaut and stands before its letter; 0xE1 a grave accent.
    for title, leader in (("Mühle à".encode(), "a"), (b"M\xe8uhle \xe1a", " ")):
        content = binary(title, leader) + b"\r\n"
        found = read(tmp_path, content, "catalogue.mrc", path=None)
        assert found.records["77"]["title"] == "Mühle à"


@pytest.mark.parametrize("title", ["Причал", "Mole 1905 é"])
def test_a_wrong_code_page_is_refused_by_name(tmp_path, title):
    page = "cp1251" if title[0] == "П" else "cp1252"
    content = binary(title.encode(page))
    with pytest.raises(GlassineError, match=r"MARC.*another code page"):
        read(tmp_path, content, "catalogue.mrc")
    found = read(tmp_path, content, "catalogue.mrc", encoding=page)
    assert found.records["77"]["title"] == title


def test_a_file_of_marc_that_was_cut_off_is_refused(tmp_path):
    content = binary(b"Quay", "a")
    with pytest.raises(GlassineError, match="record 2 cannot be read"):
        read(tmp_path, content + content[:-9], "catalogue.mrc")


# --- LIDO ---

LIDO = """<lido:lidoWrap xmlns:lido="http://www.lido-schema.org"
 xmlns:skos="http://www.w3.org/2004/02/skos/core#"><lido:lido>
<lido:lidoRecID lido:type="local">rec-1</lido:lidoRecID><lido:descriptiveMetadata xml:lang="de">
<lido:objectIdentificationWrap><lido:titleWrap><lido:titleSet>
<lido:appellationValue>Kai</lido:appellationValue></lido:titleSet></lido:titleWrap>{number}
</lido:objectIdentificationWrap><lido:eventWrap>
<lido:eventSet><lido:event><lido:eventType><lido:term>Erwerbung</lido:term></lido:eventType>
<lido:eventDate><lido:displayDate>2005</lido:displayDate></lido:eventDate></lido:event></lido:eventSet>
<lido:eventSet><lido:event><lido:eventType>{kind}</lido:eventType>
<lido:eventActor><lido:actorInRole><lido:actor><lido:actorID>http://x.example/1</lido:actorID>
<lido:nameActorSet><lido:appellationValue>Orne, Ida</lido:appellationValue></lido:nameActorSet>
</lido:actor><lido:roleActor><lido:term>Fotografin</lido:term></lido:roleActor></lido:actorInRole>
</lido:eventActor><lido:eventDate>{date}<lido:date><lido:earliestDate>1900</lido:earliestDate>
<lido:latestDate>1910</lido:latestDate></lido:date></lido:eventDate></lido:event></lido:eventSet>
</lido:eventWrap></lido:descriptiveMetadata><lido:administrativeMetadata>{rights}
</lido:administrativeMetadata></lido:lido></lido:lidoWrap>"""
NUMBER = ("<lido:repositoryWrap><lido:repositorySet><lido:workID lido:type='inventory number'>PE/7 a"
          "</lido:workID></lido:repositorySet></lido:repositoryWrap>")  # fmt: skip
PRODUCTION = "<lido:term>Herstellung</lido:term>"


def lido(number: str = NUMBER, kind: str = PRODUCTION, date: str = "", rights: str = "") -> str:
    return LIDO.format(number=number, kind=kind, date=date, rights=rights)


@pytest.mark.parametrize(
    "kind",
    [
        PRODUCTION,
        "<lido:conceptID>http://terminology.lido-schema.org/lido00007</lido:conceptID>",
        "<skos:Concept><skos:prefLabel>production</skos:prefLabel></skos:Concept>",  # LIDO 1.1
    ],
)
def test_the_date_is_that_of_the_production(tmp_path, kind):
    date = "<lido:displayDate>um 1905</lido:displayDate>"
    row = read(tmp_path, lido(kind=kind, date=date)).records["PE/7 a"]
    assert (row["date_text"], row["edtf"], row["title"]) == ("um 1905", "1905~", "Kai")
    assert row["creators"] == [
        {"name": "Orne, Ida", "role": "Fotografin", "uri": "http://x.example/1"}
    ]
    assert read(tmp_path, lido(kind=kind)).records["PE/7 a"]["edtf"] == "1900/1910"


def test_an_event_of_another_kind_gives_no_date_and_is_told(tmp_path):
    found = read(tmp_path, lido(kind="<lido:term>Ausstellung</lido:term>"))
    assert found.records["PE/7 a"]["edtf"] is None
    assert "catalogue.date_unread" in codes(found)


def test_the_record_number_serves_where_no_other_is(tmp_path):
    assert list(read(tmp_path, lido(number="")).records) == ["rec-1"]


def test_rights_in_the_work_are_read(tmp_path):
    rights = ("<lido:rightsWorkWrap><lido:rightsWorkSet><lido:rightsType><lido:conceptID>"
              "http://creativecommons.org/licenses/by/4.0/</lido:conceptID></lido:rightsType>"
              "</lido:rightsWorkSet></lido:rightsWorkWrap>")  # fmt: skip
    row = read(tmp_path, lido(rights=rights)).records["PE/7 a"]
    assert row["rights"]["uri"] == "http://creativecommons.org/licenses/by/4.0/"


# --- responses ---


def response(*records: tuple[str, str]) -> str:
    return "".join(
        f"<record><header><identifier>{header}</identifier></header><metadata>"
        f"{DC.format(f'<dc:identifier>{own}</dc:identifier><dc:title>T</dc:title>')}"
        "</metadata></record>"
        for header, own in records
    )


def test_the_header_tells_records_apart_where_their_own_numbers_do_not(tmp_path):
    inner = response(("oai:1", "[digital only]"), ("oai:2", "[digital only]"), ("oai:3", "PE 3"))
    deleted = '<record><header status="deleted"><identifier>oai:4</identifier></header></record>'
    token = "<resumptionToken>next</resumptionToken>"
    found = read(tmp_path, OAI.format(inner + deleted + token))
    assert sorted(found.records) == ["PE 3", "oai:1", "oai:2"]
    assert found.records["oai:1"]["identifiers"] == [{"type": "local", "value": "[digital only]"}]
    assert {"catalogue.deleted", "catalogue.part"} <= codes(found)


def test_a_response_without_records_is_refused_with_what_it_says(tmp_path):
    text = ('<OAI-PMH xmlns="http://www.openarchives.org/OAI/2.0/"><error code="noRecordsMatch">'
            "Nothing there</error></OAI-PMH>")  # fmt: skip
    with pytest.raises(GlassineError, match=r"OAI-PMH response.*Nothing there"):
        read(tmp_path, text)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<TEI xmlns='http://www.tei-c.org/ns/1.0'/>", "a text in TEI"),
        (
            "<objects xmlns='urn:pe'><o/></objects>",
            'element is "objects" of the namespace "urn:pe"',
        ),
        ("<objects><o></objects>", 'begins with "objects", and is not well-formed'),
    ],
)
def test_what_is_not_understood_is_refused_by_its_name(tmp_path, text, words):
    with pytest.raises(GlassineError, match=words):
        read(tmp_path, text)
