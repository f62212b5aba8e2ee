"""What answers a doubt releases a frame from that doubt alone; what only looks alike stays marked."""

import math

import cv2
import numpy as np
import pytest
import skimage.data

from glassine.base.model import Facts, Frame
from glassine.locate import formats, learned, locate_array, nearby, scale, weights, witness
from glassine.locate.candidate import Candidate
from glassine.locate.known import Known
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
    ],
    ids=["126", "110", "120"],
)
@pytest.mark.parametrize("ppi", [None, 254.0], ids=["no scale", "a scale that agrees"])
def test_three_pictures_of_a_film_format_are_no_beams(film, ppi):
    """ISO 732 for 120 film; 126 and 110 are values from memory."""
    frames = cartridge(**film)
    formats.examine(Known(None if ppi is None else Scale(ppi, "tag")), frames)
    assert marked(frames) == []


@pytest.mark.parametrize(
    ("film", "ppi"),
    [
        ({"count": 2}, None),  # one beam
        ({"picture_mm": (30.2, 29.6)}, None),  # the edge that was exposed beforehand is taken in
        ({"picture_mm": (40.0, 29.0), "pitch_mm": 44.0}, None),  # thirds of a view
        ({}, 508.0),  # of that shape, but half as large
    ],
    ids=["two", "with the border", "thirds", "another size"],
)
def test_parts_of_no_format_stay_for_review(film, ppi):
    frames = cartridge(**film)
    formats.examine(Known(None if ppi is None else Scale(ppi, "tag")), frames)
    assert marked(frames) == frames


def test_parts_of_unlike_sizes_stay_for_review():
    frames = cartridge()
    frames[1].corners = np.add(frames[1].corners, [[0, 0], [12, 0], [12, 0], [0, 0]])
    formats.examine(Known(), frames)
    assert marked(frames) == frames


# ------------------------------------------------------------------ beside what is unexplained


def test_a_doubt_about_a_place_is_one_of_the_frames_beside_it():
    frames = [picture(box(400 * k, 0, 360, 240)) for k in range(4)]
    below = nearby.beside(frames, box(430, 260, 650, 200))
    assert [one is frame for one, frame in zip(below, frames[1:3], strict=True)] == [True, True]


def test_the_nearest_frame_stands_for_a_place_far_from_all():
    frames = [picture(box(400 * k, 0, 360, 240)) for k in range(4)]
    (one,) = nearby.beside(frames, box(1300, 900, 200, 200))
    assert one is frames[3]
    assert nearby.beside([], box(0, 0, 9, 9)) == []


def test_what_overlaps_is_not_apart():
    assert nearby.distance(box(0, 0, 100, 100), box(40, 40, 10, 10)) == 0
    assert nearby.distance(box(40, 40, 10, 10), box(0, 0, 100, 100)) == 0
    assert nearby.distance(box(0, 0, 100, 100), box(130, 0, 50, 100)) == pytest.approx(30)


# ------------------------------------------------------------------ two looks


def frame(corners, blank=False):
    where = tuple((float(x), float(y)) for x, y in corners)
    return Frame(1, where, 0.0, "negative", "colour", blank=blank)


def test_looks_that_hardly_differ_cost_little_and_others_all():
    """A frame is wrong from 1 % of its diagonal on."""
    one, near, far = box(0, 0, 800, 600), box(3, 0, 800, 600), box(30, 0, 800, 600)
    assert scale.frames_apart([frame(one)], [frame(one)]) == 0
    assert scale.frames_apart([frame(one)], [frame(near)]) == pytest.approx(0.003)
    assert scale.frames_apart([frame(one)], [frame(far)]) == pytest.approx(0.03)
    assert scale.frames_apart([frame(one)], []) == math.inf
    assert scale.frames_apart([frame(one)], [frame(one, blank=True)]) == math.inf


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
    view = 1.75 - 0.9 * whole * cv2.GaussianBlur(lit, (0, 0), 2 * PX)
    light = np.ones((110 * PX, 140 * PX, 3), np.float32)
    light[10 * PX : 100 * PX, 15 * PX : 125 * PX] = border
    light[15 * PX : 95 * PX, 20 * PX : 120 * PX] = np.array(border) ** 0.2 * 10 ** -view[..., None]
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
