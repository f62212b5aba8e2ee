"""Bar codes in the margin of 35 mm film: what is read, and what must not be."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import zxingcpp

from glassine.locate import edge_codes, edge_numbers
from glassine.locate.edge_codes import Code, Text
from glassine.locate.edge_numbers import Told
from glassine.locate.rebate import Piece
from makers import edge_pieces, edge_strips
from makers.edge_strips import Capture, Laid, Look, Strip

LOOK = Look(ppi=600, blur_um=25, grain=0.02)
STRIP = Strip(frames=2, first=24, off_mm=3.0, lead_mm=(6.0, 6.0))


def told(capture: Capture, number: int = 0, reversal: bool = False) -> Told | None:
    piece = edge_pieces.piece_of(capture, number)
    return edge_pieces.told(edge_pieces.master_of(capture), piece, reversal)


@lru_cache(maxsize=8)
def alone(strip: Strip, angle: float = 0.0, mirrored: bool = False) -> Told | None:
    return told(edge_strips.alone(strip, LOOK, angle, mirrored), reversal=strip.clear)


def numbers(found: Told | None) -> list[str]:
    assert found is not None
    return [found.numbers[k] for k in sorted(found.numbers)]


# ------------------------------------------------------------------ the code itself


@pytest.mark.parametrize("text", ["115-10/11A", "79-7/0", "1-0/36A", "127-15/24", "10-3"])
def test_bits_are_those_that_the_library_draws(text: str) -> None:
    # Outside check: zxing-cpp draws the format from the same publications by code of its own.
    code = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DXFilmEdge)
    drawn = np.array(code.to_image(scale=1, add_quiet_zones=False)) == 0
    parsed = edge_codes.parsed(text)
    assert parsed is not None
    data = edge_codes.data_bits(parsed)
    assert data == "".join("01"[int(dark)] for dark in drawn[-1])
    assert edge_codes.clock_bits(len(data)) == "".join("01"[int(dark)] for dark in drawn[0])
    assert str(parsed) == text


def test_what_is_no_code_of_film_is_none() -> None:
    assert edge_codes.parsed("PEH-0042") is None
    assert edge_codes.parsed("1157-10/11A") is None


# ------------------------------------------------------------------ numbers by place


@pytest.mark.parametrize(("off", "expected"), [(3.0, ["12", "13"]), (-7.5, ["12", "13"])])
def test_a_frame_has_the_number_of_the_code_next_to_its_centre(
    off: float, expected: list[str]
) -> None:
    found = alone(replace(STRIP, off_mm=off))
    assert numbers(found) == expected
    assert found is not None
    assert found.stock == "79-7"
    assert found.forward is True


def test_half_frames_have_half_numbers() -> None:
    strip = Strip(frames=3, first=25, off_mm=2.0, half_frames=True, lead_mm=(8.0, 8.0))
    assert numbers(alone(strip)) == ["12A", "13", "13A"]


def test_midway_between_two_numbers_nothing_is_told() -> None:
    found = alone(replace(STRIP, off_mm=9.5))
    assert found is not None
    assert found.numbers == {}
    assert "midway" in found.against


@pytest.mark.parametrize("angle", [90.0, 181.5, 268.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_however_it_lies_numbers_and_side_are_told(angle: float, mirrored: bool) -> None:
    strip = replace(STRIP, step=0.5)
    capture = edge_strips.alone(strip, LOOK, angle, mirrored)
    found = told(capture)
    assert found is not None
    by_frame = {k: found.numbers[k + 1] for k in range(2)}
    assert by_frame == dict(enumerate(capture.numbers[0]))
    assert found.forward is not mirrored


def test_reversal_film_has_clear_codes() -> None:
    assert numbers(alone(replace(STRIP, clear=True, step=1.2))) == ["12", "13"]


# ------------------------------------------------------------------ wrong, and looking right


def test_one_code_alone_is_a_hint() -> None:
    found = alone(replace(STRIP, lost=(22, 23, 25, 26, 27, 28)))
    assert found is not None
    assert found.numbers == {}
    assert found.forward is None
    assert [str(code.text) for code in found.others] == ["79-7/12"]


def test_bits_that_parity_lets_pass_are_outvoted() -> None:
    # Two bits of the half frame 24 drawn otherwise: its parity is right, it reads 13A.
    strip = replace(STRIP, frames=3, lead_mm=(12.0, 12.0), wrong=((24, 23), (24, 24)))
    found = alone(strip)
    assert numbers(found) == ["12", "13", "14"]


def test_two_strips_end_to_end_have_each_its_own_numbers() -> None:
    first = replace(STRIP, lead_mm=(2.0, 1.0))
    second = replace(STRIP, first=50, lead_mm=(1.0, 2.0), seed=3)
    length = first.length
    capture = Capture(
        [Laid(first, (-length / 2, 0)), Laid(second, (length / 2, 0))],
        LOOK, (2 * length + 6, 41.0),
    )  # fmt: skip
    capture.frames[0] = [*capture.frames[0], *capture.frames[1]]
    assert numbers(told(capture)) == ["12", "13", "25", "26"]


@pytest.mark.parametrize("turned", [0.0, 180.0])
def test_the_codes_of_the_strip_beside_it_are_not_taken(turned: float) -> None:
    # Edge to edge, as in a sleeve pushed together; the strip asked about has no codes of its own.
    bare = replace(STRIP, coded=False)
    other = replace(STRIP, first=50, seed=5)
    at = edge_strips.WIDTH / 2
    capture = Capture(
        [Laid(bare, (0, -at if turned else at)), Laid(other, (0, at if turned else -at), turned)],
        LOOK, (bare.length + 4, 2 * edge_strips.WIDTH + 4),
    )  # fmt: skip
    found = told(capture)
    assert found is None or not found.numbers


def test_a_margin_without_codes_tells_nothing() -> None:
    assert alone(replace(STRIP, coded=False)) is None


def code(half: int, at: float, stock: str = "79-7", forward: bool = True, side: int = 1) -> Code:
    product, generation = (int(each) for each in stock.split("-"))
    return Code(Text(product, generation, half), side, at, 17.0, forward, 0.9)


def concluded(*codes: Code) -> Told:
    piece = Piece(np.zeros(2), np.array([1.0, 0.0]), 20.0, -60, 60, (1, 2), (-19.0, 19.0))
    return edge_numbers.concluded(piece, codes, edge_numbers._chains(codes))


def test_the_same_code_twice_is_no_agreement() -> None:
    # A clock track taken for data says the same everywhere.
    assert concluded(code(47, -19.0), code(47, 19.0)).numbers == {}


def test_numbers_that_grow_against_the_reading_direction_do_not_agree() -> None:
    assert concluded(code(25, -19.0), code(24, 0.0)).numbers == {}


def test_a_mirrored_code_counts_the_other_way() -> None:
    found = concluded(code(26, -19.0, forward=False), code(25, 0.0, forward=False))
    assert found.numbers == {1: "13", 2: "12"}
    assert found.forward is False


def test_codes_in_both_directions_tell_nothing() -> None:
    both = [code(24, -19.0), code(25, 0.0), code(60, 19.0, side=-1), code(61, 38.0, side=-1)]
    found = concluded(*both)
    assert found.numbers == {}
    assert found.against


def test_groups_among_one_another_tell_nothing() -> None:
    mixed = [code(24, -19.0), code(26, 19.0), code(41, 0.0), code(43, 38.0)]
    found = concluded(*mixed)
    assert found.numbers == {}
    assert found.against


def test_two_frames_of_one_number_have_none() -> None:
    piece = Piece(np.zeros(2), np.array([1.0, 0.0]), 20.0, -60, 60, (1, 2), (-2.0, 2.0))
    codes = [code(24, 0.0), code(25, 19.0)]
    found = edge_numbers.concluded(piece, codes, edge_numbers._chains(codes))
    assert found.numbers == {}
    assert "two frames" in found.against
