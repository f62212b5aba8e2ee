"""What answers a doubt releases a frame from that doubt alone; what only looks alike stays marked."""

import cv2
import numpy as np
import pytest
import skimage.data

from glassine.base.model import Facts
from glassine.locate import formats, learned, locate_array, looks, nearby, weights, witness
from glassine.locate.candidate import Candidate
from glassine.locate.character import Character
from glassine.locate.known import Known
from glassine.locate.looks import JudgedLook
from glassine.locate.scale import Scale

PX = 6  # px per mm


def box(left, top, width, height):
    return np.array(
        [[left, top], [left + width, top], [left + width, top + height], [left, top + height]],
        float,
    )


def picture(corners, **more):
    one = Candidate(corners, False, [1.0] * 4, [True] * 4, "single")
    for name, value in more.items():
        setattr(one, name, value)
    return one


# ------------------------------------------------------------------ bits that are taken back


def sure(*evidence):
    return weights.confidence([weights.Evidence(name) for name in evidence])


def test_an_answer_takes_back_what_it_answers():
    assert sure("even all round") < 0.8
    assert sure("even all round", "orange film around it") == sure()


def test_an_answer_makes_up_for_no_other_doubt():
    for name, by_hand in weights.BY_HAND.items():
        if by_hand.answers:
            assert sure(name) == sure()
            assert sure(name, "side not found") == sure("side not found")
            assert sure(name, *by_hand.answers, "side not found") <= sure("side not found")


def test_what_answers_names_what_is_there():
    answers = {each for weight in weights.BY_HAND.values() for each in weight.answers}
    assert answers <= set(weights.BY_HAND)
    assert all((w.bits < 0) == bool(w.answers) for w in weights.BY_HAND.values())


# ------------------------------------------------------------------ pictures of one format


def cartridge(count=3, picture_mm=(28.0, 28.0), film_mm=35.0, pitch_mm=32.0, px=10.0):
    """Return exposures of one piece of film, parted by bands alone."""
    wide, high = picture_mm
    piece = picture(box(0, 0, count * pitch_mm * px, film_mm * px), levels=2)
    piece.object_corners = piece.corners
    frames = []
    for k in range(count):
        corners = box((2 + pitch_mm * k) * px, 1.5 * px, wide * px, high * px)
        one = picture(corners, whole=piece, levels=2)
        one.against("parted by a band", "one of several by a band alone")
        frames.append(one)
    return frames


def marked(frames):
    return [one for one in frames if weights.confidence(one.evidence) < 0.8]


@pytest.mark.parametrize(
    "film",
    [
        {},
        {"picture_mm": (17.0, 13.0), "film_mm": 16.0, "pitch_mm": 25.0},
        {"picture_mm": (56.0, 56.0), "film_mm": 61.5, "pitch_mm": 61.0, "count": 4},
        {"picture_mm": (70.0, 56.0), "film_mm": 61.5, "pitch_mm": 75.0, "count": 2},
    ],
    ids=["126", "110", "120", "120, two long ones"],
)
@pytest.mark.parametrize("ppi", [None, 254.0], ids=["no scale", "a scale that agrees"])
def test_pictures_of_a_film_format_are_parted_by_no_beam(film, ppi):
    """ISO 732 for 120 film; 126 and 110 are values from memory."""
    frames = cartridge(**film)
    formats.examine(Known(None if ppi is None else Scale(ppi, "tag")), frames)
    assert marked(frames) == []


@pytest.mark.parametrize(
    ("film", "ppi"),
    [
        ({"count": 2}, None),  # one beam
        ({"count": 2, "picture_mm": (41.5, 56.0), "film_mm": 61.5, "pitch_mm": 45.0}, None),
        ({"picture_mm": (30.2, 29.6)}, None),  # the edge that was exposed beforehand is taken in
        ({"picture_mm": (40.0, 29.0), "pitch_mm": 44.0}, None),  # thirds of a view
        ({}, 508.0),  # of that shape, but half as large
    ],
    ids=["two", "two on a piece like a sheet", "with the border", "thirds", "another size"],
)
def test_parts_of_no_format_stay_for_review(film, ppi):
    frames = cartridge(**film)
    formats.examine(Known(None if ppi is None else Scale(ppi, "tag")), frames)
    assert marked(frames) == frames


def test_pictures_of_a_film_format_taken_for_prints_stay_for_review():
    """Their border is clear: on film they are negatives."""
    frames = cartridge()
    for one in frames:
        one.border = np.full(3, 0.1, np.float32)
        one.character = Character("positive", "monochrome", 0.84, 0.97)
    formats.examine(Known(), frames)
    assert marked(frames) == frames


def test_parts_of_unlike_sizes_stay_for_review():
    frames = cartridge()
    frames[1].corners = np.add(frames[1].corners, [[0, 0], [12, 0], [12, 0], [0, 0]])
    formats.examine(Known(), frames)
    assert marked(frames) == frames


# ------------------------------------------------------------------ beside what is unexplained


def beside(frames, *places):
    """Return the numbers of the frames that are told of places, and of which."""
    return {
        next(k for k, frame in enumerate(frames) if frame is one): numbers
        for one, numbers in nearby.beside(frames, list(places))
    }


def test_a_doubt_about_a_place_is_one_of_the_frames_beside_it():
    frames = [picture(box(400 * k, 0, 360, 240)) for k in range(4)]
    assert beside(frames, box(430, 260, 650, 200)) == {1: [0], 2: [0]}


def test_one_frame_stands_for_all_places_far_from_every_frame():
    frames = [picture(box(400 * k, 0, 360, 240)) for k in range(4)]
    far = [box(400 * k, 900 - 50 * k, 300, 200) for k in range(4)]
    assert beside(frames, *far) == {3: [0, 1, 2, 3]}
    assert beside(frames, *far, box(0, 250, 300, 100)) == {0: [4], 3: [0, 1, 2, 3]}
    assert beside([], box(0, 0, 9, 9)) == {}


def test_what_overlaps_is_not_apart():
    assert nearby.distance(box(0, 0, 100, 100), box(40, 40, 10, 10)) == 0
    assert nearby.distance(box(40, 40, 10, 10), box(0, 0, 100, 100)) == 0
    assert nearby.distance(box(0, 0, 100, 100), box(130, 0, 50, 100)) == pytest.approx(30)


# ------------------------------------------------------------------ two looks


def seen(left, polarity="negative", top=0):
    made = Character(polarity, "monochrome", 0.95, 0.97)
    return picture(box(left, top, 800, 600), character=made)


def rests_on_scale(frames, others):
    """Return the frames that are for review since another look shows something else."""
    one, other = (JudgedLook(each, Known(), "sheet") for each in (frames, others))
    looks._doubt_what_differs(one, other, "rests on 300 ppi")
    return [k for k, frame in enumerate(frames) if weights.confidence(frame.evidence) < 0.8]


def test_a_frame_that_both_looks_show_rests_on_no_scale():
    """A frame is wrong from 1 % of its diagonal on, here 10 px."""
    assert rests_on_scale([seen(0)], [seen(0)]) == []
    assert rests_on_scale([seen(0)], [seen(3)]) == []
    assert rests_on_scale([seen(0), seen(1000)], [seen(0), seen(1012)]) == [1]


def test_a_frame_that_one_look_alone_shows_rests_on_its_scale():
    assert rests_on_scale([seen(0), seen(1000)], [seen(0)]) == [1]
    assert rests_on_scale([seen(0), seen(1000)], [seen(0), seen(1000), seen(1900)]) == [1]
    assert rests_on_scale([seen(0)], []) == [0]


def test_a_frame_that_another_look_takes_for_a_positive_rests_on_its_scale():
    assert rests_on_scale([seen(0)], [seen(0, "positive")]) == [0]


# ------------------------------------------------------------------ a line inside a frame


@pytest.mark.parametrize(("at", "released"), [(0.3, True), (0.5, False)])
def test_a_line_in_the_middle_may_be_where_two_halves_meet(at, released):
    one = picture(box(0, 0, 360, 240), strip=1, gauge="135", format_seen=True)
    witness._alone(one, learned.Signs(0.0, 0.0, 0.0, 0.9, at))
    assert (marked([one]) == []) is released


def test_a_line_inside_a_frame_of_no_known_format_is_for_review():
    one = picture(box(0, 0, 360, 240))
    witness._alone(one, learned.Signs(0.0, 0.0, 0.0, 0.9, 0.3))
    assert marked([one]) == [one]


# ------------------------------------------------------------------ an even rim


def held(border):
    """Return what is found of a picture with a dense, even rim inside a border (3 transmittances):
    a night view, about as dense at its edges as film gets.
    """
    grey = np.asarray(skimage.data.coffee(), np.float32).mean(2)[:, :500] / 255
    whole = cv2.resize(grey, (100 * PX, 80 * PX), interpolation=cv2.INTER_AREA)
    lit = np.zeros(whole.shape, np.float32)
    lit[8 * PX : 72 * PX, 8 * PX : 92 * PX] = 1
    view = 1.2 - 0.7 * whole * cv2.GaussianBlur(lit, (0, 0), 2 * PX)
    light = np.ones((110 * PX, 140 * PX, 3), np.float32)
    light[10 * PX : 100 * PX, 15 * PX : 125 * PX] = border
    light[15 * PX : 95 * PX, 20 * PX : 120 * PX] = np.array(border) * 10 ** -view[..., None]
    soft = cv2.GaussianBlur(light, (0, 0), 0.8)
    soft = soft + 0.001 * np.random.default_rng(1).standard_normal(soft.shape)
    pixels = np.round(np.clip(soft, 0, 1) * 60000).astype(np.uint16)
    found = locate_array(
        pixels,
        1,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        Facts(encoding="linear"),
        PX * 25.4,
        {},
    )
    return found.frames[0]


def even(one):
    return any("even all round" in reason for reason in one.reasons)


def test_what_is_dense_inside_orange_film_was_exposed():
    one = held([10**-0.25, 10**-0.62, 10**-0.85])
    assert not even(one)
    assert one.state == "ok", one.reasons
    assert np.array(one.corners).min(0) == pytest.approx([20 * PX, 15 * PX], abs=2)


def test_an_even_rim_inside_a_white_border_may_be_a_board():
    assert even(held([0.93, 0.92, 0.9]))
