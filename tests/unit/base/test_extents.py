"""What a catalogue's words of extent say, and what is asked where the picture says otherwise.

The forms of words: MARC 21 field 300 and MODS `extent` as libraries write them (common practice,
no source).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from glassine.base import extents, files, item_states, sizes
from glassine.base.extents import Polarity


@pytest.mark.parametrize(
    ("text", "polarity", "frames"),
    [
        ("1 negative : glass ; 9 x 12 cm", "negative", 1),
        ("36 negatives : b&w ; 35 mm", "negative", 36),
        ("24 Negative, Kleinbild", "negative", 24),
        ("Glasnegativ, 13 x 18 cm", "negative", None),
        ("12 négatifs sur verre", "negative", 12),
        ("6 negatieven", "negative", 6),
        ("2 photographic prints", "positive", None),
        ("1 Abzug, 13 x 18 cm", "positive", None),
        ("20 slides (colour)", "positive", 20),
        ("12 colour transparencies", "positive", 12),
        # Of both, of containers, of neither, or counted twice: nobody can tell.
        ("1 print from a glass negative", None, None),
        ("1 box of negatives", None, None),
        ("1 album (24 photographs)", None, None),
        ("2 contact sheets, 72 negatives", None, None),
        ("36 negatives and 12 images", "negative", None),
        ("256 pages", None, None),
        ("1 photograph : color", None, 1),
        ("photographs", None, None),
        ("", None, None),
        ("about 1905-36 negatives", "negative", None),
    ],
)
def test_words_of_extent(text: str, polarity: Polarity | None, frames: int | None) -> None:
    assert (extents.polarity(text), extents.frames(text)) == (polarity, frames)


@pytest.mark.parametrize(
    ("row", "size"),
    [
        ({"dimensions": "9 x 12 cm", "extent": "1 plate, 13 x 18 cm"}, (90, 120)),
        ({"extent": "1 negative : glass ; 9 x 12 cm"}, (90, 120)),
        ({"physical": "1 negative : glass ; 9 x 12 cm"}, (90, 120)),
        ({"dimensions": "large", "extent": "9 x 12 cm"}, None),  # the row's own word counts
        ({"extent": "1 box, 30 x 40 cm, of negatives"}, None),
        ({"extent": "1 negative ; 4 x 5 in. or smaller"}, None),
        ({"dimensions": "4 x 5 in. or smaller"}, None),
        ({"dimensions": "bis zu 13 x 18 cm"}, None),
        ({"physical": "A view of the mole " * 20 + "9 x 12 cm"}, None),
        ({}, None),
    ],
)
def test_the_size_of_the_film_in_a_row(row: dict[str, str], size: Any) -> None:
    found = sizes.stated(row)
    assert (found and found[0]) == (pytest.approx(size) if size else None)


def reasons(folder: Path, row: dict[str, str], *polarities: str, **more: Any) -> list[str]:
    """Return what is asked of an item whose masters have one frame each, of these polarities."""
    frame = {"index": 1, "state": "ok", "reasons": [], "corners": [], "source": "measured"}
    made = [
        {"path": f"{n}.tif", "ppi": None, "frames": [{**frame, "polarity": polarity}]}
        for n, polarity in enumerate(polarities)
    ]
    files.write_json(folder / "geometry.json", {"item": "a", "masters": made})
    masters = [{"path": each["path"], "part": None, "facts": {}, **more} for each in made]
    entry = {"item": "a", "state": "ready", "catalogue": {"item": "a", **row}, "findings": [],
             "corrections": None, "masters": masters}  # fmt: skip
    return [each.text for each in item_states.item_status(entry, folder).reasons]


def test_a_negative_that_was_taken_for_a_positive_is_for_review(tmp_path: Path) -> None:
    (told,) = reasons(tmp_path, {"extent": "1 negative : glass"}, "positive")
    assert "'1 negative : glass'" in told and "positive" in told
    (told,) = reasons(tmp_path, {"physical": "1 photographic print"}, "negative")
    assert "negative" in told
    (told,) = reasons(tmp_path, {"extent": "1 photograph", "genre": "slides"}, "negative")
    assert "'slides'" in told


@pytest.mark.parametrize(
    ("row", "polarity", "more"),
    [
        ({"extent": "1 negative : glass"}, "negative", {}),
        ({"extent": "1 print from a negative"}, "positive", {}),
        ({"extent": "1 photograph"}, "positive", {}),
        # What a person stated in batch.yaml, or another part of the item, is not asked.
        ({"extent": "1 negative"}, "positive", {"facts": {"polarity": "positive"}}),
        ({"extent": "1 negative"}, "positive", {"facts": {"kind": "print"}}),
        ({"extent": "1 negative"}, "positive", {"part": "print"}),
    ],
)
def test_what_agrees_or_was_stated_asks_for_nothing(
    tmp_path: Path, row: dict[str, str], polarity: str, more: dict[str, Any]
) -> None:
    assert reasons(tmp_path, row, polarity, **more) == []


def test_fewer_frames_than_the_catalogue_counts_are_for_review(tmp_path: Path) -> None:
    row = {"extent": "3 negatives"}
    (told,) = reasons(tmp_path, row, "negative", "negative")
    assert "counts 3, and 2 frames were found" in told
    assert reasons(tmp_path, row, "negative", "negative", "negative") == []
    assert reasons(tmp_path, row, *["negative"] * 4) == []
    assert reasons(tmp_path, row, "negative", "negative", part="emulsion") == []
