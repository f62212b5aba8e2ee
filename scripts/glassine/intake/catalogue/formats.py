"""What kind of file a catalogue extract is, by what is in it; names for what is not read."""

from __future__ import annotations

import io
import re
import zipfile
from typing import Literal

Kind = Literal["table", "json", "json lines", "xml", "spreadsheet", "marc"]

# ISO 2709, section 4.3: five figures of length, then the status; the directory's map ends in 4500.
_MARC = re.compile(rb"\d{5}[a-z ][a-z][a-z \d][ a\d#|-].{11}45[\d ]0", re.DOTALL)
_OLE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"  # [MS-CFB], section 2.2
# Files that are no extract, by how they begin.
_BEGINNINGS = (
    (b"%PDF", "a PDF"),
    (b"{\\rtf", "a text document (RTF)"),
    (b"SQLite format 3\0", "a database (SQLite)"),
    (b"\x1f\x8b", "a compressed file (gzip)"),
    (b"7z\xbc\xaf\x27\x1c", "an archive (7z)"),
    (b"Rar!", "an archive (RAR)"),
    (b"II*\0", "a TIFF picture"),
    (b"MM\0*", "a TIFF picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG", "a PNG picture"),
    (b"\0\x01\0\0Standard ", "a database"),
)
_SHEETS = {"xl/workbook.xml", "xl/workbook.bin"}
_ODS = b"application/vnd.oasis.opendocument.spreadsheet"


def kind_of(content: bytes, suffix: str) -> Kind | None:
    """Return what an extract is; None where it is nothing that is read (`name_of` says what)."""
    if content.startswith(_OLE):
        return "spreadsheet"
    if content.startswith(b"PK\x03\x04"):
        return "spreadsheet" if _is_spreadsheet(content) else None
    if name_of(content) is not None and suffix != ".xml":
        return None
    if _MARC.match(content):
        return "marc"
    start = content.lstrip(b"\xef\xbb\xbf \t\r\n")[:1]
    if start == b"<" or suffix == ".xml":
        return "xml"
    if start == b"[" or (start == b"{" and suffix == ".json"):
        return "json"
    if start == b"{" or suffix in (".jsonl", ".ndjson"):
        return "json lines"
    return "table"


def name_of(content: bytes) -> str | None:
    """Return what a file is that holds no records, in an operator's words; None for others."""
    for beginning, name in _BEGINNINGS:
        if content.startswith(beginning):
            return name
    if content.startswith(b"PK\x03\x04") and not _is_spreadsheet(content):
        return _name_of_package(content)
    if re.match(rb"\s*(?:<!doctype html|<html)", content[:400], re.IGNORECASE):
        return "a web page (HTML)"
    return None


def _members(content: bytes) -> list[zipfile.ZipInfo]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as package:
            return package.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, OSError):
        return []


def _is_spreadsheet(content: bytes) -> bool:
    names = {member.filename for member in _members(content)}
    return bool(names & _SHEETS) or ("content.xml" in names and _ODS in content[:200])


def _name_of_package(content: bytes) -> str:
    names = {member.filename for member in _members(content)}
    if not names:
        return "a damaged archive or document (zip)"
    if any(name.startswith("word/") for name in names):
        return "a text document"
    if any(name.startswith("Index/") or name.endswith(".iwa") for name in names):
        return "a spreadsheet of a kind that only its own program reads"
    return "an archive (zip)"


def unfolded_bytes(content: bytes) -> int:
    """Return how many bytes the parts of a zip say that they unfold into."""
    return sum(member.file_size for member in _members(content))
