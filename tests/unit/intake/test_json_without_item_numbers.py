"""A JSON catalogue whose key of item numbers has another name is told as a table is: once."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from glassine.base.errors import GlassineError
from glassine.intake import companions, proposals
from makers.step_calls import read_rows

OBJECTS = [{"number": f"gp{n:04d}", "title": "Quay", "flags": [n]} for n in (1, 2)]
FORMS = {
    "array": json.dumps(OBJECTS),
    "lines": "\n".join(map(json.dumps, OBJECTS)),
    "within an object": json.dumps({"items": OBJECTS}),
}


def written(folder: Path, form: str) -> Path:
    path = folder / ("catalogue.jsonl" if form == "lines" else "catalogue.json")
    path.write_text(FORMS[form])
    return path


@pytest.mark.parametrize("form", sorted(FORMS))
def test_no_key_of_item_numbers_is_a_fault_of_the_file(tmp_path: Path, form: str) -> None:
    with pytest.raises(GlassineError) as caught:
        read_rows(written(tmp_path, form), {"catalogue": {}})
    (finding,) = caught.value.findings
    assert finding.code == "catalogue.header"
    assert "'item_id'" in finding.what and "number, title, flags" in finding.what
    assert "catalogue.columns.item_id" in finding.next_step


@pytest.mark.parametrize("form", sorted(FORMS))
def test_its_keys_are_proposed_as_columns_of_a_table_are(tmp_path: Path, form: str) -> None:
    table = proposals.read_table(written(tmp_path, form), tmp_path)
    assert table is not None
    assert table.columns() == {"number": ["gp0001", "gp0002"], "title": ["Quay"] * 2,
                               "flags": ["", ""]}  # fmt: skip


@pytest.mark.parametrize("text", ["[", '{"a": 1}\n{', "[1, 2]"])
def test_what_is_no_json_of_objects_is_no_table(tmp_path: Path, text: str) -> None:
    path = tmp_path / "catalogue.json"
    path.write_text(text)
    assert proposals.read_table(path, tmp_path) is None


def test_one_row_without_its_number_stays_a_fault_of_that_row(tmp_path: Path) -> None:
    rows: list[dict[str, Any]] = [{"item_id": "PEH-1", "title": "Quay"}, {"title": "Mole"}]
    path = tmp_path / "catalogue.json"
    path.write_text(json.dumps(rows))
    assert list(read_rows(path, {"catalogue": {}}).records) == ["PEH-1"]


@pytest.mark.parametrize("ending", ["csv", "xlsx", "ods", "json", "jsonl", "xml", "mrc"])
def test_the_names_that_the_guide_gives_a_catalogue_are_as_expected(ending: str) -> None:
    assert f"catalogue.{ending}" in companions.CATALOGUE_NAMES
