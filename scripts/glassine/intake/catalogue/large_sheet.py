"""A large sheet of an XLSX file as several small ones, one after the other.

The reader of spreadsheets unfolds a sheet as a whole: half a million rows take a gigabyte. Cut at
the ends of rows, each piece is read by the same reader in the same way, and then forgotten
(ECMA-376, part 1, 18.3.1.73 row: `r` is its number; 18.3.1.80 sheetData).
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree

# Bytes of a sheet from which on it is cut, and of a piece.
LARGE = 64 * 2**20
PIECE = 8 * 2**20
_READ = 2**20
_WORKBOOK = "xl/workbook.xml"
_RELATIONS = "xl/_rels/workbook.xml.rels"
_DATA = re.compile(rb"<sheetData\s*>")
_NUMBERED = re.compile(rb'\s*<row\s[^<>]{0,200}?\br="\d{1,7}"')
_END_OF_ROW, _END_OF_DATA = b"</row>", b"</sheetData>"


@dataclass(frozen=True)
class Sheet:
    """A sheet by its name, and the part of the file that it is."""

    name: str
    part: str


def large_sheet(content: bytes, name: str | None = None) -> Sheet | None:
    """Return the sheet of that name, or the only one where none is named, if it is large and can
    be cut; None for any other file."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            sheets = _sheets(parts)
            named = [each for each in sheets if name in (None, each.name)]
            if len(named) != 1 or parts.getinfo(named[0].part).file_size < LARGE:
                return None
            begins = _begin(parts, named[0])
    except (zipfile.BadZipFile, KeyError, ValueError, OSError, etree.XMLSyntaxError):
        return None
    match = _DATA.search(begins)
    return named[0] if match and _NUMBERED.match(begins, match.end()) else None


def _begin(parts: zipfile.ZipFile, sheet: Sheet) -> bytes:
    with parts.open(sheet.part) as stream:
        return stream.read(_READ)


def _sheets(parts: zipfile.ZipFile) -> list[Sheet]:
    """Return the sheets that a person sees, with their parts."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    book = etree.fromstring(parts.read(_WORKBOOK), parser)
    relations = etree.fromstring(parts.read(_RELATIONS), parser)
    targets = {each.get("Id"): each.get("Target") or "" for each in relations}
    found = []
    for each in book.iterfind(".//{*}sheets/{*}sheet"):
        if each.get("state") in (None, "visible"):
            related = next(value for key, value in each.attrib.items() if str(key).endswith("}id"))
            target = targets[related]
            part = target.lstrip("/") if target.startswith("/") else f"xl/{target}"
            found.append(Sheet(each.get("name") or "", part))
    return found


def pieces(content: bytes, sheet: Sheet) -> Iterator[bytes]:
    """Yield XLSX files, each with some of the sheet's rows under their own numbers.

    Raises ValueError where the sheet cannot be cut.
    """
    with zipfile.ZipFile(io.BytesIO(content)) as parts:
        others = {
            info.filename: parts.read(info)
            for info in parts.infolist()
            if not info.filename.startswith("xl/worksheets/") and not info.is_dir()
        }
        small = {
            info.filename: b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/'
            b'2006/main"><sheetData/></worksheet>'
            for info in parts.infolist()
            if info.filename.startswith("xl/worksheets/") and info.filename.endswith(".xml")
        }
        for text in _cut(parts, sheet):
            yield _file({**others, **small, sheet.part: text})


def _cut(parts: zipfile.ZipFile, sheet: Sheet) -> Iterator[bytes]:
    """Yield the sheet's XML with some of its rows at a time."""
    with parts.open(sheet.part) as stream:
        held = stream.read(PIECE)
        match = _DATA.search(held)
        if match is None:
            raise ValueError("no rows")
        begin, held = held[: match.end()], held[match.end() :]
        while True:
            more = stream.read(PIECE)
            end, last = _end_of(held, whole=not more)
            if end is not None:
                rows, held = held[:end], held[end:]
                if rows.strip() and not _NUMBERED.match(rows):
                    raise ValueError("a row without its number")
                yield begin + rows + b"</sheetData></worksheet>"
            if last:
                return
            held += more


def _end_of(held: bytes, whole: bool) -> tuple[int | None, bool]:
    """Return where the last whole row ends, None where no row does yet, and whether it is the
    sheet's last. Raises ValueError where the sheet has no end. whole: whether nothing follows."""
    end_of_data = held.find(_END_OF_DATA)
    if end_of_data >= 0:
        return end_of_data, True
    if whole:
        raise ValueError("the sheet is cut off")
    end = held.rfind(_END_OF_ROW)
    return (end + len(_END_OF_ROW) if end >= 0 else None), False


def _file(parts: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as written:
        for name, part in parts.items():
            written.writestr(name, part)
    return out.getvalue()
