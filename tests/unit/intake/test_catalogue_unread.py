"""What a catalogue says and no field takes: told once a batch, and never against the public's door."""

from __future__ import annotations

import json

import pytest

from makers.step_calls import read_rows


def read(tmp_path, text: str, name: str = "catalogue.csv", **section):
    path = tmp_path / name
    path.write_text(text)
    return read_rows(path, {"catalogue": section})


def csv(*columns: str, **rows: str) -> str:
    return "\n".join([",".join(("item_id", "title", *columns)), *rows.values()]) + "\n"


def codes(found) -> list[tuple[str, str]]:
    return [(each.code, each.severity) for each in found.findings]


def test_unused_columns_are_told_once_a_batch(tmp_path):
    text = "item_id,title,shelf,box label,empty\n"
    text += "".join(f"PEH-{n},Quay,B {n},{'x' if n == 1 else ''},\n" for n in range(1, 4))
    found = read(tmp_path, text)
    assert codes(found) == [("catalogue.unused", "note")]
    assert "box label (1), shelf (3)" in found.findings[0].what
    assert "empty" not in found.findings[0].what
    assert len(found.records) == 3


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("embargo", "2040-01-01"),
        ("Embargo until", "yes"),
        ("restriction", "family papers"),
        ("access_restrictions", "closed"),
        ("withheld", "x"),
        ("Closed", "true"),
        ("do not publish", "1"),
        ("DoNotPublish", "Y"),
        ("publish", "no"),
        ("Publishable", "false"),
        ("public", "0"),
        ("access", "Reading room only"),
        ("access status", "Closed until 2050"),
        ("confidential", "medical"),
        ("Sperrfrist", "2031"),
        ("public access", "No"),
        ("can be published", "no"),
        ("online_status", "hidden"),
        ("available from", "2050-01-01"),
    ],
)
@pytest.mark.parametrize("kind", ["csv", "json"])
def test_what_keeps_an_item_from_the_public_holds_it(tmp_path, column, value, kind):
    if kind == "csv":
        found = read(tmp_path, f"item_id,title,{column}\nPEH-1,Quay,{value}\nPEH-2,Mole,\n")
    else:
        rows = [{"item_id": "PEH-1", "title": "Quay", column: value},
                {"item_id": "PEH-2", "title": "Mole", column: None}]  # fmt: skip
        found = read(tmp_path, "\n".join(map(json.dumps, rows)), "catalogue.jsonl")
    assert list(found.records) == ["PEH-2"]
    told = found.bad_items["PEH-1"]
    assert (told.code, told.severity) == ("catalogue.restriction", "hold")
    assert column in told.what and value in told.what and "ignored_columns" in told.next_step


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("embargo", "no"),
        ("embargo", "none"),
        ("restriction", "N/A"),
        ("access", "Open"),
        ("access_rights", "Open access"),
        ("publish", "yes"),
        ("publish", "2026"),
        ("published in", "Harbour News 1950 p. 3"),
        ("publisher", "Office"),
        ("status", "checked"),
        ("public", "true"),
        ("closed", "false"),
        ("access_restrictions", "Unrestricted."),
    ],
)
def test_what_keeps_nothing_back_holds_nothing(tmp_path, column, value):
    found = read(tmp_path, f"item_id,title,{column}\nPEH-1,Quay,{value}\n")
    assert codes(found) == [("catalogue.unused", "note")]
    assert list(found.records) == ["PEH-1"]


@pytest.mark.parametrize("value", [True, 1, "x", ["family"], {"until": 2040}])
def test_a_restriction_of_any_json_type_holds(tmp_path, value):
    row = json.dumps({"item_id": "PEH-1", "title": "Quay", "embargo": value})
    assert read(tmp_path, row, "catalogue.jsonl").bad_items["PEH-1"].code == "catalogue.restriction"


@pytest.mark.parametrize("value", [False, 0, None, "", [], {}])
def test_no_restriction_of_any_json_type_holds(tmp_path, value):
    row = json.dumps({"item_id": "PEH-1", "title": "Quay", "embargo": value})
    assert list(read(tmp_path, row, "catalogue.jsonl").records) == ["PEH-1"]


def test_a_column_that_the_studio_knows_is_left_in_peace(tmp_path):
    text = "item_id,title,closed_shelf,shelf\nPEH-1,Quay,C 4,B\n"
    assert codes(read(tmp_path, text))[0] == ("catalogue.restriction", "hold")
    found = read(tmp_path, text, ignored_columns=["closed_shelf", "shelf"])
    assert found.findings == [] and list(found.records) == ["PEH-1"]
    assert found.records["PEH-1"]["extra"] == {"closed_shelf": "C 4", "shelf": "B"}


@pytest.mark.parametrize(
    ("column", "value"),
    [("rights", "CC BY"), ("Copyright", "Office 1950"), ("licence", "CC0"), ("License", "x")],
)
def test_rights_in_a_column_that_nobody_reads_hold_the_item(tmp_path, column, value):
    found = read(tmp_path, f"item_id,title,{column}\nPEH-1,Quay,{value}\nPEH-2,Mole,\n")
    assert found.bad_items["PEH-1"].code == "catalogue.rights_unread"
    assert list(found.records) == ["PEH-2"]
    text = f"item_id,title,rights_uri,{column}\nPEH-1,Quay,{INC},{value}\n"
    assert codes(read(tmp_path, text)) == [("catalogue.unused", "note")]


INC = "http://rightsstatements.org/vocab/InC/1.0/"


@pytest.mark.parametrize("note", ["All rights reserved", "© Office", "CC BY 4.0", "Public domain"])
def test_rights_in_free_words_alone_are_for_a_person(tmp_path, note):
    found = read(tmp_path, f"item_id,title,rights_note\nPEH-1,Quay,{note}\n")
    assert codes(found) == [("catalogue.rights_in_words", "review")]
    mark = "http://creativecommons.org/publicdomain/mark/1.0/"
    uri = mark if note == "Public domain" else INC
    text = f"item_id,title,rights_note,rights_uri\nPEH-1,Quay,{note},{uri}\n"
    assert read(tmp_path, text).findings == []


def test_a_note_that_speaks_against_delivery_is_for_a_person(tmp_path):
    text = "item_id,title,rights_note\nPEH-1,Quay,Not for publication before 2040\n"
    assert codes(read(tmp_path, text)) == [("catalogue.restriction_note", "review")]


def test_a_column_whose_name_is_nearly_a_fields_is_told(tmp_path):
    found = read(tmp_path, "item_id,title,Rights URI,Places\nPEH-1,Quay,,Mole\n")
    assert ("catalogue.column_name", "review") in codes(found)
    told = next(each for each in found.findings if each.code == "catalogue.column_name")
    assert "Places" in told.what and "places: Places" in told.next_step


def test_a_date_that_nobody_reads_is_told_where_there_is_no_other(tmp_path):
    text = "item_id,title,Year,date\nPEH-1,Quay,1905,\nPEH-2,Mole,1905,c. 1905\n"
    found = read(tmp_path, text)
    assert codes(found)[0] == ("catalogue.date_unread", "review")
    assert found.findings[0].path == "catalogue.csv, row 2"
    assert len([each for each in found.findings if each.code == "catalogue.date_unread"]) == 1


def test_another_date_that_nobody_reads_is_told(tmp_path):
    text = "item_id,title,date,Year\nPEH-1,Quay,c. 1905,1950\nPEH-2,Mole,1905-06-01,1905\n"
    found = read(tmp_path, text)
    assert codes(found)[0] == ("catalogue.date_unread", "review")
    assert list(found.for_review) == ["PEH-1"]


def test_words_against_publication_in_any_column_are_for_a_person(tmp_path):
    found = read(tmp_path, "item_id,title,remarks\nPEH-1,Quay,Do not publish before 2040\n")
    assert codes(found)[0] == ("catalogue.restriction", "review")


@pytest.mark.parametrize(
    ("status", "note"), [("copyrighted", "CC0"), ("public domain", "All rights reserved")]
)
def test_a_note_that_contradicts_the_status_is_for_a_person(tmp_path, status, note):
    text = f"item_id,title,copyright_status,rights_note\nPEH-1,Quay,{status},{note}\n"
    assert codes(read(tmp_path, text)) == [("catalogue.rights_contradict", "review")]


@pytest.mark.parametrize("cell", [["Quay", "Mole"], {"en": "Quay"}, True, [["Quay"]]])
@pytest.mark.parametrize("name", ["title", "date", "rights_note", "copyright_status", "genre"])
def test_several_values_for_a_field_of_one_text_are_told(tmp_path, cell, name):
    row = json.dumps({"item_id": "PEH-1", "title": "Quay", name: cell})
    found = read(tmp_path, row, "catalogue.jsonl")
    told = next(each for each in found.findings if each.code == "catalogue.value")
    assert f"'{name}'" in told.what
    if name in ("date", "genre"):
        assert told.severity == "review"
        assert found.records["PEH-1"]["extra"][f"{name} (not read)"] == json.dumps(cell)
    else:
        assert found.bad_items["PEH-1"] == told


def test_a_list_of_one_text_is_that_text(tmp_path):
    row = {"item_id": "PEH-1", "title": ["Quay"], "creator": ["A"], "creator_role": ["painter"]}
    record = read(tmp_path, json.dumps(row), "catalogue.jsonl").records["PEH-1"]
    assert record["title"] == "Quay"
    assert record["creators"] == [{"name": "A", "role": "painter", "uri": ""}]


def test_an_item_number_with_blanks_at_its_ends_is_that_item(tmp_path):
    found = read(tmp_path, "item_id,title\n PEH-1 ,Quay\nPEH-1,Mole\n")
    assert found.records == {}
    assert found.bad_items["PEH-1"].code == "catalogue.duplicate"


def test_semicolons_in_cells_of_several_values_are_told_once(tmp_path):
    text = "item_id,title,creator,subjects\nPEH-1,Quay,A; B,x|y\nPEH-2,Mole,C;D,z;w\n"
    found = read(tmp_path, text)
    assert codes(found) == [("catalogue.separator", "review")]
    assert "creator (2), subjects (1)" in found.findings[0].what
    found = read(tmp_path, text, separator=";", delimiter=",")
    assert found.findings == [] and len(found.records["PEH-2"]["creators"]) == 2
