"""A target that was captured raw: developed first, measured as one in TIFF is, refused in words."""

import hashlib
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest

from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.develop import stored
from glassine.masters import colour, raws
from glassine.night import target_captures
from glassine.night.lookup import Lookup
from glassine.targets import depth, description
from makers import raw_files
from makers.targets import draw_target, layouts

FILM = layouts.PROJECT / "config" / "targets" / "film-example.yaml"
CAMERA = raw_files.Camera(full_well=0)
TWELVE = raw_files.Camera(full_well=0, black=256.0, white=4095.0)
BEFORE = raw_files.Shot(taken="2026:03:17 09:00:00")
PPI = 400.0
LONGER = raw_files.Shot((1, 30))
# Linear sRGB to the colours of the drawn camera, white kept: what its matrix (XYZ of D65) means.
SRGB_TO_CAMERA = np.array(raw_files.MATRIX) @ raws._SRGB_TO_XYZ
SRGB_TO_CAMERA /= SRGB_TO_CAMERA.sum(axis=1, keepdims=True)


def entry(path, **more):
    state = path.stat()
    return {"path": path.name, "bytes": state.st_size, "mtime_ns": state.st_mtime_ns, **more}


def given(folder, path, flat_field=None, lights=("light.dng",), raw=None, expected=None):
    """Return what a night gives for one target capture, as the lookup does."""
    names = [path, *([flat_field] if flat_field else [])]
    captures = [entry(folder / name, expected=expected or {}) for name in names]
    target = {
        "path": path, "description": "film-example.yaml", "nominal_ppi": PPI,
        "captures": captures, "flat_field": flat_field,
    }  # fmt: skip
    content = {
        "targets": [target],
        "calibration": [entry(folder / name, role="light", expected={}) for name in lights],
    }
    batch = SimpleNamespace(content=content)
    lookup = SimpleNamespace(
        known=lambda name: batch,
        config=settings.load({"raw": raw or {}}),
        _develop_given=lambda of: Lookup._develop_given(lookup, of),
    )
    return Lookup.targets_given(lookup, "proved")


def measured(folder, out, path, **more):
    """Return targets.json and the target's own record."""
    out.mkdir(exist_ok=True)
    target_captures.measure(folder, out, given(folder, path, **more))
    record = msgspec.json.decode((out / "targets.json").read_bytes())
    return record, msgspec.json.decode((out / "targets" / f"{path[:-4]}.json").read_bytes())


def values(result):
    return {one["name"]: one["value"] for one in result["measures"]}


@pytest.fixture(scope="module")
def light():
    """The light through a drawn film target, (h, w, 3), the bare table is 1."""
    rig = draw_target.Rig(ppi=PPI, linear=True, falloff=0, noise=0, noise_read=0, exposure=1.0)
    described = description.read(FILM)
    drawn = draw_target.draw(described, rig, layouts.squares(described.size_mm[0] / 24))
    codes = drawn.codes / 65535
    height, width = (side // 2 * 2 for side in codes.shape[:2])
    xyz = codes[:height, :width] / codes.max((0, 1)) @ draw_target.WIDE_TO_XYZ.T
    to_camera = SRGB_TO_CAMERA @ np.linalg.inv(colour.srgb_matrix())
    return drawn, np.clip(xyz @ to_camera.T, 0, None)


@pytest.fixture(scope="module")
def folder(light, tmp_path_factory):
    """The target in TIFF, and raw as a camera whose colours are those of the TIFF would have it."""
    path = tmp_path_factory.mktemp("batch")
    drawn, seen = light
    draw_target.save(path / "plain.tif", drawn)
    table = raw_files.table(*seen.shape[:2])
    raw_files.write(path / "target.dng", table * seen, CAMERA)
    raw_files.write(path / "twelve.dng", table * seen, TWELVE)
    raw_files.write(path / "bare.dng", table, CAMERA)
    raw_files.write(path / "bright.dng", table * seen * 2, CAMERA, LONGER)
    raw_files.write(path / "light.dng", table, CAMERA, BEFORE)
    (path / "broken.dng").write_bytes((path / "target.dng").read_bytes()[:90_000])
    return path


@pytest.fixture(scope="module")
def found(folder, tmp_path_factory):
    before = {each.name: hashlib.sha256(each.read_bytes()).hexdigest() for each in folder.iterdir()}
    out = tmp_path_factory.mktemp("results") / "proved"
    result = measured(folder, out, "target.dng", flat_field="bare.dng")
    after = {each.name: hashlib.sha256(each.read_bytes()).hexdigest() for each in folder.iterdir()}
    assert after == before
    return out, *result


def test_a_raw_target_has_the_measures_of_the_same_target_in_tiff(found, folder, tmp_path):
    _, whole, raw = found
    _, plain = measured(folder, tmp_path / "plain", "plain.tif", lights=())
    assert (raw["state"], plain["state"]) == ("measured", "measured")
    one, other = values(raw), values(plain)
    assert set(other) <= set(one)
    assert one["sampling_rate"] == pytest.approx(PPI, abs=0.5)
    assert one["sfr50"] == pytest.approx(other["sfr50"], rel=0.1)
    assert one["de2000_mean"] < 0.5
    assert one["tone_error_density"] < 0.1
    assert one["clipped"] == 0
    codes = {each["code"] for each in whole["holds"]}
    assert codes == {"targets.sampling_rate"}


def test_its_record_says_how_it_was_developed(found, folder):
    _, whole, raw = found
    target, bare = raw["developed"]
    assert (target["path"], bare["path"]) == ("target.dng", "bare.dng")
    digest = hashlib.sha256((folder / "target.dng").read_bytes()).hexdigest()
    assert target["digests"]["sha256"] == digest
    assert [each["path"] for each in target["calibration"]] == ["light.dng"]
    assert (target["method"], target["matrix_from"], target["table"]) == ("DHT", "file", 0.9)
    assert raw["taken"] == "2026-03-17T10:00:00"
    shown = whole["targets"][0]
    assert "raw capture" in " ".join(shown["notes"])
    assert shown["event"]["detail"]["developed"][0]["picture_sha256"] == target["picture_sha256"]


def test_no_developed_picture_is_left_behind(found):
    out = found[0]
    assert not [path for path in out.rglob("*") if path.suffix == ".tif" or ".part-" in path.name]


def test_the_bits_used_are_the_sensors(found, folder):
    """14 and 12 bits in samples of 16: the picture's own codes use all of its 16."""
    assert values(found[2])["effective_bits"] == pytest.approx(14, abs=0.1)
    raw = raws.read(folder / "twelve.dng", 10**8)
    none = stored.packed_pixels(np.zeros(raw.sensor.shape, bool))
    sensor = target_captures.sensor_of(raw, SimpleNamespace(dead_pixels=none))
    green = sensor.middle[..., 1]
    assert depth.effective_bits(green, sensor.bits) == pytest.approx(12, abs=0.1)


def test_what_clipped_on_the_sensor_is_clipped_though_the_picture_is_not(folder, tmp_path):
    whole, raw = measured(folder, tmp_path / "bright", "bright.dng")
    assert values(raw)["clipped"] > 50
    assert "develop.clipped" in {each["code"] for each in whole["holds"]}


def test_what_its_development_lacked_is_said_beside_what_its_measuring_did(folder, tmp_path):
    whole, raw = measured(folder, tmp_path / "none", "bare.dng", lights=())
    severities = {each["code"]: each["severity"] for each in whole["holds"]}
    assert severities == {"develop.no_light": "review", "targets.not_found": "hold"}
    assert raw["developed"][0]["calibration"] == []


@pytest.mark.parametrize(
    ("path", "more", "code", "words"),
    [
        ("broken.dng", {}, "masters.raw_", "broken.dng"),
        ("target.dng", {"lights": (), "raw": {"light": "require"}}, "develop.no_light", "bare"),
    ],
)
def test_one_that_cannot_be_developed_is_refused_in_words(
    path, more, code, words, folder, tmp_path
):
    whole, raw = measured(folder, tmp_path / "out", path, **more)
    assert raw["state"] == "unreadable"
    held = [each for each in whole["holds"] if each["severity"] == "hold"]
    assert len(held) == 1 and held[0]["code"].startswith(code)
    assert words in held[0]["path"] + held[0]["what"]


def test_one_that_is_not_in_the_batch_folder_is_said_so(folder, tmp_path):
    values_ = given(folder, "target.dng")
    values_["targets"][0]["path"] = "../target.dng"
    target_captures.measure(folder, tmp_path, values_)
    record = files.read_json(tmp_path / "targets.json")
    assert [each["code"] for each in record["holds"]] == ["targets.path"]


def test_one_that_is_not_what_the_list_says_holds_the_batch(folder, tmp_path):
    with pytest.raises(GlassineError, match="not what the capture station"):
        measured(folder, tmp_path / "out", "target.dng", expected={"sha256": "0" * 64})


def test_how_raws_are_developed_counts_for_raw_targets_alone(folder):
    assert "develop" not in given(folder, "plain.tif")
    one, other = (given(folder, "target.dng", raw={"output": name}) for name in ("camera", "romm"))
    assert one != other
    assert one["develop"]["version"]
