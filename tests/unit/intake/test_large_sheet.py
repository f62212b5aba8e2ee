"""A large sheet that is read in pieces gives the rows that it gives as a whole."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from xml.sax.saxutils import escape

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from glassine.base.errors import GlassineError
from glassine.intake.catalogue import large_sheet, spreadsheet

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_DOCUMENT = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_KIND = "application/vnd.openxmlformats-officedocument.spreadsheetml"
# Day 45000 of the calendar of spreadsheets is 2023-03-15; style 1 shows a day.
_CELLS = ['t="inlineStr"><is><t>{}</t></is>', 't="s"><v>{}</v>', "><v>{}</v>", 's="1"><v>45000</v>']


def sheet_of(rows: list[list[tuple[int, str] | None]], title_above: bool) -> bytes:
    """Return the XML of a sheet. rows: cells, each by its kind and value, None for none."""
    text = []
    if title_above:
        text.append('<row r="1"><c r="A1" t="inlineStr"><is><t>Harbour works</t></is></c></row>')
    names = ["item_id", "title", "date", "note"]
    top = 3 if title_above else 1
    header = "".join(
        f'<c r="{column}{top}" t="inlineStr"><is><t>{name}</t></is></c>'
        for column, name in zip("ABCD", names, strict=True)
    )
    text.append(f'<row r="{top}">{header}</row>')
    for number, row in enumerate(rows, start=top + 1):
        cells = "".join(
            f'<c r="{column}{number}" {_CELLS[cell[0]].format(escape(cell[1]))}</c>'
            for column, cell in zip("ABCD", row, strict=True)
            if cell is not None
        )
        text.append(f'<row r="{number}" spans="1:4">{cells}</row>' if cells else
                    f'<row r="{number}"/>')  # fmt: skip
    return f'<worksheet xmlns="{_MAIN}"><sheetData>{"".join(text)}</sheetData></worksheet>'.encode()


def book_of(sheet: bytes, shared: list[str]) -> bytes:
    strings = "".join(f"<si><t>{escape(each)}</t></si>" for each in shared)
    parts = {
        "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types"><Default '
        'Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_KIND}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_KIND}.worksheet+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_KIND}.styles+xml"/>'
        f'<Override PartName="/xl/sharedStrings.xml" ContentType="{_KIND}.sharedStrings+xml"/>'
        "</Types>",
        "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="r1" '
        f'Type="{_DOCUMENT}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_DOCUMENT}"><sheets>'
        '<sheet name="Items" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="r1" Type="{_DOCUMENT}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="r2" Type="{_DOCUMENT}/styles" Target="styles.xml"/>'
        f'<Relationship Id="r3" Type="{_DOCUMENT}/sharedStrings" Target="sharedStrings.xml"/>'
        "</Relationships>",
        "xl/styles.xml": f'<styleSheet xmlns="{_MAIN}"><cellXfs count="2"><xf numFmtId="0"/>'
        '<xf numFmtId="14" applyNumberFormat="1"/></cellXfs></styleSheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{_MAIN}">{strings}</sst>',
    }
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as written:
        for name, part in parts.items():
            written.writestr(name, part)
        written.writestr("xl/worksheets/sheet1.xml", sheet)
    return out.getvalue()


_SHARED = ["Quay", "</row> & <row", "", "Łódź"]
_CELL = st.one_of(
    st.none(),
    st.tuples(st.just(0), st.sampled_from(["PEH-1", "a < b", "", "</sheetData>", "  "])),
    st.tuples(st.just(1), st.sampled_from(["0", "1", "2", "3"])),
    st.tuples(st.just(2), st.sampled_from(["7", "1937", "2.5"])),
    st.tuples(st.just(3), st.just("")),
)
_ROWS = st.lists(st.lists(_CELL, min_size=4, max_size=4), min_size=1, max_size=12)


def bare(found: list[tuple[int, list[str]]]) -> list[tuple[int, list[str]]]:
    """Return rows without what is empty at their ends, which no field is read from."""
    return [(number, spreadsheet._without_end(cells)) for number, cells in found]


@settings(max_examples=80, deadline=None)
@given(rows=_ROWS, above=st.booleans(), piece=st.integers(700, 1500))
def test_a_sheet_in_pieces_has_the_rows_of_the_whole(
    rows: list[list[tuple[int, str] | None]], above: bool, piece: int
) -> None:
    content = book_of(sheet_of(rows, above), _SHARED)
    path = Path("catalogue.xlsx")
    whole = list(spreadsheet.rows(path, content, ["item_id"], None))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(large_sheet, "LARGE", 0)
        patch.setattr(large_sheet, "PIECE", piece)
        cut = list(spreadsheet.rows(path, content, ["item_id"], None))
    assert bare(cut) == bare(whole)
    assert {len(cells) for _, cells in cut} == {4}


def test_pieces_are_many_and_small(monkeypatch: pytest.MonkeyPatch) -> None:
    content = book_of(
        sheet_of([[(0, f"PEH-{n}"), None, None, None] for n in range(200)], False), []
    )
    monkeypatch.setattr(large_sheet, "LARGE", 0)
    monkeypatch.setattr(large_sheet, "PIECE", 2000)
    sheet = large_sheet.large_sheet(content)
    assert sheet is not None and sheet.name == "Items"
    assert len(list(large_sheet.pieces(content, sheet))) > 5


def test_a_sheet_whose_rows_have_no_numbers_is_read_as_a_whole(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(large_sheet, "LARGE", 0)
    sheet = f'<worksheet xmlns="{_MAIN}"><sheetData><row><c/></row></sheetData></worksheet>'
    assert large_sheet.large_sheet(book_of(sheet.encode(), [])) is None


def test_a_sheet_that_is_cut_off_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = [[(0, f"PEH-{n}"), None, None, None] for n in range(50)]
    content = book_of(sheet_of(rows, False)[:-400], [])  # type: ignore[arg-type]
    monkeypatch.setattr(large_sheet, "LARGE", 0)
    monkeypatch.setattr(large_sheet, "PIECE", 500)
    with pytest.raises(GlassineError):
        list(spreadsheet.rows(Path("catalogue.xlsx"), content, ["item_id"], None))


def test_rows_have_the_numbers_that_the_spreadsheet_shows() -> None:
    """A sheet that begins below row 1, as exports with an empty head do."""
    cell = '<c r="B{0}" t="inlineStr"><is><t>{1}</t></is></c>'
    rows = [(5, "item_id"), (6, "PEH-1"), (8, "PEH-2")]
    text = "".join(f'<row r="{n}">{cell.format(n, value)}</row>' for n, value in rows)
    sheet = f'<worksheet xmlns="{_MAIN}"><sheetData>{text}</sheetData></worksheet>'
    found = spreadsheet.rows(Path("c.xlsx"), book_of(sheet.encode(), []), ["item_id"], None)
    assert [number for number, _ in found] == [5, 6, 8]
