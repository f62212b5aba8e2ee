"""A folder of raw captures with its light capture goes to a delivery in one night."""

import hashlib
import json
import subprocess

import numpy as np
import pytest
import tifffile
import yaml

from glassine.targets import description
from makers import raw_files
from makers.film.samples import Sample
from makers.studio import Studio
from makers.targets import draw_target, layouts

BATCH = "raws"
ITEMS = {"PEH-0301": "frame_135", "PEH-0302": "frame_135"}
CAMERA = raw_files.Camera(dead=0.0005)
# The target is drawn small, and for no camera's colours: what it misses is told, and holds nothing.
SETTINGS = ("--config", 'targets={"on_failure": "note"}')


def drawn(item, kind, number, folder):
    """Return the light through a drawn piece of film, (h, w, 3), the bare table is 1."""
    sample = Sample(item, kind, 0.0, 300 + number, {}, time="13:05:00")
    folder.mkdir(exist_ok=True)
    sample.write(folder, sample.plan(900))
    codes = tifffile.imread(folder / sample.name).astype(np.float64) / 65535
    if codes.ndim == 2:
        codes = np.repeat(codes[..., None], 3, 2)
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    even = light[: light.shape[0] // 2 * 2, : light.shape[1] // 2 * 2]
    return np.minimum(even / np.percentile(even, 99.5), 1.0)


def target(height, width):
    """Return the light through a drawn film target in a dark surround, (h, w, 3)."""
    described = description.read(layouts.PROJECT / "config" / "targets" / "film-example.yaml")
    rig = draw_target.Rig(ppi=400, linear=True, falloff=0, noise=0, noise_read=0, exposure=1.0)
    squares = layouts.squares(described.size_mm[0] / 24)
    codes = draw_target.draw(described, rig, squares).codes / 65535
    top, left = (height - codes.shape[0]) // 2, (width - codes.shape[1]) // 2
    light = np.zeros((height, width, 3))
    light[top : top + codes.shape[0], left : left + codes.shape[1]] = codes
    return light


def make_batch(folder, drafts):
    folder.mkdir(parents=True)
    films = {}
    for number, (item, kind) in enumerate(ITEMS.items()):
        films[item] = drawn(item, kind, number, drafts)
        table = raw_files.table(*films[item].shape[:2])
        raw_files.write(folder / f"{item}.dng", table * films[item], CAMERA, seed=number + 1)
    raw_files.write(folder / "target.dng", table * target(*table.shape[:2]), CAMERA, seed=80)
    shot = raw_files.Shot(taken="2026:03:17 09:00:00")
    raw_files.write(folder / "light.dng", table, CAMERA, shot, seed=90)
    lines = [
        f"{hashlib.sha256(path.read_bytes()).hexdigest()}  {path.name}"
        for path in sorted(folder.glob("*.dng"))
    ]
    (folder / "manifest-sha256.txt").write_text("\n".join(lines) + "\n", "utf-8")
    rows = [f"{item},Quay {item},1905" for item in ITEMS]
    (folder / "catalogue.csv").write_text("\n".join(["item_id,title,date", *rows]) + "\n", "utf-8")
    facts = {
        "items": [{"match": item, "kind": kind} for item, kind in ITEMS.items()],
        "targets": [{"path": "target.dng", "description": "film-example.yaml"}],
    }
    (folder / "batch.yaml").write_text(yaml.safe_dump(facts), "utf-8")
    return films


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    studio = Studio(tmp_path_factory.mktemp("studio"))
    films = make_batch(studio.masters / BATCH, studio.root / "drafts")
    before = studio.masters_state()
    return studio, studio.night(*SETTINGS), before, films


def test_raw_captures_are_delivered_with_what_was_made_of_them(finished):
    studio, outcome, before, _ = finished
    assert outcome.code == 0, outcome.text[-3000:]
    bag = studio.root / "deliveries" / BATCH / "data"
    for item in ITEMS:
        assert (bag / item / "masters" / f"{item}.tif").is_file()
        packed = (bag / item / "raw" / f"{item}.dng").read_bytes()
        assert packed == (studio.masters / BATCH / f"{item}.dng").read_bytes()
        assert (bag / item / "access" / f"{item}_access.jpg").is_file()
    assert studio.masters_state() == before


def test_the_master_is_the_light_through_the_film(finished):
    studio, _, _, films = finished
    for item, film in films.items():
        record = json.loads((studio.item(BATCH, item) / "developed.json").read_text())
        made = tifffile.imread(studio.item(BATCH, item) / "developed" / f"{item}.tif") / 65535
        seen = made / record["masters"][0]["table"]
        lit = film > 0.05
        assert seen[lit].sum() / film[lit].sum() == pytest.approx(1.0, abs=0.003)
        assert record["masters"][0]["calibration"][0]["path"] == "light.dng"


def test_the_record_tells_how_the_picture_was_made(finished):
    studio = finished[0]
    item = next(iter(ITEMS))
    text = (studio.item(BATCH, item) / "METS.xml").read_text("utf-8")
    assert f"{item}/raw/{item}.dng" in text
    assert "#development" in text and "0.22.2" in text
    assert 'USE="raw"' in text


def test_the_target_is_developed_with_the_light_of_the_session_and_measured(finished):
    studio = finished[0]
    results = studio.root / "results" / BATCH
    found = json.loads((results / "targets" / "target.json").read_text())
    assert found["state"] == "measured"
    assert [each["path"] for each in found["developed"][0]["calibration"]] == ["light.dng"]
    measures = {each["name"]: each["value"] for each in found["measures"]}
    assert measures["sampling_rate"] == pytest.approx(400, abs=1)
    assert not list(results.glob(".part-*"))


def test_the_master_comes_out_again_from_the_delivered_raw_file(finished):
    studio = finished[0]
    command = studio.command("reproduce", "--config", f"reproduce=deliveries/{BATCH}")
    done = subprocess.run(command, env=studio.environment(), capture_output=True, text=True)
    assert done.returncode == 0, (done.stdout + done.stderr)[-3000:]


def test_a_second_night_has_nothing_to_do(finished):
    studio = finished[0]
    again = studio.night(*SETTINGS)
    assert again.code == 0, again.text[-3000:]
    assert not {job for job in again.jobs if job[0] == "item"}
