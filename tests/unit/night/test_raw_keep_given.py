"""What a package holds of raw captures reaches the steps that it concerns, and no other."""

import pytest

from glassine.base import settings
from glassine.night.due import Batch, given
from makers import raw_files
from makers.step_calls import taken_in

CONFIG = {"intake": {"watch_s": 0, "labels": "never"}, "catalogue": {"required": False}}


@pytest.fixture(scope="module")
def batch(tmp_path_factory):
    folder = tmp_path_factory.mktemp("b1")
    camera = raw_files.Camera(full_well=0)
    raw_files.write(folder / "PEH-0001.dng", raw_files.table(64, 96) * 0.5, camera)
    config = settings.load(CONFIG)
    return Batch(taken_in(folder, {"batch": "b1", "settings": config}))


def of_step(batch, step, **raw):
    item = next(iter(batch.items))
    return given(step, batch, item, settings.load({**CONFIG, "raw": raw}) | {"institution": {}})


@pytest.mark.parametrize("step", ["record", "pack"])
def test_record_and_pack_know_it(batch, step):
    assert "keep" not in of_step(batch, step)
    assert of_step(batch, step, keep="raw")["keep"] == "raw"


@pytest.mark.parametrize("step", ["verify", "develop", "locate", "look", "render", "embed"])
def test_nothing_is_developed_or_drawn_anew_for_it(batch, step):
    assert of_step(batch, step) == of_step(batch, step, keep="master")


def test_what_is_developed_otherwise_is_developed_anew(batch):
    assert of_step(batch, "develop") != of_step(batch, "develop", demosaic="ahd")
