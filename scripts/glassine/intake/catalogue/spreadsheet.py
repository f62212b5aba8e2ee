"""Rows of a spreadsheet (XLSX, ODS, and the older kinds), as the cells hold them.

The header is the first row that names the column of item numbers: titles and empty rows may stand
above it. A cell holds a value, not what its format shows: a number that is shown with leading
zeros which it does not hold has none here.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from glassine.base.errors import GlassineError
from glassine.base.normal import nfc
from glassine.intake.catalogue import formats, large_sheet

# Of rows of a sheet that are looked at for the header.
HEADER_WITHIN = 50
# What the parts of a spreadsheet may unfold into, in bytes.
MAX_UNFOLDED = 2**31
# A row that sums up the others; an item has no such number (common practice, no source).
_SUMS = {"total", "sum", "summe", "gesamt", "totaal", "totale", "totaux", "somme", "suma",
         "somma", "summa", "yhteensä", "razem", "celkem", "i alt", "anzahl", "count"}  # fmt: skip


def rows(
    path: Path, content: bytes, id_columns: list[str], sheet: str | None
) -> Iterator[tuple[int, list[str]]]:
    """Yield row number and cells, the header first; sums and empty rows are left out.

    sheet: its name, None takes the only visible one with a header. Raises GlassineError where the
    spreadsheet cannot be opened or has no such sheet.
    """
    if formats.unfolded_bytes(content) > MAX_UNFOLDED:
        raise _refuse(path, "It unfolds into far more than a catalogue holds.")
    large = large_sheet.large_sheet(content, sheet)
    if large is not None:
        yield from _rows_of_pieces(path, content, id_columns, large)
        return
    book = _opened(path, content)
    candidates = _with_header(book, id_columns, sheet)
    if len(candidates) != 1:
        names = [each.name for each, _ in candidates]
        raise _no_sheet(path, book, id_columns, sheet, names)
    opened, header_row = candidates.pop()
    for number, cells in enumerate(_cells_of(opened), start=1):
        if _counts(number, cells, header_row):
            yield number, cells


def _counts(number: int, cells: list[str], header_row: int) -> bool:
    """Return whether a row is the header, or one below it that is neither empty nor a sum."""
    if number < header_row or not any(cell.strip() for cell in cells):
        return False
    return number == header_row or not _sums_up(cells)


def _rows_of_pieces(
    path: Path, content: bytes, id_columns: list[str], large: large_sheet.Sheet
) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows of a large sheet; a piece of it is as wide as its own cells, so that rows are
    made as wide as the header."""
    header_row = width = 0
    try:
        for piece in large_sheet.pieces(content, large):
            book = _opened(path, piece)
            if not header_row:
                candidates = _with_header(book, id_columns, large.name)
                if len(candidates) != 1:
                    raise _no_sheet(path, book, id_columns, large.name, [])
                header_row = candidates.pop()[1]
            for number, cells in _numbered(book.get_sheet_by_name(large.name)):
                if _counts(number, cells, header_row):
                    bare = _without_end(cells)
                    width = width or len(bare)
                    yield number, bare + [""] * (width - len(bare))
    except ValueError as problem:
        raise _refuse(path, f"Its rows cannot be told apart: {problem}.") from problem


def _numbered(sheet: Any) -> Iterator[tuple[int, list[str]]]:
    """Yield number and cells of the rows of a piece: the many above it are none of it."""
    if sheet.start is None:
        return
    above, width = sheet.start
    for number, row in enumerate(sheet.to_python(skip_empty_area=True), start=above + 1):
        yield number, [""] * width + [text_of(cell) for cell in row]


def _without_end(cells: list[str]) -> list[str]:
    """Return the cells of a row without empty ones at its end."""
    end = len(cells)
    while end and not cells[end - 1].strip():
        end -= 1
    return cells[:end]


def _opened(path: Path, content: bytes) -> Any:
    from python_calamine import CalamineError, CalamineWorkbook, PasswordError

    try:
        return CalamineWorkbook.from_filelike(io.BytesIO(content))
    except PasswordError as problem:
        raise _refuse(path, "It is protected by a password.") from problem
    except (CalamineError, OSError, ValueError) as problem:
        raise _refuse(path, f"It cannot be opened: {str(problem)[:200]}.") from problem


def _refuse(path: Path, what: str) -> GlassineError:
    return GlassineError.because(
        "catalogue.spreadsheet",
        path.name,
        f"This is a spreadsheet that is not read. {what}",
        "a spreadsheet (XLSX or ODS) without a password, with one row an item.",
        "Save it as XLSX again, or export the sheet as CSV in UTF-8.",
    )


def _with_header(book: Any, id_columns: list[str], sheet: str | None) -> list[tuple[Any, int]]:
    """Return the sheets that may be meant, each with the number of its header's row: a large one
    takes long to open, and is opened once."""
    out = []
    for each in book.sheets_metadata:
        visible = str(each.visible).endswith("Visible") or each.name == sheet
        if not visible or (sheet is not None and each.name != sheet):
            continue
        if not str(each.typ).endswith("WorkSheet"):
            continue
        opened = book.get_sheet_by_name(each.name)
        for number, cells in enumerate(_cells_of(opened), start=1):
            if number > HEADER_WITHIN:
                break
            names = {nfc(cell.strip()) for cell in cells}
            if all(column in names for column in id_columns):
                out.append((opened, number))
                break
    return out


def _no_sheet(
    path: Path, book: Any, id_columns: list[str], sheet: str | None, names: list[str]
) -> GlassineError:
    wanted = " and ".join(repr(column) for column in id_columns)
    if names:
        what = f"The sheets {', '.join(map(repr, names))} all have a column {wanted}."
        step = "Name the right one in `catalogue.sheet`."
    else:
        place = f"the sheet {sheet!r}" if sheet else "no visible sheet"
        listed = ", ".join(repr(name) for name in book.sheet_names[:20])
        what = (
            f"{'In ' + place if sheet else place.capitalize()} {'no row' if sheet else ''} "
            f"names the column {wanted}; its sheets are {listed}."
        )
        what = " ".join(what.split())
        step = (
            "Name the column of item numbers in `catalogue.columns.item_id`, or the sheet in "
            "`catalogue.sheet`."
        )
    return GlassineError.because(
        "catalogue.sheet",
        path.name,
        what,
        f"one sheet with a header row that names {wanted} among its first {HEADER_WITHIN} rows.",
        step,
    )


def _cells_of(sheet: Any) -> Iterator[list[str]]:
    # The reader gives empty rows above the first cell, but no empty cells before it.
    width = sheet.start[1] if sheet.start else 0
    for row in sheet.iter_rows():
        yield [""] * width + [text_of(cell) for cell in row]


def text_of(value: Any) -> str:
    """Return what a cell holds as a person writes it: whole numbers without a point, days in
    ISO 8601."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime.datetime):
        midnight = value.time() == datetime.time(0)
        return value.date().isoformat() if midnight else value.isoformat(sep=" ")
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return "" if value is None else str(value)


def _sums_up(cells: list[str]) -> bool:
    """Whether a row sums up the others: its first words are those of a sum, the rest figures."""
    texts = [cell.strip() for cell in cells if cell.strip()]
    rest = texts[1:]
    return texts[0].rstrip(":").casefold() in _SUMS and all(
        text.replace(".", "").replace(",", "").isdigit() for text in rest
    )
