"""Sites that stand still at the light of the bare table do not show in its capture; in dense film
they are found without a capture in the dark, and film itself is left as it is."""

import datetime

import numpy as np
import pytest

from makers import raw_files_other as maker
from unit.develop.test_develop_figures import developed

SENSOR = maker.Sensor(width=480, height=320, hot_share=0.002)
BEFORE = datetime.datetime(2026, 3, 4, 9, 0)
DENSITY = 2.4


def film():
    """Return the light of the bands behind film of even density 2.4 with bare table about it."""
    light = np.ones((SENSOR.height, SENSOR.width, 3))
    light[40:-40, 40:-40] = 10.0**-DENSITY
    return light


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("raws")
    counts, _, _, faulty = maker.expose(SENSOR, film(), 1)
    maker.write_dng(folder / "film.dng", SENSOR, counts)
    maker.empty_table(folder / "light.dng", SENSOR, taken=BEFORE, dust=0)
    record, _, pictures = developed(folder, folder / "i", ["film.dng"], {"light.dng": "light"})
    return record["masters"][0], pictures["film.dng"] / 0.9 * 0.97, faulty


def test_dense_film_is_as_dense_as_it_was_drawn(made):
    _, seen, faulty = made
    inner = np.s_[60:-60, 60:-60]
    assert faulty[inner].sum() > 100
    blocks = [
        seen[top : top + 40, left : left + 40].mean((0, 1)) / 10.0**-DENSITY
        for top in range(60, 240, 40)
        for left in range(60, 400, 40)
    ]
    assert np.abs(np.array(blocks) - 1).max() < 0.03  # the noise of 1,600 sites is 0.7 %


def test_points_of_light_in_dense_film_stay(tmp_path):
    """Pinholes through all layers, and points in one colour, as sharp as a lens at f/8 draws them:
    a blur of 0.5 px is sharper than the diffraction of 3.8 um sites (common practice, no source).
    """
    import cv2

    sensor = maker.Sensor(width=480, height=320, dead_share=0, hot_share=0)
    random = np.random.default_rng(5)
    light = np.full((320, 480, 3), 10.0**-DENSITY)
    places = [(y, x) for y in range(60, 260, 10) for x in range(60, 420, 10)]
    for number, (y, x) in enumerate(places):
        colours = (0, 1, 2) if number % 2 else (number // 2 % 3,)
        for colour in colours:
            light[y + random.integers(2), x + random.integers(2), colour] = random.uniform(0.3, 1)
    light = cv2.GaussianBlur(light, (0, 0), 0.5)
    light[:30] = light[-30:] = 1.0
    counts, _, _, _ = maker.expose(sensor, light, 1)
    maker.write_dng(tmp_path / "film.dng", sensor, counts)
    maker.empty_table(tmp_path / "light.dng", sensor, taken=BEFORE, dust=0)
    record, _, _ = developed(tmp_path, tmp_path / "i", ["film.dng"], {"light.dng": "light"})
    assert record["masters"][0]["dead"] == 0


def test_it_is_said_how_many_were_found_so(made):
    record, _, _ = made
    assert record["lone"] > 0
