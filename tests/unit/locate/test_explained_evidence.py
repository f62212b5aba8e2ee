"""What lies on a master and has an ordinary explanation asks nobody; what only looks alike does."""

from types import SimpleNamespace

import numpy as np
import pytest

from glassine.locate import (
    formats,
    judge,
    learned,
    masks,
    nearby,
    polarity,
    unexplained,
    weights,
    witness,
)
from glassine.locate.candidate import Candidate
from glassine.locate.character import Character
from glassine.locate.known import Known
from glassine.locate.refine import Edge
from glassine.locate.scale import Scale


def box(left, top, width, height):
    return np.array(
        [[left, top], [left + width, top], [left + width, top + height], [left, top + height]],
        float,
    )


def marked(frames):
    return [weights.confidence(one.evidence) < 0.8 for one in frames]


# ------------------------------------------------------------------ exposures of one camera


def exposures(*sizes):
    """Return exposures of these sizes (px) below one another on one piece."""
    piece = Candidate(box(0, 0, 400, 1024), False, [1.0] * 4, [True] * 4, "single")
    frames, top = [], 20
    for width, height in sizes:
        one = Candidate(box(20, top, width, height), False, [1.0] * 4, [True] * 4, "single")
        one.whole = piece
        frames.append(one)
        top += height + 6
    formats.examine(Known(), frames)
    return frames


def test_exposures_as_on_real_plates_are_alike():
    """Sizes marked on plates 1, 2 and 4 (tests/makers/real_plates)."""
    assert marked(exposures((360, 323), (361, 336), (360, 318))) == [False] * 3
    assert marked(exposures((357, 322), (359, 333), (359, 319))) == [False] * 3
    assert marked(exposures((357, 325), (357, 334), (357, 315))) == [False] * 3


def test_an_exposure_wider_than_those_beside_it_is_for_review():
    """As plate 1 was found at first: light in the border taken for the picture's left side."""
    assert marked(exposures((366, 322), (361, 335), (361, 320))) == [True, False, False]


def test_of_two_exposures_of_unlike_length_nothing_tells_which_is_wrong():
    assert marked(exposures((600, 520), (600, 548))) == [True, True]
    assert marked(exposures((600, 520), (600, 524))) == [False, False]


# ------------------------------------------------------------------ two pictures of cartridge film


def two_of_126(film_mm=35.0, pitch_mm=32.0, ppi=254.0):
    px = ppi / 25.4
    piece = Candidate(box(0, 0, 68 * px, film_mm * px), False, [1.0] * 4, [True] * 4, "single")
    piece.object_corners = piece.corners
    frames = []
    for k in range(2):
        corners = box((2 + pitch_mm * k) * px, 3 * px, 27.2 * px, 27.7 * px)
        one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single")
        one.whole = piece
        one.against("parted by a band", "one of several by a band alone")
        frames.append(one)
    return frames


@pytest.mark.parametrize(("said", "asked"), [(254.0, False), (127.0, True), (None, True)])
def test_two_pictures_on_film_as_narrow_as_no_sheet_are_parted_by_no_beam(said, asked):
    """126 film is 35 mm wide; no sheet or plate is (ISO 1012 begins at 60 mm; value from memory)."""
    frames = two_of_126()
    formats.examine(Known(None if said is None else Scale(said, "tag")), frames)
    assert marked(frames) == [asked, asked]


# ------------------------------------------------------------------ plain sides in black


def in_black(contrast=1.2, dark=True, varied=0.4, residual=0.2):
    one = Candidate(box(0, 0, 360, 240), dark, [1.0] * 4, [True] * 4, "single")
    edges = zip(one.corners, np.roll(one.corners, -1, 0), strict=True)
    one.edges = [Edge(p, q, 0.95, residual, contrast, (p + q) / 2, 1e-4) for p, q in edges]
    one.varied = varied
    return one


def with_half_seen_empty(one):
    witness._alone(one, learned.Signs(0.0, 0.4, 0.0, 0.0))
    return marked([one])[0]


def test_a_wall_in_a_picture_that_black_bounds_plainly_is_no_card():
    assert not with_half_seen_empty(in_black())


@pytest.mark.parametrize(
    "more", [{"contrast": 0.1}, {"dark": False}, {"varied": 0.03}, {"residual": 4.0}]
)
def test_what_is_bounded_otherwise_and_looks_empty_is_for_review(more):
    assert with_half_seen_empty(in_black(**more))


@pytest.mark.parametrize("other", ["even all round", "table inside", "mask without a picture"])
def test_what_looks_empty_and_shows_it_otherwise_too_is_for_review(other):
    one = in_black()
    one.against(other, other)
    assert with_half_seen_empty(one)


# ------------------------------------------------------------------ masks over the table


def test_black_that_reaches_beyond_the_master_on_two_sides_is_a_mask():
    grey = np.full((100, 160), 0.3, np.float32)
    grey[:, :20] = 2.4  # left, from top to bottom
    grey[40:60, 130:] = 2.4  # the black end of a film
    grey[70:90, 60:80] = 2.4  # black within the picture
    over = masks.opaque_areas(grey)
    assert over[:, :20].all()
    assert not over[:, 20:].any()


def test_a_dense_picture_is_no_mask():
    grey = np.full((100, 160), 1.4, np.float32)
    assert not masks.opaque_areas(grey).any()


# ------------------------------------------------------------------ paper is no film


@pytest.mark.parametrize("on_paper", [False, True])
def test_a_print_in_light_from_above_is_not_several_frames_of_120_film(on_paper):
    """Frames on 120 film are 56 mm high (ISO 732)."""
    mm = 10.0
    one = Candidate(box(0, 0, 98 * mm, 56 * mm), False, [1.0] * 4, [True] * 4, "single")
    scene = SimpleNamespace(width=1000, height=700, facts=SimpleNamespace(size_mm=None))
    judge._size(scene, Known(Scale(mm * 25.4, "tag")), one, True, on_paper)
    assert ("size of several on 120 film" in [each.feature for each in one.evidence]) != on_paper


# ------------------------------------------------------------------ grey pictures in black


def grey(low, high, process="monochrome"):
    made = Character("positive", process, 0.95, 0.97)
    one = Candidate(box(0, 0, 360, 240), True, [1.0] * 4, [True] * 4, "single")
    return one, made, np.linspace(low, high, 4000, dtype=np.float32)


@pytest.mark.parametrize(
    ("low", "high", "lamp_seen", "sure"),
    [
        (0.05, 1.4, True, True),  # whites as clear as the light beside it
        (0.05, 1.4, False, False),  # as clear as the clearest that is seen, which is itself
        (0.84, 1.76, True, False),  # a negative in a slide's mount
        (0.2, 2.7, False, True),  # longer than any negative's scale
    ],
)
def test_a_grey_picture_in_a_mount_may_be_a_negative(low, high, lamp_seen, sure):
    """Black and white negatives span about 1.5 of density, transparencies up to 3 (values from
    memory, as in `character`).
    """
    one, made, tones = grey(low, high)
    trust = polarity.grey_in_black(one, made, tones, lamp_seen).polarity_trust
    assert (trust == made.polarity_trust) == sure
    assert sure or trust < judge.CLEAR


def test_pictures_in_colour_and_frames_of_a_strip_have_signs_of_their_own():
    one, made, tones = grey(0.8, 1.7, "colour")
    assert polarity.grey_in_black(one, made, tones, True) == made
    one, made, tones = grey(0.8, 1.7)
    one.strip = 1
    assert polarity.grey_in_black(one, made, tones, True) == made


def test_a_board_that_sends_back_light_is_no_mask():
    """Reflectance 0.4 against the paper on it, and card of a mask: 0.02 (as in `kinds.BOARD`)."""
    assert polarity.sends_back_light(0.4)
    assert not polarity.sends_back_light(1.6)


# ------------------------------------------------------------------ film by its format


def taken_for_prints(ppi):
    frames = two_of_126()
    for one in frames:
        one.border = np.full(3, 0.1, np.float32)
        one.character = Character("positive", "monochrome", 0.6, 0.97)
        one.against("polarity unclear", "negative or positive")
    formats.examine(Known(None if ppi is None else Scale(ppi, "tag")), frames)
    return frames


def test_grey_pictures_on_film_as_wide_as_it_comes_with_a_clear_border_are_negatives():
    frames = taken_for_prints(254.0)
    assert marked(frames) == [False, False]
    assert {one.character.polarity for one in frames} == {"negative"}


@pytest.mark.parametrize("ppi", [None, 127.0])
def test_without_a_resolution_that_agrees_their_polarity_stays_unclear(ppi):
    frames = taken_for_prints(ppi)
    assert marked(frames) == [True, True]
    assert {one.character.polarity for one in frames} == {"positive"}


# ------------------------------------------------------------------ one frame of a film


def film_frame(left, width=360):
    one = Candidate(box(left, 50, width, 240), False, [1.0] * 4, [True] * 4, "strip")
    one.strip, one.gauge = 1, "135"
    return one


SIZE = 500.0, 340.0
NEXT = box(455, 60, 45, 220)


def test_a_part_of_the_next_picture_beside_the_one_that_was_captured_is_film():
    assert nearby.is_next_picture([film_frame(70)], NEXT, SIZE)


@pytest.mark.parametrize(
    ("frames", "place", "size"),
    [
        ([film_frame(70), film_frame(-310)], NEXT, SIZE),  # of several frames one is cut off
        ([film_frame(70)], box(455, 60, 330, 220), (900.0, 340.0)),  # most of a frame
        ([film_frame(70)], box(455, 60, 45, 220), (900.0, 340.0)),  # cut off by nothing
        ([film_frame(70)], box(100, 300, 300, 40), SIZE),  # beside the film
    ],
)
def test_what_else_lies_beside_a_frame_is_said(frames, place, size):
    assert not nearby.is_next_picture(frames, place, size)


# ------------------------------------------------------------------ sizes of cameras' gates


def gate(long_mm, share=0.95, residual=0.2):
    """Return a frame on 35 mm film so long, marked for its size, at 10 px a mm."""
    one = Candidate(box(0, 0, long_mm * 10, 243), False, [1.0] * 4, [True] * 4, "strip")
    edges = zip(one.corners, np.roll(one.corners, -1, 0), strict=True)
    one.edges = [Edge(p, q, share, residual, 0.5, (p + q) / 2, 1e-4) for p, q in edges]
    one.against("no size on 35 mm film", "no usual size")
    unexplained._one_gate(Known(Scale(254.0, "perforations")), [one])
    return marked([one])[0]


def test_a_frame_with_two_plain_ends_has_the_length_of_its_gate():
    """ISO 1007 gives 36 mm; gates of cameras are up to 36.8 mm long (value from memory)."""
    assert not gate(36.7)


@pytest.mark.parametrize(
    ("long", "share", "residual"), [(37.2, 0.95, 0.2), (36.7, 0.5, 0.2), (36.7, 0.95, 2.0)]
)
def test_a_frame_much_longer_or_with_a_poor_end_is_for_review(long, share, residual):
    assert gate(long, share, residual)
