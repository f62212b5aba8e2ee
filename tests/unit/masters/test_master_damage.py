"""A damaged strip or tile is held, or makes no difference: it never becomes black in silence."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from glassine.base.errors import GlassineError
from glassine.masters import opening
from glassine.masters.notes import notes_on
from makers import damaged_tiffs
from makers.damaged_tiffs import DAMAGE, KINDS, Kind, Mutable

Judged = tuple[set[str], set[str], np.ndarray | None]


def judged(path: Path) -> Judged:
    """Return (codes it is held with, codes of notes, its pixels)."""
    try:
        header = opening.read_header(path)
        opening.prove_pixels(path)
        image = opening.open_image(path)
        with opening.decoding(path):
            pixels = image.numpy()
    except GlassineError as error:
        for finding in error.findings:
            assert finding.what and finding.next_step
        return {each.code.removeprefix("masters.") for each in error.findings}, set(), None
    notes = notes_on(header, path.name)
    return set(), {note.code.removeprefix("masters.") for note in notes}, pixels


def is_content(kind: Kind, damage: str) -> bool:
    """Whether only a digest can tell: the bytes are another picture that is as well formed.

    Uncompressed samples take any value; LZW, PackBits and JPEG carry no checksum (TIFF 6.0,
    sections 9 and 13; ISO/IEC 10918-1), so that a wrong value may stand for as many pixels.
    """
    packing = kind.name.split("-")[0]
    values = {"zeroed", "noise", "zeros from half on", "wrong checksum", "flipped bit"}
    if packing == "none":
        return damage in values
    return packing in ("lzw", "packbits", "jpeg") and damage in ("wrong checksum", "flipped bit")


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_sound_files_of_every_kind_are_taken(kind: Kind, tmp_path: Path) -> None:
    path = tmp_path / "m.tif"
    pixels = damaged_tiffs.picture(kind.dtype, kind.bands)
    kind.write(path, pixels)
    held, _, found = judged(path)
    assert not held
    assert found is not None
    if "jpeg" not in kind.name:
        assert np.array_equal(found.reshape(pixels.shape), pixels)


@pytest.mark.parametrize("damage", DAMAGE)
@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_damage_is_held_or_makes_no_difference(kind: Kind, damage: str, tmp_path: Path) -> None:
    path = tmp_path / "m.tif"
    kind.write(path, damaged_tiffs.picture(kind.dtype, kind.bands))
    _, _, before = judged(path)
    file = Mutable(path)
    DAMAGE[damage](file)
    path.write_bytes(file.content)
    held, noted, after = judged(path)
    if held:
        assert held <= {"damaged", "truncated"}
        return
    assert before is not None
    assert after is not None
    if np.array_equal(before, after) or is_content(kind, damage):
        return
    # Exchanged with its neighbour of the same size: as well formed, but out of order.
    assert "exchanged" in damage
    assert "note_order" in noted


def test_every_damage_of_deflate_is_held(tmp_path: Path) -> None:
    """RFC 1950: an Adler-32 stands behind the data; nothing but an exchange of tiles escapes it."""
    kind = next(each for each in KINDS if each.name == "deflate-none-tiles-uint16-3")
    for damage, change in DAMAGE.items():
        path = tmp_path / "m.tif"
        kind.write(path, damaged_tiffs.picture(kind.dtype, kind.bands))
        file = Mutable(path)
        change(file)
        path.write_bytes(file.content)
        assert judged(path)[0] or damage == "exchanged", damage


# ------------------------------------------------------------------ a directory that lies


def entries(content: bytearray) -> dict[int, int]:
    """Return {tag: place of its entry} of a little-endian classic TIFF."""
    (start,) = struct.unpack_from("<I", content, 4)
    (number,) = struct.unpack_from("<H", content, start)
    places = [start + 2 + 12 * index for index in range(number)]
    return {struct.unpack_from("<H", content, place)[0]: place for place in places}


def written(tmp_path: Path, **options: Any) -> tuple[Path, bytearray]:
    path = tmp_path / "m.tif"
    pixels = damaged_tiffs.picture("uint16", 3)
    options = {"rowsperstrip": 37, "photometric": "rgb", "metadata": None} | options
    tifffile.imwrite(path, pixels, **options)
    assert not judged(path)[0]
    return path, bytearray(path.read_bytes())


def set_tag(content: bytearray, tag: int, value: int, *, kind: int | None = None) -> None:
    place = entries(content)[tag]
    if kind is not None:
        struct.pack_into("<H", content, place + 2, kind)
    (kind,) = struct.unpack_from("<H", content, place + 2)
    struct.pack_into({3: "<H", 4: "<I"}[kind], content, place + 8, value)


def renamed(content: bytearray, tag: int, new: int, kind: int, count: int, value: int) -> None:
    """Turn the entry of `tag` (one that nobody needs) into another, in its place."""
    struct.pack_into("<HHII", content, entries(content)[tag], new, kind, count, value)


@pytest.mark.parametrize(
    ("tag", "value", "words"),
    [
        (257, 151, "reach"),  # ImageLength: one row more than the strips hold
        (257, 149, "bytes"),  # one row fewer
        (257, 400, "strips"),
        (256, 199, "bytes"),  # ImageWidth
        (278, 36, "reach"),  # RowsPerStrip
        (278, 38, "strips"),
        (278, 0, "RowsPerStrip"),
        (284, 3, "Planar"),
        (284, 2, "strips"),
    ],
)
def test_sizes_that_do_not_suit_the_strips_are_held(
    tag: int, value: int, words: str, tmp_path: Path
) -> None:
    path, content = written(tmp_path)
    set_tag(content, tag, value)
    path.write_bytes(content)
    with pytest.raises(GlassineError, match=words) as caught:
        opening.read_header(path)
    assert caught.value.findings[0].code in ("masters.damaged", "masters.truncated")


@pytest.mark.parametrize(
    ("new", "kind", "count", "value"),
    [
        (256, 4, 1, 200),  # ImageWidth twice, even if both say the same
        (259, 3, 1, 1),
        (266, 3, 1, 2),  # FillOrder: programs differ on it for whole bytes
        (317, 3, 1, 2),  # Predictor where nothing takes one
        (317, 3, 1, 3),
        (322, 3, 1, 64),  # TileWidth beside strips
        (338, 3, 1, 2),  # ExtraSamples that are not there
        (339, 3, 2, 1 | 3 << 16),  # SampleFormat of two kinds
        (32997, 4, 1, 2),  # ImageDepth
    ],
)
def test_tags_on_which_programs_differ_are_held(
    new: int, kind: int, count: int, value: int, tmp_path: Path
) -> None:
    path, content = written(tmp_path, software="x")
    renamed(content, 305, new, kind, count, value)
    path.write_bytes(content)
    with pytest.raises(GlassineError) as caught:
        opening.read_header(path)
    assert caught.value.findings[0].code in ("masters.damaged", "masters.sample_format")


def test_bits_that_lie_are_held(tmp_path: Path) -> None:
    path, content = written(tmp_path)
    place = entries(content)[258]
    (values,) = struct.unpack_from("<I", content, place + 8)
    struct.pack_into("<3H", content, values, 8, 8, 8)
    path.write_bytes(content)
    with pytest.raises(GlassineError, match="bytes"):
        opening.read_header(path)


@pytest.mark.parametrize("tag", [322, 323])
def test_tiles_of_an_odd_size_are_held(tag: int, tmp_path: Path) -> None:
    path, content = written(tmp_path, tile=(64, 64), rowsperstrip=None)
    set_tag(content, tag, 63)
    path.write_bytes(content)
    with pytest.raises(GlassineError, match="multiples of 16"):
        opening.read_header(path)


def test_a_missing_predictor_is_told_by_nothing(tmp_path: Path) -> None:
    """It is another picture, as well formed: stated here so that nobody believes otherwise."""
    kind = next(each for each in KINDS if each.name == "deflate-horizontal-strips-uint16-3")
    path = tmp_path / "m.tif"
    kind.write(path, damaged_tiffs.picture(kind.dtype, kind.bands))
    content = bytearray(path.read_bytes())
    struct.pack_into("<H", content, entries(content)[317], 65000)
    path.write_bytes(content)
    assert not judged(path)[0]


def test_jpeg_tables_that_are_missing_are_held(tmp_path: Path) -> None:
    kind = next(each for each in KINDS if each.name == "jpeg-none-tiles-uint8-3")
    path = tmp_path / "m.tif"
    kind.write(path, damaged_tiffs.picture(kind.dtype, kind.bands))
    content = bytearray(path.read_bytes())
    struct.pack_into("<H", content, entries(content)[347], 65000)
    path.write_bytes(content)
    assert judged(path)[0] == {"damaged"}


def test_an_error_that_the_decoder_passes_over_is_raised(tmp_path: Path) -> None:
    """Of a tile that cannot be read when it is decoded, after it was found sound."""
    kind = next(each for each in KINDS if each.name == "lzw-horizontal-tiles-uint16-3")
    path = tmp_path / "m.tif"
    kind.write(path, damaged_tiffs.picture(kind.dtype, kind.bands))
    file = Mutable(path)
    file.fill(0, b"\0")
    path.write_bytes(file.content)
    image = opening.open_image(path)
    with pytest.raises(GlassineError), opening.decoding(path):
        image.avg()


def test_a_tag_that_overstates_its_length_does_not_hold_a_master(tmp_path: Path) -> None:
    """IPTC whose length is given in fours reaches into the pixels, as some programs write it."""
    path, content = written(tmp_path, software="x")
    (start,) = struct.unpack_from("<I", content, 4)
    renamed(content, 305, 33723, 4, len(content) // 8, start)
    path.write_bytes(content)
    assert not judged(path)[0]


def test_a_strip_that_lies_on_the_profile_is_held(tmp_path: Path) -> None:
    path, content = written(tmp_path, software="x")
    with tifffile.TiffFile(path) as tiff:
        offset = tiff.pages[0].dataoffsets[2]
    renamed(content, 305, 34675, 7, 3000, offset + 50)
    path.write_bytes(content)
    with pytest.raises(GlassineError):
        opening.read_header(path)


def test_one_row_less_in_a_strip_is_held_for_every_packing(tmp_path: Path) -> None:
    """RowsPerStrip and ImageLength that suit each other, and not what the strips hold."""
    for packing in ("lzw", "deflate", "packbits", "none"):
        kind = next(each for each in KINDS if each.name == f"{packing}-none-tiles-uint16-3")
        path = tmp_path / f"{packing}.tif"
        kind.write(path, damaged_tiffs.picture(kind.dtype, kind.bands))
        content = bytearray(path.read_bytes())
        set_tag(content, 323, 48)  # TileLength: 150 rows are four tiles of 48 high, not three of 64
        path.write_bytes(content)
        assert judged(path)[0] == {"damaged"}, packing
        set_tag(content, 257, 144)  # three tiles again
        path.write_bytes(content)
        assert judged(path)[0] == {"damaged"}, packing


@pytest.mark.parametrize("rows", [2, 7, 64, 150])
def test_lzw_of_strips_of_any_height_is_taken(rows: int, tmp_path: Path) -> None:
    """A large strip is read row by row, small ones at once: both are told apart."""
    path = tmp_path / "m.tif"
    pixels = np.tile(damaged_tiffs.picture("uint16", 3), (1, 8, 1))
    options = {"compression": "lzw", "predictor": "horizontal", "tile_height": rows}
    damaged_tiffs.by_vips(path, pixels, options)
    assert not judged(path)[0]
