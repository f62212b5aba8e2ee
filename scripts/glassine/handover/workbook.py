"""A table as a workbook of one sheet (ECMA-376, Office Open XML): texts and numbers, no formula.

A text stands as an inline string, which nothing evaluates; one that looks like a formula is
marked as text (`quotePrefix`), so that it stays one when a person edits its cell. The same table
gives the same bytes.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Sequence
from xml.sax.saxutils import escape

from glassine.base.markup import clean

# Most characters of a cell, rows and columns of a sheet (ECMA-376 as the common programs keep it).
MAX_TEXT, MAX_ROWS, MAX_COLUMNS = 32_767, 1_048_576, 16_384
CUT = " … (cut: whole in the CSV and JSON files)"
_FORMULA = ("=", "+", "-", "@", "'")
# In these texts _xHHHH_ stands for a character (22.9.2.19, ST_Xstring); where it does not, the
# first mark is escaped itself.
_ESCAPE_LIKE = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_PARTS = {
    "[Content_Types].xml": (
        f'<Types xmlns="{_PACKAGE}/content-types">'
        '<Default Extension="rels" '
        'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPE}.sheet.main+xml"/>'
        f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPE}.worksheet+xml"/>'
        f'<Override PartName="/xl/styles.xml" ContentType="{_TYPE}.styles+xml"/></Types>'
    ),
    "_rels/.rels": (
        f'<Relationships xmlns="{_PACKAGE}/relationships"><Relationship Id="rId1" '
        f'Type="{_OFFICE}/officeDocument" Target="xl/workbook.xml"/></Relationships>'
    ),
    "xl/workbook.xml": (
        f'<workbook xmlns="{_MAIN}" xmlns:r="{_OFFICE}"><sheets>'
        '<sheet name="handover" sheetId="1" r:id="rId1"/></sheets></workbook>'
    ),
    "xl/_rels/workbook.xml.rels": (
        f'<Relationships xmlns="{_PACKAGE}/relationships">'
        f'<Relationship Id="rId1" Type="{_OFFICE}/worksheet" Target="worksheets/sheet1.xml"/>'
        f'<Relationship Id="rId2" Type="{_OFFICE}/styles" Target="styles.xml"/></Relationships>'
    ),
    "xl/styles.xml": (  # 0: numbers; 1: text; 2: text that looks like a formula; 3: names
        f'<styleSheet xmlns="{_MAIN}"><fonts count="2"><font/><font><b/></font></fonts>'
        '<fills count="2"><fill><patternFill patternType="none"/></fill>'
        '<fill><patternFill patternType="gray125"/></fill></fills>'
        '<borders count="1"><border/></borders>'
        '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/>'
        '</cellStyleXfs><cellXfs count="4">'
        '<xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>'
        '<xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>'
        '<xf numFmtId="49" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1" '
        'quotePrefix="1"/>'
        '<xf numFmtId="49" fontId="1" fillId="0" borderId="0" xfId="0" applyNumberFormat="1" '
        'applyFont="1"/></cellXfs></styleSheet>'
    ),
}


def written(names: Sequence[str], rows: Sequence[Sequence[str | int | float]]) -> tuple[bytes, int]:
    """Return the workbook, and how many texts were too long for a cell and are cut in it.

    Raises ValueError where a sheet has no room for the table.
    """
    if len(rows) >= MAX_ROWS or len(names) > MAX_COLUMNS:
        raise ValueError(f"a sheet has room for {MAX_ROWS - 1:,} rows of {MAX_COLUMNS:,} columns")
    lines = [_row(1, [_text(f"{_letters(i)}1", name, 3) for i, name in enumerate(names)])]
    cut = 0
    for number, row in enumerate(rows, 2):
        cells = []
        for i, value in enumerate(row):
            place = f"{_letters(i)}{number}"
            if isinstance(value, str):
                cut += _units(value) > MAX_TEXT
                cells.append(_text(place, value, 2 if value.startswith(_FORMULA) else 1))
            else:
                cells.append(f'<c r="{place}"><v>{value!r}</v></c>')
        lines.append(_row(number, cells))
    sheet = (
        f'<worksheet xmlns="{_MAIN}"><sheetViews><sheetView workbookViewId="0">'
        '<pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView>'
        f"</sheetViews><sheetData>{''.join(lines)}</sheetData></worksheet>"
    )
    return _zipped({**_PARTS, "xl/worksheets/sheet1.xml": sheet}), cut


def _row(number: int, cells: list[str]) -> str:
    return f'<row r="{number}">{"".join(cells)}</row>'


def _text(place: str, text: str, style: int) -> str:
    if not text:
        return ""
    if _units(text) > MAX_TEXT:
        kept = text.encode("utf-16-le", "replace")[: 2 * (MAX_TEXT - len(CUT))]
        text = kept.decode("utf-16-le", "ignore") + CUT
    inner = escape(_ESCAPE_LIKE.sub("_x005F_", clean(text)))
    return (
        f'<c r="{place}" s="{style}" t="inlineStr"><is><t xml:space="preserve">{inner}</t></is></c>'
    )


def _units(text: str) -> int:
    """Return the length of a text as these programs count it, in units of UTF-16."""
    return len(text) + sum(letter > "\uffff" for letter in text)


def _letters(column: int) -> str:
    """Return the letters of a column, counted from 0.

    >>> _letters(0), _letters(26)
    ('A', 'AA')
    """
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _zipped(parts: dict[str, str]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            entry = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, (_HEAD + text).encode("utf-8"))
    return buffer.getvalue()
