"""The step as a whole: what it writes, what it skips, what stops it, and that bytes repeat."""

from __future__ import annotations

import hashlib
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from glassine.base import files, record_files, settings, threads
from glassine.base.errors import GlassineError
from glassine.base.model import Facts, Frame, ItemGeometry, MasterGeometry
from glassine.base.records.fixity import VerifiedMaster
from glassine.masters import colour, opening
from makers import verified
from makers.step_calls import do_step

WIDTH, HEIGHT = 700, 500


def _rectangle(
    centre: tuple[float, float], width: float, height: float, degrees: float
) -> tuple[tuple[float, float], ...]:
    turn = np.exp(1j * math.radians(degrees))
    points = [
        complex(x * width / 2, y * height / 2) * turn
        for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    return tuple((centre[0] + point.real, centre[1] + point.imag) for point in points)


def _scene(bands: int = 3) -> np.ndarray:
    """Return a light table with a tilted picture on it: dark left half, a bright spot right."""
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH] + 0.5
    made = np.full((HEIGHT, WIDTH, bands), 60000.0)
    angle = math.radians(2.0)
    u = (x - 350) * math.cos(angle) + (y - 250) * math.sin(angle)
    v = -(x - 350) * math.sin(angle) + (y - 250) * math.cos(angle)
    inside = (np.abs(u) < 250) & (np.abs(v) < 170)
    ramp = 9000 + 60 * (u + 250) + 25 * (v + 170)
    made[inside] = ramp[inside][:, None]
    made[(u - 180) ** 2 + (v - 60) ** 2 < 400] = 62000
    noise = np.random.default_rng(2).normal(0, 80, made.shape)
    return np.clip(made + noise, 0, 65535).astype(np.uint16)


PICTURE = Frame(
    1, _rectangle((350, 250), 500, 340, 2.0), 2.0, "positive", "colour", confidence=1, state="ok"
)


class Item:
    """One item on disk: its master, its records, its given."""

    def __init__(self, root: Path, frames: tuple[Frame, ...] = (PICTURE,), **geometry: Any) -> None:
        self.batch, self.dir = root / "batch", root / "item"
        self.batch.mkdir(parents=True)
        self.dir.mkdir()
        self.masters: list[dict[str, Any]] = []
        self.geometries: list[MasterGeometry] = []
        self.verified: list[VerifiedMaster] = []
        self.facts = Facts()
        self.settings = settings.load({})
        self.add("PEH-0001.tif", None, _scene(), frames, **geometry)

    def add(
        self,
        name: str,
        part: str | None,
        content: np.ndarray,
        frames: tuple[Frame, ...],
        **geometry: Any,
    ) -> Path:
        path = self.batch / name
        grey = content.shape[2] == 1
        tifffile.imwrite(
            path,
            content[:, :, 0] if grey else content,
            photometric="minisblack" if grey else "rgb",
            iccprofile=colour.grey_profile() if grey else colour.srgb_profile(),
        )
        self.masters.append({"path": name, "part": part, "sequence": None})
        found = {"ppi": 1200.0, "ppi_source": "tag"} | geometry
        self.geometries.append(MasterGeometry(name, WIDTH, HEIGHT, frames=frames, **found))
        self.verified.append(verified.verified(path, part))
        return path

    def run(self) -> dict[str, Any]:
        geometry = ItemGeometry("PEH-0001", tuple(self.geometries))
        files.write_json(self.dir / "geometry.json", geometry.as_dict())
        verified.write(self.dir, "PEH-0001", self.verified)
        given = {
            "batch": "harbour",
            "item": "PEH-0001",
            "masters": self.masters,
            "facts": self.facts.as_dict(),
            "settings": self.settings,
        }
        do_step("render", self.batch, self.dir, given)
        found: dict[str, Any] = record_files.read(self.dir / "render/render.json", "render")
        return found

    def quality(self) -> dict[str, Any]:
        return json.loads((self.dir / "quality.json").read_text())


@pytest.fixture
def item(tmp_path: Path) -> Item:
    return Item(tmp_path)


def _image(path: Path) -> np.ndarray:
    with Image.open(path) as opened:
        return np.asarray(opened.convert("RGB"), float)


def _bytes(folder: Path) -> dict[str, bytes]:
    kept = [path for path in folder.rglob("*") if path.is_file()]
    return {str(path.relative_to(folder)): path.read_bytes() for path in kept}


def test_a_frame_becomes_access_image_thumbnail_and_tiles(item: Item) -> None:
    (frame,) = item.run()["frames"]
    assert (frame["width"], frame["height"], frame["ppi"]) == (500, 340, 1200)
    assert frame["skipped"] is None
    assert frame["iiif_id"] == "PEH-0001"
    assert {entry["use"]: entry["name"] for entry in frame["files"]} == {
        "access": "PEH-0001_access.jpg",
        "thumb": "PEH-0001_thumb.jpg",
    }
    for entry in frame["files"]:
        content = (item.dir / "render" / entry["name"]).read_bytes()
        assert hashlib.sha256(content).hexdigest() == entry["sha256"]
        assert len(content) == entry["bytes"]
        with Image.open(item.dir / "render" / entry["name"]) as image:
            assert image.size == (entry["width"], entry["height"])
            assert image.info["icc_profile"] == colour.srgb_profile()
            assert not image.getexif()
            scale = entry["width"] / 500
            assert image.info["dpi"] == (round(1200 * scale), round(1200 * scale))
    assert sorted(path.name for path in (item.dir / "render").iterdir()) == [
        "PEH-0001_access.jpg",
        "PEH-0001_thumb.jpg",
        "render.json",
    ]
    info = json.loads((item.dir / "iiif/PEH-0001/info.json").read_text())
    assert (info["width"], info["height"]) == (500, 340)
    assert info["id"].endswith("/PEH-0001")
    assert (item.dir / "iiif/PEH-0001/full/max/0/default.jpg").is_file()
    assert frame["tiles"]["path"] == "iiif/PEH-0001"
    (judged,) = item.quality()["frames"]
    assert judged["verdict"] in ("pass", "review", "fail")
    assert len(judged["measures"]) > 5


def test_the_picture_is_upright_and_ends_at_its_edges(item: Item) -> None:
    item.settings["render"]["access_quality"] = 100
    item.run()
    made = _image(item.dir / "render/PEH-0001_access.jpg")
    assert made.shape == (340, 500, 3)
    # no light table at any edge: it is far brighter than the darkest part beside it
    assert made[4:-4, 2, :].mean() < 120
    assert made[2, 10:240, :].mean() < 130
    # the spot lies where the scene has it: 180 px right of and 60 px below the middle
    spot = np.argwhere(made[:, :, 1] > 215)
    assert np.allclose(spot.mean(axis=0) + 0.5, (170 + 60, 250 + 180), atol=1.0)


def test_turns_and_mirror_are_those_of_the_geometry(tmp_path: Path) -> None:
    seen = {}
    for rotate, mirror in ((0, False), (90, False), (180, True)):
        frame = Frame(1, PICTURE.corners, 2.0, "positive", "colour", rotate=rotate, mirror=mirror)
        item = Item(tmp_path / f"{rotate}", (frame,))
        item.run()
        seen[rotate] = _image(item.dir / "render/PEH-0001_access.jpg")
    assert seen[90].shape == (500, 340, 3)
    assert np.abs(np.rot90(seen[0], -1) - seen[90]).mean() < 2
    assert np.abs(np.rot90(seen[0], 2)[:, ::-1] - seen[180]).mean() < 2


def test_the_bytes_are_the_same_at_any_number_of_threads_and_every_time(
    item: Item, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773792000")
    item.settings["iiif"]["tile_px"] = 128
    monkeypatch.setenv(threads.THREADS, "1")
    item.run()
    one = _bytes(item.dir)
    monkeypatch.setenv(threads.THREADS, "2")
    item.run()
    assert _bytes(item.dir) == one


def test_a_master_that_changed_since_it_was_verified_stops_the_item(item: Item) -> None:
    path = item.batch / "PEH-0001.tif"
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    with pytest.raises(GlassineError) as error:
        item.run()
    (finding,) = error.value.findings
    assert finding.code == "render.digest"
    assert finding.path == "PEH-0001.tif"
    assert not (item.dir / "render").exists()
    assert not (item.dir / "iiif").exists()
    assert not (item.dir / "quality.json").exists()


def test_a_failure_leaves_earlier_results_and_no_parts(item: Item) -> None:
    item.run()
    before = _bytes(item.dir)
    (item.batch / "PEH-0001.tif").write_bytes(b"")
    with pytest.raises(GlassineError):
        item.run()
    assert _bytes(item.dir) == before
    assert not [path for path in item.dir.iterdir() if path.name.startswith(".part-")]


def _three_frames() -> tuple[Frame, ...]:
    made = []
    for index, x in enumerate((180, 350, 520), 1):
        corners = _rectangle((x, 250), 150, 300, 2.0)
        made.append(
            Frame(index, corners, 2.0, "positive", "colour", blank=index == 2, excluded=index == 3)
        )
    return tuple(made)


def test_blank_and_excluded_frames_are_listed_and_not_made(tmp_path: Path) -> None:
    item = Item(tmp_path, _three_frames())
    first, blank, excluded = item.run()["frames"]
    assert (first["skipped"], blank["skipped"], excluded["skipped"]) == (None, "blank", "excluded")
    assert first["label"] == "frame 1"
    assert first["files"][0]["name"] == "PEH-0001_01_access.jpg"
    assert blank["files"] == []
    assert blank["tiles"] is None
    assert [path.name for path in (item.dir / "iiif").iterdir()] == ["PEH-0001_01"]
    assert [frame["index"] for frame in item.quality()["frames"]] == [1]


def test_blank_frames_are_made_where_asked(tmp_path: Path) -> None:
    item = Item(tmp_path, _three_frames())
    item.settings["render"]["blank"] = "make"
    _, blank, excluded = item.run()["frames"]
    assert blank["skipped"] is None
    assert len(blank["files"]) == 2
    assert excluded["skipped"] == "excluded"


def test_an_item_all_blank_has_a_record_and_no_pictures(tmp_path: Path) -> None:
    item = Item(tmp_path, (_three_frames()[1],))
    (frame,) = item.run()["frames"]
    assert frame["skipped"] == "blank"
    assert list((item.dir / "iiif").iterdir()) == []


def test_parts_have_names_of_their_own_and_grey_masters_stay_grey(tmp_path: Path) -> None:
    item = Item(tmp_path)
    item.masters[0]["part"] = "emu"
    grey = Frame(1, PICTURE.corners, 2.0, "negative", "monochrome")
    item.add("PEH-0001_base.tif", "base", _scene(1), (grey,))
    emulsion, base = item.run()["frames"]
    assert (emulsion["label"], base["label"]) == ("emu", "base")
    assert base["files"][0]["name"] == "PEH-0001_base_access.jpg"
    with Image.open(item.dir / "render/PEH-0001_base_access.jpg") as image:
        assert image.mode == "L"
        assert image.info["icc_profile"] == colour.grey_profile()


def test_two_pictures_with_one_name_stop_the_item(tmp_path: Path) -> None:
    item = Item(tmp_path)
    item.add("PEH-0001_2.tif", None, _scene(), (PICTURE,))
    with pytest.raises(GlassineError) as error:
        item.run()
    assert {finding.code for finding in error.value.findings} == {"render.names"}


@pytest.mark.parametrize(
    ("chosen", "width", "density"),
    [
        ({"access_long_edge": 250}, 250, 600),
        ({"access_long_edge": None}, 500, 1200),
        ({"access_ppi": 300}, 125, 300),
        ({"access_ppi": 5000}, 500, 1200),  # never enlarged
    ],
)
def test_access_images_by_long_edge_or_resolution(
    item: Item, chosen: dict[str, Any], width: int, density: int
) -> None:
    item.settings["render"] |= chosen
    (frame,) = item.run()["frames"]
    assert frame["files"][0]["width"] == width
    with Image.open(item.dir / "render/PEH-0001_access.jpg") as image:
        assert image.info["dpi"][0] == density


def test_no_resolution_known_means_none_is_written(tmp_path: Path) -> None:
    item = Item(tmp_path, ppi=None, ppi_source=None)
    item.settings["render"]["access_ppi"] = 300
    (note,) = item.run()["event"]["detail"]["notes"]
    assert "long edge" in note and "render.access_ppi" in note
    with Image.open(item.dir / "render/PEH-0001_access.jpg") as image:
        assert image.width == 500
        assert "dpi" not in image.info


def test_a_margin_in_millimetres_is_kept_around_the_picture(item: Item) -> None:
    item.settings["render"]["margin_mm"] = 0.5
    (frame,) = item.run()["frames"]
    margin = 0.5 / 25.4 * 1200
    assert abs(frame["width"] - (500 + 2 * margin)) <= 1
    made = _image(item.dir / "render/PEH-0001_access.jpg")
    assert made[:, :10].mean() > 230  # the light table


def test_a_margin_ends_where_the_master_ends(item: Item) -> None:
    item.settings["render"]["margin_mm"] = 50
    (frame,) = item.run()["frames"]
    assert frame["width"] <= WIDTH
    assert frame["height"] <= HEIGHT


def test_the_whole_object_where_the_facts_ask_for_it(tmp_path: Path) -> None:
    item = Item(tmp_path, object_corners=_rectangle((350, 250), 620, 440, 2.0))
    item.facts = Facts(crop="object")
    (frame,) = item.run()["frames"]
    assert (frame["width"], frame["height"]) == (620, 440)


def test_an_unknown_outline_is_noted_and_the_picture_taken(tmp_path: Path) -> None:
    item = Item(tmp_path)
    item.facts = Facts(crop="object")
    found = item.run()
    assert found["frames"][0]["width"] == 500
    assert "outline" in found["event"]["detail"]["notes"][0]


def test_keystone_only_from_the_set_limit_on(tmp_path: Path) -> None:
    corners = ((100.0, 80.0), (600.0, 95.0), (590.0, 420.0), (110.0, 400.0))
    frame = Frame(1, corners, 1.0, "positive", "colour", keystone_deg=2.0)
    sizes = {}
    for limit in (None, 1.0, 3.0):
        item = Item(tmp_path / str(limit), (frame,))
        item.settings["render"]["keystone_min_deg"] = limit
        item.run()
        sizes[limit] = (item.dir / "render/PEH-0001_access.jpg").read_bytes()
    assert sizes[None] == sizes[3.0]
    assert sizes[None] != sizes[1.0]


CROOKED = {
    "crossed": ((100.0, 80.0), (600.0, 95.0), (110.0, 400.0), (590.0, 420.0)),
    "anticlockwise": ((600.0, 95.0), (100.0, 80.0), (110.0, 400.0), (590.0, 420.0)),
    "one point": ((100.0, 80.0),) * 4,
    "off the master": ((2000.0, 80.0), (2600.0, 80.0), (2600.0, 420.0), (2000.0, 420.0)),
}


@pytest.mark.parametrize("kind", CROOKED)
def test_corners_that_enclose_no_picture_stop_the_item(tmp_path: Path, kind: str) -> None:
    item = Item(tmp_path, (Frame(1, CROOKED[kind], 0.0, "positive", "colour"),))
    with pytest.raises(GlassineError) as error:
        item.run()
    assert [finding.code for finding in error.value.findings] == ["render.corners"]


def test_masters_are_left_as_they_were(item: Item) -> None:
    path = item.batch / "PEH-0001.tif"
    path.chmod(0o444)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    item.run()
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert [found.name for found in item.batch.iterdir()] == ["PEH-0001.tif"]


# ------------------------------------------------------------------ by option


def test_webp_and_avif_beside_the_jpeg(item: Item) -> None:
    item.settings["render"]["alternates"] = ["webp", "avif"]
    (frame,) = item.run()["frames"]
    assert [entry["name"] for entry in frame["alternates"]] == [
        "PEH-0001_access.webp",
        "PEH-0001_access.avif",
    ]
    jpeg = _image(item.dir / "render/PEH-0001_access.jpg")
    for entry in frame["alternates"]:
        path = item.dir / "render" / entry["name"]
        assert hashlib.sha256(path.read_bytes()).hexdigest() == entry["sha256"]
        with Image.open(path) as image:
            assert image.format == entry["use"].upper()
            assert image.info["icc_profile"] == colour.srgb_profile()
            assert not image.getexif()
        assert np.abs(_image(path) - jpeg).mean() < 4


def test_a_pyramid_in_place_of_tiles(item: Item) -> None:
    """Layout by TIFF 6.0 section 15 (tiles) and section 8 (NewSubfileType of reduced copies)."""
    item.settings["iiif"] |= {"form": "pyramid", "tile_px": 128}
    (frame,) = item.run()["frames"]
    assert frame["tiles"] is None
    assert list((item.dir / "iiif").iterdir()) == []
    (entry,) = frame["alternates"]
    assert (entry["use"], entry["name"]) == ("pyramid", "PEH-0001_pyramid.tif")
    with tifffile.TiffFile(item.dir / "render/PEH-0001_pyramid.tif") as opened:
        sizes = [(page.imagewidth, page.imagelength) for page in opened.pages]
        assert sizes == [(500, 340), (250, 170), (125, 85)]
        assert all(page.is_tiled and page.tilewidth == 128 for page in opened.pages)
        assert [int(page.tags.valueof("NewSubfileType", 0)) for page in opened.pages] == [0, 1, 1]
        assert opened.pages[0].tags.valueof("InterColorProfile") == colour.srgb_profile()
        assert opened.pages[0].tags.valueof("XResolution") == (1200, 1)
    item.settings["render"]["access_long_edge"] = None
    with Image.open(item.dir / "render/PEH-0001_pyramid.tif") as image:
        whole = np.asarray(image.convert("RGB"), float)
    assert np.abs(whole - _image(item.dir / "render/PEH-0001_access.jpg")).mean() < 3


def test_a_cropped_tiff_as_captured_keeps_samples_and_profile(tmp_path: Path) -> None:
    frame = Frame(
        1, ((100.0, 80.0), (400.0, 80.0), (400.0, 300.0), (100.0, 300.0)), 0.0, "positive", "colour"
    )
    item = Item(tmp_path, (frame,))
    item.settings["render"]["crop_tiff"] = "captured"
    item.settings["iiif"]["tile_px"] = 64
    (made,) = item.run()["frames"]
    (entry,) = made["alternates"]
    assert (entry["use"], entry["width"], entry["height"]) == ("crop", 300, 220)
    path = item.dir / "render" / entry["name"]
    with tifffile.TiffFile(path) as opened:
        assert np.array_equal(opened.pages[0].asarray(), _scene()[80:300, 100:400])
        assert opened.pages[0].tags.valueof("InterColorProfile") == colour.srgb_profile()
    assert opening.read_header(path).bits == [16, 16, 16]


def test_a_cropped_tiff_as_rendered_has_the_tone_in_16_bits(item: Item) -> None:
    item.settings["render"] |= {"crop_tiff": "rendered", "access_quality": 100}
    (frame,) = item.run()["frames"]
    with tifffile.TiffFile(item.dir / "render" / frame["alternates"][0]["name"]) as opened:
        fine = opened.pages[0].asarray().astype(float) / 257
    assert fine.shape == (340, 500, 3)
    assert np.abs(fine - _image(item.dir / "render/PEH-0001_access.jpg")).mean() < 1.5


def test_sharpening_is_off_and_sharpens_where_asked(item: Item) -> None:
    item.run()
    plain = _image(item.dir / "render/PEH-0001_access.jpg")
    item.settings["render"]["sharpen"] = 1.0
    item.run()
    crisp = _image(item.dir / "render/PEH-0001_access.jpg")
    assert np.abs(np.diff(crisp, axis=1)).mean() > np.abs(np.diff(plain, axis=1)).mean()
    assert np.abs(crisp.mean() - plain.mean()) < 1


def test_options_repeat_their_bytes(item: Item, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1773792000")
    item.settings["render"] |= {"alternates": ["webp", "avif"], "crop_tiff": "rendered"}
    item.settings["iiif"] |= {"form": "pyramid", "tile_px": 128}
    monkeypatch.setenv(threads.THREADS, "1")
    item.run()
    one = _bytes(item.dir)
    monkeypatch.setenv(threads.THREADS, "2")
    item.run()
    assert _bytes(item.dir) == one
