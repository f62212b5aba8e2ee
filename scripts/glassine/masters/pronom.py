"""The PRONOM id of a TIFF, by the signatures of version 109."""

from __future__ import annotations

from pathlib import Path

# PRONOM signatures, version 109: the directory entry as it stands in the file, how far from the
# start of the file or from its end it may stand, and the format's id; earlier ones win.
_SIGNATURES = (
    (
        "fmt/154",
        4096,
        ((b"\x16\x92\x01\0\x04\0\0\0\0\0\0\x01"), b"\x92\x16\0\x01\0\0\0\x04\x01\0\0\0"),
    ),
    ("x-fmt/387", 131072, (b"\0\x90\x07\0\x04\0\0\x000220", b"\x90\0\0\x07\0\0\0\x040220")),
    ("x-fmt/388", 65535, (b"\0\x90\x07\0\x04\0\0\x000210", b"\x90\0\0\x07\0\0\0\x040210")),
    ("x-fmt/399", 65535, (b"\0\x90\x07\0\x04\0\0\x000200", b"\x90\0\0\x07\0\0\0\x040200")),
)


def puid(content: Path, head: bytes, size: int) -> str | None:
    """Return the PRONOM id of a TIFF; None for BigTIFF, of which version 109 knows nothing.

    A TIFF whose Exif directory lies near either end of the file counts as "Exchangeable image
    file, uncompressed" there, one with the tag of ISO 12234-2 as TIFF/EP.
    """
    if head[2:4] in (b"+\0", b"\0+"):
        return None
    which = 0 if head[:2] == b"II" else 1
    with content.open("rb") as stream:
        start = stream.read(131072 + 32)
        stream.seek(max(0, size - 131072 - 32))
        end = stream.read()
    for name, reach, entries in _SIGNATURES:
        entry = entries[which]
        if entry in start[10 : reach + len(entry)] or entry in end[-reach - len(entry) :]:
            return name
    return "fmt/353"
