"""Sizes that a catalogue states, and what is told where a picture cannot have one."""

from __future__ import annotations

import pytest

from glassine.base import files, item_states, sizes


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("9 x 12 cm", (90, 120)), ("12x9cm", (90, 120)), ("4 × 5 in.", (101.6, 127)),
        ("gelatin dry plate, 13 x 18 cm", (130, 180)), ("6 1/2 by 8 1/2 in", (165.1, 215.9)),
        ("3¼ x 4¼ inches", (82.55, 107.95)), ("13 x 18 cm (5 x 7 in)", (130, 180)),
        ("24x36mm", (24, 36)), ("10,2 x 12,7 cm", (102, 127)), ("9 cm x 120 mm", (90, 120)),
        # Which is meant, or in which unit, nobody can tell.
        ("image 9 x 12 cm, sheet 13 x 18 cm", None), ("9 x 12", None), ("35 mm", None),
        ("9 x 12 x 2 cm", None), ("0 x 0 cm", None), ("4 in x 5 interesting", None), ("", None),
        ("1/0 x 2 cm", None),
    ],
)  # fmt: skip
def test_a_size_in_words(text, size):
    assert sizes.in_mm(text) == (pytest.approx(size) if size else None)


def status(folder, dimensions, ppi, outline=True):
    corners = [[0.0, 0.0], [4724.0, 0.0], [4724.0, 3543.0], [0.0, 3543.0]]
    frame = {"index": 1, "corners": corners, "state": "ok", "reasons": []}
    master = {"path": "a.tif", "ppi": ppi, "ppi_source": "header", "frames": [frame]}
    if outline:
        master["object_corners"] = corners
    files.write_json(folder / "geometry.json", {"item": "a", "masters": [master]})
    row = {"item": "a", "dimensions": dimensions} if dimensions is not None else None
    entry = {"item": "a", "state": "ready", "catalogue": row, "findings": [], "corrections": None}
    return [each.text for each in item_states.item_status(entry, folder).reasons]


# 4724 px at 1000 pixels an inch are 120 mm, 3543 px are 90 mm.
def test_a_size_that_fits_says_nothing(tmp_path):
    assert status(tmp_path, "9 x 12 cm", 1000.0) == []
    assert status(tmp_path, "4 x 5 in", 1000.0) == []  # its picture ends before its edge


@pytest.mark.parametrize(
    ("dimensions", "ppi"), [("13 x 18 cm", 1000.0), ("6 x 9 cm", 1000.0), ("9 x 12 cm", 300.0)]
)
def test_a_contradiction_is_told_with_both_numbers(tmp_path, dimensions, ppi):
    (told,) = status(tmp_path, dimensions, ppi)
    assert dimensions in told
    assert f"{ppi:.0f} ppi" in told


@pytest.mark.parametrize(
    ("dimensions", "ppi", "outline"),
    [
        (None, 1000.0, True), ("large", 1000.0, True), ("9 x 12 cm", None, True),
        # A frame of a strip is smaller than the strip that the catalogue measures.
        ("6 x 24 cm", 4000.0, False),
    ],
)  # fmt: skip
def test_what_cannot_be_compared_says_nothing(tmp_path, dimensions, ppi, outline):
    assert status(tmp_path, dimensions, ppi, outline) == []
