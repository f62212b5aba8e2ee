"""Sets of other profiles, of grey and not inverted: what their files say is what they hold, as a
reader of another make (Pillow with its own LittleCMS, tifffile) sees it, and as METS and MIX say.

Ways to be wrong and look right: a profile embedded with samples of another space; grey with the
profile of a colour picture; a positive where the negative was asked for; a record that says sRGB.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from lxml import etree
from PIL import Image, ImageCms

from glassine.base import files, settings
from glassine.masters import colour, spaces
from glassine.night import agreement
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items

NS = {
    "mets": "http://www.loc.gov/METS/",
    "mix": "http://www.loc.gov/mix/v20",
    "xlink": "http://www.w3.org/1999/xlink",
}
SETS: list[dict[str, Any]] = [
    {"name": "plain", "form": "jpeg", "quality": 98},
    {"name": "press", "form": "jpeg", "profile": "adobergb", "quality": 98},
    {"name": "wide", "form": "tiff", "profile": "ecirgb"},
    {"name": "grey-web", "form": "jpeg", "profile": "grey", "quality": 98},
    {"name": "grey-deep", "form": "tiff", "profile": "grey", "bits": 16},
    {"name": "film", "form": "tiff", "tone": "uninverted"},
    {"name": "film-deep", "form": "tiff", "tone": "uninverted", "bits": 16, "profile": "romm"},
    {"name": "film-grey", "form": "jpeg", "tone": "uninverted", "profile": "grey"},
]


def taken(folder: Path, process: str) -> dict[str, Path]:
    """Take an item through all steps; return {name of a set: its picture in the delivery}."""
    real = deliveries.geometry

    def geometry(name: str) -> dict[str, Any]:
        made = real(name)
        made["masters"][0]["frames"][0] |= {"process": process}
        return made

    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        patch.setattr(deliveries, "geometry", geometry)
        more = {"render": {"sets": SETS, "access_long_edge": 300}}
        deliveries.night(folder, "mets", more=more, facts={"process": process})
    record = made_items.item_dir_of(folder) / "render" / "render.json"
    (frame,) = files.read_json(record)["frames"]
    (pictures,) = folder.glob("deliveries/*/data/PEH-0001/alternates")
    return {each["set"]: pictures / each["name"] for each in frame["alternates"]}


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("colour")


@pytest.fixture(scope="module")
def shown(root: Path) -> dict[str, Path]:
    return taken(root, "colour")


@pytest.fixture(scope="module")
def monochrome(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return taken(tmp_path_factory.mktemp("monochrome"), "monochrome")


def as_srgb(path: Path) -> np.ndarray:
    """Return a picture through the profile in it, by Pillow's LittleCMS, in its own sRGB."""
    with Image.open(path) as image:
        own = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        srgb = ImageCms.createProfile("sRGB")
        flags = ImageCms.Flags.NOOPTIMIZE
        seen = ImageCms.profileToProfile(image, own, srgb, 1, outputMode="RGB", flags=flags)
        return np.asarray(seen, float)


def test_a_jpeg_or_tiff_in_another_space_shows_the_same_colours(shown: dict[str, Path]) -> None:
    wanted = as_srgb(shown["plain"])
    for name, space in (("press", "adobergb"), ("wide", "ecirgb")):
        with Image.open(shown[name]) as image:
            assert image.info["icc_profile"] == spaces.profile(space, 3)
            raw = np.asarray(image, float)
        apart = np.abs(as_srgb(shown[name]) - wanted)
        assert np.median(apart) <= 1.5, name
        # It is not the samples of sRGB under another name.
        assert np.abs(raw - wanted).mean() > 2 * apart.mean(), name


def test_grey_is_one_band_of_the_luminance(shown: dict[str, Path]) -> None:
    """ITU-R BT.709-6 item 3.2, IEC 61966-2-1."""
    colours = as_srgb(shown["plain"]) / 255
    light = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    luminance = light @ [0.2126, 0.7152, 0.0722]
    wanted = np.where(
        luminance <= 0.0031308, luminance * 12.92, 1.055 * luminance ** (1 / 2.4) - 0.055
    )
    with Image.open(shown["grey-web"]) as image:
        assert image.mode == "L"
        assert image.info["icc_profile"] == colour.grey_profile()
        assert np.median(np.abs(np.asarray(image) / 255 - wanted)) < 0.008
    deep = tifffile.imread(shown["grey-deep"])
    assert (deep.dtype, deep.ndim) == (np.uint16, 2)
    assert np.median(np.abs(deep / 65535 - wanted)) < 0.008


def test_a_negative_as_captured_is_kept_as_tiff(shown: dict[str, Path]) -> None:
    """The drawn master is of sRGB: what is captured are its own samples, scenes dark in light."""
    film, plain = tifffile.imread(shown["film"]).astype(float), as_srgb(shown["plain"])
    inside = (slice(20, -20), slice(20, -20))
    assert film.shape == plain.shape
    both = [each[inside].mean(axis=2).ravel() for each in (film, plain)]
    assert np.corrcoef(*both)[0, 1] < -0.9
    with tifffile.TiffFile(shown["film-deep"]) as opened:
        page = opened.pages[0]
        assert (page.dtype, page.samplesperpixel) == (np.uint16, 3)
        assert page.tags["InterColorProfile"].value == spaces.profile("romm", 3)
    with Image.open(shown["film-grey"]) as image:
        assert image.mode == "L"


def test_a_monochrome_picture_is_grey_in_all_of_them(monochrome: dict[str, Path]) -> None:
    for name in ("plain", "press", "wide", "grey-web"):
        with Image.open(monochrome[name]) as image:
            assert image.mode == "L", name
            profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"])).profile
            assert profile.xcolor_space.strip() == "GRAY", name
    same = [np.asarray(Image.open(monochrome[name])) for name in ("plain", "grey-web")]
    assert np.array_equal(*same)
    # The film itself was captured in colour.
    assert tifffile.imread(monochrome["film"]).shape[2] == 3


def told(path: Path) -> dict[str, tuple[str, str, str, str]]:
    """Return {name of a file: its MIX's colour space, profile, bits, first words on inversion}."""
    root = etree.parse(str(path))
    found = {}
    for file in root.iterfind(".//mets:fileGrp/mets:file", NS):
        name = file[0].get(f"{{{NS['xlink']}}}href")
        if not name.startswith("alternates/"):
            continue
        (mix,) = [
            each
            for key in file.get("ADMID").split()
            for each in root.iterfind(f".//mets:techMD[@ID='{key}']//mix:mix", NS)
        ]
        actions = " ".join(mix.xpath(".//mix:processingActions/text()", namespaces=NS))
        found[Path(name).name] = (
            mix.findtext(".//mix:colorSpace", "", NS),
            mix.findtext(".//mix:iccProfileName", "", NS),
            " ".join(mix.xpath(".//mix:bitsPerSampleValue/text()", namespaces=NS)),
            "not" if "not inverted" in actions else "inverted" if "inverted" in actions else "",
        )
    return found


def test_the_record_says_what_each_file_holds(root: Path, shown: dict[str, Path]) -> None:
    (path,) = root.glob("deliveries/*/data/PEH-0001/METS.xml")
    grey, eight, deep = "Grey, sRGB curve", "8 8 8", "16 16 16"
    adobe, eci = spaces.SPACES["adobergb"].title, spaces.SPACES["ecirgb"].title
    wanted = {
        "plain": ("sRGB", "sRGB", eight, "inverted"),
        "press": ("RGB", adobe, eight, "inverted"),
        "wide": ("RGB", eci, eight, "inverted"),
        "grey-web": ("BlackIsZero", grey, "8", "inverted"),
        "grey-deep": ("BlackIsZero", grey, "16", "inverted"),
        "film": ("sRGB", "sRGB", eight, "not"),
        "film-deep": ("RGB", spaces.SPACES["romm"].title, deep, "not"),
        "film-grey": ("BlackIsZero", grey, "8", "not"),
    }
    assert told(path) == {shown[name].name: value for name, value in wanted.items()}


def test_they_come_out_of_the_delivery_again(
    root: Path, shown: dict[str, Path], tmp_path: Path
) -> None:
    assert reproduce.reproduce(root / "deliveries" / "b1", tmp_path / "work") == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"form": "jpeg", "profile": "linear"},
        {"form": "tiff", "profile": "linear"},
        {"form": "webp", "profile": "grey"},
        {"form": "avif", "profile": "adobergb"},
        {"form": "webp", "tone": "uninverted"},
    ],
)
def test_what_a_form_cannot_hold_is_refused_before_the_night(wrong: dict[str, Any]) -> None:
    config = settings.load({"render": {"sets": [{"name": "a", **wrong}]}})
    assert {each.code for each in agreement._check_naming(config, Path())} == {"settings.sets"}
