"""Tiles against the text of the IIIF Image API, derived here apart from the code that writes."""

from __future__ import annotations

import json
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from glassine.render import encoded as access
from glassine.render import tiles

SERVICE = "https://images.port-ellery.example/iiif/PEH-0001"


def _picture(width: int, height: int, bands: int = 3) -> np.ndarray:
    y, x = np.mgrid[0:height, 0:width]
    made = np.stack([x % 251, y % 241, (x + y) // 7 % 256], axis=2).astype(np.uint8)
    return np.ascontiguousarray(made[:, :, :bands])


def _made(
    folder: Path, picture: np.ndarray, tile_px: int, api: str = "3", threads: int = 1
) -> dict:
    height, width = picture.shape[:2]
    form = tiles.Form(tile_px=tile_px, quality=90, api=api, icc=None, ppi=None)
    writer = tiles.Writer(folder, width, height, form)
    with ThreadPoolExecutor(threads) as pool:
        for top in range(0, height, tile_px):
            writer.first_band(top, picture[top : top + tile_px])
        return writer.finish(picture, tiles.halved(picture), SERVICE, pool, [])


def _files(folder: Path) -> set[str]:
    return {str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file()}


def _advertised_3(info: dict) -> dict[str, tuple[int, int]]:
    """Return what info.json promises: path -> size of the picture there.

    Image API 3.0: 4.8 (canonical form), 5.3 (sizes), 5.4 (tiles), implementation notes
    section 3 (the loop below is its algorithm); compliance 3.0, level 0: full/max is required.
    """
    width, height = info["width"], info["height"]
    found = {"full/max/0/default.jpg": (width, height)}
    for size in info.get("sizes", []):
        w, h = size["width"], size["height"]
        found[f"full/{w},{h}/0/default.jpg"] = (w, h)
    for tileset in info["tiles"]:
        tw = tileset["width"]
        th = tileset.get("height", tw)
        for s in tileset["scaleFactors"]:
            for m in range((height + th * s - 1) // (th * s)):
                for n in range((width + tw * s - 1) // (tw * s)):
                    xr, yr, wr, hr = n * tw * s, m * th * s, tw * s, th * s
                    if xr + wr > width:
                        wr = width - xr
                    if yr + hr > height:
                        hr = height - yr
                    ws, hs = tw, th
                    if xr + tw * s > width:
                        ws = (width - xr + s - 1) // s
                    if yr + th * s > height:
                        hs = (height - yr + s - 1) // s
                    whole = (xr, yr, wr, hr) == (0, 0, width, height)
                    region = "full" if whole else f"{xr},{yr},{wr},{hr}"
                    size = "max" if whole and (ws, hs) == (width, height) else f"{ws},{hs}"
                    found[f"{region}/{size}/0/default.jpg"] = (ws, hs)
    return found


SIZES = [
    (1, 1),
    (1, 300),
    (300, 1),
    (100, 80),  # smaller than one tile
    (128, 128),  # one tile exactly
    (129, 128),
    (256, 128),
    (512, 256),  # exact multiples at every level
    (257, 513),
    (385, 200),
    (1000, 30),
]


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_every_advertised_url_is_there_and_nothing_else(
    tmp_path: Path, width: int, height: int
) -> None:
    folder = tmp_path / "i"
    _made(folder, _picture(width, height), 128)
    info = json.loads((folder / "info.json").read_text())
    advertised = _advertised_3(info)
    assert _files(folder) == {*advertised, "info.json"}
    for path, size in advertised.items():
        with Image.open(folder / path) as image:
            assert (image.format, image.size) == ("JPEG", size)


@settings(max_examples=40, deadline=None)
@given(width=st.integers(1, 700), height=st.integers(1, 700), half_tile=st.integers(16, 80))
def test_the_paths_follow_the_specification_at_any_size(
    width: int, height: int, half_tile: int
) -> None:
    tile_px = 2 * half_tile
    info = tiles.info(SERVICE, width, height, tile_px, "3")
    paths = {tiles.full_path("3"): (width, height)}
    for factor in tiles.scale_factors(width, height, tile_px, "3"):
        for tile in tiles.level_tiles(width, height, factor, tile_px, "3"):
            paths[tile.path] = (tile.width, tile.height)
    assert paths == _advertised_3(info)


def test_info_json_says_what_the_specification_demands(tmp_path: Path) -> None:
    """Image API 3.0, 5.2: required properties and their fixed values."""
    _made(tmp_path / "i", _picture(700, 300), 128)
    text = (tmp_path / "i/info.json").read_text()
    info = json.loads(text)
    assert text.lstrip("{ \n").startswith('"@context"')
    assert info["@context"] == "http://iiif.io/api/image/3/context.json"
    assert info["id"] == SERVICE
    assert info["type"] == "ImageService3"
    assert info["protocol"] == "http://iiif.io/api/image"
    assert info["profile"] == "level0"
    assert (info["width"], info["height"]) == (700, 300)
    assert info["tiles"] == [{"width": 128, "scaleFactors": [1, 2, 4, 8]}]
    assert info["sizes"] == [{"width": 88, "height": 38}]


def _advertised_2(info: dict) -> dict[str, tuple[int, int]]:
    """Return what an Image API 2.1 info.json promises (sections 4.7, 5.3; `full/full` in 4.7)."""
    width, height = info["width"], info["height"]
    found = {"full/full/0/default.jpg": (width, height)}
    for size in info.get("sizes", []):
        found[f"full/{size['width']},/0/default.jpg"] = (size["width"], size["height"])
    (tileset,) = info["tiles"]
    tw = tileset["width"]
    for s in tileset["scaleFactors"]:
        for y in range(0, height, tw * s):
            for x in range(0, width, tw * s):
                wr, hr = min(tw * s, width - x), min(tw * s, height - y)
                ws, hs = -(-wr // s), -(-hr // s)
                whole = (wr, hr) == (width, height)
                region = "full" if whole else f"{x},{y},{wr},{hr}"
                size = "full" if ws == width else f"{ws},"
                found[f"{region}/{size}/0/default.jpg"] = (ws, hs)
    return found


@pytest.mark.parametrize(("width", "height"), SIZES)
def test_version_2_by_option(tmp_path: Path, width: int, height: int) -> None:
    folder = tmp_path / "i"
    _made(folder, _picture(width, height), 128, api="2")
    info = json.loads((folder / "info.json").read_text())
    assert info["@context"] == "http://iiif.io/api/image/2/context.json"
    assert info["@id"] == SERVICE
    assert info["profile"] == ["http://iiif.io/api/image/2/level0.json"]
    assert "id" not in info
    assert "type" not in info
    assert _files(folder) == {*_advertised_2(info), "info.json"}


@pytest.mark.parametrize("bands", [1, 3])
def test_tiles_put_together_give_the_picture(tmp_path: Path, bands: int) -> None:
    y, x = np.mgrid[0:310, 0:420]
    smooth = np.stack([x / 2, y / 2, 255 - x / 2], axis=2)[:, :, :bands].clip(0, 255)
    picture = np.ascontiguousarray(smooth.astype(np.uint8))
    _made(tmp_path / "i", picture, 128)
    for factor in (1, 2, 4):
        across, down = tiles.level_size(420, 310, factor)
        whole = np.zeros((down, across, 3))
        for tile in tiles.level_tiles(420, 310, factor, 128, "3"):
            with Image.open(tmp_path / "i" / tile.path) as image:
                part = np.asarray(image.convert("RGB"), float)
            whole[tile.top : tile.top + tile.height, tile.left : tile.left + tile.width] = part
        centre = (factor - 1) / 2
        inner = (slice(0, down - 1), slice(0, across - 1))
        expected = (np.arange(across) * factor + centre) / 2  # the picture in BGR: band 0 is blue
        band = 2 if bands == 3 else 0
        assert np.abs(whole[inner][:, :, band] - expected[: across - 1]).mean() < 1.5


def test_the_same_bytes_from_one_thread_and_from_three(tmp_path: Path) -> None:
    picture = _picture(700, 500)
    one = _made(tmp_path / "a" / "i", picture, 128)
    three = _made(tmp_path / "b" / "i", picture, 128, threads=3)
    assert one == three
    for path in _files(tmp_path / "a"):
        assert (tmp_path / "a" / path).read_bytes() == (tmp_path / "b" / path).read_bytes()


def test_the_digest_covers_every_file(tmp_path: Path) -> None:
    import hashlib

    found = _made(tmp_path / "i", _picture(300, 200), 128)
    lines = [
        f"{path} {hashlib.sha256((tmp_path / 'i' / path).read_bytes()).hexdigest()}\n"
        for path in sorted(_files(tmp_path / "i"))
    ]
    assert found.sha256 == hashlib.sha256("".join(lines).encode()).hexdigest()
    assert found.count == len(lines)
    assert found.bytes == sum(
        path.stat().st_size for path in (tmp_path / "i").rglob("*") if path.is_file()
    )


def test_every_file_carries_the_profile_and_the_whole_picture_its_resolution(
    tmp_path: Path,
) -> None:
    form = tiles.Form(tile_px=128, quality=85, api="3", icc=b"profile bytes", ppi=1200.0)
    writer = tiles.Writer(tmp_path / "i", 300, 200, form)
    picture = _picture(300, 200)
    writer.first_band(0, picture[:128])
    writer.first_band(128, picture[128:])
    writer.finish(picture, tiles.halved(picture), SERVICE, None, [])
    with Image.open(tmp_path / "i/full/max/0/default.jpg") as image:
        assert image.info["icc_profile"] == b"profile bytes"
        assert image.info["dpi"] == (1200, 1200)
    with Image.open(tmp_path / "i/0,0,128,128/128,128/0/default.jpg") as image:
        assert image.info["icc_profile"] == b"profile bytes"
        assert "dpi" not in image.info
        assert not image.getexif()


def test_halving_rounds_up_and_takes_means() -> None:
    picture = np.array([[[10], [20], [50]], [[30], [40], [70]], [[90], [110], [200]]], np.uint8)
    assert tiles.halved(picture)[:, :, 0].tolist() == [[25, 60], [100, 200]]


# ------------------------------------------------------------------ encoded pictures


def test_a_jpeg_holds_density_profile_and_nothing_else() -> None:
    """Segments by ITU-T T.81, B.1.1; APP0 by T.871, 10.1; APP2 by ICC.1:2010, B.4."""
    profile = bytes(range(256)) * 600  # three segments
    encoded = access.jpeg(_picture(70, 50), 92, ppi=918.4, icc=profile)
    position, markers, joined = 2, [], b""
    while encoded[position + 1] != 0xDA:
        length = int.from_bytes(encoded[position + 2 : position + 4], "big")
        content = encoded[position + 4 : position + 2 + length]
        markers.append(encoded[position + 1])
        if encoded[position + 1] == 0xE0:
            assert content[:7] == b"JFIF\0\x01\x01"
            assert content[7:12] == b"\x01" + (918).to_bytes(2, "big") * 2
        if encoded[position + 1] == 0xE2:
            assert content[:12] == b"ICC_PROFILE\0"
            joined += content[14:]
        position += 2 + length
    assert joined == profile
    assert markers[:4] == [0xE0, 0xE2, 0xE2, 0xE2]
    assert not {marker for marker in markers[4:] if 0xE0 <= marker <= 0xEF or marker == 0xFE}


def test_colours_and_chroma(tmp_path: Path) -> None:
    red_first = np.zeros((32, 32, 3), np.uint8)
    red_first[:, :, 0] = 200
    for quality, sampling in ((95, 0), (80, 2)):
        (tmp_path / "x.jpg").write_bytes(access.jpeg(access.swapped(red_first), quality))
        with Image.open(tmp_path / "x.jpg") as image:
            assert np.abs(np.asarray(image, int) - red_first).max() <= 3
            assert image.layer[0][1:3] == ((1, 1) if sampling == 0 else (2, 2))
            assert "progressive" not in image.info
    (tmp_path / "p.jpg").write_bytes(access.jpeg(red_first, 80, progressive=True))
    with Image.open(tmp_path / "p.jpg") as image:
        assert image.info["progressive"] == 1


@pytest.mark.parametrize(
    ("size", "edge", "expected"),
    [
        ((6000, 4000), 3000, (3000, 2000)),
        ((4000, 6001), 3000, (2000, 3000)),
        ((800, 600), 3000, (800, 600)),  # never enlarged
        ((800, 600), None, (800, 600)),
        ((9000, 1), 3000, (3000, 1)),
    ],
)
def test_access_sizes(size: tuple[int, int], edge: int | None, expected: tuple[int, int]) -> None:
    assert access.fitted(*size, edge) == expected
