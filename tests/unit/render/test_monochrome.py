"""A picture that is stated to be monochrome is grey in one band, in every form it is written in."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import pyvips
import tifffile
from PIL import Image, ImageCms

from glassine.base import item_states, settings
from glassine.base.files import read_json
from glassine.base.model import Facts, Frame, MasterGeometry
from glassine.base.tone import AnyTone
from glassine.masters import colour
from glassine.render import tone, toning
from glassine.render.given import ToneSection
from makers import tones

SECTION = msgspec.convert(settings.load({})["tone"], ToneSection)
BOX = ((0.0, 0.0), (300.0, 0.0), (300.0, 200.0), (0.0, 200.0))
# Toning of a sepia print: value from memory.
SEPIA = (1.0, 0.82, 0.58)


class Source:
    """A master that lies in memory, as far as the tone asks for it."""

    def __init__(self, pixels: np.ndarray) -> None:
        self.reduced, self.reduction, self.bits = pixels, 1.0, 16
        self.height, self.width, self.bands = pixels.shape

    def region(self, left: int, top: int, width: int, height: int) -> np.ndarray:
        return self.reduced[top : top + height, left : left + width]


def ramp(tint: tuple[float, float, float] = (1.0, 1.0, 1.0)) -> np.ndarray:
    """Return a picture in steps of grey under a tint, linear samples."""
    light = np.tile(np.linspace(0.02, 0.9, 300), (200, 1))[:, :, None] * np.array(tint)
    return np.round(light * 65535).astype(np.uint16)


def frame(**changes: Any) -> Frame:
    known: dict[str, Any] = {"process": "monochrome", "process_stated": True}
    return Frame(1, BOX, 0.0, "positive", **(known | changes))


def planned(pixels: np.ndarray, made: Frame) -> AnyTone:
    shape = MasterGeometry("m.tif", 300, 200, None, None, (made,))
    return tone.plan(Source(pixels), shape, Facts(encoding="linear"), None, SECTION)[0]  # type: ignore[arg-type]


def test_a_positive_stated_to_be_monochrome_has_one_band() -> None:
    plan = planned(ramp(), frame())
    assert plan.bands == 1
    assert plan.review == ()
    shown = toning.apply(ramp(), plan, None)
    assert shown.shape == (200, 300, 1)
    assert toning.apply16(ramp(), plan, None).shape == (200, 300, 1)
    deep = toning.apply16(ramp(), plan, None).astype(float) / 257
    assert np.abs(deep - shown).max() <= 1.01


def test_its_grey_is_the_luminance_that_the_colours_had() -> None:
    """Against a colour engine: L* of the colour picture and of the grey one agree."""
    pixels = ramp((0.9, 0.6, 0.3))
    coloured = planned(pixels, frame(process="colour"))
    grey = planned(pixels, frame())
    coloured, grey = (msgspec.structs.replace(plan, black=0.0) for plan in (coloured, grey))
    shown, made = toning.apply(pixels, coloured, None), toning.apply(pixels, grey, None)
    image = pyvips.Image.new_from_array(shown).copy(interpretation="srgb")
    wanted = image.colourspace("lab")[0].numpy()
    found = pyvips.Image.new_from_array(made[:, :, 0]).copy(interpretation="b-w")
    assert np.abs(found.colourspace("lab")[0].numpy() - wanted).max() < 1.0


def test_bands_that_are_alike_stay_as_they_are() -> None:
    plan = planned(ramp(), frame(process="colour"))
    assert plan.bands == 3
    grey = toning.apply(ramp(), planned(ramp(), frame()), None)
    assert np.abs(toning.apply(ramp(), plan, None)[:, :, 1].astype(int) - grey[:, :, 0]).max() <= 1


def test_a_tinted_positive_that_was_only_recognised_keeps_its_tint() -> None:
    plan = planned(ramp(SEPIA), frame(process_stated=False))
    assert (plan.bands, plan.review) == (3, ())


@pytest.mark.parametrize("tint", [SEPIA, (0.3, 0.5, 0.9)])
def test_a_tint_that_is_lost_is_for_review(tint: tuple[float, float, float]) -> None:
    plan = planned(ramp(tint), frame())
    assert plan.bands == 1
    assert "shows colours" in plan.review[0]


def test_a_picture_with_a_few_colours_is_for_review() -> None:
    pixels = ramp()
    pixels[40:90, 150:250] = (50000, 12000, 9000)
    assert "shows colours" in planned(pixels, frame()).review[0]


@pytest.mark.parametrize("cast", [(1.0, 0.97, 0.93), (0.96, 1.0, 0.98)])
def test_a_cast_of_the_camera_and_noise_are_no_colours(cast: tuple[float, float, float]) -> None:
    noise = np.random.default_rng(4).normal(0, 250, (200, 300, 3))
    pixels = np.clip(ramp(cast) + noise, 0, 65535).astype(np.uint16)
    assert planned(pixels, frame()).review == ()


def test_what_the_tone_asks_reaches_the_report_until_it_is_accepted() -> None:
    asks = msgspec.to_builtins(msgspec.structs.replace(tones.POSITIVE, review=("Look.",)))
    record = {
        "frames": [
            {"master": "m.tif", "index": 1, "skipped": None, "tone": asks},
            {"master": "m.tif", "index": 2, "skipped": "excluded", "tone": None},
        ]
    }
    (reason,) = item_states._render_reasons(record)
    assert reason.text == "Look."
    seen = [{"frame": 1, "accept": True}]
    assert not item_states._of_seen_frame("render", reason, [])
    assert item_states._of_seen_frame("render", reason, seen)
    # Accepted for another reason alone: this one asks again.
    assert not item_states._of_seen_frame("render", reason, [{**seen[0], "reasons": ["other"]}])


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A print stated to be monochrome, taken through render with everything by option."""
    from test_render import Item

    item = Item(tmp_path_factory.mktemp("written"))
    item.geometries = [
        MasterGeometry("PEH-0001.tif", 700, 500, 1200.0, "tag", (_on_table(item),)),
    ]
    item.settings = settings.load(
        {"render": {"alternates": ["webp", "avif"], "crop_tiff": "rendered"}}
    )
    return item.dir, item.run()["frames"][0]


def _on_table(item: Any) -> Frame:
    from dataclasses import replace

    (known,) = item.geometries[0].frames
    return replace(known, process="monochrome", process_stated=True)


def test_every_picture_is_grey_and_says_so(written: tuple[Path, dict[str, Any]]) -> None:
    folder, made = written
    for entry in made["files"]:
        with Image.open(folder / "render" / entry["name"]) as image:
            assert image.mode == "L"
            profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"])).profile
            assert profile.xcolor_space.strip() == "GRAY"
    for path in (folder / "iiif").rglob("*.jpg"):
        with Image.open(path) as image:
            assert image.mode == "L", path
    names = {entry["use"]: entry["name"] for entry in made["alternates"]}
    with tifffile.TiffFile(folder / "render" / names["crop"]) as tiff:
        assert tiff.pages[0].samplesperpixel == 1
        assert tiff.pages[0].tags["InterColorProfile"].value == colour.grey_profile()
    for use in ("webp", "avif"):  # formats without grey: three bands that are alike
        shown = pyvips.Image.new_from_file(str(folder / "render" / names[use])).numpy()
        spread = shown.reshape(*shown.shape[:2], -1).astype(int)
        assert np.ptp(spread[:, :, :3], axis=2).max() <= 2, use


def test_a_pyramid_is_grey_too(tmp_path: Path) -> None:
    from test_render import Item

    item = Item(tmp_path)
    item.geometries = [MasterGeometry("PEH-0001.tif", 700, 500, 1200.0, "tag", (_on_table(item),))]
    item.settings = settings.load({"iiif": {"form": "pyramid"}})
    made = item.run()["frames"][0]
    (entry,) = [each for each in made["alternates"] if each["use"] == "pyramid"]
    with tifffile.TiffFile(item.dir / "render" / entry["name"]) as tiff:
        assert {page.samplesperpixel for page in tiff.pages} == {1}
    assert read_json(item.dir / "render" / "render.json")["frames"][0]["tone"]["bands"] == 1
