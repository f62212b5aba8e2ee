"""Columns of persistent identifiers: taken in their normal form, or told and kept beside."""

from __future__ import annotations

import pytest

from glassine.base import settings
from makers.step_calls import read_rows, taken_in

HEAD = "item_id,title,rights_uri"
ROW = "PEH-1,Quay,http://rightsstatements.org/vocab/InC/1.0/"


def read(folder, columns, cells, **settings):
    path = folder / "catalogue.csv"
    path.write_text(f"{HEAD},{columns}\n{ROW},{cells}\n", "utf-8")
    found = read_rows(path, {"catalogue": {}, **settings})
    return found.records["PEH-1"], found.findings


def ids(record):
    return [(each["type"], each["value"]) for each in record["identifiers"]]


@pytest.mark.parametrize(
    ("column", "cell", "expected"),
    [
        ("ark", "ark:/12345/x6", [("ark", "ark:12345/x6")]),
        ("ARK", "12345/x6", [("ark", "ark:12345/x6")]),
        ("DOI", "https://doi.org/10.1000/ABC", [("doi", "10.1000/abc")]),
        ("Handle", "20.500.12345/7", [("hdl", "20.500.12345/7")]),
        ("URN", "urn:nbn:de:0074-1000-9", [("urn", "urn:nbn:de:0074-1000-9")]),
        ("identifiers", "ark:/12345/x6|box:12", [("ark", "ark:12345/x6"), ("box", "12")]),
        ("identifiers", "doi:10.1000/1", [("doi", "10.1000/1")]),
        ("identifiers", "urn:nbn:fi:1", [("urn", "urn:nbn:fi:1")]),
        ("identifiers", "10.1000/1", [("local", "10.1000/1")]),
        # Who resolves an ARK is lost in its normal form: the address stays beside it.
        ("ark", "https://archive.port-ellery.example/ark:/12345/x6",
         [("ark", "ark:12345/x6"), ("uri", "https://archive.port-ellery.example/ark:/12345/x6")]),
    ],
)  # fmt: skip
def test_an_identifier_has_its_normal_form(tmp_path, column, cell, expected):
    record, findings = read(tmp_path, column, cell)
    assert ids(record) == expected
    assert [each.code for each in findings] == []


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("ark", "box 12"), ("doi", "1987.23/45"), ("handle", "none known"), ("urn", "nbn:de:1"),
        ("identifiers", "doi:1987.23/45"), ("urn", "urn:nbn:de:0074-1000-8"),
        ("doi", "ark:/12345/x6"),
    ],
)  # fmt: skip
def test_what_is_none_is_told_and_kept_beside(tmp_path, column, cell):
    record, findings = read(tmp_path, column, cell)
    assert ids(record) == []
    told = [each for each in findings if each.code == "catalogue.persistent"]
    assert [each.severity for each in told] == ["review"]
    assert column in told[0].what
    assert cell.removeprefix("doi:") in record["extra"][f"{column} (not read)"]


def test_a_check_character_is_looked_at_where_the_settings_say_so(tmp_path):
    checked = {"identifiers": {"ark_checked": {"13030": "whole"}}}
    assert ids(read(tmp_path, "ark", "ark:13030/xf93gt2q", **checked)[0])
    record, findings = read(tmp_path, "ark", "ark:13030/xf93gt2z", **checked)
    assert ids(record) == []
    assert "check character" in findings[0].expected


def test_two_of_one_kind_are_told(tmp_path):
    record, findings = read(tmp_path, "doi", "10.1000/1|10.1000/2")
    assert ids(record) == [("doi", "10.1000/1"), ("doi", "10.1000/2")]
    assert [each.code for each in findings] == ["catalogue.persistent_several"]


def test_the_same_one_in_two_columns_stands_once(tmp_path):
    record, findings = read(tmp_path, "doi,identifiers", "10.1000/A,https://doi.org/10.1000/a")
    assert ids(record) == [("doi", "10.1000/a")]
    assert findings == []


def test_one_that_two_items_have_holds_both(tmp_path):
    folder = tmp_path / "b1"
    folder.mkdir()
    for item in ("PEH-0001", "PEH-0002", "PEH-0003"):
        (folder / f"{item}.tif").write_bytes(b"II*\0")
    (folder / "catalogue.csv").write_text(
        "item_id,title,doi\nPEH-0001,Quay,10.1000/A\nPEH-0002,Mole,https://doi.org/10.1000/a\n"
        "PEH-0003,Pier,10.1000/b\n",
        "utf-8",
    )
    config = settings.load({"intake": {"watch_s": 0}})
    taken = taken_in(folder, {"batch": "b1", "settings": config})
    held = {
        item["item"]
        for item in taken["items"]
        if any(each["code"] == "catalogue.persistent_twice" for each in item["findings"])
    }
    assert held == {"PEH-0001", "PEH-0002"}
