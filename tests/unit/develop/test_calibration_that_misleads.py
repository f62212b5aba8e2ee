"""Calibration captures that look right and are not: told before film is developed with them."""

import struct
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import rawpy

from glassine.base.errors import GlassineError
from glassine.develop import doubts
from glassine.masters import raws
from makers import raw_files
from makers.raw_files import Shot
from unit.develop.test_develop_figures import developed

HEIGHT, WIDTH = 300, 420
CAMERA = raw_files.Camera(full_well=100_000.0)
BEFORE = Shot(taken="2026:03:17 09:00:00")
TABLE = raw_files.table(HEIGHT, WIDTH)
LIGHT = (("light.dng", "light"),)
# Tags of EXIF 2.32: exposure, aperture, ISO, time, body, lens.
EXPOSURE, APERTURE, ISO, TAKEN, BODY, LENS = 33434, 33437, 34855, 36867, 42033, 42036


def put(folder, name, light, shot=BEFORE, camera=CAMERA, without=(), seed=2):
    """Write a capture. without: tags of its exposure that its header lacks."""
    content = raw_files.dng(raw_files.exposed(light, camera, seed), camera, shot)
    for tag in without:  # as one that no reader knows
        for kind in (2, 3, 5):
            content = content.replace(
                struct.pack("<HH", tag, kind), struct.pack("<HH", 65000, kind)
            )
    (folder / name).write_bytes(content)


def film(folder, light=TABLE * 0.5, shot=None, **more):
    put(folder, "a.dng", light, shot or Shot(), seed=1, **more)


def take(folder, roles=LIGHT, changes=None):
    record, fixity, pictures = developed(folder, folder / "item", ["a.dng"], roles, changes)
    notes = {note["code"]: note for master in fixity["masters"] for note in master["notes"]}
    return record["masters"][0], notes, pictures["a.dng"]


def asked(notes, code):
    assert notes[code]["severity"] == "review"
    return notes[code]["what"]


@pytest.mark.parametrize(
    ("without", "word"),
    [
        ((APERTURE,), "aperture"),
        ((LENS,), "lens"),
        ((BODY,), "camera body"),
        ((TAKEN,), "time"),
        ((EXPOSURE, APERTURE, ISO, TAKEN, BODY, LENS), "aperture"),
    ],
)
def test_headers_that_cannot_tell_whether_it_holds_are_for_review(tmp_path, without, word):
    film(tmp_path, without=without)
    put(tmp_path, "light.dng", TABLE, without=without)
    made, notes, _ = take(tmp_path)
    assert made["light"] == 0
    assert word in asked(notes, "develop.light_unproved")


def test_a_studio_may_say_that_its_lens_tells_nothing(tmp_path):
    film(tmp_path, without=(APERTURE, LENS))
    put(tmp_path, "light.dng", TABLE, without=(APERTURE, LENS))
    _, notes, _ = take(tmp_path, changes={"unstated": "note"})
    assert notes["develop.light_unproved"]["severity"] == "note"


def test_a_lens_that_only_one_header_names_is_not_the_same(tmp_path):
    film(tmp_path)
    put(tmp_path, "light.dng", TABLE, without=(LENS,))
    _, notes, _ = take(tmp_path)
    assert "lens" in asked(notes, "develop.light_unproved")


def test_another_iso_is_for_review(tmp_path):
    film(tmp_path)
    put(tmp_path, "light.dng", TABLE, replace(BEFORE, iso=50, exposure_s=(1, 30)))
    _, notes, _ = take(tmp_path)
    assert "ISO 50" in asked(notes, "develop.iso")


def test_a_lamp_that_had_dimmed_when_the_light_was_captured_again_is_told(tmp_path):
    film(tmp_path)
    put(tmp_path, "light.dng", TABLE)
    later = replace(BEFORE, taken="2026:03:17 11:00:00")
    put(tmp_path, "light-2.dng", TABLE * 0.9, later, seed=3)
    _, notes, _ = take(tmp_path, (*LIGHT, ("light-2.dng", "light")))
    words = asked(notes, "develop.lamp_changed")
    assert "light-2.dng" in words and "10" in words
    put(tmp_path, "light-2.dng", TABLE * 0.99, later, seed=3)
    _, notes, _ = take(tmp_path, (*LIGHT, ("light-2.dng", "light")))
    assert "develop.lamp_changed" not in notes


def test_light_captured_only_afterwards_is_not_used(tmp_path):
    film(tmp_path)
    put(tmp_path, "light.dng", TABLE * 0.8, replace(BEFORE, taken="2026:03:17 11:00:00"))
    made, notes, _ = take(tmp_path)
    assert made["light"] is None and "taken later" in asked(notes, "develop.no_light")


@pytest.mark.parametrize("free", [3, 6, 12])
def test_a_sheet_of_film_left_on_the_table_is_no_bare_table(tmp_path, free):
    """All of the picture but a border of `free` px shows clear film base."""
    film(tmp_path)
    sheet = TABLE.copy()
    sheet[free:-free, free:-free] *= (0.8, 0.5, 0.3)
    put(tmp_path, "light.dng", sheet)
    made, notes, _ = take(tmp_path)
    assert made["light"] is None
    assert "table" in asked(notes, "develop.no_light")


def test_film_over_all_but_one_edge_is_no_bare_table(tmp_path):
    film(tmp_path)
    sheet = TABLE * 0.8
    sheet[:, :12] = TABLE[:, :12]
    put(tmp_path, "light.dng", sheet)
    made, notes, _ = take(tmp_path)
    assert made["light"] is None
    assert "lies on the table" in asked(notes, "develop.no_light")


def test_film_on_the_whole_light_capture_shows_where_the_table_is_bare_beside_film(tmp_path):
    bare = TABLE * 0.5
    bare[:, :60] = TABLE[:, :60]
    film(tmp_path, bare)
    put(tmp_path, "light.dng", TABLE * 0.93)
    _, notes, _ = take(tmp_path)
    assert "light.dng" in asked(notes, "develop.brighter")


def test_a_brighter_lamp_than_at_the_light_capture_is_told(tmp_path):
    bare = TABLE * 0.5
    bare[:60] = TABLE[:60] * 1.05
    film(tmp_path, bare)
    put(tmp_path, "light.dng", TABLE)
    _, notes, _ = take(tmp_path)
    asked(notes, "develop.brighter")


def test_the_bare_table_beside_film_is_not_brighter_than_itself(tmp_path):
    camera = raw_files.Camera(full_well=8_000.0)
    bare = TABLE * 0.5
    bare[:60] = TABLE[:60]
    film(tmp_path, bare, camera=camera)
    put(tmp_path, "light.dng", TABLE, camera=camera)
    _, notes, _ = take(tmp_path)
    assert not {"develop.brighter", "develop.over"} & set(notes)


@pytest.mark.parametrize("colour", [0, 1, 2])
@pytest.mark.parametrize("full", [1.0, 0.8])
def test_a_light_capture_clipped_in_one_colour_is_not_used(tmp_path, colour, full):
    """full: where the sensor is full, share of the white level that its files state."""
    film(tmp_path)
    light = TABLE * 0.6
    light[..., colour] = 1.3 * full
    samples = raw_files.exposed(light, CAMERA, 2)
    top = round(CAMERA.black + full * (CAMERA.white - CAMERA.black))
    samples = np.minimum(samples, top).astype(np.uint16)
    (tmp_path / "light.dng").write_bytes(raw_files.dng(samples, CAMERA, BEFORE))
    made, notes, _ = take(tmp_path)
    assert made["light"] is None and "clipped" in asked(notes, "develop.no_light")


def test_film_that_fills_the_sensor_below_its_stated_white_level_is_told(tmp_path):
    bare = TABLE * 0.5
    bare[:60] = TABLE[:60]
    samples = np.minimum(raw_files.exposed(bare, CAMERA, 1), 10_000).astype(np.uint16)
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples, CAMERA))
    put(tmp_path, "light.dng", TABLE * 0.5)
    _, notes, _ = take(tmp_path)
    assert "10000" in asked(notes, "develop.full")


@pytest.mark.parametrize(
    ("shot", "word"),
    [
        (replace(BEFORE, exposure_s=(1, 1000)), "shorter"),
        (replace(BEFORE, exposure_s=(4, 1)), "longer"),
        (replace(BEFORE, iso=800), "ISO"),
        (replace(BEFORE, taken="2025:09:17 09:00:00"), "days"),
    ],
)
def test_a_dark_capture_of_other_circumstances_is_told(tmp_path, shot, word):
    film(tmp_path)
    put(tmp_path, "light.dng", TABLE)
    put(tmp_path, "dark.dng", TABLE * 0, shot, seed=4)
    _, notes, _ = take(tmp_path, (*LIGHT, ("dark.dng", "dark")))
    assert word in asked(notes, "develop.dark_other")
    put(tmp_path, "dark.dng", TABLE * 0, seed=4)
    _, notes, _ = take(tmp_path, (*LIGHT, ("dark.dng", "dark")))
    assert "develop.dark_other" not in notes


def test_a_dark_capture_with_too_many_hot_pixels_is_held(tmp_path):
    film(tmp_path)
    put(tmp_path, "dark.dng", TABLE * 0, camera=replace(CAMERA, dead=0.06), seed=4)
    with pytest.raises(GlassineError) as held:
        take(tmp_path, [("dark.dng", "dark")])
    assert held.value.findings[0].code == "develop.dark"


def test_what_a_light_captures_own_header_contradicts_is_told(tmp_path):
    """Its masked sites, left of the active area, lie above the black level that it states."""
    film(tmp_path)
    samples = np.hstack([np.full((HEIGHT, 8), 700), raw_files.exposed(TABLE, CAMERA, 2)])
    area = (50829, 4, 4, struct.pack("<4I", 0, 8, HEIGHT, WIDTH + 8))
    content = raw_files.dng(samples.astype(np.uint16), CAMERA, replace(BEFORE, more=(area,)))
    (tmp_path / "light.dng").write_bytes(content)
    made, notes, _ = take(tmp_path)
    assert made["light"] == 0
    assert notes["masters.note_raw_black"]["path"] == "light.dng"


def test_light_of_another_size_or_pattern_is_not_used(tmp_path):
    film(tmp_path)
    put(tmp_path, "light.dng", TABLE[:-20])
    _, notes, _ = take(tmp_path)
    assert "another size" in asked(notes, "develop.no_light")
    put(tmp_path, "light.dng", TABLE, camera=replace(CAMERA, pattern="BGGR"))
    _, notes, _ = take(tmp_path)
    assert "pattern" in asked(notes, "develop.no_light")


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_camera_changes_no_sample_and_keeps_its_tag(tmp_path, orientation):
    """The light capture is of the sensor: how the camera was held says nothing of it."""
    film(tmp_path, TABLE * 0.5, Shot(orientation=orientation))
    put(tmp_path, "light.dng", TABLE, replace(BEFORE, orientation=orientation % 8 + 1))
    header = raws.read(tmp_path / "a.dng", 10**6).header
    assert header.orientation == orientation
    made, _, picture = take(tmp_path)
    assert made["light"] == 0 and picture.shape == (HEIGHT, WIDTH, 3)
    assert np.abs(picture[20:-20, 20:-20].mean((0, 1)) / 0.45 - 1).max() < 0.004


def test_what_libraw_says_of_a_capture_is_taken_where_its_file_has_no_tags_of_tiff(tmp_path):
    """Time and focal length of such files were left out: no light capture was too old for them."""
    put(tmp_path, "a.dng", TABLE)
    raw = rawpy.imread(str(tmp_path / "a.dng"))
    capture = raws._capture(tmp_path / "a.dng", raw, tiff=False)
    assert capture.taken == "2026-03-17T09:00:00"
    assert (capture.f_number, capture.iso, capture.lens) == (8.0, 100.0, "Copy 80")
    assert capture.model is None and doubts.known(capture, "model") is None


@pytest.mark.parametrize("nothing", ["", "----", "0.0", " ", 0.0, None])
def test_what_cameras_write_for_nothing_is_nothing(nothing):
    assert doubts.known(SimpleNamespace(lens=nothing), "lens") is None
    assert doubts.known(SimpleNamespace(lens="Copy 80"), "lens") == "Copy 80"
