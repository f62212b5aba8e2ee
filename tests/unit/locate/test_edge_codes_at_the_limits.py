"""Codes of copied film, of numbers beyond a roll's, and codes that the capture's edge cuts."""

from __future__ import annotations

from dataclasses import replace

import pytest

from glassine.locate.edge_numbers import Told
from makers import edge_pieces, edge_strips
from makers.edge_strips import Capture, Laid, Look, Strip

LOOK = Look(ppi=600, blur_um=25, grain=0.02)
STRIP = Strip(frames=2, first=24, off_mm=3.0, lead_mm=(6.0, 6.0))


def told(strip: Strip) -> Told | None:
    capture = edge_strips.alone(strip, LOOK)
    return edge_pieces.told(edge_pieces.master_of(capture), edge_pieces.piece_of(capture), False)


@pytest.mark.parametrize("step", [-0.9, 0.7])
def test_codes_that_were_copied_among_the_films_own_are_never_mixed_with_them(step: float) -> None:
    found = told(replace(STRIP, copied=Strip(first=41, off_mm=-6.0, product=79, step=step)))
    assert found is None or not found.numbers


def test_numbers_up_to_44a_are_read() -> None:
    found = told(replace(STRIP, first=86))
    assert found is not None
    assert found.numbers == {1: "43", 2: "44"}
    assert found.against == ""


def test_numbers_beyond_those_are_not_told_and_the_reason_is_said() -> None:
    found = told(replace(STRIP, first=88))
    assert found is not None
    assert found.numbers == {1: "44"}
    assert "beyond" in found.against
    assert "44A" in found.against


def test_a_code_that_the_end_of_the_film_cuts_counts_for_nothing() -> None:
    # Codes are 14 mm long, 19 mm apart: of 36 mm and 4 mm at both ends one is whole.
    found = told(Strip(frames=1, first=24, lead_mm=(4.0, 4.0)))
    assert found is not None
    assert found.numbers == {}
    assert len(found.others) == 1


def test_a_strip_turned_round_beside_another_film_has_its_own_numbers_and_side() -> None:
    other = replace(STRIP, first=50, product=33, seed=4)
    pair = [Laid(STRIP, (0, -17.6)), Laid(other, (0, 17.6), 180.0, True)]
    capture = Capture(pair, LOOK, (100.0, 78.0))
    master = edge_pieces.master_of(capture)
    first, second = (
        edge_pieces.told(master, edge_pieces.piece_of(capture, k), False) for k in range(2)
    )
    assert first is not None
    assert second is not None
    assert (first.stock, first.forward, set(first.numbers.values())) == ("79-7", True, {"12", "13"})
    assert (second.stock, second.forward) == ("33-7", False)
    by_frame = [second.numbers[k + 1] for k in range(2)]
    assert by_frame == capture.numbers[1]
