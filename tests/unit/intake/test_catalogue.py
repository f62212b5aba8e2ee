"""The catalogue extract: what is read, what is refused, and in which words."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from glassine.base import files
from glassine.base.errors import GlassineError
from glassine.base.settings import PROJECT
from makers.step_calls import read_rows

VARIANTS = PROJECT.parent / "shared" / "catalogue" / "variants"
HEADER = (
    "item_id,title,description,date,creator,creator_role,subjects,places,languages,genre,"
    "material,decay_level,rights_uri,copyright_status,credit,identifiers,collection"
)
ROW = (
    'PEH-0001,"Quay, ""low"" water","Two clerks\nand a gauge",c. 1905,Åse Ørkind|Office,'
    "photographer|publisher,Harbours <http://id.loc.gov/authorities/subjects/sh1>|Tides,"
    "Port Ellery,eng|de,negatives,glass,2,http://rightsstatements.org/vocab/InC/1.0/,"
    "In copyright,Harbour Archive,box:12|A-7,Harbour Office"
)


def read(tmp_path: Path, content: str | bytes, name: str = "catalogue.csv", **section: Any) -> Any:
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return read_rows(path, {"catalogue": section})


def refusal(tmp_path: Path, content: str | bytes, **more: Any) -> Any:
    with pytest.raises(GlassineError) as caught:
        read(tmp_path, content, **more)
    return caught.value.findings[0]


def test_a_row_becomes_a_record(tmp_path):
    found = read(tmp_path, f"{HEADER}\n{ROW}\n")
    assert found.findings == []
    assert (found.encoding, found.delimiter, found.rows_read) == ("utf-8", ",", 1)
    record = found.records["PEH-0001"]
    assert record["title"] == 'Quay, "low" water'
    assert record["description"] == "Two clerks\nand a gauge"
    assert (record["date_text"], record["edtf"], record["date_understood"]) == (
        "c. 1905",
        "1905~",
        True,
    )
    assert record["creators"] == [
        {"name": "Åse Ørkind", "role": "photographer", "uri": ""},
        {"name": "Office", "role": "publisher", "uri": ""},
    ]
    assert record["subjects"] == [
        {
            "term": "Harbours",
            "uri": "http://id.loc.gov/authorities/subjects/sh1",
            "authority": "lcsh",
        },
        {"term": "Tides", "uri": "", "authority": ""},
    ]
    assert record["places"] == [{"name": "Port Ellery", "uri": ""}]
    assert record["languages"] == ["eng", "de"]
    assert (record["material"], record["decay_level"]) == ("glass", 2)
    assert record["rights"]["status"] == "copyrighted"
    assert record["identifiers"] == [
        {"type": "box", "value": "12"},
        {"type": "local", "value": "A-7"},
    ]
    assert record["row"] == 2


def test_a_record_has_the_form_that_its_schema_describes(tmp_path):
    found = read(tmp_path, f"{HEADER}\n{ROW}\n")
    jsonschema.validate(found.records["PEH-0001"], files.read_schema("catalogue"))


@pytest.mark.parametrize("delimiter", (",", ";", "\t"))
@pytest.mark.parametrize("encoding", ("utf-8", "utf-8-sig", "utf-16"))
@pytest.mark.parametrize("line_end", ("\n", "\r\n"))
def test_the_same_rows_whatever_the_export(tmp_path, delimiter, encoding, line_end):
    rows = [["item_id", "title"], ["PEH-1", "Ævø ferry"], ["PEH-2", "Łódź"]]
    text = line_end.join(delimiter.join(row) for row in rows) + line_end
    found = read(tmp_path, text.encode(encoding))
    assert {item: record["title"] for item, record in found.records.items()} == {
        "PEH-1": "Ævø ferry",
        "PEH-2": "Łódź",
    }
    assert found.delimiter == delimiter


def test_a_separator_line_of_a_spreadsheet_is_no_header(tmp_path):
    found = read(tmp_path, "sep=;\r\nitem_id;title\r\nPEH-1;Quay, low\r\n")
    assert found.records["PEH-1"]["title"] == "Quay, low"


def test_letters_that_may_be_of_two_encodings_are_read_only_where_one_is_declared(tmp_path):
    content = "item_id,title\nPEH-1,Quay – “low” Řeka\n".encode("cp1250")
    assert read(tmp_path, content, encoding="cp1250").records["PEH-1"]["title"].endswith("Řeka")
    content = "item_id,title\nPEH-1,Quay – “low” Øen\n".encode("cp1252")
    found = read(tmp_path, content, encoding="cp1252")
    assert found.records["PEH-1"]["title"] == "Quay – “low” Øen"
    told = refusal(tmp_path, content)
    assert told.code == "catalogue.encoding"
    assert "Line 2" in told.what and "cp1252" in told.next_step
    assert "Øen" in told.what and "Řen" in told.what


def test_utf8_declared_as_windows_letters_is_refused(tmp_path):
    content = "item_id,title\nPEH-1,Ævø\n".encode()
    assert refusal(tmp_path, content, encoding="cp1252").code == "catalogue.encoding"


@pytest.mark.parametrize(
    ("content", "code", "words"),
    (
        ("", "catalogue.empty", "empty"),
        ("item_id,title\n", "catalogue.empty", "no rows"),
        ("id,title\nPEH-1,Quay\n", "catalogue.header", "item_id"),
        ("item_id,title,title\nPEH-1,a,b\n", "catalogue.header", "twice"),
        ('item_id,title\nPEH-1,"Quay\nPEH-2,Mole\n', "catalogue.quotes", "Row 2"),
        ('item_id,title\nPEH-1,"Quay" low\n', "catalogue.quotes", "Row 2"),
        ('item_id,title\nPEH-1,a\nPEH-2,"cut o', "catalogue.quotes", "Row 3"),
        ("item_id" + ",x" * 600 + "\n", "catalogue.size", "601 cells"),
    ),
)
def test_a_file_that_cannot_be_trusted_is_refused(tmp_path, content, code, words):
    told = refusal(tmp_path, content)
    assert told.code == code
    assert words in told.sentence()


def test_a_configured_column_that_is_absent_is_refused(tmp_path):
    told = refusal(tmp_path, "item_id,Titel\nPEH-1,Kai\n", columns={"title": "Titl"})
    assert told.code == "catalogue.header" and "'Titl'" in told.what


@pytest.mark.parametrize(
    ("cells", "code", "words"),
    (
        ("PEH-2", "catalogue.cells", "1 cells where the header has 2"),
        ("PEH-2,Quay,low", "catalogue.cells", "3 cells"),
        ("PEH-2,be\x00ll", "catalogue.control", "U+0000"),
        ("PEH-2,be\x07ll", "catalogue.control", "U+0007"),
        ("PEH-2,nel\x85", "catalogue.control", "U+0085"),
        ("PEH-2,lost \ufffd letter", "catalogue.letters", "letters"),
        ("PEH-2," + "x" * 1_000_001, "catalogue.length", "1000001"),
        ("PEH-2,", "catalogue.value", "a title"),
    ),
)
def test_a_bad_row_holds_its_item_and_no_other(tmp_path, cells, code, words):
    found = read(tmp_path, f"item_id,title\nPEH-1,Mole\n{cells}\nPEH-3,Pier\n")
    assert sorted(found.records) == ["PEH-1", "PEH-3"]
    assert list(found.bad_items) == ["PEH-2"]
    told = found.bad_items["PEH-2"]
    assert told.code == code and told.severity == "hold"
    assert words in told.sentence() and "row 3" in told.path
    assert found.findings == [told]
    assert found.rows_read == 3


@pytest.mark.parametrize(
    ("column", "value", "expected"),
    (
        ("material", "celluloid", "nitrate"),
        ("decay_level", "7", "0 to 6"),
        ("decay_level", "much", "0 to 6"),
        ("rights_uri", "http://evil.example/", "rightsstatements.org"),
        ("copyright_status", "perhaps", "public domain"),
        ("languages", "English", "ISO 639-2"),
        ("subjects", "Tides <javascript:alert(1)>|<x y>", "a URI"),
        ("date_edtf", "c. 1905", "EDTF"),
        ("structure", "Quay 1-3", "Quay = 1-3"),
        ("item_id", "PEH-1" * 101, "500 characters"),
    ),
)
def test_each_value_is_checked_and_told_by_row_and_column(tmp_path, column, value, expected):
    if column == "subjects":
        text = "item_id,title,subjects,subject_uris\nPEH-1,Quay,Tides,no uri\n"
        column = "subjects"
    elif column == "item_id":
        text = f"item_id,title\n{value},Quay\n"
    else:
        text = f'item_id,title,{column}\nPEH-1,Quay,"{value}"\n'
    found = read(tmp_path, text)
    # What is no number, no material, no title and no word of rights is left out and for review.
    needed = column in ("material", "decay_level", "item_id", "copyright_status")
    assert bool(found.records) is not needed
    told = next(each for each in found.findings if each.severity != "note")
    assert told.severity == ("hold" if needed else "review")
    assert told.path == "catalogue.csv, row 2"
    assert repr(column) in told.what
    assert expected in told.expected


def test_cells_in_nameless_columns_are_not_lost(tmp_path):
    found = read(tmp_path, "item_id,title,,\nPEH-1,Quay,,\nPEH-2,Mole,low,\n")
    assert sorted(found.records) == ["PEH-1"]
    assert "no name" in found.bad_items["PEH-2"].what


def test_roles_must_be_one_or_as_many_as_creators(tmp_path):
    text = "item_id,title,creator,creator_role\nPEH-1,Quay,A|B,photographer\nPEH-2,Mole,A|B|C,x|y\n"
    found = read(tmp_path, text)
    assert [each["role"] for each in found.records["PEH-1"]["creators"]] == ["photographer"] * 2
    assert [each.code for each in found.for_review["PEH-2"]] == ["catalogue.count"]
    assert [each["role"] for each in found.records["PEH-2"]["creators"]] == [""] * 3
    assert found.records["PEH-2"]["extra"] == {"creator_role (not read)": "x|y"}


@pytest.mark.parametrize("second", ("PEH-1,Quay", "PEH-1,Another"))
def test_two_rows_of_one_item_hold_it(tmp_path, second):
    found = read(tmp_path, f"item_id,title\nPEH-1,Quay\nPEH-2,Mole\n{second}\n")
    assert sorted(found.records) == ["PEH-2"]
    assert "row 2" in found.bad_items["PEH-1"].what


def test_rows_without_an_item_number_are_told_one_by_one(tmp_path):
    found = read(tmp_path, "item_id,title\n,Quay\n,Mole\nPEH-1,Pier\n")
    assert sorted(found.records) == ["PEH-1"]
    assert [each.path[-5:] for each in found.findings] == ["row 2", "row 3"]
    assert {each.code for each in found.findings} == {"catalogue.value"}


def test_a_date_that_is_not_understood_is_kept_and_told(tmp_path):
    found = read(tmp_path, "item_id,title,date\nPEH-1,Quay,05/06/21\nPEH-2,Mole,\n")
    record = found.records["PEH-1"]
    assert (record["date_text"], record["edtf"], record["date_understood"]) == (
        "05/06/21",
        None,
        False,
    )
    assert [each.severity for each in found.findings] == ["review"]
    assert found.records["PEH-2"]["date_understood"] is True


def test_a_date_beyond_the_catalogues_own_bounds_is_not_used(tmp_path):
    text = "item_id,title,date,date_earliest,date_latest\nPEH-1,Quay,June 1969,1959,1959-12-31\n"
    found = read(tmp_path, text)
    assert found.records["PEH-1"]["edtf"] is None
    assert found.findings[0].code == "catalogue.date"


def test_letters_read_wrongly_long_ago_are_told(tmp_path):
    found = read(tmp_path, "item_id,title\nPEH-1,\x91low\x92 quay\nPEH-2,Ã†rÃ¸\n")
    # U+0091 and U+0092 are Windows-1252's quotes (WHATWG HTML, numeric character references).
    assert found.records["PEH-1"]["title"] == "‘low’ quay"
    assert [each.code for each in found.findings] == ["catalogue.letters"] * 2
    assert {each.severity for each in found.findings} == {"review"}


def test_question_marks_in_place_of_letters_are_told(tmp_path):
    content = "item_id,title\nPEH-1,?r? ferry\nPEH-2,Who is it?\n".encode("cp1252")
    found = read(tmp_path, content, encoding="cp1252")
    assert [each.path for each in found.findings] == ["catalogue.csv, row 2"]


def test_columns_may_bear_other_names_and_be_several(tmp_path):
    text = "Signatur,Titel,Kasten,Inventar\nPEH-1,Kai,12,A:7\n"
    found = read(
        tmp_path,
        text,
        columns={"item_id": "Signatur", "title": "Titel", "identifiers": ["Kasten", "Inventar"]},
    )
    assert found.records["PEH-1"]["identifiers"] == [
        {"type": "Kasten", "value": "12"},
        {"type": "Inventar", "value": "A:7"},
    ]


def test_other_columns_are_kept(tmp_path):
    found = read(tmp_path, "item_id,title,shelf\nPEH-1,Quay,B 3\n")
    assert found.records["PEH-1"]["extra"] == {"shelf": "B 3"}


def test_the_studios_words_for_the_base(tmp_path):
    text = "item_id,title,material\nPEH-1,Quay,Safety film\n"
    found = read(tmp_path, text, materials={"safety Film": "acetate"})
    assert found.records["PEH-1"]["material"] == "acetate"


def test_divisions_of_an_item(tmp_path):
    text = 'item_id,title,structure\nPEH-1,Strip,"Quay = 1-3 | Ferry = 4, 6"\n'
    found = read(tmp_path, text)
    assert found.records["PEH-1"]["structure"] == [
        {"label": "Quay", "type": "section", "frames": [1, 2, 3]},
        {"label": "Ferry", "type": "section", "frames": [4, 6]},
    ]


def test_rights_that_a_row_leaves_open_come_from_the_settings(tmp_path):
    path = tmp_path / "catalogue.csv"
    path.write_text("item_id,title,rights_note\nPEH-1,Quay,Ask first\n")
    defaults = {"uri": "http://rightsstatements.org/vocab/CNE/1.0/", "note": "Free"}
    found = read_rows(path, {"catalogue": {}, "rights": defaults})
    rights = found.records["PEH-1"]["rights"]
    assert (rights["uri"], rights["note"]) == (defaults["uri"], "Ask first")


def test_decomposed_letters_are_composed(tmp_path):
    found = read(tmp_path, "item_id,title\nPEH-1,O\u0308re\n")
    assert found.records["PEH-1"]["title"] == "Öre"


# --- JSON lines --------------------------------------------------------------------------


def test_json_lines(tmp_path):
    rows = [
        {
            "item_id": "PEH-1",
            "title": "Quay | mole",
            "subjects": ["Tides | floods", "Quays"],
            "creator": [{"name": "Åse Ørkind", "role": "photographer"}],
            "decay_level": 1,
        },
        {"item_id": "PEH-2", "title": "Mole", "subjects": "a|b"},
    ]
    text = "\n".join(json.dumps(row) for row in rows) + "\n\n"
    found = read(tmp_path, text, "catalogue.jsonl")
    assert found.findings == []
    first = found.records["PEH-1"]
    assert [each["term"] for each in first["subjects"]] == ["Tides | floods", "Quays"]
    assert first["creators"][0]["role"] == "photographer"
    assert first["decay_level"] == 1
    assert [each["term"] for each in found.records["PEH-2"]["subjects"]] == ["a", "b"]


@pytest.mark.parametrize(
    "line",
    (
        '{"item_id": "PEH-2", "item_id": "PEH-3"}',
        '{"item_id": "PEH-2", "x": NaN}',
        '{"item_id": "PEH-2"',
        '["PEH-2"]',
        "[" * 100_000,
    ),
)
def test_bad_json_is_refused_by_line(tmp_path, line):
    good = '{"item_id": "PEH-1", "title": "Quay"}'
    told = refusal(tmp_path, f"{good}\n{line}\n", name="catalogue.jsonl")
    assert told.code == "catalogue.json" and "Line 2" in told.what


def test_half_a_surrogate_holds_its_item(tmp_path):
    text = '{"item_id": "PEH-1", "title": "a\\ud800b"}\n{"item_id": "PEH-2", "title": "b"}\n'
    found = read(tmp_path, text, "catalogue.jsonl")
    assert sorted(found.records) == ["PEH-2"]
    assert found.bad_items["PEH-1"].code == "catalogue.control"


# --- XML ---------------------------------------------------------------------------------

MODS = """<modsCollection xmlns="http://www.loc.gov/mods/v3"
  xmlns:xlink="http://www.w3.org/1999/xlink"><mods>
  <titleInfo><nonSort>The</nonSort><title>Quay &amp; mole</title></titleInfo>
  <titleInfo type="alternative"><title>Kai</title></titleInfo>
  <name valueURI="https://names.example/1"><namePart>Åse Ørkind</namePart>
    <role><roleTerm type="text">photographer</roleTerm></role></name>
  <originInfo><dateCreated>about 1905</dateCreated>
    <dateCreated encoding="edtf">1905~</dateCreated></originInfo>
  <subject authority="lcsh"><topic valueURI="http://id.example/2">Tides</topic></subject>
  <subject><geographic>Port Ellery</geographic></subject>
  <language><languageTerm type="code">eng</languageTerm></language>
  <identifier type="box">12</identifier><identifier type="local">PEH-1</identifier>
  <accessCondition xlink:href="http://rightsstatements.org/vocab/InC/1.0/">x</accessCondition>
</mods></modsCollection>"""
DUBLIN_CORE = """<records xmlns:dc="http://purl.org/dc/elements/1.1/">
  <record><dc:identifier>PEH-1</dc:identifier><dc:title>Quay</dc:title>
  <dc:creator>Åse Ørkind</dc:creator><dc:date>1890-95</dc:date><dc:subject>Tides</dc:subject>
  <dc:subject>Quays</dc:subject></record>
  <record><dc:identifier>PEH-2</dc:identifier></record></records>"""


def test_mods(tmp_path):
    found = read(tmp_path, MODS, "catalogue.xml", item_identifier="local")
    assert found.findings == []
    record = found.records["PEH-1"]
    assert record["title"] == "The Quay & mole"
    assert (record["date_text"], record["edtf"]) == ("about 1905", "1905~")
    assert record["creators"] == [
        {"name": "Åse Ørkind", "role": "photographer", "uri": "https://names.example/1"}
    ]
    assert record["subjects"] == [
        {"term": "Tides", "uri": "http://id.example/2", "authority": "lcsh"}
    ]
    assert record["places"] == [{"name": "Port Ellery", "uri": ""}]
    assert record["identifiers"] == [{"type": "box", "value": "12"}]
    assert record["rights"]["uri"] == "http://rightsstatements.org/vocab/InC/1.0/"


def test_dublin_core(tmp_path):
    found = read(tmp_path, DUBLIN_CORE, "catalogue.xml")
    record = found.records["PEH-1"]
    assert record["edtf"] == "1890/1895"
    assert [each["term"] for each in record["subjects"]] == ["Tides", "Quays"]
    assert found.bad_items["PEH-2"].code == "catalogue.value"  # it has no title


@pytest.mark.parametrize(
    "content",
    (
        "<mods",
        "<html/>",
        '<!DOCTYPE m [<!ENTITY x SYSTEM "file:///etc/hostname">]>'
        '<mods xmlns="http://www.loc.gov/mods/v3"><titleInfo><title>&x;</title></titleInfo></mods>',
    ),
)
def test_bad_xml_is_refused(tmp_path, content):
    code = refusal(tmp_path, content, name="catalogue.xml").code
    assert code == ("catalogue.xml_unknown" if content == "<html/>" else "catalogue.xml")


# --- properties --------------------------------------------------------------------------


@hypothesis_settings(max_examples=80, deadline=None)
@given(st.binary(max_size=300))
def test_any_bytes_give_records_or_a_refusal(content):
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        for name in ("a.csv", "a.jsonl", "a.xml"):
            try:
                found = read(Path(folder), b"item_id,title\n" + content, name)
            except GlassineError as error:
                assert error.findings
            else:
                assert len(found.records) + len(found.findings) >= min(found.rows_read, 1)


_CELLS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn", "Co")), max_size=20
)


@hypothesis_settings(max_examples=50, deadline=None)
@given(st.lists(st.tuples(_CELLS, _CELLS), min_size=1, max_size=5))
def test_what_a_csv_writer_writes_is_read_back(rows):
    import csv
    import io
    import tempfile
    import unicodedata

    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["item_id", "title", "shelf"])
    for number, (title, shelf) in enumerate(rows):
        writer.writerow([f"PEH-{number}", "T " + title, shelf])
    with tempfile.TemporaryDirectory() as folder:
        found = read(Path(folder), out.getvalue())
    assert found.rows_read == len(rows)
    for number, (title, _) in enumerate(rows):
        if "\ufffd" not in title + rows[number][1]:
            expected = " ".join(unicodedata.normalize("NFC", "T " + title).split())
            assert found.records[f"PEH-{number}"]["title"] == expected


# --- damaged copies of a real extract ----------------------------------------------------

_COLUMNS = {
    "item_id": "accession_number",
    "date": "creation_date",
    "date_earliest": "earliest",
    "date_latest": "latest",
    "physical": "medium",
    "genre": "classification",
    "credit": "credit_line",
    "creator": "creators",
    "identifiers": ["source", "id"],
}
# What must come of each: every record as in the sound file (but for those that are named as
# bad or have no row), or a refusal with these words.
_DAMAGED = {
    "utf8.csv": 0,
    "utf8_bom.csv": 0,
    "utf16.csv": 0,
    "semicolon.csv": 0,
    "crlf_tab.csv": 0,
    "missing_row.csv": 0,
    "dup_id.csv": 1,
    "dup_row.csv": 1,
    "extra_cell.csv": 1,
    "short_row.csv": 1,
    "nul.csv": 1,
    "hostile.csv": 2,
    "cp1252.csv": "Line 55",
    "mixed_encoding.csv": "Line 58",
    "truncated.csv": "Row 114",
    "unclosed_quote.csv": "Row 2",
    "empty.csv": "empty",
}


@pytest.fixture(scope="module")
def sound():
    if not VARIANTS.exists():
        pytest.skip(f"{VARIANTS} is not there")
    return read_rows(VARIANTS / "utf8.csv", {"catalogue": {"columns": _COLUMNS}})


@pytest.mark.parametrize("name", sorted(_DAMAGED))
def test_damaged_extracts_give_the_same_records_or_a_refusal(sound, name):
    settings = {"catalogue": {"columns": _COLUMNS}}
    assert (len(sound.records), sound.bad_items) == (200, {})
    expected = _DAMAGED[name]
    if isinstance(expected, str):
        with pytest.raises(GlassineError, match=expected):
            read_rows(VARIANTS / name, settings)
        return
    found = read_rows(VARIANTS / name, settings)
    assert len(found.bad_items) == expected
    hostile = name == "hostile.csv"  # titles and item numbers differ there by intent
    for item, record in found.records.items():
        if item in sound.records and not (hostile and record["row"] <= 14):
            ours = {key: value for key, value in record.items() if key != "row"}
            theirs = {key: value for key, value in sound.records[item].items() if key != "row"}
            assert ours == theirs
    gone = set(sound.records) - set(found.records) - set(found.bad_items)
    assert len(gone) <= {"missing_row.csv": 1, "dup_id.csv": 1, "hostile.csv": 5}.get(name, 0)


def test_windows_letters_of_a_real_extract(sound):
    section = {"columns": _COLUMNS, "encoding": "cp1252"}
    found = read_rows(VARIANTS / "cp1252.csv", {"catalogue": section})
    differ = {row for row in sound.records if sound.records[row] != found.records[row]}
    told = {each.path for each in found.findings if each.code == "catalogue.letters"}
    # The export put "?" where Windows-1252 has no letter: the record differs, and it is told.
    assert told >= {
        f"cp1252.csv, row {found.records[item]['row']}"
        for item in differ
        if "?" in json.dumps(found.records[item], ensure_ascii=False)
    }
