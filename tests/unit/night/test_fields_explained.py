"""Each field of an item with its value and the cell, XPath or path that it came from."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from glassine.base import settings
from glassine.intake.catalogue import reading
from glassine.night import fields_explained

_MAPPING = """
what: an export in JSON
format: table
fields:
  item_id: no
  title: {join: [series, name], with: ": "}
  creator: {from: "people[]", name: n, role: r}
  rights_uri: {constant: "http://rightsstatements.org/vocab/InC/1.0/"}
  genre: {from: kind, words: {neg: negative}}
  rights_access: {from: see, words: {lesesaal: reading_room}}
"""
_JSON = [{"no": "A-1", "series": "Quays", "name": "East", "people": [{"n": "Bo", "r": "pht"}],
          "kind": "neg", "see": "Lesesaal", "shelf": "12"}]  # fmt: skip
_MARC = """<collection xmlns="http://www.loc.gov/MARC21/slim"><record>
<controlfield tag="001">A-1</controlfield>
<datafield tag="245" ind1="1" ind2="0"><subfield code="a">East quay</subfield></datafield>
<datafield tag="264" ind1=" " ind2="0"><subfield code="c">1937</subfield></datafield>
</record></collection>"""
_DC = """<records xmlns:dc="http://purl.org/dc/elements/1.1/"><record>
<dc:identifier>A-1</dc:identifier><dc:title>East quay</dc:title></record></records>"""


def lines(tmp_path: Path, name: str, text: str, **catalogue: Any) -> list[str]:
    folder = tmp_path / "b1"
    folder.mkdir()
    (folder / name).write_text(text, "utf-8")
    return fields_explained.fields_of(folder, "A-1", settings.load({"catalogue": catalogue}))


def stated(told: list[str], field: str) -> tuple[str, list[str]]:
    """Return what is told of a field: its value, and where it came from."""
    start = next(at for at, line in enumerate(told) if line.startswith(f"{field} = "))
    came: list[str] = []
    for line in told[start + 1 :]:
        if not line.startswith("    "):
            break
        came.append(line.strip())
    return told[start].partition(" = ")[2], came


def test_a_table_names_the_column_and_the_cell(tmp_path: Path) -> None:
    columns = {"title": ["Titel"], "date": ["von", "Jahr"]}
    text = "item_id,Titel,von,Jahr,Regal\nA-1,East quay,vor,1937,12\n"
    told = lines(tmp_path, "catalogue.csv", text, columns=columns)
    assert stated(told, "title") == ('"East quay"', ["from Titel: East quay"])
    assert stated(told, "date") == ('"vor 1937"', ["from von: vor", "from Jahr: 1937"])
    assert "not read: Regal: 12" in told
    assert told[0] == "catalogue catalogue.csv, row 2"


def test_json_by_a_mapping_names_paths_constants_and_words(tmp_path: Path) -> None:
    mapping = tmp_path / "own.yaml"
    mapping.write_text(_MAPPING.replace("no\n", '"no"\n', 1), "utf-8")
    told = lines(tmp_path, "catalogue.json", json.dumps(_JSON), mapping=str(mapping))
    assert stated(told, "title") == ('"Quays: East"', ["from series: Quays", "from name: East"])
    uri = "http://rightsstatements.org/vocab/InC/1.0/"
    assert stated(told, "rights_uri")[1] == [f"from a constant of the mapping: {uri}"]
    assert stated(told, "genre") == ('"negative"', ["from kind: neg"])
    assert stated(told, "rights_access") == ('"reading_room"', ["from see: Lesesaal"])
    assert told[-1].startswith("access today: reading room only. None of its pictures")


@pytest.mark.parametrize(
    ("text", "where"),
    [(_MARC, "from datafield/subfield [code=a]: East quay"), (_DC, "from title: East quay")],
)
def test_xml_names_the_path_of_the_element(tmp_path: Path, text: str, where: str) -> None:
    assert stated(lines(tmp_path, "catalogue.xml", text), "title") == ('"East quay"', [where])


def test_an_item_beyond_the_rows_that_are_checked_is_explained_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "CHECKED_ROWS", 1)
    told = lines(tmp_path, "catalogue.csv", "item_id,title\nA-0,West\nA-1,East\nA-2,x\n")
    assert stated(told, "title") == ('"East"', ["from title: East"])


def test_a_row_that_holds_its_item_says_why(tmp_path: Path) -> None:
    told = lines(tmp_path, "catalogue.csv", "item_id,title,rights_embargo\nA-1,East,never\n")
    assert stated(told, "rights_embargo") == ("nothing", ["from rights_embargo: never"])
    assert any(line.startswith("HELD") and "catalogue.embargo" in line for line in told)


def test_a_catalogue_without_the_item_says_so(tmp_path: Path) -> None:
    assert lines(tmp_path, "catalogue.csv", "item_id,title\nB,x\n") == [
        "catalogue.csv has no row of this item."
    ]
