"""Pictures that are asked for beside sRGB: other spaces show the same colours, negatives stay."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from skimage.color import deltaE_ciede2000

from glassine.base import files, naming
from glassine.base.errors import GlassineError
from glassine.masters import spaces
from makers import deliveries, made_items
from makers.tone_judge import capture, cases, rendered, scenes

SPACES = ("adobergb", "romm", "ecirgb", "linear")


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return the pictures of a colour negative, by use, as render left them."""
    return _rendered(tmp_path_factory.mktemp("kept"), "clean", {"crop_tiff": "rendered"})


def _rendered(folder: Path, case: str, more: dict[str, Any]) -> dict[str, Path]:
    film = cases.film(cases.CASES[case], 1)
    section = {"tiff_spaces": list(SPACES), "uninverted": True, **more}
    rendered.rendered_in(film, folder, {"render": section})
    (frame,) = files.read_json(rendered.folder_of(folder) / "render.json")["frames"]
    entries = [*frame["files"], *frame["alternates"]]
    return {entry["use"]: rendered.folder_of(folder) / entry["name"] for entry in entries}


def _lab(path: Path) -> np.ndarray:
    """Return CIE L*a*b* (D50) by lcms, in floating point, through the file's own profile."""
    image = pyvips.Image.new_from_file(str(path))
    return np.asarray(image.icc_import(pcs="lab", intent="relative", embedded=True).numpy())


@pytest.mark.parametrize("space", SPACES)
def test_every_space_shows_the_colours_of_srgb(space: str, kept: dict[str, Path]) -> None:
    """Within CIEDE2000 of 1 for all colours that sRGB holds; most are far nearer."""
    srgb = pyvips.Image.new_from_file(str(kept["crop"])).numpy()
    inside = (srgb.min(axis=2) > 0) & (srgb.max(axis=2) < 65535)
    assert inside.mean() > 0.5
    apart = deltaE_ciede2000(_lab(kept["crop"]), _lab(kept[space]))[inside]
    assert apart.max() < 1.0
    assert np.median(apart) < 0.1


def test_each_is_16_bits_with_a_profile_of_its_own(kept: dict[str, Path]) -> None:
    profiles = set()
    for space in SPACES:
        image = pyvips.Image.new_from_file(str(kept[space]))
        assert (image.format, image.bands) == ("ushort", 3)
        profiles.add(image.get("icc-profile-data"))
    assert len(profiles) == len(SPACES)


def test_colours_outside_of_srgb_are_kept_in_the_wide_spaces(tmp_path: Path) -> None:
    """A slide of strong colours: what sRGB clips is farther from grey in ROMM RGB."""
    film = cases.film(cases.CASES["slide"], 8)
    shot = film.shots[0]
    rig = capture.Rig("sharp", "white", "romm", 0.0, 0.0, 0.8)
    strong = np.clip(scenes.linear(shot.truth), 0.001, 1)[..., ::-1]
    _, curve = capture.space("romm", rig.camera, rig.light)
    teal = np.where(strong[..., :1] > strong[..., 1:2], strong * [0.0, 1.0, 0.6], strong)
    codes = np.interp(np.clip(teal, 0, 1), curve, np.linspace(0, 1, curve.size))
    vivid = cases.Shot(
        "teal",
        np.round(codes * 65535).astype(np.uint16),
        capture.encode(rig, np.ones((2, 2, 3)), 1.0)[1],
        shot.box,
        shot.base,
        shot.truth,
        rig,
    )
    film = cases.Film(film.process, film.polarity, [vivid])
    section = {"tiff_spaces": ["romm"], "crop_tiff": "rendered", "uninverted": True}
    rendered.rendered_in(film, tmp_path, {"render": section})
    (frame,) = files.read_json(rendered.folder_of(tmp_path) / "render.json")["frames"]
    made = {
        entry["use"]: rendered.folder_of(tmp_path) / entry["name"] for entry in frame["alternates"]
    }
    assert "uninverted" not in made  # a positive has none
    wide, narrow = _lab(made["romm"]), _lab(made["crop"])
    clipped = pyvips.Image.new_from_file(str(made["crop"])).numpy().min(axis=2) == 0
    chroma = [np.hypot(lab[..., 1], lab[..., 2])[clipped] for lab in (wide, narrow)]
    assert clipped.mean() > 0.05
    assert np.median(chroma[0] - chroma[1]) > 3


def test_the_negative_as_captured_is_the_master_through_its_profile(kept: dict[str, Path]) -> None:
    (shot,) = cases.film(cases.CASES["clean"], 1).shots
    left, top, right, bottom = shot.box
    wanted = capture.read(shot.rig, shot.codes)[top:bottom, left:right]
    shown = pyvips.Image.new_from_file(str(kept["uninverted"])).numpy() / 255
    access = pyvips.Image.new_from_file(str(kept["access"])).numpy() / 255
    assert shown.shape == access.shape
    assert np.abs(shown - wanted).mean() < 0.02  # a JPEG
    assert np.abs(shown - access).mean() > 0.1


def test_a_grey_picture_stays_grey_in_every_space(tmp_path: Path) -> None:
    """By the codes, and by lcms, which reads one band by steps of light (about 33): too coarse for
    dark greys (L* 1.3 for 1.8 where the curve is straight, 3.9 for 3.6 where it is not)."""
    made = _rendered(tmp_path, "b&w, base", {"crop_tiff": "rendered"})
    wanted = _lab(made["crop"])[..., 0]
    codes = pyvips.Image.new_from_file(str(made["crop"])).numpy() / 65535
    for space in SPACES:
        image = pyvips.Image.new_from_file(str(made[space]))
        assert image.bands == 1
        told = wanted > (50 if space == "linear" else 15)
        assert np.abs(_lab(made[space])[..., 0] - wanted)[told].max() < 0.5
        light = spaces.light_of(image.numpy() / 65535, spaces.SPACES[space].curve)
        assert light == pytest.approx(
            scenes.linear(codes), abs=5e-5
        )  # a step of 16 bits is 3e-5 of light near white


def test_names_part_them_from_every_other_picture() -> None:
    """A template that gives two of them one name is refused before anything is made: cut to one
    letter, access and adobergb would be the same."""
    naming.check_template("{item}[_{part}][_{frame:02d}]_{use}.jpg")
    with pytest.raises(GlassineError, match=r"adobergb|two pictures"):
        naming.check_template("{item}[_{part}][_{frame:02d}]_{use:.1}.jpg")


def test_nothing_further_is_made_unless_asked_for(tmp_path: Path) -> None:
    deliveries.night(tmp_path, "mets")
    record = files.read_json(made_items.item_dir_of(tmp_path) / "embedded.json")
    assert {entry["use"] for entry in record["files"]} == {"access", "thumb"}
