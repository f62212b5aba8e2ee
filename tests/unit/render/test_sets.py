"""Further sets of pictures: each as it was asked for, in the record, and made again to the byte."""

from __future__ import annotations

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvips
from lxml import etree

from glassine.base import files, settings
from glassine.base.errors import GlassineError
from glassine.masters import spaces
from glassine.night import agreement, due
from glassine.publish import tree
from glassine.render import pictures
from glassine.reproduce import step as reproduce
from makers import deliveries, made_items

METS = "{http://www.loc.gov/METS/}"
MIX = "{http://www.loc.gov/mix/v20}"
SETS: list[dict[str, Any]] = [
    {"name": "web", "form": "webp", "long_edge": 200, "publish": True},
    {"name": "web-small", "form": "webp", "long_edge": 100},
    {"name": "reading-room", "form": "jpeg", "ppi": 2000, "quality": 60},
    {"name": "print", "form": "tiff"},
    {"name": "retouch", "form": "tiff", "bits": 16, "profile": "romm"},
    {"name": "further", "form": "tiff", "bits": 16},
    {"name": "as-captured", "form": "jpeg", "long_edge": 200, "tone": "uninverted"},
    {"name": "rebate", "form": "jpeg", "margin_mm": 0.1},
]


@pytest.fixture(autouse=True, scope="module")
def read_once() -> Iterator[None]:
    """The schema of the settings is read once: this is not what is tried here."""
    read = settings.schema()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(settings, "schema", lambda: read)
        yield


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A batch of one item taken through all steps to its delivery."""
    folder = tmp_path_factory.mktemp("sets")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1773800000")
        deliveries.night(folder, "mets", more={"render": {"sets": SETS, "access_long_edge": 300}})
    return folder


@pytest.fixture(scope="module")
def shown(root: Path) -> dict[str, pyvips.Image]:
    """{name of a set: its picture in the delivery}, and the access image and full size of it."""
    (frame,) = files.read_json(made_items.item_dir_of(root) / "render" / "render.json")["frames"]
    (folder,) = root.glob("deliveries/*/data/PEH-0001/alternates")
    read = {
        each["set"]: pyvips.Image.new_from_file(str(folder / each["name"]))
        for each in frame["alternates"]
    }
    read["access"] = pyvips.Image.new_from_file(str(next(folder.parent.glob("access/*.jpg"))))
    return read


def test_each_set_has_its_form_its_size_and_its_bits(shown: dict[str, pyvips.Image]) -> None:
    full = shown["print"].width, shown["print"].height
    assert {*shown} == {*(each["name"] for each in SETS), "access"}
    assert max(shown["web"].width, shown["web"].height) == 200
    assert max(shown["web-small"].width, shown["web-small"].height) == 100
    assert shown["reading-room"].width == round(full[0] / 2)  # of 4000 ppi
    assert (shown["further"].width, shown["further"].height) == full
    assert [shown[name].format for name in ("print", "further", "retouch")] == [
        "uchar",
        "ushort",
        "ushort",
    ]
    loaders = {name: shown[name].get("vips-loader") for name in ("web", "reading-room", "print")}
    assert loaders == {"web": "webpload", "reading-room": "jpegload", "print": "tiffload"}
    # 0.1 mm at 4000 ppi on every side.
    assert shown["rebate"].width - full[0] == pytest.approx(2 * 0.1 / 25.4 * 4000, abs=1)
    assert shown["retouch"].get("icc-profile-data") == spaces.profile("romm", 3)


def test_all_show_the_same_picture(shown: dict[str, pyvips.Image]) -> None:
    """As the library that reads them decodes and reduces them."""
    size = (100, 69)

    def small(name: str) -> np.ndarray:
        image = shown[name]
        deep = image.format == "ushort"
        image = image.cast("float") / (257 if deep else 1)
        across, down = size[0] / image.width, size[1] / image.height
        return np.asarray(image.resize(across, vscale=down, kernel="linear").numpy())[:69, :100]

    for name in ("web", "web-small", "reading-room", "print", "further"):
        assert np.abs(small(name) - small("access")).mean() < 4, name
    assert np.abs(small("as-captured") - small("access")).mean() > 20


def test_the_record_tells_of_each(root: Path) -> None:
    (path,) = root.glob("deliveries/*/data/PEH-0001/METS.xml")
    mets = etree.parse(str(path))
    groups = [
        each for each in mets.iterfind(f".//{METS}fileGrp") if each.get("USE").startswith("alt")
    ]
    assert [each.get("USE") for each in groups] == [f"alternate: {each['name']}" for each in SETS]
    told = {
        Path(each[0].get("{http://www.w3.org/1999/xlink}href")).name: each.get("USE")
        for group in groups
        for each in group
    }
    assert told == {
        "PEH-0001_web.webp": "webp",
        "PEH-0001_web-small.webp": "webp",
        "PEH-0001_reading-room.jpg": "jpeg",
        "PEH-0001_print.tif": "tiff",
        "PEH-0001_retouch.tif": "romm",
        "PEH-0001_further.tif": "tiff",
        "PEH-0001_as-captured.jpg": "uninverted",
        "PEH-0001_rebate.jpg": "jpeg",
    }


def test_only_what_is_to_be_published_is_offered_for_download(root: Path) -> None:
    own = made_items.item_dir_of(root)
    manifest = files.read_json(own / "manifest.json")
    (canvas,) = manifest["items"]
    offered = {each["id"].rpartition("/")[2]: each["format"] for each in canvas["rendering"]}
    assert offered == {
        "PEH-0001_access.jpg": "image/jpeg",
        "PEH-0001_web.webp": "image/webp",
    }
    base = manifest["id"].removesuffix("/PEH-0001/manifest.json")
    published = tree.of_item("PEH-0001", own, manifest, base)
    alternates = [path for path in published if "/alternates/" in path]
    assert alternates == ["PEH-0001/alternates/PEH-0001_web.webp"]


def test_the_resolution_that_files_tell_is_that_of_the_film(
    shown: dict[str, pyvips.Image],
) -> None:
    for name, ppi in (("print", 4000), ("rebate", 4000), ("reading-room", 2000)):
        assert shown[name].xres * 25.4 == pytest.approx(ppi, rel=0.005), name


def test_they_come_out_of_the_delivery_again(root: Path, tmp_path: Path) -> None:
    assert reproduce.reproduce(root / "deliveries" / "b1", tmp_path / "work") == []


def test_one_resampling_serves_all_of_one_geometry_and_tone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[int] = []
    real = pictures.whole_of

    def counted(shot: Any, *more: Any) -> Any:
        made.append(shot.where.width)
        return real(shot, *more)

    monkeypatch.setattr(pictures, "whole_of", counted)
    many = [{"name": f"s{n}", "form": "webp", "long_edge": 50 + n} for n in range(6)]
    deliveries.taken_through(
        tmp_path, "mets", "PEH-0001", "PEH-0001.tif", more={"render": {"sets": many}}
    )
    assert len(made) == 1


def wrong(*stated: dict[str, Any], template: str = "") -> list[str]:
    config = settings.load({"render": {"sets": list(stated)}})
    if template:
        config["naming"]["derivative"] = template
    try:
        return [finding.code for finding in agreement._check_naming(config, Path())]
    except GlassineError as problem:
        return [finding.code for finding in problem.findings]


def test_what_would_share_a_name_or_cannot_be_made_is_refused_before_the_night() -> None:
    web = {"name": "web", "form": "webp"}
    assert wrong(web) == []
    assert wrong(web, {"name": "web", "form": "jpeg"}) == ["settings.sets_name"]
    assert wrong({"name": "thumb", "form": "webp"}) == ["settings.sets_name"]
    # Cut to their first letters two sets would be one file.
    short = "{item}[_{part}][_{frame:02d}]_{use:.9}.jpg"
    assert wrong({"name": "print-large", "form": "tiff"}, template=short) == []
    both = [{"name": name, "form": "tiff"} for name in ("print-large-a", "print-large-b")]
    assert wrong(*both, template=short) == ["naming.derivative"]
    assert wrong({"name": "a", "form": "webp", "bits": 16}) == ["settings.sets"]
    assert wrong({"name": "a", "form": "jpeg", "profile": "linear"}) == ["settings.sets"]
    assert wrong({"name": "a", "form": "tiff", "bits": 16, "ppi": 300}) == ["settings.sets"]
    assert wrong({"name": "a", "form": "avif", "tone": "uninverted"}) == ["settings.sets"]
    with pytest.raises(GlassineError):
        settings.load({"render": {"sets": [{"name": "../x", "form": "webp"}]}})


def test_a_rules_sets_are_looked_at_too() -> None:
    rule = {
        "for": {"kind": "print"},
        "set": {"render": {"sets": [{"name": "crop", "form": "tiff"}]}},
    }
    config = settings.load({"rules": [rule]})
    assert [each.code for each in agreement._check_naming(config, Path())] == ["settings.sets_name"]


def test_a_setting_that_asks_for_nothing_makes_no_item_due() -> None:
    """What an item's steps are given is as it was before there was such a setting."""
    given = {"step": "render", "settings": {"render": settings.load({})["render"]}}
    before = copy.deepcopy(given)
    assert before["settings"]["render"].pop("sets") == []
    assert due.digest(given) == due.digest(before)
    assert due.inputs_of([given]) == due.inputs_of([before])
    given["settings"]["render"]["sets"] = [SETS[0]]
    assert due.digest(given) != due.digest(before)
