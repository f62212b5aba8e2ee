"""How many rows are worked on together changes no byte of a developed picture."""

import hashlib
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from glassine.develop import flat, lone, mosaic, step
from glassine.masters import raws
from makers import raw_files

CAMERA = raw_files.Camera(dead=0.001)


@pytest.fixture(scope="module")
def captured(tmp_path_factory):
    folder = tmp_path_factory.mktemp("raws")
    light, _ = raw_files.wedge(310, 412)
    raw_files.write(folder / "wedge.dng", light, CAMERA, seed=1)
    raw_files.write(folder / "light.dng", raw_files.table(310, 412), CAMERA, seed=2)
    table = raws.read(folder / "light.dng", 10**6)
    return raws.read(folder / "wedge.dng", 10**6), flat.field_of(table), flat.dead_pixels(table)


def test_between_the_rows_in_which_light_is_worked_out_it_is_straight_enough(monkeypatch):
    camera = raw_files.Camera(full_well=0)
    samples = raw_files.exposed(raw_files.table(4096, 64), camera)
    raw = SimpleNamespace(
        sensor=samples,
        pattern=np.array([[0, 1], [1, 2]]),
        black=np.full((2, 2), 512.0),
        white=16383,
    )
    field = flat.field_of(raw)
    quick = field.rows(1, 100, 1900)
    monkeypatch.setattr(flat, "_LINES", 10**6)
    exact = field.rows(1, 100, 1900)
    assert 0 < np.abs(quick / exact - 1).max() < 4e-5


@pytest.mark.parametrize("output", ["camera", "romm"])
@pytest.mark.parametrize("lighted", [True, False])
def test_the_picture_is_the_same(output, lighted, captured, tmp_path, monkeypatch):
    raw, field, dead = captured
    plan = step.Plan("AHD", output, (0.9, 0.9, 0.9), 0.9, field, dead)
    plan = plan if lighted else replace(plan, field=None, table=None, dead=None)
    found = set()
    for rows in (2, 64, 1024):
        monkeypatch.setattr(mosaic, "_BAND", rows)
        monkeypatch.setattr(lone, "_BAND", rows)
        monkeypatch.setattr(step, "_ROWS", rows)
        made = step.make(raw, plan, tmp_path / "a.tif", "wedge.dng")
        picture = hashlib.sha256((tmp_path / "a.tif").read_bytes()).hexdigest()
        found.add((picture, made.over, made.at_white, made.lone, made.dead_pixels))
    assert len(found) == 1
    assert np.frombuffer((tmp_path / "a.tif").read_bytes()[-2000:], "<u2").any()
