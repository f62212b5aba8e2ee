"""What the learned map says of drawn film, and that it says the same on every processor."""

import hashlib
import json
import sys
from pathlib import Path

import numpy as np
import pytest

from glassine.locate import learned
from glassine.locate.encoding import linear_table
from glassine.locate.view import look
from makers import processors
from makers.film import KINDS, make_scene

SCRIPTS = Path(learned.__file__).parents[2]


def seen_of(kind, seed=31, width=1000):
    """Return what is seen of a drawn master, and the corners of its pictures."""
    image, truth = make_scene(kind, seed=seed, width=width, gamma=1.0)
    found = learned.seen(look(image.squeeze(), linear_table("linear"), 1))
    frames = [np.array(f["corners"]) for f in truth["frames"] if not f["blank"]]
    return found, frames


# A sleeve is paper with writing on it: no picture, though the paper counts as its frame.
@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "sleeve"])
def test_most_of_each_picture_is_seen_and_little_beside_it(kind):
    found, frames = seen_of(kind)
    inside = learned.covered(frames, found, 1, 0)
    outside = ~learned.covered(frames, found, 1, 4)
    assert (found.picture[inside] > 0.5).mean() > 0.9
    assert (found.picture[outside] > 0.5).mean() < 0.1


def test_a_frame_that_was_missed_is_an_area_that_nothing_explains():
    found, frames = seen_of("strip_135")
    assert learned.unexplained(frames, found, 1) == []
    missed = frames.pop(1)
    (area,) = learned.unexplained(frames, found, 1)
    assert np.hypot(*(area.corners.mean(0) - missed.mean(0))) < 0.1 * np.ptp(missed, axis=0).max()


def test_an_empty_table_shows_no_picture():
    rng = np.random.default_rng(3)
    table = (60_000 + rng.normal(0, 200, (500, 700, 3))).astype(np.uint16)
    found = learned.seen(look(table, linear_table("linear"), 1))
    assert (found.picture > 0.5).mean() < 0.01
    assert learned.unexplained([], found, 1) == []


@pytest.mark.parametrize("shape", [(8, 8), (9, 900), (2000, 40), (333, 500, 1)])
def test_masters_of_any_shape_are_taken(shape):
    view = look(np.full(shape, 30_000, np.uint16), linear_table("linear"), 1)
    found = learned.seen(view)
    assert found.picture.shape == found.edge.shape == found.kind.shape
    assert np.isfinite(found.picture).all()


# As the steps have it, OpenCV without choices; and with all that the processor has.
SCORES = """
import hashlib, sys
import cv2, numpy as np
sys.path.insert(0, sys.argv[1])
from glassine.base import processor
from glassine.locate import learned
if sys.argv[2] == "plain":
    processor.same_everywhere()
tones = np.random.default_rng(5).integers(0, learned.GREATEST + 1, (96, 160, 3), np.uint16)
print(hashlib.sha256(learned.scores_of(tones).tobytes()).hexdigest())
"""


def test_scores_are_the_same_on_every_processor_whatever_opencv_uses():
    found = set()
    for how in ("plain", "all it has"):
        command = [sys.executable, "-c", SCORES, str(SCRIPTS), how]
        done = processors.run(command, capture_output=True, text=True, check=True)
        found |= {one.stdout for one in done.values()}
    assert len(found) == 1


def test_the_file_is_small_and_the_one_that_its_record_tells_of():
    record = json.loads(learned.FILE.with_suffix(".json").read_text("utf-8"))
    assert record["sha256"] == hashlib.sha256(learned.FILE.read_bytes()).hexdigest()
    assert learned.FILE.stat().st_size < 4_000_000


def test_the_network_s_sums_stay_within_what_float32_holds():
    """Whole numbers up to 2 ** 24 are exact in float32 (IEEE 754, 24 bits of significand)."""
    record = json.loads(learned.FILE.with_suffix(".json").read_text("utf-8"))
    assert max(record["reach"].values()) < 1


def strip():
    """Return what is seen of a strip, and its frames from left to right."""
    found, frames = seen_of("strip_135")
    return found, sorted(frames, key=lambda c: c[:, 0].mean())


def said(frames, found):
    return " ".join(learned.doubts(learned.signs(frames, found, 1)))


def test_nothing_speaks_against_true_frames():
    found, frames = strip()
    assert said(frames, found) == ""


def test_two_pictures_taken_for_one_are_doubted():
    found, (a, b, *others) = strip()
    whole = np.array([a[0], b[1], b[2], a[3]])
    assert "runs through" in said([whole, *others], found)


def test_a_frame_on_bare_film_is_doubted():
    found, frames = strip()
    frames[0] = frames[0] - (0, 0.8 * np.ptp(frames[0][:, 1]))
    assert "does not look like picture" in said(frames, found)


def test_half_a_picture_is_doubted():
    found, (a, *others) = strip()
    half = np.array([a[0], (a[0] + a[1]) / 2, (a[2] + a[3]) / 2, a[3]])
    words = said([half, *others], found)
    assert "where no frame is" in words
    assert "no edge" in words


def test_a_network_that_was_used_for_another_size_gives_the_same() -> None:
    """It is read once a process, and pictures of all sizes go through it."""
    rng = np.random.default_rng(5)
    sizes = ((48, 64), (96, 80), (33, 47))
    pictures = [rng.integers(0, learned.GREATEST, (*size, 3)).astype(np.uint16) for size in sizes]
    learned._network.cache_clear()
    alone = []
    for tones in pictures:
        learned._network.cache_clear()
        alone.append(learned.scores_of(tones))
    for order in ((0, 1, 2), (2, 0, 1, 1, 0)):
        for number in order:
            assert (learned.scores_of(pictures[number]) == alone[number]).all()
