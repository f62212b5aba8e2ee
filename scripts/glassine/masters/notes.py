"""What a person should know of a master that is accepted."""

from __future__ import annotations

from msgspec import UNSET

from glassine.base.errors import Finding
from glassine.base.records.parts import Header

# How far the resolutions of both directions may differ, as a share; rounded fractions do.
_SQUARE = 0.02


def notes_on(header: Header, path: str) -> list[Finding]:
    """Return what a person should know of a master that is accepted, most of it as notes.

    header: as `opening.read_header` returns it; path: as findings name it.
    """
    findings = []

    def note(code: str, what: str, expected: str, next_step: str) -> None:
        findings.append(Finding(f"masters.{code}", path, what, expected, next_step, "note"))

    export = "Nothing for this item; set the capture station to 16-bit TIFF without loss."
    if header.bits[0] == 8:
        note("note_8bit", "It has 8 bits a sample: few tones are left to invert.", "16.", export)
    if header.compression == "JPEG":
        note("note_lossy", "Its pixels were compressed with loss.", "no loss.", export)
    if header.orientation_tag is not UNSET:
        note(
            "note_orientation",
            f"Its Orientation is {header.orientation_tag}, which means nothing: the picture is "
            "taken as stored.",
            "1 to 8.",
            "Look whether the picture is upright; turn it on the review page where it is not.",
        )
    resolution = header.resolution
    if resolution and abs(resolution.x - resolution.y) > _SQUARE * resolution.x:
        findings.append(
            Finding(
                "masters.note_not_square",
                path,
                f"Its header says {resolution.x:g} pixels across and {resolution.y:g} "
                "down on the same length; its pixels are taken as square.",
                "the same resolution in both directions.",
                "Look whether the picture is stretched; state nominal_ppi, and correct the "
                "capture station.",
                "review",
            )
        )
    if header.format_name == "BigTIFF":
        note(
            "note_bigtiff",
            "It is a BigTIFF, which some programs cannot open; its record has no PRONOM id.",
            "TIFF 6.0 where the file has less than 4 GiB.",
            "Nothing, where the repository takes BigTIFF.",
        )
    if not header.in_order:
        note(
            "note_order",
            "Its strips or tiles lie in the file in another order than in the picture.",
            "one after the other from the top left, as most programs write them.",
            "Look whether the picture is whole: exchanged tiles are found by a checksum list only.",
        )
    return findings
