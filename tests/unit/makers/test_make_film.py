"""The sample masters: made again byte for byte, true to their truth, within their size."""

from __future__ import annotations

import csv
import io
import json
import time
import zlib
from pathlib import Path

import numpy as np
import pytest
import pyvips
import tifffile
import yaml
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from glassine.base import model
from makers import make_film
from makers.film import KINDS, deflate, icc, make_scene, plan_scene, samples, things, write_master
from makers.film.faulty import make_faulty_batch
from makers.film.optics import Box, Camera, Field, Flat, Layer, Stock
from makers.film.tiff import Storage
from makers.targets import draw_samples

PROJECT = Path(__file__).resolve().parents[3]
FOLDER = PROJECT / "sample_masters" / samples.BATCH
TRUTH = json.loads((PROJECT / "tests/truth" / f"{samples.BATCH}.json").read_text("utf-8"))
BUDGET_BYTES = 40_000_000


def _manifest() -> dict[str, str]:
    lines = (FOLDER / "manifest-sha256.txt").read_text("utf-8").splitlines()
    return {line.split("  ", 1)[1]: line.split("  ", 1)[0] for line in lines}


@pytest.mark.parametrize("name", ["PEH-0010_sleeve.tif", "PEH-0011.tif"])
def test_a_sample_is_made_again_byte_for_byte(name: str, tmp_path: Path) -> None:
    sample = next(sample for sample in samples.SAMPLES if sample.name == name)
    path = sample.write(tmp_path, sample.plan())
    assert samples.sha256(path) == _manifest()[name]


def test_the_sample_targets_are_made_again_byte_for_byte(tmp_path: Path) -> None:
    for path in draw_samples.write(tmp_path):
        assert samples.sha256(path) == _manifest()[f"{samples.TARGETS}/{path.name}"]


def test_the_committed_masters_are_those_of_the_manifest() -> None:
    pictures = sorted(path.relative_to(FOLDER).as_posix() for path in FOLDER.rglob("*.tif"))
    assert pictures == sorted(_manifest())
    masters = [name for name in pictures if not name.startswith(f"{samples.TARGETS}/")]
    assert masters == sorted(TRUTH["masters"])
    assert all(samples.sha256(FOLDER / name) == digest for name, digest in _manifest().items())
    total = sum(path.stat().st_size for path in FOLDER.rglob("*"))
    assert total < BUDGET_BYTES


def test_truth_lies_inside_its_master_and_turns_clockwise() -> None:
    for name, truth in TRUTH["masters"].items():
        for frame in truth["frames"]:
            corners = np.array(frame["corners"])
            assert (corners > 0).all(), name
            assert (corners < (truth["width"], truth["height"])).all(), name
            (ax, ay), (bx, by) = corners[0], corners[1]
            angle = np.degrees(np.arctan2(by - ay, bx - ax))
            assert angle == pytest.approx(frame["angle_deg"], abs=0.01), name
            width = np.hypot(bx - ax, by - ay) / truth["ppi"] * 25.4
            assert width == pytest.approx(frame["size_mm"][0], abs=0.01), name


def test_the_strip_has_the_135_geometry_of_the_standard() -> None:
    """ISO 1007: frame 24 x 36 mm, eight perforations of 4.75 mm a frame: 38.00 mm."""
    truth = TRUTH["masters"]["PEH-0006.tif"]
    centres = [np.mean(frame["corners"], axis=0) for frame in truth["frames"]]
    steps = np.hypot(*np.diff(centres, axis=0).T) / truth["ppi"] * 25.4
    assert np.abs(steps - 38.0).max() < 0.75  # the advance of a camera is not quite even
    assert [frame["blank"] for frame in truth["frames"]] == [False, False, True, False, False]
    assert all(frame["size_mm"] == [36.0, 24.0] for frame in truth["frames"])


def test_perforations_are_seen_at_their_pitch() -> None:
    """Counted in the pixels along a row of perforations, independent of how they were drawn."""
    image, truth = make_scene("strip_135", 3, 1500, skew_deg=0.0)
    per_mm = truth["ppi"] / 25.4
    middle = np.mean([frame["corners"] for frame in truth["frames"]], axis=(0, 1))
    row = image[round(middle[1] - (34.976 / 2 - 2.01 - 1.4) * per_mm), :, 2].astype(float)
    light = row > 0.6 * row.max()
    starts = np.flatnonzero(~light[:-1] & light[1:])[1:-1]  # without the film's ends
    assert len(starts) > 35
    slope = np.polyfit(np.arange(len(starts)), starts, 1)[0]
    assert slope / per_mm == pytest.approx(4.75, rel=0.003)


def test_masters_have_profile_capture_data_and_resolution() -> None:
    for sample in samples.SAMPLES:
        with tifffile.TiffFile(FOLDER / sample.name) as file:
            page = file.pages[0]
            tags = page.tags
            exif = tags["ExifTag"].value
            assert page.dtype == np.uint16
            assert exif["OffsetTimeOriginal"] == "+00:00"
            assert exif["DateTimeOriginal"].startswith("2026:03:17")
            assert exif["FocalLength"] == (95, 1)
            assert ("XResolution" in tags) == sample.tagged_ppi
            assert len(tags["InterColorProfile"].value) > 200


def test_storage_is_mixed() -> None:
    pages = {}
    for sample in samples.SAMPLES:
        with tifffile.TiffFile(FOLDER / sample.name) as file:
            page = file.pages[0]
            pages[sample.name] = (page.compression, page.is_tiled, file.is_bigtiff)
    kinds = list(pages.values())
    assert sum(compression == 1 for compression, _, _ in kinds) >= 2
    assert {tiled for _, tiled, _ in kinds} == {True, False}
    assert sum(big for _, _, big in kinds) == 1


def test_two_readers_agree_on_every_master() -> None:
    for sample in samples.SAMPLES:
        seen = pyvips.Image.new_from_file(str(FOLDER / sample.name), fail_on="error").numpy()
        with tifffile.TiffFile(FOLDER / sample.name) as file:
            assert np.array_equal(np.squeeze(seen), file.asarray())


def test_the_label_is_read_at_full_resolution() -> None:
    image = tifffile.imread(FOLDER / "PEH-0008.tif")
    found = zxingcpp.read_barcodes((image[..., 1] >> 8).astype(np.uint8))
    assert [(code.text, code.format) for code in found] == [
        ("PEH-0008", zxingcpp.BarcodeFormat.Code128)
    ]


def test_catalogue_and_facts_name_the_items_of_the_masters() -> None:
    with (FOLDER / "catalogue.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    items = {sample.item for sample in samples.SAMPLES}
    assert {row["item_id"] for row in rows} == items
    assert len(rows) == len(items)
    assert all(row["rights_uri"].startswith("http://") for row in rows)
    assert {"nitrate", "acetate"} <= {row["material"] for row in rows}
    facts = yaml.safe_load((FOLDER / "batch.yaml").read_text("utf-8"))
    stated = {entry["match"]: entry for entry in facts["items"]}
    for truth in TRUTH["masters"].values():
        entry = stated.get(truth["item"])
        if entry is not None:
            assert entry["kind"] == truth["kind"]
            assert entry["polarity"] == truth["polarity"]
            assert entry["process"] == truth["process"]
    assert items - set(stated) == {"PEH-0010", "PEH-0012"}


def test_the_height_of_a_band_does_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    whole, _ = make_scene("sheet", 5, 400)
    monkeypatch.setattr("makers.film.optics._BAND_ROWS", 50)
    banded, _ = make_scene("sheet", 5, 400)
    assert np.array_equal(whole, banded)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_quickly_made_and_has_its_frames_inside(kind: str) -> None:
    image, truth = make_scene(kind, 9, 600)
    assert image.dtype == np.uint16
    assert image.shape == (truth["height"], truth["width"], 3)
    corners = np.array([frame["corners"] for frame in truth["frames"]])
    assert (corners > 0).all()
    assert (corners < (truth["width"], truth["height"])).all()


def test_an_edge_lies_where_it_was_put_to_a_thousandth_of_a_pixel() -> None:
    """A dark box at 1 px/mm: the light it takes is its area, left and right of a column."""
    camera = Camera(white=1.0, fall_off=0, tilt=0, grain=0, read=0, shot=0, flare=0)
    box = Layer(Box(40.3, 20.0), Flat((0.0,)), 0.27, 0.0)
    image = Field(100, 60, 25.4, (1.0,), (box,), camera, 1, 1).image()[..., 0] / 65535
    missing = 1 - image
    assert missing.sum() == pytest.approx(40.3 * 20.0, abs=0.1)
    row = missing[30]
    assert 50 - row[:50].sum() == pytest.approx(50.27 - 40.3 / 2, abs=0.001)
    assert 50 + row[50:].sum() == pytest.approx(50.27 + 40.3 / 2, abs=0.001)


def test_film_follows_its_curve() -> None:
    """Ten times the exposure is one slope of density on the straight line."""
    stock = Stock((0.2,), (0.6,))
    low, high = stock.transmittance(np.array([[0.1], [1.0]], np.float32))[:, 0]
    assert np.log10(low / high) == pytest.approx(0.6, abs=0.003)
    base = stock.transmittance(np.zeros((1, 1), np.float32))[0, 0]
    assert -np.log10(base) == pytest.approx(0.2, abs=0.001)


def test_base_density_is_found_in_the_pixels() -> None:
    camera = {"fall_off": 0.0, "tilt": 0.0, "flare": 0.0}
    views = ("blank",) * 5
    image, truth = make_scene("strip_135", 2, 900, views=views, skew_deg=0.0, camera=camera)
    x, y = np.mean(truth["frames"][2]["corners"], axis=0).astype(int)
    patch = image[y - 10 : y + 10, x - 10 : x + 10].reshape(-1, 3) / 65535 / truth["white"]
    assert -np.log10(np.median(patch, axis=0)) == pytest.approx(truth["d_min"], abs=0.01)


def test_profiles_are_what_lcms_says() -> None:
    """Little CMS, through Pillow, turns the wide primaries' white into sRGB's white."""
    for gamma in (1.0, 2.2, icc.GAMMA_WIDE):
        data = icc.rgb_profile("test", icc.WIDE, gamma)
        profile = ImageCms.ImageCmsProfile(io.BytesIO(data))
        assert profile.profile.xcolor_space.strip() == "RGB"
        turn = ImageCms.buildTransform(profile, ImageCms.createProfile("sRGB"), "RGB", "RGB")
        white = ImageCms.applyTransform(Image.new("RGB", (1, 1), (255, 255, 255)), turn)
        assert min(white.getpixel((0, 0))) >= 254


def test_the_matrix_to_wide_primaries_keeps_white() -> None:
    # the published colorants are rounded: their whites have Z 0.82510 and 0.82491 (2.3e-4)
    assert icc.from_bt709(icc.WIDE).sum(axis=1) == pytest.approx([1, 1, 1], abs=3e-4)


@given(st.binary(max_size=3000))
@settings(max_examples=60, deadline=None)
def test_packed_bytes_come_back(data: bytes) -> None:
    assert zlib.decompress(deflate.compress(data)) == data


def test_any_item_at_any_size(tmp_path: Path) -> None:
    arguments = ["--item", "PEH-0002", "--size", "700x500", "--out", str(tmp_path)]
    assert make_film.main(arguments) == 0
    image = pyvips.Image.new_from_file(str(tmp_path / "PEH-0002.tif"), fail_on="error")
    assert (image.width, image.height) == (700, 500)
    with pytest.raises(SystemExit):
        make_film.main(["--item", "PEH-0002", "--size", "14205x10652", "--out", str(tmp_path)])


def test_copies_make_a_batch_of_different_masters(tmp_path: Path) -> None:
    arguments = ["--item", "PEH-0001", "--size", "300x220", "--copies", "3"]
    assert make_film.main([*arguments, "--out", str(tmp_path)]) == 0
    lines = (tmp_path / "manifest-sha256.txt").read_text("utf-8").splitlines()
    assert len({line.split()[0] for line in lines}) == 3
    assert (tmp_path / "catalogue.csv").read_text("utf-8").count("COPY-") == 3
    facts = yaml.safe_load((tmp_path / "batch.yaml").read_text("utf-8"))
    assert facts["items"][0]["kind"] == "frame_135"


def test_the_faulty_batch_has_the_faults_it_says(tmp_path: Path) -> None:
    truth = make_faulty_batch(tmp_path)
    assert sorted(truth.values()).count("good") == 2
    lines = (tmp_path / "manifest-sha256.txt").read_text("utf-8").splitlines()
    wrong = {
        path
        for digest, path in (line.split("  ", 1) for line in lines)
        if samples.sha256(tmp_path / path) != digest
    }
    assert wrong == {"PEH-0103.tif", "PEH-0104.tif"}
    with pytest.raises(pyvips.Error):
        pyvips.Image.new_from_file(str(tmp_path / "PEH-0103.tif"), fail_on="error").avg()
    with (tmp_path / "catalogue.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert "PEH-0105" not in {row["item_id"] for row in rows}
    assert sum(row["masters"] == "PEH-0107.tif" for row in rows) == 2


def test_a_big_tiff_and_a_plain_one_hold_the_same_pixels(tmp_path: Path) -> None:
    scene = plan_scene("print", 4, 300)
    for number, storage in enumerate((Storage("none", big=True), Storage(tile=64), Storage())):
        path = tmp_path / f"{number}.tif"
        write_master(path, scene, storage=storage)
        assert np.array_equal(tifffile.imread(path), scene.field.image())


def test_words_for_kinds_are_those_of_the_workflow() -> None:
    words = {things.KIND_WORDS.get(kind, kind) for kind in KINDS}
    assert words == set(model.KINDS) - {"auto"}


@pytest.mark.long  # .ci/run makes them all, under the code paths of narrower processors too
def test_all_samples_are_made_again_byte_for_byte() -> None:
    """In less than two minutes of processor time (measured: 11 s), whatever else is going on."""
    started = time.process_time()
    assert make_film.check() == 0
    assert time.process_time() - started < 120
