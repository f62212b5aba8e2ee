"""Exposures of one capture that differ by parts of a pixel, or by much light, are told to be one."""

import cv2
import numpy as np
import pytest

from glassine.develop import shots
from glassine.masters import raws
from makers import raw_files
from unit.develop import test_several_exposures

HEIGHT, WIDTH = 320, 480
CAMERA = raw_files.Camera(full_well=20_000.0)


def scene(seed, times=1):
    """Return light through film with fine grain in a holder, (h, w), `times` as many pixels."""
    random = np.random.default_rng(seed)
    height, width = HEIGHT * times, WIDTH * times
    soft = cv2.GaussianBlur(random.standard_normal((height, width)), (0, 0), 10 * times)
    grain = cv2.GaussianBlur(random.standard_normal((height, width)), (0, 0), 0.7 * times)
    film = 10.0 ** -(0.9 + 0.4 * soft / soft.std() + 0.02 * grain / grain.std())
    edge = 40 * times
    light = np.full((height, width), 0.9)
    light[edge // 2 : -edge // 2, edge // 2 : -edge // 2] = 0.004
    light[edge:-edge, edge:-edge] = film[edge:-edge, edge:-edge]
    return np.clip(light, 0, 1)


def looks(folder, lights, exposures=None, full=CAMERA.white):
    """full: DN at which the sensor is full."""
    made = []
    for number, light in enumerate(lights):
        path = folder / f"PEH-0001_{number + 1}.dng"
        shot = raw_files.Shot(exposures[number] if exposures else (1, 60))
        table = raw_files.table(HEIGHT, WIDTH, 0.9)
        samples = raw_files.exposed(table * light[..., None], CAMERA, seed=number)
        samples = np.minimum(samples, full).astype(np.uint16)
        path.write_bytes(raw_files.dng(samples, CAMERA, shot))
        made.append(shots.look_at(raws.read(path, 10**6), path.name, None))
    return made


def shifted(whole, by):
    """Return the scene of two pixels a pixel, moved by (y, x) of its own pixels."""
    moved = np.roll(whole, by, (0, 1))
    return cv2.resize(moved, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)


@pytest.mark.parametrize("step", [1, 2])
def test_shifts_by_half_and_whole_pixels_are_one_capture(tmp_path, step):
    whole = scene(1, 2)
    places = [(y * step, x * step) for y in (0, 1) for x in (0, 1)]
    group = looks(tmp_path, [shifted(whole, place) for place in places])
    assert [len(each) for each in shots.sets(group)] == [4]


def test_a_shift_by_third_pixels_is_one_capture(tmp_path):
    whole = scene(1)
    moved = [
        cv2.warpAffine(whole, np.float32([[1, 0, x], [0, 1, y]]), (WIDTH, HEIGHT))
        for x, y in ((0, 0), (1 / 3, 0), (0, 2 / 3))
    ]
    assert [len(each) for each in shots.sets(looks(tmp_path, moved))] == [3]


def test_a_bracket_of_eight_stops_is_one_capture(tmp_path):
    """The darkest and the lightest show no part in common; those between join them."""
    exposures = [(1, 960), (1, 240), (1, 60), (1, 15), (1, 4)]
    whole = scene(1)
    lights = [whole * 4.0 ** (step - 2) for step in range(5)]
    for order, full in (((0, 1, 2, 3, 4), 16383), ((0, 4, 2, 1, 3), 14000)):
        made = looks(tmp_path, [lights[n] for n in order], [exposures[n] for n in order], full)
        (group,) = shots.sets(made)
        assert len(group) == 5
        assert "exposure bracket" in shots.finding(group).what


def test_frames_of_a_roll_are_captures_of_their_own_whatever_their_exposure(tmp_path):
    lights = [scene(seed) * share for seed, share in ((1, 1.0), (2, 0.25), (3, 0.5))]
    exposures = [(1, 60), (1, 240), (1, 120)]
    assert shots.sets(looks(tmp_path, lights, exposures)) == []


@pytest.mark.parametrize("contrast", [1.0, 0.2, 0.0])
def test_frames_of_one_holder_at_other_exposures_stay_apart(tmp_path, contrast):
    exposures = [(1, 60), (1, 480), (1, 15)]
    for number, seed in enumerate((1, 2, 3)):
        light = test_several_exposures.scene(seed, contrast) * (60 / exposures[number][1])
        shot = raw_files.Shot(exposures[number])
        raw_files.write(tmp_path / f"{seed}.dng", light, CAMERA, shot, seed=seed)
    names = ("1.dng", "2.dng", "3.dng")
    made = [shots.look_at(raws.read(tmp_path / name, 10**6), name, None) for name in names]
    assert shots.sets(made) == []
