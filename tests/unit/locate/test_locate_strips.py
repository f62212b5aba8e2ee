"""Roll film, cut film and mounts drawn here to the millimetre: dimensions as in film.py."""

import cv2
import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.locate import character, locate_array

MM = 10  # px


def canvas(width_mm, height_mm, light=0.95):
    return np.full((round(height_mm * MM), round(width_mm * MM), 3), light, np.float32)


def fill(image, x, y, w, h, light):
    """Paint a rectangle given in mm."""
    part = slice(round(y * MM), round((y + h) * MM)), slice(round(x * MM), round((x + w) * MM))
    image[part] = light


def picture(image, x, y, w, h, low, high, seed=1):
    """Lay a soft, uneven picture between two levels of light."""
    r = np.random.default_rng(seed)
    size = round(w * MM), round(h * MM)
    soft = cv2.resize(r.uniform(0, 1, (8, 12)).astype(np.float32), size, None, 0, 0, 1)
    rows, columns = round(y * MM), round(x * MM)
    laid = low + (high - low) * soft[..., None]
    image[rows : rows + size[1], columns : columns + size[0]] = laid


def perforate(image, x, length, top, light=0.95):
    """Punch both rows of holes into 35 mm film (pitch 4.75, 1.98 x 2.79, 2.01 mm from the edge)."""
    for k in range(int(length / 4.75) + 1):
        at = x + 0.7 + 4.75 * k
        if at + 1.981 > x + length:
            continue
        for y in (top + 2.01, top + 34.976 - 2.01 - 2.794):
            fill(image, at, y, 1.981, 2.794, light)


def locate(image, kind="auto", ppi=254.0):
    r = np.random.default_rng(3)
    soft = cv2.GaussianBlur(image, (0, 0), 0.8)
    soft = soft + 0.0006 * r.standard_normal(soft.shape)
    pixels = np.round(np.clip(soft, 0, 1) * 65535).astype(np.uint16)
    return locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear", kind=kind),
        ppi,
        {},
    )


def box_mm(frame):
    """Return left, top, right, bottom of a frame, mm."""
    c = np.array(frame.corners) / MM
    return [*c.min(0), *c.max(0)]


@pytest.mark.parametrize("gap", [0.0, 3.0])
def test_two_frames_side_by_side_are_not_one_long_one(gap):
    """6 x 12 is as long as two frames of 6 x 6 (ISO 732: 56 and 118 mm)."""
    image = canvas(140, 80)
    fill(image, 8, 9, 124, 61.5, 0.6)
    for k in range(2):
        picture(image, 12 + k * (56 + gap), 11.75, 56, 56, 0.02 + 0.1 * k, 0.1 + 0.2 * k, seed=k)
    frames = locate(image).frames
    assert len(frames) == 2
    for k, frame in enumerate(frames):
        left = 12 + k * (56 + gap)
        assert box_mm(frame) == pytest.approx([left, 11.75, left + 56, 67.75], abs=0.3)


def test_a_wide_view_with_plain_sides_and_no_step_where_two_would_meet_is_one():
    image = canvas(140, 80)
    fill(image, 8, 9, 124, 61.5, 0.6)
    picture(image, 11, 11.75, 117, 56, 0.02, 0.3)
    (frame,) = locate(image).frames
    assert box_mm(frame) == pytest.approx([11, 11.75, 128, 67.75], abs=0.3)
    assert frame.reasons == ()


def test_a_long_picture_with_a_step_where_two_would_meet_is_several_or_a_person_looks():
    """Two of 56 mm and the film between them, as dense as they are: light fell on it too."""
    image = canvas(140, 80)
    fill(image, 8, 9, 124, 61.5, 0.6)
    picture(image, 11, 11.75, 57, 56, 0.02, 0.06)
    picture(image, 68, 11.75, 56, 56, 0.12, 0.3, seed=2)
    frames = locate(image).frames
    assert len(frames) == 2 or {frame.state for frame in frames} == {"review"}


def test_film_left_over_at_the_end_of_a_strip_is_no_frame():
    image = canvas(190, 50)
    fill(image, 5, 7, 178, 34.976, 0.5)
    perforate(image, 5, 178, 7)
    for k in range(4):
        picture(image, 7 + 38 * k, 12.488, 36, 24, 0.02, 0.3, seed=k)
    frames = locate(image, ppi=None).frames
    assert len(frames) == 4
    assert not any(frame.blank for frame in frames)


def test_a_night_on_a_piece_cut_close_is_placed_by_its_perforations():
    """The frame is 24 x 36 mm (ISO 1007) and lies midway between the rows of holes."""
    image = canvas(120, 50)
    for x in (6, 62):
        fill(image, x, 7, 37.4, 34.976, 0.001)
        perforate(image, x, 37.4, 7)
    picture(image, 6.7, 12.488, 36, 24, 0.05, 0.6)
    fill(image, 62.7, 12.488, 36, 24, 0.0012)
    fill(image, 80, 20, 1.5, 3, 0.01)
    frames = locate(image, ppi=None).frames
    assert len(frames) == 2
    assert box_mm(frames[1]) == pytest.approx([62.7, 12.488, 98.7, 36.488], abs=0.8)
    assert frames[1].state == "review"


def test_a_frame_cut_off_by_the_masters_edge_is_for_review():
    image = canvas(130, 50)
    fill(image, 0, 7, 130, 34.976, 0.5)
    perforate(image, 0, 130, 7)
    fill(image, 0, 12.488, 26, 24, 0.1)
    for k in range(2):
        picture(image, 28 + 38 * k, 12.488, 36, 24, 0.02, 0.3, seed=k)
    frames = locate(image, ppi=None).frames
    whole = [frame for frame in frames if not frame.blank and box_mm(frame)[0] > 20]
    assert [round(box_mm(frame)[0]) for frame in whole] == [28, 66]
    # What is left of the third may be wanted: a person is told of it beside the nearest frame.
    assert frames[0].state == "review"
    assert [frame.state for frame in whole][-1] == "ok"


@pytest.mark.parametrize("mount", [0.9, 0.25, 0.004])
def test_a_slide_is_known_by_its_mount_whatever_its_colour(mount):
    """50 x 50 mm (film.py: MOUNT); what is mounted for projection is a positive."""
    image = canvas(64, 64, 0.02)
    fill(image, 7, 7, 50, 50, mount)
    picture(image, 14.9, 20.6, 34.2, 22.8, 0.01, 0.5)
    geometry = locate(image)
    assert geometry.kind == "mounted_slide"
    assert [frame.polarity for frame in geometry.frames] == ["positive"]


def test_noise_in_the_dark_is_no_colour():
    r = np.random.default_rng(5)
    grey = np.repeat(1.4 + 0.1 * r.uniform(-1, 1, (14400, 1)), 3, 1)
    noisy = (grey + 0.03 * r.standard_normal(grey.shape)).astype(np.float32)
    assert character.colourfulness(noisy) < character.COLOUR_STRAY


def test_colours_that_lie_in_areas_are_seen_through_noise():
    r = np.random.default_rng(5)
    tint = np.repeat(r.uniform(-0.1, 0.1, (144, 3)), 100, axis=0)
    v = (0.8 + tint + 0.01 * r.standard_normal(tint.shape)).astype(np.float32)
    assert character.is_colour(v)


def test_a_mount_in_which_no_picture_shows_is_for_review():
    image = canvas(64, 64)
    fill(image, 7, 7, 50, 50, 0.004)
    (frame,) = locate(image).frames
    assert frame.state == "review"
    assert any("no picture found" in reason for reason in frame.reasons)


def test_a_white_mount_with_a_picture_too_pale_to_find_is_for_review():
    image = canvas(64, 64, 0.02)
    fill(image, 7, 7, 50, 50, 0.9)
    (frame,) = locate(image).frames
    assert frame.state == "review"
