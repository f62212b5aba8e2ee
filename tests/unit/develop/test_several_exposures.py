"""Exposures of one capture are recognised by what they show; frames of one holder stay apart."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from glassine.base.errors import GlassineError
from glassine.develop import shots
from glassine.masters import raws
from makers import raw_files
from unit.develop.test_develop_figures import developed

CAMERA = raw_files.Camera()
HEIGHT, WIDTH = 480, 720


def scene(seed, contrast=1.0):
    """Return light through a frame in a holder, (h, w, 3): the holder is the same for all seeds."""
    random = np.random.default_rng(seed)
    noise = cv2.GaussianBlur(random.standard_normal((HEIGHT, WIDTH)), (0, 0), 12)
    film = 10.0 ** -(0.9 + 0.5 * contrast * noise / noise.std())
    light = np.full((HEIGHT, WIDTH), 0.9)
    light[40:-40, 40:-40] = 0.004  # the holder
    light[70:-70, 70:-70] = film[70:-70, 70:-70]
    return raw_files.table(HEIGHT, WIDTH) * np.clip(light, 0, 1)[..., None]


def written(folder, scenes, shot_of=lambda number: raw_files.Shot()):
    names = []
    for number, light in enumerate(scenes):
        names.append(f"PEH-0001_{number + 1}.dng")
        raw_files.write(folder / names[-1], light, CAMERA, shot_of(number), seed=number)
    return names


def held(folder, names):
    with pytest.raises(GlassineError) as problem:
        developed(folder, folder / "i", names)
    (finding,) = problem.value.findings
    assert finding.code == "develop.multi_shot" and finding.severity == "hold"
    return finding.what


def test_four_exposures_of_pixel_shift_are_one_capture(tmp_path):
    whole = scene(1)
    shifted = [np.roll(whole, shift, (0, 1)) for shift in ((0, 0), (0, 1), (1, 1), (1, 0))]
    words = held(tmp_path, written(tmp_path, shifted))
    assert "4 raw captures" in words and "pixel shift" in words and "PEH-0001_4.dng" in words


def test_a_bracket_is_one_capture(tmp_path):
    exposures = [(1, 240), (1, 60), (1, 15)]
    scenes = [np.clip(scene(1) * share, 0, 1) for share in (0.25, 1.0, 4.0)]
    names = written(tmp_path, scenes, lambda number: raw_files.Shot(exposures[number]))
    words = held(tmp_path, names)
    assert "exposure bracket" in words and "0.06667 s" in words


@pytest.mark.parametrize("contrast", [1.0, 0.2, 0.0])
def test_frames_of_one_holder_are_captures_of_their_own(contrast, tmp_path):
    names = written(tmp_path, [scene(seed, contrast) for seed in (1, 2, 3)])
    looks = [shots.look_at(raws.read(tmp_path / name, 10**6), name, None) for name in names]
    assert shots.sets(looks) == []


def test_a_capture_of_another_part_is_another(tmp_path):
    (name,) = written(tmp_path, [scene(1)])
    raw = raws.read(tmp_path / name, 10**6)
    one, other = shots.look_at(raw, name, None), shots.look_at(raw, name, "back")
    assert shots.sets([one, replace(one, path="b.dng")]) and not shots.sets([one, other])
