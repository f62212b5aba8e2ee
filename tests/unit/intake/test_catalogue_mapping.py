"""Mapping tables: from which column, XPath or JSON path each field is read, and what stays told."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from glassine.base.errors import GlassineError
from glassine.intake.catalogue import mapping
from makers.step_calls import read_rows

TABLE = """
what: our own table
format: table
fields:
  item_id: "No"
  title: [Titel, Objekt]
  date: {join: [Zusatz, Jahr], with: " "}
  rights: {constant: "http://rightsstatements.org/vocab/InC/1.0/"}
  material: {from: Traeger, words: {Zelluloid: nitrate}}
  creator: {from: Wer, separator: ";", role: Rolle}
  subjects: {from: Stichwort, separator: "$"}
"""


def read(folder: Path, text: str, table: str, name: str = "catalogue.csv", **section: Any) -> Any:
    (folder / "mapping.yaml").write_text(table, encoding="utf-8")
    (folder / name).write_text(text, encoding="utf-8")
    section = {"mapping": str(folder / "mapping.yaml"), **section}
    return read_rows(folder / name, {"catalogue": section})


def unused(found: Any) -> str:
    return " ".join(each.what for each in found.findings if each.code == "catalogue.unused")


def test_a_table_is_read_by_first_join_constant_words_and_parts(tmp_path):
    text = ("No,Titel,Objekt,Zusatz,Jahr,Traeger,Wer,Rolle,Stichwort,title,sperre\n"
            "PE 1,,Kai,vor,1909,Zelluloid,Ida Orne; Ole Orne,Foto,Kai$Ebbe,other,\n"
            "PE/2,Mole,Kai,,1910,,,,,,2040\n")  # fmt: skip
    found = read(tmp_path, text, TABLE)
    row = found.records["PE 1"]
    assert (row["title"], row["date_text"], row["edtf"]) == ("Kai", "vor 1909", "../1909")
    assert row["material"] == "nitrate"
    assert row["rights"]["status"] == "copyrighted"
    assert [each["name"] for each in row["creators"]] == ["Ida Orne", "Ole Orne"]
    assert [each["role"] for each in row["creators"]] == ["Foto", "Foto"]
    assert [each["term"] for each in row["subjects"]] == ["Kai", "Ebbe"]
    # A column that bears a field's name and is not mapped is told, and not read.
    assert row["extra"] == {"title (unread)": "other"} and "title (unread) (1)" in unused(found)
    # What no mapping reads may still keep an item from the public.
    assert found.bad_items["PE/2"].code == "catalogue.restriction"


def test_json_paths_read_objects_with_their_parts(tmp_path):
    table = """
what: our objects
format: table
fields:
  item_id: id
  title: names[].text
  date_earliest: range.from
  date_latest: range.to
  creator: {from: "people[]", name: n, role: r, uri: u}
"""
    row = {"id": "PE 1", "names": [{"text": "Quay"}], "range": {"from": 1905, "to": 1907},
           "people": [{"n": "Ida Orne", "r": "photographer", "u": "http://x.example/1"}]}  # fmt: skip
    found = read(tmp_path, json.dumps([row]), table, "catalogue.json")
    record = found.records["PE 1"]
    assert (record["title"], record["edtf"]) == ("Quay", "1905/1907")
    assert record["creators"] == [
        {"name": "Ida Orne", "role": "photographer", "uri": "http://x.example/1"}
    ]


XML = """
what: our own XML
records: [object]
fields:
  item_id: "@nr"
  title: {from: name, words: {q: Quay}}
  description: {from: note, with: " / "}
  subjects: {from: tag, term: ., uri: "@ref"}
"""


@pytest.mark.parametrize("namespace", ["", ' xmlns="urn:pe"'])
def test_xml_is_read_by_local_names_and_the_rest_is_told(tmp_path, namespace):
    text = (f'<all{namespace}><object nr="PE 1"><name>q</name><note>low</note><note>tide</note>'
            '<tag ref="http://x.example/t">Tides</tag><date>1905</date></object></all>')  # fmt: skip
    found = read(tmp_path, text, XML, "catalogue.xml")
    row = found.records["PE 1"]
    assert (row["title"], row["description"]) == ("Quay", "low / tide")
    assert row["subjects"] == [{"term": "Tides", "authority": "", "uri": "http://x.example/t"}]
    assert row["edtf"] is None and "catalogue.date_unread" in {e.code for e in found.findings}


def test_namespaces_count_where_they_are_given(tmp_path):
    table = XML.replace("records:", "namespaces: {p: urn:pe}\nrecords:").replace(
        "from: name", "from: p:name"
    )
    text = '<all xmlns:p="urn:pe"><object nr="1"><name>no</name><p:name>yes</p:name></object></all>'
    assert read(tmp_path, text, table, "catalogue.xml").records["1"]["title"] == "yes"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (('"No"', "No"), "true or false in YAML"),
        (("  title: [Titel, Objekt]", "  titel: Titel"), "'titel' is no field"),
        (('  item_id: "No"\n', ""), "where the item number stands"),
        (("what: our own table\n", ""), "'what' is missing"),
        (("format: table", "format: tabel"), "under 'format'"),
        (("{from: Traeger,", "{form: Traeger,"), "'form'"),
        (("  title: [Titel, Objekt]", "  title: {from: Titel, first: [Objekt]}"), "2 of from"),
        (("  title: [Titel, Objekt]", "  title: {from: Titel, role: Rolle}"), "part 'role'"),
        (('  item_id: "No"', "  item_id: Nummer"), "no column"),
    ],
)
def test_errors_of_a_mapping_are_told_in_plain_words(tmp_path, change, words):
    text = "No,Titel,Objekt,Zusatz,Jahr,Traeger,Wer,Rolle,Stichwort\nPE 1,Q,,,,,,,\n"
    with pytest.raises(GlassineError) as problem:
        read(tmp_path, text, TABLE.replace(*change))
    assert words in problem.value.findings[0].what
    assert "msgspec" not in str(problem.value) and "$" not in str(problem.value)


def test_an_xpath_that_cannot_be_read_and_a_file_that_is_not_there(tmp_path):
    with pytest.raises(GlassineError, match="cannot be read"):
        read(tmp_path, '<a><object nr="1"/></a>', XML.replace("from: name", "'from': 'name['"),
             "catalogue.xml")  # fmt: skip
    with pytest.raises(GlassineError, match="ead, lido, marc"):
        mapping.find("eda")


def test_the_ready_mappings_can_be_read():
    assert {each.what for each in mapping.ready()} == {
        "a finding aid (EAD)", "library records (MARC)", "museum objects (LIDO)",
    }  # fmt: skip
