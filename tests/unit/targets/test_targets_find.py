"""Targets are found where they were drawn, whatever way they lie."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml

from glassine.targets import capture, description, find
from glassine.targets.placement import NotFound
from makers.targets import draw_target as dt
from makers.targets import layouts

EXAMPLES = Path(__file__).resolve().parents[3] / "config" / "targets"
PPI = 600.0


@pytest.fixture(scope="module")
def film():
    return description.read(EXAMPLES / "film-example.yaml")


@pytest.fixture
def see(tmp_path, film):
    def seen(described=film, **values):
        rig = dt.Rig(**{"ppi": PPI, "noise": 0.001, **values})
        drawn = dt.draw(described, rig, layouts.squares(described.size_mm[0] / 24))
        path = tmp_path / "t.tif"
        dt.save(path, drawn)
        opened = capture.open_capture(path, None)
        return opened, dt._Plane(described, rig, opened.width, opened.height)

    return seen


WAYS = {
    "straight": {},
    "askew": {"rotate_deg": -4.0},
    "upside down": {"rotate_deg": 180.3},
    "on its side": {"rotate_deg": 90.4},
    "on its other side": {"rotate_deg": 269.2},
    "mirrored": {"mirror": True},
    "tilted": {"tilt": (5e-4, -3e-4)},
    "bent by a lens": {"k1": 0.015},
    "grey": {"grey": True},
    "linear": {"linear": True},
    "dim": {"exposure": 0.3},
    "off the middle": {"offset_px": (14.0, -9.0)},
}


@pytest.mark.parametrize("way", WAYS)
def test_every_patch_is_placed_within_a_fiftieth_of_a_pixel(see, film, way):
    opened, truth = see(**WAYS[way])
    placement = find.find(opened, film)
    at = np.array([patch.at for patch in film.patches])
    assert np.abs(placement.pixels(at) - truth.to_px(at)).max() < 0.02
    assert placement.seen == len(film.marks)
    assert placement.residual_px[1] < 0.02
    assert placement.mirrored == (way == "mirrored")
    assert placement.tone_agreement > 0.95


def test_hidden_marks_are_done_without(see, film, tmp_path):
    opened, truth = see()
    codes = opened.codes(0, 0, opened.width, opened.height).copy()
    for at in (film.marks[0], film.marks[7], film.marks[4]):
        x, y = truth.to_px(np.array([at]))[0].round().astype(int)
        codes[max(0, y - 15) : y + 15, max(0, x - 15) : x + 15] = 52000
    dt.save(tmp_path / "h.tif", dt.Drawn(codes, dt.profile_bytes(dt.Rig()), PPI))
    placement = find.find(capture.open_capture(tmp_path / "h.tif", None), film)
    assert placement.seen == len(film.marks) - 3
    at = np.array([patch.at for patch in film.patches])
    assert np.abs(placement.pixels(at) - truth.to_px(at)).max() < 0.05


def test_an_outline_serves_where_there_are_no_marks(see, tmp_path):
    value = layouts.description("transmissive", locate="outline")
    path = tmp_path / "d.yaml"
    path.write_text(yaml.safe_dump(value), "utf-8")
    described = description.read(path)
    for way in ({"rotate_deg": 1.5}, {"rotate_deg": 180.7}, {"mirror": True}):
        opened, truth = see(described, surround=0.05, **way)
        placement = find.find(opened, described)
        at = np.array([patch.at for patch in described.patches])
        assert np.abs(placement.pixels(at) - truth.to_px(at)).max() < 0.3
        assert placement.seen == 4


def test_an_empty_picture_says_what_was_seen(tmp_path, film):
    rig = dt.Rig(ppi=PPI)
    dt.save(tmp_path / "e.tif", dt.draw_flat(rig, 700, 500))
    with pytest.raises(NotFound, match="round dark spots were seen"):
        find.find(capture.open_capture(tmp_path / "e.tif", None), film)


def test_another_target_is_not_taken_for_this_one(see, tmp_path):
    value = layouts.description("transmissive")
    value["locate"]["marks"]["at"] = [[x, y * 0.7 + 2] for x, y in layouts.MARKS]
    path = tmp_path / "d.yaml"
    path.write_text(yaml.safe_dump(value), "utf-8")
    opened, _ = see()
    with pytest.raises(NotFound, match="do not lie as"):
        find.find(opened, description.read(path))


def test_marks_alone_are_no_proof_where_the_tones_are_wrong(see, tmp_path):
    value = layouts.description("transmissive")
    densities = [patch.get("density") for patch in value["patches"][:20]]
    for patch, density in zip(value["patches"][:20], densities[::-1], strict=True):
        patch["density"] = density
    path = tmp_path / "d.yaml"
    path.write_text(yaml.safe_dump(value), "utf-8")
    opened, _ = see()
    with pytest.raises(NotFound):
        find.find(opened, description.read(path))
