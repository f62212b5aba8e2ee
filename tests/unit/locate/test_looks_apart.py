"""A look at a master leaves it as it was: the next one finds what it would have found alone."""

import dataclasses

import cv2
import numpy as np
import pytest

from glassine.base.model import Facts
from glassine.locate import finder, kinds
from glassine.locate.encoding import linear_table
from glassine.locate.scale import Scale
from glassine.locate.scene import Master, Scene, Settings

PPI = 500.0
PX = PPI / 25.4


def strip_of_35_mm_film():
    """Return a strip of two frames on a light table, uint16: 35 mm wide, holes every 4.75 mm."""
    rng = np.random.default_rng(4)
    light = np.full((round(50 * PX), round(100 * PX)), 0.95, np.float32)

    def fill(x, y, w, h, value):
        left, top = round(x * PX), round(y * PX)
        part = light[top : top + round(h * PX), left : left + round(w * PX)]
        part[...] = value if np.isscalar(value) else cv2.resize(value, part.shape[::-1])

    fill(8, 7.5, 84, 35, 0.55)
    for number in range(17):
        for y in (7.5 + 2.01, 7.5 + 35 - 2.01 - 2.8):
            fill(9.5 + 4.75 * number, y, 1.98, 2.8, 0.95)
    for x in (12, 50):
        fill(x, 13, 36, 24, rng.uniform(0.03, 0.3, (12, 18)).astype(np.float32))
    soft = cv2.GaussianBlur(light, (0, 0), 0.8)
    noisy = soft + 0.002 * rng.standard_normal(light.shape)
    return np.round(np.clip(noisy, 0, 1) * 60000).astype(np.uint16)


@pytest.fixture(scope="module")
def scene():
    pixels = strip_of_35_mm_film()
    h, w = pixels.shape
    master = Master(
        pixels,
        1.0,
        lambda left, top, width, height: pixels[top : top + height, left : left + width],
        w,
        h,
        linear_table("linear"),
    )
    return Scene.of(master, Facts(encoding="linear"), Settings())


def found(scene, scale):
    look = finder.exactly(scene, finder.roughly(scene, scale))
    known = look.known
    return (
        [c.corners.tolist() for c in look.frames],
        [c.strip for c in look.frames],
        look.kind,
        (known.scale, known.seen, known.mm),
        [region.tolist() for region in known.base_regions],
        len(known.patches),
    )


def test_a_look_by_a_wrong_scale_leaves_the_next_one_as_it_was(scene):
    alone = found(scene, None)
    assert alone[2] == "strip_135" and alone[1] == [1, 1]
    assert alone[3][0].ppi == pytest.approx(PPI, rel=0.01)
    found(scene, Scale(2.5 * PPI, "tag"))
    assert found(scene, None) == alone


def test_asking_whether_film_is_there_leaves_what_is_known_as_it_was(scene):
    look = finder.exactly(scene, finder.roughly(scene, None))
    stated = dataclasses.replace(scene, facts=Facts(encoding="linear", kind="sheet"))
    before = look.known
    said = kinds.against(stated, look.known, look.frames)
    assert said == "stated as sheet, but perforations of 35 mm film are seen"
    assert look.known is before and stated.kind == "sheet"


def test_what_was_seen_and_what_is_known_cannot_be_changed(scene):
    known = finder.roughly(scene, None).known
    for value, name in ((scene, "layout"), (scene.settings, "fit"), (known, "scale")):
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(value, name, None)
