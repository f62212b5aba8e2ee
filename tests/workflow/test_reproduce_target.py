"""The target `reproduce`: an honest exit code, and nothing else done."""

import shutil
from pathlib import Path

import pytest

from makers.studio import PROJECT, Studio

BATCH = "harbour-2026-03"


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """A studio whose one item is delivered, with pictures by option beside the usual ones."""
    studio = Studio(tmp_path_factory.mktemp("studio"))
    folder = studio.masters / BATCH
    folder.mkdir()
    sample = PROJECT / "sample_masters" / BATCH
    shutil.copy(sample / "PEH-0001.tif", folder)
    shutil.copy(sample / "catalogue.csv", folder)
    settings = 'render={"alternates": ["webp"], "crop_tiff": "captured"}'
    outcome = studio.night("--config", settings)
    assert outcome.code == 0, outcome.text[-3000:]
    return studio


def test_every_byte_comes_out_again(finished):
    package = finished.root / "deliveries" / BATCH / "data" / "PEH-0001"
    assert len(list((package / "alternates").iterdir())) == 2
    before = finished.digests("."), finished.masters_state()
    outcome = finished.night("reproduce", "--config", f"reproduce=deliveries/{BATCH}")
    assert outcome.code == 0, outcome.text[-3000:]
    assert outcome.jobs == {("reproduce", "")}
    told = (finished.root / "results" / "reproduce.log").read_text("utf-8")
    assert told.endswith("every derivative comes out the same\n")
    after = finished.digests("."), finished.masters_state()
    assert (_results(after[0]), after[1]) == (_results(before[0]), before[1])


def _results(digests: dict[str, str]) -> dict[str, str]:
    """Return what is of results and deliveries, without the comparison's own log."""
    return {
        path: digest
        for path, digest in digests.items()
        if Path(path).parts[0] in ("results", "deliveries") and path != "results/reproduce.log"
    }


def test_a_flipped_bit_is_told_and_the_code_is_not_0(finished, tmp_path):
    shutil.copytree(finished.root / "deliveries" / BATCH, tmp_path / "bag")
    crop = tmp_path / "bag/data/PEH-0001/alternates/PEH-0001_crop.tif"
    content = bytearray(crop.read_bytes())
    content[-40] ^= 1
    crop.write_bytes(content)
    before = finished.digests("deliveries")
    outcome = finished.night("reproduce", "--config", f"reproduce={tmp_path / 'bag'}")
    assert outcome.code == 1
    assert "reproduce.differs" in outcome.text
    assert "PEH-0001_crop.tif" in outcome.text
    assert finished.digests("deliveries") == before


@pytest.mark.parametrize("more", [(), ("--config", "reproduce=deliveries/none")])
def test_without_a_delivery_it_is_said_how_to_name_one(more, finished):
    outcome = finished.night("reproduce", *more)
    assert outcome.code == 78
    assert "[run.reproduce]" in outcome.text
    assert "reproduce=deliveries/<batch>" in outcome.text
    assert "Traceback" not in outcome.text


def test_a_night_does_not_compare(finished):
    settings = 'render={"alternates": ["webp"], "crop_tiff": "captured"}'
    outcome = finished.night("--config", settings)
    assert outcome.code == 0
    assert outcome.jobs == set()


def test_options_switched_off_leave_nothing_in_the_next_delivery(finished):
    outcome = finished.night()
    assert outcome.code == 0, outcome.text[-3000:]
    later = finished.root / "deliveries" / f"{BATCH}.r2"
    assert not (later / "data" / "PEH-0001" / "alternates").exists()
    assert (later / "data" / "PEH-0001" / "access").is_dir()
    assert not (finished.item(BATCH, "PEH-0001") / "alternates").exists()
