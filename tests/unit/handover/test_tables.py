"""CSV and workbook: every text arrives as it is, none is a formula, the same table the same bytes."""

from __future__ import annotations

import csv
import io
import re
import zipfile

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from lxml import etree
from python_calamine import CalamineWorkbook

from glassine.base.markup import clean
from glassine.handover import tables, workbook
from glassine.handover.columns import Template

TRICKY = [
    "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\n=1", "'=1", "007", "1e5", "a;b,c\"d", "Ærø 港 😀",
    "_x0041_", "<b>&amp;</b>", " blank ", "line\nline", "", "=cmd|' /C calc'!A0", "2026-03-01",
]  # fmt: skip


def read_back(content):
    book = CalamineWorkbook.from_filelike(io.BytesIO(content))
    return book.get_sheet_by_index(0).to_python(skip_empty_area=False)


def test_a_workbook_holds_each_text_as_it_is_and_numbers_as_numbers():
    content, cut = workbook.written(["text", "number"], [[text, 1.5] for text in TRICKY])
    assert cut == 0
    found = read_back(content)
    assert found[0] == ["text", "number"]
    assert [row[0] for row in found[1:]] == [clean(text) for text in TRICKY]
    assert {row[1] for row in found[1:]} == {1.5}


def sheet_of(content):
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        for name in archive.namelist():
            etree.fromstring(archive.read(name))  # each part is XML
        return etree.fromstring(archive.read("xl/worksheets/sheet1.xml"))


def test_no_cell_is_a_formula_and_what_looks_like_one_is_marked_as_text():
    content, _ = workbook.written(["=name"], [[text] for text in TRICKY])
    sheet = sheet_of(content)
    assert sheet.findall(".//{*}f") == []
    styles = {
        "".join(cell.itertext()): cell.get("s")
        for cell in sheet.iterfind(".//{*}c")
        if cell.get("r") != "A1"
    }
    assert {styles[text] for text in ("=1+1", "+1", "-1", "@SUM(A1)", "'=1")} == {"2"}
    assert styles["007"] == "1"


def test_the_same_table_gives_the_same_bytes(monkeypatch):
    rows = [[text, 7] for text in TRICKY]
    first = workbook.written(["a", "b"], rows)
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1")
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    assert workbook.written(["a", "b"], rows) == first


def test_a_text_too_long_for_a_cell_is_cut_with_a_mark_and_counted():
    content, cut = workbook.written(["a"], [["x" * 40_000], ["😀" * 20_000], ["x" * 32_767]])
    assert cut == 2
    for row in read_back(content)[1:3]:
        assert row[0].endswith(workbook.CUT)
        assert len(row[0].encode("utf-16-le")) // 2 <= workbook.MAX_TEXT


def test_what_a_sheet_has_no_room_for_is_refused():
    with pytest.raises(ValueError, match="room"):
        workbook.written(["a"] * 16_385, [])


@hypothesis_settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(st.text(max_size=40), min_size=2, max_size=2), max_size=6))
def test_any_texts_come_out_of_a_workbook_again(rows):
    content, _ = workbook.written(["a", "b"], rows)
    found = read_back(content)[1:]
    wanted = [[clean(text) for text in row] for row in rows]
    while wanted and not any(wanted[-1]):  # a reader does not see rows of empty cells at the end
        wanted.pop()
    padded = [[str(cell) for cell in row] + [""] * (2 - len(row)) for row in found]
    assert padded[: len(wanted)] == wanted


@hypothesis_settings(max_examples=100, deadline=None)
@given(st.lists(st.text(max_size=30), min_size=1, max_size=5))
def test_a_csv_never_begins_a_cell_as_a_formula_and_loses_nothing(texts):
    template = Template((("a", "item"),), by_frame=False, separator=" | ")
    content = tables.as_csv([{"a": text} for text in texts], template)
    found = [row[0] for row in csv.reader(io.StringIO(content.decode("utf-8"), newline=""))][1:]
    assert len(found) == len(texts)
    for text, cell in zip(texts, found, strict=True):
        assert cell.removeprefix("'") == text.removeprefix("'")
        assert not re.match("[=+@\t\r\n-]", cell)


def test_numbers_below_zero_stay_numbers():
    template = Template((("a", "item"),), by_frame=False, separator=" | ")
    assert tables.as_csv([{"a": -3}], template).endswith(b"\r\n-3\r\n")
