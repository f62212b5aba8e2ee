"""The marks on the real plates lie on the steps that the plates show."""

import numpy as np
import pytest

from glassine.base import corrections
from makers import real_plates

PLATES = real_plates.plates()
named = pytest.mark.parametrize("plate", PLATES, ids=[plate.name for plate in PLATES])


def band(plate, frame, side, away_px):
    """Return the values along a side, `away_px` outside of it (negative: inside), ends left out."""
    a, b = frame[side], frame[(side + 1) % 4]
    along = (b - a) / np.hypot(*(b - a))
    outwards = np.array([along[1], -along[0]])
    points = a + np.linspace(0.05, 0.95, 200)[:, None] * (b - a) + away_px * outwards
    height, width = plate.pixels.shape
    columns = np.clip(points[:, 0].astype(int), 0, width - 1)
    rows = np.clip(points[:, 1].astype(int), 0, height - 1)
    return plate.pixels[rows, columns].astype(float)


def test_there_are_six_plates_of_three_frames():
    assert [len(plate.frames) for plate in PLATES] == [3] * 6


@named
def test_frames_are_what_a_person_could_state(plate):
    frames = [
        {"frame": number, "corners": frame.tolist()} for number, frame in enumerate(plate.frames, 1)
    ]
    corrections.check({"corrections": [{"item": "PEH-0001", "frames": frames}]}, plate.name)
    tops = [frame[0, 1] for frame in plate.frames]
    assert tops == sorted(tops)
    for upper, lower in zip(plate.frames, plate.frames[1:], strict=False):
        assert lower[:2, 1].min() > upper[2:, 1].max()


@named
def test_the_frames_of_a_plate_are_of_one_width(plate):
    # One holder, one lens: the exposures of a plate are equally wide.
    widths = [
        np.hypot(*(frame[end] - frame[start]))
        for frame in plate.frames
        for start, end in ((0, 1), (3, 2))
    ]
    assert max(widths) - min(widths) < 4


@named
def test_the_border_is_darker_than_the_picture_along_most_of_each_side(plate):
    # As a positive, what was not exposed is black. Some borders are no wider than 2 px.
    for number, frame in enumerate(plate.frames, 1):
        for side in range(4):
            border = np.min([band(plate, frame, side, away) for away in (1, 2)], axis=0)
            darker = border < band(plate, frame, side, -3)
            assert darker.mean() > 0.7, (number, side)


@named
def test_the_step_lies_within_two_pixels_of_the_mark(plate):
    offsets = np.arange(-7, 8)
    for number, frame in enumerate(plate.frames, 1):
        for side in range(4):
            values = np.array([band(plate, frame, side, away) for away in offsets])
            # Where each place along the side falls most from the inside outwards.
            place = offsets[np.argmin(np.diff(values, axis=0), axis=0)] + 0.5
            assert abs(np.median(place)) <= 2, (number, side, np.median(place))
