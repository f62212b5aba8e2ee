"""The learned map on real plates of three exposures each: a folder beside the checkout holds them.

Published copies of colour-separation negatives of the 1900s and 1910s (Library of Congress, no known
restrictions on publication), not part of the project. Corners were marked by hand, to about 3 px.
"""

from pathlib import Path

import cv2
import numpy as np
import pytest

from glassine.locate import learned
from glassine.locate.encoding import linear_table
from glassine.locate.view import look

FOLDER = Path(__file__).resolve().parents[4] / "shared" / "real"
# Of each exposure: left, top, right, bottom.
MARKED = {
    1: ((16, 12, 374, 348), (14, 352, 377, 689), (14, 694, 378, 1012)),
    2: ((20, 16, 376, 338), (20, 347, 378, 680), (20, 686, 377, 1010)),
    3: ((20, 11, 379, 348), (20, 351, 379, 687), (20, 690, 378, 1012)),
    4: ((14, 15, 370, 347), (14, 351, 371, 686), (15, 693, 371, 1009)),
    5: ((13, 11, 372, 334), (11, 338, 370, 674), (10, 679, 369, 1001)),
    6: ((24, 9, 384, 340), (23, 346, 384, 678), (23, 689, 384, 1008)),
}

pytestmark = pytest.mark.skipif(not FOLDER.is_dir(), reason="no folder of real plates")


def quad(left, top, right, bottom):
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)


@pytest.fixture(params=[(n, way) for n in MARKED for way in ("published", "inverted")], ids=str)
def plate(request):
    """What is seen of a plate, and its three frames."""
    number, way = request.param
    grey = cv2.imread(str(FOLDER / f"plate-{number}.jpg"), cv2.IMREAD_GRAYSCALE)
    grey = grey if way == "published" else 255 - grey
    frames = [quad(*box) for box in MARKED[number]]
    return learned.seen(look(grey, linear_table("srgb"), 1)), frames


def test_nearly_all_of_the_exposures_is_seen_and_hardly_more(plate):
    found, frames = plate
    inside = learned.covered(frames, found, 1, 0)
    outside = ~learned.covered(frames, found, 1, 3)
    assert (found.picture[inside] > 0.5).mean() > 0.95
    assert (found.picture[outside] > 0.5).mean() < 0.01


def test_three_exposures_taken_for_one_are_doubted(plate):
    found, frames = plate
    whole = np.array([frames[0][0], frames[0][1], frames[2][2], frames[2][3]])
    assert learned.signs([whole], found, 1).parted > learned.PARTED


def test_an_exposure_without_a_frame_is_noticed(plate):
    found, frames = plate
    for gone in range(3):
        shown = learned.signs([c for k, c in enumerate(frames) if k != gone], found, 1)
        assert shown.missed > 0.8


def test_true_frames_are_whole_and_none_is_missing(plate):
    """Of the sides nothing is asserted: ragged borders hide some (see MAP.md)."""
    found, frames = plate
    shown = learned.signs(frames, found, 1)
    assert shown.missed == 0
    assert shown.empty < learned.EMPTY
    assert shown.parted < learned.PARTED
