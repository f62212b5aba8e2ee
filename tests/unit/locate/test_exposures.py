"""Several exposures on one plate, print or sheet, told from one picture with lines across it."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage

from glassine.base.model import Facts
from glassine.locate import locate_array
from glassine.locate.exposures import Region, separators
from glassine.locate.repeats import repeat
from makers import real_plates
from makers.film import pictures

PHOTOGRAPHS = Path(skimage.__file__).parent / "data"
# Photographs of things, faces, surfaces and printed pages that come with scikit-image.
NAMES = ("astronaut", "brick", "camera", "chelsea", "coffee", "coins", "grass", "gravel", "page")
VIEWS = ("quay", "fleet", "lighthouse", "snow", "cranes")


def locate(pixels, ppi=None):
    return locate_array(
        pixels,
        1,
        lambda left, top, w, h: pixels[top : top + h, left : left + w],
        Facts(encoding="linear" if pixels.dtype == np.uint16 else "srgb"),
        ppi,
        {},
    )


def corner_error(frame, true):
    """Return the largest distance of a corner from its truth, in % of the diagonal."""
    found, wanted = np.array(frame.corners), np.array(true)
    return 100 * np.hypot(*(found - wanted).T).max() / np.hypot(*(wanted[2] - wanted[0]))


def density(name, size):
    """Return the tones of a photograph or a drawn view as density, (h, w) for size (w, h)."""
    if name in NAMES:
        light = (cv2.imread(str(PHOTOGRAPHS / f"{name}.png")) / 255.0).mean(2) ** 2.2
    else:
        light = pictures.draw(name, 600, 420, 3).mean(2)
    light = cv2.resize(light.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.clip(-np.log10(np.maximum(light, 1e-3)), 0, 2)


def plate(parts, boxes, size, base=0.12, ground=0.0):
    """Return a negative of (w, h) px with `parts` (densities) at `boxes` on a clear base."""
    width, height = size
    table = np.full((height + 80, width + 80), ground, np.float32)
    table[40 : 40 + height, 40 : 40 + width] = base
    for part, (left, top) in zip(parts, boxes, strict=True):
        laid = 0.35 + 0.5 * (2 - part)
        table[40 + top : 40 + top + part.shape[0], 40 + left : 40 + left + part.shape[1]] = laid
    light = cv2.GaussianBlur(10.0**-table, (0, 0), 0.7)
    light = light + 0.001 * np.random.default_rng(5).standard_normal(light.shape)
    return np.round(np.clip(0.95 * light, 0, 1) * 65535).astype(np.uint16)


def box(left, top, width, height):
    left, top = left + 40, top + 40
    return [(left, top), (left + width, top), (left + width, top + height), (left, top + height)]


@pytest.mark.parametrize("inverted", [False, True], ids=["as positives", "as negatives"])
def test_three_exposures_on_a_real_plate_are_three_frames(inverted):
    """Corners marked by hand (tests/makers/real_plates): most within 1 % of the diagonal."""
    near = every = 0
    for one in real_plates.plates():
        frames = locate(one.negative if inverted else one.pixels).frames
        assert len(frames) == len(one.frames), one.name
        errors = [corner_error(f, t) for f, t in zip(frames, one.frames, strict=True)]
        assert max(errors) < 2.5, one.name
        near += sum(error < 1.1 for error in errors)
        every += len(errors)
    assert (near, every) >= (14, 18)


@pytest.mark.parametrize("gaps", [(6, 6), (4, 18)], ids=["even gaps", "uneven gaps"])
def test_three_views_one_below_another_are_three_frames(gaps):
    parts = [density(name, (300, 220)) for name in ("astronaut", "coffee", "chelsea")]
    tops = [20, 240 + gaps[0], 460 + sum(gaps)]
    boxes = [(22, top) for top in tops]
    found = locate(plate(parts, boxes, (344, 700 + sum(gaps)))).frames
    assert len(found) == 3
    for frame, top in zip(found, tops, strict=True):
        assert corner_error(frame, box(22, top, 300, 220)) < 0.5
        assert frame.polarity == "negative"


def test_a_stereo_pair_far_apart_is_two_frames():
    """Two pictures 60 to 75 mm wide on a plate 180 mm long: common practice, no source."""
    part = density("camera", (260, 260))
    found = locate(plate([part, part], [(20, 18), (420, 18)], (700, 296))).frames
    assert [f.kind if hasattr(f, "kind") else "frame" for f in found] == ["frame", "frame"]
    for frame, left in zip(found, (20, 420), strict=True):
        assert corner_error(frame, box(left, 18, 260, 260)) < 0.5


@pytest.mark.parametrize("name", [*NAMES, *VIEWS])
def test_one_picture_is_not_parted(name):
    """Horizons, beams, courses of brick and lines of print run across one picture."""
    part = density(name, (420, 300))
    assert len(locate(plate([part], [(20, 20)], (460, 340))).frames) == 1


@pytest.mark.parametrize("upright", [True, False])
def test_no_random_part_of_a_photograph_holds_a_separator(upright):
    r = np.random.default_rng(21)
    for _ in range(60):
        whole = density(str(r.choice((*NAMES, *VIEWS))), (560, 480))
        height, width = int(r.integers(240, 480)), int(r.integers(260, 560))
        top, left = int(r.integers(0, 481 - height)), int(r.integers(0, 561 - width))
        part = 0.35 + 0.5 * (2 - whole[top : top + height, left : left + width])
        part = np.ascontiguousarray(part if upright else part.T, np.float32)
        for border in (0.12, 2.2, None):
            assert separators(Region(part, border, 0.005)) == []
        assert not repeat(part).plain


def test_the_same_view_twice_is_told_however_dense_each_is():
    view = density("coffee", (300, 240)).astype(np.float32)
    pair = np.concatenate([0.3 + 0.4 * view, 0.2 + 0.8 * view])
    like = repeat(pair)
    assert like.plain
    assert like.step == pytest.approx(240, abs=3)
