"""How film lay and whether it is all there, by its margin: what is asked, noted, and left alone."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import pytest

from glassine.base.model import Corners, EdgeCode, Facts, FilmEdge, Frame, MasterGeometry
from glassine.locate import film_order, stated
from glassine.locate.stated import Located

SQUARE: Corners = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))


def edge(
    *frames: int,
    emulsion: Literal["toward", "away"] | None = "away",
    turn: int | None = 0,
    stock: str = "79-7",
    against: str = "",
) -> FilmEdge:
    code = EdgeCode("79-7/12", (1.0, 1.0), counts=True)
    return FilmEdge(frames, stock, emulsion, turn, (code, code), against)


def master(path: str, numbers: list[str | None], *edges: FilmEdge) -> MasterGeometry:
    frames = tuple(
        Frame(k, SQUARE, 0.0, "negative", "colour", confidence=1.0, state="ok", film_frame=number)
        for k, number in enumerate(numbers, start=1)
    )
    return MasterGeometry(path, 100, 100, 2400.0, "perforations", frames, edges=edges)


def judged(
    geometry: MasterGeometry, facts: Facts | None = None, part: str | None = None, tag: int = 1
) -> MasterGeometry:
    one = Located(part, facts or Facts(), tag, True, geometry)
    return stated.judged([one])[0]


# ------------------------------------------------------------------ side


@pytest.mark.parametrize(
    ("emulsion", "facts", "part", "tag"),
    [
        ("toward", Facts(emulsion_side="away"), None, 1),
        ("away", Facts(emulsion_side="toward"), None, 1),
        ("away", Facts(), "emulsion", 1),
        ("toward", Facts(), "base", 1),
        # Orientation 2: the file itself is mirrored, so what reads right in it lay mirrored.
        ("away", Facts(emulsion_side="away"), None, 2),
    ],
)
def test_a_side_that_the_margin_speaks_against_is_for_review(
    emulsion: Literal["toward", "away"], facts: Facts, part: str | None, tag: int
) -> None:
    (frame,) = judged(master("a.tif", ["12"], edge(1, emulsion=emulsion)), facts, part, tag).frames
    assert frame.state == "review"
    assert any("the code in the margin of its film reads" in reason for reason in frame.reasons)


@pytest.mark.parametrize(
    ("emulsion", "facts", "part", "tag"),
    [
        ("away", Facts(emulsion_side="away"), None, 1),
        ("toward", Facts(emulsion_side="toward"), None, 1),
        ("toward", Facts(), "emulsion", 1),
        ("toward", Facts(emulsion_side="away"), None, 2),
        ("away", Facts(), None, 1),
        (None, Facts(emulsion_side="toward"), None, 1),
    ],
)
def test_a_side_that_agrees_asks_nothing(
    emulsion: Literal["toward", "away"] | None, facts: Facts, part: str | None, tag: int
) -> None:
    found = judged(master("a.tif", ["12"], edge(1, emulsion=emulsion)), facts, part, tag)
    assert found.frames[0].state == "ok"
    assert not any("emulsion_side: toward" in note for note in found.notes)


def test_a_side_that_is_not_stated_is_suggested_and_nothing_is_mirrored_for_it() -> None:
    found = judged(master("a.tif", ["12"], edge(1, emulsion="toward")))
    assert found.frames[0].state == "ok"
    assert found.frames[0].mirror is False
    assert any("State `emulsion_side: toward`" in note for note in found.notes)


def test_one_strip_of_several_turned_over_is_for_review() -> None:
    strips = edge(1), edge(2, emulsion="toward")
    first, second = judged(master("a.tif", ["12", "14"], *strips)).frames
    assert (first.state, second.state) == ("ok", "review")
    assert "the other way round" in second.reasons[-1]


# ------------------------------------------------------------------ which way up


def test_writing_that_does_not_stand_upright_is_noted() -> None:
    found = judged(master("a.tif", ["12"], edge(1, turn=180)))
    assert any("`rotate: 180`" in note for note in found.notes)
    assert found.frames[0].rotate == 0


def test_what_a_person_stated_of_the_turn_is_left_alone() -> None:
    found = judged(master("a.tif", ["12"], edge(1, turn=90)), Facts(rotate=180))
    assert not any("rotate" in note for note in found.notes)


def test_strips_turned_against_one_another_are_noted() -> None:
    found = judged(master("a.tif", ["12", "14"], edge(1), edge(2, turn=180)))
    assert any("turned against one another" in note for note in found.notes)


# ------------------------------------------------------------------ doubles, gaps


def test_two_captures_of_one_number_are_both_for_review() -> None:
    masters = [
        Located(None, Facts(), 1, True, master(path, ["12A"], edge(1))) for path in ("a", "b")
    ]
    for geometry in stated.judged(masters):
        assert geometry.frames[0].state == "review"
        assert "numbers it 12A" in geometry.frames[0].reasons[-1]


def test_sides_of_one_film_and_films_of_two_kinds_are_no_doubles() -> None:
    one, other = master("a", ["12"], edge(1)), master("b", ["12"], edge(1, stock="115-10"))
    assert film_order.doubles([("emu", one), ("base", replace(one, path="c"))]) == {}
    assert film_order.doubles([(None, one), (None, other)]) == {}


@pytest.mark.parametrize(
    ("numbers", "expected"),
    [
        (["12", "13", "14"], ""),
        (["12A", "15A"], "13A, 14A"),
        (["3", "1"], "2"),
        (["12", "13A"], ""),  # a little more film between two frames
        (["12", "12A", "13A", "14"], "13"),  # half frames
        (["1", "30"], ""),  # two pieces
        (["12", None], ""),
    ],
)
def test_frames_between_others_are_missing(numbers: list[str | None], expected: str) -> None:
    found = master("a", numbers, edge(*range(1, len(numbers) + 1)))
    assert film_order.missing([(None, found)]) == expected


def test_what_a_margin_does_not_tell_is_said() -> None:
    against = "frames lie midway between two numbers"
    found = judged(master("a", [None], edge(1, against=against)))
    assert any(against in note for note in found.notes)
