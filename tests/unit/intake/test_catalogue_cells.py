"""One bad cell, a word beside a year, numbers that are no file names: told, and nothing is lost."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from makers.step_calls import read_rows


def read(folder: Path, text: str, name: str = "catalogue.csv", **section: Any) -> Any:
    (folder / name).write_text(text, encoding="utf-8")
    return read_rows(folder / name, {"catalogue": section})


@pytest.mark.parametrize(
    "number", ["PE/7 a", "http://x.example/7", "../7", "[7]", "PE\\7", "SE/PE/10012/A I/2"]
)
def test_a_number_of_the_catalogue_is_data(tmp_path, number):
    found = read(tmp_path, f"item_id,title\n{number},Quay\n")
    assert list(found.records) == [number] and found.findings == []


@pytest.mark.parametrize(
    ("column", "cell", "field", "left"),
    [
        ("rights_uri", "CC BY", "rights", "unknown"),
        ("languages", "klingon words", "languages", []),
        ("description", "x" * 30_000, "description", ""),
        ("date_edtf", "about then", "edtf", "1905"),
    ],
)
def test_one_bad_cell_is_for_review_and_kept(tmp_path, column, cell, field, left):
    found = read(tmp_path, f'item_id,title,date,{column}\nPE-1,Quay,1905,"{cell}"\n')
    row = found.records["PE-1"]
    assert (row["rights"]["status"] if field == "rights" else row[field]) == left
    assert [each.severity for each in found.for_review["PE-1"]] == ["review"]
    if column != "date_edtf":
        assert row["extra"][f"{column} (not read)"] == cell


def test_rights_that_cannot_be_read_are_not_those_of_the_settings(tmp_path):
    (tmp_path / "c.csv").write_text("item_id,title,rights_uri\nPE-1,Quay,CC BY\n")
    ours = {"uri": "http://creativecommons.org/publicdomain/zero/1.0/"}
    found = read_rows(tmp_path / "c.csv", {"catalogue": {}, "rights": ours})
    assert found.records["PE-1"]["rights"]["uri"] == ""


def test_a_status_that_closes_something_holds(tmp_path):
    found = read(tmp_path, "item_id,title,copyright_status\nPE-1,Quay,closed until 2040\n")
    assert list(found.bad_items) == ["PE-1"]


def test_two_languages_in_one_cell_are_two(tmp_path):
    found = read(tmp_path, "item_id,title,languages\nPE-1,Quay,eng; spa\n")
    assert found.records["PE-1"]["languages"] == ["eng", "spa"]


@pytest.mark.parametrize(
    ("column", "word"),
    [("Datierung Zusatz", "vor"), ("date_qualifier", "circa"), ("Datering", "omstreeks"),
     ("date precision", "after"), ("ergänzende Datierung", "um")],
)  # fmt: skip
def test_a_word_beside_the_year_in_an_unread_column_is_for_review(tmp_path, column, word):
    found = read(tmp_path, f"item_id,title,date,{column}\nPE-1,Quay,1909,{word}\n")
    assert [each.code for each in found.for_review["PE-1"]] == ["catalogue.date_qualifier"]
    both = {"date": [column, "date"]}
    found = read(tmp_path, f"item_id,title,date,{column}\nPE-1,Quay,1909,{word}\n", columns=both)
    assert found.for_review == {} and found.records["PE-1"]["edtf"] != "1909"


def test_bounds_alone_give_an_interval(tmp_path):
    columns = {"date_earliest": "from", "date_latest": "to"}
    found = read(tmp_path, "item_id,title,from,to\nPE-1,Quay,1883,1884\n", columns=columns)
    assert found.records["PE-1"]["edtf"] == "1883/1884"


def test_keys_that_bear_a_fields_name_are_told_once_a_file(tmp_path):
    rows = [{"nr": f"PE-{n}", "title": "Quay", "date": "1905"} for n in range(3)]
    found = read(tmp_path, json.dumps(rows), "catalogue.json", columns={"item_id": "nr"})
    told = [each for each in found.findings if each.code == "catalogue.by_name"]
    assert len(told) == 1 and "date, title" in told[0].what


def test_a_separator_may_be_stated_for_each_field(tmp_path):
    text = "item_id,title,subjects,creator\nPE-1,Quay,A$B,Orne; Ole|Ida\n"
    found = read(tmp_path, text, separator={"subjects": "$"})
    row = found.records["PE-1"]
    assert [each["term"] for each in row["subjects"]] == ["A", "B"]
    assert [each["name"] for each in row["creators"]] == ["Orne; Ole", "Ida"]
    told = read(tmp_path, text)
    assert "subjects (1)" in next(
        each.what for each in told.findings if each.code == "catalogue.separator"
    )
