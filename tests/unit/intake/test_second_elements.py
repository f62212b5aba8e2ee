"""A second element of a kind of which a field takes the first never takes its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from makers.step_calls import read_rows

_DC = (
    '<record xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:identifier>A</dc:identifier>'
    "<dc:title>Quay</dc:title><dc:title>Pier</dc:title>"
    "<dc:date>1990-02-09</dc:date><dc:date>2008; 2016</dc:date></record>"
)
_MODS = (
    '<mods xmlns="http://www.loc.gov/mods/v3"><identifier>A</identifier><titleInfo>'
    "<title>Quay</title></titleInfo><genre>negatives</genre><genre>postcards</genre>"
    "<originInfo><dateCreated>1990</dateCreated></originInfo></mods>"
)


@pytest.mark.parametrize(
    ("text", "expected", "beside"),
    [
        (_DC, {"title": "Quay", "date_text": "1990-02-09"}, {"title (unread)": "Pier"}),
        (_MODS, {"genre": "negatives"}, {"genre (unread)": "postcards"}),
    ],
)
def test_the_first_stays_and_the_second_is_kept_beside(
    tmp_path: Path, text: str, expected: dict[str, str], beside: dict[str, str]
) -> None:
    path = tmp_path / "catalogue.xml"
    path.write_text(text, "utf-8")
    record = read_rows(path, {"catalogue": {}}).records["A"]
    assert {name: record[name] for name in expected} == expected
    assert beside.items() <= record["extra"].items()
