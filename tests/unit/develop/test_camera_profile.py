"""A camera's profile from patches of known colour: how near it is, when it holds, what is said."""

import contextlib
import io
from pathlib import Path

import msgspec
import numpy as np
import pytest
import yaml

from glassine.base import settings
from glassine.base.records.developed import Developed
from glassine.develop import profile
from glassine.develop.again import make_again
from glassine.night import camera_profile
from glassine.targets import description
from makers import camera_spectra, raw_files
from makers.targets import draw_target
from unit.develop.test_develop_figures import developed

FILM = Path(__file__).resolve().parents[3] / "config" / "targets" / "film-example.yaml"
CAMERA = raw_files.Camera(full_well=0)
BEFORE = raw_files.Shot(taken="2026:03:17 09:00:00")


def off(camera, xyz, kind="matrix"):
    return camera_profile.differences(profile.left_out(camera, xyz, kind), xyz)


@pytest.mark.parametrize(
    "spectra",
    [camera_spectra.dyes(24, 1), camera_spectra.dyes(48, 1), camera_spectra.paints(24, 1)],
)
def test_a_patch_is_near_by_a_fit_to_the_others(spectra):
    assert off(*camera_spectra.seen(spectra)).mean() < 0.9


def test_roots_are_nearer_where_there_are_many_patches():
    camera, xyz = camera_spectra.seen(camera_spectra.dyes(96, 2))
    assert off(camera, xyz, "roots").mean() < 0.9 * off(camera, xyz).mean()


@pytest.mark.parametrize("kind", ["matrix", "roots"])
def test_half_the_light_is_half_the_colour(kind):
    camera, xyz = camera_spectra.seen(camera_spectra.dyes(24, 1))
    matrix = profile.fit(camera, xyz, kind)
    whole, half = (profile.terms(camera * share, kind) @ matrix.T for share in (1.0, 0.5))
    assert half == pytest.approx(whole / 2)


def test_a_profile_of_paint_is_further_off_on_film():
    film = camera_spectra.seen(camera_spectra.dyes(96, 2))
    own = profile.fit(*film)
    paint = profile.fit(*camera_spectra.seen(camera_spectra.paints(24, 1)))
    off_by = [
        camera_profile.differences(film[0] @ matrix.T, film[1]).mean() for matrix in (own, paint)
    ]
    assert off_by[1] > 1.3 * off_by[0]


@pytest.fixture(scope="module")
def target(tmp_path_factory):
    """A film target and the bare table, as raw files of a camera whose colours are a matrix."""
    folder = tmp_path_factory.mktemp("target")
    described = description.read(FILM)
    rig = draw_target.Rig(ppi=600, linear=True, falloff=0, noise=0, noise_read=0, exposure=1.0)
    codes = draw_target.draw(described, rig).codes / 65535
    height, width = (side // 2 * 2 for side in codes.shape[:2])
    white = codes.max((0, 1))
    xyz = (codes[:height, :width] / white) @ draw_target.WIDE_TO_XYZ.T
    to_camera = np.linalg.inv(draw_target.WIDE_TO_XYZ) * 0.9 + 0.04
    camera = np.clip(xyz @ to_camera.T / (draw_target.WIDE_TO_XYZ.sum(1) @ to_camera.T), 0, None)
    table = raw_files.table(height, width)
    raw_files.write(folder / "target.dng", table * camera, CAMERA)
    raw_files.write(folder / "light.dng", table, CAMERA, BEFORE)
    raw_files.write(folder / "PEH-0001.dng", table * camera, CAMERA)
    return folder


@pytest.fixture(scope="module")
def printed(target):
    text = io.StringIO()
    with contextlib.redirect_stdout(text):
        names = [str(target / "target.dng"), str(target / "light.dng"), str(FILM)]
        assert camera_profile.main(names) == 0
    return text.getvalue()


def lines_of(printed):
    return yaml.safe_load(printed[printed.index("raw:") :])


def test_the_command_fits_a_drawn_target_and_prints_settings(printed):
    assert "37 of 38 patches" in printed
    shown = float(printed.split("matrix 3 x 3: CIEDE2000 ")[1].split()[0])
    assert shown < 0.35
    loaded = settings.load(lines_of(printed))
    assert loaded["raw"]["profiles"][0]["target"] == "peh-film-01"


def test_a_capture_on_the_same_lamp_has_the_colours_of_the_target(target, printed, tmp_path):
    changes = lines_of(printed)["raw"]
    record, fixity, _ = developed(
        target, tmp_path, ["PEH-0001.dng"], {"light.dng": "light"}, changes
    )
    master = record["masters"][0]
    assert (master["matrix_from"], master["target"]) == ("target", "peh-film-01")
    assert master["matrix"] == changes["profiles"][0]["matrix"]
    assert not [note for note in fixity["masters"][0]["notes"] if "profile" in note["code"]]
    known = msgspec.convert(record, Developed)
    again = tmp_path / "again.tif"
    make_again(target / "PEH-0001.dng", known.masters[0], known.fields, again)
    assert again.read_bytes() == (tmp_path / "developed" / "PEH-0001.tif").read_bytes()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"lamp": [0.6, 0.71]}, "the lamp is another"),
        ({"lens": "Copy 120"}, "the lens"),
    ],
)
def test_a_profile_that_does_not_hold_is_not_used(changed, words, target, printed, tmp_path):
    changes = lines_of(printed)["raw"]
    changes["profiles"][0] |= changed
    record, fixity, _ = developed(
        target, tmp_path, ["PEH-0001.dng"], {"light.dng": "light"}, changes
    )
    assert record["masters"][0]["matrix_from"] == "file"
    notes = [note for note in fixity["masters"][0]["notes"] if note["code"] == "develop.profile"]
    assert [note["severity"] for note in notes] == ["review"]
    assert words in notes[0]["what"]


def test_without_a_light_capture_no_profile_is_used(target, printed, tmp_path):
    changes = lines_of(printed)["raw"]
    record, fixity, _ = developed(target, tmp_path, ["PEH-0001.dng"], {}, changes)
    assert record["masters"][0]["matrix_from"] == "file"
    assert "develop.profile" in {note["code"] for note in fixity["masters"][0]["notes"]}


def test_a_reflective_target_is_said(target, printed, tmp_path):
    changes = lines_of(printed)["raw"]
    changes["profiles"][0]["kind"] = "reflective"
    record, fixity, _ = developed(
        target, tmp_path, ["PEH-0001.dng"], {"light.dng": "light"}, changes
    )
    assert record["masters"][0]["target_kind"] == "reflective"
    codes = {note["code"] for note in fixity["masters"][0]["notes"]}
    assert "develop.profile_reflective" in codes
