"""Developed values against drawn light of exact truth."""

import hashlib

import cv2
import msgspec
import numpy as np
import pytest
import tifffile

from glassine.base import settings
from glassine.base.errors import GlassineError
from glassine.base.records.fixity import Fixity
from glassine.develop import demosaic, flat, mosaic
from glassine.develop.given import DevelopGiven, Settings
from glassine.develop.step import develop_item
from glassine.masters import raws
from makers import raw_files
from makers.step_calls import do_step

HEIGHT, WIDTH = 600, 900
CAMERA = raw_files.Camera(dead=0.001, full_well=200_000.0)


def entry(path, **more):
    status = path.stat()
    return {"path": path.name, "bytes": status.st_size, "mtime_ns": status.st_mtime_ns, **more}


def developed(folder, item_dir, names, roles=(), changes=None, parts=()):
    """Return developed.json, fixity.json and {name: picture} of raw files in `folder`. parts: of
    those that show what another does, which else were exposures of one capture."""
    item_dir.mkdir(parents=True, exist_ok=True)
    given = {
        "item": "PEH-0001",
        "masters": [
            entry(folder / name, part=dict(parts).get(name), expected={}) for name in names
        ],
        "calibration": [
            entry(folder / name, role=role, expected={}) for name, role in dict(roles).items()
        ],
        "facts": None,
        "settings": settings.load({"raw": changes or {}}),
        "findings": [],
    }
    do_step("verify", folder, item_dir, given)
    develop_item(folder, item_dir, msgspec.convert(given, DevelopGiven))
    record = msgspec.json.decode((item_dir / "developed.json").read_bytes())
    fixity = msgspec.json.decode((item_dir / "fixity.json").read_bytes())
    msgspec.convert(fixity, Fixity)
    pictures = {
        master["source"]: tifffile.imread(item_dir / "developed" / master["path"]) / 65535
        for master in record["masters"]
    }
    return record, fixity, pictures


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A wedge of film, the bare table as the film's capture has it, and the session's captures."""
    path = tmp_path_factory.mktemp("raws")
    light, _ = raw_files.wedge(HEIGHT, WIDTH)
    table = raw_files.table(HEIGHT, WIDTH)
    before = raw_files.Shot(taken="2026:03:17 09:00:00")
    raw_files.write(path / "wedge.dng", light, CAMERA, seed=1)
    raw_files.write(path / "bare.dng", table, CAMERA, seed=2)
    raw_files.write(path / "light.dng", table, CAMERA, before, seed=3)
    raw_files.write(path / "dark.dng", table * 0, CAMERA, before, seed=4)
    raw_files.write(path / "long.dng", light * 0.5, CAMERA, raw_files.Shot((1, 120)), seed=5)
    return path


@pytest.fixture(scope="module")
def made(folder, tmp_path_factory):
    item_dir = tmp_path_factory.mktemp("item")
    names = ["wedge.dng", "bare.dng", "long.dng"]
    roles = {"light.dng": "light", "dark.dng": "dark"}
    return developed(folder, item_dir, names, roles, parts={"long.dng": "long"})


def patches():
    """Yield the inner part of each patch of the wedge, away from what a demosaic mixes in."""
    rows, columns = HEIGHT // 4, WIDTH // 6
    for place in range(24):
        down, across = divmod(place, 6)
        top, left = down * rows + rows // 8 + 10, across * columns + columns // 8 + 10
        yield np.s_[top : top + rows * 3 // 4 - 20, left : left + columns * 3 // 4 - 20]


def test_flat_areas_are_within_two_thousandths_of_the_light(made):
    record, _, pictures = made
    _, film = raw_files.wedge(HEIGHT, WIDTH)
    seen = pictures["wedge.dng"] / record["masters"][0]["table"]
    worst = [
        np.abs(seen[patch].mean((0, 1)) / film[patch].mean((0, 1)) - 1).max() for patch in patches()
    ]
    assert max(worst) < 0.002


def test_an_exposure_half_as_long_gives_the_same_light(made):
    _, _, pictures = made
    for patch in patches():
        one, other = pictures["wedge.dng"][patch], pictures["long.dng"][patch]
        assert one.mean((0, 1)) == pytest.approx(other.mean((0, 1)), rel=0.004)


def test_the_bare_table_is_even_and_white(made):
    _, _, pictures = made
    blocks = cv2.resize(pictures["bare.dng"], (18, 12), interpolation=cv2.INTER_AREA)
    assert np.abs(blocks / 0.9 - 1).max() < 0.003  # fall-off was 35 % in the corner


def test_pixels_that_do_not_work_leave_nothing(made, folder):
    record, _, pictures = made
    dead, hot = raw_files.not_working(HEIGHT, WIDTH, CAMERA)
    there = dead | hot
    assert record["masters"][1]["dead"] >= there.sum()
    bare = pictures["bare.dng"].mean(2)
    noise = np.median(np.abs(bare - np.median(bare))) * 1.4826
    assert np.abs(bare[there] - 0.9).max() < 8 * noise + 0.01
    found = flat.dead_pixels(raws.read(folder / "light.dng", 10**9))
    assert (found & there).sum() == there.sum()
    assert (found & ~there).sum() <= 2


def test_dust_on_the_table_is_kept_out(folder, tmp_path):
    table = raw_files.table(HEIGHT, WIDTH)
    specks = np.ones((HEIGHT, WIDTH))
    for x, y, radius in ((200, 150, 4), (500, 420, 12), (700, 100, 25)):
        cv2.circle(specks, (x, y), radius, 0.5, -1)
    raw_files.write(tmp_path / "wedge.dng", raw_files.wedge(HEIGHT, WIDTH)[0], CAMERA, seed=1)
    raw_files.write(tmp_path / "bare.dng", table, CAMERA, seed=2)
    before = raw_files.Shot(taken="2026:03:17 09:00:00")
    dusty = table * cv2.GaussianBlur(specks, (0, 0), 1.5)[..., None]
    raw_files.write(tmp_path / "light.dng", dusty, CAMERA, before, seed=3)
    _, _, pictures = developed(tmp_path, tmp_path / "i", ["bare.dng"], {"light.dng": "light"})
    blocks = cv2.resize(pictures["bare.dng"], (90, 60), interpolation=cv2.INTER_AREA)
    assert np.abs(blocks / 0.9 - 1).max() < 0.006
    fine = cv2.GaussianBlur(pictures["bare.dng"], (0, 0), 3)
    assert fine.max() < 0.93


def test_the_same_raw_file_gives_the_same_bytes(folder, tmp_path):
    digests = []
    for number in (1, 2):
        developed(folder, tmp_path / str(number), ["wedge.dng"], {"light.dng": "light"})
        picture = tmp_path / str(number) / "developed" / "wedge.tif"
        digests.append(hashlib.sha256(picture.read_bytes()).hexdigest())
    assert digests[0] == digests[1]


def test_bands_give_the_same_picture_but_for_extremes(folder):
    raw = raws.read(folder / "wedge.dng", 10**9)
    light = flat.field_of(raws.read(folder / "light.dng", 10**9))
    codes = mosaic.corrected(raw, light, (0.9, 0.9, 0.9)).codes
    whole = np.concatenate([band for _, band in demosaic.bands(codes, raw.pattern, "DHT")])
    few = demosaic.METHODS["DHT"] * WIDTH * 256
    tops, parts = zip(*demosaic.bands(codes, raw.pattern, "DHT", most_bytes=few), strict=True)
    assert tops == (0, 256, 512)
    assert np.mean(np.concatenate(parts) != whole) < 0.001


@pytest.mark.parametrize("pattern", raw_files.PATTERNS)
@pytest.mark.parametrize("method", ["dht", "aahd"])
def test_every_phase_of_the_pattern_gives_the_same_colours(pattern, method, tmp_path):
    camera = raw_files.Camera(pattern=pattern, full_well=0, dead=0)
    light = raw_files.table(200, 300) * [0.9, 0.5, 0.2]
    raw_files.write(tmp_path / "a.dng", light, camera)
    before = raw_files.Shot(taken="2026:03:17 09:00:00")
    raw_files.write(tmp_path / "light.dng", raw_files.table(200, 300), camera, before)
    changes = {"demosaic": method}
    _, _, pictures = developed(tmp_path, tmp_path / "i", ["a.dng"], {"light.dng": "light"}, changes)
    seen = pictures["a.dng"][40:-40, 40:-40].mean((0, 1)) / 0.9
    assert seen == pytest.approx([0.9, 0.5, 0.2], rel=0.002)


def test_a_raw_file_that_changed_since_verify_is_held(folder, tmp_path):
    copy = tmp_path / "b"
    copy.mkdir()
    (copy / "wedge.dng").write_bytes((folder / "wedge.dng").read_bytes())
    developed(copy, tmp_path / "i", ["wedge.dng"])
    content = bytearray((copy / "wedge.dng").read_bytes())
    content[-100] ^= 255
    (copy / "wedge.dng").write_bytes(content)
    given = DevelopGiven(
        item="PEH-0001", masters=(), settings=msgspec.convert(settings.load({}), Settings)
    )
    with pytest.raises(GlassineError) as problem:
        develop_item(copy, tmp_path / "i", given)
    assert problem.value.findings[0].code == "develop.digest"


def test_an_odd_row_is_left_out_and_told(tmp_path):
    camera = raw_files.Camera(full_well=0)
    samples = raw_files.exposed(raw_files.table(200, 300), camera)
    (tmp_path / "a.dng").write_bytes(raw_files.dng(samples[:-1, :-1].copy(), camera))
    _, fixity, pictures = developed(tmp_path, tmp_path / "i", ["a.dng"])
    assert pictures["a.dng"].shape == (198, 298, 3)
    assert "develop.odd_size" in {note["code"] for note in fixity["masters"][0]["notes"]}
