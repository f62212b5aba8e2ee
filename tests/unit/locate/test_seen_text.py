"""Writing that was seen: how it stands is told by all lines of a piece together, and nothing is
named, numbered or mirrored for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from glassine.base import record_files, text_packages
from glassine.base.errors import GlassineError
from glassine.base.model import (
    Facts,
    FilmEdge,
    Frame,
    ItemGeometry,
    MasterGeometry,
    MasterPiece,
    SeenText,
)
from glassine.locate import rebate, seen_text, stated, text_notes, text_reader
from glassine.locate.film_order import Lay
from glassine.locate.rebate import Piece
from glassine.locate.seen_text import Line, Margins, Reading
from glassine.locate.view import look
from glassine.night import checks
from makers import edge_pieces, edge_strips, written
from makers.edge_strips import Look, Strip
from makers.written import Written

BOX = ((0.0, 0.0), (30.0, 0.0), (30.0, 10.0), (0.0, 10.0))
WHOLE = Frame(1, BOX, 0.0, "negative", "colour")
needs_reader = pytest.mark.skipif(
    not text_packages.are_installed(), reason="the packages that read writing are not installed"
)


def line(**said: tuple[str, float]) -> Line:
    ways = {"right": (0, False), "turned": (180, False), "mirrored": (0, True), "both": (180, True)}
    readings = tuple(
        Reading(ways[name], float(ways[name][0]), *each) for name, each in said.items()
    )
    return Line(np.array(BOX), readings, "margin")


def text(said: str, mirrored: bool | None = False, on: str = "margin", at: float = 0.0) -> SeenText:
    place = tuple((x + at, y) for x, y in BOX)
    return SeenText(said, place, 0.9, None if mirrored is None else 0, mirrored, on)


# ------------------------------------------------------------------ how lines stand


def test_a_number_that_reads_both_ways_up_does_not_tell_how_it_stands() -> None:
    found = seen_text.seen([line(right=("9", 0.99), turned=("6", 1.0))])
    assert [each.turned_degrees for each in found] == [None]
    assert found[0].mirrored is None


def test_other_lines_of_the_piece_tell_it() -> None:
    lines = [
        line(right=("9", 0.99), turned=("6", 1.0)),
        line(right=("HARBOUR", 0.98), turned=("HVB", 0.4)),
    ]
    found = seen_text.seen(lines)
    assert [(each.text, each.turned_degrees) for each in found] == [("9", 0), ("HARBOUR", 0)]


def test_codes_beside_it_tell_it() -> None:
    found = seen_text.seen([line(right=("9", 0.99), turned=("6", 1.0))], known=(180, False))
    assert [(each.text, each.turned_degrees) for each in found] == [("6", 180)]


def test_what_reads_only_mirrored_says_so() -> None:
    found = seen_text.seen(
        [line(right=("", 0.0), mirrored=("HARBOUR", 0.97), both=("HABBONK", 0.5))]
    )
    assert [(each.text, each.mirrored) for each in found] == [("HARBOUR", True)]


def test_a_faint_guess_is_no_text() -> None:
    assert seen_text.seen([line(right=("1L", 0.3), turned=("7I", 0.2))]) == []


# ------------------------------------------------------------------ text from outside


def test_a_text_is_bounded_and_has_no_controls() -> None:
    # U+202E turns what follows it round on a screen; U+0000 ends a string in many programs.
    hostile = "A\u202eB\u0000\n<b>&\ud800 " + "x" * 10_000
    shown = text_reader.plain(hostile)
    assert shown.startswith("AB <b>& x")
    assert len(shown) <= text_reader.MOST_CHARACTERS


def test_a_note_names_few_texts_and_counts_the_rest() -> None:
    (note,) = text_notes.of_texts([text("y" * 100)] * 500)
    assert "and 488 more" in note
    assert len(note) < 900


def test_a_record_holds_texts_and_older_ones_none(tmp_path: Path) -> None:
    master = MasterGeometry("a.tif", 9, 9, None, None, (), seen_text=(text("12A", None),))
    item = ItemGeometry("PEH-0001", (master, replace(master, path="b.tif", seen_text=())), {})
    record_files.write(tmp_path / "geometry.json", "geometry", item.as_dict())
    known = record_files.read(tmp_path / "geometry.json", "geometry")
    assert "seen_text" not in known["masters"][1]
    assert ItemGeometry.from_dict(known) == item


# ------------------------------------------------------------------ the side of the film


def lay(side: str = "auto", mirrored: bool = False) -> Lay:
    return Lay(None, Facts(emulsion_side=side), 1, mirrored, (0, mirrored))


def master_with(*texts: SeenText, edges: tuple[FilmEdge, ...] = ()) -> MasterGeometry:
    return MasterGeometry("a.tif", 9, 9, None, None, (), seen_text=texts, edges=edges)


def test_film_that_reads_only_mirrored_suggests_the_side() -> None:
    (note,) = text_notes.suggestions(master_with(text("SAFETY", True)), lay())
    assert "emulsion_side: toward" in note


@pytest.mark.parametrize(("side", "mirrored"), [("away", True), ("toward", False)])
def test_writing_against_the_stated_side_is_for_review(side: str, mirrored: bool) -> None:
    master = master_with(text("SAFETY", mirrored, on="strip"))
    assert text_notes.against_side(master, lay(side))
    assert not text_notes.against_side(master, lay({"away": "toward", "toward": "away"}[side]))


@pytest.mark.parametrize(
    "texts",
    [
        (text("6", True),),
        (text("SAFETY", None),),
        (text("SAFETY", True, on="label"),),
        (text("SAFETY", True), text("HARBOUR", False)),
    ],
)
def test_the_side_is_not_told_by_little_by_labels_or_by_two_minds(texts: tuple[Any, ...]) -> None:
    assert text_notes.toward(master_with(*texts), 1) is None


def test_codes_tell_the_side_before_writing_does() -> None:
    edge = FilmEdge((1,), None, "away", 0, ())
    assert text_notes.toward(master_with(text("SAFETY", True), edges=(edge,)), 1) is None


# ------------------------------------------------------------------ printed numbers


PIECE = Piece(np.zeros(2), np.array([1.0, 0.0]), 10.0, -60, 60, (1, 2, 3), (-38.0, 0.0, 38.0))


def numbers(*said: tuple[str, float]) -> Margins:
    """Return numbers that are printed at places along PIECE, mm."""
    texts = tuple(text(word, at=10 * mm - 15) for word, mm in said)
    return Margins(PIECE, texts, (0, False))


def told(first: str) -> Any:
    return SimpleNamespace(numbers={1: first})


def test_numbers_that_follow_on_one_another_are_a_suggestion() -> None:
    (note,) = text_notes.of_numbers(numbers(("11", -38), ("12", 0), ("13", 38)), None)
    assert "1 is 11, 2 is 12, 3 is 13" in note
    assert "not numbered" in note


def test_numbers_agree_with_codes_or_do_not() -> None:
    printed = numbers(("11", -38), ("11A", -19), ("12", 0))
    assert "agree with its codes" in text_notes.of_numbers(printed, told("11"))[0]
    assert "do not agree" in text_notes.of_numbers(printed, told("14"))[0]


def test_numbers_wrong_by_one_do_not_agree_and_number_nothing() -> None:
    printed = numbers(("12", -38), ("13", 0), ("14", 38))
    (note,) = text_notes.of_numbers(printed, told("11"))
    assert "do not agree" in note
    assert "1 is 12" in note


@pytest.mark.parametrize(
    "printed",
    [
        numbers(("11", 0)),
        numbers(("11", -38), ("11", -38)),
        numbers(("11", -38), ("31", 0)),
        numbers(("11", -38), ("12", 0), ("5063", 20), ("40", 10), ("7", 30)),
        replace(numbers(("11", -38), ("12", 0)), way=None),
    ],
)
def test_numbers_that_do_not_follow_on_one_another_say_nothing(printed: Margins) -> None:
    assert text_notes.of_numbers(printed, None) == []


def test_numbers_fall_along_film_that_reads_mirrored() -> None:
    printed = replace(numbers(("13", -38), ("12", 0), ("11", 38)), way=(0, True))
    assert "1 is 13, 2 is 12, 3 is 11" in text_notes.of_numbers(printed, None)[0]


# ------------------------------------------------------------------ an optional part


def test_a_night_that_needs_the_reader_and_has_none_does_not_start(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(text_packages, "PACKAGE", "no_such_package")
    place: Any = SimpleNamespace(works=True, config={"locate": {"seen_text": True}, "rules": []})
    with pytest.raises(GlassineError, match="not installed"):
        checks.check_text_reader(place)
    place.config = {"locate": {}, "rules": [{"set": {"locate": {"seen_text": True}}}]}
    with pytest.raises(GlassineError, match="not installed"):
        checks.check_text_reader(place)
    place.config = {"locate": {"seen_text": False}}
    checks.check_text_reader(place)


def test_statements_take_notes_of_writing() -> None:
    master = replace(master_with(text("SAFETY", True)), ppi=None)
    located = stated.Located(None, Facts(), 1, False, master)
    (judged,) = stated.judged([located])
    assert any("reads only mirrored" in note for note in judged.notes)


# ------------------------------------------------------------------ the reader itself


@needs_reader
@pytest.mark.parametrize("mirrored", [False, True])
def test_numbers_on_film_are_read_with_their_place(mirrored: bool) -> None:
    strip = Strip(frames=1, first=24, coded=False, lead_mm=(6.0, 6.0))
    capture = edge_strips.alone(strip, Look(1200), 1.0, mirrored)
    master, piece = edge_pieces.master_of(capture), edge_pieces.piece_of(capture)
    view = look(master.reduced, edge_pieces.TABLE, master.reduction)
    found = seen_text.of_margins(master, view, piece, None, False)
    twelve = [each for each in found.texts if each.text == "12"]
    assert twelve
    assert {each.mirrored for each in found.texts} == {mirrored}
    turns = [each.turned_degrees for each in twelve]
    assert all(turn is not None and (turn + 3) % 360 <= 6 for turn in turns)
    apart = min(np.hypot(*(np.mean(each.place, axis=0) - piece.middle)) for each in twelve)
    assert rebate.INNER_MM < apart / piece.mm < 18.2


@needs_reader
@pytest.mark.skipif(written.missing(), reason="a typeface is not installed")
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_label_is_read_however_it_lies(turn: int) -> None:
    light = np.full((420, 420), 0.9, np.float32)
    for said, below in (("Port Ellery", -35), ("PEH-0042", 35)):
        a = np.deg2rad(turn)
        at = 210 - below * np.sin(a), 210 + below * np.cos(a)
        written.write(light, Written(said, "typed", at, turn, False), 22, 0.8)
    pixels = (65535 * light).astype(np.uint16)
    scene: Any = edge_pieces.Master(pixels, 1, lambda *_: pixels, 420, 420, edge_pieces.TABLE)
    found = seen_text.of_master(scene, look(pixels, edge_pieces.TABLE, 1), (), (), ())
    assert {each.text.replace(" ", "") for each in found} == {"PortEllery", "PEH-0042"}
    turns = [each.turned_degrees for each in found]
    assert all(each is not None and (each - turn + 3) % 360 <= 6 for each in turns)
    assert not any(each.mirrored for each in found)


@needs_reader
@pytest.mark.skipif(written.missing(), reason="a typeface is not installed")
@pytest.mark.parametrize("mirrored", [False, True])
def test_words_along_120_film_tell_its_side(mirrored: bool) -> None:
    light = np.full((320, 700), 0.95, np.float32)
    light[60:260, 30:670] = 0.5
    for said, across in (("HARBOUR", 180), ("1906", 520)):
        one = Written(said, "sans", (700 - across if mirrored else across, 82), 0, mirrored)
        written.write(light, one, 20, 0.7)
    pixels = (65535 * light).astype(np.uint16)
    scene: Any = edge_pieces.Master(pixels, 1, lambda *_: pixels, 700, 320, edge_pieces.TABLE)
    strip = MasterPiece(((30.0, 60.0), (670.0, 60.0), (670.0, 260.0), (30.0, 260.0)), "strip")
    frame = replace(WHOLE, corners=((60.0, 105.0), (640.0, 105.0), (640.0, 245.0), (60.0, 245.0)))
    view = look(pixels, edge_pieces.TABLE, 1)
    found = seen_text.of_master(scene, view, [frame], [strip], ())
    assert {each.text for each in found} == {"HARBOUR", "1906"}
    assert text_notes.toward(master_with(*found), 1) is mirrored
