"""Which light capture holds for a raw capture; what does not hold is told and never applied."""

import numpy as np
import pytest

from glassine.base.errors import GlassineError
from makers import raw_files
from makers.raw_files import Shot
from unit.develop.test_develop_figures import developed

HEIGHT, WIDTH = 300, 420
CAMERA = raw_files.Camera(full_well=100_000.0)
BEFORE = Shot(taken="2026:03:17 09:00:00")


def batch(folder, light, shot=BEFORE, camera=CAMERA, film=0.5):
    table = raw_files.table(HEIGHT, WIDTH)
    raw_files.write(folder / "a.dng", table * film, CAMERA, seed=1)
    raw_files.write(folder / "light.dng", light, camera, shot, seed=2)


def told(fixity):
    return {note["code"]: note for master in fixity["masters"] for note in master["notes"]}


def take(folder, roles=(("light.dng", "light"),), changes=None):
    record, fixity, pictures = developed(folder, folder / "item", ["a.dng"], roles, changes)
    return record["masters"][0], told(fixity), pictures["a.dng"]


def test_the_light_capture_of_the_session_is_used_and_named(tmp_path):
    batch(tmp_path, raw_files.table(HEIGHT, WIDTH))
    made, notes, picture = take(tmp_path)
    assert made["calibration"][0]["path"] == "light.dng" and made["table"] == 0.9
    assert "develop.no_light" not in notes
    assert np.median(picture) == pytest.approx(0.45, rel=0.01)


@pytest.mark.parametrize(
    ("shot", "word"),
    [
        (Shot(taken="2026:03:17 09:00:00", f_number=(11, 1)), "aperture"),
        (Shot(taken="2026:03:17 09:00:00", serial="PE-0002"), "camera body"),
        (Shot(taken="2026:03:17 09:00:00", lens="Copy 50"), "lens"),
        (Shot(taken="2026:03:17 11:00:00"), "taken later"),
        (Shot(taken="2026:03:12 09:00:00"), "hours older"),
    ],
)
def test_a_light_capture_that_does_not_hold_is_not_applied_and_says_why(tmp_path, shot, word):
    batch(tmp_path, raw_files.table(HEIGHT, WIDTH), shot)
    made, notes, _ = take(tmp_path)
    assert made["light"] is None and made["table"] is None
    assert notes["develop.no_light"]["severity"] == "review"
    assert word in notes["develop.no_light"]["what"]


@pytest.mark.parametrize(
    ("light", "word"),
    [
        (raw_files.table(HEIGHT, WIDTH, 1.3), "clipped"),
        (raw_files.table(HEIGHT, WIDTH, 0.02), "too dark"),
        (raw_files.wedge(HEIGHT, WIDTH)[0], "something lies on the table"),
    ],
)
def test_a_light_capture_that_is_none_is_not_applied(tmp_path, light, word):
    batch(tmp_path, light)
    made, notes, _ = take(tmp_path)
    assert made["light"] is None
    assert word in notes["develop.no_light"]["what"]


def test_of_several_light_captures_the_latest_before_the_film_holds(tmp_path):
    table = raw_files.table(HEIGHT, WIDTH)
    batch(tmp_path, table * 0.9)
    for name, hour in (("light-1.dng", "08"), ("light-2.dng", "09:30"), ("light-3.dng", "12")):
        clock = f"2026:03:17 {hour}:00:00"[:19] if len(hour) == 2 else f"2026:03:17 {hour}:00"
        raw_files.write(tmp_path / name, table, CAMERA, Shot(taken=clock), seed=3)
    roles = [(f"light-{number}.dng", "light") for number in (1, 2, 3)]
    made, _, _ = take(tmp_path, roles)
    assert made["calibration"][0]["path"] == "light-2.dng"


def test_without_a_light_capture_the_item_is_for_review_or_held(tmp_path):
    batch(tmp_path, raw_files.table(HEIGHT, WIDTH))
    _, notes, _ = take(tmp_path, ())
    assert notes["develop.no_light"]["severity"] == "review"
    with pytest.raises(GlassineError) as held:
        take(tmp_path, (), {"light": "require"})
    assert held.value.findings[0].code == "develop.no_light"


def test_film_exposed_longer_than_the_table_loses_nothing(tmp_path):
    table = raw_files.table(HEIGHT, WIDTH)
    raw_files.write(tmp_path / "a.dng", table * 0.25 * 4, CAMERA, Shot((4, 60)), seed=1)
    raw_files.write(tmp_path / "light.dng", table, CAMERA, BEFORE, seed=2)
    made, notes, picture = take(tmp_path)
    assert made["over"] == 0 and "develop.over" not in notes
    assert np.median(picture) / made["table"] == pytest.approx(0.25, rel=0.01)


def test_a_dark_capture_that_is_not_dark_is_told(tmp_path):
    batch(tmp_path, raw_files.table(HEIGHT, WIDTH))
    raw_files.write(tmp_path / "dark.dng", raw_files.table(HEIGHT, WIDTH), CAMERA, BEFORE, seed=4)
    with pytest.raises(GlassineError) as held:
        take(tmp_path, [("light.dng", "light"), ("dark.dng", "dark")])
    assert held.value.findings[0].code == "develop.dark"


def test_a_black_level_that_the_dark_capture_contradicts_is_for_review(tmp_path):
    batch(tmp_path, raw_files.table(HEIGHT, WIDTH))
    stray = np.full((HEIGHT, WIDTH, 3), 0.001)
    raw_files.write(tmp_path / "dark.dng", stray, raw_files.Camera(fall_off=0), BEFORE, seed=4)
    _, notes, _ = take(tmp_path, [("light.dng", "light"), ("dark.dng", "dark")])
    assert notes["develop.black"]["severity"] == "review"


def test_hot_pixels_are_neither_clipped_light_nor_another_black_level(tmp_path):
    camera = raw_files.Camera(full_well=100_000.0, dead=0.006)
    batch(tmp_path, raw_files.table(HEIGHT, WIDTH), camera=camera)
    dark = raw_files.table(HEIGHT, WIDTH) * 0
    raw_files.write(tmp_path / "dark.dng", dark, camera, BEFORE, seed=4)
    made, notes, _ = take(tmp_path, [("light.dng", "light"), ("dark.dng", "dark")])
    assert made["light"] == 0 and not {"develop.black", "develop.over"} & set(notes)
